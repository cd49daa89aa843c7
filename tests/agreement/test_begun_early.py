"""Ways back looked for beside the rest come to what they come to after it, and end when they are asked to."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel import beside
from interlock.kernel.beside import Beside
from interlock.kernel.claims import Limits, Progress, ProgressCallback, Undecided
from interlock.kernel.machine import Machine
from interlock.kernel.recovery import Recovers, RecoveryClaim, RecoveryQuestion
from interlock.prove.decide import decide
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Engine
from interlock.prove.invariants.lemmas import Lemmas
from interlock.prove.recovery.recovery import recover
from interlock.prove.search.explicit import explicit
from interlock.study import begun_early
from interlock.study.begun_early import BegunEarly
from interlock.study.verify import Verification, verify
from tests.agreement.hold_texts import compile_file, standing
from tests.agreement.test_verify_lies import BACK, STUCK, WAYS
from tests.golden.small_hold import REQUIREMENTS, TEXT, small_hold

LONG_S = 60.0
"""Longer than any test waits."""


@pytest.fixture(scope="module")
def small() -> CompiledHold:
    return small_hold(TEXT, REQUIREMENTS + WAYS)


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Of each time that ways were begun early whether another process was at it."""
    found: list[bool] = []

    def noted(work: Callable[[], object]) -> Beside[object]:
        other = Beside(work)
        found.append(other.goes_on)
        return other

    monkeypatch.setattr(begun_early, "Beside", noted)
    return found


@pytest.mark.parametrize(
    ("name", "engine"),
    [
        ("small", decide),
        ("small", explicit),
        pytest.param("tests/quality/three-rows.yaml", decide, marks=pytest.mark.thorough),
    ],
)
def test_one_processor_and_two_find_the_same(name: str, engine: Engine, small: CompiledHold, begun: list[bool]) -> None:
    """Every claim with its evidence, every run that is told, and what is remembered for the next proof.

    By an engine that settles lemmas, and by one that finds none.
    """
    compiled = small if name == "small" else compile_file(name, standing())
    found: list[Verification] = []
    left: list[Lemmas] = []
    for number in (1, 2):
        beside.allow(number)
        left.append(Lemmas())
        found.append(verify(compiled, engine, NO_LIMITS, lemmas=left[-1]))
    beside.allow(1)
    assert begun == [True]
    assert found[0].recoveries
    assert found[0] == found[1]
    assert left[0].found() == left[1].found()


@pytest.mark.usefixtures("two_processors")
@pytest.mark.parametrize("limits", [Limits(seconds=30.0), Limits(memory=2**33)])
def test_where_something_is_limited_nothing_begins_early(
    small: CompiledHold, begun: list[bool], limits: Limits
) -> None:
    """The shares of time and of memory are those of one process."""
    found = verify(small, decide, limits)
    assert [way.id for way, _ in found.recoveries] == [BACK, STUCK]
    assert not begun


class Dawdling:
    """Claims about the first way at once, then notes that, and of the others nothing for long."""

    def __init__(self, note: Path) -> None:
        self.note = note

    def __call__(
        self, machine: Machine, questions: Sequence[RecoveryQuestion], limits: Limits, report: ProgressCallback
    ) -> tuple[RecoveryClaim, ...]:
        claims = recover(machine, questions[:1], NO_LIMITS)
        try:
            self.note.touch()
            time.sleep(LONG_S)
        except KeyboardInterrupt:
            return claims + recover(machine, questions[1:], Limits(stop=lambda: True))
        raise AssertionError("nobody asked for an end")


@pytest.mark.usefixtures("two_processors")
@pytest.mark.parametrize("torn", [False, True])
def test_an_end_that_is_asked_for_leaves_what_was_claimed(
    small: CompiledHold, begun: list[bool], torn: bool, tmp_path: Path
) -> None:
    """Noted while it is waited for, or torn out of waiting: the ways claimed by then are confirmed all the same."""
    note = tmp_path / "claimed"
    waits = False
    ends: list[float] = []

    def report(progress: Progress) -> None:
        nonlocal waits
        waits = waits or progress.stage.endswith("ways back")

    def stop() -> bool:
        if waits and note.exists():
            ends.append(time.monotonic())
            if torn and len(ends) == 1:
                raise KeyboardInterrupt
        return bool(ends) and not torn

    found = verify(small, decide, Limits(stop=stop), report, recoverer=Dawdling(note))
    assert begun == [True]
    assert time.monotonic() < ends[0] + LONG_S / 2
    findings = {way.id: finding for way, finding in found.recoveries}
    assert findings[STUCK] == Undecided(STUCK, INTERRUPTED)
    assert isinstance(findings[BACK], Recovers)


@pytest.mark.usefixtures("two_processors")
def test_a_process_that_is_lost_costs_time_alone(small: CompiledHold) -> None:
    """What it was to find is found here."""
    here = os.getpid()

    def lost(
        machine: Machine, questions: Sequence[RecoveryQuestion], limits: Limits, report: ProgressCallback
    ) -> tuple[RecoveryClaim, ...]:
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return recover(machine, questions, limits, report)

    assert verify(small, decide, NO_LIMITS, recoverer=lost).recoveries == verify(small, decide, NO_LIMITS).recoveries


@pytest.mark.usefixtures("two_processors")
def test_leaving_ends_it(small: CompiledHold, tmp_path: Path) -> None:
    """Whatever tears the proof of the rest."""
    lemmas = Lemmas()
    with BegunEarly(
        Dawdling(tmp_path / "claimed"), small.machine, [RecoveryQuestion("a", small.machine.start)], NO_LIMITS, lemmas
    ):
        lemmas.when_settled()
        assert not beside.may_begin()
    assert beside.may_begin()
    lemmas.when_settled()
    lemmas.awaiting()
