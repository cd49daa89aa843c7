"""Changes that are no contact more: what was altered put back, what keeps something from being taken out, devices."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any

from interlock.hold.alike import Alike, shape_of
from interlock.hold.language.directions import Side
from interlock.hold.language.model import Device, Hold
from interlock.hold.language.printer import print_syntax
from interlock.hold.origin import Contact, Fixed, Hindrance
from interlock.hold.wiring import Wire, contacts_in, rewired, wires_of, without_contact
from interlock.study.causes.remedies import called, device_remedies, name_of_wire
from interlock.study.causes.trials import Bench
from interlock.study.repair.places import asked_in
from interlock.study.repair.proving import Candidate, Proving, Tally
from interlock.study.repair.results import Part, Sort, Tried
from interlock.study.why_never import WhyNever, why_never

MOST_TOGETHER = 4
"""Items of a modification of which all sets are put back."""
SECONDS = 20.0
"""How long is looked for what keeps something from ever being."""


def put_back(proving: Proving, bench: Bench, without: Any) -> Tried:
    """What items of a modification altered, as it was before: the smallest sets of items that do."""
    tally = Tally(Sort.BEFORE)
    changes: dict[int, list[str]] = {}
    for change in proving.hold.changes:
        changes.setdefault(change.item, []).append(change.object)
    most = len(changes) if len(changes) <= MOST_TOGETHER else 1
    sets = [frozenset(one) for size in range(1, most + 1) for one in combinations(sorted(changes), size)]
    does: list[frozenset[int]] = []
    untried = by_runs = 0
    for items in sets:
        before = tally.works
        if proving.is_over or any(one <= items for one in does):
            untried += not any(one <= items for one in does)
            continue
        hold = without(items)
        if hold is None:
            tally.senseless += 1
            continue
        objects = list(dict.fromkeys(name for item in sorted(items) for name in changes[item]))
        parts = tuple(_put_back(proving, hold, objects))
        if not _stops(proving, bench, hold):
            by_runs += 1
            continue
        proving.settle(Candidate(hold, parts, (*proving.unsafe, *proving.lacking)), tally, 0)
        if tally.works > before:
            does.append(items)
    needless = sum(any(one < items for one in does) for items in sets)
    return tally.told(len(sets) - needless, untried)


def _put_back(proving: Proving, before: Hold, objects: Sequence[str]) -> Iterator[Part]:
    """What is otherwise there: each expression, and what else of the things that were changed."""
    now = {wire.meaning: wire for wire in wires_of(proving.hold)}
    told = set()
    for wire in wires_of(before):
        old = now.get(wire.meaning)
        if old is not None and shape_of(old.syntax) != shape_of(wire.syntax):
            item, id = name_of_wire(proving.compiled, wire.meaning)
            told.add(id)
            yield Part(id, item, f"put back what it was before the change: '{print_syntax(wire.syntax)}'")
    for id in objects:
        if id not in told:
            yield Part(id, _called(proving.hold, id), "put back what it was before the change")


def _stops(proving: Proving, bench: Bench, hold: Hold) -> bool:
    """No known run against what must not be can be done there."""
    if not proving.unsafe:
        return True
    model = bench.built(hold, proving.unsafe)
    # what the hold has nothing for is broken no more
    asked = [id for id in proving.unsafe if model is not None and id in model.questions]
    return model is None or set(bench.stopped(model, asked)) == set(asked)


def _called(hold: Hold, id: str) -> str:
    for section in (
        "doorways",
        "devices",
        "controls",
        "stations",
        "supplies",
        "circuits",
        "relays",
        "sensors",
        "zones",
    ):
        for thing in getattr(hold, section):
            if thing.id == id:
                return called(thing.name, id)
    return id


# ---- what keeps something from being


def taken_out(proving: Proving) -> tuple[Tried, list[Proving]]:
    """The smallest sets of contacts without which it could be, and what is fixed in one state set free.

    With those holds in which one contact is taken out, and of all that fails only what must not be is left: another
    contact may do there.
    """
    tally = Tally(Sort.REMOVED)
    freed: list[Proving] = []
    every = why_never(proving.found, seconds=SECONDS)
    candidates = list(dict.fromkeys(_sets(every)))
    contacts = sum(1 for wire in wires_of(proving.hold) for _ in contacts_in(wire.syntax))
    untried = 0
    for hindrances in candidates:
        made = _without(proving, hindrances)
        if made is None or proving.is_enough(tally):
            untried += 1
            continue
        seen = proving.settle(made, tally, len(candidates) - tally.settled)
        if seen is not None and len(hindrances) == 1 and isinstance(hindrances[0], Contact):
            after = proving.after(made.parts, seen)
            freed += [after] if after.unsafe and not after.lacking else []
    # of one alone all others are excluded, where for some requirement all that would do are known
    known = any(one.reason == "" and one.size is not None and one.size >= 1 for one in every)
    if known:
        return tally.told(contacts, untried, 0), freed
    return tally.told(contacts, max(0, contacts - tally.settled)), freed


def _sets(every: Sequence[WhyNever]) -> Iterator[tuple[Hindrance, ...]]:
    for one in every:
        for way in one.ways:
            yield tuple(told.hindrance for told in way.hindrances)


def _without(proving: Proving, hindrances: Sequence[Hindrance]) -> Candidate | None:
    """The hold without these; None where one of them is nothing that is simply taken out."""
    hold, parts = proving.hold, []
    for one in hindrances:
        match one:
            case Contact():
                found = _out(hold, one)
                if found is None:
                    return None
                wire, hold, text = found
                item, id = name_of_wire(proving.compiled, wire.meaning)
                parts.append(Part(id, item, f"take out the contact '{text}'"))
            case Fixed(id):
                found_free = _free(hold, id)
                if found_free is None:
                    return None
                hold = found_free
                parts.append(Part(id, _called(hold, id), "let it move again"))
            case _:
                return None
    return Candidate(hold, tuple(parts), (*proving.lacking, *proving.unsafe))


def _out(hold: Hold, contact: Contact) -> tuple[Wire, Hold, str] | None:
    for wire in wires_of(hold):
        if wire.meaning != contact.owner:
            continue
        for way, found in contacts_in(wire.syntax):
            for fact, wanted in asked_in(found):
                named = fact.subject.parts[0] == contact.thing
                if named and fact.state == contact.state and wanted == contact.wanted:
                    syntax = without_contact(wire.syntax, way)
                    return wire, rewired(hold, wire.meaning, syntax), print_syntax(found)
    return None


def _free(hold: Hold, id: str) -> Hold | None:
    for section in ("devices", "controls"):
        for thing in getattr(hold, section):
            if thing.id == id and thing.fixed is not None:
                freed: Any = replace(thing, fixed=None)
                if isinstance(freed, Device):
                    freed = replace(freed, deferred=None)
                things: dict[str, Any] = {
                    section: tuple(freed if one is thing else one for one in getattr(hold, section))
                }
                return replace(hold, **things)
    return None


# ---- devices


def devices(proving: Proving, bench: Bench) -> Tried:
    """One device as its likes are, or free to move; or one more, where a like place has one."""
    tally = Tally(Sort.DEVICE)
    compiled = proving.compiled
    alike = Alike(compiled.hold, compiled.floor)
    candidates: list[tuple[Hold, Part]] = []
    for guess in device_remedies(compiled, alike, compiled.hold.devices):
        found, beside = guess.said()
        candidates.append((guess.hold(), Part(guess.id, guess.item, f"it {found}" + (f"; {beside}" if beside else ""))))
    candidates += list(_added(compiled.hold, alike))
    by_runs = untried = 0
    for hold, part in candidates:
        if proving.is_enough(tally):
            untried += 1
        elif not _stops(proving, bench, hold):
            by_runs += 1
        else:
            left = len(candidates) - by_runs - tally.settled
            proving.settle(Candidate(hold, (part,), (*proving.unsafe, *proving.lacking)), tally, left)
    return tally.told(len(candidates), untried)


def _added(hold: Hold, alike: Alike) -> Iterator[tuple[Hold, Part]]:
    """Where a like place has a device of some kind and this one has none of that kind: one like it."""
    floor = alike.floor
    ids = {one.id for one in hold.devices} | set(floor.cells)
    for face in sorted(floor.faces_around(floor.bays)):
        here = {device.kind for device in alike.devices_on.get(face, ())}
        for other, carry in alike.like_faces(face):
            for device in alike.devices_on.get(other, ()):
                if device.kind in here or device.is_structure:
                    continue
                here.add(device.kind)
                cell, way = next((c, w) for c, w in floor.sides_of_face(face) if c in floor.bays)
                id = next(name for n in range(1, len(ids) + 2) if (name := f"NEW{n}") not in ids)
                carried = alike.device(carry, device)
                new = replace(carried, id=id, name=f"new {device.kind}", on=(Side(cell, way, device.span),))
                done = f"add a {device.kind} on the {way} side of {cell}, as {called(device.name, device.id)} is"
                yield replace(hold, devices=(*hold.devices, new)), Part(id, new.name, done)
