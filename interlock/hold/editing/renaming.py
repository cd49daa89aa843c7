"""Gives a thing another name, everywhere: or says why that cannot be done."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.editing.known import Known, know
from interlock.hold.editing.looking import derived_names, mentioned_at
from interlock.hold.editing.meanings import Mentioned
from interlock.hold.language.model import SECTIONS
from interlock.hold.language.parser import KEYWORDS, is_name
from interlock.hold.language.references import BUILT_IN_GROUPS
from interlock.hold.loader import SHIPPED, Fetch, Source

_HOLE = re.compile(r"\{[^{}]*\}")


@frozen
class Edit:
    """A stretch of a line, and what is to stand there."""

    span: Span
    text: str


@frozen
class Refused:
    """Why something cannot be renamed, as a sentence."""

    why: str


def name_to_change(known: Known, line: int, column: int) -> tuple[Span, str] | Refused:
    """Where the name at a place is written, and how; with the holes of a repetition where it is made by one."""
    at = mentioned_at(known, line, column)
    given = None if at is None else _given(known, at)
    if at is None or given is None:
        said = "There is no name here." if at is None else f"'{at.name}' is nothing that has a name of its own."
        return Refused(said)
    if given.name != at.name:
        return Refused(f"'{at.name}' is called after '{given.name}': change that.")
    written = _written(known, given.span)
    return (at.span, written) if written is not None else Refused(_ESCAPED.format(given.span.line))


_ESCAPED = "In line {} the name is written with an escape; write it out first."


def rename(
    known: Known, line: int, column: int, new: str, fetch: Fetch, others: Iterable[Known] = ()
) -> tuple[Edit, ...] | Refused:
    """The edits that give the thing at a place the name `new`, in this file, in those that it goes by and in `others`.

    Of a name that a repetition makes, `new` has the same holes, as in `M{r}`.  What would clash, or would make another
    description of it, is refused: the result is read before it is offered.
    """
    change = name_to_change(known, line, column)
    if isinstance(change, Refused):
        return change
    _, old = change
    at = mentioned_at(known, line, column)
    given = None if at is None else _given(known, at)
    if given is None:
        return Refused("There is no name here.")
    holes, new_holes = _HOLE.findall(old), _HOLE.findall(new)
    if holes != new_holes:
        wanted = f"the same {' and '.join(holes)} in it" if holes else "no braces: no repetition makes it"
        return Refused(f"'{new}' cannot take the place of '{old}': a new name with {wanted}.")
    wrong = _unfit(known, given, new)
    if wrong is not None:
        return wrong
    others = tuple(others)
    edits = _edits(known, given, old, new, others)
    return edits if isinstance(edits, Refused) else _checked(known, edits, fetch, others)


def _given(known: Known, at: Mentioned) -> Mentioned | None:
    """Where the thing of that name is given; a thing goes before a requirement, unless it is given here."""
    if at.section is not None:
        return at
    found = sorted((one for one in known.given), key=lambda one: one.is_requirement)
    exact = next((one for one in found if one.name == at.name), None)
    return exact or next((one for one in found if at.name in derived_names(known, one.name)), None)


def _unfit(known: Known, given: Mentioned, new: str) -> Refused | None:
    plain = _HOLE.sub("x", new)
    if not is_name(plain) or not any(letter.isalnum() for letter in plain):
        return Refused(f"'{new}' cannot be a name: letters, digits, '_' and '-' only.")
    if new in KEYWORDS or new in ("outside", "none"):
        return Refused(f"'{new}' is a word of the language.")
    if new in BUILT_IN_GROUPS:
        return Refused(f"'{new}' is a group that every description has.")
    if known.hold is not None and new in known.hold.layout.bay_names:
        return Refused(f"'{new}' is a bay.")
    for one in known.given:
        if one.name == new and one.is_requirement == given.is_requirement and one.section is not None:
            noun = SECTIONS[one.section].declaration.noun
            return Refused(f"'{new}' is {noun} already, in line {one.span.line}.")
    return None


def _edits(known: Known, given: Mentioned, old: str, new: str, others: tuple[Known, ...]) -> tuple[Edit, ...] | Refused:
    files = [known.mentions, *known.others.values(), *(other.mentions for other in others)]
    mentions = list(dict.fromkeys(one for found in files for one in found))
    own = {one.name for one in mentions if one.section is not None and one.span == given.span}
    after = {name: derived_names(known, name) for name in own}
    meant: dict[Span, set[bool]] = {}
    for one in mentions:
        is_own = one.name in own or any(one.name in names for names in after.values())
        apart = one.section is not None and one.is_requirement != given.is_requirement
        meant.setdefault(one.span, set()).add(is_own and not apart)
    shape = re.compile("(.+?)".join(map(re.escape, _HOLE.split(old))) + r"(?P<rest>[-_].*)?")
    pieces = _HOLE.split(new)
    found = []
    for span, is_meant in sorted(meant.items(), key=lambda item: (item[0].file, item[0].line, item[0].column)):
        if True not in is_meant:
            continue
        if span.file.startswith(SHIPPED):
            return Refused(f"'{old}' is named in {span.file}, which comes with the program and is not changed.")
        written = _written(known, span, others)
        if written is None:
            return Refused(_ESCAPED.format(span.line))
        fits = shape.fullmatch(written)
        if fits is None or is_meant != {True}:
            said = f"'{written}' in line {span.line} of {span.file} is filled in by a repetition"
            return Refused(f"{said} and stands for other things than '{old}' too, or is written in another way.")
        filled = fits.groups()[: len(pieces) - 1]
        text = pieces[0] + "".join(hole + piece for hole, piece in zip(filled, pieces[1:], strict=True))
        found.append(Edit(span, text + (fits["rest"] or "")))
    return tuple(found)


def _written(known: Known, span: Span, others: Iterable[Known] = ()) -> str | None:
    """What stands there in the file; None where it spells a name that is not written letter by letter."""
    reads: dict[str, tuple[str, ...]] = {}
    for one in (known, *others):
        reads |= one.reads
    lines = reads.get(span.file, ())
    text = lines[span.line - 1][span.column - 1 : span.column - 1 + span.length] if span.line <= len(lines) else ""
    return text if text and is_name(_HOLE.sub("x", text)) else None


def edited(lines: tuple[str, ...], edits: Iterable[Edit]) -> str:
    """The text of a file with these edits made."""
    changed = list(lines)
    for edit in sorted(edits, key=lambda one: (one.span.line, one.span.column), reverse=True):
        line, start = changed[edit.span.line - 1], edit.span.column - 1
        changed[edit.span.line - 1] = line[:start] + edit.text + line[start + edit.span.length :]
    return "\n".join(changed)


def _checked(
    known: Known, edits: tuple[Edit, ...], fetch: Fetch, others: tuple[Known, ...]
) -> tuple[Edit, ...] | Refused:
    """The edits, unless a file that is read with them has a fault more than before."""
    reads: dict[str, tuple[str, ...]] = {}
    for one in (*others, known):
        reads |= one.reads
    names = {edit.span.file for edit in edits}
    texts = {name: edited(reads[name], [one for one in edits if one.span.file == name]).encode() for name in names}

    def changed(name: str) -> Source | None:
        found = fetch(name)
        return found if found is None or found.name not in texts else replace(found, content=texts[found.name])

    for one in (known, *others):
        content = texts.get(one.source.name, one.source.content)
        now = know(Source(one.source.name, content), changed)
        before = _counted(one)
        for fault in now.faults:
            before[fault.code] = before.get(fault.code, 0) - 1
            if before[fault.code] < 0:
                return Refused(f"With that name the description would have a fault: {fault.message}.")
    return edits


def _counted(known: Known) -> dict[str, int]:
    found: dict[str, int] = {}
    for fault in known.faults:
        found[fault.code] = found.get(fault.code, 0) + 1
    return found


def files_of(edits: Iterable[Edit]) -> Mapping[str, tuple[Edit, ...]]:
    """The edits by file."""
    found: dict[str, list[Edit]] = {}
    for edit in edits:
        found.setdefault(edit.span.file, []).append(edit)
    return {name: tuple(ones) for name, ones in found.items()}


__all__ = ["Edit", "Refused", "edited", "files_of", "name_to_change", "rename"]
