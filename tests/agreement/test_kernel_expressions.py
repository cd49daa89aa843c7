"""The constructors of expressions fold without changing the meaning, judged on every state of random machines."""

from __future__ import annotations

from itertools import combinations
from random import Random

import pytest

from interlock.kernel.expressions import (
    FALSE,
    TRUE,
    And,
    Expr,
    Is,
    Not,
    Or,
    Ref,
    assign,
    at_most_one,
    conj,
    disj,
    expand,
    implies,
    neg,
    one_of,
    signals_of,
    variables_of,
)
from interlock.kernel.machine import support_of
from tests.some import some

from .machines_confirm import a_machine, an_expr, atoms_of, true_in, world_of

A, B, C, D = (Is(name, True) for name in "abcd")


def test_folding_keeps_the_meaning() -> None:
    """Whatever the arguments, what a constructor makes is true in the same states as what it stands for."""
    for seed in some(range(80)):
        rng = Random(seed)
        machine = a_machine(rng)
        atoms = atoms_of(machine)
        args = [an_expr(rng, atoms, 2) for _ in range(rng.randint(0, 4))]
        args += [neg(args[0])] if args and rng.random() < 0.3 else []
        first, second = an_expr(rng, atoms), an_expr(rng, atoms)
        made = conj(*args), disj(*args), neg(first), implies(first, second), at_most_one(args)
        for state in some(world_of(machine).states):
            truths = [true_in(machine, arg, state) for arg in args]
            one, other = true_in(machine, first, state), true_in(machine, second, state)
            expected = [all(truths), any(truths), not one, other or not one, sum(truths) < 2]
            assert [true_in(machine, expr, state) for expr in made] == expected, (seed, state)


def test_fixed_variables_and_expanded_signals_keep_the_meaning() -> None:
    """Signals spelled out and some variables fixed: true in a state exactly where the whole is with those values."""
    fixed = named = 0
    for seed in range(80):
        rng = Random(seed)
        machine = a_machine(rng)
        expr = an_expr(rng, atoms_of(machine), 4)
        spelled = expand(expr, machine.definitions)
        assert not signals_of(spelled)
        chosen = rng.sample(machine.variables, rng.randint(0, len(machine.variables)))
        values = {v.name: rng.choice(v.domain) for v in chosen}
        left = assign(spelled, values)
        assert variables_of(left).isdisjoint(values)
        for state in world_of(machine).states:
            assert true_in(machine, spelled, state) == true_in(machine, expr, state)
            put = tuple(values.get(v.name, x) for v, x in zip(machine.variables, state, strict=True))
            assert true_in(machine, left, state) == true_in(machine, spelled, put)
        fixed += left != spelled
        named += spelled != expr
    assert fixed > 20 and named > 10


@pytest.mark.parametrize(
    ("made", "expected"),
    [
        (conj(), TRUE),
        (disj(), FALSE),
        (conj(A), A),
        (disj(A), A),
        (conj(A, TRUE, B), And((A, B))),
        (disj(A, FALSE, B), Or((A, B))),
        (conj(A, FALSE), FALSE),
        (disj(A, TRUE), TRUE),
        (conj(A, conj(B, A), C, B), And((A, B, C))),
        (disj(A, disj(B, A), C, B), Or((A, B, C))),
        (conj(disj(A, B), C), And((Or((A, B)), C))),
        (disj(conj(A, B), C), Or((And((A, B)), C))),
        (conj(B, neg(A), A), FALSE),
        (disj(B, neg(A), A), TRUE),
        (conj(A, neg(B)), And((A, Not(B)))),
        (disj(A, neg(B)), Or((A, Not(B)))),
        (neg(TRUE), FALSE),
        (neg(FALSE), TRUE),
        (neg(neg(A)), A),
        (neg(A), Not(A)),
        (implies(A, B), Or((Not(A), B))),
        (one_of("n", ()), FALSE),
        (one_of("n", (1, 2)), Or((Is("n", 1), Is("n", 2)))),
        (at_most_one([A]), TRUE),
        (assign(And((A, Is("n", 1))), {"a": True}), Is("n", 1)),
        (assign(Or((A, Ref("s"))), {"a": False}), Ref("s")),
    ],
)
def test_folded_form(made: Expr, expected: Expr) -> None:
    """Constants vanish, nesting and repeats too, order stays; a part beside its own negation decides the whole."""
    assert made == expected


def test_no_pair_is_forgotten() -> None:
    """At most one: each two of the arguments exclude one another, each pair once."""
    pairs = tuple(Or((Not(one), Not(other))) for one, other in combinations((A, B, C, D), 2))
    assert at_most_one(iter((A, B, C, D))) == And(pairs)


def test_mentions_are_all_found() -> None:
    """The variables and signals of an expression are found under every connective; through signals only if asked."""
    expr = Or((Not(And((A, Ref("s")))), And((Not(B), Ref("t"))), TRUE))
    definitions: dict[str, Expr] = {"s": Not(Ref("u")), "t": Or((Ref("u"), C)), "u": And((D, C))}
    assert signals_of(expr) == {"s", "t"}
    assert variables_of(expr) == {"a", "b"}
    assert variables_of(expr, definitions) == {"a", "b", "c", "d"}
    with pytest.raises(KeyError):
        variables_of(expr, {"s": A})
    with pytest.raises(KeyError):
        expand(expr, {"s": A})


def test_support_is_wide_enough() -> None:
    """Variables outside the support of an expression never change its truth."""
    spared = 0
    for seed in range(60):
        rng = Random(seed)
        machine = a_machine(rng)
        expr = an_expr(rng, atoms_of(machine))
        support = support_of(machine, expr)
        at = [place for place, v in enumerate(machine.variables) if v.name in support]
        seen: dict[tuple[object, ...], bool] = {}
        for state in world_of(machine).states:
            told = seen.setdefault(tuple(state[place] for place in at), true_in(machine, expr, state))
            assert told == true_in(machine, expr, state)
        spared += len(at) < len(machine.variables)
    assert spared > 20
