"""The plan with everything that can come to be seen on it, so that whoever knows a state can show what is so.

What is seen only at times is a group with `data-when`: the number of the expression that is true while it is seen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from xml.etree import ElementTree

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Move
from interlock.hold.language.model import Direction
from interlock.kernel.expressions import Expr
from interlock.report.drawing import marks
from interlock.report.drawing.grid import Grid
from interlock.report.drawing.legend import draw_key
from interlock.report.drawing.movables import (
    draw_crossing,
    draw_device,
    draw_door,
    draw_door_words,
    draw_drive,
    draw_people,
    draw_resting,
)
from interlock.report.drawing.plan import draw_plan
from interlock.report.drawing.shapes import FONTS, PAPER, Box, Tell, as_text, element, number
from interlock.report.views.appearances import Appearances
from interlock.report.views.snapshot import Snapshot

_TARGET = 24.0
"""Pixels each way that a finger needs: WCAG 2.2, 2.5.8."""
_KEY_WIDTH = 760.0


def living_plan_svg(compiled: CompiledHold, seen: Appearances, row_of: Callable[[Expr], int], tell: Tell = str) -> str:
    """The plan; `row_of` numbers expressions.  Elements carry `data-id`, an id of the description."""
    everything = _Everything(compiled, seen, row_of)
    return draw_plan(compiled, compiled.hold.title, everything, lambda root, top, width: top, tell=tell)


def key_svg(compiled: CompiledHold, seen: Appearances, tell: Tell = str) -> str:
    """What all of its marks mean."""
    root = ElementTree.Element("svg", {"xmlns": "http://www.w3.org/2000/svg"})
    paper = element(root, "rect", fill=PAPER)
    height = draw_key(root, compiled, _anything(seen), 0.0, _KEY_WIDTH, tell)
    for name, value in (("width", _KEY_WIDTH), ("height", height)):
        paper.set(name, number(value))
        root.set(name, number(value))
    root.set("viewBox", f"0 0 {number(_KEY_WIDTH)} {number(height)}")
    root.set("role", "img")
    root.set("aria-label", tell(say("What the marks on the plan mean")))
    root.set("font-family", FONTS)
    return as_text(root)


def _anything(seen: Appearances) -> Snapshot:
    """A picture, of no state, in which everything is seen that can be."""
    crossings = tuple(one.unit for one in seen.units if isinstance(one.unit, Move))
    # in this order what is kept down by hand is the last that is said of a device
    devices = {one.device.id: one.state for one in sorted(seen.devices, key=lambda one: one.state == "kept_down")}
    return Snapshot(
        devices,
        {one.facts[0]: one.facts for one in seen.doors},
        (),
        crossings,
        tuple((one.bay, one.way) for one in seen.runs),
        (),
        {one.person: one.bay for one in seen.people},
        (),
        frozenset(one.device for one in seen.failures),
    )


@frozen
class _Everything:
    compiled: CompiledHold
    seen: Appearances
    row_of: Callable[[Expr], int]

    def _when(self, parent: ElementTree.Element, expr: Expr) -> ElementTree.Element:
        return element(parent, "g", klass="at-times", data_when=str(self.row_of(expr)))

    def draw_doors(self, root: ElementTree.Element, grid: Grid) -> None:
        for one in self.seen.doors:
            draw_door(self._when(root, one.when), grid, one.door, one.facts)

    def draw_units(self, root: ElementTree.Element, grid: Grid) -> None:
        for one in self.seen.units:
            group = self._when(root, one.when)
            if isinstance(one.unit, Move):
                draw_crossing(group, self.compiled, grid, one.unit)
            else:
                draw_resting(group, self.compiled, grid, one.unit)

    def draw_devices(self, root: ElementTree.Element, grid: Grid) -> None:
        for slot in grid.slots():
            place = element(root, "g", klass="place", data_id=slot.device.id)
            half = _TARGET / 2
            target = Box(slot.x - half, slot.y - half, slot.x + half, slot.y + half + 8)
            element(place, "rect", **target.sides, fill=PAPER, fill_opacity=0.0)
            for one in self.seen.devices:
                if one.device.id == slot.device.id:
                    draw_device(self._when(place, one.when), grid, slot, one.state)
            for failure in self.seen.failures:
                if failure.device == slot.device.id:
                    marks.draw_failed(self._when(place, failure.when), slot.x, slot.y)

    def draw_rest(self, root: ElementTree.Element, grid: Grid) -> None:
        for door in self.seen.doors:
            draw_door_words(self._when(root, door.when), grid, door.door, door.facts)
        for bay, way, place, when in self._runs():
            draw_drive(self._when(root, when), grid, bay, {way: place})
        for at, person in enumerate(dict.fromkeys(one.person for one in self.seen.people)):
            for one in self.seen.people:
                if one.person == person:
                    draw_people(self._when(root, one.when), grid, one.bay, {person: at})

    def _runs(self) -> Iterator[tuple[str, Direction, int, Expr]]:
        """Each with its place beside the others of its bay: drives of one axis never hide one another."""
        places: dict[str, int] = {}
        for one in self.seen.runs:
            place = places.get(one.bay, 0)
            places[one.bay] = place + 1
            yield one.bay, one.way, place, one.when
