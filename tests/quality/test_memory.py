"""A budget of memory ends the search, never what was found by then."""

from __future__ import annotations

import random
import tracemalloc
from pathlib import Path

import pytest

from interlock import cli
from interlock.kernel.claims import Limits, Unknown
from interlock.kernel.expressions import Is, conj
from interlock.kernel.machine import Question
from interlock.prove import memory
from interlock.prove.decide import decide
from interlock.prove.engine import Engine
from interlock.prove.search import vectorised
from tests.agreement.engines import ENGINES
from tests.agreement.test_hold_walks import demonstration
from tests.golden.small_hold import REQUIREMENTS, TEXT
from tests.quality.test_interrupted import SEED, TIMES, case, check

MIB = 2**20
NAMED = "memory allowed was used up (1 MiB)"


def looks(monkeypatch: pytest.MonkeyPatch, enough_until: float) -> list[int]:
    """Makes the program seem to hold nothing for so many looks, and everything after; gives the number of looks."""
    count = [0]

    def held() -> int:
        count[0] += 1
        return 0 if count[0] <= enough_until else MIB

    monkeypatch.setattr(memory, "EVERY_SECONDS", 0.0)
    monkeypatch.setattr(memory, "resident_bytes", held)
    return count


def test_memory_used_up_at_any_moment_loses_no_claim(monkeypatch: pytest.MonkeyPatch) -> None:
    """At any of several moments: claims made by then are right, no fewer the later it is; the rest names the budget."""
    machine, questions, _ = case()
    count = looks(monkeypatch, float("inf"))
    whole = decide(machine, questions, Limits(memory=MIB))
    assert whole == decide(machine, questions)
    draw = random.Random(SEED)
    made = []
    for moment in sorted({0, *draw.sample(range(count[0]), TIMES), count[0] - 1}):
        looks(monkeypatch, moment)
        claims = decide(machine, questions, Limits(memory=MIB))
        made.append(check(claims, NAMED))
    assert made == sorted(made)
    assert made[0] < made[-1]


@pytest.mark.parametrize("engine", ENGINES.values(), ids=ENGINES.keys())
def test_every_engine_ends_when_the_memory_is_used_up(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    """With no memory left from the start, each engine ends and says of what it did not decide that this was why."""
    machine, questions, _ = case()
    looks(monkeypatch, 0)
    claims = engine(machine, questions[-3:], Limits(memory=MIB))
    assert [claim.question for claim in claims] == [question.id for question in questions[-3:]]
    assert any(isinstance(claim, Unknown) for claim in claims)
    assert all(NAMED in claim.reason for claim in claims if isinstance(claim, Unknown))


@pytest.mark.parametrize("counting", [True, False])
def test_arrays_keep_to_the_memory_allowed(counting: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Most of a budget is used, and it is never overrun by more than a tenth, not even for a moment."""
    mib = 24
    machine = demonstration("single-lane")[1]

    def held() -> int:
        return tracemalloc.get_traced_memory()[0]

    monkeypatch.setattr(memory, "EVERY_SECONDS", 0.0)
    monkeypatch.setattr(memory, "resident_bytes", held)
    monkeypatch.setattr(vectorised, "resident_bytes", held)
    limits = Limits(memory=mib * MIB)
    tracemalloc.start()
    try:
        if counting:
            assert not vectorised.count_states(machine, limits).complete
        else:
            never = Question("never", conj(*(Is(v.name, v.domain[-1]) for v in machine.variables)))
            (claim,) = vectorised.vectorised(machine, [never], limits)
            assert isinstance(claim, Unknown) and f"memory allowed was used up ({mib} MiB)" in claim.reason
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert 0.5 * mib * MIB < most < 1.1 * mib * MIB


def test_what_the_program_holds_is_measured() -> None:
    """Thirty-two MiB more that are written to are seen, to within a quarter."""
    before = memory.resident_bytes()
    block = bytearray(b"x" * (32 * MIB))
    after = memory.resident_bytes()
    assert before is not None and after is not None
    assert 24 * MIB < after - before < 80 * MIB
    assert block[-1:] == b"x"


def test_prove_takes_a_budget_of_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A tight budget: code 3 as for time, and the budget is named; a generous one changes nothing."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    Path("asked.yaml").write_text(REQUIREMENTS)
    asked = ("prove", "small.yaml", "--no-standing", "--requirements", "asked.yaml", "--format", "json")
    code = cli.run(asked)
    freely = capsys.readouterr().out
    assert cli.run((*asked, "--memory", "1000000")) == code
    assert capsys.readouterr().out == freely
    assert cli.run((*asked, "--memory", "1")) == 3
    assert NAMED in capsys.readouterr().out


def test_a_system_that_cannot_say_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it cannot be found out how much is held, the option is refused instead of doing nothing."""
    monkeypatch.setattr(memory, "resident_bytes", lambda: None)
    assert cli.run(("prove", "demo:single-lane", "--memory", "100")) == 2
