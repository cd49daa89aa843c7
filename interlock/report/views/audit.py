"""An audit of a procedure as it is told, whatever the format."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.hold.language.printer import print_syntax
from interlock.hold.loader import FileRead
from interlock.kernel.claims import Holds
from interlock.report.views.assumptions import CAUTIONS, assumptions_of
from interlock.report.views.audit_facts import (
    DONE,
    ActionFacts,
    AuditFacts,
    Broken,
    CombinationFacts,
    Dispute,
    FailureFacts,
    FailuresFacts,
    GoalFacts,
    HeldFacts,
    InterruptionFacts,
    Places,
    SecondCountFacts,
    SlipFacts,
)
from interlock.report.views.facts import (
    PROGRAM,
    Run,
    WayOut,
    WayStep,
    as_place,
    as_reasons,
    as_run,
    what_is_asked,
)
from interlock.report.views.guilty import guilty_facts, guilty_words, leaving_facts, leaving_words
from interlock.report.views.held import HeldGroup, held_groups
from interlock.report.views.identification import Identification, identification
from interlock.report.views.interruptions import InterruptionTold, interruption_told, is_done, resumed
from interlock.report.views.kept_limits import limit_words
from interlock.report.views.margin import margin_facts
from interlock.report.views.requirements import sentence_of_all
from interlock.report.views.slips import KindFacts, counted_text, followed_text, kind_counts
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of, seconds_as_text
from interlock.study.procedure.audit import Audit, Overall, Verdict
from interlock.study.procedure.failing import FailureAudit
from interlock.study.procedure.rescue import Rescue
from interlock.study.procedure.runs import Run as FoundRun
from interlock.study.procedure.slip_audit import Effect, SlipAudit, SlipResult
from interlock.study.procedure.slips import TAXONOMY

_TONES = {
    Overall.SOUND: Tone.GOOD,
    Overall.FINDINGS: Tone.BAD,
    Overall.UNDECIDED: Tone.OPEN,
    Overall.DISPUTED: Tone.LOUD,
}


@frozen
class SlipsTold:
    """What slips come to."""

    followed: str
    counted: str
    kinds: tuple[KindFacts, ...]


@frozen
class AuditView:
    """What is told of an audit: the facts, and in words what they come to.

    `patterns` are the sentences of requirement texts about all of a sort, by their ids.  `asked` is whether it was
    asked what the interlock holds by itself.  `resumed` says how many places go on how.
    `first` is what to look at first, `left` how the hold is left otherwise than it was found.
    """

    facts: AuditFacts
    hold_title: str
    result: str
    tone: Tone
    asked: bool
    first: tuple[str, ...]
    left: tuple[str, ...]
    groups: tuple[HeldGroup, ...]
    interruptions: tuple[InterruptionTold, ...]
    resumed: tuple[str, ...]
    slips: SlipsTold | None
    failures: str
    patterns: Mapping[str, str]

    @property
    def amiss(self) -> tuple[ActionFacts, ...]:
        """The actions that are not simply possible."""
        return tuple(one for one in self.facts.actions if one.verdict is not Verdict.POSSIBLE)

    @property
    def explained(self) -> bool:
        """Something to look at first is behind all that is wrong with actions, requirements and goal."""
        goal = self.facts.goal_missed is not None and not self.amiss
        return any(one.restores or (goal and one.action is None) for one in self.facts.look_first)

    @property
    def told(self) -> tuple[ActionFacts, ...]:
        """The actions that are reached and not simply possible; where all of it has one cause, the first alone."""
        found = tuple(one for one in self.amiss if one.verdict is not Verdict.UNREACHED)
        return found[:1] if self.explained else found

    @property
    def goal_is_missed(self) -> bool:
        """The goal is missed, or its end never reached, without any slip."""
        return self.facts.goal_missed is not None or self.is_stuck

    @property
    def is_stuck(self) -> bool:
        """Its end is never reached, without any slip."""
        last = self.facts.actions[-1] if self.facts.actions else None
        return last is not None and last.verdict in (Verdict.UNREACHED, Verdict.IMPOSSIBLE, Verdict.UNMET)

    @property
    def none_broken(self) -> str:
        """What is said where no requirement is broken; of a procedure that gets stuck no more than is known."""
        far = ", as far as it goes: its end is never reached, and what comes behind was not followed"
        return f"None is broken, with supplies steady or with power lost at any point{far if self.is_stuck else ''}."

    @property
    def nothing_left(self) -> str:
        """What is said where nothing is known to be left otherwise than it was found."""
        if self.is_stuck:
            return "Its end is never reached, so it is not known how the hold is left."
        return "Nothing is left otherwise than it was found but what the goal speaks of."

    def line_of(self, action: int) -> int:
        """The line of the procedure's file on which the action, from 1, is written."""
        return self.facts.actions[action - 1].line

    def requirement(self, id: str) -> HeldFacts:
        """The requirement of that id.  Raises StopIteration where there is none."""
        return next(one for one in self.facts.requirements if one.id == id)

    def summary(self, seconds: float | None = None) -> str:
        """What came out of it, in one line."""
        return self.result + ("" if seconds is None else f"; {seconds_as_text(seconds)}")


def audit_view(audit: Audit, label: str, code: int, read: Sequence[FileRead] = ()) -> AuditView:
    """What is told of the audit; `label` is what the reader calls the procedure, `code` the exit code.

    `read` are the files that were read.
    """
    facts = _facts(audit, label, code, identification(read))
    interruptions = tuple(interruption_told(one, len(facts.actions)) for one in facts.interruptions)
    return AuditView(
        facts,
        audit.bound.compiled.hold.title,
        _result(audit),
        _TONES[audit.overall],
        audit.verification is not None,
        tuple(_first(facts)),
        tuple(leaving_words(facts.left_otherwise)),
        held_groups(facts, None if audit.slips is None else audit.slips.together),
        interruptions,
        tuple(resumed(audit.interruptions, len(facts.actions))),
        None if audit.slips is None else _slips(audit.slips),
        _failures_text(facts.failures),
        {one.instance.origin.id: sentence_of_all(one.instance.origin) for one in audit.held},
    )


def _facts(audit: Audit, label: str, code: int, identified: Identification) -> AuditFacts:
    procedure = audit.bound.procedure
    failures = audit.failures
    return AuditFacts(
        2,
        PROGRAM,
        code,
        label,
        procedure.title,
        procedure.hold,
        _start(audit),
        audit.overall,
        audit.open,
        tuple(Dispute(one.question, one.what) for one in audit.disputed),
        Places(audit.states, audit.states_lost),
        guilty_facts(audit.guilty),
        leaving_facts(audit.leavings),
        tuple(GoalFacts(print_syntax(part.syntax), as_place(part.syntax.span)) for part in audit.bound.parts),
        tuple(
            ActionFacts(
                one.number,
                one.bound.action.text,
                one.bound.action.note,
                one.bound.action.span.line,
                one.verdict,
                as_reasons(one.why),
                _run(one.run),
                _way(one.rescue),
            )
            for one in audit.actions
        ),
        _run(audit.goal_missed),
        tuple(Broken(one.hazard.instance.requirement.id, one.lost, _run(one.run)) for one in audit.breaches),
        tuple(
            InterruptionFacts(
                one.before,
                one.midway,
                one.at_risk,
                one.at_risk_lost,
                one.left,
                DONE if is_done(one, len(audit.actions)) else one.resumption.value,
                _way(one.rescue),
            )
            for one in audit.interruptions
        ),
        TAXONOMY,
        None if audit.slips is None else tuple(_slip(one) for one in audit.slips.results),
        None
        if audit.slips is None
        else tuple(
            CombinationFacts(one.hazard.instance.requirement.id, tuple(slip.id for slip in one.slips), _run(one.run))
            for one in audit.slips.combinations
        ),
        None
        if audit.slips is None
        else SecondCountFacts(
            audit.slips.counted.together, audit.slips.counted.states, audit.slips.counted.why or None
        ),
        None if failures is None else _failures(failures),
        margin_facts(audit),
        tuple(
            HeldFacts(
                *what_is_asked(one.instance),
                one.instance.origin.harm,
                one.instance.origin.source,
                one.holder,
                one.arises,
                one.fewest,
                None if failures is None or failures.open else failures.breaking(one.instance.requirement.id),
            )
            for one in audit.held
        ),
        tuple(_assumptions(audit)),
        CAUTIONS,
        identified,
    )


def _run(run: FoundRun | None) -> Run | None:
    return None if run is None else as_run(run)


def _way(rescue: Rescue | None) -> WayOut | None:
    return None if rescue is None else WayOut(tuple(WayStep(*step) for step in rescue.steps), rescue.breaks)


def _first(facts: AuditFacts) -> Iterator[str]:
    """What to look at first, in words; with the first that is behind all of it what follows from it."""
    others = [one.number for one in facts.actions if one.verdict not in (Verdict.POSSIBLE, Verdict.IDLE)]
    said = False
    for one in facts.look_first:
        follow = ""
        if one.restores and others and not said:
            said = True
            numbers = f"action {others[0]}" if len(others) == 1 else f"actions {others[0]} to {others[-1]}"
            follow = f"What is wrong with {numbers} follows from it."
        yield guilty_words(one, follow)


def _slip(one: SlipResult) -> SlipFacts:
    return SlipFacts(
        one.slip.id,
        one.slip.kind.word,
        one.slip.kind.mode or None,
        one.slip.action + 1,
        one.slip.text,
        one.effect,
        one.hazards,
        one.misses,
        one.shows_at,
        one.impossible,
        as_reasons(one.why),
        _run(one.run),
    )


def _slips(slips: SlipAudit) -> SlipsTold:
    return SlipsTold(followed_text(slips), counted_text(slips), kind_counts(slips.results))


def _failures(failures: FailureAudit) -> FailuresFacts:
    hazardous = tuple(FailureFacts(one.text, one.hazards, as_run(one.run)) for one in failures.results)
    return FailuresFacts(failures.declared, failures.open or None, hazardous)


def _start(audit: Audit) -> str:
    """How the procedure starts, in a few words."""
    procedure = audit.bound.procedure
    if procedure.situation is not None:
        return f"the situation {procedure.situation}"
    if procedure.starts:
        return ", ".join(f"{id} {state}" for id, state, _ in procedure.starts) + "; all else as the hold describes it"
    return "as the hold describes it"


def _result(audit: Audit) -> str:
    if audit.overall is Overall.DISPUTED:
        return "DISPUTED: do not use these results"
    parts = []
    if audit.guilty:
        first = audit.guilty[0]
        parts.append(f"look at {'the goal' if first.action is None else f'action {first.action}'} first")
    amiss = [one for one in audit.actions if one.verdict is not Verdict.POSSIBLE]
    if amiss:
        parts.append(f"{count_of(len(amiss), 'action')} not as written")
    if audit.breaches:
        parts.append(f"{count_of(len(audit.breaches), 'requirement')} broken")
    if audit.goal_missed is not None:
        parts.append("goal missed")
    at_risk = sum(bool(one.at_risk or one.at_risk_lost) for one in audit.interruptions)
    if at_risk:
        parts.append(f"{count_of(at_risk, 'unsafe interruption')}")
    effects = [] if audit.slips is None else [one.effect for one in audit.slips.results]
    if number := effects.count(Effect.HAZARD):
        parts.append(f"{count_of(number, 'slip')} to a hazard")
    if (number := effects.count(Effect.UNNOTICED)) and audit.goal_missed is None:
        parts.append(f"{count_of(number, 'unnoticed slip')}")
    if audit.failures is not None and audit.failures.results:
        parts.append(f"{count_of(len(audit.failures.results), 'single failure')} to a hazard")
    parts += list(audit.open)
    joint = " but " if audit.overall is Overall.SOUND else ": "
    return f"{audit.overall.value}" + (f"{joint}{', '.join(parts)}" if parts else "")


def _failures_text(failures: FailuresFacts | None) -> str:
    """How it stands with declared failures, in one sentence."""
    if failures is None:
        return "Not followed."
    if failures.not_followed:
        return f"Not all followed: {failures.not_followed}."
    if not failures.declared:
        return "The description declares no failures: none strikes here."
    if not failures.hazardous:
        return f"None of {count_of(failures.declared, 'declared failure')} alone, at any point, leads to a hazard."
    return (
        f"{len(failures.hazardous)} of {count_of(failures.declared, 'declared failure')} can alone, when it strikes at "
        "the wrong point, lead to a hazard."
    )


def _assumptions(audit: Audit) -> Iterator[str]:
    """What the audit takes for granted, beyond what a proof about the hold does."""
    yield (
        "In this audit people, the loader's crew included, do what the procedure says and nothing else, but for the "
        "slips named; drives, springs and relays act between any two actions, in any order."
    )
    yield (
        "A lever held until something is so may be let go later than that, never sooner. The same goes for the loader."
    )
    yield "An action that finds its work done already is passed over."
    yield (
        "Of slips and declared failures up to two happen, at any points of it; more than two together, and any in an "
        "interrupted procedure, are not followed. A failure that has struck stays, unless it is declared to heal."
    )
    yield (
        "Whoever is called away lets go of every lever, and nobody takes over. Where power is lost it may come back at "
        "any moment."
    )
    yield (
        "What the interlock holds by itself is proved from the same start, but with supplies that may be lost as the "
        "hold describes them, and for every behaviour of people."
    )
    yield from map(limit_words, audit.limits)
    yield _evidence(audit)
    # the first speaks of every behaviour, which is what the interlock column rests on
    yield from assumptions_of(audit.bound.compiled)[1:]


def _evidence(audit: Audit) -> str:
    """How far what was found was checked by other means."""
    along = "That nothing else is broken along the procedure was counted a second time by other means"
    if any(not isinstance(one, Holds) for one in audit.proofs):
        along = "That nothing else is broken along the procedure was looked for, and not counted a second time in full"
    text = f"{along}; runs were replayed."
    if audit.slips is not None:
        text += f" {counted_text(audit.slips)}"
        if audit.slips.counted.together < audit.slips.together:
            text += " Which pairs of slips are the smallest was looked for, and not counted a second time."
    return text
