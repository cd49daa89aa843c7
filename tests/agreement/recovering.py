"""What it means that a goal can always be brought about, said by enumeration; the judge of engine and evidence."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from interlock.kernel.claims import Certificate
from interlock.kernel.evaluator import State, evaluate, fire, initial_states, is_enabled, is_initial, successors
from interlock.kernel.expressions import TRUE, Expr
from interlock.kernel.machine import Actor, Machine
from interlock.kernel.recovery import Recovery, Stage, Trapped, rank_of


def reachable(machine: Machine) -> list[State]:
    """Every reachable state, nearest first."""
    found = dict.fromkeys(initial_states(machine))
    queue = list(found)
    for state in queue:
        for _, after in successors(machine, state):
            if after not in found:
                found[after] = None
                queue.append(after)
    return queue


def dead_ends(machine: Machine, goal: Expr) -> list[State]:
    """The reachable states from which no run without failures leads to the goal."""
    states = reachable(machine)
    good = {state for state in states if evaluate(machine, goal, state)}
    grown = True
    while grown:
        more = {
            state
            for state in states
            if state not in good
            and any(after in good for rule, after in successors(machine, state) if rule.actor is not Actor.FAILURE)
        }
        good |= more
        grown = bool(more)
    return [state for state in states if state not in good]


def every_state(machine: Machine) -> Iterator[State]:
    """Every valuation, reachable or not."""
    return iter(product(*(variable.domain for variable in machine.variables)))


def is_inductive(machine: Machine, certificate: Certificate) -> bool:
    """Every initial state satisfies the clauses, and no step leads out of them."""
    inside = [s for s in every_state(machine) if _satisfies(machine, certificate, s)]
    members = set(inside)
    starts = all(s in members for s in every_state(machine) if is_initial(machine, s))
    return starts and all(after in members for s in inside for _, after in successors(machine, s))


def proves(machine: Machine, recovery: Recovery, goal: Expr) -> bool:
    """The obligations of the recovery hold, state by state, the rank being that of each state itself."""
    if recovery.certificate.k != 1 or recovery.certificate.distinct or not is_inductive(machine, recovery.certificate):
        return False
    inside = [s for s in every_state(machine) if _satisfies(machine, recovery.certificate, s)]
    before: Expr = TRUE
    for stage in recovery.stages:
        asked = [s for s in inside if evaluate(machine, before, s) and not evaluate(machine, stage.goal, s)]
        if not all(_stage_proves(machine, before, stage, state) for state in asked):
            return False
        before = stage.goal
    return all(evaluate(machine, goal, s) for s in inside if evaluate(machine, before, s))


def _stage_proves(machine: Machine, before: Expr, stage: Stage, state: State) -> bool:
    rules = {rule.name: rule for rule in machine.rules}
    applying = [entry for entry in stage.entries if all(evaluate(machine, fact, state) for fact in entry.when)]
    for entry in applying:
        here = state
        for name in entry.rules:
            if rules[name].actor is Actor.FAILURE or not is_enabled(machine, rules[name], here):
                return False
            here = fire(machine, rules[name], here)
        nearer = rank_of(machine, stage.rank, here) < rank_of(machine, stage.rank, state)
        if not (evaluate(machine, stage.goal, here) or (nearer and evaluate(machine, before, here))):
            return False
    return bool(applying)


def shows_trap(machine: Machine, claim: Trapped, goal: Expr) -> bool:
    """The certificate holds its last state, no step without failures leads out of it, and the goal is outside."""
    inside = [s for s in every_state(machine) if _satisfies(machine, claim.certificate, s)]
    members = set(inside)
    closed = all(
        after in members for s in inside for rule, after in successors(machine, s) if rule.actor is not Actor.FAILURE
    )
    return claim.trace.states[-1] in members and closed and not any(evaluate(machine, goal, s) for s in inside)


def _satisfies(machine: Machine, certificate: Certificate, state: State) -> bool:
    return all(evaluate(machine, clause, state) for clause in certificate.clauses)
