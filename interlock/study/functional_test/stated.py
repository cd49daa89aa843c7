"""Which failures a written procedure shows, worked as a check of the equipment, each failure there from the beginning.

Every interleaving is followed, as in an audit.  A failure shows for certain where no run comes to the end of the
procedure: a check in it is not met, an action cannot be done, or people wait in vain.  Nothing else counts: what the
procedure does not say must be so is looked at by nobody.  How people take it is not asked: that they stop there is
what the procedure is for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from interlock.hold.procedure.binding import BoundProcedure
from interlock.kernel.claims import Limits, Progress, ProgressCallback, silent
from interlock.kernel.evaluator import fire, initial_states, is_enabled
from interlock.kernel.expressions import TRUE, variables_of
from interlock.kernel.failures import failures_of
from interlock.prove.core.packing import Packing, bits_of, compile_hits
from interlock.prove.engine import NO_LIMITS, OutOfTime, clock_of
from interlock.study.contacts.struck import difference, strikes, uses_of
from interlock.study.procedure.graph import ProcedureGraph, procedure_graph
from interlock.study.procedure.interleavings import InterleavingSearch, TooMuch, end_of_time

MOST_PLACES = 20_000
"""So many places are followed with one failure; beyond, it is not known whether it shows."""


@dataclass(frozen=True, slots=True)
class StatedCheck:
    """What was found of one procedure: `shown` has per failure the action, from 1, at which it shows at the latest.

    `hidden` need not show in it; of `unknown` it is not known, and `why` says why not, where that is not that they
    cannot strike where the procedure begins.  `actions` counts those of the procedure.
    """

    title: str
    actions: int
    shown: Mapping[str, int]
    hidden: tuple[str, ...]
    unknown: tuple[str, ...]
    why: str = ""


def follow_check(bound: BoundProcedure, limits: Limits = NO_LIMITS, report: ProgressCallback = silent) -> StatedCheck:
    """Works the procedure with each failure that its hold declares, which strikes before anything is done.

    A procedure that need not come to its end on the sound hold shows nothing: then all is unknown.
    """
    graph = procedure_graph(bound)
    clock = clock_of(limits)
    names = failures_of(graph.machine)
    shown: dict[str, int] = {}
    hidden: list[str] = []
    unknown: list[str] = []
    why = ""
    try:
        sound = _followed(InterleavingSearch(graph, (), clock, lost=False), None)
        stuck = sound.stands
        if stuck is not None:
            why = f"on the sound hold action {stuck + 1} need not come to an end, or not as it should"
        bearing = _bearing(graph, sound.holds) if not why else frozenset[str]()
        for at, name in enumerate([] if why else names):
            report(Progress("check", "failures followed through it", at, len(names)))
            if name not in bearing:
                hidden.append(name)
                continue
            search = InterleavingSearch(graph, (), clock, lost=False, most_nodes=MOST_PLACES)
            try:
                found = _followed(search, name)
            except TooMuch:
                unknown.append(name)
                continue
            if found.last < 0:
                unknown.append(name)
            elif found.ends:
                hidden.append(name)
            else:
                shown[name] = found.last + 1
    except TooMuch:
        why = "on the sound hold there are too many ways for it to go"
    except OutOfTime:
        why = end_of_time(clock)
    known = {*shown, *hidden, *unknown}
    unknown += [name for name in names if name not in known]
    return StatedCheck(bound.procedure.title, len(bound.actions), shown, tuple(hidden), tuple(unknown), why)


@dataclass(frozen=True, slots=True)
class _Followed:
    """Whether some run comes to the end; the last action, from 0, that any comes to (-1: none begins).

    `stands` is an action at which some run can stop short, None where there is none; `holds` are the states met.
    """

    ends: bool
    last: int
    stands: int | None
    holds: frozenset[int]


def _followed(search: InterleavingSearch, failure: str | None) -> _Followed:
    """All runs of the procedure in which this one has failed before it begins; raises OutOfTime and TooMuch."""
    graph = search.graph
    firsts: list[int] = []
    for state in initial_states(graph.machine):
        begun = [state]
        if failure is not None:
            rules = (rule for rule in graph.machine.rules if strikes(rule, failure))
            begun = [fire(graph.machine, rule, state) for rule in rules if is_enabled(graph.machine, rule, state)]
        firsts += [search.node(graph.starts[0], search.packing.pack(one)) for one in begun]
    search.explore()
    points, final = graph.points, len(graph.bound.actions) - 1
    stands = [at for at in bits_of(search.outcome_of(firsts) >> search.stands) if at < len(points)]
    return _Followed(
        graph.starts[-1] in set(search.point),
        max((min(points[at].action, final) for at in search.point), default=-1),
        min((points[at].action for at in stands), default=None),
        frozenset(search.hold),
    )


def _bearing(graph: ProcedureGraph, holds: frozenset[int]) -> frozenset[str]:
    """The failures that make a difference to anything in one of these states of the sound hold."""
    uses = uses_of(graph.machine)
    tests = {at: difference(name, own) for at, (name, own) in enumerate(uses.items())}
    packing = Packing(graph.machine)
    names = list(uses)
    found = {names[at] for at in compile_hits(packing, tests)(holds)}
    # what the procedure asks for itself
    asked = frozenset[str]().union(*(variables_of(move.when) for move in graph.moves if move.when != TRUE))
    return frozenset(found) | (asked & uses.keys())
