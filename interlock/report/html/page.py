"""Pages from templates: no script, nothing fetched, every text escaped but style and drawings, which are ours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from importlib.resources import files
from string import ascii_lowercase

from jinja2 import FunctionLoader

from interlock import __version__
from interlock.report.languages import html_environment
from interlock.report.views.sheets import Sheet
from interlock.report.views.slips import EFFECT_HEADS, EFFECTS_EXPLAINED
from interlock.report.views.tones import Tone
from interlock.report.views.wording import ACTORS, count_of, listed, sentence

CLASSES = {Tone.GOOD: "good", Tone.BAD: "bad", Tone.LOUD: "bad", Tone.OPEN: "open"}
"""What the style of a page calls a tone."""


def page(template: str, sheet: Sheet | None = None, **told: object) -> str:
    """The template filled in; the same values give the same bytes.

    What is to be signed has a `sheet` and goes into one frame; what is only worked with has none.
    """
    environment = html_environment()
    environment.loader = FunctionLoader(_text)
    environment.globals.update(
        actors=ACTORS,
        effect_heads=tuple(EFFECT_HEADS.values()),
        effects_explained=EFFECTS_EXPLAINED,
        classes=CLASSES,
        count_of=count_of,
        listed=listed,
        sentence=sentence,
        style=_text("page.css"),
        version=__version__,
    )
    return environment.get_template(template).render(sheet=sheet, **told)


def letters(texts: Iterable[str]) -> Mapping[str, str]:
    """A letter for each text that says something, in their order: `a` to `z`, then `aa`."""
    return {text: _letter(at) for at, text in enumerate(dict.fromkeys(filter(None, texts)))}


def _letter(at: int) -> str:
    more, last = divmod(at, len(ascii_lowercase))
    return (_letter(more - 1) if more else "") + ascii_lowercase[last]


def _text(name: str) -> str:
    return files("interlock.report.html").joinpath(name).read_text(encoding="utf-8")
