"""Pages from templates: no script, nothing fetched, every text escaped but the style, which is ours."""

from __future__ import annotations

from importlib.resources import files

from interlock import __version__
from interlock.report.languages import html_environment
from interlock.report.views.slips import EFFECT_HEADS, EFFECTS_EXPLAINED
from interlock.report.views.tones import Tone
from interlock.report.views.wording import ACTORS, sentence

CLASSES = {Tone.GOOD: "good", Tone.BAD: "bad", Tone.LOUD: "bad", Tone.OPEN: "open"}
"""What the style of a page calls a tone."""


def page(template: str, **told: object) -> str:
    """The template filled in with what is told; the same values give the same bytes."""
    environment = html_environment()
    folder = files("interlock.report.html")
    environment.globals.update(
        actors=ACTORS,
        effect_heads=tuple(EFFECT_HEADS.values()),
        effects_explained=EFFECTS_EXPLAINED,
        classes=CLASSES,
        sentence=sentence,
        style=folder.joinpath("page.css").read_text(encoding="utf-8"),
        version=__version__,
    )
    source = folder.joinpath(template).read_text(encoding="utf-8")
    return environment.from_string(source).render(**told)
