"""`--time` of audits and checklists is kept, reading included, and what was found by then is told.

On a clock that work moves, so that nothing depends on the computer: within a tenth and a second of what was asked.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from interlock import cli
from interlock.cli import opening, options, session
from interlock.hold import procedures
from interlock.prove import engine
from interlock.study import sessions
from interlock.study.checklist import making, operating
from interlock.study.checklist.free_orders import freedom_of
from interlock.study.procedure import beyond, interleavings, slip_audit, together
from tests.some import swept


class Workload:
    """A clock on which each call of some functions takes a while."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now = 0.0
        self._patch = monkeypatch
        for module in (session, options, engine, sessions):
            monkeypatch.setattr(module, "monotonic", lambda: self.now)

    def costs(self, owner: object, name: str, seconds: float) -> None:
        """Whenever this is called so many seconds go by."""
        function: Callable[..., Any] = getattr(owner, name)

        def costly(*args: Any, **named: Any) -> Any:
            self.now += seconds
            return function(*args, **named)

        self._patch.setattr(owner, name, costly)

    def is_kept(self, seconds: float) -> bool:
        """No more than a tenth and a second has gone by on top."""
        return self.now <= 1.1 * seconds + 1


@pytest.fixture
def work(monkeypatch: pytest.MonkeyPatch) -> Workload:
    """Reading takes two seconds, examining a deed or place some part of one, and telling a run a good part."""
    work = Workload(monkeypatch)
    work.costs(opening, "open_hold", 2.0)
    work.costs(procedures, "open_procedure", 2.0)
    work.costs(operating.Operation, "outcome", 0.01)
    work.costs(interleavings.InterleavingSearch, "_expand", 0.003)
    work.costs(beyond.Beyond, "_expand", 0.5)
    work.costs(slip_audit, "tell_run", 0.5)
    work.costs(together, "tell_run", 0.5)
    return work


def made(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, dict[str, Any]]:
    """What a command gives as JSON."""
    code = cli.run((*args, "--format", "json"))
    return code, json.loads(capsys.readouterr().out)


CHECKLIST = ("checklist", "demo:single-lane", "--load", "all:HALF", "--no-standing")


@pytest.mark.parametrize("seconds", [2.5, 4.0, 8.0, 16.0, 24.0])
def test_a_checklist_keeps_its_time(seconds: float, work: Workload, capsys: pytest.CaptureFixture[str]) -> None:
    """However far planning and examining come, the time is kept; where it is over, that is undecided and said."""
    code, found = made(capsys, *CHECKLIST, "--time", str(seconds))
    assert work.is_kept(seconds), work.now
    assert code == 3 and "time" in json.dumps(found)


def test_what_was_planned_in_time_is_told(
    work: Workload, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where the time is over among the orders, the steps are told all the same; no order is said to be free then."""
    code, whole = made(capsys, *CHECKLIST)

    def slow(*args: Any) -> Any:
        work.now = 1000.0
        return freedom_of(*args)

    monkeypatch.setattr(making, "freedom_of", slow)
    work.now = 0.0
    late, found = made(capsys, *CHECKLIST, "--time", "900")
    assert (code, late) == (0, 3)

    def steps(document: dict[str, Any]) -> list[Any]:
        return [step["instruction"] for part in document["checklist"]["parts"] for step in part["steps"]]

    assert steps(found) == steps(whole) and len(steps(found)) > 9
    parts = found["checklist"]["parts"]
    assert {part["order"]["orders"] for part in parts} == {None}
    assert not any(part["shown_shortest"] for part in parts if len(part["steps"]) > 1)
    assert any("time was up" in text for text in found["checklist"]["left_open"])


AUDIT = ("audit", "demo:procedures/single-lane-load", "--no-interlock")


@pytest.mark.parametrize("seconds", swept([2.5, 3.0, 4.0, 6.0, 9.0], 2))
def test_an_audit_keeps_its_time(seconds: float, work: Workload, capsys: pytest.CaptureFixture[str]) -> None:
    """However far following the procedure, slips and pairs of slips comes."""
    _, found = made(capsys, *AUDIT, "--time", str(seconds))
    assert work.is_kept(seconds), work.now
    assert found["undecided"]


def test_single_slips_are_told_where_there_is_no_time_for_pairs(
    work: Workload, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What each slip by itself leads to is found first; that no pair was followed to an end is said."""
    _, whole = made(capsys, *AUDIT)
    pairs = together.Pairs

    def late(*args: Any, **named: Any) -> Any:
        work.now = 1000.0
        return pairs(*args, **named)

    monkeypatch.setattr(slip_audit, "Pairs", late)
    work.now = 0.0
    code, found = made(capsys, *AUDIT, "--time", "900")
    assert found["slips"] == whole["slips"]
    assert any("pairs" in text and "time was up" in text for text in found["undecided"])
    assert whole["undecided"] == [] and code != 0
