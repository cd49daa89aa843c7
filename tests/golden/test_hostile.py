"""Files that are made to do harm are refused at once, with a place, by both YAML scanners."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest
import yaml

from interlock.diagnostics.render import render_diagnostics
from interlock.hold.language import nodes
from interlock.hold.loader import Source, load_hold
from tests.some import some, telling

LONGEST_SECONDS = 8.0
"""Processor time.  Refusing takes less than two seconds; the rest is for slower machines."""

SLOW_WITHOUT_LIBYAML = frozenset(
    {
        "a million items",
        "50,000 unknown fields",
        "10,000 unknown names",
        "10,000 names in a section that is misspelt",
        "repetitions within repetitions",
    }
)
"""Files whose reading is limited behind the scanner, so that the slow scanner would only take its time over them."""

LONG = frozenset(
    {
        "50,000 unknown fields",
        "10,000 names in a section that is misspelt",
        "repetitions that make much text",
    }
)
"""Left to `thorough`: another file has the same codes for the same reason, and takes less."""

HOSTILE: dict[str, tuple[bytes, tuple[str, ...]]] = {
    "alias bomb": (
        b"a: &a [x, x]\n" + b"".join(b"b%d: &b%d [*a, *a]\n" % (at, at) for at in range(30)),
        ("alias-not-accepted", "anchor-not-accepted"),
    ),
    "20,000 brackets": (b"[" * 20_000, ("nested-too-deep", "not-yaml")),
    "20,000 braces": (b"{a: " * 20_000, ("nested-too-deep",)),
    "20,000 dashes": (b"- " * 20_000, ("nested-too-deep",)),
    "2,500 levels of block": (b"".join(b" " * at + b"a:\n" for at in range(2_500)), ("nested-too-deep", "not-yaml")),
    "3,000 levels of block": (b"".join(b" " * at + b"a:\n" for at in range(3_000)), ("file-too-large",)),
    "integer of 200,000 digits": (b"interlock: " + b"9" * 200_000, ("text-too-long",)),
    "version of 5,000 digits": (b"%YAML 1." + b"9" * 5_000 + b"\n---\na: b", ("not-yaml",)),
    "NUL": (b"interlock: 1\ntitle: a\0b", ("unprintable-character",)),
    "lone surrogate": (b'title: "\\ud800"', ("not-yaml", "unprintable-character")),
    "escape beyond Unicode": (b'title: "\\U99999999"', ("not-yaml",)),
    "UTF-16": ("interlock: 1".encode("utf-16"), ("not-utf-8",)),
    "invalid UTF-8": (b"title: \xff\xfe", ("not-utf-8",)),
    "tabs": (b"layout:\n\t- a", ("tab-for-indentation",)),
    "5 MB of letters": (b"a" * 5_000_000, ("file-too-large",)),
    "a million items": (b"- a\n" * 900_000, ("too-many-values",)),
    "long expression": (
        b"interlock: 1\ncircuits: [{id: c, use: logic, is: " + b"a or " * 1_000 + b"a}]",
        ("expression-too-long", "missing-field"),
    ),
    "50,000 unknown fields": (
        b"interlock: 1\n" + b"".join(b"k%d: 1\n" % at for at in range(50_000)),
        ("missing-field", "too-many-faults", "unknown-field"),
    ),
    "10,000 unknown names": (
        b"interlock: 1\ngroups:\n" + b"".join(b"- {id: g%d, members: [h%d]}\n" % (at, at) for at in range(10_000)),
        ("missing-field", "too-many-faults", "unknown-name"),
    ),
    "a hundred million items": (
        b"interlock: 1\ncircuits:\n  - for: {a: 1..9999, b: 1..9999}\n    id: c{a}_{b}\n",
        ("too-many-repetitions",),
    ),
    "a range of a thousand million": (
        b"interlock: 1\ncircuits:\n  - for: {a: 0..999999999}\n    id: c{a}\n",
        ("too-many-repetitions",),
    ),
    "repetitions that make much text": (
        b"interlock: 1\ncircuits:\n  - for: {a: 1..20000}\n    id: c{a}\n    is: '" + b"{a} or " * 1_000 + b"x'\n",
        ("too-many-repetitions",),
    ),
    "10,000 names in a section that is misspelt": (
        b"interlock: 1\ngruops:\n"
        + b"".join(b"- {id: g-%d, members: []}\n" % at for at in range(10_000))
        + b"groups:\n"
        + b"".join(b"- {id: n%d, members: [g-%d-x]}\n" % (at, at) for at in range(10_000)),
        ("missing-field", "unknown-field"),
    ),
    "repetitions within repetitions": (
        b"interlock: 1\nzones:\n  - for: {a: 1..100}\n    id: z{a}\n    sections:\n      - for: {b: 1..200}\n"
        b"        bay: '1'\n        inhibits: {fore: '{a} is {b}', aft: never, left: never, right: never}\n",
        ("too-many-repetitions",),
    ),
}


@pytest.fixture(params=["libyaml", "python"])
def scanner(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The scanner that reads YAML: libyaml, or the one in Python that serves where libyaml is missing."""
    loader = yaml.SafeLoader if request.param == "python" else getattr(yaml, "CSafeLoader", None)
    if loader is None:
        pytest.skip("this PyYAML was built without libyaml")
    monkeypatch.setattr(nodes, "_LOADER", loader)
    yield request.param


@pytest.mark.parametrize("name", telling(HOSTILE, *(name for name in HOSTILE if name not in LONG)))
def test_hostile_file_is_refused_quickly(name: str, scanner: str) -> None:
    """A hostile file gets only the codes foretold, at least one of them, in bounded time, and can be shown."""
    if scanner == "python" and name in SLOW_WITHOUT_LIBYAML:
        pytest.skip("limited behind the scanner")
    content, codes = HOSTILE[name]
    started = time.process_time()
    loaded = load_hold(Source("hostile.yaml", content), lambda name: None)
    text = render_diagnostics(loaded.diagnostics, loaded.sources)
    assert time.process_time() - started < LONGEST_SECONDS
    assert loaded.value is None
    found = {one.code for one in loaded.diagnostics}
    assert found
    assert found <= set(codes)
    assert len(text) < 1_000_000


def test_both_scanners_read_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without libyaml the same tree comes out, positions and all."""
    if not hasattr(yaml, "CSafeLoader"):
        pytest.skip("this PyYAML was built without libyaml")
    from pathlib import Path

    from interlock.diagnostics.faults import Faults

    for path in some(sorted((Path(__file__).parents[2] / "models").glob("*.yaml"))):
        text = path.read_text("utf-8")
        lines = nodes.split_lines(text)
        trees = []
        for loader in (yaml.CSafeLoader, yaml.SafeLoader):
            monkeypatch.setattr(nodes, "_LOADER", loader)
            trees.append(nodes.compose(path.name, text, lines, Faults()))
        assert trees[0] == trees[1]
        assert trees[0] is not None
