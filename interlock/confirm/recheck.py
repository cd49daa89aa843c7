"""The second solver: runs an obligation's own text through cvc5, by its SMT-LIB parser."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from time import monotonic

from interlock.confirm.smtlib import Obligation
from interlock.kernel.beside import Beside, may_begin

LEAST_HALVED = 300_000
"""A text of fewer characters is asked for in one process: it is answered before another has begun."""


@dataclass(frozen=True, slots=True)
class Recheck:
    """What the second solver said: one answer per query of the obligation, in their order.

    An answer is `unsat`, `sat`, or begins with `unknown` and says why; only `unsat` agrees.
    """

    solver: str
    answers: tuple[str, ...]


def recheck(obligation: Obligation, deadline: float | None = None) -> Recheck:
    """The second solver's answers; `deadline` is on the monotonic clock.

    Anything out of the ordinary (no solver, an error message, a missing or an extra answer) makes every answer unknown.
    Where many queries are asked and another process may begin, it asks every second of them.
    """
    try:
        import cvc5  # here, because it takes tens of milliseconds and may be missing
    except ImportError as error:
        return _unknown("no second solver", obligation, f"cvc5 cannot be imported ({error})")
    name = f"cvc5 {cvc5.__version__}"
    answers = [""] * len(obligation.queries)
    try:
        if len(answers) > 1 and len(obligation.text) >= LEAST_HALVED and may_begin():
            with Beside(partial(_answers, half_of(obligation, 1), deadline)) as other:
                answers[0::2] = _answers(half_of(obligation, 0), deadline)
                answers[1::2] = other.result()
        else:
            answers = _answers(obligation, deadline)
    except _OutOfOrder as error:
        return _unknown(name, obligation, f"{name}: {error}")
    return Recheck(name, tuple(answers))


def half_of(obligation: Obligation, which: int) -> Obligation:
    """Every second of the queries, from the first (0) or the second (1) on, with all that is said of more than one.

    What `smtlib.query` has written of the others is left out, and nothing else is.  Raises _OutOfOrder.
    """
    lines: list[str] = []
    asked = begun = 0
    for line in obligation.text.splitlines(keepends=True):
        if line == "(push 1)\n":
            begun = len(lines)
        lines.append(line)
        if line == "(check-sat)\n":
            mine = asked % 2 == which
            asked += 1
        elif line == "(pop 1)\n" and lines[-2] == "(check-sat)\n" and not mine:
            del lines[begun:]
    _fit(asked, obligation)
    return Obligation(obligation.name, "".join(lines), obligation.queries[which::2])


class _OutOfOrder(Exception):
    """The solver did not do what it was asked; the message says what."""


def _answers(obligation: Obligation, deadline: float | None) -> list[str]:
    """One per query; raises _OutOfOrder."""
    import cvc5

    solver = cvc5.Solver(cvc5.TermManager())
    solver.setOption("incremental", "true")
    # many small queries: what would shorten a large one beforehand takes longer here than the answer
    solver.setOption("simplification", "none")
    solver.setOption("static-learning", "false")
    symbols = cvc5.SymbolManager(solver.getTermManager())
    parser = cvc5.InputParser(solver, symbols)
    parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, obligation.text, obligation.name)
    answers: list[str] = []
    try:
        while not (command := parser.nextCommand()).isNull():
            kind = command.getCommandName()
            if kind == "set-info":
                continue  # told which answer to expect, cvc5 gives no other, only an error message
            left_ms = None if deadline is None else int((deadline - monotonic()) * 1000)
            if left_ms is not None and left_ms <= 0:
                answers += ["unknown (out of time)"] * (len(obligation.queries) - len(answers))
                break
            if left_ms is not None and kind == "check-sat":
                solver.setOption("tlimit-per", str(left_ms))
            answer = str(command.invoke(solver, symbols)).strip()
            if kind == "check-sat":
                known = answer in ("sat", "unsat") or answer.startswith("unknown")
                answers.append(answer if known else f"unknown ({answer or 'no answer'})")
            elif answer:
                raise _OutOfOrder(f"it answered {answer} to {kind}")
    except RuntimeError as error:  # cvc5's way of saying that it cannot read or solve the text
        raise _OutOfOrder(str(error)) from error
    _fit(len(answers), obligation)
    return answers


def _fit(answers: int, obligation: Obligation) -> None:
    if answers != len(obligation.queries):
        raise _OutOfOrder(f"{answers} answers to {len(obligation.queries)} queries")


def _unknown(solver: str, obligation: Obligation, why: str) -> Recheck:
    return Recheck(solver, (f"unknown ({why})",) * len(obligation.queries))
