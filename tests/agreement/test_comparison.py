"""Comparing holds: what is found can be done in one and not in the other, and what is the same is proved to be."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from interlock.confirm.replay import replay
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.hands import hands_of
from interlock.hold.language.model import Hold
from interlock.hold.loader import Source, load_hold
from interlock.kernel.claims import Holds
from interlock.kernel.evaluator import evaluate, initial_states, is_enabled
from interlock.kernel.expressions import TRUE
from interlock.prove.engine import NO_LIMITS
from interlock.prove.following import Burden, Handling, easier
from interlock.study.comparison.compare import Comparison, compare_holds
from interlock.study.comparison.matching import Unmatchable, match_things
from interlock.study.comparison.pairing import What
from tests.some import telling

MODELS = Path(__file__).parents[2] / "models"
BASE = (MODELS / "single-lane.yaml").read_text()


def fetch(name: str) -> Source | None:
    """A file of the models."""
    path = MODELS / name.removeprefix("models/")
    return Source(name, path.read_bytes()) if path.is_file() else None


def read(text: str, undone: frozenset[int] = frozenset()) -> Hold | None:
    """A description beside the models."""
    return load_hold(Source("models/flawed/other.yaml", text.encode()), fetch, undone).value


def compiled(hold: Hold | None) -> CompiledHold:
    """Without requirements."""
    assert hold is not None
    found = compile_hold(hold).compiled
    assert found is not None
    return found


@cache
def compare(new: str, old: str = BASE, every: bool = False) -> Comparison:
    """The texts side by side, without verdicts."""

    def without(undone: frozenset[int]) -> Hold | None:
        return read(new, undone)

    return compare_holds(compiled(read(old)), compiled(read(new)), {}, without, NO_LIMITS, verdicts=False, every=every)


def changed(*changes: str, base: str = "../single-lane.yaml") -> str:
    """A modification of a model."""
    return f"interlock: 1\nmodifies: {base}\ntitle: modified\nchanges:\n" + "".join(f"  - {one}\n" for one in changes)


FLAWED = ("both-stations-in-charge", "floor-falls-forward", "one-way-mid-latches")


@pytest.mark.parametrize("name", telling(FLAWED, "floor-falls-forward"))
def test_what_is_shown_is_so_in_one_hold_and_not_in_the_other(name: str) -> None:
    """Both runs of each difference are runs of their holds, at whose ends the two differ as is said.

    No step of what is told of could come at another place so that levers are held for less long.
    """
    found = compare((MODELS / "flawed" / f"{name}.yaml").read_text())
    pair = found.behaviour.pair
    shown = [kind.shown for kind in found.behaviour.kinds if kind.shown is not None]
    assert shown
    holds = pair.old, pair.new
    hands = map(hands_of, holds)
    burdens = [Burden(a.machine, Handling(b.held, b.enough)) for a, b in zip(holds, hands, strict=True)]
    for one in shown:
        for hold, run, burden in zip(holds, (one.first, one.second), burdens, strict=True):
            assert easier(hold.machine, run, burden) == run, one.asked.said
        assert not replay(pair.old.machine, TRUE, one.first)
        assert not replay(pair.new.machine, TRUE, one.second)
        ends = one.first.states[-1], one.second.states[-1]
        if one.asked.what.is_of_step:
            there = tuple(
                any(
                    is_enabled(side.machine, rule, end)
                    for rule in side.machine.rules
                    if side.labels[rule.name] == one.asked.label
                )
                for side, end in zip((pair.both.first, pair.both.second), ends, strict=True)
            )
        else:
            exprs = one.asked.here, one.asked.there
            machines = pair.old.machine, pair.new.machine
            there = tuple(evaluate(m, expr, end) for m, expr, end in zip(machines, exprs, ends, strict=True))
        wanted = {
            What.GAINED: (False, True),
            What.LOST: (True, False),
            What.OTHERWISE: (True, True),
            What.ON: (False, True),
            What.OFF: (True, False),
        }
        assert there == wanted[one.asked.what], one.asked.said


def test_a_hold_is_the_same_as_itself() -> None:
    """There is nothing to ask, and that both can start is shown."""
    found = compare(BASE)
    assert found.behaviour.is_same
    assert not found.behaviour.kinds
    assert not found.description


def test_a_circuit_that_is_rewired_but_says_the_same_is_proved_to_be_the_same() -> None:
    """It is written otherwise, and every step and state that it bears on is proved not to differ."""
    found = compare(changed('{change: drives_permitted, to: {is: "(key_power or not armed) and armed and door_open"}}'))
    assert found.description
    assert found.behaviour.is_same
    assert len(found.behaviour.kinds) > 3


def test_a_limit_that_is_proved_leaves_nothing_new() -> None:
    """A latch that is deferred: a step is lost, none is gained, and each of these is a proof."""
    found = compare(changed("{fix: M2, in: lowered}"))
    behaviour = found.behaviour
    assert behaviour.of(What.LOST)
    gained = [kind for kind in behaviour.kinds if kind.what in (What.GAINED, What.OTHERWISE)]
    assert gained
    assert all(isinstance(kind.finding, Holds) for kind in gained)


def test_a_difference_is_traced_to_the_change_that_makes_it() -> None:
    """Of two changes the harmless one is not blamed."""
    found = compare(changed("{change: STA, to: {name: door panel}}", '{change: STA, to: {owns: "true"}}'))
    assert found.causes
    assert {cause for causes in found.causes.values() for cause in causes} == {frozenset({2})}


def test_a_change_is_not_blamed_for_what_was_so_before_it() -> None:
    """Against a hold that is not the one that it modifies: the only change has no part in the difference."""
    other = BASE.replace("is: key_power and armed and door_open}", "is: key_power and door_open}")
    assert other != BASE
    found = compare(changed("{change: STA, to: {name: door panel}}"), other)
    assert any(kind.shown for kind in found.behaviour.kinds)
    assert found.causes
    assert not any(found.causes.values())


def test_a_thing_with_another_id_is_the_same_where_nothing_else_is_so_like_it() -> None:
    """A device renamed wherever it is named: the same behaviour, and it is said which were taken to be the same."""
    new = re.sub(r"\bSG\b", "GUARD", BASE)
    assert new != BASE
    found = compare(new)
    assert found.behaviour.is_same
    assert ("SG", "GUARD") in found.behaviour.pair.matching.guessed


def test_a_start_that_one_alone_has_is_told() -> None:
    """Whoever may begin elsewhere is not the same, though from every common start both do the same."""
    found = compare(changed("{change: M2, to: {starts: [lowered, raised]}}"))
    assert [(one.said, one.second) for one in found.behaviour.pair.starts] == [("mid latch 2 is raised", True)]
    assert found.behaviour.is_decided
    assert not any(kind.shown for kind in found.behaviour.kinds)
    assert not found.behaviour.is_same
    assert not compare(BASE).behaviour.pair.starts


def test_what_cannot_be_the_same_is_refused() -> None:
    """An id that is in neither, or of another sort, or given twice."""
    hold = read(BASE)
    assert hold is not None
    device, control = hold.devices[0].id, hold.controls[0].id
    for said in (
        {"nonsense": device},
        {device: "nonsense"},
        {device: control},
        {device: device, hold.devices[1].id: device},
    ):
        with pytest.raises(Unmatchable):
            match_things(hold, hold, said)


def test_what_is_refused_is_named_with_why() -> None:
    """The word that does not fit, and in which hold it is not to be found, or where the two things are."""
    hold = read(BASE)
    assert hold is not None
    device, control = hold.devices[0].id, hold.controls[0].id
    for said, word, message in (
        ({"nonsense": device}, "nonsense", "there is no 'nonsense' in the first hold"),
        ({device: "nonsense"}, "nonsense", "there is no 'nonsense' in the second hold"),
        ({device: control}, control, f"'{device}' is in `devices` and '{control}' in `controls`"),
        ({device: device, hold.devices[1].id: device}, device, f"two things are said to be '{device}'"),
    ):
        with pytest.raises(Unmatchable) as refused:
            match_things(hold, hold, said)
        assert (refused.value.word, str(refused.value)) == (word, message)


def test_what_is_said_to_be_the_same_is_taken_to_be_that() -> None:
    """Two devices exchanged: each is the other one, all else is matched by its id, and nothing is guessed."""
    hold = read(BASE)
    assert hold is not None
    one, other = hold.devices[0].id, hold.devices[1].id
    found = match_things(hold, hold, {one: other, other: one})
    assert (found.names[one], found.names[other], found.guessed) == (other, one, ())
    assert all(found.names[device.id] == device.id for device in hold.devices[2:])


@pytest.mark.parametrize("name", telling(FLAWED, "one-way-mid-latches"))
def test_of_a_kind_those_differ_that_the_runs_show(name: str) -> None:
    """Of each member of each kind: told to differ exactly where some state of the runs that are shown is a case."""
    found = compare((MODELS / "flawed" / f"{name}.yaml").read_text()).behaviour
    machine = found.pair.both.machine
    runs = [kind.shown.run for kind in found.kinds if kind.shown is not None]
    states = [*initial_states(machine), *(state for run in runs for state in run.states)]
    told = [one.label for kind in found.kinds for one in kind.members]
    shown = [
        one.label
        for kind in found.kinds
        for one in kind.asked
        if any(evaluate(machine, one.target, state) for state in states)
    ]
    assert told == shown
    assert len(told) >= len(runs) > 0
