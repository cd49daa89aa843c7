"""Reads one action: a verb with the names, positions and conditions that go with it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from interlock.diagnostics.spans import Span
from interlock.hold.language.nodes import ScalarNode, clip, cut_stretches
from interlock.hold.language.parser import is_name, parse_expression, parse_path
from interlock.hold.language.reader import FAILED, Failed, Reader
from interlock.hold.language.syntax import Path, Syntax
from interlock.hold.procedure.actions import FORMS, Action, Form

EXAMPLE = "an action such as `lower M3L`"

_WORDS = re.compile(r"\S+")
SLOTS = frozenset(["OBJECT", "POSITION", "UNIT", "BAY", "DIRECTION", "PLACE", "CONDITION"])


def read_action(scalar: ScalarNode, reader: Reader) -> Action | Failed:
    """The action that a text asks for, without note and group."""
    words = [(m.group(), m.start(), m.end()) for m in _WORDS.finditer(scalar.text)]
    if not words:
        return reader.fail("unknown-action", scalar.span, "a step is empty", EXAMPLE)
    fitting = [form for form in FORMS if form.shape.split()[0] == words[0][0]]
    if not fitting:
        known = sorted({form.shape.split()[0] for form in FORMS})
        verb, start, end = words[0]
        span = scalar.place_of(start, end) or scalar.span
        said, expected = f"'{clip(verb)}' is nothing that a step can ask for", "one of " + ", ".join(known)
        return reader.fail("unknown-action", span, said, expected, reader.faults.hint(verb, known))
    for form in fitting:
        for shape in shapes_of(form):
            slots = _match(shape, words)
            if slots is not None:
                return _resolve(form, slots, scalar, reader)
    said = f"'{clip(scalar.text)}' does not have the form of a step"
    return reader.fail("unknown-action", scalar.span, said, " or ".join(f"`{form.shape}`" for form in fitting))


def slots_of(scalar: ScalarNode) -> Mapping[str, ScalarNode]:
    """What stands in the places for names and conditions of the first form that fits; nothing where none does."""
    words = [(m.group(), m.start(), m.end()) for m in _WORDS.finditer(scalar.text)]
    for form in FORMS:
        for shape in shapes_of(form):
            slots = _match(shape, words)
            if slots is not None:
                return {slot: _part(scalar, start, end) for slot, (start, end) in slots.items()}
    return {}


def shapes_of(form: Form) -> tuple[list[str], ...]:
    """The words of a form, with what may be left out and without it."""
    before, bracket, rest = form.shape.partition("[")
    if not bracket:
        return (form.shape.split(),)
    inside, _, after = rest.partition("]")
    return (f"{before}{inside}{after}".split(), f"{before}{after}".split())


def _match(shape: Sequence[str], words: Sequence[tuple[str, int, int]]) -> dict[str, tuple[int, int]] | None:
    """Where in the text the slots of the form are, where the words fit it."""
    slots: dict[str, tuple[int, int]] = {}
    for at, part in enumerate(shape):
        if at == len(words):
            return None
        if part == "CONDITION":
            return {**slots, part: (words[at][1], words[-1][2])}
        if part in SLOTS:
            slots[part] = words[at][1:]
        elif part != words[at][0]:
            return None
    return slots if len(words) == len(shape) else None


def _resolve(form: Form, slots: dict[str, tuple[int, int]], scalar: ScalarNode, reader: Reader) -> Action | Failed:
    subject: Path | None = None
    to: str | None = None
    condition: Syntax | None = None
    beside: tuple[str, Span] | None = None
    for slot, (start, end) in slots.items():
        part = _part(scalar, start, end)
        if slot == "CONDITION":
            condition = parse_expression(part, reader.faults, reader.context)
            if condition is None:
                return FAILED
        elif slot == "OBJECT" or (slot == "BAY" and "OBJECT" not in slots):
            subject = parse_path(part, reader.faults, reader.context)
            if subject is None:
                return FAILED
        elif not is_name(part.text):
            said = f"'{clip(part.text)}' cannot be a name"
            return reader.fail("bad-name", part.span, said, "letters, digits, `_` and `-`")
        elif slot == "BAY":
            beside = part.text, part.span
        else:
            to = part.text
    text = " ".join(scalar.text.split())
    return Action(form.verb, subject, to, condition, text, "", None, scalar.span, reader.context, beside)


def _part(scalar: ScalarNode, start: int, end: int) -> ScalarNode:
    """The characters from `start` to before `end` as a scalar that knows where they were written."""
    stretches = tuple(cut_stretches(scalar.stretches or (), start, end, 0)) or None
    return ScalarNode(scalar.text[start:end], scalar.place_of(start, end) or scalar.span, scalar.quoted, stretches)
