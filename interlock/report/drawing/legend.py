"""What stands under a plan: the facts that have no place on it, the zones, and what the marks mean."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any
from xml.etree import ElementTree

from interlock.diagnostics.said import joined, say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import DEVICE_KINDS, SPRING_LATCH, Kind, Working
from interlock.hold.language.model import Direction
from interlock.report.drawing import marks
from interlock.report.drawing.grid import NOTE
from interlock.report.drawing.shapes import (
    INK,
    PAPER,
    SOFT,
    UNIT_FILL,
    UNIT_INK,
    Box,
    Tell,
    balls,
    element,
    path_of,
    text_width,
    wrap,
    write,
)
from interlock.report.drawing.words import facts_of
from interlock.report.drawing.zones import LOOKS, says
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.snapshot import Snapshot

_MARGIN = 12.0
_LINE = 16.0
_ENTRY = 24.0
_WIDEST = 1200.0  # the plan of a long hold is wider than a screen; its notes are not

Draw = Callable[[ElementTree.Element, float, float], object]


def draw_notes(
    root: ElementTree.Element,
    compiled: CompiledHold,
    snapshot: Snapshot | None,
    top: float,
    width: float,
    tell: Tell = str,
) -> float:
    """Everything under the plan; gives the height of the whole picture."""
    y, width = top, min(width, _WIDEST)
    if snapshot is not None:
        y = _paragraphs(root, facts_of(compiled, snapshot), y, width, tell)
    y = draw_key(root, compiled, snapshot, y, width, tell)
    return _paragraphs(root, [(say("Caution"), joined(CAUTIONS))], y, width, tell)


def draw_key(
    root: ElementTree.Element,
    compiled: CompiledHold,
    snapshot: Snapshot | None,
    top: float,
    width: float,
    tell: Tell = str,
) -> float:
    """The zones, and what the marks mean; gives where it ends."""
    y = _zone_key(root, compiled, top, width, tell)
    return _key(root, [(tell(text), draw) for text, draw in _entries(compiled, snapshot)], y, width, tell)


def _paragraphs(root: ElementTree.Element, facts: list[tuple[str, str]], y: float, width: float, tell: Tell) -> float:
    for head, text in facts:
        lines = wrap(f"{tell(head)}: {tell(text)}", NOTE, width - 2 * _MARGIN)
        for line in lines:
            write(root, _MARGIN, y + 12, line, NOTE)
            y += _LINE
    return y + 12


def _zone_key(root: ElementTree.Element, compiled: CompiledHold, y: float, width: float, tell: Tell) -> float:
    zones = compiled.hold.zones
    if not zones:
        return y
    write(root, _MARGIN, y + 12, tell(say("Drive zones")), NOTE, bold=True)
    y += _LINE + 2
    entries: list[tuple[str, Draw]] = []
    for at, zone in enumerate(zones):
        ink, dashes = LOOKS[at % len(LOOKS)]

        def line(parent: ElementTree.Element, x: float, y: float, ink: str = ink, dashes: str = dashes) -> None:
            points = path_of([(x - 13, y), (x + 13, y)])
            element(parent, "path", d=points, stroke=ink, stroke_width=1.8, stroke_dasharray=dashes)

        entries.append((tell(says(zone)), line))
    return _columns(root, entries, y, width)


def _key(root: ElementTree.Element, entries: list[tuple[str, Draw]], y: float, width: float, tell: Tell) -> float:
    head = tell(say("What the marks mean"))
    note = tell(say("(not to scale; the strips between bays are their sides)"))
    write(root, _MARGIN, y + 12, head, NOTE, bold=True)
    write(root, _MARGIN + text_width(head, NOTE, bold=True) + 10, y + 12, note, NOTE, fill=SOFT)
    return _columns(root, entries, y + _LINE + 4, width) + 4


def _columns(root: ElementTree.Element, entries: list[tuple[str, Draw]], y: float, width: float) -> float:
    widest = max(text_width(text, NOTE) for text, _ in entries) + 58
    columns = max(1, min(len(entries), int((width - _MARGIN) // widest)))
    rows = -(-len(entries) // columns)
    for at, (text, draw) in enumerate(entries):
        column, row = divmod(at, rows)
        x, middle = _MARGIN + column * widest, y + row * _ENTRY + _ENTRY / 2
        draw(root, x + 18, middle)
        write(root, x + 42, middle + 4, text, NOTE)
    return y + rows * _ENTRY + 8


def _entries(compiled: CompiledHold, snapshot: Snapshot | None) -> Iterator[tuple[str, Draw]]:
    hold = compiled.hold

    def mark(kind: Kind, standing: bool | None) -> Draw:
        return lambda parent, x, y: marks.draw_mark(parent, x, y, kind, True, standing)

    named = {device.kind for device in hold.devices}
    present = [kind for kind in DEVICE_KINDS.values() if kind.id in named]
    yield from ((_in_words(kind), mark(kind, marks.standing_of(kind.id, None))) for kind in present)
    movable = next((kind for kind in present if len(kind.states) > 1), None)
    if snapshot is not None and movable is not None:
        yield say("dark: stands above the floor"), mark(movable, True)
        yield say("hollow, broken line: down"), mark(movable, False)
    if any(device.gives_way for device in hold.devices):
        yield say("gives way to a unit that passes so"), lambda g, x, y: marks.draw_way(g, x - 13, y, Direction.AFT)
    if any(device.fixed for device in hold.devices):
        yield say("held in one position for good"), marks.draw_held
    if hold.layout.ball_mat:
        yield say("ball mat"), lambda g, x, y: balls(g, Box(x - 14, y - 10, x + 14, y + 10))
    if hold.doorways:
        yield say("sill"), _rectangle(6, fill="#eceff1", stroke=SOFT, stroke_width=0.8)
        yield say("place on the loader"), _rectangle(7, fill="none", stroke=SOFT, stroke_dasharray="7 4")
        yield from _door_entries(snapshot)
    if snapshot is not None:
        unit = {"rx": 3, "fill": UNIT_FILL, "stroke": UNIT_INK, "stroke_width": 2.0}
        yield say("unit"), _rectangle(7, **unit)
        if snapshot.crossings:
            yield say("unit partly across a face"), _rectangle(7, **unit, stroke_dasharray="9 4")
        if "kept_down" in snapshot.devices.values():
            yield say("kept down by hand"), _kept
        if snapshot.failed & set(snapshot.devices):
            yield say("failed"), marks.draw_failed
        if snapshot.running:
            yield say("drive runs so"), lambda g, x, y: marks.draw_run(g, x, y, Direction.AFT)
        if snapshot.people:
            yield say("person"), marks.draw_person


def _in_words(kind: Kind) -> str:
    if kind.working is Working.POWER and kind.purpose is not None:
        return say("powered {purpose}, without power {state}", purpose=say(kind.purpose), state=kind.word(kind.initial))
    return say(kind.id)


def _kept(parent: ElementTree.Element, x: float, y: float) -> None:
    marks.draw_mark(parent, x, y + 2, SPRING_LATCH, True, False)
    marks.draw_kept(parent, x, y + 2)


def _rectangle(half: float, **looks: Any) -> Draw:
    """A rectangle as high as twice this."""
    return lambda parent, x, y: element(parent, "rect", **Box(x - 12, y - half, x + 12, y + half).sides, **looks)


def _door_entries(snapshot: Snapshot | None) -> list[tuple[str, Draw]]:
    def bar(parent: ElementTree.Element, x: float, y: float, last: float, **looks: Any) -> None:
        if last:
            element(parent, "rect", x=x - 12, y=y - 4, width=last, height=8, stroke=INK, stroke_width=1.4, **looks)
        for end in (x - 12, x + 12):
            element(parent, "rect", x=end - 2, y=y - 8, width=4, height=16, fill=INK)

    if snapshot is None:
        return [(say("doorway"), lambda g, x, y: bar(g, x, y, 24, fill=PAPER))]
    drawings: dict[str, Draw] = {
        "closed": lambda g, x, y: bar(g, x, y, 24, fill=INK),
        "moving": lambda g, x, y: bar(g, x, y, 12, fill=PAPER, stroke_dasharray="5 3"),
        "open": lambda g, x, y: bar(g, x, y, 0),
    }
    shown = {held[0] for held in snapshot.doors.values()}
    return [(say("door {state}", state=say(word)), draw) for word, draw in drawings.items() if word in shown]
