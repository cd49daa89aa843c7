"""What proofs rest on, for readers and for other programs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from interlock.hold.explain import Fact
from interlock.report.text.lines import BLANK, Line, flow, heading
from interlock.report.views.wording import sentence
from interlock.study.proof_cores import ProofCore


def grounds_lines(grounds: Sequence[ProofCore]) -> tuple[Line, ...]:
    """Per requirement text the facts that its proof rests on; nothing where nothing was proved by facts."""
    if not grounds:
        return ()
    lines = list(heading("What the proofs rest on"))
    for one in grounds:
        lines += [BLANK, *flow(one.origin.id), *_facts(one)]
    return tuple(lines)


def _facts(one: ProofCore) -> Iterator[Line]:
    for fact in one.facts:
        yield from flow("- " + sentence(fact_text(fact)), 2, 2)
    if one.counted:
        yield from flow("Decided, in part or whole, by visiting every state that can be reached.", 2)
    elif not one.facts:
        yield from flow("It follows from circuits and definitions alone: no fact is needed.", 2)


def fact_text(fact: Fact) -> str:
    """The fact with its places after it."""
    if not fact.places:
        return fact.text
    return f"{fact.text} (for each of {', '.join(fact.places)})"


def grounds_document(grounds: Sequence[ProofCore]) -> Sequence[Mapping[str, Any]]:
    """The same as plain values."""
    return [
        {
            "requirement": one.origin.id,
            "clauses": one.clauses,
            "counted": one.counted,
            "facts": [{"text": fact.text, "places": list(fact.places)} for fact in one.facts],
        }
        for one in grounds
    ]
