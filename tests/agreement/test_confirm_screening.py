"""Screening never loses an expression that is true, and looks at few that are false."""

from __future__ import annotations

import random
from itertools import islice, product

import pytest

from interlock.confirm import screening
from interlock.confirm.screening import Screen
from interlock.kernel.evaluator import truths_in
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Or, Ref, neg
from interlock.kernel.machine import Machine, Signal, Variable
from tests.agreement.random_machines import random_case
from tests.some import some

MOST_STATES = 40


@pytest.mark.parametrize("most", [1, 3, screening.MOST_CASES])
def test_the_same_are_true_as_without_it(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """In any state, reachable or not, and however few cases are told apart: each true expression once, in order."""
    monkeypatch.setattr(screening, "MOST_CASES", most)
    true_ones = asked = looked = 0
    for seed in range(150):
        machine, questions = random_case(seed)
        guards = [rule.guard for rule in machine.rules] + [question.target for question in questions]
        exprs = [TRUE, FALSE, *guards, *map(neg, guards), *(neg(Ref(signal.name)) for signal in machine.signals)]
        screen = Screen(machine, exprs)
        draw = random.Random(seed)
        states = list(islice(product(*(v.domain for v in machine.variables)), 2_000))
        for state in draw.sample(states, min(MOST_STATES, len(states))):
            truth = truths_in(machine, state)
            evaluated: list[Expr] = []

            def noted(expr: Expr, truth=truth, evaluated=evaluated) -> bool:  # type: ignore[no-untyped-def]
                evaluated.append(expr)
                return bool(truth(expr))

            expected = [at for at, expr in enumerate(exprs) if truth(expr)]
            assert list(screen.true_in(state, noted)) == expected, (seed, state)
            true_ones += len(expected)
            looked += len(evaluated)
            asked += len(exprs)
    assert true_ones <= looked < true_ones + (asked - true_ones) * (0.8 if most == 1 else 0.5)


def test_cases_of_a_signal_rule_it_out() -> None:
    """Behind names, negations and alternatives the facts that must be so are found: nothing else is evaluated."""
    variables = tuple(Variable(name, ("low", "mid", "high"), ("low",)) for name in "abc")
    signals = (
        Signal("either", Or((Is("a", "high"), Is("b", "high")))),
        Signal("neither", neg(Ref("either"))),
    )
    machine = Machine(variables, signals, ())
    wanted = neg(Ref("neither"))
    screen = Screen(machine, [wanted])
    for state in some(product(*(v.domain for v in variables))):
        evaluated: list[Expr] = []

        def noted(expr: Expr, evaluated=evaluated) -> bool:  # type: ignore[no-untyped-def]
            evaluated.append(expr)
            return True

        found = list(screen.true_in(state, noted))
        assert found == ([0] if "high" in state[:2] else [])
        assert evaluated == [wanted] * len(found)
