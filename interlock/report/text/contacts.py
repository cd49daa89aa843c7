"""An analysis of contacts as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.identified import identified_lines
from interlock.report.text.lines import BLANK, Line, Tone, flow, heading, labelled
from interlock.report.views.contacts import ABOUT_NEEDLESS, ABOUT_WITHOUT, ContactsView
from interlock.report.views.contacts_facts import ContactFacts, EffectFacts
from interlock.report.views.wording import count_of, seconds_as_text, sentence, shortened

MOST_NAMED = 2
MOST_PAIRS = 3


def contacts_report(view: ContactsView, verbose: bool, seconds: float) -> tuple[Line, ...]:
    """The whole report; `verbose` names every requirement, step and pair, and what the opposite of each brings."""
    return tuple(_lines(view, verbose, seconds))


def _lines(view: ContactsView, verbose: bool, seconds: float) -> Iterator[Line]:
    facts = view.facts
    yield from flow(facts.title, tone=Tone.HEAD)
    yield from labelled("description:", facts.description, 2)
    yield from labelled("contacts:", f"{len(facts.contacts):,}, each in one place of the wiring", 2)
    together = "" if facts.size == 1 else ", of contacts alone and of pairs with one more failure"
    yield from labelled("asked:", f"{count_of(len(facts.requirements), 'requirement')}{together}", 2)
    for text in facts.disputed:
        yield from flow(f"DISPUTED: {text}", 2, 2, tone=Tone.LOUD)
    if facts.broken:
        said = "broken although nothing fails, so that no contact is for them:"
        yield from labelled(said, shortened(facts.broken, len(facts.broken) if verbose else 6), 2, Tone.BAD)
    if facts.impossible:
        said = "not found to be possible although nothing fails:"
        yield from labelled(said, shortened(facts.impossible, len(facts.impossible) if verbose else 6), 2)
    yield BLANK
    yield from flow(ABOUT_WITHOUT, 2)
    if needless := view.of_need("nothing"):
        yield from heading("Contacts that nothing needs")
        yield from flow(view.needless, 2)
        yield from flow(ABOUT_NEEDLESS, 2)
        for one in needless:
            never = (
                " (it makes no difference while nothing else fails)"
                if all(e.no_difference for e in one.without)
                else ""
            )
            yield from flow(f"- {_where(one)}: {one.contact}{never}", 2, 2, Tone.OPEN)
    if unsettled := view.of_need("not settled"):
        yield from heading("Not settled")
        yield from flow("Whether anything needs these is not known. What may settle them: more time (--time).", 2)
        for one in unsettled:
            yield from flow(f"- {_where(one)}: {one.contact}", 2, 2)
    yield from heading("What each contact is for")
    for group in view.groups:
        yield from flow(_where(group[0]), 2, 2, Tone.HEAD)
        for one in group:
            yield from _contact(view, one, verbose)
    yield from heading("What this analysis assumes")
    for text in facts.assumptions:
        yield from flow(f"- {text}", 2, 2)
    yield from identified_lines(facts.identification)
    yield from heading("Caution")
    for text in facts.cautions:
        yield from flow(text, 2)
    yield BLANK
    yield from flow(f"{view.summary()}, in {seconds_as_text(seconds)}", tone=view.tone)


def _where(contact: ContactFacts) -> str:
    return f"{contact.name}, {contact.place} ({contact.at.file}:{contact.at.line})"


def _contact(view: ContactsView, contact: ContactFacts, verbose: bool) -> Iterator[Line]:
    said = {"nothing": ": nothing needs it", "not settled": ": not settled"}.get(contact.need, "")
    yield from flow(f"- {contact.contact}{said}", 4, 2)
    for one in contact.without:
        yield from _effect(view, f"without it ({view.when(one)}):", one, verbose, MOST_NAMED)
    for one in contact.otherwise:
        yield from _effect(view, f"{view.when(one)} instead:", one, verbose, 0)


def _effect(view: ContactsView, label: str, effect: EffectFacts, verbose: bool, named: int) -> Iterator[Line]:
    parts = view.told(effect, None if verbose else MOST_PAIRS)
    if parts:
        yield from labelled(label, "; ".join(parts), 8)
        if verbose and (effect.breaks or effect.lost):
            yield from labelled("these are:", ", ".join((*effect.breaks, *effect.lost)), 10)
        for text in effect.steps[: None if verbose else named]:
            yield from flow(f"- no longer: {sentence(text)}", 10, 2)
