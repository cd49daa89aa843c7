"""Puzzles as state machines, on terms that the kernel offers: finite variables, guards, constant updates."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations, product
from typing import Literal

from interlock.kernel.expressions import Expr, Is, Value, assign, conj, disj, neg, one_of
from interlock.kernel.machine import Machine, Rule, Variable

from .cases import by_case, can, is_exactly, never, same_value, step, switch, up_to

SIDES: tuple[Value, ...] = ("near", "far")
OPPOSITE: dict[Value, Value] = {"near": "far", "far": "near"}


def wolf_goat_cabbage() -> Machine:
    """A farmer ferries three things, one at a time; wolf and goat, goat and cabbage are never left alone."""
    cargo = ("wolf", "goat", "cabbage")
    unsafe = disj(
        *(
            conj(same_value(eater, eaten, SIDES), neg(same_value("farmer", eaten, SIDES)))
            for eater, eaten in (("wolf", "goat"), ("goat", "cabbage"))
        )
    )
    rules = []
    for side in SIDES:
        for load in ((), *((thing,) for thing in cargo)):
            crossing = dict.fromkeys(("farmer", *load), OPPOSITE[side])
            guard = conj(*(Is(name, side) for name in crossing), assign(neg(unsafe), crossing))
            rules.append(step(f"row {'+'.join(crossing)} from {side}", guard, crossing))
    people = ("farmer", *cargo)
    variables = tuple(Variable(name, SIDES, ("near",)) for name in people)
    goal = conj(*(Is(name, "far") for name in people))
    return Machine(variables, (), tuple(rules), (can("goal", goal), never("eaten", unsafe)))


def missionaries(n: int, boat: int) -> Machine:
    """n missionaries and n cannibals; cannibals never outnumber missionaries on a bank or in the boat.

    `missionaries` and `cannibals` count those on the near bank.
    """
    counts = (up_to("missionaries", n, n), up_to("cannibals", n, n))
    shore = Variable("boat", SIDES, ("near",))

    def is_safe(m: int, c: int) -> bool:
        return 0 <= m <= n and 0 <= c <= n and m in (0, n, c)

    rules: list[Rule] = []
    for m_load, c_load in product(range(boat + 1), repeat=2):
        if not 1 <= m_load + c_load <= boat or 0 < m_load < c_load:
            continue

        def cross(m: int, c: int, side: Value, m_load: int = m_load, c_load: int = c_load) -> tuple[Value, ...] | None:
            sign = -1 if side == "near" else 1
            m_after, c_after = m + sign * m_load, c + sign * c_load
            return (m_after, c_after, OPPOSITE[side]) if is_safe(m_after, c_after) else None

        rules += by_case(f"row {m_load}m{c_load}c", (*counts, shore), cross)
    goal = is_exactly({"missionaries": 0, "cannibals": 0, "boat": "far"})
    return Machine((*counts, shore), (), tuple(rules), (can("goal", goal),))


def jealous_husbands(n: int, boat: int, relaxed: bool = False) -> Machine:
    """n couples; no wife is with a man unless her husband is there, ashore or in the boat.

    Relaxed: a wife in the boat at a shore counts as away from it, so only the three groups during a crossing matter.
    """
    wives, husbands = [f"wife{i}" for i in range(n)], [f"husband{i}" for i in range(n)]

    def bank(side: Value, people: Iterable[str]) -> Expr:
        ashore = frozenset(people)
        return conj(
            *(
                disj(neg(Is(wife, side)), Is(husband, side) if husband in ashore else disj(), neg(Is(man, side)))
                for wife, husband in zip(wives, husbands, strict=True)
                for man in husbands
                if wife in ashore and man in ashore and man != husband
            )
        )

    everyone = (*wives, *husbands)
    rules = []
    for size in range(1, boat + 1):
        for party in combinations(everyone, size):
            men = [who for who in party if who in husbands]
            if any(men and husbands[wives.index(who)] not in party for who in party if who in wives):
                continue
            others = [who for who in everyone if who not in party]
            for side in SIDES:
                there = OPPOSITE[side]
                landed = dict.fromkeys(("boat", *party), there)
                rest = others if relaxed else everyone
                safe = conj(bank(side, others), assign(bank(there, rest), landed))
                rules.append(
                    step(
                        f"row {'+'.join(party)} from {side}",
                        conj(*(Is(name, side) for name in landed), safe),
                        landed,
                    )
                )
    names = ("boat", *everyone)
    goal = conj(*(Is(name, "far") for name in names))
    return Machine(tuple(Variable(name, SIDES, ("near",)) for name in names), (), tuple(rules), (can("goal", goal),))


def jugs(a: int, b: int, target: int) -> Machine:
    """Two jugs of a and b, a tap and a drain; the goal is `target` in jug b (in either, where it fits both)."""
    jug_a, jug_b = up_to("a", a), up_to("b", b)
    rules = [
        *by_case("fill a", (jug_a,), lambda _x: (a,)),
        *by_case("fill b", (jug_b,), lambda _y: (b,)),
        *by_case("empty a", (jug_a,), lambda _x: (0,)),
        *by_case("empty b", (jug_b,), lambda _y: (0,)),
        *by_case("pour a into b", (jug_a, jug_b), lambda x, y: (x - min(x, b - y), y + min(x, b - y))),
        *by_case("pour b into a", (jug_a, jug_b), lambda x, y: (x + min(y, a - x), y - min(y, a - x))),
    ]
    goal = disj(*(Is(jug.name, target) for jug in (jug_a, jug_b) if target in jug.domain))
    return Machine((jug_a, jug_b), (), tuple(rules), (can("goal", goal),))


def decanting(large: int, middle: int, small: int) -> Machine:
    """Three jugs, the large one full; nothing is added or spilt; the goal is to halve the contents."""
    jars = (up_to("large", large, large), up_to("middle", middle), up_to("small", small))

    def pour(full: int, room: int, size: int) -> tuple[int, int]:
        amount = min(full, size - room)
        return full - amount, room + amount

    rules: list[Rule] = []
    for source, sink in product(jars, repeat=2):
        if source != sink:
            size = len(sink.domain) - 1
            rules += by_case(
                f"pour {source.name} into {sink.name}", (source, sink), lambda x, y, size=size: pour(x, y, size)
            )
    goal = is_exactly({"large": large // 2, "middle": large // 2, "small": 0})
    return Machine(jars, (), tuple(rules), (can("goal", goal),))


def hanoi(
    pegs: int, discs: int, variant: Literal["free", "clockwise", "adjacent"] = "free", target: int | None = None
) -> Machine:
    """Discs from 0 (smallest) up, all on peg 0, none ever on a smaller one; all shall reach `target` (the last peg)."""
    names = [f"disc{i}" for i in range(discs)]
    rules = []
    for size, (here, there) in product(range(discs), product(range(pegs), repeat=2)):
        if here == there:
            continue
        if variant == "clockwise" and there != (here + 1) % pegs:
            continue
        if variant == "adjacent" and abs(here - there) != 1:
            continue
        smaller = (neg(one_of(name, (here, there))) for name in names[:size])
        guard = conj(Is(names[size], here), *smaller)
        rules.append(step(f"move disc{size} from {here} to {there}", guard, {names[size]: there}))
    last = pegs - 1 if target is None else target
    variables = tuple(Variable(name, tuple(range(pegs)), (0,)) for name in names)
    return Machine(variables, (), tuple(rules), (can("goal", conj(*(Is(name, last) for name in names))),))


def sliding(rows: int, cols: int, blank: tuple[int, int]) -> Machine:
    """Numbered tiles in a tray with one gap; tile 0 is the gap, which starts at `blank` with the tiles in order.

    The goal is an odd permutation of the start (two tiles exchanged), which no sequence of slides can reach.
    """
    cells = list(product(range(rows), range(cols)))
    name = {cell: f"cell{cell[0]}{cell[1]}" for cell in cells}
    tiles = range(1, len(cells))
    start = dict(zip((cell for cell in cells if cell != blank), tiles, strict=True)) | {blank: 0}
    rules = []
    for gap, (down, right) in product(cells, ((-1, 0), (0, -1), (0, 1), (1, 0))):
        tile_cell = (gap[0] + down, gap[1] + right)
        if tile_cell in name:
            for tile in tiles:
                guard = conj(Is(name[gap], 0), Is(name[tile_cell], tile))
                update: dict[str, Value] = {name[gap]: tile, name[tile_cell]: 0}
                rules.append(step(f"slide {tile} from {name[tile_cell]} to {name[gap]}", guard, update))
    variables = tuple(Variable(name[cell], tuple(range(len(cells))), (start[cell],)) for cell in cells)
    first, second = [cell for cell in cells if cell != blank][:2]
    swapped = start | {first: start[second], second: start[first]}
    goal = is_exactly({name[cell]: tile for cell, tile in swapped.items()})
    return Machine(variables, (), tuple(rules), (can("goal", goal),))


def parity_grid(n: int) -> Machine:
    """n by n cells, all even; touching one changes the parity of it and its edge-neighbours; the goal is all odd."""
    cells = {cell: switch(f"odd{cell[0]}{cell[1]}") for cell in product(range(n), repeat=2)}
    rules: list[Rule] = []
    for row, col in cells:
        near = ((row, col), (row - 1, col), (row, col - 1), (row, col + 1), (row + 1, col))
        changed = [cells[cell] for cell in near if cell in cells]
        rules += by_case(f"touch {row}{col}", changed, lambda *odd: tuple(not one for one in odd))
    all_odd = conj(*(Is(cell.name, True) for cell in cells.values()))
    return Machine(tuple(cells.values()), (), tuple(rules), (can("goal", all_odd),))


def peg_solitaire() -> Machine:
    """The 33-hole cross board, every hole filled but the centre; a peg jumps another into a free hole."""
    holes = [(row, col) for row, col in product(range(7), repeat=2) if 2 <= row <= 4 or 2 <= col <= 4]
    name = {hole: f"hole{hole[0]}{hole[1]}" for hole in holes}
    rules = []
    for (row, col), (down, right) in product(holes, ((-1, 0), (0, -1), (0, 1), (1, 0))):
        over, to = (row + down, col + right), (row + 2 * down, col + 2 * right)
        if to in name:
            guard = conj(Is(name[row, col], True), Is(name[over], True), Is(name[to], False))
            update: dict[str, Value] = {name[row, col]: False, name[over]: False, name[to]: True}
            rules.append(step(f"jump {name[row, col]} to {name[to]}", guard, update))
    variables = tuple(switch(name[hole], hole != (3, 3)) for hole in holes)
    goal = is_exactly({name[hole]: hole == (3, 3) for hole in holes})
    return Machine(variables, (), tuple(rules), (can("goal", goal),))
