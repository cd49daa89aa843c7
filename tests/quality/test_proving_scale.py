"""What keeps proving near linear on long holds: like places are told apart from others, and no frame is needed."""

from __future__ import annotations

from dataclasses import replace
from statistics import mean

import pytest

from interlock.kernel.claims import Limits, Progress, Proved, Unknown, silent
from interlock.kernel.expressions import And, Expr, Is, Not, Or, conj, neg
from interlock.kernel.machine import Actor, Machine, Question, RequirementKind, Rule, Variable, question_of
from interlock.prove.core.local import LocalRules
from interlock.prove.core.packing import Packing
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.solvers import light_solver
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS, Clock
from interlock.prove.frames import frames
from interlock.prove.invariants.candidates import Candidates
from interlock.prove.invariants.likeness import Likeness
from interlock.prove.search.guided import GuidedSearch
from tests.benchmarks.holds import hold_machine
from tests.quality.test_minimal_certificates import asked_of

LONG = 12


def lane(length: int) -> Machine:
    """A thing goes from place to place along a lane, and stays in the last."""
    variables = [Variable(f"p{at}", (False, True), (at == 0,)) for at in range(length)]
    rules = [
        Rule(
            f"go{at}",
            Actor.CREW,
            conj(Is(f"p{at}", True), neg(Is(f"p{at + 1}", True))),
            ((f"p{at}", False), (f"p{at + 1}", True)),
        )
        for at in range(length - 1)
    ]
    return Machine(tuple(variables), (), tuple(rules), ())


@pytest.mark.parametrize("length", [4, LONG])
def test_like_places_have_one_number(length: int) -> None:
    """Along a lane all rules do alike, and all places but that of the start are alike, however long it is."""
    likeness = Likeness(lane(length), ())
    assert len(set(likeness.rule)) <= 2
    assert len({likeness.variable[f"p{at}"] for at in range(1, length)}) == 1
    assert likeness.variable["p0"] != likeness.variable["p1"]
    pairs = sorted(len(kind.pairs) for kind in likeness.pairs)
    assert pairs == [1, length - 2]


def test_what_is_alike_does_not_hang_on_names() -> None:
    """With every variable called otherwise, in another order, the same places are alike."""
    machine = hold_machine(3)
    names = {v.name: f"x{len(machine.variables) - at:03d}" for at, v in enumerate(machine.variables)}

    def renamed(expr: Expr) -> Expr:
        if isinstance(expr, Is):
            return Is(names[expr.variable], expr.value)
        if isinstance(expr, And | Or):
            return type(expr)(tuple(renamed(arg) for arg in expr.args))
        if isinstance(expr, Not):
            return neg(renamed(expr.arg))
        return expr

    other = Machine(
        tuple(replace(v, name=names[v.name]) for v in machine.variables),
        tuple(replace(s, definition=renamed(s.definition)) for s in machine.signals),
        tuple(
            replace(r, guard=renamed(r.guard), update=tuple((names[n], x) for n, x in r.update)) for r in machine.rules
        ),
        (),
        renamed(machine.start),
    )
    targets = [question_of(machine, r).target for r in machine.requirements[:40] if r.kind.value != "can always"]
    one, two = Likeness(machine, targets), Likeness(other, [renamed(target) for target in targets])

    def classes(likeness: Likeness, names: dict[str, str]) -> set[frozenset[str]]:
        found: dict[int, set[str]] = {}
        for name, number in likeness.variable.items():
            found.setdefault(number, set()).add(names[name])
        return {frozenset(own) for own in found.values()}

    assert classes(one, names) == classes(two, {name: name for name in names.values()})

    def kinds(likeness: Likeness, names: dict[str, str]) -> set[frozenset[frozenset[str]]]:
        return {frozenset(frozenset((names[a], names[b])) for a, b in kind.pairs) for kind in likeness.pairs}

    assert kinds(one, names) == kinds(two, {name: name for name in names.values()})


def test_every_pair_is_a_candidate_once() -> None:
    """At first the candidates are all pairs of facts of related variables, each once, and all single facts."""
    machine, questions = asked_of("single-lane")
    rules = LocalRules(machine)
    candidates = Candidates(rules, [question.target for question in questions])
    likeness = Likeness(machine, [question.target for question in questions])
    wanted = sum(
        len(candidates.facts[one]) * len(candidates.facts[other])
        for kind in likeness.pairs
        for one, other in kind.pairs
    )
    assert candidates.size() == wanted > 500
    assert all(candidates.is_single(literal) for literal in candidates.place)
    assert len(candidates.cubes()) == len(candidates.place), "single facts cover every pair"


@pytest.mark.thorough
def test_a_long_hold_needs_no_frames() -> None:
    """Everything that holds of a hold of 24 bays is proved without facts having to travel row by row."""
    machine = hold_machine(LONG)
    questions: list[Question] = [question_of(machine, r) for r in machine.requirements if r.kind.value != "can always"]
    told: list[Progress] = []

    claims = decide(machine, questions, Limits(), told.append)
    assert not any(isinstance(claim, Unknown) for claim in claims)
    assert {claim.engine for claim in claims if isinstance(claim, Proved)} == {"mined"}
    assert {one.stage for one in told if one.engine == frames.NAME} == {frames.STRENGTHENING}


def test_what_guards_need_is_a_small_part_of_all_gates() -> None:
    """A solver that is asked about every rule is told half of the gates at most: models are that much cheaper."""
    rules = LocalRules(hold_machine(LONG))
    solver = PolaritySolver(rules.encoding, light_solver())
    for guard in rules.guards:
        solver.parts(guard)
    told = solver.new() - rules.encoding.facts_top - 1
    solver.close()
    assert 0 < told < len(rules.encoding.parts) / 2


def test_what_changes_between_samples_does_not_grow_with_the_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of four times as many rows: from each state of which some next to it are wanted to the following one."""
    changed: list[int] = []
    changes = Packing.changes

    def counted(self: Packing, before: int, after: int) -> list[tuple[int, int]]:
        found = changes(self, before, after)
        changed.append(len(found))
        return found

    means = []
    for rows in (3, 12):
        machine = hold_machine(rows)
        questions = [question_of(machine, r) for r in machine.requirements if r.kind is RequirementKind.CAN]
        search = GuidedSearch(machine, questions, NO_LIMITS, Clock(None))
        search.run(range(len(questions)), 100, silent)
        with monkeypatch.context() as patch:
            patch.setattr(Packing, "changes", counted)
            changed.clear()
            assert len(search.states(1_000)) > 900
        means.append(mean(changed))
    assert means[1] < 1.3 * means[0]
