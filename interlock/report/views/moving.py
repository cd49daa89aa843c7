"""What moves while a step of a checklist or of a test is done, and that people are to stand clear of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.diagnostics.said import say, say_many
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import Verb
from interlock.hold.language.model import Direction
from interlock.hold.origin import Arrive, Bring, Condition, Depart, Means, Sort, Subject, TakeAway, Work, running
from interlock.kernel.evaluator import State
from interlock.report.views.checklist_facts import Guard
from interlock.report.views.harm import WARNING
from interlock.report.views.instructions import LOADER, InstructionWriter, the
from interlock.report.views.wording import listed, sentence
from interlock.study.checklist.operating import Execution

SEVERITY = "1"
"""Category of MIL-STD-882E of what moves and strikes or crushes somebody: the worst credible outcome, the authors'
judgement, as that of the standing requirements about people."""
DRIVES = say("the drives")


def moving_in(writer: InstructionWriter, execution: Execution) -> tuple[str, ...]:
    """Units, doors, powered devices, the loader and drives that move in the step, in the order in which they begin."""
    compiled = writer.compiled
    found: dict[str, None] = {}
    for rule in execution.rules:
        match compiled.origins.deed_of(rule):
            case Depart(move, means) | Arrive(move, means):
                found[writer.unit(move.source)] = None
                if means is Means.LOADER:
                    found[LOADER] = None
            case Bring() | TakeAway():
                found[LOADER] = None
            case Work(Condition(Subject(Sort.DOOR, id)), trigger) if trigger.verb in (Verb.START, Verb.FINISH):
                found[the(compiled.world.things[id].phrase)] = None
    found |= dict.fromkeys(_powered_devices(writer, execution.before, execution.after))
    done = writer.done(execution.deed) if execution.deed.heads else None
    if (
        not found
        and isinstance(done, Work)
        and done.trigger.verb is Verb.HOLD
        and _drives_run(writer, execution.states)
    ):
        found[DRIVES] = None
    return tuple(found)


def moved_between(writer: InstructionWriter, before: State, after: State) -> tuple[str, ...]:
    """Units, doors, powered devices and drives that move from one state at rest to another, or go on running there."""
    compiled = writer.compiled
    old, new = writer.resting(before), writer.resting(after)
    found = dict.fromkeys(writer.unit(one) for one in (*old, *new) if one not in old or one not in new)
    for door in compiled.hold.doorways:
        if writer.so(door.id, ("open", "closed", "moving"), after, before):
            found[the(door.name)] = None
    found |= dict.fromkeys(_powered_devices(writer, before, after))
    if _drives_run(writer, [after]):
        found[DRIVES] = None
    return tuple(found)


def _powered_devices(writer: InstructionWriter, before: State, after: State) -> Iterator[str]:
    for device in writer.compiled.hold.devices:
        if device.circuit is not None and writer.so(device.id, ("raised", "lowered"), after, before):
            yield the(device.name)


def _drives_run(writer: InstructionWriter, states: Sequence[State]) -> bool:
    """Whether some drive runs in one of the states, be there a unit over it or not."""
    defined = writer.compiled.machine.definitions
    names = (running(bay, way).name for bay in writer.compiled.floor.bays for way in Direction)
    drives = [defined[name] for name in names if name in defined]
    return any(writer.truth(drive, state) for state in states for drive in drives)


def stand_clear(moving: Sequence[str]) -> Guard | None:
    """What people are to know before these move; None where nothing does."""
    if not moving:
        return None
    one = len(moving) == 1 and moving[0] != DRIVES
    hazard = say("{moving} moves" if one else "{moving} move", moving=listed(moving))
    crushes = "It can crush somebody: severity {severity}." if one else "They can crush somebody: severity {severity}."
    return Guard(WARNING, sentence(hazard), say("Stand clear."), say(crushes, severity=SEVERITY))


def people_words(compiled: CompiledHold) -> str:
    """Whom the checklist was examined for, and whom it was not."""
    who = listed([the(person.name) for person in compiled.hold.people])
    if not who:
        return say(
            "Where people are is not described: no step was examined for somebody who stands in "
            "the way or is shut in. Before each step that moves something, make sure that nobody "
            "is in the hold or in the way."
        )
    return say_many(
        "Of people only {who} is described: no step was examined for anybody else. Before each step that moves "
        "something, make sure that nobody else is in the hold or in the way.",
        "Of people only {who} are described: no step was examined for anybody else. Before each step that moves "
        "something, make sure that nobody else is in the hold or in the way.",
        len(compiled.hold.people),
        who=who,
    )
