"""What in a hold can fail, and how: every item with its failures, whether they are declared or not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.floor import lay_out
from interlock.hold.kinds import DEVICE_KINDS, Working
from interlock.hold.language.model import CommonCause, Control, Device, Direction, Hold, Named
from interlock.hold.origin import Contact, Failure, Subject
from interlock.hold.sorts import FAILURES, Failing, Item, Sort

_DEVICES = {
    Working.HAND: Item.HAND_DEVICE,
    Working.SPRING: Item.SPRING_DEVICE,
    Working.POWER: Item.POWERED_DEVICE,
    Working.HANDLE: Item.HANDLE_DEVICE,
    Working.FIXED: Item.FIXED_DEVICE,
}
_CONTROLS = {"self-resetting handle": Item.HANDLE, "access panel": Item.PANEL}
_DOORS = {"power": Item.POWERED_DOOR, "hand": Item.HAND_DOOR}


@frozen
class ContactWords:
    """How people call a contact: what it `asks`, in the expression `place` of the thing `of`.

    `alike` is the same for contacts that ask the same of things of one sort.
    """

    asks: str
    of: str
    place: str
    alike: str


@frozen
class FailingItem:
    """An item that can fail; `subject` is the thing by which a description names it, `name` what people call it.

    `contact` is that which fails, `written` how the description writes it, `place` in which expression of the thing.
    `words` say what people call it.  `ways` are those in which it can be asked to run.  A thing can be several items.
    No two of its items have a mode of the same name.
    """

    item: Item
    subject: Subject
    name: str
    span: Span
    is_fixed: bool = False
    ways: frozenset[str] = frozenset()
    contact: Contact | None = None
    written: str | None = None
    place: str | None = None
    words: ContactWords | None = None

    @property
    def failings(self) -> tuple[Failing, ...]:
        """All that is known of items of its sort."""
        return tuple(one for one in FAILURES[self.item] if not one.way or one.way in self.ways)

    @property
    def possible(self) -> tuple[Failing, ...]:
        """How it can fail as it is described: what is fixed does not fail to move."""
        return tuple(one for one in self.failings if not (self.is_fixed and one.moving))

    def failure(self, failing: Failing) -> Failure:
        """What remembers whether that has struck."""
        return Failure(self.subject, failing.mode, self.contact)

    def strikes(self, failing: Failing, heals: bool = False) -> MayStrike:
        """The failure, where it is declared."""
        return MayStrike(self.failure(failing), self, failing.text.format(name=self.name), heals)


def failing_items(hold: Hold) -> tuple[FailingItem, ...]:
    """Every item of the hold that can fail, in the order of the sections of a description."""
    return tuple(_items(hold))


def _items(hold: Hold) -> Iterator[FailingItem]:
    for bay in lay_out(hold).bays:
        yield FailingItem(Item.FLOOR, Subject(Sort.BAY, bay), f"the floor of bay {bay}", hold.layout.span)
    for door in hold.doorways:
        subject = Subject(Sort.DOOR, door.id)
        yield _item(_DOORS[door.moved_by], subject, door)
        if door.latch is not None:
            yield _item(Item.DOOR_LATCH, subject, door)
        if door.lock is not None:
            yield _item(Item.DOOR_LOCK, subject, door)
    for device in hold.devices:
        working = DEVICE_KINDS[device.kind].working
        if working is not None:
            yield _item(_DEVICES[working], Subject(Sort.DEVICE, device.id), device)
    for control in hold.controls:
        sort = Sort(control.kind) if control.is_held else Sort.CONTROL
        item = Item.HELD_CONTROL if control.is_held else _CONTROLS.get(control.kind, Item.SWITCH)
        yield _item(item, Subject(sort, control.id), control)
    named: tuple[tuple[Item, Sort, tuple[Named, ...]], ...] = (
        (Item.COMMON_CAUSE, Sort.COMMON_CAUSE, hold.common_causes),
        (Item.STATION, Sort.STATION, hold.stations),
        (Item.SUPPLY, Sort.SUPPLY, hold.supplies),
        (Item.CIRCUIT, Sort.CIRCUIT, hold.circuits),
        (Item.RELAY, Sort.RELAY, hold.relays),
        (Item.SENSOR, Sort.SENSOR, hold.sensors),
    )
    for item, sort, things in named:
        yield from (_item(item, Subject(sort, thing.id), thing) for thing in things)
    for bay, ways in _driven(hold).items():
        name = f"the drive under bay {bay}"
        yield FailingItem(Item.DRIVE, Subject(Sort.DRIVE, bay), name, hold.layout.span, ways=frozenset(ways))


def _driven(hold: Hold) -> Mapping[str, set[Direction]]:
    """The ways in which the drive under a bay can be asked to run, for every bay with a drive."""
    found: dict[str, set[Direction]] = {}
    for zone in hold.zones:
        for command in zone.commands:
            for bay in zone.bays:
                if command.reaches(bay):
                    found.setdefault(bay, set()).update(way for way, _ in command.runs)
    return found


def _item(item: Item, subject: Subject, thing: Named) -> FailingItem:
    is_fixed = isinstance(thing, Device | Control) and thing.fixed is not None
    return FailingItem(item, subject, thing.name, thing.span, is_fixed)


@frozen
class MayStrike:
    """A failure that a description declares, of an item that can fail so; `text` says that it has struck.

    `heals`: it may go again.
    """

    failure: Failure
    item: FailingItem
    text: str
    heals: bool = False


def declared_failures(hold: Hold) -> tuple[MayStrike, ...]:
    """Every failure that the hold declares, in the order of the items.

    But those that no item of it can have, and those of single contacts, which are known once everything is named.
    """
    written = {(one.of, one.mode): one.heals for one in hold.failures if one.contact is None}
    return tuple(
        item.strikes(failing, written.get((item.subject.id, failing.mode), False))
        for item in (failing_items(hold) if written or hold.common_causes else ())
        for failing in item.failings
        if item.item is Item.COMMON_CAUSE or (item.subject.id, failing.mode) in written
    )


def cause_of(cause: CommonCause) -> Failure:
    """What remembers whether the event has happened."""
    return Failure(Subject(Sort.COMMON_CAUSE, cause.id), FAILURES[Item.COMMON_CAUSE][0].mode)
