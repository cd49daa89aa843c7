"""Reads single texts by the type of their field, and notes what is wrong with them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold.language import model
from interlock.hold.language.bay_names import BayNames
from interlock.hold.language.field_types import (
    Amount,
    Bay,
    Choice,
    Expression,
    FieldType,
    Id,
    Reference,
    SideText,
    StepText,
    Text,
    Version,
    Whole,
    Word,
    YesNo,
)
from interlock.hold.language.nodes import ScalarNode, clip, describe
from interlock.hold.language.parser import KEYWORDS, is_name, parse_expression, parse_step
from interlock.hold.language.schema_fields import DIRECTION_WORDS
from interlock.hold.language.schema_files import VERSION
from interlock.hold.language.syntax import Syntax, Truth


class _Failed:
    """Stands for a value that could not be read; the fault is noted already."""


FAILED: Final = _Failed()

_WHOLE = re.compile(r"-?\d+\Z", re.ASCII)
_AMOUNT = re.compile(r"\d{1,9}(\.\d{1,6})?\Z", re.ASCII)
_SAYS_YES = {"yes": "true", "on": "true", "y": "true", "no": "false", "off": "false", "n": "false"}
_DIGITS_READ = 9


@dataclass(frozen=True, slots=True)
class Mention:
    """A name used in a field, to be looked up when every section is known.

    `sections` lists where it may be defined, besides the bays where `bays` is set; `kind` narrows it further.
    """

    name: str
    sections: tuple[str, ...]
    kind: str | None
    bays: bool
    span: Span
    context: tuple[str, ...]


class ScalarReader:
    """Reads texts of one description.

    `mentions` collects the names to be looked up afterwards, `expressions` every expression with its context.
    """

    def __init__(self, faults: Faults, bays: BayNames | None, context: tuple[str, ...] = ()) -> None:
        self.faults = faults
        self.bays = bays
        self.mentions: list[Mention] = []
        self.expressions: list[tuple[Syntax, tuple[str, ...]]] = []
        self._context = context

    def scalar(self, kind: FieldType, node: ScalarNode, key: str) -> Any:
        """The value of a type that a text holds, or FAILED.  `key` is what messages call it."""
        match kind:
            case Text():
                text = node.text.strip()
                if not text:
                    self._add("missing-value", node.span, f"'{key}' is empty", expected="a text")
                    return FAILED
                return text
            case Version():
                if node.text == VERSION:
                    return node.text
                self._add(
                    "unknown-version",
                    node.span,
                    f"version {describe(node)} of the language is not known here",
                    expected=f"`interlock: {VERSION}`",
                )
                return FAILED
            case Id():
                return node.text if self.is_new_name(node, "a name") else FAILED
            case Word(what):
                return node.text if self.is_new_name(node, f"a {what}") else FAILED
            case Whole(low, high):
                return self._whole(low, high, node, key)
            case Amount(unit):
                if _AMOUNT.match(node.text) and float(node.text) > 0:
                    return float(node.text)
                self._add(
                    "not-an-amount",
                    node.span,
                    f"'{key}' cannot be {describe(node)}",
                    expected=f"a positive number of {unit}, without the unit",
                )
                return FAILED
            case YesNo():
                if node.text in ("true", "false"):
                    return node.text == "true"
                self._add(
                    "not-true-or-false",
                    node.span,
                    f"'{key}' cannot be {describe(node)}",
                    expected="true or false",
                    nearest=_SAYS_YES.get(node.text.lower()),
                )
                return FAILED
            case Choice(options):
                return self._choice(options, node, key)
            case Expression(never_is_none):
                found = parse_expression(node, self.faults, self._context)
                if found is None:
                    return FAILED
                self.expressions.append((found, self._context))
                return None if never_is_none and isinstance(found, Truth) and not found.value else found
            case StepText():
                step = parse_step(node, self.faults, self._context)
                return FAILED if step is None else step
            case Reference(sections, narrower):
                if not self._is_name(node, "a name"):
                    return FAILED
                self.mentions.append(Mention(node.text, sections, narrower, False, node.span, self._context))
                return node.text
            case Bay(outside):
                if outside and node.text == "outside":
                    return None
                return node.text if self._is_bay(node.text, node.span) else FAILED
            case SideText():
                return self._side(node)
        raise AssertionError(kind)  # every type of a scalar is above

    def _whole(self, low: int, high: int, node: ScalarNode, key: str) -> Any:
        expected = f"a whole number from {low} to {high}"
        if not _WHOLE.match(node.text):
            self._add("not-a-whole-number", node.span, f"'{key}' cannot be {describe(node)}", expected=expected)
            return FAILED
        # int() of thousands of digits is slow or raises; more than nine are out of every range we have
        if len(node.text) > _DIGITS_READ or not low <= int(node.text) <= high:
            self._add("number-out-of-range", node.span, f"'{key}' cannot be {describe(node)}", expected=expected)
            return FAILED
        return int(node.text)

    def _choice(self, options: tuple[str, ...], node: ScalarNode, key: str) -> Any:
        text = " ".join(node.text.split())
        if text in options:
            return model.Direction(text) if options == DIRECTION_WORDS else text
        self._add(
            "unknown-choice",
            node.span,
            f"'{key}' cannot be {describe(node)}",
            expected="one of " + ", ".join(options),
            nearest=self.faults.hint(text, options),
        )
        return FAILED

    def is_new_name(self, node: ScalarNode, what: str) -> bool:
        """Whether a text can be a name or state of somebody's choosing; notes a fault otherwise."""
        if not self._is_name(node, what):
            return False
        if node.text in KEYWORDS:
            self._add("reserved-name", node.span, f"'{node.text}' is a word of the language", expected="another name")
            return False
        return True

    def _is_name(self, node: ScalarNode, what: str) -> bool:
        if is_name(node.text) and any(letter.isalnum() for letter in node.text):
            return True
        nearest = re.sub(r"\W+", "_", node.text.strip(), flags=re.ASCII).strip("_")
        self._add(
            "bad-name",
            node.span,
            f"{describe(node)} cannot be {what}",
            expected="letters, digits, `_` and `-`",
            nearest=nearest
            if nearest and len(nearest) <= 40 and node.text.isascii() and "{" not in node.text
            else None,
        )
        return False

    def _is_bay(self, name: str, span: Span, missing_too: bool = False) -> bool:
        if self.bays is None:
            return True
        if name in self.bays.missing and not missing_too:
            self._add(
                "bay-taken-out",
                span,
                f"bay '{name}' does not exist: a rule of the layout takes it out",
                expected="a bay that exists",
            )
            return False
        if name in self.bays:
            return True
        known = self.bays.places
        lanes = ", ".join(self.bays.lanes)
        self._add(
            "unknown-bay",
            span,
            f"there is no bay '{clip(name)}'",
            expected=f"a row from 1 to {self.bays.rows} with a lane of {lanes}, such as {next(iter(known))}",
            nearest=self.faults.hint(name, known),
        )
        return False

    def _side(self, node: ScalarNode) -> Any:
        bay, dot, direction = node.text.partition(".")
        if not dot or direction not in DIRECTION_WORDS:
            start = len(bay) + 1 if dot else 0
            self._add(
                "no-such-side",
                node.place_of(start, max(start + 1, len(node.text))) or node.span,
                f"{describe(node)} is no side of a bay",
                expected="a bay, a dot and one of " + ", ".join(DIRECTION_WORDS),
                nearest=self.faults.hint(direction, DIRECTION_WORDS) if dot else None,
            )
            return FAILED
        if not self._is_bay(bay, node.place_of(0, max(1, len(bay))) or node.span):
            return FAILED
        return model.Side(bay, model.Direction(direction), node.span)

    def _add(
        self, code: str, span: Span, message: str, expected: str | None = None, nearest: str | None = None
    ) -> None:
        self.faults.add(code, span, message, expected=expected, nearest=nearest, context=self._context)
