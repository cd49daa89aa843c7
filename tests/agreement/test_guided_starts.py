"""Guided search where it matters from which initial state a run begins."""

from __future__ import annotations

import pytest

from interlock.kernel.claims import Refuted, Unknown
from interlock.kernel.evaluator import evaluate, fire, initial_states, is_enabled
from interlock.kernel.expressions import Is, conj
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.prove.search.guided import guided

FAR = 30


def keyed_machine(key: tuple[bool, ...]) -> Machine:
    """A counter that is worked with a key which is nowhere to be found but where it is at the start."""
    counter = Variable("counter", tuple(range(FAR + 1)), (0,))
    rules = tuple(
        Rule(f"up {n}", Actor.CREW, conj(Is("key", True), Is("counter", n)), (("counter", n + 1),)) for n in range(FAR)
    )
    return Machine((Variable("key", (False, True), key), counter), (), rules)


@pytest.mark.parametrize("key", [(False, True), (True, False)])
def test_a_run_from_another_start_than_the_first_is_found(key: tuple[bool, ...]) -> None:
    """What cannot be reached from the first initial state is looked for from the others as well."""
    machine = keyed_machine(key)
    (claim,) = guided(machine, (Question("top", Is("counter", FAR)),))
    assert isinstance(claim, Refuted)
    state = claim.trace.states[0]
    assert state in set(initial_states(machine))
    for name, after in zip(claim.trace.rules, claim.trace.states[1:], strict=True):
        assert is_enabled(machine, machine.rule(name), state)
        state = fire(machine, machine.rule(name), state)
        assert state == after
    assert evaluate(machine, Is("counter", FAR), state)


def test_no_run_is_found_without_a_key_at_any_start() -> None:
    """Where no initial state leads there, nothing is claimed."""
    (claim,) = guided(keyed_machine((False,)), (Question("top", Is("counter", FAR)),))
    assert isinstance(claim, Unknown)
