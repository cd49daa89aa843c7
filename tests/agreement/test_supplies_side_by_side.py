"""What one supply changes beside others, told a second time: by the truths in every state of everything else."""

from __future__ import annotations

from itertools import product
from random import Random

import pytest

from interlock.hold.compile.compiler import compile_hold
from interlock.hold.compile.supplies import carried_without, supplies_of
from interlock.hold.loader import Source, load_hold
from interlock.hold.origin import Aspect, Condition, Fact, Sort, Subject
from interlock.kernel.evaluator import truths_in
from interlock.kernel.expressions import Ref
from tests.agreement.hold_texts import doorway, hold_text
from tests.some import swept

SUPPLIES = ("S1", "S2", "S3")


def drawn(draw: Random, named: tuple[str, ...], depth: int) -> str:
    """An expression about supplies, switches, and what is `named`."""
    if depth == 0 or draw.random() < 0.2:
        return draw.choice((*(f"{one} is on" for one in SUPPLIES), "S1 is off", "A is on", "B is on", *named))
    word = draw.choice(("and", "or", "or", "not", "implies"))
    first = drawn(draw, named, depth - 1)
    return f"not ({first})" if word == "not" else f"(({first}) {word} ({drawn(draw, named, depth - 1)}))"


def text(draw: Random) -> str:
    return hold_text(
        doorways=doorway("1C", "left"),
        rest=f"""\
controls:
  - {{id: A, kind: switch, positions: [off, on], starts: off}}
  - {{id: B, kind: switch, positions: [off, on], starts: off}}
  - {{id: L, kind: lever, positions: [left, right]}}
supplies:
  - {{id: S1, starts: off, may_be_lost: true}}
  - {{id: S2, starts: off, may_be_lost: true}}
  - {{id: S3, starts: off, may_be_lost: true}}
relays:
  - {{id: r, sets: "L is left and ({drawn(draw, ("c",), 2)})", drops: "L is right or ({drawn(draw, ("s",), 2)})"}}
sensors:
  - {{id: s, reads: {drawn(draw, (), 2)}}}
circuits:
  - {{id: c, use: logic, is: {drawn(draw, ("s",), 2)}}}
  - {{id: wired, use: power, is: {drawn(draw, ("c", "s", "r"), 3)}}}
zones:
  - {{id: Z, bays: [1C], power: wired, commands: [{{left: L is left}}]}}
""",
    )


def differences(seed: int) -> int:
    """How many states were looked at; AssertionError where the supply makes a difference that was not foretold."""
    written = text(Random(seed))
    loaded = load_hold(Source("test.yaml", written.encode()), lambda name: None)
    assert loaded.value is not None, loaded.diagnostics
    compiled = compile_hold(loaded.value).compiled
    if compiled is None:
        return 0  # a relay of it never comes to rest
    hold, machine = compiled.hold, compiled.machine
    supplies = supplies_of(hold, hold.zones[0])
    names = [variable.name for variable in machine.variables]
    at = {one: names.index(Condition(Subject(Sort.SUPPLY, one), Aspect.STATE).name) for one in SUPPLIES}
    free = [n for n, name in enumerate(names) if name.startswith(("control.", "relay."))]
    assert len(free) == 4 and names[free[-1]].startswith("relay.")
    sets, drops = (Fact(Subject(Sort.RELAY, "r"), what).name for what in ("sets", "drops"))
    looked = 0
    for supply in supplies:
        for chosen in carried_without(hold, hold.zones[0], supply) or ():
            wired: dict[tuple[object, ...], bool] = {}
            relay = []
            for values in product(*(machine.variables[n].domain for n in free)):
                state = [variable.init[0] for variable in machine.variables]
                for n, value in zip(free, values, strict=True):
                    state[n] = value
                for other in supplies:
                    state[at[other]] = "on" if other in chosen else "off"
                pair = []
                for on in ("off", "on"):
                    state[at[supply]] = on
                    true = truths_in(machine, tuple(state))
                    pair.append([true(Ref(name)) for name in ("circuit.wired", sets, drops)])
                assert pair[0][0] == pair[1][0], (seed, supply, chosen, written)
                wired[values] = pair[0][0]
                relay.append(pair[0][1:] == pair[1][1:])
                looked += 1
            # the relay comes last
            if any(
                wired[values] != wired[*values[:-1], other] for values in wired for other in ("released", "energised")
            ):
                assert all(relay), (seed, supply, chosen, written)
    return looked


@pytest.mark.parametrize("block", swept(range(20), every=20))
def test_what_carries_a_zone_leaves_it_as_it_is(block: int) -> None:
    """Beside what is said to carry it, nothing that the zone goes by is another with the supply off than with it on."""
    assert sum(differences(seed) for seed in range(block * 20, block * 20 + 20)) > 100
