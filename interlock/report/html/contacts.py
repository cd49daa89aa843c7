"""An analysis of contacts as one page to print and sign."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.html.page import page
from interlock.report.views.contacts import ABOUT_NEEDLESS, ABOUT_WITHOUT, ContactsView
from interlock.report.views.sheets import Sheet
from interlock.report.views.wording import count_of, sentence


def contacts_html(view: ContactsView) -> str:
    """The page."""
    return page(
        "contacts.html.j2",
        _sheet(view),
        view=view,
        facts=view.facts,
        about_needless=ABOUT_NEEDLESS,
        about_without=ABOUT_WITHOUT,
    )


def _sheet(view: ContactsView) -> Sheet:
    facts = view.facts
    return Sheet(
        "What each contact is for",
        facts.title,
        sentence(view.summary()),
        view.tone,
        facts.disputed,
        tuple(_about(view)),
        facts.identification,
        facts.cautions,
        facts.assumptions,
        view.scope,
    )


def _about(view: ContactsView) -> Iterator[tuple[str, str]]:
    facts = view.facts
    yield "Description", facts.description
    yield "Contacts", f"{len(facts.contacts):,}, each in one place of the wiring"
    together = "one at a time" if facts.size == 1 else "alone and in pairs with one more failure"
    yield "Asked", f"{count_of(len(facts.requirements), 'requirement')}; contacts {together}"
