"""An audit of a procedure as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.hold.language.model import RequirementText
from interlock.kernel.claims import Disputed, Finding, Holds
from interlock.report.text.interrupted import LAST_STEPS, MOST_NAMED, interruption_lines, rescue_lines
from interlock.report.text.lines import BLANK, WIDTH, Line, Tone, flow, heading, labelled
from interlock.report.text.proof import after_lines, reason_lines
from interlock.report.text.slips import slip_table
from interlock.report.views.assumptions import CAUTIONS, assumptions_of
from interlock.report.views.slip_words import EFFECTS_EXPLAINED, counted_text, followed_text, kind_rows
from interlock.report.views.wording import ACTORS, count_of, listed, seconds_as_text, sentence, shortened
from interlock.study.procedure.audit import ActionAudit, Audit, Overall, Verdict
from interlock.study.procedure.holders import Held, Holder
from interlock.study.procedure.runs import Run
from interlock.study.procedure.slip_audit import Effect, SlipResult

MOST_COMBINATIONS = 6
PAIRS_OPEN = "Pairs of slips were not followed to an end: what two of them lead to is left open."
HOLDERS_WORST_FIRST = (
    Holder.DISPUTED,
    Holder.NOTHING,
    Holder.SUPPLIED,
    Holder.PROCEDURE,
    Holder.OPEN,
    Holder.NOT_ASKED,
    Holder.INTERLOCK,
)
HOLDER_TONES = {
    Holder.DISPUTED: Tone.LOUD,
    Holder.NOTHING: Tone.BAD,
    Holder.SUPPLIED: Tone.BAD,
    Holder.PROCEDURE: Tone.OPEN,
    Holder.OPEN: Tone.OPEN,
    Holder.NOT_ASKED: Tone.PLAIN,
    Holder.INTERLOCK: Tone.GOOD,
}
_OVERALL_TONES = {
    Overall.SOUND: Tone.GOOD,
    Overall.FINDINGS: Tone.BAD,
    Overall.UNDECIDED: Tone.OPEN,
    Overall.DISPUTED: Tone.LOUD,
}


@dataclass(frozen=True, slots=True)
class HeldGroup:
    """The instances of one requirement text that are held alike; `fewest` slips break one of them."""

    origin: RequirementText
    holder: Holder
    members: tuple[Held, ...]

    @property
    def fewest(self) -> int | None:
        """The fewest slips that break some member; None where up to two do not."""
        return min((one.fewest for one in self.members if one.fewest is not None), default=None)


def fewest_text(audit: Audit, group: HeldGroup) -> str:
    """How few slips break some member, for a cell of a table: `>1` where pairs were not followed to an end."""
    if audit.slips is None or group.holder is Holder.INTERLOCK:
        return "-"
    if group.holder is Holder.NOTHING:
        return "0"  # what breaks as written needs none
    return f">{audit.slips.together}" if group.fewest is None else str(group.fewest)


def held_groups(held: Sequence[Held]) -> tuple[HeldGroup, ...]:
    """By requirement text and by what holds it; worst first, else in the order of the texts."""
    found: dict[tuple[str, Holder], list[Held]] = {}
    for one in held:
        found.setdefault((one.instance.origin.id, one.holder), []).append(one)
    groups = [HeldGroup(members[0].instance.origin, holder, tuple(members)) for (_, holder), members in found.items()]
    return tuple(sorted(groups, key=lambda group: HOLDERS_WORST_FIRST.index(group.holder)))


def audit_lines(audit: Audit, label: str, verbose: bool = False) -> tuple[Line, ...]:
    """The whole report but its last line; with `verbose` every slip and every interruption is listed."""
    return tuple(
        [
            *_head(audit, label),
            *_disputes(audit),
            *_actions(audit),
            *_breaches(audit),
            *interruption_lines(audit, verbose),
            *_slips(audit, verbose),
            *_failures(audit),
            *_held(audit),
            *_assumed(audit),
        ]
    )


def audit_report(audit: Audit, label: str, verbose: bool, seconds: float) -> tuple[Line, ...]:
    """The whole report, with how long it took."""
    last = audit_summary(audit, seconds)
    return *audit_lines(audit, label, verbose), *flow(last.text, 0, 2, last.tone)


def audit_summary(audit: Audit, seconds: float | None = None) -> Line:
    """What came out of it, in one line."""
    parts = []
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
    if audit.slips is not None:
        number = sum(one.effect is Effect.HAZARD for one in audit.slips.results)
        if number:
            parts.append(f"{count_of(number, 'slip')} to a hazard")
        unseen = sum(one.effect is Effect.UNNOTICED for one in audit.slips.results)
        if unseen:
            parts.append(f"{count_of(unseen, 'unnoticed slip')}")
    if audit.failures is not None and audit.failures.results:
        parts.append(f"{count_of(len(audit.failures.results), 'single failure')} to a hazard")
    parts += list(audit.open)
    joint = " but " if audit.overall is Overall.SOUND else ": "
    text = f"{audit.overall.value}" + (f"{joint}{', '.join(parts)}" if parts else "")
    if audit.overall is Overall.DISPUTED:
        text = "DISPUTED: do not use these results"
    return Line(text + ("" if seconds is None else f"; {seconds_as_text(seconds)}"), _OVERALL_TONES[audit.overall])


def start_of(audit: Audit) -> str:
    """How the procedure starts, in a few words."""
    procedure = audit.bound.procedure
    if procedure.situation is not None:
        return f"the situation {procedure.situation}"
    if procedure.starts:
        return ", ".join(f"{id} {state}" for id, state, _ in procedure.starts) + "; all else as the hold describes it"
    return "as the hold describes it"


def _head(audit: Audit, label: str) -> Iterator[Line]:
    bound = audit.bound
    yield from flow(bound.procedure.title, tone=Tone.HEAD)
    yield from labelled("procedure:", label, 2)
    yield from labelled("hold:", f"{bound.procedure.hold} ({bound.compiled.hold.title})", 2)
    yield from labelled("starts from:", start_of(audit), 2)
    yield from labelled("actions:", str(len(bound.actions)), 2)
    followed = f"{count_of(audit.states, 'place')} with supplies steady, {audit.states_lost:,} with power lost and"
    yield from labelled("followed:", f"{followed} people called away at any point", 2)


def audit_findings(audit: Audit) -> tuple[Finding, ...]:
    """Everything that was checked by other means."""
    found: list[Finding] = [*audit.proofs, *(one.finding for one in audit.breaches)]
    found += [] if audit.slips is None else audit.slips.findings
    found += [] if audit.failures is None else audit.failures.findings
    found += [] if audit.verification is None else audit.verification.findings
    return tuple(found)


def _disputes(audit: Audit) -> Iterator[Line]:
    if audit.overall is not Overall.DISPUTED:
        return
    yield BLANK
    yield Line("!" * WIDTH, Tone.LOUD)
    for text in ("THIS IS A FAULT OF THIS PROGRAM, NOT OF THE PROCEDURE.", "DO NOT USE ANY RESULT OF THIS RUN."):
        yield Line(text, Tone.LOUD)
    for one in audit_findings(audit):
        if isinstance(one, Disputed):
            yield from labelled("What does not fit:", f"{one.question}: {one.what}", tone=Tone.LOUD)
    yield Line("!" * WIDTH, Tone.LOUD)


def _actions(audit: Audit) -> Iterator[Line]:
    yield from heading("Actions")
    amiss = [one for one in audit.actions if one.verdict is not Verdict.POSSIBLE]
    if not amiss:
        yield from flow(f"All {len(audit.actions)} actions are possible, each in every order of events.", 2)
    unreached = [one for one in amiss if one.verdict is Verdict.UNREACHED]
    for one in amiss:
        if one.verdict is not Verdict.UNREACHED:
            yield from _action(one)
    if unreached:
        yield from flow(
            f"never reached: actions {unreached[0].number} to {unreached[-1].number}"
            if len(unreached) > 1
            else f"never reached: action {unreached[0].number}, {unreached[0].bound.action.text}",
            2,
            tone=Tone.BAD,
        )
    if audit.goal_missed is not None:
        yield from flow("The procedure can end without its goal.", 2, tone=Tone.BAD)
        yield from run_lines(audit.goal_missed)


def _action(one: ActionAudit) -> Iterator[Line]:
    yield from flow(f"{one.number}. {one.bound.action.text}: {one.verdict.value}", 2, 4, Tone.BAD)
    if one.verdict is Verdict.IDLE:
        yield from flow("It is so already whenever this is reached; the action changes nothing.", 6)
    elif one.why:
        yield Line("      What is so, and keeps it from going on", Tone.HEAD)
        yield from reason_lines(one.why, 6)
    if one.run is not None and one.verdict is not Verdict.IDLE:
        yield from run_lines(one.run)
    if one.verdict not in (Verdict.IDLE, Verdict.UNREACHED):
        if one.rescue is None:
            yield from flow("Nothing was found that would make it so.", 6)
        else:
            yield from rescue_lines(one.rescue, "What would make it so")


def run_lines(run: Run) -> Iterator[Line]:
    """The end of a run, step by step, and why its last state is what it is."""
    shown = run.steps[-LAST_STEPS:]
    if shown:
        title = "Step by step" if len(shown) == len(run.steps) else f"Step by step, from step {shown[0].number}"
        yield Line(f"      {title}", Tone.HEAD)
    for step in shown:
        part = "" if step.action is None else f" (action {step.action})"
        text = f"{step.number}. {ACTORS[step.actor]}: {step.text}{part}"
        if step.slip == step.text:
            # nothing was done, or something that is a slip and no more: once is enough
            text = f"{step.number}. SLIP {step.text}{part}"
        yield from flow(text, 6, 3, Tone.BAD if step.slip == step.text else Tone.PLAIN)
        if step.slip not in (None, step.text):
            yield from labelled("SLIP", str(step.slip), 9, Tone.BAD)
        yield from after_lines(step.responses, step.after, 9)
    if run.because:
        yield Line("      Why", Tone.HEAD)
        yield from reason_lines(run.because, 6)


def _breaches(audit: Audit) -> Iterator[Line]:
    yield from heading("Requirements along the procedure")
    if not audit.breaches:
        yield from flow("None is broken, with supplies steady or with power lost at any point.", 2)
    for breach in audit.breaches:
        where = "when power is lost on the way" if breach.lost else "as written"
        instance = breach.hazard.instance
        yield from flow(f"BROKEN {where}: {instance.requirement.id}", 2, 2, Tone.BAD)
        yield from flow(sentence(instance.text), 6)
        yield from labelled("hazard:", f"{instance.origin.hazard}; severity {instance.origin.severity}", 6)
        yield from run_lines(breach.run)


def _slips(audit: Audit, verbose: bool) -> Iterator[Line]:
    yield from heading("Slips")
    slips = audit.slips
    if slips is None:
        yield from flow("Not asked for.", 2)
        return
    yield from flow(f"{followed_text(slips)}. The worst that each can lead to (in brackets SHERPA's mode):", 2)
    yield BLANK
    yield from slip_table(kind_rows(slips.results))
    yield from flow(EFFECTS_EXPLAINED, 2, tone=Tone.FAINT)
    yield from flow(counted_text(slips), 2, tone=Tone.FAINT)
    for effect, title in ((Effect.HAZARD, "Slips that lead to a hazard"), (Effect.UNNOTICED, "Unnoticed slips")):
        found = [one for one in slips.results if one.effect is effect]
        if found:
            yield BLANK
            yield Line(f"  {title}", Tone.HEAD)
        for one in found:
            yield from _slip(one, full=effect is Effect.HAZARD)
    if verbose:
        yield BLANK
        yield Line("  All other slips", Tone.HEAD)
        for one in slips.results:
            if one.effect not in (Effect.HAZARD, Effect.UNNOTICED):
                yield from _slip(one, full=False)
    yield from _combinations(audit)


def _slip(one: SlipResult, full: bool) -> Iterator[Line]:
    mode = f" ({one.slip.kind.mode})" if one.slip.kind.mode else ""
    tone = Tone.BAD if one.effect is Effect.HAZARD else Tone.PLAIN
    yield from flow(f"action {one.slip.action + 1}, {one.slip.kind.word}{mode}: {one.slip.text}", 4, 2, tone)
    if one.hazards:
        yield from labelled("breaks:", shortened(one.hazards, MOST_NAMED), 6)
    if one.effect in (Effect.BLOCKED, Effect.DETECTED):
        at = listed([str(number) for number in one.shows_at])
        shown = "cannot be made" if one.impossible else f"shows at action {at}"
        why = "" if not one.why else f": {one.why[0].text}"
        yield from flow(f"{one.effect.value}, {shown}{why}", 6, 2)
    if full and one.run is not None:
        yield from run_lines(one.run)


def _combinations(audit: Audit) -> Iterator[Line]:
    assert audit.slips is not None  # noqa: S101 -- asked only where there are slips
    pairs = [one for one in audit.slips.combinations if len(one.slips) > 1]
    yield BLANK
    if not pairs and audit.slips.together == 1:
        yield from flow(PAIRS_OPEN, 2)
        return
    if not pairs:
        yield from flow("No two slips together lead to a hazard that neither of them leads to by itself.", 2)
        return
    yield Line("  Pairs of slips that lead to a hazard which neither leads to by itself", Tone.HEAD)
    by_hazard: dict[str, list[int]] = {}
    for at, one in enumerate(pairs):
        by_hazard.setdefault(one.hazard.instance.requirement.id, []).append(at)
    for id, places in by_hazard.items():
        yield from flow(f"{id}: {count_of(len(places), 'pair')}", 4, 2, Tone.BAD)
        for at in places[:MOST_COMBINATIONS]:
            said = " and ".join(f"action {slip.action + 1} {slip.kind.word}, {slip.text}" for slip in pairs[at].slips)
            yield from flow(f"- {said}", 6, 2)
        if len(places) > MOST_COMBINATIONS:
            yield from flow(f"and {len(places) - MOST_COMBINATIONS} more", 6)


def failures_text(audit: Audit) -> str:
    """How it stands with declared failures, in one sentence."""
    failures = audit.failures
    if failures is None or failures.open:
        return "Not followed." if failures is None else f"Not all followed: {failures.open}."
    if not failures.declared:
        return "The description declares no failures: none strikes here."
    if not failures.results:
        return f"None of {count_of(failures.declared, 'declared failure')} alone, at any point, leads to a hazard."
    return (
        f"{len(failures.results)} of {count_of(failures.declared, 'declared failure')} can alone, when it strikes at "
        "the wrong point, lead to a hazard."
    )


def failures_of(audit: Audit, group: HeldGroup) -> str:
    """How many declared failures alone break some member of the group."""
    if audit.failures is None or audit.failures.open or not audit.failures.declared:
        return "-"
    ids = {one.instance.requirement.id for one in group.members}
    return str(sum(not ids.isdisjoint(one.hazards) for one in audit.failures.results))


def _failures(audit: Audit) -> Iterator[Line]:
    yield from heading("One declared failure")
    yield from flow(failures_text(audit), 2)
    for one in () if audit.failures is None else audit.failures.results:
        yield from flow(one.text, 4, 2, Tone.BAD)
        yield from labelled("breaks:", shortened(one.hazards, MOST_NAMED), 6)
        yield from run_lines(one.run)


def _held(audit: Audit) -> Iterator[Line]:
    yield from heading("What holds each requirement")
    if audit.verification is None:
        yield from flow("What the interlock alone holds was not asked.", 2)
    yield Line(f"  {'held by':<15} {'no.':>4} {'sev.':<4} {'slips':<5} {'fail.':<5} requirement", Tone.FAINT)
    for group in held_groups(audit.held):
        word = "procedure only" if group.holder is Holder.SUPPLIED else group.holder.value
        start = f"  {word:<15} {len(group.members):>4} {group.origin.severity:<4} {fewest_text(audit, group):<5} "
        start += f"{failures_of(audit, group):<5} "
        first, *rest = flow(group.origin.id, len(start), tone=HOLDER_TONES[group.holder])
        yield Line(start + first.text[len(start) :], first.tone)
        yield from rest
        if group.holder is Holder.SUPPLIED:
            yield from flow("only while supplies are steady", len(start), tone=Tone.FAINT)
        if not any(one.arises for one in group.members):
            yield from flow("the situation never arises", len(start), tone=Tone.FAINT)
        if group.holder is not Holder.INTERLOCK:
            yield from flow(f"source: {group.origin.source}", len(start), 2, Tone.FAINT)
    yield BLANK
    yield from flow(
        "no.: how many instances; interlock: whatever people do, in any order; procedure only: it fails in general and "
        "holds if the procedure is kept; nothing: it fails as written. slips: the fewest that break it (>2: more "
        "than two); fail.: how many declared failures alone break it; both along the procedure.",
        2,
        tone=Tone.FAINT,
    )
    yield BLANK
    yield Line("  Reviewed by ______________________________   date ____________")


def audit_assumptions(audit: Audit) -> tuple[str, ...]:
    """What the audit takes for granted, beyond what a proof about the hold does."""
    own = (
        "In this audit people, the loader's crew included, do what the procedure says and nothing else, but for the "
        "slips named; drives, springs and relays act between any two actions, in any order.",
        "A lever held until something is so may be let go later than that, never sooner. The same goes for the loader.",
        "An action that finds its work done already is passed over.",
        "A slip is made once; slips in an interrupted procedure, and more than two together, are not followed.",
        "Whoever is called away lets go of every lever, and nobody takes over. Where power is lost it may come back at "
        "any moment.",
        "What the interlock holds by itself is proved from the same start, but with supplies that may be lost as the "
        "hold describes them, and for every behaviour of people.",
        "One declared failure may strike at any point, with no slip and no second failure beside it; never during an "
        "interruption.",
        _evidence(audit),
    )
    # the first two speak of every behaviour, which is what the interlock column rests on
    return (*own, *assumptions_of(audit.bound.compiled)[1:])


def _evidence(audit: Audit) -> str:
    """How far what was found was checked by other means."""
    open = [one for one in audit.proofs if not isinstance(one, Holds)]
    along = "That nothing else is broken along the procedure was counted a second time by other means"
    if open:
        along = "That nothing else is broken along the procedure was looked for, and not counted a second time in full"
    text = f"{along}; runs were replayed."
    if audit.slips is not None:
        text += f" {counted_text(audit.slips)} Which pairs of slips are the smallest was looked for, and not counted a "
        text += "second time."
    return text


def _assumed(audit: Audit) -> Iterator[Line]:
    yield from heading("What this audit assumes")
    for text in audit_assumptions(audit):
        yield from flow(f"- {text}", 2, 2)
    yield from heading("Caution")
    for text in CAUTIONS:
        yield from flow(text, 2)
    yield BLANK
