"""One contract for every engine, on machines small enough to see the answer."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import pytest

from interlock.kernel.claims import Limits, Progress, Proved, Refuted, Unknown
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Ref, Value, conj, disj, neg
from interlock.kernel.machine import (
    Actor,
    Machine,
    Question,
    Requirement,
    RequirementKind,
    Rule,
    Signal,
    Variable,
    question_of,
    with_monitors,
)
from interlock.prove.decide import decide

from .engines import COMPLETE, ENGINES, ON_Z3, SHORTEST, assert_inductive, assert_true, reachable_states, truth

every_engine = pytest.mark.parametrize(
    "engine", [*ENGINES.values(), *ON_Z3.values()], ids=[*ENGINES, *(f"{n} on z3" for n in ON_Z3)]
)
complete_engines = pytest.mark.parametrize("engine", COMPLETE.values(), ids=COMPLETE.keys())
shortest_engines = pytest.mark.parametrize("engine", SHORTEST.values(), ids=SHORTEST.keys())

WITHIN = Limits(depth=12)


def rule(name: str, guard: Expr, **update: Value) -> Rule:
    return Rule(name, Actor.CREW, guard, tuple(update.items()))


def flag(name: str, *init: bool) -> Variable:
    return Variable(name, (False, True), init or (False,))


def check(engine: Any, machine: Machine, targets: Mapping[str, Expr], limits: Limits = WITHIN) -> dict[str, Any]:
    """Asks, holds every claim against the enumerated states, and gives the claims by question."""
    questions = [Question(name, target) for name, target in targets.items()]
    claims = engine(machine, questions, limits)
    assert len(claims) == len(questions)
    depths = reachable_states(machine)
    for question, claim, depth in zip(questions, claims, truth(machine, questions, depths), strict=True):
        assert_true(machine, question, claim, depth, depths)
    return {claim.question: claim for claim in claims}


def counter(top: int) -> Machine:
    """Counts to `top` and stays there."""
    rules = tuple(rule(f"count{at}", Is("n", at), n=at + 1) for at in range(top))
    return Machine((Variable("n", tuple(range(top + 2)), (0,)),), (), rules)


@every_engine
def test_initial_state_in_the_target_is_a_run_of_no_steps(engine: Any) -> None:
    """A target that holds at the start is refuted by a run of no steps."""
    claims = check(engine, counter(3), {"start": Is("n", 0), "all": TRUE})
    assert [claim.trace.depth for claim in claims.values()] == [0, 0]


@every_engine
def test_a_false_target_is_never_reached(engine: Any) -> None:
    """A target that no valuation satisfies is never refuted; complete engines prove it."""
    claims = check(engine, counter(3), {"never": FALSE})
    assert isinstance(claims["never"], Proved | Unknown)


@every_engine
def test_no_question_no_claim(engine: Any) -> None:
    """Without questions there are no claims."""
    assert engine(counter(3), [], WITHIN) == ()


@every_engine
def test_answers_stand_in_the_order_of_the_questions(engine: Any) -> None:
    """Claims come in the order asked, whatever order they were found in; the same target may be asked twice."""
    targets = {"far": Is("n", 3), "out": Is("n", 4), "near": Is("n", 1), "far again": Is("n", 3)}
    claims = check(engine, counter(3), targets)
    assert list(claims) == list(targets)
    assert claims["far"].trace.depth == claims["far again"].trace.depth == 3


@every_engine
def test_a_machine_without_rules_stays_where_it_is(engine: Any) -> None:
    """Without rules the reachable states are the initial ones."""
    machine = Machine((flag("a", False, True), flag("b")), (), ())
    claims = check(engine, machine, {"a": Is("a", True), "b": Is("b", True)})
    assert isinstance(claims["a"], Refuted)
    assert isinstance(claims["b"], Proved | Unknown)


@every_engine
def test_several_initial_states(engine: Any) -> None:
    """The nearest initial state counts."""
    machine = Machine(
        (Variable("n", (0, 1, 2, 3, 4, 5), (0, 3)), flag("a", False, True)),
        (),
        tuple(rule(f"up{at}", Is("n", at), n=at + 1) for at in range(5)),
    )
    claims = check(engine, machine, {"five": Is("n", 5), "both": conj(Is("n", 2), Is("a", True))})
    assert claims["five"].trace.depth == 2


@every_engine
def test_the_start_constraint_ties_initial_values(engine: Any) -> None:
    """`start` rules out combinations that the variables would allow one by one."""
    machine = Machine(
        (flag("a", False, True), flag("b", False, True)),
        (),
        (rule("swap", conj(Is("a", True), Is("b", False)), a=False, b=True),),
        start=neg(disj(conj(Is("a", True), Is("b", True)), conj(Is("a", False), Is("b", False)))),
    )
    claims = check(engine, machine, {"both": conj(Is("a", True), Is("b", True)), "b": Is("b", True)})
    assert isinstance(claims["both"], Proved | Unknown)
    assert claims["b"].trace.depth == 0


@every_engine
def test_a_start_that_cannot_be_met_reaches_nothing(engine: Any) -> None:
    """With no initial state nothing is reachable, whatever is asked."""
    machine = Machine((flag("a"),), (), (rule("set", TRUE, a=True),), start=Is("a", True))
    claims = check(engine, machine, {"any": TRUE, "a": Is("a", True)})
    assert all(isinstance(claim, Proved | Unknown) for claim in claims.values())


@every_engine
def test_a_dead_end_ends_the_run(engine: Any) -> None:
    """In a state without a step nothing more happens, and a rule that is never enabled never fires."""
    machine = Machine(
        (flag("stuck"), flag("a"), flag("b")),
        (),
        (rule("trap", Is("stuck", False), stuck=True), rule("a", conj(Is("stuck", True), Is("b", True)), a=True)),
    )
    claims = check(engine, machine, {"stuck": Is("stuck", True), "a": Is("a", True)})
    assert claims["stuck"].trace.depth == 1
    assert isinstance(claims["a"], Proved | Unknown)


@every_engine
def test_domains_of_many_kinds(engine: Any) -> None:
    """Booleans, numbers, names, a single value and large domains mean what they say."""
    places = ("aft", "mid", "fore", "out", "loader", "dock", "yard", "gate", "road")
    machine = Machine(
        (
            Variable("place", places, ("aft",)),
            Variable("fixed", ("only",), ("only",)),
            Variable("way", ("up", "down"), ("up",)),
            Variable("n", (2, 5, 7), (5,)),
        ),
        (),
        (
            *(rule(f"to {b}", conj(Is("place", a), Is("way", "up")), place=b) for a, b in pairwise(places)),
            rule("turn", conj(Is("place", "dock"), Is("fixed", "only")), way="down", n=7),
        ),
    )
    targets = {
        "road": Is("place", "road"),
        "turned": conj(Is("way", "down"), Is("n", 7)),
        "two": Is("n", 2),
        "late": conj(Is("way", "down"), Is("place", "gate")),
        "not fixed": neg(Is("fixed", "only")),
        "elsewhere": neg(disj(*(Is("place", place) for place in places))),
    }
    claims = check(engine, machine, targets)
    assert [claims["road"].trace.depth, claims["turned"].trace.depth] == [8, 6]
    assert not any(isinstance(claims[name], Refuted) for name in ("two", "late", "not fixed", "elsewhere"))


@every_engine
def test_signals_mean_their_definitions(engine: Any) -> None:
    """Signals over signals, in guards, targets and the start, mean what they stand for in the state at hand."""
    machine = Machine(
        (flag("power", False, True), flag("door"), flag("drive")),
        (
            Signal("runs", conj(Ref("permit"), Is("drive", True))),
            Signal("permit", conj(Is("power", True), neg(Is("door", True)))),
        ),
        (
            rule("power", neg(Is("power", True)), power=True),
            rule("drive", Ref("permit"), drive=True),
            rule("door", neg(Ref("runs")), door=True),
        ),
        start=neg(Ref("permit")),
    )
    claims = check(engine, machine, {"runs": Ref("runs"), "over": conj(Is("door", True), Ref("runs"))})
    assert claims["runs"].trace.depth == 2
    assert isinstance(claims["over"], Proved | Unknown)


@every_engine
def test_updates_happen_at_once(engine: Any) -> None:
    """All assignments of a rule take effect together: no state in between is reachable."""
    machine = Machine((flag("a", True), flag("b")), (), (rule("swap", Is("a", True), a=False, b=True),))
    claims = check(engine, machine, {"neither": conj(Is("a", False), Is("b", False)), "b": Is("b", True)})
    assert isinstance(claims["neither"], Proved | Unknown)
    assert claims["b"].trace.depth == 1


@every_engine
def test_one_rule_fires_per_step(engine: Any) -> None:
    """Two independent rules take two steps, never one, in either order of the rules."""
    machine = Machine((flag("a"), flag("b")), (), (rule("b", TRUE, b=True), rule("a", TRUE, a=True)))
    claims = check(engine, machine, {"both": conj(Is("a", True), Is("b", True))})
    assert claims["both"].trace.depth == 2


@every_engine
def test_order_requirements_are_remembered(engine: Any) -> None:
    """The memory that `with_monitors` adds is true from `first` until `since`, on every engine."""
    machine = with_monitors(
        Machine(
            (flag("locked"), flag("moved")),
            (),
            (
                rule("lock", Is("locked", False), locked=True),
                rule("unlock", Is("locked", True), locked=False),
                rule("move", Is("locked", True), moved=True),
            ),
            (
                Requirement("sound", RequirementKind.ORDER, steps=frozenset({"move"}), first=frozenset({"lock"})),
                Requirement(
                    "broken",
                    RequirementKind.ORDER,
                    steps=frozenset({"unlock"}),
                    first=frozenset({"lock"}),
                    since=frozenset({"move"}),
                ),
            ),
        )
    )
    targets = {r.id: question_of(machine, r).target for r in machine.requirements}
    claims = check(engine, machine, targets)
    assert isinstance(claims["sound"], Proved | Unknown)
    assert claims["broken"].trace.rules == ("lock", "move")


@every_engine
def test_what_can_be_after_something_else_is_remembered(engine: Any) -> None:
    """`can` with `first` asks for a state after such a step: not for one before it, nor for one that needs none."""
    machine = with_monitors(
        Machine(
            (flag("filled"), flag("stuck")),
            (),
            (
                rule("fill", conj(Is("filled", False), Is("stuck", False)), filled=True),
                rule("jam", Is("filled", True), stuck=True),
                rule("empty", conj(Is("filled", True), Is("stuck", False)), filled=False),
            ),
            (
                Requirement("emptied", RequirementKind.CAN, Is("filled", False), first=frozenset({"fill"})),
                Requirement("emptied at all", RequirementKind.CAN, Is("filled", False)),
                Requirement(
                    "emptied once stuck",
                    RequirementKind.CAN,
                    conj(Is("filled", False), Is("stuck", True)),
                    first=frozenset({"jam"}),
                ),
            ),
        )
    )
    assert [variable.name for variable in machine.variables[2:]] == ["order.emptied", "order.emptied once stuck"]
    claims = check(engine, machine, {r.id: question_of(machine, r).target for r in machine.requirements})
    assert claims["emptied"].trace.rules == ("fill", "empty")
    assert claims["emptied at all"].trace.rules == ()
    assert isinstance(claims["emptied once stuck"], Proved | Unknown)


@every_engine
def test_rules_that_change_nothing(engine: Any) -> None:
    """A rule that writes nothing, or what is there already, neither helps nor hurts."""
    machine = Machine(
        (flag("a"), flag("b")), (), (rule("idle", TRUE), rule("same", TRUE, a=False), rule("b", TRUE, b=True))
    )
    claims = check(engine, machine, {"a": Is("a", True), "b": Is("b", True)})
    assert isinstance(claims["a"], Proved | Unknown)
    assert claims["b"].trace.depth == 1


@complete_engines
def test_complete_engines_leave_nothing_open(engine: Any) -> None:
    """Given no limits, complete engines decide."""
    targets = {f"n{at}": Is("n", at) for at in range(10)}
    claims = check(engine, counter(8), targets, Limits())
    assert not any(isinstance(claim, Unknown) for claim in claims.values())
    assert isinstance(claims["n9"], Proved)


@complete_engines
def test_proofs_carry_evidence(engine: Any) -> None:
    """A proof carries clauses that every step keeps, or a set that none leaves, or the number of all states."""
    claim = check(engine, counter(5), {"beyond": Is("n", 6)}, Limits())["beyond"]
    if claim.engine == "explicit":
        assert claim.states == 6
    elif claim.engine == "diagrams":
        assert claim.diagram is not None
    else:
        assert_inductive(counter(5), claim.certificate)


@shortest_engines
@pytest.mark.parametrize("depth", [0, 1, 2, 7, 11])
def test_a_run_of_exactly_the_limit_is_found(engine: Any, depth: int) -> None:
    """A limit of n steps still finds a run of n steps, and none longer."""
    machine = counter(14)
    question = [Question("n", Is("n", depth)), Question("beyond", Is("n", depth + 1))]
    found, beyond = engine(machine, question, Limits(depth=depth))
    assert isinstance(found, Refuted) and found.shortest and found.trace.depth == depth
    if engine is not decide:
        assert isinstance(beyond, Unknown)
        assert beyond.depth == depth


@every_engine
def test_no_time_decides_nothing(engine: Any) -> None:
    """With no seconds at all the claims are Unknown, and say that it was time."""
    machine = counter(14)
    claims = engine(machine, [Question("far", Is("n", 14)), Question("out", Is("n", 15))], Limits(seconds=0.0))
    assert all(isinstance(claim, Unknown) and "time" in claim.reason for claim in claims)


def test_the_explicit_engine_stops_at_its_states() -> None:
    """A limit in states gives Unknown with the depth that was looked through in full."""
    claims = check(ENGINES["explicit"], counter(14), {"far": Is("n", 14), "near": Is("n", 2)}, Limits(states=5))
    assert isinstance(claims["near"], Refuted)
    assert isinstance(claims["far"], Unknown) and 3 <= claims["far"].depth <= 5


def test_bounded_search_says_when_runs_end() -> None:
    """Where no run is longer, bounded search says so, and only then."""
    ends = check(ENGINES["bmc"], counter(3), {"out": Is("n", 4)})["out"]
    assert "no run has more than 3 steps" in ends.reason
    goes_on = Machine((flag("a"),), (), (rule("on", Is("a", False), a=True), rule("off", Is("a", True), a=False)))
    assert "no run of up to 12 steps" in check(ENGINES["bmc"], goes_on, {"never": FALSE})["never"].reason


@complete_engines
def test_the_same_call_gives_the_same_claims(engine: Any) -> None:
    """Nothing depends on chance, on the clock or on the order of a set."""
    from .random_machines import random_case

    for seed in range(40, 50):
        machine, questions = random_case(seed)
        assert engine(machine, questions) == engine(machine, questions)


@every_engine
def test_progress_is_told(engine: Any) -> None:
    """An engine tells what it is doing, in words."""
    told: list[Progress] = []
    engine(counter(5), [Question("out", Is("n", 6))], WITHIN, told.append)
    assert told and all(progress.stage and progress.engine for progress in told)


@pytest.mark.parametrize("engine", ENGINES.values(), ids=ENGINES.keys())
def test_interruption_keeps_what_was_claimed(engine: Any) -> None:
    """Ctrl-C at any report gives claims for every question: those made before it, and Unknown for the rest."""
    machine = counter(9)
    questions: Sequence[Question] = [Question(f"n{at}", Is("n", at)) for at in (1, 5, 10)]
    reports = 0

    def count(progress: Progress) -> None:
        nonlocal reports
        reports += 1

    whole = engine(machine, questions, WITHIN, count)
    for stop in range(1, reports + 1, max(1, reports // 12)):
        left = stop

        def interrupt(progress: Progress) -> None:
            nonlocal left
            left -= 1
            if not left:
                raise KeyboardInterrupt

        claims = engine(machine, questions, WITHIN, interrupt)
        assert [claim.question for claim in claims] == ["n1", "n5", "n10"]
        for claim, undisturbed in zip(claims, whole, strict=True):
            if isinstance(claim, Unknown):
                assert claim.reason == "interrupted" or isinstance(undisturbed, Unknown)
            else:
                assert type(claim) is type(undisturbed)


def test_interruption_reaches_into_a_solver() -> None:
    """Ctrl-C during a long solver call ends it: the claims come back as interrupted, soon."""
    from interlock.prove.search.bmc import bmc

    from .random_machines import pigeons

    machine, target = pigeons(9)
    threading.Timer(0.7, lambda: os.kill(os.getpid(), signal.SIGINT)).start()
    begun = time.monotonic()
    (claim,) = bmc(machine, [Question("all", target)], Limits(depth=60))
    assert isinstance(claim, Unknown) and claim.reason == "interrupted"
    assert time.monotonic() - begun < 10


def test_the_clock_reaches_into_a_solver() -> None:
    """A limit in seconds ends a long solver call soon after."""
    from interlock.prove.search.bmc import bmc

    from .random_machines import pigeons

    machine, target = pigeons(9)
    begun = time.monotonic()
    (claim,) = bmc(machine, [Question("all", target)], Limits(depth=60, seconds=0.5))
    assert isinstance(claim, Unknown) and "time" in claim.reason
    assert time.monotonic() - begun < 8


def test_importing_the_room_loads_no_solver() -> None:
    """`import interlock.prove` and its engines stay light until they are asked."""
    code = (
        "import sys, interlock.prove.decide, interlock.prove.search.bmc, interlock.prove.invariants.k_induction;"
        "print([name for name in ('z3', 'pysat', 'networkx') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_very_many_initial_states_do_not_hold_up_the_rest() -> None:
    """Where there are too many initial states to count, the default strategy still decides, by other means."""
    flags = tuple(flag(f"f{at}", False, True) for at in range(40))
    most = conj(*(Is(f"f{at}", False) for at in range(39)))
    machine = Machine(flags, (), (rule("rise", Is("f0", True), f1=True),), start=most)
    up, off = decide(machine, [Question("up", Is("f39", True)), Question("off", Is("f1", True))])
    assert isinstance(up, Refuted) and up.trace.depth == 0
    assert isinstance(off, Proved) and off.states is None


def test_the_explicit_engine_minds_its_limits_among_initial_states() -> None:
    """Limits hold while initial states are still being listed, even where `start` allows hardly any."""
    flags = tuple(flag(f"f{at}", False, True) for at in range(40))
    machine = Machine(flags, (), (), start=conj(*(Is(f"f{at}", True) for at in range(40))))
    question = [Question("all", Is("f0", False))]
    (by_time,) = ENGINES["explicit"](machine, question, Limits(seconds=0.2))
    (by_states,) = ENGINES["explicit"](machine, question, Limits(states=1_000))
    assert isinstance(by_time, Unknown) and isinstance(by_states, Unknown)
    assert by_time.depth == by_states.depth == -1
