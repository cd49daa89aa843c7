"""`interlock failures`: what it finds is what proving with each failure by itself finds, and it says what it knows."""

from __future__ import annotations

import json
import os
import re
from dataclasses import replace
from functools import cache
from hashlib import sha256
from pathlib import Path

import jsonschema
import pytest

from interlock import cli
from interlock.cli.exit_codes import DONE, FOUND, REJECTED, UNDECIDED
from interlock.cli.opening import Rejected, Texts, open_catalogue, open_texts
from interlock.cli.shipped import CATALOGUE
from interlock.hold.catalogue import everything_fails
from interlock.hold.compile.compiler import compile_hold
from interlock.hold.language.model import FailureMode, Hold
from interlock.hold.loader import Source, load_hold
from interlock.kernel import beside
from interlock.kernel.failures import KnownSets
from interlock.kernel.machine import Actor
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS
from interlock.report.json.writing import schema
from interlock.report.views.failures_facts import FailuresFacts
from interlock.study.failures import FailureAnalysis, analyse_failures, stories_of, story_of
from interlock.study.verify import Status, verify
from tests.golden.small_hold import REQUIREMENTS, TEXT
from tests.some import some

ROOT = Path(__file__).parents[2]
ASKED = ("--no-standing", "--requirements", "asked.yaml")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the small hold and its requirements."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    Path("asked.yaml").write_text(REQUIREMENTS)


@cache
def single_lane() -> tuple[Hold, Texts, FailureAnalysis]:
    """The single-lane hold with everything in it that may fail, and the analysis of single failures."""
    path = ROOT / "models" / "single-lane.yaml"
    hold = load_hold(Source("single-lane.yaml", path.read_bytes()), lambda _name: None).value
    texts, catalogue = open_texts((), True), open_catalogue(None)
    assert hold is not None
    assert not isinstance(texts, Rejected)
    assert not isinstance(catalogue, Rejected)
    failing = everything_fails(hold, catalogue[0]).hold
    compiled = compile_hold(failing, tuple(texts.by_id.values())).compiled
    assert compiled is not None
    return failing, texts, analyse_failures(compiled, 1)


def test_all_is_known_of_the_single_lane() -> None:
    """For each requirement every single failure is told apart, and that is checked again."""
    _, _, analysis = single_lane()
    assert analysis.is_complete
    assert len(analysis.failures) > 60
    assert len(analysis.answers) > 60
    for answer in some(analysis.answers):
        assert isinstance(answer.finding, KnownSets)
        assert answer.finding.checked_by.startswith("cvc5 ")


def failing_by_itself(hold: Hold, texts: Texts, failure: FailureMode) -> set[str]:
    """The requirements that fail where nothing but this may strike, decided as any hold is."""
    compiled = compile_hold(replace(hold, failures=(failure,)), tuple(texts.by_id.values())).compiled
    assert compiled is not None
    asked = [one.requirement.id for one in compiled.instances if not one.requirement.kind.is_about_work]
    answers = verify(compiled, decide, NO_LIMITS, chosen=asked).answers
    assert {answer.status for answer in answers} <= {Status.HOLDS, Status.VACUOUS, Status.FAILS}
    return {answer.instance.requirement.id for answer in answers if answer.status is Status.FAILS}


@pytest.mark.parametrize("at", [0, 9, 17, 26, 33, 40])
def test_single_failures_are_those_that_break_a_hold_by_themselves(at: int) -> None:
    """A failure is listed for exactly the requirements that a proof refutes where that failure alone is declared."""
    hold, texts, analysis = single_lane()
    failure = hold.failures[at]
    name = next(
        name
        for name in analysis.failures
        if analysis.compiled.glossary.origins.variables[name].name.startswith(f"failure.{failure.of}.{failure.mode}")
    )
    listed = {
        answer.instance.requirement.id
        for answer in analysis.answers
        if any(one.failures in ((name,), ()) for one in answer.broken)
    }
    assert listed == failing_by_itself(hold, texts, failure)


def test_runs_are_told_and_are_no_longer_than_need_be() -> None:
    """The run of a set has its failure in it as a step, and a shorter one was looked for."""
    _, _, analysis = single_lane()
    answer = next(one for one in analysis.answers if one.broken and len(one.broken[0].run.rules) < 40)
    story, shortest = story_of(analysis, answer, answer.broken[0])
    assert shortest
    assert len(story.steps) <= answer.broken[0].run.depth
    assert [step.actor for step in story.steps].count(Actor.FAILURE) == 1


def test_runs_that_are_told_beside_are_those_of_their_sets() -> None:
    """Each has its place, whoever looked for it."""
    _, _, analysis = single_lane()
    short = [(answer, one) for answer in analysis.answers for one in answer.broken if one.run.depth < 12]
    told = list({len(one.run.rules): (answer, one) for answer, one in short}.values())[:3]
    assert len(told) > 2
    each = tuple(story_of(analysis, answer, one) for answer, one in told)
    assert len({story for story, _ in each}) == len(told)
    assert stories_of(analysis, told) == each
    beside.allow(2)
    assert stories_of(analysis, told) == each
    assert stories_of(analysis, told[:1]) == each[:1]
    beside.allow(1)


def test_report_is_as_approved(capsys: pytest.CaptureFixture[str]) -> None:
    """The report of the small hold, letter for letter; INTERLOCK_KEEP_REPORTS=1 writes it anew."""
    assert cli.run(["failures", "small.yaml", *ASKED, "--runs", "1"]) == FOUND
    report = capsys.readouterr().out
    lines = report.splitlines()
    assert max(map(len, lines)) <= 80
    kept = ROOT / "tests" / "golden" / "reports" / "failures.txt"
    # the catalogue is the only file of these that the test has not written itself
    digest = sha256((ROOT / "specs" / CATALOGUE).read_bytes()).hexdigest()
    assert report.count(digest) == 1
    told = re.sub(r"in \d+\.\d s", "in * s", report.replace(digest, "*"))
    if os.environ.get("INTERLOCK_KEEP_REPORTS"):
        kept.write_text(told)
    assert told == kept.read_text()


def test_result_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    """The JSON result satisfies its schema, has each failure with what is known of it, and is the same each time."""
    outputs = []
    for _ in range(2):
        assert cli.run(["failures", "small.yaml", *ASKED, "--format", "json"]) == FOUND
        outputs.append(capsys.readouterr().out)
    assert outputs[0] == outputs[1]
    result = json.loads(outputs[0])
    jsonschema.validate(result, schema(FailuresFacts))
    assert result["exit_code"] == FOUND
    assert {"SL", "D1"} <= {one["of"] for one in result["failures"]}
    assert all(one["noticed"] and one["source"] for one in some(result["failures"]))


def test_without_time_nothing_is_complete(capsys: pytest.CaptureFixture[str]) -> None:
    """A limit leaves the answer open, and it is said that it is."""
    asked = ["--only", "latched-when-locked", "--time", "0.001"]
    assert cli.run(["failures", "small.yaml", *ASKED, *asked]) == UNDECIDED
    out = capsys.readouterr().out
    assert "NOT complete. No set was found, and it is not shown that there is none" in " ".join(out.split())
    assert "out of time" in out
    assert "what breaks a requirement is not known" in out
    assert "no failure breaks" not in out


def test_what_is_excluded_is_told_with_its_reason(capsys: pytest.CaptureFixture[str]) -> None:
    """A failure that the description excludes does not strike; the justification stands in the report."""
    excluded = "excluded_failures:\n  - {of: SL, mode: stuck, because: no such latch is known to stick}\n"
    Path("small.yaml").write_text(TEXT + excluded)
    asked = ["--only", "latched-when-locked", "--format"]
    assert cli.run(["failures", "small.yaml", *ASKED, *asked, "json"]) in (DONE, FOUND)
    result = json.loads(capsys.readouterr().out)
    assert ("SL", "stuck") not in {(one["of"], one["mode"]) for one in some(result["failures"])}
    assert [one["because"] for one in result["excluded"]] == ["no such latch is known to stick"]
    assert cli.run(["failures", "small.yaml", *ASKED, *asked, "text"]) in (DONE, FOUND)
    assert "no such latch is known to stick" in capsys.readouterr().out


def test_what_would_chatter_is_told_with_its_chain(capsys: pytest.CaptureFixture[str]) -> None:
    """A relay that would chatter rejects no hold: that failure is named as not analysed, all others are analysed."""
    relays = "relays:\n  - {id: a, sets: D1 is open and not b, drops: b}\n"
    relays += "  - {id: b, sets: a and D1 is closed, drops: not a}\n"
    Path("small.yaml").write_text(TEXT + relays)
    asked = ["--only", "latched-when-locked", "--format"]
    assert cli.run(["failures", "small.yaml", *ASKED, *asked, "json"]) in (DONE, FOUND)
    result = json.loads(capsys.readouterr().out)
    jsonschema.validate(result, schema(FailuresFacts))
    assert {(one["of"], one["mode"]) for one in result["chattering"]} == {("a", "welded"), ("b", "welded")}
    assert cli.run(["failures", "small.yaml", *ASKED, *asked, "text"]) in (DONE, FOUND)
    out = " ".join(capsys.readouterr().out.split())
    assert "But 2 failures could not be analysed" in out
    assert "the mechanism never comes to rest: a goes to energised by itself" in out


def test_misuse(capsys: pytest.CaptureFixture[str]) -> None:
    """What cannot be asked is said, with code 2."""
    for options, said in some(
        (
            (("--declared",), "nothing in it that could fail"),
            (("--declared", "--catalogue", "x.yaml"), "one of the two"),
            (("--catalogue", "small.yaml"), "catalogue"),
            (("--together", "9"), "--together"),
            (("--only", "nothing"), "nothing"),
        )
    ):
        assert cli.run(["failures", "small.yaml", *ASKED, *options]) == REJECTED
        assert said in capsys.readouterr().err
