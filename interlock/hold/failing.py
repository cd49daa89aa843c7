"""What in a hold can fail, and how: every item with its failures, whether they are declared or not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from interlock.diagnostics.spans import Span
from interlock.hold.kinds import DEVICE_KINDS, Working
from interlock.hold.language.model import Control, Device, Hold, Named
from interlock.hold.origin import Failure, Subject
from interlock.hold.sorts import FAILURES, Failing, Item, Sort

_DEVICES = {
    Working.HAND: Item.HAND_DEVICE,
    Working.SPRING: Item.SPRING_DEVICE,
    Working.POWER: Item.POWERED_DEVICE,
    Working.HANDLE: Item.HANDLE_DEVICE,
}
_CONTROLS = {"self-resetting handle": Item.HANDLE, "access panel": Item.PANEL}


@dataclass(frozen=True, slots=True)
class FailingItem:
    """An item that can fail; `subject` is the thing by which a description names it, `name` what people call it.

    A thing can be several items.  No two of its items have a mode of the same name.
    """

    item: Item
    subject: Subject
    name: str
    span: Span
    is_fixed: bool = False

    @property
    def failings(self) -> tuple[Failing, ...]:
        """All that is known of things of its sort."""
        return FAILURES[self.item]

    @property
    def possible(self) -> tuple[Failing, ...]:
        """How it can fail as it is described: what is fixed does not fail to move."""
        return tuple(one for one in self.failings if not (self.is_fixed and one.moving))

    def failure(self, failing: Failing) -> Failure:
        """What remembers whether that has struck."""
        return Failure(self.subject, failing.mode)


def failing_items(hold: Hold) -> tuple[FailingItem, ...]:
    """Every item of the hold that can fail, in the order of the sections of a description."""
    return tuple(_items(hold))


def _items(hold: Hold) -> Iterator[FailingItem]:
    for device in hold.devices:
        yield from _device(device)
    for control in hold.controls:
        sort = Sort(control.kind) if control.is_held else Sort.CONTROL
        item = Item.HELD_CONTROL if control.is_held else _CONTROLS.get(control.kind, Item.SWITCH)
        yield _item(item, Subject(sort, control.id), control)
    for sensor in hold.sensors:
        yield _item(Item.SENSOR, Subject(Sort.SENSOR, sensor.id), sensor)


def _device(device: Device) -> Iterator[FailingItem]:
    working = DEVICE_KINDS[device.kind].working
    if working in _DEVICES:
        yield _item(_DEVICES[working], Subject(Sort.DEVICE, device.id), device)


def _item(item: Item, subject: Subject, thing: Named) -> FailingItem:
    is_fixed = isinstance(thing, Device | Control) and thing.fixed is not None
    return FailingItem(item, subject, thing.name, thing.span, is_fixed)


@dataclass(frozen=True, slots=True)
class MayStrike:
    """A failure that a description declares, of an item that can fail so; `text` says that it has struck."""

    failure: Failure
    item: FailingItem
    text: str


def declared_failures(hold: Hold) -> tuple[MayStrike, ...]:
    """Every failure that the hold declares, but those that no item of it can have; in the order of the items."""
    written = {(one.of, one.mode) for one in hold.failures}
    return tuple(
        MayStrike(item.failure(failing), item, failing.text.format(name=item.name))
        for item in (failing_items(hold) if written else ())
        for failing in item.failings
        if (item.subject.id, failing.mode) in written
    )
