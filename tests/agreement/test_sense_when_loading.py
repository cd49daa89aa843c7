"""What makes no sense is told when a description is loaded, in one pass with what its expressions get wrong."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.compiler import compile_hold
from interlock.hold.loader import Source, load_hold
from tests.agreement.hold_texts import ROOT, compile_text, doorway, fetch, hold_text

LATCH = "- {id: ML, kind: manual latch, on: 1C.aft, stops: [aft], restrains: [x], locking: %s, starts: lowered}"
CIRCUIT = "circuits:\n  - {id: up, use: logic, is: ML is %s}\n"


def loaded(text: str) -> tuple[Diagnostic, ...]:
    """What loading finds; what it lets through compiles."""
    found = load_hold(Source("test.yaml", text.encode()), fetch)
    if found.value is not None:
        assert not compile_hold(found.value).diagnostics
    return found.diagnostics


@pytest.mark.parametrize(
    ("locking", "state", "codes"),
    [
        ("raised", "raised", []),
        ("halfway", "raised", ["never-locking"]),
        ("raised", "halfway", ["unknown-state"]),
        ("halfway", "halfway", ["never-locking", "unknown-state"]),
    ],
)
def test_sense_is_checked_before_compiling(locking: str, state: str, codes: list[str]) -> None:
    """Neither a device that is never in its locking state loads, nor a circuit about a state that there is not."""
    text = hold_text(rows=1, doorways=doorway("1C", "left"), devices=LATCH % locking, rest=CIRCUIT % state)
    assert [one.code for one in loaded(text)] == codes


ASKING = """
controls:
  - {id: SW, kind: switch, positions: [off, on], starts: off}
supplies:
  - {id: main, may_be_lost: %s, starts: on}
circuits:
  - {id: up, use: logic, is: ML is rised and SW.aft is on}
  - {id: fed, use: logic, is: main is hot or 1C is none_such}
  - {id: lit, use: lamp, is: SW is offf and (main or main is lost)}
requirements:
  - id: first
    text: A requirement.
    kind: always
    for: {b: bays}
    when: b is secure
    condition: b.sidez is x
    hazard: none
    severity: none
    scheme: none
    source: common practice, no source
  - id: second
    text: Another.
    kind: only if
    step: lift ML
    condition: fed is onn
    hazard: none
    severity: none
    scheme: none
    source: common practice, no source
  - id: third
    text: One more.
    kind: nevr
    for: {d: devices}
    condition: d is movabel
    hazard: none
    severity: none
    scheme: none
    source: common practice, no source
"""
OF_READING = {("unknown-choice", "lamp", None), ("unknown-choice", "nevr", "never")}
OF_EXPRESSIONS = {
    ("unknown-state", "rised", "raised"),
    ("unknown-name", "aft", None),
    ("unknown-state", "none_such", None),
    ("unknown-state", "offf", "off"),
    ("unknown-state", "secure", "secured"),
    ("unknown-name", "sidez", "sides"),
    ("unknown-verb", "lift ML", None),
    ("unknown-state", "onn", "on"),
    ("unknown-state", "movabel", "movable"),
}
OF_THE_SUPPLY = {("not-a-truth-value", "main", None), ("unknown-state", "hot", None), ("unknown-state", "lost", None)}


@pytest.mark.parametrize(
    ("lost", "more"), [("true", OF_THE_SUPPLY), ("perhaps", {("not-true-or-false", "perhaps", None)})]
)
def test_faults_of_expressions_are_told_beside_others(lost: str, more: set[tuple[str, str, str | None]]) -> None:
    """States, parts and steps that there are not are told at once with what cannot be read, each at its place.

    Of a thing that cannot be read nobody knows what can be said of it.
    """
    text = hold_text(rows=1, doorways=doorway("1C", "left"), devices=LATCH % "raised", rest=ASKING % lost)
    lines = text.splitlines()
    told = {
        (one.code, lines[one.span.line - 1][one.span.column - 1 :][: one.span.length], one.nearest)
        for one in loaded(text)
    }
    assert told == OF_READING | OF_EXPRESSIONS | more


OF_THE_REST = {
    ("unknown-state", "offf", "off"),
    ("unknown-state", "onn", "on"),
    ("not-a-truth-value", "main", None),
    ("unknown-state", "hot", None),
    ("unknown-state", "lost", None),
}
"""What is wrong with what is said of controls, supplies and circuits: for that nobody needs the floor."""
NO_LAYOUT = {("missing-field", "interlock", None), ("unknown-field", "layuot", "layout")}


@pytest.mark.parametrize(
    ("written", "instead", "of_reading", "more"),
    [
        ("rows: 1", "rows: many", {("not-a-whole-number", "many", None)}, set()),
        (
            "\nlayout:",
            "\nlayuot:",
            {("missing-field", "interlock", None), ("unknown-field", "layuot", "layout")},
            set(),
        ),
        (
            "\nsupplies:",
            "\nrelais:\n  - {id: R, sets: main is hot}\nsupplies:",
            {("unknown-field", "relais", "relays")},
            {("unknown-state", "rised", "raised"), ("unknown-state", "secure", "secured")},
        ),
        (
            "\nsupplies:\n",
            "\nsupplies:\n  - {for: {n: nonsense}, id: 'S{n}', may_be_lost: true, starts: on}\n",
            {("bad-repetition", "nonsense", None)},
            {("unknown-state", "rised", "raised")},
        ),
    ],
    ids=["floor", "no floor", "section", "repetition"],
)
def test_what_needs_nothing_that_is_missing_is_looked_up(
    written: str,
    instead: str,
    of_reading: set[tuple[str, str, str | None]],
    more: set[tuple[str, str, str | None]],
) -> None:
    """Without the floor, a section or what a repetition makes, what is said of all else is told in the same pass."""
    text = hold_text(rows=1, doorways=doorway("1C", "left"), devices=LATCH % "raised", rest=ASKING % "true")
    assert written in text
    text = text.replace(written, instead, 1)
    lines = text.splitlines()
    told = {
        (one.code, lines[one.span.line - 1][one.span.column - 1 :][: one.span.length], one.nearest)
        for one in loaded(text)
    }
    assert told >= OF_READING | OF_THE_REST | of_reading | more
    assert told <= OF_READING | OF_EXPRESSIONS | OF_THE_SUPPLY | of_reading


def test_what_is_missing_is_not_called_unknown() -> None:
    """Whatever one section, repetition or part of the floor is spoilt, no fault is told of any other line."""
    text = Path(ROOT, "models/single-lane.yaml").read_text(encoding="utf-8")
    spoilt = [(match.start(1), "x") for match in re.finditer(r"^\w+(?=:)()", text, re.MULTILINE)]
    spoilt += [(match.start(1), "x") for match in re.finditer(r"for: *\{[^}]*?()\}", text)]
    spoilt += [(text.index(word) + len(word), " no-such") for word in ("lanes:", "rows:", "drift:", "hand_work:")]
    assert len(spoilt) > 25
    for at, word in spoilt:
        line = text.count("\n", 0, at) + 1
        found = load_hold(Source("models/spoilt.yaml", (text[:at] + word + text[at:]).encode()), fetch).diagnostics
        # a section that is not there is told at the top
        assert line in {one.span.line for one in found} <= {line, 2}, found


@pytest.mark.parametrize("relays", [False, True])
def test_a_long_chain_compiles(relays: bool) -> None:
    """Circuits defined by one another a thousand deep, and relays that set one another off, are no fault of ours."""
    length = 60 if relays else 1_500
    lines = ["controls:", "  - {id: SW, kind: switch, positions: [off, on], starts: off}"]
    if relays:
        lines += ["relays:", "  - {id: r0, sets: SW is on, drops: SW is off, starts: released}"]
        chained = "  - {{id: r{0}, sets: r{1} is on, drops: r{1} is off, starts: released}}"
    else:
        lines += ["relays:", f"  - {{id: R, sets: r{length - 1} is on, drops: r{length - 1} is off, starts: released}}"]
        lines += ["circuits:", "  - {id: r0, use: logic, is: SW is on}"]
        chained = "  - {{id: r{0}, use: logic, is: r{1} is on}}"
    lines += [chained.format(at, at - 1) for at in range(1, length)]
    compiled = compile_text(hold_text(doorways=doorway("1C", "left"), rest="\n".join(lines) + "\n"))
    ways = [one for one in compiled.origins.rules.values() if one.deed.name == "control.SW.set_on"]
    assert max(len(way.responses) for way in ways) == (length if relays else 1)
