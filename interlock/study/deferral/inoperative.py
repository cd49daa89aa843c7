"""Items that are inoperative from the start: devices that stay in one state, all else that has failed in one way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from interlock.hold.catalogue import all_items
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.failing import FailingItem
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import FailureMode, Hold, RequirementText
from interlock.kernel.limiting import with_first


@dataclass(frozen=True, slots=True)
class Inoperative:
    """An item that is inoperative in one way; `text` says so, `way` is the word for it.

    A device stays in `state`; all else fails as `failure` says, which the variable `struck` remembers.
    """

    id: str
    name: str
    text: str
    way: str
    state: str | None = None
    failure: FailureMode | None = None
    struck: str = ""


class NoSuchItem(ValueError):
    """There is no such item, or it cannot be inoperative so; `known` is what would do in the place of `word`."""

    def __init__(self, message: str, word: str, known: Sequence[str]) -> None:
        super().__init__(message)
        self.word = word
        self.known = tuple(known)


def ways_of(hold: Hold, id: str, word: str | None = None) -> tuple[Inoperative, ...]:
    """Every way in which an item can be inoperative, or the one that the word names.

    A device stays in one of its states, and can fail otherwise too where the word says so; all else can fail in the
    ways of its sort.  A contact is named by what it belongs to, a colon and how it is written there, with where
    between two colons if several have it.  Raises NoSuchItem.
    """
    states = list(_states(hold, id))
    items = all_items(hold)
    modes = [one for item in items if id in _names(item) for one in _modes(item, id)]
    if not states and not modes:
        known = {name for item in items for name in _names(item)} | {device.id for device in hold.devices}
        raise NoSuchItem(f"there is no item {id!r} that could be inoperative", id, sorted(known))
    if word is None:
        return tuple(states or modes)
    found = tuple(one for one in (*states, *modes) if one.way == word)
    if not found:
        words = list(dict.fromkeys(one.way for one in (*states, *modes)))
        raise NoSuchItem(f"{id!r} is not inoperative as {word!r}, but as {', '.join(words)}", word, words)
    return found[:1]


def _states(hold: Hold, id: str) -> Iterator[Inoperative]:
    for device in hold.devices:
        if device.id == id and not device.is_structure:
            for state in DEVICE_KINDS[device.kind].states:
                text = f"{device.name} is inoperative and stays {state.replace('_', ' ')}"
                yield Inoperative(id, device.name, text, state, state=state)


def _modes(item: FailingItem, id: str) -> Iterator[Inoperative]:
    for one in item.possible:
        failure = FailureMode(of=item.subject.id, mode=one.mode, contact=item.written, at=item.place, span=item.span)
        strikes = item.strikes(one)
        yield Inoperative(id, item.name, strikes.text, one.mode, failure=failure, struck=strikes.failure.name)


def _names(item: FailingItem) -> tuple[str, ...]:
    """What an item is called: a contact also by where it is."""
    of = item.subject.id
    if item.written is None:
        return (of,)
    return f"{of}:{item.written}", f"{of}:{item.place}:{item.written}"


def compile_inoperative(
    hold: Hold, items: Sequence[Inoperative], texts: tuple[RequirementText, ...], situation: str | None
) -> CompiledHold | None:
    """The hold in which these are inoperative before anything else happens; None where that is no hold.

    What has failed has done so at the start, with all else as it starts; what may fail besides is what is declared.
    """
    compiled = compile_hold(with_inoperative(hold, items), texts, situation).compiled
    return None if compiled is None else failed_at_first(compiled, items)


def with_inoperative(hold: Hold, items: Sequence[Inoperative]) -> Hold:
    """The description in which these devices stay in their states and these failures may strike."""
    stays = {one.id: one.state for one in items if one.state is not None}
    devices = tuple(
        replace(one, fixed=stays[one.id], starts=(stays[one.id],)) if one.id in stays else one for one in hold.devices
    )
    declared = {one.label for one in hold.failures}
    failed = [one.failure for one in items if one.failure is not None]
    more = tuple(one for one in failed if one.label not in declared)
    return replace(hold, devices=devices, failures=(*hold.failures, *more))


def failed_at_first(compiled: CompiledHold, items: Sequence[Inoperative]) -> CompiledHold | None:
    """The hold, made by `with_inoperative`, in which these failures strike first; None where one is not possible."""
    struck = {one.struck for one in items if one.struck}
    if not struck <= compiled.machine.domains.keys():
        return None
    return replace(compiled, machine=with_first(compiled.machine, struck)) if struck else compiled
