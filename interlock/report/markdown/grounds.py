"""The certificates of an evidence folder in trade words, as Markdown: for people, beside what solvers read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.confirm.smtlib import Scribe
from interlock.hold.compile.requirements import Instance
from interlock.report.languages import in_markdown
from interlock.report.views.wording import count_of, places_after, sentence
from interlock.study.proof_cores import CertificateInWords, certificates_in_words
from interlock.study.verify import Verification

NAME = "in-words.md"


def grounds_files(verification: Verification) -> Mapping[str, str]:
    """Relative file name -> text: one for each folder of the evidence that has a certificate."""
    scribe = Scribe(verification.machine)
    title = verification.compiled.hold.title
    return {
        f"{one.folder}/{NAME}": "\n".join(_parts(one, title, scribe)) + "\n"
        for one in certificates_in_words(verification)
    }


def _parts(one: CertificateInWords, title: str, scribe: Scribe) -> Iterator[str]:
    yield f"# {one.folder}: {in_markdown(title)}"
    yield ""
    yield _claim(one)
    yield "Written for reading, by the program that made the evidence: what counts are the .smt2 files beside this one."
    yield ""
    yield from _requirements("Requirements that hold because of it", one.holding)
    yield from _requirements("Requirements that fail because of it: what they ask for can never be", one.failing)
    yield from _requirements("Requirements whose situation never arises because of it", one.without_occasion)
    yield from _requirements("Requirement that it shows to fail", () if one.trap is None else (one.trap,))
    yield from _requirements("Requirement whose ways back rest on it", () if one.lasting is None else (one.lasting,))
    if len(one.facts) < len(one.sentences):
        yield "## In short"
        yield ""
        yield "Clauses that differ only in a place are one sentence here."
        yield ""
        yield from (f"- {in_markdown(sentence(places_after(fact.text, fact.places)))}" for fact in one.facts)
        yield ""
    yield f"## {count_of(len(one.sentences), 'clause').capitalize()}, one by one"
    yield ""
    for number, (said, clause) in enumerate(zip(one.sentences, one.certificate.clauses, strict=True), 1):
        yield f"{number}. {in_markdown(sentence(said))}"
        yield f"   `{scribe.formula(clause, 0)}`"


def _claim(one: CertificateInWords) -> str:
    where = "every state that can be reached" if one.trap is None else "every state after the dead end"
    text = f"In {where}, whatever is done, each clause below is true: "
    if one.trap is not None:
        text = f"In {where}, whatever is done and unless something fails, each clause below is true: "
    if one.certificate.k == 1:
        return text + "they are true at first, and no step from a state in which all are true breaks one."
    return (
        text + f"they are true at first and for {one.certificate.k} states on end, and no step after as many states "
        "in which all are true breaks one."
    )


def _requirements(title: str, instances: Sequence[Instance]) -> Iterator[str]:
    if instances:
        yield f"## {title}"
        yield ""
        yield from (f"- `{one.requirement.id}`: {in_markdown(sentence(one.text))}" for one in instances)
        yield ""
