"""What a certificate keeps: what is seen at a glance is what the solver says."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pytest

from interlock.confirm.confirm import confirm
from interlock.kernel.claims import Disputed, Proved, Undecided, silent
from interlock.prove.certificates.trimming import Trimmer
from interlock.prove.core.local import LocalRules
from interlock.prove.core.solvers import light_solver
from interlock.prove.core.starts import some_initial_states
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS, clock_of
from interlock.prove.invariants.lemmas import Lemmas
from interlock.prove.invariants.mined import excluded_by, mine
from tests.agreement.random_machines import random_case


def trimmed_at_a_glance(seed: int) -> tuple[int, int]:
    """How many queries of a random machine were answered at a glance, by nothing and by a cube; all checked."""
    machine, questions = random_case(seed)
    clock = clock_of(NO_LIMITS)
    rules = LocalRules(machine)
    starts = some_initial_states(rules, 8, clock, light_solver)
    if not starts:
        return 0, 0
    cubes = mine(rules, [q.target for q in questions], starts, clock, light_solver, silent)
    places = excluded_by(rules, cubes, range(len(questions)), questions, clock)
    trimmer = Trimmer(rules, cubes, clock, light_solver)
    seen: list[set[int]] = []
    glance, solved = trimmer._plainly, trimmer._solved

    def checked(query: Sequence[int]) -> set[int] | None:
        core = glance(query)
        if core is not None:
            assert core <= trimmer.kept.keys()
            assert trimmer.refute(query, core) is not None
            seen.append(core)
        return core

    trimmer._plainly = checked  # type: ignore[method-assign]
    try:
        trimmer.run([rules.encoding.gate(questions[at].target) for at in places])
        # and all that is kept keeps out what it must, by the solver alone
        for _, query in trimmer.queries:
            assert solved(query, [sorted(trimmer.kept)])[1] <= trimmer.kept.keys()
    finally:
        trimmer.solver.close()
    return sum(not core for core in seen), sum(bool(core) for core in seen)


def test_what_is_seen_at_a_glance_is_so() -> None:
    """Of random machines every query that no solver was asked is refuted by what was named, says the solver."""
    found = [trimmed_at_a_glance(seed) for seed in range(120)]
    assert sum(none for none, _ in found) > 50
    assert sum(one for _, one in found) > 50


@pytest.mark.parametrize("wrong", [set[int](), None])
def test_a_glance_that_is_wrong_is_found_out(wrong: Iterable[int] | None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Were every query taken to be refuted by nothing, the check above would see it."""
    monkeypatch.setattr(Trimmer, "_plainly", lambda _self, _query: None if wrong is None else set(wrong))
    if wrong is None:
        assert all(trimmed_at_a_glance(seed) == (0, 0) for seed in range(20))
    else:
        with pytest.raises(AssertionError):
            for seed in range(120):
                trimmed_at_a_glance(seed)


def test_certificates_need_not_be_the_smallest() -> None:
    """Of random machines the same is proved, and confirmed, where the smallest certificates are not asked for; some say
    more then, and those that are asked for never do.
    """
    more = 0
    for seed in range(12):
        machine, questions = random_case(seed)
        plain = decide(machine, questions, found=Lemmas(), smallest=False)
        least = decide(machine, questions, found=Lemmas())
        for one, two in zip(plain, least, strict=True):
            assert type(one) is type(two)
            if isinstance(one, Proved) and isinstance(two, Proved) and one.certificate and two.certificate:
                assert len(two.certificate.clauses) <= len(one.certificate.clauses)
                more += len(two.certificate.clauses) < len(one.certificate.clauses)
        assert not [found for found in confirm(machine, questions, plain) if isinstance(found, Disputed | Undecided)]
    assert more > 0
