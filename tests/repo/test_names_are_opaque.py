"""The names of a compiled hold are for readers: no code takes them apart, and it is of no matter how they are spelt."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest

from interlock.hold import origin
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.explain import explain_clauses
from interlock.kernel.claims import Limits
from interlock.kernel.evaluator import initial_states
from interlock.kernel.expressions import Is, neg
from interlock.prove.decide import decide
from interlock.report.drawing.plan import plan_svg
from interlock.report.text.audit import audit_lines
from interlock.report.text.checklist import checklist_lines
from interlock.report.views.audit import audit_view
from interlock.report.views.checklist import ChecklistView, checklist_view
from interlock.report.yaml.procedure import checklist_procedure, steps_of_actions
from interlock.study.checklist.audit import audit_checklist
from interlock.study.checklist.goals import Load
from interlock.study.checklist.making import Checklist, make_checklist
from interlock.study.verify import verify
from tests.agreement.hold_texts import compile_file, forget, standing
from tests.teeth.procedures import MODELS, audit

ROOT = Path(__file__).parents[2] / "interlock"
TAKING_APART = frozenset(
    "split rsplit splitlines partition rpartition startswith endswith removeprefix removesuffix".split()  # noqa: SIM905
)

PEOPLES_TEXT = "text that people write: "
OWN_TEXT = "text for people, on its way out: "
OF_OTHERS = "what other programs write: "
MAY = {
    "cli/": PEOPLES_TEXT + "a command line, answers, names of files and formats",
    "confirm/recheck.py": OF_OTHERS + "answers of a solver",
    "diagnostics/": OWN_TEXT + "paragraphs and excerpts are laid out",
    "hold/editing/": PEOPLES_TEXT + "a text while it is written",
    "hold/explain.py": OWN_TEXT + "sentences that differ in a place are told together",
    "hold/language/": PEOPLES_TEXT + "a description",
    "hold/loader.py": PEOPLES_TEXT + "names of files",
    "hold/overlay/": PEOPLES_TEXT + "ranges and holes of repetitions",
    "hold/procedure/action_texts.py": PEOPLES_TEXT + "actions of a procedure",
    "hold/said_words.py": PEOPLES_TEXT + "a word that is asked for",
    "hold/sense.py": OWN_TEXT + "ids are filled into a message",
    "hold/trade_words.py": PEOPLES_TEXT + "a word that is asked for",
    "prove/memory.py": OF_OTHERS + "figures of the operating system",
    "report/drawing/grid.py": OWN_TEXT + "words are measured",
    "report/drawing/lifecycle.py": "names of files to be made",
    "report/drawing/movables.py": OWN_TEXT + "a label is broken into lines",
    "report/drawing/pieces.py": "coordinates of our own drawings",
    "report/drawing/shapes.py": OWN_TEXT + "numbers and lines are set",
    "report/html/teaching.py": OWN_TEXT + "messages in the text of scripts",
    "report/languages.py": OWN_TEXT + "signs of Markdown are kept from meaning anything",
    "report/markdown/repair.py": OWN_TEXT + "a modification is shown line by line",
    "report/text/repair.py": OWN_TEXT + "a modification is shown line by line",
    "report/text/language.py": OWN_TEXT + "an example is shown line by line",
    "report/text/requirement.py": OWN_TEXT + "lines are broken",
    "report/views/instructions.py": OWN_TEXT + "articles of what people call things",
    "report/views/requirements.py": PEOPLES_TEXT + "places in the sentence of a requirement",
    "report/views/wording.py": OWN_TEXT + "plurals of what people call things, and what a label says is not said twice",
    "study/procedure/slips.py": PEOPLES_TEXT + "the words of an action are varied",
}
"""The modules and folders that take text apart, and which text; the names of a compiled hold are none of it."""


def _places(module: Path) -> Iterator[int]:
    """The lines in which a string is taken apart, or looked into for what separates the words of a name."""
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        match node:
            case ast.Call(func=ast.Attribute(attr=method)) if method in TAKING_APART:
                yield node.lineno
            case ast.Call(func=ast.Attribute(value=ast.Name(id="re"))):
                yield node.lineno
            case ast.Compare(left=ast.Constant(value=str(text)), ops=[ast.In() | ast.NotIn()]):
                if any(sign in text for sign in (".", " + ", "#")):
                    yield node.lineno


def test_only_these_modules_take_text_apart() -> None:
    """Who needs to know what a name is about asks its origin; every module that takes text apart says which text."""
    found = {
        str(module.relative_to(ROOT).as_posix()): lines
        for module in sorted(ROOT.rglob("*.py"))
        if (lines := sorted(_places(module)))
    }
    allowed = {
        module: [one for one in MAY if module == one or (one.endswith("/") and module.startswith(one))]
        for module in found
    }
    assert {module: found[module] for module, ones in allowed.items() if not ones} == {}
    assert set(MAY) == {one for ones in allowed.values() for one in ones}


def _respelt(name: Callable[[object], str]) -> property:
    # each sign becomes its neighbour, so that names keep their order
    signs = str.maketrans({".": "/", "+": ",", "#": "$", "_": "^", " ": "!"})
    return property(lambda self: name(self).translate(signs))


def _said(compiled: CompiledHold) -> Iterator[object]:
    """What is told of a hold: proofs and runs, a procedure with its slips, a checklist, a picture."""
    verification = verify(compiled, decide, Limits())
    for answer in verification.answers:
        story = answer.story
        steps = () if story is None else tuple(replace(step, rule="") for step in story.steps)
        yield answer.instance.text, answer.status, None if story is None else replace(story, steps=steps)
    facts = [Is(v.name, value) for v in verification.machine.variables for value in v.domain]
    yield explain_clauses(verification.machine, compiled.glossary, [neg(fact) for fact in facts])
    procedure = (MODELS / "procedures" / "single-lane-load.yaml").read_text(encoding="utf-8")
    yield audit_lines(audit_view(audit(procedure, slips=True), "x", 0), verbose=True)
    made = make_checklist(compiled, Load((("4C", "HALF"),)))
    assert isinstance(made, Checklist)
    text = checklist_procedure(made, "x.yaml")
    yield text
    view = checklist_view("x", made, audit_checklist(made, text, steps_of_actions(made), Limits()), 0)
    assert isinstance(view, ChecklistView)
    yield list(checklist_lines(view, verbose=True))
    yield plan_svg(compiled, next(initial_states(compiled.machine)))


def test_spelling_is_of_no_matter(compiled_anew: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """With every name spelt otherwise all that is told of a hold is the same, runs that break requirements included."""
    flawed = "models/flawed/key-not-trapped.yaml"
    usual = compile_file(flawed, standing())
    before = list(_said(usual))
    assert any(isinstance(one, tuple) and one[2] is not None for one in before)
    classes = [*get_args(origin.Memory), *get_args(origin.Meaning), *get_args(origin.Deed), origin.Origin]
    for one in classes:
        if one is not origin.Precedence:  # the kernel spells the memory of a requirement
            monkeypatch.setattr(one, "name", _respelt(one.name.fget))
    forget()
    respelt = compile_file(flawed, standing())
    assert not any("." in rule.name for rule in respelt.machine.rules)
    assert list(_said(respelt)) == before
