"""Every malformed description gets exactly the faults that its comments foretell, at these lines.

`# expect: code, code` stands on the line of the fault.  Where no comment can stand there, a comment line anywhere says
`# expect LINE: code`, or `# expect FILE LINE: code` for a fault in another file.  A file without such comments is
sound.  Files whose names begin with `specification-` are read as specifications, those with `procedure-` as procedures.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from interlock.diagnostics.codes import CODES
from interlock.diagnostics.render import render_diagnostic
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.compiler import compile_hold
from interlock.hold.loader import Source, load_hold, load_specification
from interlock.hold.procedures import open_procedure

FOLDER = Path(__file__).parent / "malformed"
MODELS = Path(__file__).parents[2] / "models"
FILES = sorted(path.name for path in FOLDER.glob("*.yaml"))

EXPECTED = re.compile(r"#\s*expect(?:\s+(?P<file>[\w.-]+\.yaml))?(?:\s+(?P<line>\d+))?:\s*(?P<codes>[a-z0-9, -]+)")

Fault = tuple[str, int, str]

PENDING: Mapping[str, str] = {
    "expression-too-long": "raised in test_hostile.py, by a text made there",
    "file-too-large": "raised in test_hostile.py, by bytes made there",
    "not-a-table": "raised in tests/repo/test_fleet_command.py: it is about tables, which no file of the folder is",
    "nested-too-deep": "raised in test_hostile.py, by bytes made there",
    "text-too-long": "raised in test_hostile.py, by bytes made there",
    "too-many-faults": "raised in test_hostile.py, by bytes made there",
    "too-many-values": "raised in test_hostile.py, by bytes made there",
    "empty-group": "reserved for the compiler",
}
"""Codes that no file of the folder raises, and why."""


def fetch(name: str) -> Source | None:
    """A file of the folder."""
    path = FOLDER / name
    return Source(name, path.read_bytes()) if path.is_file() else None


def diagnose(source: Source) -> tuple[Sequence[Diagnostic], Mapping[str, Sequence[str]]]:
    """All that is wrong with a file, by whichever stage finds it; the compiler speaks only where reading went well."""
    if source.name.startswith("specification-"):
        requirements = load_specification(source)
        return requirements.diagnostics, requirements.sources
    if source.name.startswith("procedure-"):
        return diagnose_procedure(source)
    loaded = load_hold(source, fetch)
    if loaded.value is None:
        return loaded.diagnostics, loaded.sources
    return compile_hold(loaded.value).diagnostics, loaded.sources


def diagnose_procedure(source: Source) -> tuple[Sequence[Diagnostic], Mapping[str, Sequence[str]]]:
    """All that is wrong with a procedure, its hold being a sound demonstration."""
    opened = open_procedure(source, lambda name: Source(name, (MODELS / name).read_bytes()))
    return (() if opened.bound is not None else opened.diagnostics), opened.sources


def expected_in(name: str) -> set[Fault]:
    """The faults that the comments of a file foretell."""
    found: set[Fault] = set()
    text = (FOLDER / name).read_bytes().decode("utf-8", "replace")
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        for match in EXPECTED.finditer(line):
            where = match["file"] or name, int(match["line"] or number)
            found.update((*where, code.strip()) for code in match["codes"].split(","))
    return found


@pytest.mark.parametrize("name", FILES)
def test_faults_are_those_foretold(name: str) -> None:
    """A file has exactly the foretold faults, each at its line, and each can be shown."""
    source = fetch(name)
    assert source is not None
    diagnostics, sources = diagnose(source)
    assert {(one.span.file, one.span.line, one.code) for one in diagnostics} == expected_in(name)
    for one in diagnostics:
        text = render_diagnostic(one, sources)
        assert text.startswith(f"{one.span.file}:{one.span.line}:{one.span.column}: ")
        assert f"[{one.code}]" in text
    order = [(one.span.file, one.span.line, one.span.column) for one in diagnostics]
    assert order == sorted(order)


@pytest.mark.parametrize("name", FILES)
def test_positions_lie_in_the_file(name: str) -> None:
    """Every fault points at characters that the file has, or just behind the end of a line."""
    source = fetch(name)
    assert source is not None
    diagnostics, sources = diagnose(source)
    for one in diagnostics:
        if one.span.file not in sources:
            assert one.code in ("not-utf-8", "unprintable-character")
            continue
        line = sources[one.span.file][one.span.line - 1]
        assert 1 <= one.span.column <= len(line) + 1
        assert one.span.column + one.span.length <= len(line) + 2


def test_every_code_is_documented_and_raised() -> None:
    """The codes of the folder and the pending ones are exactly those of the table."""
    raised = {code for name in FILES for _, _, code in expected_in(name)}
    assert raised | set(PENDING) == set(CODES)
    assert not raised & set(PENDING), "no longer pending"
