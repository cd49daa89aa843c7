"""The facts of an analysis of contacts, as the JSON result has them."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from msgspec import Meta

from interlock.report.views.facts import Count, ExitCode, Facts, Place, ResultFacts, Texts
from interlock.report.views.failures_facts import FailureItem
from interlock.report.views.identification import Identification

Need: TypeAlias = Literal["alone", "with one more failure", "nothing", "not settled"]


class TogetherFacts(Facts, frozen=True):
    """A requirement that breaks where something else fails too."""

    requirement: Annotated[str, Meta(description="its id")]
    others: Annotated[Texts, Meta(description="the ids of the failures that it takes besides")]


class EffectFacts(Facts, frozen=True):
    """What comes of one failure of a contact."""

    failure: Annotated[str, Meta(description="its id")]
    mode: Annotated[str, Meta(description="'welded': it conducts for good; 'open': it never conducts")]
    breaks: Annotated[Texts, Meta(description="requirements that break by it alone")]
    together: Annotated[tuple[TogetherFacts, ...], Meta(description="those that break by it and something else")]
    lost: Annotated[Texts, Meta(description="requirements about what can be done that fail with it: proved")]
    steps: Annotated[Texts, Meta(description="what can no longer happen at all, in words: proved")]
    settled: Annotated[int, Meta(ge=-1, description="all that breaks is known up to so many failures; -1: nothing is")]
    no_difference: Annotated[bool, Meta(description="proved to make no difference while nothing else fails")]


class ContactFacts(Facts, frozen=True):
    """One contact at its place of use."""

    id: Annotated[str, Meta(description="unique in the hold")]
    of: Annotated[str, Meta(description="the id of the thing in whose wiring it is")]
    name: Annotated[str, Meta(description="what people call that thing")]
    place: Annotated[str, Meta(description="in which of its expressions")]
    contact: Annotated[str, Meta(description="as the description writes it")]
    at: Annotated[Place, Meta(description="where that expression is written")]
    need: Annotated[Need, Meta(description="how far something that was asked needs it; never more than is proved")]
    without: Annotated[tuple[EffectFacts, ...], Meta(description="what comes of its being as if it were not there")]
    otherwise: Annotated[tuple[EffectFacts, ...], Meta(description="what comes of its opposite")]


class AskedFacts(Facts, frozen=True):
    """A requirement."""

    id: Annotated[str, Meta(description="unique in the hold")]
    from_: Annotated[str, Meta(description="the id of its text")]
    text: Annotated[str, Meta(description="what it asks for")]
    severity: Annotated[str, Meta(description="the category of the hazard")]


class ContactsFacts(ResultFacts, frozen=True):
    """What the contacts of a cargo hold are for."""

    exit_code: Annotated[ExitCode, Meta(description="0 each is needed, 1 some is not, 3 not all is known, 4 disputed")]
    description: Annotated[str, Meta(description="the file, as it was named")]
    title: Annotated[str, Meta(description="of the hold")]
    size: Annotated[Count, Meta(description="so many failures were asked about together")]
    requirements: Annotated[tuple[AskedFacts, ...], Meta(description="what was asked")]
    contacts: Annotated[tuple[ContactFacts, ...], Meta(description="in the order of the description")]
    others: Annotated[tuple[FailureItem, ...], Meta(description="failures that the effects name")]
    broken: Annotated[Texts, Meta(description="requirements that break although nothing fails: they say nothing here")]
    impossible: Annotated[Texts, Meta(description="those of which no run was found although nothing fails")]
    disputed: Annotated[Texts, Meta(description="what does not fit: a fault of this program")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted; object to each line")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
