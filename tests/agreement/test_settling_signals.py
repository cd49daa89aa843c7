"""Settling through signals and more than two positions: the fused rules against the plain meaning, drawn at random."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from random import Random

import pytest

from interlock.hold.compile.settling import Fuser, NeverSettles, Settled, UnfusedRule, may_hold
from interlock.kernel.evaluator import State, evaluate, fire
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Ref, Value, conj, disj, expand, neg
from interlock.kernel.machine import Actor, Machine, Rule, Signal, Variable
from tests.some import some

DOMAINS: dict[str, tuple[Value, ...]] = {"a": ("up", "mid", "down"), "b": (False, True), "c": (0, 1, 2)}
FACTS: list[Expr] = [Is(name, value) for name, values in DOMAINS.items() for value in values]
SIGNALS: list[Expr] = [Ref("s"), Ref("t")]
LAMP = Is("b", True)


def an_expr(draw: Random, atoms: Sequence[Expr], depth: int = 2) -> Expr:
    """An expression over the atoms, folded as the compiler folds them."""
    shape = draw.choice(("atom", "not", "and", "or")) if depth else "atom"
    if shape == "atom":
        return draw.choice(atoms)
    if shape == "not":
        return neg(an_expr(draw, atoms, depth - 1))
    args = [an_expr(draw, atoms, depth - 1) for _ in range(draw.choice((2, 2, 3)))]
    return conj(*args) if shape == "and" else disj(*args)


def a_draft(draw: Random, name: str, actor: Actor) -> UnfusedRule:
    written = draw.sample(sorted(DOMAINS), draw.choice((1, 1, 2)))
    guard = an_expr(draw, FACTS + SIGNALS)
    return UnfusedRule(name, actor, guard, {v: draw.choice(DOMAINS[v]) for v in written}, name)


def a_case(seed: int) -> tuple[Machine, list[UnfusedRule], UnfusedRule]:
    """Two signals, the second over the first too; one to three mechanism steps; one act."""
    draw = Random(seed)
    signals = (Signal("t", an_expr(draw, [*FACTS, Ref("s"), Ref("s")])), Signal("s", an_expr(draw, FACTS)))
    machine = Machine(tuple(Variable(name, values, values) for name, values in DOMAINS.items()), signals, ())
    steps = [a_draft(draw, f"m{at}", Actor.MECHANISM) for at in range(draw.choice((1, 2, 3)))]
    if draw.random() < 0.7:
        # each moves on what the one before may have moved, so that chains come about that end
        for at, (read, written) in enumerate((("a", "b"), ("b", "c"), ("c", "c"))[: len(steps)]):
            here, there = draw.choice(DOMAINS[read]), draw.choice(DOMAINS[written])
            guard = conj(Is(read, here), neg(Is(written, there)), disj(*draw.sample(FACTS + SIGNALS, 3)))
            steps[at] = UnfusedRule(f"m{at}", Actor.MECHANISM, guard, {written: there}, f"m{at}")
    return machine, steps, a_draft(draw, "act", Actor.CREW)


def after(machine: Machine, drafts: Sequence[UnfusedRule], state: State) -> State:
    for one in drafts:
        state = fire(machine, Rule(one.name, one.actor, one.guard, tuple(one.updates.items())), state)
    return state


def ways_to_rest(
    machine: Machine, steps: Sequence[UnfusedRule], state: State, so_far: tuple[str, ...] = ()
) -> set[tuple[str, ...]] | None:
    """The names of what happens, in turn, on every way to a state of rest; None when some way does not end."""
    possible = [step for step in steps if evaluate(machine, step.guard, state)]
    if not possible:
        return {so_far}
    found: set[tuple[str, ...]] = set()
    for step in possible:
        further = (
            None
            if len(so_far) > 12
            else ways_to_rest(machine, steps, after(machine, [step], state), (*so_far, step.name))
        )
        if further is None:
            return None
        found |= further
    return found


def test_fused_rules_are_the_ways_to_rest() -> None:
    """From every state at rest the fused rules are the act with each way to settle: steps, end and name, each once."""
    chains = refused = 0
    for seed in range(900):
        machine, steps, act = a_case(seed)
        fuser = Fuser(tuple(steps), machine.definitions)
        states = list(product(*DOMAINS.values()))
        resting = [s for s in states if not any(evaluate(machine, step.guard, s) for step in steps)]
        assert resting == [s for s in states if evaluate(machine, fuser.at_rest(), s)]
        acting = [s for s in resting if evaluate(machine, act.guard, s)]
        expected = {s: ways_to_rest(machine, steps, after(machine, [act], s)) for s in acting}
        try:
            fused = list(fuser.settle(act))
        except NeverSettles:
            refused += 1
            continue
        assert None not in expected.values(), seed
        for state in resting:
            ways = [way for way in fused if evaluate(machine, way.guard, state)]
            names = [tuple(response.name for response in way.responses) for way in ways]
            assert sorted(names) == sorted(expected.get(state) or ()), (seed, state)
            for way in ways:
                by_turns = after(machine, [act, *way.responses], state)
                assert after(machine, [UnfusedRule("at once", act.actor, TRUE, way.updates, "")], state) == by_turns
                chains += len(way.responses) > 1
    assert chains > 50
    assert 20 < refused < 300


def test_substitution_is_the_meaning_afterwards() -> None:
    """An expression with assignments put in is true before them exactly where it is true after them."""
    for seed in some(range(300)):
        machine, steps, act = a_case(seed)
        fuser = Fuser(tuple(steps), machine.definitions)
        expr = an_expr(Random(seed), FACTS + SIGNALS, 3)
        put_in = fuser.substitute(expr, act.updates)
        for state in some(product(*DOMAINS.values())):
            assert evaluate(machine, put_in, state) == evaluate(machine, expr, after(machine, [act], state)), seed


def test_signals_that_nothing_touches_stay_names() -> None:
    """What an assignment cannot change keeps its name, so that guards stay short and told in the trade's words."""
    fuser = Fuser((), {"s": Is("a", "up"), "t": Ref("s")})
    mixed = conj(Ref("t"), LAMP)
    assert fuser.substitute(mixed, {"b": True}) == Ref("t")
    assert fuser.substitute(mixed, {"a": "up"}) == LAMP


def test_may_hold_is_exact_over_independent_signals() -> None:
    """Signals are taken as free: true is said exactly where some setting of variables and signals satisfies it."""
    machine = Machine(
        (*(Variable(n, v, v) for n, v in DOMAINS.items()), *(Variable(n, (False, True), (False,)) for n in "st")),
        (),
        (),
    )
    satisfied = 0
    for seed in range(400):
        draw = Random(seed)
        # three facts of a switch of three positions are left out at once only where it has no position
        freely = an_expr(draw, [*FACTS[:2], LAMP, *SIGNALS, *SIGNALS], 4)
        as_variables = expand(freely, {name: Is(name, True) for name in "st"})
        states = product(*(v.domain for v in machine.variables))
        exact = any(evaluate(machine, as_variables, state) for state in states)
        assert may_hold(freely) == exact, seed
        satisfied += exact
    assert 100 < satisfied < 395


def test_a_chain_through_a_signal_that_never_ends_is_refused_by_name() -> None:
    """The refusal names the act and what comes round again, also where the steps see one another only by a signal."""
    lit = {"lit": Is("b", True)}
    on = UnfusedRule("on", Actor.MECHANISM, conj(Is("c", 1), neg(Ref("lit"))), {"b": True}, "on")
    off = UnfusedRule("off", Actor.MECHANISM, conj(Is("c", 1), Ref("lit")), {"b": False}, "off")
    act = UnfusedRule("act", Actor.CREW, TRUE, {"c": 1}, "act")
    with pytest.raises(NeverSettles) as refused:
        list(Fuser((on, off), lit).settle(act))
    assert refused.value.rule == act
    assert sorted({step.name for step in refused.value.responses}) == ["off", "on"]


def test_an_act_that_sets_nothing_off_stays_as_it_is() -> None:
    """Where no mechanism reads what is written, the guard is the draft's own and nothing follows."""
    step = UnfusedRule("m", Actor.MECHANISM, Is("a", "up"), {"a": "mid"}, "m")
    act = UnfusedRule("act", Actor.CREW, Is("c", 0), {"b": True}, "act")
    assert list(Fuser((step,), {}).settle(act)) == [Settled(act, act.guard, {"b": True}, ())]
    assert list(Fuser((), {}).settle(UnfusedRule("no", Actor.CREW, FALSE, {"b": True}, "no"))) == []
