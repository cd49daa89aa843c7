"""Repeats list items: `for: {r: 1..6, l: [L, R]}` makes one item for each combination, in order.

In every scalar of a repeated item `{r}` stands for the value, and `{r+1}`, `{r-1}` for the number counted on; keys
stay as they are.  Requirements are left alone: their `for` speaks of groups, and is not resolved here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product
from math import prod

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.language.nodes import (
    LONGEST_SCALAR,
    Entry,
    MappingNode,
    Node,
    ScalarNode,
    SequenceNode,
    Stretch,
    clip,
    cut_stretches,
    describe,
)
from interlock.hold.language.parser import is_name

MOST_ITEMS = 20_000
MOST_EXPANDED_VALUES = 1_000_000
MOST_EXPANDED_CHARACTERS = 4_000_000
MOST_FILLED = 300_000
LONGEST_VALUE = 40
NOT_REPEATED = frozenset({"requirements"})
"""Lists whose items use `for` in another sense."""

_RANGE = re.compile(r"\s*(\d{1,9})\s*\.\.\s*(\d{1,9})\s*\Z")
_HOLE = re.compile(r"\{\s*([A-Za-z0-9_-]*?)\s*(?:([+-])\s*(\d{1,9}))?\s*\}")


@frozen
class _Value:
    """What a variable stands for; only numbers can be counted on."""

    text: str
    number: int | None


@frozen
class _Scope:
    """What the variables of the repetitions around a node stand for, and how messages tell of it."""

    values: Mapping[str, _Value]
    context: tuple[str, ...]


class _TooMuch(Exception):
    """The repetitions of a file make more than the limits allow."""


@dataclass(eq=False)
class _Unrepeatable(Exception):
    """An item does not say in what way it is repeated."""

    span: Span
    message: str
    expected: str = "a range such as `1..6`, or a list such as `[L, R]`"


def expand_repetitions(root: MappingNode, faults: Faults) -> MappingNode | None:
    """The same tree with every repeated list item replaced by what it stands for; None where the limits are broken."""
    expander = _Expander(faults)
    try:
        found = expander.node(root, _Scope({}, ()))
    except _TooMuch:
        return None
    assert isinstance(found, MappingNode)  # noqa: S101 - a mapping expands to a mapping
    return found


class _Expander:
    def __init__(self, faults: Faults) -> None:
        self._faults = faults
        self._items = 0
        self._values = 0
        self._characters = 0
        self._filled = 0
        self._holes: dict[int, tuple[ScalarNode, tuple[tuple[re.Match[str], Span | None], ...]]] = {}

    def node(self, node: Node, scope: _Scope, key: str = "") -> Node:
        """The expansion of one node that stands under `key`."""
        if isinstance(node, ScalarNode):
            return self._scalar(node, scope)
        self._values += 1
        if self._values > MOST_EXPANDED_VALUES:
            self._refuse(node.span, f"the repetitions make more than {MOST_EXPANDED_VALUES:,} values", scope)
        if isinstance(node, SequenceNode):
            return node if key in NOT_REPEATED else SequenceNode(tuple(self._items_of(node, scope)), node.span)
        entries = tuple(Entry(entry.key, self.node(entry.value, scope, entry.key.text)) for entry in node.entries)
        return MappingNode(entries, node.span, node.context or scope.context)

    def _items_of(self, node: SequenceNode, scope: _Scope) -> Iterator[Node]:
        for item in node.items:
            if isinstance(item, MappingNode) and item.entry("for") is not None:
                try:
                    yield from self._repeat(item, scope)
                except _Unrepeatable as fault:
                    self._faults.add("bad-repetition", fault.span, fault.message, fault.expected, context=scope.context)
            else:
                yield self.node(item, scope)

    def _repeat(self, item: MappingNode, outer: _Scope) -> Iterator[Node]:
        head = item.value("for")
        body = MappingNode(tuple(entry for entry in item.entries if entry.key.text != "for"), item.span)
        if not isinstance(head, MappingNode) or not head.entries:
            said = "nothing" if head is None else describe(head)
            expected = "variables with their values, such as `for: {r: 1..6, l: [L, R]}`"
            raise _Unrepeatable((head or item).span, f"a repetition cannot be {said}", expected)
        values: dict[str, tuple[_Value, ...]] = {}
        for entry in head.entries:
            name = entry.key.text
            if not is_name(name) or "-" in name:
                raise _Unrepeatable(entry.key.span, f"'{clip(name)}' cannot be a variable", "letters, digits and `_`")
            if name in outer.values:
                said = f"'{name}' is a variable of the repetition around this one already"
                raise _Unrepeatable(entry.key.span, said, "another name")
            values[name] = self._values_of(entry.value, outer)
        self._items += prod(map(len, values.values()))
        if self._items > MOST_ITEMS:
            self._refuse(head.span, f"the repetitions make more than {MOST_ITEMS:,} items", outer)
        for combination in product(*values.values()):
            inner = {**outer.values, **dict(zip(values, combination, strict=True))}
            told = ", ".join(f"{name}={value.text}" for name, value in inner.items())
            yield self.node(body, _Scope(inner, (f"in the repetition {told}",)))

    def _values_of(self, node: Node, outer: _Scope) -> tuple[_Value, ...]:
        if isinstance(node, ScalarNode):
            return self._range(self._scalar(node, outer), outer)
        if not isinstance(node, SequenceNode) or not node.items:
            raise _Unrepeatable(node.span, "a variable has no values")
        values = []
        for item in node.items:
            filled = self.node(item, outer)
            if not isinstance(filled, ScalarNode) or not 0 < len(filled.text) <= LONGEST_VALUE:
                said = f"{describe(filled)} cannot be the value of a variable"
                raise _Unrepeatable(item.span, said, f"a word of at most {LONGEST_VALUE} characters")
            text = filled.text
            values.append(_Value(text, int(text) if text.isascii() and text.isdigit() else None))
        return tuple(values)

    def _range(self, node: ScalarNode, scope: _Scope) -> tuple[_Value, ...]:
        found = _RANGE.match(node.text)
        if not found:
            raise _Unrepeatable(node.span, f"{describe(node)} is no range")
        low, high = int(found[1]), int(found[2])
        if low > high:
            raise _Unrepeatable(node.span, f"the range {low}..{high} is empty", "the smaller number first")
        if high - low >= MOST_ITEMS:
            self._refuse(node.span, f"the range {low}..{high} makes more than {MOST_ITEMS:,} items", scope)
        return tuple(_Value(str(number), number) for number in range(low, high + 1))

    def _scalar(self, node: ScalarNode, scope: _Scope) -> ScalarNode:
        if not scope.values or "{" not in node.text:
            return node
        text = node.text
        source = node.stretches
        parts: list[str] = []
        stretches: list[Stretch] = []
        length = done = 0
        holes = self._holes_of(node)
        self._filled += len(holes)
        if self._filled > MOST_FILLED:
            self._refuse(node.span, f"the repetitions fill in more than {MOST_FILLED:,} values", scope)
        for hole, place in holes:
            filled = self._fill(hole, place or node.span, scope)
            parts.append(text[done : hole.start()])
            parts.append(filled)
            if source is not None:
                stretches.extend(cut_stretches(source, done, hole.start(), length))
                if place is not None:
                    start = length + hole.start() - done
                    stretches.append(Stretch(start, place.line, place.column, place.length))
            length += hole.start() - done + len(filled)
            done = hole.end()
        if done == 0:
            return node
        parts.append(text[done:])
        result = "".join(parts)
        self._characters += len(result)
        if len(result) > LONGEST_SCALAR or self._characters > MOST_EXPANDED_CHARACTERS:
            self._refuse(node.span, "the repetitions make too much text", scope)
        if source is not None:
            stretches.extend(cut_stretches(source, done, len(text), length))
        return ScalarNode(result, node.span, node.quoted, tuple(stretches) if source is not None else None)

    def _holes_of(self, node: ScalarNode) -> tuple[tuple[re.Match[str], Span | None], ...]:
        """The parts of a text to be filled in, with their places; worked out once for all repetitions."""
        known = self._holes.get(id(node))
        if known is None:
            # the node is kept beside its holes, so that its identity stays its own
            holes = tuple((hole, node.place_of(hole.start(), hole.end())) for hole in _HOLE.finditer(node.text))
            known = self._holes[id(node)] = (node, holes)
        return known[1]

    def _fill(self, hole: re.Match[str], span: Span, scope: _Scope) -> str:
        name, sign, amount = hole[1], hole[2], hole[3]
        value = scope.values.get(name)
        if value is None:
            said = f"'{clip(name)}' is no variable of this repetition"
            expected = "one of " + ", ".join(f"{{{known}}}" for known in scope.values)
            nearest = self._faults.hint(name, scope.values)
            self._faults.add("unknown-variable", span, said, expected, nearest, scope.context)
            return "0"
        if sign is None:
            return value.text
        if value.number is None:
            said = f"'{value.text}' is no number, so nothing can be added to {name}"
            self._faults.add("counting-a-word", span, said, f"{{{name}}} alone", context=scope.context)
            return value.text
        counted = value.number + (int(amount) if sign == "+" else -int(amount))
        if counted < 0:
            said = f"{hole[0]} is {counted} for {name}={value.number}"
            self._faults.add("counting-a-word", span, said, "numbers from 0", context=scope.context)
            return "0"
        return str(counted)

    def _refuse(self, span: Span, message: str, scope: _Scope) -> None:
        expected = "fewer values, or fewer variables"
        self._faults.add("too-many-repetitions", span, message, expected, context=scope.context)
        raise _TooMuch
