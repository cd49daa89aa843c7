"""The SMT-LIB text means what the machine means: judged by states, by runs, by a third solver and by hostile names."""

from __future__ import annotations

import re
from random import Random

import pytest
import z3
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.confirm.recheck import recheck
from interlock.confirm.smtlib import Scribe, obligation_of, query, safe_obligation, start_obligation, step_obligation
from interlock.kernel.claims import Certificate
from interlock.kernel.evaluator import evaluate
from interlock.kernel.expressions import Is, Not, Ref, neg
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from tests.some import some, swept

from .machines_confirm import (
    NAMES,
    a_certificate,
    a_machine,
    a_target,
    an_expr,
    atoms_of,
    cube_of,
    world_of,
)

seeds = st.integers(0, 10**9)
quick = settings(max_examples=25, deadline=None, derandomize=True)


def answers_of_z3(text: str) -> tuple[str, ...]:
    """A solver that is no part of this room."""
    context = z3.Context()  # named, so that it lives as long as the call
    said = str(z3.Z3_eval_smtlib2_string(context.ref(), text))
    return tuple(said.split())


@quick
@given(seeds)
def test_formula_is_satisfied_by_the_evaluators_states(number: int) -> None:
    """Pinned to one state, an expression's text is satisfiable exactly where the reference evaluator says true."""
    rng = Random(number)
    machine = a_machine(rng)
    questions = []
    for at in range(4):
        expr = an_expr(rng, atoms_of(machine))
        questions += [Question(f"{at}", expr), Question(f"not {at}", neg(expr))]
    for state in some(rng.sample(world_of(machine).states, 1)):
        pinned = Certificate((cube_of(machine, state),))
        answers = recheck(safe_obligation(machine, pinned, questions)).answers
        assert [answer == "sat" for answer in answers] == [evaluate(machine, q.target, state) for q in questions]


@quick
@given(seeds)
def test_what_is_said_of_after_a_step_is_what_the_evaluator_finds_there(number: int) -> None:
    """Of a pinned state some of whose values are put in as constants, as those that a step writes are."""
    rng = Random(number)
    machine = a_machine(rng)
    refs = [Ref(signal.name) for signal in machine.signals]
    for _ in range(8):
        expr = an_expr(rng, refs or atoms_of(machine), depth=1)
        state = rng.choice(world_of(machine).states)
        values = dict(zip((variable.name for variable in machine.variables), state, strict=True))
        written = {v.name: rng.choice(v.domain) for v in machine.variables if rng.random() < 0.4}
        told = {name: value for name, value in values.items() if rng.random() < 0.4}
        scribe = Scribe(machine)
        said = scribe.said_after(expr, written, {**told, **written}, 0)
        is_so = evaluate(machine, expr, tuple({**values, **written}.values()))
        assert said or not is_so
        if said:
            pinned = f"(assert {scribe.formula(cube_of(machine, state), 0)})"
            lines = [*scribe.state(0, [expr]), pinned, *query("so afterwards", said)]
            answers = recheck(obligation_of("after", "a step", Certificate(()), lines, ["so afterwards"])).answers
            assert answers == ("sat" if is_so else "unsat",)


@pytest.mark.parametrize("block", swept(range(4), 4))
@quick
@given(seeds)
def test_steps_in_text_are_the_steps_of_the_machine(block: int, number: int) -> None:
    """A state is found n steps from the start in the text exactly where the machine has a run of n steps to it."""
    rng = Random(number + block * 10**9)
    machine = a_machine(rng)
    world = world_of(machine)
    state = rng.choice(world.states)
    layer, expected = set(world.initial), []
    for _ in range(4):
        expected.append("sat" if state in layer else "unsat")
        layer = {after for one in layer for after in world.successors[one]}
    elsewhere = Certificate((Not(cube_of(machine, state)),), k=4)
    assert recheck(start_obligation(machine, elsewhere)).answers == tuple(expected)


@pytest.mark.parametrize("block", swept(range(4), 4))
@quick
@given(seeds)
def test_a_third_solver_gives_the_same_answers(block: int, number: int) -> None:
    """z3 reads the same text and answers every query as cvc5 does.

    Where some answer is `sat`, the lines that announce `unsat` are left out, since z3 rightly objects to a wrong one.
    """
    rng = Random(number + block * 10**9)
    machine = a_machine(rng)
    world = world_of(machine)
    certificate = a_certificate(rng, machine, world)
    questions = [Question(name, a_target(rng, machine, world)) for name in rng.sample(NAMES, 3)]
    for obligation in (
        start_obligation(machine, certificate),
        step_obligation(machine, certificate),
        safe_obligation(machine, certificate, questions),
    ):
        answers = recheck(obligation).answers
        assert set(answers) <= {"sat", "unsat"}
        text = obligation.text
        if "sat" in answers:
            text = text.replace("(set-info :status unsat)\n", "")
        assert answers_of_z3(text) == answers


@quick
@given(seeds)
def test_text_is_plain_and_announces_its_queries(number: int) -> None:
    """The text is printable ASCII, one command or comment a line, and says truly how many answers to expect."""
    rng = Random(number)
    machine = a_machine(rng)
    obligation = step_obligation(machine, a_certificate(rng, machine, world_of(machine)))
    assert re.fullmatch(r"[\n\x20-\x7e]*", obligation.text)
    lines = obligation.text.splitlines()
    assert all(line.startswith(("(", "; ")) and (line[0] == ";" or line.endswith(")")) for line in lines)
    assert sum(line == "(check-sat)" for line in lines) == len(obligation.queries) == obligation.text.count("check-sat")
    assert f" must answer unsat; {len(obligation.queries)} of them.\n" in obligation.text


def test_names_cannot_add_to_the_text() -> None:
    """A rule whose name holds a command adds no command: a certificate that is broken stays broken."""
    hostile = "go\n(assert false)\n;|(assert false)|\\"
    machine = Machine(
        (Variable(hostile, ("at home", hostile), ("at home",)),),
        (),
        (Rule(hostile, Actor.CREW, Is(hostile, "at home"), ((hostile, hostile),)),),
    )
    certificate = Certificate((Is(hostile, "at home"),))
    assert recheck(step_obligation(machine, certificate)).answers == ("sat",)
    question = Question(hostile, Is(hostile, "at home"))
    assert recheck(safe_obligation(machine, certificate, [question])).answers == ("sat",)


def test_names_stay_apart() -> None:
    """Variables, values and signals that would be written alike keep symbols of their own."""
    machine = Machine(
        tuple(Variable(name, domain, domain[:1]) for name, domain in (("a", ("b=c", "d")), ("a=b", ("c", "d")))),
        (),
        (),
    )
    apart = Certificate((Is("a", "b=c"), Not(Is("a=b", "c"))))
    assert recheck(safe_obligation(machine, apart, [Question("q", Is("a", "b=c"))])).answers == ("sat",)
    mixed = Machine((Variable("n", (1, "1", "#1"), (1,)),), (), ())
    asked = [Question(repr(value), Is("n", value)) for value in (1, "1", "#1")]
    only = Certificate((Is("n", "1"),))
    assert recheck(safe_obligation(mixed, only, asked)).answers == ("unsat", "sat", "unsat")
