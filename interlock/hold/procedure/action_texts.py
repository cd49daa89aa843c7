"""Reads one action: a verb with the names, positions and conditions that go with it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold.language.nodes import ScalarNode, clip, cut_stretches
from interlock.hold.language.parser import is_name, parse_expression, parse_path
from interlock.hold.language.syntax import Path, Syntax
from interlock.hold.procedure.actions import FORMS, Action, Form

EXAMPLE = "an action such as `lower M3L`"

_WORDS = re.compile(r"\S+")
_SLOTS = frozenset(["OBJECT", "POSITION", "UNIT", "BAY", "DIRECTION", "PLACE", "CONDITION"])


def read_action(scalar: ScalarNode, faults: Faults, context: tuple[str, ...]) -> Action | None:
    """The action that a text asks for, without note and group; None with a fault noted."""
    words = [(m.group(), m.start(), m.end()) for m in _WORDS.finditer(scalar.text)]
    if not words:
        faults.add("unknown-action", scalar.span, "a step is empty", expected=EXAMPLE, context=context)
        return None
    fitting = [form for form in FORMS if form.shape.split()[0] == words[0][0]]
    if not fitting:
        known = sorted({form.shape.split()[0] for form in FORMS})
        faults.add(
            "unknown-action",
            scalar.place_of(words[0][1], words[0][2]) or scalar.span,
            f"'{clip(words[0][0])}' is nothing that a step can ask for",
            expected="one of " + ", ".join(known),
            nearest=faults.hint(words[0][0], known),
            context=context,
        )
        return None
    for form in fitting:
        for shape in _shapes(form.shape):
            slots = _match(shape, words)
            if slots is not None:
                return _resolve(form, slots, scalar, faults, context)
    faults.add(
        "unknown-action",
        scalar.span,
        f"'{clip(scalar.text)}' does not have the form of a step",
        expected=" or ".join(f"`{form.shape}`" for form in fitting),
        context=context,
    )
    return None


def _shapes(shape: str) -> tuple[list[str], ...]:
    """The words of a form, with what may be left out and without it."""
    before, bracket, rest = shape.partition("[")
    if not bracket:
        return (shape.split(),)
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
        if part in _SLOTS:
            slots[part] = words[at][1:]
        elif part != words[at][0]:
            return None
    return slots if len(words) == len(shape) else None


def _resolve(
    form: Form, slots: dict[str, tuple[int, int]], scalar: ScalarNode, faults: Faults, context: tuple[str, ...]
) -> Action | None:
    subject: Path | None = None
    to: str | None = None
    condition: Syntax | None = None
    beside: tuple[str, Span] | None = None
    for slot, (start, end) in slots.items():
        part = _part(scalar, start, end)
        if slot == "CONDITION":
            condition = parse_expression(part, faults, context)
            if condition is None:
                return None
        elif slot == "OBJECT" or (slot == "BAY" and "OBJECT" not in slots):
            subject = parse_path(part, faults, context)
            if subject is None:
                return None
        elif not is_name(part.text):
            faults.add(
                "bad-name",
                part.span,
                f"'{clip(part.text)}' cannot be a name",
                expected="letters, digits, `_` and `-`",
                context=context,
            )
            return None
        elif slot == "BAY":
            beside = part.text, part.span
        else:
            to = part.text
    text = " ".join(scalar.text.split())
    return Action(form.verb, subject, to, condition, text, "", None, scalar.span, context, beside)


def _part(scalar: ScalarNode, start: int, end: int) -> ScalarNode:
    """The characters from `start` to before `end` as a scalar that knows where they were written."""
    stretches = None
    if scalar.stretches is not None:
        stretches = tuple(cut_stretches(scalar.stretches, start, end, 0))
    return ScalarNode(
        scalar.text[start:end], scalar.place_of(start, end) or scalar.span, scalar.quoted, stretches or None
    )
