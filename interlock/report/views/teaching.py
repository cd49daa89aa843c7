"""A hold to teach with: worked, followed step by step, and as an exercise."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import joined, say
from interlock.hold.compile.compiler import CompiledHold
from interlock.report.views.appearances import Appearances, appearances_of
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.exercises import Exercise, Rehearsed, exercise_of, procedure_exercise
from interlock.report.views.identified import Identified
from interlock.report.views.played import Played, audit_runs, checklist_run, failing_runs
from interlock.report.views.working import Numbers, Working, numbers_of, working_of
from interlock.study.procedure.audit import Audit
from interlock.study.verify import Status, Verification
from interlock.study.walk import begin_walk

TRAINING = (
    say("This page is training material, made from a description of the hold and not from the hold."),
    say("What the description leaves out does not exist here; times, forces and masses do not either."),
)
"""Said beside the cautions that every report carries."""


@frozen
class TeachingView:
    """All that a page to teach with tells of a hold."""

    compiled: CompiledHold
    files: tuple[Identified, ...]
    cautions: tuple[str, ...]
    seen: Appearances
    numbers: Numbers
    working: Working
    runs: tuple[Played, ...]
    exercises: tuple[Exercise, ...]
    proved: str


class OtherHold(ValueError):
    """A procedure is about another hold than the page; the message is its title."""


def teaching_view(
    compiled: CompiledHold,
    files: Sequence[Identified],
    found: Verification | None,
    rehearsed: Rehearsed | None,
    audits: Sequence[Audit] = (),
) -> TeachingView:
    """What is told of the hold; with what was found of its requirements, a checklist and audits, where there are any.

    Raises OtherHold for an audit of a procedure on another hold.
    """
    walk = begin_walk(compiled)
    numbers = numbers_of(walk)
    seen = appearances_of(compiled, walk.machine)
    runs: list[Played] = [] if found is None else list(failing_runs(numbers, found))
    exercises: list[Exercise] = []
    if rehearsed is not None:
        runs.append(checklist_run(numbers, rehearsed.made))
        runs += audit_runs(numbers, rehearsed.audited.audit)
        exercises.append(exercise_of(numbers, rehearsed))
    for audit in audits:
        if not _is_same(audit.bound.compiled, compiled):
            raise OtherHold(audit.bound.procedure.title)
        runs += audit_runs(numbers, audit)
        exercises.append(procedure_exercise(numbers, audit))
    working = working_of(walk, numbers, seen.expressions)
    return TeachingView(
        compiled,
        tuple(files),
        (*TRAINING, *CAUTIONS),
        seen,
        numbers,
        working,
        tuple(runs),
        tuple(exercises),
        _proved(found),
    )


def _is_same(one: CompiledHold, other: CompiledHold) -> bool:
    """Both take the same steps; where they start does not count."""
    ours, others = one.machine, other.machine
    names = [[(variable.name, variable.domain) for variable in machine.variables] for machine in (ours, others)]
    return names[0] == names[1] and ours.signals == others.signals and ours.rules == others.rules


def _proved(found: Verification | None) -> str:
    """What is known of the requirements when the page is made."""
    if found is None:
        return say("The requirements were not proved when this page was made.")
    counts = [
        say("{number} {status}", number=count, status=say(status.value))
        for status in Status
        if (count := found.count(status))
    ]
    return say("Requirements: {counts}.", counts=joined(counts, ", "))
