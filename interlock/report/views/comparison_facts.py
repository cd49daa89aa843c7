"""The facts of a comparison of two holds, as the JSON result has them."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from interlock.report.views.facts import AskedFacts, Count, ExitCode, Facts, Place, Reason, ResultFacts, Texts
from interlock.report.views.identification import Identification
from interlock.report.views.proof_facts import ChangeFacts, StoryFacts
from interlock.study.comparison.compare import Turn as Turn
from interlock.study.comparison.pairing import What as What


class ComparedHold(Facts, frozen=True):
    """One of the two holds."""

    description: Annotated[str, Meta(description="the file, as it was named")]
    title: Annotated[str, Meta(description="of the hold")]
    only: Annotated[Texts, Meta(description="ids of what the other hold does not have")]


class SameThing(Facts, frozen=True):
    """A thing that has another id in the second hold."""

    first: Annotated[str, Meta(description="its id in the first hold")]
    second: Annotated[str, Meta(description="its id in the second hold")]
    guessed: Annotated[bool, Meta(description="taken to be the same because nothing else is so like it")]


class DescriptionChange(Facts, frozen=True):
    """One thing that is otherwise in the description."""

    item: Annotated[str, Meta(description="what it is called")]
    at: Annotated[Place, Meta(description="where it is written now, or was taken away")]
    now: Annotated[str, Meta(description="what is so of it")]
    was: Annotated[str, Meta(description="what was so before; empty where there is nothing to say")]


class StartFacts(Facts, frozen=True):
    """Something that is possible at the start of one hold alone."""

    of: Annotated[Literal["first", "second"], Meta(description="of which hold")]
    text: Annotated[str, Meta(description="what may be so there at the start")]


class VerdictChange(AskedFacts, frozen=True):
    """What became of one requirement."""

    turn: Annotated[Turn, Meta(description="what became of it")]
    first: Annotated[str | None, Meta(description="its verdict in the first hold; null: not there")]
    second: Annotated[str | None, Meta(description="its verdict in the second hold; null: not there")]
    story: Annotated[StoryFacts | None, Meta(description="the run against it in the second hold, where it fails there")]


class DifferenceFacts(Facts, frozen=True):
    """One kind of step, or of state of the equipment, that is otherwise, with the shortest sequence found to it."""

    what: Annotated[What, Meta(description="how it is otherwise")]
    text: Annotated[str, Meta(description="the step or the state to which the sequence leads")]
    others: Annotated[Texts, Meta(description="others of this kind that are known to be otherwise too")]
    not_settled: Annotated[Texts, Meta(description="others of this kind of which that is not known")]
    steps: Annotated[Count, Meta(description="of the sequence")]
    shortest: Annotated[bool, Meta(description="whether shorter sequences were excluded")]
    told_of: Annotated[Literal["first", "second"], Meta(description="the hold in whose words it is told")]
    story: Annotated[StoryFacts, Meta(description="the sequence, which both holds can do")]
    then: Annotated[Texts, Meta(description="where the outcome is another: what the step leads to there")]
    then_in_other: Annotated[Texts, Meta(description="the same in the other hold")]
    why: Annotated[tuple[Reason, ...], Meta(description="why it is possible or so there")]
    why_not: Annotated[tuple[Reason, ...], Meta(description="why it is not in the other hold")]
    comes_from: Annotated[
        tuple[tuple[ChangeFacts, ...], ...],
        Meta(description="smallest sets of changes without which this sequence no longer shows it; tried, not proved"),
    ]


class NotOtherwise(Facts, frozen=True):
    """What was asked and is not otherwise in any state that both can reach together."""

    what: Annotated[What, Meta(description="in which way it is not otherwise")]
    texts: Annotated[Texts, Meta(description="the steps or states")]


class ComparisonFacts(ResultFacts, frozen=True):
    """Two cargo holds side by side."""

    exit_code: Annotated[
        ExitCode, Meta(description="0 the same behaviour, proved; 1 another; 3 not all is known; 4 disputed")
    ]
    first: Annotated[ComparedHold, Meta(description="the old hold")]
    second: Annotated[ComparedHold, Meta(description="the new hold")]
    renamed: Annotated[tuple[SameThing, ...], Meta(description="things with another id")]
    descriptions: Annotated[tuple[DescriptionChange, ...], Meta(description="what is written otherwise")]
    starts: Annotated[tuple[StartFacts, ...], Meta(description="what only one of them may start from")]
    verdicts: Annotated[
        tuple[VerdictChange, ...] | None, Meta(description="every requirement of either; null: not asked for")
    ]
    differences: Annotated[tuple[DifferenceFacts, ...], Meta(description="what is done otherwise, one of each kind")]
    not_otherwise: Annotated[tuple[NotOtherwise, ...], Meta(description="kinds proved not to be")]
    open: Annotated[Texts, Meta(description="kinds of which it is not known")]
    why_open: Annotated[str, Meta(description="why not")]
    checked_by: Annotated[str, Meta(description="what checked the proofs by other means")]
    disputed: Annotated[str | None, Meta(description="what does not fit: a fault of this program")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted; object to each line")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
