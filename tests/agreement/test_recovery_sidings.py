"""Ways back where things have to be shifted: counting first, and kinds of state that no rule leads to."""

from __future__ import annotations

from dataclasses import replace
from itertools import count
from typing import Any

import pytest

from interlock.confirm.recovery import confirm_recovery
from interlock.kernel.claims import Limits, Unknown, silent
from interlock.kernel.evaluator import successors
from interlock.kernel.expressions import Is, conj
from interlock.kernel.machine import Actor, Machine, Rule, Variable
from interlock.kernel.recovery import DeadEnd, Entry, Recoverable, Recovers, RecoveryQuestion, rank_of
from interlock.prove.core.local import LocalRules
from interlock.prove.core.solvers import light_solver
from interlock.prove.engine import Clock, is_time_reason
from interlock.prove.frames.frames import Frames
from interlock.prove.recovery import cases, recovery
from interlock.prove.recovery.planning import StagePlanner
from interlock.prove.recovery.ranks import RankHeuristic, rank_by_counting, rank_by_distance
from interlock.prove.recovery.recovery import recover
from tests.agreement.judging import BY_CASES
from tests.agreement.listing import listing_of
from tests.agreement.random_machines import random_way_back
from tests.agreement.recovering import dead_ends, proves, shows_dead_end
from tests.agreement.sidings import random_siding, siding
from tests.some import swept


@pytest.mark.parametrize(
    "tens", [*swept(range(2), 2), *(pytest.param(at, marks=pytest.mark.slow) for at in range(2, 12))]
)
def test_engine_agrees_on_sidings(tens: int) -> None:
    """On random sidings the engine decides, is right, and its evidence is what it says, state by state."""
    for seed in range(10 * tens, 10 * tens + 10):
        machine, question = random_siding(seed)
        (claim,) = recover(machine, [question], BY_CASES)
        bad = dead_ends(machine, question.goal)
        if isinstance(claim, Recoverable):
            assert not bad
            assert proves(machine, claim.recovery, question.goal)
        else:
            assert isinstance(claim, DeadEnd), claim
            assert claim.trace.states[-1] in bad
            assert shows_dead_end(machine, claim, question.goal)


def test_sidings_are_of_both_kinds() -> None:
    """Among the random sidings some can always be emptied and some cannot."""
    trapping = [bool(dead_ends(machine, question.goal)) for machine, question in map(random_siding, range(40))]
    assert 8 < sum(trapping) < 32


@pytest.mark.parametrize("seed", swept(range(60), 6))
def test_counting_alone_agrees_with_enumeration(seed: int) -> None:
    """Asked by counting alone, the engine is as right on random machines as by both."""
    machine, question = random_way_back(seed)
    (claim,) = recover(machine, [question], BY_CASES, heuristics=(rank_by_counting,))
    bad = dead_ends(machine, question.goal)
    assert not isinstance(claim, Unknown)
    assert bool(bad) == isinstance(claim, DeadEnd)
    if isinstance(claim, Recoverable):
        assert proves(machine, claim.recovery, question.goal)


def test_cases_of_one_measure_are_taken_over_by_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a heuristic is given up early, cases that serve the next one are kept, others not; the claim is right."""
    monkeypatch.setattr(recovery, "FEW_ENTRIES", 3)
    monkeypatch.setattr(recovery, "ENTRIES_PER_RULE", 0)
    serves = cases.RecoveryCases._serves
    served: list[bool] = []

    def noted(self: cases.RecoveryCases, entry: Entry) -> bool:
        served.append(serves(self, entry))
        return served[-1]

    monkeypatch.setattr(cases.RecoveryCases, "_serves", noted)
    for seed in range(24):
        machine, question = random_siding(seed)
        (claim,) = recover(machine, [question], BY_CASES)
        assert not isinstance(claim, Unknown)
        assert bool(dead_ends(machine, question.goal)) == isinstance(claim, DeadEnd)
        if isinstance(claim, Recoverable):
            assert proves(machine, claim.recovery, question.goal)
    assert served.count(True) > 5
    assert served.count(False) > 5


@pytest.mark.parametrize(("door", "unused"), [(2, "_by_distance"), (0, "_by_counting")])
def test_the_measure_that_serves_is_tried_first(door: int, unused: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the door between them two trucks can stand in each other's way, and are counted; at an end they cannot."""
    machine, question = siding(5, door)
    monkeypatch.setattr(recovery._Search, unused, lambda *_: pytest.fail("tried"))
    (claim,) = recover(machine, [question], BY_CASES)
    assert isinstance(claim, Recoverable)
    assert proves(machine, claim.recovery, question.goal)


@pytest.mark.parametrize("door", range(6))
def test_what_jams_leads_nowhere_nearer(door: int) -> None:
    """Where both of a pair are so, no rule that takes one of them away makes the distance less."""
    machine, question = siding(6, door)
    ranking = RankHeuristic(machine)
    ((_, rank),) = ranking.by_distance(question.goal)
    jams = list(ranking.jams(question.goal))
    nearer = []
    looked = 0
    for state in listing_of(machine).depths:
        so = {(v.name, value) for v, value in zip(machine.variables, state, strict=True)}
        for pair in jams:
            if so.issuperset(pair):
                for rule, after in successors(machine, state):
                    if any(name == written for name, _ in pair for written, _ in rule.update):
                        looked += 1
                        if rank_of(machine, rank, after) < rank_of(machine, rank, state):
                            nearer.append((state, rule.name))
    # with the door at an end no two stand in each other's way
    assert bool(looked) == (door not in (0, 5))
    assert nearer == []


def test_cases_once_told_apart_are_not_planned_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked once more by the same measure, every state finds a case that is known, in as few."""
    machine, question = siding(6, 2)
    search = recovery._Search(machine, [question.goal], Clock(None), silent)
    first = search.decide(question, (rank_by_counting,))
    monkeypatch.setattr(StagePlanner, "plan_near", lambda *_: pytest.fail("planned again"))
    again = search.decide(question, (rank_by_counting,))
    assert isinstance(first, Recoverable)
    assert isinstance(again, Recoverable)
    assert _cases(again) <= _cases(first)
    assert proves(machine, again.recovery, question.goal)


@pytest.mark.slow
def test_shifting_needs_counting() -> None:
    """A siding for which measures alone tell many cases apart is settled by counting, in far fewer."""
    machine, question = siding(16, 3)
    (measured,) = recover(machine, [question], BY_CASES, heuristics=(rank_by_distance,))
    claims = recover(machine, [question], BY_CASES)
    assert isinstance(measured, Recoverable)
    assert isinstance(claims[0], Recoverable)
    assert _cases(claims[0]) < _cases(measured) / 2
    (finding,) = confirm_recovery(machine, [question], claims)
    assert isinstance(finding, Recovers), finding


@pytest.mark.thorough
def test_cases_grow_with_the_length() -> None:
    """Twice as long a siding takes about twice as many cases, though it can be filled in far more ways."""
    found = []
    for cells in (10, 20):
        machine, question = siding(cells, 3)
        (claim,) = recover(machine, [question], BY_CASES)
        assert isinstance(claim, Recoverable)
        found.append(_cases(claim))
    assert found[1] <= 3 * found[0]


def _cases(claim: Recoverable) -> int:
    return sum(len(stage.entries) for stage in claim.recovery.stages)


def test_fewer_count_more_than_nearer() -> None:
    """By the counting measure a truck less is better, however far off the others are; of as many the farther is."""
    machine, question = siding(6, 0)
    (_, rank), *_ = rank_by_counting(machine, question.goal)
    empty = ("empty",) * 6
    near, far = ("short", *empty[1:]), (*empty[1:], "short")
    both = ("short", *empty[2:], "short")
    assert rank_of(machine, rank, empty) < rank_of(machine, rank, far) < rank_of(machine, rank, near)
    assert rank_of(machine, rank, near) < rank_of(machine, rank, both)


def _yard(tracks: int) -> tuple[Machine, RecoveryQuestion]:
    """Tracks side by side, each a far and a near place and a switch between; out they come while no switch is taken.

    What is on a switch can go on to the near place alone.
    """
    variables, rules = list[Variable](), list[Rule]()
    goal = conj(*(Is(f"{place}{at}", "empty") for at in range(tracks) for place in PLACES))
    clear = conj(*(Is(f"switch{at}", "empty") for at in range(tracks)))
    for at in range(tracks):
        far, switch, near = (f"{place}{at}" for place in PLACES)
        variables += [Variable(name, ("empty", "truck"), ("empty",)) for name in (far, switch, near)]
        for name, before, after in (
            ("in", None, far),
            ("onto", far, switch),
            ("off", switch, near),
            ("out", near, None),
        ):
            taken, given = [Is(before, "truck")] if before else [], [Is(after, "empty")] if after else []
            update = [(one, value) for one, value in ((before, "empty"), (after, "truck")) if one]
            waits = (clear,) if before == near else (Is(near, "empty"),)
            rules.append(Rule(f"{name} {at}", Actor.CREW, conj(*taken, *given, *waits), tuple(update)))
    return Machine(tuple(variables), (), tuple(rules)), RecoveryQuestion("emptied", goal)


PLACES = ("far", "switch", "near")


def test_what_is_on_its_way_comes_to_rest_one_by_one() -> None:
    """By counting, what has to wait for all that are on their way takes cases for each, not for each set of them."""
    machine, question = _yard(6)
    (claim,) = recover(machine, [question], BY_CASES, heuristics=(rank_by_counting,))
    assert isinstance(claim, Recoverable)
    assert _cases(claim) <= 4 * 6
    (finding,) = confirm_recovery(machine, [question], [claim])
    assert isinstance(finding, Recovers), finding


def test_what_rests_and_what_is_on_its_way() -> None:
    """Switches are on the way; where a truck may also come in on one, nothing is told of either."""
    machine, _ = _yard(2)
    counted = {(variable.name, "truck") for variable in machine.variables}
    assert RankHeuristic(machine).between(counted) == {"switch0", "switch1"}
    onto = Rule("in 0, onto the switch", Actor.CREW, Is("switch0", "empty"), (("switch0", "truck"),))
    other = Machine(machine.variables, (), (*machine.rules, onto))
    assert RankHeuristic(other).between(counted) == {"switch1"}


def test_a_lock_that_goes_with_a_move_is_no_place() -> None:
    """A lock that has to be undone for a truck to go onto a switch, and falls to behind it, says nothing of the places:
    a step hands on the same value, and the lock's are its own.
    """
    machine, _ = _yard(2)
    lock = Variable("lock", ("shut", "undone", "waiting"), ("shut",))
    rules = [Rule("undo", Actor.CREW, Is("lock", "shut"), (("lock", "undone"),))]
    for rule in machine.rules:
        before, after = {"onto 0": ("undone", "waiting"), "off 0": ("waiting", "shut")}.get(rule.name, ("", ""))
        with_lock = replace(rule, guard=conj(rule.guard, Is("lock", before)), update=(*rule.update, ("lock", after)))
        rules.append(with_lock if before else rule)
    counted = {*((v.name, "truck") for v in machine.variables), ("lock", "undone"), ("lock", "waiting")}
    locked = Machine((*machine.variables, lock), (), tuple(rules))
    assert RankHeuristic(locked).between(counted) == {"switch0", "switch1"}


@pytest.mark.parametrize("seed", swept(range(40), 20))
def test_kinds_of_state_excluded_are_not_reachable(seed: int) -> None:
    """A cube said never to be entered holds the state asked about and no reachable state; and some are found."""
    machine, _ = random_siding(seed)
    reached = set(listing_of(machine).depths)
    rules = LocalRules(machine)
    frames = Frames(rules, [], Clock(None), light_solver)
    facts = {v.name: [one for one, _ in rules.encoding.values[v.name]] for v in machine.variables}
    found = count()
    for state in sorted(set(listing_of(machine).states) - reached)[::7]:
        own = [
            -one
            for v, value in zip(machine.variables, state, strict=True)
            for one, other in rules.encoding.values[v.name]
            if other != value
        ]
        cube = frames.never_entered(tuple(sorted(own)), own)
        if cube is None:
            continue
        next(found)
        assert set(cube) <= set(own)
        for other in reached:
            true = {
                one if other[machine.positions[name]] == value else -one
                for name in facts
                for one, value in rules.encoding.values[name]
            }
            assert not set(cube) <= true
    assert next(found) > 0


def test_what_was_too_hard_is_tried_with_twice_the_effort(monkeypatch: pytest.MonkeyPatch) -> None:
    """A dead end for which the queries of the first try are too few is found by a later one."""
    machine, question = next(case for case in map(random_siding, range(1, 99, 2)) if dead_ends(case[0], case[1].goal))
    monkeypatch.setattr(cases, "closed_region", lambda *_: None)
    tried: list[int] = []
    metered = cases.MeteredSolver

    def noting(left: int) -> cases.MeteredSolver:
        tried.append(left)
        return metered(left)

    monkeypatch.setattr(cases, "MeteredSolver", noting)
    monkeypatch.setattr(cases, "HARD_QUERIES", 1)
    monkeypatch.setattr(recovery, "MOST_EFFORT", 1 << 20)
    (claim,) = recover(machine, [question], BY_CASES)
    assert isinstance(claim, DeadEnd)
    assert tried[0] == 1 and set(tried) == {1 << at for at in range(len(set(tried)))} and len(set(tried)) > 2


@pytest.mark.thorough
def test_no_question_uses_up_the_time_of_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """One that never ends has its share; the one after it is decided all the same."""
    machine, question = random_siding(0)
    decide = recovery._Search.decide

    def endless(search: Any, asked: RecoveryQuestion, heuristics: Any) -> Any:
        while asked.id == "endless":
            search.clock.check()
        return decide(search, asked, heuristics)

    monkeypatch.setattr(recovery._Search, "decide", endless)
    questions = [RecoveryQuestion("endless", question.goal), question]
    first, second = recover(machine, questions, Limits(seconds=6, states=0))
    assert isinstance(first, Unknown) and is_time_reason(first.reason)
    assert not isinstance(second, Unknown)


def test_too_hard_is_undecided_without_a_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """How hard is too hard is counted in queries: with none to spare, and no region seen at once that is closed, a dead
    end stays undecided, in any time.
    """
    machine, question = next(case for case in map(random_siding, range(1, 99, 2)) if dead_ends(case[0], case[1].goal))
    monkeypatch.setattr(cases, "HARD_QUERIES", 0)
    monkeypatch.setattr(cases, "closed_region", lambda *_: None)
    (claim,) = recover(machine, [question], BY_CASES)
    assert isinstance(claim, Unknown)
    assert "nor that there is no way back" in claim.reason
