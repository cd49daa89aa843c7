"""From the bytes of files to a description as plain values, or to every fault in them."""

from __future__ import annotations

import posixpath
import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from enum import StrEnum
from hashlib import sha256
from typing import Generic, TypeVar

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.compile.compiler import faults_of_names, faults_of_part
from interlock.hold.language.bay_names import MOST_BAYS, BayNames
from interlock.hold.language.cross_rules import cross_faults, hidden_names
from interlock.hold.language.declarations import Record
from interlock.hold.language.field_types import Listed, RecordOf
from interlock.hold.language.fleets import COLUMNS, Aircraft, Fleet, twice
from interlock.hold.language.model import BayRule, Catalogue, CentredBay, Hold, RequirementText, Specification
from interlock.hold.language.nodes import (
    LARGEST_FILE_BYTES,
    Entry,
    MappingNode,
    Node,
    ScalarNode,
    SequenceNode,
    clip,
    compose,
    decode,
    describe,
    is_absent,
    split_lines,
)
from interlock.hold.language.parser import is_name
from interlock.hold.language.rates import FailureRates
from interlock.hold.language.readable import readable_part
from interlock.hold.language.reader import FAILED, Failed, Mention, Reader
from interlock.hold.language.records import read_record
from interlock.hold.language.references import (
    BUILT_IN_GROUPS,
    collect_names,
    id_of,
    is_named_after,
    items_in,
    names_in,
    resolve_mentions,
)
from interlock.hold.language.tables import table_rows
from interlock.hold.language.text_types import VERSION
from interlock.hold.overlay.changes import Modification
from interlock.hold.overlay.modification import (
    OverlaidDescription,
    apply_modification,
    check_options,
    fit_options,
    unchanged,
)
from interlock.hold.overlay.repetition import expand_repetitions
from interlock.hold.procedure.model import Procedure, read_procedure
from interlock.hold.sense import faults_of_items, faults_of_sense

LONGEST_CHAIN = 20
"""Modifications of modifications beyond this are refused."""

SHIPPED = "demo:"
"""How the name of a file begins that is no path: it comes with the program."""

_SAYS_SO = re.compile(rb"""(?:^|\r)(?:\xef\xbb\xbf)?[ \t{]*["']?interlock["']?[ \t]*:""", re.MULTILINE)
"""The line by which a file says that it is one of ours."""

_TOLD_BY: Mapping[str, type[Record]] = {
    "catalogue": Catalogue,
    "failure_rates": FailureRates,
    "specification": Specification,
    "procedure": Procedure,
    "fleet": Fleet,
}
"""The sorts of file that are neither holds nor modifications, by the key that only they have."""

T = TypeVar("T")


@frozen
class Source:
    """A file: its name as messages show it, and its bytes."""

    name: str
    content: bytes


class Part(StrEnum):
    """What a file is to the work for which it was read."""

    DESCRIPTION = "description"
    MODIFIED = "description that is modified"
    COMPARED = "description that it is compared with"
    PROCEDURE = "procedure"
    REQUIREMENTS = "requirements"
    STANDING = "standing requirements"
    CATALOGUE = "catalogue of failures"
    RATES = "failure rates"
    FLEET = "fleet"
    OPTION = "option that is fitted"


@frozen
class FileRead:
    """A file that was read: what for, its name as messages show it, and the SHA-256 of its bytes in hexadecimal."""

    part: Part
    name: str
    sha256: str


@frozen
class Loaded(Generic[T]):
    """What was read, or None exactly if there is any fault; the faults by place; the lines of every file read.

    `readable` is what could be read in spite of faults, where that is good for finding more of them.  `read` names
    every file, in the order in which they were read.
    """

    value: T | None
    diagnostics: tuple[Diagnostic, ...]
    sources: Mapping[str, tuple[str, ...]]
    readable: T | None = None
    read: tuple[FileRead, ...] = ()


Fetch = Callable[[str], Source | None]
"""Brings a file by its name; None where it cannot be read."""


def load_hold(source: Source, fetch: Fetch, undone: frozenset[int] = frozenset()) -> Loaded[Hold]:
    """Read a description, with all that it modifies, but for the changes `undone` (`Change.item`).

    `fetch` is asked for what `beside` gives of the name of `source` and of what `modifies` says.
    """
    files = _Files(fetch, undone)
    return files.hold(source)


def load_family(
    source: Source, fetch: Fetch, more: Sequence[MappingNode] = ()
) -> Callable[[Collection[str]], Loaded[Hold]]:
    """Read the files of a description once; gives the hold with any of its options fitted beside those that are.

    `more` are options beside its own.  Names that are no option of it are passed over.  Names and states in expressions
    are not looked up: whoever compiles the hold is told of those too.
    """
    files = _Files(fetch)
    overlaid = files._overlaid(source)
    if overlaid is not None:
        for item in more:
            overlaid.append("options", item)

    def fitted(options: Collection[str]) -> Loaded[Hold]:
        faults = Faults()
        faults.take(files.faults.sorted())
        hold = None
        if overlaid is not None:
            description = overlaid.copy()
            fit_options(description, options, faults)
            hold, _ = _read_hold(description, faults, looking_up=False)
        return Loaded(None if faults else hold, faults.sorted(), files.sources)

    return fitted


def load_audited_hold(procedure: Procedure, fetch: Fetch) -> Loaded[Hold]:
    """Read the description that a procedure names, by the rules that hold for what `modifies` says."""
    files = _Files(fetch)
    return files.hold(files.named(procedure.hold, procedure.file.span, [procedure.file.span.file]))


def load_specification(source: Source) -> Loaded[tuple[RequirementText, ...]]:
    """Read the requirements of a specification; names in them are looked up only in a hold."""
    files = _Files(lambda name: None)
    root = files.root_of(source, Specification, Part.REQUIREMENTS, "`specification:` and `requirements:`")
    specification: Specification | Failed = FAILED
    if root is not None:
        collect_names(root, None, files.faults)
        reader = Reader(files.faults, None)
        specification = read_record(Specification, root, reader)
        files.faults.take(hidden_names(reader.expressions, reader.made, BUILT_IN_GROUPS))
    requirements = None if specification is FAILED else specification.requirements
    return files.loaded(requirements)


def load_procedure(source: Source) -> Loaded[Procedure]:
    """Read a procedure; the hold that it names is not read, and names are looked up only when it is bound to one."""
    files = _Files(lambda name: None)
    root = files.root_of(source, Procedure, Part.PROCEDURE, "`procedure:`, `hold:` and `steps:`")
    procedure = None if root is None else read_procedure(root, Reader(files.faults, None))
    return files.loaded(procedure, procedure)


def load_catalogue(source: Source) -> Loaded[Catalogue]:
    """Read a catalogue of failures."""
    files = _Files(lambda name: None)
    root = files.root_of(source, Catalogue, Part.CATALOGUE, "`catalogue:` and `failures:`")
    catalogue: Catalogue | Failed = FAILED
    if root is not None:
        reader = Reader(files.faults, None)
        catalogue = read_record(Catalogue, root, reader)
        files.faults.take(cross_faults(reader.made))
    return files.loaded(None if catalogue is FAILED else catalogue)


def load_rates(source: Source) -> Loaded[FailureRates]:
    """Read a file of failure rates; what they are of is looked up only when they are put to a hold."""
    files = _Files(lambda name: None)
    root = files.root_of(source, FailureRates, Part.RATES, "`failure_rates:` and `rates:`")
    rates: FailureRates | Failed = FAILED
    if root is not None:
        reader = Reader(files.faults, None)
        rates = read_record(FailureRates, root, reader)
        files.faults.take(cross_faults(reader.made))
    return files.loaded(None if rates is FAILED else rates)


def load_fleet(source: Source) -> Loaded[Fleet]:
    """Read a fleet, from YAML or from a table; the files that it names are not read."""
    files = _Files(lambda name: None)
    if _SAYS_SO.search(source.content):
        root = files.root_of(source, Fleet, Part.FLEET, "`fleet:` and `aircraft:`")
    else:
        root = files.table(source)
    fleet: Fleet | Failed = FAILED
    readable: Fleet | None = None
    if root is not None:
        reader = Reader(files.faults, None)
        fleet = read_record(Fleet, root, reader)
        aircraft = tuple(one.value for one in reader.made if isinstance(one.value, Aircraft))
        files.faults.take(twice(aircraft))
        readable = Fleet(span=root.span, interlock=VERSION, title=source.name, aircraft=aircraft)
    return files.loaded(None if fleet is FAILED else fleet, readable)


def load_fitted_hold(aircraft: Aircraft, deferred: Sequence[Node], fetch: Fetch) -> Loaded[Hold]:
    """Read the hold of an aircraft with its options fitted, in the order of their names, and with further changes.

    The files are named by the rules that hold for what `modifies` says.
    """
    files = _Files(fetch)
    return files.fitted(aircraft, deferred)


class _Files:
    """The files of one description, as far as they were read."""

    def __init__(self, fetch: Fetch, undone: frozenset[int] = frozenset()) -> None:
        self.faults = Faults()
        self.sources: dict[str, tuple[str, ...]] = {}
        self._read: list[FileRead] = []
        self._fetch = fetch
        self._undone = undone

    def loaded(self, value: T | None, readable: T | None = None) -> Loaded[T]:
        """What came of the files: nothing where there is a fault."""
        faults = self.faults.sorted()
        return Loaded(None if faults else value, faults, self.sources, readable, tuple(self._read))

    def root(self, source: Source, part: Part) -> MappingNode | None:
        """The top of one file, its repetitions expanded."""
        self._read.append(FileRead(part, source.name, sha256(source.content).hexdigest()))
        text = decode(source.name, source.content, self.faults)
        if text is None:
            shown = source.content[:LARGEST_FILE_BYTES].decode("utf-8", "replace")
            self.sources[source.name] = split_lines(shown)
            return None
        lines = split_lines(text)
        self.sources[source.name] = lines
        node = compose(source.name, text, lines, self.faults)
        if node is None:
            return None
        if not isinstance(node, MappingNode):
            self.faults.add("not-a-mapping", node.span, f"a file cannot be {describe(node)}", "`interlock: 1` first")
            return None
        return expand_repetitions(node, self.faults)

    def root_of(self, source: Source, sort: type[Record], part: Part, expected: str) -> MappingNode | None:
        """The same of a file that is to be of this sort."""
        root = self.root(source, part)
        if root is None or sort_of(root) is sort:
            return root
        _wrong_sort(root, sort.declaration.noun, expected, self.faults)
        return None

    def table(self, source: Source) -> MappingNode | None:
        """The same of a fleet that is written as a table, called by the name of the file."""
        self._read.append(FileRead(Part.FLEET, source.name, sha256(source.content).hexdigest()))
        text = decode(source.name, source.content, self.faults)
        lines = split_lines(source.content[:LARGEST_FILE_BYTES].decode("utf-8", "replace") if text is None else text)
        self.sources[source.name] = lines
        rows = None if text is None else table_rows(source.name, lines, COLUMNS, "tail", self.faults)
        if rows is None:
            return None
        top = Span(source.name, 1, 1)
        said: dict[str, Node] = {
            "interlock": ScalarNode(VERSION, top, False, None),
            "fleet": ScalarNode(posixpath.basename(source.name), top, False, None),
            "aircraft": rows,
        }
        entries = (Entry(ScalarNode(key, top, False, None), value) for key, value in said.items())
        return MappingNode(tuple(entries), top)

    def fitted(self, aircraft: Aircraft, deferred: Sequence[Node]) -> Loaded[Hold]:
        """What the hold of an aircraft is with its options, and with these changes after them."""
        said = aircraft.hold
        chain = [said.span.file]
        source = self.named(said.text.strip(), said.span, chain)
        description = None if source is None else self._overlaid(source)
        known = [self._identity(name) for name in self.sources]
        if description is not None:
            self._fit(description, [one for one in aircraft.options if is_name(one.text)])
        for option in sorted(aircraft.options, key=lambda one: one.text):
            if is_name(option.text):
                continue
            found = self.named(option.text.strip(), option.span, chain, AN_OPTION)
            overlay = None if found is None else self.root(found, Part.OPTION)
            if found is None or overlay is None or description is None:
                continue
            modified = overlay.value("modifies")
            told = beside(found.name, modified.text.strip()) if isinstance(modified, ScalarNode) else ""
            if self._identity(told) not in known:
                message = (
                    f"'{clip(option.text)}' modifies another hold"
                    if told
                    else f"'{clip(option.text)}' is no modification"
                )
                expected = "a modification of " + (" or of ".join(clip(one) for one in known) or "that hold")
                self.faults.add("wrong-file", option.span, message, expected)
                continue
            read_record(Modification, overlay, Reader(self.faults, None))
            heads = tuple(entry for entry in overlay.entries if entry.key.text not in ("title", "about"))
            apply_modification(description, replace(overlay, entries=heads), self.faults)
        if description is not None:
            self._change(description, deferred)
        hold = None if description is None else _read_hold(description, self.faults)[0]
        return self.loaded(hold)

    def _fit(self, description: OverlaidDescription, options: Sequence[ScalarNode]) -> None:
        """Fits options of the description itself, in the order in which it lists them."""
        listed = description.sections.get("options", ())
        known = [given.text for one in listed if isinstance(one, MappingNode) and (given := id_of(one)) is not None]
        for option in options:
            if option.text not in known:
                said = f"'{clip(option.text)}' is no option of that hold"
                expected = f"one of {', '.join(known)}" if known else "the file of a modification: it lists no options"
                self.faults.add("unknown-name", option.span, said, expected, self.faults.hint(option.text, known))
        chosen = {one.text: one for one in options}
        fits = [
            MappingNode((Entry(ScalarNode("fit", chosen[id].span, False, None), chosen[id]),), chosen[id].span)
            for id in known
            if id in chosen
        ]
        self._change(description, fits)

    def _change(self, description: OverlaidDescription, changes: Sequence[Node]) -> None:
        if changes:
            span = changes[0].span
            listed = Entry(ScalarNode("changes", span, False, None), SequenceNode(tuple(changes), span))
            apply_modification(description, MappingNode((listed,), span), self.faults)

    def _identity(self, name: str) -> str:
        """Of the names of a file the one by which it is brought."""
        found = self._fetch(name)
        return name if found is None else found.name

    def hold(self, source: Source | None) -> Loaded[Hold]:
        """What a file describes, if there is one."""
        overlaid = None if source is None else self._overlaid(source)
        hold, readable = (None, None) if overlaid is None else _read_hold(overlaid, self.faults)
        return self.loaded(hold, readable)

    def _overlaid(self, source: Source) -> OverlaidDescription | None:
        """The description that a file gives, modified by itself and all files between; None where one is missing."""
        overlays: list[MappingNode] = []
        chain = [source.name]
        while True:
            root = self.root(source, Part.MODIFIED if overlays else Part.DESCRIPTION)
            if root is None:
                return None
            sort = sort_of(root)
            if sort in _TOLD_BY.values():
                _wrong_sort(root, "a hold", "`layout:` and `units:`, or `modifies:`", self.faults)
                return None
            if sort is Hold:
                description = unchanged(root)
                for overlay in reversed(overlays):
                    apply_modification(description, overlay, self.faults, self._undone)
                return description
            # what is wrong with the top is told, and the changes are carried out all the same
            read_record(Modification, root, Reader(self.faults, None))
            overlays.append(root)
            node = root.value("modifies")
            if not isinstance(node, ScalarNode) or is_absent(node):
                return None  # told with the head
            found = self.named(node.text.strip(), node.span, chain)
            if found is None:
                return None
            source = found
            chain.append(source.name)

    def named(self, said: str, span: Span, chain: list[str], instead: str = "") -> Source | None:
        """The description that the last file of the chain names at that place; None, with a fault, where none is.

        `instead` says what could stand there in the place of a file.
        """
        target = beside(chain[-1], said)
        code = "missing-file"
        if said.startswith("/") or "\\" in said or ":" in said.removeprefix(SHIPPED) or "-" in (said, target):
            message = f"'{clip(said)}' is no name of a file beside this one"
            expected = f"a path from the folder of this file, with `/`, or `{SHIPPED}` and a name"
        elif target in chain or len(chain) >= LONGEST_CHAIN:
            code, expected = "modification-circle", "a file that describes a hold in full at the end"
            message = "these modify one another in a circle: " + " -> ".join([*chain[-4:], target])
        elif (found := self._fetch(target)) is None:
            message = f"there is no '{clip(target)}' that can be read"
            expected = "a demonstration hold" if said.startswith(SHIPPED) else "a path from the folder of this file"
        elif not _SAYS_SO.search(found.content):
            # whoever wrote this file may not be the one who runs the program: no line of the other one is shown
            code, expected = "wrong-file", "a file that describes a hold"
            message = f"'{clip(target)}' is no description: no line of it begins with `interlock:`"
        else:
            return Source(target, found.content)
        self.faults.add(code, span, message, f"{instead}, or {expected}" if instead else expected)
        return None


AN_OPTION = "the id of an option of that hold"


def beside(name: str, said: str) -> str:
    """The name of the file that is meant by what the file `name` says: a path from its own folder, or a shipped one.

    What a shipped file says stays among the shipped ones.
    """
    if said.startswith(SHIPPED):
        return said
    folder = posixpath.dirname(name.removeprefix(SHIPPED))
    path = posixpath.normpath(posixpath.join(folder, said))
    return f"{SHIPPED}{path}" if name.startswith(SHIPPED) else path


def sort_of(root: MappingNode) -> type[Record]:
    """Which sort of file this is, by the key that only this sort has."""
    if root.entry("modifies") is not None:
        return Modification
    told = (sort for key, sort in _TOLD_BY.items() if root.entry(key) is not None and root.entry("layout") is None)
    return next(told, Hold)


def _wrong_sort(root: MappingNode, wanted: str, expected: str, faults: Faults) -> None:
    sort = sort_of(root).declaration.noun
    telling = ("modifies", *_TOLD_BY)
    span = next((entry.key.span for entry in root.entries if entry.key.text in telling), root.span)
    faults.add("wrong-file", span, f"this file is {sort}, not {wanted}", expected)


def _read_hold(
    description: OverlaidDescription, faults: Faults, *, looking_up: bool = True
) -> tuple[Hold | None, Hold]:
    """The hold, None where it cannot be read whole, and as much of it as can be."""
    check_options(description, faults)
    root = description.tree()
    bays = _bay_names(root.value("layout"))
    names = collect_names(root, bays, faults)
    reader = Reader(faults, bays)
    hold = read_record(Hold, root, reader)
    # what a repetition would have made is missing, not unknown; of a misspelt section the names at least are there
    unnamed = any(map(faults.has, ("bad-repetition", "unknown-variable", "counting-a-word")))
    misspelt = [entry for entry in root.entries if entry.key.text not in Hold.declaration.keys]
    elsewhere = frozenset(given.text for entry in misspelt for item in items_in(entry.value) if (given := id_of(item)))

    def unknown(mentions: Iterable[Mention]) -> frozenset[Mention]:
        looked_up = [one for one in mentions if not is_named_after(one.name, elsewhere)]
        return resolve_mentions(looked_up, names, bays, description.removed, faults)

    unresolved: frozenset[Mention] = frozenset()
    if not faults.has("bad-repetition"):
        unresolved = unknown(reader.mentions)
    known = [*names, *(bays.places if bays else ()), *BUILT_IN_GROUPS]
    faults.take(cross_faults(reader.made))
    faults.take(hidden_names(reader.expressions, reader.made, known))
    if hold is not FAILED and not faults:
        hold = replace(hold, changes=tuple(description.changes), fitted=tuple(description.fitted))
        faults.take((*faults_of_sense(hold), *(faults_of_names(hold) if looking_up else ())))
        return hold, hold
    told: frozenset[str] = frozenset()
    if not unnamed:
        told = frozenset(one.name for one in unknown(names_in(reader.expressions, reader.variables, names)))
    part = readable_part(
        root.span,
        reader.made,
        {*names, *told, *elsewhere},
        bays,
        unresolved,
        unnamed=unnamed,
        missing=bool(misspelt),
    )
    faults.take((*faults_of_items(part.hold), *faults_of_part(part)))
    return None, part.hold


def _bay_names(layout: Node | None) -> BayNames | None:
    """The bays that a layout makes; None where it cannot be read, which is told elsewhere."""
    if not isinstance(layout, MappingNode):
        return None
    lanes, rows = layout.value("lanes"), layout.value("rows")
    if isinstance(lanes, ScalarNode):
        lanes = SequenceNode((lanes,), lanes.span)
    if not isinstance(lanes, SequenceNode) or not isinstance(rows, ScalarNode):
        return None
    names = tuple(item.text for item in lanes.items if isinstance(item, ScalarNode))
    if not names or not all(map(is_name, names)) or not rows.text.isascii() or not rows.text.isdigit():
        return None
    if len(rows.text) > 4 or not 0 < int(rows.text) * len(names) <= MOST_BAYS:
        return None
    bays = BayNames(names, int(rows.text), centred=_centred(layout, names, int(rows.text)))
    rules = layout.value("rules")
    if rules is None:
        return bays
    # which bays the rules take out has to be known before they are read in earnest, faults and all
    found = Listed(RecordOf(BayRule)).read(rules, "rules", Reader(Faults(), bays))
    if found is FAILED:
        return bays
    missing = frozenset(bay for rule in found if not rule.kinds for bay in rule.bays)
    return replace(bays, missing=missing)


def _centred(layout: MappingNode, lanes: tuple[str, ...], rows: int) -> tuple[tuple[int, str, int], ...]:
    """The bays in the middle of two lanes that can be read; what cannot is told when it is read in earnest."""
    node = layout.value("centred")
    reader = Reader(Faults(), BayNames(lanes, rows))
    items = node.items if isinstance(node, SequenceNode) else () if node is None else (node,)
    found = [read_record(CentredBay, item, reader) for item in items]
    return tuple(
        (one.row, one.lane, lanes.index(one.between[0]))
        for one in found
        if one is not FAILED and one.row <= rows and one.lane not in lanes and one.between[0] in lanes[:-1]
    )


__all__ = [
    "SHIPPED",
    "Fetch",
    "FileRead",
    "Loaded",
    "Part",
    "Source",
    "beside",
    "load_audited_hold",
    "load_catalogue",
    "load_fitted_hold",
    "load_fleet",
    "load_hold",
    "load_procedure",
    "load_rates",
    "load_specification",
    "sort_of",
]
