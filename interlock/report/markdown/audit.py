"""An audit of a procedure as Markdown: the tables that a reviewer signs."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import bullets, heading, identified, signature, slips_by_kind, table
from interlock.report.views.audit import AuditView
from interlock.report.views.audit_facts import Effect, SlipFacts, Verdict
from interlock.report.views.facts import Run
from interlock.report.views.guilty import LEFT, LOOK_FIRST
from interlock.report.views.margin import MARGIN, others_text
from interlock.report.views.wording import listed, sentence


def audit_markdown(view: AuditView) -> str:
    """The whole audit."""
    return "\n".join(_parts(view)) + "\n"


def _run(run: Run | None) -> Iterator[str]:
    if run is None:
        return
    for step in run.steps:
        part = "" if step.action is None else f" (action {step.action})"
        slip = ""
        if step.slip is not None:
            slip = " **SLIP**" if step.slip == step.text else f" **SLIP** {in_markdown(step.slip)}"
        yield f"{step.number}. {in_markdown(step.text)}{part}{slip}"
    yield ""
    yield from bullets(reason.text for reason in run.because)


def _parts(view: AuditView) -> Iterator[str]:
    facts = view.facts
    yield from heading(facts.title, 1)
    yield f"- procedure: {in_markdown(facts.procedure)}"
    yield f"- hold: {in_markdown(facts.hold)} ({in_markdown(view.hold_title)})"
    yield f"- starts from: {in_markdown(facts.start)}"
    yield f"- result: **{in_markdown(view.result)}**"
    yield ""
    if view.first:
        yield from heading(LOOK_FIRST)
        yield from bullets(view.first)
    yield from heading("Actions")
    yield from table(
        ("no.", "line", "action", "how it goes"),
        ((str(one.number), str(one.line), one.text, one.verdict.value) for one in facts.actions),
    )
    for one in view.amiss:
        if one.run is not None and one.verdict is not Verdict.IDLE:
            yield from heading(f"Action {one.number}: {one.verdict.value}", 3)
            yield from bullets(reason.text for reason in one.why)
            yield from _run(one.run)
    if facts.goal_missed is not None:
        yield from heading("The procedure can end without its goal", 3)
        yield from _run(facts.goal_missed)
    if facts.broken:
        yield from heading("Requirements broken along the procedure")
    for breach in facts.broken:
        lost = " (when power is lost)" if breach.only_when_power_is_lost else ""
        yield from heading(breach.requirement + lost, 3)
        yield in_markdown(sentence(view.requirement(breach.requirement).text))
        yield ""
        yield from _run(breach.run)
    if view.left:
        yield from heading(LEFT)
        yield from bullets(view.left)
    yield from heading("Everybody called away, or power lost")
    yield from table(
        ("where", "can be broken", "left behind", "afterwards"),
        (
            (one.where, one.risks or "nothing", "; ".join(one.facts.left_behind), one.afterwards)
            for one in view.interruptions
        ),
    )
    yield from _slips(view)
    yield from heading("One declared failure")
    yield in_markdown(view.failures)
    yield ""
    for failure in () if facts.failures is None else facts.failures.hazardous:
        yield from heading(f"{sentence(failure.failure)} Breaks {listed(failure.breaks)}", 3)
        yield from _run(failure.run)
    yield from _margin(view)
    yield from heading("What holds each requirement")
    yield from table(
        ("requirement", "how many", "held by", "fewest slips", "single failures", "hazard", "severity", "source"),
        (
            (
                group.text.from_,
                str(len(group.members)),
                group.holder.value,
                group.fewest,
                group.failures,
                group.text.hazard,
                f"{group.text.severity} ({group.text.scheme})",
                group.text.source,
            )
            for group in view.groups
        ),
    )
    yield from heading("What this audit assumes")
    yield from bullets(facts.assumptions)
    yield from identified(facts.identification)
    yield from heading("Caution")
    yield from bullets(facts.cautions)
    yield from signature()


def _slips(view: AuditView) -> Iterator[str]:
    told, slips = view.slips, view.facts.slips
    if told is None or slips is None:
        return
    yield from heading("Slips")
    yield f"{in_markdown(told.followed)}. {in_markdown(told.counted)}"
    yield ""
    yield from slips_by_kind(told.kinds)
    yield from table(
        ("action", "slip", "leads to", "where it shows, or what it breaks"),
        (
            (str(one.action), f"{one.kind}: {one.text}", one.effect.value, _shows(one))
            for one in slips
            if one.effect is not Effect.HARMLESS
        ),
    )


def _margin(view: AuditView) -> Iterator[str]:
    margin = view.facts.margin
    if margin is None:
        return
    yield from heading(MARGIN)
    if margin.requirements:
        yield from table(
            ("requirement", "hazard", "severity", "fewest", "how many", "which"),
            (
                (row.requirement, row.hazard, row.severity, str(row.fewest), row.many, "; or ".join(row.told()))
                for row in margin.requirements
            ),
        )
    yield others_text(margin)
    yield ""
    yield in_markdown(f"{margin.complete} {margin.evidence}")
    yield ""


def _shows(one: SlipFacts) -> str:
    if one.breaks or one.misses:
        return listed(one.breaks) or f"not so at the end: {listed(one.misses)}"
    return "cannot be made" if one.cannot_be_made else listed([f"action {at}" for at in one.shows_at])
