"""Holds as somebody might write them who never read the standing set: other shapes, other words, other equipment.

Each is sound by construction: what a circuit of the demonstration holds asks for is asked for here too, in whatever
words.  Nothing of the program is used to write them.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

LANES = {1: "C", 2: "LR", 3: "LCR", 4: "ABCD"}
ALONG = (("fore", "aft", ""), ("forward", "back", "fore: forward, aft: back"), ("up_hold", "down_hold", ""))
ACROSS = (
    ("left", "right", ""),
    ("port", "starboard", "left: port, right: starboard"),
    ("inboard", "outboard", ""),
)


@dataclass(frozen=True, slots=True)
class Choices:
    """What one writer decided; `along` and `across` are positions of levers with their marks, or none."""

    lanes: str
    rows: int
    row: int
    """The row beside which the door is."""
    side: str
    powered_door: bool
    latched: bool
    mid: str
    centre: str
    sill: str
    along: tuple[str, str, str]
    across: tuple[str, str, str]
    joystick: bool
    shared: bool
    run_lever: bool
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

    @property
    def door_lane(self) -> str:
        """The lane at the sill."""
        return self.lanes[0] if self.side == "left" else self.lanes[-1]


def chosen(seed: int) -> Choices:
    """The choices of one writer."""
    draw = Random(seed)
    rows = draw.randint(2, 4)
    lanes = LANES[draw.randint(1, 4)]
    if len(lanes) * rows > 10:
        rows = 10 // len(lanes)
    across = draw.choice(ACROSS)
    side = draw.choice(("left", "right"))
    if across[0] == "inboard" and side == "left":
        across = ("outboard", "inboard", across[2])
    joystick = draw.random() < 0.3
    people = draw.random() < 0.5
    # whoever stands behind the sill must not be able to let a unit in on himself
    sills = ("handle-worked lock", "powered guide resting raised", *(() if people else ("manual latch",)))
    shared = not joystick and draw.random() < 0.5
    return Choices(
        lanes=lanes,
        rows=rows,
        row=draw.randint(1, rows),
        side=side,
        powered_door=draw.random() < 0.5,
        latched=draw.random() < 0.6,
        mid=draw.choice(("manual latch", "powered latch resting raised", "powered latch resting lowered")),
        centre=draw.choice(("fixed guide", "manual guide", "powered guide resting raised")),
        sill=draw.choice(sills),
        along=draw.choice(ALONG),
        across=across,
        joystick=joystick,
        shared=shared,
        run_lever=shared and draw.random() < 0.4,
        stations=not joystick and draw.random() < 0.3,
        people=people,
        second_supply=draw.choice(("none", "light", "door", "drives")),
        panel=draw.random() < 0.4,
        wiring=draw.choice(("direct", "circuit", "relay", "others")),
        crew_door=people and draw.random() < 0.7,
        hatch=draw.random() < 0.6,
    )


def written(seed: int, crossed: bool = False) -> str:
    """The whole description; `crossed`: the two contacts of the lever that moves units across are exchanged."""
    return _Writer(chosen(seed), crossed).text()


def _all(parts: list[str], none: str = "always") -> str:
    return " and ".join(parts) or none


def _some(parts: list[str]) -> str:
    return " or ".join(parts) or "never"


class _Writer:
    def __init__(self, choices: Choices, crossed: bool) -> None:
        self.c = choices
        self.crossed = crossed
        c = choices
        self.bays = [f"{r}{lane}" for r in range(1, c.rows + 1) for lane in c.lanes]
        self.lines = [(r, lane) for r in range(1, c.rows) for lane in c.lanes]
        # between lanes a centre guide in each row, by the lane on its left; in the door row it gets out of the way
        self.guides = [(r, lane) for r in range(1, c.rows + 1) for lane in c.lanes[:-1]]
        self.sill_bay = f"{c.row}{c.door_lane}"
        self.kind_in_door_row = "manual guide" if c.centre == "fixed guide" else c.centre
        self.lane_levers = ["JOY"] if c.joystick else ["LVX"] if c.shared else [f"LVX{lane}" for lane in c.lanes]
        if c.stations:
            self.lane_levers.append("LV2")
        self.cross_lever = "JOY" if c.joystick else "LVY"
        self.neutral = [f"{lever} is neutral" for lever in dict.fromkeys([*self.lane_levers, self.cross_lever])]
        self.inside = "(no p in people: p is inside)"
        self.has_hatch = c.crew_door and c.hatch
        # beside a row in which nothing moves across
        self.hatch_row = next(r for r in range(1, c.rows + 1) if r != c.row)

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
        return [
            (lever, p) for lever in dict.fromkeys([*self.lane_levers, self.cross_lever]) for p in self._positions(lever)
        ]

    def text(self) -> str:
        c = self.c
        parts = [
            "interlock: 1",
            "title: A hold as somebody might write it",
            "layout:",
            f"  lanes: [{', '.join(c.lanes)}]",
            f"  rows: {c.rows}",
            f"  ball_mat: [{', '.join(f'{c.row}{lane}' for lane in c.lanes)}]",
            "  secured: [fore, aft, left, right]",
            "  neighbour_restrains: false",
            "  drift: []",
            "  pushing: never",
            f"  hand_work: 'DOOR is open{' and (some p in people: p is inside)' if c.people else ''}'",
            "units:",
            "  - {id: ULD, name: container, across: 1, along: 1}",
        ]
        for section in ("doorways", "devices", "controls", "stations", "supplies", "places", "people", "sensors"):
            items = getattr(self, f"_{section}")()
            if items:
                parts += [f"{section}:", *(f"  - {item}" for item in items)]
        for section in ("relays", "circuits", "zones"):
            parts += [f"{section}:", *(f"  - {item}" for item in getattr(self, f"_{section}")())]
        return "\n".join(parts) + "\n"

    def _doorways(self) -> list[str]:
        c = self.c
        latch = "latch: none, lock: none"
        starts = "closed"
        if c.latched:
            latch = (
                "latch: {by: hand, when: always}, unlatch: {by: hand, when: DOOR is unlocked}, "
                "lock: {by: hand, when: DOOR is latched}, unlock: {by: hand, when: always}"
            )
            starts = "[closed, latched, locked]"
        opens, closes = ("door_up", "door_down") if c.powered_door else ("always", "door_down")
        moved = "power" if c.powered_door else "hand"
        hatch = (
            f"{{id: HATCH, name: crew hatch, bays: {self.hatch_row}{c.lanes[0]}, side: left, moved_by: hand, "
            f"opens: always, closes: '{self.inside}', latch: none, lock: none, path: [], starts: closed}}"
        )
        return [
            *([hatch] if self.has_hatch else []),
            f"{{id: DOOR, name: cargo door, bays: {self.sill_bay}, side: {c.side}, moved_by: {moved}, opens: {opens}, "
            f"closes: {closes}, {latch}, path: [{{device: SILL, in: lowered}}], starts: {starts}}}",
        ]

    def _devices(self) -> list[str]:
        c = self.c
        found = []
        for lane in c.lanes:
            found.append(f"{{id: FS{lane}, kind: fixed stop, on: 1{lane}.fore, stops: fore, restrains: x}}")
            found.append(f"{{id: AS{lane}, kind: fixed stop, on: {c.rows}{lane}.aft, stops: aft, restrains: x}}")
        for r in range(1, c.rows + 1):
            for side, lane in (("left", c.lanes[0]), ("right", c.lanes[-1])):
                if f"{r}{lane}.{side}" != f"{self.sill_bay}.{c.side}":
                    name = f"{'L' if side == 'left' else 'R'}G{r}"
                    at_hatch = self.has_hatch and (r, side) == (self.hatch_row, "left")
                    found.append(
                        f"{{id: {name}, kind: fixed guide, on: {r}{lane}.{side}, "
                        f"stops: {'[left, right]' if at_hatch else side}, restrains: y}}"
                    )
        for r, lane in self.lines:
            found.append(
                f"{{id: M{r}{lane}, kind: {c.mid}, on: {r}{lane}.aft, stops: [fore, aft], restrains: x, locking: raised"
                + (", starts: lowered}" if c.mid == "manual latch" else f", circuit: {self._mid_drive()}}}")
            )
        for r, lane in self.guides:
            kind = self.kind_in_door_row if r == c.row else "fixed guide"
            rest = {
                "fixed guide": "}",
                "manual guide": ", locking: raised, starts: raised}",
                "powered guide resting raised": ", locking: raised, circuit: guides_down}",
            }[kind]
            found.append(
                f"{{id: CG{r}{lane}, kind: {kind}, on: {r}{lane}.right, stops: [left, right], restrains: y{rest}"
            )
        rest = {
            "manual latch": "starts: raised",
            "handle-worked lock": "handle: HDL, starts: raised",
            "powered guide resting raised": "circuit: sill_down",
        }[c.sill]
        found.append(
            f"{{id: SILL, kind: {c.sill}, on: {self.sill_bay}.{c.side}, stops: [left, right], restrains: y, "
            f"locking: raised, {rest}}}"
        )
        return found

    def _mid_drive(self) -> str:
        return "latches_down" if self.c.mid == "powered latch resting raised" else "latches_up"

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
        if c.joystick:
            found.append(lever("JOY", c.along, c.across))
        else:
            for id in self.lane_levers:
                if c.run_lever:
                    found.append(f"{{id: {id}, kind: lever, positions: [run]{panel}}}")
                else:
                    found.append(lever(id, c.along))
            found.append(lever("LVY", c.across))
        if c.run_lever:
            found.append("{id: WAY, kind: selector, positions: [to_nose, to_tail], starts: to_nose}")
        if c.stations:
            found.append("{id: STN, kind: selector, positions: [here, there], starts: here}")
        if len(c.lanes) > 1 and (c.shared or c.joystick or c.stations):
            found.append(
                f"{{id: SEL, kind: selector, positions: [{', '.join(f'lane_{lane}' for lane in c.lanes)}], "
                f"starts: lane_{c.lanes[0]}}}"
            )
        if c.powered_door:
            found.append(f"{{id: LVD, kind: lever, positions: [up, down]{panel}}}")
        if c.mid != "manual latch":
            found.append("{id: MSW, kind: switch, positions: [down, up], starts: up}")
        if self.guides and self.kind_in_door_row == "powered guide resting raised":
            found.append("{id: GSW, kind: switch, positions: [down, up], starts: up}")
        if c.sill == "powered guide resting raised":
            found.append("{id: SSW, kind: switch, positions: [down, up], starts: up}")
        if c.sill == "handle-worked lock":
            found.append(
                "{id: HDL, kind: self-resetting handle, reachable: "
                f"'DOOR is open{' and ' + self.inside if c.people else ''}'}}"
            )
        return found

    def _stations(self) -> list[str]:
        if not self.c.stations:
            return []
        own = [lever for lever in dict.fromkeys([*self.lane_levers, self.cross_lever]) if lever != "LV2"]
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
        if not self.c.people:
            return []
        things = [f"M{r}{lane}" for r, lane in self.lines if self.c.mid == "manual latch"]
        things += [
            f"CG{r}{lane}" for r, lane in self.guides if r == self.c.row and self.kind_in_door_row == "manual guide"
        ]
        things += ["SILL"] if self.c.sill == "manual latch" else []
        return [
            "{id: apron, bay: outside, reaches: []}",
            f"{{id: at_sill, bay: {self.sill_bay}, reaches: [{', '.join(things)}]}}",
        ]

    def _people(self) -> list[str]:
        return (
            ["{id: P1, name: the loader, places: [apron, at_sill], starts: apron, moves: may_go}"]
            if self.c.people
            else []
        )

    def _sensors(self) -> list[str]:
        found = [
            "{id: door_open, reads: DOOR is open}",
            "{id: door_latched, reads: DOOR is latched}"
            if self.c.latched
            else "{id: door_shut, reads: DOOR is closed}",
            "{id: at_sill_beam, reads: DOOR is sill_covered}",
            f"{{id: loader_taken, reads: DOOR-{self.sill_bay} is occupied}}",
            "{id: sill_up, reads: SILL is raised}",
        ]
        found += [f"{{id: at{bay}, reads: {bay} is occupied}}" for bay in self.bays]
        for r, lane in self.lines:
            found += [f"{{id: up_M{r}{lane}, reads: M{r}{lane} is raised}}"]
            found += [f"{{id: over_M{r}{lane}, reads: M{r}{lane} is covered}}"]
        for r, lane in self.guides:
            if r == self.c.row:
                found += [f"{{id: up_CG{r}{lane}, reads: CG{r}{lane} is raised}}"]
                found += [f"{{id: over_CG{r}{lane}, reads: CG{r}{lane} is covered}}"]
        return found

    def _relays(self) -> list[str]:
        found = [f"{{id: armed, sets: drive_power and {_all(self.neutral)}, drops: not drive_power}}"]
        if self.c.wiring == "relay":
            found += [f"{{id: {x}_{p}, sets: {x} is {p}, drops: not {x} is {p}}}" for x, p in self._contacts()]
        return found

    def _circuits(self) -> list[str]:
        c = self.c
        around = [f"over_M{r}{lane}" for r, lane in self.lines if c.row in (r, r + 1)]
        across = [f"over_CG{c.row}{lane}" for lane in c.lanes[:-1]]
        held = [f"(at{r}{x} or at{r + 1}{x} implies up_M{r}{x}) and not over_M{r}{x}" for r, x in self.lines]
        held += [f"up_CG{c.row}{lane}" for lane in c.lanes[:-1]]
        permit = ["drive_power", "armed", "door_open", *(["LVD is neutral"] if c.powered_door else [])]
        lowering = ["drive_power", "door_open"]
        guide_switch = bool(self.guides) and self.kind_in_door_row.startswith("powered")
        sill_switch = c.sill.startswith("powered")
        power = ["GP is on", "PWR is on"] + (["AUX is on"] if c.second_supply == "drives" else [])
        found = [
            f"{{id: drive_power, use: power, is: {_all(power)}}}",
            f"{{id: permit, use: permit, is: {_all(permit)}}}",
            f"{{id: along, use: inhibit, is: {_some(around)}}}",
            f"{{id: across, use: inhibit, is: {_some([*across, 'at_sill_beam'])}}}",
            f"{{id: safe_load, use: permit, is: {_all(held)}}}",
        ]
        if c.mid != "manual latch":
            found.append("{id: latches_down, use: power, is: drive_power and door_open and MSW is down}")
            # rests lowered: held up by a supply of its own, whatever the switch says while the door is not open
            found.append("{id: latches_up, use: power, is: MSW is up or not door_open}")
        if self.guides:
            found.append(
                f"{{id: guides_down, use: power, is: {_all([*lowering, *(['GSW is down'] if guide_switch else [])])}}}"
            )
        found.append(
            f"{{id: sill_down, use: power, is: {_all([*lowering, *(['SSW is down'] if sill_switch else [])])}}}"
        )
        shut = ["safe_load", "sill_up", "not at_sill_beam", *self.neutral]
        shut += ["SSW is up"] if sill_switch else []
        shut += ["GSW is up"] if guide_switch else []
        shut += ["MSW is up"] if c.mid != "manual latch" else []
        shut += [self.inside] if c.people else []
        door_power = ["GP is on", "PWR is on"] if c.second_supply != "door" else ["AUX is on"]
        if c.powered_door:
            shut += [*door_power, "LVD is down"]
            up = [*door_power, "LVD is up", "sill_up", "not at_sill_beam", *self.neutral]
            up += ["not door_latched"] if c.latched else []
            found.append(f'{{id: door_up, use: power, is: "{_all(up)}"}}')
        found.append(f'{{id: door_down, use: permit, is: "{_all(shut)}"}}'.replace(": p is", ", p is"))
        if c.wiring == "circuit":
            found += [f"{{id: {x}_{p}, use: logic, is: {x} is {p}}}" for x, p in self._contacts()]
        if c.second_supply == "light":
            found.append("{id: lamp, use: indication, is: AUX is on and door_open}")
        if c.people:
            found.append(
                "{id: may_go, use: permit, is: PWR is off and sill_up and not along and not across"
                f"{' and HATCH is open' if self.has_hatch else '' if c.crew_door else ' and door_open'}}}"
            )
        return found

    def _zones(self) -> list[str]:
        c = self.c
        found = []
        fore, aft = c.along[0], c.along[1]
        for lane in c.lanes:
            lever = "JOY" if c.joystick else "LVX" if c.shared else f"LVX{lane}"
            chosen = f" and SEL is lane_{lane}" if len(c.lanes) > 1 and (c.shared or c.joystick) else ""

            def command(lever: str, chosen: str = chosen) -> str:
                if c.run_lever:
                    run = self._contact(lever, "run")
                    return f"fore: {run} and WAY is to_nose{chosen}, aft: {run} and WAY is to_tail{chosen}"
                return f"fore: {self._contact(lever, fore)}{chosen}, aft: {self._contact(lever, aft)}{chosen}"

            commands = [f"{{{'station: S1, ' if c.stations else ''}{command(lever)}}}"]
            if c.stations:
                there = f" and SEL is lane_{lane}" if len(c.lanes) > 1 else ""
                commands.append(f"{{station: S2, {command('LV2', there)}}}")
            sections = []
            for r in range(1, c.rows + 1):
                ahead = [f"up_M{r}{lane}", f"at{r + 1}{lane}"] if r < c.rows else []
                behind = [f"up_M{r - 1}{lane}", f"at{r - 1}{lane}"] if r > 1 else []
                stop_aft = f"at{r}{lane} and ({_some(ahead)})" if ahead else f"at{r}{lane}"
                stop_fore = f"at{r}{lane} and ({_some(behind)})" if behind else f"at{r}{lane}"
                sections.append(f"{{bay: {r}{lane}, inhibits: {{fore: {stop_fore}, aft: {stop_aft}}}}}")
            idle = f"{self.cross_lever} is neutral" if not c.joystick else "not across"
            found.append(
                f"{{id: Z{lane}, bays: [{', '.join(f'{r}{lane}' for r in range(1, c.rows + 1))}], "
                f"power: permit and {idle}, commands: [{', '.join(commands)}], "
                f"inhibits: {{fore: across, aft: across}}, sections: [{', '.join(sections)}]}}"
            )
        lever = self.cross_lever
        left, right = (self._contact(lever, position) for position in c.across[:2])
        if self.crossed:
            left, right = right, left
        station = "station: S1, " if c.stations else ""
        neutral = [f"{one} is neutral" for one in self.lane_levers if one != lever]
        sections = []
        for at, lane in enumerate(c.lanes):
            stops = {}
            for way, near in (("left", at - 1), ("right", at + 1)):
                bay = f"{c.row}{lane}"
                if 0 <= near < len(c.lanes):
                    guide = f"CG{c.row}{c.lanes[min(at, near)]}"
                    stops[way] = f"at{bay} and (up_{guide} or at{c.row}{c.lanes[near]})"
                elif way == c.side:
                    stops[way] = f"at{bay} and (sill_up or loader_taken)"
                else:
                    stops[way] = f"at{bay}"
            sections.append(f"{{bay: {c.row}{lane}, inhibits: {{left: {stops['left']}, right: {stops['right']}}}}}")
        owner = ["STN is here"] if c.stations else []
        found.append(
            f"{{id: ZY, bays: [{', '.join(f'{c.row}{lane}' for lane in c.lanes)}], "
            f"power: {_all(['permit', 'not along', *neutral, *owner])}, "
            f"commands: [{{{station}left: {left}, right: {right}}}], "
            f"sections: [{', '.join(sections)}]}}"
        )
        return found
