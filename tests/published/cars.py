"""Cars on a board of six by six, each sliding along its own row or column; one of them wants out on the right."""

from __future__ import annotations

from interlock.kernel.expressions import Expr, Is, Value, conj, disj, neg
from interlock.kernel.machine import Machine, Variable

from .cases import can, step

SIDE = 6
FREE, WALL, LEAVING = "o", "x", "A"


def sliding_cars(board: str) -> Machine:
    """The board row by row: a letter for each car, `o` for a free cell, `x` for a wall that stays.

    One rule for each slide of a car, whatever its length, over cells that are free.  The goal is that car A stands at
    the right edge.  A variable holds the row or column in which its car begins.
    """
    cells: dict[str, list[tuple[int, int]]] = {}
    for at, letter in enumerate(board):
        cells.setdefault(letter, []).append(divmod(at, SIDE))
    walls = set(cells.pop(WALL, []))
    cells.pop(FREE, None)
    lies = {car: own[0][0] == own[1][0] for car, own in cells.items()}
    lane = {car: own[0][0] if lies[car] else own[0][1] for car, own in cells.items()}
    begin = {car: own[0][1] if lies[car] else own[0][0] for car, own in cells.items()}
    places = {car: range(SIDE - len(own) + 1) for car, own in cells.items()}

    def covered(car: str, place: int) -> set[tuple[int, int]]:
        along = range(place, place + len(cells[car]))
        return {(lane[car], at) if lies[car] else (at, lane[car]) for at in along}

    def is_free(cell: tuple[int, int], mover: str) -> Expr:
        on_it = [
            Is(car, place) for car in cells if car != mover for place in places[car] if cell in covered(car, place)
        ]
        return neg(disj(*on_it))

    rules = []
    for car in sorted(cells):
        for here in places[car]:
            for there in places[car]:
                swept = set().union(*(covered(car, at) for at in range(min(here, there), max(here, there) + 1)))
                if here != there and not swept & walls:
                    entered = sorted(swept - covered(car, here))
                    guard = conj(Is(car, here), *(is_free(cell, car) for cell in entered))
                    rules.append(step(f"slide {car} from {here} to {there}", guard, {car: there}))
    domains: dict[str, tuple[Value, ...]] = {car: tuple(places[car]) for car in cells}
    variables = tuple(Variable(car, domains[car], (begin[car],)) for car in sorted(cells))
    return Machine(variables, (), tuple(rules), (can("goal", Is(LEAVING, places[LEAVING][-1])),))
