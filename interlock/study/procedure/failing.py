"""What if one declared failure strikes while a procedure is followed, at any point of it?

As with slips, all failures are followed at once; no second failure and no slip comes on top.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.kernel.claims import Finding
from interlock.study.procedure.graph import procedure_machine
from interlock.study.procedure.interleavings import InterleavingSearch, TooMuch, bits_of
from interlock.study.procedure.runs import Replays, Run, tell_run


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


def audit_failures(search: InterleavingSearch, rightly: range) -> FailureAudit:
    """Every declared failure at every place that the procedure reaches rightly."""
    made: dict[int, list[tuple[int, int]]] = {}
    for node in rightly:
        for what, dest in search.failures_from(node):
            made.setdefault(what, []).append((node, dest))
    try:
        search.explore()
    except TooMuch:
        return FailureAudit(len(search.failures), (), (), f"more than {search.most_nodes:,} places")
    usual = search.outcome_of(search.first)
    replays = Replays(search, procedure_machine(search.graph, lost=False, failing=True))
    results: list[FailureResult] = []
    for what, places in sorted(made.items(), reverse=True):
        danger = search.outcome_of(dest for _, dest in places) & search.every_hazard & ~usual
        if not danger:
            continue
        at = next(bits_of(danger))
        hazard = search.hazards[at]
        tail = search.path((dest for _, dest in places), 1 << at)
        way = search.way_by(((node, what, dest) for node, dest in places), tail)
        replays.add(hazard, way, f"failure run {len(results) + 1}")
        said = search.graph.bound.compiled.glossary.rules[search.plant[-1 - what].name].text
        results.append(FailureResult(said, search.hazards_in(danger), tell_run(search, way, hazard.bad)))
    return FailureAudit(len(search.failures), tuple(results), replays.confirmed(search.clock.seconds_left()))
