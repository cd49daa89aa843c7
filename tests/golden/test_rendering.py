"""How diagnostics look: a golden file of whole messages, and the corners of drawing a caret.

INTERLOCK_WRITE_GOLDEN=1 in the environment writes the golden file anew; look at the difference before it is kept.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.diagnostics.faults import MOST_SHOWN, Faults
from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.render import WIDEST, WIDTH, render_diagnostic, render_diagnostics
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.kinds import HANDLE, RELAY
from interlock.hold.loader import Source, load_hold, load_specification
from interlock.hold.procedure.actions import FORMS

GOLDEN = Path(__file__).parent / "rendered-messages.txt"
FOLDER = Path(__file__).parent / "malformed"
SHOWN = (
    "byte-nul.yaml",
    "expression-folded.yaml",
    "expression-signs.yaml",
    "field-missing.yaml",
    "field-unknown.yaml",
    "modify-leaves-dangling.yaml",
    "modify-values.yaml",
    "name-forms.yaml",
    "name-unknown.yaml",
    "repeat-variables.yaml",
    "yaml-duplicate-key.yaml",
)


def drawn(line: str, column: int, length: int = 1) -> list[str]:
    """The source line and the line of the caret, without the gutter."""
    one = Diagnostic("unknown-name", Span("f.yaml", 1, column, length), "m")
    return [part.partition("| ")[2] for part in render_diagnostic(one, {"f.yaml": (line,)}).split("\n")[1:]]


def test_messages_look_as_in_the_golden_file() -> None:
    """Several files with faults are shown exactly as written down."""

    def fetch(name: str) -> Source | None:
        return Source(name, (FOLDER / name).read_bytes())

    parts = []
    for name in SHOWN:
        loaded = load_hold(Source(name, (FOLDER / name).read_bytes()), fetch)
        parts.append(render_diagnostics(loaded.diagnostics, loaded.sources))
    text = "\n\n".join(parts) + "\n"
    if os.environ.get("INTERLOCK_WRITE_GOLDEN"):
        GOLDEN.write_text(text, "utf-8")
    assert text == GOLDEN.read_text("utf-8")


@pytest.mark.parametrize("kind", ["never", "always", "only if", "order", "can", "can always"])
def test_a_choice_written_as_the_key_is_told_its_field(kind: str) -> None:
    """Whoever writes `never: ...` is told of `kind: never`, not of a field that looks alike."""
    text = f"interlock: 1\nspecification: s\nrequirements:\n  - id: a\n    text: t\n    {kind}: D1 is open\n"
    (fault,) = (one for one in load_specification(Source("s.yaml", text.encode())).diagnostics if one.span.line == 6)
    assert (fault.code, fault.nearest) == ("unknown-field", None)
    assert fault.expected == f"`kind: {kind}`, and what it speaks of in fields of its own"


def test_no_line_but_the_first_passes_80_columns() -> None:
    """Long source lines are clipped and long hints go over several lines, at any place of the fault."""
    hint = "one of " + ", ".join(f"position-{number}" for number in range(40))
    for column in range(1, 200, 7):
        one = Diagnostic("unknown-name", Span("f.yaml", 9999, column, 30), "m", hint, None, (hint,))
        lines = render_diagnostic(one, {"f.yaml": ("x" * 200,) * 9999}).split("\n")
        assert len(lines) > 10
        assert max(map(len, lines[1:])) <= WIDTH


def test_caret_stands_under_the_fault() -> None:
    """The caret begins at the column and is as long as the fault."""
    assert drawn("ab cde", 4, 3) == ["ab cde", "   ^~~"]


def test_caret_may_stand_behind_the_line() -> None:
    """What is missing at the end is shown just behind it."""
    assert drawn("abc", 4) == ["abc", "   ^"]


def test_wide_characters_take_two_cells() -> None:
    """A wide character before the fault moves the caret by two, and one in the fault makes it longer."""
    assert drawn("倉a", 2) == ["倉a", "  ^"]
    assert drawn("a倉b", 2) == ["a倉b", " ^~"]


def test_combining_characters_take_no_cell() -> None:
    """An accent of its own does not move the caret."""
    assert drawn("e\N{COMBINING ACUTE ACCENT}x", 3) == ["e\N{COMBINING ACUTE ACCENT}x", " ^"]


def test_tabs_are_kept_in_the_pad() -> None:
    """A tab before the fault is a tab before the caret."""
    assert drawn("\ta:\tb", 5) == ["\ta:\tb", "\t  \t^"]


def test_long_lines_are_clipped_around_the_fault() -> None:
    """Of a long line only the surroundings of the fault are shown, with the caret in its place."""
    line, caret = drawn("x" * 500 + "FAULT" + "y" * 500, 501, 5)
    assert len(line) <= WIDEST + 6
    assert line.startswith("...x")
    assert line.endswith("y...")
    assert line[caret.index("^") :].startswith("FAULT")
    assert caret.strip() == "^~~~~"


def test_characters_that_disturb_a_terminal_are_replaced() -> None:
    """An escape character in a line or message never reaches the terminal."""
    one = Diagnostic("unknown-name", Span("f.yaml", 1, 1), "a\x1b[31mb", "c\x07", "d\x08", ("e\x1b",))
    assert not set("\x1b\x07\x08") & set(render_diagnostic(one, {"f.yaml": ("\x1b[2J",)}))


def test_a_file_that_is_not_given_is_no_hindrance() -> None:
    """Without its line a diagnostic is still told."""
    one = Diagnostic("unknown-name", Span("f.yaml", 7, 3), "no such thing", "another", "thing")
    assert render_diagnostic(one, {}) == (
        "f.yaml:7:3: error[unknown-name]: no such thing\n  = expected another\n  = did you mean 'thing'?"
    )


def judge_any_line_can_be_drawn(line: str, column: int, length: int) -> None:
    """See the test that calls this."""
    one = Diagnostic("unknown-name", Span("f.yaml", 1, column, length), "m")
    head, source, caret = render_diagnostic(one, {"f.yaml": (line,)}).split("\n")
    assert head.startswith("f.yaml:1:")
    assert len(source) <= len(" 1 | ") + max(WIDEST, len(line) if len(line) <= WIDEST else 0) * 2 + 6
    assert caret.strip(" |\t").rstrip("~") == "^"


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.text(max_size=300).filter(lambda line: "\n" not in line), st.integers(1, 320), st.integers(1, 400))
def test_any_line_can_be_drawn(line: str, column: int, length: int) -> None:
    """Two lines come out for any text, position and length, none much wider than what may be shown."""
    judge_any_line_can_be_drawn(line, column, length)


@pytest.mark.thorough
@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.text(max_size=300).filter(lambda line: "\n" not in line), st.integers(1, 320), st.integers(1, 400))
def test_any_of_many_lines_can_be_drawn(line: str, column: int, length: int) -> None:
    """The same of more lines."""
    judge_any_line_can_be_drawn(line, column, length)


def test_the_same_fault_in_a_repetition_is_told_once() -> None:
    """Of many alike the first is kept and counts the others; other places and other wants stay apart."""
    faults = Faults()
    for row in range(1, 5):
        faults.add("unknown-name", Span("f", 2, 3), f"no {row}", context=(f"in the repetition r={row}",))
    faults.add("missing-field", Span("f", 1, 1), "lacks a", expected="a")
    faults.add("missing-field", Span("f", 1, 1), "lacks b", expected="b")
    told = faults.sorted()
    assert [one.message for one in told] == ["lacks a", "lacks b", "no 1"]
    assert told[2].context == ("in the repetition r=1", "and 3 more times in the same repetition")


def test_beyond_the_limit_faults_are_counted() -> None:
    """A file with very many faults lists the first and says how many are left out."""
    faults = Faults()
    for line in range(1, MOST_SHOWN + 11):
        faults.add("unknown-name", Span("f", line, 1), "no")
    told = faults.sorted()
    assert len(told) == MOST_SHOWN + 1
    assert (told[-1].code, told[-1].span.line) == ("too-many-faults", MOST_SHOWN + 1)
    assert told[-1].message.startswith("10 more")


@pytest.mark.parametrize(
    ("word", "names", "nearest"),
    [
        ("rasied", ["raised", "lowered"], "raised"),
        ("m3l", ["M3R", "M3L"], "M3L"),
        ("door", ["zone", "lamp"], None),
        ("M3L", [], None),
        ("up", ["lowered", "raised"], "raised"),
        ("Rear", ["fore", "aft"], "aft"),
        ("shut", ["latch", "close"], "close"),
        ("normal", HANDLE.states, "stowed"),
        ("passing", HANDLE.states, "held_by_the_unit"),
        ("dropped", RELAY.states, "released"),
        ("set", RELAY.states, "energised"),
        ("put", [form.verb for form in FORMS], "stow"),
        ("port", ["ports", "fore"], "ports"),
        ("handle", ["lever", "self-resetting handle"], "self-resetting handle"),
        ("latch", ["manual latch", "spring latch"], None),
        ("kind", ["id", "name", "when"], None),
        ("powered guide", ["fixed guide", "powered guide resting raised"], "powered guide resting raised"),
        ("utside", ["outside", "inside"], "outside"),
        ("M3x", [f"M{number}" for number in range(5_000)], "M3"),
    ],
)
def test_nearest_name(word: str, names: Sequence[str], nearest: str | None) -> None:
    """The name most like a word is found, case aside; else the only one with that word in it; else nothing."""
    assert nearest_name(word, names) == nearest
