"""Whoever stops the program, or limits it, gets what was found by then, whole and right, and is told what was not."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import click
import pytest

from interlock import cli
from interlock.cli import exit_codes, folders, methods, stopping
from interlock.cli.files import write_whole
from interlock.confirm.confirm import confirm
from interlock.kernel.claims import (
    Certificate,
    Claim,
    Limits,
    Progress,
    ProgressCallback,
    Proved,
    Refuted,
    Undecided,
    Unknown,
    silent,
)
from interlock.kernel.machine import Machine, Question
from interlock.prove.certificates.obligations import discharge
from interlock.prove.decide import decide
from interlock.prove.engine import MOST_SECONDS, NO_LIMITS, Engine, clock_of, time_reason
from interlock.prove.invariants import mined
from interlock.prove.invariants.lemmas import Lemmas
from interlock.study import sessions
from interlock.study.sessions import STOPPED_SECONDS
from interlock.study.verify import verify
from tests.golden.small_hold import REQUIREMENTS, TEXT, small_hold
from tests.quality.test_minimal_certificates import asked_of

Result = dict[str, dict[str, str]]


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the small hold, a copy, and its requirements."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    Path("second.yaml").write_text(TEXT)
    Path("asked.yaml").write_text(REQUIREMENTS)


def prove(*args: str) -> int:
    """`interlock prove` with the requirements of the tests."""
    return cli.run(("prove", "--no-standing", "--requirements", "asked.yaml", *args))


def statuses(text: str) -> Result:
    """Per description, requirement by requirement, what was found."""
    return {
        hold["description"]: {one["id"]: one["status"] for one in hold["requirements"]}
        for hold in json.loads(text)["holds"]
    }


def interrupting(monkeypatch: pytest.MonkeyPatch, times: int = 1) -> None:
    """Ctrl-C comes when the engine has decided everything, as often as that, each time after patience has ended."""
    monkeypatch.setattr(stopping, "PATIENCE_S", 0.0)

    def engine(
        machine: Machine, questions: Sequence[Question], limits: Limits, report: ProgressCallback
    ) -> tuple[Claim, ...]:
        claims = decide(machine, questions, limits, report)
        for _ in range(times):
            os.kill(os.getpid(), signal.SIGINT)
        return claims

    monkeypatch.setattr(methods, "engine_of", lambda _method: engine)


def test_what_is_claimed_when_the_user_stops_is_still_confirmed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C at the end of the search changes no finding of that search; a hold not begun is undecided in JSON."""
    code = prove("small.yaml", "--format", "json")
    whole = statuses(capsys.readouterr().out)["small.yaml"]
    interrupting(monkeypatch)
    assert prove("small.yaml", "second.yaml", "--format", "json") == max(1, code)
    out, err = capsys.readouterr()
    found = statuses(out)
    kept = {id: status for id, status in found["small.yaml"].items() if status != "undecided"}
    assert len(set(kept.values())) > 1 and kept.items() <= whole.items()
    assert set(found["second.yaml"].values()) == {"undecided"}
    assert "second.yaml: stopped before it was decided\n" in err


def test_asking_again_leaves_the_confirming_out(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C once more while proofs are re-checked: they are undecided, with that reason; what has a run is found."""
    prove("small.yaml", "--format", "json")
    whole = statuses(capsys.readouterr().out)["small.yaml"]

    def torn(
        machine: Machine, questions: Sequence[Question], claims: Sequence[Claim], *rest: object
    ) -> tuple[object, ...]:
        if any(isinstance(claim, Proved) for claim in claims):
            raise KeyboardInterrupt
        return confirm(machine, questions, claims)

    monkeypatch.setattr("interlock.study.sessions.confirm", torn)
    assert prove("small.yaml", "--format", "json") == 1
    out = capsys.readouterr().out
    found = statuses(out)["small.yaml"]
    assert {id for id, status in found.items() if status == "fails"} == {i for i, s in whole.items() if s == "fails"}
    assert found["latched-when-locked[D1]"] == "undecided" and whole["latched-when-locked[D1]"] == "holds"
    assert "not re-checked: interrupted" in out


def test_confirming_is_short_once_an_end_was_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was claimed before the stop is confirmed for some seconds, however long there was time; else as long."""
    given: list[float | None] = []

    def seen(
        machine: Machine,
        questions: Sequence[Question],
        claims: Sequence[Claim],
        seconds: float | None,
        report: ProgressCallback,
    ) -> tuple[object, ...]:
        given.append(seconds)
        return confirm(machine, questions, claims)

    monkeypatch.setattr("interlock.study.sessions.confirm", seen)
    # what there is to blame is looked for within a limit of its own
    prove("small.yaml", "--format", "json", "--no-blame")
    assert set(given) == {None}
    given.clear()
    interrupting(monkeypatch)
    prove("small.yaml", "--format", "json")
    assert given and all(seconds is not None and 0 < seconds <= STOPPED_SECONDS for seconds in given)


def test_the_first_stop_is_noted_and_a_later_one_tears(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first only sets a flag, as does one right after it; a later one raises, but only where tearing is allowed."""
    now = [0.0]
    monkeypatch.setattr(stopping, "monotonic", lambda: now[0])
    stop = stopping.Stop()
    with stop.tearing():
        stop.note(signal.SIGINT, None)
        assert stop.is_asked()
        now[0] = 0.5
        stop.note(signal.SIGINT, None)
    now[0] = 1.5
    stop.note(signal.SIGINT, None)
    now[0] = 3.0
    with stop.tearing(), pytest.raises(KeyboardInterrupt):
        stop.note(signal.SIGINT, None)


def test_what_came_while_something_was_held_is_heeded_afterwards() -> None:
    """Ctrl-C while a file is written does not tear that, and is not forgotten: whoever is in charge gets it then."""
    done = []
    with stopping.noted_stop() as stop:
        with stopping.held():
            os.kill(os.getpid(), signal.SIGINT)
            assert not stop.is_asked()
            done.append("within")
        assert stop.is_asked()
    with pytest.raises(KeyboardInterrupt), stopping.held():
        os.kill(os.getpid(), signal.SIGINT)
        done.append("whole")
    assert done == ["within", "whole"]


def test_signals_that_are_ignored_stay_so() -> None:
    """What a shell started in the background goes on ignoring Ctrl-C, and afterwards all is as before."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with stopping.noted_stop() as stop:
            os.kill(os.getpid(), signal.SIGINT)
            assert not stop.is_asked()
            os.kill(os.getpid(), signal.SIGTERM)
            assert stop.is_asked()
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
        assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL
    finally:
        signal.signal(signal.SIGINT, before)


@pytest.mark.parametrize("layout", ["text", "json"])
def test_a_fault_with_one_hold_loses_no_other(
    layout: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault of ours with the first of two holds: the second is decided and reported, and the exit code says 70."""
    calls = 0

    def engine(
        machine: Machine, questions: Sequence[Question], limits: Limits, report: ProgressCallback
    ) -> tuple[Claim, ...]:
        nonlocal calls
        calls += 1
        if calls == 1:
            raise RuntimeError("broken")
        return decide(machine, questions, limits, report)

    monkeypatch.setattr(methods, "engine_of", lambda _method: engine)
    assert prove("small.yaml", "second.yaml", "--format", layout) == exit_codes.INTERNAL_FAULT
    out, err = capsys.readouterr()
    assert "small.yaml: a fault inside this program kept it from being decided" in err
    if layout == "text":
        assert out.count("Small hold") == 1 and "FAILS" in out
    else:
        found = statuses(out)
        assert set(found["small.yaml"].values()) == {"undecided"} and "fails" in found["second.yaml"].values()


def test_evidence_that_cannot_be_written_costs_no_result(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: the report is given all the same, then the fault, with code 2."""

    def full(*_: object) -> None:
        raise click.ClickException("cannot write proof: No space left on device")

    monkeypatch.setattr(folders, "write_folder", full)
    assert prove("small.yaml", "--evidence", "proof") == 2
    out, err = capsys.readouterr()
    assert "FAILS" in out and "No space left" in err


def test_a_torn_write_leaves_nothing_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C in the middle of writing: no part of a file or folder is left, and the old ones are as they were."""
    before = sorted(Path().iterdir())

    def torn(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", torn)
    with pytest.raises(KeyboardInterrupt):
        write_whole(Path("small.yaml"), b"new")
    with pytest.raises(KeyboardInterrupt):
        folders.write_folder(Path("proof"), {"a.txt": "a", folders.MANIFEST: ""})
    assert sorted(Path().iterdir()) == before
    assert Path("small.yaml").read_text() == TEXT


def test_what_is_no_file_is_never_replaced() -> None:
    """A pipe or device named as output is written to, a link followed; another file never takes its place."""
    Path("link").symlink_to("small.yaml")
    write_whole(Path("link"), b"new")
    assert Path("link").is_symlink() and Path("small.yaml").read_text() == "new"
    os.mkfifo("pipe")
    reader = os.open("pipe", os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_whole(Path("pipe"), b"new")
        assert os.read(reader, 10) == b"new" and Path("pipe").is_fifo()
    finally:
        os.close(reader)


@pytest.mark.parametrize("seconds", [None, 20.0])
def test_what_mined_facts_prove_is_claimed_when_it_ends(seconds: float | None) -> None:
    """Stopped when mining has ended and not one proof is claimed yet: what follows from its facts is claimed."""
    machine, questions = asked_of("single-lane")
    state = {"mined": False, "stop": False}
    claimed_before: list[int] = []

    def report(progress: Progress) -> None:
        if progress.stage.startswith(mined.LOOKING):
            state["mined"] = True
        elif state["mined"] and not state["stop"]:
            claimed_before.append(progress.done)
            state["stop"] = True

    claims = decide(machine, questions, Limits(seconds=seconds, stop=lambda: state["stop"]), report, Lemmas())
    assert state["stop"]
    proved = [claim for claim in claims if isinstance(claim, Proved)]
    assert len(proved) > len(questions) // 2
    assert not any(isinstance(claim, Refuted) for claim in claims)
    assert all(claim.reason == "interrupted" for claim in claims if isinstance(claim, Unknown))
    by_certificate: dict[int, tuple[Certificate, list[str]]] = {}
    for claim in proved:
        assert claim.certificate is not None
        by_certificate.setdefault(id(claim.certificate), (claim.certificate, []))[1].append(claim.question)
    for certificate, ids in by_certificate.values():
        discharge(machine, certificate, [q.target for q in questions if q.id in ids], clock_of(Limits()))


@pytest.mark.parametrize("value", ["0", "-1", "nan", "inf", "1e999", "soon"])
def test_a_time_that_is_none_is_refused(value: str, capsys: pytest.CaptureFixture[str]) -> None:
    """No number, no end, nothing or less: code 2, and the option is named."""
    assert prove("small.yaml", "--time", value) == 2
    assert "'--time'" in capsys.readouterr().err


def test_the_time_named_is_the_time_given(capsys: pytest.CaptureFixture[str]) -> None:
    """Stages get parts of the time; the reason names all of it."""
    assert prove("small.yaml", "--time", "0.001", "--format", "json") == 3
    assert "out of time (0.001 s)" in capsys.readouterr().out


def spending(monkeypatch: pytest.MonkeyPatch, decided: set[int]) -> tuple[list[float], list[int], Engine]:
    """An engine that spends all of its time, on a clock of its own, and decides at the calls of these numbers.

    Gives the clock and how many questions each call was about.
    """
    now, asked = [0.0], list[int]()
    monkeypatch.setattr(sessions, "monotonic", lambda: now[0])

    def engine(
        machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: ProgressCallback = silent
    ) -> tuple[Claim, ...]:
        assert limits.seconds is not None
        asked.append(len(questions))
        now[0] += limits.seconds
        reason = time_reason(limits)
        unknown = [Unknown(question.id, "slow", reason, 9 - len(asked)) for question in questions]
        if len(asked) in decided:
            return (*decide(machine, questions[:1], Limits(), report), *unknown[1:])
        return tuple(unknown)

    return now, asked, engine


@pytest.mark.parametrize("seconds", [10.0, 150.0])
def test_all_of_the_time_is_used(seconds: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """What an engine had no time for is asked again as long as there is some: the time is used, and no more of it."""
    now, asked, engine = spending(monkeypatch, {1, 2})
    found = verify(small_hold(), engine, Limits(seconds=seconds))
    assert 0.9 * seconds < now[0] <= seconds
    assert len(asked) > 2 and asked[:3] == [asked[0], asked[0] - 1, asked[0] - 2]
    assert sum(not isinstance(finding, Undecided) for finding in found.findings) == 2
    open_still = [finding for finding in found.findings if isinstance(finding, Undecided)]
    assert {finding.reason for finding in open_still} == {f"out of time ({seconds:g} s)"}
    assert {finding.depth for finding in open_still} == {8}


def test_nothing_is_asked_again_that_more_time_would_not_help(monkeypatch: pytest.MonkeyPatch) -> None:
    """An engine that gave up for another reason would again; and whoever asked to stop wants no more."""
    for reason, stop in (("no proof was found", False), ("out of time", True)):
        asked = []

        def engine(
            machine: Machine,
            questions: Sequence[Question],
            limits: Limits = NO_LIMITS,
            report: ProgressCallback = silent,
            reason: str = reason,
        ) -> tuple[Claim, ...]:
            asked.append(len(questions))  # noqa: B023 -- used up within the turn
            return tuple(Unknown(question.id, "early", reason) for question in questions)

        verify(small_hold(), engine, Limits(seconds=30, stop=lambda stop=stop: stop))  # type: ignore[misc]
        assert len(asked) == 1


@pytest.mark.parametrize("value", ["1e9", "1e300", "4294967.3"])
def test_very_long_times_are_no_short_ones(value: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever fits no solver's clock: the findings are those of no limit (z3 counts modulo 2 ** 32 milliseconds)."""
    prove("small.yaml", "--format", "json")
    whole = statuses(capsys.readouterr().out)
    prove("small.yaml", "--format", "json", "--time", value)
    assert statuses(capsys.readouterr().out) == whole
    assert clock_of(Limits(seconds=float(value))).milliseconds_left() == 1000 * MOST_SECONDS < 2**31


@pytest.fixture(scope="module")
def stopped() -> Iterator[dict[str, tuple[int, str, str]]]:
    """Commands in processes of their own, each asked to end as soon as its work has visibly begun."""
    root = Path(cli.__file__).parents[2]
    program = (
        "import os, signal, sys\n"
        "from interlock.prove.search import explicit\n"
        "levels_of = explicit.BreadthFirstSearch.levels\n"
        "def levels(self):\n"
        "    for depth, level in enumerate(levels_of(self)):\n"
        "        if depth == 3: os.kill(os.getpid(), getattr(signal, sys.argv[1]))\n"
        "        yield level\n"
        "explicit.BreadthFirstSearch.levels = levels\n"
        "from interlock.cli import run\n"
        "sys.exit(run(sys.argv[2:]))\n"
    )
    found = {}
    for number, args in (("SIGINT", ("count",)), ("SIGTERM", ("prove",))):
        done = subprocess.run(
            [sys.executable, "-c", program, number, *args, "demo:single-lane"],
            capture_output=True,
            text=True,
            env={**os.environ, "PYTHONPATH": str(root)},
            timeout=120,
        )
        found[args[0]] = done.returncode, done.stdout, done.stderr
    yield found


@pytest.mark.parametrize(("command", "says"), [("count", "lower bounds"), ("prove", "interrupted")])
def test_stopped_commands_report_what_they_have(
    command: str, says: str, stopped: dict[str, tuple[int, str, str]]
) -> None:
    """Ctrl-C, or a request to end from another program: code 3, a whole report, and nothing on standard error."""
    code, out, err = stopped[command]
    assert (code, err) == (3, "")
    assert says in out and out.endswith("\n")
