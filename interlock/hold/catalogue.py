"""The hold in which everything may fail that the standing catalogue of failures has, and what each failure is."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.chatter import chattering
from interlock.hold.compile.contacts import contact_items
from interlock.hold.compile.described import describe
from interlock.hold.compile.naming import name_hold
from interlock.hold.failing import ContactWords, FailingItem, failing_items
from interlock.hold.language.model import Catalogue, ExcludedFailure, FailureMode, Hold, SomeFailure
from interlock.hold.language.rates import FailureRate
from interlock.hold.origin import Failure
from interlock.hold.sorts import Item


@frozen
class KnownFailure:
    """A failure that may strike: what it is about (`failure`, whose name is the variable's), and what is known of it.

    `name` is what people call the item, `text` a sentence that says that it has struck.  `effect`, `noticed` and
    `source` are those of the catalogue; empty where the hold declares what the catalogue does not have.  `several` are
    the failures that a common cause is.  `words` are those of a contact.
    """

    failure: Failure
    item: Item
    name: str
    text: str
    effect: str = ""
    noticed: str = ""
    source: str = ""
    several: tuple[Failure, ...] = ()
    words: ContactWords | None = None


@frozen
class FailingHold:
    """A hold that declares every failure to be reckoned with; `failures` by the name of the variable, in order.

    `chattering` are left out because a mechanism would then never come to rest.
    """

    hold: Hold
    failures: Mapping[str, KnownFailure]
    excluded: tuple[ExcludedFailure, ...]
    chattering: tuple[ChatteringFailure, ...] = ()


@frozen
class ChatteringFailure:
    """A failure that is not reckoned with because a mechanism never comes to rest where it strikes: `chain`, in words.

    Where it takes others too, they are `others`; without this one it does come to rest.
    """

    known: KnownFailure
    others: tuple[KnownFailure, ...]
    chain: str


def everything_fails(
    hold: Hold, catalogue: Catalogue, only: Collection[Item] | None = None, *, heal: bool = False
) -> FailingHold:
    """The hold in which all may strike that it declares, and all of the catalogue but what it excludes.

    What the hold excludes and declares may strike: to declare is to say so for good.  `only` are sorts of items, where
    not all are wanted; what the hold declares and its common causes are always there.  With `heal` every failure may go
    again.  A hold whose expressions are at fault has no contacts; loading it says why.
    """
    entries = {(one.item, one.mode): one for one in catalogue.failures if only is None or one.item in only}
    items = all_items(hold)
    causes = {cause.id: cause for cause in hold.common_causes}
    declared, excluded = _keys(hold.failures), _keys(hold.excluded_failures)
    more: list[FailureMode] = []
    known: dict[str, KnownFailure] = {}
    for item in items:
        for failing in item.failings:
            id, entry = item.subject.id, entries.get((item.item, failing.mode))
            several: tuple[Failure, ...] = ()
            if item.item is Item.COMMON_CAUSE:
                several = tuple(_failures(items, causes[id].failures))
            elif not _is_in(declared, item, failing.mode):
                if entry is None or failing not in item.possible or _is_in(excluded, item, failing.mode):
                    continue
                written, place = item.written, item.place
                more.append(FailureMode(of=id, mode=failing.mode, contact=written, at=place, span=item.span))
            may = item.strikes(failing)
            told = ("", "", "") if entry is None else (entry.effect, entry.noticed, entry.source)
            known[may.failure.name] = KnownFailure(
                may.failure, item.item, item.name, may.text, *told, several, item.words
            )
    failures = tuple(replace(one, heals=one.heals or heal) for one in (*hold.failures, *more))
    whole = replace(hold, failures=failures)
    chatter = tuple(
        ChatteringFailure(known[one.failure], tuple(known[other] for other in one.others), one.chain)
        for one in chattering(whole, list(known))
    )
    if chatter:
        gone = {one.known.failure.name for one in chatter}
        whole = replace(hold, failures=tuple(_without(items, failures, gone)))
        known = {name: one for name, one in known.items() if name not in gone}
    return FailingHold(whole, MappingProxyType(known), hold.excluded_failures, chatter)


def _without(
    items: Iterable[FailingItem], failures: Iterable[FailureMode], gone: Collection[str]
) -> Iterator[FailureMode]:
    """Those of the failures that are not of these names."""
    named = [(item, failing.mode) for item in items for failing in item.failings if item.failure(failing).name in gone]
    return (one for one in failures if not any(is_named((one,), item, mode) for item, mode in named))


def _failures(items: Iterable[FailingItem], written: Iterable[SomeFailure]) -> Iterator[Failure]:
    """Those that are written, in the order of the items."""
    named = _keys(written)
    return (item.failure(one) for item in items for one in item.failings if _is_in(named, item, one.mode))


def all_items(hold: Hold) -> tuple[FailingItem, ...]:
    """Every item that can fail, then the contacts at their places; none where the expressions are at fault."""
    return (*failing_items(hold), *_contacts(hold))


def _contacts(hold: Hold) -> tuple[FailingItem, ...]:
    named = name_hold(describe(hold, None))
    return () if named.faults else contact_items(hold, named.world)


def is_named(failures: Iterable[SomeFailure | FailureRate], item: FailingItem, mode: str) -> bool:
    """One of the failures, or one of which these are the rates, is that of the item."""
    return _is_in(_keys(failures), item, mode)


_Key: TypeAlias = tuple[str | None, str, str | None, str | None]


def _keys(failures: Iterable[SomeFailure | FailureRate]) -> frozenset[_Key]:
    return frozenset((one.of, one.mode, one.contact, one.at) for one in failures)


def _is_in(keys: frozenset[_Key], item: FailingItem, mode: str) -> bool:
    id, written = item.subject.id, item.written
    return (id, mode, written, None) in keys or (id, mode, written, item.place) in keys
