"""Many walks at once: each is a run by the reference evaluator, and states are told apart by the right bits."""

from __future__ import annotations

import random

from interlock.kernel.evaluator import State, fire, initial_states, is_enabled
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import LocalRules
from interlock.prove.core.samples import bits_of
from interlock.prove.invariants.sampling import Walks
from tests.agreement.random_machines import random_case

WALKS = 8


def states_of(walks: Walks) -> list[State]:
    """Where each walk is; each of its facts is so or not, and as it is said the other way round."""
    encoding = walks.rules.encoding
    places = []
    for walk in range(WALKS):
        so = {x: bool(walks.masks[x] >> walk & 1) for x in encoding.facts if abs(x) != TRUTH}
        assert all(so[x] is not so[-x] for x in so)
        model = [at if so.get(at, at == TRUTH) else -at for at in range(1, encoding.facts_top + 1)]
        places.append(encoding.decode(model))
    return places


def test_walks_are_runs() -> None:
    """Where a rule has fired it was enabled, and the state is the one after it; in all other walks nothing changed."""
    fired_in_all = 0
    for seed in range(25):
        machine, _ = random_case(seed)
        starts = [start for start, _ in zip(initial_states(machine), range(WALKS), strict=False)]
        if not starts:
            continue
        walks = Walks(LocalRules(machine), WALKS)
        walks.place(starts)
        at = states_of(walks)
        assert at == [starts[walk % len(starts)] for walk in range(WALKS)]

        def watch(number: int, fired: int) -> None:
            nonlocal at, fired_in_all
            rule = machine.rules[number]  # noqa: B023  (asked before the next machine is made)
            moves = [bool(fired >> walk & 1) for walk in range(WALKS)]
            assert all(is_enabled(machine, rule, state) for state, moved in zip(at, moves, strict=True) if moved)  # noqa: B023
            at = [fire(machine, rule, state) if moved else state for state, moved in zip(at, moves, strict=True)]  # noqa: B023
            assert states_of(walks) == at  # noqa: B023
            fired_in_all += sum(moves)

        for _ in range(4):
            walks.sweep(watch)
    assert fired_in_all > 200


def test_bits_say_what_is_where() -> None:
    """Per value the entries that have it, also of a thousand values, and of none."""
    draw = random.Random(1)
    for size in (2, 255, 256, 1_000):
        domain = tuple(range(size))
        column = [draw.choice(domain) for _ in range(300)]
        bits = bits_of(column, domain)
        assert {value: [at for at in range(300) if bits[value] >> at & 1] for value in domain} == {
            value: [at for at, met in enumerate(column) if met == value] for value in domain
        }
    assert bits_of([], ("a", "b")) == {"a": 0, "b": 0}
