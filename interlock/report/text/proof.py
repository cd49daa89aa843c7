"""A verification as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.report.text.cores import core_lines
from interlock.report.text.lines import BLANK, WIDTH, Line, Tone, flow, heading, labelled, severity_cell
from interlock.report.text.never import never_lines
from interlock.report.text.runs import after_lines, reason_lines
from interlock.report.views.blame import Pointer
from interlock.report.views.proof import MOST_NAMED, TONES, AnswerView, Group, LeftOpen, ProofView
from interlock.report.views.proof_facts import DeadEnd, Reachable, Status, StoryFacts
from interlock.report.views.wording import ACTORS, count_of, listed, seconds_as_text, sentence, shortened

_WORDS = {
    Status.HOLDS: "holds",
    Status.VACUOUS: "holds",
    Status.FAILS: "FAILS",
    Status.UNDECIDED: "undecided",
    Status.DISPUTED: "DISPUTED",
}


def proof_report(proof: ProofView, quiet: bool, verbose: bool, seconds: float) -> tuple[Line, ...]:
    """The whole report, with how long it took; `quiet`, only what does not hold."""
    if quiet:
        return brief_lines(proof)
    cores = core_lines(proof.facts.grounds or ())
    return *proof_lines(proof, verbose, timed=True), *cores, Line(proof.summary(seconds), proof.tone)


def proof_lines(proof: ProofView, every: bool, timed: bool = False) -> tuple[Line, ...]:
    """The whole report but its last line; with `every`, each instance is listed and each `can` is shown.

    `timed`: with how many seconds it took until an instance was decided.
    """
    lines = [*_head(proof), *_table(proof.groups, every, timed), *_unused(proof)]
    for group in proof.groups:
        lines += _disputed(group)
    told: dict[tuple[Pointer, ...], str] = {}
    for group in proof.groups:
        lines += _failing(group, told)
    lines += _undecided(proof.open)
    if every:
        for group in proof.groups:
            lines += _shown(group)
    lines += _assumed(proof)
    return tuple(lines)


def brief_lines(proof: ProofView) -> tuple[Line, ...]:
    """Only what does not simply hold, a line for each group, disputes in full."""
    lines = [line for group in proof.groups for line in _disputed(group)]
    for group in proof.groups:
        if group.status not in (Status.HOLDS, Status.VACUOUS):
            text = f"{proof.facts.description}: {_WORDS[group.status]} {group.text.from_}: {_tally(group)}"
            # one line each, however long: this is what other programs read
            lines.append(Line(text, TONES[group.status]))
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
    wide = max([len(_tally(group)) for group in groups] + [len("how many")])
    sev = max([len(severity_cell(group.text.severity)[0]) for group in groups] + [len("sev.")])
    yield Line(f"  {'verdict':<9}  {'how many':<{wide}}  {'sev.':<{sev}}  requirement", Tone.FAINT)
    for group in groups:
        cell, notes = severity_cell(group.text.severity)
        start = f"  {_WORDS[group.status]:<9}  {_tally(group):<{wide}}  {cell:<{sev}}  "
        yield from _row(start, group.text.from_, TONES[group.status])
        for note in (*_notes(group), *notes):
            yield from flow(note, len(start), tone=Tone.FAINT)
        if every:
            for answer in group.answers:
                status = answer.facts.status
                after = f", after {seconds_as_text(answer.after)}" if timed and answer.after is not None else ""
                yield from flow(f"{_WORDS[status]:<9}  {_instance_line(answer)}{after}", 4, 11, TONES[status])


def _row(start: str, text: str, tone: Tone) -> Iterator[Line]:
    first, *rest = flow(text, len(start), tone=tone)
    yield Line(start + first.text[len(start) :], tone)
    yield from rest


def _tally(group: Group) -> str:
    status = group.status
    number = len(group.answers) if status in (Status.HOLDS, Status.VACUOUS) else len(group.having(status))
    return f"{number} of {len(group.answers)}"


def _notes(group: Group) -> Iterator[str]:
    total = len(group.answers)
    vacuous = len(group.having(Status.VACUOUS))
    unshown = sum(answer.unshown for answer in group.answers)
    if vacuous == total:
        yield "holds, but the situation never arises"
    elif vacuous:
        yield f"in {vacuous} of them the situation never arises"
    if unshown:
        yield ("" if unshown == total else f"in {unshown} of them ") + "not shown that the situation arises"
    others = [
        f"{len(group.having(status))} {word}"
        for status, word in ((Status.FAILS, "fail"), (Status.UNDECIDED, "undecided"), (Status.HOLDS, "hold"))
        if status is not group.status and group.having(status)
    ]
    if others and group.status not in (Status.HOLDS, Status.VACUOUS):
        yield "the others: " + ", ".join(others)


def _instance_line(answer: AnswerView) -> str:
    if answer.facts.status is Status.VACUOUS:
        return f"{answer.facts.id} (the situation never arises)"
    if answer.unshown:
        return f"{answer.facts.id} (not shown that the situation arises)"
    return answer.facts.id + ("" if answer.steps is None else f" ({count_of(answer.steps, 'step')})")


def _unused(proof: ProofView) -> Iterator[Line]:
    unused = proof.facts.nothing_to_range_over
    said = [f"Nothing in this hold for: {', '.join(unused)}"] if unused else []
    said += proof.left_out
    if proof.not_asked:
        said.append(f"Not asked this time: {count_of(proof.not_asked, 'requirement text')}")
    for text in said:
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
        yield from flow("No order of steps, however long, ever brings this about.", 2)
        yield from _why_never(answer)
    elif facts.story is not None and isinstance(facts.finding, DeadEnd):
        yield from _dead_end(facts.finding, facts.story)
        yield from _why_never(answer)
    elif facts.story is not None and isinstance(facts.finding, Reachable):
        yield BLANK
        yield from flow(_length(facts.finding, bool(facts.forbidden_steps)), 2)
        yield from story_lines(facts.story, facts.forbidden_steps)
    yield from _also(others)
    for other in others:
        if other.pointers and other.pointers not in told:
            yield BLANK
            yield from flow(f"For {other.about}:", 2)
            yield from _pointed(other, told)


def _pointed(answer: AnswerView, told: dict[tuple[Pointer, ...], str]) -> Iterator[Line]:
    """What to look at first, before all else; what was told before, in short."""
    before = told.setdefault(answer.pointers, answer.facts.id)
    for number, pointer in enumerate(answer.pointers):
        yield from labelled("and there at:" if number else "look first at:", pointer.at, 2, Tone.OPEN)
        if before != answer.facts.id:
            yield from flow(f"- as told of {before}", 4, 2)
            return
        for text in pointer.sentences:
            yield from flow(f"- {text}", 4, 2)


def _why_never(answer: AnswerView) -> Iterator[Line]:
    if answer.never is not None:
        yield from never_lines(answer.never)
    elif answer.told_with:
        yield from flow(f"What keeps it from being is told with {answer.told_with}.", 2)


def _dead_end(finding: DeadEnd, story: StoryFacts) -> Iterator[Line]:
    yield BLANK
    if finding.steps == 0:
        yield from flow("From the very start it can never be brought about.", 2)
    else:
        yield from flow(f"{_leads(finding.steps)} to a dead end.{_shorter(finding.shortest)}", 2)
    yield from run_lines(story)
    yield BLANK
    yield from flow(
        "From here on it can never be brought about, whatever is done, unless something fails.", 2, tone=Tone.BAD
    )
    if story.reached:
        yield BLANK
        yield Line("  What is still in the way there", Tone.HEAD)
        yield from reason_lines(story.reached)


def _length(finding: Reachable, about_a_step: bool) -> str:
    if finding.steps == 0:
        return "The step is possible at the very start." if about_a_step else "It is broken at the very start."
    end = " to where the forbidden step is possible" if about_a_step else " there"
    return f"{_leads(finding.steps)}{end}.{_shorter(finding.shortest, finding.failures)}"


def _leads(steps: int) -> str:
    return f"{count_of(steps, 'step')} {'leads' if steps == 1 else 'lead'}"


def _shorter(shortest: bool, failures: int | None = None) -> str:
    """Beside the run; `failures` strike on it (None: none can)."""
    if failures:
        if shortest:
            return " None with fewer failures does, and no shorter one with as many."
        return " One with fewer failures, or a shorter one, may exist."
    if failures is not None and shortest:
        return " Nothing fails on the way; no shorter order of steps does without a failure."
    return " No shorter order of steps does." if shortest else " A shorter one may exist."


def _also(others: Sequence[AnswerView]) -> Iterator[Line]:
    if not others:
        return
    names = [answer.about + ("" if answer.steps is None else f" ({answer.steps})") for answer in others]
    counted = any(answer.steps is not None for answer in others)
    note = " (in brackets: how many steps lead there)" if counted else ""
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
        if one.depth >= 0:
            yield from flow(
                f"Up to {count_of(one.depth, 'step')} nothing was found; what longer orders of steps do is open.", 2
            )
        else:
            whether = "it holds nor that it fails" if number == 1 else "they hold nor that they fail"
            yield from flow(f"Nothing at all is known: neither that {whether}.", 2)
        for text, answers in one.answers.items():
            names = [answer.about for answer in answers if answer.facts.bindings]
            yield from flow(f"- {text}" + (f": {shortened(names, MOST_NAMED)}" if names else ""), 2, 2)
    if open:
        yield BLANK
        yield from flow(
            "What may decide them: more of what was limited (--time, --memory, --depth), one requirement at a time "
            "(--only), another --method.",
            2,
        )


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


def _assumed(proof: ProofView) -> Iterator[Line]:
    yield from heading("What this proof assumes")
    for text in proof.assumptions:
        yield from flow(f"- {text}", 2, 2)
    yield from heading("Caution")
    for text in proof.cautions:
        yield from flow(text, 2)
    if proof.evidence is not None:
        yield BLANK
        yield from flow(f"Evidence for others to check: {proof.evidence} (begin with README.txt there)", 2, 2)
    yield BLANK
