"""All that is known of a text while it is written: its faults, its names, what its expressions can name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.compile.compiler import world_of
from interlock.hold.compile.components import UnsettledKind
from interlock.hold.compile.world import World
from interlock.hold.editing.meanings import Mentioned, mentions_in
from interlock.hold.floor import lay_out
from interlock.hold.language.declarations import Record
from interlock.hold.language.fleets import Fleet
from interlock.hold.language.model import Catalogue, Hold, Specification
from interlock.hold.language.nodes import MappingNode, compose, split_lines
from interlock.hold.language.rates import FailureRates
from interlock.hold.language.references import collect_names
from interlock.hold.loader import (
    Fetch,
    Loaded,
    Source,
    load_audited_hold,
    load_catalogue,
    load_fleet,
    load_hold,
    load_procedure,
    load_rates,
    load_specification,
    sort_of,
)
from interlock.hold.overlay.repetition import expand_repetitions
from interlock.hold.procedure.model import Procedure
from interlock.hold.sense import doubts_of

MOST_MENDED = 8
"""Lines that are left out of a text that is no YAML so that the rest can be looked at."""


@frozen
class Known:
    """What is known of one text.

    `root` is its tree, as far as it is YAML (of the text `mended`), with repetitions as they are written; `others` has
    the names of each file that it goes by.  `hold` is what it describes or is about, as far as that can be read, and
    `world` what expressions can name there: where the text is no YAML just now, as it was known before, with the names
    that were `earlier` given.
    `reads` has the lines of every file that was read, its own first.
    """

    source: Source
    lines: tuple[str, ...]
    sort: type[Record]
    root: MappingNode | None
    mended: str
    faults: tuple[Diagnostic, ...]
    others: Mapping[str, tuple[Mentioned, ...]]
    hold: Hold | None
    world: World | None
    reads: Mapping[str, tuple[str, ...]]
    earlier: tuple[Mentioned, ...] = ()

    @property
    def mentions(self) -> tuple[Mentioned, ...]:
        """Its own names, looked for when they are first asked for: faults are told without them."""
        return () if self.root is None else _names_here(self.source.name, self.mended)

    @property
    def given(self) -> Iterator[Mentioned]:
        """Every name that is given, here or in a file that this goes by."""
        for mentions in (self.mentions, *self.others.values(), self.earlier):
            yield from (one for one in mentions if one.section is not None)

    def section_of(self, name: str) -> str | None:
        """In which section something of that name stands, a thing before a requirement."""
        found = sorted((one for one in self.given if one.name == name), key=lambda one: one.is_requirement)
        return found[0].section if found else None


def know(source: Source, fetch: Fetch, before: Known | None = None) -> Known:
    """All that is known of a text; `before` is what was known of the text as it was a moment ago."""
    text = source.content.decode("utf-8", "replace")
    lines = split_lines(text)
    root, mended = _mended(source.name, text)
    sort = (Hold if before is None else before.sort) if root is None else sort_of(root)
    loaded, hold = _loaded(source, sort, fetch)
    is_whole = root is not None and mended == "\n".join(lines)
    if hold is None and not is_whole and before is None:
        _, hold = _loaded(Source(source.name, mended.encode()), sort, fetch)
    world = None if hold is None else _world(hold)
    if before is not None and (not is_whole or world is None):
        hold, world = before.hold, before.world
    others = {}
    for name in loaded.sources:
        found = fetch(name) if name != source.name else None
        if found is not None:
            others[name] = _names_elsewhere(name, found.content.decode("utf-8", "replace"))
    earlier = () if is_whole or before is None else tuple(dict.fromkeys(before.given))
    return Known(source, lines, sort, root, mended, loaded.diagnostics, others, hold, world, loaded.sources, earlier)


def _loaded(source: Source, sort: type[Record], fetch: Fetch) -> tuple[Loaded[Any], Hold | None]:
    """What reading says of a file of that sort, and the hold that it is about, as far as it can be read."""
    found: Loaded[Any]
    if sort is Specification:
        found = load_specification(source)
    elif sort is Catalogue:
        found = load_catalogue(source)
    elif sort is FailureRates:
        found = load_rates(source)
    elif sort is Fleet:
        found = load_fleet(source)
    elif sort is Procedure:
        return _procedure(source, fetch)
    else:
        described = load_hold(source, fetch)
        doubts: tuple[Diagnostic, ...] = ()
        if described.value is not None:
            doubts = doubts_of(described.value, lay_out(described.value))
        return Loaded(None, (*described.diagnostics, *doubts), described.sources), described.readable
    return found, None


def _procedure(source: Source, fetch: Fetch) -> tuple[Loaded[Any], Hold | None]:
    loaded = load_procedure(source)
    if loaded.readable is None:
        return Loaded(None, loaded.diagnostics, loaded.sources), None
    described = load_audited_hold(loaded.readable, fetch)
    sources = {**loaded.sources, **described.sources}
    return Loaded(None, (*loaded.diagnostics, *described.diagnostics), sources), described.readable


def _world(hold: Hold) -> World | None:
    try:
        return world_of(hold)
    except UnsettledKind:
        return None


def _mended(name: str, text: str) -> tuple[MappingNode | None, str]:
    """The tree of a text, without the lines that keep it from being YAML, and the text without them.

    Nothing moves: such a line is left empty.
    """
    lines = list(split_lines(text))
    for _ in range(MOST_MENDED):
        faults = Faults()
        node = compose(name, "\n".join(lines), tuple(lines), faults)
        if node is not None:
            return (node if isinstance(node, MappingNode) else None), "\n".join(lines)
        at = min((one.span.line for one in faults.sorted()), default=1)
        at = next((one for one in range(min(at, len(lines)), 0, -1) if lines[one - 1].strip()), 0)
        if at == 0:
            break
        lines[at - 1] = ""
    return None, text


@lru_cache(maxsize=4)
def _names_here(name: str, mended: str) -> tuple[Mentioned, ...]:
    """The names of the few texts that are written just now: each is another with every letter."""
    return _names_of(name, mended)


@lru_cache(maxsize=16)
def _names_elsewhere(name: str, text: str) -> tuple[Mentioned, ...]:
    """The names of a file by which others go: it stays as it is while these are written, which themselves never do."""
    return _names_of(name, _mended(name, text)[1])


def _names_of(name: str, text: str) -> tuple[Mentioned, ...]:
    lines = split_lines(text)
    node = compose(name, text, lines, Faults())
    if not isinstance(node, MappingNode):
        return ()
    root = expand_repetitions(node, Faults())
    if root is None:
        return ()
    sections = {id: one.section for id, one in collect_names(root, None, Faults()).items()}
    return tuple(dict.fromkeys(mentions_in(root, sort_of(root), sections.get)))


def span_within(span: Span, line: int, column: int) -> bool:
    """Whether a place lies in a stretch, its end counted in."""
    return span.line == line and span.column <= column <= span.column + span.length
