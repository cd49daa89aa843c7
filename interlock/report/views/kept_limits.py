"""Limits of deferred items, as audits and checklists tell them: who keeps them, and what follows where nobody does."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.diagnostics.said import joined, say
from interlock.hold.language.printer import print_syntax
from interlock.hold.origin import Aspect, Condition, Sort, Work
from interlock.report.views.checklist_facts import Guard
from interlock.report.views.harm import CAUTION, LABELS, label_of
from interlock.report.views.instructions import InstructionWriter, the
from interlock.report.views.wording import sentence, shortened
from interlock.study.checklist.making import Leg, Step
from interlock.study.procedure.forgotten import KeptLimit

APPROVED = say("What governs is the limit in the operator's approved list of what may be inoperative.")
MOST_NAMED = 4


def limit_words(limit: KeptLimit) -> str:
    """Who keeps it, and what can be broken where it is forgotten, in sentences."""
    if limit.by_people is None:
        kept = (
            "The limit of deferred {name} ({limit}) is not known to be kept by any interlock: take it to be kept by "
            "people alone."
        )
    elif limit.by_people:
        kept = (
            "The limit of deferred {name} ({limit}) is kept by people alone: no interlock keeps the doors from being "
            "shut while it is not kept."
        )
    else:
        kept = "The limit of deferred {name} ({limit}) is kept by the interlock."
    said: list[str] = [say(kept, name=limit.device.name, limit=_condition(limit))]
    broken = [one.requirement.id for one in limit.broken]
    if limit.by_people is False:
        return joined([*said, APPROVED])
    if broken:
        ids = shortened(broken, MOST_NAMED)
        said.append(say("Where it is forgotten, what it keeps whole can be broken: {ids}.", ids=ids))
    elif limit.open:
        said.append(say("What can be broken where it is forgotten is not known."))
    else:
        said.append(say("Where it is forgotten, nothing else that was asked can be broken."))
    if broken and limit.open:
        said.append(say("Of {number} more that is not known.", number=len(limit.open)))
    return joined([*said, APPROVED])


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
            follows = say("Otherwise this is no longer sure: {text}", text=limit.broken[0].text) if limit.broken else ""
            yield Guard(
                min(labels, key=LABELS.index, default=CAUTION),
                sentence(say("no interlock keeps the limit of deferred {name}", name=limit.device.name)),
                joined([say("Shut no door before this is so: {limit}.", limit=_condition(limit)), APPROVED]),
                sentence(follows) if follows else "",
            )


def limit_checks(writer: InstructionWriter, leg: Leg, following: Leg | None) -> Iterator[tuple[str, str]]:
    """Checks, each as text and as expression, behind a part after which a door is shut in the next."""
    if following is None or not any(shuts_a_door(writer, step) for step in following.steps):
        return
    for device in writer.compiled.hold.devices:
        if device.deferred is not None and writer.so(device.id, ("within_limit",), leg.end):
            limit = print_syntax(device.deferred.limit)
            told = say("the limit for deferred {name} is kept: {limit}", name=the(device.name), limit=limit)
            yield told, f"{device.id} is within_limit"
