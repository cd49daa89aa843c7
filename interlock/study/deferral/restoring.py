"""Which smallest sets of limitations make requirements hold again: all of them, proved.

Which limitations are kept is a choice at the start of one machine.  A run that breaks a requirement is stopped only by
limitations that forbid one of its steps: whoever is to be safe keeps one of these.  Choices that miss a run known so
far are left out, and the rest is asked about anew, until no choice is left with which a requirement breaks.  One proof
then covers every choice that hits all those runs; and every other choice allows one of them.

References
  R. Reiter: A theory of diagnosis from first principles. Artificial Intelligence 32, 1987. (hitting sets)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from interlock.kernel.claims import Disputed, Fails, Finding, Holds, Limits, ProgressCallback, Trace, Undecided
from interlock.kernel.evaluator import evaluate
from interlock.kernel.limiting import Forbidding, with_choices
from interlock.kernel.machine import Machine, Question
from interlock.prove.decide import decide
from interlock.prove.engine import clock_of, share_of
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.study.sessions import Session, nobody

MOST_ROUNDS = 200


@dataclass(frozen=True, slots=True)
class Stopped:
    """A run that breaks a requirement, and the limitations of which each would have stopped it."""

    question: str
    run: Trace
    by: frozenset[str]


@dataclass(frozen=True, slots=True)
class Restoring:
    """What was found.

    `sets` are the smallest sets of limitations with which no requirement breaks of those asked about but `hopeless`,
    which break whatever is kept.  Every set that has none of these within it lets one of the `runs` happen.  `proofs`
    are the findings of the last round.  `reason` says why nothing is proved, and `sets` is then empty.
    """

    sets: tuple[frozenset[str], ...]
    runs: tuple[Stopped, ...]
    hopeless: Mapping[str, Trace]
    proofs: tuple[Finding, ...]
    reason: str = ""
    disputed: str = ""

    @property
    def checked_by(self) -> str:
        """What checked the proof of the sets again."""
        return next((one.checked_by for one in self.proofs if isinstance(one, Holds)), "")


def restore(
    machine: Machine,
    questions: Sequence[Question],
    known: Iterable[tuple[str, Trace]],
    limits: Sequence[Forbidding],
    size: int,
    within: Limits,
    report: ProgressCallback,
    remembered: Remembered,
) -> Restoring:
    """The smallest sets of at most `size` limitations with which no target is reached.

    What is `remembered` of a proof of the machine is tried first: limitations only take steps away.

    `known` are runs of the machine to targets, by the id of their question; their states may hold more variables,
    behind those of the machine.
    """
    clock = clock_of(within)
    asked = {question.id: question for question in questions}
    runs: list[Stopped] = []
    hopeless: dict[str, Trace] = {}
    lemmas = Lemmas(remembered)
    for id, run in known:
        _note(machine, id, run, limits, runs, hopeless)
    for _ in range(MOST_ROUNDS):
        left = [question for id, question in asked.items() if id not in hopeless]
        if not left:
            return Restoring((), tuple(runs), hopeless, ())
        # of a limitation that would have stopped none of the runs no smallest set has need
        useful = frozenset().union(*(one.by for one in runs))
        choices = with_choices(machine, [one for one in limits if one.name in useful], [one.by for one in runs])
        lemmas = Lemmas(lemmas.found())
        engine = partial(decide, found=lemmas, shortest=False)
        session = Session(choices, share_of(within, clock), report)
        found, _ = session.claim_and_confirm(left, (), engine, nobody)
        findings = tuple(found[question.id] for question in left)
        disputed = next((one.what for one in findings if isinstance(one, Disputed)), "")
        if disputed:
            return Restoring((), tuple(runs), hopeless, findings, disputed=disputed)
        broken = [one for one in findings if isinstance(one, Fails)]
        if not broken:
            reason = next((one.reason for one in findings if isinstance(one, Undecided)), "")
            sets = () if reason else smallest_hitting([one.by for one in runs], size)
            return Restoring(sets, tuple(runs), hopeless, findings, reason)
        for one in broken:
            run = _without(machine, one.claim.trace)
            _note(machine, one.question, run, limits, runs, hopeless)
    return Restoring((), tuple(runs), hopeless, (), f"after {MOST_ROUNDS} rounds runs were still found")


def _without(machine: Machine, run: Trace) -> Trace:
    """The run without the choice."""
    return Trace(run.rules, tuple(state[: len(machine.variables)] for state in run.states))


def _note(
    machine: Machine,
    id: str,
    run: Trace,
    limits: Sequence[Forbidding],
    runs: list[Stopped],
    hopeless: dict[str, Trace],
) -> None:
    by = frozenset(one.name for one in limits if stops(machine, one, run))
    if by:
        runs.append(Stopped(id, run, by))
    else:
        hopeless.setdefault(id, run)


def stops(machine: Machine, limit: Forbidding, run: Trace) -> bool:
    """The limitation forbids one of the steps."""
    steps = zip(run.rules, run.states, strict=False)
    return any(rule in limit.rules and not evaluate(machine, limit.unless, state) for rule, state in steps)


def smallest_hitting(clauses: Sequence[frozenset[str]], size: int) -> tuple[frozenset[str], ...]:
    """The sets of at most `size` that have something of every clause, no smaller one within them; by size, sorted."""
    found: set[frozenset[str]] = set()
    seen: set[frozenset[str]] = set()
    waiting: list[frozenset[str]] = [frozenset()]
    while waiting:
        one = waiting.pop()
        missed = next((clause for clause in clauses if not clause & one), None)
        if missed is None:
            found.add(one)
        elif len(one) < size:
            more = {one | {name} for name in missed} - seen
            seen |= more
            waiting += more
    least = [one for one in found if not any(other < one for other in found)]
    return tuple(sorted(least, key=lambda one: (len(one), sorted(one))))
