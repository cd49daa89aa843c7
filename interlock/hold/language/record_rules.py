"""What must fit together within one record, beyond the type of each field."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from interlock.diagnostics.spans import Span
from interlock.hold.kinds import DEVICE_KINDS, control_kind
from interlock.hold.language.bay_names import MOST_BAYS
from interlock.hold.language.nodes import MappingNode
from interlock.hold.language.schema_fields import DIRECTION_WORDS

HAND_WORKED = ("manual latch", "manual guide")
WITH_POSITIONS = ("switch", "selector", "lever")


@dataclass(frozen=True, slots=True)
class Written:
    """A record as written, with the values read so far; a rule may fill in defaults that depend on other fields.

    Values that could not be read are neither None nor of their type; rules ask for what they need.
    """

    node: MappingNode
    span: Span
    noun: str
    values: dict[str, Any]

    def key_span(self, key: str) -> Span:
        """Where a key stands; the record where it does not."""
        entry = self.node.entry(key)
        return self.span if entry is None else entry.key.span

    def has(self, key: str) -> bool:
        """Whether a key is written."""
        return self.node.entry(key) is not None


@dataclass(frozen=True, slots=True)
class Misfit:
    """Something that does not fit within a record."""

    code: str
    span: Span
    message: str
    expected: str | None = None


def _a(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def _needs(written: Written, key: str, because: str) -> Misfit:
    return Misfit("missing-field", written.span, f"{written.noun} lacks '{key}'", f"`{key}:`, because {because}")


def _not_here(written: Written, key: str, because: str) -> Misfit:
    return Misfit("field-not-for-this-kind", written.key_span(key), f"{written.noun} has no '{key}'", because)


def _layout(written: Written) -> Iterator[Misfit]:
    lanes, rows = written.values["lanes"], written.values["rows"]
    if not isinstance(lanes, tuple):
        return
    for lane in lanes:
        if lane[0].isdigit():  # row 1 of a lane 1L would have the name of row 11 of a lane L
            yield Misfit(
                "bad-name", written.key_span("lanes"), f"the lane '{lane}' begins with a digit", "a letter first"
            )
    if isinstance(rows, int) and rows * len(lanes) > MOST_BAYS:
        yield Misfit(
            "too-many-bays",
            written.key_span("rows"),
            f"{rows} rows of {len(lanes)} lanes make {rows * len(lanes):,} bays",
            f"at most {MOST_BAYS:,}",
        )


def _unit(written: Written) -> Iterator[Misfit]:
    if written.values["across"] == 2 and written.values["along"] == 2:
        yield Misfit(
            "footprint-too-large",
            written.span,
            f"{written.noun} would cover four bays",
            "one bay, two across or two along",
        )


def _doorway(written: Written) -> Iterator[Misfit]:
    values = written.values
    for part in ("latch", "lock"):
        undo = f"un{part}"
        if (values[part] is None) != (values[undo] is None) and written.has(part):
            yield Misfit(
                "half-a-latch",
                written.key_span(undo if values[part] is None else part),
                f"{written.noun} says how to {undo if values[part] is None else part} but not how to undo it"
                if values[part] is not None
                else f"{written.noun} has no {part} to {undo}",
                f"both `{part}` and `{undo}`, or `{part}: none` alone",
            )
    if written.has("latch") and values["latch"] is None and values["lock"] is not None:
        yield Misfit(
            "lock-without-latch",
            written.key_span("lock"),
            f"{written.noun} has a lock but no latch",
            "a latch for the lock to keep from coming off",
        )
    starts = values["starts"]
    if not isinstance(starts, tuple):
        return
    if ("closed" in starts) == ("open" in starts):
        yield Misfit(
            "start-not-clear",
            written.key_span("starts"),
            f"{written.noun} cannot start {'closed and open' if 'open' in starts else 'neither closed nor open'}",
            "closed or open, and latched or locked where it is so",
        )
    for state, part in (("latched", "latch"), ("locked", "lock")):
        if state in starts and values[part] is None:
            yield Misfit(
                "start-not-clear",
                written.key_span("starts"),
                f"{written.noun} starts {state} but has no {part}",
                f"no '{state}'",
            )


def _device(written: Written) -> Iterator[Misfit]:
    values = written.values
    kind = DEVICE_KINDS.get(values["kind"]) if isinstance(values["kind"], str) else None
    if kind is None:
        return
    powered, handled = kind.id.startswith("powered"), kind.id == "handle-worked lock"
    for key, wanted, lacking, surplus in (
        ("circuit", powered, "powered-without-circuit", "circuit-for-unpowered"),
        ("handle", handled, "lock-without-handle", "handle-for-other-kind"),
    ):
        if wanted and values[key] is None:
            message = f"{written.noun} is {_a(kind.id)}, but no {key} works it"
            yield Misfit(lacking, written.key_span("kind"), message, f"`{key}:`")
        elif not wanted and values[key] is not None:
            message = f"{written.noun} is {_a(kind.id)}, which no {key} works"
            yield Misfit(surplus, written.key_span(key), message, f"no `{key}:`, or a kind that one works")
    if len(kind.states) == 1:
        if values["locking"] is None:
            values["locking"] = kind.states[0]
    elif values["locking"] is None:
        yield _needs(written, "locking", "up is not always locked")
    if not written.has("starts"):
        if kind.id in HAND_WORKED:
            yield _needs(written, "starts", "a hand can leave it either way")
        else:
            values["starts"] = (kind.initial,)
    if values["deferred"] is not None and values["fixed"] is None:
        yield _needs(written, "fixed", "a deferred item stays in one state")


def _control(written: Written) -> Iterator[Misfit]:
    values = written.values
    kind, positions = values["kind"], values["positions"]
    if not isinstance(kind, str):
        return
    if kind in WITH_POSITIONS:
        least = 1 if kind == "lever" else 2
        if not written.has("positions") or (isinstance(positions, tuple) and len(positions) < least):
            yield Misfit(
                "control-without-positions",
                written.key_span("positions"),
                f"{written.noun} is {_a(kind)} with {'one position' if positions else 'no positions'}",
                f"`positions:` with {'one direction' if kind == 'lever' else 'two'} or more",
            )
            return
        if kind == "lever" and isinstance(positions, tuple) and "neutral" in positions:
            yield Misfit(
                "neutral-listed",
                written.key_span("positions"),
                f"{written.noun} lists 'neutral' among its directions",
                "the directions only; every lever returns to neutral",
            )
        if kind == "lever" and isinstance(positions, tuple) and "held" in positions:
            yield Misfit(
                "reserved-name",
                written.key_span("positions"),
                f"{written.noun} has a position 'held', but every lever is held when it is away from neutral",
                "another name",
            )
    elif written.has("positions"):
        yield _not_here(written, "positions", f"no positions: {_a(kind)} has its own")
        return
    if kind != "lever" and written.has("marks"):
        yield _not_here(written, "marks", f"no marks: {_a(kind)} is no command that is held")
    elif isinstance(positions, tuple) and isinstance(values["marks"], tuple):
        yield from _marks(written, positions)
    if not written.has("starts"):
        if kind in ("switch", "selector", "access panel"):
            yield _needs(written, "starts", "a hand can leave it in any position")
        elif isinstance(positions, tuple):
            values["starts"] = (control_kind(kind, positions).initial,)


def _marks(written: Written, positions: tuple[str, ...]) -> Iterator[Misfit]:
    for way, marked in written.values["marks"]:
        for position in marked if isinstance(marked, tuple) else ():
            if position not in positions:
                yield Misfit(
                    "wrong-mark",
                    written.key_span("marks"),
                    f"{written.noun} has no position {position!r} to be marked for {way}",
                    "one of " + ", ".join(positions),
                )
            elif position in DIRECTION_WORDS and position != way:
                yield Misfit(
                    "wrong-mark",
                    written.key_span("marks"),
                    f"{written.noun} has a position called {position!r} that is marked for {way}",
                    f"`{position}: {position}`, or another name for the position",
                )


def _command(written: Written) -> Iterator[Misfit]:
    if not any(written.has(way) for way in ("fore", "aft", "left", "right")):
        yield Misfit(
            "missing-field",
            written.span,
            f"{written.noun} commands nothing",
            "at least one of fore, aft, left, right",
        )


_REQUIREMENT_NEEDS: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "never": (("condition",), ("when",)),
    "always": (("condition",), ("when",)),
    "can": (("condition",), ("when", "first")),
    "can always": (("condition",), ()),
    "only if": (("step", "condition"), ()),
    "order": (("step", "first"), ("since",)),
}
"""For each kind of requirement the fields that it needs and those that it may have besides."""


def _requirement(written: Written) -> Iterator[Misfit]:
    kind = written.values["kind"]
    if not isinstance(kind, str):
        return
    needed, allowed = _REQUIREMENT_NEEDS[kind]
    for key in needed:
        if not written.has(key):
            yield _needs(written, key, f"its kind is '{kind}'")
    for key in ("condition", "when", "step", "first", "since"):
        if written.has(key) and key not in needed and key not in allowed:
            yield _not_here(written, key, f"for the kind '{kind}': {', '.join((*needed, *allowed))}")
    if written.has("where") and not written.has("for"):
        yield _not_here(written, "where", "`for:`, whose combinations `where` chooses from")


RULES: Mapping[str, Callable[[Written], Iterator[Misfit]]] = {
    "layout": _layout,
    "unit": _unit,
    "doorway": _doorway,
    "device": _device,
    "control": _control,
    "command": _command,
    "requirement": _requirement,
}
"""The rules of each record that has any."""
