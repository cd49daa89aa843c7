"""What `interlock audit` prints: every part of it, in three formats, and its exit codes."""

from __future__ import annotations

import html
import json
import os
import re
from dataclasses import replace
from pathlib import Path

import pytest

from interlock import cli
from interlock.cli.exit_codes import code_of_audit
from interlock.kernel.claims import Limits
from interlock.kernel.machine import Actor
from interlock.report.html.audit import audit_html
from interlock.report.json.writing import document
from interlock.report.languages import in_markdown
from interlock.report.markdown.audit import audit_markdown
from interlock.report.text.audit import audit_lines
from interlock.report.text.interrupted import interruption_lines
from interlock.report.text.lines import WIDTH, as_text
from interlock.report.text.runs import run_lines
from interlock.report.views.audit import AuditView, audit_view
from interlock.report.views.facts import as_run
from interlock.report.views.requirements import sentence_of_all
from interlock.report.views.wording import sentence
from interlock.study.procedure.audit import Audit, Overall, audit_procedure
from interlock.study.procedure.holders import Holder
from interlock.study.procedure.interruptions import Interruption, Resumption
from interlock.study.procedure.rescue import Rescue
from tests.agreement.hold_texts import ROOT
from tests.some import swept
from tests.teeth.procedures import FAILING, assert_nothing_found, audit, bind, demo, planted


@pytest.fixture(scope="module")
def flawed() -> Audit:
    """A procedure without a latch, in a hold that does not ask for it, with slips."""
    text = planted("open-and-shut", "      - latch D1\n", "").replace("goal: D1 is locked", "goal: D1 is closed")
    return audit(text, "flawed/lock-without-latch.yaml", slips=True)


@pytest.fixture(scope="module")
def stuck() -> Audit:
    """A procedure that comes to a stand."""
    return audit(planted("open-and-shut", "      - unlock D1\n", ""), slips=True)


def view_of(audit: Audit, label: str = "a.yaml") -> AuditView:
    """What is told of the audit."""
    return audit_view(audit, label, code_of_audit(audit.overall))


def astray(audit: Audit) -> Audit:
    """The same with interruptions after which one must go another way, some of the ways being alike."""
    ways = [("abcd", ("r",)), ("zbcd", ("q",)), ("zbcd", ("q",)), ("abcd", ("r",)), ("ycd", ()), ("bcd", ())]
    places = [(1, False, ()), (2, False, ("y",)), (2, True, ("y",)), (3, False, ()), (4, False, ()), (5, False, ())]
    found = [
        Interruption(
            before,
            midway,
            (),
            (),
            left,
            Resumption.OTHERWISE,
            Rescue(tuple((Actor.CREW, step) for step in steps), breaks),
        )
        for (before, midway, left), (steps, breaks) in zip(places, ways, strict=True)
    ]
    return replace(audit, interruptions=tuple(found))


def test_text_has_every_part(flawed: Audit) -> None:
    """Requirements broken, interruptions, slips by kind and effect, who holds what, assumptions, a line to sign."""
    text = as_text(audit_lines(view_of(flawed)))
    assert "BROKEN as written: locked-only-latched[D1]" in text
    assert re.search(r"omitted \(A8\) +\d+ +\d+ +\d+ +\d+ +\d+\n", text)
    assert re.search(r"nothing +1 1    0     -     locked-only-latched\n", text)
    assert "At the start each thing is as the procedure says" in " ".join(text.split())
    assert "procedure_start" not in text
    assert "lock cargo door (action 8)" in text
    assert "Reviewed by ____" in text
    assert "This is not approved maintenance data" in text
    assert view_of(flawed).summary().startswith("findings: look at action 8 first, 1 requirement broken")
    assert all(len(line.text) <= WIDTH for line in audit_lines(view_of(flawed), verbose=True))


def test_pairs_that_were_not_followed_are_not_said_to_be_harmless(flawed: Audit) -> None:
    """Where only single slips were followed, no format says that two together do nothing, nor that more are needed."""
    assert flawed.slips is not None
    assert ">2" in as_text(audit_lines(view_of(flawed))).partition("no.: how many")[0]
    single = tuple(one for one in flawed.slips.combinations if len(one.slips) == 1)
    cut = replace(flawed, slips=replace(flawed.slips, together=1, combinations=single))
    text = as_text(audit_lines(view_of(cut))).partition("no.: how many")[0]
    assert "which two do it together was not followed to an end" in " ".join(text.split())
    for told in (text, audit_markdown(view_of(cut)), audit_html(view_of(cut))):
        # a cell of the text, of a Markdown table, of a page
        assert not re.search(r"( >|\| (\\>|&gt;)|<td data-head=\"Fewest slips\">&gt;)2\b", told)
        assert re.search(r"( >|\| (\\>|&gt;)|<td data-head=\"Fewest slips\">&gt;)1\b", told)
        assert "which two do it together was not followed to an end" in " ".join(told.split())


def test_the_margin_is_told_in_every_format() -> None:
    """A failure that does it alone, and one that does it with a slip, stand in words beside what they break."""
    found = audit_procedure(bind(FAILING, "../tests/teeth/failing-door-switch.yaml"), None, Limits())
    view = view_of(found)
    margin = view.facts.margin
    assert margin is not None and (margin.slips, margin.failures, margin.declared) == (2, 2, 2)
    latch = next(row for row in margin.requirements if row.requirement == "no-door-drive-against-latch[D1]")
    assert latch.fewest == 2 and {(len(one.slips), len(one.failures)) for one in latch.choices} == {(1, 1)}
    assert all(one.run is not None for one in latch.choices)
    assert len(margin.requirements) + margin.others == len(found.hazards)
    assert [row.fewest for row in margin.requirements] == sorted(row.fewest for row in margin.requirements)
    for told in (as_text(audit_lines(view)), audit_markdown(view), html.unescape(audit_html(view))):
        words = " ".join(told.replace("\\", "").split())
        assert "action 4, omitted: 'unlatch D1' is left out; and failure: door latch switch sticks at false" in words
        assert "failure: door open switch sticks at true" in words
        assert "combinations with any of 2 declared failures go; what takes three is not told" in words
        assert "was counted a second time by other means" in words


def test_a_step_that_is_nothing_but_a_slip_is_told_once(flawed: Audit) -> None:
    """What is left out is one line of a run, marked as a slip, in every format."""
    assert flawed.slips is not None
    run = next(r for one in flawed.slips.results if (r := one.run) and any(s.slip == s.text for s in r.steps))
    words = next(step.text for step in run.steps if step.slip == step.text)
    text = " ".join(as_text(run_lines(as_run(run))).split())
    assert text.count(words) == 1
    assert f"SLIP {words}" in text


def test_text_explains_what_is_not_possible(stuck: Audit) -> None:
    """The action, what keeps it from going on, how one comes there, what would help, what is never reached."""
    text = as_text(audit_lines(view_of(stuck)))
    for words in (
        "3. unlatch D1 (line 12): not possible",
        "- cargo door is locked",
        "2. crew: set cargo power switch to on (action 2)",
        "What would make it so",
        "1. crew: unlock cargo door",
        "never reached: actions 4 to 10",
    ):
        assert words in text, words
    flowing = " ".join(text.split())
    assert "at any point, as far as it goes: its end is never reached, and what comes behind was not" in flowing
    assert "Its end is never reached, so it is not known how the hold is left." in flowing
    assert "Nothing is left otherwise" not in flowing


def test_text_tells_a_way_to_the_goal_once(stuck: Audit) -> None:
    """What a way shares with one told before is not repeated; followed where it points, each way is told whole."""
    text = " ".join(as_text(tuple(interruption_lines(view_of(astray(stuck)), verbose=False))).split())
    assert text[text.index("before action 1") :] == (
        "before action 1 A way to the goal from there 1. crew: a 2. crew: b 3. crew: c 4. crew: d On that way these "
        "are broken: r. "
        "from before action 2 to in the middle of action 2; left behind: y A way to the goal from there 1. crew: z "
        "then go on with step 2 of the way that is told for 'before action 1'. On that way these are broken: q. "
        "before action 3 The same way to the goal as is told for 'before action 1'. "
        "before action 4 A way to the goal from there 1. crew: y 2. crew: c 3. crew: d "
        "before action 5 Go on with step 2 of the way that is told for 'before action 1'."
    )


def test_nothing_is_gone_on_with_after_the_end(flawed: Audit) -> None:
    """Where the work is done, no report speaks of an action that was not finished."""
    last = len(flawed.actions)
    after = Interruption(last + 1, False, (), (), (), Resumption.GO_ON, None)
    before = replace(after, before=last)
    view = view_of(replace(flawed, interruptions=(before, after)))
    assert [one.afterwards for one in view.interruptions] == [
        "go on with the action that was not finished",
        "nothing is left to do",
    ]
    text = " ".join(as_text(tuple(interruption_lines(view, verbose=False))).split())
    assert (
        "1 point in the procedure: afterwards the procedure goes on with the action that was not finished after the "
        "end: nothing" in text
    )
    assert "| after the end | nothing |  | nothing is left to do |" in audit_markdown(view)


@pytest.mark.parametrize("name", swept(["work-on-a-sill-lock", "change-at-the-door"], 2))
def test_kept_audits(name: str) -> None:
    """Nothing is found in either procedure of the main deck; the reports are, word for word, those approved."""
    found = audit(demo(name), slips=True)
    assert_nothing_found(found)
    text = as_text(audit_lines(view_of(found, f"{name}.yaml")))
    kept = ROOT / "tests" / "golden" / "reports" / f"audit-{name}.txt"
    if "INTERLOCK_KEEP_REPORTS" in os.environ:
        kept.write_text(text, "utf-8")
    assert text == kept.read_text("utf-8")


def test_slips_add_up(stuck: Audit, flawed: Audit) -> None:
    """The table of slips counts each slip once."""
    for one in (stuck, flawed):
        assert one.slips is not None
        text = as_text(audit_lines(view_of(one)))
        rows = re.findall(r"^  [a-z ]+(?:\([AC]\d\))? +(\d+) +(\d+) +(\d+) +(\d+) +(\d+)$", text, re.MULTILINE)
        assert sum(int(number) for row in rows for number in row) == len(one.slips.results) > 40


def test_held_groups_cover_all(flawed: Audit) -> None:
    """Every requirement stands in one group; what nothing holds comes first."""
    groups = view_of(flawed).groups
    assert sum(len(group.members) for group in groups) == len(flawed.held) == len(flawed.hazards)
    assert groups[0].holder is Holder.NOTHING
    assert groups[0].text.from_ == "locked-only-latched"


def test_json_says_all_that_text_says(flawed: Audit) -> None:
    """The document is JSON, the same on every call, with an entry per action, slip, requirement and interruption."""
    told = json.loads(document(view_of(flawed).facts))
    assert document(view_of(flawed).facts) == document(view_of(flawed).facts)
    assert told["schema"] == 2
    assert told["exit_code"] == 1
    assert [one["number"] for one in told["actions"]] == list(range(1, 11))
    assert flawed.slips is not None
    assert len(told["slips"]) == len(flawed.slips.results)
    assert {one["id"] for one in told["requirements"]} == {h.instance.requirement.id for h in flawed.hazards}
    assert len(told["interruptions"]) == len(flawed.interruptions)
    broken = told["broken"][0]
    assert broken["requirement"] == "locked-only-latched[D1]"
    assert broken["run"]["steps"][-1]["text"] == "lock cargo door"
    assert told["disputed"] == []


def test_markdown_tables_are_tables(flawed: Audit, stuck: Audit) -> None:
    """Every row of a table has as many cells as its head, whatever texts are in it."""
    for one in (flawed, stuck):
        text = audit_markdown(view_of(one))
        wide = 0
        for line in text.splitlines():
            cells = len(re.findall(r"(?<!\\)\|", line)) if line.startswith("|") else 0
            assert wide == 0 or cells in (0, wide), line
            wide = cells
        assert "Reviewed by: ____" in text
        assert "| locked-only-latched |" in text
    assert in_markdown("a|b*c\\d\n<e>") == r"a\|b\*c\\d \<e\>"


def test_page_says_what_the_audit_found(flawed: Audit, stuck: Audit) -> None:
    """The page to sign has what holds each requirement, findings with their runs, slips, and places to sign."""
    for one in (flawed, stuck):
        page = audit_html(view_of(one))
        assert page == audit_html(view_of(one))
        for words in (
            "Reviewed",
            "Signature",
            "This is not approved maintenance data",
            "What holds each requirement",
        ):
            assert words in page
        assert "<script" not in page
        assert "://" not in page
        for held in one.held:
            asked = sentence_of_all(held.instance.origin), held.instance.text
            assert any(html.escape(sentence(one)) in page for one in asked)
        for line in (action.bound.action.span.line for action in one.actions):
            assert f'<td class="number" data-head="Line">{line}</td>' in page
        assert page.index("What this takes for granted") < page.index("Signed is all that stands before this line")
    page = audit_html(view_of(flawed, "<b>.yaml"))
    assert "&lt;b&gt;.yaml" in page
    assert "Broken as written" in page
    assert "Cargo door is locked only while it is latched." in page
    assert re.search(r"Action 3, line \d+: unlatch D1: not possible", audit_html(view_of(stuck)))


def test_every_format_says_what_a_failure_leads_to() -> None:
    """A declared failure that leads to a hazard is told with its run, in each format."""
    one = audit(
        demo("open-and-shut").replace("hold LVD to up until D1 is open", "hold LVD to up until D1 is moving"),
        "../tests/teeth/failing-door-switch.yaml",
    )
    assert one.overall is Overall.FINDINGS
    lines = as_text(audit_lines(view_of(one)))
    for text in (lines, audit_markdown(view_of(one)), audit_html(view_of(one))):
        assert re.search(r"1 of 2 declared failures can\s+alone", text)
        assert "door open switch sticks at true" in text.lower()
    told = json.loads(document(view_of(one).facts))
    assert told["failures"]["declared"] == 2
    assert [found["failure"] for found in told["failures"]["hazardous"]] == ["door open switch sticks at true"]
    broken = {entry["id"] for entry in told["requirements"] if entry["single_failures"]}
    assert broken == set(told["failures"]["hazardous"][0]["breaks"])


def run(*args: str) -> int:
    """The exit code of one call."""
    return cli.run(["audit", *args])


def test_exit_codes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0 nothing found, 1 findings, 2 rejected, 3 undecided."""
    shown = str(ROOT / "models" / "procedures" / "open-and-shut.yaml")
    assert run("demo:procedures/open-and-shut", "--no-interlock", "--no-slips") == 0
    assert "nothing found" in capsys.readouterr().out
    assert run(shown, "--no-interlock", "--no-slips", "--format", "json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["slips"] is None
    assert {one["held_by"] for one in told["requirements"]} == {"not asked"}
    assert told["interruptions"][-1]["afterwards"] == "nothing is left to do"
    hold = "hold: " + str(Path("..") / "twin-lane.yaml")
    (tmp_path / "models").symlink_to(ROOT / "models")
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text(
        demo("open-and-shut").replace(hold, "hold: models/twin-lane.yaml").replace("- unlock D1", "- lock D1")
    )
    assert run(str(wrong), "--no-interlock", "--no-slips") == 1
    assert "By trial: unlock D1 instead; with that nothing else was found wrong" in " ".join(
        capsys.readouterr().out.split()
    )
    wrong.write_text(wrong.read_text().replace("- lock D1", "- shut D1", 1))
    assert run(str(wrong)) == 2
    said = capsys.readouterr().err
    assert "wrong.yaml:12:9: " in said
    assert "[unknown-action]" in said
    assert run(str(tmp_path / "nowhere.yaml")) == 2
    assert run("demo:twin-lane") == 2
    assert "[wrong-file]" in capsys.readouterr().err
    assert run(shown, "--time", "0.001", "--no-interlock") == 3
    assert "the time was up" in capsys.readouterr().out


def test_a_long_severity_leaves_the_table_its_width(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is too long for the column of severities is said below the row, whole."""
    said = "may lead to the loss of the aircraft, of lives, or of both, in the judgement of those who were asked"
    asked = tmp_path / "asked.yaml"
    standing = (ROOT / "specs" / "standing.yaml").read_text()
    asked.write_text(
        standing.replace("severity: 1", f"severity: {said}").replace('severity: "1"', f'severity: "{said}"')
    )
    args = ("--no-standing", "--requirements", str(asked), "--no-slips", "--no-interlock")
    assert run("demo:procedures/single-lane-load", *args) in (0, 1)
    told = capsys.readouterr().out
    assert max(map(len, told.splitlines())) <= WIDTH
    assert f"severity: {said}" in " ".join(told.partition("WHAT HOLDS EACH REQUIREMENT")[2].split())


def test_faults_of_start_and_actions_are_told_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A name that is wrong in the start does not hide those that are wrong in the actions and the goal."""
    (tmp_path / "models").symlink_to(ROOT / "models")
    wrong = tmp_path / "wrong.yaml"
    text = demo("open-and-shut").replace("hold: ../twin-lane.yaml", "hold: models/twin-lane.yaml")
    text = text.replace("start: {GP: on}", "start: {GP: on, GQ: on}").replace("- unlock D1", "- unlock D11")
    wrong.write_text(text.replace("goal: D1 is locked", "goal: D1 is lokced"))
    assert run(str(wrong)) == 2
    said = capsys.readouterr().err
    assert "nothing in the hold is called 'GQ'" in said
    assert "did you mean 'D1'?" in said
    assert "did you mean 'locked'?" in said
    assert "3 faults" in said


def test_output_goes_to_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With `--output` the report is in the file, and standard output stays empty."""
    file = tmp_path / "audit.md"
    assert (
        run("demo:procedures/open-and-shut", "--no-interlock", "--no-slips", "--format", "markdown", "-o", str(file))
        == 0
    )
    taken = capsys.readouterr()
    assert taken.out == ""
    assert "nothing found" in taken.err
    assert file.read_text("utf-8").startswith("# Open the cargo door")
