"""A comparison of two holds as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.report.text.identified import identified_lines
from interlock.report.text.lines import BLANK, Line, Tone, bullets, flow, heading, labelled
from interlock.report.text.proof import run_lines
from interlock.report.text.runs import reason_lines
from interlock.report.views.blame import said_changes
from interlock.report.views.comparison import ORDER, TOLD_TURNS, ComparisonView
from interlock.report.views.comparison_facts import DifferenceFacts, Turn, VerdictChange
from interlock.report.views.facts import Reason
from interlock.report.views.wording import count_of, seconds_as_text, sentence, shortened

MOST_NAMED = 4
_TONES = {Turn.BROKEN: Tone.BAD, Turn.NEW_FAILS: Tone.BAD, Turn.MENDED: Tone.GOOD}


def comparison_report(view: ComparisonView, told: int, verbose: bool, seconds: float) -> tuple[Line, ...]:
    """The whole report; of so many differences of each sort, the nearest first, the sequence is told."""
    return tuple(_lines(view, told, verbose, seconds))


def _lines(view: ComparisonView, told: int, verbose: bool, seconds: float) -> Iterator[Line]:
    facts = view.facts
    for label, hold in (("first:", facts.first), ("second:", facts.second)):
        yield from labelled(label, f"{hold.title} ({hold.description})", 2)
    yield BLANK
    yield from flow(view.summary, 2, tone=view.tone)
    if facts.disputed is not None:
        yield from flow(f"DISPUTED: {facts.disputed}", 2, tone=Tone.LOUD)
    if facts.verdicts is not None:
        yield from flow(f"Requirements: {view.turns}.", 2)
    yield from _descriptions(view)
    yield from _starts(view)
    yield from _verdicts(view, verbose)
    for what in ORDER:
        found = view.of(what)
        if found:
            yield from heading(what)
        for at, one in enumerate(found):
            yield from _difference(one, at < told, verbose)
    yield from _rest(view, verbose)
    yield from heading("What this comparison assumes")
    yield from bullets(facts.assumptions)
    yield from identified_lines(facts.identification)
    yield from heading("Caution")
    for text in facts.cautions:
        yield from flow(text, 2)
    yield BLANK
    yield from flow(f"{view.summary} In {seconds_as_text(seconds)}.", tone=view.tone)


def _descriptions(view: ComparisonView) -> Iterator[Line]:
    facts = view.facts
    yield from heading("What is written otherwise")
    if not facts.descriptions:
        yield from flow("Nothing.", 2)
    for one in facts.descriptions:
        yield from flow(f"- {one.item}: {one.now}{f' ({one.was})' if one.was else ''}", 2, 2)
    for same in facts.renamed:
        why = "taken to be the same, as nothing else is so like it" if same.guessed else "the same, as you say"
        yield from flow(f"- {same.first} is called {same.second}: {why}", 2, 2)


def _starts(view: ComparisonView) -> Iterator[Line]:
    if view.facts.starts:
        yield from heading("At the start of one of them alone")
        yield from bullets(f"{one.of} hold: {one.text}" for one in view.facts.starts)
        yield from flow("Runs that begin there are not compared; the verdicts on requirements cover them.", 2)


def _verdicts(view: ComparisonView, verbose: bool) -> Iterator[Line]:
    if view.facts.verdicts is None:
        return
    turns = [turn for turn in TOLD_TURNS if view.turned(turn)]
    if turns:
        yield from heading("What became of the requirements")
    for turn in turns:
        title = f"{sentence(turn).rstrip('.')} ({len(view.turned(turn))})"
        yield from flow(title, 2, tone=_TONES.get(turn, Tone.PLAIN))
        for first, *others in view.groups(turn):
            yield from flow(f"- {first.id}: {first.text}", 4, 2)
            if others:
                names = [one.id for one in others]
                yield from labelled("so too:", shortened(names, len(names) if verbose else MOST_NAMED), 8)
            if turn in (Turn.BROKEN, Turn.NEW_FAILS):
                yield from labelled("hazard:", f"{first.hazard}; severity {first.severity} ({first.scheme})", 8)
                yield from _against(first, verbose)


def _against(one: VerdictChange, verbose: bool) -> Iterator[Line]:
    if one.story is not None and not verbose:
        yield from labelled("run:", f"{count_of(len(one.story.steps), 'step')}; 'interlock prove' or -v shows it", 8)
    elif one.story is not None:
        yield from run_lines(one.story)


def _difference(one: DifferenceFacts, told: bool, verbose: bool) -> Iterator[Line]:
    yield BLANK
    yield from flow(f"- {one.text}", 2, 2, Tone.BAD)
    if one.others:
        yield from labelled("so too:", shortened(one.others, len(one.others) if verbose else MOST_NAMED), 4)
    if one.not_settled:
        yield from labelled("not asked, or not known, of:", shortened(one.not_settled, MOST_NAMED), 4)
    if one.comes_from:
        said = " or ".join(said_changes(changes) for changes in one.comes_from)
        yield from labelled("comes from:", f"{said} (without, this sequence no longer leads there)", 4)
    end = "No shorter sequence does." if one.shortest else "A shorter one may exist."
    yield from labelled("after:", f"{count_of(one.steps, 'step')} that both can take. {end}", 4)
    if told or verbose:
        yield from run_lines(one.story)
    if one.then or one.then_in_other:
        yield from labelled(f"then, in the {one.told_of} hold:", "; ".join(one.then) or "nothing changes", 4)
        yield from labelled("then, in the other one:", "; ".join(one.then_in_other) or "nothing changes", 4)
    other = "first" if one.told_of == "second" else "second"
    yield from _reasons(f"In the {one.told_of} hold", one.why)
    yield from _reasons(f"In the {other} hold", one.why_not)


def _reasons(title: str, reasons: Sequence[Reason]) -> Iterator[Line]:
    if reasons:
        yield BLANK
        yield Line(f"    {title}", Tone.HEAD)
        yield from reason_lines(reasons, 6)


def _rest(view: ComparisonView, verbose: bool) -> Iterator[Line]:
    facts = view.facts
    if facts.not_otherwise:
        yield from heading("Proved not to be otherwise")
        for one in facts.not_otherwise:
            number = count_of(len(one.texts), "step" if one.what.is_of_step else "state")
            named = shortened(one.texts, len(one.texts) if verbose else MOST_NAMED)
            yield from flow(f"- {one.what}: none, of {number} that the change may touch: {named}", 2, 2)
        yield from flow("All other steps and states are written alike in both.", 2)
        yield from flow(f"Checked again by {facts.checked_by}.", 2)
    if facts.open:
        yield from heading("Not known")
        yield from bullets(facts.open)
        yield from flow("What may settle it: more time (--time).", 2)
    for label, compared in (("first", facts.first), ("second", facts.second)):
        if compared.only:
            yield from heading(f"Only in the {label} hold")
            yield from flow(shortened(compared.only, len(compared.only) if verbose else 12), 2, 2)
