"""A checklist as Markdown with tick boxes."""

from __future__ import annotations

from interlock.report.languages import in_markdown
from interlock.report.text.checklist import run_of
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.checklist_printed import SCHEME, Guard, LegWords, Words
from interlock.report.views.slips import EFFECT_HEADS, EFFECTS_EXPLAINED


def checklist_markdown(words: Words) -> str:
    """The checklist; every text of the description is escaped."""
    lines = [f"# Checklist: {in_markdown(words.title)}", "", in_markdown(words.hold), ""]
    lines += [f"> {in_markdown(caution)}" for caution in CAUTIONS]
    lines += ["", "## Before you start", ""]
    lines += [f"- [ ] {in_markdown(text)}" for text in words.before]
    for number, leg in enumerate(words.legs, 1):
        lines += _leg(number, leg)
    lines += _slips(words)
    lines += ["", "## What is proved", ""]
    lines += [f"- {in_markdown(claim)}" for claim in words.claims]
    lines += ["", in_markdown(SCHEME), ""]
    return "\n".join(lines)


def _leg(number: int, leg: LegWords) -> list[str]:
    lines = ["", f"## {number}. {in_markdown(leg.title)}", ""]
    if leg.beware is not None:
        lines += [_guard(leg.beware), ""]
    begins = {first: last for first, last in leg.runs}
    for step in leg.steps:
        if step.number in begins:
            lines += ["", f"*In any order, {run_of(step.number, begins[step.number])}:*", ""]
        if step.guards:
            lines += ["", *(_guard(guard) for guard in step.guards), ""]
        lines.append(f"- [ ] **{step.number}.** {in_markdown(step.instruction)}")
        lines += [f"  - {in_markdown(result)}" for result in step.results]
    lines += [line for finding in leg.findings for line in ("", f"> **AUDIT:** {in_markdown(finding)}")]
    if leg.check_guards:
        lines += ["", *(_guard(guard) for guard in leg.check_guards)]
    if leg.checks:
        lines += ["", "Check:", "", *(f"- [ ] {in_markdown(check)}" for check in leg.checks)]
    lines += ["", in_markdown(" ".join(filter(None, (leg.free, leg.shortness))))]
    return lines


def _slips(words: Words) -> list[str]:
    lines = ["", "## Slips", ""]
    slips = words.slips
    if slips is None:
        return [*lines, in_markdown(f"Not examined: {'; '.join(words.open)}.")]
    heads = ["slip", "error mode", *EFFECT_HEADS.values()]
    lines += [f"{in_markdown(slips.followed)}.", "", "| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    for row in slips.kinds:
        lines.append(
            "| " + " | ".join([in_markdown(row.kind), row.mode, *(str(number) for number in row.counts)]) + " |"
        )
    lines += ["", in_markdown(EFFECTS_EXPLAINED), ""]
    if slips.fewest:
        lines += ["| requirement | hazard | severity | fewest slips | which |", "|---|---|---|---|---|"]
    for fewest in slips.fewest:
        which = "; ".join(" and ".join(those) for those in fewest.combinations)
        cells = [fewest.requirement, fewest.hazard, fewest.severity, str(fewest.number), which]
        lines.append("| " + " | ".join(in_markdown(text) for text in cells) + " |")
    if not slips.fewest:
        lines.append("No slip that was followed leads to a hazard.")
    lines += [line for text in words.open for line in ("", in_markdown(f"Left open: {text}."))]
    return [*lines, "", in_markdown(slips.counted)]


def _guard(guard: Guard) -> str:
    return f"> **{guard.label}:** {in_markdown(guard.text)}"
