"""The proof of a hold's requirements as one page to read, print and sign."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.drawing.pieces import Drawn, plan_key, whole_plan
from interlock.report.html.page import letters, page
from interlock.report.views import proof_words
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.never import account_of, heading_of
from interlock.report.views.proof import TONES, AnswerView, Group, ProofView
from interlock.report.views.proof_facts import Status
from interlock.report.views.sheets import Sheet
from interlock.report.views.wording import count_of, places_after, shortened


def proof_html(proof: ProofView) -> str:
    """The page."""
    failing = [group for group in proof.groups if group.failing]
    first_end = next((end for group in failing if (end := group.failing[0].end) is not None), None)
    return page(
        "proof.html.j2",
        sheet=_sheet(proof),
        proof=proof,
        facts=proof.facts,
        failing=failing,
        hints=[text for text in proof.cautions if text not in CAUTIONS],
        sources=letters(group.text.source for group in proof.groups),
        schemes=sorted({group.text.scheme for group in proof.groups if group.text.scheme}),
        tones=TONES,
        words=proof_words,
        spread=_spread,
        key=plan_key(proof.compiled, first_end) if failing else None,
        end_of=lambda answer: _end(proof, answer),
        heading_of=heading_of,
        account_of=account_of,
        places_after=places_after,
        shortened=shortened,
    )


def _sheet(proof: ProofView) -> Sheet:
    facts = proof.facts
    return Sheet(
        "Proof of the requirements of a cargo hold",
        facts.title,
        proof.summary(),
        proof.tone,
        tuple(f"{one.facts.id}: {one.dispute}" for group in proof.groups for one in group.having(Status.DISPUTED)),
        tuple(_about(proof)),
        facts.identification,
        CAUTIONS,
        proof.assumptions,
        tuple(proof_words.completeness(proof)),
    )


def _about(proof: ProofView) -> Iterator[tuple[str, str]]:
    facts = proof.facts
    yield "Contains", proof.contains
    if facts.modifications:
        yield "Modified", shortened([f"{change.verb} {change.object}" for change in facts.modifications], 8)
    if facts.situation is not None:
        yield "Starts from", facts.situation
    asked = f"{count_of(len(facts.requirements), 'requirement')} from {count_of(len(proof.groups), 'text')}"
    yield "Asked", f"{asked}, of every sequence of steps, of any length"
    if proof.replaced:
        yield "Own text in place of a given one", ", ".join(proof.replaced)


def _spread(group: Group) -> Iterator[tuple[str, tuple[AnswerView, ...]]]:
    """The single requirements of a text by what came out."""
    for status in proof_words.VERDICTS:
        found = group.having(status)
        if found:
            yield proof_words.status_said(status), found


def _end(proof: ProofView, answer: AnswerView) -> Drawn | None:
    """The plan of the hold where the run has led to."""
    if answer.end is None:
        return None
    return whole_plan(proof.compiled, answer.end, f"After the last step: {answer.facts.id}")
