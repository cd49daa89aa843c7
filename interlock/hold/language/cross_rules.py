"""What must fit together between the records of one description, beyond the names that they use."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.language.directions import Direction, in_and_out, inboard_of
from interlock.hold.language.model import (
    CataloguedFailure,
    Control,
    Doorway,
    ExcludedFailure,
    FailureMode,
    Layout,
    Person,
    RequirementText,
    Station,
    Zone,
)
from interlock.hold.language.rates import FailureRate
from interlock.hold.language.reader import Made
from interlock.hold.language.syntax import Chain, Negation, Quantified, Syntax

_Context = tuple[str, ...]


@frozen
class _Whole:
    """What rules about one record look at besides; `behind` has the panel of each control."""

    layout: Layout | None
    doorways: tuple[Doorway, ...]
    stations: tuple[Station, ...]
    behind: Mapping[str, str | None]


def cross_faults(made: Sequence[Made]) -> Iterator[Diagnostic]:
    """Everything that does not fit between the records that could be read; in no order."""
    whole = _Whole(
        next((one.value for one in made if isinstance(one.value, Layout)), None),
        tuple(one.value for one in made if isinstance(one.value, Doorway)),
        tuple(one.value for one in made if isinstance(one.value, Station)),
        {one.value.id: one.value.behind for one in made if isinstance(one.value, Control)},
    )
    failures: set[object] = set()
    for one in made:
        for fault in _faults_of(one.value, whole, failures):
            yield replace(fault, context=one.context)


def _faults_of(record: object, whole: _Whole, failures: set[object]) -> Iterator[Diagnostic]:
    """What does not fit between one record and the others; `failures` are those that were met before."""
    match record:
        case Layout():
            yield from _two_rules(record)
        case Zone():
            yield from _zone(record, whole.stations)
        case Person():
            yield from _person(record)
        case Control():
            yield from _panel(record, whole.behind)
            if whole.layout is not None:
                yield from _inwards(record, whole.layout, whole.doorways)
        case FailureMode() | ExcludedFailure() | CataloguedFailure() | FailureRate():
            if isinstance(record, CataloguedFailure):
                of, part = str(record.item), None
            elif isinstance(record, FailureRate):
                of, part = record.said_of, (record.contact, record.at)
            else:
                of, part = record.of, (record.contact, record.at)
            key = type(record), of, record.mode, part
            if key in failures:
                message = f"'{of}' fails as '{record.mode}' already"
                yield Diagnostic("listed-twice", record.span, message, "each failure once")
            failures.add(key)


def _two_rules(layout: Layout) -> Iterator[Diagnostic]:
    pushing = layout.pushing if isinstance(layout.pushing, tuple) else ()
    for rules in (layout.rules, pushing):
        ruled: set[str] = set()
        for rule in rules:
            for bay in rule.bays:
                if bay in ruled:
                    message = f"another rule is about bay '{bay}' already"
                    yield Diagnostic("two-rules-for-a-bay", rule.span, message, "one rule for a bay")
            ruled.update(rule.bays)


def _zone(zone: Zone, stations: Sequence[Station]) -> Iterator[Diagnostic]:
    named: set[tuple[str | None, tuple[str, ...] | None]] = set()
    for command in zone.commands:
        if command.station is None and len(stations) > 1:
            message = f"a command of '{zone.id}' does not say from which station"
            expected = "`station:` and one of " + ", ".join(station.id for station in stations)
            yield Diagnostic("station-not-named", command.span, message, expected)
        elif (command.station, command.bays) in named:
            message = f"'{zone.id}' has a command from this station already"
            expected = "one command for each station, with all its directions; several where each names its own `bays`"
            yield Diagnostic("listed-twice", command.span, message, expected)
        named.add((command.station, command.bays))
    said = [(bay, command.span) for command in zone.commands for bay in command.bays or ()]
    for bay, span in (*said, *((section.bay, section.span) for section in zone.sections)):
        if zone.bays and bay not in zone.bays:  # none are known where the floor cannot be read
            message = f"bay '{bay}' is not in the zone '{zone.id}'"
            yield Diagnostic("section-outside-zone", span, message, "one of " + ", ".join(zone.bays))


def _person(person: Person) -> Iterator[Diagnostic]:
    for place in person.starts:
        if place not in person.places:
            message = f"'{person.id}' starts in '{place}', where they are never"
            yield Diagnostic("start-out-of-range", person.span, message, "one of " + ", ".join(person.places))


def _panel(control: Control, behind: Mapping[str, str | None]) -> Iterator[Diagnostic]:
    seen = [control.id]
    at = control.behind
    while at is not None and at not in seen:
        seen.append(at)
        at = behind.get(at)
    if at == control.id:
        message = "these can never be reached: " + " behind ".join([*seen, control.id])
        yield Diagnostic("panel-behind-itself", control.span, message, "a panel that can be reached")


def inwards_of(control: Control, layout: Layout, doorways: Sequence[Doorway]) -> Direction | None:
    """The direction of the positions in and inboard of a lever that goes by a door or a lane; None of any other."""
    if control.lane is not None:
        return inboard_of(control.lane, layout.lanes)
    side = next((door.side for door in doorways if door.id == control.door), None)
    return None if side is None else side.opposite


def _inwards(control: Control, layout: Layout, doorways: Sequence[Doorway]) -> Iterator[Diagnostic]:
    inwards = inwards_of(control, layout, doorways)
    if control.lane is not None and inwards is None:
        message = f"lane '{control.lane}', by which '{control.id}' goes, is in the middle: neither way is inboard there"
        expected = "a lane on one side of the hold, a `door`, or `marks`"
        yield Diagnostic("wrong-mark", control.span, message, expected)
    called = {} if inwards is None else in_and_out(inwards)
    for way, positions in control.marks:
        for position in positions:
            if called.get(position, way) != way:
                by = f"lane '{control.lane}'" if control.lane is not None else f"door '{control.door}'"
                message = f"'{position}' of '{control.id}' is marked for {way}, but goes the other way by {by}"
                yield Diagnostic("wrong-mark", control.span, message, "one of the two")


def hidden_names(
    expressions: Iterable[tuple[Syntax, _Context]], made: Sequence[Made], known: Iterable[str]
) -> Iterator[Diagnostic]:
    """A fault for every variable that has the name of something else where it stands."""
    names = frozenset(known)
    for expression, context in expressions:
        yield from _hidden(expression, names, context)
    for one in made:
        if isinstance(one.value, RequirementText):
            for variable, group in one.value.each:
                if variable in names:
                    yield _hides(variable, group.spans[0], one.context)


def _hidden(syntax: Syntax, names: frozenset[str], context: _Context) -> Iterator[Diagnostic]:
    match syntax:
        case Negation(arg):
            yield from _hidden(arg, names, context)
        case Chain(_, args):
            for arg in args:
                yield from _hidden(arg, names, context)
        case Quantified(_, variable, _, body, span, variable_span):
            if variable in names:
                yield _hides(variable, variable_span or span, context)
            yield from _hidden(body, names | {variable}, context)


def _hides(variable: str, span: Span, context: _Context) -> Diagnostic:
    message = f"the variable '{variable}' has the name of something else"
    return Diagnostic("variable-hides-name", span, message, "a variable with a name of its own", context=context)
