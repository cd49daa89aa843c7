"""Pieces on a square board, each sliding along its own row or column; one of them is to come to the right edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from interlock.kernel.expressions import Expr, Is, Value, conj, disj, neg
from interlock.kernel.machine import Machine, Variable

from .cases import can, step

SIDE = 6


@dataclass(frozen=True, slots=True)
class Piece:
    """It begins at a row and a column, from 0 at the top left, and covers `length` cells across or down from there."""

    row: int
    column: int
    length: int
    direction: Literal["across", "down"]

    @property
    def begins(self) -> int:
        """Its place along the line in which it slides."""
        return self.column if self.direction == "across" else self.row

    def cells(self, place: int) -> set[tuple[int, int]]:
        """What it covers when it begins at that place of its line."""
        along = range(place, place + self.length)
        if self.direction == "across":
            return {(self.row, at) for at in along}
        return {(at, self.column) for at in along}


def sliding_pieces(pieces: tuple[Piece, ...], walls: frozenset[tuple[int, int]] = frozenset()) -> Machine:
    """One rule for each slide of a piece, whatever its length, over cells that are free.

    The goal is that the first piece stands at the right edge.  A variable holds the place of its piece.
    """
    names = {piece: f"piece{number}" for number, piece in enumerate(pieces)}
    places = {piece: range(SIDE - piece.length + 1) for piece in pieces}

    def is_free(cell: tuple[int, int], mover: Piece) -> Expr:
        return neg(
            disj(
                *(
                    Is(names[piece], place)
                    for piece in pieces
                    if piece != mover
                    for place in places[piece]
                    if cell in piece.cells(place)
                )
            )
        )

    rules = []
    for piece, name in names.items():
        for here in places[piece]:
            for there in places[piece]:
                swept = set().union(*(piece.cells(at) for at in range(min(here, there), max(here, there) + 1)))
                if here != there and not swept & walls:
                    entered = sorted(swept - piece.cells(here))
                    guard = conj(Is(name, here), *(is_free(cell, piece) for cell in entered))
                    rules.append(step(f"slide {name} from {here} to {there}", guard, {name: there}))
    domains: dict[Piece, tuple[Value, ...]] = {piece: tuple(places[piece]) for piece in pieces}
    variables = tuple(Variable(name, domains[piece], (piece.begins,)) for piece, name in names.items())
    first = pieces[0]
    return Machine(variables, (), tuple(rules), (can("goal", Is(names[first], places[first][-1])),))


THIRTEEN_PIECES = (
    Piece(2, 3, 2, "across"),
    Piece(0, 1, 2, "across"),
    Piece(3, 0, 3, "across"),
    Piece(4, 4, 2, "across"),
    Piece(5, 0, 2, "across"),
    Piece(5, 3, 2, "across"),
    Piece(0, 0, 3, "down"),
    Piece(1, 1, 2, "down"),
    Piece(1, 2, 2, "down"),
    Piece(4, 2, 2, "down"),
    Piece(3, 3, 2, "down"),
    Piece(0, 4, 2, "down"),
    Piece(1, 5, 3, "down"),
)

TWELVE_PIECES = (
    Piece(2, 1, 2, "across"),
    Piece(0, 1, 2, "across"),
    Piece(1, 4, 2, "across"),
    Piece(3, 3, 2, "across"),
    Piece(4, 0, 2, "across"),
    Piece(5, 0, 2, "across"),
    Piece(5, 2, 3, "across"),
    Piece(0, 0, 2, "down"),
    Piece(2, 0, 2, "down"),
    Piece(3, 2, 2, "down"),
    Piece(1, 3, 2, "down"),
    Piece(3, 5, 3, "down"),
)
"""With one cell walled up, `WALL`."""

WALL = frozenset({(0, 3)})
