"""What the benchmarks stand on: the rivals answer rightly, and the grown holds are the demonstration, grown."""

from __future__ import annotations

import pytest

from interlock.kernel.claims import Limits, Proved, Refuted, Unknown
from interlock.kernel.machine import question_of
from interlock.prove import decide
from interlock.prove.search import explicit
from interlock.study.verify import verify
from tests.agreement.engines import reachable_states, truth
from tests.agreement.hold_texts import compile_text, standing
from tests.agreement.random_machines import random_case
from tests.benchmarks.__main__ import growth
from tests.benchmarks.contestants import diagrams
from tests.benchmarks.families import lanes_by_rows
from tests.benchmarks.holds import ROOT, ROWS, hold_machine, hold_text
from tests.benchmarks.horn import horn
from tests.benchmarks.plain import plain, search
from tests.benchmarks.written import STAGES, benchmark_choices, time_parts
from tests.teeth.written_holds import written


@pytest.mark.parametrize(
    "rival", [plain, pytest.param(horn, marks=pytest.mark.slow), diagrams], ids=lambda rival: rival.__name__
)
def test_rivals_answer_rightly(rival: object) -> None:
    """On random machines each rival says of each question what counting says: it is timed at the same job."""
    assert callable(rival)
    if rival is diagrams:
        pytest.importorskip("dd.cudd", reason="this build of dd has no fast diagrams")
    kinds = {Proved: 0, Refuted: 0}
    for seed in range(24):
        machine, questions = random_case(seed)
        depths = truth(machine, questions, reachable_states(machine))
        for claim, depth in zip(rival(machine, questions), depths, strict=True):
            assert type(claim) is (Proved if depth is None else Refuted), (seed, claim.question)
            kinds[type(claim)] += 1
    assert min(kinds.values()) > 20


def test_the_plain_rival_counts_rightly() -> None:
    """Its numbers are those of the plain engine, and out of time it says so."""
    machine = lanes_by_rows(1, 2)
    assert search(machine, {}, Limits())[0] == explicit.count_states(machine)
    questions = [question_of(machine, requirement) for requirement in machine.requirements]
    assert any(isinstance(claim, Unknown) for claim in plain(machine, questions, Limits(seconds=0.0)))


def test_the_grown_hold_of_six_rows_is_the_demonstration() -> None:
    """With as many rows as the demonstration has, the text is its text."""
    assert hold_text(ROWS) == (ROOT / "models" / "twin-lane.yaml").read_text(encoding="utf-8")


def test_holds_grow_row_by_row() -> None:
    """Each row adds as many variables, rules and requirements as any other: nothing is left behind or made twice."""
    sizes = [
        (len(machine.variables), len(machine.rules), len(machine.requirements))
        for machine in map(hold_machine, (3, 5, 7, 12))
    ]
    per_row = [(later - earlier) / 2 for earlier, later in zip(sizes[0], sizes[1], strict=True)]
    assert min(per_row) >= 7
    for rows, size in zip((5, 7, 12), sizes[1:], strict=True):
        assert size == tuple(first + (rows - 3) * more for first, more in zip(sizes[0], per_row, strict=True))


def test_growth_is_the_exponent() -> None:
    """Times that are a power of the size give its exponent, whatever the factor; one odd time bends it only so far."""
    taken = {size: 0.03 * size**1.25 for size in (6, 12, 30, 60, 120)}
    assert growth(taken, 12, 120) == pytest.approx(1.25)
    assert growth(taken | {6: 9.0}, 12, 120) == pytest.approx(1.25)
    assert 1.25 < growth(taken | {120: 2 * taken[120]}, 12, 120) < 1.25 + 0.5


def test_timing_the_parts_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """With its parts timed a hold is proved as without: the same claims on the same evidence."""
    compiled = compile_text(written(benchmark_choices(9470)), standing())
    untimed = verify(compiled, decide.decide, Limits(seconds=60))
    taken = dict.fromkeys(STAGES, 0.0)
    time_parts(taken, monkeypatch.setattr)
    timed = verify(compiled, decide.decide, Limits(seconds=60))
    assert timed == untimed
    assert {stage for stage, seconds in taken.items() if seconds} >= set(STAGES[2:])
