"""A verification as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.report.text.cores import core_lines
from interlock.report.text.identified import identified_lines
from interlock.report.text.lines import BLANK, WIDTH, Line, Tone, flow, heading, labelled, severity_cell
from interlock.report.text.never import never_lines
from interlock.report.text.runs import after_lines, reason_lines
from interlock.report.views.assumptions import IN_SHORT
from interlock.report.views.blame import Pointer
from interlock.report.views.proof import MOST_NAMED, TONES, AnswerView, Group, LeftOpen, ProofView
from interlock.report.views.proof_facts import DeadEnd, Reachable, Status, StoryFacts
from interlock.report.views.proof_words import (
    FROM_THERE,
    VERDICTS,
    dead_end,
    depth_said,
    how_it_fails,
    instance_said,
    length_of,
    notes_of,
    tally_of,
)
from interlock.report.views.wording import ACTORS, count_of, listed, seconds_as_text, sentence, shortened

MOST_SAID_IN_SHORT = 2
"""Sentences about each thing to look at first, where not everything is told."""
MOST_IN_FULL = 5
"""Texts whose requirements fail, of which everything is told unless it is asked for."""


def proof_report(proof: ProofView, quiet: bool, verbose: bool, full: bool, seconds: float) -> tuple[Line, ...]:
    """The whole report, with how long it took; `quiet`, only what does not hold.

    Where much fails, orders of steps and what is assumed are left out unless they are asked for: `full`, or `verbose`.
    """
    if quiet:
        return brief_lines(proof)
    cores = core_lines(proof.facts.grounds or ())
    few = sum(bool(group.failing) for group in proof.groups) <= MOST_IN_FULL
    whole = full or verbose or few
    return *proof_lines(proof, verbose, timed=True, full=whole), *cores, Line(proof.summary(seconds), proof.tone)


def proof_lines(proof: ProofView, every: bool, timed: bool = False, full: bool = True) -> tuple[Line, ...]:
    """The whole report but its last line; with `every`, each instance is listed and each `can` is shown.

    `timed`: with how many seconds it took until an instance was decided.  Not `full`: of what fails the sentence, how
    long the shortest order of steps is and what to look at first, and of what is assumed where that is told.
    """
    lines = [*_head(proof), *_table(proof.groups, every, timed), *_unused(proof)]
    for group in proof.groups:
        lines += _disputed(group)
    told: dict[tuple[Pointer, ...], str] = {}
    for group in proof.groups:
        lines += _failing(group, told) if full else _failing_in_short(group, told)
    lines += () if full else _left_out()
    lines += _undecided(proof.open)
    if every:
        for group in proof.groups:
            lines += _shown(group)
    lines += _assumed(proof, full)
    return tuple(lines)


def brief_lines(proof: ProofView) -> tuple[Line, ...]:
    """Only what does not simply hold, a line for each group, disputes in full, and what governs; else nothing."""
    lines = [line for group in proof.groups for line in _disputed(group)]
    for group in proof.groups:
        if group.status not in (Status.HOLDS, Status.VACUOUS):
            text = f"{proof.facts.description}: {VERDICTS[group.status]} {group.text.from_}: {tally_of(group)}"
            # one line each, however long: this is what other programs read
            lines.append(Line(text, TONES[group.status]))
    if lines:
        lines.append(Line(IN_SHORT))
    return tuple(lines)


def _head(proof: ProofView) -> Iterator[Line]:
    facts = proof.facts
    yield from flow(facts.title, tone=Tone.HEAD)
    yield from labelled("description:", facts.description, 2)
    yield from labelled("contains:", proof.contains, 2)
    size = f"{count_of(facts.machine.variables, 'variable')}, {count_of(facts.machine.rules, 'possible step')}"
    yield from labelled("as a state machine:", size, 2)
    if facts.modifications:
        changes = [f"{change.verb} {change.object}" for change in facts.modifications]
        yield from labelled("modified:", shortened(changes, MOST_NAMED), 2)
    if facts.situation is not None:
        yield from labelled("starts from:", facts.situation, 2)
    asked = f"{count_of(len(facts.requirements), 'requirement')} from {count_of(len(proof.groups), 'text')}"
    yield from labelled("asked:", asked, 2)
    if proof.replaced:
        yield from labelled("replaced by the description's own text:", ", ".join(proof.replaced), 2, Tone.OPEN)


def _table(groups: Sequence[Group], every: bool, timed: bool) -> Iterator[Line]:
    yield from heading("Requirements")
    if not groups:
        yield from flow("Nothing was asked of this hold, so nothing is proved of it.", 2, tone=Tone.OPEN)
        return
    schemes = sorted({group.text.scheme for group in groups if group.text.scheme})
    if schemes:
        yield from flow(f"sev.: severity by {', '.join(schemes)}", 2, tone=Tone.FAINT)
    wide = max([len(tally_of(group)) for group in groups] + [len("how many")])
    sev = max([len(severity_cell(group.text.severity)[0]) for group in groups] + [len("sev.")])
    yield Line(f"  {'verdict':<9}  {'how many':<{wide}}  {'sev.':<{sev}}  requirement", Tone.FAINT)
    for group in groups:
        cell, notes = severity_cell(group.text.severity)
        start = f"  {VERDICTS[group.status]:<9}  {tally_of(group):<{wide}}  {cell:<{sev}}  "
        yield from _row(start, group.text.from_, TONES[group.status])
        for note in (*notes_of(group), *notes):
            yield from flow(note, len(start), tone=Tone.FAINT)
        if every:
            for answer in group.answers:
                status = answer.facts.status
                after = f", after {seconds_as_text(answer.after)}" if timed and answer.after is not None else ""
                yield from flow(f"{VERDICTS[status]:<9}  {instance_said(answer)}{after}", 4, 11, TONES[status])


def _row(start: str, text: str, tone: Tone) -> Iterator[Line]:
    first, *rest = flow(text, len(start), tone=tone)
    yield Line(start + first.text[len(start) :], tone)
    yield from rest


def _unused(proof: ProofView) -> Iterator[Line]:
    for text in proof.scope:
        yield BLANK
        yield from flow(text, 2, 2, Tone.FAINT)


def _failing(group: Group, told: dict[tuple[Pointer, ...], str]) -> Iterator[Line]:
    """`told` are pointers that were told in full, by the id of the requirement for which they were."""
    if not group.failing:
        return
    answer, *others = group.failing
    facts = answer.facts
    yield from _title("FAILS", answer, Tone.BAD)
    yield from _pointed(answer, told)
    yield from _about(group)
    if facts.kind == "can":
        yield BLANK
        yield from flow("No sequence of steps, however long, ever brings this about.", 2)
        yield from _why_never(answer)
    elif facts.story is not None and isinstance(facts.finding, DeadEnd):
        yield from _dead_end(facts.finding, facts.story)
        yield from _why_never(answer)
    elif facts.story is not None and isinstance(facts.finding, Reachable):
        yield BLANK
        yield from flow(length_of(facts.finding, bool(facts.forbidden_steps)), 2)
        yield from story_lines(facts.story, facts.forbidden_steps)
    yield from _also(others)
    for other in others:
        if other.pointers and other.pointers not in told:
            yield BLANK
            yield from flow(f"For {other.about}:", 2)
            yield from _pointed(other, told)


def _failing_in_short(group: Group, told: dict[tuple[Pointer, ...], str]) -> Iterator[Line]:
    if not group.failing:
        return
    answer, *others = group.failing
    yield BLANK
    yield from flow(f"FAILS  {answer.facts.id}", hang=7, tone=Tone.BAD)
    yield from flow(sentence(answer.facts.text), 2)
    yield from flow(how_it_fails(answer), 2)
    yield from _pointed(answer, told, MOST_SAID_IN_SHORT)
    yield from _also(others, spaced=False)
    for other in others:
        if other.pointers and other.pointers not in told:
            yield from flow(f"For {other.about}:", 2)
            yield from _pointed(other, told, MOST_SAID_IN_SHORT)


def _left_out() -> Iterator[Line]:
    yield BLANK
    yield from flow(
        "The orders of steps that lead to these, and why nothing stops them: --full, or --only with the id of one.",
        2,
        tone=Tone.HEAD,
    )


def _pointed(answer: AnswerView, told: dict[tuple[Pointer, ...], str], most: int | None = None) -> Iterator[Line]:
    """What to look at first, before all else, of each thing `most` sentences; what was told before, in short."""
    before = told.setdefault(answer.pointers, answer.facts.id)
    for number, pointer in enumerate(answer.pointers):
        yield from labelled("and there at:" if number else "look first at:", pointer.at, 2, Tone.OPEN)
        if before != answer.facts.id:
            yield from flow(f"- as told of {before}", 4, 2)
            return
        for text in pointer.sentences[:most]:
            yield from flow(f"- {text}", 4, 2)


def _why_never(answer: AnswerView) -> Iterator[Line]:
    if answer.never is not None:
        yield from never_lines(answer.never)
    elif answer.told_with:
        yield from flow(f"What keeps it from being is told with {answer.told_with}.", 2)


def _dead_end(finding: DeadEnd, story: StoryFacts) -> Iterator[Line]:
    yield BLANK
    yield from flow(dead_end(finding), 2)
    yield from run_lines(story)
    yield BLANK
    yield from flow(FROM_THERE, 2, tone=Tone.BAD)
    if story.reached:
        yield BLANK
        yield Line("  What is still in the way there", Tone.HEAD)
        yield from reason_lines(story.reached)


def _also(others: Sequence[AnswerView], spaced: bool = True) -> Iterator[Line]:
    if not others:
        return
    names = [answer.about + ("" if answer.steps is None else f" ({answer.steps})") for answer in others]
    counted = any(answer.steps is not None for answer in others)
    note = " (in brackets: how many steps lead there)" if counted else ""
    if spaced:
        yield BLANK
    yield from flow(f"It also fails for{note}: {shortened(names, MOST_NAMED)}", 2, 2)


def _title(word: str, answer: AnswerView, tone: Tone) -> Iterator[Line]:
    yield BLANK
    yield Line("-" * WIDTH, Tone.FAINT)
    yield from flow(f"{word}  {answer.facts.id}", hang=len(word) + 2, tone=tone)
    yield from flow(sentence(answer.facts.text), 2)


def _about(group: Group) -> Iterator[Line]:
    text = group.text
    severity = text.severity + (f" ({text.scheme})" if text.scheme else "")
    harm = "" if text.harm is None else listed(text.harm) or "nobody and nothing"
    for label, said in (
        ("hazard:", text.hazard),
        ("harm to:", harm),
        ("severity:", severity),
        ("source:", text.source),
    ):
        if said:
            yield from labelled(label, said, 2)


def story_lines(story: StoryFacts, forbidden: Sequence[str]) -> Iterator[Line]:
    """A run, why its last step was possible, and why its end is what was asked about.

    `forbidden` are the steps that are possible at the end and must not be.
    """
    yield from run_lines(story)
    if story.last_step_possible:
        yield BLANK
        yield Line("  Why the last step was possible", Tone.HEAD)
        yield from reason_lines(story.last_step_possible)
    if forbidden:
        yield BLANK
        yield Line("  What is then possible, and must not be", Tone.HEAD)
        for text in forbidden:
            yield from flow(f"- {text}", 4, 2, Tone.BAD)
    if story.reached:
        yield BLANK
        yield Line("  Which part of the requirement broke", Tone.HEAD)
        yield from reason_lines(story.reached)


def run_lines(story: StoryFacts) -> Iterator[Line]:
    """A run: where it begins, and its steps."""
    if story.start:
        yield BLANK
        yield Line("  At the start", Tone.HEAD)
        for text in story.start:
            yield from flow(text, 4, 2)
    if story.steps:
        yield BLANK
        yield Line("  Step by step", Tone.HEAD)
        wide = len(str(len(story.steps)))
        for step in story.steps:
            yield from flow(f"{step.number:>{wide}}. {ACTORS[step.actor]}: {step.text}", 4, wide + 2)
            yield from after_lines(step.responses, step.after, 8 + wide)


def _undecided(open: Sequence[LeftOpen]) -> Iterator[Line]:
    for one in open:
        number = sum(len(answers) for answers in one.answers.values())
        yield BLANK
        yield Line("-" * WIDTH, Tone.FAINT)
        yield from flow(f"UNDECIDED  {count_of(number, 'requirement')}", tone=Tone.OPEN)
        yield from labelled("why:", one.reason, 2)
        yield from labelled("try:", one.what_to_try, 2)
        yield from flow(depth_said(one), 2)
        for text, answers in one.answers.items():
            names = [answer.about for answer in answers if answer.facts.bindings]
            yield from flow(f"- {text}" + (f": {shortened(names, MOST_NAMED)}" if names else ""), 2, 2)


def _disputed(group: Group) -> Iterator[Line]:
    for answer in group.having(Status.DISPUTED):
        yield BLANK
        yield Line("!" * WIDTH, Tone.LOUD)
        for text in (
            f"DISPUTED: {answer.facts.id}",
            "THIS IS A FAULT OF THIS PROGRAM, NOT OF THE HOLD.",
            "TWO PARTS OF THE PROGRAM CONTRADICT EACH OTHER ABOUT THIS REQUIREMENT.",
            "DO NOT USE ANY RESULT OF THIS RUN.",
        ):
            yield from flow(text, tone=Tone.LOUD)
        yield from labelled("What does not fit:", answer.dispute, tone=Tone.LOUD)
        yield from flow(
            "To report it, send the maintainers of this program the description, the requirements, the whole command "
            "line, this text and the output of 'interlock --version'.",
            tone=Tone.LOUD,
        )
        yield Line("!" * WIDTH, Tone.LOUD)


def _shown(group: Group) -> Iterator[Line]:
    """The runs that show a `can`."""
    for answer in group.having(Status.HOLDS):
        if answer.facts.story is not None and isinstance(answer.facts.finding, Reachable):
            yield from _title("CAN BE DONE", answer, Tone.GOOD)
            yield from flow(f"{count_of(answer.facts.finding.steps, 'step')} bring it about.", 2)
            yield from run_lines(answer.facts.story)


def _assumed(proof: ProofView, full: bool) -> Iterator[Line]:
    yield from heading("What this proof assumes")
    listed_elsewhere = () if full else proof.facts.assumptions
    if listed_elsewhere:
        told = f"'interlock describe {proof.facts.description}' lists them, and --full does here"
        yield from flow(f"- {count_of(len(listed_elsewhere), 'assumption')} about this hold: {told}.", 2, 2)
    for text in proof.assumptions[len(listed_elsewhere) :]:
        yield from flow(f"- {text}", 2, 2)
    yield from identified_lines(proof.facts.identification)
    yield from heading("Caution")
    for text in proof.cautions:
        yield from flow(text, 2)
    if proof.evidence is not None:
        yield BLANK
        yield from flow(f"Evidence for others to check: {proof.evidence} (begin with README.txt there)", 2, 2)
    yield BLANK
