"""Where in a text somebody is who writes it: in what, under which key, behind which words.

What stands before the cursor is read as YAML with a mark in the cursor's place, and the events that come before its end
say what is open there.  So nothing behind the cursor matters, and lines before it that are no YAML are left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import yaml

from interlock.diagnostics.frozen import frozen
from interlock.hold.editing.meanings import (
    AnyType,
    Plain,
    SectionOf,
    fields_type,
    item_type,
    keyed_type,
    may_repeat,
    scalar_type,
    text_at,
    value_type,
)
from interlock.hold.language.declarations import Field, Record
from interlock.hold.language.field_types import Keyed, RecordOf
from interlock.hold.language.nodes import DEEPEST, split_lines

MARK = "\ue0f0"
"""Stands at the cursor; a character that no description needs."""
_ENDINGS = (MARK, f"{MARK}: x", f"{MARK}'", f'{MARK}"', f"{MARK}': x", f'{MARK}": x')
"""What may complete the text up to the cursor: a value, a key, either in quotes."""
MOST_LEFT_OUT = 8
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(slots=True)
class _Frame:
    is_mapping: bool
    written: dict[str, Plain] = field(default_factory=dict)
    items: list[Plain] = field(default_factory=list)
    key: str | None = None

    def put(self, value: Plain) -> None:
        if not self.is_mapping:
            self.items.append(value)
        elif self.key is None:
            self.key = value if isinstance(value, str) else ""
        else:
            self.written[self.key] = value
            self.key = None


@frozen
class Place:
    """Where the cursor is.

    `before` is the text of the key or value up to there.  At a key, `fields` can be written there and `keys` says what
    else keys are; at a value, `type` is what it can be.  `written` is what the mapping around has (nearest first:
    `around`), as far as it is written, `record` its sort.  `repeats`: an item begins that can be repeated.
    """

    before: str
    at_key: bool
    fields: tuple[Field, ...]
    keys: Keyed[object] | None
    type: AnyType | None
    key: str
    around: tuple[Mapping[str, Plain], ...]
    repeats: bool

    @property
    def written(self) -> Mapping[str, Plain]:
        """What the nearest mapping has."""
        return self.around[0] if self.around else {}


def place_at(lines: tuple[str, ...], line: int, column: int, sort: type[Record], section_of: SectionOf) -> Place | None:
    """Where line and column are in a file of that sort; None where nothing can be told, as in a comment."""
    if not 1 <= line <= len(lines):
        return None
    before = [*lines[: line - 1], lines[line - 1][: max(0, column - 1)]]
    for _ in range(MOST_LEFT_OUT):
        wrong = line
        for ending in _ENDINGS:
            found, at = _open_at("\n".join(before) + ending)
            if found is not None:
                stack, said, at_key = found
                return _placed(stack, said, at_key, sort, section_of)
            wrong = min(wrong, at)
        if wrong >= line or not before[wrong - 1].strip():
            return None
        before[wrong - 1] = ""
    return None


def _open_at(text: str) -> tuple[tuple[list[_Frame], str, bool] | None, int]:
    """What is open at the mark, the text up to it, and whether that is a key; or the line that is no YAML."""
    stack: list[_Frame] = []
    last = 1
    found: tuple[list[_Frame], str, bool] | None = None
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            match event:
                case yaml.ScalarEvent(value=value) if MARK in value:
                    top = stack[-1] if stack else None
                    found = stack, value.partition(MARK)[0], bool(top and top.is_mapping and top.key is None)
                    # where this is no key after all, what follows says so
                    return found, last
                case yaml.ScalarEvent(value=value):
                    if stack:
                        stack[-1].put(value)
                case yaml.MappingStartEvent() | yaml.SequenceStartEvent():
                    if len(stack) > DEEPEST:
                        return None, last
                    stack.append(_Frame(isinstance(event, yaml.MappingStartEvent)))
                case yaml.MappingEndEvent() | yaml.SequenceEndEvent():
                    done = stack.pop()
                    if stack:
                        stack[-1].put(done.written if done.is_mapping else done.items)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        last = 1 if mark is None else mark.line + 1
    except (yaml.YAMLError, ValueError, OverflowError, RecursionError):
        pass
    return None, last


def _placed(
    stack: list[_Frame],
    said: str,
    at_key: bool,
    sort: type[Record],
    section_of: SectionOf,
) -> Place:
    kind: AnyType | None = RecordOf(sort)
    around: list[Mapping[str, Plain]] = []
    section = ""
    for frame in stack[:-1] if at_key else stack:
        if frame.is_mapping:
            outer = around[0] if around else {}
            section = frame.key or ""
            kind = value_type(kind, frame.key or "", frame.written, outer, section_of)
            around.insert(0, frame.written)
        else:
            kind = item_type(kind)
    top = stack[-1] if stack else None
    in_list = top is not None and not top.is_mapping
    if at_key and top is not None:
        written = top.written
        fields = fields_type(kind, written, around[0] if around else {}, section_of)
        # of the ways in which something can be changed, one
        left = tuple(one for one in fields if one.key not in written)
        repeats = "for" not in written and len(stack) > 1 and not stack[-2].is_mapping and may_repeat(kind, section)
        return Place(said, True, left, keyed_type(kind), None, "", (written, *around), repeats)
    as_mapping = fields_type(kind, {}, around[0] if around else {}, section_of)
    return Place(
        said,
        False,
        as_mapping,
        keyed_type(kind) if not as_mapping else None,
        scalar_type(kind),
        section,
        tuple(around),
        in_list and may_repeat(kind, section),
    )


__all__ = ["Place", "place_at", "split_lines", "text_at"]
