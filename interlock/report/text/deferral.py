"""What may be deferred, as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.report.text.identified import identified_lines
from interlock.report.text.lines import BLANK, WIDTH, Line, Tone, bullets, flow, heading, labelled
from interlock.report.text.proof import story_lines
from interlock.report.views.deferral import DeferralView, failing_anyway
from interlock.report.views.deferral_facts import CaseFacts, FailingFacts, OptionFacts
from interlock.report.views.wording import count_of, listed, seconds_as_text, sentence, shortened

MOST_NAMED = 6
MOST_APART = 5
"""So many requirements that fail are told one by one; of more those of one text together."""
MOST_OPTIONS = 8


def deferral_report(view: DeferralView, told: int, verbose: bool, seconds: float) -> tuple[Line, ...]:
    """The whole report; of each case the runs of so many requirements that fail are told."""
    return tuple(_lines(view, told, verbose, seconds))


def _lines(view: DeferralView, told: int, verbose: bool, seconds: float) -> Iterator[Line]:
    facts = view.facts
    yield from flow(facts.title, tone=Tone.HEAD)
    yield from labelled("description:", facts.description, 2)
    if len(facts.cases) > 1:
        yield from heading("All cases")
        for inoperative, kept, left in view.table:
            yield from flow(f"- {inoperative}", 2, 2, Tone.HEAD)
            yield from labelled("keep:", kept, 6)
            if left != "-":
                yield from labelled("leaves:", f"{left} ways to carry a unit", 6)
    for case in facts.cases:
        yield BLANK
        yield Line("-" * WIDTH, Tone.FAINT)
        yield from flow(f"Inoperative: {listed([one.text for one in case.items])}", 0, 2, Tone.HEAD)
        yield from flow(view.result(case), 2, tone=_tone(case))
        yield from _case(view, case, told, verbose)
    yield from heading("What this assumes")
    yield from bullets(facts.assumptions)
    yield from identified_lines(facts.identification)
    yield from heading("Caution")
    for text in facts.cautions:
        yield from flow(text, 2)
    yield BLANK
    yield from flow(f"{view.summary}, in {seconds_as_text(seconds)}", tone=view.tone)


def _tone(case: CaseFacts) -> Tone:
    return {"none needed": Tone.GOOD, "undecided": Tone.OPEN, "disputed": Tone.LOUD}.get(case.result, Tone.BAD)


def _case(view: DeferralView, case: CaseFacts, told: int, verbose: bool) -> Iterator[Line]:
    anyway = failing_anyway(case)
    added = tuple(one for one in case.failing if one not in anyway)
    for title, some in (("What fails without limitations", added), ("What fails with nothing inoperative too", anyway)):
        if some:
            yield from heading(title)
        for one, others in _by_text(some, verbose):
            yield from _failing(one)
            if others:
                yield from labelled("so too:", shortened([other.id for other in others], MOST_NAMED), 6)
    if case.options:
        yield from heading("Smallest sets of limitations")
    for number, option in enumerate(case.options[: len(case.options) if verbose else MOST_OPTIONS], 1):
        yield from _option(case, number, option, verbose)
    if not verbose and len(case.options) > MOST_OPTIONS:
        yield from flow(f"and {len(case.options) - MOST_OPTIONS} more (-v names all)", 2)
    if case.options or case.result == "no limitation found":
        yield from labelled("looked at:", "; ".join(case.looked_at), 2)
    if case.carried:
        yield from heading("What it leaves, limitations aside")
        left = f"{case.left} of {case.carried} ways to carry a unit secured behind shut doors (kinds times bays)"
        yield from flow(left, 2)
        if case.lost:
            yield from labelled("no longer:", shortened(case.lost, len(case.lost) if verbose else MOST_NAMED), 2)
    if case.unknown:
        yield from labelled("not known whether still carried:", shortened(case.unknown, MOST_NAMED), 2)
    for one in case.lost_work[: len(case.lost_work) if verbose else MOST_NAMED]:
        yield from flow(f"- no longer can be done: {one.id}: {one.text}", 2, 2)
    if not verbose and len(case.lost_work) > MOST_NAMED:
        yield from flow(f"and {len(case.lost_work) - MOST_NAMED} more (-v names all)", 2)
    if before := [id for id in case.failed_before if id not in {one.id for one in anyway}]:
        most = len(before) if verbose else MOST_NAMED
        yield from labelled("cannot be done with nothing inoperative either:", shortened(before, most), 2)
    for relief in view.relief(case):
        yield from heading("Draft of a line for the list, to be approved")
        yield from labelled("item:", relief.item, 2)
        yield from labelled("number installed:", relief.installed, 2)
        yield from labelled("number required for dispatch:", relief.required, 2)
        for remark in relief.remarks:
            yield from flow(f"- {remark}", 4, 2)
    for title, steps in view.procedures(case):
        yield from heading(f"Draft of a procedure: {title}")
        for number, step in enumerate(steps, 1):
            yield from flow(f"[ ] {number}. {sentence(step)}", 2, 7)
    for one in [one for one in case.failing if one.hopeless or told][: max(told, 1)]:
        if one.story is not None and told:
            yield from heading(f"How {one.id} breaks")
            yield from story_lines(one.story, ())


def _by_text(failing: Sequence[FailingFacts], verbose: bool) -> Iterator[tuple[FailingFacts, list[FailingFacts]]]:
    """The requirements that fail, those of one text behind the first of them where there are many."""
    if verbose or len(failing) <= MOST_APART:
        yield from ((one, []) for one in failing)
        return
    texts: dict[str, list[FailingFacts]] = {}
    for one in failing:
        texts.setdefault(one.from_, []).append(one)
    yield from ((first, rest) for first, *rest in texts.values())


def _failing(one: FailingFacts) -> Iterator[Line]:
    yield from flow(f"- {one.id}: {one.text}", 2, 2, Tone.BAD)
    yield from labelled("hazard:", f"{one.hazard}; severity {one.severity} ({one.scheme})", 6)
    if one.story is not None:
        yield from labelled("run:", f"{count_of(len(one.story.steps), 'step')} (--runs shows it)", 6)
    if one.hopeless:
        yield from flow("none of the limitations looked at would stop it", 6, tone=Tone.BAD)


def _option(case: CaseFacts, number: int, option: OptionFacts, verbose: bool) -> Iterator[Line]:
    for at, one in enumerate(option.limitations):
        mark = f"{number}. " if at == 0 else "   "
        yield from flow(mark + sentence(one.order), 2, 3)
    if option.leaves is None:
        yield from flow("what it leaves was not worked out", 5)
        return
    yield from flow(f"leaves {len(option.leaves)} of {case.left} ways to carry a unit", 5)
    if option.takes:
        yield from labelled("takes:", shortened(option.takes, len(option.takes) if verbose else MOST_NAMED), 5)
    if option.unknown:
        yield from labelled("not known:", shortened(option.unknown, MOST_NAMED), 5)
