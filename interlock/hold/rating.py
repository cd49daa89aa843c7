"""Which failures of a hold have a rate, and which rates are about nothing that it can have."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.catalogue import all_items, is_named
from interlock.hold.failing import FailingItem
from interlock.hold.language.model import Hold
from interlock.hold.language.rates import FailureRate, FailureRates


@frozen
class Rated:
    """The rates of failures, by the names of their variables; `faults` are of rates that are about none of them."""

    rates: Mapping[str, FailureRate]
    faults: tuple[Diagnostic, ...]


def rate_failures(given: FailureRates, hold: Hold, reckoned: Collection[str]) -> Rated:
    """The rate of each failure that is reckoned with, where one is given: of the thing, or else of its sort of item.

    A rate of a sort of item that the hold does not have is left aside, since a file may serve several holds.
    """
    items = all_items(hold)
    found: dict[str, FailureRate] = {}
    used: set[FailureRate] = set()
    for item in items:
        for failing in item.failings:
            name = item.failure(failing).name
            if name in reckoned:
                own = [one for one in given.rates if one.of is not None and is_named((one,), item, failing.mode)]
                sort = [one for one in given.rates if (one.item, one.mode) == (item.item, failing.mode)]
                if own or sort:
                    found[name] = (*own, *sort)[0]
                used.update(own)
    faults = (_unknown(one, items) for one in given.rates if one.of is not None and one not in used)
    return Rated(found, tuple(faults))


def _unknown(rate: FailureRate, items: Collection[FailingItem]) -> Diagnostic:
    ids = sorted({item.subject.id for item in items})
    if rate.of not in ids:
        nearest = nearest_name(rate.of or "", ids)
        return Diagnostic("unknown-name", rate.span, f"nothing that fails is called '{rate.of}'", "an id", nearest)
    modes = sorted({one.mode for item in items if item.subject.id == rate.of for one in item.failings})
    said = f"'{rate.of}' has no failure '{rate.mode}' that is reckoned with"
    if rate.contact is not None:
        said = f"'{rate.of}' has no contact '{rate.contact}' with a failure '{rate.mode}' that is reckoned with"
    nearest = None if rate.mode in modes else nearest_name(rate.mode, modes)
    return Diagnostic("unknown-failure", rate.span, said, f"one of {', '.join(modes)}, not excluded", nearest)
