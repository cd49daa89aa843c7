"""Random sidings: trucks of one and of two places on a track of cells, let in and out at one door.

What is let in is handed on from cell to cell, and may have to be shifted before something else can leave: what
measures of single distances do not see.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

from interlock.kernel.expressions import Is, conj
from interlock.kernel.machine import Actor, Machine, Rule, Variable
from interlock.kernel.recovery import RecoveryQuestion

SHORT, FRONT, REAR, EMPTY = "short", "front", "rear", "empty"


def siding(cells: int, door: int, polarity: frozenset[str] = frozenset()) -> tuple[Machine, RecoveryQuestion]:
    """The track and whether it can always be emptied; long trucks stand at the door on it and the cell after it.

    The moves of `polarity`, by name, are left out.
    """
    variables = tuple(Variable(f"c{at}", (EMPTY, SHORT, FRONT, REAR), (EMPTY,)) for at in range(cells))
    rules = [rule for rule in _moves(cells, door) if rule.name not in polarity]
    goal = conj(*(Is(f"c{at}", EMPTY) for at in range(cells)))
    return Machine(variables, (), tuple(rules)), RecoveryQuestion("emptied", goal)


def _moves(cells: int, door: int) -> Iterator[Rule]:
    shorts = {at: {f"c{at}": SHORT} for at in range(cells)}
    longs = {at: {f"c{at}": FRONT, f"c{at + 1}": REAR} for at in range(cells - 1)}
    for kind, places in (("short", shorts), ("long", longs)):
        if door in places:
            yield _rule(f"{kind} in", {}, places[door])
            yield _rule(f"{kind} out", places[door], {})
        for at in sorted(places):
            for to in (at - 1, at + 1):
                if to in places:
                    yield _rule(f"{kind} {at} to {to}", places[at], places[to])


def _rule(name: str, before: dict[str, str], after: dict[str, str]) -> Rule:
    old = {cell: before.get(cell, EMPTY) for cell in sorted(before.keys() | after.keys())}
    new = {cell: after.get(cell, EMPTY) for cell in old}
    update = tuple((cell, value) for cell, value in new.items() if value != old[cell])
    return Rule(name, Actor.CREW, conj(*(Is(cell, value) for cell, value in old.items())), update)


def random_siding(seed: int) -> tuple[Machine, RecoveryQuestion]:
    """Four to six cells, the door anywhere; in every other one some moves go one way only."""
    draw = random.Random(seed)
    cells = draw.choice((4, 5, 5, 6))
    door = draw.randrange(cells)
    names = [rule.name for rule in _moves(cells, door) if " to " in rule.name]
    left_out = draw.sample(names, draw.randint(1, 3)) if seed % 2 else []
    return siding(cells, door, frozenset(left_out))
