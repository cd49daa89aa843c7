"""Certificates say nothing that is not needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from interlock.hold.compile.compiler import compile_hold
from interlock.hold.loader import Source, load_hold, load_specification
from interlock.kernel.claims import Certificate, Proved, silent
from interlock.kernel.expressions import Is, conj, neg
from interlock.kernel.machine import (
    Actor,
    Machine,
    Question,
    RequirementKind,
    Rule,
    Variable,
    question_of,
    with_monitors,
)
from interlock.prove.certificates.needed import needed_clauses
from interlock.prove.certificates.obligations import UnsoundCertificate, discharge
from interlock.prove.certificates.trimming import Trimmer, trim
from interlock.prove.core.local import LocalRules
from interlock.prove.core.solvers import FOREVER, light_solver
from interlock.prove.core.starts import some_initial_states
from interlock.prove.decide import decide
from interlock.prove.engine import Clock
from interlock.prove.invariants.mined import excluded_by, mine
from tests.benchmarks.holds import hold_machine
from tests.some import some, swept

ROOT = Path(__file__).parents[2]


def asked_of(name: str) -> tuple[Machine, list[Question]]:
    """The machine of a demonstration hold with what the standing requirements forbid."""
    path = ROOT / "models" / f"{name}.yaml"
    loaded = load_hold(Source(path.name, path.read_bytes()), lambda _name: None)
    assert loaded.value is not None, loaded.diagnostics
    texts = load_specification(Source("standing.yaml", (ROOT / "specs" / "standing.yaml").read_bytes()))
    assert texts.value is not None, texts.diagnostics
    compiled = compile_hold(loaded.value, texts.value).compiled
    assert compiled is not None
    machine = with_monitors(compiled.machine)
    left_out = (RequirementKind.CAN, RequirementKind.CAN_ALWAYS)
    return machine, [question_of(machine, r) for r in machine.requirements if r.kind not in left_out]


@cache
def claimed() -> tuple[Machine, list[tuple[Question, Certificate]]]:
    """Of the twin-lane hold, what is proved by certificates."""
    machine, questions = asked_of("twin-lane")
    claims = zip(questions, decide(machine, questions), strict=True)
    return machine, [(q, one.certificate) for q, one in claims if isinstance(one, Proved) and one.certificate]


@pytest.mark.parametrize("every", swept((25, 5), 2))
def test_no_clause_of_a_certificate_can_be_left_out(every: int) -> None:
    """Of the twin-lane hold: with any one clause left out, z3 refuses each certificate."""
    machine, proofs = claimed()
    served: dict[int, tuple[Certificate, list[Question]]] = {}
    for question, certificate in proofs:
        served.setdefault(id(certificate), (certificate, []))[1].append(question)
    assert served
    for certificate, proved in served.values():
        targets = [question.target for question in proved]
        discharge(machine, certificate, targets, Clock(None))
        for left_out in certificate.clauses[::every]:
            fewer = Certificate(tuple(clause for clause in certificate.clauses if clause is not left_out))
            with pytest.raises(UnsoundCertificate):
                discharge(machine, fewer, targets, Clock(None))


def test_what_one_question_needs_is_a_certificate_for_it() -> None:
    """The clauses that a single question needs prove it by themselves, and are fewer."""
    machine, proofs = claimed()
    for question, certificate in some(proofs[::25]):
        needed = needed_clauses(machine, certificate, [question.target])
        assert len(needed) < len(certificate.clauses)
        discharge(machine, Certificate(needed), [question.target], Clock(None))


def test_a_certificate_that_looks_back_is_given_whole() -> None:
    """Of clauses that are kept only by two steps together, or that are no plain clauses, none is left out."""
    place = Variable("place", (0, 1, 2, 3), (0,))
    steps = ((0, 1), (1, 0), (2, 3))
    rules = tuple(Rule(f"{a} to {b}", Actor.CREW, Is("place", a), (("place", b),)) for a, b in steps)
    machine, target = Machine((place,), (), rules), Is("place", 3)
    # a state that no step leads to goes to the target: one step alone keeps nothing out
    looking_back = Certificate((neg(target),), k=2)
    discharge(machine, looking_back, [target], Clock(None))
    with pytest.raises(UnsoundCertificate):
        discharge(machine, Certificate((neg(target),)), [target], Clock(None))
    assert needed_clauses(machine, looking_back, [target]) == looking_back.clauses
    more = Certificate((conj(neg(target), neg(Is("place", 2))), neg(target)))
    discharge(machine, more, [target], Clock(None))
    assert needed_clauses(machine, more, [target]) == more.clauses


def test_what_is_kept_anew_for_a_query_is_all_needed_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Among many things that a query is not about, too: none of it could be left out beside what was kept before."""
    small = LocalRules(hold_machine(3))
    kinds = (RequirementKind.CAN, RequirementKind.CAN_ALWAYS)
    asked = [requirement for requirement in small.machine.requirements if requirement.kind not in kinds]
    questions = [question_of(small.machine, requirement) for requirement in asked]
    starts = some_initial_states(small, 1, FOREVER, light_solver)
    mined = mine(small, [question.target for question in questions], starts, FOREVER, light_solver, silent)
    excluded = excluded_by(small, mined, range(len(questions)), questions, FOREVER)
    beside = [Variable(f"beside {number}", (False, True), (False,)) for number in range(700)]
    rules = LocalRules(replace(small.machine, variables=(*beside, *small.machine.variables)))
    cubes = [cube for clause in map(small.clause, mined) if (cube := rules.cube(clause))]
    trimmed = Trimmer._with_less
    spared = 0

    def with_less(self: Trimmer, query: Sequence[int], core: set[int]) -> set[int]:
        nonlocal spared
        left = trimmed(self, query, core)
        assert left <= core
        assert self.refute(query, left) is not None
        for one in left - self.kept.keys():
            assert self.refute(query, left - {one}) is None
        spared += len(core - left)
        return left

    monkeypatch.setattr(Trimmer, "_with_less", with_less)
    trim(rules, cubes, [rules.encoding.gate(questions[at].target) for at in excluded], FOREVER, light_solver)
    assert spared
