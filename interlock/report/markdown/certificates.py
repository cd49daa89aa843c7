"""The certificates of an evidence folder in trade words, as Markdown."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import bullets, heading
from interlock.report.views.certificates import CertificateView
from interlock.report.views.wording import count_of

NAME = "in-words.md"


def certificate_files(views: Sequence[CertificateView]) -> Mapping[str, str]:
    """Relative file name -> text."""
    return {f"{view.folder}/{NAME}": "\n".join(_parts(view)) + "\n" for view in views}


def _parts(view: CertificateView) -> Iterator[str]:
    yield f"# {view.folder}: {in_markdown(view.title)}"
    yield ""
    yield view.claim
    yield "Written for reading, by the program that made the evidence: what counts are the .smt2 files beside this one."
    yield ""
    for why, requirements in view.resting:
        yield from heading(why)
        yield from (f"- `{id}`: {in_markdown(text)}" for id, text in requirements)
        yield ""
    if view.short:
        yield from heading("In short")
        yield "Clauses that differ only in a place are one sentence here."
        yield ""
        yield from bullets(view.short)
    yield from heading(f"{count_of(len(view.clauses), 'clause').capitalize()}, one by one")
    for number, (said, formula) in enumerate(view.clauses, 1):
        yield f"{number}. {in_markdown(said)}"
        yield f"   `{formula}`"
