"""What it means that a goal can always be brought about, said by enumeration; the judge of engine and evidence."""

from __future__ import annotations

from interlock.kernel.claims import Certificate
from interlock.kernel.evaluator import State, fire
from interlock.kernel.expressions import TRUE, Expr
from interlock.kernel.machine import Actor, Machine
from interlock.kernel.recovery import DeadEnd, Recovery, Stage, rank_of

from .listing import Listing, listing_of


def dead_ends(machine: Machine, goal: Expr) -> list[State]:
    """The reachable states from which no run without failures leads to the goal, nearest first."""
    listing = listing_of(machine)
    states = list(listing.depths)
    good = set(listing.where(goal))
    grown = True
    while grown:
        more = {
            state
            for state in states
            if state not in good
            and any(after in good for rule, after in listing.after(state) if rule.actor is not Actor.FAILURE)
        }
        good |= more
        grown = bool(more)
    return [state for state in states if state not in good]


def is_inductive(machine: Machine, certificate: Certificate) -> bool:
    """Every initial state satisfies the clauses, and no step leads out of them."""
    listing = listing_of(machine)
    return listing.initial <= listing.within(certificate.clauses) and listing.is_kept(certificate.clauses)


def proves(machine: Machine, recovery: Recovery, goal: Expr) -> bool:
    """The obligations of the recovery hold, state by state, the rank being that of each state itself."""
    if recovery.certificate.k != 1 or recovery.certificate.distinct or not is_inductive(machine, recovery.certificate):
        return False
    listing = listing_of(machine)
    inside = listing.within(recovery.certificate.clauses)
    before: Expr = TRUE
    for stage in recovery.stages:
        asked = (inside & listing.where(before)) - listing.where(stage.goal)
        if not _stage_proves(listing, before, stage, asked):
            return False
        before = stage.goal
    return inside & listing.where(before) <= listing.where(goal)


def _stage_proves(listing: Listing, before: Expr, stage: Stage, asked: frozenset[State]) -> bool:
    machine = listing.machine
    rules = {rule.name: rule for rule in machine.rules}
    nearer, there = listing.where(before), listing.where(stage.goal)
    covered: set[State] = set()
    for place, entry in enumerate(stage.entries):
        if entry.into is not None and entry.into not in range(place):
            return False
        run = [(rules[name], listing.where(rules[name].guard)) for name in entry.rules]
        if any(rule.actor is Actor.FAILURE for rule, _ in run):
            run = [(rule, frozenset[State]()) for rule, _ in run]
        applying = asked & listing.within(entry.when)
        covered |= applying
        into = frozenset[State]() if entry.into is None else listing.within(stage.entries[entry.into].when)
        for state in applying:
            here = state
            for rule, guard in run:
                if here not in guard:
                    return False
                here = fire(machine, rule, here)
            now, then = rank_of(machine, stage.rank, state), rank_of(machine, stage.rank, here)
            if not (here in there or (here in nearer and (then < now or (then == now and here in into)))):
                return False
    return covered == asked


def shows_dead_end(machine: Machine, claim: DeadEnd, goal: Expr) -> bool:
    """The certificate holds its last state, no step without failures leads out of it, and the goal is outside."""
    listing = listing_of(machine)
    inside = listing.within(claim.certificate.clauses)
    closed = all(after in inside for s in inside for rule, after in listing.after(s) if rule.actor is not Actor.FAILURE)
    return claim.trace.states[-1] in inside and closed and not inside & listing.where(goal)
