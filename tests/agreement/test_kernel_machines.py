"""The kernel by itself: which machines are refused and why, and what monitors and questions are made of."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import Any

import pytest

from interlock.kernel.evaluator import as_mapping, initial_states, is_initial, successors
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Not, Or, Ref, conj, disj, neg
from interlock.kernel.machine import (
    Actor,
    IllFormedMachine,
    Machine,
    Question,
    Requirement,
    RequirementKind,
    Rule,
    Signal,
    Variable,
    occasion_of,
    question_of,
    support_of,
    with_monitors,
    with_order_monitors,
)

from .machines_confirm import a_machine, true_in, world_of

A, N = Variable("a", (False, True), (False,)), Variable("n", (0, 1, 2), (0, 1))
UP = Signal("up", Is("n", 2))
GO = Rule("go", Actor.CREW, Is("a", False), (("a", True),))
STOP = Rule("stop", Actor.PLANT, Is("a", True), (("a", False), ("n", 2)))
ASKED = Requirement("asked", RequirementKind.NEVER, Ref("up"))
SOUND: dict[str, Any] = {"variables": (A, N), "signals": (UP,), "rules": (GO, STOP), "requirements": (ASKED,)}

DOMAIN, START = "variable 'x' has an empty, repeating or mixed domain", "variable 'x' starts outside its domain"


def _with(**more: Any) -> dict[str, Any]:
    """The parts of the sound machine and these besides."""
    return {name: SOUND[name] + parts for name, parts in more.items()}


@pytest.mark.parametrize(
    ("parts", "faults"),
    [
        (_with(variables=(A,)), ["variable 'a' is defined twice"]),
        (_with(signals=(UP,)), ["signal 'up' is defined twice"]),
        (_with(rules=(GO, STOP, STOP)), ["rule 'go' is defined twice", "rule 'stop' is defined twice"]),
        (_with(requirements=(ASKED,)), ["requirement 'asked' is defined twice"]),
        (_with(variables=(Variable("x", (), ()),)), [DOMAIN, START]),
        (_with(variables=(Variable("x", (1, 2, 1), (1,)),)), [DOMAIN]),
        (_with(variables=(Variable("x", (False, 2), (False,)),)), [DOMAIN]),
        (_with(variables=(Variable("x", (False, "on"), (False,)),)), [DOMAIN]),
        (_with(variables=(Variable("x", (1, 2), ()),)), [START]),
        (_with(variables=(Variable("x", (1, 2), (1, 3)),)), [START]),
        (_with(variables=(Variable("x", (0, 1), (True,)),)), [START]),
        (_with(variables=(Variable("x", (False, True), (0,)),)), [START]),
        ({"start": Is("b", 1)}, ["start: no variable 'b'"]),
        ({"start": Is("n", 3)}, ["start: 'n' is never 3"]),
        ({"start": Is("n", True)}, ["start: 'n' is never True"]),
        ({"start": Is("a", 1)}, ["start: 'a' is never 1"]),
        ({"start": Not(Or((Is("n", 1), Ref("down"))))}, ["start: no signal 'down'"]),
        (_with(signals=(Signal("s", Not(Is("b", 1))),)), ["signal 's': no variable 'b'"]),
        (_with(rules=(replace(GO, name="r", guard=Ref("down")),)), ["guard of 'r': no signal 'down'"]),
        (_with(rules=(replace(GO, name="r", update=(("b", 1),)),)), ["rule 'r' writes 1 to 'b'"]),
        (_with(rules=(replace(GO, name="r", update=(("n", 7),)),)), ["rule 'r' writes 7 to 'n'"]),
        (_with(rules=(replace(GO, name="r", update=(("n", True),)),)), ["rule 'r' writes True to 'n'"]),
        (_with(rules=(replace(GO, name="r", update=(("n", 1), ("n", 2))),)), ["rule 'r' writes a variable twice"]),
        (
            _with(requirements=(replace(ASKED, id="q", condition=Is("b", 1), situation=Ref("down")),)),
            ["requirement 'q': no signal 'down'", "requirement 'q': no variable 'b'"],
        ),
        (_with(requirements=(replace(ASKED, id="q", steps=frozenset({"go", "x", "w"})),)), ["'w'", "'x'"]),
        (_with(requirements=(replace(ASKED, id="q", first=frozenset({"x"})),)), ["'x'"]),
        (_with(requirements=(replace(ASKED, id="q", since=frozenset({"x"})),)), ["'x'"]),
        (_with(signals=(Signal("s", Not(Ref("s"))),)), ["signals in a circle: s"]),
        (
            _with(
                signals=(
                    Signal("t", Or((Ref("s"), Ref("up")))),
                    Signal("s", Not(Ref("t"))),
                    Signal("led", Ref("up")),
                )
            ),
            ["signals in a circle: s, t"],
        ),
    ],
)
def test_parts_that_do_not_fit_are_refused_by_name(parts: dict[str, Any], faults: list[str]) -> None:
    """A machine with one fault is refused, and the message names that fault and no other."""
    named = [f"requirement 'q' names no rule {fault}" if fault.startswith("'") else fault for fault in faults]
    with pytest.raises(IllFormedMachine) as refused:
        Machine(**SOUND | parts)
    assert sorted(str(refused.value).split("; ")) == named


def test_parts_that_fit_are_accepted() -> None:
    """Signals that rest on one another in any order, shared ones too, and a rule that writes nothing are all right."""
    signals = (
        Signal("top", Or((Ref("left"), Ref("right")))),
        Signal("left", Not(Ref("up"))),
        Signal("right", Ref("up")),
        UP,
    )
    machine = Machine((A, N), signals, (GO, Rule("idle", Actor.CREW, TRUE, ())), (ASKED,), Ref("top"))
    assert machine.rule("idle").guard == TRUE
    assert machine.rule("go") == GO
    with pytest.raises(KeyError):
        machine.rule("up")
    ordered = [signal.name for signal in machine.signals_in_order]
    assert (ordered[0], sorted(ordered[1:3]), ordered[3:]) == ("up", ["left", "right"], ["top"])
    assert support_of(machine, Ref("top")) == {"n"}


def test_evaluator_means_what_is_told_by_sets() -> None:
    """On random machines, initial states and steps are those of a second telling, in the order of the rules."""
    steps = 0
    for seed in range(60):
        machine = a_machine(Random(seed))
        world = world_of(machine)
        listed = list(initial_states(machine))
        assert len(listed) == len(set(listed)) and set(listed) == world.initial
        for state in world.states:
            assert is_initial(machine, state) == (state in world.initial)
            made = list(successors(machine, state))
            assert [r for r, _ in made] == [r for r in machine.rules if true_in(machine, r.guard, state)]
            for rule, after in made:
                assert as_mapping(machine, after) == as_mapping(machine, state) | dict(rule.update)
            steps += len(made)
    assert steps > 200


def test_state_of_another_shape_is_refused() -> None:
    """A state with a value too many or too few is a fault of the caller, not a state that fits nowhere."""
    machine = Machine(**SOUND)
    for state in ((False,), (False, 0, 1)):
        with pytest.raises(ValueError):
            is_initial(machine, state)
        with pytest.raises(ValueError):
            as_mapping(machine, state)


SETS = {"steps": frozenset({"stop"}), "first": frozenset({"go", "both"}), "since": frozenset({"stop", "both"})}
ORDERED = Requirement("o", RequirementKind.ORDER, Is("n", 1), Is("n", 0), **SETS)
LATER = Requirement("c", RequirementKind.CAN, Is("n", 1), first=frozenset({"go"}))
PLAIN = [
    Requirement(
        kind.value, kind, Is("n", 1), Is("n", 0), steps=frozenset({"go"}) if kind.is_about_steps else frozenset()
    )
    for kind in RequirementKind
    if kind is not RequirementKind.ORDER
]
BOTH = Rule("both", Actor.CREW, Is("n", 2), ())


def test_memory_is_added_only_where_it_is_needed() -> None:
    """Only `order` and a `can` with `first` are given a memory; what writes it is left as it was in all else."""
    machine = Machine((A, N), (UP,), (GO, STOP, BOTH, replace(GO, name="other")), (*PLAIN, ORDERED, LATER), Is("n", 0))
    for made, names in ((with_monitors(machine), ["order.o", "order.c"]), (with_order_monitors(machine), ["order.o"])):
        assert made.variables == (A, N, *(Variable(name, (False, True), (False,)) for name in names))
        assert (made.signals, made.requirements, made.start) == ((UP,), machine.requirements, Is("n", 0))
        assert [(r.name, r.actor, r.guard) for r in made.rules] == [(r.name, r.actor, r.guard) for r in machine.rules]
        remembered = [dict(rule.update[len(old.update) :]) for rule, old in zip(made.rules, machine.rules, strict=True)]
        assert [dict(r.update[: len(o.update)]) for r, o in zip(made.rules, machine.rules, strict=True)] == [
            dict(o.update) for o in machine.rules
        ]
        told = {"order.c": True} if "order.c" in names else {}
        assert remembered == [{"order.o": True, **told}, {"order.o": False}, {"order.o": True}, {}]
    plain = Machine(**SOUND | {"requirements": tuple(PLAIN)})
    assert with_monitors(plain) is plain


SO, WHEN, GOES = Is("n", 1), Is("n", 0), Is("a", False)


@pytest.mark.parametrize(
    ("requirement", "target", "occasion"),
    [
        (Requirement("r", RequirementKind.NEVER, SO, WHEN), conj(WHEN, SO), WHEN),
        (Requirement("r", RequirementKind.NEVER, SO), SO, None),
        (Requirement("r", RequirementKind.ALWAYS, SO, WHEN), conj(WHEN, Not(SO)), WHEN),
        (Requirement("r", RequirementKind.ALWAYS, SO), Not(SO), None),
        (Requirement("r", RequirementKind.CAN, SO, WHEN), conj(WHEN, SO), None),
        (
            Requirement("r", RequirementKind.CAN, SO, first=frozenset({"go"})),
            conj(Is("order.r", True), SO),
            None,
        ),
        (
            Requirement("r", RequirementKind.ONLY_IF, SO, WHEN, frozenset({"go"})),
            conj(WHEN, GOES, Not(SO)),
            conj(WHEN, GOES),
        ),
        (
            Requirement("r", RequirementKind.ONLY_IF, SO, steps=frozenset({"go", "stop"})),
            conj(disj(GOES, Is("a", True)), Not(SO)),
            disj(GOES, Is("a", True)),
        ),
        (Requirement("r", RequirementKind.ONLY_IF, SO, WHEN), FALSE, FALSE),
        (
            Requirement("r", RequirementKind.ORDER, SO, WHEN, frozenset({"go"}), frozenset({"stop"})),
            conj(WHEN, GOES, neg(conj(SO, Is("order.r", True)))),
            conj(WHEN, GOES),
        ),
        (
            Requirement("r", RequirementKind.ORDER, steps=frozenset({"go"}), first=frozenset({"stop"})),
            conj(GOES, Not(Is("order.r", True))),
            GOES,
        ),
    ],
)
def test_questions_of_a_requirement(requirement: Requirement, target: Expr, occasion: Expr | None) -> None:
    """Each kind is asked as the table of kinds says, and its occasion is what must arise lest it hold vacuously."""
    machine = with_monitors(Machine((A, N), (), (GO, STOP), (requirement,)))
    asked = question_of(machine, requirement)
    assert asked == Question("r", target, expects_run=requirement.kind is RequirementKind.CAN)
    expected = None if occasion is None else Question("r?", occasion, expects_run=True)
    assert occasion_of(machine, requirement) == expected


def test_nothing_to_ask_about_where_work_is_meant() -> None:
    """What can always be done has no situation that would have to arise."""
    machine = Machine((A, N), (), (GO,))
    assert occasion_of(machine, Requirement("r", RequirementKind.CAN_ALWAYS, SO, WHEN)) is None
