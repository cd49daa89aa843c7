"""Confirming a large certificate takes seconds, grows in proportion, and names the one rule that breaks a large one."""

from __future__ import annotations

from functools import cache
from itertools import combinations, product
from random import Random
from time import process_time

import pytest

from interlock.confirm.confirm import confirm
from interlock.confirm.enumeration import enumerate_reachable
from interlock.confirm.smtlib import step_obligation
from interlock.kernel.claims import Certificate, Disputed, Finding, Holds, Proved
from interlock.kernel.expressions import And, Expr, Is, Not, Or, Ref, Value, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Question, Rule, Signal, Variable

CELL: tuple[tuple[Value, ...], ...] = (
    (False, True),
    ("empty", "over", "loaded"),
    ("raised", "lowered"),
    (False, True),
    ("off", "fore", "aft", "left"),
)


def a_cell(rng: Random, number: int) -> tuple[Machine, list[Expr]]:
    """Five variables, twenty random rules, and fifty clauses that are true wherever the cell can get by itself."""
    names = [f"cell{number}.v{place}" for place in range(len(CELL))]
    variables = tuple(Variable(name, domain, domain[:1]) for name, domain in zip(names, CELL, strict=True))
    facts = [[Is(v.name, value) for value in v.domain] for v in variables]
    size = len(list(product(*CELL)))
    while True:
        rules = []
        for at in range(20):
            first, second = rng.sample(range(len(CELL)), 2)
            guard = conj(rng.choice(facts[first]), rng.choice(facts[second]))
            written = rng.sample(range(len(CELL)), rng.choice((1, 1, 2)))
            update = tuple((names[place], rng.choice(CELL[place])) for place in written)
            rules.append(Rule(f"cell{number}.rule{at}", Actor.CREW, guard, update))
        machine = Machine(variables, (), tuple(rules))
        cubes = [cube for parts in (1, 2, 3, 4) for chosen in combinations(facts, parts) for cube in product(*chosen)]
        walk = enumerate_reachable(machine, [conj(*cube) for cube in cubes], size)
        never = [frozenset(cube) for cube, first_seen in zip(cubes, walk.first, strict=True) if first_seen is None]
        # Enough to say, and every state that cannot be reached is excluded by a cube of four parts or fewer.
        whole = [frozenset(cube) for cube in product(*facts)]
        excluded = sum(any(cube <= state for cube in never) for state in whole)
        if 0.2 * size < walk.states < 0.6 * size and excluded == size - walk.states and len(never) >= 50:
            least = [cube for cube in never if not any(other < cube for other in never)]
            chosen_cubes = (least + [cube for cube in never if cube not in least])[:50]
            return machine, [disj(*(neg(fact) for fact in sorted(cube, key=repr))) for cube in chosen_cubes]


@cache
def kinds_of_cells() -> list[tuple[Machine, list[Expr]]]:
    """Ten of them."""
    rng = Random(1)
    return [a_cell(rng, number) for number in range(10)]


def a_row(cells: int) -> tuple[Machine, Certificate]:
    """Ten kinds of cells in a row, in which every third rule needs leave from the cell before."""
    kinds = kinds_of_cells()
    variables: list[Variable] = []
    signals: list[Signal] = []
    rules: list[Rule] = []
    clauses: list[Expr] = []
    for number in range(cells):
        kind, reasons = kinds[number % len(kinds)]

        def here(expr: Expr, number: int = number) -> Expr:
            if isinstance(expr, Is):
                return Is(f"cell{number}.{expr.variable.split('.')[1]}", expr.value)
            if isinstance(expr, Not):
                return neg(here(expr.arg))
            assert isinstance(expr, And | Or)
            return type(expr)(tuple(here(arg) for arg in expr.args))

        variables += [Variable(f"cell{number}.{v.name.split('.')[1]}", v.domain, v.init) for v in kind.variables]
        leave = disj(Is(f"cell{number}.v0", True), Is(f"cell{number}.v2", "raised"))
        signals.append(Signal(f"leave{number}", leave))
        for at, rule in enumerate(kind.rules):
            guard = here(rule.guard)
            if number and at % 3 == 0:
                guard = conj(guard, Ref(f"leave{number - 1}"))
            update = tuple((f"cell{number}.{name.split('.')[1]}", value) for name, value in rule.update)
            rules.append(Rule(f"cell{number}.rule{at}", rule.actor, guard, update))
        clauses += [here(reason) for reason in reasons]
    return Machine(tuple(variables), tuple(signals), tuple(rules)), Certificate(tuple(clauses))


def timed(machine: Machine, certificate: Certificate) -> tuple[float, tuple[Finding, ...]]:
    questions = [Question(f"q{at}", neg(clause)) for at, clause in enumerate(certificate.clauses[::10])]
    began = process_time()
    findings = confirm(machine, questions, [Proved(q.id, "test", certificate) for q in questions])
    return process_time() - began, findings


@pytest.fixture(scope="module", params=[50, pytest.param(100, marks=pytest.mark.thorough)])
def large(request: pytest.FixtureRequest) -> tuple[Machine, Certificate]:
    """500 variables, 2,000 rules, 5,000 clauses; half of that by day."""
    cells = request.param
    machine, certificate = a_row(cells)
    assert (len(machine.variables), len(machine.rules), len(certificate.clauses)) == (5 * cells, 20 * cells, 50 * cells)
    return machine, certificate


def test_large_certificate_is_confirmed_in_seconds(large: tuple[Machine, Certificate]) -> None:
    """500 variables, 2,000 rules and 5,000 clauses take seconds, and at most ten times what a quarter of them takes."""
    spent, findings = timed(*large)
    cells = len(large[1].clauses) // 50
    assert len(findings) == 5 * cells
    assert all(isinstance(finding, Holds) for finding in findings)
    quarter = min(timed(*a_row(cells // 4))[0] for _ in range(3))
    assert spent < 30
    assert spent < 10 * quarter


def test_one_bad_clause_in_a_large_certificate_is_found(large: tuple[Machine, Certificate]) -> None:
    """Among thousands of clauses and rules the dispute names a rule that writes what the bad clause speaks of."""
    machine, certificate = large
    bad = neg(Is("cell42.v4", "left"))
    leading = [r.name for r in machine.rules if ("cell42.v4", "left") in r.update]
    assert leading
    _, findings = timed(machine, Certificate((*certificate.clauses, bad)))
    assert all(isinstance(finding, Disputed) for finding in findings)
    (what,) = {finding.what for finding in findings if isinstance(finding, Disputed)}
    assert what.startswith("(step) rule ")
    assert any(repr(name) in what for name in leading)


def test_only_rules_and_clauses_that_meet_are_written(large: tuple[Machine, Certificate]) -> None:
    """The step text grows with the machine, not with rules times clauses."""
    machine, certificate = large
    small_machine, small_certificate = a_row(10)
    small = len(step_obligation(small_machine, small_certificate).text)
    assert len(step_obligation(machine, certificate).text) < 11 * small
