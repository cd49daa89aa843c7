"""What a proof about one description takes for granted, said in full: a reader must be able to object to each line."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.diagnostics.said import say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.levers import readings_of
from interlock.hold.language.model import START_ID, Hold, Pushing
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Syntax, Truth
from interlock.hold.sense import doubts_of
from interlock.kernel.claims import Holds
from interlock.kernel.recovery import HasDeadEnd, Recovers
from interlock.report.views.wording import count_of, listed, sentence, shortened
from interlock.study.verify import Verification

CAUTIONS = (
    say(
        "This is not approved maintenance data and no loading instruction, and approves nothing. Where it differs from "
        "the approved data of the aircraft, from the operator's loading instructions, from local rules, or from the "
        "judgement of licensed staff, those govern."
    ),
    say("Look at the equipment itself before relying on any statement made here."),
)
"""What stands on everything that somebody could act upon."""
IN_SHORT = "CAUTION: the approved data and the operator's loading instructions govern."
"""The same where there is room for a line only."""


def assumptions_of(compiled: CompiledHold) -> tuple[str, ...]:
    """One sentence each, in a fixed order; they follow from the description alone."""
    return tuple(_assumptions(compiled))


def _assumptions(compiled: CompiledHold) -> Iterator[str]:
    hold = compiled.hold
    layout = hold.layout
    yield (
        "It covers every sequence in which the crew, the drives, the loader and the supplies can act, for as long as "
        "you like. No procedure is relied upon."
    )
    yield "The description is right. What it does not mention does not exist here and never happens."
    yield _start(compiled)
    yield _hand_work(layout.hand_work)
    yield _pushing(layout.pushing)
    if layout.drift:
        ways = listed([direction.value for direction in layout.drift], "or")
        yield f"A unit that nothing stops may roll {ways} by itself."
    else:
        yield "No unit rolls by itself: no drift is described."
    if layout.neighbour_restrains:
        yield "A restrained neighbour restrains the unit beside it, as the description says; an empty bay never does."
    else:
        yield "A neighbouring unit never restrains another; only devices do."
    yield (
        "A device that stands in the way stops every unit in the directions that it is said to stop, and never gives "
        "in. Units keep the way round in which they came in."
    )
    if layout.centred:
        bays = listed([f"{bay.row}{bay.lane}" for bay in layout.centred])
        yield (
            f"Between the lanes and {bays} a unit one lane wide comes from either lane and goes to either. On the way "
            "it lies over the whole line before that bay, and touches nothing that stands in the other lane."
        )
    yield from _unmarked(hold)
    for doubt in doubts_of(hold, compiled.floor):
        yield sentence(doubt.message)
    for device in hold.devices:
        if device.deferred is not None:
            why, limit = device.deferred.because.rstrip("."), print_syntax(device.deferred.limit)
            yield f"{device.id} is deferred and stays {device.fixed}, because: {why}. Limit: {limit}."
    yield from _failures(compiled)
    yield _people(compiled)
    if hold.doorways:
        yield (
            "The loader side is not verified: units come to the outside of a sill and leave it at any time, and the "
            "loader carries a unit across an open sill at any time, interlocks of the hold left aside. A unit crosses "
            "a sill only while its door is fully open; whether a drive runs there while it is not is asked as a "
            "requirement."
        )
    lagging = [device.name for device in hold.devices if device.lags]
    if lagging:
        yield f"These may respond late: {shortened(lagging, 6)}. All other mechanisms finish before anybody acts again."
    else:
        yield "Springs, handles and relays finish what they do by themselves before anybody acts again."
    yield "Nothing is said about time, forces, mass or wear."


def _start(compiled: CompiledHold) -> str:
    hold = compiled.hold
    for situation in hold.situations:
        if situation.id == compiled.situation == START_ID:
            return "At the start each thing is as the procedure says, else as the hold describes it."
        if situation.id == compiled.situation:
            return f"At the start the hold is in the situation '{situation.name}' ({situation.id})."
    return "At the start each thing is as the description starts it, and every bay is empty."


def _hand_work(syntax: Syntax) -> str:
    if isinstance(syntax, Truth):
        if syntax.value:
            return "Devices worked by hand inside the hold can be reached at any time."
        return "Devices worked by hand inside the hold can never be reached."
    return f"Devices worked by hand inside the hold can be reached only while: {print_syntax(syntax)}."


def _pushing(syntax: Syntax | tuple[Pushing, ...] | None) -> str:
    if isinstance(syntax, tuple):
        ways = (f"{', '.join(rule.bays)}{_at_any_time(rule.when)}" for rule in syntax)
        return f"Units can be pushed by hand in these bays only: {'; '.join(ways)}."
    if syntax is None or (isinstance(syntax, Truth) and not syntax.value):
        return "Nobody pushes a unit by hand: the description rules it out."
    if isinstance(syntax, Truth):
        return "Units can be pushed by hand at any time."
    return f"Units can be pushed by hand only while: {print_syntax(syntax)}."


def _at_any_time(syntax: Syntax) -> str:
    if isinstance(syntax, Truth):
        return " at any time" if syntax.value else " never"
    return f" while {print_syntax(syntax)}"


def _unmarked(hold: Hold) -> Iterator[str]:
    read: dict[str, list[str]] = {}
    for reading in readings_of(hold):
        way = f"{reading.direction} in {reading.zone.name}"
        read.setdefault(f"'{reading.position}' of {reading.lever.name}", []).append(way)
    if read:
        said = [f"{position} is for {listed(ways)}" for position, ways in read.items()]
        yield (
            "Nothing says which way these lever positions move a unit; the commands of the zones are taken to be wired "
            f"to the right ones: {'; '.join(said)}."
        )


def _failures(compiled: CompiledHold) -> Iterator[str]:
    hold = compiled.hold
    lost = [supply.name for supply in hold.supplies if supply.may_be_lost]
    kept = [supply.name for supply in hold.supplies if not supply.may_be_lost and supply.needs is None]
    fed = [supply for supply in hold.supplies if supply.needs is not None]
    if lost:
        yield f"Power may be lost and come back at any moment: {listed(lost)}."
    for supply in fed:
        without = "may last for any time" if supply.stored else "goes off at once"
        yield f"{supply.name} comes on at any time after it has what it needs, and {without} without."
    if kept:
        yield f"These supplies are taken never to change: {listed(kept)}."
    if hold.failures:
        names = [failure.label for failure in hold.failures]
        yield (
            f"{count_of(len(names), 'declared failure')} may strike at any time, alone or together, and need not: "
            f"{shortened(names, 6)}. No other part fails."
        )
    else:
        yield "No device, control, sensor, contact or drive fails: the description declares no failure."


def _people(compiled: CompiledHold) -> str:
    people = [person.name for person in compiled.hold.people]
    if not people:
        return (
            "Where people are is not described: every control within its panel and station can be worked at any time, "
            "and whether somebody is shut inside or stands in the way is not examined."
        )
    return (
        f"People described: {shortened(people, 6)}. Nobody else is in the hold, and nobody else is looked after. "
        "Nobody goes into a bay in which a unit stands."
    )


def checkers_of(verification: Verification) -> tuple[str, ...]:
    """What re-checked the proofs, by name and version, sorted."""
    found = {f.checked_by for f in verification.findings if isinstance(f, Holds)}
    found.update(f.checked_by for _, f in verification.recoveries if isinstance(f, Recovers | HasDeadEnd))
    return tuple(sorted(found))
