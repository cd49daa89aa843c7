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


@dataclass(frozen=True, slots=True)
class _Value:
    """What a variable stands for; only numbers can be counted on."""

    text: str
    number: int | None


_Bindings = Mapping[str, _Value]


class _TooMuch(Exception):
    """The repetitions of a file make more than the limits allow."""


def expand_repetitions(root: MappingNode, faults: Faults) -> MappingNode | None:
    """The same tree with every repeated list item replaced by what it stands for; None where the limits are broken."""
    expander = _Expander(faults)
    try:
        found = expander.node(root, {}, ())
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

    def node(self, node: Node, bindings: _Bindings, context: tuple[str, ...], key: str = "") -> Node:
        """The expansion of one node that stands under `key`."""
        if isinstance(node, ScalarNode):
            return self._scalar(node, bindings, context) if bindings and "{" in node.text else node
        self._values += 1
        if self._values > MOST_EXPANDED_VALUES:
            self._refuse(node.span, f"the repetitions make more than {MOST_EXPANDED_VALUES:,} values", context)
        if isinstance(node, SequenceNode):
            if key in NOT_REPEATED:
                return node
            items: list[Node] = []
            for item in node.items:
                if isinstance(item, MappingNode) and item.entry("for") is not None:
                    items.extend(self._repeat(item, bindings, context))
                else:
                    items.append(self.node(item, bindings, context))
            return SequenceNode(tuple(items), node.span)
        entries = tuple(
            Entry(entry.key, self.node(entry.value, bindings, context, entry.key.text)) for entry in node.entries
        )
        return MappingNode(entries, node.span, node.context or context)

    def _repeat(self, item: MappingNode, outer: _Bindings, context: tuple[str, ...]) -> Iterator[Node]:
        head = item.value("for")
        body = MappingNode(tuple(entry for entry in item.entries if entry.key.text != "for"), item.span)
        if not isinstance(head, MappingNode) or not head.entries:
            span = head.span if head is not None else item.span
            self._faults.add(
                "bad-repetition",
                span,
                f"a repetition cannot be {describe(head) if head is not None else 'nothing'}",
                expected="variables with their values, such as `for: {r: 1..6, l: [L, R]}`",
                context=context,
            )
            return
        names: list[str] = []
        values: list[tuple[_Value, ...]] = []
        for entry in head.entries:
            name = entry.key.text
            if not is_name(name) or "-" in name:
                self._faults.add(
                    "bad-repetition",
                    entry.key.span,
                    f"'{clip(name)}' cannot be a variable",
                    expected="letters, digits and `_`",
                    context=context,
                )
                return
            if name in outer:
                self._faults.add(
                    "bad-repetition",
                    entry.key.span,
                    f"'{name}' is a variable of the repetition around this one already",
                    expected="another name",
                    context=context,
                )
                return
            found = self._values_of(entry.value, outer, context)
            if found is None:
                return
            names.append(name)
            values.append(found)
        self._items += prod(map(len, values))
        if self._items > MOST_ITEMS:
            self._refuse(head.span, f"the repetitions make more than {MOST_ITEMS:,} items", context)
        for combination in product(*values):
            inner = {**outer, **dict(zip(names, combination, strict=True))}
            told = ", ".join(f"{name}={value.text}" for name, value in inner.items())
            yield self.node(body, inner, (f"in the repetition {told}",))

    def _values_of(self, node: Node, outer: _Bindings, context: tuple[str, ...]) -> tuple[_Value, ...] | None:
        if isinstance(node, ScalarNode):
            filled = self.node(node, outer, context)
            assert isinstance(filled, ScalarNode)  # noqa: S101 - a scalar expands to a scalar
            found = _RANGE.match(filled.text)
            if not found:
                self._faults.add(
                    "bad-repetition",
                    node.span,
                    f"{describe(filled)} is no range",
                    expected="a range such as `1..6`, or a list such as `[L, R]`",
                    context=context,
                )
                return None
            low, high = int(found[1]), int(found[2])
            if low > high:
                self._faults.add(
                    "bad-repetition",
                    node.span,
                    f"the range {low}..{high} is empty",
                    expected="the smaller number first",
                    context=context,
                )
                return None
            if high - low >= MOST_ITEMS:
                self._refuse(node.span, f"the range {low}..{high} makes more than {MOST_ITEMS:,} items", context)
            return tuple(_Value(str(number), number) for number in range(low, high + 1))
        if isinstance(node, SequenceNode) and node.items:
            values = []
            for item in node.items:
                filled_item = self.node(item, outer, context)
                if not isinstance(filled_item, ScalarNode) or not 0 < len(filled_item.text) <= LONGEST_VALUE:
                    self._faults.add(
                        "bad-repetition",
                        item.span,
                        f"{describe(filled_item)} cannot be the value of a variable",
                        expected=f"a word of at most {LONGEST_VALUE} characters",
                        context=context,
                    )
                    return None
                text = filled_item.text
                values.append(_Value(text, int(text) if text.isascii() and text.isdigit() else None))
            return tuple(values)
        self._faults.add(
            "bad-repetition",
            node.span,
            "a variable has no values",
            expected="a range such as `1..6`, or a list such as `[L, R]`",
            context=context,
        )
        return None

    def _scalar(self, node: ScalarNode, bindings: _Bindings, context: tuple[str, ...]) -> ScalarNode:
        text = node.text
        source = node.stretches
        parts: list[str] = []
        stretches: list[Stretch] = []
        length = done = 0
        holes = self._holes_of(node)
        self._filled += len(holes)
        if self._filled > MOST_FILLED:
            self._refuse(node.span, f"the repetitions fill in more than {MOST_FILLED:,} values", context)
        for hole, place in holes:
            filled = self._fill(hole, place or node.span, bindings, context)
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
            self._refuse(node.span, "the repetitions make too much text", context)
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

    def _fill(self, hole: re.Match[str], span: Span, bindings: _Bindings, context: tuple[str, ...]) -> str:
        name, sign, amount = hole[1], hole[2], hole[3]
        value = bindings.get(name)
        if value is None:
            self._faults.add(
                "unknown-variable",
                span,
                f"'{clip(name)}' is no variable of this repetition",
                expected="one of " + ", ".join(f"{{{known}}}" for known in bindings),
                nearest=self._faults.hint(name, bindings),
                context=context,
            )
            return "0"
        if sign is None:
            return value.text
        if value.number is None:
            self._faults.add(
                "counting-a-word",
                span,
                f"'{value.text}' is no number, so nothing can be added to {name}",
                expected=f"{{{name}}} alone",
                context=context,
            )
            return value.text
        counted = value.number + (int(amount) if sign == "+" else -int(amount))
        if counted < 0:
            self._faults.add(
                "counting-a-word",
                span,
                f"{hole[0]} is {counted} for {name}={value.number}",
                expected="numbers from 0",
                context=context,
            )
            return "0"
        return str(counted)

    def _refuse(self, span: Span, message: str, context: tuple[str, ...]) -> None:
        self._faults.add(
            "too-many-repetitions", span, message, expected="fewer values, or fewer variables", context=context
        )
        raise _TooMuch
