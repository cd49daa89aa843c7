"""What if one declared failure strikes while a procedure is followed, at any point of it?

As with slips, all failures are followed at once; no second failure and no slip comes on top.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.confirm.confirm import confirm
from interlock.kernel.claims import Finding, Refuted
from interlock.kernel.machine import Question, question_of
from interlock.prove.engine import Clock
from interlock.study.procedure.following import Follow, TooMuch
from interlock.study.procedure.machine import course_machine
from interlock.study.procedure.runs import Run, claim_of, tell_run


@dataclass(frozen=True, slots=True)
class FailureResult:
    """One failure that breaks requirements which are kept without it; `run` breaks the first of them."""

    text: str
    hazards: tuple[str, ...]
    run: Run


@dataclass(frozen=True, slots=True)
class FailureAudit:
    """What single failures lead to; `declared` counts them.  `findings` are of the replayed runs.

    `open` says why not all was followed; the results are then of no use.
    """

    declared: int
    results: tuple[FailureResult, ...]
    findings: tuple[Finding, ...]
    open: str = ""

    def breaking(self, requirement: str) -> int:
        """How many of the failures break the requirement."""
        return sum(requirement in one.hazards for one in self.results)


def audit_failures(follow: Follow, first: Sequence[int], rightly: range, clock: Clock) -> FailureAudit:
    """Every declared failure at every place that the procedure reaches rightly."""
    made: dict[int, list[tuple[int, int]]] = {}
    for node in rightly:
        for what, dest in follow.failures_from(node):
            made.setdefault(what, []).append((node, dest))
    try:
        follow.explore()
    except TooMuch:
        return FailureAudit(len(follow.failures), (), (), f"more than {follow.most_nodes:,} places")
    usual = 0
    for node in first:
        usual |= follow.outcomes[node]
    every = (1 << len(follow.hazards)) - 1
    machine = course_machine(follow.course, lost=False, failing=True)
    requirements = {one.id: one for one in machine.requirements}
    results: list[FailureResult] = []
    questions: list[Question] = []
    claims: list[Refuted] = []
    for what, places in sorted(made.items(), reverse=True):
        met = 0
        for _, dest in places:
            met |= follow.outcomes[dest]
        danger = met & every & ~usual
        if not danger:
            continue
        at = (danger & -danger).bit_length() - 1
        hazard = follow.hazards[at]
        tail = follow.path(list(dict.fromkeys(dest for _, dest in places)), 1 << at)
        head = follow.way_to(first, frozenset(node for node, dest in places if dest == tail[0][0]))
        way = [*head, (tail[0][0], what), *tail[1:]]
        id = f"failure run {len(questions) + 1}"
        questions.append(Question(id, question_of(machine, requirements[hazard.instance.requirement.id]).target))
        claims.append(claim_of(follow, machine, id, way))
        ids = tuple(h.instance.requirement.id for n, h in enumerate(follow.hazards) if danger >> n & 1)
        said = follow.course.bound.compiled.glossary.rules[follow.plant[-1 - what].name].text
        results.append(FailureResult(said, ids, tell_run(follow, way, hazard.bad)))
    findings = confirm(machine, questions, claims, clock.seconds_left())
    return FailureAudit(len(follow.failures), tuple(results), findings)
