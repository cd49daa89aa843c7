"""The facts of a functional test, as the JSON result has them."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from interlock.report.views.checklist_facts import Guard
from interlock.report.views.facts import Count, ExitCode, Facts, ResultFacts, Texts
from interlock.report.views.identification import Identification


class SeenFacts(Facts, frozen=True):
    """Something that must be seen."""

    about: Annotated[str, Meta(description="the id of the thing")]
    text: Annotated[str, Meta(description="what is to be seen")]
    changes: Annotated[bool, Meta(description="it was otherwise before the step")]


class StageFacts(Facts, frozen=True):
    """One step."""

    number: Annotated[Count, Meta(description="from 1; 0: looking before anything is done")]
    instruction: Annotated[str, Meta(description="what to do")]
    attempt: Annotated[bool, Meta(description="it is tried, and must not be possible")]
    deed: Annotated[str | None, Meta(description="what is done, as the state machine names it")]
    held: Annotated[Texts, Meta(description="ids of what somebody holds before it and goes on holding")]
    people: Annotated[Count, Meta(description="so many it takes at least: two hands each, nobody at two stations")]
    expected: Annotated[tuple[SeenFacts, ...], Meta(description="what must be seen then, one by one")]
    told: Annotated[Texts, Meta(description="the same in few sentences")]
    guards: Annotated[tuple[Guard, ...], Meta(description="what must be known before it")]
    shows: Annotated[Texts, Meta(description="ids of the failures that show here at the latest, for certain")]


class CoveredFacts(Facts, frozen=True):
    """A failure, and where the test shows it."""

    id: Annotated[str, Meta(description="unique in the hold")]
    text: Annotated[str, Meta(description="what is then so")]
    step: Annotated[Count | None, Meta(description="the step that shows it at the latest; null: none does")]
    why_not: Annotated[str, Meta(description="why none does, as far as that is known")]


class FunctionalTestFacts(ResultFacts, frozen=True):
    """A functional test of a cargo hold."""

    exit_code: Annotated[ExitCode, Meta(description="0 shows every failure asked for, 1 some stay hidden, 3 cut short")]
    description: Annotated[str, Meta(description="the file, as it was named")]
    title: Annotated[str, Meta(description="of the hold")]
    only_changed: Annotated[bool, Meta(description="asked for is only what the modification touches")]
    before: Annotated[Texts, Meta(description="what must be so before it begins")]
    steps: Annotated[tuple[StageFacts, ...], Meta(description="in order")]
    ends_as_it_began: Annotated[bool, Meta(description="the last step leaves the hold as it was found")]
    coverage: Annotated[tuple[CoveredFacts, ...], Meta(description="every failure that was asked for")]
    cut: Annotated[str, Meta(description="why the search ended early; empty: it did not")]
    claims: Annotated[Texts, Meta(description="what is known of the test, and what is not")]
    scheme: Annotated[str, Meta(description="what the labels of guards mean")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
