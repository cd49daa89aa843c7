"""From a name on the command line to a compiled hold, or to a rejection that tells every fault."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import field, replace
from functools import partial
from typing import TYPE_CHECKING

import click

from interlock.cli.cache import keys_of
from interlock.cli.reading import fetch, instead, read_source
from interlock.cli.shipped import CATALOGUE, STANDING, shipped
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.spans import Diagnostic

if TYPE_CHECKING:
    from interlock.hold.compile.compiler import CompiledHold
    from interlock.hold.language.model import Catalogue, Hold, RequirementText
    from interlock.hold.language.rates import FailureRate, FailureRates
    from interlock.hold.loader import Fetch, FileRead, Loaded, Source
    from interlock.hold.procedure.binding import BoundProcedure


@frozen
class Rejected:
    """What is wrong with files, with the lines of those files; as a result: they cannot be used."""

    diagnostics: tuple[Diagnostic, ...]
    sources: Mapping[str, tuple[str, ...]]


@frozen
class Texts:
    """Requirement texts by id, and the lines of the files that they come from, which `read` names."""

    by_id: Mapping[str, RequirementText] = field(default_factory=dict)
    sources: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    read: tuple[FileRead, ...] = ()


@frozen
class Opened:
    """A compiled hold with every requirement text that goes with it.

    `replaced` are the ids of given texts that the description's own overruled.  `warnings` leave it usable.
    `without` gives the description with some of its changes (`Change.item`) undone, None where that is none; `family`
    what gives it with some of its options fitted.  `keys`
    are names by which the description is known, and those that it modifies (see `cache`); `modifies` names the files of
    these, the nearest first.  `read` names every file that was read for it, those of requirements last.
    """

    label: str
    compiled: CompiledHold
    texts: tuple[RequirementText, ...]
    replaced: tuple[str, ...]
    warnings: Rejected
    without: Callable[[frozenset[int]], Hold | None]
    family: Callable[[], Callable[[Collection[str]], Loaded[Hold]]]
    keys: tuple[str, ...]
    modifies: tuple[str, ...]
    read: tuple[FileRead, ...]

    @property
    def given(self) -> tuple[RequirementText, ...]:
        """Those of the texts that are not the description's own."""
        return self.texts[len(self.compiled.hold.requirements) :]


def open_texts(files: Sequence[str], standing: bool) -> Texts | Rejected:
    """The standing requirements, if wanted, and those of the files; of two with one id the later counts.

    Raises click.UsageError where a file cannot be read.
    """
    from interlock.hold.loader import Part, Source, load_specification

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
    read: list[FileRead] = []
    for at, source in enumerate(sources):
        loaded = load_specification(source)
        shipped_one = standing and at == 0
        read += (replace(one, part=Part.STANDING) if shipped_one else one for one in loaded.read)
        lines.update(loaded.sources)
        faults += loaded.diagnostics
        found.update({text.id: text for text in loaded.value or ()})
    return Rejected(tuple(faults), lines) if faults else Texts(found, lines, tuple(read))


def open_catalogue(name: str | None) -> tuple[Catalogue, tuple[FileRead, ...]] | Rejected:
    """The catalogue of failures of that file, or the standing one, and the file that was read for it.

    Raises click.UsageError where it cannot be read.
    """
    from interlock.hold.loader import Source, load_catalogue

    if name is not None:
        source = read_source(name)
    else:
        content = shipped("specs").joinpath(CATALOGUE)
        if not content.is_file():
            raise click.ClickException("the catalogue of failures is missing from this installation")
        source = Source(CATALOGUE, content.read_bytes())
    loaded = load_catalogue(source)
    rejected = Rejected(loaded.diagnostics, loaded.sources)
    return rejected if loaded.value is None else (loaded.value, loaded.read)


def open_rates(name: str) -> Loaded[FailureRates] | Rejected:
    """The failure rates of that file.  Raises click.UsageError where it cannot be read."""
    from interlock.hold.loader import load_rates

    loaded = load_rates(read_source(name))
    return Rejected(loaded.diagnostics, loaded.sources) if loaded.value is None else loaded


def rates_for(given: Loaded[FailureRates], hold: Hold, reckoned: Iterable[str]) -> Mapping[str, FailureRate] | Rejected:
    """The rate of each of the failures, by its name."""
    from interlock.hold.rating import rate_failures

    assert given.value is not None  # noqa: S101 -- else it was rejected
    rated = rate_failures(given.value, hold, frozenset(reckoned))
    return Rejected(rated.faults, given.sources) if rated.faults else rated.rates


def open_check(name: str, hold: Hold, texts: Texts) -> tuple[BoundProcedure, tuple[FileRead, ...]] | Rejected:
    """A procedure, bound to that hold, and the files read.  Raises click.UsageError where one cannot be read."""
    from interlock.hold import procedures

    opened = procedures.open_check(read_source(name), hold, texts.by_id.values())
    if opened.bound is None:
        return Rejected(opened.diagnostics, {**texts.sources, **opened.sources})
    return opened.bound, opened.read


def open_hold(
    name: str,
    texts: Texts,
    situation: str | None,
    prepare: Callable[[Hold], Hold] | None = None,
) -> Opened | Rejected:
    """Reads and compiles a description; its own requirements overrule given ones of the same id.

    What is compiled is what `prepare` makes of it.

    Raises click.UsageError for a file that cannot be read and for a situation that the hold does not have.
    """
    return open_source(name, read_source(name), texts, situation, prepare)


def open_source(
    name: str,
    source: Source,
    texts: Texts,
    situation: str | None,
    prepare: Callable[[Hold], Hold] | None = None,
    bring: Fetch = fetch,
) -> Opened | Rejected:
    """As `open_hold` does, of what was read; raises click.UsageError for a situation that the hold does not have.

    `bring` gives the files that it names.
    """
    from interlock.hold.compile.compiler import compile_hold
    from interlock.hold.loader import load_family, load_hold

    loaded = load_hold(source, bring)
    if loaded.value is None:
        return Rejected(loaded.diagnostics, loaded.sources)
    hold, sources = loaded.value, loaded.sources
    if situation is not None:
        known = [one.id for one in hold.situations]
        if situation not in known:
            others = instead(situation, known) if known else " It describes no situations."
            raise click.UsageError(f"{name} has no situation {situation!r}.{others}")
    own = {text.id for text in hold.requirements}
    given = hold.not_replaced(texts.by_id.values())
    compilation = compile_hold(hold if prepare is None else prepare(hold), given, situation)
    if compilation.compiled is None:
        return Rejected(compilation.diagnostics, {**texts.sources, **sources})
    replaced = tuple(sorted(own & set(texts.by_id)))
    warnings = Rejected(compilation.diagnostics, {**texts.sources, **sources})

    def without(undone: frozenset[int]) -> Hold | None:
        return load_hold(source, bring, undone).value

    told, keys = (*hold.requirements, *given), keys_of(sources, situation)
    modifies, read = tuple(sources)[1:], (*loaded.read, *texts.read)
    family = partial(load_family, source, bring)
    return Opened(name, compilation.compiled, told, replaced, warnings, without, family, keys, modifies, read)


def base_of(opened: Opened) -> str:
    """The name of the description that one modifies.  Raises click.UsageError where it is no modification."""
    if not opened.modifies:
        raise click.UsageError(f"{opened.label} modifies no other hold: name the one that it is to be compared with.")
    return opened.modifies[0]


def named_pairs(words: Sequence[str]) -> Mapping[str, str]:
    """What OLD=NEW says of each OLD.  Raises click.UsageError."""
    found: dict[str, str] = {}
    for word in words:
        old, equals, new = word.partition("=")
        if not (old and equals and new):
            raise click.UsageError(f"{word!r} is not of the form OLD=NEW.")
        if old in found:
            raise click.UsageError(f"{old!r} is given twice.")
        found[old] = new
    return found


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


def check_only(opened: Sequence[Opened], only: Sequence[str]) -> None:
    """Raises click.UsageError for an id of a requirement that none of the holds knows."""
    known = {instance.requirement.id for one in opened for instance in one.compiled.instances}
    known |= {text.id for one in opened for text in one.texts}
    for id in only if opened else ():
        if id not in known:
            raise click.UsageError(f"There is no requirement {id!r}." + named_instead(id, known))
