"""The hold in which everything may fail: what of the catalogue it declares, and what it says of each failure."""

from __future__ import annotations

import pytest

from interlock.diagnostics.spans import Diagnostic
from interlock.hold.catalogue import FailingHold, everything_fails
from interlock.hold.compile.compiler import compile_hold
from interlock.hold.compile.contacts import contact_items
from interlock.hold.failing import failing_items
from interlock.hold.language.model import Catalogue, Hold
from interlock.hold.loader import Source, load_catalogue, load_hold
from interlock.hold.sorts import FAILURES, Item
from interlock.kernel.failures import failures_of
from tests.agreement.hold_texts import SOUND, fetch, overlay
from tests.golden.small_hold import TEXT
from tests.some import telling


def shipped_catalogue() -> Catalogue:
    """The standing catalogue."""
    source = fetch("specs/failures.yaml")
    assert source is not None
    loaded = load_catalogue(source)
    assert loaded.value is not None, loaded.diagnostics
    return loaded.value


def hold_of(source: Source | None) -> Hold:
    """A description that can be read."""
    assert source is not None
    loaded = load_hold(source, fetch)
    assert loaded.value is not None, loaded.diagnostics
    return loaded.value


def failing(source: Source | None) -> FailingHold:
    """The same hold in which everything may fail."""
    return everything_fails(hold_of(source), shipped_catalogue())


@pytest.mark.parametrize("name", telling(SOUND, "single-lane", "twin-lane"))
def test_every_failure_that_is_declared_is_known_and_is_one(name: str) -> None:
    """The machine's failures are those that are told of, each with effect and notice, each by its variable."""
    found = failing(fetch(f"models/{name}.yaml"))
    compiled = compile_hold(found.hold).compiled
    assert compiled is not None
    assert set(failures_of(compiled.machine)) == set(found.failures)
    for variable, known in found.failures.items():
        assert compiled.origins.variables[variable] == known.failure
        assert known.effect
        assert known.noticed
        assert known.source
        assert compiled.glossary.values[variable, True] == known.text


def test_every_mode_is_in_the_catalogue() -> None:
    """But two: that a spring device sticks is said by one that stays up and one that stays down, a bypass by a weld."""
    listed = {(entry.item, entry.mode) for entry in shipped_catalogue().failures}
    known = {(item, failing.mode) for item, failings in FAILURES.items() for failing in failings}
    known.remove((Item.COMMON_CAUSE, "happens"))  # which events there are, a hold says
    assert known - listed == {(Item.SPRING_DEVICE, "stuck"), (Item.CONTACT, "bypassed")}


@pytest.mark.parametrize("name", telling(SOUND, "single-lane", "twin-lane"))
def test_everything_that_can_fail_as_described_may_strike(name: str) -> None:
    """All modes of the catalogue, for all items, but those of moving for what is fixed."""
    hold = hold_of(fetch(f"models/{name}.yaml"))
    listed = {(entry.item, entry.mode) for entry in shipped_catalogue().failures}
    compiled = compile_hold(hold).compiled
    assert compiled is not None
    expected = [
        (item.subject.id, item.place, item.written, one.mode)
        for item in (*failing_items(hold), *contact_items(hold, compiled.world))
        for one in item.failings
        if (item.item, one.mode) in listed and not (item.is_fixed and one.moving)
    ]
    found = failing(fetch(f"models/{name}.yaml")).hold.failures
    assert [(one.of, one.at, one.contact, one.mode) for one in found] == list(dict.fromkeys(expected))
    assert len(set(expected)) == len(found)
    assert len(expected) > 20


def test_nothing_else_of_the_hold_changes() -> None:
    """It is the same description but for its failures; again, it is the same value."""
    hold = hold_of(fetch("models/twin-lane.yaml"))
    once = everything_fails(hold, shipped_catalogue()).hold
    assert once.layout is hold.layout
    assert once.devices is hold.devices
    assert everything_fails(once, shipped_catalogue()).hold == once


def test_what_is_excluded_does_not_strike_and_keeps_its_reason() -> None:
    """A hold may say of a failure why it need not be reckoned with."""
    because = "the switch has two contacts that are forced apart"
    changes = f"- add:\n    excluded_failures:\n      - {{of: up_CG1, mode: stuck_true, because: {because}}}\n"
    found = failing(overlay("twin-lane", changes))
    modes = {one.mode for one in found.hold.failures if one.of == "up_CG1"}
    assert modes == {"stuck_false", "reads_opposite"}
    assert [(one.of, one.mode, one.because) for one in found.excluded] == [("up_CG1", "stuck_true", because)]


def test_a_fixed_device_does_not_stick() -> None:
    """A latch that is deferred stays as it is anyway; that it sticks says nothing."""
    found = failing(overlay("twin-lane", "- {fix: M2L, in: lowered}\n"))
    assert {one.mode for one in found.hold.failures if one.of == "M2L"} == {"broken"}
    assert {one.mode for one in found.hold.failures if one.of == "M3L"} == {"stuck", "broken"}


HEAD = "interlock: 1\ncatalogue: t\nfailures:\n"
ROW = "- {{item: {}, mode: {}, effect: e, noticed: n, source: s}}\n"


def faults_in(text: str) -> tuple[Diagnostic, ...]:
    loaded = load_catalogue(Source("own.yaml", text.encode()))
    assert (loaded.value is None) == bool(loaded.diagnostics)
    return loaded.diagnostics


def test_a_catalogue_says_what_is_wrong_with_it_all_at_once() -> None:
    """An item that there is not, a mode that the item cannot have, a row that is there twice."""
    good = ROW.format("sensor", "stuck_true")
    assert faults_in(HEAD + good) == ()
    text = HEAD + good + good + ROW.format("sensr", "stuck_true") + ROW.format("switch", "stuk")
    found = [(one.code, one.span.line, one.nearest) for one in faults_in(text)]
    assert found == [("listed-twice", 5, None), ("unknown-choice", 6, "sensor"), ("unknown-failure", 7, "stuck")]


@pytest.mark.parametrize("name", ["models/single-lane.yaml", "specs/standing.yaml"])
def test_another_sort_of_file_is_no_catalogue(name: str) -> None:
    """It is told what it is."""
    source = fetch(name)
    assert source is not None
    (fault,) = load_catalogue(source).diagnostics
    assert fault.code == "wrong-file"
    assert "catalogue" in fault.message


def test_a_catalogue_is_no_hold() -> None:
    """Where a description is wanted, a catalogue is refused as such."""
    (fault,) = load_hold(Source("own.yaml", (HEAD + ROW.format("sensor", "stuck_true")).encode()), fetch).diagnostics
    assert fault.code == "wrong-file"


def test_what_cannot_fail_so_cannot_be_excluded() -> None:
    """A misspelt exclusion would otherwise be one that excludes nothing."""
    changes = "- add:\n    excluded_failures:\n      - {of: up_CG1, mode: stuck_tru, because: x}\n"
    (fault,) = load_hold(overlay("twin-lane", changes), fetch).diagnostics
    assert (fault.code, fault.nearest) == ("unknown-failure", "stuck_true")


def test_only_some_sorts_of_item_where_that_is_asked() -> None:
    """As for the table of contacts: nothing else fails."""
    found = everything_fails(hold_of(fetch("models/single-lane.yaml")), shipped_catalogue(), {Item.CONTACT})
    assert {known.item for known in found.failures.values()} == {Item.CONTACT}
    assert {known.failure.contact is None for known in found.failures.values()} == {False}


RELAYS = """relays:
  - {id: a, sets: D1 is open and not b, drops: b}
  - {id: b, sets: a and D1 is closed%s, drops: not a}
"""


def with_relays(more: str) -> FailingHold:
    """The small hold with two relays that stop one another, everything in it failing."""
    return failing(Source("relays.yaml", (TEXT + RELAYS % more).encode()))


def test_what_would_chatter_is_left_out_alone() -> None:
    """Two contacts, each alone, keep relays from coming to rest; all else fails as ever, and the chain is in words."""
    found = with_relays("")
    names = {one.known.failure.name for one in found.chattering}
    assert names == {"failure.relay.a.sets.reads.D1.open.so.welded", "failure.relay.b.sets.reads.D1.closed.so.welded"}
    assert not any(one.others for one in found.chattering)
    assert all("a goes to energised by itself; b goes to energised by itself" in one.chain for one in found.chattering)
    compiled = compile_hold(found.hold).compiled
    assert compiled is not None
    assert set(failures_of(compiled.machine)) == set(found.failures)
    assert len(found.failures) > 20
    assert names.isdisjoint(found.failures)


def test_of_what_chatters_together_one_is_left_out() -> None:
    """Where it takes two failures, one of them is not reckoned with, and it is said with what it would chatter."""
    found = with_relays(" and SL is lowered and SL is raised")
    assert compile_hold(found.hold).compiled is not None
    assert found.chattering
    assert all(one.others for one in found.chattering)


def test_a_hold_that_chatters_as_it_stands_is_rejected() -> None:
    """That is no failure's doing: nothing is left out, and compiling says so."""
    relay = "relays:\n  - {id: a, sets: D1 is open and not a, drops: D1 is open and a}\n"
    found = failing(Source("relays.yaml", (TEXT + relay).encode()))
    assert found.chattering == ()
    assert {one.code for one in compile_hold(found.hold).diagnostics} == {"settling-never-ends"}
