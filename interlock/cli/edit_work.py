"""What is found of a text in the background of an editor, in a process of its own that can be ended at any moment.

`python -m interlock.cli.edit_work` reads one `Job` as JSON from standard input and writes one `Found` to standard
output.
"""

from __future__ import annotations

import sys
from time import monotonic
from typing import TYPE_CHECKING

from msgspec import Struct, json

if TYPE_CHECKING:
    from interlock.cli.opening import Texts
    from interlock.diagnostics.spans import Diagnostic
    from interlock.hold.loader import Fetch, Source
    from interlock.report.views.proof_facts import Status

PART_FOR_BLAME = 0.3
"""How much of the time is kept for finding what to look at first."""


class Job(Struct, frozen=True):
    """A text of that name to be looked at, with the texts of every file that is open, in so many seconds."""

    name: str
    is_procedure: bool
    texts: dict[str, str]
    seconds: float


class Verdict(Struct, frozen=True):
    """What was found of one requirement.

    `file` and `line` are where to look, None where there is no such place.  `grave` is 1 for what fails, 3 for what is
    undecided or shows nothing.
    """

    id: str
    said: str
    grave: int
    file: str | None
    line: int | None


class Flaw(Struct, frozen=True):
    """A fault that shows only when all is compiled."""

    code: str
    file: str
    line: int
    column: int
    length: int
    message: str


class Found(Struct, frozen=True):
    """What came of a job; `summary` is a sentence about all of it."""

    flaws: tuple[Flaw, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    summary: str = ""


def look(job: Job) -> Found:
    """What compiling and proving say of a text."""
    from interlock.cli.opening import Texts, open_texts
    from interlock.cli.reading import fetch
    from interlock.hold.loader import Source

    held = {name: text.encode("utf-8", "surrogatepass") for name, text in job.texts.items()}

    def bring(name: str) -> Source | None:
        return Source(name, held[name]) if name in held else fetch(name)

    texts = open_texts((), True)
    if not isinstance(texts, Texts):
        return Found()
    source = bring(job.name)
    if source is None:
        return Found()
    if job.is_procedure:
        from interlock.hold.procedures import open_procedure

        opened = open_procedure(source, bring, texts.by_id.values())
        return Found(() if opened.bound is not None else tuple(map(_flaw, opened.diagnostics)))
    return _proved(job, source, texts, bring)


def _proved(job: Job, source: Source, texts: Texts, bring: Fetch) -> Found:
    from interlock.cli.exit_codes import code_of_hold
    from interlock.cli.methods import engine_of
    from interlock.cli.opening import Rejected, open_source
    from interlock.kernel.claims import Limits
    from interlock.report.views.outcomes import outcomes_of
    from interlock.report.views.proof import proof_view
    from interlock.study.causes.blame import blame
    from interlock.study.verify import verify

    began = monotonic()
    opened = open_source(job.name, source, texts, None, bring=bring)
    if isinstance(opened, Rejected):
        return Found(tuple(map(_flaw, opened.diagnostics)))
    engine = engine_of("combined")
    found = verify(opened.compiled, engine, Limits(seconds=(1 - PART_FOR_BLAME) * job.seconds))
    left = max(0.0, job.seconds - (monotonic() - began))
    blamed = blame(found, opened.without, engine, Limits(seconds=left), thorough=False)
    code = code_of_hold(found)
    view = proof_view(opened.label, found, opened.texts, code, opened.replaced, None, None, (), blamed, opened.read)
    verdicts = []
    for one in outcomes_of(view):
        if one.is_plain:
            continue
        said = "\n".join([one.verdict, *(step.text for step in one.steps), *one.more])
        place = one.at
        file, line = (None, None) if place is None else (place.file, place.line)
        verdicts.append(Verdict(one.answer.facts.id, said, _grave(one.answer.facts.status), file, line))
    return Found((), tuple(verdicts), view.summary(monotonic() - began))


def _grave(status: Status) -> int:
    return 1 if status.name in ("FAILS", "DISPUTED") else 3


def _flaw(fault: Diagnostic) -> Flaw:
    at = fault.span
    expected = f"\nexpected {fault.expected}" if fault.expected else ""
    return Flaw(fault.code, at.file, at.line, at.column, at.length, fault.message + expected)


def main() -> None:
    """Reads a job, writes what was found."""
    job = json.decode(sys.stdin.buffer.read(), type=Job)
    sys.stdout.buffer.write(json.encode(look(job)))


if __name__ == "__main__":
    main()
