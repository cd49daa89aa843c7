"""What reading one file knows and finds: the bays, the names to be looked up, every fault."""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import Enum
from typing import Final, Literal

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.language.bay_names import BayNames
from interlock.hold.language.nodes import Node, ScalarNode, clip, describe
from interlock.hold.language.parser import KEYWORDS, STATE_WORDS, is_name
from interlock.hold.language.syntax import Syntax

_LONGEST_NAME_OFFERED = 40


class Failed(Enum):
    """The type of FAILED alone."""

    FAILED = "failed"


FAILED: Final = Failed.FAILED
"""Stands for a value that could not be read; the fault is noted already."""


@frozen
class Mention:
    """A name used in a field, to be looked up when every section is known.

    `sections` lists where it may be defined (None: anywhere), besides the bays where `bays` is set; `kinds` narrows it
    further.
    """

    name: str
    sections: tuple[str, ...] | None
    kinds: tuple[str, ...]
    bays: bool
    span: Span
    context: tuple[str, ...]


@frozen
class Made:
    """A record that was read, as far as it could be, with its context, and the names and expressions in it.

    `value` is None where it makes no `record`; `values`, by attribute, have FAILED for what could not be read.
    """

    record: type[object]
    value: object | None
    values: Mapping[str, object]
    context: tuple[str, ...]
    mentions: tuple[Mention, ...]
    expressions: tuple[Syntax, ...]


class Reader:
    """Reads the nodes of one file.

    `made` collects every record, `mentions` the names to be looked up afterwards, `expressions` every expression with
    its context, `variables` what requirements call the things that they run through.
    """

    def __init__(self, faults: Faults, bays: BayNames | None, context: tuple[str, ...] = ()) -> None:
        self.faults = faults
        self.bays = bays
        self.context = context
        self.made: list[Made] = []
        self.mentions: list[Mention] = []
        self.expressions: list[tuple[Syntax, tuple[str, ...]]] = []
        self.variables: set[str] = set()

    def fail(
        self, code: str, span: Span, message: str, expected: str | None = None, nearest: str | None = None
    ) -> Literal[Failed.FAILED]:
        """Note a fault."""
        self.faults.add(code, span, message, expected, nearest, self.context)
        return FAILED

    def unfit(
        self, code: str, node: Node, key: str, expected: str, nearest: str | None = None
    ) -> Literal[Failed.FAILED]:
        """Note that what stands under a key cannot stand there."""
        return self.fail(code, node.span, f"'{key}' cannot be {describe(node)}", expected, nearest)

    # --- names

    def mention(
        self,
        node: ScalarNode,
        sections: tuple[str, ...] | None = None,
        kinds: tuple[str, ...] = (),
        bays: bool = False,
    ) -> None:
        """Keep a name to be looked up when all are known."""
        self.mentions.append(Mention(node.text, sections, kinds, bays, node.span, self.context))

    def is_new_name(self, node: ScalarNode, what: str, *, state: bool = False) -> bool:
        """Whether a text can be a name, or a state, of somebody's choosing; notes a fault otherwise."""
        if not self.is_name(node, what):
            return False
        if node.text in (KEYWORDS - STATE_WORDS if state else KEYWORDS):
            self.fail("reserved-name", node.span, f"'{node.text}' is a word of the language", "another name")
            return False
        return True

    def is_name(self, node: ScalarNode, what: str) -> bool:
        """Whether a text has the form of a name; notes a fault otherwise."""
        if is_name(node.text) and any(letter.isalnum() for letter in node.text):
            return True
        nearest = re.sub(r"\W+", "_", node.text.strip(), flags=re.ASCII).strip("_")
        fits = len(nearest) <= _LONGEST_NAME_OFFERED and node.text.isascii() and "{" not in node.text
        said, expected = f"{describe(node)} cannot be {what}", "letters, digits, `_` and `-`"
        self.fail("bad-name", node.span, said, expected, nearest if nearest and fits else None)
        return False

    def is_bay(self, name: str, span: Span, missing_too: bool = False) -> bool:
        """Whether a name is that of a bay, perhaps one that a rule takes out; notes a fault otherwise."""
        if self.bays is None:
            return True
        if name in self.bays.missing and not missing_too:
            said = f"bay '{name}' does not exist: a rule of the layout takes it out"
            self.fail("bay-taken-out", span, said, "a bay that exists")
            return False
        if name in self.bays:
            return True
        known = self.bays.places
        lanes = ", ".join(self.bays.lanes)
        expected = f"a row from 1 to {self.bays.rows} with a lane of {lanes}, such as {next(iter(known))}"
        self.fail("unknown-bay", span, f"there is no bay '{clip(name)}'", expected, self.faults.hint(name, known))
        return False
