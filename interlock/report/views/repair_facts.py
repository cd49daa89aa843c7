"""The facts of what would mend a hold, as the JSON result has them."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from msgspec import Meta

from interlock.report.views.facts import AskedFacts, Count, ExitCode, Facts, ResultFacts, Texts
from interlock.report.views.identification import Identification
from interlock.report.views.proof_facts import StoryFacts

Outcome: TypeAlias = Literal["nothing fails", "mended", "nothing found", "undecided", "disputed"]


class BrokenFacts(AskedFacts, frozen=True):
    """A requirement that fails as the hold is."""

    story: Annotated[StoryFacts | None, Meta(description="a run against it; null: of what can no longer be done")]


class PartFacts(Facts, frozen=True):
    """One thing that is changed."""

    id: Annotated[str, Meta(description="the thing, by its id")]
    item: Annotated[str, Meta(description="what of it, as people call it")]
    done: Annotated[str, Meta(description="what is done to it")]


class ProposalFacts(Facts, frozen=True):
    """A change with which everything that was asked holds: proved on its own text, and to be engineered."""

    sort: Annotated[str, Meta(description="what sort of change it is")]
    parts: Annotated[tuple[PartFacts, ...], Meta(description="all of them are changed")]
    holds: Annotated[Count, Meta(description="how many requirements then hold, all that were asked")]
    vacuous: Annotated[Texts, Meta(description="of these, what then holds only since its situation never arises")]
    lost: Annotated[Texts, Meta(description="what no requirement asks for, could be done, and cannot then: proved")]
    doubtful: Annotated[Texts, Meta(description="the same, of which it is not known whether it still can")]
    modification: Annotated[str, Meta(description="the text of a modification file: what was proved")]
    checked_by: Annotated[str, Meta(description="what checked the proofs by other means")]


class TriedFacts(Facts, frozen=True):
    """What became of all changes of one sort."""

    sort: Annotated[str, Meta(description="what sort of change it is")]
    possible: Annotated[Count, Meta(description="how many there are")]
    by_runs: Annotated[Count, Meta(description="with these a known run that must not be is possible all the same")]
    by_proof: Annotated[Count, Meta(description="with these something else fails: shown by a run, or proved")]
    senseless: Annotated[Count, Meta(description="these make no hold")]
    useless: Annotated[Count, Meta(description="with these everything holds, and nothing can be carried any more")]
    works: Annotated[Count, Meta(description="with these everything holds")]
    open: Annotated[Count, Meta(description="these were tried and not decided")]
    untried: Annotated[Count, Meta(description="these stop what is known, and were not tried")]
    losing: Annotated[Count, Meta(description="of the untried, those that stop a known way of doing what is required")]
    settled: Annotated[bool, Meta(description="of each it is known whether it does: there are no others that do")]
    statement: Annotated[str, Meta(description="the same as a sentence")]


class RepairFacts(ResultFacts, frozen=True):
    """What would mend a cargo hold in which a requirement fails."""

    exit_code: Annotated[
        ExitCode,
        Meta(
            description="0 nothing fails, or a change is proved to mend it; 1 none was found; 3 undecided; 4 disputed"
        ),
    ]
    description: Annotated[str, Meta(description="the file, as it was named")]
    title: Annotated[str, Meta(description="of the hold")]
    outcome: Annotated[Outcome, Meta(description="what came out")]
    failing: Annotated[tuple[BrokenFacts, ...], Meta(description="what fails as the hold is")]
    undecided: Annotated[Texts, Meta(description="requirements that were not decided as the hold is")]
    proposals: Annotated[
        tuple[ProposalFacts, ...], Meta(description="what would mend it, the smallest and nearest first")
    ]
    tried: Annotated[tuple[TriedFacts, ...], Meta(description="what was looked at, sort by sort")]
    runs: Annotated[Count, Meta(description="by so many runs against requirements changes were excluded")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted; object to each line")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
