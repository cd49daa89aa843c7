"""A verification as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import RequirementText
from interlock.hold.tell import Story
from interlock.kernel.claims import Disputed, Fails, Holds, Undecided
from interlock.kernel.machine import RequirementKind
from interlock.kernel.recovery import Traps
from interlock.report.text.grounds import grounds_lines
from interlock.report.text.lines import BLANK, WIDTH, Line, Tone, flow, heading, labelled
from interlock.report.text.runs import after_lines, reason_lines
from interlock.report.views.assumptions import CAUTIONS, assumptions_of, checkers_of
from interlock.report.views.facts import as_reasons
from interlock.report.views.grouping import Group, groups_of, is_unshown, shortest_first
from interlock.report.views.wording import ACTORS, count_of, seconds_as_text, sentence, shortened
from interlock.study.forbidden import forbidden_steps
from interlock.study.proof_cores import ProofCore
from interlock.study.verify import Answer, Status, Verification

MOST_NAMED = 8
"""Other instances named beside the one that is told in full."""

TONES = {
    Status.HOLDS: Tone.GOOD,
    Status.VACUOUS: Tone.OPEN,
    Status.FAILS: Tone.BAD,
    Status.UNDECIDED: Tone.OPEN,
    Status.DISPUTED: Tone.LOUD,
}
_WORDS = {
    Status.HOLDS: "holds",
    Status.VACUOUS: "holds",
    Status.FAILS: "FAILS",
    Status.UNDECIDED: "undecided",
    Status.DISPUTED: "DISPUTED",
}


@dataclass(frozen=True, slots=True)
class Proof:
    """A verification and how it was asked for.

    `label` is what the reader calls the description; `texts` all requirement texts that were given, those that found
    nothing to range over included; `exit_code` what the program reports of this hold; `replaced` the ids for which the
    description's own text overruled a given one;
    `evidence` where the evidence was put (None: nowhere); `grounds` what the proofs rest on (None: not asked for).
    """

    label: str
    verification: Verification
    texts: tuple[RequirementText, ...]
    exit_code: int
    replaced: tuple[str, ...] = ()
    evidence: str | None = None
    grounds: tuple[ProofCore, ...] | None = None


def proof_lines(proof: Proof, every: bool) -> tuple[Line, ...]:
    """The whole report but its last line; with `every`, each instance is listed and each `can` is shown."""
    verification = proof.verification
    groups = groups_of(verification)
    lines = [*_head(proof), *_table(groups, every), *_unused(proof)]
    for group in groups:
        lines += _disputed(group)
    for group in groups:
        lines += _failing(verification, group)
    lines += _undecided(groups)
    if every:
        for group in groups:
            lines += _shown(group)
    lines += _assumed(proof)
    return tuple(lines)


def proof_report(proof: Proof, quiet: bool, verbose: bool, seconds: float) -> tuple[Line, ...]:
    """The whole report, with how long it took; `quiet`, only what does not hold."""
    if quiet:
        return brief_lines(proof)
    reasons = grounds_lines(proof.grounds or ())
    return *proof_lines(proof, verbose), *reasons, summary_line(proof.verification, seconds)


def brief_lines(proof: Proof) -> tuple[Line, ...]:
    """Only what does not simply hold, a line for each group, disputes in full."""
    lines: list[Line] = []
    groups = groups_of(proof.verification)
    for group in groups:
        lines += _disputed(group)
    for group in groups:
        if group.status not in (Status.HOLDS, Status.VACUOUS):
            number = len(group.having(group.status))
            text = f"{proof.label}: {_WORDS[group.status]} {group.origin.id}: {number} of {len(group.answers)}"
            # one line each, however long: this is what other programs read
            lines.append(Line(text, TONES[group.status]))
    return tuple(lines)


def summary_line(verification: Verification, seconds: float | None = None) -> Line:
    """`41 hold, 2 fail, 0 undecided in 3.2 s`; disputes come first where there are any."""
    vacuous = verification.count(Status.VACUOUS)
    holding = verification.count(Status.HOLDS) + vacuous
    parts = [
        f"{holding} hold" + (f" ({vacuous} never put to the test)" if vacuous else ""),
        f"{verification.count(Status.FAILS)} fail",
        f"{verification.count(Status.UNDECIDED)} undecided",
    ]
    disputed = verification.count(Status.DISPUTED)
    if disputed:
        parts.insert(0, f"{disputed} DISPUTED")
    tone = Tone.GOOD
    for status in (Status.UNDECIDED, Status.FAILS, Status.DISPUTED):
        if verification.count(status):
            tone = TONES[status]
    return Line(", ".join(parts) + ("" if seconds is None else f" in {seconds_as_text(seconds)}"), tone)


def counts_of(compiled: CompiledHold) -> str:
    """What the description contains, in numbers."""
    hold = compiled.hold
    parts = [
        (len(compiled.floor.bays), "bay"),
        (len(hold.doorways), "doorway"),
        (len(hold.devices), "device"),
        (len(hold.controls), "control"),
        (len(hold.zones), "drive zone"),
        (len(hold.circuits), "circuit"),
        (len(hold.relays), "relay"),
        (len(hold.sensors), "sensor"),
    ]
    return ", ".join(count_of(number, noun) for number, noun in parts if number)


def machine_counts(verification: Verification) -> str:
    """How large the state machine is."""
    machine = verification.machine
    counts = ((len(machine.variables), "variable"), (len(machine.rules), "possible step"))
    return ", ".join(count_of(number, noun) for number, noun in counts)


def _head(proof: Proof) -> Iterator[Line]:
    compiled = proof.verification.compiled
    yield from flow(compiled.hold.title, tone=Tone.HEAD)
    yield from labelled("description:", proof.label, 2)
    yield from labelled("contains:", counts_of(compiled), 2)
    yield from labelled("as a state machine:", machine_counts(proof.verification), 2)
    if compiled.hold.changes:
        changes = [f"{change.verb} {change.object}" for change in compiled.hold.changes]
        yield from labelled("modified:", shortened(changes, MOST_NAMED), 2)
    if compiled.situation is not None:
        yield from labelled("starts from:", compiled.situation, 2)
    asked = len(proof.verification.answers)
    origins = len({answer.instance.origin.id for answer in proof.verification.answers})
    text = f"{count_of(asked, 'requirement')} from {count_of(origins, 'text')}"
    yield from labelled("asked:", text, 2)
    if proof.replaced:
        yield from labelled("replaced by the description's own text:", ", ".join(proof.replaced), 2, Tone.OPEN)


def _table(groups: Sequence[Group], every: bool) -> Iterator[Line]:
    yield from heading("Requirements")
    if not groups:
        yield from flow("Nothing was asked of this hold, so nothing is proved of it.", 2, tone=Tone.OPEN)
        return
    schemes = sorted({group.origin.scheme for group in groups if group.origin.scheme})
    if schemes:
        yield from flow(f"sev.: severity by {', '.join(schemes)}", 2, tone=Tone.FAINT)
    wide = max([len(_tally(group)) for group in groups] + [len("how many")])
    sev = max([len(group.origin.severity) for group in groups] + [len("sev.")])
    yield Line(f"  {'verdict':<9}  {'how many':<{wide}}  {'sev.':<{sev}}  requirement", Tone.FAINT)
    for group in groups:
        start = f"  {_WORDS[group.status]:<9}  {_tally(group):<{wide}}  {group.origin.severity:<{sev}}  "
        yield from _row(start, group.origin.id, TONES[group.status])
        for note in _notes(group):
            yield from flow(note, len(start), tone=Tone.FAINT)
        if every:
            for answer in group.answers:
                yield from flow(f"{_WORDS[answer.status]:<9}  {_instance_line(answer)}", 4, 11, TONES[answer.status])


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
    unshown = sum(is_unshown(answer) for answer in group.answers)
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


def _instance_line(answer: Answer) -> str:
    text = answer.instance.requirement.id
    finding = answer.finding
    if answer.status is Status.VACUOUS:
        return f"{text} (the situation never arises)"
    if is_unshown(answer):
        return f"{text} (not shown that the situation arises)"
    if isinstance(finding, Fails | Traps):
        return f"{text} ({count_of(finding.claim.trace.depth, 'step')})"
    return text


def _unused(proof: Proof) -> Iterator[Line]:
    asked = {answer.instance.origin.id for answer in proof.verification.answers}
    known = {instance.origin.id for instance in proof.verification.compiled.instances}
    unused = [text.id for text in proof.texts if text.id not in known]
    if unused:
        yield BLANK
        yield from flow(f"Nothing in this hold for: {', '.join(unused)}", 2, 2, Tone.FAINT)
    yield from _without_room(proof.verification)
    left = [text.id for text in proof.texts if text.id in known and text.id not in asked]
    if left:
        yield BLANK
        yield from flow(f"Not asked this time: {count_of(len(left), 'requirement text')}", 2, 2, Tone.FAINT)


def _without_room(verification: Verification) -> Iterator[Line]:
    """Where something was asked of kinds of unit: the bays of which it was not, since the layout rules it out."""
    compiled = verification.compiled
    kinds = compiled.world.groups["units"]
    ids = {kind.id for kind in kinds}
    if not any(id in ids for answer in verification.answers for _, id in answer.instance.bindings):
        return
    for kind in kinds:
        room = kind.parts["bays"]
        assert isinstance(room, tuple)  # noqa: S101 -- a group, as `building` makes it
        without = [bay for bay in compiled.floor.bays if bay not in {thing.id for thing in room}]
        if without:
            yield BLANK
            text = f"Left out, as the layout has no room there for a {kind.phrase}: {shortened(without, MOST_NAMED)}"
            yield from flow(text, 2, 2, Tone.FAINT)


def _failing(verification: Verification, group: Group) -> Iterator[Line]:
    failing = shortest_first(group.having(Status.FAILS))
    if not failing:
        return
    answer = failing[0]
    yield from _title("FAILS", answer, Tone.BAD)
    yield from _about(group)
    if answer.instance.requirement.kind is RequirementKind.CAN:
        yield BLANK
        yield from flow("No order of steps, however long, ever brings this about.", 2)
    elif answer.story is not None and isinstance(answer.finding, Traps):
        yield from _dead_end(answer.finding, answer.story)
    elif answer.story is not None and isinstance(answer.finding, Fails):
        yield BLANK
        steps = forbidden_of(verification, answer)
        yield from flow(_length(answer.finding, bool(steps)), 2)
        yield from story_lines(answer.story, steps)
    yield from _also(failing[1:])


def _dead_end(finding: Traps, story: Story) -> Iterator[Line]:
    depth = finding.claim.trace.depth
    yield BLANK
    if depth == 0:
        yield from flow("From the very start it can never be brought about.", 2)
    else:
        more = "No shorter order of steps does." if finding.claim.shortest else "A shorter one may exist."
        yield from flow(f"{count_of(depth, 'step')} {'leads' if depth == 1 else 'lead'} to a dead end. {more}", 2)
    yield from story_lines(Story(story.start, story.steps, (), ()))
    yield BLANK
    yield from flow(
        "From here on it can never be brought about, whatever is done, unless something fails.", 2, tone=Tone.BAD
    )
    if story.reached:
        yield BLANK
        yield Line("  What is still in the way there", Tone.HEAD)
        yield from reason_lines(as_reasons(story.reached))


def forbidden_of(verification: Verification, answer: Answer) -> tuple[str, ...]:
    """The steps that are possible at the end of the run although the requirement forbids them."""
    if not isinstance(answer.finding, Fails):
        return ()
    glossary = verification.compiled.glossary
    state = answer.finding.claim.trace.states[-1]
    return forbidden_steps(verification.machine, glossary, answer.instance.requirement, state)


def _length(finding: Fails, about_a_step: bool) -> str:
    depth = finding.claim.trace.depth
    if depth == 0:
        return "The step is possible at the very start." if about_a_step else "It is broken at the very start."
    end = " to where the forbidden step is possible" if about_a_step else " there"
    text = f"{count_of(depth, 'step')} {'leads' if depth == 1 else 'lead'}{end}."
    return text + (" No shorter order of steps does." if finding.claim.shortest else " A shorter one may exist.")


def _also(others: Sequence[Answer]) -> Iterator[Line]:
    if not others:
        return
    names = []
    for answer in others:
        steps = f" ({answer.finding.claim.trace.depth})" if isinstance(answer.finding, Fails | Traps) else ""
        names.append(_about_what(answer) + steps)
    note = (
        " (in brackets: how many steps lead there)" if any(isinstance(o.finding, Fails | Traps) for o in others) else ""
    )
    yield BLANK
    yield from flow(f"It also fails for{note}: {shortened(names, MOST_NAMED)}", 2, 2)


def _about_what(answer: Answer) -> str:
    """`[3L,3L.aft]`: what the instance is about, as its id has it."""
    requirement = answer.instance.requirement
    return requirement.id.removeprefix(answer.instance.origin.id) or requirement.id


def _title(word: str, answer: Answer, tone: Tone) -> Iterator[Line]:
    yield BLANK
    yield Line("-" * WIDTH, Tone.FAINT)
    yield from flow(f"{word}  {answer.instance.requirement.id}", hang=len(word) + 2, tone=tone)
    yield from flow(sentence(answer.instance.text), 2)


def _about(group: Group) -> Iterator[Line]:
    origin = group.origin
    if origin.hazard:
        yield from labelled("hazard:", origin.hazard, 2)
    if origin.severity:
        yield from labelled("severity:", origin.severity + (f" ({origin.scheme})" if origin.scheme else ""), 2)
    if origin.source:
        yield from labelled("source:", origin.source, 2)


def story_lines(story: Story, forbidden: Sequence[str] = ()) -> Iterator[Line]:
    """A run, why its last step was possible, and why its end is what was asked about.

    `forbidden` are the steps that are possible at the end and must not be.
    """
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
    if story.possible:
        yield BLANK
        yield Line("  Why the last step was possible", Tone.HEAD)
        yield from reason_lines(as_reasons(story.possible))
    if forbidden:
        yield BLANK
        yield Line("  What is then possible, and must not be", Tone.HEAD)
        for text in forbidden:
            yield from flow(f"- {text}", 4, 2, Tone.BAD)
    if story.reached:
        yield BLANK
        yield Line("  Which part of the requirement broke", Tone.HEAD)
        yield from reason_lines(as_reasons(story.reached))


def _undecided(groups: Sequence[Group]) -> Iterator[Line]:
    """One block for all that is undecided for the same reason: there may be hundreds."""
    alike: dict[tuple[str, int], dict[str, list[Answer]]] = {}
    for group in groups:
        for answer in group.having(Status.UNDECIDED):
            if isinstance(answer.finding, Undecided):
                key = (answer.finding.reason, answer.finding.depth)
                alike.setdefault(key, {}).setdefault(group.origin.id, []).append(answer)
    for (reason, depth), by_origin in alike.items():
        number = sum(len(answers) for answers in by_origin.values())
        yield BLANK
        yield Line("-" * WIDTH, Tone.FAINT)
        yield from flow(f"UNDECIDED  {count_of(number, 'requirement')}", tone=Tone.OPEN)
        yield from labelled("why:", reason, 2)
        if depth >= 0:
            yield from flow(
                f"Up to {count_of(depth, 'step')} nothing was found; what longer orders of steps do is open.", 2
            )
        else:
            whether = "it holds nor that it fails" if number == 1 else "they hold nor that they fail"
            yield from flow(f"Nothing at all is known: neither that {whether}.", 2)
        for origin, answers in by_origin.items():
            names = [_about_what(answer) for answer in answers if answer.instance.bindings]
            yield from flow(f"- {origin}" + (f": {shortened(names, MOST_NAMED)}" if names else ""), 2, 2)
    if alike:
        yield BLANK
        yield from flow(
            "What may decide them: more of what was limited (--time, --memory, --depth), one requirement at a time "
            "(--only), another --method.",
            2,
        )


def _disputed(group: Group) -> Iterator[Line]:
    for answer in group.having(Status.DISPUTED):
        finding = answer.finding if isinstance(answer.finding, Disputed) else answer.occasion
        what = finding.what if isinstance(finding, Disputed) else "unknown"
        yield BLANK
        yield Line("!" * WIDTH, Tone.LOUD)
        for text in (
            f"DISPUTED: {answer.instance.requirement.id}",
            "THIS IS A FAULT OF THIS PROGRAM, NOT OF THE HOLD.",
            "TWO PARTS OF THE PROGRAM CONTRADICT EACH OTHER ABOUT THIS REQUIREMENT.",
            "DO NOT USE ANY RESULT OF THIS RUN.",
        ):
            yield from flow(text, tone=Tone.LOUD)
        yield from labelled("What does not fit:", what, tone=Tone.LOUD)
        yield from flow(
            "To report it, send the maintainers of this program the description, the requirements, the whole command "
            "line, this text and the output of 'interlock --version'.",
            tone=Tone.LOUD,
        )
        yield Line("!" * WIDTH, Tone.LOUD)


def _shown(group: Group) -> Iterator[Line]:
    """The runs that show a `can`."""
    for answer in group.answers:
        if answer.status is Status.HOLDS and isinstance(answer.finding, Fails) and answer.story is not None:
            yield from _title("CAN BE DONE", answer, Tone.GOOD)
            yield from flow(f"{count_of(answer.finding.claim.trace.depth, 'step')} bring it about.", 2)
            yield from story_lines(Story(answer.story.start, answer.story.steps, (), ()))


def _assumed(proof: Proof) -> Iterator[Line]:
    verification = proof.verification
    yield from heading("What this proof assumes")
    for text in assumptions_of(verification.compiled):
        yield from flow(f"- {text}", 2, 2)
    checkers = checkers_of(verification)
    if checkers:
        yield from flow(f"- Each proof was checked again, independently, by: {'; '.join(checkers)}.", 2, 2)
    if any(isinstance(answer.finding, Fails | Traps) for answer in verification.answers):
        yield from flow(
            "- Each order of steps was replayed step by step on the described hold. That no shorter one exists "
            "was looked for, and not checked a second time.",
            2,
            2,
        )
    if not checkers and any(isinstance(finding, Holds) for finding in verification.findings):
        yield from flow("- No proof was checked again.", 2, 2)
    yield from heading("Caution")
    for text in CAUTIONS:
        yield from flow(text, 2)
    if proof.evidence is not None:
        yield BLANK
        yield from flow(f"Evidence for others to check: {proof.evidence} (begin with README.txt there)", 2, 2)
    yield BLANK
