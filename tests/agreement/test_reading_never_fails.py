"""Whatever the bytes, reading gives a value or faults, soon, and never an exception."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.diagnostics.codes import CODES
from interlock.diagnostics.render import render_diagnostics
from interlock.hold.loader import Source, load_hold, load_specification

MODELS = Path(__file__).parents[2] / "models"
SAMPLE = (MODELS / "twin-lane.yaml").read_bytes()
SPECIFICATION = (Path(__file__).parents[2] / "specs" / "standing.yaml").read_bytes()
SECONDS = 5.0
"""Processor time, usually some milliseconds; repetitions that are just within the limits take seconds."""

PIECES = [
    b"{", b"}", b"[", b"]", b": ", b", ", b"- ", b"\n", b"  ", b"\t", b"#", b"'", b'"', b"&a ", b"*a", b"!t ",
    b"|\n", b">\n", b"? ", b"---\n", b"...\n", b"%YAML 1.1\n", b"{r}", b"{r+1}", b"for: {r: 1..3}\n", b"for",
    b"id", b"none", b"true", b"never", b"not ", b"every b in bays, ", b" is ", b"1L..6L", b"9" * 30, b"\xff",
    b"\xc3\xa9", b"\xe2\x80\xa8", b"\0", b"\r", b"<<: ", b"modifies: x.yaml\n", b"changes:\n",
    b"specification: t\n", b"remove: M1L\n", b"layout:\n", b"- {fix: M1L, in: raised}\n",
]  # fmt: skip

edits = st.lists(
    st.tuples(
        st.integers(0, len(SAMPLE)),
        st.integers(0, 40),
        st.sampled_from(PIECES) | st.binary(max_size=6),
    ),
    min_size=1,
    max_size=4,
)


def check(content: bytes) -> None:
    """Read as both sorts of file; what comes out is sound, or its faults are known and can be shown."""
    started = time.process_time()
    sample = Source("x.yaml", SAMPLE)
    for loaded in (
        load_hold(Source("mutant.yaml", content), lambda name: sample if name == "x.yaml" else None),
        load_specification(Source("mutant.yaml", content)),
    ):
        assert (loaded.value is None) == bool(loaded.diagnostics)
        assert {one.code for one in loaded.diagnostics} <= set(CODES)
        for one in loaded.diagnostics:
            line = loaded.sources[one.span.file][one.span.line - 1]
            assert 1 <= one.span.column <= len(line) + 1
        render_diagnostics(loaded.diagnostics, loaded.sources)
    assert time.process_time() - started < SECONDS


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.binary(max_size=200))
def test_random_bytes(content: bytes) -> None:
    """Random bytes are read without an exception."""
    check(content)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.lists(st.sampled_from(PIECES), max_size=40).map(b"".join))
def test_random_pieces_of_yaml(content: bytes) -> None:
    """Random pieces of the language are read without an exception."""
    check(content)


def judge_random_edits_of_a_hold(changes: list[tuple[int, int, bytes]]) -> None:
    """See the test that calls this."""
    content = SAMPLE
    for at, removed, put in changes:
        content = content[:at] + put + content[at + removed :]
    check(content)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(edits)
def test_random_edits_of_a_hold(changes: list[tuple[int, int, bytes]]) -> None:
    """A sound description with a few bytes replaced is read without an exception."""
    judge_random_edits_of_a_hold(changes)


@pytest.mark.thorough
@settings(max_examples=150, deadline=None, derandomize=True)
@given(edits)
def test_many_random_edits_of_a_hold(changes: list[tuple[int, int, bytes]]) -> None:
    """The same of more of them."""
    judge_random_edits_of_a_hold(changes)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(edits)
def test_random_edits_of_a_specification(changes: list[tuple[int, int, bytes]]) -> None:
    """A sound specification with a few bytes replaced is read without an exception."""
    content = SPECIFICATION
    for at, removed, put in changes:
        content = content[: at % len(content)] + put + content[at % len(content) + removed :]
    check(content)


def test_the_sample_is_sound() -> None:
    """The description that is edited above has no fault itself, so what is found there comes from the edits."""
    assert load_hold(Source("x.yaml", SAMPLE), lambda name: None).diagnostics == ()
    assert load_specification(Source("x.yaml", SPECIFICATION)).diagnostics == ()
