"""The second solver: runs an obligation's own text through cvc5, by its SMT-LIB parser."""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic

from interlock.confirm.smtlib import Obligation


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
    """
    try:
        import cvc5  # here, because it takes tens of milliseconds and may be missing
    except ImportError as error:
        return _unknown("no second solver", obligation, f"cvc5 cannot be imported ({error})")
    solver = cvc5.Solver(cvc5.TermManager())
    name = f"cvc5 {cvc5.__version__}"
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
                return _unknown(name, obligation, f"{name} answered {answer} to {kind}")
    except RuntimeError as error:  # cvc5's way of saying that it cannot read or solve the text
        return _unknown(name, obligation, f"{name}: {error}")
    if len(answers) != len(obligation.queries):
        return _unknown(name, obligation, f"{len(answers)} answers to {len(obligation.queries)} queries")
    return Recheck(name, tuple(answers))


def _unknown(solver: str, obligation: Obligation, why: str) -> Recheck:
    return Recheck(solver, (f"unknown ({why})",) * len(obligation.queries))
