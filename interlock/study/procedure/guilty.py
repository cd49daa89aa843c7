"""What to look at first: the action, or the goal, because of which the rest is as it was found."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from interlock.confirm.confirm import confirm
from interlock.diagnostics.spans import Span
from interlock.hold.language.printer import print_syntax
from interlock.hold.procedure.binding import BoundProcedure, GoalPart
from interlock.kernel.claims import Certificate, Claim, Holds, Limits, Proved, Unknown
from interlock.kernel.expressions import TRUE, Expr, conj, neg
from interlock.kernel.machine import Machine, Question
from interlock.prove.decide import decide
from interlock.prove.engine import Clock
from interlock.prove.search.bmc import bmc
from interlock.study.procedure.interleavings import Hazard, InterleavingSearch
from interlock.study.procedure.leavings import Leaving
from interlock.study.procedure.mending import Wrong, mends_of, mends_that_do

SECONDS = 10.0
"""For trying mends, and for the proof that a goal is out of reach, each; less where less time is left."""
MOST_TOGETHER = 2
"""So many parts of a goal are asked about together, beside all of it."""


@dataclass(frozen=True, slots=True)
class Guilty:
    """An action (from 1), or the goal (None), with where it is written and what is wrong with it.

    `instead` says what would do, where that was tried; `restores`: with it nothing else is wrong, supplies steady.
    """

    action: int | None
    span: Span
    what: str
    instead: str = ""
    restores: bool = False


@dataclass(frozen=True, slots=True)
class Symptoms:
    """What was found: the first action (from 0) that does not go as written, requirements broken, the goal missed.

    `idle` are the actions (from 0) that find their work done; none of them is `first`.  `ends`: the end is reached in
    some order of events.
    """

    first: int | None
    idle: tuple[int, ...]
    broken: tuple[Hazard, ...]
    missed: bool
    ends: bool


def find_guilty(
    search: InterleavingSearch, symptoms: Symptoms, leavings: Sequence[Leaving], clock: Clock, limits: Limits
) -> tuple[Guilty, ...]:
    """The likeliest first; empty where nothing is wrong, or nothing was found that would make it right."""
    bound = search.graph.bound
    reached = symptoms.ends and not symptoms.missed
    found: list[Guilty] = []
    if not reached:
        found += _contradiction(bound, limits)
    if not found and (symptoms.first is not None or symptoms.broken or symptoms.missed):
        found += _mended(search, symptoms, clock)
        if not reached and not any(one.restores for one in found):
            found += _out_of_reach(bound, clock, limits)
    for at in symptoms.idle:
        action = bound.actions[at].action
        found.append(Guilty(at + 1, action.span, f"'{action.text}' changes nothing: it is so already", "leave it out"))
    for one in leavings:
        if one.grave and one.action is not None:
            span = bound.actions[one.action - 1].action.span
            found.append(Guilty(one.action, span, f"{one.what}, and no part of the goal asks for it"))
    return tuple(found)


def _mended(search: InterleavingSearch, symptoms: Symptoms, clock: Clock) -> Iterator[Guilty]:
    bound = search.graph.bound
    last = len(bound.actions) - 1 if symptoms.first is None else symptoms.first
    about: list[Expr] = [hazard.bad for hazard in symptoms.broken]
    if symptoms.first is not None:
        here = bound.actions[symptoms.first]
        about += [*(search.graph.machine.rule(name).guard for name in here.rules), here.until]
    elif symptoms.missed:
        about.append(bound.goal)
    mends = mends_of(bound, last, about)
    for one in mends_that_do(bound, search.hazards, mends, clock.sooner(SECONDS)):
        mend, action = one.mend, bound.actions[one.mend.action].action
        if one.restores or (mend.action != symptoms.first and mend.wrong is not Wrong.NEEDLESS):
            what = mend.wrong.format(f"'{action.text}'")
            yield Guilty(mend.action + 1, action.span, what, mend.instead, one.restores)


def _contradiction(bound: BoundProcedure, limits: Limits) -> Iterator[Guilty]:
    """Parts of the goal that no state whatever satisfies together, be it reachable or not."""
    machine = bound.compiled.machine
    variables = tuple(replace(variable, init=variable.domain) for variable in machine.variables)
    anything = Machine(variables, machine.signals, (), (), TRUE)

    def claim(asked: Sequence[Question]) -> tuple[Claim, ...]:
        found = bmc(anything, asked, replace(limits, depth=0))
        proofs = (Proved(one.id, "solver", Certificate((neg(one.target),))) for one in asked)
        pairs = zip(found, proofs, strict=True)
        return tuple(proof if isinstance(one, Unknown) and one.depth == 0 else one for one, proof in pairs)

    parts = _never(anything, bound, claim, limits)
    if parts:
        yield _of_goal(parts, "contradicts itself: {} can never be so, in no state whatever")


def _out_of_reach(bound: BoundProcedure, clock: Clock, limits: Limits) -> Iterator[Guilty]:
    """Parts of the goal that never come about together from the start of the procedure."""
    machine, seconds = bound.compiled.machine, clock.seconds_left()
    bounds = replace(limits, seconds=SECONDS if seconds is None else min(SECONDS, seconds / 2))
    parts = _never(machine, bound, lambda asked: decide(machine, asked, bounds), bounds)
    if parts:
        yield _of_goal(parts, "is out of reach: from this start {} never comes about, whatever anybody does")


def _of_goal(parts: Sequence[GoalPart], text: str) -> Guilty:
    said = " and ".join(f"'{print_syntax(part.syntax)}'" for part in parts)
    together = f"{said} together" if len(parts) > 1 else said
    return Guilty(None, parts[-1].syntax.span, f"the goal {text.format(together)} (proved)")


def _never(
    machine: Machine,
    bound: BoundProcedure,
    claim: Callable[[Sequence[Question]], tuple[Claim, ...]],
    limits: Limits,
) -> tuple[GoalPart, ...]:
    """The fewest parts of the goal of which a confirmed proof says that they are never so together."""

    def proved(sets: Sequence[tuple[GoalPart, ...]]) -> tuple[GoalPart, ...]:
        asked = [Question(f"parts {at}", conj(*(part.expr for part in those))) for at, those in enumerate(sets)]
        findings = confirm(machine, asked, claim(asked), limits.seconds)
        return next((those for those, one in zip(sets, findings, strict=True) if isinstance(one, Holds)), ())

    whole = proved([bound.parts])
    sizes = [size for size in range(1, MOST_TOGETHER + 1) if whole and size < len(bound.parts)]
    fewer = [those for size in sizes for those in combinations(bound.parts, size)]
    return (proved(fewer) if fewer else ()) or whole
