"""The facts of all that a hold can be with its options, as the JSON result has them."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from interlock.report.views.facts import AskedFacts, Count, ExitCode, Facts, ResultFacts, Texts
from interlock.report.views.identification import Identification
from interlock.report.views.proof_facts import StoryFacts


class FittableFacts(Facts, frozen=True):
    """Something that may be fitted or not."""

    id: Annotated[str, Meta(description="its id in the description")]
    name: Annotated[str, Meta(description="what people call it")]
    changes: Annotated[Texts, Meta(description="what it changes")]
    excludes: Annotated[Texts, Meta(description="ids of options that are never fitted together with it")]
    needs: Annotated[Texts, Meta(description="ids of options without which it is never fitted")]


class CombinationFacts(Facts, frozen=True):
    """All configurations in which some options are fitted and some are not, whatever else is fitted."""

    fitted: Annotated[Texts, Meta(description="ids of options that are fitted")]
    without: Annotated[Texts, Meta(description="ids of options that are not")]


class NotCompilingFacts(Facts, frozen=True):
    """Configurations that make no hold."""

    combination: Annotated[CombinationFacts, Meta(description="which")]
    why: Annotated[Texts, Meta(description="what is wrong in the smallest of them")]


class FailsWithFacts(Facts, frozen=True):
    """Configurations in which a requirement fails."""

    combination: Annotated[CombinationFacts, Meta(description="which; in all of them that are allowed")]
    shown: Annotated[Texts, Meta(description="the options that are fitted in the one that is told of")]
    alone: Annotated[bool, Meta(description="that one was asked about by itself too, and it fails there")]
    story: Annotated[StoryFacts | None, Meta(description="a run against it; null: of what can not be done")]


class OutcomeFacts(AskedFacts, frozen=True):
    """What was found of one requirement, in numbers of configurations."""

    kind: Annotated[str, Meta(description="what it asks of the hold")]
    source: Annotated[str, Meta(description="where it comes from")]
    asked_in: Annotated[Count, Meta(description="in so many configurations it is asked")]
    fails_in: Annotated[Count, Meta(description="in so many of these it fails")]
    vacuous_in: Annotated[Count, Meta(description="in so many its situation never arises")]
    undecided_in: Annotated[Count, Meta(description="in so many it is not decided; in all others it holds")]
    reason: Annotated[str, Meta(description="why it is not decided")]
    fails_with: Annotated[tuple[FailsWithFacts, ...], Meta(description="where it fails; together all of it")]
    possible_when: Annotated[
        tuple[CombinationFacts, ...] | None,
        Meta(description="of what can be done: where, if not everywhere; null: of what must not be"),
    ]
    checked_by: Annotated[str, Meta(description="what checked the proof for the rest by other means")]
    disputed: Annotated[str, Meta(description="what contradicts it, where something does")]


class FamilyFacts(ResultFacts, frozen=True):
    """What a cargo hold is with every allowed combination of its options."""

    exit_code: Annotated[
        ExitCode,
        Meta(description="0 all holds in all; 1 something fails in some; 3 something is undecided; 4 disputed"),
    ]
    description: Annotated[str, Meta(description="the file, as it was named")]
    title: Annotated[str, Meta(description="of the hold")]
    options: Annotated[tuple[FittableFacts, ...], Meta(description="what may be fitted")]
    fitted: Annotated[Texts, Meta(description="ids of options that the description fits for good")]
    allowed: Annotated[Count, Meta(description="so many configurations the description allows")]
    asked: Annotated[Count, Meta(description="of so many it was asked: those that make a hold")]
    compared: Annotated[Count, Meta(description="so many were compiled by themselves, and are what was asked about")]
    whole: Annotated[bool, Meta(description="every one was")]
    not_compiling: Annotated[tuple[NotCompilingFacts, ...], Meta(description="those that make no hold")]
    not_merged: Annotated[str, Meta(description="why nothing was asked, where that is so")]
    outcomes: Annotated[tuple[OutcomeFacts, ...], Meta(description="one for each requirement")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted; object to each line")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
