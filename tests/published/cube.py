"""The cube of two by two by two, turned in small steps so that each writes constants.

One corner is held, so three faces turn.  A cell holds a piece and says along which axis its marked side faces; a
quarter turn of the face that lies towards an axis carries four pieces round and exchanges the other two axes.  All at
once that would be 68,040 rules for each turn; here a spare cell takes one piece, the others follow one by one, and
`turning` says where the turn has got to.  Every turn takes the same number of steps, so what lies at a multiple of it
is at rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

from interlock.kernel.expressions import Is, Value, conj
from interlock.kernel.machine import Machine, Rule, Variable

from .cases import step

Cell = tuple[int, int, int]
Move = tuple[str, str, str]
"""From a cell to a cell, and the axis of the turn; "" where the piece is only put aside."""

AXES = "xyz"
HELD: Cell = (0, 0, 0)
CELLS: list[Cell] = [(x, y, z) for x, y, z in product((0, 1), repeat=3) if (x, y, z) != HELD]
NAME = {cell: "cell" + "".join(map(str, cell)) for cell in CELLS}
PIECES: tuple[Value, ...] = tuple(f"{NAME[cell]}.{axis}" for cell in CELLS for axis in AXES)
SPARE, NONE, REST = "spare", "none", "rest"


def turned(value: Value, axis: str) -> Value:
    """The piece after a quarter turn about the axis, either way: its marked side faces along the other other axis."""
    piece, _, mark = str(value).partition(".")
    if not axis or mark == axis:
        return value
    (other,) = set(AXES) - {axis, mark}
    return f"{piece}.{other}"


def ring(axis: str) -> list[str]:
    """The four cells of the face towards the axis, as a quarter turn carries one to the next."""
    at = AXES.index(axis)
    rounds = ((0, 0), (1, 0), (1, 1), (0, 1))
    # the other two coordinates in cyclic order, so that all faces turn the same way seen from outside
    first, second = (at + 1) % 3, (at + 2) % 3
    cells = []
    for here in rounds:
        cell = [1, 1, 1]
        cell[first], cell[second] = here
        cells.append(NAME[cell[0], cell[1], cell[2]])
    return cells


def quarter(axis: str, back: bool) -> list[Move]:
    """A quarter turn: one piece aside, three follow, the one put aside comes last."""
    a, b, c, d = ring(axis)[::-1] if back else ring(axis)
    return [(a, SPARE, ""), (d, a, axis), (c, d, axis), (b, c, axis), (SPARE, b, axis)]


def half(axis: str) -> list[Move]:
    """A half turn: two exchanges across; the marks are exchanged twice, so they stay."""
    a, b, c, d = ring(axis)
    return [(a, SPARE, ""), (c, a, ""), (SPARE, c, ""), (b, SPARE, ""), (d, b, ""), (SPARE, d, "")]


def cube(with_halves: bool = False) -> tuple[Machine, int]:
    """The machine, from the solved cube, and how many steps a turn takes; half turns count as one where they are in."""
    turns: dict[str, Sequence[Move | None]] = {}
    for axis in AXES:
        for back in (False, True):
            # waits for one step where half turns take that many
            turns[f"{axis}{'-' if back else '+'}"] = [*quarter(axis, back), *([None] if with_halves else [])]
        if with_halves:
            turns[f"{axis}{axis}"] = half(axis)
    stages = [f"{name}{at}" for name, moves in turns.items() for at in range(1, len(moves))]
    variables = [Variable(NAME[cell], PIECES, (f"{NAME[cell]}.x",)) for cell in CELLS]
    variables += [Variable(SPARE, (*PIECES, NONE), (NONE,)), Variable("turning", (REST, *stages), (REST,))]
    rules = [rule for name, moves in turns.items() for rule in _rules(name, moves)]
    (length,) = {len(moves) for moves in turns.values()}
    return Machine(tuple(variables), (), tuple(rules)), length


def _rules(name: str, moves: Sequence[Move | None]) -> Iterator[Rule]:
    for at, move in enumerate(moves):
        here = f"{name}{at}" if at else REST
        after = f"{name}{at + 1}" if at + 1 < len(moves) else REST
        if move is None:
            yield step(f"{name}{at} wait", Is("turning", here), {"turning": after})
            continue
        source, sink, axis = move
        for value in PIECES:
            update = {sink: turned(value, axis), "turning": after} | ({SPARE: NONE} if source == SPARE else {})
            yield step(f"{name}{at} {value}", conj(Is("turning", here), Is(source, value)), update)
