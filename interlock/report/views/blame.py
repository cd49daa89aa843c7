"""What is to be blamed for a requirement that fails, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import UNSET

from interlock.diagnostics.frozen import frozen
from interlock.report.views.facts import Place
from interlock.report.views.proof_facts import BlamedFacts, CauseFacts, ChangeFacts, HoldFacts
from interlock.report.views.wording import count_of, listed, shortened

MOST_LOST = 4
CAUTION = (
    "What is named to look at first is a hint, found by comparing like with like and by trying on this model. It is no "
    "approved change and no instruction: what is done to equipment is for the approved data and for licensed staff."
)


@frozen
class Pointer:
    """What to look at first (`at`), and what is told of it."""

    at: str
    sentences: tuple[str, ...]


def pointers_for(facts: HoldFacts, requirement: str, all_asked: bool) -> tuple[Pointer, ...]:
    """What to look at first for a requirement that fails: changes before things; none where nothing was found.

    Where not every requirement was asked about, what something else would do to the others is not known, and told so.
    """
    blamed = () if facts.blamed_changes is UNSET else facts.blamed_changes
    causes = () if facts.look_first is UNSET else facts.look_first
    found = [_changed(one, len(facts.modifications)) for one in blamed if one.requirement == requirement and one.sets]
    before = any(one.before for one in blamed if one.requirement == requirement)
    found += [_thing(one, requirement, before, all_asked) for one in causes if requirement in one.requirements]
    if before and not found:
        found.append(Pointer("the hold as it was before the changes", (_BEFORE,)))
    return tuple(found)


_BEFORE = "it fails without any of the changes too"


def _changed(blamed: BlamedFacts, total: int) -> Pointer:
    first, *others = [said_changes(one) for one in blamed.sets]
    them = "it is" if len(blamed.sets[0]) == 1 else "they are"
    did = blamed.differences[:MOST_LOST]
    sentences = [f"{one.item}: {'; '.join(filter(None, (one.now, one.was)))}" for one in did]
    if len(blamed.differences) > MOST_LOST:
        sentences.append(f"and {count_of(len(blamed.differences) - MOST_LOST, 'other difference')}")
    sentences += [f"once {them} undone the requirement holds (proved)"]
    sentences += [f"or, instead, {one}" for one in others]
    if not blamed.complete:
        sentences.append("not every other set of changes was decided")
    elif total > 1:
        sentences.append("no other set of the changes does it, but with one of these in it")
    return Pointer(first, tuple(sentences))


_DONE = {"remove": "removal", "fix": "fixing", "defer": "deferral", "change": "change", "add": "addition"}


def said_changes(changes: tuple[ChangeFacts, ...]) -> str:
    """The changes and where they are written."""
    return listed([f"the {_DONE[one.verb]} of {one.object} ({_where(one.at)})" for one in changes])


def _thing(cause: CauseFacts, requirement: str, before: bool, all_asked: bool) -> Pointer:
    return Pointer(f"{cause.item}, {_where(cause.at)}", tuple(_about(cause, requirement, before, all_asked)))


def _about(cause: CauseFacts, requirement: str, before: bool, all_asked: bool) -> Iterator[str]:
    if cause.found:
        yield cause.found
    if cause.beside:
        yield cause.beside
    others = len([one for one in cause.requirements if one != requirement])
    told = "with that otherwise"
    if cause.besides:
        too = f"{'has' if len(cause.besides) == 1 else 'have'} to be otherwise too, as is told of others"
        yield f"that alone is not known to do it: {listed(cause.besides)} {too}"
        told = "with all of that otherwise"
    more = f", and so {'does' if others == 1 else 'do'} {count_of(others, 'other')} that " if others else ""
    fails = ("fails" if others == 1 else "fail") if others else ""
    if cause.proved:
        yield f"tried on the model: {told} it holds{more}{fails} (proved)"
        if not all_asked:
            yield "whether other requirements then hold, and all that can be done still can, was not asked"
    if cause.lost:
        yield f"but no way was then found to {shortened(cause.lost, MOST_LOST)}"
    if before:
        yield _BEFORE


def _where(place: Place) -> str:
    return f"{place.file}, line {place.line}"
