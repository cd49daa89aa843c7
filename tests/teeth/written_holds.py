"""Holds as somebody might write them who never read the standing set: other shapes, other words, other equipment.

Each is sound by construction: what a circuit of the demonstration holds asks for is asked for here too, in whatever
words; or it has one flaw that is named.  Nothing of the program is used to write them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import TypeAlias

LANES = {1: "C", 2: "LR", 3: "LCR", 4: "ABCD"}
ALONG = (("fore", "aft", ""), ("forward", "back", "fore: forward, aft: back"), ("up_hold", "down_hold", ""))
ACROSS = (
    ("left", "right", ""),
    ("port", "starboard", "left: port, right: starboard"),
    ("inboard", "outboard", ""),
)
MOST_ROWS, MOST_BAYS = 15, 32
MOST_LETTERS = 4_000
"""Of what a circuit is, in one expression: the program reads no longer one."""
FLAWS = (
    "a latch is missing",
    "a stop is not asked",
    "a latch line is not asked",
    "the sill is not asked",
    "drives without a door open",
    "no fresh command",
    "the door moves whatever is driven",
    "the levers are crossed",
    "a latch is jammed",
    "a latch gives way to the wrong side",
    "a door that does not open",
)
Bay: TypeAlias = tuple[int, str]


@dataclass(frozen=True, slots=True)
class Door:
    """An opening: beside these bays, on this side of the hold."""

    id: str
    side: str
    bays: tuple[Bay, ...]

    @property
    def is_at_end(self) -> bool:
        """Units come in along the lanes."""
        return self.side in ("fore", "aft")


@dataclass(frozen=True, slots=True)
class Choices:
    """What one writer decided; `along` and `across` are positions of levers with their marks, or none."""

    lanes: str
    ranges: tuple[tuple[int, int], ...]
    """Per lane its first and its last row: where a hold tapers, the outer lanes are shorter."""
    doors: tuple[Door, ...]
    unit: str
    """What stands there beside containers of one bay: `none`, `wide` (two lanes) or `long` (two rows)."""
    drives: str
    """Where drives are: `all`, `doorway` (units are pushed along the lanes), `none`."""
    pushed: bool
    drift: str
    upwards: bool
    powered_door: bool
    latched: bool
    mid: str
    """What stands between rows; `spring and manual`: both on one line."""
    centre: str
    sill: str
    along: tuple[str, str, str]
    across: tuple[str, str, str]
    joystick: bool
    shared: bool
    run_lever: bool
    selector: bool
    stations: bool
    people: bool
    second_supply: str
    panel: bool
    wiring: str
    """How a contact of a lever comes to a command: `direct`, by a `circuit`, by a `relay`, by `others` being open."""
    crew_door: bool
    """People come and go by a way of their own, whatever the cargo door does."""
    hatch: bool
    """That way is a door too, moved by hand, over a side guide."""
    short_ids: bool
    shuffled: bool
    flaw: str = ""
    seed: int = 0

    @property
    def rows(self) -> int:
        """The number of rows."""
        return max(last for _, last in self.ranges)

    @property
    def bays(self) -> list[Bay]:
        """All bays, row by row."""
        return [(row, lane) for row in range(1, self.rows + 1) for lane in self.lanes_of(row)]

    @property
    def cross_rows(self) -> list[int]:
        """The rows in which units move across the hold."""
        return sorted({row for door in self.doors if not door.is_at_end for row, _ in door.bays})

    @property
    def row(self) -> int:
        """The first row beside a door."""
        return min(row for door in self.doors for row, _ in door.bays)

    def lanes_of(self, row: int) -> str:
        """The lanes that reach this row."""
        return "".join(
            lane for lane, (first, last) in zip(self.lanes, self.ranges, strict=True) if first <= row <= last
        )

    def has(self, bay: Bay) -> bool:
        """The bay exists."""
        return bay[1] in self.lanes_of(bay[0])


def chosen(seed: int, most_rows: int = MOST_ROWS, most_bays: int = MOST_BAYS) -> Choices:
    """The choices of one writer; without a flaw."""
    draw = Random(seed)
    lanes = LANES[draw.choices((1, 2, 3, 4), (25, 40, 20, 15))[0]]
    rows = min(draw.randint(2, most_rows), most_bays // len(lanes))
    ends = draw.choices(((), ("fore",), ("aft",)), (75, 12, 13))[0] if rows > 1 else ()
    unit = draw.choices(("none", "wide", "long"), (55, 20 if len(lanes) == 2 else 0, 25 if rows > 2 else 0))[0]
    sides = [] if ends and (unit == "long" or draw.random() < 0.6) else [draw.choice(("left", "right"))]
    if sides and not ends and draw.random() < 0.35:
        sides.append(draw.choice(("left", "right")))
    deep = 2 if unit == "long" and sides else 1
    # two doors on one side stand in different rows, with a row between their sills
    spots = list(range(1, rows - deep + 2))
    places: list[tuple[str, int]] = []
    for side in sides:
        free = [
            at for at in spots if all(abs(at - other) > deep or (at == other and side != its) for its, other in places)
        ]
        free = [at for at in free if not (ends and (at == 1 or at + deep - 1 == rows))]
        if free:
            places.append((side, draw.choice(free)))
    if not places and not ends:
        places = [(sides[0], 1)]
    if not places and not rows > 1:
        raise AssertionError("no door")
    ranges = _tapered(draw, lanes, rows, ends, {row for _, at in places for row in range(at, at + deep)})
    doors = _doors(lanes, rows, ends, places, deep)
    pushed_only = draw.random() < 0.15
    drives = draw.choice(("doorway", "none")) if pushed_only else "all"
    if drives == "doorway" and not places:
        drives = "all"
    pushed = drives != "all" or draw.random() < 0.15
    drift = draw.choices(("", "fore", "aft"), (80, 8, 12))[0]
    # whoever stands inside cannot keep a unit from being pushed, from rolling, from coming in on its own
    people = draw.random() < 0.5 and drives == "all" and not pushed and not drift and not ends
    across = draw.choice(ACROSS)
    outward = {door.side for door in doors if not door.is_at_end}
    if across[0] == "inboard":
        across = ACROSS[0] if len(outward) > 1 else ("outboard", "inboard", "") if outward == {"left"} else across
    joystick = bool(places) and drives == "all" and draw.random() < 0.3
    # nor may a hand that reaches in by one door lower what another door, on the move, comes down on
    by_hand = () if people or len(doors) > 1 else ("manual latch",)
    sills = ("handle-worked lock", "powered guide resting raised", *by_hand)
    shared = unit == "wide" or (not joystick and draw.random() < 0.5)
    shared = shared and not joystick
    mids = ["manual latch", "manual latch", "powered latch resting raised", "powered latch resting lowered"]
    if unit == "none" and len(doors) == 1:
        mids.append("spring and manual")
    return Choices(
        lanes=lanes,
        ranges=ranges,
        doors=doors,
        unit=unit,
        drives=drives,
        pushed=pushed,
        drift=drift,
        upwards=draw.random() < 0.4,
        powered_door=draw.random() < 0.5,
        latched=draw.random() < 0.6,
        mid=draw.choice(mids),
        centre=draw.choice(("fixed guide", "manual guide", "powered guide resting raised")),
        sill=draw.choice(sills),
        along=draw.choice(ALONG),
        across=across,
        joystick=joystick,
        shared=shared,
        run_lever=shared and draw.random() < 0.4,
        selector=draw.random() < 0.6,
        stations=not joystick and drives == "all" and draw.random() < 0.3,
        people=people,
        second_supply=draw.choice(("none", "light", "door", "drives")),
        panel=draw.random() < 0.4,
        wiring=draw.choice(("direct", "circuit", "relay", "others")),
        crew_door=people and draw.random() < 0.7,
        hatch=draw.random() < 0.6,
        short_ids=draw.random() < 0.5,
        shuffled=draw.random() < 0.5,
        seed=seed,
    )


def _tapered(draw: Random, lanes: str, rows: int, ends: Sequence[str], kept: set[int]) -> tuple[tuple[int, int], ...]:
    """Per lane its first and last row: at an end without a door the outer lanes may be a row or two shorter."""
    ranges = {lane: [1, rows] for lane in lanes}
    if len(lanes) > 1 and rows > 3:
        outer = lanes[0] + lanes[-1] if len(lanes) > 2 else draw.choice(lanes)
        for end, at in (("fore", 0), ("aft", 1)):
            by = draw.choice((0, 0, 0, 1, 1, 2))
            by = min(by, min(kept, default=rows) - 1) if at == 0 else min(by, rows - max(kept, default=1))
            if end not in ends and rows - by > 2:
                for lane in outer:
                    ranges[lane][at] += by if at == 0 else -by
    return tuple((first, last) for first, last in ranges.values())


def _doors(
    lanes: str, rows: int, ends: Sequence[str], places: Sequence[tuple[str, int]], deep: int
) -> tuple[Door, ...]:
    found = [
        (side, tuple((row, lanes[0] if side == "left" else lanes[-1]) for row in range(at, at + deep)))
        for side, at in places
    ]
    found += [(end, tuple((1 if end == "fore" else rows, lane) for lane in lanes)) for end in ends]
    ids = ["DOOR"] if len(found) == 1 else [f"DOOR{n}" for n in range(1, len(found) + 1)]
    return tuple(Door(id, side, bays) for id, (side, bays) in zip(ids, found, strict=True))


def written(choices: Choices) -> str:
    """The whole description."""
    return _Writer(choices).text()


def with_flaw(choices: Choices, which: int) -> Choices:
    """The same hold with one thing wrong: of the flaws that it can have the one at this place, counted round."""
    possible = [
        flaw
        for flaw in FLAWS
        if not (choices.drives == "none" and flaw in ("a stop is not asked", "the levers are crossed"))
        and not (choices.drives == "none" and flaw in ("drives without a door open", "no fresh command"))
        and not (choices.rows < 2 and "latch" in flaw)
        and not (flaw == "a latch is jammed" and choices.mid.startswith("powered"))
    ]
    return replace(choices, flaw=possible[which % len(possible)])


def _all(parts: Sequence[str], none: str = "always") -> str:
    return " and ".join(dict.fromkeys(parts)) or none


def _some(parts: Sequence[str]) -> str:
    return " or ".join(dict.fromkeys(parts)) or "never"


def _bay(bay: Bay) -> str:
    return f"{bay[0]}{bay[1]}"


class _Writer:
    def __init__(self, choices: Choices) -> None:
        self.c = c = choices
        self.draw = Random(c.seed + 1)
        self.bays = c.bays
        self.lines = [(row, lane) for row, lane in self.bays if c.has((row + 1, lane))]
        """Bays with another one aft."""
        self.seams = [(row, a) for row, a in self.bays if (b := self._beside((row, a), "right")) and c.has(b)]
        """Bays with another one on the right."""
        self.doors = {(bay, door.side): door for door in c.doors for bay in door.bays}
        self.levered = c.drives != "none"
        lanes_driven = c.drives == "all"
        if c.joystick:
            self.lane_levers = ["JOY"]
        elif not lanes_driven:
            self.lane_levers = []
        else:
            self.lane_levers = ["LVX"] if c.shared else [f"LVX{lane}" for lane in c.lanes]
        if c.stations:
            self.lane_levers.append("LV2")
        self.cross_lever = "JOY" if c.joystick else "LVY"
        self.has_cross = bool(c.cross_rows) and self.levered
        levers = [*self.lane_levers, *([self.cross_lever] if self.has_cross else [])]
        self.levers = list(dict.fromkeys(levers))
        self.neutral = [f"{lever} is neutral" for lever in self.levers]
        self.one_lever = c.shared or c.joystick
        self.picks = (self.one_lever or c.stations) and len(c.lanes) > 1 and (c.unit != "wide" or c.selector)
        """A selector says in which lane a lever works; for units over two lanes it has a position for both."""
        self.inside = "(no p in people: p is inside)"
        self.has_hatch = c.crew_door and c.hatch and any(self._hatch_rows())
        self.hatch_row = next(iter(self._hatch_rows()), 0)
        self.open = [f"{door.id.lower()}_open" for door in c.doors]
        self.flawed_line = self.draw.choice(self.lines) if self.lines else None
        self.powered_sill = c.sill.startswith("powered")
        self.movable_seams = [seam for seam in self.seams if not self._centre(seam).startswith("fixed")]
        self.powered_guides = any(self._centre(seam).startswith("powered") for seam in self.seams)

    # ---- where things are, and what they are called

    def _hatch_rows(self) -> list[int]:
        kept = {row for door in self.c.doors for row, _ in door.bays}
        return [row for row in range(1, self.c.rows + 1) if row not in kept and self.c.has((row, self.c.lanes[0]))]

    def _beside(self, bay: Bay, way: str) -> Bay | None:
        row, lane = bay
        if way in ("fore", "aft"):
            return row + (1 if way == "aft" else -1), lane
        at = self.c.lanes.index(lane) + (1 if way == "right" else -1)
        return (row, self.c.lanes[at]) if 0 <= at < len(self.c.lanes) else None

    def _mids(self, line: Bay) -> list[str]:
        """The devices between this bay and the next one aft."""
        name = f"M{_bay(line)}" if self.c.short_ids else f"latch_{_bay(line)}"
        if self.c.flaw == "a latch is missing" and line == self.flawed_line:
            return [f"S{_bay(line)}"] if self.c.mid == "spring and manual" else []
        return [f"S{_bay(line)}", name] if self.c.mid == "spring and manual" else [name]

    def _guide(self, seam: Bay) -> str:
        return f"CG{_bay(seam)}" if self.c.short_ids else f"guide_{_bay(seam)}"

    def _centre(self, seam: Bay) -> str:
        """The kind of guide on the right of this bay; it gets out of the way where units move across or over it."""
        if self.c.unit == "wide" or seam[0] in self.c.cross_rows:
            return "manual guide" if self.c.centre == "fixed guide" else self.c.centre
        return "fixed guide"

    def _sill(self, door: Door, bay: Bay) -> str:
        return f"SILL{door.id[4:]}{_bay(bay) if len(door.bays) > 1 else ''}"

    def _at(self, bay: Bay) -> str:
        return f"at{_bay(bay)}" if self.c.short_ids else f"unit_in_{_bay(bay)}"

    def _up(self, device: str) -> str:
        return f"up_{device}" if self.c.short_ids else f"{device}_up"

    def _over(self, device: str) -> str:
        return f"over_{device}" if self.c.short_ids else f"{device}_covered"

    def _over_line(self, line: Bay) -> str:
        mids = self._mids(line)
        return self._over(mids[0]) if mids else "never"

    def _spring_stops(self, line: Bay) -> str:
        """Which way a spring latch stops: back towards the door."""
        inward = "aft" if line[0] >= self.c.row else "fore"
        stops = "fore" if inward == "aft" else "aft"
        if self.c.flaw == "a latch gives way to the wrong side" and line == self.flawed_line:
            stops = inward
        return stops

    def _stops_line(self, line: Bay, way: str, asked: bool = True) -> list[str]:
        """What is up there that stops a unit this way."""
        if asked and self.c.flaw == "a stop is not asked" and line == self.flawed_line:
            return []
        passes = self.c.mid == "spring and manual" and self._spring_stops(line) != way
        return [self._up(device) for device in self._mids(line) if not (passes and device.startswith("S"))]

    # ---- sections

    def text(self) -> str:
        c = self.c
        people = " and (some p in people: p is inside)" if c.people else ""
        pushing = _some(self.open_doors()) if c.pushed else "never"
        secured = ["fore", "aft", "left", "right", *(["up"] if c.upwards else [])]
        ball_mat = [_bay(bay) for bay in self.bays if bay[0] in c.cross_rows]
        parts = [
            "interlock: 1",
            "title: A hold as somebody might write it",
            "layout:",
            f"  lanes: [{', '.join(c.lanes)}]",
            f"  rows: {c.rows}",
            f"  ball_mat: [{', '.join(ball_mat)}]",
            f"  secured: [{', '.join(secured)}]",
            "  neighbour_restrains: false",
            f"  drift: [{c.drift}]",
            f"  pushing: {pushing}",
            f"  hand_work: '({_some(self.open_doors())}){people}'",
        ]
        missing = [f"{row}{lane}" for row in range(1, c.rows + 1) for lane in c.lanes if not c.has((row, lane))]
        rules = [f"    - {{bays: [{', '.join(missing)}], kinds: []}}"] if missing else []
        if self.has_hatch and c.unit == "wide" and (self.hatch_row, c.lanes[0]) not in self.seams:
            # what is as wide as two lanes would stand half outside
            rules.append(f"    - {{bays: [{self.hatch_row}{c.lanes[0]}], kinds: [ULD]}}")
        parts += ["  rules:", *rules] if rules else []
        parts += ["units:", "  - {id: ULD, name: container, across: 1, along: 1}"]
        if c.unit != "none":
            size = "across: 2, along: 1" if c.unit == "wide" else "across: 1, along: 2"
            parts.append(f"  - {{id: BIG, name: {c.unit} pallet, {size}}}")
        sections = ("doorways", "devices", "controls", "stations", "supplies", "places", "people", "sensors")
        for section in (*sections, "relays", "circuits", "zones"):
            items: list[str] = getattr(self, f"_{section}")()
            if c.shuffled:
                self.draw.shuffle(items)
            if items:
                parts += [f"{section}:", *(f"  - {item}" for item in items)]
            elif section in ("circuits", "zones"):
                parts.append(f"{section}: []")
        return "\n".join(parts) + "\n"

    def open_doors(self) -> list[str]:
        """Some door open, as it truly is."""
        return [f"{door.id} is open" for door in self.c.doors]

    def _doorways(self) -> list[str]:
        c = self.c
        found = []
        for number, door in enumerate(c.doors, 1):
            latch = "latch: none, lock: none"
            starts = "closed"
            if c.latched:
                latch = (
                    f"latch: {{by: hand, when: always}}, unlatch: {{by: hand, when: {door.id} is unlocked}}, "
                    f"lock: {{by: hand, when: {door.id} is latched}}, unlock: {{by: hand, when: always}}"
                )
                starts = "[closed, latched, locked]"
            up, down = f"{door.id.lower()}_up", f"{door.id.lower()}_down"
            opens = up if c.powered_door else "always"
            if c.flaw == "a door that does not open" and number == len(c.doors):
                opens = "never"
            path = ", ".join(f"{{device: {self._sill(door, bay)}, in: lowered}}" for bay in door.bays)
            found.append(
                f"{{id: {door.id}, name: cargo door {number}, bays: [{', '.join(map(_bay, door.bays))}], "
                f"side: {door.side}, moved_by: {'power' if c.powered_door else 'hand'}, opens: {opens}, "
                f"closes: {down}, {latch}, path: [{path}], starts: {starts}}}"
            )
        if self.has_hatch:
            found.insert(
                0,
                f"{{id: HATCH, name: crew hatch, bays: {self.hatch_row}{c.lanes[0]}, side: left, moved_by: hand, "
                f"opens: always, closes: '{self.inside}', latch: none, lock: none, path: [], starts: closed}}",
            )
        return found

    def _devices(self) -> list[str]:
        c = self.c
        along = "[x, z]" if c.upwards else "x"
        across = "[y, z]" if c.upwards else "y"
        found = []
        for bay in self.bays:
            for way in ("fore", "aft"):
                if not c.has((bay[0] + (1 if way == "aft" else -1), bay[1])) and (bay, way) not in self.doors:
                    name = "FS" if way == "fore" else "AS"
                    found.append(
                        f"{{id: {name}{bay[1]}, kind: fixed stop, on: {_bay(bay)}.{way}, stops: {way}, "
                        f"restrains: {along}}}"
                    )
            for way in ("left", "right"):
                beside = self._beside(bay, way)
                if (beside is None or not c.has(beside)) and (bay, way) not in self.doors:
                    at_hatch = self.has_hatch and (bay, way) == ((self.hatch_row, c.lanes[0]), "left")
                    found.append(
                        f"{{id: {way[0].upper()}G{bay[0]}, kind: fixed guide, on: {_bay(bay)}.{way}, "
                        f"stops: {'[left, right]' if at_hatch else way}, restrains: {across}}}"
                    )
        for line in self.lines:
            found += [self._mid(line, device, along) for device in self._mids(line)]
        for seam in self.seams:
            rest = {
                "fixed guide": "}",
                "manual guide": ", locking: raised, starts: raised}",
                "powered guide resting raised": ", locking: raised, circuit: guides_down}",
            }[self._centre(seam)]
            found.append(
                f"{{id: {self._guide(seam)}, kind: {self._centre(seam)}, on: {_bay(seam)}.right, "
                f"stops: [left, right], restrains: {across}{rest}"
            )
        for (bay, side), door in self.doors.items():
            sill = self._sill(door, bay)
            rest = {
                "manual latch": "starts: raised",
                "handle-worked lock": f"handle: H{sill}, starts: raised",
                "powered guide resting raised": f"circuit: sill_down{door.id[4:]}",
            }[c.sill]
            stops, axis = ("[fore, aft]", along) if door.is_at_end else ("[left, right]", across)
            found.append(
                f"{{id: {sill}, kind: {c.sill}, on: {_bay(bay)}.{side}, stops: {stops}, restrains: {axis}, "
                f"locking: raised, {rest}}}"
            )
        return found

    def _mid(self, line: Bay, device: str, along: str) -> str:
        c = self.c
        if c.mid == "spring and manual" and device.startswith("S"):
            stops = self._spring_stops(line)
            return (
                f"{{id: {device}, kind: spring latch, on: {_bay(line)}.aft, stops: {stops}, "
                f"gives_way: {'aft' if stops == 'fore' else 'fore'}, restrains: {along}, locking: raised, "
                "starts: raised}"
            )
        kind = "manual latch" if c.mid == "spring and manual" else c.mid
        rest = f"circuit: {self._mid_drive()}" if kind.startswith("powered") else "starts: lowered"
        if c.flaw == "a latch is jammed" and line == self.flawed_line:
            state = self.draw.choice(("raised", "lowered"))
            rest = f"starts: {state}, fixed: {state}"
        return (
            f"{{id: {device}, kind: {kind}, on: {_bay(line)}.aft, stops: [fore, aft], restrains: {along}, "
            f"locking: raised, {rest}}}"
        )

    def _mid_drive(self) -> str:
        return "latches_down" if self.c.mid == "powered latch resting raised" else "latches_up"

    def _positions(self, lever: str) -> tuple[str, ...]:
        across = self.c.across[:2] if lever == self.cross_lever else ()
        along = () if lever == "LVY" else ("run",) if self.c.run_lever else self.c.along[:2]
        return (*along, *across)

    def _contact(self, lever: str, position: str) -> str:
        """What is so while the lever is held there."""
        if self.c.wiring == "direct":
            return f"{lever} is {position}"
        if self.c.wiring == "others":
            open_contacts = [other for other in ("neutral", *self._positions(lever)) if other != position]
            return "(" + _all([f"not {lever} is {other}" for other in open_contacts]) + ")"
        return f"{lever}_{position}"

    def _contacts(self) -> list[tuple[str, str]]:
        return [(lever, position) for lever in self.levers for position in self._positions(lever)]

    def _picked(self, lane: str, one_lever: bool) -> list[str]:
        """Beside a lever that works for all lanes: that this one is chosen."""
        if not one_lever or not self.picks:
            return []
        both = ["SEL is both"] if self.c.unit == "wide" else []
        return ["(" + _some([f"SEL is lane_{lane}", *both]) + ")"]

    def _controls(self) -> list[str]:
        c = self.c
        panel = ", behind: COVER" if c.panel else ""
        reach = f", reachable: '{self.inside}'" if c.people else ""

        def lever(id: str, *kinds: tuple[str, str, str]) -> str:
            positions = ", ".join(word for one in kinds for word in one[:2])
            marks = ", ".join(one[2] for one in kinds if one[2])
            said = f", marks: {{{marks}}}" if marks else ""
            return f"{{id: {id}, kind: lever, positions: [{positions}]{said}{panel}}}"

        found = [f"{{id: PWR, kind: switch, positions: [off, on], starts: off{panel}{reach}}}"]
        if c.panel:
            found.append("{id: COVER, kind: access panel, starts: closed}")
        for id in self.levers:
            if id == "JOY":
                found.append(lever("JOY", c.along, c.across))
            elif id == "LVY":
                found.append(lever("LVY", c.across))
            elif c.run_lever:
                found.append(f"{{id: {id}, kind: lever, positions: [run]{panel}}}")
            else:
                found.append(lever(id, c.along))
        if c.run_lever and self.lane_levers:
            found.append("{id: WAY, kind: selector, positions: [to_nose, to_tail], starts: to_nose}")
        if c.stations:
            found.append("{id: STN, kind: selector, positions: [here, there], starts: here}")
        if self.lane_levers and self.picks:
            both = ["both"] if c.unit == "wide" else []
            lanes = [f"lane_{lane}" for lane in c.lanes]
            found.append(f"{{id: SEL, kind: selector, positions: [{', '.join([*lanes, *both])}], starts: {lanes[0]}}}")
        if c.powered_door:
            found += [f"{{id: LVD{door.id[4:]}, kind: lever, positions: [up, down]{panel}}}" for door in c.doors]
        if c.mid.startswith("powered"):
            found.append("{id: MSW, kind: switch, positions: [down, up], starts: up}")
        if self.powered_guides:
            found.append("{id: GSW, kind: switch, positions: [down, up], starts: up}")
        if self.powered_sill:
            found += [f"{{id: SSW{door.id[4:]}, kind: switch, positions: [down, up], starts: up}}" for door in c.doors]
        if c.sill == "handle-worked lock":
            found += [
                f"{{id: H{self._sill(door, bay)}, kind: self-resetting handle, reachable: "
                f"'{door.id} is open{' and ' + self.inside if c.people else ''}'}}"
                for (bay, _), door in self.doors.items()
            ]
        return found

    def _stations(self) -> list[str]:
        if not self.c.stations:
            return []
        own = [lever for lever in self.levers if lever != "LV2"]
        return [
            f"{{id: S1, controls: [{', '.join(own)}], owns: STN is here}}",
            "{id: S2, controls: [LV2], owns: STN is there}",
        ]

    def _supplies(self) -> list[str]:
        found = ["{id: GP, name: ground power, starts: [off, on], may_be_lost: true}"]
        if self.c.second_supply != "none":
            found.append("{id: AUX, name: auxiliary supply, starts: [off, on], may_be_lost: true}")
        return found

    def _places(self) -> list[str]:
        c = self.c
        if not c.people:
            return []
        things = [device for line in self.lines for device in self._mids(line) if not c.mid.startswith("powered")]
        things += [self._guide(seam) for seam in self.seams if self._centre(seam).startswith("manual")]
        things += [self._sill(door, bay) for (bay, _), door in self.doors.items() if c.sill == "manual latch"]
        return [
            "{id: apron, bay: outside, reaches: []}",
            f"{{id: at_sill, bay: {_bay(c.doors[0].bays[0])}, reaches: [{', '.join(things)}]}}",
        ]

    def _people(self) -> list[str]:
        return (
            ["{id: P1, name: the loader, places: [apron, at_sill], starts: apron, moves: may_go}"]
            if self.c.people
            else []
        )

    def _sensors(self) -> list[str]:
        c = self.c
        found = []
        for door in c.doors:
            low = door.id.lower()
            found.append(f"{{id: {low}_open, reads: {door.id} is open}}")
            found.append(
                f"{{id: {low}_latched, reads: {door.id} is latched}}"
                if c.latched
                else f"{{id: {low}_shut, reads: {door.id} is closed}}"
            )
            found.append(f"{{id: {low}_beam, reads: {door.id} is sill_covered}}")
            for bay in door.bays:
                found.append(f"{{id: {low}_taken{_bay(bay)}, reads: {door.id}-{_bay(bay)} is occupied}}")
                sill = self._sill(door, bay)
                found.append(f"{{id: {self._up(sill)}, reads: {sill} is raised}}")
                found.append(f"{{id: {self._over(sill)}, reads: {sill} is covered}}")
        found += [f"{{id: {self._at(bay)}, reads: {_bay(bay)} is occupied}}" for bay in self.bays]
        devices = [device for line in self.lines for device in self._mids(line)]
        devices += [self._guide(seam) for seam in self.movable_seams]
        for device in devices:
            found.append(f"{{id: {self._up(device)}, reads: {device} is raised}}")
            found.append(f"{{id: {self._over(device)}, reads: {device} is covered}}")
        return found

    def _relays(self) -> list[str]:
        if not self.levered:
            return []
        found = []
        if self.c.flaw != "no fresh command":
            found.append(f"{{id: armed, sets: drive_power and {_all(self.neutral)}, drops: not drive_power}}")
        if self.c.wiring == "relay":
            found += [f"{{id: {x}_{p}, sets: {x} is {p}, drops: not {x} is {p}}}" for x, p in self._contacts()]
        return found

    # ---- conditions

    def _sills_up(self, door: Door) -> list[str]:
        return [self._up(self._sill(door, bay)) for bay in door.bays]

    def _crossing_seams(self, row: int) -> list[str]:
        """A unit is half-way across in this row; a wide pallet at rest, or on its way along, is not."""
        found = []
        for seam in self.movable_seams:
            if seam[0] != row:
                continue
            over = self._over(self._guide(seam))
            if self.c.unit == "wide":
                beside = self._beside(seam, "right")
                assert beside is not None
                rest = [f"({self._at(seam)} and {self._at(beside)})"]
                for line in ((row - 1, seam[1]), seam):
                    other = (line[0], beside[1])
                    if line in self.lines and other in self.lines:
                        rest.append(f"({self._over_line(line)} and {self._over_line(other)})")
                over = f"({over} and not ({_some(rest)}))"
            found.append(over)
        return found

    def _half_way_along(self, row: int) -> list[str]:
        """A unit is half-way along into or out of this row; a long pallet at rest, or on its way across, is not."""
        found = []
        for line in self.lines:
            if row not in (line[0], line[0] + 1):
                continue
            over = self._over_line(line)
            if self.c.unit == "long" and over != "never":
                rest = [f"({self._at(line)} and {self._at((line[0] + 1, line[1]))})"]
                rest += self._long_across(line)
                over = f"({over} and not ({_some(rest)}))"
            found.append(over)
        return found

    def _long_across(self, line: Bay) -> list[str]:
        """A long pallet over this line is on its way across: over both guides, or both sill locks, beside it."""
        found = []
        for way in ("left", "right"):
            over = []
            for bay in (line, (line[0] + 1, line[1])):
                beside = self._beside(bay, way)
                if (bay, way) in self.doors:
                    over.append(self._over(self._sill(self.doors[bay, way], bay)))
                elif beside is not None and bay[0] in self.c.cross_rows and self.c.has(beside):
                    over.append(self._over(self._guide(bay if way == "right" else beside)))
            if len(over) > 1:
                found.append(f"({_all(over)})")
        return found

    def _across(self) -> list[str]:
        """Something is half-way across the hold or over a sill at its side."""
        found = [part for row in self.c.cross_rows for part in self._crossing_seams(row)]
        return found + [f"{door.id.lower()}_beam" for door in self.c.doors if not door.is_at_end]

    def _held(self, line: Bay) -> str:
        """Whatever stands fore or aft of this line is held by what stands on it, and nothing is half-way."""
        c = self.c
        here, next_one = self._at(line), self._at((line[0] + 1, line[1]))
        if not self._mids(line):
            return "always"
        over = self._over_line(line)
        if c.mid == "spring and manual":
            fore = f"({_some(self._stops_line(line, 'fore', asked=False))})"
            aft = f"({_some(self._stops_line(line, 'aft', asked=False))})"
            return f"({here} implies {aft}) and ({next_one} implies {fore}) and not {over}"
        up = self._up(self._mids(line)[-1])
        if c.unit == "long":
            return f"({here} or {next_one} or {over} implies {up} or ({over} and {here} and {next_one}))"
        return f"({here} or {next_one} implies {up}) and not {over}"

    def _seam_held(self, seam: Bay) -> str:
        guide = self._guide(seam)
        beside = self._beside(seam, "right")
        assert beside is not None
        if self.c.unit == "wide":
            here, there, over = self._at(seam), self._at(beside), self._over(guide)
            return f"({here} or {there} or {over} implies {self._up(guide)} or ({over} and {here} and {there}))"
        return self._up(guide)

    def _out(self, door: Door, bay: Bay) -> list[str]:
        """What is in the way out over this sill; a pallet that lies over it is on the loader itself."""
        sill = self._sill(door, bay)
        taken = f"{door.id.lower()}_taken{_bay(bay)}"
        if self.c.unit == ("long" if door.is_at_end else "wide"):
            taken = f"({taken} and not {self._over(sill)})"
        return [self._up(sill), taken]

    def _stop_along(self, bay: Bay, way: str) -> str:
        """When the drive under the bay must not run: something is in the way of what stands there."""
        c = self.c
        here = self._at(bay)
        ahead = self._ahead(bay, way)
        shut = self._behind_shut_door(bay, ("fore", "aft"))
        if ahead is None:
            return _some([*shut, here])
        beside = None
        if c.unit == "wide":
            other = self._beside(bay, "right") or self._beside(bay, "left")
            assert other is not None
            beside = other if c.has(other) else None
        if beside is not None:
            seam = min(bay, beside, key=lambda one: c.lanes.index(one[1]))
            over = self._over(self._guide(seam))
            with_it = self._ahead(beside, way)
            parts = ["always"] if with_it is None else list(with_it)
            next_seam = (seam[0] + (1 if way == "aft" else -1), seam[1])
            if next_seam in self.seams:
                parts.append(self._up(self._guide(next_seam)))
            elif with_it is not None and (bay, way) not in self.doors:
                parts = ["always"]
            if self.picks:
                parts.append("not SEL is both")
            ahead = [*ahead, f"({over} and ({_some(parts)}))"]
        return _some([*shut, f"({here} and ({_some(ahead)}))"])

    def _behind_shut_door(self, bay: Bay, ways: Sequence[str]) -> list[str]:
        """The door at the bay is not open: asked only where another one may be, the drives being off otherwise."""
        at = [self.doors[bay, way] for way in ways if (bay, way) in self.doors]
        return [f"not {door.id.lower()}_open" for door in at] if len(self.c.doors) > 1 else []

    def _ahead(self, bay: Bay, way: str, through: bool = True) -> list[str] | None:
        """What is in the way of a unit at the bay; None where something always is."""
        if (bay, way) in self.doors:
            return self._out(self.doors[bay, way], bay)
        beyond = self._beside(bay, way)
        assert beyond is not None
        if not self.c.has(beyond):
            return None
        line = bay if way == "aft" else beyond
        stops = self._stops_line(line, way)
        if self.c.unit != "long" or not through or not self._mids(line):
            return [*stops, self._at(beyond)]
        over = self._over_line(line)
        further = self._ahead(beyond, way, through=False)
        with_it = over if further is None else f"({over} and ({_some(further)}))"
        return [*stops, f"({self._at(beyond)} and not {over})", with_it]

    def _stop_across(self, bay: Bay, way: str) -> str:
        ahead = self._ahead_across(bay, way)
        shut = self._behind_shut_door(bay, ("left", "right"))
        if ahead is None:
            return _some([*shut, self._at(bay)])
        if self.c.unit == "long":
            row = bay[0]
            for line, other in (((row, bay[1]), (row + 1, bay[1])), ((row - 1, bay[1]), (row - 1, bay[1]))):
                beside = self._beside(other, way)
                pair = (line[0], beside[1]) if beside is not None else None
                if line in self.lines and {line[0], line[0] + 1} <= set(self.c.cross_rows) and self._mids(line):
                    with_it = self._ahead_across(other, way)
                    parts = ["always"] if with_it is None else list(with_it)
                    if pair in self.lines and (other, way) not in self.doors:
                        parts += [self._up(device) for device in self._mids(pair)]
                    ahead.append(f"({self._over_line(line)} and ({_some(parts)}))")
        return _some([*shut, f"({self._at(bay)} and ({_some(ahead)}))"])

    def _ahead_across(self, bay: Bay, way: str) -> list[str] | None:
        if (bay, way) in self.doors:
            return self._out(self.doors[bay, way], bay)
        beyond = self._beside(bay, way)
        if beyond is None or not self.c.has(beyond):
            return None
        seam = bay if way == "right" else beyond
        up, over = self._up(self._guide(seam)), self._over(self._guide(seam))
        if self.c.unit != "wide":
            return [up, self._at(beyond)]
        further = self._out(self.doors[beyond, way], beyond) if (beyond, way) in self.doors else None
        with_it = over if further is None else f"({over} and ({_some(further)}))"
        return [up, f"({self._at(beyond)} and not {over})", with_it]

    def _circuits(self) -> list[str]:
        c = self.c
        door_levers = [f"LVD{door.id[4:]} is neutral" for door in c.doors] if c.powered_door else []
        lines = [
            self._held(line)
            for line in self.lines
            if not (c.flaw == "a latch line is not asked" and line == self.flawed_line)
        ]
        seams = [self._seam_held(seam) for seam in self.movable_seams]
        held = [*lines, *seams]
        held += [up for door in c.doors for up in self._sills_up(door) if c.flaw != "the sill is not asked"]
        parts = []
        if len(_all(held)) > MOST_LETTERS:
            # nobody writes so long a line
            parts = [
                f"{{id: {id}, use: logic, is: '{_all(some)}'}}"
                for id, some in (("lines_held", lines), ("guides_held", seams))
            ]
            held = ["lines_held", "guides_held", *held[len(lines) + len(seams) :]]
        some_open = _some(self.open) if c.flaw != "drives without a door open" else "always"
        armed = ["armed"] if c.flaw != "no fresh command" else []
        power = ["GP is on", "PWR is on"] + (["AUX is on"] if c.second_supply == "drives" else [])
        found = [
            f"{{id: drive_power, use: power, is: {_all(power)}}}",
            f"{{id: across, use: inhibit, is: {_some(self._across())}}}",
            *parts,
            f"{{id: safe_load, use: permit, is: '{_all(held)}'}}",
        ]
        if self.levered:
            permit = ["drive_power", *armed, f"({some_open})", *door_levers]
            found.append(f"{{id: permit, use: permit, is: {_all(permit)}}}")
        found += [f"{{id: along{row}, use: inhibit, is: {_some(self._half_way_along(row))}}}" for row in c.cross_rows]
        if c.mid.startswith("powered"):
            found.append(f"{{id: latches_down, use: power, is: drive_power and ({_some(self.open)}) and MSW is down}}")
            # rests lowered: held up by a supply of its own, whatever the switch says while no door is open
            found.append(f"{{id: latches_up, use: power, is: MSW is up or not ({_some(self.open)})}}")
        if self.powered_guides:
            found.append(f"{{id: guides_down, use: power, is: drive_power and ({_some(self.open)}) and GSW is down}}")
        for door in c.doors:
            found += self._door_circuits(door)
        if c.wiring == "circuit" and self.levered:
            found += [f"{{id: {x}_{p}, use: logic, is: {x} is {p}}}" for x, p in self._contacts()]
        if c.second_supply == "light":
            found.append(f"{{id: lamp, use: indication, is: AUX is on and ({_some(self.open)})}}")
        if c.people:
            still = ["PWR is off", *(up for door in c.doors for up in self._sills_up(door)), "not across"]
            still += [f"not along{row}" for row in c.cross_rows]
            still += ["HATCH is open"] if self.has_hatch else [] if c.crew_door else [self.open[0]]
            found.append(f"{{id: may_go, use: permit, is: {_all(still)}}}")
        return found

    def _door_circuits(self, door: Door) -> list[str]:
        c = self.c
        number, low = door.id[4:], door.id.lower()
        found = []
        if self.powered_sill:
            found.append(
                f"{{id: sill_down{number}, use: power, is: drive_power and {low}_open and SSW{number} is down}}"
            )
        neutral = self.neutral if c.flaw != "the door moves whatever is driven" else []
        sill = self._sills_up(door) if c.flaw != "the sill is not asked" else []
        shut = ["safe_load", *sill, f"not {low}_beam", *neutral]
        shut += [f"SSW{one.id[4:]} is up" for one in c.doors] if self.powered_sill else []
        shut += ["GSW is up"] if self.powered_guides else []
        shut += ["MSW is up"] if c.mid.startswith("powered") else []
        shut += [self.inside] if c.people else []
        door_power = ["GP is on", "PWR is on"] if c.second_supply != "door" else ["AUX is on"]
        if c.powered_door:
            shut += [*door_power, f"LVD{number} is down"]
            up = [*door_power, f"LVD{number} is up", *sill, f"not {low}_beam", *neutral]
            up += [f"not {low}_latched"] if c.latched else []
            found.append(f'{{id: {low}_up, use: power, is: "{_all(up)}"}}')
        found.append(f'{{id: {low}_down, use: permit, is: "{_all(shut)}"}}'.replace(": p is", ", p is"))
        return found

    def _zones(self) -> list[str]:
        c = self.c
        found = []
        if c.drives == "all":
            found += [self._lane_zone(lane) for lane in c.lanes]
        if self.has_cross:
            found += [self._cross_zone(row) for row in self._cross_groups()]
        return found

    def _cross_groups(self) -> list[list[int]]:
        """Rows that one zone moves units across in: both of a doorway where pallets are two rows long."""
        found: list[list[int]] = []
        for row in self.c.cross_rows:
            if found and self.c.unit == "long" and found[-1][-1] == row - 1:
                found[-1].append(row)
            else:
                found.append([row])
        return found

    def _lane_zone(self, lane: str) -> str:
        c = self.c
        fore, aft = c.along[0], c.along[1]
        lever = "JOY" if c.joystick else "LVX" if c.shared else f"LVX{lane}"

        def command(lever: str, picked: Sequence[str]) -> str:
            if c.run_lever:
                run = self._contact(lever, "run")
                return f"fore: {_all([run, 'WAY is to_nose', *picked])}, aft: {_all([run, 'WAY is to_tail', *picked])}"
            return (
                f"fore: {_all([self._contact(lever, fore), *picked])}, "
                f"aft: {_all([self._contact(lever, aft), *picked])}"
            )

        commands = [f"{{{'station: S1, ' if c.stations else ''}{command(lever, self._picked(lane, self.one_lever))}}}"]
        if c.stations:
            commands.append(f"{{station: S2, {command('LV2', self._picked(lane, True))}}}")
        own = [bay for bay in self.bays if bay[1] == lane]
        sections = [
            f"{{bay: {_bay(bay)}, inhibits: {{fore: {self._stop_along(bay, 'fore')}, "
            f"aft: {self._stop_along(bay, 'aft')}}}}}"
            for bay in own
        ]
        idle = [] if not self.has_cross else [f"{self.cross_lever} is neutral"] if not c.joystick else []
        inhibits = "inhibits: {fore: across, aft: across}, " if c.cross_rows else ""
        return (
            f"{{id: Z{lane}, bays: [{', '.join(map(_bay, own))}], power: {_all(['permit', *idle])}, "
            f"commands: [{', '.join(commands)}], {inhibits}sections: [{', '.join(sections)}]}}"
        )

    def _cross_zone(self, rows: Sequence[int]) -> str:
        c = self.c
        lever = self.cross_lever
        left, right = (self._contact(lever, position) for position in c.across[:2])
        if c.flaw == "the levers are crossed":
            left, right = right, left
        station = "station: S1, " if c.stations else ""
        neutral = [f"{one} is neutral" for one in self.lane_levers if one != lever]
        bays = [bay for bay in self.bays if bay[0] in rows]
        sections = [
            f"{{bay: {_bay(bay)}, inhibits: {{left: {self._stop_across(bay, 'left')}, "
            f"right: {self._stop_across(bay, 'right')}}}}}"
            for bay in bays
        ]
        beside = [f"{door.id.lower()}_open" for door in c.doors if any(row in rows for row, _ in door.bays)]
        owner = ["STN is here"] if c.stations else []
        power = ["permit", *(f"not along{row}" for row in rows), *neutral, *owner]
        power += [f"({_some(beside)})"] if c.flaw != "drives without a door open" else []
        return (
            f"{{id: ZY{rows[0]}, bays: [{', '.join(map(_bay, bays))}], power: {_all(power)}, "
            f"commands: [{{{station}left: {left}, right: {right}}}], sections: [{', '.join(sections)}]}}"
        )
