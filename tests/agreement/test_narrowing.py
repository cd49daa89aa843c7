"""What makes an expression so, against every state written out."""

from __future__ import annotations

from itertools import pairwise, product

import pytest

from interlock.kernel.evaluator import evaluate
from interlock.kernel.expressions import Expr, Is, conj, disj, neg
from interlock.kernel.machine import Machine, Variable
from interlock.prove.recovery import narrowing
from interlock.prove.recovery.narrowing import Allowed, Narrowing
from tests.agreement.random_machines import random_case
from tests.some import some, swept

SEEDS = range(120)


def _asked(machine: Machine, targets: list[Expr]) -> list[Expr]:
    """Guards and targets, and pairs of them, many of which contradict each other."""
    single = [*(rule.guard for rule in machine.rules), *targets]
    return [*single, *(conj(one, neg(other)) for one, other in pairwise(single))]


@pytest.mark.parametrize("seed", swept(SEEDS, 5))
def test_all_that_is_left_makes_it_so_and_nothing_is_left_only_where_nothing_does(seed: int) -> None:
    """Whatever values are picked from those left, the expression is so; where none is, no state makes it so."""
    machine, questions = random_case(seed)
    domains = [variable.domain for variable in machine.variables]
    names = [variable.name for variable in machine.variables]
    if len(list(product(*domains))) > 3_000:
        pytest.skip("too many states to write out")
    narrow = Narrowing(machine)
    for expr in some(_asked(machine, [question.target for question in questions])[:12]):
        for wanted in (True, False):
            found = narrow.narrow(expr, wanted, {})
            if found is None:
                assert not any(evaluate(machine, expr, state) is wanted for state in product(*domains))
            else:
                left = [sorted(found.get(v.name, v.domain), key=v.domain.index) for v in machine.variables]
                assert all(evaluate(machine, expr, state) is wanted for state in product(*left))
        forced = narrow.forced(expr, {})
        for state in product(*domains):
            if evaluate(machine, expr, state):
                assert forced is not None
                assert all(x in forced.get(name, (x,)) for name, x in zip(names, state, strict=True))


BITS = Machine(tuple(Variable(name, (False, True), (False,)) for name in "abcd"), (), ())
A, B, C, D = (Is(name, True) for name in "abcd")


def test_what_follows_comes_before_what_is_chosen() -> None:
    """The easiest arm is not taken where what stands behind it rules it out."""
    easy_first = conj(disj(neg(A), conj(B, C)), disj(neg(A), D), A)
    assert Narrowing(BITS).narrow(easy_first, True, {}) == {
        "a": frozenset({True}),
        "b": frozenset({True}),
        "c": frozenset({True}),
        "d": frozenset({True}),
    }


def test_an_arm_that_leads_nowhere_is_taken_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the first alternative the easier arm contradicts both arms of the second; within one try it is not seen."""
    knot = conj(disj(A, conj(B, C)), disj(conj(neg(A), D), conj(neg(A), neg(D), B)))
    found = Narrowing(BITS).narrow(knot, True, {})
    assert found is not None and found["a"] == frozenset({False}) and found["b"] == frozenset({True})
    monkeypatch.setattr(narrowing, "MOST_TRIED", 1)
    assert Narrowing(BITS).narrow(knot, True, {}) is None


def test_what_is_known_already_is_kept() -> None:
    """Nothing known is widened, and what contradicts it is not found."""
    narrow = Narrowing(BITS)
    known: Allowed = {"a": frozenset({False})}
    assert narrow.narrow(disj(A, B), True, known) == {**known, "b": frozenset({True})}
    assert narrow.narrow(A, True, known) is None
    assert narrow.narrow(neg(A), True, known) == known
    assert known == {"a": frozenset({False})}
