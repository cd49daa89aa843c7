"""What makes one description of another, as a modification file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap
from typing import Any

from interlock.hold.language.declarations import FieldType, Record
from interlock.hold.language.directions import Side
from interlock.hold.language.field_types import ByDirection, Listed, OrListed, OrNone, States
from interlock.hold.language.model import SECTIONS, Hold
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Chain, Fact, Negation, Quantified, Truth
from interlock.hold.language.text_types import Expression
from interlock.report.languages import in_yaml
from interlock.report.views.deferral import DeferralView, limit_of
from interlock.report.views.repair_facts import RepairFacts
from interlock.report.yaml.cautions import caution_comments

WIDTH = 72
BECAUSE = "inoperative (say here what is wrong with it)"


def modification_text(title: str, about: str, modifies: str, before: Hold, after: Hold) -> str:
    """The file's text; `modifies` is what it calls the file of the hold before.

    Things keep their ids; what is added comes last.  Raises ValueError where the two are the same.
    """
    changes = list(_changes(before, after))
    if not changes:
        raise ValueError("a modification changes something")
    lines = [*caution_comments(), "interlock: 1", f"modifies: {in_yaml(modifies)}", f"title: {in_yaml(title)}"]
    lines += _wrapped(f"about: {in_yaml(about)}") if about else []
    return "\n".join([*lines, "changes:", *(f"  {line}" for change in changes for line in change)]) + "\n"


def proposed_text(facts: RepairFacts, number: int) -> str:
    """The file of the proposal of that number, from 1: the text that was proved."""
    return facts.proposals[number - 1].modification


def deferral_text(view: DeferralView, modifies: str) -> str:
    """The file that declares the one case of a deferral, with the best limit that an expression can say.

    Raises ValueError where there are several cases, where something is inoperative that is no device which stays in a
    state, where it takes limitations that no expression can say, or none is known to suffice.
    """
    facts = view.facts
    case = facts.cases[0]
    limit = limit_of(case)
    if limit is None or not view.is_declarable:
        raise ValueError("no file can declare that")
    about = "Draft found by search, to be approved: " + view.result(case)
    names = ", ".join(one.name for one in case.items)
    lines = [*caution_comments(), "interlock: 1", f"modifies: {in_yaml(modifies)}"]
    lines += [f"title: {in_yaml(f'{facts.title} ({names} deferred)')}", *_wrapped(f"about: {in_yaml(about)}")]
    lines.append("changes:")
    for one in case.items:
        # without a limit it is no deferral with conditions: the device stays as it is
        lines += [f"  - {'defer' if limit else 'fix'}: {in_yaml(one.id)}", f"    in: {in_yaml(one.way)}"]
        lines += [f"    because: {in_yaml(BECAUSE)}", f"    limit: {in_yaml(limit)}"] if limit else []
    return "\n".join(lines) + "\n"


def _changes(before: Hold, after: Hold) -> Iterator[list[str]]:
    layout = _changed(before.layout, after.layout)
    if layout:
        yield _change("layout", layout)
    gone: list[list[str]] = []
    new: list[list[str]] = []
    for section in SECTIONS:
        old = {_key(one): one for one in getattr(before, section)}
        now = {_key(one): one for one in getattr(after, section)}
        for id, thing in now.items():
            fields = _changed(old[id], thing) if id in old else {}
            if fields:
                yield _change(id, fields)
        gone += [[f"- remove: {in_yaml(id)}"] for id in old if id not in now]
        added = [thing for id, thing in now.items() if id not in old]
        if added:
            items = [f"      - {_flow(_fields(thing))}" for thing in added]
            new.append(["- add:", f"    {section}:", *items])
    yield from new
    yield from gone


def _key(thing: Record) -> str:
    """What a thing goes by; what has no id is told apart by all that is written in it."""
    id = getattr(thing, "id", None)
    return id if isinstance(id, str) else str(_fields(thing))


def _change(id: str, fields: Mapping[str, Any]) -> list[str]:
    return [f"- change: {in_yaml(id)}", "  to:", *(f"    {line}" for line in _block(fields))]


def _changed(before: Record, after: Record) -> dict[str, Any]:
    """The fields of which something else is written, with what is."""
    old, new = _every(before), _every(after)
    return {key: value for key, value in new.items() if old[key] != value}


def _fields(thing: Record) -> dict[str, Any]:
    """What is written in a thing, without what is so where nothing is written."""
    declared = {field.key: field for field in thing.declaration.fields}
    every = _every(thing)
    return {
        key: value
        for key, value in every.items()
        if declared[key].required or getattr(thing, declared[key].attribute) != declared[key].default
    }


def _every(thing: Record) -> dict[str, Any]:
    return {field.key: _plain(field.type, getattr(thing, field.attribute)) for field in thing.declaration.fields}


def _plain(kind: FieldType[Any], value: Any) -> Any:
    """A value as texts, lists and mappings."""
    if value is None:
        return "never" if isinstance(kind, OrListed) else "none"
    if isinstance(value, Truth | Fact | Negation | Chain | Quantified):
        return print_syntax(value)
    if isinstance(value, Record):
        return _fields(value)
    if isinstance(value, Side):
        return f"{value.bay}.{value.direction}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:g}"
    if isinstance(kind, OrNone):
        return _plain(kind.inner, value)
    if isinstance(kind, ByDirection):
        return {str(way): _plain(kind.of, one) for way, one in value}
    if isinstance(kind, States):
        return {id: state for id, state, _ in value}
    if isinstance(value, tuple):
        inner = (
            kind.listed.item if isinstance(kind, OrListed) else kind.item if isinstance(kind, Listed) else Expression()
        )
        return [_plain(inner, one) for one in value]
    return str(value)


def _block(fields: Mapping[str, Any]) -> Iterator[str]:
    """One line for each field, or more where a list of mappings would make it long."""
    for key, value in fields.items():
        line = f"{key}: {_flow(value)}"
        if isinstance(value, list) and len(line) > WIDTH:
            yield f"{key}:"
            yield from (f"  - {_flow(one)}" for one in value)
        elif isinstance(value, dict) and len(line) > WIDTH:
            yield f"{key}:"
            yield from (f"  {inner}: {_flow(one)}" for inner, one in value.items())
        else:
            yield from _wrapped(line)


def _flow(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_flow(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_flow, value)) + "]"
    return in_yaml(value) if isinstance(value, str) else str(value)


def _wrapped(line: str) -> Sequence[str]:
    """A field in lines: within quotes a line end is a blank."""
    return wrap(line, WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)
