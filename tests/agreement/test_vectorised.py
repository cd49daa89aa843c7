"""The engine on arrays against the plain one: same counts, same verdicts, runs that replay."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from interlock.kernel.claims import Limits, Proved, Refuted, Unknown
from interlock.kernel.evaluator import State, evaluate
from interlock.kernel.expressions import Is, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.prove.search import arrays, enumeration, explicit, vectorised
from tests.agreement.engines import assert_runs, every_state
from tests.agreement.random_machines import random_case
from tests.benchmarks.families import lanes_by_rows
from tests.published import puzzles

SEEDS = range(120)


@pytest.fixture(params=["one word", "several words", "crumbs"])
def setting(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """As shipped; with words so small that most machines need several; with everything cut into small pieces."""
    if request.param == "several words":
        monkeypatch.setattr(arrays, "WORD", 4)
    elif request.param == "crumbs":
        for name, value in {"CHUNK": 3, "BATCH": 5, "SIEVE_BITS": 2, "MOST_BEFORE": 1}.items():
            monkeypatch.setattr(vectorised, name, value)
    chosen: str = request.param
    return chosen


def test_counts_agree_on_random_machines(setting: str) -> None:
    """States, steps, depth, states per depth and dead ends are those of the plain engine."""
    words = set()
    for seed in SEEDS:
        machine, _ = random_case(seed)
        assert vectorised.count_states(machine) == explicit.count_states(machine), seed
        words.add(arrays.Layout(machine).words)
    assert (max(words) >= 3) == (setting == "several words")


def test_counts_agree_where_depth_is_bounded(setting: str) -> None:
    """With a bound on depth the numbers of what was seen, and whether it was all, are those of the plain engine."""
    incomplete = 0
    for seed in SEEDS:
        machine, _ = random_case(seed)
        for depth in (0, 2):
            mine = vectorised.count_states(machine, Limits(depth=depth))
            assert mine == explicit.count_states(machine, Limits(depth=depth)), (seed, depth)
            incomplete += not mine.complete
    assert incomplete > 30


def test_verdicts_agree_on_random_machines(setting: str) -> None:
    """Every verdict and every length is that of the plain engine; every run replays; every proof counts the states."""
    kinds = {Proved: 0, Refuted: 0}
    for seed in SEEDS:
        machine, questions = random_case(seed)
        for question, mine, plain in zip(
            questions, vectorised.vectorised(machine, questions), explicit.explicit(machine, questions), strict=True
        ):
            kinds[type(mine)] += 1
            assert mine == replace(plain, engine="vectorised") or isinstance(mine, Refuted), seed
            if isinstance(mine, Refuted):
                assert isinstance(plain, Refuted)
                assert mine.shortest
                assert mine.trace.depth == plain.trace.depth
                assert_runs(machine, question, mine.trace)
    assert min(kinds.values()) > 100


def test_truths_are_those_of_the_evaluator(setting: str) -> None:
    """On every state, reachable or not, guards and targets over arrays say what the reference evaluator says."""
    import numpy as np

    for seed in range(40):
        machine, questions = random_case(seed)
        exprs = [rule.guard for rule in machine.rules] + [question.target for question in questions]
        layout = arrays.Layout(machine)
        states = every_state(machine)
        packed = np.array([layout.pack(state) for state in states], np.uint64)
        assert [layout.unpack([int(word) for word in row]) for row in packed] == states
        given = dict(arrays.compile_truths(layout, exprs)(list(packed.T)))
        for at, expr in enumerate(exprs):
            expected = [evaluate(machine, expr, state) for state in states]
            assert np.broadcast_to(given.get(at, False), len(states)).tolist() == expected, (seed, at)


def test_keys_are_one_to_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Different states have different keys, keys lead back to their states, and what has no key is told apart."""
    import numpy as np

    monkeypatch.setattr(arrays, "WORD", 3)
    machine = lanes_by_rows(1, 1)
    layout = arrays.Layout(machine)
    keys = arrays.Keys(layout)
    states: list[State] = every_state(machine)
    words = [np.ascontiguousarray(column) for column in np.array([layout.pack(s) for s in states], np.uint64).T]
    assert len(words) > 3
    half = [word[::2] for word in words]
    made = keys.encode(half)
    assert len(np.unique(made)) == len(half[0])
    for word, back in zip(half, keys.decode(made), strict=True):
        assert (word == back).all()
    found, there = keys.known(words)
    assert set(found[::2]) == set(made) and there[::2].all()
    assert not np.isin(found[1::2][there[1::2]], made).any()


def test_a_hold_shaped_machine(setting: str) -> None:
    """A machine with hundreds or thousands of states, shaped like a hold, counts the same."""
    machine = lanes_by_rows(1, 1 if setting == "crumbs" else 2)
    assert vectorised.count_states(machine) == explicit.count_states(machine)


def test_many_initial_states_are_counted_through() -> None:
    """Initial states are every choice of `init` values that satisfies `start`, also where they fill several chunks."""
    names = [f"b{at}" for at in range(17)]
    some = disj(*(Is(name, False) for name in names[:3]))
    machine = Machine(tuple(Variable(name, (False, True), (True, False)) for name in names), (), (), (), some)
    count = vectorised.count_states(machine)
    assert (count.states, count.steps, count.dead) == (2**17 - 2**14, 0, 2**17 - 2**14)


def test_a_state_wider_than_two_words() -> None:
    """A machine of 150 bits, more than two words, is counted: a token on a ring of 150 places."""
    names = [f"here{at}" for at in range(150)]
    rules = tuple(
        Rule(f"move {at}", Actor.PLANT, Is(name, True), ((name, False), (names[(at + 1) % 150], True)))
        for at, name in enumerate(names)
    )
    machine = Machine(tuple(Variable(n, (False, True), (n == "here0",)) for n in names), (), rules)
    (claim,) = vectorised.vectorised(machine, [Question("far", Is("here149", True))])
    assert isinstance(claim, Refuted) and claim.trace.depth == 149
    assert vectorised.count_states(machine).states == 150


def test_a_variable_of_many_values() -> None:
    """A counter of 300 values, more than a byte holds, is counted to its end and asked about several values."""
    rules = tuple(Rule(f"to {n + 1}", Actor.PLANT, Is("n", n), (("n", n + 1),)) for n in range(299))
    machine = Machine((Variable("n", tuple(range(300)), (0,)),), (), rules)
    assert vectorised.count_states(machine) == explicit.count_states(machine)
    questions = [Question(str(n), Is("n", n)) for n in (255, 256, 299)]
    for question, claim in zip(questions, vectorised.vectorised(machine, questions), strict=True):
        assert isinstance(claim, Refuted) and claim.trace.depth == int(question.id)


def free_bits(n: int) -> Machine:
    """n bits that flip at will: 2^n states, n deep."""
    rules = [
        Rule(f"{at} {to}", Actor.CREW, Is(f"b{at}", not to), ((f"b{at}", to),))
        for at in range(n)
        for to in (True, False)
    ]
    return Machine(tuple(Variable(f"b{at}", (False, True), (False,)) for at in range(n)), (), tuple(rules))


def test_it_stops_at_its_states() -> None:
    """Beyond the states it may hold it stops, says so, and how deep it looked; what it met before still counts."""
    machine = free_bits(16)
    near, far = Is("b3", True), conj(*(Is(f"b{at}", True) for at in range(16)))
    claims = vectorised.vectorised(machine, [Question("near", near), Question("far", far)], Limits(states=5_000))
    assert isinstance(claims[0], Refuted)
    # 1, 16, 120, 560, 1820 states: 2517 up to depth 4, 6885 up to depth 5
    assert claims[1] == Unknown("far", "vectorised", "more than 5,000 states", 4)
    count = vectorised.count_states(machine, Limits(states=5_000))
    assert not count.complete and count.per_depth == (1, 16, 120, 560, 1820, 4368)


def test_it_stops_at_its_memory() -> None:
    """It stops before more memory is held than allowed, and says how much that was and how many states it saw."""
    (claim,) = vectorised.vectorised(free_bits(18), [Question("q", disj())], Limits(), most_bytes=2 << 20)
    assert isinstance(claim, Unknown)
    assert claim.reason.startswith("more than 2 MiB would be needed; ") and claim.reason.endswith(" states were seen")
    assert 3 < claim.depth < 18
    assert not vectorised.count_states(free_bits(18), most_bytes=2 << 20).complete


def test_it_stops_in_time() -> None:
    """Out of time it claims nothing about what is open."""
    (claim,) = vectorised.vectorised(free_bits(18), [Question("q", disj())], Limits(seconds=0.001))
    assert isinstance(claim, Unknown) and "out of time" in claim.reason


def test_interrupted_it_keeps_what_it_met() -> None:
    """A run that was met before the interruption is claimed; the rest is open."""

    def interrupt(progress: object) -> None:
        raise KeyboardInterrupt

    questions = [Question("now", neg(Is("b0", True))), Question("later", Is("b0", True))]
    claims = vectorised.vectorised(free_bits(4), questions, report=interrupt)
    assert isinstance(claims[0], Refuted)
    assert claims[1] == Unknown("later", "vectorised", "interrupted", 0)


def engines_of(claims: tuple[object, ...]) -> Iterator[str]:
    for claim in claims:
        assert isinstance(claim, Proved | Refuted | Unknown)
        yield claim.engine


def test_the_choice_is_made_by_size_and_shape() -> None:
    """Few states and thin lines of states are visited one by one; many are visited as arrays."""
    never = [Question("q", disj())]
    assert list(engines_of(enumeration.enumeration(lanes_by_rows(1, 2), never))) == ["explicit"]
    assert list(engines_of(enumeration.enumeration(free_bits(16), never))) == ["vectorised"]
    # 3^10 states on one path
    line = puzzles.hanoi(3, 10, "adjacent")
    assert list(engines_of(enumeration.enumeration(line, never))) == ["explicit"]
    assert enumeration.count_states(line).per_depth == (1,) * 3**10
    assert enumeration.count_states(free_bits(16)).states == 2**16


def test_what_one_by_one_found_is_kept() -> None:
    """A question answered before the change to arrays keeps its answer; the others are answered after it."""
    every = conj(*(Is(f"b{at}", True) for at in range(16)))
    questions = [Question("near", Is("b1", True)), Question("far", every)]
    claims = enumeration.enumeration(free_bits(16), questions)
    assert list(engines_of(claims)) == ["explicit", "vectorised"]
    for question, claim, depth in zip(questions, claims, (1, 16), strict=True):
        assert isinstance(claim, Refuted) and claim.trace.depth == depth
        assert_runs(free_bits(16), question, claim.trace)


def test_the_limits_hold_across_the_choice() -> None:
    """A limit in states that lies below or above the point of choice is kept, and told."""
    for most in (1_000, 30_000):
        (claim,) = enumeration.enumeration(free_bits(17), [Question("q", disj())], Limits(states=most))
        assert isinstance(claim, Unknown) and claim.reason == f"more than {most:,} states"
        count = enumeration.count_states(free_bits(17), Limits(states=most))
        assert not count.complete and count.states > most
    (claim,) = enumeration.enumeration(free_bits(17), [Question("q", disj())], Limits(depth=12))
    assert claim == Unknown("q", "vectorised", "states lie deeper than 12 steps", 12)
