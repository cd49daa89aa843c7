"""Reports are, letter for letter, what is kept in `reports/`, and what is true of every report is true of them.

After a wanted change: INTERLOCK_KEEP_REPORTS=1 python -m pytest tests/golden/test_reports.py, then read the difference.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from interlock.cli.exit_codes import code_of_hold, worst_code
from interlock.diagnostics.said import say
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.language.syntax import Path as NamedPath
from interlock.kernel.claims import Disputed, Fails, Holds, Limits, Proved, Undecided
from interlock.kernel.why import Helps, Why
from interlock.prove.search.explicit import Count, count_states, explicit
from interlock.report.json.sarif import proof_sarif
from interlock.report.json.writing import document, schema
from interlock.report.text import proof as proof_module
from interlock.report.text.count import count_lines
from interlock.report.text.description import description_lines
from interlock.report.text.lines import WIDTH, Line, Tone, as_text, flow
from interlock.report.text.proof import brief_lines, proof_lines, proof_report
from interlock.report.text.requirement import list_lines, requirement_lines
from interlock.report.text.walk import broken_lines, choice_lines, opening_lines, state_lines, step_lines
from interlock.report.views.count import count_view
from interlock.report.views.description import description_view
from interlock.report.views.proof import ProofView, proof_facts, proof_view
from interlock.report.views.proof_facts import ProofFacts
from interlock.report.views.requirements import requirement_view, sentence_of_all
from interlock.report.views.walk import walk_view
from interlock.report.views.wording import sentence
from interlock.report.xml.junit import proof_junit
from interlock.study.verify import Answer, Status, Verification, verify
from interlock.study.walk import begin_walk, broken_now, choices_of, take, take_back
from tests.golden.small_hold import REQUIREMENTS, TEXT, requirement_texts, small_hold
from tests.sarif import check_sarif
from tests.some import some

KEPT = Path(__file__).parent / "reports"


@pytest.fixture(scope="module")
def verification() -> Verification:
    """The small hold, really decided: two hold, one fails, one is vacuous."""
    return verify(small_hold(), explicit, Limits())


def _with(verification: Verification, id: str, status: Status, finding: object) -> Verification:
    def changed(answer: Answer) -> Answer:
        if answer.instance.origin.id != id:
            return answer
        return replace(answer, status=status, finding=finding, story=None)  # type: ignore[arg-type]

    return replace(verification, answers=tuple(map(changed, verification.answers)))


@pytest.fixture(scope="module")
def every_outcome(verification: Verification) -> Verification:
    """The same with one undecided and one disputed answer put in by hand."""
    undecided = _with(
        verification,
        "bay-filled",
        Status.UNDECIDED,
        Undecided("bay-filled[1C]", Why(say("out of time ({seconds} s)", seconds=5), Helps.TIME), 17),
    )
    claim = Proved("latched-when-locked[D1]", "explicit", None, 40)
    disputed = Disputed("latched-when-locked[D1]", claim, "a second count finds 41 states, not 40")
    return _with(undecided, "latched-when-locked", Status.DISPUTED, disputed)


PROOF_SCHEMA = schema(ProofFacts)


def _proof(verification: Verification) -> ProofView:
    return proof_view("small.yaml", verification, requirement_texts(), code_of_hold(verification))


def _whole(proof: ProofView, seconds: float | None = None) -> str:
    return as_text((*proof_lines(proof, False), Line(proof.summary(seconds))))


def _document(verification: Verification, code: int, rejected: Mapping[str, Sequence[Diagnostic]] | None = None) -> str:
    return document(proof_facts([_proof(verification)], rejected or {}, code))


def _reports(verification: Verification, every_outcome: Verification) -> dict[str, str]:
    compiled = verification.compiled
    texts = [requirement_view(text) for text in requirement_texts()]
    walk = begin_walk(compiled)
    walked: list[Line] = [*opening_lines(walk_view(walk)), *choice_lines(walk_view(walk))]
    for words in ("bring", "unlock", "unlatch", "start to open", "fully", "the loader moves"):
        walk = take(walk, next(choice for choice in choices_of(walk) if words in choice.text))
        walked += step_lines(walk_view(walk))
    walked += state_lines(walk_view(walk))
    return {
        "proved.txt": _whole(_proof(verification), 3.21),
        "proved-verbose.txt": as_text(proof_lines(_proof(verification), True)),
        "every-outcome.txt": as_text(
            (*proof_lines(_proof(every_outcome), False), Line(_proof(every_outcome).summary()))
        ),
        "brief.txt": as_text(brief_lines(_proof(every_outcome))),
        "described.txt": as_text(description_lines(description_view("small.yaml", compiled))),
        "walked.txt": as_text(walked),
        "requirements.txt": as_text(
            (*list_lines(texts), *(line for text in texts for line in requirement_lines(text)))
        ),
        "proved.json": _document(every_outcome, 4),
        "proved.sarif": proof_sarif(proof_facts([_proof(every_outcome)], {}, 4), [_proof(every_outcome)]),
        "proved.xml": proof_junit(proof_facts([_proof(every_outcome)], {}, 4), [_proof(every_outcome)]),
    }


def test_reports_are_as_kept(verification: Verification, every_outcome: Verification) -> None:
    """Every kind of report reads exactly as the kept one."""
    reports = _reports(verification, every_outcome)
    check_sarif(json.loads(reports["proved.sarif"]))
    if os.environ.get("INTERLOCK_KEEP_REPORTS"):
        for name, text in reports.items():
            (KEPT / name).write_text(text, encoding="utf-8")
    # those of checklists and audits are kept beside them by other tests
    kept = sorted(
        path.name for path in KEPT.iterdir() if not path.name.startswith(("checklist-", "audit-", "failures"))
    )
    assert kept == sorted(reports)
    for name, text in reports.items():
        assert text == (KEPT / name).read_text(encoding="utf-8"), name


@pytest.mark.parametrize(
    ("written", "each", "said"),
    [
        ("{b} is lit", {"b": "bays"}, "Each bay is lit"),
        ("while {d} is up, {d} and {b} are clear", {"d": "devices", "b": "bays"},
         "While any device is up, that device and any bay are clear"),
        ("drives at {s} rest", {"b": "bays", "s": "b.sides"}, "Drives at any side of any bay rest"),
        ("{b}: drives at {s} rest", {"b": "bays", "s": "b.sides"}, "Each bay: drives at any side rest"),
        ("with {d} shut, {b} is dark", {"d": "fore_doors", "b": "D1.bays"},
         "With any one of fore_doors shut, any bay of D1 is dark"),
        ("{x} and {{b}} stay, {b", {"b": "bays"}, "{x} and {any bay} stay, {b"),
    ],
)  # fmt: skip
def test_a_requirement_is_told_of_all_without_its_variables(written: str, each: dict[str, str], said: str) -> None:
    """A sentence about every instance names each sort of thing, once as any of it and then as that one."""
    span = Span("asked.yaml", 1, 1, 1)
    groups = tuple((variable, NamedPath(tuple(path.split(".")), (span,))) for variable, path in each.items())
    assert sentence_of_all(replace(requirement_texts()[0], text=written, each=groups)) == said


def test_no_line_is_wider_than_80(verification: Verification, every_outcome: Verification) -> None:
    """Text reports fit 80 columns and have no blanks at line ends."""
    texts = {name: text for name, text in _reports(verification, every_outcome).items() if name.endswith(".txt")}
    for name, text in some(texts.items()):
        assert [line for line in text.splitlines() if len(line) > WIDTH or line != line.rstrip()] == [], name


def test_a_long_severity_leaves_the_table_its_width() -> None:
    """A scheme may name its categories in sentences: the table says them below the row, whole."""
    said = "may lead to the loss of the aircraft, of lives, or of both, in the judgement of those who were asked"
    long = REQUIREMENTS.replace('severity: "1"', f'severity: "{said}"')
    verification = verify(small_hold(requirements=long), explicit, Limits())
    proof = proof_view("small.yaml", verification, requirement_texts(long), code_of_hold(verification))
    lines = [line.text for line in proof_lines(proof, False)]
    assert max(map(len, lines)) <= WIDTH
    table = lines[lines.index("REQUIREMENTS") :][:20]
    assert f"severity: {said}" in " ".join(" ".join(table).split())


def test_decided_as_expected(verification: Verification) -> None:
    """The small hold's requirements come out as they were written to."""
    found = {answer.instance.origin.id: answer.status for answer in verification.answers}
    assert found == {
        "latched-when-locked": Status.HOLDS,
        "secured-behind-door": Status.FAILS,
        "never-locked-while-open": Status.VACUOUS,
        "bay-filled": Status.HOLDS,
    }


def test_vacuous_is_never_a_plain_pass(verification: Verification) -> None:
    """A requirement whose situation never arises says so in the table, in the last line and in the JSON."""
    text = as_text(proof_lines(_proof(verification), False))
    assert "holds, but the situation never arises" in text
    assert "1 never put to the test" in _proof(verification).summary()
    rows = json.loads(_document(verification, 1))["holds"][0]["requirements"]
    assert [row["situation_arises"] for row in rows] == [True, True, False, None]


def test_unknown_occasion_is_told(verification: Verification) -> None:
    """Where nobody knows whether the situation arises, the pass says so."""
    answers = tuple(
        replace(answer, occasion=Undecided("?", "out of time")) if answer.status is Status.HOLDS else answer
        for answer in verification.answers
    )
    proof = _proof(replace(verification, answers=answers))
    assert "not shown that the situation arises" in as_text(proof_lines(proof, False))
    for gathered in (
        proof_sarif(proof_facts([proof], {}, 1), [proof]),
        proof_junit(proof_facts([proof], {}, 1), [proof]),
    ):
        assert "latched-when-locked[D1] holds, but it is not shown that the situation arises." in gathered


def test_text_without_an_instance_is_not_forgotten(verification: Verification) -> None:
    """A requirement that finds nothing to range over is named."""
    assert "Nothing in this hold for: drives-stop" in as_text(proof_lines(_proof(verification), False))


def test_where_much_fails_each_is_told_in_short(verification: Verification, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sentence, length and what else fails are told of each, orders of steps and assumptions where they can be had;
    what governs stays.  All is told where little fails, and where it is asked for."""
    proof = _proof(verification)
    whole = as_text(proof_report(proof, quiet=False, verbose=False, full=False, seconds=1))
    assert whole == as_text(proof_report(proof, quiet=False, verbose=False, full=True, seconds=1))
    monkeypatch.setattr(proof_module, "MOST_IN_FULL", 0)
    short = as_text(proof_report(proof, quiet=False, verbose=False, full=False, seconds=1))
    assert whole == as_text(proof_report(proof, quiet=False, verbose=False, full=True, seconds=1))
    assert "Step by step" in whole and "Step by step" not in short
    failing = [group.failing[0] for group in proof.groups if group.failing]
    for answer in some(failing):
        assert f"FAILS  {answer.facts.id}" in short
        assert sentence(answer.facts.text) in " ".join(short.split())
        assert f"{answer.steps} step" in short or answer.steps in (None, 0)
    assert f"{len(proof.facts.assumptions)} assumptions about this hold" in short
    assert "--full" in short and "CAUTION" in short
    assert len(short.splitlines()) < len(whole.splitlines())


def test_a_dispute_is_loud_and_blames_the_program(every_outcome: Verification) -> None:
    """A dispute stands before all else that is told in full, in capitals, briefly or not, and wins the code."""
    for lines in (proof_lines(_proof(every_outcome), False), brief_lines(_proof(every_outcome))):
        text = as_text(lines)
        assert "THIS IS A FAULT OF THIS PROGRAM, NOT OF THE HOLD." in text
        assert "DO NOT USE ANY RESULT OF THIS RUN." in text
        assert text.index("DISPUTED: latched") < text.rindex("secured-behind-door")
        assert any(line.tone is Tone.LOUD for line in lines)
    assert _proof(every_outcome).summary().startswith("1 DISPUTED")
    assert code_of_hold(every_outcome) == 4


def test_unproved_depth_is_told(every_outcome: Verification) -> None:
    """What is undecided says why and how deep nothing was found."""
    text = as_text(proof_lines(_proof(every_outcome), False))
    assert "out of time (5 s)" in text
    assert "Up to 17 steps nothing was found" in text


def test_shortness_is_claimed_only_where_it_was_shown(verification: Verification) -> None:
    """A run that no engine showed to be the shortest is not called so."""
    failing = next(answer for answer in verification.answers if answer.status is Status.FAILS)
    assert isinstance(failing.finding, Fails)
    claim = replace(failing.finding.claim, shortest=False)
    loose = _with(verification, "secured-behind-door", Status.FAILS, replace(failing.finding, claim=claim))
    loose = replace(
        loose, answers=tuple(replace(a, story=failing.story) if a.status is Status.FAILS else a for a in loose.answers)
    )
    assert "No shorter sequence of steps does." in as_text(proof_lines(_proof(verification), False))
    text = as_text(proof_lines(_proof(loose), False))
    assert "No shorter order" not in text
    assert "A shorter one may exist." in text


def test_a_forbidden_step_is_named() -> None:
    """Where a requirement about steps breaks, the step that must not be possible is told, in text, JSON and walk."""
    compiled = small_hold(
        TEXT.replace("unlatch: {by: hand, when: D1 is unlocked}", 'unlatch: {by: hand, when: "true"}'),
        REQUIREMENTS.replace("kind: always\n    for: {d: doors}\n    when: d is locked\n    condition: d is latched",
                             "kind: only if\n    for: {d: doors}\n    step: unlatch d\n    condition: d is unlocked"),
    )  # fmt: skip
    verification = verify(compiled, explicit, Limits(), chosen=["latched-when-locked"])
    text = as_text(proof_lines(_proof(verification), False))
    assert "The step is possible at the very start." in text
    assert "What is then possible, and must not be\n    - unlatch side door" in text
    row = json.loads(_document(verification, 1))["holds"][0]["requirements"][0]
    assert row["forbidden_steps"] == ["unlatch side door"]
    told = as_text(broken_lines(walk_view(begin_walk(compiled)), why=False))
    assert "possible now, and must not be: unlatch side door" in told


def test_the_shortest_failure_is_told_and_the_others_named(verification: Verification) -> None:
    """Of equal failures one is told step by step, the others are named with their number of steps."""
    failing = next(answer for answer in verification.answers if answer.status is Status.FAILS)
    requirement = replace(failing.instance.requirement, id="secured-behind-door[9Z]")
    assert isinstance(failing.finding, Fails)
    trace = failing.finding.claim.trace
    longer = replace(trace, rules=(*trace.rules, trace.rules[-1]), states=(*trace.states, trace.states[-1]))
    other = replace(
        failing,
        instance=replace(failing.instance, requirement=requirement, bindings=(("b", "9Z"),)),
        finding=replace(failing.finding, claim=replace(failing.finding.claim, trace=longer)),
    )
    several = replace(verification, answers=(other, *verification.answers))
    text = as_text(proof_lines(_proof(several), False))
    assert text.count("Step by step") == 1
    assert "FAILS  secured-behind-door[1C]" in text
    assert "[9Z] (10)" in " ".join(text.split())


def test_groups_stand_worst_first(every_outcome: Verification) -> None:
    """Disputed before failing before undecided before what holds."""
    assert [group.status for group in _proof(every_outcome).groups] == [
        Status.DISPUTED,
        Status.FAILS,
        Status.UNDECIDED,
        Status.VACUOUS,
    ]


@pytest.mark.parametrize(
    ("codes", "worst"),
    [((), 0), ((0, 0), 0), ((0, 3), 3), ((3, 1, 0), 1), ((1, 2, 3), 2), ((0, 1, 2, 3, 4), 4)],
)
def test_worst_code_wins(codes: tuple[int, ...], worst: int) -> None:
    """Of several holds the worst decides: 4 before 2 before 1 before 3 before 0."""
    assert worst_code(codes) == worst


def test_nothing_asked_is_not_a_pass(verification: Verification) -> None:
    """A hold of which nothing was asked does not come out as proved."""
    assert code_of_hold(replace(verification, answers=())) == 3


def test_json_fits_its_schema(verification: Verification, every_outcome: Verification) -> None:
    """Results and rejections follow the published schema, which is itself a proper one."""
    jsonschema.Draft202012Validator.check_schema(PROOF_SCHEMA)
    rejected = {"bad.yaml": [Diagnostic("unknown-name", Span("bad.yaml", 3, 7, 2), "no such thing", None, "SL")]}
    for found, code in ((verification, 1), (every_outcome, 4)):
        jsonschema.validate(json.loads(_document(found, code, rejected)), PROOF_SCHEMA)


def test_json_schema_refuses_what_is_missing(verification: Verification) -> None:
    """The schema is no formality: a result without its version, status or finding does not fit."""
    for path in (("schema",), ("holds", 0, "counts"), ("holds", 0, "requirements", 0, "finding")):
        told = json.loads(_document(verification, 1))
        place = told
        for key in path[:-1]:
            place = place[key]
        del place[path[-1]]
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(told, PROOF_SCHEMA)


def test_json_trace_leads_to_the_told_end(verification: Verification) -> None:
    """The machine-readable trace, replayed from its first state, ends where the engine's trace ends."""
    answer = next(answer for answer in verification.answers if answer.status is Status.FAILS)
    row = next(
        row for row in json.loads(_document(verification, 1))["holds"][0]["requirements"] if row["status"] == "fails"
    )
    state = dict(row["trace"]["initial"])
    for step in row["trace"]["steps"]:
        state.update(step["changed"])
    end = answer.finding.claim.trace.states[-1]  # type: ignore[union-attr]
    assert tuple(state[variable.name] for variable in verification.machine.variables) == end
    assert len(row["story"]["steps"]) == len(row["trace"]["steps"]) == 9


def test_same_input_same_bytes(verification: Verification) -> None:
    """A second run of everything gives the same JSON, byte for byte."""
    again = verify(small_hold(), explicit, Limits())
    assert _document(verification, 1) == _document(again, 1)


def test_steering_characters_do_not_reach_the_terminal() -> None:
    """Escape sequences in names are shown, not sent."""
    assert Line("a\x1b[31mb").text == "a\\x1b[31mb"
    assert "\x1b" not in as_text(flow("title \x1b]0;x\x07 end"))


def test_count_report_tells_lower_bounds() -> None:
    """A count that a limit stopped never looks like a full one."""
    full = count_states(small_hold().machine)
    assert full.states == 41
    assert "at least" not in as_text(count_lines(count_view("x", full), False))
    stopped = as_text(count_lines(count_view("x", Count(5, 7, 2, 0, (1, 2, 2), False)), True))
    assert stopped.count("at least") == 3
    assert "lower bounds" in stopped


def test_a_second_solver_is_named(verification: Verification) -> None:
    """What re-checked the proofs stands among the assumptions; without it the report says that nothing did."""
    text = as_text(proof_lines(_proof(verification), False))
    assert any(
        finding.checked_by in " ".join(text.split()) for finding in verification.findings if isinstance(finding, Holds)
    )


def test_walk_finds_what_is_broken_and_why() -> None:
    """Walked to the end of the told run, the requirement is broken, with its reasons; one step back it is not."""
    compiled = small_hold()
    walk = begin_walk(compiled)
    for words in (
        "bring",
        "unlock",
        "unlatch",
        "start to open",
        "open side door fully",
        "over the sill",
        "stands in bay",
        "start to close",
    ):
        walk = take(walk, next(choice for choice in choices_of(walk) if words in choice.text))
    assert broken_now(walk) == ()
    walk = take(walk, next(choice for choice in choices_of(walk) if "close side door fully" in choice.text))
    (broken,) = broken_now(walk)
    assert broken.instance.requirement.id == "secured-behind-door[1C]"
    text = as_text(broken_lines(walk_view(walk), why=True))
    assert "sill latch is lowered" in text
    assert broken_now(take_back(walk)) == ()
