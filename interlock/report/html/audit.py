"""An audit as one page to print and sign: no script, nothing fetched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.resources import files

from interlock import __version__
from interlock.kernel.claims import Disputed
from interlock.report.languages import html_environment
from interlock.report.text.audit import (
    HOLDER_TONES,
    MOST_COMBINATIONS,
    HeldGroup,
    audit_assumptions,
    audit_findings,
    audit_summary,
    failures_of,
    failures_text,
    fewest_text,
    held_groups,
    start_of,
)
from interlock.report.text.interrupted import LAST_STEPS, afterwards_of, place_of
from interlock.report.text.lines import Tone
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.slip_words import (
    EFFECT_HEADS,
    EFFECTS_EXPLAINED,
    counted_text,
    fewest_rows,
    followed_text,
    kind_rows,
)
from interlock.report.views.wording import ACTORS, listed, sentence
from interlock.study.procedure.audit import Audit, Verdict
from interlock.study.procedure.interruptions import Interruption
from interlock.study.procedure.slip_audit import Effect

TEMPLATE = "audit.html.j2"
MOST_LEFT = 4
_CLASSES = {Tone.GOOD: "good", Tone.BAD: "bad", Tone.LOUD: "bad", Tone.OPEN: "open"}


@dataclass(frozen=True, slots=True)
class _Row:
    """One interruption in words."""

    where: str
    risks: str
    left: str
    afterwards: str


def audit_html(audit: Audit, label: str) -> str:
    """The page; the same audit gives the same bytes."""
    text = files("interlock.report.html").joinpath(TEMPLATE).read_text(encoding="utf-8")
    template = html_environment().from_string(text)
    slips = audit.slips
    results = () if slips is None else slips.results
    summary = audit_summary(audit)
    return template.render(
        audit=audit,
        label=label,
        procedure=audit.bound.procedure,
        hold=audit.bound.compiled.hold.title,
        start=start_of(audit),
        result=summary.text,
        tone=_CLASSES.get(summary.tone, ""),
        disputed=[one for one in audit_findings(audit) if isinstance(one, Disputed)],
        groups=[_group(audit, group) for group in held_groups(audit.held)],
        amiss=[one for one in audit.actions if one.verdict is not Verdict.POSSIBLE],
        interruptions=_interruptions(audit),
        rows=kind_rows(results),
        followed="" if slips is None else followed_text(slips),
        counted="" if slips is None else counted_text(slips),
        sentence=sentence,
        failures_text=failures_text(audit),
        hazardous=[one for one in results if one.effect is Effect.HAZARD],
        unnoticed=[one for one in results if one.effect is Effect.UNNOTICED],
        fewest=() if slips is None else fewest_rows(slips),
        assumptions=audit_assumptions(audit),
        cautions=CAUTIONS,
        actors=ACTORS,
        effect_heads=tuple(EFFECT_HEADS.values()),
        effects_explained=EFFECTS_EXPLAINED,
        most_steps=LAST_STEPS,
        most_named=MOST_COMBINATIONS,
        version=__version__,
    )


def _group(audit: Audit, group: HeldGroup) -> dict[str, object]:
    return {
        "origin": group.origin,
        "members": group.members,
        "holder": group.holder,
        "tone": _CLASSES.get(HOLDER_TONES[group.holder], ""),
        "arises": any(one.arises for one in group.members),
        "failures": failures_of(audit, group),
        "fewest_text": fewest_text(audit, group),
    }


def _interruptions(audit: Audit) -> list[_Row]:
    """One row for neighbouring places of which the same is to be said."""
    rows: list[_Row] = []
    for one in audit.interruptions:
        row = _interruption(one, len(audit.actions))
        if rows and (rows[-1].risks, rows[-1].left, rows[-1].afterwards) == (row.risks, row.left, row.afterwards):
            first = rows.pop().where.removeprefix("from ").partition(" to ")[0]
            row = replace(row, where=f"from {first} to {row.where}")
        rows.append(row)
    return rows


def _few(left: Sequence[str]) -> list[str]:
    """As much of what is left behind as a row of the table takes."""
    more = [f"{len(left) - MOST_LEFT} more"] if len(left) > MOST_LEFT else []
    return [*left[:MOST_LEFT], *more]


def _interruption(one: Interruption, last: int) -> _Row:
    risks = listed([*one.at_risk, *(f"{id} (if power is lost)" for id in one.at_risk_lost)])
    return _Row(place_of(one, last), risks, "; ".join(_few(one.left)), afterwards_of(one, last))
