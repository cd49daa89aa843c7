"""Pages from templates: no script, nothing fetched, every text escaped."""

from __future__ import annotations

from importlib.resources import files

from interlock import __version__
from interlock.report.languages import html_environment
from interlock.report.views.slips import EFFECT_HEADS, EFFECTS_EXPLAINED
from interlock.report.views.wording import ACTORS, sentence


def page(template: str, **told: object) -> str:
    """The template filled in with what is told; the same values give the same bytes."""
    environment = html_environment()
    environment.globals.update(
        actors=ACTORS,
        effect_heads=tuple(EFFECT_HEADS.values()),
        effects_explained=EFFECTS_EXPLAINED,
        sentence=sentence,
        version=__version__,
    )
    source = files("interlock.report.html").joinpath(template).read_text(encoding="utf-8")
    return environment.from_string(source).render(**told)
