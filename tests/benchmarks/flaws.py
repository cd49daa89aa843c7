"""Is the guilty item named first?  `python -m tests.benchmarks.flaws FIRST COUNT [--kinds N] [--kind WORDS]`.

Into a hold that somebody might have written (`tests/teeth/written_holds.py`), one of each seed, single flaws are put as
a bench engineer or rigger might make them; each is proved, and what is told to look at first is held against what was
done.  *named*: the first line told of the first requirement that fails has the thing and says what is wrong with it;
*near*: it has the thing and says something else, or another of the lines has it; *not*: neither.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from random import Random
from typing import Any

from interlock.hold.compile.compiler import compile_hold
from interlock.hold.hands import hands_of
from interlock.hold.language.model import Hold, Zone
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Syntax, Truth
from interlock.hold.loader import Source, load_hold
from interlock.hold.origin import Commanded, HeldBack, Sort
from interlock.hold.wiring import (
    Wire,
    asked_by,
    chains_in,
    contacts_in,
    rewired,
    turned,
    wires_of,
    with_contact,
    without_contact,
)
from interlock.kernel.claims import Fails, Limits
from interlock.kernel.evaluator import evaluate
from interlock.prove.decide import decide
from interlock.report.text.lines import as_text
from interlock.report.text.proof import proof_lines
from interlock.report.views.proof import proof_view
from interlock.study.causes.blame import blame
from interlock.study.verify import Status, Verification, verify
from interlock.study.why_never import why_never
from tests.agreement.hold_texts import fetch, standing
from tests.teeth import planted
from tests.teeth.written_holds import chosen, written

MOST_ROWS, MOST_BAYS = 5, 12
MOST_DRAWN = 4


@dataclass(frozen=True, slots=True)
class Flaw:
    """One thing wrong: `things` are ids or names of which one is the guilty item, `words` what has to be said of it.

    One of each of the `words` is enough.
    """

    about: str
    hold: Hold
    things: tuple[str, ...]
    words: tuple[str, ...]


Maker = Callable[[Hold, Random], Iterator[Flaw]]


def _things(wire: Wire) -> tuple[str, ...]:
    match wire.meaning:
        case HeldBack(_, bay):
            return (f"drive under {bay} ",)
    return (wire.meaning.subject.id,)


def _wires(hold: Hold) -> list[Wire]:
    return [wire for wire in wires_of(hold) if not isinstance(wire.syntax, Truth)]


def _door_circuits(hold: Hold) -> set[str]:
    """The circuits that conditions of doors name."""
    asked: set[str] = set()
    for wire in _wires(hold):
        if wire.meaning.subject.sort is Sort.DOOR:
            for _, found in contacts_in(wire.syntax):
                fact = found.arg if isinstance(found, Negation) else found
                if isinstance(fact, Fact):
                    asked.add(fact.subject.parts[0])
    return asked


def _bridged(wanted: Callable[[Hold, Wire], bool]) -> Maker:
    def make(hold: Hold, draw: Random) -> Iterator[Flaw]:
        for wire in _wires(hold):
            if not wanted(hold, wire):
                continue
            for way, found in contacts_in(wire.syntax):
                if way:
                    flawed = rewired(hold, wire.meaning, without_contact(wire.syntax, way))
                    fact = found.arg if isinstance(found, Negation) else found
                    words = (print_syntax(found), print_syntax(fact))
                    yield Flaw(f"{wire.meaning.name} without {print_syntax(found)}", flawed, _things(wire), words)

    return make


def _in_door(hold: Hold, wire: Wire) -> bool:
    subject = wire.meaning.subject
    return subject.sort is Sort.DOOR or (subject.sort is Sort.CIRCUIT and subject.id in _door_circuits(hold))


def _in_inhibit(hold: Hold, wire: Wire) -> bool:
    uses = {one.id for one in hold.circuits if one.use == "inhibit"}
    inhibits = isinstance(wire.meaning, HeldBack) or getattr(wire.meaning, "what", "") == "inhibited"
    return inhibits or (wire.meaning.subject.sort is Sort.CIRCUIT and wire.meaning.subject.id in uses)


def _in_permit(hold: Hold, wire: Wire) -> bool:
    uses = {one.id for one in hold.circuits if one.use == "permit"} - _door_circuits(hold)
    return getattr(wire.meaning, "what", "") == "powered" or (
        wire.meaning.subject.sort is Sort.CIRCUIT and wire.meaning.subject.id in uses
    )


def _in_command(hold: Hold, wire: Wire) -> bool:
    return isinstance(wire.meaning, Commanded)


def _from(makers: str) -> Maker:
    """Of `tests.teeth.planted`; what is to be said is the contact that is there, or the field."""

    def make(hold: Hold, draw: Random) -> Iterator[Flaw]:
        for one in planted.KINDS[makers](hold, draw):
            yield Flaw(one.about, one.hold, one.guilty, ())

    return make


def _neighbour(hold: Hold, draw: Random) -> Iterator[Flaw]:
    for one in planted.KINDS["contact crossed"](hold, draw):
        right = one.about.rsplit(" for ", 1)[1]
        things = (f"drive under {one.guilty[0]} ",) if len(one.guilty) > 1 else one.guilty
        yield Flaw(one.about, one.hold, things, (right,))


def _device(field: str, starting: str = "") -> Maker:
    def make(hold: Hold, draw: Random) -> Iterator[Flaw]:
        for one in planted.KINDS[f"device {field}"](hold, draw):
            if starting in one.about:
                yield Flaw(one.about, one.hold, one.guilty, (f"{field}", "stays"))

    return make


def _missing(hold: Hold, draw: Random) -> Iterator[Flaw]:
    for one in planted.KINDS["device missing"](hold, draw):
        yield Flaw(one.about, one.hold, tuple(f"no device on {side}" for side in one.guilty), ())


def _crossed(hold: Hold, draw: Random) -> Iterator[Flaw]:
    for zone in hold.zones:
        for at, command in enumerate(zone.commands):
            runs = {way.value: when for way, when in command.runs}
            for one, other in (("fore", "aft"), ("left", "right")):
                if runs.keys() >= {one, other}:
                    crossed: dict[str, Any] = {one: runs[other], other: runs[one]}
                    changed = replace(command, **crossed)
                    commands = (*zone.commands[:at], changed, *zone.commands[at + 1 :])
                    zones = tuple(replace(z, commands=commands) if z is zone else z for z in hold.zones)
                    about = f"{zone.id} {one} and {other} exchanged"
                    yield Flaw(about, replace(hold, zones=zones), (zone.id,), ("other way",))


def _crossed_everywhere(hold: Hold, draw: Random) -> Iterator[Flaw]:
    """The two wires of one lever exchanged where they leave it: every zone that it runs has them crossed."""
    levers = {one.id: one for one in hold.controls if one.is_held}
    for lever in levers.values():
        for one, other in (lever.positions[:2],) if len(lever.positions) >= 2 else ():
            swap = {one: other, other: one}
            found, number = hold, 0
            zones = []
            for wire in wires_of(hold):
                if isinstance(wire.meaning, Commanded) or wire.meaning.subject.sort in (Sort.CIRCUIT, Sort.RELAY):
                    turned = _exchanged(wire.syntax, lever.id, swap)
                    if print_syntax(turned) != print_syntax(wire.syntax):
                        found = rewired(found, wire.meaning, turned)
                        number += 1
                        zones.append(wire.meaning.subject.id)
            if number > 1 and len(set(zones)) > 1:
                yield Flaw(f"{lever.id} {one} and {other} exchanged", found, (lever.id,), ("other way",))


def _exchanged(syntax: Syntax, id: str, swap: dict[str, str]) -> Syntax:
    match syntax:
        case Fact(Path((first,)), state) if first == id and state in swap:
            return replace(syntax, state=swap[state])
        case Negation():
            return replace(syntax, arg=_exchanged(syntax.arg, id, swap))
        case Chain():
            return replace(syntax, args=tuple(_exchanged(one, id, swap) for one in syntax.args))
    return syntax


def _sensor(hold: Hold, draw: Random) -> Iterator[Flaw]:
    for one in planted.KINDS["sensor"](hold, draw):
        if one.kind == "sensor reads another":
            yield Flaw(one.about, one.hold, one.guilty, ("reads",))


def _stays(hold: Hold, draw: Random) -> Iterator[Flaw]:
    """A lever that stays where it is put, as a selector does."""
    for control in hold.controls:
        if control.kind == "lever":
            changed = replace(
                control, kind="selector", positions=("neutral", *control.positions), starts=("neutral",), marks=()
            )
            controls = tuple(changed if one is control else one for one in hold.controls)
            yield Flaw(f"{control.id} stays", replace(hold, controls=controls), (control.id,), ("selector", "spring"))


def _door_steps(hold: Hold, draw: Random) -> Iterator[Flaw]:
    for door in hold.doorways:
        for step in ("latch", "unlatch", "lock", "unlock"):
            own = getattr(door, step)
            if own is not None and not isinstance(own.when, Truth):
                always = replace(own, when=Truth(True, own.when.span))
                changed = replace(door, **{step: always})
                doors = tuple(changed if one is door else one for one in hold.doorways)
                words = {"latch": "closed", "unlatch": "unlocked", "lock": "latched", "unlock": ""}[step]
                yield Flaw(f"{door.id} {step} always", replace(hold, doorways=doors), (door.id,), (words,))
        if door.latch is not None and not isinstance(door.opens, Truth):
            changed = replace(door, opens=Truth(True, door.opens.span))
            doors = tuple(changed if one is door else one for one in hold.doorways)
            yield Flaw(f"{door.id} opens always", replace(hold, doorways=doors), (door.id,), ("opens",))


def _stops_too_much(hold: Hold, draw: Random) -> Iterator[Flaw]:
    """A contact more than is good."""
    wires = [
        one for one in _wires(hold) if one.is_electrical and one.meaning.subject.sort not in (Sort.SENSOR, Sort.RELAY)
    ]
    things: list[Any] = [*hold.doorways, *(one for one in hold.controls if one.kind != "access panel")]
    for _ in range(40):
        wire, thing = draw.choice(wires), draw.choice(things)
        states = ("closed", "open") if hasattr(thing, "path") else (*thing.positions, "neutral")
        state = draw.choice(states)
        if getattr(thing, "kind", "lever") != "lever" and state == "neutral":
            continue
        fact: Syntax = Fact(Path((thing.id,), (wire.span,)), state, False, wire.span, wire.span)
        changed = Chain("or" if _in_inhibit(hold, wire) else "and", (wire.syntax, fact), wire.span)
        yield Flaw(
            f"{wire.meaning.name} with {thing.id} {state}",
            rewired(hold, wire.meaning, changed),
            (wire.meaning.subject.id, *_things(wire)),
            (state.replace("_", " "),),
        )


def _turned_round(hold: Hold, draw: Random) -> Iterator[Flaw]:
    for wire in _wires(hold):
        if wire.meaning.subject.sort is not Sort.SENSOR:
            for way, found in contacts_in(wire.syntax):
                about = f"{wire.meaning.name} with {print_syntax(turned(found))}"
                flawed = rewired(hold, wire.meaning, with_contact(wire.syntax, way, turned(found)))
                yield Flaw(about, flawed, _things(wire), (print_syntax(asked_by(found)),))


def _joined_otherwise(hold: Hold, draw: Random) -> Iterator[Flaw]:
    """Contacts side by side that belong in series, or the other way about."""
    for wire in _wires(hold):
        for way, chain in chains_in(wire.syntax):
            other = replace(chain, operator="or" if chain.operator == "and" else "and")
            flawed = rewired(hold, wire.meaning, with_contact(wire.syntax, way, other))
            yield Flaw(f"{wire.meaning.name} with {print_syntax(other)}", flawed, _things(wire), ())


def _another_position(hold: Hold, draw: Random) -> Iterator[Flaw]:
    """A selector or lever asked in another of its positions."""
    positions = {one.id: one.positions for one in hold.controls}
    for wire in _wires(hold):
        for way, found in contacts_in(wire.syntax):
            fact = asked_by(found)
            if isinstance(fact, Fact) and fact.state in positions.get(fact.subject.parts[0], ()):
                for state in positions[fact.subject.parts[0]]:
                    if state != fact.state:
                        changed: Syntax = replace(fact, state=state)
                        changed = replace(found, arg=changed) if isinstance(found, Negation) else changed
                        flawed = rewired(hold, wire.meaning, with_contact(wire.syntax, way, changed))
                        about = f"{wire.meaning.name} with {print_syntax(changed)}"
                        yield Flaw(about, flawed, _things(wire), (print_syntax(fact),))


def _of(kind: str, *words: str, starting: str = "") -> Maker:
    """Of `tests.teeth.planted`, told of the thing with one of these words."""

    def make(hold: Hold, draw: Random) -> Iterator[Flaw]:
        for one in planted.KINDS[kind](hold, draw):
            if one.kind.startswith(starting):
                yield Flaw(one.about, one.hold, one.guilty, words)

    return make


def _with_zone(hold: Hold, zone: Zone, **fields: Any) -> Hold:
    return replace(hold, zones=tuple(replace(one, **fields) if one is zone else one for one in hold.zones))


def _inhibits_exchanged(hold: Hold, draw: Random) -> Iterator[Flaw]:
    """The wires of two drives, or those for opposite sides of one, exchanged."""
    for zone in hold.zones:
        for one, other in pairwise(zone.sections):
            crossed = {one: replace(one, inhibits=other.inhibits), other: replace(other, inhibits=one.inhibits)}
            sections = tuple(crossed.get(each, each) for each in zone.sections)
            things = (f"drive under {one.bay} ", f"drive under {other.bay} ")
            yield Flaw(f"{one.bay} for {other.bay}", _with_zone(hold, zone, sections=sections), things, ())
        for one in zone.sections:
            ways = dict(one.inhibits)
            back = tuple((way, ways[way.opposite]) for way in ways if way.opposite in ways)
            if len(back) > 1:
                sections = tuple(replace(one, inhibits=back) if each is one else each for each in zone.sections)
                about = f"{one.bay} to opposite sides"
                yield Flaw(about, _with_zone(hold, zone, sections=sections), (f"drive under {one.bay} ",), ())


def _inhibits_gone(hold: Hold, draw: Random) -> Iterator[Flaw]:
    """A drive, or a whole zone, without any inhibit."""
    for zone in hold.zones:
        if zone.inhibits:
            yield Flaw(f"{zone.id} without inhibits", _with_zone(hold, zone, inhibits=()), (zone.id,), ("inhibit",))
        for one in zone.sections:
            sections = tuple(each for each in zone.sections if each is not one)
            things = (f"drive under {one.bay} ",)
            yield Flaw(f"{one.bay} without inhibits", _with_zone(hold, zone, sections=sections), things, ("inhibit",))


def _always(*names: str) -> Maker:
    """What is possible under a condition is possible always."""

    def make(hold: Hold, draw: Random) -> Iterator[Flaw]:
        for wire in _wires(hold):
            if wire.place in names:
                always = Truth(True, wire.span)
                things = wire.place if wire.meaning.subject.sort is Sort.HOLD else wire.meaning.subject.id
                yield Flaw(f"{wire.meaning.name} always", rewired(hold, wire.meaning, always), (things,), ())

    return make


def _door_exchanged(hold: Hold, draw: Random) -> Iterator[Flaw]:
    for door in hold.doorways:
        changed = replace(door, opens=door.closes, closes=door.opens)
        doors = tuple(changed if one is door else one for one in hold.doorways)
        yield Flaw(f"{door.id} opens for closes", replace(hold, doorways=doors), (door.id,), ("closes", "opens"))


def _circuit_of_another(hold: Hold, draw: Random) -> Iterator[Flaw]:
    powered = [wire for wire in _wires(hold) if getattr(wire.meaning, "what", "") == "energised"]
    for wire in powered:
        for text, other in {print_syntax(one.syntax): one for one in powered}.items():
            if text != print_syntax(wire.syntax):
                flawed = rewired(hold, wire.meaning, other.syntax)
                yield Flaw(f"{wire.meaning.name} by {text}", flawed, _things(wire), ("circuit",))


def _moved(hold: Hold, draw: Random) -> Iterator[Flaw]:
    """A device fitted where another like it stands too."""
    for device in hold.devices:
        for other in hold.devices:
            if other is not device and other.kind == device.kind and other.on != device.on:
                changed = replace(device, on=other.on)
                devices = tuple(changed if one is device else one for one in hold.devices)
                sides = tuple(f"no device on the {side.direction} side of {side.bay}" for side in device.on)
                about = f"{device.id} where {other.id} is"
                yield Flaw(about, replace(hold, devices=devices), (device.id, *sides), ())


def _gives_way(hold: Hold, draw: Random) -> Iterator[Flaw]:
    for device in hold.devices:
        if device.gives_way:
            changed = replace(device, gives_way=tuple(way.opposite for way in device.gives_way))
            devices = tuple(changed if one is device else one for one in hold.devices)
            yield Flaw(f"{device.id} the other way", replace(hold, devices=devices), (device.id,), ("gives way",))


KINDS: dict[str, Maker] = {
    "door circuit bypassed": _bridged(_in_door),
    "contact left out of an inhibit": _bridged(_in_inhibit),
    "contact left out of a permit": _bridged(_in_permit),
    "contact left out of a command": _bridged(_in_command),
    "contact of the neighbour": _neighbour,
    "latch that stops wrong": _device("stops"),
    "latch that restrains wrong": _device("restrains"),
    "latch missing": _missing,
    "latch deferred lowered": _device("deferred", "deferred lowered"),
    "locking wrong": _device("locking"),
    "commands crossed in a zone": _crossed,
    "commands crossed in zones": _crossed_everywhere,
    "sensor on another": _sensor,
    "lever that stays": _stays,
    "door steps": _door_steps,
    "stops too much": _stops_too_much,
    "contact turned round": _turned_round,
    "in series for side by side": _joined_otherwise,
    "another position": _another_position,
    "inhibits exchanged": _inhibits_exchanged,
    "inhibits gone": _inhibits_gone,
    "switch that is stuck": _of("sensor", "reads", "reports", starting="sensor stuck"),
    "relay that forgets": _of("relay"),
    "device of another kind": _of("device kind", "is a"),
    "device that stays": _of("device fixed", "stays", "fixed"),
    "device that gives way wrong": _gives_way,
    "device in another place": _moved,
    "circuit of another device": _circuit_of_another,
    "command of another zone": _of("command crossed"),
    "people or hands always": _always("moves", "hand_work"),
    "station always in charge": _always("owns"),
    "power always": _always("power"),
    "opens for closes": _door_exchanged,
}

WRITTEN: dict[str, tuple[str, tuple[str, ...], tuple[str, ...]]] = {
    "latch line not asked": ("a latch line is not asked", ("safe_load",), ("does not ask",)),
    "sill lock switch left out": ("the sill is not asked", ("_down", "_up", "safe_load"), ("up_", "SILL")),
    "no fresh command": ("no fresh command", ("permit", "no relay"), ("armed", "remembers")),
    "drives without a door open": ("drives without a door open", ("permit", "ZY", "Z"), ("open",)),
    "door moves whatever is driven": ("the door moves whatever is driven", ("_down", "_up", "DOOR"), ("neutral",)),
}
"""Flaws that are written so: of `Choices.flaw`; things and words as for `Flaw`."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What was told: `first` is the line of the first requirement that fails."""

    verdict: str
    first: str
    others: tuple[str, ...]
    seconds: float
    blaming: float
    runs: int
    """So many runs are shown, ..."""
    unmanned: int
    """... on so many there are not hands enough, and on one ..."""
    longest: int
    """... a control is held for so many steps."""


def judged(flaw: Flaw) -> Judged | None:
    """None where the flaw breaks nothing."""
    compiled = compile_hold(flaw.hold, standing(), None).compiled
    if compiled is None:
        return None
    began = time.process_time()
    found = verify(compiled, decide, Limits(seconds=60))
    if not found.count(Status.FAILS):
        return None
    never = why_never(found, seconds=8.0)
    proved = time.process_time()
    blamed = blame(found, lambda _: None, decide, Limits(seconds=60), thorough=False, never=never)
    blaming = time.process_time() - proved
    text = as_text(
        proof_lines(proof_view("written.yaml", found, standing(), 1, blamed=blamed, never=never), every=True)
    )
    told = _told(text)
    first = told[0]
    if _names(flaw, first):
        verdict = "named"
    elif any(one in first for one in flaw.things) or any(_names(flaw, one) for one in told[1:]):
        verdict = "near"
    else:
        verdict = "not"
    return Judged(verdict, first, tuple(told[1:]), time.process_time() - began, blaming, *_hands(found))


def _hands(found: Verification) -> tuple[int, int, int]:
    """Of the runs against requirements: how many, how many that want more hands than there are, the longest hold."""
    hands, machine = hands_of(found.compiled), found.machine
    at = {name: (machine.positions[name], rest) for name, rest in hands.held if name in machine.positions}
    traces = [
        one.finding.claim.trace
        for one in found.answers
        if one.status is Status.FAILS and isinstance(one.finding, Fails)
    ]
    unmanned = sum(not all(evaluate(machine, hands.enough, state) for state in trace.states) for trace in traces)
    longest = 0
    for trace in traces:
        for position, rest in at.values():
            held = 0
            for state in trace.states:
                held = 0 if state[position] == rest else held + 1
                longest = max(longest, held)
    return len(traces), unmanned, longest


def _names(flaw: Flaw, said: str) -> bool:
    return any(one in said for one in flaw.things) and (not flaw.words or any(one in said for one in flaw.words))


def _told(text: str) -> list[str]:
    """Of each requirement that fails what is told to look at first, or what keeps it from being."""
    told: list[str] = []
    lines = iter(text.splitlines())
    inside = ""
    for line in lines:
        if line.startswith("FAILS  ") and "[" in line + "[" and " of " not in line:
            told.append("")
            inside = "head"
        elif line.startswith(("UNDECIDED", "WHAT THIS", "CAN BE DONE")):
            inside = ""
        elif inside and line.lstrip().startswith(("look first at:", "and there at:")):
            inside = "taking"
            told[-1] += " " + line.strip()
        elif inside and line.strip().startswith(("It could be if", "What keeps it from being is told with")):
            inside = "never"
            told[-1] += " " + line.strip()
        elif inside == "taking" and line.strip().startswith(("hazard:", "It also", "tried on")):
            inside = "head"
        elif inside in ("taking", "never"):
            told[-1] += ("\n" if inside == "never" else " ") + line.strip()
    return told or [""]


def flaws(seed: int, kinds: int | None, only: str) -> Iterator[tuple[str, list[Flaw]]]:
    """Some kinds of flaw in the hold of this seed: a few at random of each kind."""
    draw = Random(seed)
    choices = chosen(seed, MOST_ROWS, MOST_BAYS)
    names = [*KINDS, *WRITTEN]
    turn = [names[(seed * (kinds or 0) + n) % len(names)] for n in range(kinds or len(names))]
    for kind in turn:
        if only and only not in kind:
            continue
        if kind in WRITTEN:
            flaw, things, words = WRITTEN[kind]
            hold = _read(written(replace(choices, flaw=flaw)))
            yield kind, [] if hold is None else [Flaw(flaw, hold, things, words)]
            continue
        hold = _read(written(choices))
        assert hold is not None
        made = list(KINDS[kind](hold, draw))
        yield kind, draw.sample(made, min(len(made), MOST_DRAWN))


def _read(text: str) -> Hold | None:
    return load_hold(Source("written.yaml", text.encode()), fetch).value


def main() -> None:
    """Prints what was told of each flaw, then the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.flaws", description="Plants flaws, reads blame.")
    parser.add_argument("first", type=int)
    parser.add_argument("count", type=int)
    parser.add_argument("--kinds", type=int, help="so many kinds for each hold, in turn; else all")
    parser.add_argument("--kind", default="", help="only those whose name has this")
    given = parser.parse_args()
    table: dict[str, Counter[str]] = {}
    slowest, runs, unmanned, longest = 0.0, 0, 0, 0
    for seed in range(given.first, given.first + given.count):
        for kind, some in flaws(seed, given.kinds, given.kind):
            # the first that breaks something
            flaw, found = next(((one, told) for one in some if (told := judged(one)) is not None), (None, None))
            word = "no place" if not some else "harmless" if found is None else found.verdict
            table.setdefault(kind, Counter())[word] += 1
            if found is not None:
                assert flaw is not None
                slowest = max(slowest, found.blaming)
                runs, unmanned = runs + found.runs, unmanned + found.unmanned
                longest = max(longest, found.longest)
                print(f"{seed} {kind}: {flaw.about}: {word.upper()} ({found.seconds:.1f} s, blame {found.blaming:.1f})")
                if word != "named":
                    print(f"    first: {found.first[:600]!r}")
                    for other in found.others[:4]:
                        print(f"    other: {other[:300]!r}")
                sys.stdout.flush()
    columns = ("named", "near", "not", "harmless", "no place")
    print("| kind | " + " | ".join(columns) + " |\n|---|" + "---|" * len(columns))
    for kind, counts in table.items():
        print(f"| {kind} | " + " | ".join(str(counts[one]) for one in columns) + " |")
    every = sum(table.values(), Counter())
    print("| all | " + " | ".join(str(every[one]) for one in columns) + " |")
    print(f"blame took at most {slowest:.1f} s")
    print(
        f"{runs} runs, {unmanned} of them with more hands than there are; a control is held for {longest} steps at most"
    )


if __name__ == "__main__":
    main()
