"""Question sheets: what is called right is so by the kernel, what is called wrong is not, and a seed is a sheet."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from interlock import cli
from interlock.cli.checklist import audited_checklist
from interlock.kernel.claims import Limits, silent
from interlock.kernel.evaluator import State, evaluate
from interlock.report.html.questions import questions_html
from interlock.report.views.checklist import ChecklistView, checklist_view
from interlock.report.views.checklist_words import instruction_of
from interlock.report.views.exercises import Rehearsed
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.questions import KINDS, NEXT, ORDER, STILL, SheetQuestion, SheetView, sheet_view
from interlock.study.checklist.goals import Load
from interlock.study.checklist.making import Checklist, make_checklist
from interlock.study.checklist.operating import Deed
from tests.agreement.test_page_evaluator import opened
from tests.some import some


@cache
def rehearsed() -> Rehearsed:
    compiled = opened("demo:twin-lane").compiled
    made = make_checklist(compiled, Load((("3L", "HALF"), ("2R", "HALF"))))
    assert isinstance(made, Checklist)
    audited = audited_checklist(made, Limits(), silent)
    told = checklist_view("demo:twin-lane", made, audited, 0)
    assert isinstance(told, ChecklistView)
    return Rehearsed(made, audited, told)


@cache
def sheet(seed: int) -> SheetView:
    return sheet_view((), rehearsed(), seed, 40)


def of_kind(kind: str) -> list[SheetQuestion]:
    return [one for seed in (1, 2) for one in sheet(seed).questions if one.kind == kind]


def test_each_question_has_one_right_answer() -> None:
    """There are questions of every kind, each with answers that differ, one of them right, and a reason for each."""
    assert {one.kind for one in sheet(1).questions} == set(KINDS)
    for one in some(sheet(1).questions):
        assert sum(choice.right for choice in one.choices) == 1
        assert len({choice.text for choice in one.choices}) == len(one.choices) >= 4
        assert all(choice.because.endswith(".") for choice in one.choices)


def is_possible(text: str, state: State) -> bool:
    """Whether some deed that is told so can be begun in the state."""
    made = rehearsed().made
    writer, origins = InstructionWriter(made.compiled), made.compiled.origins
    told = {instruction_of(writer, step): step.execution.deed.heads for step in made.steps}
    heads = {told[text][0]} if text in told else set()
    for deed in () if heads else origins.deeds:
        if text == writer.instruction(Deed((deed,)), state, state):
            heads.add(deed)
    machine = made.operation.asked
    rules = [rule for head in some(sorted(heads)) for rule in origins.rules_of[head]]
    return any(evaluate(machine, machine.rule(rule).guard, state) for rule in rules)


def test_what_can_be_done_next_is_as_the_kernel_says() -> None:
    """Of the answers to what can be done next the right one alone is possible in the state that is drawn."""
    for one in some(of_kind(NEXT)[:12]):
        assert one.state is not None
        assert [is_possible(choice.text, one.state) for choice in one.choices] == [c.right for c in one.choices]


def test_why_nothing_moves_is_as_the_kernel_says() -> None:
    """Of the answers to why nothing moves the right one alone is so in the state that is drawn."""
    made = rehearsed().made
    machine, glossary = made.operation.asked, made.compiled.glossary
    for one in some(of_kind(STILL)):
        assert one.state is not None
        values = zip(machine.variables, one.state, strict=True)
        so = {glossary.values.get((variable.name, value), "") for variable, value in values}
        for name, (when_so, when_not) in glossary.signals.items():
            so.add(when_so if evaluate(machine, machine.definitions[name], one.state) else when_not)
        said = {text[:1].upper() + text[1:] + "." for text in so if text}
        assert [choice.text in said for choice in one.choices] == [choice.right for choice in one.choices]


def test_step_that_stands_too_early_changes_places_with_the_next() -> None:
    """With the right answer one place further down, the steps are those of the checklist, one after the other."""
    made = rehearsed().made
    writer = InstructionWriter(made.compiled)
    whole = [instruction_of(writer, step) for step in made.steps]
    for one in some(of_kind(ORDER)):
        texts = [choice.text for choice in one.choices]
        at = [choice.right for choice in one.choices].index(True)
        texts[at], texts[at + 1] = texts[at + 1], texts[at]
        assert any(whole[start : start + len(texts)] == texts for start in range(len(whole)))


def test_seed_is_a_sheet() -> None:
    """The same seed gives the same bytes, another one another sheet."""
    again = sheet_view((), rehearsed(), 1, 40)
    assert questions_html(again) == questions_html(sheet(1))
    assert questions_html(sheet(1)) != questions_html(sheet(2))


def test_answers_have_a_sheet_of_their_own() -> None:
    """No answer is given away before the part that begins a new page."""
    page = questions_html(sheet(1))
    asked, answers = page.split('<section class="apart">')
    assert "right" not in re.sub(r"<svg.*?</svg>|<style>.*?</style>", "", asked, flags=re.DOTALL).split("<main>")[1]
    assert answers.count("</b> right</span>") == len(sheet(1).questions)
    assert "This is not approved maintenance data" in asked


def test_sheet_of_a_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command writes a sheet, asks for a goal, and refuses what cannot be done with the reason."""
    file = tmp_path / "sheet.html"
    assert cli.run(["questions", "demo:single-lane", "--load", "4C=HALF", "--number", "3", "-o", str(file)]) == 0
    page = file.read_text(encoding="utf-8")
    assert page.count('role="radiogroup"') == 3
    assert re.search(r"demo:single-lane.yaml</b> \(SHA-256 <span[^>]*>[0-9a-f]{64}<", page)
    assert cli.run(["questions", "demo:single-lane"]) == 2
    assert "one of --load, --unload and --goal" in capsys.readouterr().err
    assert cli.run(["questions", "demo:single-lane", "--goal", "D1 is locked and D1 is open", "--time", "20"]) == 1
