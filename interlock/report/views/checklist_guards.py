"""WARNING, CAUTION and NOTE on a checklist: where they stand and what they say follows from the audit's slips."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from interlock.hold.compile.requirements import Instance
from interlock.report.views.checklist_facts import CAUTION, NOTE, WARNING, Guard, Label, note
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.wording import listed, sentence
from interlock.study.checklist.audit import ChecklistAudit
from interlock.study.checklist.making import Step
from interlock.study.checklist.operating import Deed
from interlock.study.procedure.slip_audit import Effect
from interlock.study.procedure.slips import Slip, SlipKind

_LABELS: Mapping[str, Label] = {"1": WARNING, "2": WARNING, "3": CAUTION}
_ORDER = (WARNING, CAUTION, NOTE)


@dataclass(frozen=True, slots=True)
class _Danger:
    """A slip that breaks the requirement `id`, by itself or (`pair`) with another one, and what is said of it."""

    kind: SlipKind
    pair: bool
    id: str
    avoid: str
    consequence: str


def guards_of(
    writer: InstructionWriter, step: Step, audited: ChecklistAudit, instances: Mapping[str, Instance]
) -> Iterator[Guard]:
    """What must be known before the step, gravest first."""
    slips = audited.slips_at(step.number)
    dangers = [
        _Danger(one.slip.kind, False, id, *_avoidance(writer, step, audited, one.slip, id))
        for one in slips
        for id in one.hazards
    ]
    for pair in audited.pairs:
        for slip in pair.slips:
            if audited.step_of(slip.action + 1) == step.number:
                id = pair.hazard.instance.requirement.id
                avoid, _ = _avoidance(writer, step, audited, slip, id)
                dangers.append(_Danger(slip.kind, True, id, avoid, f"With a second slip, requirement {id} can break."))
    yield from _of_dangers(dangers, instances)
    if not dangers and any(one.effect is Effect.UNNOTICED and one.slip.kind is SlipKind.OMITTED for one in slips):
        yield note(f"No later step shows that step {step.number} was left out.")


def check_guards(audited: ChecklistAudit, first: int, end: int, instances: Mapping[str, Instance]) -> tuple[Guard, ...]:
    """What must be known before the checks behind the steps from `first` to before `end`."""
    avoid = "Complete every check of this part."
    dangers = []
    for one in () if audited.audit.slips is None else audited.audit.slips.combinations:
        id = one.hazard.instance.requirement.id
        for slip in one.slips:
            if audited.is_check_of(slip.action, first, end):
                alone = len(one.slips) == 1
                found = "requirement" if alone else "a slip in a step before can break requirement"
                ends = " can break." if alone else "."
                dangers.append(_Danger(slip.kind, not alone, id, avoid, f"Without the checks, {found} {id}{ends}"))
    return tuple(_of_dangers(dangers, instances))


def _of_dangers(dangers: Iterable[_Danger], instances: Mapping[str, Instance]) -> Iterator[Guard]:
    """One guard for each requirement text: of several slips that break it the plainest stands for all."""
    found: dict[str, Guard] = {}
    for one in sorted(dangers, key=lambda one: (one.pair, list(SlipKind).index(one.kind))):
        origin = instances[one.id].origin
        if origin.id in found:
            continue
        label = _LABELS.get(origin.severity, NOTE) if "882E" in origin.scheme else NOTE
        hazard = sentence(origin.hazard or f"requirement {one.id} breaks")
        found[origin.id] = Guard(label, hazard, one.avoid, one.consequence)
        if label == NOTE:
            found[origin.id] = note(f"{hazard} {one.consequence}")
    yield from sorted(found.values(), key=lambda guard: _ORDER.index(guard.label))


def _avoidance(writer: InstructionWriter, step: Step, audited: ChecklistAudit, slip: Slip, id: str) -> tuple[str, str]:
    here = f"step {step.number}"
    match slip.kind:
        case SlipKind.OMITTED:
            avoid, without = f"Do not leave out {here}.", f"Without {here}"
        case SlipKind.UNCHECKED:
            avoid, without = f"Do not go on until {here} has shown its result.", "Without this pause"
        case SlipKind.INCOMPLETE:
            avoid, without = f"Complete {here} and all further steps of this part.", "Without them"
        case SlipKind.REPEATED:
            avoid, without = f"Do not do {here} twice.", f"With {here} done twice"
        case SlipKind.SWAPPED if audited.step_of(slip.action + 2) == step.number:
            avoid, without = f"Complete {here} in the order told.", "In another order"
        case SlipKind.SWAPPED:
            after = audited.step_of(slip.action + 2)
            what = "the check" if after is None else f"step {after}"
            avoid, without = f"Complete {here} before {what}.", f"With {what} before {here}"
        case SlipKind.WRONG_WAY | SlipKind.WRONG_OBJECT:
            wrong = instead_of(writer, step, slip)
            avoid, without = f"Do not {wrong[:1].lower()}{wrong[1:]}", "With this mistake"
    return avoid, f"{without}, requirement {id} can break."


def instead_of(writer: InstructionWriter, step: Step, slip: Slip) -> str:
    """The wrong deed as an instruction."""
    assert slip.instead is not None  # noqa: S101 -- asked only of slips that do another thing
    done = writer.compiled.origins.deed_of(slip.instead.rules[0])
    return writer.instruction(Deed((done.name,)), step.execution.before, step.execution.before)


def noticed(step: Step, audited: ChecklistAudit) -> str:
    """Where it shows that the step was left out, if it surely shows somewhere."""
    for one in audited.slips_at(step.number):
        if one.slip.kind is not SlipKind.OMITTED or one.effect not in (Effect.BLOCKED, Effect.DETECTED):
            continue
        steps = [audited.step_of(action) for action in one.shows_at]
        if one.effect is Effect.DETECTED or None in steps:
            return f"Without step {step.number}, a check at the end of a part is found not so."
        later = sorted({number for number in steps if number is not None and number != step.number})
        if later:
            return f"Without step {step.number}, step {listed([str(n) for n in later], 'or')} does not work."
    return ""


def slip_words(writer: InstructionWriter, steps: Mapping[int, Step], audited: ChecklistAudit, slip: Slip) -> str:
    """A slip in the words of the checklist."""
    number = audited.step_of(slip.action + 1)
    here = "a check" if number is None else f"step {number}"
    match slip.kind:
        case SlipKind.OMITTED:
            return f"{here} is left out"
        case SlipKind.UNCHECKED:
            return f"{here} is left {'out' if number is None else 'before it has shown its result'}"
        case SlipKind.INCOMPLETE:
            return f"the part is left off before {here}"
        case SlipKind.REPEATED:
            return f"{here} is done twice"
        case SlipKind.SWAPPED:
            after = audited.step_of(slip.action + 2)
            return f"{'a check' if after is None else f'step {after}'} is done before {here}"
        case SlipKind.WRONG_WAY | SlipKind.WRONG_OBJECT if number is None:
            return slip.text
    wrong = instead_of(writer, steps[number], slip).rstrip(".")
    return f"instead of {here}: {wrong[:1].lower()}{wrong[1:]}"
