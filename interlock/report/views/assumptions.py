"""What a proof about one description takes for granted, said in full: a reader must be able to object to each line."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.diagnostics.said import joined, say, say_many
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.levers import readings_of
from interlock.hold.language.model import START_ID, Hold, Pushing
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Syntax, Truth
from interlock.hold.sense import doubts_of
from interlock.kernel.claims import Holds
from interlock.kernel.recovery import HasDeadEnd, Recovers
from interlock.report.views.wording import listed, sentence, shortened
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
    yield say(
        "It covers every sequence in which the crew, the drives, the loader and the supplies can act, for as long as "
        "you like. No procedure is relied upon."
    )
    yield say("The description is right. What it does not mention does not exist here and never happens.")
    yield _start(compiled)
    yield _hand_work(layout.hand_work)
    yield _pushing(layout.pushing)
    if layout.drift:
        ways = listed(layout.drift, "or")
        yield say("A unit that nothing stops may roll {ways} by itself.", ways=ways)
    else:
        yield say("No unit rolls by itself: no drift is described.")
    if layout.neighbour_restrains:
        yield say(
            "A restrained neighbour restrains the unit beside it, as the description says; an empty bay never does."
        )
    else:
        yield say("A neighbouring unit never restrains another; only devices do.")
    yield say(
        "A device that stands in the way stops every unit in the directions that it is said to stop, and never gives "
        "in. Units keep the way round in which they came in."
    )
    if layout.centred:
        bays = listed([f"{bay.row}{bay.lane}" for bay in layout.centred])
        yield say(
            "Between the lanes and {bays} a unit one lane wide comes from either lane and goes to either. On the way "
            "it lies over the whole line before that bay, and touches nothing that stands in the other lane.",
            bays=bays,
        )
    yield from _unmarked(hold)
    for doubt in doubts_of(hold, compiled.floor):
        yield sentence(doubt.message)
    for device in hold.devices:
        if device.deferred is not None:
            why, limit = device.deferred.because.rstrip("."), print_syntax(device.deferred.limit)
            yield say(
                "{device} is deferred and stays {state}, because: {why}. Limit: {limit}.",
                device=device.id,
                state=device.fixed or "",
                why=why,
                limit=limit,
            )
    yield from _failures(compiled)
    yield from _people(compiled)
    if hold.doorways:
        yield say(
            "The loader side is not verified: units come to the outside of a sill and leave it at any time, and the "
            "loader carries a unit across an open sill at any time, interlocks of the hold left aside. A unit crosses "
            "a sill only while its door is fully open; whether a drive runs there while it is not is asked as a "
            "requirement."
        )
    lagging = [device.name for device in hold.devices if device.lags]
    if lagging:
        yield say(
            "These may respond late: {devices}. All other mechanisms finish before anybody acts again.",
            devices=shortened(lagging, 6),
        )
    else:
        yield say("Springs, handles and relays finish what they do by themselves before anybody acts again.")
    yield say("Nothing is said about time, forces, mass or wear.")


def _start(compiled: CompiledHold) -> str:
    hold = compiled.hold
    for situation in hold.situations:
        if situation.id == compiled.situation == START_ID:
            return say("At the start each thing is as the procedure says, else as the hold describes it.")
        if situation.id == compiled.situation:
            told = "At the start the hold is in the situation '{name}' ({id})."
            return say(told, name=situation.name, id=situation.id)
    return say("At the start each thing is as the description starts it, and every bay is empty.")


def _hand_work(syntax: Syntax) -> str:
    if isinstance(syntax, Truth):
        if syntax.value:
            return say("Devices worked by hand inside the hold can be reached at any time.")
        return say("Devices worked by hand inside the hold can never be reached.")
    return say(
        "Devices worked by hand inside the hold can be reached only while: {condition}.", condition=print_syntax(syntax)
    )


def _pushing(syntax: Syntax | tuple[Pushing, ...] | None) -> str:
    if isinstance(syntax, tuple):
        ways = [_when(", ".join(rule.bays), rule.when) for rule in syntax]
        return say("Units can be pushed by hand in these bays only: {bays}.", bays=joined(ways, "; "))
    if syntax is None or (isinstance(syntax, Truth) and not syntax.value):
        return say("Nobody pushes a unit by hand: the description rules it out.")
    if isinstance(syntax, Truth):
        return say("Units can be pushed by hand at any time.")
    return say("Units can be pushed by hand only while: {condition}.", condition=print_syntax(syntax))


def _when(bays: str, syntax: Syntax) -> str:
    if not isinstance(syntax, Truth):
        return say("{bays} while {condition}", bays=bays, condition=print_syntax(syntax))
    return say("{bays} at any time", bays=bays) if syntax.value else say("{bays} never", bays=bays)


def _unmarked(hold: Hold) -> Iterator[str]:
    read: dict[str, list[str]] = {}
    for reading in readings_of(hold):
        way = say("{direction} in {zone}", direction=reading.direction, zone=reading.zone.name)
        read.setdefault(say("'{position}' of {lever}", position=reading.position, lever=reading.lever.name), []).append(
            way
        )
    if read:
        said = [
            say("{position} is for {ways}", position=position, ways=listed(ways)) for position, ways in read.items()
        ]
        yield say(
            "Nothing says which way these lever positions move a unit; the commands of the zones are taken to be wired "
            "to the right ones: {positions}.",
            positions=joined(said, "; "),
        )


def _failures(compiled: CompiledHold) -> Iterator[str]:
    hold = compiled.hold
    lost = [supply.name for supply in hold.supplies if supply.may_be_lost]
    kept = [supply.name for supply in hold.supplies if not supply.may_be_lost and supply.needs is None]
    fed = [supply for supply in hold.supplies if supply.needs is not None]
    if lost:
        yield say("Power may be lost and come back at any moment: {supplies}.", supplies=listed(lost))
    for supply in fed:
        yield (
            say(
                "{supply} comes on at any time after it has what it needs, and may last for any time without.",
                supply=supply.name,
            )
            if supply.stored
            else say(
                "{supply} comes on at any time after it has what it needs, and goes off at once without.",
                supply=supply.name,
            )
        )
    if kept:
        yield say("These supplies are taken never to change: {supplies}.", supplies=listed(kept))
    if hold.failures:
        names = [failure.label for failure in hold.failures]
        yield say_many(
            "{number} declared failure may strike at any time, alone or together, and need not: {failures}. No other "
            "part fails.",
            "{number} declared failures may strike at any time, alone or together, and need not: {failures}. No other "
            "part fails.",
            len(names),
            failures=shortened(names, 6),
        )
    else:
        yield say("No device, control, sensor, contact or drive fails: the description declares no failure.")


def _people(compiled: CompiledHold) -> Iterator[str]:
    people = [person.name for person in compiled.hold.people]
    if not people:
        yield say(
            "Where people are is not described: every control within its panel and station can be worked at any time, "
            "and whether somebody is shut inside or stands in the way is not examined."
        )
        return
    yield say(
        "People described: {people}. Nobody else is in the hold, and nobody else is looked after. Nobody goes into a "
        "bay in which a unit stands.",
        people=shortened(people, 6),
    )
    reached = {id for place in compiled.hold.places for id in place.reaches}
    if any(control.is_held and control.id in reached for control in compiled.hold.controls):
        yield say(
            "Whoever holds a lever, or another control that springs back, lets go of it before leaving its reach, "
            "unless somebody else described can hold it."
        )


def checkers_of(verification: Verification) -> tuple[str, ...]:
    """What re-checked the proofs, by name and version, sorted."""
    found = {f.checked_by for f in verification.findings if isinstance(f, Holds)}
    found.update(f.checked_by for _, f in verification.recoveries if isinstance(f, Recovers | HasDeadEnd))
    return tuple(sorted(found))
