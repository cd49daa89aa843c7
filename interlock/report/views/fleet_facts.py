"""The facts of a fleet, as the JSON result has them."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from msgspec import Meta

from interlock.report.views.facts import AskedFacts, Count, Facts, Place, ResultFacts, Texts
from interlock.report.views.identification import Identification
from interlock.report.views.proof_facts import StoryFacts

FleetResult: TypeAlias = Literal["holds", "fails", "undecided", "disputed", "rejected"]


class BrokenFacts(AskedFacts, frozen=True):
    """A requirement that fails."""

    story: Annotated[StoryFacts | None, Meta(description="a run against it; null: none is told")]


class OpenFacts(Facts, frozen=True):
    """A requirement that was not decided, or about which two parts of the program contradict each other."""

    id: Annotated[str, Meta(description="unique in the hold")]
    text: Annotated[str, Meta(description="what it asks for")]
    why: Annotated[str, Meta(description="why not more is known, or what does not fit")]


class RefusalFacts(Facts, frozen=True):
    """A fault that keeps a configuration from being a hold."""

    code: Annotated[str, Meta(description="of the message; `interlock explain` says more")]
    at: Annotated[Place, Meta(description="where it is written")]
    message: Annotated[str, Meta(description="what is wrong")]


class AnswerFacts(Facts, frozen=True):
    """What was found of one configuration."""

    result: Annotated[FleetResult, Meta(description="the worst of its requirements; rejected: it is no hold")]
    asked: Annotated[Count, Meta(description="how many requirements were asked about")]
    vacuous: Annotated[Count, Meta(description="how many hold because their situation never arises")]
    failing: Annotated[tuple[BrokenFacts, ...], Meta(description="those that fail")]
    open: Annotated[tuple[OpenFacts, ...], Meta(description="those that are undecided")]
    disputed: Annotated[tuple[OpenFacts, ...], Meta(description="those that are disputed")]
    refusals: Annotated[tuple[RefusalFacts, ...], Meta(description="why it is no hold")]
    checked_by: Annotated[Texts, Meta(description="what checked the proofs by other means")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted")]
    why: Annotated[str, Meta(description="why nothing was found out")]


class ConfigurationFacts(Facts, frozen=True):
    """A hold with options and deferrals that some aircraft have."""

    number: Annotated[Count, Meta(description="counts from 1")]
    hold: Annotated[str, Meta(description="the file of the description")]
    options: Annotated[Texts, Meta(description="what is fitted")]
    deferrals: Annotated[Texts, Meta(description="what is inoperative, and how")]
    tails: Annotated[Texts, Meta(description="the aircraft that have it")]
    group: Annotated[Count, Meta(description="the group of equal results that it belongs to")]
    result: Annotated[FleetResult, Meta(description="what was found")]
    asked: Annotated[Count, Meta(description="how many requirements were asked about")]
    vacuous: Annotated[Count, Meta(description="how many hold because their situation never arises")]
    assumes: Annotated[Texts, Meta(description="what is taken for granted beside what all of that hold share")]


class TellingFacts(Facts, frozen=True):
    """With what a requirement fails, among the configurations of this fleet with that hold."""

    id: Annotated[str, Meta(description="the requirement")]
    where: Annotated[Texts, Meta(description="in each of these cases it fails; none: whatever is fitted and deferred")]
    others: Annotated[bool, Meta(description="it fails in configurations too that are told by none of them")]


class GroupFacts(Facts, frozen=True):
    """Configurations of one hold with equal results."""

    number: Annotated[Count, Meta(description="counts from 1")]
    hold: Annotated[str, Meta(description="the file of the description")]
    result: Annotated[FleetResult, Meta(description="what was found of each")]
    configurations: Annotated[tuple[Count, ...], Meta(description="by number; runs and reasons are of the first")]
    tails: Annotated[Texts, Meta(description="the aircraft that have one of them")]
    failing: Annotated[tuple[BrokenFacts, ...], Meta(description="what fails")]
    open: Annotated[tuple[OpenFacts, ...], Meta(description="what is undecided")]
    disputed: Annotated[tuple[OpenFacts, ...], Meta(description="what is disputed")]
    refusals: Annotated[tuple[RefusalFacts, ...], Meta(description="why they are no holds")]
    why: Annotated[str, Meta(description="why nothing was found out")]


class FleetHoldFacts(Facts, frozen=True):
    """One of the holds of the fleet."""

    file: Annotated[str, Meta(description="the description")]
    title: Annotated[str, Meta(description="of the hold")]
    aircraft: Annotated[Count, Meta(description="how many have it")]
    configurations: Annotated[Count, Meta(description="how many of these differ")]
    differences: Annotated[tuple[TellingFacts, ...], Meta(description="with what each requirement fails that does")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted of every configuration; object to each")]
    checked_by: Annotated[Texts, Meta(description="what checked the proofs by other means")]


class AircraftFacts(Facts, frozen=True):
    """One aircraft."""

    tail: Annotated[str, Meta(description="its tail number")]
    line: Annotated[Count, Meta(description="where it stands in the fleet file")]
    configuration: Annotated[Count, Meta(description="by number")]
    result: Annotated[FleetResult, Meta(description="what was found")]


class FleetFacts(ResultFacts, frozen=True):
    """What was found of a fleet."""

    exit_code: Annotated[
        int,
        Meta(
            extra_json_schema={"enum": [0, 1, 2, 3, 4]},
            description="0 all hold; 1 something fails; 2 a configuration is no hold; 3 not all is known; 4 disputed",
        ),
    ]
    file: Annotated[str, Meta(description="the fleet, as it was named")]
    title: Annotated[str, Meta(description="of the fleet")]
    holds: Annotated[tuple[FleetHoldFacts, ...], Meta(description="by file")]
    groups: Annotated[tuple[GroupFacts, ...], Meta(description="equal results, the gravest first in each hold")]
    configurations: Annotated[tuple[ConfigurationFacts, ...], Meta(description="by number")]
    aircraft: Annotated[tuple[AircraftFacts, ...], Meta(description="in the order of the file")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted of all")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
