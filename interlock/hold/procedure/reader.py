"""Reads procedure files: actions in the words of the trade, groups, repetitions."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold.language.field_types import States, Word
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode, SequenceNode, clip, cut_stretches, describe
from interlock.hold.language.parser import is_name, parse_expression, parse_path
from interlock.hold.language.reader import Reader, is_absent
from interlock.hold.language.scalars import FAILED
from interlock.hold.language.syntax import Path, Syntax
from interlock.hold.procedure.actions import FORMS, Action, ActionGroup, Form, Procedure
from interlock.hold.procedure.fields import OTHER_KEYS, PROCEDURE, STEP

_WORDS = re.compile(r"\S+")
_SLOTS = frozenset(["OBJECT", "POSITION", "UNIT", "BAY", "DIRECTION", "PLACE", "CONDITION"])
DEEPEST_GROUP = 10


def read_procedure(root: MappingNode, faults: Faults) -> Procedure | None:
    """The procedure that a file holds; None where there is any fault."""
    reader = Reader(faults, None)
    _note_unknown(root, [*(f.key for f in PROCEDURE.fields), *OTHER_KEYS], PROCEDURE.noun, faults)
    values: dict[str, Any] = {
        field.key: reader.field(field, root, root.span, PROCEDURE.noun) for field in PROCEDURE.fields
    }
    situation, starts = _start(root, reader)
    steps = _Steps(faults)
    entry = root.entry("steps")
    if entry is None:
        faults.add("missing-field", root.span, "a procedure lacks 'steps'", expected="`steps:` (the actions, in order)")
    else:
        steps.read(entry.value, None, 0)
    hold = root.entry("hold")
    if faults or hold is None:
        return None
    return Procedure(
        values["procedure"],
        values["about"],
        values["hold"],
        hold.value.span,
        situation,
        starts,
        tuple(steps.actions),
        tuple(steps.groups),
        values["goal"],
        root.span,
    )


def _start(root: MappingNode, reader: Reader) -> tuple[str | None, tuple[tuple[str, str, Span], ...]]:
    entry = root.entry("start")
    if entry is None:
        return None, ()
    if is_absent(entry.value):
        reader.faults.add("missing-value", entry.key.span, "'start' has no value", expected="a situation, or states")
        return None, ()
    if isinstance(entry.value, MappingNode):
        states = reader.value(States(), entry.value, "start")
        return None, (() if states is FAILED else states)
    name = reader.value(Word("situation"), entry.value, "start")
    return (None if name is FAILED else name), ()


def _note_unknown(node: MappingNode, keys: Sequence[str], noun: str, faults: Faults) -> None:
    for entry in node.entries:
        if entry.key.text not in keys:
            faults.add(
                "unknown-field",
                entry.key.span,
                f"{noun} has no field '{clip(entry.key.text)}'",
                expected="one of " + ", ".join(keys),
                nearest=faults.hint(entry.key.text, keys),
                context=node.context,
            )


@dataclass(slots=True)
class _Steps:
    """The actions and groups read so far."""

    faults: Faults
    actions: list[Action] = field(default_factory=list)
    groups: list[ActionGroup] = field(default_factory=list)

    def read(self, node: Node, group: int | None, depth: int) -> None:
        if not isinstance(node, SequenceNode):
            self.faults.add("not-a-list", node.span, f"'steps' cannot be {describe(node)}", expected="a list of steps")
            return
        if not node.items:
            self.faults.add("empty-list", node.span, "'steps' is an empty list", expected="at least one in it")
        for item in node.items:
            if isinstance(item, ScalarNode):
                self._action(item, "", group, ())
            elif isinstance(item, MappingNode):
                self._step(item, group, depth)
            else:
                self.faults.add("not-a-text", item.span, f"a step cannot be {describe(item)}", expected=_EXAMPLE)

    def _step(self, node: MappingNode, group: int | None, depth: int) -> None:
        single = node.entries[0] if len(node.entries) == 1 else None
        known = [*(f.key for f in STEP.fields), "steps"]
        if single is not None and single.key.text not in known:
            # `- check every b in bays: b is empty` is a key and a value to YAML
            self.faults.add(
                "unknown-action",
                single.key.span,
                "a step with a colon and a blank in it is no text",
                expected="quotes around it, or a comma in the place of the colon",
                context=node.context,
            )
            return
        _note_unknown(node, known, STEP.noun, self.faults)
        reader = Reader(self.faults, None, node.context)
        values = {field.key: reader.field(field, node, node.span, STEP.noun) for field in STEP.fields}
        if FAILED in values.values():
            return
        inner, do = node.entry("steps"), node.entry("do")
        if (inner is None) == (do is None) or (do is not None and values["group"] is not None):
            self.faults.add(
                "mixed-step",
                node.span,
                "a step is one action, or a group of them",
                expected="either `do:`, or `steps:` with or without `group:`",
                context=node.context,
            )
            return
        if do is not None:
            assert isinstance(do.value, ScalarNode)  # noqa: S101 -- it was read as a text above
            self._action(do.value, values["note"], group, node.context)
            return
        assert inner is not None  # noqa: S101 -- one of the two is there
        if depth >= DEEPEST_GROUP:
            self.faults.add(
                "mixed-step", node.span, "groups stand too deep in one another", expected=f"at most {DEEPEST_GROUP}"
            )
            return
        if values["group"] is None:
            self.read(inner.value, group, depth + 1)
            return
        place = len(self.groups)
        first = len(self.actions)
        self.groups.append(ActionGroup(values["group"], values["note"], first, first, group, node.span))
        self.read(inner.value, place, depth + 1)
        self.groups[place] = ActionGroup(values["group"], values["note"], first, len(self.actions), group, node.span)

    def _action(self, scalar: ScalarNode, note: str, group: int | None, context: tuple[str, ...]) -> None:
        found = _read_action(scalar, self.faults, context)
        if found is not None:
            verb, (subject, to, condition, beside) = found
            text = " ".join(scalar.text.split())
            self.actions.append(Action(verb, subject, to, condition, text, note, group, scalar.span, context, beside))


_EXAMPLE = "an action such as `lower M3L`"
_Slots = tuple[Path | None, str | None, Syntax | None, tuple[str, Span] | None]


def _read_action(scalar: ScalarNode, faults: Faults, context: tuple[str, ...]) -> tuple[str, _Slots] | None:
    """The verb and what goes with it; None with a fault noted."""
    words = [(m.group(), m.start(), m.end()) for m in _WORDS.finditer(scalar.text)]
    if not words:
        faults.add("unknown-action", scalar.span, "a step is empty", expected=_EXAMPLE, context=context)
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
) -> tuple[str, _Slots] | None:
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
    return form.verb, (subject, to, condition, beside)


def _part(scalar: ScalarNode, start: int, end: int) -> ScalarNode:
    """The characters from `start` to before `end` as a scalar that knows where they were written."""
    stretches = None
    if scalar.stretches is not None:
        stretches = tuple(cut_stretches(scalar.stretches, start, end, 0))
    return ScalarNode(
        scalar.text[start:end], scalar.place_of(start, end) or scalar.span, scalar.quoted, stretches or None
    )
