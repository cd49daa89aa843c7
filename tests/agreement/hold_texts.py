"""Holds for tests of meaning: the shipped demonstrations, modifications of them written inline, and tiny ones."""

from __future__ import annotations

from functools import cache, lru_cache
from pathlib import Path

from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.loader import Loaded, Source, load_hold, load_specification

ROOT = Path(__file__).resolve().parents[2]
SOUND = ("single-lane", "twin-lane", "main-deck")

HALF = "- {id: HALF, across: 1, along: 1}"
WIDE = "- {id: WIDE, across: 2, along: 1}"
LONG = "- {id: LONG, across: 1, along: 2}"


def fetch(name: str) -> Source | None:
    """A file of the repository by its path from the top."""
    path = ROOT / name
    return Source(name, path.read_bytes()) if path.is_file() else None


@cache
def standing() -> tuple[RequirementText, ...]:
    """The standing set."""
    source = fetch("specs/standing.yaml")
    assert source is not None
    loaded = load_specification(source)
    assert loaded.value is not None, loaded.diagnostics
    return loaded.value


@lru_cache(maxsize=32)
def load_once(source: Source) -> Loaded[Hold]:
    """What a description says; nothing is wrong with taking one for another that says the same (`compiled_anew`)."""
    return load_hold(source, fetch)


@lru_cache(maxsize=32)
def compile_source(
    source: Source, requirements: tuple[RequirementText, ...] = (), situation: str | None = None
) -> CompiledHold:
    """A description that must be faultless, with its meaning."""
    loaded = load_once(source)
    assert loaded.value is not None, loaded.diagnostics
    compilation = compile_hold(loaded.value, requirements, situation)
    assert compilation.compiled is not None, compilation.diagnostics
    return compilation.compiled


def forget() -> None:
    """What is compiled from now on is compiled anew."""
    load_once.cache_clear()
    compile_source.cache_clear()


def compile_file(name: str, requirements: tuple[RequirementText, ...] = ()) -> CompiledHold:
    """A description of the repository, by its path from the top."""
    source = fetch(name)
    assert source is not None, name
    return compile_source(source, requirements)


def overlay(base: str, changes: str) -> Source:
    """A modification of a demonstration hold; `changes` is the YAML of the list."""
    text = f"interlock: 1\nmodifies: {base}.yaml\ntitle: {base}, modified for a test\nchanges:\n{changes}"
    return Source("models/modified-for-a-test.yaml", text.encode())


def compile_text(
    text: str, requirements: tuple[RequirementText, ...] = (), situation: str | None = None
) -> CompiledHold:
    """A description written in a test, with its meaning."""
    return compile_source(Source("test.yaml", text.encode()), requirements, situation)


def faults_of(source: Source, situation: str | None = None) -> tuple[Diagnostic, ...]:
    """Everything that reading and compiling find fault with."""
    loaded = load_hold(source, fetch)
    if loaded.value is None:
        return loaded.diagnostics
    return compile_hold(loaded.value, (), situation).diagnostics


def hold_text(
    *,
    lanes: str = "[C]",
    rows: int = 1,
    ball_mat: str = "[]",
    units: str = HALF,
    doorways: str = "",
    devices: str = "",
    rest: str = "",
    **layout: str,
) -> str:
    """A tiny description; `layout` overrides single fields of the layout, `rest` is whole sections."""
    fields = {
        "secured": "[fore, aft, left, right]",
        "neighbour_restrains": "false",
        "drift": "[]",
        "pushing": "never",
        "hand_work": '"true"',
        **layout,
    }
    lines = ["interlock: 1", "title: tiny hold", "layout:", f"  lanes: {lanes}", f"  rows: {rows}"]
    lines += [f"  ball_mat: {ball_mat}", *(f"  {key}: {value}" for key, value in fields.items())]
    for section, items in (("units", units), ("doorways", doorways), ("devices", devices)):
        lines.append(f"{section}:" if items else f"{section}: []")
        lines += ["  " + line for line in items.splitlines()]
    return "\n".join(lines) + "\n" + rest


def doorway(bays: str, side: str, *, id: str = "D1", moves: str = '"false"', starts: str = "open") -> str:
    """A door moved by hand, without latch and lock; where `moves` is false it stays as it starts."""
    return (
        f"- {{id: {id}, bays: {bays}, side: {side}, moved_by: hand, opens: {moves}, closes: {moves}, latch: none, "
        f"lock: none, path: [], starts: {starts}}}"
    )
