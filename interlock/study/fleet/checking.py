"""What is wrong with what a fleet file names, all of it at once, before anything is proved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.language.fleets import Aircraft
from interlock.hold.language.nodes import ScalarNode
from interlock.hold.loader import Fetch, FileRead, Part, Source
from interlock.study.fleet.configurations import Refused, configuration_of, read_configuration


@dataclass(frozen=True, slots=True)
class Checked:
    """Every fault in what is named; all files that were read, by name; of each hold, by its file, title and devices.

    `asking` are the ids of the requirements that holds have themselves.

    `read_with` has, by hold, the names of the files of which it is made.  `sources` are the lines of what was read.
    `read` says what each file is to the fleet.
    """

    faults: tuple[Diagnostic, ...]
    titles: Mapping[str, str]
    devices: Mapping[str, frozenset[str]]
    asking: frozenset[str]
    files: Mapping[str, Source]
    read_with: Mapping[str, frozenset[str]]
    read: tuple[FileRead, ...]
    sources: Mapping[str, tuple[str, ...]]


def check_names(aircraft: Sequence[Aircraft], fetch: Fetch) -> Checked:
    """Reads each hold, each option with its hold alone, each deferral with its hold, or else with the options too.

    What only goes wrong with several of them together is found when that configuration is compiled.
    """
    checking = _Checking(fetch)
    checking.check(aircraft)
    return Checked(
        checking.faults.sorted(),
        checking.titles,
        checking.devices,
        frozenset(checking.asking),
        checking.files,
        checking.read_with,
        tuple(checking.read()),
        checking.sources,
    )


class _Checking:
    def __init__(self, fetch: Fetch) -> None:
        self.faults = Faults()
        self.titles: dict[str, str] = {}
        self.devices: dict[str, frozenset[str]] = {}
        self.asking: set[str] = set()
        self.files: dict[str, Source] = {}
        self.read_with: dict[str, frozenset[str]] = {}
        self.sources: dict[str, tuple[str, ...]] = {}
        self._fetch = fetch
        self._missing: set[str] = set()
        self._reading: set[str] = set()
        self._options: set[str] = set()
        self._elsewhere: set[tuple[str, Span]] = set()

    def fetch(self, name: str) -> Source | None:
        """Each file is read once: what is proved later is what was checked."""
        self._reading.add(name)
        if name not in self.files and name not in self._missing:
            found = self._fetch(name)
            if found is None:
                self._missing.add(name)
            else:
                self.files[name] = found
        return self.files.get(name)

    def read(self) -> Iterator[FileRead]:
        """Every file that was read: the holds, what they modify, and what is fitted."""
        modified = frozenset().union(*self.read_with.values())
        for name, source in self.files.items():
            if name not in modified and name not in self._options:
                continue  # another name of a file that is there
            part = Part.DESCRIPTION if name in self.titles else Part.MODIFIED if name in modified else Part.OPTION
            yield FileRead(part, name, sha256(source.content).hexdigest())

    def check(self, aircraft: Sequence[Aircraft]) -> None:
        """All of it: what is wrong with a hold is told in place of what is wrong on top of it."""
        for row in _first_and_others(aircraft, lambda one: [one.hold]):
            bare = replace(row.first, options=(), deferrals=())
            self._reading = set()
            found = read_configuration(bare, self.fetch)
            if isinstance(found, Refused):
                self._note(found, row)
            else:
                hold = configuration_of(bare).hold
                self.titles[hold] = found[0].title
                self.asking.update(text.id for text in found[0].requirements)
                self.devices[hold] = frozenset(one.id for one in found[0].devices if not one.is_structure)
                self.read_with[hold] = frozenset(self._reading)
        sound = [one for one in aircraft if configuration_of(one).hold in self.titles]
        self._options = {option for one in sound for option in configuration_of(one).options}
        for row in _first_and_others(sound, lambda one: one.options):
            found = read_configuration(replace(row.first, options=(row.word,), deferrals=()), self.fetch)
            if isinstance(found, Refused):
                self._note(found, row)
        for row in _first_and_others(sound, lambda one: one.deferrals):
            found = read_configuration(replace(row.first, options=(), deferrals=(row.word,)), self.fetch)
            if isinstance(found, Refused) and row.first.options:
                again = read_configuration(replace(row.first, deferrals=(row.word,)), self.fetch)
                found = found if isinstance(again, Refused) else again
            if isinstance(found, Refused):
                self._note(found, row)

    def _note(self, refused: Refused, row: _Row) -> None:
        self.sources.update(refused.sources)
        for fault in refused.diagnostics:
            is_here = fault.span.file == row.word.span.file
            where = f"asked for at {row.word.span.file}, line {row.word.span.line}"
            told = fault if is_here else replace(fault, context=(*fault.context, where))
            # what is wrong in a file is so for every hold that is made of it
            if is_here or (fault.code, fault.span) not in self._elsewhere:
                self.faults.take([told])
            if not is_here:
                self._elsewhere.add((fault.code, fault.span))
            # the same word elsewhere in the fleet is as wrong there
            if is_here and _lies_in(fault.span, row.word.span):
                for other in row.others:
                    moved = other.span.column + fault.span.column - row.word.span.column
                    self.faults.take([replace(fault, span=replace(fault.span, line=other.span.line, column=moved))])


@dataclass(frozen=True, slots=True)
class _Row:
    """A word of some aircraft, and the same word where it stands for others of the same hold."""

    first: Aircraft
    word: ScalarNode
    others: tuple[ScalarNode, ...]


def _first_and_others(
    aircraft: Iterable[Aircraft], words: Callable[[Aircraft], Iterable[ScalarNode]]
) -> Iterator[_Row]:
    found: dict[tuple[str, str], tuple[Aircraft, ScalarNode, list[ScalarNode]]] = {}
    for one in aircraft:
        hold = configuration_of(one).hold
        for word in words(one):
            kept = found.setdefault((hold, word.text), (one, word, []))
            if kept[1] is not word:
                kept[2].append(word)
    for first, word, others in found.values():
        yield _Row(first, word, tuple(others))


def _lies_in(inner: Span, outer: Span) -> bool:
    return inner.line == outer.line and 0 <= inner.column - outer.column < outer.length
