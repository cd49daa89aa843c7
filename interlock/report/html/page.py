"""Pages from templates: no script, nothing fetched, every text escaped but style and drawings, which are ours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial
from importlib.resources import files
from string import ascii_lowercase

from jinja2 import FunctionLoader

from interlock import __version__
from interlock.diagnostics.said import in_language, joined, say
from interlock.report.drawing.shapes import Tell
from interlock.report.languages import html_environment, in_css
from interlock.report.translation import ENGLISH, Translation
from interlock.report.views.sheets import Sheet
from interlock.report.views.slips import EFFECT_HEADS, EFFECTS_EXPLAINED
from interlock.report.views.tones import Tone
from interlock.report.views.wording import ACTORS, capital, count_of, listed, sentence, span_of

CLASSES = {Tone.GOOD: "good", Tone.BAD: "bad", Tone.LOUD: "bad", Tone.OPEN: "open"}
"""What the style of a page calls a tone."""


def page(template: str, sheet: Sheet | None = None, language: Translation = ENGLISH, **told: object) -> str:
    """The template filled in; the same values give the same bytes.

    What is to be signed has a `sheet` and goes into one frame; what is only worked with has none.  Every text that is
    filled in is told in the language; those of templates are messages, in `say`.
    """
    tell = partial(in_language, language=language)
    environment = html_environment(tell)
    environment.loader = FunctionLoader(_text)
    environment.globals.update(
        actors=ACTORS,
        effect_heads=tuple(map(say, EFFECT_HEADS.values())),
        effects_explained=EFFECTS_EXPLAINED,
        classes=CLASSES,
        capital=capital,
        count_of=count_of,
        joined=joined,
        language=language.code,
        listed=listed,
        say=say,
        sentence=sentence,
        sheet_count=_sheet_count(tell),
        sheet_mark="" if sheet is None else in_css(tell(sheet.mark)),
        span_of=span_of,
        style=_text("page.css"),
        version=__version__,
    )
    filled = environment.get_template(template)
    once = filled.render(sheet=sheet, notes=(), **told)
    # what is to be said of a translation is known once everything is said
    notes = language.notes()
    return filled.render(sheet=sheet, notes=notes, **told) if notes else once


def _sheet_count(tell: Tell) -> str:
    """Which sheet of paper of how many it is, as the content of a style."""
    said = say("Sheet {page} of {pages}", page="(page)", pages="(pages)")
    text = f'"{in_css(tell(said))}"'
    for counter in ("(page)", "(pages)"):
        text = text.replace(counter, f'" counter{counter} "')
    return text.replace(' ""', "")


def letters(texts: Iterable[str]) -> Mapping[str, str]:
    """A letter for each text that says something, in their order: `a` to `z`, then `aa`."""
    return {text: _letter(at) for at, text in enumerate(dict.fromkeys(filter(None, texts)))}


def _letter(at: int) -> str:
    more, last = divmod(at, len(ascii_lowercase))
    return (_letter(more - 1) if more else "") + ascii_lowercase[last]


def _text(name: str) -> str:
    return files("interlock.report.html").joinpath(name).read_text(encoding="utf-8")
