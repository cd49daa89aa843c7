"""The program as its users meet it: exit codes, streams, files, hints; nothing is mocked but a lying engine."""

from __future__ import annotations

import io
import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import jsonschema
import pytest

from interlock import __version__, cli
from interlock.cli import COMMANDS, exit_codes, methods, progress
from interlock.cli.methods import METHODS
from interlock.cli.shipped import demonstrations
from interlock.diagnostics.codes import CODES
from interlock.hold.kinds import DEVICE_KINDS, changes_of
from interlock.hold.language.field_types import records_within
from interlock.hold.procedure.actions import FORMS
from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, Proved, Unknown, silent
from interlock.kernel.machine import Machine, Question
from interlock.report.drawing.lifecycle import kinds_drawn
from interlock.report.json.writing import schema
from interlock.report.text.language import RECORDS
from interlock.report.views.assumptions import IN_SHORT
from interlock.report.views.proof_facts import ProofFacts
from tests.golden.small_hold import REQUIREMENTS, TEXT

NOTHING = Limits()
HOLDING = ("--only", "latched-when-locked", "--only", "bay-filled")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the small hold, its requirements and a faulty copy."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("NO_COLOR", raising=False)
    Path("small.yaml").write_text(TEXT)
    Path("asked.yaml").write_text(REQUIREMENTS)
    Path("faulty.yaml").write_text(TEXT.replace("kind: manual latch", "kind: manul latch").replace("title:", "titel:"))


def prove(*args: str) -> int:
    """`interlock prove` with the requirements of the tests and the obvious engine."""
    return cli.run(("prove", "--no-standing", "--requirements", "asked.yaml", "--method", "enumeration", *args))


def flowed(capsys: pytest.CaptureFixture[str]) -> str:
    """Standard error without its line ends."""
    return " ".join(capsys.readouterr().err.split())


def in_process(args: Sequence[str], **environment: str) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "interlock", *args],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2]), "COLUMNS": "80", **environment},
        timeout=60,
    )


# ---- starting up -------------------------------------------------------------------------------------------------


def test_help_loads_no_heavy_library() -> None:
    """`--help` starts quickly because it loads neither solvers nor graphs nor the YAML reader."""
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "interlock", "--help"],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2])},
        timeout=60,
    )
    loaded = {line.rpartition("|")[2].strip().partition(".")[0] for line in done.stderr.splitlines() if "|" in line}
    assert "click" in loaded
    assert loaded.isdisjoint({"z3", "cvc5", "pysat", "networkx", "yaml", "rich", "jinja2", "transitions", "graphviz"})


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help_fits_80_columns(
    command: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The help of every command fits 80 columns and names its purpose."""
    monkeypatch.setenv("COLUMNS", "80")
    assert cli.run([*([command] if command else []), "--help"]) == 0
    text = capsys.readouterr().out
    assert text.startswith("Usage: interlock")
    assert [line for line in text.splitlines() if len(line) > 80] == []


def test_help_tells_the_exit_codes(capsys: pytest.CaptureFixture[str]) -> None:
    """Every exit code stands in the help of the program and of `prove`."""
    for args in (["--help"], ["prove", "--help"]):
        cli.run(args)
        text = capsys.readouterr().out
        for code in ("0", "1", "2", "3", "4", "70"):
            assert re.search(rf"^ +{code} ", text, re.MULTILINE), code


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    """`--version` names the program and its version."""
    assert cli.run(["--version"]) == 0
    assert capsys.readouterr().out == f"interlock {__version__}\n"


# ---- exit codes --------------------------------------------------------------------------------------------------


def test_all_hold_is_0(capsys: pytest.CaptureFixture[str]) -> None:
    """Where everything asked holds the code is 0 and the last line counts it."""
    assert prove("small.yaml", *HOLDING) == 0
    out, err = capsys.readouterr()
    assert re.fullmatch(r"2 hold, 0 fail, 0 undecided in \d+\.\d s", out.splitlines()[-1])
    assert err == ""


def test_a_failure_is_1(capsys: pytest.CaptureFixture[str]) -> None:
    """A broken requirement gives 1 and is told step by step."""
    assert prove("small.yaml") == 1
    out = capsys.readouterr().out
    assert "FAILS  secured-behind-door[1C]" in out
    assert "9. crew: close side door fully" in out


def test_a_faulty_description_is_2_and_tells_every_fault(capsys: pytest.CaptureFixture[str]) -> None:
    """All faults come at once on standard error, with place, caret, hint and number; nothing on standard output."""
    assert prove("faulty.yaml") == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "faulty.yaml:2:1: error[unknown-field]" in err
    assert "did you mean 'manual latch'?" in err
    assert re.search(r"^faulty\.yaml: rejected, \d+ faults$", err, re.MULTILINE)
    places = [tuple(map(int, found)) for found in re.findall(r"^faulty\.yaml:(\d+):(\d+):", err, re.MULTILINE)]
    assert len(places) >= 3
    assert places == sorted(places)


def test_undecided_is_3() -> None:
    """Where a limit is met the code is 3, never 0."""
    args = ("prove", "small.yaml", "--no-standing", "--requirements", "asked.yaml")
    assert cli.run((*args, "--method", "bounded", "--depth", "5", "--only", "secured-behind-door")) == 3


def _liar(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits = NOTHING,
    report: ProgressCallback = silent,
) -> tuple[Claim, ...]:
    return tuple(Proved(question.id, "liar", None, 7) for question in questions)


def test_a_lying_engine_is_4_and_wins(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Claims that their evidence does not bear out give 4, above a rejected hold beside it."""
    monkeypatch.setattr(methods, "engine_of", lambda method: _liar)
    assert prove("small.yaml", "faulty.yaml") == 4
    assert "THIS IS A FAULT OF THIS PROGRAM, NOT OF THE HOLD." in capsys.readouterr().out


def test_the_worst_of_several_holds_decides(capsys: pytest.CaptureFixture[str]) -> None:
    """A rejected hold gives 2 although another one fails, and the other one is still proved."""
    assert prove("small.yaml", "faulty.yaml") == 2
    out, err = capsys.readouterr()
    assert "FAILS  secured-behind-door" in out
    assert "faulty.yaml: rejected" in err


def test_a_fault_of_ours_is_70_without_a_traceback(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An exception inside the program gives 70 and a plain sentence; --debug lets it through."""

    def broken(*args: object) -> tuple[Claim, ...]:
        raise RuntimeError("wheels came off")

    monkeypatch.setattr(methods, "engine_of", lambda method: broken)
    assert prove("small.yaml") == 70
    err = capsys.readouterr().err
    assert "wheels came off" in err and "Traceback" not in err and __version__ in err
    with pytest.raises(RuntimeError):
        cli.run(["--debug", "prove", "small.yaml"])


def test_stopping_is_3_and_tells_what_was_found(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C during a proof gives 3; an engine that returns what it has gets it reported."""

    def interrupted(*args: object) -> tuple[Claim, ...]:
        raise KeyboardInterrupt

    monkeypatch.setattr(methods, "engine_of", lambda method: interrupted)
    assert prove("small.yaml") == 3
    assert "interrupted" in capsys.readouterr().out

    def early(machine: Machine, questions: Sequence[Question], *rest: object) -> tuple[Claim, ...]:
        return tuple(Unknown(question.id, "early", "stopped", 4) for question in questions)

    monkeypatch.setattr(methods, "engine_of", lambda method: early)
    assert prove("small.yaml") == 3
    assert "Up to 4 steps nothing was found" in capsys.readouterr().out


def test_stopping_keeps_the_rest_from_beginning(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """After Ctrl-C the hold at hand is reported with what its engine gives, and no further one is begun."""

    def caught(
        machine: Machine, questions: Sequence[Question], limits: Limits, report: ProgressCallback
    ) -> tuple[Claim, ...]:
        os.kill(os.getpid(), signal.SIGINT)
        assert limits.stop is not None and limits.stop()
        return tuple(Unknown(question.id, "caught", "interrupted", 2) for question in questions)

    Path("second.yaml").write_text(TEXT)
    monkeypatch.setattr(methods, "engine_of", lambda method: caught)
    assert prove("small.yaml", "second.yaml") == 3
    out, err = capsys.readouterr()
    assert out.count("Small hold") == 1 and "Up to 2 steps nothing was found" in out
    assert err == "second.yaml: stopped before it was decided\n"
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_nothing_to_ask_is_no_pass(capsys: pytest.CaptureFixture[str]) -> None:
    """A requirement that finds nothing in the hold proves nothing: code 3 and a plain sentence."""
    assert prove("small.yaml", "--only", "drives-stop") == 3
    assert "Nothing was asked of this hold" in capsys.readouterr().out


def test_every_name_is_read_before_anything_is_proved(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A slip in the last name is told at once."""
    monkeypatch.setattr(methods, "engine_of", lambda method: pytest.fail("an engine was asked"))
    assert prove("small.yaml", "smal.yaml") == 2
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize("method", METHODS)
def test_every_method_agrees(method: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each method finds the breach, or at least never calls it proved; what holds is never called broken."""
    args = ("prove", "small.yaml", "--no-standing", "--requirements", "asked.yaml", "--method", method)
    may_leave_open = {"induction", "invariants"}
    found = cli.run((*args, "--only", "secured-behind-door"))
    assert found == 1 or (method in may_leave_open and found == 3)
    held = cli.run((*args, "--only", "latched-when-locked", "--depth", "20"))
    assert held == 0 or (method in {"bounded", *may_leave_open} and held == 3)


# ---- asking ------------------------------------------------------------------------------------------------------


def test_standing_requirements_are_asked_by_default(capsys: pytest.CaptureFixture[str]) -> None:
    """Without any option the standing set is asked; one of the same id in a file replaces it."""
    assert cli.run(["prove", "small.yaml", "--method", "enumeration", "--only", "latched-only-closed"]) == 0
    own = REQUIREMENTS.replace("bay-filled", "latched-only-closed")
    Path("own.yaml").write_text(own)
    args = ["prove", "small.yaml", "--requirements", "own.yaml", "--method", "enumeration", "--verbose"]
    capsys.readouterr()
    assert cli.run([*args, "--only", "latched-only-closed"]) == 0
    assert "Bay 1C can be filled." in capsys.readouterr().out


def test_only_one_instance(capsys: pytest.CaptureFixture[str]) -> None:
    """--only takes an instance as well, and what it does not know it refuses with a hint."""
    assert prove("small.yaml", "--only", "secured-behind-door[1C]") == 1
    assert capsys.readouterr().out.rstrip().splitlines()[-1].startswith("0 hold, 1 fail, 0 undecided")
    assert prove("small.yaml", "--only", "secured-behind-dor") == 2
    assert "Did you mean 'secured-behind-door'?" in flowed(capsys)


def test_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    """`-` reads the description from standard input."""
    done = subprocess.run(
        [sys.executable, "-m", "interlock", "count", "-"],
        input=TEXT,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2])},
        timeout=60,
    )
    assert done.returncode == 0
    assert "reachable states: 41" in done.stdout


def test_a_base_is_found_beside_the_file_that_modifies_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`modifies` is relative to the modifying file, wherever the program is started."""
    Path("deep").mkdir()
    Path("deep/base.yaml").write_text(TEXT)
    Path("deep/mod.yaml").write_text("interlock: 1\ntitle: Modified\nmodifies: base.yaml\nchanges:\n  - {remove: RG}\n")
    assert cli.run(["describe", "deep/mod.yaml"]) == 0
    out = capsys.readouterr().out
    assert "right guide" not in out and "Modified" in out
    assert "MODIFICATIONS CARRIED OUT" in out


def test_near_names_are_offered(capsys: pytest.CaptureFixture[str]) -> None:
    """A file, a demonstration, a command, a situation that do not exist: the nearest that does is named."""
    for args, hint in (
        (["prove", "smal.yaml"], "'small.yaml'"),
        (["prove", "demo:twin-lan"], "'demo:twin-lane'"),
        (["prove", "twin-lane"], "'demo:twin-lane'"),
        (["prov", "small.yaml"], "'prove'"),
        (["explain", "unknwon-name"], "'unknown-name'"),
        (["draw", "--what", "spring-latc"], "'spring-latch'"),
    ):
        assert cli.run(args) == 2, args
        assert f"Did you mean {hint}?" in flowed(capsys), args
    assert cli.run(["prove", "small.yaml", "--from", "loaded"]) == 2
    assert "has no situation 'loaded'" in flowed(capsys)


def test_wrong_command_lines_are_told_within_80_columns(capsys: pytest.CaptureFixture[str]) -> None:
    """However long the message, no line of it passes the width, and no name in it is broken."""
    for args in (["prove", "demo:qqq"], ["prove", "small.yaml", "--only", "no-such-" * 6 + "id"], ["walk", "n" * 90]):
        assert cli.run(args) == 2
        said = capsys.readouterr().err
        assert "\nError: " in said
        assert all(len(line) <= 80 or " " not in line.strip() for line in said.splitlines()), said
        assert args[-1].removeprefix("demo:") in said


def test_a_demonstration_can_be_modified(capsys: pytest.CaptureFixture[str]) -> None:
    """A file anywhere may modify a hold that comes with the program, also one that is a modification itself."""
    Path("deep").mkdir()
    for demo in ("twin-lane", "flawed/lever-that-stays"):
        text = f"interlock: 1\ntitle: Mine\nmodifies: demo:{demo}\nchanges:\n  - {{fix: M3L, in: lowered}}\n"
        Path("deep/mine.yaml").write_text(text)
        assert cli.run(["describe", "deep/mine.yaml"]) == 0
        assert "fix M3L" in " ".join(capsys.readouterr().out.split())
    Path("deep/mine.yaml").write_text(text.replace("lever-that-stays", "nothing-of-this-name"))
    assert cli.run(["describe", "deep/mine.yaml"]) == 2
    said = capsys.readouterr().err
    assert "= expected a demonstration hold" in said
    assert "'interlock explain missing-file' says more.\n" in said


@pytest.mark.parametrize("name", [name for name in demonstrations() if not name.startswith("flawed/")])
def test_demonstrations_can_be_described(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every shipped hold opens by its short name."""
    assert cli.run(["describe", f"demo:{name}"]) == 0
    assert "WHAT A PROOF WOULD ASSUME" in capsys.readouterr().out


# ---- results -----------------------------------------------------------------------------------------------------


def test_json_on_standard_output_is_only_json(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON follows its schema, carries rejected holds too, has no clock in it, and is the same each time."""
    texts = []
    for _ in range(2):
        assert prove("small.yaml", "faulty.yaml", "--format", "json") == 2
        out, err = capsys.readouterr()
        texts.append(out)
        assert re.search(r"^small\.yaml: 2 hold.* in \d+\.\d s$|^small\.yaml: .* fail.* s$", err, re.MULTILINE)
    assert texts[0] == texts[1]
    document = json.loads(texts[0])
    jsonschema.validate(document, schema(ProofFacts))
    assert document["exit_code"] == 2
    assert document["rejected"][0]["description"] == "faulty.yaml"
    assert document["holds"][0]["counts"] == {
        "hold": 3,
        "hold_vacuously": 1,
        "fail": 1,
        "undecided": 0,
        "disputed": 0,
    }


def test_schema_is_the_published_one(capsys: pytest.CaptureFixture[str]) -> None:
    """`interlock schema` prints both schemas as JSON."""
    assert cli.run(["schema", "result"]) == 0
    assert json.loads(capsys.readouterr().out) == schema(ProofFacts)
    assert cli.run(["schema"]) == 0
    jsonschema.Draft7Validator.check_schema(json.loads(capsys.readouterr().out))


def test_quiet_says_only_what_does_not_hold(capsys: pytest.CaptureFixture[str]) -> None:
    """--quiet is silent where all is well, else has one line for each failing text, and what governs."""
    assert prove("small.yaml", *HOLDING, "--quiet") == 0
    assert capsys.readouterr() == ("", "")
    assert prove("small.yaml", "--quiet") == 1
    assert capsys.readouterr().out == f"small.yaml: FAILS secured-behind-door: 1 of 1\n{IN_SHORT}\n"


def test_colours_obey(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """No colours when piped; `always` wins over NO_COLOR; on a terminal NO_COLOR turns them off."""
    prove("small.yaml")
    assert "\x1b" not in capsys.readouterr().out
    monkeypatch.setenv("NO_COLOR", "1")
    prove("small.yaml", "--color", "always")
    assert "\x1b[31m" in capsys.readouterr().out
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    prove("small.yaml")
    assert "\x1b" not in capsys.readouterr().out
    monkeypatch.delenv("NO_COLOR")
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    prove("small.yaml")
    assert "\x1b" in capsys.readouterr().out


def test_a_name_that_nothing_is_like_gets_a_next_step(capsys: pytest.CaptureFixture[str]) -> None:
    """A part of an id finds the ids that have it; else the list is named; whole demonstrations come first."""
    for args, hint in (
        (["explain", "shut-door"], "Did you mean one of no-drive-power-behind-shut-doors, "),
        (["prove", "demo:single-lane", "--only", "fresh"], "Did you mean 'fresh-command-after-power-loss'?"),
        (["prove", "demo:single-lane", "--only", "zzz"], "'interlock requirements' lists the standing ones."),
        (["explain", "80"], "'interlock requirements' lists the standing ones."),
        (["prove", "demo:qqq"], "There is: demo:main-deck, demo:single-lane, demo:twin-lane, demo:flawed/"),
    ):
        assert cli.run(args) == 2, args
        assert hint in flowed(capsys), args


@pytest.mark.parametrize("args", ["describe demo:twin-lane", "requirements --verbose", "--help"])
def test_a_closed_pipe_ends_quietly(args: str) -> None:
    """A reader that goes away leaves no traceback, and a code that is not that of a failed requirement."""
    command = f"'{sys.executable}' -m interlock {args} | true; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(
        ["bash", "-c", command],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2])},
        timeout=60,
    )
    assert done.returncode == exit_codes.PIPE_CLOSED
    assert done.stderr == ""


# ---- evidence ----------------------------------------------------------------------------------------------------


def test_evidence_is_written_and_written_again() -> None:
    """Evidence lies in the named folder with its manifest; a second run replaces it as a whole."""
    assert prove("small.yaml", "--evidence", "proof/small") == 1
    first = sorted(path.name for path in Path("proof/small").iterdir())
    assert {"README.txt", "MANIFEST.sha256", "findings.json", "machine.json"} <= set(first)
    assert prove("small.yaml", "--evidence", "proof/small", *HOLDING) == 0
    assert len(json.loads(Path("proof/small/findings.json").read_text())["findings"]) < 6
    assert [path.name for path in Path("proof").iterdir()] == ["small"]


def test_evidence_of_several_holds_lies_apart() -> None:
    """Each hold of one call has a folder of its own."""
    Path("other.yaml").write_text(TEXT)
    assert prove("small.yaml", "other.yaml", "--evidence", "proof", *HOLDING) == 0
    assert sorted(path.name for path in Path("proof").iterdir()) == ["1-small", "2-other"]
    assert prove("small.yaml", "other.yaml", "--evidence", "proof", *HOLDING) == 0


# ---- the other commands ------------------------------------------------------------------------------------------


def test_count_is_exact_and_stops_clearly(capsys: pytest.CaptureFixture[str]) -> None:
    """All 41 states are counted with code 0; stopped early, it says so with code 3."""
    assert cli.run(["count", "small.yaml", "--verbose"]) == 0
    out = capsys.readouterr().out
    assert "reachable states: 41\n" in out and "dead ends): none" in out
    assert sum(int(found) for found in re.findall(r"^ +\d+ +(\d+)$", out, re.MULTILINE)) == 41
    assert cli.run(["count", "small.yaml", "--depth", "3"]) == 3
    assert "lower bounds" in capsys.readouterr().out


def test_walk_by_script(capsys: pytest.CaptureFixture[str]) -> None:
    """`--do` does steps by number and shows the state; a number that is not possible is refused."""
    assert cli.run(["walk", "small.yaml", "--do", "1,1,1"]) == 0
    out = capsys.readouterr().out
    assert "step 3, crew: raise sill latch" in out
    assert "raised: SL" in out
    assert cli.run(["walk", "small.yaml", "--do", "1,99"]) == 2
    assert "not possible here" in capsys.readouterr().err


def test_walk_takes_numbers_of_any_length(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A number that Python itself would not read is one that is not possible; zeros before a number change nothing."""
    many = "9" * 5000
    assert cli.run(["walk", "small.yaml", "--do", many]) == 2
    assert "not possible here" in capsys.readouterr().err
    assert cli.run(["walk", "small.yaml", "--do", "0" * 5000 + "1"]) == 0
    assert "step 1" in capsys.readouterr().out
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{many}\nstart {many}\n0\nstart 0\n²\n01\n"))
    assert cli.run(["walk", "small.yaml"]) == 0
    out = capsys.readouterr().out
    assert out.count("is not possible here") == 5 and out.count("step 1") == 1


def test_walk_reads_commands() -> None:
    """Commands come from standard input: steps, search, back, why, and a broken requirement is announced."""
    done = subprocess.run(
        [sys.executable, "-m", "interlock", "walk", "small.yaml"],
        input="find raise\n1\nback\nwhy\nbogus\nshow\nquit\n1\n",
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2]), "COLUMNS": "80"},
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    asked = dict.fromkeys(part.partition("\n")[0] for part in done.stdout.split("\n> "))
    assert list(asked)[1:] == ["find raise", "1", "back", "why", "bogus", "show", "quit"]
    parts = {part.partition("\n")[0]: part for part in done.stdout.split("\n> ")}
    assert "BROKEN NOW: sill-devices-locking-behind-shut-door[D1,SL]" in parts["Small hold"]
    assert "unlock" not in parts["find raise"]
    assert "now: sill latch is raised" in parts["1"] and "BROKEN" not in parts["1"]
    assert "At the start." in parts["back"]
    assert "- sill latch is lowered" in parts["why"]
    assert "is not possible here" in parts["bogus"]
    assert "side door: closed, latched and locked" in parts["show"]


@pytest.mark.parametrize("code", sorted(CODES))
def test_every_code_is_explained(code: str, capsys: pytest.CaptureFixture[str]) -> None:
    """`interlock explain` has a text of at least a sentence for every code."""
    assert cli.run(["explain", code]) == 0
    out = capsys.readouterr().out
    assert out.startswith(code) and len(out) > 60


def test_a_name_of_several_words_needs_no_quotes(capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever looks up a push button types it as it is said."""
    assert cli.run(["explain", "push", "button"]) == 0
    apart = capsys.readouterr().out
    assert cli.run(["explain", "push button"]) == 0
    assert apart == capsys.readouterr().out


def test_kinds_and_steps_are_explained(capsys: pytest.CaptureFixture[str]) -> None:
    """Every kind that can be drawn can be read about, by its name or its file's, and every form of a step is listed."""
    for name, kind in kinds_drawn().items():
        for said in (name, kind.id) if kind.id in DEVICE_KINDS else (name,):
            assert cli.run(["explain", said]) == 0
            out = capsys.readouterr().out
            assert " ".join(kind.about.split()) in " ".join(out.split())
            assert f"states: {', '.join(kind.states)}\n" in out
            assert out.count(" to ") >= len(changes_of(kind))
            assert all(len(line) <= 80 for line in out.splitlines())
    assert cli.run(["explain", "steps"]) == 0
    out = capsys.readouterr().out
    assert all(f"\n  {form.shape}\n" in out for form in FORMS)


@pytest.mark.parametrize("name", RECORDS)
def test_sections_and_files_are_explained(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """`interlock explain` lists every field that a section or file can have, and those of the records within it."""
    assert cli.run(["explain", name]) == 0
    said = capsys.readouterr().out
    records = dict.fromkeys(within for record in RECORDS[name] for within in records_within(record))
    fields = [field for record in records for field in record.declaration.fields]
    assert re.findall(r"^    (\w+): ", said, re.MULTILINE) == [field.key for field in fields]
    flat = " ".join(said.split())
    assert all(field.about in flat for field in fields)
    assert flat.count("(may be left out)") == sum(not field.required for field in fields)


def test_requirements_are_listed_and_explained(capsys: pytest.CaptureFixture[str]) -> None:
    """The list names every standing requirement with its source, and each can be explained, by instance too."""
    assert cli.run(["requirements"]) == 0
    out = capsys.readouterr().out
    ids = [line for line in out.splitlines() if re.fullmatch(r"[a-z0-9-]+", line)]
    assert len(ids) > 10
    assert out.count("source:") == len(ids)
    for id in ids:
        assert cli.run(["explain", f"{id}[1C]"]) == 0
        assert "hazard:" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("args", "begins"),
    [
        (["draw", "small.yaml"], "<svg"),
        (["draw", "small.yaml", "--what", "moves"], "digraph"),
        (["draw", "--what", "manual-latch"], "digraph"),
        (["draw", "--what", "manual-latch", "--format", "mermaid"], "---"),
        (["draw", "--what", "kinds"], "access-panel"),
    ],
)
def test_pictures(args: list[str], begins: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each picture comes in its format, to standard output or to a file."""
    assert cli.run(args) == 0
    out = capsys.readouterr().out
    assert out.startswith(begins), out[:80]
    assert cli.run([*args, "--output", "picture"]) == 0
    assert Path("picture").read_text(encoding="utf-8") == out


def test_pictures_that_cannot_be(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan needs a hold and is SVG; where nothing can lay out a graph, advice is given and no file written."""
    assert cli.run(["draw"]) == 2
    assert cli.run(["draw", "small.yaml", "--format", "dot"]) == 2
    monkeypatch.setattr("interlock.cli.rendering.render_dot", lambda source: None)
    capsys.readouterr()
    before = sorted(Path().iterdir())
    assert cli.run(["draw", "--what", "relay", "--format", "svg", "--output", "relay.svg"]) == 2
    assert "Use --format dot." in flowed(capsys)
    assert sorted(Path().iterdir()) == before


def test_a_file_called_svg_holds_svg(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without --format the name of the file says what it is to hold, where it says so at all."""
    monkeypatch.setattr("interlock.cli.rendering.render_dot", lambda source: b"<svg/>")
    assert cli.run(["draw", "small.yaml", "--what", "moves", "--output", "moves.svg"]) == 0
    assert Path("moves.svg").read_text() == "<svg/>\n"
    assert cli.run(["draw", "--what", "relay", "--output", "relay.SVG"]) == 0
    assert Path("relay.SVG").read_text() == "<svg/>\n"
    assert cli.run(["draw", "--what", "relay", "--format", "dot", "--output", "relay.svg"]) == 0
    assert Path("relay.svg").read_text().startswith("digraph")


def test_progress_says_nothing_twice_and_names_what_it_counts() -> None:
    """What is done of how much is said once; a number without an end is a round."""
    for stage, done, total, said in (
        ("planning", 1, 4, "planning, 1 of 4"),
        ("3 of 8 decided", 3, 8, "3 of 8 decided"),
        ("4665 states", 6, None, "4665 states (round 6)"),
        ("walking at random", 0, None, "walking at random"),
    ):
        assert progress.in_words(Progress("any", stage, done, total)) == said
