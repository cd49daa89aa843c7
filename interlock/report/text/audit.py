"""An audit of a procedure as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.report.text.identified import identified_lines
from interlock.report.text.interrupted import interruption_lines
from interlock.report.text.lines import BLANK, WIDTH, Line, Tone, bullets, flow, heading, labelled, severity_cell
from interlock.report.text.runs import MOST_NAMED, reason_lines, run_lines, way_lines
from interlock.report.text.slips import slip_table
from interlock.report.views.audit import AuditView
from interlock.report.views.audit_facts import ActionFacts, Effect, Holder, Overall, SlipFacts, Verdict
from interlock.report.views.guilty import LEFT, LOOK_FIRST
from interlock.report.views.held import HeldGroup
from interlock.report.views.margin import MARGIN, others_text
from interlock.report.views.slips import EFFECTS_EXPLAINED, in_stretches
from interlock.report.views.wording import count_of, listed, sentence, shortened


def audit_lines(view: AuditView, verbose: bool = False) -> tuple[Line, ...]:
    """The whole report but its last line; with `verbose` every slip and every interruption is listed."""
    return tuple(
        [
            *_head(view),
            *_disputes(view),
            *_first(view),
            *_actions(view, verbose),
            *_breaches(view),
            *_left(view),
            *interruption_lines(view, verbose),
            *_slips(view, verbose),
            *_failures(view),
            *_margin(view),
            *_held(view),
            *_assumed(view),
        ]
    )


def audit_report(view: AuditView, verbose: bool, seconds: float) -> tuple[Line, ...]:
    """The whole report, with how long it took."""
    return *audit_lines(view, verbose), *audit_summary(view, seconds)


def audit_summary(view: AuditView, seconds: float | None = None) -> tuple[Line, ...]:
    """The last line: what came out of it."""
    return flow(view.summary(seconds), 0, 2, view.tone)


def _head(view: AuditView) -> Iterator[Line]:
    facts = view.facts
    yield from flow(facts.title, tone=Tone.HEAD)
    yield from labelled("procedure:", facts.procedure, 2)
    yield from labelled("hold:", f"{facts.hold} ({view.hold_title})", 2)
    yield from labelled("starts from:", facts.start, 2)
    yield from labelled("actions:", str(len(facts.actions)), 2)
    steady, lost = facts.places.supplies_steady, facts.places.power_lost_or_interrupted
    followed = f"{count_of(steady, 'point')} of the procedure with supplies steady, {lost:,} with power lost and"
    yield from labelled("followed:", f"{followed} people called away at any point", 2)


def _disputes(view: AuditView) -> Iterator[Line]:
    if view.facts.overall is not Overall.DISPUTED:
        return
    yield BLANK
    yield Line("!" * WIDTH, Tone.LOUD)
    for text in ("THIS IS A FAULT OF THIS PROGRAM, NOT OF THE PROCEDURE.", "DO NOT USE ANY RESULT OF THIS RUN."):
        yield Line(text, Tone.LOUD)
    for one in view.facts.disputed:
        yield from labelled("What does not fit:", f"{one.question}: {one.what}", tone=Tone.LOUD)
    yield Line("!" * WIDTH, Tone.LOUD)


def _first(view: AuditView) -> Iterator[Line]:
    if view.first:
        yield from heading(LOOK_FIRST)
    for text in view.first:
        yield from flow(text, 2, 2, Tone.BAD)


def _left(view: AuditView) -> Iterator[Line]:
    yield from heading(LEFT)
    if view.left:
        yield from flow("Left otherwise than it was found, and no part of the goal asks for it:", 2)
        yield from bullets(view.left)
    else:
        yield from flow(view.nothing_left, 2)


def _actions(view: AuditView, verbose: bool) -> Iterator[Line]:
    yield from heading("Actions")
    if not view.amiss:
        yield from flow(f"All {len(view.facts.actions)} actions are possible, each in every sequence of events.", 2)
    unreached = [one for one in view.amiss if one.verdict is Verdict.UNREACHED]
    told = [one for one in view.amiss if one.verdict is not Verdict.UNREACHED] if verbose else view.told
    for one in told:
        yield from _action(one)
    untold = [str(one.number) for one in view.amiss if one not in told and one not in unreached]
    if untold:
        yield from flow(f"not as written either: action {listed(untold)} (told with --verbose)", 2, tone=Tone.BAD)
    if unreached:
        yield from flow(
            f"never reached: actions {unreached[0].number} to {unreached[-1].number}"
            if len(unreached) > 1
            else f"never reached: action {unreached[0].number}, {unreached[0].text}",
            2,
            tone=Tone.BAD,
        )
    if view.facts.goal_missed is not None:
        line = view.facts.goal[0].at.line
        yield from flow(f"The procedure can end without its goal (line {line}).", 2, tone=Tone.BAD)
        if verbose or not view.explained:
            yield from run_lines(view.facts.goal_missed)


def _action(one: ActionFacts) -> Iterator[Line]:
    yield from flow(f"{one.number}. {one.text} (line {one.line}): {one.verdict.value}", 2, 4, Tone.BAD)
    if one.verdict is Verdict.IDLE:
        yield from flow("It is so already whenever this is reached; the action changes nothing.", 6)
        return
    if one.why:
        yield Line("      What is so, and keeps it from going on", Tone.HEAD)
        yield from reason_lines(one.why, 6)
    if one.run is not None:
        yield from run_lines(one.run)
    if one.way_out is None:
        yield from flow("Nothing was found that would make it so.", 6)
    else:
        yield from way_lines(one.way_out, "What would make it so")


def _breaches(view: AuditView) -> Iterator[Line]:
    yield from heading("Requirements along the procedure")
    if not view.facts.broken:
        yield from flow(view.none_broken, 2)
    for breach in view.facts.broken:
        where = "when power is lost on the way" if breach.only_when_power_is_lost else "as written"
        asked = view.requirement(breach.requirement)
        yield from flow(f"BROKEN {where}: {asked.id}", 2, 2, Tone.BAD)
        yield from flow(sentence(asked.text), 6)
        harm = "" if asked.harm is None else f"; harm to {listed(asked.harm) or 'nobody and nothing'}"
        yield from labelled("hazard:", f"{asked.hazard}; severity {asked.severity}{harm}", 6)
        if breach.run is not None:
            yield from run_lines(breach.run)


def _slips(view: AuditView, verbose: bool) -> Iterator[Line]:
    yield from heading("Slips")
    told, slips = view.slips, view.facts.slips
    if told is None or slips is None:
        yield from flow("Not asked for.", 2)
        return
    yield from flow(f"{told.followed}. The worst that each can lead to (in brackets its error mode):", 2)
    yield BLANK
    yield from slip_table(told.kinds)
    yield from flow(EFFECTS_EXPLAINED, 2, tone=Tone.FAINT)
    yield from flow(told.counted, 2, tone=Tone.FAINT)
    for effect, title in ((Effect.HAZARD, "Slips that lead to a hazard"), (Effect.UNNOTICED, "Unnoticed slips")):
        found = [one for one in slips if one.effect is effect]
        if found:
            yield BLANK
            yield Line(f"  {title}", Tone.HEAD)
        if effect is Effect.UNNOTICED and view.goal_is_missed:
            missed = "The goal is missed without any slip: which slips miss it unnoticed is not told."
            yield from flow(missed, 4) if found else ()
            continue
        for those in in_stretches(found):
            yield from _slips_alike(view, those, full=effect is Effect.HAZARD)
    if verbose:
        yield BLANK
        yield Line("  All other slips", Tone.HEAD)
        for one in slips:
            if one.effect not in (Effect.HAZARD, Effect.UNNOTICED):
                yield from _slips_alike(view, (one,), full=False)


def _slips_alike(view: AuditView, those: Sequence[SlipFacts], full: bool) -> Iterator[Line]:
    """One slip, or several in a row of one kind of which the same is to be said."""
    one, last = those[0], those[-1]
    mode = f" ({one.error_mode})" if one.error_mode else ""
    tone = Tone.BAD if one.effect is Effect.HAZARD else Tone.PLAIN
    at = f"action {one.action} (line {view.line_of(one.action)})"
    text = one.text
    if len(those) > 1:
        at = f"actions {one.action} to {last.action} (lines {view.line_of(one.action)} to {view.line_of(last.action)})"
        text += f", or before a later one up to action {last.action}"
    yield from flow(f"{at}, {one.kind}{mode}: {text}", 4, 2, tone)
    if one.misses:
        yield from flow(f"then not so at the end: {listed(one.misses)}", 6, 2)
    if one.breaks:
        yield from labelled("breaks:", shortened(one.breaks, MOST_NAMED), 6)
    if one.effect in (Effect.BLOCKED, Effect.DETECTED):
        at = listed([str(number) for number in one.shows_at])
        shown = "cannot be made" if one.cannot_be_made else f"shows at action {at}"
        why = "" if not one.why else f": {one.why[0].text}"
        yield from flow(f"{one.effect.value}, {shown}{why}", 6, 2)
    if full and one.run is not None:
        yield from run_lines(one.run)


def _failures(view: AuditView) -> Iterator[Line]:
    yield from heading("One declared failure")
    yield from flow(view.failures, 2)
    for one in () if view.facts.failures is None else view.facts.failures.hazardous:
        yield from flow(one.failure, 4, 2, Tone.BAD)
        yield from labelled("breaks:", shortened(one.breaks, MOST_NAMED), 6)
        yield from run_lines(one.run)


def _margin(view: AuditView) -> Iterator[Line]:
    yield from heading(MARGIN)
    margin = view.facts.margin
    if margin is None:
        yield from flow("Neither slips nor failures were followed.", 2)
        return
    for row in margin.requirements:
        tone = Tone.BAD if row.fewest < 2 else Tone.PLAIN
        yield from flow(f"{row.fewest}  {row.requirement}: {row.many}", 2, 3, tone)
        yield from flow(f"{row.hazard}; severity {row.severity}", 5, tone=Tone.FAINT)
        yield from bullets(row.told(), 5)
    if margin.requirements:
        yield BLANK
    yield from flow(others_text(margin), 2)
    yield from flow(f"{margin.complete} {margin.evidence}", 2, tone=Tone.FAINT)


def _held(view: AuditView) -> Iterator[Line]:
    yield from heading("What holds each requirement")
    if not view.asked:
        yield from flow("What the interlock alone holds was not asked.", 2)
    sev = max([len(severity_cell(group.text.severity)[0]) for group in view.groups] + [len("sev.")])
    yield Line(f"  {'held by':<15} {'no.':>4} {'sev.':<{sev}} {'slips':<5} {'fail.':<5} requirement", Tone.FAINT)
    for group in view.groups:
        yield from _group(group, sev)
    yield BLANK
    yield from flow(
        "no.: how many instances; interlock: whatever people do, in any order; procedure only: it fails in general and "
        "holds if the procedure is kept; nothing: it fails as written. slips: the fewest that break it (>2: more "
        "than two); fail.: how many declared failures alone break it; both along the procedure.",
        2,
        tone=Tone.FAINT,
    )


def _group(group: HeldGroup, sev: int) -> Iterator[Line]:
    word = "procedure only" if group.holder is Holder.SUPPLIED else group.holder.value
    cell, notes = severity_cell(group.text.severity)
    start = f"  {word:<15} {len(group.members):>4} {cell:<{sev}} {group.fewest:<5} {group.failures:<5} "
    first, *rest = flow(group.text.from_, len(start), tone=group.tone)
    yield Line(start + first.text[len(start) :], first.tone)
    yield from rest
    for note in notes:
        yield from flow(note, len(start), tone=Tone.FAINT)
    if group.holder is Holder.SUPPLIED:
        yield from flow("only while supplies are steady", len(start), tone=Tone.FAINT)
    if not group.arises:
        yield from flow("the situation never arises", len(start), tone=Tone.FAINT)
    if group.holder is not Holder.INTERLOCK:
        yield from flow(f"source: {group.text.source}", len(start), 2, Tone.FAINT)


def _assumed(view: AuditView) -> Iterator[Line]:
    yield from heading("What this audit assumes")
    yield from bullets(view.facts.assumptions)
    yield from identified_lines(view.facts.identification)
    yield from heading("Caution")
    for text in view.facts.cautions:
        yield from flow(text, 2)
    yield BLANK
    yield Line("  Reviewed by ______________________________   date ____________")
    yield BLANK
