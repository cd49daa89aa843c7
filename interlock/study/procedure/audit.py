"""Is a written procedure right: can it be done as written, does it keep every requirement, what do slips lead to?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import chain

from interlock.confirm.confirm import confirm
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.procedure.binding import Bound, BoundProcedure, Manner
from interlock.hold.tell import Reason
from interlock.kernel.claims import Claim, Disputed, Finding, Limits, Progress, ProgressCallback, Proved, silent
from interlock.kernel.machine import question_of
from interlock.prove.core.packing import bits_of
from interlock.prove.engine import Engine, OutOfTime, clock_of, share_of
from interlock.prove.invariants.lemmas import Lemmas
from interlock.study.procedure.failing import FailureAudit, audit_failures
from interlock.study.procedure.forgotten import KeptLimit, limits_kept
from interlock.study.procedure.graph import ProcedureGraph, procedure_graph, procedure_machine
from interlock.study.procedure.guilty import Guilty, Symptoms, find_guilty
from interlock.study.procedure.holders import Held, holders_of
from interlock.study.procedure.interleavings import (
    Hazard,
    InterleavingSearch,
    TooMuch,
    end_of_time,
    hazards_of,
)
from interlock.study.procedure.interruptions import Interruption, interruptions_of
from interlock.study.procedure.leavings import Leaving, leavings_of
from interlock.study.procedure.rescue import Rescue, find_rescue
from interlock.study.procedure.runs import Replays, Run, reasons_at, tell_run
from interlock.study.procedure.slip_audit import MOST_SLIPS, SlipAudit, audit_slips
from interlock.study.procedure.slips import slips_of
from interlock.study.procedure.standstill import why_still
from interlock.study.procedure.together import MOST_PLACES
from interlock.study.verify import Status, Verification, verify

NAME = "procedure"


class Verdict(StrEnum):
    """How it goes with one action."""

    POSSIBLE = "possible"
    IDLE = "nothing left to do"
    SOMETIMES = "not always possible"
    IMPOSSIBLE = "not possible"
    UNMET = "never found so"
    MAY_STOP = "may be found not so"
    UNREACHED = "never reached"


@dataclass(frozen=True, slots=True)
class ActionAudit:
    """One action: `number` counts from 1.

    Where it is not simply possible, `run` leads to a state in which it is not, `why` says what is not so there, and
    `rescue` what would make it so (None: nothing was found).
    """

    number: int
    bound: Bound
    verdict: Verdict
    run: Run | None = None
    why: tuple[Reason, ...] = ()
    rescue: Rescue | None = None


@dataclass(frozen=True, slots=True)
class Breach:
    """A requirement that the procedure breaks without any slip; `lost`: only where power is lost on the way."""

    hazard: Hazard
    lost: bool
    run: Run
    finding: Finding


class Overall(StrEnum):
    """What came out of it all."""

    SOUND = "nothing found"
    FINDINGS = "findings"
    UNDECIDED = "undecided"
    DISPUTED = "disputed"


@dataclass(frozen=True, slots=True)
class Audit:
    """Everything found about one procedure.

    `guilty` is what to look at first, `leavings` what is left otherwise than it was found.
    `goal_missed` is a run that comes to the end without the goal.  `proofs` are the findings of the two recounts: of
    the course with steady supplies, and with supplies lost and all people gone at any point.  `open` says what was not
    decided, and why.  `slips` and `failures` are None where they were not followed.  `limits` are those of deferred
    items, asked of every behaviour of people.
    """

    bound: BoundProcedure
    graph: ProcedureGraph
    hazards: tuple[Hazard, ...]
    guilty: tuple[Guilty, ...]
    leavings: tuple[Leaving, ...]
    actions: tuple[ActionAudit, ...]
    breaches: tuple[Breach, ...]
    goal_missed: Run | None
    interruptions: tuple[Interruption, ...]
    slips: SlipAudit | None
    failures: FailureAudit | None
    held: tuple[Held, ...]
    verification: Verification | None
    proofs: tuple[Finding, ...]
    states: int
    states_lost: int
    open: tuple[str, ...]
    limits: tuple[KeptLimit, ...] = ()

    @property
    def disputed(self) -> tuple[Disputed, ...]:
        """What does not bear out, of all that was checked by other means."""
        parts = (part for part in (self.slips, self.failures, self.verification) if part is not None)
        found = chain(self.proofs, (one.finding for one in self.breaches), *(part.findings for part in parts))
        return tuple(one for one in found if isinstance(one, Disputed))

    @property
    def overall(self) -> Overall:
        """The worst of it: disputed, then findings, then undecided."""
        if self.disputed:
            return Overall.DISPUTED
        amiss = any(action.verdict is not Verdict.POSSIBLE for action in self.actions)
        hazardous = self.slips is not None and self.slips.hazardous
        at_risk = any(one.at_risk or one.at_risk_lost for one in self.interruptions)
        failing = self.failures is not None and bool(self.failures.results)
        if amiss or self.guilty or self.breaches or self.goal_missed is not None or hazardous or at_risk or failing:
            return Overall.FINDINGS
        undecided = self.verification is not None and self.verification.count(Status.UNDECIDED)
        return Overall.UNDECIDED if self.open or undecided else Overall.SOUND


def audit_procedure(
    bound: BoundProcedure,
    engine: Engine | None,
    limits: Limits,
    report: ProgressCallback = silent,
    *,
    slips: bool = True,
    together: int = MOST_SLIPS,
    alone: CompiledHold | None = None,
    interrupted: bool = True,
    pairs_needed: bool = True,
) -> Audit:
    """Audits the procedure; `engine` decides what the interlock holds by itself (None: that is not asked).

    `together` is how many slips are followed together, where they are asked for.  Without `interrupted` supplies stay
    as they are and nobody is called away.  Unless pairs are needed, too many of them leave nothing open.

    `alone` is the hold about which that is asked, where it is another than that of the procedure: one that starts in
    more ways, say.  It must have the same requirements.
    `limits.states` bounds the places that are followed, `limits.seconds` the whole.
    """
    clock = clock_of(limits)
    graph = procedure_graph(bound, slips_of(bound) if slips else ())
    hazards = hazards_of(graph)
    most = limits.states or 400_000
    notes: list[str] = []
    report(Progress(NAME, "following the procedure"))
    search = InterleavingSearch(graph, hazards, clock, lost=False, most_nodes=most)
    losing = InterleavingSearch(graph, hazards, clock, lost=True, most_nodes=most)
    actions: tuple[ActionAudit, ...] = ()
    breaches: tuple[Breach, ...] = ()
    missed: Run | None = None
    interruptions: tuple[Interruption, ...] = ()
    slip_audit: SlipAudit | None = None
    failures: FailureAudit | None = None
    guilty: tuple[Guilty, ...] = ()
    leavings: tuple[Leaving, ...] = ()
    states = states_lost = 0
    proofs: tuple[Finding, ...] = ()
    try:
        search.begin()
        states = len(search.explore())
        actions = tuple(_actions(search, states))
        breaches = tuple(_breaches(search, report))
        way = search.path(search.first, search.bad)
        missed = tell_run(search, way, bound.goal) if way else None
        report(Progress(NAME, "looking for what is to blame"))
        leavings = leavings_of(search, states)
        guilty = find_guilty(search, _symptoms(search, states, actions, breaches, missed), leavings, clock, limits)
        if interrupted:
            losing.begin()
            with_loss = len(losing.explore())
            breaches = (*breaches, *_breaches(losing, report, search))
            report(Progress(NAME, "interrupting the procedure"))
            interruptions, states_lost = interruptions_of(search, losing, states, with_loss)
        report(Progress(NAME, "counting a second time"))
        proofs = _recount(search, states, losing, states_lost)
        if slips:
            report(Progress(NAME, "making slips"))
            slip_audit = audit_slips(
                search, range(states), report, together, limits.states or MOST_PLACES, pairs_needed
            )
            notes += slip_audit.open
        if interrupted:
            report(Progress(NAME, "letting declared failures strike, with slips"))
            failing = InterleavingSearch(graph, hazards, clock, lost=False, most_nodes=most)
            failing.begin()
            failures = audit_failures(failing, failing.explore(), together, limits.states or MOST_PLACES)
            notes += [f"not all failures were followed: {failures.open}"] if failures.open else []
            notes += [f"not all pairs with a failure were followed: {why}"] if (why := failures.open_together) else []
    except OutOfTime:
        notes.append(f"{end_of_time(clock)} before everything was followed")
    except TooMuch:
        notes.append(f"more than {most:,} points in the procedure would have to be followed")
    verification, lemmas = None, Lemmas()
    if engine is not None:
        asked = [hazard.instance.requirement.id for hazard in hazards]
        bounds = replace(limits, seconds=clock.seconds_left())
        # what can be done is held by nothing: it is not asked
        verification = verify(alone or bound.compiled, engine, bounds, report, asked, lemmas=lemmas)
    held = holders_of(hazards, verification, {b.hazard.instance.requirement.id: b.lost for b in breaches}, slip_audit)
    return Audit(
        bound,
        graph,
        hazards,
        guilty,
        leavings,
        actions,
        breaches,
        missed,
        interruptions,
        slip_audit,
        failures,
        held,
        verification,
        proofs,
        states,
        states_lost,
        tuple(notes),
        limits_kept(alone or bound.compiled, share_of(limits, clock), report, verification, Lemmas(lemmas.found())),
    )


def _symptoms(
    search: InterleavingSearch,
    states: int,
    actions: Sequence[ActionAudit],
    breaches: Sequence[Breach],
    missed: Run | None,
) -> Symptoms:
    amiss = [one for one in actions if one.verdict is not Verdict.POSSIBLE]
    idle = tuple(one.number - 1 for one in amiss if one.verdict is Verdict.IDLE)
    first = next((one.number - 1 for one in amiss if one.verdict is not Verdict.IDLE), None)
    ends = any(search.point[node] == search.graph.starts[-1] for node in range(states))
    return Symptoms(first, idle, tuple(one.hazard for one in breaches), missed is not None, ends)


def _actions(search: InterleavingSearch, states: int) -> Iterator[ActionAudit]:
    graph = search.graph
    nodes_at: dict[int, list[int]] = {}
    for node in range(states):
        nodes_at.setdefault(search.point[node], []).append(node)
    under_way: dict[int, list[int]] = {}
    for at, point in enumerate(graph.points):
        if point.under_way or (point.stopped and at in nodes_at):
            under_way.setdefault(point.action, []).extend(nodes_at.get(at, ()))
    for at, bound in enumerate(graph.bound.actions):
        here = nodes_at.get(graph.starts[at], [])
        if not here:
            yield ActionAudit(at + 1, bound, Verdict.UNREACHED)
            continue
        standing = [node for node in (*here, *under_way.get(at, ())) if _stands(search, node)]
        verdict = _verdict(search, at, here, standing, nodes_at)
        if verdict is Verdict.POSSIBLE:
            yield ActionAudit(at + 1, bound, verdict)
            continue
        if verdict is Verdict.IDLE:
            way = search.way_to(search.first, frozenset(here))
            why = reasons_at(search, way[-1][0], bound.done, 2)
            yield ActionAudit(at + 1, bound, verdict, tell_run(search, way, None), why)
            continue
        if bound.manner is Manner.CHECK:
            # where the procedure has stopped it may come to be so later, which helps nobody then
            standing = [node for node in standing if not search.holds(search.state(node), search.wanted_at(node))]
        # where it has come to rest says more than where it is still on its way to there
        resting = [node for node in standing if not search.edges[node]]
        way = search.way_to(search.first, frozenset(resting or standing))
        end = way[-1][0]
        wanted = search.wanted_at(end)
        why = reasons_at(search, end, wanted, 6)
        if bound.manner is Manner.HELD and graph.points[search.point[end]].under_way:
            why = (*why, *why_still(search, end, bound.action.to))
        rescue = find_rescue(search, end, wanted)
        yield ActionAudit(at + 1, bound, verdict, tell_run(search, way, None), why, rescue)


def _stands(search: InterleavingSearch, node: int) -> bool:
    return bool(search.marks[node] & (1 << (search.stands + search.point[node])))


def _verdict(
    search: InterleavingSearch, at: int, here: Sequence[int], standing: Sequence[int], nodes_at: dict[int, list[int]]
) -> Verdict:
    graph = search.graph
    manner = graph.bound.actions[at].manner
    after = graph.starts[at + 1]
    passed = acted = False
    for point in {search.point[node] for node in here} | {
        place for place, one in enumerate(graph.points) if one.under_way and one.action == at
    }:
        for node in nodes_at.get(point, ()):
            for dest, what in search.edges[node]:
                if what >= 0 and graph.moves[what].action == at:
                    acted = acted or graph.moves[what].rule is not None
                    passed = passed or search.point[dest] == after
    if manner is Manner.CHECK:
        if not standing:
            return Verdict.POSSIBLE
        return Verdict.MAY_STOP if passed else Verdict.UNMET
    if standing:
        return Verdict.SOMETIMES if passed else Verdict.IMPOSSIBLE
    if not acted and manner is not Manner.WAIT:
        return Verdict.IDLE
    return Verdict.POSSIBLE


def _breaches(
    search: InterleavingSearch, report: ProgressCallback, usual: InterleavingSearch | None = None
) -> list[Breach]:
    """Every requirement broken on the way; with `usual`, only those that are not broken there."""
    met = search.outcome_of(search.first) & search.every_hazard
    if usual is not None:
        met &= ~usual.outcome_of(usual.first)
    if not met:
        return []
    replays = Replays(search, procedure_machine(search.graph, lost=usual is not None))
    ways = [(search.hazards[at], search.path(search.first, 1 << at)) for at in bits_of(met)]
    for hazard, way in ways:
        replays.add(hazard, way, hazard.instance.requirement.id)
    return [
        Breach(hazard, usual is not None, tell_run(search, way, hazard.bad), finding)
        for (hazard, way), finding in zip(ways, replays.confirmed(None, report), strict=True)
    ]


def _recount(
    search: InterleavingSearch, states: int, losing: InterleavingSearch, states_lost: int
) -> tuple[Finding, ...]:
    """Every requirement that was not seen broken, as claims of both searches that a plain second count re-checks."""
    graph = search.graph
    findings: list[Finding] = []
    for followed, number, lost in ((search, states, False), (losing, states_lost, True)):
        if not number:
            continue
        points = [at for at, point in enumerate(graph.points) if not point.ends] if lost else ()
        machine = procedure_machine(graph, lost=lost, gone_from=(*points, graph.starts[-1]) if lost else ())
        seen = 0
        for node in range(number):
            seen |= followed.marks[node]
        lasting = followed.hazards_in(~seen)
        kept = [question_of(machine, one) for one in machine.requirements if one.id in lasting]
        claims: list[Claim] = [Proved(question.id, NAME, None, number) for question in kept]
        findings += confirm(machine, kept, claims, search.clock.seconds_left())
    return tuple(findings)
