"""What would mend a hold, as it is told, whatever the format."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.loader import FileRead
from interlock.kernel.claims import Holds
from interlock.kernel.recovery import Recovers
from interlock.report.views.assumptions import CAUTIONS, assumptions_of
from interlock.report.views.facts import PROGRAM, what_is_asked
from interlock.report.views.identification import identification
from interlock.report.views.proof import story_facts
from interlock.report.views.repair_facts import (
    BrokenFacts,
    Outcome,
    PartFacts,
    ProposalFacts,
    RepairFacts,
    TriedFacts,
)
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of
from interlock.study.repair.results import Mending, Part, Repair, Tried
from interlock.study.verify import Answer, Status

PROPOSED = (
    "A contact that is added is there, is wired where it is said, and does what it is there for: a sensor behind it "
    "exists and tells the truth. What follows from a single failure of it is not examined here: apply the "
    "modification and ask 'interlock failures'.",
)
REPAIR_CAUTIONS = (
    "What is proposed is a change of the design, found by search on a model: to be engineered, and done only with "
    "approved data. That the model then breaks nothing says nothing of loads, ratings, wiring or certification.",
    *CAUTIONS,
)
OUTCOMES: dict[Outcome, str] = {
    "nothing fails": "Nothing fails: there is nothing to mend.",
    "nothing found": "No change that was looked at mends it.",
    "undecided": "UNDECIDED: a limit was reached before it was known.",
    "disputed": "Two parts of this program contradict each other. Use no result of this run.",
}


@frozen
class RepairView:
    """What is told."""

    facts: RepairFacts

    @property
    def tone(self) -> Tone:
        """That of what came out."""
        return {0: Tone.GOOD, 1: Tone.BAD, 4: Tone.LOUD}.get(self.facts.exit_code, Tone.OPEN)

    @property
    def summary(self) -> str:
        """What came out, in a sentence."""
        facts = self.facts
        if facts.outcome == "mended":
            number = count_of(len(facts.proposals), "change")
            return f"{number} proposed; with each, everything that was asked holds (proved)"
        return OUTCOMES[facts.outcome].rstrip(".")

    @property
    def failing_texts(self) -> tuple[str, ...]:
        """The ids of the texts of which some requirement fails."""
        return tuple(dict.fromkeys(one.from_ for one in self.facts.failing))

    @property
    def next_step(self) -> str:
        """What to ask of a proposal once it is a file, or where there is none of something smaller; may be empty."""
        facts = self.facts
        ids = dict.fromkeys(part.id for one in facts.proposals[:1] for part in one.parts)
        if not ids and facts.outcome in ("nothing found", "undecided") and len(self.failing_texts) > 1:
            return (
                "What fails may come from several faults, which no one change mends: ask about one requirement at a "
                f"time ('--only {self.failing_texts[0]}', and so on), make one of the changes, and ask again with that."
            )
        if not ids:
            return ""
        return (
            "Save a proposal as a file ('-o FILE.yaml', '--number' says which), prove it again with 'interlock prove "
            "FILE.yaml', and ask 'interlock failures FILE.yaml' where a single failure of the new contact leads."
        )


def about_change(parts: tuple[Part, ...]) -> str:
    """What the text of a modification says of itself."""
    done = "; ".join(f"{part.item}: {part.done}" for part in parts)
    return (
        f"Proposal found by search, to be engineered: {done}. It is no approved data. It takes what a new contact "
        "reads to exist and to tell the truth."
    )


def title_of(hold_title: str) -> str:
    """What the mended hold is called."""
    return f"{hold_title} (proposed change)"


def repair_view(
    label: str, compiled: CompiledHold, found: Repair, code: int, read: Sequence[FileRead] = ()
) -> RepairView:
    """What is told of it; `label` is what the reader calls the hold, `read` are the files that were read."""
    statuses = found.verification.answers
    return RepairView(
        RepairFacts(
            1,
            PROGRAM,
            code,
            label,
            compiled.hold.title,
            _outcome(found, code),
            tuple(map(_broken, found.failing)),
            tuple(one.instance.requirement.id for one in statuses if one.status is Status.UNDECIDED),
            tuple(map(_proposal, found.mendings)),
            tuple(_tried(one, found.runs) for one in found.tried),
            found.runs,
            (*PROPOSED, *assumptions_of(compiled)),
            REPAIR_CAUTIONS,
            identification(read),
        )
    )


def _outcome(found: Repair, code: int) -> Outcome:
    if found.disputed:
        return "disputed"
    if found.mendings:
        return "mended"
    by_code: dict[int, Outcome] = {0: "nothing fails", 1: "nothing found"}
    return by_code.get(code, "undecided")


def _broken(answer: Answer) -> BrokenFacts:
    story = None if answer.story is None else story_facts(answer.story)
    return BrokenFacts(*what_is_asked(answer.instance), story)


def _proposal(one: Mending) -> ProposalFacts:
    checked = (a.finding.checked_by for a in one.verification.answers if isinstance(a.finding, Holds | Recovers))
    return ProposalFacts(
        one.sort.value,
        tuple(PartFacts(part.id, part.item, part.done) for part in one.parts),
        len(one.verification.answers),
        tuple(answer.instance.requirement.id for answer in one.vacuous),
        one.cost.lost,
        one.cost.unknown,
        one.written.text,
        next(checked, ""),
    )


def _tried(one: Tried, runs: int) -> TriedFacts:
    return TriedFacts(
        one.sort.value,
        one.possible,
        one.by_runs,
        one.by_proof,
        one.senseless,
        one.useless,
        one.works,
        one.open,
        one.untried,
        one.losing,
        one.is_exhausted,
        _statement(one, runs),
    )


def _statement(one: Tried, runs: int) -> str:
    parts = []
    if one.by_runs:
        parts.append(f"{one.by_runs} leave one of {count_of(runs, 'run')} possible that must not be (replayed)")
    if one.by_proof:
        parts.append(f"with {one.by_proof} something else fails (shown by a run, or proved)")
    if one.senseless:
        parts.append(f"{one.senseless} make no hold")
    if one.useless:
        parts.append(f"{one.useless} leave nothing that could be carried (proved)")
    if one.open:
        parts.append(f"{one.open} were not decided")
    if one.untried:
        losing = f", {one.losing} of which stop a known way of doing what is required" if one.losing else ""
        parts.append(f"{one.untried} were not tried{losing}")
    looked = f"{one.sort.value}: of {one.possible} that there are {one.works} mend it"
    told = f"{looked}; {'; '.join(parts)}" if parts else looked
    if one.is_exhausted:
        return f"{told}. All are settled: {'no other does' if one.works else 'none does'}."
    return f"{told}. There may be others that do."
