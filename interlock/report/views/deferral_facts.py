"""The facts of what may be deferred, as the JSON result has them."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from msgspec import Meta

from interlock.report.views.facts import AskedFacts, Count, ExitCode, Facts, ResultFacts, Texts
from interlock.report.views.identification import Identification
from interlock.report.views.proof_facts import StoryFacts

Result: TypeAlias = Literal[
    "none needed", "needs limitations", "no limitation found", "fails anyway", "undecided", "disputed", "no hold"
]


class ItemFacts(Facts, frozen=True):
    """An item that is inoperative."""

    id: Annotated[str, Meta(description="as it was named")]
    name: Annotated[str, Meta(description="what people call it")]
    way: Annotated[str, Meta(description="the state in which it stays, or how it has failed")]
    stays: Annotated[bool, Meta(description="it is a device that stays in that state; else it has failed so")]
    text: Annotated[str, Meta(description="what is then so")]
    installed: Annotated[Count, Meta(description="how many of its kind the hold has")]


class FailingFacts(AskedFacts, frozen=True):
    """A requirement that fails with the items inoperative."""

    hopeless: Annotated[bool, Meta(description="a run breaks it that none of the limitations looked at would stop")]
    story: Annotated[StoryFacts | None, Meta(description="a run against it; null: of what can no longer be done")]


class LimitationFacts(Facts, frozen=True):
    """One limitation."""

    kept: Annotated[str, Meta(description="what sort it is")]
    of: Annotated[str, Meta(description="what it is about")]
    order: Annotated[str, Meta(description="what the crew is told")]
    moment: Annotated[str, Meta(description="when the crew sees to it")]
    condition: Annotated[str | None, Meta(description="the same as a `limit` says it; null: none can")]


class OptionFacts(Facts, frozen=True):
    """A smallest set of limitations with which nothing fails: proved."""

    limitations: Annotated[tuple[LimitationFacts, ...], Meta(description="all of them are to be kept")]
    leaves: Annotated[Texts | None, Meta(description="what can still be carried; null: not worked out")]
    takes: Annotated[Texts | None, Meta(description="what can no longer be carried; null: not worked out")]
    unknown: Annotated[Texts, Meta(description="what is not known to be carried or not")]


class CaseFacts(Facts, frozen=True):
    """Some items inoperative, each in one way."""

    items: Annotated[tuple[ItemFacts, ...], Meta(description="what is inoperative")]
    result: Annotated[Result, Meta(description="what came out")]
    failing: Annotated[tuple[FailingFacts, ...], Meta(description="what must not be, and is without limitations")]
    lost_work: Annotated[tuple[FailingFacts, ...], Meta(description="what can no longer be done, limitations aside")]
    failed_before: Annotated[Texts, Meta(description="requirements that fail without the items inoperative too")]
    options: Annotated[
        tuple[OptionFacts, ...],
        Meta(description="smallest sets against what of `failing` is not in `failed_before`, what leaves most first"),
    ]
    size: Annotated[Count, Meta(description="sets of at most so many limitations are given")]
    looked_at: Annotated[Texts, Meta(description="sorts of limitation that were looked at")]
    runs: Annotated[Count, Meta(description="of every other set one of so many runs breaks a requirement")]
    carried: Annotated[Count, Meta(description="what can be carried with nothing inoperative: kinds times bays")]
    left: Annotated[Count, Meta(description="of these with the items inoperative, before limitations")]
    lost: Annotated[Texts, Meta(description="what can no longer be carried, limitations aside")]
    unknown: Annotated[Texts, Meta(description="what is not known to be carried or not, limitations aside")]
    checked_by: Annotated[str, Meta(description="what checked the proofs by other means")]
    why: Annotated[str, Meta(description="why not more is known")]


class DeferralFacts(ResultFacts, frozen=True):
    """What may be inoperative in a cargo hold, and under which limitations."""

    exit_code: Annotated[
        ExitCode,
        Meta(description="0 nothing fails; 1 something does, without limitations; 3 not all is known; 4 disputed"),
    ]
    description: Annotated[str, Meta(description="the file, as it was named")]
    title: Annotated[str, Meta(description="of the hold")]
    cases: Annotated[tuple[CaseFacts, ...], Meta(description="one for each way in which they can be inoperative")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted; object to each line")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
