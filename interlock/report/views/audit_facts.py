"""The facts of an audit of a procedure, as the JSON result has them."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from msgspec import Meta, field

from interlock.report.views.facts import Count, ExitCode, Facts, Place, Program, Reason, Run, Texts, WayOut
from interlock.report.views.guilty import GuiltyFacts, LeavingFacts
from interlock.report.views.identification import Identification
from interlock.report.views.margin import MarginFacts
from interlock.study.procedure.audit import Overall as Overall
from interlock.study.procedure.audit import Verdict as Verdict
from interlock.study.procedure.holders import Holder as Holder
from interlock.study.procedure.interruptions import Resumption
from interlock.study.procedure.slip_audit import MOST_SLIPS
from interlock.study.procedure.slip_audit import Effect as Effect
from interlock.study.procedure.slips import SlipKind

DONE = "nothing is left to do"
"""Said after the end, where there is no action to go on with."""

KindWord: TypeAlias = Annotated[str, Meta(extra_json_schema={"enum": [kind.word for kind in SlipKind]})]
_MODES = [None, *sorted({kind.mode for kind in SlipKind if kind.mode})]
Mode: TypeAlias = Annotated[str | None, Meta(extra_json_schema={"enum": _MODES})]
_AFTERWARDS = [*(one.value for one in Resumption), DONE]


class Dispute(Facts, frozen=True):
    """Where two parts of the program contradict each other."""

    question: Annotated[str, Meta(description="what was asked")]
    what: Annotated[str, Meta(description="what does not fit")]


class Places(Facts, frozen=True):
    """How much was followed."""

    supplies_steady: Annotated[Count, Meta(description="places reached with supplies steady")]
    power_lost_or_interrupted: Annotated[
        Count, Meta(description="places reached with power lost and people called away at any point")
    ]


class ActionFacts(Facts, frozen=True):
    """One action of the procedure."""

    number: Annotated[Count, Meta(description="counts from 1")]
    text: Annotated[str, Meta(description="as it is written")]
    note: Annotated[str, Meta(description="the note that stands with it, or nothing")]
    line: Annotated[Count, Meta(description="the line of the file, from 1")]
    verdict: Annotated[Verdict, Meta(description="how it goes")]
    why: Annotated[tuple[Reason, ...], Meta(description="what keeps it from going on")]
    run: Annotated[Run | None, Meta(description="to where it is not possible")]
    way_out: Annotated[WayOut | None, Meta(description="what would make it possible; null: nothing was found")]


class Broken(Facts, frozen=True):
    """A requirement that the procedure breaks without any slip."""

    requirement: Annotated[str, Meta(description="its id")]
    only_when_power_is_lost: Annotated[bool, Meta(description="false: it breaks as written")]
    run: Annotated[Run | None, Meta(description="to where it is broken")]


class GoalFacts(Facts, frozen=True):
    """One of the things that the goal joins by `and`."""

    text: Annotated[str, Meta(description="as an expression")]
    at: Annotated[Place, Meta(description="where it is written")]


class InterruptionFacts(Facts, frozen=True):
    """Everybody called away at one place of the procedure."""

    before_action: Annotated[Count, Meta(description="from 1; one more than there are: after the end")]
    in_the_middle: Annotated[bool, Meta(description="in the middle of that action")]
    can_be_broken: Annotated[Texts, Meta(description="requirements, with supplies steady")]
    can_be_broken_if_power_is_lost: Annotated[Texts, Meta(description="requirements, only where power is lost as well")]
    left_behind: Annotated[Texts, Meta(description="how the hold may be left")]
    afterwards: Annotated[str, Meta(description="how work goes on", extra_json_schema={"enum": _AFTERWARDS})]
    way_to_the_goal: Annotated[WayOut | None, Meta(description="where the work cannot simply go on")]


class SlipFacts(Facts, frozen=True):
    """The worst that one slip can lead to."""

    id: Annotated[str, Meta(description="unique in the procedure")]
    kind: Annotated[KindWord, Meta(description="what sort of slip")]
    error_mode: Annotated[Mode, Meta(description="its mode in the taxonomy; null: it has none")]
    action: Annotated[Count, Meta(description="the action, from 1, at which it is made")]
    text: Annotated[str, Meta(description="what goes wrong")]
    effect: Annotated[Effect, Meta(description="the worst that it can lead to")]
    breaks: Annotated[Texts, Meta(description="the requirements that can then be broken")]
    misses: Annotated[Texts, Meta(description="parts of the goal that are then not so at an end that nothing tells of")]
    shows_at: Annotated[tuple[Count, ...], Meta(description="the actions, from 1, at which it can show")]
    cannot_be_made: Annotated[bool, Meta(description="the hold does not let it be made")]
    why: Annotated[tuple[Reason, ...], Meta(description="why it shows there")]
    run: Annotated[Run | None, Meta(description="to the first hazard, or to the missed goal")]


class CombinationFacts(Facts, frozen=True):
    """A smallest set of slips that together break a requirement."""

    requirement: Annotated[str, Meta(description="its id")]
    slips: Annotated[Texts, Meta(description="ids of slips")]
    run: Annotated[Run | None, Meta(description="to where it is broken")]


class SecondCountFacts(Facts, frozen=True):
    """How far the effects of slips were counted a second time by other means."""

    slips_together: Annotated[Count, Meta(description="the most slips counted together; 0: none were")]
    states: Annotated[Count, Meta(description="how many states that took")]
    why_not: Annotated[str | None, Meta(description="why nothing was counted")]


class FailureFacts(Facts, frozen=True):
    """One declared failure that alone breaks requirements."""

    failure: Annotated[str, Meta(description="what fails")]
    breaks: Annotated[Texts, Meta(description="the requirements that can then be broken")]
    run: Annotated[Run, Meta(description="to the first of them")]


class FailuresFacts(Facts, frozen=True):
    """What single declared failures lead to along the procedure."""

    declared: Annotated[Count, Meta(description="how many the description declares")]
    not_followed: Annotated[str | None, Meta(description="why not all were followed; null: all were")]
    hazardous: Annotated[tuple[FailureFacts, ...], Meta(description="those that break requirements")]


class HeldFacts(Facts, frozen=True):
    """What holds one requirement."""

    id: Annotated[str, Meta(description="unique in the hold")]
    from_: Annotated[str, Meta(description="the id of its text")] = field(name="from")
    text: Annotated[str, Meta(description="what it asks for")]
    hazard: Annotated[str, Meta(description="what its breach can lead to")]
    severity: Annotated[str, Meta(description="the category of the hazard")]
    scheme: Annotated[str, Meta(description="the scheme of the categories")]
    harm: Annotated[Texts | None, Meta(description="who or what comes to harm; null: not said")]
    source: Annotated[str, Meta(description="where it is taken from")]
    held_by: Annotated[Holder, Meta(description="what keeps it from being broken")]
    situation_arises: Annotated[bool, Meta(description="false: its situation never arises")]
    fewest_slips: Annotated[
        Annotated[int, Meta(ge=1, le=MOST_SLIPS)] | None, Meta(description="that break it; null: so few do not")
    ]
    single_failures: Annotated[Count | None, Meta(description="how many alone break it; null: not all were followed")]


class AuditFacts(Facts, frozen=True):
    """Result of auditing a written procedure."""

    schema: Annotated[Literal[2], Meta(description="counts up when a reader of the old layout would go wrong")]
    program: Annotated[Program, Meta(description="what wrote this")]
    exit_code: Annotated[ExitCode, Meta(description="0 nothing found, 1 findings, 3 undecided, 4 disputed")]
    procedure: Annotated[str, Meta(description="the file, as it was named")]
    title: Annotated[str, Meta(description="of the procedure")]
    hold: Annotated[str, Meta(description="the file of the hold, as the procedure names it")]
    start: Annotated[str, Meta(description="how the procedure starts")]
    overall: Annotated[Overall, Meta(description="the worst that was found")]
    undecided: Annotated[Texts, Meta(description="what was left open, and why")]
    disputed: Annotated[tuple[Dispute, ...], Meta(description="faults of this program: use no result")]
    places: Annotated[Places, Meta(description="how much was followed")]
    look_first: Annotated[tuple[GuiltyFacts, ...], Meta(description="what to look at first, likeliest first")]
    left_otherwise: Annotated[
        tuple[LeavingFacts, ...], Meta(description="at the end as it was not at the start, the goal being silent")
    ]
    goal: Annotated[tuple[GoalFacts, ...], Meta(description="what the goal asks for, part by part")]
    actions: Annotated[tuple[ActionFacts, ...], Meta(description="in order")]
    goal_missed: Annotated[Run | None, Meta(description="a run to the end without the goal")]
    broken: Annotated[tuple[Broken, ...], Meta(description="requirements broken without any slip")]
    interruptions: Annotated[tuple[InterruptionFacts, ...], Meta(description="one for every place, in order")]
    taxonomy: Annotated[str, Meta(description="where the error modes of slips come from")]
    slips: Annotated[tuple[SlipFacts, ...] | None, Meta(description="null: they were not followed")]
    combinations: Annotated[
        tuple[CombinationFacts, ...] | None, Meta(description="smallest sets of slips to each hazard, of one or two")
    ]
    second_count: Annotated[SecondCountFacts | None, Meta(description="of what slips lead to")]
    failures: Annotated[FailuresFacts | None, Meta(description="null: they were not followed")]
    margin: Annotated[MarginFacts | None, Meta(description="how few slips and failures break what; null: not followed")]
    requirements: Annotated[tuple[HeldFacts, ...], Meta(description="what holds each")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted; object to each line")]
    cautions: Annotated[Texts, Meta(description="what governs")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
