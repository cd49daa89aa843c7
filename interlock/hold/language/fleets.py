"""Fleets: what a file says of many aircraft, each with its hold, the options fitted and the deferrals open."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.language.declarations import FieldType, Record, field, record
from interlock.hold.language.field_types import Listed, RecordOf
from interlock.hold.language.model import File
from interlock.hold.language.nodes import ScalarNode, clip
from interlock.hold.language.reader import Failed, Reader
from interlock.hold.language.text_types import Text, TextType

LONGEST_TAIL = 40
"""Characters."""
WITH = " with "
"""What stands between a deferral and its limit."""


@frozen
class Said(TextType[ScalarNode]):
    """A text that is looked up later, in the files that are meant."""

    what: str

    def wants(self) -> str:
        return self.what

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> ScalarNode | Failed:
        return node if node.text.strip() else reader.fail("missing-value", node.span, f"'{key}' is empty", self.what)


@frozen
class Tail(TextType[str]):
    """A tail number: any short text."""

    wanted = "a tail number"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        text = " ".join(node.text.split())
        if 0 < len(text) <= LONGEST_TAIL:
            return text
        return reader.unfit("missing-value", node, key, f"a tail number of at most {LONGEST_TAIL} characters")


OPTION: FieldType[ScalarNode] = Said("an option of that hold, or the file of a modification")
DEFERRAL: FieldType[ScalarNode] = Said("`M3L=lowered`, or `M3L=lowered with 3L is empty`")


@record("aircraft", "an aircraft")
class Aircraft(Record):
    """One aircraft: which hold it has, what is fitted to it and what is inoperative on it."""

    tail: str = field(Tail(), "Its tail number.")
    hold: ScalarNode = field(
        Said("the file of a hold"), "The file of its hold, by a path from the folder of this file; or `demo:NAME`."
    )
    options: tuple[ScalarNode, ...] = field(
        Listed(OPTION, one=True),
        "What is fitted: options of that hold by their ids, modifications of it by their files (whose names have a "
        "dot or a slash, and are paths from the folder of this file).",
        default=(),
    )
    deferrals: tuple[ScalarNode, ...] = field(
        Listed(DEFERRAL, one=True),
        "What is inoperative, and how: `M3L=lowered`; `with` and an expression adds the limit to be kept.",
        default=(),
    )


@record("fleet", "a fleet")
class Fleet(File):
    """Many aircraft, each with its hold, the options fitted and the deferrals open."""

    title: str = field(Text(), "What the fleet is called.", key="fleet")
    about: str | None = field(Text(), "What it is for, for people.", default=None)
    aircraft: tuple[Aircraft, ...] = field(Listed(RecordOf(Aircraft), least=1), "The aircraft, one after another.")


COLUMNS: Mapping[str, bool] = {one.key: isinstance(one.type, Listed) for one in Aircraft.declaration.fields}
"""The columns of a fleet that is written as a table, and whether several things can stand in a cell."""


def twice(aircraft: Iterable[Aircraft]) -> Iterator[Diagnostic]:
    """A fault for each tail number that was there before."""
    first: dict[str, Aircraft] = {}
    for one in aircraft:
        before = first.setdefault(one.tail.casefold(), one)
        if before is not one:
            said, where = f"'{clip(one.tail)}' is in the fleet already", f"the first is at line {before.span.line}"
            yield Diagnostic("listed-twice", one.span, said, "each tail number once", context=(where,))


@frozen
class Deferred:
    """One deferral taken apart: the item, the way in which it is inoperative, and the limit that goes with it."""

    item: ScalarNode
    way: ScalarNode
    limit: ScalarNode | None


def deferred(node: ScalarNode) -> Deferred | None:
    """`ITEM=WAY` or `ITEM=WAY with LIMIT`; None for anything else."""
    said, joint, limit = node.text.partition(WITH)
    item, equals, way = said.rpartition("=")
    if not equals or not item.strip() or not way.strip() or (joint and not limit.strip()):
        return None
    parts = _part(node, 0, item), _part(node, len(item) + 1, way), _part(node, len(said) + len(WITH), limit)
    return Deferred(parts[0], parts[1], parts[2] if joint else None)


def plain(node: ScalarNode) -> str:
    """A deferral with one blank where some stand: the same deferral is then the same text."""
    return " ".join(node.text.split())


def _part(node: ScalarNode, start: int, text: str) -> ScalarNode:
    return part_of(node, start + len(text) - len(text.lstrip()), text.strip())


def part_of(node: ScalarNode, start: int, text: str) -> ScalarNode:
    """The part of a text that begins at this character, as a text of its own that knows where it stands."""
    from interlock.hold.language.nodes import cut_stretches

    stretches = None
    if node.stretches is not None:
        stretches = tuple(cut_stretches(node.stretches, start, start + len(text), 0))
    span = node.place_of(start, start + max(1, len(text))) or node.span
    return ScalarNode(text, span, node.quoted, stretches)
