"""Limits of deferred items, as audits and checklists tell them: who keeps them, and what follows where nobody does."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.hold.language.printer import print_syntax
from interlock.hold.origin import Aspect, Condition, Sort, Work
from interlock.report.views.checklist_facts import Guard
from interlock.report.views.harm import CAUTION, LABELS, label_of
from interlock.report.views.instructions import InstructionWriter, the
from interlock.report.views.wording import count_of, sentence, shortened
from interlock.study.checklist.making import Leg, Step
from interlock.study.procedure.forgotten import KeptLimit

APPROVED = "What governs is the limit in the operator's approved list of what may be inoperative."
MOST_NAMED = 4


def limit_words(limit: KeptLimit) -> str:
    """Who keeps it, and what can be broken where it is forgotten, in sentences."""
    said = f"The limit of deferred {limit.device.name} ({_condition(limit)}) is"
    if limit.by_people is None:
        kept = "not known to be kept by any interlock: take it to be kept by people alone."
    elif limit.by_people:
        kept = "kept by people alone: no interlock keeps the doors from being shut while it is not kept."
    else:
        return f"{said} kept by the interlock. {APPROVED}"
    broken = [one.requirement.id for one in limit.broken]
    if broken:
        follows = f"Where it is forgotten, what it keeps whole can be broken: {shortened(broken, MOST_NAMED)}."
    elif limit.open:
        follows = "What can be broken where it is forgotten is not known."
    else:
        follows = "Where it is forgotten, nothing else that was asked can be broken."
    if broken and limit.open:
        follows += f" Of {count_of(len(limit.open), 'more')} that is not known."
    return f"{said} {kept} {follows} {APPROVED}"


def _condition(limit: KeptLimit) -> str:
    assert limit.device.deferred is not None  # noqa: S101 -- a limit is that of a deferral
    return print_syntax(limit.device.deferred.limit)


def shuts_a_door(writer: InstructionWriter, step: Step) -> bool:
    """A door comes to be closed in the step."""
    deeds = map(writer.compiled.origins.deed_of, step.execution.rules)
    return any(
        isinstance(deed, Work)
        and isinstance(deed.of, Condition)
        and deed.of.subject.sort is Sort.DOOR
        and deed.of.aspect is Aspect.POSITION
        and deed.dest == "closed"
        for deed in deeds
    )


def limit_guards(writer: InstructionWriter, step: Step, limits: Sequence[KeptLimit]) -> Iterator[Guard]:
    """What must be known before a door is shut: the limits that no interlock is known to keep."""
    if not shuts_a_door(writer, step):
        return
    for limit in limits:
        if limit.by_people is not False:
            labels = [label_of(one.origin) for one in limit.broken]
            follows = f"Otherwise this is no longer sure: {limit.broken[0].text}" if limit.broken else ""
            yield Guard(
                min(labels, key=LABELS.index, default=CAUTION),
                sentence(f"no interlock keeps the limit of deferred {limit.device.name}"),
                f"Shut no door before this is so: {_condition(limit)}. {APPROVED}",
                sentence(follows) if follows else "",
            )


def limit_checks(writer: InstructionWriter, leg: Leg, following: Leg | None) -> Iterator[tuple[str, str]]:
    """Checks, each as text and as expression, behind a part after which a door is shut in the next."""
    if following is None or not any(shuts_a_door(writer, step) for step in following.steps):
        return
    for device in writer.compiled.hold.devices:
        if device.deferred is not None and writer.so(device.id, ("within_limit",), leg.end):
            limit = print_syntax(device.deferred.limit)
            yield f"the limit for deferred {the(device.name)} is kept: {limit}", f"{device.id} is within_limit"
