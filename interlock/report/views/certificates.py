"""The certificates of an evidence folder as they are told: for people, beside what solvers read."""

from __future__ import annotations

from interlock.confirm.smtlib import Scribe
from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.requirements import Instance
from interlock.report.views.wording import places_after, sentence
from interlock.study.proof_cores import CertificateInWords, certificates_in_words
from interlock.study.verify import Verification


@frozen
class CertificateView:
    """One certificate; `folder` is where the evidence has it.

    `resting` are requirements, (id, text), under what the certificate does for them.  `short` says the clauses with
    those together that differ only in a place, empty where there are none; `clauses` are all of them, each in words
    and as solvers read it.
    """

    folder: str
    title: str
    claim: str
    resting: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    short: tuple[str, ...]
    clauses: tuple[tuple[str, str], ...]


def certificate_views(verification: Verification) -> tuple[CertificateView, ...]:
    """One for each folder of the evidence that has a certificate."""
    scribe = Scribe(verification.machine)
    title = verification.compiled.hold.title
    return tuple(_view(one, title, scribe) for one in certificates_in_words(verification))


def _view(one: CertificateInWords, title: str, scribe: Scribe) -> CertificateView:
    resting: list[tuple[str, tuple[Instance, ...]]] = [
        ("Requirements that hold because of it", one.holding),
        ("Requirements that fail because of it: what they ask for can never be", one.failing),
        ("Requirements whose situation never arises because of it", one.without_occasion),
        ("Requirement that it shows to fail", () if one.trap is None else (one.trap,)),
        ("Requirement whose ways back rest on it", () if one.lasting is None else (one.lasting,)),
    ]
    folded = len(one.facts) < len(one.sentences)
    said = zip(one.sentences, one.certificate.clauses, strict=True)
    return CertificateView(
        one.folder,
        title,
        _claim(one),
        tuple((why, tuple((i.requirement.id, sentence(i.text)) for i in those)) for why, those in resting if those),
        tuple(sentence(places_after(fact.text, fact.places)) for fact in one.facts) if folded else (),
        tuple((sentence(words), scribe.formula(clause, 0)) for words, clause in said),
    )


def _claim(one: CertificateInWords) -> str:
    where = "every state that can be reached" if one.trap is None else "every state after the dead end"
    done = "whatever is done" + ("" if one.trap is None else " and unless something fails")
    text = f"In {where}, {done}, each clause below is true: they are true at first"
    if one.certificate.k == 1:
        return f"{text}, and no step from a state in which all are true breaks one."
    return (
        f"{text} and for {one.certificate.k} states on end, and no step after as many states in which all are true "
        "breaks one."
    )
