"""The page on which a hold is worked: one file, with its data and its scripts, that asks for nothing from elsewhere."""

from __future__ import annotations

import json
import re
from base64 import b64encode
from functools import partial
from hashlib import sha256
from importlib.resources import files

from interlock.diagnostics.said import in_language, is_translatable
from interlock.report.drawing.living import key_svg, living_plan_svg
from interlock.report.html.page import page
from interlock.report.languages import in_script, plain_values
from interlock.report.translation import ENGLISH, Translation
from interlock.report.views.harm import LABELS
from interlock.report.views.teaching import TeachingView

SCRIPTS = ("saying.js", "evaluator.js", "showing.js", "exercise.js", "working.js")
"""In this order; each stands on those before it."""


_SAID = re.compile(r'\bsay\(("(?:[^"\\]|\\.)*")')


def script_messages() -> tuple[str, ...]:
    """What the scripts say, each once: the messages that stand in them, and the labels of hazards."""
    folder = files("interlock.report.html")
    scripts = "".join(folder.joinpath(name).read_text(encoding="utf-8") for name in SCRIPTS)
    return tuple(dict.fromkeys((*map(json.loads, _SAID.findall(scripts)), *LABELS)))


def teaching_html(view: TeachingView, language: Translation = ENGLISH) -> str:
    """The page.  Only its own scripts run on it: the policy in its head names them by their digests."""
    tell = partial(in_language, language=language)
    folder = files("interlock.report.html")
    scripts = [folder.joinpath(name).read_text(encoding="utf-8") for name in SCRIPTS]
    digests = (b64encode(sha256(script.encode()).digest()).decode() for script in scripts)
    said = (
        {text: language.message(text, "", 1) or text for text in script_messages() if is_translatable(text)}
        if language is not ENGLISH
        else {}
    )
    words = {"words": said, "thousands": language.number(1_000)[1:-3]}
    told = {**words, "working": view.working, "runs": view.runs, "exercises": view.exercises}
    return page(
        "teaching.html.j2",
        language=language,
        view=view,
        # marked safe in the template: drawings of our own, in which xml.etree has escaped every text, and scripts
        plan=living_plan_svg(view.compiled, view.seen, view.numbers.rows.number, tell),
        key=key_svg(view.compiled, view.seen, tell),
        data=in_script(plain_values(told, tell)),
        scripts=scripts,
        sources=" ".join(f"'sha256-{digest}'" for digest in digests),
        style=folder.joinpath("teaching.css").read_text(encoding="utf-8"),
    )
