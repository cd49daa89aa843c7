"""A written procedure: what its file can say, declared as records, and what it reads as."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.language.declarations import FieldType, Record, Schema, Values, Written, defined, field, record
from interlock.hold.language.field_types import States, items_of
from interlock.hold.language.model import File
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode, SequenceNode, describe
from interlock.hold.language.reader import FAILED, Failed, Reader
from interlock.hold.language.records import read_record, read_values
from interlock.hold.language.syntax import Syntax, Truth
from interlock.hold.language.text_types import NAME, Expression, Text, TextType, Word
from interlock.hold.procedure.action_texts import EXAMPLE, read_action
from interlock.hold.procedure.actions import Action, ActionGroup

DEEPEST_GROUP = 10

_Starts: TypeAlias = tuple[tuple[str, str, Span], ...]


@frozen
class NamedFile:
    """The name of a file, and where it was written."""

    name: str
    span: Span


@frozen
class FileName(TextType[NamedFile]):
    """The name of a file."""

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> NamedFile | Failed:
        name = Text().read_text(node, key, reader)
        return FAILED if name is FAILED else NamedFile(name, node.span)


@frozen
class ActionText(TextType[Action]):
    """An action in the words of the trade."""

    wanted = EXAMPLE

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> Action | Failed:
        if not node.text.strip():
            return reader.fail("missing-value", node.span, f"'{key}' is empty", "a text")
        return read_action(node, reader)


@frozen
class StepList(FieldType["tuple[Step, ...]"]):
    """Actions and groups of them, without those that cannot be read."""

    def read(self, node: Node, key: str, reader: Reader) -> tuple[Step, ...] | Failed:
        items = items_of(node, key, reader, wanted=self.wants())
        if items is FAILED:
            return FAILED
        found = [_read_step(item, reader) for item in items]
        return tuple(step for step in found if step is not FAILED)

    def wants(self) -> str:
        return "a list of steps"

    def schema(self) -> Schema:
        return {"type": "array", "minItems": 1, "items": defined("step")}


def _one_thing(written: Written) -> Iterator[Diagnostic]:
    if written.has("steps") == written.has("do") or (written.has("do") and written.has("group")):
        expected = "either `do:`, or `steps:` with or without `group:`"
        yield Diagnostic("mixed-step", written.span, "a step is one action, or a group of them", expected)


@record("step", "a step", rule=_one_thing)
class Step(Record):
    """An action with a note, or actions that belong together."""

    do: Action | None = field(ActionText(), "The action, such as `lower M3L`.", default=None)
    group: str | None = field(Text(), "What the steps together are called.", default=None)
    note: str = field(Text(), "What people should know.", default="")
    steps: tuple[Step, ...] = field(StepList(), "The actions, in order.", default=())


def _read_step(node: Node, reader: Reader) -> Step | Failed:
    match node:
        case ScalarNode():
            action = read_action(node, reader)
            return FAILED if action is FAILED else Step(do=action, span=node.span)
        case MappingNode():
            key = node.entries[0].key if len(node.entries) == 1 else None
            if key is not None and key.text not in Step.declaration.keys:
                # `- check every b in bays: b is empty` is a key and a value to YAML
                said = "a step with a colon and a blank in it is no text"
                expected = "quotes around it, or a comma in the place of the colon"
                return reader.fail("unknown-action", key.span, said, expected)
            return read_record(Step, node, reader)
        case SequenceNode():
            return reader.fail("not-a-text", node.span, f"a step cannot be {describe(node)}", EXAMPLE)


@frozen
class Steps:
    """Everything to be done, in order, and the groups that it belongs to, each after the one around it."""

    actions: tuple[Action, ...]
    groups: tuple[ActionGroup, ...]


@frozen
class AllSteps(FieldType[Steps]):
    """The steps of a procedure, those of groups in one row with the others."""

    def read(self, node: Node, key: str, reader: Reader) -> Steps | Failed:
        for span in _too_deep(node, 0):
            said = "groups stand too deep in one another"
            return reader.fail("mixed-step", span, said, f"at most {DEEPEST_GROUP}")
        steps = StepList().read(node, key, reader)
        if steps is FAILED:
            return FAILED
        actions: list[Action] = []
        groups: list[ActionGroup] = []
        _flatten(steps, None, actions, groups)
        return Steps(tuple(actions), tuple(groups))

    def wants(self) -> str:
        return StepList().wants()

    def schema(self) -> Schema:
        return StepList().schema()


def _too_deep(node: Node | None, depth: int) -> Iterator[Span]:
    for item in node.items if isinstance(node, SequenceNode) else ():
        if isinstance(item, MappingNode) and item.entry("steps") is not None:
            if depth >= DEEPEST_GROUP:
                yield item.span
            else:
                yield from _too_deep(item.value("steps"), depth + 1)


def _flatten(steps: tuple[Step, ...], around: int | None, actions: list[Action], groups: list[ActionGroup]) -> None:
    for step in steps:
        if step.do is not None:
            actions.append(replace(step.do, note=step.note, group=around))
        elif step.group is None:
            _flatten(step.steps, around, actions, groups)
        else:
            place, first = len(groups), len(actions)
            groups.append(ActionGroup(step.group, step.note, first, first, around, step.span))
            _flatten(step.steps, place, actions, groups)
            groups[place] = replace(groups[place], end=len(actions))


@frozen
class Start(FieldType["str | _Starts"]):
    """The id of a situation, or states by the things that are in them."""

    def read(self, node: Node, key: str, reader: Reader) -> str | _Starts | Failed:
        if isinstance(node, MappingNode):
            return States().read(node, key, reader)
        return Word("situation").read(node, key, reader)

    def wants(self) -> str:
        return f"a situation; or {States().wants()}"

    def schema(self) -> Schema:
        return {"anyOf": [{**NAME}, States().schema()]}


@record("procedure", "a procedure")
class Procedure(File):
    """What people are to do to a hold, in order.

    Its repetitions are written out.
    """

    title: str = field(Text(), "What the procedure is called.", key="procedure")
    about: str = field(Text(), "What it is for, for people.", default="")
    file: NamedFile = field(FileName(), "The file of the hold, seen from the folder of this file.", key="hold")
    goal: Syntax = field(Expression(), "What must be so at the end.")
    start: str | _Starts = field(
        Start(), "A situation of the description, or states by the things that are in them.", default=()
    )
    steps: Steps = field(AllSteps(), "The actions, in order.")

    @property
    def hold(self) -> str:
        """The name of the file of the hold, seen from the folder of the procedure."""
        return self.file.name

    @property
    def situation(self) -> str | None:
        """The situation that it starts from, if it names one."""
        return self.start if isinstance(self.start, str) else None

    @property
    def starts(self) -> _Starts:
        """The states that it starts with in the place of the usual ones, each with where it is written."""
        return () if isinstance(self.start, str) else self.start


def read_procedure(root: MappingNode, reader: Reader) -> Procedure | None:
    """A procedure as far as it can be read, with all faults noted; None where it does not say of which hold it is.

    A step that cannot be read is left out, a goal is taken to be true and a start to be the usual one.
    """
    values, _ = read_values(Procedure.declaration, root, reader)
    usual: Values = {"goal": Truth(True, root.span), "start": (), "steps": Steps((), ())}
    found: Values = {name: usual.get(name, "") if value is FAILED else value for name, value in values.items()}
    return None if values["file"] is FAILED else Procedure(**found)
