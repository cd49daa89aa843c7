"""The facts of an analysis of failures, as the JSON result has them."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from interlock.report.views.facts import AskedFacts, Count, ExitCode, Facts, ResultFacts, Texts
from interlock.report.views.identification import Identification
from interlock.report.views.proof_facts import StoryFacts


class ContactAt(Facts, frozen=True):
    """What people call a contact."""

    asks: Annotated[str, Meta(description="what it asks for")]
    of: Annotated[str, Meta(description="in the wiring of what")]
    place: Annotated[str, Meta(description="in which expression of that")]
    alike: Annotated[str, Meta(description="the same for contacts that ask the same of things of one sort")]


class FailureItem(Facts, frozen=True):
    """One failure that may strike."""

    id: Annotated[str, Meta(description="unique in the hold")]
    of: Annotated[str, Meta(description="the id of what fails")]
    name: Annotated[str, Meta(description="what people call it")]
    item: Annotated[str, Meta(description="what sort of item it is")]
    mode: Annotated[str, Meta(description="how")]
    text: Annotated[str, Meta(description="what is then so")]
    effect: Annotated[str, Meta(description="on the item itself, in general")]
    noticed: Annotated[str, Meta(description="what shows it, in general; to be reviewed for each hold")]
    source: Annotated[str, Meta(description="where effect and notice are taken from")]
    several: Annotated[Texts, Meta(description="the ids of the failures that a common cause is; none: it is none")]
    contact: Annotated[ContactAt | None, Meta(description="where a contact fails; null: something else does")]


class ExcludedItem(Facts, frozen=True):
    """A failure that the description says need not be reckoned with."""

    of: Annotated[str, Meta(description="the id of what is taken not to fail so")]
    mode: Annotated[str, Meta(description="how")]
    because: Annotated[str, Meta(description="the justification, to be reviewed")]


class ChatteringItem(Facts, frozen=True):
    """A failure that was not analysed: where it strikes a mechanism would never come to rest."""

    of: Annotated[str, Meta(description="the id of what fails")]
    mode: Annotated[str, Meta(description="how")]
    text: Annotated[str, Meta(description="what is then so")]
    others: Annotated[Texts, Meta(description="what else has to be so for that")]
    chain: Annotated[str, Meta(description="what would come round again and again")]


class SetFacts(Facts, frozen=True):
    """Failures that break a requirement together, and not without any one of them."""

    failures: Annotated[Texts, Meta(description="their ids; none: it breaks although nothing fails")]
    steps: Annotated[Count, Meta(description="of the run that was found")]
    shortest: Annotated[bool, Meta(description="whether shorter runs were excluded")]
    story: Annotated[StoryFacts | None, Meta(description="the run, where it was asked for")]
    probability: Annotated[float | None, Meta(description="that all of them have struck; null: no figure")]


class BrokenFacts(AskedFacts, frozen=True):
    """One requirement and which failures break it."""

    about: Annotated[Texts, Meta(description="what its variables stand for, in their order")]
    complete: Annotated[int, Meta(ge=-1, description="all sets of at most so many are known, but for open; -1: none")]
    why: Annotated[str, Meta(description="why that is less than was asked for")]
    sets: Annotated[tuple[SetFacts, ...], Meta(description="the smallest sets, by size")]
    open: Annotated[tuple[Texts, ...], Meta(description="sets of which it is not known whether they break it")]
    checked_by: Annotated[str, Meta(description="what checked that there are no others")]
    disputed: Annotated[str | None, Meta(description="what does not fit: a fault of this program")]


class RateFacts(Facts, frozen=True):
    """How often one failure strikes, as the user says."""

    failure: Annotated[str, Meta(description="its id")]
    rate: Annotated[float, Meta(description="how often in an hour")]
    per: Annotated[str, Meta(description="which hours")]
    exposure: Annotated[float, Meta(description="for how many such hours")]
    source: Annotated[str, Meta(description="where rate and exposure are taken from")]
    probability: Annotated[float, Meta(description="that it has struck within them: 1 - exp(-rate * exposure)")]


class LikelyFacts(Facts, frozen=True):
    """How likely it is that all failures of some set have struck that breaks a requirement, at any of its places."""

    from_: Annotated[str, Meta(description="the id of the text of the requirement")]
    probability: Annotated[float | None, Meta(description="null: no figure")]
    at_least: Annotated[bool, Meta(description="sets are left out of it, or may be")]
    why: Annotated[str, Meta(description="what is left out, or why there is no figure")]


class ShownAt(Facts, frozen=True):
    """A failure that shows in the normal course."""

    failure: Annotated[str, Meta(description="its id")]
    step: Annotated[Count, Meta(description="the step, from 1, at which it shows at the latest; 0: before any")]


class CourseFacts(Facts, frozen=True):
    """What shows to people who bring everything in, shut the hold, and take everything out again."""

    unit: Annotated[str, Meta(description="the kind of unit that is brought in")]
    steps: Annotated[Count, Meta(description="how many steps were followed")]
    shown: Annotated[tuple[ShownAt, ...], Meta(description="failures that show for certain to whoever looks")]
    hidden: Annotated[Texts, Meta(description="ids of failures that do not")]
    unknown: Annotated[Texts, Meta(description="ids of failures of which it is not known")]
    why: Annotated[str, Meta(description="why the course, or part of it, was not followed; empty where it was")]


class CheckFacts(Facts, frozen=True):
    """What a written procedure shows that was named as a check of the equipment."""

    file: Annotated[str, Meta(description="as it was named")]
    title: Annotated[str, Meta(description="of the procedure")]
    actions: Annotated[Count, Meta(description="how many it has")]
    shown: Annotated[
        tuple[ShownAt, ...], Meta(description="failures with which nobody comes to its end; the step is the action")
    ]
    hidden: Annotated[Texts, Meta(description="ids of failures with which its end can be come to")]
    unknown: Annotated[Texts, Meta(description="ids of failures of which it is not known")]
    why: Annotated[str, Meta(description="why it was not followed to an end; empty where it was")]


class FailuresFacts(ResultFacts, frozen=True):
    """Which failures break the requirements of a cargo hold."""

    exit_code: Annotated[ExitCode, Meta(description="0 none breaks any, 1 some do, 3 not all is known, 4 disputed")]
    description: Annotated[str, Meta(description="the file, as it was named")]
    title: Annotated[str, Meta(description="of the hold")]
    size: Annotated[Count, Meta(description="so many failures were asked about together")]
    failures: Annotated[tuple[FailureItem, ...], Meta(description="what may fail")]
    excluded: Annotated[tuple[ExcludedItem, ...], Meta(description="what the description excludes, and why")]
    chattering: Annotated[tuple[ChatteringItem, ...], Meta(description="what was not analysed, and why not")]
    requirements: Annotated[tuple[BrokenFacts, ...], Meta(description="in the order of their texts")]
    rates_from: Annotated[str | None, Meta(description="the file that rates are taken from; null: none was given")]
    rates: Annotated[tuple[RateFacts, ...], Meta(description="those of failures that may strike")]
    likely: Annotated[
        tuple[LikelyFacts, ...], Meta(description="for each text of a requirement, where rates are given")
    ]
    course: Annotated[
        CourseFacts | None, Meta(description="what shows in the normal course; null: not asked for, or there is none")
    ]
    checks: Annotated[tuple[CheckFacts, ...], Meta(description="what shows in checks that were named")]
    left_out: Annotated[Texts, Meta(description="texts about what can be done, which were not asked about")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted; object to each line")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
