"""What is otherwise in a hold than it was before some changes, thing by thing, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from interlock.diagnostics.spans import Span
from interlock.hold.alike import shape_of
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.declarations import Record
from interlock.hold.language.model import SECTIONS, Hold
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Chain, Fact, Negation, Quantified, Syntax, Truth
from interlock.hold.wiring import wires_of
from interlock.study.causes.remedies import called, difference_of, listed, name_of_wire

_SYNTAX = (Truth, Fact, Negation, Chain, Quantified)


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that is otherwise: `item` is what it is called, `now` what is so of it, `was` what was before."""

    item: str
    span: Span
    now: str
    was: str


def differences_of(compiled: CompiledHold, before: Hold) -> Iterator[Difference]:
    """What is otherwise than before: expressions, then the other fields of things, what is new and what is gone."""
    hold = compiled.hold
    old = {wire.meaning: wire.syntax for wire in wires_of(before)}
    for wire in wires_of(hold):
        was = old.get(wire.meaning)
        if was is not None and shape_of(was) != shape_of(wire.syntax):
            item, _ = name_of_wire(compiled, wire.meaning)
            found, _ = difference_of(wire.syntax, was, reads=wire.meaning.subject.sort == "sensor")
            yield Difference(item, wire.span, f"it {found}", f"before: '{print_syntax(was)}'")
    if hold.layout != before.layout:
        yield from _fields("the layout", hold.layout, before.layout)
    for section in SECTIONS:
        then = {thing.id: thing for thing in getattr(before, section) if hasattr(thing, "id")}
        here = {thing.id: thing for thing in getattr(hold, section) if hasattr(thing, "id")}
        for id, thing in here.items():
            if id not in then:
                yield Difference(_named(thing), thing.span, "it is new", "")
            elif thing != then[id]:
                yield from _fields(_named(thing), thing, then[id])
        for id, thing in then.items():
            if id not in here:
                yield Difference(_named(thing), compiled.world.removed.get(id, thing.span), "it is gone", "")


def _named(thing: Any) -> str:
    return called(getattr(thing, "name", thing.id), thing.id)


def _fields(item: str, now: Record, was: Record) -> Iterator[Difference]:
    """The fields that are otherwise, but for expressions, which are told by themselves."""
    for field in now.declaration.fields:
        value, old = getattr(now, field.attribute), getattr(was, field.attribute)
        told, before = _text(value), _text(old)
        if value != old and told != before:
            span = value.span if isinstance(value, Record) else now.span
            yield Difference(item, span, f"its `{field.key}` is {told}", f"before: {before}")


def _text(value: object) -> str:
    """A value of a field in words; nothing of expressions, or of what consists of them."""
    match value:
        case None | () | "":
            return "none"
        case bool():
            return "yes" if value else "no"
        case str() | int() | float():
            return str(value)
        case tuple() if all(isinstance(one, str) for one in value):
            return listed([str(one) for one in value])
        case Record():
            parts = {field.key: getattr(value, field.attribute) for field in value.declaration.fields}
            return "; ".join(f"{key} {_plain(part)}" for key, part in parts.items())
    return ""


def _plain(value: object) -> str:
    return f"'{print_syntax(value)}'" if isinstance(value, _SYNTAX) else _text(value)


__all__ = ["Difference", "Syntax", "differences_of"]
