"""What people really get wrong gets the advice that puts it right, at first reading."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.compiler import compile_hold
from interlock.hold.loader import Source, beside, load_hold

SMALL = (Path(__file__).parent / "malformed" / "hold.yaml").read_text("utf-8")


def faults_of(text: str) -> tuple[Diagnostic, ...]:
    """All that is wrong with a description, or with a modification of the small hold."""
    loaded = load_hold(Source("given.yaml", text.encode()), lambda name: Source(name, SMALL.encode()))
    return loaded.diagnostics if loaded.value is None else compile_hold(loaded.value).diagnostics


@pytest.mark.parametrize(
    ("right", "wrong", "advice"),
    [
        ("{id: M1,", "{id: M{r},", "quotes around a text that has braces in it"),
        ("    bays: 1R\n", "    bays: {r}R\n", "quotes around a text that begins with `{`"),
        ("  rows: 2\n", "  rows: [2\n", "it closed, and a comma between what stands inside"),
    ],
)
def test_braces_without_quotes(right: str, wrong: str, advice: str) -> None:
    """A variable of a repetition that stands without quotes breaks the YAML, and quotes are what is advised."""
    assert right in SMALL
    (fault,) = faults_of(SMALL.replace(right, wrong, 1))
    assert (fault.code, fault.expected) == ("not-yaml", advice)


@pytest.mark.parametrize(
    ("right", "wrong", "meant"),
    [
        ("lanes: [L, R]", "lanes: L, R", "[L, R]"),
        ("secured: [fore, aft, left, right]", "secured: fore, aft", "[fore, aft]"),
        ("drift: []", "drift: none", "[]"),
        ("path: []", "path: none", "[]"),
    ],
)
def test_a_list_without_brackets(right: str, wrong: str, meant: str) -> None:
    """A list written as one text, and `none` for an empty one, are shown as they are to be written."""
    assert right in SMALL
    found = [fault for fault in faults_of(SMALL.replace(right, wrong, 1)) if fault.code == "not-a-list"]
    assert [fault.nearest for fault in found] == [meant]


def test_devices_of_one_repetition_are_told_once() -> None:
    """The same fault of every device that one item stands for is one message, which names them all."""
    text = SMALL.replace(
        "controls:\n",
        '  - {for: {r: 1..2}, id: "N{r}", on: "{r}R.left", stops: left,\n'
        "     kind: manual latch, locking: up, starts: down}\n"
        "controls:\n",
        1,
    )
    assert [fault.message for fault in faults_of(text)] == [
        "a manual latch is never 'up' (`locking` of N1, N2)",
        "a manual latch is never 'down' (`starts` of N1, N2)",
    ]


def test_what_still_names_a_thing_that_was_removed() -> None:
    """An expression that speaks of something that a modification took away says so, and where that was."""
    text = "interlock: 1\ntitle: Changed\nmodifies: hold.yaml\nchanges:\n  - remove: M1\n"
    (fault,) = faults_of(text)
    assert fault.message == "'M1' was taken out by a modification"
    assert fault.expected == "the modification to change this too"
    assert fault.context == ("taken out at given.yaml, line 5",)


@pytest.mark.parametrize(
    ("name", "said", "meant"),
    [
        ("a/mine.yaml", "../base.yaml", "base.yaml"),
        ("a/mine.yaml", "demo:twin-lane", "demo:twin-lane"),
        ("demo:flawed/one.yaml", "../twin-lane.yaml", "demo:twin-lane.yaml"),
        ("demo:one.yaml", "../../etc/passwd", "demo:../../etc/passwd"),
    ],
)
def test_which_file_is_meant(name: str, said: str, meant: str) -> None:
    """A path goes from the folder of the file that says it; a shipped file, and what it says, stay shipped ones."""
    assert beside(name, said) == meant


def test_an_added_failure_is_named_in_the_list_of_changes() -> None:
    """A failure has no id: what it befalls and how says which it is."""
    text = "interlock: 1\ntitle: Changed\nmodifies: hold.yaml\nchanges:\n  - add: {failures: [{of: M1, mode: stuck}]}\n"
    hold = load_hold(Source("given.yaml", text.encode()), lambda name: Source(name, SMALL.encode())).value
    assert hold is not None
    assert [(change.verb, change.object) for change in hold.changes] == [("add", "M1.stuck")]
