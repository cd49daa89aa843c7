"""What can no longer be done once one failure is there, against going through all states by the reference evaluator."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

import pytest

from interlock.cli.opening import Rejected, open_catalogue
from interlock.confirm.replay import replay
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.loader import Source, load_hold
from interlock.hold.origin import Origins
from interlock.kernel import beside
from interlock.kernel.claims import Limits, silent
from interlock.kernel.evaluator import State, evaluate, fire, initial_states, is_enabled, successors
from interlock.kernel.expressions import variables_of
from interlock.kernel.failures import failures_of
from interlock.kernel.machine import Actor, Machine, Question, with_monitors
from interlock.kernel.recovery import without_failures
from interlock.prove.engine import NO_LIMITS, clock_of
from interlock.study.contacts import losses, struck
from interlock.study.contacts.losses import Work
from interlock.study.contacts.purposes import failing_contacts
from interlock.study.contacts.struck import any_struck_first, difference, strikes, struck_first, uses_of
from tests.agreement.failing import random_failing
from tests.golden.small_hold import requirement_texts
from tests.golden.wired_hold import WIRED, WIRED_ASKED


def wired() -> CompiledHold:
    """The wired hold in which every contact may fail either way."""
    hold = load_hold(Source("wired.yaml", WIRED.encode()), lambda _name: None).value
    catalogue = open_catalogue(None)
    assert hold is not None
    assert not isinstance(catalogue, Rejected)
    found = compile_hold(failing_contacts(hold, catalogue[0]).hold, requirement_texts(WIRED_ASKED)).compiled
    assert found is not None
    return found


def all_behind(machine: Machine) -> set[State]:
    """Every state that is reached."""
    met = set(initial_states(machine))
    waiting = list(met)
    while waiting:
        for _, after in successors(machine, waiting.pop()):
            if after not in met:
                met.add(after)
                waiting.append(after)
    return met


def work_of(compiled: CompiledHold, limits: Limits = NO_LIMITS) -> Work:
    """What can be done in the hold while nothing fails, steps alone."""
    machine = with_monitors(compiled.machine)
    return Work(machine, compiled.origins, {}, clock_of(limits), limits, silent)


@pytest.mark.parametrize(("most", "processors"), [(losses.FEW_EXPANDED, 1), (0, 2)])
@pytest.mark.usefixtures("two_processors")
def test_what_is_lost_is_what_no_state_shows(most: int, processors: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of every contact failed either way, also where no search finds anything by itself; and every run replays."""
    monkeypatch.setattr(losses, "FEW_EXPANDED", most)
    work = work_of(wired())
    beside.allow(processors)
    found = work.losses(work.failures)
    beside.allow(2)
    assert [one.failure for one in found] == list(work.failures)
    lost = 0
    for loss in found:
        machine, questions, begun = struck_first(work.machine, loss.failure, list(work.possible.values()))
        states = all_behind(machine)
        never = {one.id for one in questions if not any(evaluate(machine, one.target, state) for state in states)}
        assert begun
        assert (set(loss.lost), loss.open, loss.disputed) == (never, (), ""), loss.failure
        runs = {**work.shown(loss.failure), **loss.found}
        assert runs.keys() == work.possible.keys() - never
        for one in questions:
            if one.id in runs:
                assert replay(machine, one.target, runs[one.id]) == []
        lost += len(never)
    assert lost > 10


def test_what_there_was_no_time_for_is_open(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is said to be lost or possible, no run is walked again, and no machine is made to be asked about."""
    work = work_of(wired())
    monkeypatch.delattr(losses, "struck_first")
    work.clock = clock_of(Limits(seconds=0))
    found = list(work.losses(work.failures))
    assert not any(one.lost for one in found)
    for one in found:
        assert not work.shown(one.failure)
        assert set(one.open) == work.possible.keys()


def projected(machine: Machine, state: State) -> Mapping[str, object]:
    """The values by variable, without failures."""
    failures = set(failures_of(machine))
    pairs = zip(machine.variables, state, strict=True)
    return {one.name: value for one, value in pairs if one.name not in failures}


@pytest.mark.parametrize("most", [struck.MOST_STARTS, 0])
def test_a_machine_in_which_one_failure_is_there_first(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """It begins exactly where the failure leads from a start, and reaches what can be reached with it alone.

    Where it is none of them, what can be reached without any.
    """
    monkeypatch.setattr(struck, "MOST_STARTS", most)
    compared = 0
    for seed in range(80):
        machine, _ = random_failing(seed)
        # what heals ends what the failure does
        if any((name, False) in rule.update for rule in machine.rules for name in failures_of(machine)):
            continue
        kept = [at for at, one in enumerate(machine.variables) if one.name not in failures_of(machine)]
        sound = {tuple(state[at] for at in kept) for state in all_behind(without_failures(machine))}
        assert all_behind(any_struck_first(machine, ()).machine) == sound
        any_first = any_struck_first(machine, failures_of(machine))
        behind_any = all_behind(any_first.machine) if any_first.there else set()
        assert set(any_first.there) == {one for one in failures_of(machine) if struck_first(machine, one, ())[2]}
        for failure in failures_of(machine):
            asked = [Question(rule.name, rule.guard) for rule in machine.rules]
            found, questions, begun = struck_first(machine, failure, asked)
            by = [rule for rule in machine.rules if strikes(rule, failure)]
            first = {
                fire(machine, rule, state)
                for state in initial_states(machine)
                for rule in by
                if is_enabled(machine, rule, state)
            }
            if begun:
                begins = [dict(zip(found.domains, state, strict=True)) for state in initial_states(found)]
                expected = [projected(machine, state) for state in first]
                assert all(one in expected for one in begins)
                assert all(one in begins for one in expected)
            met = behind_alone(machine, first)
            reached = {one.id for one in questions if any(evaluate(found, one.target, s) for s in all_behind(found))}
            assert reached == {one.id for one in asked if any(evaluate(machine, one.target, state) for state in met)}
            own = [state for state in behind_any if any_first.failure_in(state) == failure]
            shown = {
                one.id
                for one in asked
                for state in own
                if evaluate(any_first.machine, any_first.alone(one.target), state)
            }
            assert not begun or shown == reached
            compared += bool(first)
    assert compared > 60


def behind_alone(machine: Machine, first: set[State]) -> set[State]:
    """All that follows while no other failure strikes."""
    own = {rule.name for rule in machine.rules for name in failures_of(machine) if strikes(rule, name)}
    met, waiting = set(first), list(first)
    while waiting:
        for rule, after in successors(machine, waiting.pop()):
            if rule.name not in own and after not in met:
                met.add(after)
                waiting.append(after)
    return met


def test_a_difference_is_where_something_that_names_the_failure_is_otherwise() -> None:
    """Signals, guards of all that is no failure, requirements: whether one is so with it and not without, or not."""
    told = {False: 0, True: 0}
    for seed in range(40):
        machine, _ = random_failing(seed)
        failures = failures_of(machine)
        exprs = [one.definition for one in machine.signals]
        exprs += [one.guard for one in machine.rules if one.actor is not Actor.FAILURE]
        uses = uses_of(machine)
        draw = random.Random(seed)
        for failure in failures:
            differs = difference(failure, uses[failure])
            naming = [one for one in exprs if failure in variables_of(one)]
            for _ in range(12):
                values = {one.name: draw.choice(one.domain) for one in machine.variables} | dict.fromkeys(
                    failures, False
                )
                without, with_it = (tuple((values | {failure: struck}).values()) for struck in (False, True))
                expected = any(evaluate(machine, one, without) != evaluate(machine, one, with_it) for one in naming)
                assert evaluate(machine, differs, without) is expected, (seed, failure)
                told[expected] += 1
    assert min(told.values()) > 300


@dataclass(frozen=True)
class Named:
    """A deed of one rule."""

    name: str


class OneDeedEach:
    """Of a random machine each rule is a deed."""

    def deed_of(self, rule: str) -> Named:
        """That of the rule."""
        return Named(rule)


def test_what_is_lost_of_random_machines_is_what_no_state_shows() -> None:
    """Failures that strike by one rule or another and do something at once: what is shown can be done all the same."""
    lost = shown = 0
    for seed in range(70):
        machine, _ = random_failing(seed)
        if any((name, False) in rule.update for rule in machine.rules for name in failures_of(machine)):
            continue
        work = Work(machine, cast(Origins, OneDeedEach()), {}, clock_of(NO_LIMITS), NO_LIMITS, silent)
        for loss in work.losses(work.failures):
            found, questions, begun = struck_first(machine, loss.failure, list(work.possible.values()))
            states = all_behind(found)
            never = {one.id for one in questions if not any(evaluate(found, one.target, state) for state in states)}
            assert (set(loss.lost), loss.open, loss.disputed) == (never, (), ""), (seed, loss.failure)
            runs = work.shown(loss.failure)
            assert not begun or not [q for q in questions if q.id in runs and replay(found, q.target, runs[q.id])]
            lost += len(never)
            shown += len(runs)
    assert lost > 10
    assert shown > 100
