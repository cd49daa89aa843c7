"""What is known of states by their lanes, against the states themselves; and guesses by likeness."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence

import pytest

from interlock.confirm.failures import confirm_sets
from interlock.confirm.replay import replay
from interlock.kernel.evaluator import State, fire, truths_in
from interlock.kernel.expressions import TRUE, Expr, Is, conj, disj, neg
from interlock.kernel.failures import KnownSets
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.prove.core.encoding import TRUTH, Encoding
from interlock.prove.core.local import Cube
from interlock.prove.failures import sets
from interlock.prove.failures.likes import Likes
from interlock.prove.failures.looking_back import LookBack
from interlock.prove.failures.one_set import OneSet
from interlock.prove.failures.pool import Pool
from interlock.prove.failures.sets import smallest_sets
from interlock.prove.failures.states import Met, loosely_after
from tests.agreement.failing import random_failing


def lanes_of(met: Met) -> Iterator[int]:
    mask = met.masks[TRUTH]
    while mask:
        yield mask & -mask
        mask &= mask - 1


@pytest.fixture
def searches(monkeypatch: pytest.MonkeyPatch) -> list[OneSet]:
    """Every search under one set that is made, as it is before anything is looked for."""
    made: list[OneSet] = []

    class Kept(OneSet):
        def run(self, *args: object) -> list[Cube]:
            check(self)
            made.append(self)
            return super().run(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(sets, "OneSet", Kept)
    return made


def check(search: OneSet) -> None:
    """Each lane says of guards and targets what its state says, now and after one or two rules, or those that can."""
    met, rules = search.met, search.narrowed.rules
    if met is None:
        return
    machine, draw = rules.machine, random.Random(met.size)
    fired = [at for at, guard in enumerate(rules.guards) if guard != -TRUTH]
    pairs = [tuple(draw.sample(fired, min(len(fired), draw.randint(1, 2)))) for _ in range(6)]
    guards = {at: met.true(rules.guards[at]) for at in fired}
    first = draw.choice((0, met.first, draw.randint(0, met.size)))
    wanted = search.targets[:1]
    ends = {(pair, loosely): 0 for pair in pairs for loosely in (False, True)}
    for pair, loosely in ends:
        ends[pair, loosely] = sum(lanes for *_, lanes in met.before(rules, {pair: wanted}, first, loosely))
    for loosely in (False, True):
        # of several endings one is given for each target
        given = [(pair, lanes) for pair, _, lanes in met.before(rules, dict.fromkeys(pairs, wanted), first, loosely)]
        assert len(given) == any(ends[pair, loosely] for pair in pairs)
        assert all(lanes == ends[pair, loosely] for pair, lanes in given)
    asked = {target: met.true(target) for target in search.targets}
    encoding = rules.encoding
    facts = sorted(encoding.facts)
    cubes = {cube: met.within(cube) for cube in (tuple(draw.sample(facts, draw.randint(1, 3))) for _ in range(8))}
    wrong = {cube: met.nearest(cube) for cube in cubes}
    for lane in lanes_of(met):
        state = met.run_of(lane).states[-1]

        def is_so(literal: int, state: State = state) -> bool:
            if literal in encoding.facts:
                return truths_in(machine, state)(encoding.facts[literal])
            return all(is_so(part, state) for part in encoding.parts[abs(literal)]) == (literal > 0)

        for at in fired:
            assert bool(guards[at] & lane) == is_so(rules.guards[at]), machine.rules[at].name
        for target, lanes in asked.items():
            assert bool(lanes & lane) == is_so(target)
        for cube, lanes in cubes.items():
            false = sum(not is_so(literal) for literal in cube)
            assert bool(lanes & lane) == (not false)
            fewest, near = wrong[cube]
            assert false >= fewest
            assert bool(near & lane) == (false == fewest)
        for (pair, loosely), lanes in ends.items():
            after, possible = state, lane >= 1 << first
            for at in pair:
                can = is_so(rules.guards[at], after)
                possible = possible and (loosely or can)
                after = fire(machine, machine.rules[at], after) if can or not loosely else after
            assert bool(lanes & lane) == (possible and is_so(search.targets[0], after)), pair
            if loosely and lanes & lane:
                run = loosely_after(machine, met.run_of(lane), [machine.rules[at] for at in pair])
                assert run.states[-1] == after
                assert not replay(machine, TRUE, run)


@pytest.mark.parametrize(("first", "count", "most"), [(0, 8, 1), (100, 4, 2)])
def test_lanes_say_what_their_states_say(searches: list[OneSet], first: int, count: int, most: int) -> None:
    """Of random machines: where some failures struck, in every state that is known, before and after some rules."""
    for seed in range(first, first + count):
        machine, questions = random_failing(seed)
        smallest_sets(machine, questions, most)
    assert sum(search.met is not None for search in searches) >= count // 2


def test_clauses_that_keep_out_what_is_met_are_not_asked_about(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each has a run under the set into what it keeps out; the rest keeps out no state that is known."""
    told = left = 0
    meet = Pool.meet

    def met(self: Pool, number: int, within: Callable[[Cube], int]) -> None:
        nonlocal told, left
        before = {at: self.cubes[at] for at in self.standing(number)}
        meet(self, number, within)
        standing = set(self.standing(number))
        stay = set(self.staying(number))
        assert standing <= set(before)
        for at, cube in before.items():
            assert bool(within(cube)) == (at not in standing) or at in stay
            assert not (within(cube) and at in stay), "what holds under the set is met"
        told += len(before) - len(standing)
        left += len(standing)

    monkeypatch.setattr(Pool, "meet", met)
    for seed in (246, 326, 344, 350, 351):
        machine, questions = random_failing(seed)
        claims = smallest_sets(machine, questions, 2)
        assert all(isinstance(one, KnownSets) for one in confirm_sets(machine, questions, claims))
    assert told > 3
    assert left > 5


def striking_machine() -> tuple[Machine, list[Question]]:
    """A contact that welds pulls in a relay at once, where there is power and no wire has broken."""
    variables = tuple(Variable(name, (False, True), (False,)) for name in ("power", "relay", "weld", "broken", "ran"))
    pulls = conj(Is("power", True), neg(Is("broken", True)))
    welds = neg(Is("weld", True))
    rules = (
        Rule("on", Actor.CREW, Is("power", False), (("power", True),)),
        Rule("off", Actor.CREW, Is("power", True), (("power", False), ("relay", False))),
        Rule("weld, and the relay pulls in", Actor.FAILURE, conj(welds, pulls), (("weld", True), ("relay", True))),
        Rule("weld", Actor.FAILURE, conj(welds, neg(pulls)), (("weld", True),)),
        Rule("break", Actor.FAILURE, neg(Is("broken", True)), (("broken", True),)),
        Rule("run", Actor.PLANT, conj(Is("relay", False), Is("weld", True)), (("ran", True),)),
    )
    targets = {"relay": Is("relay", True), "ran": Is("ran", True), "ran on": conj(Is("ran", True), Is("power", True))}
    return Machine(variables, (), rules), [Question(id, target) for id, target in targets.items()]


def test_a_failure_strikes_as_it_does_where_no_other_has(searches: list[OneSet]) -> None:
    """What follows at once from a failure may hang on another, which has not struck in the states of this one alone."""
    machine, questions = striking_machine()
    claims = smallest_sets(machine, questions, 2)
    assert any(search.met is not None for search in searches)
    findings = confirm_sets(machine, questions, claims)
    assert all(isinstance(finding, KnownSets) for finding in findings)


def lane_machine(lanes: int) -> tuple[Machine, list[Question]]:
    """Places in rows, each with a lamp that only stands while a door is shut, unless the row's own wire fails.

    A row may wait for the row before it; the first has none before it, so no two rows read quite alike.
    """
    variables: list[Variable] = []
    rules: list[Rule] = []
    for at in range(lanes):
        lamp, door, wire = f"lamp{at}", f"door{at}", f"wire{at}"
        before: tuple[Expr, ...] = (Is(f"lamp{at - 1}", False),) if at else ()
        variables += [Variable(name, (False, True), (False,)) for name in (lamp, door, wire)]
        rules += [
            Rule(f"open {at}", Actor.CREW, conj(Is(lamp, False), *before), ((door, True),)),
            Rule(f"shut {at}", Actor.CREW, Is(door, True), ((door, False),)),
            Rule(f"light {at}", Actor.PLANT, disj(Is(door, False), Is(wire, True)), ((lamp, True),)),
            Rule(f"dark {at}", Actor.PLANT, Is(lamp, True), ((lamp, False),)),
            Rule(f"fail {at}", Actor.FAILURE, neg(Is(wire, True)), ((wire, True),)),
        ]
    questions = [Question(f"{at}", conj(Is(f"lamp{at}", True), Is(f"door{at}", True))) for at in range(lanes)]
    return Machine(tuple(variables), (), tuple(rules)), questions


def test_what_is_said_of_one_row_is_said_of_the_others() -> None:
    """The clause of one row gives that of each other row, though they do not read alike."""
    machine, questions = lane_machine(5)
    encoding = Encoding(machine)
    likes = Likes(encoding, [question.target for question in questions])

    def cube(at: int) -> Cube:
        return tuple(sorted((encoding.literals[f"lamp{at}", True], encoding.literals[f"door{at}", True])))

    assert {cube(at) for at in (0, 1, 3, 4)} <= set(likes.of(cube(2)))
    assert cube(2) not in likes.of(cube(2))
    assert likes.of((encoding.literals["lamp1", True],)) == []


def test_a_failure_is_like_that_of_another_row() -> None:
    """A clause that holds but where something fails gives the same of other rows, each with its own failure."""
    machine, questions = lane_machine(5)
    encoding = Encoding(machine)
    likes = Likes(encoding, [question.target for question in questions])

    def cube(at: int, wire: int) -> Cube:
        facts = ((f"lamp{at}", True), (f"door{at}", True), (f"wire{wire}", False))
        return tuple(sorted(encoding.literals[fact] for fact in facts))

    found = likes.of(cube(2, 2))
    assert {cube(at, at) for at in (0, 1, 3, 4)} <= set(found)
    assert not {cube(at, wire) for at in range(5) for wire in range(5) if at != wire}.intersection(found)


def test_no_more_is_tried_for_likes_than_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the clauses like one no more than two are found where two beginnings are followed."""
    machine, questions = lane_machine(5)
    encoding = Encoding(machine)
    likes = Likes(encoding, [question.target for question in questions])
    cube = tuple(sorted((encoding.literals["lamp0", True], encoding.literals["door0", True])))
    assert len(likes.of(cube)) >= 4
    monkeypatch.setattr("interlock.prove.failures.likes.MOST_TRIED", 2)
    assert len(likes.of(cube)) <= 2


def test_a_guess_is_believed_only_where_it_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever is guessed, even that nothing is ever so, the sets are the same and are confirmed."""
    machine, questions = lane_machine(4)
    plain = smallest_sets(machine, questions, 2)
    guessed: list[int] = []

    def of(self: Likes, cube: Cube) -> list[Cube]:
        facts = [literal for literal in self.encoding.facts if abs(literal) != TRUTH]
        guessed.append(len(facts))
        return [(literal,) for literal in facts]

    def settled(work: sets._Work, number: int, thoroughly: bool) -> None:
        work.pool.guess(work.like([()]))
        settle(work, number, thoroughly)

    settle = sets._Work.settle
    monkeypatch.setattr(Likes, "of", of)
    monkeypatch.setattr(sets._Work, "settle", settled)
    claims = smallest_sets(machine, questions, 2)
    assert guessed
    assert [claim.sets for claim in claims] == [claim.sets for claim in plain]
    assert [claim.sets for claim in plain] == [((f"wire{at}",),) for at in range(4)]
    for finding in confirm_sets(machine, questions, claims):
        assert isinstance(finding, KnownSets)
        assert finding.complete == 2


def test_what_two_led_to_is_followed_for_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each of two switches lets a hatch be shut on a load, each of two wires then lets a drive run: searched once."""
    names = ("switch0", "switch1", "wire0", "wire1")
    variables = tuple(Variable(name, (False, True), (False,)) for name in ("loaded", "shut", "held", "ran", *names))
    wrong, live = disj(Is("switch0", True), Is("switch1", True)), disj(Is("wire0", True), Is("wire1", True))
    rules = [
        Rule("load", Actor.CREW, Is("shut", False), (("loaded", True),)),
        Rule("shut", Actor.CREW, disj(Is("loaded", False), wrong), (("shut", True),)),
        Rule("hold", Actor.CREW, TRUE, (("held", True),)),
        Rule("run", Actor.PLANT, conj(Is("shut", True), Is("loaded", True), Is("held", True), live), (("ran", True),)),
        *(Rule(f"{name} fails", Actor.FAILURE, Is(name, False), ((name, True),)) for name in names[:2]),
        *(
            Rule(f"{name} fails", Actor.FAILURE, conj(Is(name, False), Is("shut", True)), ((name, True),))
            for name in names[2:]
        ),
    ]
    searched: list[list[str]] = []
    by_frames = OneSet._by_frames

    def kept(self: OneSet, *args: object) -> Sequence[Cube]:
        searched.append([] if self.met is None else list(self.met._strikes))
        return by_frames(self, *args)  # type: ignore[arg-type]

    monkeypatch.setattr(OneSet, "_by_frames", kept)
    monkeypatch.setattr(sets._Work, "look_ahead", lambda *args: {})
    monkeypatch.setattr(LookBack, "run_to", lambda self, target, shortly=False: None)
    machine, question = Machine(variables, (), tuple(rules)), Question("ran", Is("ran", True))
    (claim,) = smallest_sets(machine, [question], 2)
    assert sorted(claim.sets) == [(a, b) for a in names[:2] for b in names[2:]]
    assert isinstance(confirm_sets(machine, [question], [claim])[0], KnownSets)

    assert [len(own) for own in searched].count(2) == 1
