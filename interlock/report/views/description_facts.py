"""The facts of a description, as the JSON result has them: what it declares, and what is told of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated, Any, Literal

from msgspec import Meta

from interlock.hold.language.declarations import FieldType, Record
from interlock.hold.language.directions import Side
from interlock.hold.language.field_types import OrListed
from interlock.hold.language.nodes import MappingNode, ScalarNode, SequenceNode
from interlock.hold.language.printer import print_step, print_syntax
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Step, Truth
from interlock.hold.language.text_types import BayOrOutside, ExpressionOrNever
from interlock.hold.loader import FileRead
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.description import DescriptionView, Entry
from interlock.report.views.facts import PROGRAM, Facts, ResultFacts, Texts
from interlock.report.views.identification import Identification, identification


class EntryFacts(Facts, frozen=True):
    """One thing, or several that are alike, as it is told."""

    text: Annotated[str, Meta(description="what it is")]
    details: Annotated[Texts, Meta(description="what more is to be said of it")]


class SectionFacts(Facts, frozen=True):
    """One section of what is told."""

    title: Annotated[str, Meta(description="as the report has it")]
    entries: Annotated[tuple[EntryFacts, ...], Meta(description="in order")]


class DescriptionFacts(ResultFacts, frozen=True):
    """Result of describing a hold."""

    exit_code: Annotated[Literal[0], Meta(description="what is rejected is not described")]
    description: Annotated[str, Meta(description="the file, as it was named")]
    title: Annotated[str, Meta(description="of the hold")]
    declared: Annotated[
        dict[str, Any],
        Meta(
            description="what it declares, by the keys of the language (see 'interlock schema'), as a description says "
            "it: modifications carried out, repetitions and ranges written out, expressions as texts"
        ),
    ]
    told: Annotated[tuple[SectionFacts, ...], Meta(description="the same in sentences")]
    assumptions: Annotated[Texts, Meta(description="what a proof would take for granted")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]


def description_facts(label: str, view: DescriptionView, read: Sequence[FileRead]) -> DescriptionFacts:
    """The facts; `label` is what the reader calls the description, `read` the files that were read."""
    told = tuple(SectionFacts(title, tuple(map(_entry, entries))) for title, entries in view.sections)
    declared = as_written(view.compiled.hold)
    assert isinstance(declared, dict)  # noqa: S101 -- a record has fields
    identified = identification(read)
    return DescriptionFacts(
        1, PROGRAM, 0, label, view.title, declared, told, tuple(view.assumptions), CAUTIONS, identified
    )


def _entry(entry: Entry) -> EntryFacts:
    return EntryFacts(entry.text, tuple(" ".join(filter(None, (row.label, row.text))) for row in entry.details))


def as_written(value: object) -> Any:
    """A value of a description as JSON, such that a description can say it so: records by the keys of the language,
    without what is as if it were left out; expressions and steps as texts; what is by direction or by the id of a thing
    as an object.
    """
    match value:
        case Record():
            return dict(_fields(value))
        case Truth() | Fact() | Negation() | Chain() | Quantified():
            return print_syntax(value)
        case Step():
            return print_step(value)
        case Path(parts):
            return ".".join(parts)
        case Side(bay, direction):
            return f"{bay}.{direction}"
        case ScalarNode(text):
            return text
        case SequenceNode(items):
            return [as_written(item) for item in items]
        case MappingNode(entries):
            return {entry.key.text: as_written(entry.value) for entry in entries}
        case tuple() if value and all(isinstance(one, tuple) and len(one) in (2, 3) for one in value):
            return {str(one[0]): as_written(one[1]) for one in value}
        case tuple():
            return [as_written(one) for one in value]
        case str():
            return str(value)
    return value


def _fields(record: Record) -> Iterator[tuple[str, Any]]:
    for field in record.declaration.fields:
        value = getattr(record, field.attribute)
        if field.required and value is None:
            yield field.key, _word_for_none(field.type)
        elif field.required or (field.derived is not None and value) or value != field.default:
            yield field.key, as_written(value)


def _word_for_none(kind: FieldType[Any]) -> str:
    """How a field says that there is none."""
    inner = kind.inner if isinstance(kind, OrListed) else kind
    words = {BayOrOutside: "outside", ExpressionOrNever: "never"}
    return next((word for type, word in words.items() if isinstance(inner, type)), "none")


__all__ = ["DescriptionFacts", "as_written", "description_facts"]
