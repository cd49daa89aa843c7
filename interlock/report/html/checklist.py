"""A checklist as one printable page: no script, nothing fetched, a plan of the hold at the end of every part."""

from __future__ import annotations

from importlib.resources import files

from interlock import __version__
from interlock.report.drawing.plan import plan_svg, plan_without_key_svg
from interlock.report.languages import html_environment
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.checklist_printed import SCHEME, Words
from interlock.report.views.slips import EFFECT_HEADS, EFFECTS_EXPLAINED
from interlock.study.checklist.making import Checklist

TEMPLATE = "checklist.html.j2"


def checklist_html(checklist: Checklist, words: Words) -> str:
    """The page; the same checklist gives the same bytes."""
    text = files("interlock.report.html").joinpath(TEMPLATE).read_text(encoding="utf-8")
    template = html_environment().from_string(text)
    compiled = checklist.compiled
    first = plan_svg(compiled, checklist.start, "Before you start")
    # marked safe in the template: our own drawings, in which xml.etree has escaped every text
    plans = [
        plan_without_key_svg(compiled, leg.end, f"After part {number}: {spoken.title}")
        for number, (leg, spoken) in enumerate(zip(checklist.legs, words.legs, strict=True), 1)
    ]
    return template.render(
        words=words,
        plans=plans,
        first=first,
        cautions=CAUTIONS,
        scheme=SCHEME,
        effect_heads=tuple(EFFECT_HEADS.values()),
        effects_explained=EFFECTS_EXPLAINED,
        version=__version__,
    )
