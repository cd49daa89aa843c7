"""From a name on the command line to a compiled hold, or to a rejection that tells every fault."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

import click

from interlock.cli.files import note_read
from interlock.cli.shipped import STANDING, demonstrations, procedures, shipped
from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.spans import Diagnostic

if TYPE_CHECKING:
    from interlock.hold.compile.compiler import CompiledHold
    from interlock.hold.language.model import Hold, RequirementText
    from interlock.hold.loader import Source

DEMO = "demo:"
STANDARD_INPUT = "<standard input>"


@dataclass(frozen=True, slots=True)
class Rejected:
    """What is wrong with files, with the lines of those files; as a result: they cannot be used."""

    diagnostics: tuple[Diagnostic, ...]
    sources: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Texts:
    """Requirement texts by id, and the lines of the files that they come from."""

    by_id: Mapping[str, RequirementText] = field(default_factory=dict)
    sources: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Opened:
    """A compiled hold with every requirement text that goes with it.

    `replaced` are the ids of given texts that the description's own overruled.  `warnings` leave it usable.
    """

    label: str
    compiled: CompiledHold
    texts: tuple[RequirementText, ...]
    replaced: tuple[str, ...]
    warnings: Rejected


def open_texts(files: Sequence[str], standing: bool) -> Texts | Rejected:
    """The standing requirements, if wanted, and those of the files; of two with one id the later counts.

    Raises click.UsageError where a file cannot be read.
    """
    from interlock.hold.loader import Source, load_specification

    sources = []
    if standing:
        content = shipped("specs").joinpath(STANDING)
        if not content.is_file():
            raise click.ClickException("the standing requirements are missing from this installation")
        sources.append(Source(STANDING, content.read_bytes()))
    sources += [read_source(name) for name in files]
    found: dict[str, RequirementText] = {}
    lines: dict[str, tuple[str, ...]] = {}
    faults: list[Diagnostic] = []
    for source in sources:
        loaded = load_specification(source)
        lines.update(loaded.sources)
        faults += loaded.diagnostics
        found.update({text.id: text for text in loaded.value or ()})
    return Rejected(tuple(faults), lines) if faults else Texts(found, lines)


def open_description(name: str) -> tuple[Hold, Mapping[str, tuple[str, ...]]] | Rejected:
    """Reads a description with all that it modifies.  Raises click.UsageError where the file cannot be read."""
    from interlock.hold.loader import load_hold

    source = read_source(name)
    loaded = load_hold(source, _fetch)
    if loaded.value is None:
        return Rejected(loaded.diagnostics, loaded.sources)
    return loaded.value, loaded.sources


def open_hold(name: str, texts: Texts, situation: str | None) -> Opened | Rejected:
    """Reads and compiles a description; its own requirements overrule given ones of the same id.

    Raises click.UsageError for a file that cannot be read and for a situation that the hold does not have.
    """
    from interlock.hold.compile.compiler import compile_hold

    described = open_description(name)
    if isinstance(described, Rejected):
        return described
    hold, sources = described
    if situation is not None:
        known = [one.id for one in hold.situations]
        if situation not in known:
            others = _instead(situation, known) if known else " It describes no situations."
            raise click.UsageError(f"{name} has no situation {situation!r}.{others}")
    own = {text.id for text in hold.requirements}
    given = tuple(text for text in texts.by_id.values() if text.id not in own)
    compilation = compile_hold(hold, given, situation)
    if compilation.compiled is None:
        return Rejected(compilation.diagnostics, {**texts.sources, **sources})
    replaced = tuple(sorted(own & set(texts.by_id)))
    warnings = Rejected(compilation.diagnostics, {**texts.sources, **sources})
    return Opened(name, compilation.compiled, (*hold.requirements, *given), replaced, warnings)


def read_source(name: str) -> Source:
    """The bytes of a file, of `demo:NAME`, or of standard input for `-`.  Raises click.UsageError."""
    from interlock.hold.loader import Source

    if name == "-":
        if sys.stdin is None:
            raise click.UsageError("Cannot read standard input: it is closed.")
        with suppress(OSError):
            note_read(os.fstat(sys.stdin.fileno()))
        return Source(STANDARD_INPUT, sys.stdin.buffer.read())
    if name.startswith(DEMO):
        demo = name.removeprefix(DEMO).removesuffix(".yaml")
        shown = (*demonstrations(), *procedures())
        if demo not in shown:
            known = [DEMO + one for one in shown]
            raise click.UsageError(f"There is no demonstration {demo!r}." + _instead(name, known))
        return Source(f"{DEMO}{demo}.yaml", shipped("models").joinpath(f"{demo}.yaml").read_bytes())
    path = Path(name)
    try:
        note_read(path.stat(), name)
        return Source(path.as_posix(), path.read_bytes())
    except OSError as fault:
        text = f"Cannot read {name}: {fault.strerror or fault}."
        raise click.UsageError(text + (_instead(name, _beside(path)) if not path.exists() else "")) from fault


def _fetch(name: str) -> Source | None:
    try:
        return read_source(name)
    except click.UsageError:
        return None


def _beside(path: Path) -> Iterable[str]:
    """The names that may have been meant: description files in the same folder, and the demonstrations."""
    try:
        near = [str(path.parent / entry.name) for entry in path.parent.iterdir() if entry.suffix in (".yaml", ".yml")]
    except OSError:
        near = []
    return (*near, *(DEMO + demo for demo in demonstrations()))


def _instead(word: str, known: Iterable[str]) -> str:
    names = sorted(known)
    hint = nearest_name(word, names)
    if hint is None:
        stem = PurePosixPath(word).stem
        hint = next((name for name in names if PurePosixPath(name.removeprefix(DEMO)).stem == stem), None)
    if hint is not None:
        return f" Did you mean {hint!r}?"
    # files beside it and whole holds come before the many that vary one
    names.sort(key=lambda name: (name.startswith(DEMO), name.count("/"), name))
    more = f" and {len(names) - 8} more" if len(names) > 8 else ""
    return f" There is: {', '.join(names[:8])}{more}." if names else " There is none."


def named_instead(word: str, known: Iterable[str]) -> str:
    """A hint for a requirement that does not exist: one spelt nearly so, some that contain the word, or the list."""
    names = sorted(known)
    hint = nearest_name(word, names)
    if hint is not None:
        return f" Did you mean {hint!r}?"
    having = [name for name in names if "[" not in name and len(word) >= 3 and word.casefold() in name.casefold()]
    if having:
        return f" Did you mean one of {', '.join(having[:8])}?" if len(having) > 1 else f" Did you mean {having[0]!r}?"
    return " 'interlock requirements' lists the standing ones."
