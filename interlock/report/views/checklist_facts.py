"""The facts of a checklist, or of why there is none, as the JSON result has them."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, UnsetType

from interlock.diagnostics.said import joined
from interlock.report.views.audit_facts import Effect, KindWord, Mode
from interlock.report.views.facts import Count, ExitCode, Facts, Program, Texts
from interlock.report.views.harm import NOTE, Label
from interlock.report.views.identification import Identification
from interlock.report.views.proof_facts import NeverFacts
from interlock.report.views.slips import EffectCounts, Fewest, KindFacts


class Guard(Facts, frozen=True):
    """What must be known beforehand: hazard, how to avoid it, what follows.  A NOTE has its text in `hazard` alone."""

    label: Annotated[Label, Meta(description="how grave it is")]
    hazard: Annotated[str, Meta(description="the hazard; of a NOTE all of its text")]
    avoid: Annotated[str, Meta(description="how to avoid it")]
    consequence: Annotated[str, Meta(description="what follows otherwise")]

    @property
    def text(self) -> str:
        """All of it, in the order in which it is to be read."""
        return joined([part for part in (self.hazard, self.avoid, self.consequence) if part])


def note(text: str) -> Guard:
    """A NOTE."""
    return Guard(NOTE, text, "", "")


class StepSlip(Facts, frozen=True):
    """The worst that one slip in a step can lead to."""

    kind: Annotated[KindWord, Meta(description="what sort of slip")]
    error_mode: Annotated[Mode, Meta(description="its mode in the taxonomy; null: it has none")]
    instead: Annotated[str | None, Meta(description="the action done in the place of the right one")]
    effect: Annotated[Effect, Meta(description="the worst that it can lead to")]
    breaks: Annotated[Texts, Meta(description="the requirements that can then be broken")]
    cannot_be_made: Annotated[bool, Meta(description="the hold does not let it be made")]
    shows_at: Annotated[tuple[Count | None, ...], Meta(description="steps at which it can show; null: at a check")]


class StepFacts(Facts, frozen=True):
    """One step."""

    number: Annotated[Count, Meta(description="from 1, through all parts")]
    instruction: Annotated[str, Meta(description="what to do")]
    results: Annotated[Texts, Meta(description="what the equipment then does")]
    why: Annotated[str, Meta(description="of a step of preparation, what needs it; else empty")]
    guards: Annotated[tuple[Guard, ...], Meta(description="what must be known before it: at most one")]
    rules: Annotated[Texts, Meta(description="the rules of the state machine that it is made of")]
    slips: Annotated[tuple[StepSlip, ...], Meta(description="what slips in it lead to")]


class OrderFacts(Facts, frozen=True):
    """Which other orders of the steps of a part do the same."""

    before: Annotated[tuple[tuple[Count, Count], ...], Meta(description="pairs of steps whose order is fixed")]
    orders: Annotated[
        Annotated[int, Meta(ge=1)] | None, Meta(description="how many, this one included; null: not examined")
    ]


class PartFacts(Facts, frozen=True):
    """One part of the work."""

    title: Annotated[str, Meta(description="what it is for")]
    timed: Annotated[bool, Meta(description="some step must be taken at the right moment")]
    steps: Annotated[tuple[StepFacts, ...], Meta(description="in order")]
    checks: Annotated[Texts, Meta(description="what to look at behind them")]
    check_guards: Annotated[tuple[Guard, ...], Meta(description="what must be known before the checks: at most one")]
    audit_findings: Annotated[Texts, Meta(description="what the audit says against the steps")]
    order: Annotated[OrderFacts, Meta(description="which other orders do the same")]
    length: Annotated[Count, Meta(description="steps of people and equipment")]
    no_way_of_up_to: Annotated[int, Meta(ge=-1, description="steps, by a search; -1: none was excluded")]
    shown_shortest: Annotated[bool, Meta(description="no shorter way was found, and all were looked at")]
    caution: Annotated[Guard | None, Meta(description="what must be known before the whole part")]


class HazardousSlip(Facts, frozen=True):
    """A slip that alone breaks requirements."""

    slip: Annotated[str, Meta(description="in the words of the checklist")]
    breaks: Annotated[Texts, Meta(description="the requirements that can then be broken")]


class SlipsFacts(Facts, frozen=True):
    """What slips lead to."""

    followed: Annotated[str, Meta(description="what was followed")]
    taxonomy: Annotated[str, Meta(description="where the error modes of slips come from")]
    effects: Annotated[EffectCounts, Meta(description="how many slips lead to what")]
    kinds: Annotated[tuple[KindFacts, ...], Meta(description="the same for each kind of slip")]
    hazardous: Annotated[tuple[HazardousSlip, ...], Meta(description="slips that alone break requirements")]
    fewest: Annotated[tuple[Fewest, ...], Meta(description="the fewest that break each requirement")]
    second_count: Annotated[str, Meta(description="how far that was counted a second time")]


class Body(Facts, frozen=True):
    """The checklist itself."""

    before: Annotated[Texts, Meta(description="what must be so before the first step")]
    parts: Annotated[tuple[PartFacts, ...], Meta(description="in order")]
    states_checked: Annotated[Count, Meta(description="states of the run that were replayed")]
    requirements_checked: Annotated[Count, Meta(description="requirements looked at in each of them")]
    claims: Annotated[Texts, Meta(description="what is proved of it")]
    slips: Annotated[SlipsFacts | None, Meta(description="null: they were not followed to an end")]
    left_open: Annotated[Texts, Meta(description="what was not followed, and why")]


class Head(Facts, frozen=True):
    """What every result begins with."""

    schema: Annotated[Literal[3], Meta(description="counts up when a reader of the old layout would go wrong")]
    program: Annotated[Program, Meta(description="what wrote this")]
    exit_code: Annotated[ExitCode, Meta(description="0 made, 1 out of reach or breaks, 3 undecided, 4 disputed")]
    description: Annotated[str, Meta(description="the file of the hold, as it was named")]
    title: Annotated[str, Meta(description="of the hold")]
    situation: Annotated[str | None, Meta(description="the situation it starts from; null: as described")]
    goal: Annotated[str, Meta(description="what was asked for")]


class Made(Head, frozen=True):
    """A checklist that is proved."""

    checklist: Annotated[Body, Meta(description="the checklist itself")]
    scheme: Annotated[str, Meta(description="what the labels of guards mean")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]


class Instead(Facts, frozen=True):
    """Another goal for which an order of work was found."""

    in_the_way: Annotated[Texts, Meta(description="cells of units that have to move first")]
    left_out: Annotated[Texts, Meta(description="cells asked for that stay empty")]
    goals: Annotated[tuple[Texts, ...], Meta(description="options, one call after another")]


class Refused(Head, frozen=True):
    """Why there is no checklist."""

    checklist: Annotated[None, Meta(description="there is none")]
    reason: Annotated[str, Meta(description="why")]
    broken: Annotated[Texts, Meta(description="requirements that every order found would break")]
    out_of_reach: Annotated[bool, Meta(description="the goal cannot be reached, whatever anybody does")]
    instead: Annotated[Instead | None, Meta(description="what can be done in its place")]
    checked_by: Annotated[str | None, Meta(description="what checked by other means that it is out of reach")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
    never: Annotated[NeverFacts | UnsetType, Meta(description="why it can never be reached, where that is so")] = UNSET
