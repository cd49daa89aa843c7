"""The engines under test, and what is asked of every claim whoever made it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from typing import Any

from interlock.kernel.claims import Certificate, Claim, Diagram, Proved, Refuted, Trace
from interlock.kernel.evaluator import State, evaluate, fire, is_enabled, is_initial, successors
from interlock.kernel.machine import Machine, Question
from interlock.prove.decide import decide
from interlock.prove.diagrams.saturation import diagrams
from interlock.prove.engine import Engine
from interlock.prove.frames import pdr
from interlock.prove.invariants import k_induction as induction
from interlock.prove.invariants.mined import mined
from interlock.prove.search import bmc as bounded
from interlock.prove.search.explicit import explicit
from tests.agreement.z3_sat import Z3Sat

COMPLETE: Mapping[str, Engine] = {
    "explicit": explicit,
    "pdr": pdr.pdr,
    "mined": mined,
    "diagrams": diagrams,
    "decide": decide,
}
"""Engines that decide every question, given time."""

SHORTEST: Mapping[str, Engine] = {
    "explicit": explicit,
    "bmc": bounded.bmc,
    "k_induction": induction.k_induction,
    "decide": decide,
}
"""Engines whose refutations are shortest."""

ENGINES: Mapping[str, Engine] = {**COMPLETE, **SHORTEST}

ON_Z3: Mapping[str, Any] = {
    "bmc": partial(bounded.bmc, make_solver=Z3Sat),
    "pdr": partial(pdr.pdr, make_solver=Z3Sat),
    "k_induction": partial(induction.k_induction, make_solver=Z3Sat),
}
"""The engines that can run on another solver, on it."""


def assert_runs(machine: Machine, question: Question, trace: Trace) -> None:
    """The trace is a run of the machine, by the reference evaluator, and its last state satisfies the target."""
    assert len(trace.states) == len(trace.rules) + 1
    assert is_initial(machine, trace.states[0])
    for before, name, after in zip(trace.states, trace.rules, trace.states[1:], strict=False):
        rule = machine.rule(name)
        assert is_enabled(machine, rule, before), name
        assert fire(machine, rule, before) == after, name
    assert evaluate(machine, question.target, trace.states[-1])


def assert_excludes(machine: Machine, question: Question, certificate: Certificate, states: Iterable[State]) -> None:
    """Every given state, all reachable ones, satisfies the clauses; and no state that does satisfies the target.

    The second half is looked at over the whole product of the domains, so only for small machines.
    """
    for state in states:
        for clause in certificate.clauses:
            assert evaluate(machine, clause, state), clause
    for state in every_state(machine):
        if evaluate(machine, question.target, state):
            assert not all(evaluate(machine, clause, state) for clause in certificate.clauses)


def is_in(machine: Machine, diagram: Diagram, state: State) -> bool:
    """The state is in the set that the diagram stands for."""
    node = diagram.root
    for name in diagram.order:
        place = machine.domains[name].index(state[machine.positions[name]])
        node = diagram.nodes[node - 2][place] if node > 1 else 0
    return node == 1


def assert_closed(machine: Machine, question: Question, diagram: Diagram, states: Iterable[State]) -> None:
    """All given states, the reachable ones, are in the set; no step leads out of it, none of it is in the target."""
    inside = {state for state in every_state(machine) if is_in(machine, diagram, state)}
    assert inside.issuperset(states)
    for state in inside:
        assert not evaluate(machine, question.target, state)
        for rule, after in successors(machine, state):
            assert after in inside, rule.name


def assert_inductive(machine: Machine, certificate: Certificate) -> None:
    """From no state that satisfies the clauses does a step lead to one that does not (k = 1 only)."""
    assert certificate.k == 1
    kept = {s for s in every_state(machine) if all(evaluate(machine, c, s) for c in certificate.clauses)}
    for state in kept:
        for rule, after in successors(machine, state):
            assert after in kept, rule.name


def every_state(machine: Machine) -> list[State]:
    """Every valuation, reachable or not."""
    from itertools import product

    return list(product(*(variable.domain for variable in machine.variables)))


def reachable_states(machine: Machine) -> dict[State, int]:
    """Every reachable state with its depth, by the reference evaluator: slow and plain."""
    from interlock.kernel.evaluator import initial_states

    depths = dict.fromkeys(initial_states(machine), 0)
    level = list(depths)
    while level:
        fresh: list[State] = []
        for state in level:
            for _, after in successors(machine, state):
                if after not in depths:
                    depths[after] = depths[state] + 1
                    fresh.append(after)
        level = fresh
    return depths


def truth(machine: Machine, questions: Sequence[Question], depths: Mapping[State, int]) -> list[int | None]:
    """Per question the depth of the nearest state in the target; None where no reachable state is."""
    found: list[int | None] = []
    for question in questions:
        hits = [depth for state, depth in depths.items() if evaluate(machine, question.target, state)]
        found.append(min(hits, default=None))
    return found


def assert_true(machine: Machine, question: Question, claim: Claim, depth: int | None, states: Iterable[State]) -> None:
    """The claim agrees with what was counted, and so does its evidence.  An Unknown must not deny what is so."""
    assert claim.question == question.id
    if isinstance(claim, Refuted):
        assert depth is not None, claim
        assert_runs(machine, question, claim.trace)
        assert claim.trace.depth >= depth
        if claim.shortest:
            assert claim.trace.depth == depth
    elif isinstance(claim, Proved):
        assert depth is None, claim
        if claim.certificate is not None:
            assert_excludes(machine, question, claim.certificate, states)
        if claim.diagram is not None:
            assert_closed(machine, question, claim.diagram, states)
    else:
        assert depth is None or depth > claim.depth, claim
