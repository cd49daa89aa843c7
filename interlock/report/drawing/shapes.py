"""SVG elements, and text that keeps to its room although nobody knows the reader's fonts.

Drawings carry presentation attributes only, no style sheet and no ids, so that several can stand in one page.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeAlias
from xml.etree import ElementTree

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.visible import visible

Tell: TypeAlias = Callable[[str], str]
"""Says a text in the language of the drawing: how wide it is, and where its lines end, is known after that."""
FONTS = "DejaVu Sans, Verdana, Helvetica, sans-serif"
INK = "#1c1c1c"
SOFT = "#6b6b6b"
PAPER = "#ffffff"

UNIT_FILL = "#efe6d2"
UNIT_INK = "#5a4520"

_NARROW = frozenset("ijlI.,:;|!'()[] ft")
_WIDE = frozenset("MWmw@%")


@frozen
class Box:
    """A rectangle."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    @property
    def middle(self) -> tuple[float, float]:
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2

    @property
    def sides(self) -> dict[str, Any]:
        """As the attributes of a `rect`."""
        return {"x": self.left, "y": self.top, "width": self.width, "height": self.height}

    def shrunk(self, by: float) -> Box:
        return Box(self.left + by, self.top + by, self.right - by, self.bottom - by)


def around(*boxes: Box) -> Box:
    """The smallest box that holds them all."""
    return Box(
        min(b.left for b in boxes), min(b.top for b in boxes), max(b.right for b in boxes), max(b.bottom for b in boxes)
    )


def number(value: float) -> str:
    """A coordinate as written: at most one digit after the point, none where it is zero."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def element(
    parent: ElementTree.Element, tag: str, title: str | None = None, **attributes: object
) -> ElementTree.Element:
    """A new child; `data_id` becomes `data-id`, `klass` becomes `class`; `title` is what shows on hover."""
    named = {
        {"klass": "class"}.get(key, key.replace("_", "-")): number(value)
        if isinstance(value, float | int)
        else visible(str(value))
        for key, value in attributes.items()
    }
    made = ElementTree.SubElement(parent, tag, named)
    if title is not None:
        ElementTree.SubElement(made, "title").text = visible(title)
    return made


def text_width(text: str, size: float, bold: bool = False) -> float:
    """An upper estimate of the width of one line, on the measure of a broad typeface."""
    ems = sum(0.42 if c in _NARROW else 1.0 if c in _WIDE or ord(c) > 0x2FF else 0.66 for c in text)
    return ems * size * (1.1 if bold else 1.0)


def wrap(text: str, size: float, room: float, bold: bool = False) -> list[str]:
    """The words on as few lines as fit into the room; a word that is too wide has a line of its own."""
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", size, bold) <= room:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return lines


def write(
    parent: ElementTree.Element,
    x: float,
    y: float,
    text: str,
    size: float,
    *,
    anchor: str = "start",
    bold: bool = False,
    fill: str = INK,
    turned: bool = False,
) -> ElementTree.Element:
    """One line of text with its baseline at `y`; `turned` reads upwards, around the same point."""
    attributes: dict[str, Any] = {"x": x, "y": y, "font_size": size, "fill": fill}
    if anchor != "start":
        attributes["text_anchor"] = anchor
    if bold:
        attributes["font_weight"] = "bold"
    if turned:
        attributes["transform"] = f"rotate(-90 {number(x)} {number(y)})"
    made = element(parent, "text", **attributes)
    made.text = visible(text)
    return made


def plate(parent: ElementTree.Element, x: float, y: float, width: float, height: float) -> None:
    """A patch of paper under text, so that no line runs through it."""
    element(parent, "rect", x=x, y=y, width=width, height=height, fill=PAPER)


def balls(parent: ElementTree.Element, box: Box) -> None:
    """The floor of a ball mat: a field of dots."""
    columns, rows = int(box.width // 9), int(box.height // 9)
    left, top = box.middle[0] - (columns - 1) * 4.5, box.middle[1] - (rows - 1) * 4.5
    dots = "".join(f"M{number(left + 9 * i)} {number(top + 9 * j)}h0" for j in range(rows) for i in range(columns))
    element(parent, "path", d=dots, stroke="#9a9a9a", stroke_width=2.2, stroke_linecap="round")


def path_of(points: Iterable[tuple[float, float]], closed: bool = False) -> str:
    """Straight lines from point to point, for the attribute `d`."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + ("Z" if closed else "")


def as_text(root: ElementTree.Element) -> str:
    """The document as text, one element a line, with a final line feed; the same tree gives the same text."""
    ElementTree.indent(root, " ")
    return ElementTree.tostring(root, encoding="unicode") + "\n"
