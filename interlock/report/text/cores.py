"""What proofs rest on, as text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.report.text.lines import BLANK, Line, flow, heading
from interlock.report.views.proof_facts import CoreFacts
from interlock.report.views.wording import places_after, sentence


def core_lines(cores: Sequence[CoreFacts]) -> Iterator[Line]:
    """Per requirement text the facts that its proof rests on; nothing where nothing was proved by facts."""
    if cores:
        yield from heading("What the proofs rest on")
    for one in cores:
        yield BLANK
        yield from flow(one.requirement)
        for fact in one.facts:
            yield from flow("- " + sentence(places_after(fact.text, fact.places)), 2, 2)
        if one.counted:
            yield from flow(
                "Decided, in part or whole, by visiting every state that can be reached, or all at once.", 2
            )
        elif not one.facts:
            yield from flow("It follows from circuits and definitions alone: no fact is needed.", 2)
