"""WARNING, CAUTION and NOTE on a checklist: at most one before a step that a slip turns dangerous or that moves things.

What they say follows from the audit's slips and from the run.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import joined, perhaps_ours, say
from interlock.hold.compile.requirements import Instance
from interlock.report.views.checklist_facts import Guard, note
from interlock.report.views.harm import LABELS, NOTE, label_of, severity_in_brief
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.kept_limits import limit_guards
from interlock.report.views.moving import moving_in, stand_clear
from interlock.report.views.wording import listed, sentence
from interlock.study.checklist.audit import ChecklistAudit
from interlock.study.checklist.making import Step
from interlock.study.checklist.operating import Deed
from interlock.study.procedure.slip_audit import Effect
from interlock.study.procedure.slips import Slip, SlipKind

MOST_SAID = 3
"""Hazards, and ways to avoid them, that one box names; what leads to more is told with the slips."""
_PLAINEST = tuple(SlipKind)


@frozen
class Danger:
    """A slip that breaks the requirement `id`, by itself or (`pair`) with another one."""

    slip: Slip
    pair: bool
    id: str


def dangers_of(audited: ChecklistAudit) -> tuple[Danger, ...]:
    """The slips that people are to be warned of, of each requirement those that say most plainly where it goes wrong.

    Where a part that is left off only leaves out what is dangerous to omit by itself, that is left out; else the last
    step before which it is dangerous to leave off stands for all.  Pairs count where no slip does it alone, and the
    plainest of them stands for all.
    """
    slips = () if audited.audit.slips is None else audited.audit.slips.results
    alone: dict[str, list[Slip]] = {}
    for one in slips:
        for id in one.hazards:
            alone.setdefault(id, []).append(one.slip)
    found = [Danger(slip, False, id) for id, those in alone.items() for slip in _telling(those)]
    pairs: dict[str, list[Slip]] = {}
    for pair in audited.pairs:
        pairs.setdefault(pair.hazard.instance.requirement.id, []).extend(pair.slips)
    for id, those in pairs.items():
        if id not in alone:
            steps = Counter(audited.step_of(slip.action + 1) for slip in those)
            most = max((step for step in steps if step is not None), key=lambda step: steps[step], default=None)
            found += [Danger(slip, True, id) for slip in those if audited.step_of(slip.action + 1) in (most, None)]
    return tuple(found)


def _telling(slips: list[Slip]) -> Iterator[Slip]:
    plain = [slip for slip in slips if slip.kind is not SlipKind.INCOMPLETE]
    yield from plain
    last: dict[int, Slip] = {}
    for slip in slips:
        if slip.kind is SlipKind.INCOMPLETE and not any(slip.action <= one.action < slip.resumes for one in plain):
            last[slip.resumes] = max(slip, last.get(slip.resumes, slip), key=lambda one: one.action)
    yield from last.values()


def guards_of(
    writer: InstructionWriter,
    step: Step,
    audited: ChecklistAudit,
    instances: Mapping[str, Instance],
    dangers: Iterable[Danger],
) -> tuple[Guard, ...]:
    """What must be known before the step, in one box; none where there is nothing."""
    here = [one for one in dangers if audited.step_of(one.slip.action + 1) == step.number]
    boxes = [_box(one, _avoidance(writer, step, audited, one.slip), instances) for one in _plainest_first(here)]
    boxes.sort(key=lambda one: LABELS.index(one.label))
    boxes += limit_guards(writer, step, audited.audit.limits)
    clear = stand_clear(moving_in(writer, step.execution))
    boxes += [] if clear is None else [clear]
    unseen = any(
        one.effect is Effect.UNNOTICED and one.slip.kind is SlipKind.OMITTED for one in audited.slips_at(step.number)
    )
    if unseen and not here:
        boxes.append(note(say("No later step shows that step {number} was left out.", number=step.number)))
    return in_one_box(boxes)


def check_guards(
    audited: ChecklistAudit, first: int, end: int, instances: Mapping[str, Instance], dangers: Iterable[Danger]
) -> tuple[Guard, ...]:
    """What must be known before the checks behind the steps from `first` to before `end`, in one box."""
    here = [one for one in dangers if audited.is_check_of(one.slip.action, first, end)]
    return in_one_box(
        [_box(one, say("Complete every check of this part."), instances) for one in _plainest_first(here)]
    )


def _plainest_first(dangers: Iterable[Danger]) -> list[Danger]:
    """Of each requirement the plainest, in that order."""
    ordered = sorted(dangers, key=lambda one: (one.pair, _PLAINEST.index(one.slip.kind)))
    return list({one.id: one for one in reversed(ordered)}.values())[::-1]


def _box(danger: Danger, avoid: str, instances: Mapping[str, Instance]) -> Guard:
    instance = instances[danger.id]
    origin = instance.origin
    label = label_of(origin)
    what = (perhaps_ours(origin.hazard) or origin.hazard) if origin.hazard else say("a requirement breaks")
    hazard = sentence(say("{hazard} ({severity})", hazard=what, severity=severity_in_brief(origin)))
    broken = "A second slip can then break this: {text}" if danger.pair else "Otherwise this is no longer sure: {text}"
    consequence = sentence(say(broken, text=instance.text))
    return note(joined([hazard, consequence])) if label == NOTE else Guard(label, hazard, avoid, consequence)


def in_one_box(boxes: Sequence[Guard]) -> tuple[Guard, ...]:
    """One box in the place of several: the gravest gives label and consequence, all say what is to be avoided how."""
    told = [one for one in boxes if one.label != NOTE]
    notes = list(dict.fromkeys(one.hazard for one in boxes if one.label == NOTE))
    if not told:
        return (note(joined(notes)),) if notes else ()
    gravest = min(told, key=lambda one: LABELS.index(one.label))
    hazards = list(dict.fromkeys(one.hazard for one in told))[:MOST_SAID]
    avoid = list(dict.fromkeys(one.avoid for one in told))[:MOST_SAID]
    return (Guard(gravest.label, joined(hazards), joined(avoid), joined([gravest.consequence, *notes])),)


def _avoidance(writer: InstructionWriter, step: Step, audited: ChecklistAudit, slip: Slip) -> str:
    here = say("step {number}", number=step.number)
    match slip.kind:
        case SlipKind.OMITTED:
            return say("Do not leave out {here}.", here=here)
        case SlipKind.UNCHECKED:
            return say("Do not go on until {here} has shown its result.", here=here)
        case SlipKind.INCOMPLETE:
            return say("Complete {here} and all further steps of this part.", here=here)
        case SlipKind.REPEATED:
            return say("Do not do {here} twice.", here=here)
        case SlipKind.SWAPPED if audited.step_of(slip.action + 2) == step.number:
            return say("Complete {here} in the order told.", here=here)
        case SlipKind.SWAPPED:
            after = audited.step_of(slip.action + 2)
            return say(
                "Complete {here} before {later}.",
                here=here,
                later=say("the check") if after is None else say("step {number}", number=after),
            )
        case SlipKind.WRONG_WAY | SlipKind.WRONG_OBJECT:
            wrong = instead_of(writer, step, slip)
            return sentence(say("do not {order}", order=wrong))


def instead_of(writer: InstructionWriter, step: Step, slip: Slip) -> str:
    """The wrong deed as an instruction, without capital letter and full stop."""
    assert slip.instead is not None  # noqa: S101 -- asked only of slips that do another thing
    done = writer.compiled.origins.deed_of(slip.instead.rules[0])
    return writer.order(Deed((done.name,)), step.execution.before, step.execution.before)


def noticed(step: Step, audited: ChecklistAudit) -> str:
    """Where it shows that the step was left out, if it surely shows somewhere."""
    for one in audited.slips_at(step.number):
        if one.slip.kind is not SlipKind.OMITTED or one.effect not in (Effect.BLOCKED, Effect.DETECTED):
            continue
        steps = [audited.step_of(action) for action in one.shows_at]
        if one.effect is Effect.DETECTED or None in steps:
            return say("Without step {step}, a check at the end of a part is found not so.", step=step.number)
        later = sorted({number for number in steps if number is not None and number != step.number})
        if later:
            return say(
                "Without step {step}, step {later} does not work.",
                step=step.number,
                later=listed([str(n) for n in later], "or"),
            )
    return ""


def slip_words(writer: InstructionWriter, steps: Mapping[int, Step], audited: ChecklistAudit, slip: Slip) -> str:
    """A slip in the words of the checklist."""
    number = audited.step_of(slip.action + 1)
    here = say("a check") if number is None else say("step {number}", number=number)
    match slip.kind:
        case SlipKind.OMITTED:
            return say("{here} is left out", here=here)
        case SlipKind.UNCHECKED:
            if number is None:
                return say("{here} is left out", here=here)
            return say("{here} is left before it has shown its result", here=here)
        case SlipKind.INCOMPLETE:
            return say("the part is left off before {here}", here=here)
        case SlipKind.REPEATED:
            return say("{here} is done twice", here=here)
        case SlipKind.SWAPPED:
            after = audited.step_of(slip.action + 2)
            return say(
                "{later} is done before {here}",
                later=say("a check") if after is None else say("step {number}", number=after),
                here=here,
            )
        case SlipKind.WRONG_WAY | SlipKind.WRONG_OBJECT if number is None:
            return slip.text
    return say("instead of {here}: {order}", here=here, order=instead_of(writer, steps[number], slip))
