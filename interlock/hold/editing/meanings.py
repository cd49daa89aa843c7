"""What stands where in a file, by the declarations of the language: types within types, and the names in each text."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TypeAlias, Union

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.language.declarations import Field, FieldType, Record
from interlock.hold.language.directions import DIRECTIONS
from interlock.hold.language.field_types import (
    Bays,
    ByDirection,
    ChangeList,
    Keyed,
    Listed,
    OrListed,
    OrNone,
    Quantifiers,
    RecordOf,
    States,
)
from interlock.hold.language.fleets import Said, deferred
from interlock.hold.language.model import SECTIONS, Layout, RequirementText, Thing
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode, SequenceNode
from interlock.hold.language.parser import is_name, parse_expression, parse_path, parse_step
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Syntax
from interlock.hold.language.text_types import (
    Bay,
    BayOrOutside,
    Contact,
    Expression,
    ExpressionOrNever,
    Id,
    Reference,
    SideText,
    StepText,
    Word,
)
from interlock.hold.overlay.changes import CHANGES, Anything, InPlace, NewFields, NewItems
from interlock.hold.overlay.repetition import NOT_REPEATED
from interlock.hold.procedure.action_texts import slots_of
from interlock.hold.procedure.model import ActionText, AllSteps, Start, Step, StepList

AnyType: TypeAlias = FieldType[object]
Plain: TypeAlias = Union[str, "list[Plain]", "dict[str, Plain]"]
"""What was written, without places: texts, lists, keys with values."""
SectionOf: TypeAlias = Callable[[str], str | None]
"""The section in which something of that id stands; None where nothing is called so."""


@frozen
class StateOf(Word):
    """The state of the thing of that id, or the place of that person, or what stands in that bay."""

    id: str = ""


@frozen
class Group(Word):
    """What a variable runs through."""


@frozen
class Repetition(Word):
    """What a repetition fills in."""


STEP: AnyType = RecordOf(Step)


def plain(node: Node) -> Plain:
    """A node as it was written, without its places."""
    match node:
        case ScalarNode():
            return node.text
        case SequenceNode():
            return [plain(item) for item in node.items]
        case MappingNode():
            return {entry.key.text: plain(entry.value) for entry in node.entries}


def text_at(written: Mapping[str, Plain], key: str) -> str:
    """The text of a key; none where it has no text."""
    found = written.get(key, "")
    return found if isinstance(found, str) else ""


def item_type(kind: AnyType | None) -> AnyType | None:
    """What an item of a list can be that stands in the place of this type."""
    match kind:
        case OrNone(inner):
            return item_type(inner)
        case InPlace(of):
            return item_type(of)
        case Listed(item):
            return item
        case OrListed():
            return RecordOf(kind.record)
        case AllSteps() | StepList():
            return STEP
        case Bays() | ChangeList():
            return kind
    return None


def scalar_type(kind: AnyType | None) -> AnyType | None:
    """What a text means that stands in the place of this type."""
    match kind:
        case OrNone(inner) | OrListed(inner):
            return scalar_type(inner)
        case InPlace(of):
            return scalar_type(of)
        case Listed(item, one):
            return scalar_type(item) if one else None
        case RecordOf(record) if record is Step:
            return ActionText()
        case Start():
            return Word("situation")
        case RecordOf() | Keyed() | AllSteps() | StepList() | ChangeList() | NewFields():
            return None
    return kind


def record_type(kind: AnyType | None, written: Mapping[str, Plain]) -> type[Record] | None:
    """The record of which a mapping holds the fields that stands in the place of this type."""
    match kind:
        case OrNone(inner):
            return record_type(inner, written)
        case InPlace(of):
            return record_type(of, written)
        case RecordOf(record):
            return record
        case Listed(item, one):
            return record_type(item, written) if one else None
        case OrListed():
            return kind.record
        case ChangeList():
            return next((record for key, record in CHANGES.items() if key in written), None)
    return None


def keyed_type(kind: AnyType | None) -> Keyed[object] | None:
    """The type whose keys are names, as far as this is one."""
    match kind:
        case OrNone(inner):
            return keyed_type(inner)
        case Start():
            return States()
        case Keyed():
            return kind
    return None


def fields_type(
    kind: AnyType | None, written: Mapping[str, Plain], around: Mapping[str, Plain], section_of: SectionOf
) -> tuple[Field, ...]:
    """The fields that a mapping can have that stands in the place of this type.

    `written` is what it has, `around` the mapping in which it stands.
    """
    record = record_type(kind, written)
    if record is not None:
        return record.declaration.fields
    match kind:
        case NewItems():
            return tuple(
                Field(key, key, Listed(RecordOf(one)), f"{one.declaration.about}", False, None, None)
                for key, one in SECTIONS.items()
            )
        case NewFields():
            changed = text_at(around, "change")
            section = section_of(changed)
            of: type[Record] | None = SECTIONS[section] if section else Layout if changed == "layout" else None
            return () if of is None else of.declaration.fields
        case ChangeList():
            return tuple(one.declaration.fields[0] for one in CHANGES.values())
    ways = keyed_type(kind)
    if isinstance(ways, ByDirection):
        return tuple(Field(way, way, ways.of, f"Towards {way}.", False, None, None) for way in DIRECTIONS)
    return ()


def value_type(
    kind: AnyType | None, key: str, written: Mapping[str, Plain], around: Mapping[str, Plain], section_of: SectionOf
) -> AnyType | None:
    """What the value of a key can be in a mapping that stands in the place of this type."""
    for field in fields_type(kind, written, around, section_of):
        if field.key == key:
            return field.type
    keyed = keyed_type(kind)
    if isinstance(keyed, States):
        return StateOf("state", id=key)
    if isinstance(keyed, Quantifiers):
        return Group("group")
    return Repetition("value") if key == "for" else None


def may_repeat(kind: AnyType | None, section: str) -> bool:
    """Whether an item of a list can be repeated by `for`."""
    return isinstance(kind, RecordOf | ChangeList) and section not in NOT_REPEATED


# --- the names in a file


@frozen
class Mentioned:
    """A name where it was written, repetitions filled in.

    `section` is where it is given, and `whole` the item that has it; both None where it is used.
    """

    name: str
    span: Span
    section: str | None = None
    whole: MappingNode | None = None

    @property
    def is_requirement(self) -> bool:
        """The name is given to a requirement: these have names apart from those of things."""
        return self.section is not None and not issubclass(SECTIONS[self.section], Thing)


_SECTION_OF = {record: section for section, record in SECTIONS.items()}


def mentions_in(root: MappingNode, sort: type[Record], section_of: SectionOf) -> Iterator[Mentioned]:
    """Every name in a file of that sort, given or used, in the order of the file; bays are names as well.

    Variables of requirements and of quantified expressions are none, nor are words in texts for people.
    """
    yield from _within(root, RecordOf(sort), {}, frozenset(), section_of)


def _within(
    node: Node,
    kind: AnyType | None,
    around: Mapping[str, Plain],
    bound: frozenset[str],
    section_of: SectionOf,
) -> Iterator[Mentioned]:
    match node:
        case ScalarNode():
            yield from _in_scalar(node, scalar_type(kind), bound)
        case SequenceNode():
            for item in node.items:
                yield from _within(item, item_type(kind), around, bound, section_of)
        case MappingNode():
            yield from _in_mapping(node, kind, around, bound, section_of)


def _in_mapping(
    node: MappingNode,
    kind: AnyType | None,
    around: Mapping[str, Plain],
    bound: frozenset[str],
    section_of: SectionOf,
) -> Iterator[Mentioned]:
    written = {entry.key.text: plain(entry.value) for entry in node.entries}
    record = record_type(kind, written)
    if record is RequirementText and isinstance(over := written.get("for"), dict):
        bound = bound | frozenset(over)
    is_states = isinstance(keyed_type(kind), States)
    for entry in node.entries:
        inner = value_type(kind, entry.key.text, written, around, section_of)
        if is_states:
            yield Mentioned(entry.key.text, _letters(entry.key))
        if isinstance(scalar_type(inner), Id) and isinstance(entry.value, ScalarNode) and record in _SECTION_OF:
            if is_name(entry.value.text):
                yield Mentioned(entry.value.text, _letters(entry.value), _SECTION_OF[record], node)
        else:
            yield from _within(entry.value, inner, written, bound, section_of)


def _in_scalar(node: ScalarNode, kind: AnyType | None, bound: frozenset[str]) -> Iterator[Mentioned]:
    match kind:
        case Expression() | ExpressionOrNever() | Contact():
            found = parse_expression(node, Faults())
            if found is not None:
                yield from _in_syntax(found, bound)
        case StepText():
            step = parse_step(node, Faults())
            if step is not None:
                yield from _in_path(step.subject, bound)
        case Group():
            path = parse_path(node, Faults())
            if path is not None:
                yield from _in_path(path, bound)
        case ActionText():
            for slot, part in slots_of(node).items():
                in_condition: AnyType = Expression() if slot == "CONDITION" else Group("name")
                yield from _in_scalar(part, in_condition, bound)
        case Said():
            parts = deferred(node)
            if parts is not None:
                yield from _in_scalar(parts.item, Anything(), bound)
            elif is_name(node.text):
                yield Mentioned(node.text, _letters(node))
        case SideText():
            bay = node.text.partition(".")[0]
            if span := node.place_of(0, len(bay)):
                yield Mentioned(bay, span)
        case Bays():
            for text, start in _ends_of_range(node.text):
                if text and (span := node.place_of(start, start + len(text))):
                    yield Mentioned(text, span)
        case Reference() | Anything() | Bay() | BayOrOutside() | Word():
            if is_name(node.text):
                yield Mentioned(node.text, _letters(node))


def _letters(node: ScalarNode) -> Span:
    """Where the text itself stands, without quotes around it."""
    return node.place_of(0, max(1, len(node.text))) or node.span


def _ends_of_range(text: str) -> Iterator[tuple[str, int]]:
    first, dots, last = text.partition("..")
    yield first.strip(), len(first) - len(first.lstrip())
    if dots:
        yield last.strip(), len(text) - len(last.lstrip())


def _in_path(path: Path, bound: frozenset[str]) -> Iterator[Mentioned]:
    if path.parts[0] not in bound:
        yield Mentioned(path.parts[0], path.spans[0])


def _in_syntax(syntax: Syntax, bound: frozenset[str]) -> Iterator[Mentioned]:
    match syntax:
        case Fact(subject, state):
            yield from _in_path(subject, bound)
            # kinds of unit are states of bays, places are states of people
            if state is not None and syntax.state_span is not None and state not in bound:
                yield Mentioned(state, syntax.state_span)
        case Negation(arg):
            yield from _in_syntax(arg, bound)
        case Chain(_, args):
            for arg in args:
                yield from _in_syntax(arg, bound)
        case Quantified(_, variable, group, body):
            yield from _in_path(group, bound)
            yield from _in_syntax(body, bound | {variable})
