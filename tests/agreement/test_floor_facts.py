"""Two lanes, three kinds of unit, two doorways: every fact of sides, bays, zones and doors, and every move, against
plain geometry told anew here, in the states of long random walks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from random import Random

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.world import Thing
from interlock.kernel.evaluator import State, as_mapping, evaluate, initial_states, successors, truths_in
from interlock.kernel.expressions import Value
from interlock.kernel.machine import Machine
from tests.agreement.hold_texts import HALF, LONG, WIDE, compile_text, doorway, hold_text
from tests.some import some, swept

TEXT = hold_text(
    lanes="[L, R]",
    rows=3,
    ball_mat="[1L, 1R]",
    units="\n".join((HALF, WIDE, LONG)),
    doorways="\n".join(
        (doorway("1R", "right", moves="always"), doorway("3L", "aft", id="D2", moves="SWP is off", starts="closed"))
    ),
    pushing="SWP is on",
    drift="[aft]",
    secured="[fore, aft]",
    devices="""\
- {id: ML, kind: manual latch, on: 1L.aft, stops: [aft], restrains: [x], locking: raised, starts: lowered}
- {id: MR, kind: manual latch, on: 1R.aft, stops: [fore, aft], restrains: [x, z], locking: raised, starts: lowered}
- {id: MX, kind: manual latch, on: 2L.aft, stops: [fore], restrains: [x, z], locking: lowered, starts: raised}
- {id: SG, kind: spring guide, on: 2L.right, stops: [left, right], gives_way: [fore, aft], restrains: [y],
   locking: raised}
- {id: FS, kind: fixed stop, on: 1L.fore, stops: [fore], restrains: [x]}
- {id: AS, kind: fixed stop, on: 3R.aft, stops: [aft], restrains: [x, z]}
- {id: GD, kind: fixed guide, on: 3L.right, stops: [left, right], restrains: [y]}""",
    rest="""\
controls:
  - {id: SWX, kind: switch, positions: [off, fore, aft], starts: off}
  - {id: SWY, kind: switch, positions: [off, left, right], starts: off}
  - {id: SWP, kind: switch, positions: [off, on], starts: off}
  - {id: SWS, kind: switch, positions: [first, both, second], starts: first}
stations:
  - {id: A, controls: [SWX], owns: not SWS is second}
  - {id: B, controls: [SWY], owns: not SWS is first}
zones:
  - id: ZL
    bays: [1L, 2L, 3L]
    power: SWP is off
    commands:
      - {station: A, fore: SWX is fore, aft: SWX is aft}
      - {station: B, fore: SWY is left}
    inhibits: {aft: ML is raised}
    sections: [{bay: 3L, inhibits: {fore: not SWY is off}}]
  - id: ZR
    bays: [1R, 2R, 3R]
    power: always
    commands: [{station: A, fore: SWX is fore, aft: SWX is aft}]
    sections: [{bay: 2R, inhibits: {aft: MR is raised}}, {bay: 3R, inhibits: {fore: SWP is on}}]
  - {id: ZD, bays: [1L, 1R], power: always, commands: [{station: B, left: SWY is left, right: SWY is right}]}
""",
)

Place = tuple[int, int]

BAYS = {"1L": (1, 0), "1R": (1, 1), "2L": (2, 0), "2R": (2, 1), "3L": (3, 0), "3R": (3, 1)}
OUTSIDE = {"D1-1R": (1, 2), "D1-1R-2": (1, 3), "D2-3L": (4, 0), "D2-3L-2": (5, 0)}
"""Row and column of every cell, read off the description: one cell more than a unit's depth lies beside each sill."""
AT = {**BAYS, **OUTSIDE}
NAME = {place: name for name, place in AT.items()}
SHIFT = {"fore": (-1, 0), "aft": (1, 0), "left": (0, -1), "right": (0, 1)}
OPPOSITE = {"fore": "aft", "aft": "fore", "left": "right", "right": "left"}
SILLS = {frozenset({"1R", "D1-1R"}): "D1", frozenset({"3L", "D2-3L"}): "D2"}
DEVICES = {
    "ML": (("1L", "aft"), ["aft"], "x"),
    "MR": (("1R", "aft"), ["fore", "aft"], "xz"),
    "MX": (("2L", "aft"), ["fore"], "xz"),
    "SG": (("2L", "right"), ["left", "right"], "y"),
    "FS": (("1L", "fore"), ["fore"], "x"),
    "AS": (("3R", "aft"), ["aft"], "xz"),
    "GD": (("3L", "right"), ["left", "right"], "y"),
}
"""Where each device stands, the directions that it stops and the axes that it restrains."""
FACES = {device: where for device, (where, _, _) in DEVICES.items()}
STOPS = {device: stops for device, (_, stops, _) in DEVICES.items()}
AXES = {device: axes for device, (_, _, axes) in DEVICES.items()}
STRUCTURE = {"FS", "AS", "GD"}


def beyond(cell: str, direction: str) -> str | None:
    (row, column), (down, across) = AT[cell], SHIFT[direction]
    return NAME.get((row + down, column + across))


def face(cell: str, direction: str) -> frozenset[str]:
    """A face by the cells on its two sides; at the wall by the one cell and the side."""
    return frozenset({cell, beyond(cell, direction) or f"wall {direction}"})


@dataclass(frozen=True)
class Standing:
    """A unit at rest: its kind, its cells, and the part of it that stands in each."""

    kind: str
    cells: tuple[str, ...]

    @property
    def parts(self) -> tuple[str, ...]:
        words = {"HALF": [""], "WIDE": ["_left", "_right"], "LONG": ["_fore", "_aft"]}[self.kind]
        return tuple(self.kind + word for word in words)

    def lies_on(self) -> set[frozenset[str]]:
        return {frozenset(self.cells)} if len(self.cells) > 1 else set()


def standings() -> list[Standing]:
    """Every way to stand: across a sill only as far as the doorway is wide, long ones along the lane of D2."""
    found = [Standing("HALF", (cell,)) for cell in AT if not cell.endswith("-2")]
    rows = [("1L", "1R"), ("2L", "2R"), ("3L", "3R"), ("1R", "D1-1R"), ("D1-1R", "D1-1R-2")]
    found += [Standing("WIDE", cells) for cells in rows]
    lanes = [("1L", "2L"), ("2L", "3L"), ("1R", "2R"), ("2R", "3R"), ("3L", "D2-3L"), ("D2-3L", "D2-3L-2")]
    return found + [Standing("LONG", cells) for cells in lanes]


@dataclass(frozen=True)
class Going:
    """A move from one standing to the next cell in a direction."""

    source: Standing
    target: Standing
    direction: str

    @property
    def cells(self) -> set[str]:
        return {*self.source.cells, *self.target.cells}

    def crossed(self) -> dict[frozenset[str], str]:
        return {face(c, self.direction): p for c, p in zip(self.source.cells, self.source.parts, strict=True)}

    def doors(self) -> set[str]:
        return {SILLS[one] for one in self.crossed() if one in SILLS}


@cache
def goings() -> tuple[Going, ...]:
    """Along the lanes anywhere; across only on the ball mat of row 1 and over its sill."""
    known = set(standings())
    found = []
    for source in standings():
        for direction in SHIFT:
            ahead = [beyond(cell, direction) for cell in source.cells]
            if None in ahead or Standing(source.kind, tuple(map(str, ahead))) not in known:
                continue
            across = direction in ("left", "right")
            if across and any(AT[str(cell)][0] != 1 for cell in (*source.cells, *ahead)):
                continue
            if not across and any(AT[str(cell)][1] > 1 for cell in (*source.cells, *ahead)):
                continue
            found.append(Going(source, Standing(source.kind, tuple(map(str, ahead))), direction))
    return tuple(found)


class Seen:
    """One state, read with the geometry above."""

    def __init__(self, values: dict[str, Value]) -> None:
        self.values = values
        self.holds = {cell: values[f"bay.{cell}.holds"] for cell in AT if f"bay.{cell}.holds" in values}
        self.crossing: dict[frozenset[str], Value] = {}
        for name, value in values.items():
            if name.startswith("face."):
                cell, direction = name.removeprefix("face.").removesuffix(".crossing").rsplit(".", 1)
                self.crossing[face(cell, direction)] = value
        self.units = [u for u in standings() if all(self.holds[c] == p for c, p in zip(u.cells, u.parts, strict=True))]
        self.under_way = [g for g in goings() if all(self.crossing[f] == p for f, p in g.crossed().items())]

    def control(self, name: str) -> Value:
        return self.values[f"control.{name}.position"]

    def crossed(self, one: frozenset[str]) -> bool:
        return self.crossing.get(one, "none") != "none"

    def covered(self, one: frozenset[str]) -> bool:
        lain_on = [lain for unit in self.units for lain in unit.lies_on()]
        lain_on += [lain for g in self.under_way for end in (g.source, g.target) for lain in end.lies_on()]
        return self.crossed(one) or one in lain_on

    def occupied(self, cell: str) -> bool:
        return self.holds[cell] != "empty"

    def in_charge(self, station: str) -> bool:
        return self.control("SWS") != ("second" if station == "A" else "first")

    def commanded(self, zone: str, direction: str) -> bool:
        if zone == "ZD":
            return self.in_charge("B") and self.control("SWY") == direction and direction in ("left", "right")
        by_a = self.in_charge("A") and self.control("SWX") == direction
        return by_a or (zone == "ZL" and direction == "fore" and self.in_charge("B") and self.control("SWY") == "left")

    def runs(self, cell: str, direction: str) -> bool:
        if cell not in BAYS:
            return False
        if direction in ("left", "right"):
            return cell in ("1L", "1R") and self.commanded("ZD", direction)
        if cell.endswith("L"):
            inhibited = direction == "aft" and self.up("ML")
            inhibited = inhibited or ((cell, direction) == ("3L", "fore") and self.control("SWY") != "off")
            return self.control("SWP") == "off" and not inhibited and self.commanded("ZL", direction)
        held_back = (cell, direction) == ("2R", "aft") and self.up("MR")
        held_back = held_back or ((cell, direction) == ("3R", "fore") and self.control("SWP") == "on")
        return not held_back and self.commanded("ZR", direction)

    def up(self, device: str) -> bool:
        """The device stands above the floor: fixed ones always, the spring guide unless something is over it."""
        if device == "SG":
            return not self.covered(face(*FACES["SG"]))
        return device in STRUCTURE or self.values[f"device.{device}.position"] == "raised"

    def locking(self, device: str) -> bool:
        return self.up(device) != (device == "MX")

    def stopped(self, cell: str, direction: str) -> bool:
        return any(self.up(d) for d in self.stopping(cell, direction))

    def stopping(self, cell: str, direction: str) -> list[str]:
        return [d for d in FACES if face(*FACES[d]) == face(cell, direction) and direction in STOPS[d]]

    def restrained(self, cell: str, direction: str) -> bool:
        axis = "x" if direction in ("fore", "aft") else "y"
        other = beyond(cell, direction)
        spans = any(cell in unit.cells and other in unit.cells for unit in self.units)
        return spans or any(self.locking(d) and axis in AXES[d] for d in self.stopping(cell, direction))

    def restrained_up(self, cell: str) -> bool:
        around = {face(cell, direction) for direction in SHIFT}
        return any(self.locking(d) and "z" in AXES[d] for d in FACES if face(*FACES[d]) in around)

    def obstacles(self, unit: Standing, direction: str) -> set[str]:
        """What stands before the unit, and what it would newly have to lie on and does not give way."""
        edge = [cell for cell in unit.cells if beyond(cell, direction) not in unit.cells]
        found = {d for cell in edge for d in self.stopping(cell, direction)}
        for going in goings():
            if going.source == unit and going.direction == direction:
                newly = going.target.lies_on() - unit.lies_on()
                found |= {d for d in FACES if face(*FACES[d]) in newly and d != "SG"}
        return {d for d in found if self.up(d)}

    def driven(self, unit: Standing, direction: str) -> bool:
        return any(self.runs(cell, direction) for cell in unit.cells)

    def strikes(self, unit: Standing, direction: str) -> bool:
        """The unit is driven to where another stands, or lies half-way and is not carried off the same way."""
        ahead = {str(c) for cell in unit.cells if (c := beyond(cell, direction)) is not None} - set(unit.cells)
        if not any(g.source == unit and g.direction == direction for g in goings()):
            ahead = set() if self.obstacles(unit, direction) & STRUCTURE else ahead
        if any(cell in OUTSIDE for cell in unit.cells):
            ahead -= OUTSIDE.keys()
        if not self.driven(unit, direction):
            return False
        for cell in ahead & self.holds.keys():
            if self.occupied(cell):
                return True
            for side in SHIFT:
                along = {side, direction} <= {"fore", "aft"} or {side, direction} <= {"left", "right"}
                gone = along and any(self.runs(end, direction) for end in face(cell, side) & AT.keys())
                if self.crossed(face(cell, side)) and not gone:
                    return True
        return False

    def one_sided(self, cell: str) -> bool:
        for going in goings():
            unit, bays = going.source, [c for c in going.source.cells if c in BAYS]
            if unit in self.units and cell in bays and len(bays) > 1 and not going.doors():
                running = {self.runs(c, going.direction) for c in bays}
                if running == {True, False}:
                    return True
        return False

    def moves(self) -> Iterator[str]:
        """The names of the halves that can happen."""
        for going in goings():
            source, direction, doors = going.source, going.direction, going.doors()
            if any(self.values[f"door.{door}.position"] != "open" for door in doors):
                continue
            outside = [cell for cell in source.cells if cell in OUTSIDE]
            on_loader = len(outside) == len(source.cells)
            around = {face(cell, side) for cell in going.cells for side in SHIFT}
            clear = not any(self.crossed(one) for one in around) and not self.obstacles(source, direction)
            clear = clear and not any(self.occupied(cell) for cell in set(going.target.cells) - set(source.cells))
            if source in self.units and clear:
                for mover, can in (
                    ("driven", self.driven(source, direction)),
                    ("loader", bool(doors and outside)),
                    ("pushed", self.control("SWP") == "on" and not on_loader),
                    ("drifting", direction == "aft" and not on_loader),
                ):
                    if can:
                        yield f"unit.{source.kind}.{'+'.join(source.cells)}.{direction}.depart.{mover}"
            if going in self.under_way and not any(self.occupied(cell) for cell in going.cells):
                for mover, can in (
                    ("driven", any(self.runs(cell, direction) for cell in going.cells)),
                    ("loader", bool(doors)),
                    ("pushed", self.control("SWP") == "on"),
                    ("drifting", direction == "aft"),
                ):
                    if can:
                        yield f"unit.{source.kind}.{'+'.join(going.target.cells)}.{direction}.arrive.{mover}"


@cache
def hold() -> tuple[CompiledHold, Machine]:
    compiled = compile_text(TEXT)
    return compiled, compiled.machine


def weight(rule: str) -> float:
    """How readily a step is taken in a walk: so that the hold fills, with large units too, and switches are thrown."""
    if rule.startswith("loader."):
        return 0.1 if rule.endswith("take_away") else 0.6 if ".HALF." in rule else 2
    if rule.startswith("unit."):
        return 1 if ".HALF." in rule else 2
    return 0.2 if rule.startswith("door.") else 1


@cache
def walk(seed: int) -> tuple[State, ...]:
    """Some states that a long run meets."""
    draw = Random(seed)
    machine = hold()[1]
    (state,) = initial_states(machine)
    met: dict[State, None] = {}
    for _ in range(1000):
        steps = list(successors(machine, state))
        weights = [weight(rule.name) for rule, _ in steps]
        state = draw.choices([after for _, after in steps], weights)[0]
        met[state] = None
    return tuple(met)[::4]


SEEDS = (1, 3, 4)


def part(thing: Thing, word: str) -> Thing:
    found = hold()[0].world.part(thing, word)
    assert isinstance(found, Thing)
    return found


@pytest.mark.parametrize("seed", swept(SEEDS, 3))
def test_every_fact_of_a_side_and_a_bay_is_what_geometry_says(seed: int) -> None:
    """Crossed, covered, stopped, restrained, running, driven, against what, opposed, secured, one-sided."""
    compiled, machine = hold()
    for state in some(walk(seed)):
        seen, true = Seen(as_mapping(machine, state)), truths_in(machine, state)
        for cell in BAYS:
            bay = compiled.world.things[cell]
            mine = [unit for unit in seen.units if cell in unit.cells]
            for d in SHIFT:
                other = beyond(cell, d)
                told = {
                    "crossed": seen.crossed(face(cell, d)),
                    "covered": seen.covered(face(cell, d)),
                    "running": seen.runs(cell, d),
                    "driven": bool(mine) and seen.runs(cell, d),
                    "stopped": seen.stopped(cell, d),
                    "restrained": seen.restrained(cell, d),
                    "opposed": seen.runs(cell, d) and other is not None and seen.runs(other, OPPOSITE[d]),
                    "driven_on_device": any(seen.driven(u, d) and seen.obstacles(u, d) - STRUCTURE for u in mine),
                    "driven_on_stop": any(seen.driven(u, d) and seen.obstacles(u, d) & STRUCTURE for u in mine),
                    "driven_on_unit": any(seen.strikes(unit, d) for unit in mine),
                }
                found = {word: true(part(bay, d).states[word]) for word in told}
                assert found == {word: bool(fact) for word, fact in told.items()}, (cell, d, seen.values)
            up = true(part(bay, "up").states["restrained"])
            assert up == seen.restrained_up(cell), (cell, seen.values)
            secured = true(bay.states["secured"])
            assert secured == all(seen.restrained(cell, d) for d in ("fore", "aft")), (cell, seen.values)
            one_sided = true(bay.states["driven_one_sided"])
            assert one_sided == seen.one_sided(cell), (cell, seen.values)


def test_walks_meet_what_is_rare() -> None:
    """Each of the facts above that is seldom true is true more than a few times in the walks."""
    met = [Seen(as_mapping(hold()[1], state)) for seed in SEEDS for state in walk(seed)]
    rare: Counter[str] = Counter()
    for seen in met:
        for cell in BAYS:
            rare["secured"] += all(seen.restrained(cell, d) for d in ("fore", "aft"))
            rare["one-sided"] += seen.one_sided(cell)
            for d in SHIFT:
                other = beyond(cell, d)
                rare["opposed"] += seen.runs(cell, d) and other is not None and seen.runs(other, OPPOSITE[d])
        for unit in seen.units:
            for d in SHIFT:
                against = seen.obstacles(unit, d) if seen.driven(unit, d) else set()
                rare.update({"on device": bool(against - STRUCTURE), "on stop": bool(against & STRUCTURE)})
                rare["on unit"] += seen.strikes(unit, d)
                rare[f"one-sided {unit.kind}"] += any(seen.one_sided(cell) for cell in unit.cells if cell in BAYS)
    rare.pop("one-sided HALF")
    assert len(rare) == 8 and min(rare.values()) > 5, rare


@pytest.mark.parametrize("seed", swept(SEEDS, 3))
def test_every_fact_of_a_zone_and_a_door_is_what_geometry_says(seed: int) -> None:
    """Powered, commanded, inhibited, running, contested; what lies over a sill, stands beside it or runs at it."""
    compiled, machine = hold()
    things = compiled.world.things
    for state in some(walk(seed)):
        seen, true = Seen(as_mapping(machine, state)), truths_in(machine, state)
        for zone, bays in (("ZL", ("1L", "2L", "3L")), ("ZR", ("1R", "2R", "3R")), ("ZD", ("1L", "1R"))):
            ways = ("left", "right") if zone == "ZD" else ("fore", "aft")
            assert sorted(set(SHIFT) & set(things[zone].parts)) == sorted(ways)
            for d in ways:
                inhibited = (zone, d) == ("ZL", "aft") and seen.up("ML")
                told = {
                    "commanded": seen.commanded(zone, d),
                    "inhibited": inhibited,
                    "permitted": not inhibited,
                    "running": any(seen.runs(bay, d) for bay in bays),
                    "held": False,
                }
                assert {w: true(part(things[zone], d).states[w]) for w in told} == told, (zone, d, seen.values)
            told = {
                "powered": zone != "ZL" or seen.control("SWP") == "off",
                "commanded": any(seen.commanded(zone, d) for d in ways),
                "running": any(seen.runs(bay, d) for bay in bays for d in ways),
                "contested": zone == "ZL" and seen.control("SWS") == "both",
                "held": False,
            }
            assert {word: true(things[zone].states[word]) for word in told} == told, (zone, seen.values)
        for station in "AB":
            assert true(things[station].states["owning"]) == seen.in_charge(station)
        for door, bay, side in (("D1", "1R", "right"), ("D2", "3L", "aft")):
            over = seen.covered(face(bay, side))
            told = {
                "sill_covered": over,
                "sill_clear": not over,
                "drive_running": seen.runs(bay, side) or seen.runs(bay, OPPOSITE[side]),
                "loader_occupied": any(seen.occupied(c) for c in seen.holds if c.startswith(door)),
            }
            assert {word: true(things[door].states[word]) for word in told} == told, (door, seen.values)


@pytest.mark.parametrize("seed", swept(SEEDS, 3))
def test_what_can_move_is_what_geometry_says(seed: int) -> None:
    """In each state the halves of moves that can happen, and by what, are those and no others; each leads there."""
    machine = hold()[1]
    made: Counter[str] = Counter()
    for state in walk(seed):
        seen = Seen(as_mapping(machine, state))
        after = {rule.name: then for rule, then in successors(machine, state) if rule.name.startswith("unit.")}
        assert sorted(after) == sorted(seen.moves()), seen.values
        for name, then in after.items():
            made.update(name.split(".")[1::3])
            now = Seen(as_mapping(machine, then))
            *_, cells, direction, half, _ = name.split(".")
            if half == "arrive":
                assert [u for u in now.units if u not in seen.units] == [
                    Standing(name.split(".")[1], tuple(cells.split("+")))
                ]
                assert len(now.units) == len(seen.units) + 1
            else:
                gone = [u for u in seen.units if u not in now.units]
                assert gone == [Standing(name.split(".")[1], tuple(cells.split("+")))]
                assert any(g.source == gone[0] and g.direction == direction for g in now.under_way)
    assert min(made[kind] for kind in ("HALF", "WIDE", "LONG")) > 5, made


def test_the_loader_brings_and_takes_only_where_nothing_is_and_something_stands() -> None:
    """Units come to be on free outside cells alone and go from there whole; nothing else makes or ends one."""
    machine = hold()[1]
    places = {(u.kind, u.cells) for u in standings() if all(cell in OUTSIDE for cell in u.cells)}
    for state in walk(0):
        seen = Seen(as_mapping(machine, state))
        for rule, then in successors(machine, state):
            now = Seen(as_mapping(machine, then))
            come = [u for u in now.units if u not in seen.units]
            if rule.name.startswith("loader."):
                gone = [u for u in seen.units if u not in now.units]
                assert len(come) + len(gone) == 1 and bool(come) == rule.name.endswith(".bring")
                assert (come + gone)[0].kind == rule.name.split(".")[1]
                assert ((come + gone)[0].kind, (come + gone)[0].cells) in places
                around = [face(cell, side) for cell in (come + gone)[0].cells for side in SHIFT]
                assert not any(seen.crossed(one) for one in around)
            elif not rule.name.startswith("unit."):
                assert now.units == seen.units and now.crossing == seen.crossing
    assert evaluate(machine, machine.start, walk(0)[0])
