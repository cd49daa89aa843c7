"""Machines that are wide in one way: domains of thousands of values, rules by the ten thousand, signals, starts."""

from __future__ import annotations

from time import process_time

import pytest

from interlock.kernel.claims import Limits, Proved, Refuted, Unknown
from interlock.kernel.expressions import TRUE, And, Expr, Is, Ref, conj, neg
from interlock.kernel.machine import Machine, Question, Rule, Signal, Variable
from interlock.prove import decide as strategy
from interlock.prove.core import encoding
from interlock.prove.core.local import LocalRules
from interlock.prove.decide import decide
from interlock.prove.diagrams.forest import Exhausted
from interlock.prove.diagrams.reaching import Reached
from interlock.prove.diagrams.saturation import TOO_MUCH, diagrams
from interlock.prove.engine import Clock, OutOfTime
from interlock.prove.memory import resident_bytes
from interlock.prove.search import explicit, unrolling
from interlock.prove.search.bmc import bmc
from tests.published.cases import by_case, step, switch, up_to
from tests.published.puzzles import missionaries, sliding
from tests.some import some, swept

from .judging import judge
from .random_machines import random_case


def two_numbers(most: int, switches: int = 6) -> tuple[Machine, list[Question]]:
    """Two numbers that are counted, and switches that say in which way; the fourth is never put back."""
    ways = [f"way{at}" for at in range(switches)]
    rules: list[Rule] = []
    for n in range(most):
        rules.append(step(f"a up {n}", conj(Is("a", n), Is("way0", False)), {"a": n + 1}))
        rules.append(step(f"a down {n}", conj(Is("a", n + 1), Is("way0", True)), {"a": n}))
        rules.append(step(f"b up {n}", conj(Is("b", n), Is("way1", False)), {"b": n + 1}))
    rules += [step(f"{way} on", Is(way, False), {way: True}) for way in ways]
    rules += [step(f"{way} off", Is(way, True), {way: False}) for way in ways if way != "way3"]
    machine = Machine((up_to("a", most), *map(switch, ways), up_to("b", most)), (), tuple(rules))
    targets = {"far": conj(Is("a", most), Is("b", most), Is("way3", True)), "near": conj(Is("a", 3), Is("way3", True))}
    return machine, [Question(name, target) for name, target in targets.items()]


@pytest.mark.thorough
def test_large_domains_keep_to_the_limit() -> None:
    """Domains of 3,000 values neither run past a limit in seconds nor fill the memory."""
    machine, questions = two_numbers(3_000)
    held, begun = resident_bytes(), process_time()
    claims = decide(machine, questions, Limits(seconds=2.0))
    assert process_time() - begun < 8
    assert isinstance(claims[1], Refuted | Unknown)
    after = resident_bytes()
    if held is not None and after is not None:
        assert after - held < 500 << 20


def test_rules_of_large_domains_take_little_room() -> None:
    """What a rule makes true of a large variable is not listed value by value, and yet known."""
    machine, _ = two_numbers(1_000, 2)
    rules = LocalRules(machine)
    literal = {value: literal for literal, value in rules.encoding.values["a"]}
    up, down = rules.making(literal[500])
    assert [machine.rules[at].name for at in (up, down)] == ["a up 499", "a down 500"]
    assert len(rules.making(-literal[500])) == 2 * 1_000 - 2
    assert rules.effects[up][literal[500]] and not rules.effects[up][literal[499]]
    assert literal[500] in rules.effects[up] and abs(rules.encoding.values["way0"][0][0]) not in rules.effects[up]
    assert len(rules.effects[up]) == 1_001


def test_making_rules_looks_at_the_clock() -> None:
    """Ten thousand rules are not encoded past the time."""
    machine, questions = two_numbers(3_000)
    with pytest.raises(OutOfTime):
        LocalRules(machine, Clock(0.0))
    (claim,) = bmc(machine, questions[:1], Limits(seconds=0.0))
    assert isinstance(claim, Unknown) and "time" in claim.reason


@pytest.mark.parametrize("block", swept(range(4), 4))
def test_engines_agree_where_every_domain_counts_as_large(block: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is done for large domains alone is right: judged where all are taken to be large."""
    monkeypatch.setattr(encoding, "MOST_LISTED", 2)
    monkeypatch.setattr(unrolling, "MOST_LISTED", 2)
    for seed in range(block * 25, block * 25 + 25):
        judge(seed, ("pdr", "mined", "bmc", "k_induction", "decide"))


def test_sorted_rules_count_as_compiled_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    """States, steps, depths and dead ends are the same whether rules are sorted by what they ask or asked in turn."""
    machines = [random_case(seed)[0] for seed in range(150)]
    machines += [sliding(2, 3, (0, 0)), missionaries(4, 3)]
    for machine in some(machines):
        monkeypatch.setattr(explicit, "MOST_COMPILED", 1_000)
        compiled = explicit.count_states(machine)
        monkeypatch.setattr(explicit, "MOST_COMPILED", -1)
        assert explicit.count_states(machine) == compiled


def test_sorted_rules_answer_as_compiled_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    """The plain engine on sorted rules is judged as all engines are."""
    monkeypatch.setattr(explicit, "MOST_COMPILED", -1)
    for seed in range(100):
        judge(seed, ("explicit",))


@pytest.mark.thorough
def test_many_rules_and_few_states_are_quick() -> None:
    """48,400 rules of which a few apply anywhere: seconds were spent on compiling rules that no state asks about."""
    first, second = up_to("a", 219), up_to("b", 219)

    def change(a: int, b: int) -> tuple[int, int]:
        return ((a + 1) % 220, (7 * b + a) % 220) if (a + b) % 2 == 0 else ((3 * a + b) % 220, (b + 1) % 220)

    machine = Machine((first, second), (), tuple(by_case("moves", (first, second), change)))
    assert len(machine.rules) > 48_000
    begun = process_time()
    counted = explicit.count_states(machine)
    assert process_time() - begun < 5
    assert counted.states == counted.steps > 1_000
    (claim,) = decide(machine, [Question("corner", conj(Is("a", 219), Is("b", 219)))], Limits(seconds=60))
    assert isinstance(claim, Proved | Refuted)


def test_signals_by_the_thousand() -> None:
    """Five thousand signals, each over the one before, are worked out once a state."""
    signals = [Signal("s0", Is("on", True))]
    signals += [Signal(f"s{at}", conj(Ref(f"s{at - 1}"), Is(f"f{at % 8}", True))) for at in range(1, 5_000)]
    flags = tuple(switch(f"f{at}") for at in range(8))
    rules = [step(f"f{at}", Is(f"f{at}", False), {f"f{at}": True}) for at in range(7)]
    rules.append(step("on", neg(Ref("s4999")), {"on": True}))
    machine = Machine((switch("on"), *flags), tuple(signals), tuple(rules))
    begun = process_time()
    last, first = decide(machine, [Question("last", Ref("s4999")), Question("first", Ref("s0"))], Limits(seconds=60))
    assert process_time() - begun < 10
    assert isinstance(last, Proved) and isinstance(first, Refuted)


def test_starts_that_hardly_ever_fit_do_not_hold_up() -> None:
    """A start that excludes nearly all of 2 ** 40 combinations is not tried out one by one past the limit."""
    flags = tuple(Variable(f"f{at}", (False, True), (False, True)) for at in range(40))
    all_on: Expr = And(tuple(Is(f"f{at}", True) for at in range(40)))
    machine = Machine(flags, (), (step("off", Is("f0", True), {"f0": False}),), start=all_on)
    questions = [Question("f0", Is("f0", False), expects_run=True), Question("f1", Is("f1", False))]
    begun = process_time()
    f0, f1 = decide(machine, questions, Limits(seconds=20.0))
    assert process_time() - begun < 15
    assert isinstance(f0, Refuted) and f0.trace.depth == 1
    assert isinstance(f1, Proved)


def test_everything_is_judged_where_turns_are_short(monkeypatch: pytest.MonkeyPatch) -> None:
    """With next to nothing allowed at first, every means of the default strategy gets its turn, and none is wrong."""
    for name in ("FIRST_LOOK", "FIRST_GUARDS", "TURN_GUARDS", "MINING_LOOKS", "MINING_LOOKS_EACH", "LEAST_LOOKS"):
        monkeypatch.setattr(strategy, name, 1)
    for name in ("FIRST_WORK", "TURN_WORK"):
        monkeypatch.setattr(strategy, name, 0)
    for seed in range(60):
        judge(seed, ("decide", "decide with facts"))


def test_what_was_not_looked_at_is_not_said_to_be_reached(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it took too much work to say whether a reached state is in the target, no claim says that one is."""
    steps = tuple(step(f"up {at}", Is("n", at), {"n": at + 1}) for at in range(8))
    machine = Machine((up_to("n", 9),), (), steps)
    questions = [Question("never", Is("n", 9)), Question("reached", Is("n", 5))]

    def too_much(_reached: Reached, _states: int, _target: Expr) -> int:
        raise Exhausted

    whole = Reached.meeting
    monkeypatch.setattr(Reached, "meeting", lambda *args: whole(*args) if args[2] == TRUE else too_much(*args))
    claims = diagrams(machine, questions)
    assert [claim.reason for claim in claims if isinstance(claim, Unknown)] == [TOO_MUCH, TOO_MUCH]
    monkeypatch.setattr(strategy, "FIRST_LOOK", 1)
    never, reached = decide(machine, questions, Limits(seconds=60))
    assert isinstance(never, Proved) and isinstance(reached, Refuted)
