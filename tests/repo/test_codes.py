"""The table of codes tells the truth: every code that is raised is in it, and its examples do what they say."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from interlock.diagnostics.codes import CODES, Severity, severity_of
from interlock.hold.compile.compiler import compile_hold
from interlock.hold.loader import Source, load_fleet, load_hold, load_procedure
from interlock.hold.procedure.binding import bind_procedure, compile_for

ROOM = Path(__file__).parents[2] / "interlock"

BASE = """
interlock: 1
title: Base
layout:
  lanes: [L, R]
  rows: 2
  ball_mat: [1L, 1R]
  secured: [fore, aft]
  neighbour_restrains: false
  drift: []
  pushing: never
  hand_work: always
units:
  - {id: HALF, across: 1, along: 1}
doorways:
  - id: D1
    bays: 1R
    side: right
    moved_by: hand
    opens: always
    closes: always
    latch: {by: hand, when: always}
    unlatch: {by: hand, when: always}
    lock: none
    path: []
    starts: [closed, latched]
"""

POWERED = (
    BASE.replace("moved_by: hand", "moved_by: power")
    .replace("opens: always", "opens: DS is up")
    .replace("closes: always", "closes: DS is down")
    + """
controls:
  - {id: DS, name: door switch, kind: switch, positions: [down, up], starts: down}
"""
)

NOT_SHOWN = frozenset(
    ["expression-too-long", "file-too-large", "not-utf-8", "text-too-long", "too-many-faults", "too-many-values"]
)
"""Codes whose example cannot be printed; tests/golden raises them."""

NOT_RAISED_YET = frozenset({"empty-group"})
"""Codes that are reserved for something that is not written yet."""


def sections_of(text: str) -> Iterator[tuple[str, str]]:
    """The parts of a description that begin at the left margin, by key."""
    for part in re.split(r"^(?=[a-z_]+:)", text, flags=re.MULTILINE):
        key, colon, _ = part.partition(":")
        if colon:
            yield key, part


def whole_file(example: str) -> str:
    """The example, or the base with its sections in the place of those of the base."""
    if example.startswith(("interlock:", "#")):
        return example
    return "".join((dict(sections_of(BASE)) | dict(sections_of(example))).values())


def codes_of(example: str) -> set[str]:
    """The codes that an example raises, on reading it or, where that goes well, on compiling it."""
    files = {"base.yaml": BASE, "example.yaml": whole_file(example)}

    def fetch(name: str) -> Source | None:
        return Source(name, files[name].encode()) if name in files else None

    if example.lstrip().startswith("tail,"):
        return {one.code for one in load_fleet(Source("fleet.csv", example.encode())).diagnostics}
    if re.search(r"^procedure:", files["example.yaml"], re.MULTILINE):
        return codes_of_procedure(files["example.yaml"], {"base.yaml": BASE, "powered.yaml": POWERED})
    loaded = load_hold(Source("example.yaml", files["example.yaml"].encode()), fetch)
    if loaded.value is not None:
        return {one.code for one in compile_hold(loaded.value).diagnostics}
    return {one.code for one in loaded.diagnostics}


def codes_of_procedure(text: str, holds: dict[str, str]) -> set[str]:
    """The codes that a procedure raises, on reading it or, where that goes well, on binding it to its hold."""
    loaded = load_procedure(Source("example.yaml", text.encode()))
    if loaded.value is None:
        return {one.code for one in loaded.diagnostics}
    hold = load_hold(Source(loaded.value.hold, holds[loaded.value.hold].encode()), lambda name: None).value
    assert hold is not None
    compilation = compile_for(hold, loaded.value)
    if compilation.compiled is None:
        return {one.code for one in compilation.diagnostics}
    return {one.code for one in bind_procedure(loaded.value, compilation.compiled).diagnostics}


def test_the_base_is_sound() -> None:
    """The hold that the examples are put into has no fault itself."""
    assert codes_of(BASE) == set()


@pytest.mark.parametrize("code", sorted(set(CODES) - NOT_SHOWN - NOT_RAISED_YET))
def test_examples_do_what_they_say(code: str) -> None:
    """The wrong example raises the code; the right one does not."""
    assert code in codes_of(CODES[code].wrong)
    assert code not in codes_of(CODES[code].right)


PARTS_OF_THE_BASE = sorted(
    code
    for code in set(CODES) - NOT_SHOWN - NOT_RAISED_YET
    if not CODES[code].right.startswith(("interlock:", "#")) and "layout:" not in CODES[code].right
)
"""Codes whose right example stands in the base and leaves nothing out."""


@pytest.mark.parametrize("code", PARTS_OF_THE_BASE)
def test_right_examples_are_sound(code: str) -> None:
    """A right example has no fault at all, not only not that one."""
    assert codes_of(CODES[code].right) == set()


def test_texts_are_complete() -> None:
    """Every code is a kebab-case phrase with a paragraph and two different examples; only known ones are warnings."""
    for code, entry in CODES.items():
        assert entry.code == code
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)+", code)
        assert 30 < len(entry.about) < 500
        assert entry.about.endswith((".", ")."))
        assert "\n" not in entry.about
        assert entry.wrong.strip()
        assert entry.right.strip()
        assert entry.wrong != entry.right
    assert severity_of("empty-group") is Severity.WARNING
    assert severity_of("unknown-name") is Severity.ERROR


def test_every_code_raised_in_the_program_is_in_the_table() -> None:
    """The phrases that the program uses as codes are exactly those of the table, reserved ones aside."""
    quoted = re.compile(r'"([a-z0-9]+(?:-[a-z0-9]+)+)"')
    used: set[str] = set()
    for path in sorted((ROOM / "hold").rglob("*.py")):
        used.update(quoted.findall(path.read_text("utf-8")))
    used.update(quoted.findall((ROOM / "diagnostics" / "faults.py").read_text("utf-8")))
    assert set(CODES) - used <= NOT_RAISED_YET
    told_by = r"Diagnostic|_Wrong|_no_such|_refuse|_fault|\.(?:add|fail|unfit|fault)"
    raising = re.compile(rf'(?:{told_by})\(\s*"([a-z0-9]+(?:-[a-z0-9]+)+)"')
    for path in sorted((ROOM / "hold").rglob("*.py")):
        assert set(raising.findall(path.read_text("utf-8"))) <= set(CODES), path.name
