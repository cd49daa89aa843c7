"""An audit of a procedure as Markdown: the tables that a reviewer signs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.report.languages import in_markdown
from interlock.report.text.audit import (
    PAIRS_OPEN,
    audit_assumptions,
    audit_summary,
    failures_of,
    failures_text,
    fewest_text,
    held_groups,
    start_of,
)
from interlock.report.text.interrupted import afterwards_of, place_of
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.slip_words import EFFECT_HEADS, EFFECTS_EXPLAINED, counted_text, followed_text, kind_rows
from interlock.report.views.wording import count_of, listed, sentence
from interlock.study.procedure.audit import Audit, Verdict
from interlock.study.procedure.runs import Run
from interlock.study.procedure.slip_audit import Effect


def audit_markdown(audit: Audit, label: str) -> str:
    """The whole audit."""
    return "\n".join(_parts(audit, label)) + "\n"


def _table(head: Sequence[str], rows: Iterator[Sequence[str]]) -> Iterator[str]:
    yield "| " + " | ".join(head) + " |"
    yield "|" + "---|" * len(head)
    for row in rows:
        yield "| " + " | ".join(in_markdown(text) for text in row) + " |"
    yield ""


def _run(run: Run) -> Iterator[str]:
    for step in run.steps:
        part = "" if step.action is None else f" (action {step.action})"
        other = "" if step.slip is None or step.slip == step.text else in_markdown(step.slip)
        slip = "" if step.slip is None else f" **SLIP** {other}".rstrip()
        yield f"{step.number}. {in_markdown(step.text)}{part}{slip}"
    yield ""
    for reason in run.because:
        yield f"- {in_markdown(reason.text)}"
    yield ""


def _parts(audit: Audit, label: str) -> Iterator[str]:
    procedure = audit.bound.procedure
    yield f"# {in_markdown(procedure.title)}"
    yield ""
    yield f"- procedure: {in_markdown(label)}"
    yield f"- hold: {in_markdown(procedure.hold)} ({in_markdown(audit.bound.compiled.hold.title)})"
    yield f"- starts from: {in_markdown(start_of(audit))}"
    yield f"- result: **{in_markdown(audit_summary(audit).text)}**"
    yield ""
    yield "## Actions"
    yield ""
    yield from _table(
        ("no.", "action", "how it goes"),
        ((str(one.number), one.bound.action.text, one.verdict.value) for one in audit.actions),
    )
    for one in audit.actions:
        if one.run is not None and one.verdict not in (Verdict.POSSIBLE, Verdict.IDLE):
            yield f"### Action {one.number}: {in_markdown(one.verdict.value)}"
            yield ""
            for reason in one.why:
                yield f"- {in_markdown(reason.text)}"
            yield ""
            yield from _run(one.run)
    if audit.goal_missed is not None:
        yield "### The procedure can end without its goal"
        yield ""
        yield from _run(audit.goal_missed)
    if audit.breaches:
        yield "## Requirements broken along the procedure"
        yield ""
    for breach in audit.breaches:
        lost = " (when power is lost)" if breach.lost else ""
        yield f"### {in_markdown(breach.hazard.instance.requirement.id)}{lost}"
        yield ""
        yield in_markdown(sentence(breach.hazard.instance.text))
        yield ""
        yield from _run(breach.run)
    yield "## Everybody called away, or power lost"
    yield ""
    last = len(audit.actions)
    yield from _table(
        ("where", "can be broken", "left behind", "afterwards"),
        (
            (
                place_of(one, last),
                listed([*one.at_risk, *(f"{id} (if power is lost)" for id in one.at_risk_lost)]) or "nothing",
                "; ".join(one.left),
                afterwards_of(one, last),
            )
            for one in audit.interruptions
        ),
    )
    yield from _slips(audit)
    yield "## One declared failure"
    yield ""
    yield in_markdown(failures_text(audit))
    yield ""
    for failure in () if audit.failures is None else audit.failures.results:
        yield f"### {in_markdown(sentence(failure.text))} Breaks {in_markdown(listed(failure.hazards))}"
        yield ""
        yield from _run(failure.run)
    yield "## What holds each requirement"
    yield ""
    yield from _table(
        ("requirement", "how many", "held by", "fewest slips", "single failures", "hazard", "severity", "source"),
        (
            (
                group.origin.id,
                str(len(group.members)),
                group.holder.value,
                fewest_text(audit, group),
                failures_of(audit, group),
                group.origin.hazard,
                f"{group.origin.severity} ({group.origin.scheme})",
                group.origin.source,
            )
            for group in held_groups(audit.held)
        ),
    )
    yield "Reviewed by: ______________________ date: ____________"
    yield ""
    yield "## What this audit assumes"
    yield ""
    for text in audit_assumptions(audit):
        yield f"- {in_markdown(text)}"
    yield ""
    yield "## Caution"
    yield ""
    for text in CAUTIONS:
        yield f"- {in_markdown(text)}"


def _slips(audit: Audit) -> Iterator[str]:
    if audit.slips is None:
        return
    results = audit.slips.results
    yield "## Slips"
    yield ""
    yield f"{in_markdown(followed_text(audit.slips))}. {in_markdown(counted_text(audit.slips))}"
    yield ""
    yield from _table(
        ("slip", "SHERPA", *EFFECT_HEADS.values()),
        ((row.kind, row.mode, *(str(number) for number in row.counts)) for row in kind_rows(results)),
    )
    yield in_markdown(EFFECTS_EXPLAINED)
    yield ""
    yield from _table(
        ("action", "slip", "leads to", "where it shows, or what it breaks"),
        (
            (
                str(one.slip.action + 1),
                f"{one.slip.kind.word}: {one.slip.text}",
                one.effect.value,
                listed(one.hazards)
                or ("cannot be made" if one.impossible else listed([f"action {at}" for at in one.shows_at])),
            )
            for one in results
            if one.effect is not Effect.HARMLESS
        ),
    )
    pairs = [one for one in audit.slips.combinations if len(one.slips) > 1]
    number = f"{count_of(len(pairs), 'pair')} of slips lead to a hazard that neither leads to by itself."
    yield number if pairs or audit.slips.together > 1 else PAIRS_OPEN
    yield ""
    if pairs:
        yield from _table(
            ("requirement", "first slip", "second slip"),
            ((one.hazard.instance.requirement.id, *(slip.id for slip in one.slips)) for one in pairs),
        )
