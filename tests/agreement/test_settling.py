"""Fused rules against the plain meaning: act, then let the mechanism run until it is at rest."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from interlock.hold.compile.settling import Fuser, NeverSettles, UnfusedRule, may_hold
from interlock.kernel.evaluator import State, evaluate, fire
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Value, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Rule, Variable

NAMES = ("a", "b", "c", "d")
MACHINE = Machine(tuple(Variable(name, (False, True), (False,)) for name in NAMES), (), ())

literals = st.builds(
    lambda name, value: Is(name, True) if value else neg(Is(name, True)), st.sampled_from(NAMES), st.booleans()
)
expressions = st.recursive(
    literals,
    lambda inner: st.one_of(st.builds(conj, inner, inner), st.builds(disj, inner, inner), st.builds(neg, inner)),
    max_leaves=5,
)
updates = st.dictionaries(st.sampled_from(NAMES), st.booleans(), min_size=1, max_size=2)


def draft(name: str, guard: Expr, changes: dict[str, bool], actor: Actor = Actor.MECHANISM) -> UnfusedRule:
    return UnfusedRule(name, actor, guard, changes, name)


def rule(d: UnfusedRule) -> Rule:
    return Rule(d.name, d.actor, d.guard, tuple(d.updates.items()))


def rests(state: State, mechanism: list[UnfusedRule]) -> bool:
    return not any(evaluate(MACHINE, step.guard, state) for step in mechanism)


def ends(state: State, mechanism: list[UnfusedRule], fuel: int = 12) -> set[State] | None:
    """Every state of rest that the mechanism can run to, or None when some run does not end."""
    if rests(state, mechanism):
        return {state}
    if not fuel:
        return None
    found: set[State] = set()
    for step in mechanism:
        if evaluate(MACHINE, step.guard, state):
            further = ends(fire(MACHINE, rule(step), state), mechanism, fuel - 1)
            if further is None:
                return None
            found |= further
    return found


def judge_fusing_gives_every_way_to_settle_and_no_other(
    steps: list[tuple[Expr, dict[str, bool]]], guard: Expr, changes: dict[str, bool]
) -> None:
    """See the test that calls this."""
    mechanism = [draft(f"m{n}", g, u) for n, (g, u) in enumerate(steps) if g not in (TRUE, FALSE)]
    act = draft("act", guard, changes, Actor.CREW)
    assume(guard != FALSE)
    fuser = Fuser(tuple(mechanism), {})
    resting = [state for state in product((False, True), repeat=len(NAMES)) if rests(state, mechanism)]
    expected = {
        state: ends(fire(MACHINE, rule(act), state), mechanism) for state in resting if evaluate(MACHINE, guard, state)
    }
    try:
        fused = list(fuser.settle(act))
    except NeverSettles:
        # over-cautious only about chains that no state at rest sets off; never silent about one that does
        return
    assert None not in expected.values()
    for state in resting:
        got = {
            fire(MACHINE, Rule("r", act.actor, way.guard, tuple(way.updates.items())), state)
            for way in fused
            if evaluate(MACHINE, way.guard, state)
        }
        assert got == expected.get(state, set())


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.tuples(expressions, updates), min_size=1, max_size=3), expressions, updates)
def test_fusing_gives_every_way_to_settle_and_no_other(
    steps: list[tuple[Expr, dict[str, bool]]], guard: Expr, changes: dict[str, bool]
) -> None:
    """From every state at rest the fused rules lead to exactly the states in which act and mechanism can end."""
    judge_fusing_gives_every_way_to_settle_and_no_other(steps, guard, changes)


@pytest.mark.thorough
@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.lists(st.tuples(expressions, updates), min_size=1, max_size=3), expressions, updates)
def test_fusing_gives_every_way_of_many_mechanisms(
    steps: list[tuple[Expr, dict[str, bool]]], guard: Expr, changes: dict[str, bool]
) -> None:
    """The same of more of them."""
    judge_fusing_gives_every_way_to_settle_and_no_other(steps, guard, changes)


def test_a_chain_that_never_ends_is_refused() -> None:
    """Two steps that undo one another are reported, not compiled."""
    on = Is("b", True)
    swing = (
        draft("up", conj(on, neg(Is("a", True))), {"a": True}),
        draft("down", conj(on, Is("a", True)), {"a": False}),
    )
    with pytest.raises(NeverSettles):
        list(Fuser(swing, {}).settle(draft("act", TRUE, {"b": True}, Actor.CREW)))


@settings(max_examples=300, deadline=None, derandomize=True)
@given(expressions)
def test_may_hold_is_satisfiability_over_independent_variables(expr: Expr) -> None:
    """For Boolean variables it is exact."""
    exact = any(evaluate(MACHINE, expr, state) for state in product((False, True), repeat=len(NAMES)))
    assert may_hold(expr) == exact


def test_steps_that_have_nothing_to_do_with_one_another_come_in_one_order() -> None:
    """Of four that follow or not, each by itself, there are the sixteen choices, not the 65 orders of them."""
    follows = [draft(name, Is(name, False), {name: True}) for name in NAMES]
    free = [
        UnfusedRule(d.name, d.actor, conj(d.guard, Is("go", True), Is(f"may_{d.name}", True)), d.updates, d.text)
        for d in follows
    ]
    found = list(Fuser(tuple(free), {}).settle(draft("act", TRUE, {"go": True}, Actor.CREW)))
    assert len(found) == 16
    assert len({frozenset(step.name for step in way.responses) for way in found}) == 16


GO = Is("go", True)
NOT_A, NOT_B = Is("done a", False), Is("done b", False)


@pytest.mark.parametrize(
    ("a", "b", "orders"),
    [
        # both write the same: the last one counts
        ((conj(GO, NOT_A), {"done a": True, "v": 1}), (conj(GO, NOT_B), {"done b": True, "v": 2}), {"ab", "ba"}),
        # the first keeps the second from happening
        ((conj(GO, NOT_A), {"done a": True}), (conj(GO, NOT_A, NOT_B), {"done b": True}), {"a", "ba"}),
        # the second may be what makes the first possible
        (
            (conj(GO, NOT_A, disj(Is("c", True), Is("done b", True))), {"done a": True}),
            (conj(GO, NOT_B), {"done b": True}),
            {"ab", "ba"},
        ),
    ],
)
def test_steps_that_have_to_do_with_one_another_come_in_every_order(
    a: tuple[Expr, dict[str, Value]], b: tuple[Expr, dict[str, Value]], orders: set[str]
) -> None:
    """No order stands for another where a step writes what the other reads or writes."""
    steps = tuple(UnfusedRule(name, Actor.MECHANISM, guard, said, name) for name, (guard, said) in (("a", a), ("b", b)))
    found = Fuser(steps, {}).settle(UnfusedRule("act", Actor.CREW, conj(neg(GO), NOT_A, NOT_B), {"go": True}, "act"))
    assert {"".join(step.name for step in way.responses) for way in found} == orders
