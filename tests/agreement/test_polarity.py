"""A solver that is told gates one way only, when they are asked about, answers as one that knows them all."""

from __future__ import annotations

from itertools import combinations
from random import Random

import pytest

from interlock.kernel.evaluator import evaluate
from interlock.kernel.machine import Machine, Variable
from interlock.prove.core.encoding import Encoding
from interlock.prove.core.local import LocalRules
from interlock.prove.core.polarity import NearSolver, PolaritySolver
from interlock.prove.core.solvers import FOREVER, add_all, light_solver
from tests.some import swept

from .random_machines import random_case


@pytest.mark.parametrize("seed", swept(range(60), 5))
def test_queries_have_the_answers_of_the_whole_encoding(seed: int) -> None:
    """Guards, targets and their opposites, a few at once; a model's state satisfies the expressions."""
    machine, questions = random_case(seed)
    rules = LocalRules(machine)
    expressions = [*(rule.guard for rule in machine.rules), *(question.target for question in questions)]
    gates = [rules.encoding.gate(expression) for expression in expressions]
    whole = light_solver()
    add_all(whole, rules.encoding.clauses)
    polarity = PolaritySolver(rules.encoding, light_solver())
    random = Random(seed)
    for _ in range(40):
        chosen = random.sample(range(len(gates)), min(len(gates), random.choice((1, 2, 2, 3))))
        wanted = [(at, random.random() < 0.6) for at in chosen]
        query = [gates[at] if is_so else -gates[at] for at, is_so in wanted]
        answer = polarity.solve(polarity.said(query), FOREVER)
        assert answer == whole.solve(query, FOREVER)
        near = NearSolver(rules.encoding, light_solver())
        assert answer == near.solve(near.said(query), FOREVER)
        near.close()
        if not answer:
            core = [polarity.meant(own) for own in polarity.core()]
            assert not whole.solve(core, FOREVER)
            assert all(not whole.solve([*query, -part], FOREVER) for part in core), "each follows from the query"
        if answer:
            model = polarity.model()
            state = rules.encoding.decode(model)
            assert all(evaluate(machine, expressions[at], state) == is_so for at, is_so in wanted)
            facts = rules.justify(query, model)
            assert all(model[abs(fact) - 1] == fact for fact in facts)
            assert not whole.solve([*facts, -random.choice(query)], FOREVER), "what was asked follows from these facts"
    whole.close()
    polarity.close()


@pytest.mark.parametrize("size", [1, 2, 3, 9])
def test_a_solver_told_of_little_knows_that_a_variable_has_one_value(size: int) -> None:
    """However many values it has; and nothing of variables that nobody spoke of."""
    domain = tuple(range(size))
    encoding = Encoding(Machine((Variable("n", domain, (0,)), Variable("m", domain, (0,))), (), ()))
    near = NearSolver(encoding, light_solver())
    facts = [near.fact(encoding.literals["n", value]) for value in domain]
    assert all(near.solve([fact]) for fact in facts)
    assert not near.solve([-fact for fact in facts])
    assert not any(near.solve([one, other]) for one, other in combinations(facts, 2))
    assert near.new() <= size + 2 + encoding.facts_top // 2
    near.close()


def test_what_is_soon_refuted_is_refuted_and_what_takes_long_is_not_said_to_be() -> None:
    """By little work: that six pigeons do not fit into five holes takes more, a contradiction of facts does not."""
    solver = light_solver()
    sits = [[5 * pigeon + hole + 1 for hole in range(5)] for pigeon in range(6)]
    add_all(solver, sits)
    for hole in range(5):
        add_all(solver, [[-one[hole], -other[hole]] for at, one in enumerate(sits) for other in sits[:at]])
    assert not solver.soon_refutes([])
    assert solver.soon_refutes([sits[0][0], 99, sits[1][0]])
    assert set(solver.core()) == {sits[0][0], sits[1][0]}
    assert not solver.solve()  # the whole answer is there all the same
    solver.close()
