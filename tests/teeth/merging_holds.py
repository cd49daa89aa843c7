"""Holds whose two lanes merge into bays in the middle, of many lengths, with varied equipment, sound by construction.

Nothing of the program is used to write them.  Rows are counted from the end of the lanes towards the middle; `aft` or
`fore` is where the middle is.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

LANES = ("L", "R")


@dataclass(frozen=True, slots=True)
class Choices:
    """What one writer decided."""

    lanes: int
    """Rows of two bays."""
    middle: int
    """Rows of one bay between the lanes."""
    towards: str
    door_row: int
    side: str
    split: bool
    words: tuple[str, str]
    """How the doorway lever is marked."""
    by: str
    stored: bool
    sill: str
    """What lowers the sill latch: a button or a switch that springs back."""


def chosen(seed: int) -> Choices:
    """The choices of one writer."""
    draw = Random(seed)
    lanes = draw.randint(1, 3)
    words = draw.choice((("in", "out"), ("inboard", "outboard")))
    side = draw.choice(("left", "right"))
    by = draw.choice(("door: D1", f"lane: {'L' if side == 'left' else 'R'}"))
    return Choices(
        lanes=lanes,
        middle=draw.randint(1, 2),
        towards=draw.choice(("aft", "fore")),
        door_row=draw.randint(1, lanes),
        side=side,
        split=draw.random() < 0.6,
        words=words,
        by=by,
        stored=draw.random() < 0.5,
        sill=draw.choice(("push button", "momentary switch")),
    )


def _any(parts: list[str]) -> str:
    return " or ".join(parts) or "never"


def _all(parts: list[str]) -> str:
    return " and ".join(parts) or "always"


class _Writer:
    def __init__(self, choices: Choices, crossed: bool, half_asked: bool) -> None:
        self.c = choices
        self.crossed = crossed
        self.half_asked = half_asked
        self.rows = choices.lanes + choices.middle
        self.back = "fore" if choices.towards == "aft" else "aft"
        self.outer = "L" if choices.side == "left" else "R"
        self.inner = "R" if choices.side == "left" else "L"
        self.inwards = "right" if choices.side == "left" else "left"

    def row(self, at: int) -> int:
        """The number of a row, counted from the end of the lanes."""
        return at if self.c.towards == "aft" else self.rows + 1 - at

    def bay(self, at: int, lane: str) -> str:
        return f"{self.row(at)}{'C' if at > self.c.lanes else lane}"

    def bays(self) -> list[str]:
        both = [self.bay(at, lane) for at in range(1, self.c.lanes + 1) for lane in LANES]
        return both + [self.bay(at, "C") for at in range(self.c.lanes + 1, self.rows + 1)]

    def latches(self) -> list[tuple[str, str]]:
        """Id and bay: one behind every bay but the last, on its side towards the middle."""
        found = [(f"M{at}{lane}", self.bay(at, lane)) for at in range(1, self.c.lanes + 1) for lane in LANES]
        return found + [(f"M{at}C", self.bay(at, "C")) for at in range(self.c.lanes + 1, self.rows)]

    def over(self, at: int, lane: str) -> list[str]:
        """What tells that a unit is half-way behind the bay."""
        if not 1 <= at < self.rows:
            return []
        if at == self.c.lanes:
            return ["over_line"]
        return [f"over_M{at}{'C' if at > self.c.lanes else lane}"]

    def across(self, at: int) -> list[str]:
        return ["over_CG", "over_sill"] if at == self.c.door_row else []

    def text(self) -> str:
        c = self.c
        sections = {
            "doorways": [
                f"{{id: D1, bays: {self.bay(c.door_row, self.outer)}, side: {c.side}, moved_by: hand, opens: always, "
                "closes: may_shut, latch: none, lock: none, path: [{device: SL, in: lowered}], starts: closed}"
            ],
            "devices": self._devices(),
            "controls": self._controls(),
            "supplies": [
                "{id: GP, starts: [off, on], may_be_lost: true}",
                "{id: HYD, starts: off, may_be_lost: true, needs: GP is on and PUMP is run, "
                f"stored: {str(c.stored).lower()}}}",
            ],
            "sensors": self._sensors(),
            "relays": ["{id: armed, sets: HYD is on and LVX is neutral and LVY is neutral, drops: HYD is off}"],
            "circuits": self._circuits(),
            "zones": self._zones(),
        }
        centred = ", ".join(
            f"{{row: {self.row(at)}, lane: C, between: [L, R]}}" for at in range(c.lanes + 1, self.rows + 1)
        )
        lines = [
            "interlock: 1",
            "title: Lanes that merge",
            "layout:",
            "  lanes: [L, R]",
            f"  rows: {self.rows}",
            f"  centred: [{centred}]",
            f"  ball_mat: [{self.bay(c.door_row, 'L')}, {self.bay(c.door_row, 'R')}]",
            "  secured: [fore, aft, left, right]",
            "  neighbour_restrains: false",
            "  drift: []",
            "  pushing: never",
            "  hand_work: not D1 is closed",
            "units:",
            "  - {id: BOX, across: 1, along: 1}",
        ]
        for section, items in sections.items():
            lines += [f"{section}:", *(f"  - {item}" for item in items)]
        return "\n".join(lines) + "\n"

    def _devices(self) -> list[str]:
        c = self.c
        found = [
            f"{{id: E{lane}, kind: fixed stop, on: {self.bay(1, lane)}.{self.back}, stops: {self.back}, restrains: x}}"
            for lane in LANES
        ]
        last = self.bay(self.rows, "C")
        found.append(f"{{id: EC, kind: fixed stop, on: {last}.{c.towards}, stops: {c.towards}, restrains: x}}")
        for at in range(1, self.rows + 1):
            for side, lane in (("left", "L"), ("right", "R")):
                if (at, side) != (c.door_row, c.side):
                    here = f"{self.bay(at, lane)}.{side}"
                    found.append(f"{{id: G{at}{lane}, kind: fixed guide, on: {here}, stops: {side}, restrains: y}}")
        for at in range(1, c.lanes + 1):
            here = f"on: {self.bay(at, 'L')}.right, stops: [left, right], restrains: y"
            if at == c.door_row:
                found.append(
                    f"{{id: CG, kind: powered guide resting raised, circuit: guide_down, {here}, locking: raised}}"
                )
            else:
                found.append(f"{{id: CG{at}, kind: fixed guide, {here}}}")
        for id, bay in self.latches():
            found.append(
                f"{{id: {id}, kind: manual latch, on: {bay}.{c.towards}, stops: [fore, aft], restrains: x, "
                "locking: raised, starts: lowered}"
            )
        found.append(
            f"{{id: SL, kind: powered latch resting raised, circuit: sill_down, stops: [left, right], restrains: y, "
            f"on: {self.bay(c.door_row, self.outer)}.{c.side}, locking: raised}}"
        )
        return found

    def _controls(self) -> list[str]:
        c = self.c
        sill = "push button" if c.sill == "push button" else "momentary switch, positions: [keep, lower], returns: keep"
        return [
            "{id: PUMP, kind: switch, positions: [stop, run], starts: stop}",
            f"{{id: LVX, kind: lever, positions: [fore, aft], can_be_pressed: {str(c.split).lower()}}}",
            f"{{id: LVY, kind: lever, positions: [{', '.join(c.words)}], {c.by}}}",
            *(["{id: SIDE, kind: selector, positions: [left, right], starts: left}"] if c.split else []),
            f"{{id: SB, kind: {sill}}}",
            "{id: GB, kind: push button}",
        ]

    def _sensors(self) -> list[str]:
        place = f"D1-{self.bay(self.c.door_row, self.outer)}"
        found = [
            "{id: door_open, reads: D1 is open}",
            "{id: over_sill, reads: D1 is sill_covered}",
            f"{{id: loader_taken, reads: {place} is occupied}}",
            "{id: up_SL, reads: SL is raised}",
            "{id: up_CG, reads: CG is raised}",
            "{id: over_CG, reads: CG is covered}",
            f"{{id: over_line, reads: M{self.c.lanes}L is covered}}",
        ]
        found += [f"{{id: at{bay}, reads: {bay} is occupied}}" for bay in self.bays()]
        for id, _ in self.latches():
            found += [f"{{id: up_{id}, reads: {id} is raised}}", f"{{id: over_{id}, reads: {id} is covered}}"]
        return found

    def _circuits(self) -> list[str]:
        c = self.c
        free = ["LVX is neutral", "LVY is neutral"]
        held = [*free, "up_SL", "up_CG", "not over_sill", "not over_CG"]
        held += [f"not over_{id}" for id, _ in self.latches()]
        for at in range(1, c.lanes + 1):
            for lane in LANES:
                beyond = self.bay(at + 1, lane)
                held.append(f"(at{self.bay(at, lane)} or at{beyond} implies up_M{at}{lane})")
        for at in range(c.lanes + 1, self.rows):
            held.append(f"(at{self.bay(at, 'C')} or at{self.bay(at + 1, 'C')} implies up_M{at}C)")
        line = [f"up_M{c.lanes}L"] if self.half_asked else [f"up_M{c.lanes}{lane}" for lane in LANES]
        pressed = "SB is pressed" if c.sill == "push button" else "SB is lower"
        return [
            "{id: drives_on, use: power, is: HYD is on and armed and door_open}",
            f"{{id: sill_down, use: power, is: GP is on and door_open and {pressed}}}",
            "{id: guide_down, use: power, is: GP is on and door_open and GB is pressed}",
            f"{{id: line_up, use: inhibit, is: {_any(line)}}}",
            f"{{id: may_shut, use: permit, is: {_all(held)}}}",
        ]

    def _zones(self) -> list[str]:
        c = self.c
        along = [one for at in (c.door_row - 1, c.door_row) for lane in LANES for one in self.over(at, lane)]
        commands = ["{fore: LVX is fore, aft: LVX is aft}"]
        if c.split:
            commands = ["{fore: LVX is fore and LVX is not pressed, aft: LVX is aft and LVX is not pressed}"]
            for side, lane in (("left", "L"), ("right", "R")):
                bays = ", ".join(self.bay(at, lane) for at in range(1, c.lanes + 1))
                ways = ", ".join(
                    f"{way}: LVX is {way} and LVX is pressed and SIDE is {side}" for way in ("fore", "aft")
                )
                commands.append(f"{{bays: [{bays}], {ways}}}")
        inwards, outwards = c.words if not self.crossed else c.words[::-1]
        inner, outer = self.bay(c.door_row, self.inner), self.bay(c.door_row, self.outer)
        return [
            f"{{id: ZX, bays: [{', '.join(self.bays())}], power: drives_on and LVY is neutral, "
            f"commands: [{', '.join(commands)}], sections: [{', '.join(self._sections())}]}}",
            f"{{id: ZY, bays: [{inner}, {outer}], "
            f"power: {_all(['drives_on', 'LVX is neutral', *(f'not {one}' for one in dict.fromkeys(along))])}, "
            f"commands: {{{self.inwards}: LVY is {inwards}, {c.side}: LVY is {outwards}}}, sections: ["
            f"{{bay: {outer}, inhibits: {{{self.inwards}: at{outer} and (up_CG or at{inner}), "
            f"{c.side}: at{outer} and (up_SL or loader_taken)}}}}, "
            f"{{bay: {inner}, inhibits: {{{self.inwards}: at{inner}, "
            f"{c.side}: at{inner} and (up_CG or at{outer} or over_sill)}}}}]}}",
        ]

    def _sections(self) -> list[str]:
        """What keeps the drive under each bay from running towards the middle, and back."""
        found = []
        for at in range(1, self.rows + 1):
            for lane in LANES if at <= self.c.lanes else ("C",):
                bay = self.bay(at, lane)
                ahead = self._blocked(at, lane) if at < self.rows else ["always"]
                behind = self._blocked_back(at, lane) if at > 1 else ["always"]
                found.append(
                    f"{{bay: {bay}, inhibits: {{{self.c.towards}: at{bay} and ({_any(ahead)}), "
                    f"{self.back}: at{bay} and ({_any(behind)})}}}}"
                )
        return found

    def _blocked(self, at: int, lane: str) -> list[str]:
        latch = ["line_up", "over_line"] if at == self.c.lanes else [f"up_M{at}{lane}"]
        return [*latch, f"at{self.bay(at + 1, lane)}", *self.over(at + 1, lane), *self.across(at + 1)]

    def _blocked_back(self, at: int, lane: str) -> list[str]:
        if at == self.c.lanes + 1:
            into = [one for lane in LANES for one in (f"at{self.bay(at - 1, lane)}", *self.over(at - 2, lane))]
            return ["line_up", *into, *self.across(at - 1)]
        return [
            f"up_M{at - 1}{lane}",
            f"at{self.bay(at - 1, lane)}",
            *self.over(at - 2, lane),
            *self.across(at - 1),
        ]


def written(seed: int, crossed: bool = False, half_asked: bool = False) -> str:
    """The whole description.

    `crossed`: the contacts of the doorway lever are exchanged; `half_asked`: of the two latches before the middle only
    the left one is asked for.
    """
    return _Writer(chosen(seed), crossed, half_asked).text()
