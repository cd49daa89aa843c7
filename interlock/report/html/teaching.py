"""The page on which a hold is worked: one file, with its data and its scripts, that asks for nothing from elsewhere."""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256
from importlib.resources import files

from interlock.report.drawing.living import key_svg, living_plan_svg
from interlock.report.html.page import page
from interlock.report.languages import in_script, plain_values
from interlock.report.views.teaching import TeachingView

SCRIPTS = ("evaluator.js", "showing.js", "exercise.js", "working.js")
"""In this order; each stands on those before it."""


def teaching_html(view: TeachingView) -> str:
    """The page.  Only its own scripts run on it: the policy in its head names them by their digests."""
    folder = files("interlock.report.html")
    scripts = [folder.joinpath(name).read_text(encoding="utf-8") for name in SCRIPTS]
    digests = (b64encode(sha256(script.encode()).digest()).decode() for script in scripts)
    told = {"working": view.working, "runs": view.runs, "exercises": view.exercises}
    return page(
        "teaching.html.j2",
        view=view,
        # marked safe in the template: drawings of our own, in which xml.etree has escaped every text, and scripts
        plan=living_plan_svg(view.compiled, view.seen, view.numbers.rows.number),
        key=key_svg(view.compiled, view.seen),
        data=in_script(plain_values(told)),
        scripts=scripts,
        sources=" ".join(f"'sha256-{digest}'" for digest in digests),
        style=folder.joinpath("teaching.css").read_text(encoding="utf-8"),
    )
