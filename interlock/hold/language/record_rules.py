"""What must fit together within one record, beyond the type of each field."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.kinds import (
    DEVICE_KINDS,
    HELD,
    HELD_KINDS,
    NEUTRAL,
    OVERRIDABLE_LATCH,
    PRESSED,
    Kind,
    Working,
    control_kind,
)
from interlock.hold.language.bay_names import MOST_BAYS
from interlock.hold.language.declarations import Values, Written
from interlock.hold.language.directions import DIRECTIONS, IN_AND_OUT
from interlock.hold.sorts import FAILURES, Item
from interlock.kernel.machine import RequirementKind

WITH_POSITIONS = ("switch", "selector", "lever", "momentary switch")
LEFT_ANYWHERE = ("switch", "selector", "access panel")
"""Controls that stay where a hand leaves them."""


def _a(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def _needs(written: Written, key: str, because: str) -> Diagnostic:
    return written.fault("missing-field", None, f"lacks '{key}'", f"`{key}:`, because {because}")


def _not_here(written: Written, key: str, because: str) -> Diagnostic:
    return written.fault("field-not-for-this-kind", key, f"has no '{key}'", because)


def layout(written: Written) -> Iterator[Diagnostic]:
    """Bays have names that mean one bay each, and there are not too many."""
    lanes, rows = written.values["lanes"], written.values["rows"]
    if not isinstance(lanes, tuple):
        return
    for lane in lanes:
        if lane[0].isdigit():  # row 1 of a lane 1L would have the name of row 11 of a lane L
            said = f"the lane '{lane}' begins with a digit"
            yield Diagnostic("bad-name", written.key_span("lanes"), said, "a letter first")
    yield from centred_faults(written, lanes, rows)
    if isinstance(rows, int) and rows * len(lanes) > MOST_BAYS:
        said = f"{rows} rows of {len(lanes)} lanes make {rows * len(lanes):,} bays"
        yield Diagnostic("too-many-bays", written.key_span("rows"), said, f"at most {MOST_BAYS:,}")


def centred_faults(written: Written, lanes: tuple[str, ...], rows: object) -> Iterator[Diagnostic]:
    """Bays in the middle of two lanes: of two that are side by side, in a row that there is, under a new name."""
    taken: set[tuple[int, str]] = set()
    for one in written.values["centred"] if isinstance(written.values["centred"], tuple) else ():
        places = [lanes.index(lane) for lane in one.between if lane in lanes]
        if len(places) != 2 or places[1] != places[0] + 1:
            said = f"{' and '.join(one.between)} are not two lanes side by side"
            expected = "two of " + ", ".join(lanes) + " that are side by side, the left one first"
            yield Diagnostic("not-between-two-lanes", one.span, said, expected)
        if one.lane in lanes or one.lane[0].isdigit():
            said = f"the lane of a centred bay cannot be called '{one.lane}'"
            yield Diagnostic("bad-name", one.span, said, "a letter first, and another name than those of `lanes`")
        if isinstance(rows, int) and one.row > rows:
            said = f"a bay of row {one.row} is centred"
            yield Diagnostic("number-out-of-range", one.span, said, f"a row from 1 to {rows}")
        here = {(one.row, lane) for lane in one.between}
        if here & taken or (one.row, one.lane) in taken:
            yield Diagnostic("listed-twice", one.span, f"row {one.row} has a centred bay there already", "each once")
        taken |= here | {(one.row, one.lane)}


def unit(written: Written) -> Iterator[Diagnostic]:
    """A unit covers one bay, or two or three in a line."""
    across, along = written.values["across"], written.values["along"]
    if isinstance(across, int) and isinstance(along, int) and across > 1 and along > 1:
        expected = "one bay, two or three across, or two or three along"
        yield written.fault("footprint-too-large", None, f"would cover {across * along} bays", expected)


def failure(written: Written) -> Iterator[Diagnostic]:
    """Only a contact has a place of use."""
    if written.has("at") and not written.has("contact"):
        yield _needs(written, "contact", "`at` says where a contact is")


def catalogued(written: Written) -> Iterator[Diagnostic]:
    """A mode that things of that sort can have."""
    item, mode = written.values["item"], written.values["mode"]
    if isinstance(item, Item) and isinstance(mode, str):
        known = [failing.mode for failing in FAILURES[item]]
        if mode not in known:
            said = f"{_a(item)} has no failure mode '{mode}'"
            expected = "one of " + ", ".join(known)
            yield Diagnostic("unknown-failure", written.key_span("mode"), said, expected, nearest_name(mode, known))


def doorway(written: Written) -> Iterator[Diagnostic]:
    """Latch and lock can be undone, and it starts in a state that it has."""
    values = written.values
    for part in ("latch", "lock"):
        undo = f"un{part}"
        if (values[part] is None) != (values[undo] is None) and written.has(part):
            key, said = part, f"says how to {part} but not how to undo it"
            if values[part] is None:
                key, said = undo, f"has no {part} to {undo}"
            yield written.fault("half-a-latch", key, said, f"both `{part}` and `{undo}`, or `{part}: none` alone")
    if written.has("latch") and values["latch"] is None and values["lock"] is not None:
        expected = "a latch for the lock to keep from coming off"
        yield written.fault("lock-without-latch", "lock", "has a lock but no latch", expected)
    starts = values["starts"]
    if not isinstance(starts, tuple):
        return
    if ("closed" in starts) == ("open" in starts):
        said = f"cannot start {'closed and open' if 'open' in starts else 'neither closed nor open'}"
        yield written.fault("start-not-clear", "starts", said, "closed or open, and latched or locked where it is so")
    for state, part in (("latched", "latch"), ("locked", "lock")):
        if state in starts and values[part] is None:
            yield written.fault("start-not-clear", "starts", f"starts {state} but has no {part}", f"no '{state}'")


def _device_kind(values: Values) -> Kind | None:
    return DEVICE_KINDS.get(values["kind"]) if isinstance(values["kind"], str) else None


def only_state(values: Values) -> str | None:
    """The state of a device that has no other."""
    kind = _device_kind(values)
    return kind.states[0] if kind is not None and len(kind.states) == 1 else None


def resting_state(values: Values) -> tuple[str] | None:
    """Where a device starts that returns by itself, or cannot move."""
    kind = _device_kind(values)
    return None if kind is None or kind.working is Working.HAND else (kind.initial,)


def resting_position(values: Values) -> tuple[str] | None:
    """Where a control starts that returns by itself."""
    kind, positions = values["kind"], values["positions"]
    if not isinstance(kind, str) or kind in LEFT_ANYWHERE or not isinstance(positions, tuple):
        return None
    if kind == "momentary switch":
        return (values["returns"],) if isinstance(values["returns"], str) else None
    return (control_kind(kind, positions).initial,)


def device(written: Written) -> Iterator[Diagnostic]:
    """What works it, where it locks and starts, as its kind needs."""
    values = written.values
    kind = _device_kind(values)
    if kind is None:
        return
    for key, wanted, lacking, surplus in (
        ("circuit", kind.working is Working.POWER, "powered-without-circuit", "circuit-for-unpowered"),
        ("handle", kind.working is Working.HANDLE, "lock-without-handle", "handle-for-other-kind"),
    ):
        if wanted and values[key] is None:
            yield written.fault(lacking, "kind", f"is {_a(kind.id)}, but no {key} works it", f"`{key}:`")
        elif not wanted and values[key] is not None:
            expected = f"no `{key}:`, or a kind that one works"
            yield written.fault(surplus, key, f"is {_a(kind.id)}, which no {key} works", expected)
    if kind is OVERRIDABLE_LATCH and not values["gives_way"]:
        yield _needs(written, "gives_way", "a unit overrides it one way")
    if values["locking"] is None:
        yield _needs(written, "locking", "up is not always locked")
    if values["starts"] is None:
        yield _needs(written, "starts", "a hand can leave it either way")
    if values["deferred"] is not None and values["fixed"] is None:
        yield _needs(written, "fixed", "a deferred item stays in one state")


def control(written: Written) -> Iterator[Diagnostic]:
    """The positions that its kind needs, and where it starts."""
    values = written.values
    kind, positions = values["kind"], values["positions"]
    if not isinstance(kind, str):
        return
    if kind in WITH_POSITIONS:
        least = 1 if kind == "lever" else 2
        if not written.has("positions") or (isinstance(positions, tuple) and len(positions) < least):
            said = f"is {_a(kind)} with {'one position' if positions else 'no positions'}"
            expected = f"`positions:` with {'one direction' if kind == 'lever' else 'two'} or more"
            yield written.fault("control-without-positions", "positions", said, expected)
            return
        listed = positions if kind in HELD_KINDS and isinstance(positions, tuple) else ()
        if kind == "lever" and NEUTRAL in listed:
            expected = "the directions only; every lever returns to neutral"
            yield written.fault("neutral-listed", "positions", "lists 'neutral' among its directions", expected)
        if HELD in listed:
            rest = "neutral" if kind == "lever" else "where it springs back to"
            said = f"has a position 'held', but every {kind} is held when it is away from {rest}"
            yield written.fault("reserved-name", "positions", said, "another name")
    elif written.has("positions"):
        yield _not_here(written, "positions", f"no positions: {_a(kind)} has its own")
        return
    yield from _springing(written, kind, positions)
    if kind not in HELD_KINDS and written.has("marks"):
        yield _not_here(written, "marks", f"no marks: {_a(kind)} is no command that is held")
    elif isinstance(positions, tuple) and isinstance(values["marks"], tuple):
        yield from _marks(written, (PRESSED,) if kind == "push button" else positions)
    yield from _inwards(written, positions)
    if kind in LEFT_ANYWHERE and not written.has("starts"):
        yield _needs(written, "starts", "a hand can leave it in any position")


def _springing(written: Written, kind: str, positions: object) -> Iterator[Diagnostic]:
    """Where it springs back to, and whether it can be pressed."""
    returns = written.values["returns"]
    if kind != "momentary switch" and written.has("returns"):
        yield _not_here(written, "returns", f"a momentary switch; {_a(kind)} does not need to be told")
    elif kind == "momentary switch" and not written.has("returns"):
        yield _needs(written, "returns", "it springs back to one of its positions")
    elif isinstance(returns, str) and isinstance(positions, tuple) and returns not in positions:
        said = f"cannot spring back to {returns!r}, which is none of its positions"
        yield written.fault("start-out-of-range", "returns", said, "one of " + ", ".join(positions))
    if written.values["can_be_pressed"] is not True:
        return
    if kind != "lever":
        yield _not_here(written, "can_be_pressed", "a lever, which is deflected besides; a push button is only pressed")
    elif isinstance(positions, tuple):
        for position in positions:
            if position == PRESSED or position.endswith(f"_and_{PRESSED}"):
                said = f"has a position '{position}', but it is pressed in any position"
                yield written.fault("reserved-name", "positions", said, "another name")


def _inwards(written: Written, positions: object) -> Iterator[Diagnostic]:
    """A door or a lane by which positions go is said of those that go by one."""
    if written.has("door") and written.has("lane"):
        yield _not_here(written, "lane", "either the `door` or the `lane` by which its positions go")
    for key in ("door", "lane"):
        if not written.has(key) or written.values[key] is None:
            continue
        if written.values["kind"] not in HELD_KINDS:
            yield _not_here(written, key, "only what is held, whose positions go by a door or a lane")
        elif isinstance(positions, tuple) and not set(IN_AND_OUT) & set(positions):
            because = f"a position called {', '.join(IN_AND_OUT)}, that could go by it"
            yield _not_here(written, key, because)


def _marks(written: Written, positions: tuple[str, ...]) -> Iterator[Diagnostic]:
    for way, marked in written.values["marks"]:
        for position in marked:
            if position not in positions:
                said = f"has no position {position!r} to be marked for {way}"
                yield written.fault("wrong-mark", "marks", said, "one of " + ", ".join(positions))
            elif position in DIRECTIONS and position != way:
                said = f"has a position called {position!r} that is marked for {way}"
                expected = f"`{position}: {position}`, or another name for the position"
                yield written.fault("wrong-mark", "marks", said, expected)


def supply(written: Written) -> Iterator[Diagnostic]:
    """What needs something says what becomes of it without."""
    needs = written.values["needs"] is not None
    if needs and not written.has("stored"):
        yield _needs(written, "stored", "without what it needs it goes off at once, or lasts for a while")
    elif written.has("stored") and not needs:
        yield _not_here(written, "stored", "`needs:`, without which it could last for a while")


def command(written: Written) -> Iterator[Diagnostic]:
    """It commands some direction."""
    if not any(map(written.has, DIRECTIONS)):
        yield written.fault("missing-field", None, "commands nothing", f"at least one of {', '.join(DIRECTIONS)}")


_REQUIREMENT_NEEDS: Mapping[RequirementKind, tuple[tuple[str, ...], tuple[str, ...]]] = {
    RequirementKind.NEVER: (("condition",), ("when",)),
    RequirementKind.ALWAYS: (("condition",), ("when",)),
    RequirementKind.CAN: (("condition",), ("when", "first")),
    RequirementKind.CAN_ALWAYS: (("condition",), ()),
    RequirementKind.ONLY_IF: (("step", "condition"), ("when",)),
    RequirementKind.ORDER: (("step", "first"), ("when", "since")),
}
"""For each kind of requirement the fields that it needs and those that it may have besides."""


def requirement(written: Written) -> Iterator[Diagnostic]:
    """The fields that its kind asks for, and no others."""
    kind = written.values["kind"]
    if not isinstance(kind, RequirementKind):
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
