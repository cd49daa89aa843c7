"""A checklist in the words of the trade: what people do, what the equipment does, what to beware of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.diagnostics.said import say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import Verb
from interlock.hold.origin import Arrive, Depart, Work
from interlock.report.views.checklist_checks import Check
from interlock.report.views.checklist_facts import Guard, note
from interlock.report.views.harm import WARNING
from interlock.report.views.instructions import DOOR_FACTS, InstructionWriter, bays_named, the
from interlock.report.views.wording import listed, sentence
from interlock.study.checklist.audit import ChecklistAudit
from interlock.study.checklist.goals import ALL, Goal, Load, Reach, Unload, placements_in
from interlock.study.checklist.making import Checklist, Leg, Step
from interlock.study.checklist.nearest_goals import blockers
from interlock.study.procedure.audit import Verdict


def goal_words(compiled: CompiledHold, goal: Goal) -> str:
    """The goal as a title."""
    kinds = {unit.id: unit.name for unit in compiled.hold.units}
    match goal:
        case Reach(text=text):
            return say("Bring about: {text}", text=text)
        case Unload(bays=bays):
            return say("Unload every bay") if ALL in bays else say("Unload {bays}", bays=bays_named(bays))
        case Load(wanted=wanted):
            parts = [
                say("every free bay ({kind})", kind=kinds.get(kind, kind))
                if bay == ALL
                else say("bay {bay} ({kind})", bay=bay, kind=kinds.get(kind, kind))
                for bay, kind in wanted
            ]
            return say("Load {parts}", parts=listed(parts))


def audit_findings(audited: ChecklistAudit, first: int, end: int, checks: Sequence[Check]) -> Iterator[str]:
    """What the audit says against the steps from `first` to before `end`, and against the checks behind them."""
    read = {f"check {check.fact}": check.text for check in checks}
    last = 0
    for one in audited.audit.actions:
        step = audited.step_of(one.number)
        last = step or last
        if one.verdict is Verdict.POSSIBLE or not first <= last < end:
            continue
        text = one.bound.action.text
        what = say("the check '{text}'", text=read.get(text, text)) if step is None else say("step {step}", step=step)
        told = say(
            "{what}: {verdict} when the equipment acts in another order", what=what, verdict=say(one.verdict.value)
        )
        yield sentence(say("{told}: {why}", told=told, why=one.why[0].text) if one.why else told)


def instruction_of(writer: InstructionWriter, step: Step) -> str:
    """What to do in the step."""
    execution = step.execution
    return writer.instruction(execution.deed, execution.before, execution.states[execution.halves[0]])


def results_of(writer: InstructionWriter, step: Step) -> tuple[str, ...]:
    """What the equipment then does, as far as the instruction does not say it."""
    execution = step.execution
    done = writer.done(execution.deed) if execution.deed.heads else None
    told: list[str] = []
    held = execution.states[execution.halves[0]]
    if isinstance(done, Work) and done.trigger.verb is Verb.HOLD:
        # what was waited for is in the instruction; what letting go brings about is not
        told += writer.effects(held, execution.after) if len(execution.halves) > 1 else []
        _, shortened = writer.holding(execution.deed, execution.before, held)
        told += writer.effects(execution.before, held) if shortened else []
    elif isinstance(done, Depart | Arrive):
        # where it was to go to is in the instruction; where it rolls on to is not
        half = isinstance(done, Depart) and len(execution.deed.heads) == 1
        went = not half and done.move.target in writer.resting(execution.after)
        told += [] if went else writer.effects(execution.before, execution.after)
    else:
        if isinstance(done, Work) and len(execution.rules) > len(execution.deed.heads):
            told += writer.effects(execution.before, execution.after)
        told += writer.on_the_way(execution.before, execution.after) if len(execution.halves) == 1 else []
    told += writer.equipment(execution.before, execution.after)
    return tuple(sentence(text) for text in dict.fromkeys(told))


def caution_of(writer: InstructionWriter, leg: Leg) -> Guard | None:
    """What must be known before a whole part."""
    if leg.timed:
        return Guard(
            WARNING,
            say("Units move while this part is worked, and where they stop depends on timing."),
            say("Do not let anybody stand in their way."),
            say("At another moment than the one told, a step can lead to another result."),
        )
    aboard = placements_in(writer.compiled, leg.start)
    met = [other for unit in leg.aim.units for other in blockers(writer.compiled, unit, aboard)]
    if not met:
        return None
    where = listed(list(dict.fromkeys(writer.where(other) for other in met)))
    return note(say("On the way stands what is in {where}; units of one kind are not told apart here.", where=where))


def leg_title(writer: InstructionWriter, leg: Leg) -> str:
    """What a leg is headed with."""
    aim = leg.aim
    if aim.what in ("load", "unload"):
        bays = listed([writer.where(unit) for unit in aim.units])
        kinds = listed(list(dict.fromkeys(writer.kinds[unit.kind] for unit in aim.units)))
        if aim.what == "load":
            return say("Load {bays}: {kinds}", bays=bays, kinds=kinds)
        return say("Unload {bays}: {kinds}", bays=bays, kinds=kinds)
    return {"open": say("Open the hold"), "shut": say("Shut the hold")}.get(
        aim.what, say("Bring about: {text}", text=aim.text)
    )


def preconditions(writer: InstructionWriter, checklist: Checklist) -> Iterator[str]:
    """What must be so before the first step: everything that the description leaves open, and what is aboard."""
    compiled = checklist.compiled
    things = compiled.world.things
    for supply in compiled.hold.supplies:
        word = say("on") if writer.so(supply.id, ("on",), checklist.start) else say("off")
        stays = "{name} is {what}, and stays so" if supply.needs is None else "{name} is {what}"
        yield sentence(say(stays, name=the(supply.name), what=word))
    aboard = writer.resting(checklist.start)
    if aboard:
        for kind in dict.fromkeys(placement.kind for placement in aboard):
            inside = [(unit, compiled.floor.bays_of(unit.cells)) for unit in aboard if unit.kind == kind]
            bays = [cells[0] if len(cells) == 1 else writer.where(unit) for unit, cells in inside]
            yield sentence(
                say("units of this kind are aboard ({kinds}), in: {bays}", kinds=writer.kinds[kind], bays=listed(bays))
            )
    else:
        yield say("Every bay is empty.")
    for door in compiled.hold.doorways:
        true = writer.so(door.id, DOOR_FACTS, checklist.start)
        if true:
            yield sentence(say("{name} is {what}", name=the(door.name), what=listed([say(word) for word in true])))
    for control in compiled.hold.controls:
        if control.is_held:
            continue
        now = writer.so(control.id, things[control.id].states, checklist.start)
        if now:
            yield sentence(say("{name} is {what}", name=the(control.name), what=control.behaviour.said(now[0])))
    places = {place.id: place.name for place in compiled.hold.places}
    for person in compiled.hold.people:
        for place in writer.so(person.id, person.places, checklist.start):
            yield sentence(say("{person} is {place}", person=the(person.name), place=places[place]))


def claims_of(checklist: Checklist, audited: ChecklistAudit) -> Iterator[str]:
    """What is proved of the checklist."""
    check = checklist.check
    timed = any(leg.timed for leg in checklist.legs)
    yield (
        say(
            "Every step is possible when its turn comes, and the last state is the one wanted: "
            "the whole run of {states} states was replayed, state by state, on the described "
            "hold.",
            states=check.states,
        )
    )
    if check.requirements:
        yield (
            say(
                "None of {requirements} requirements breaks in any state of the run, nor in any "
                "state that the equipment can pass through in another order.",
                requirements=check.requirements,
            )
            if not timed
            else say(
                "None of {requirements} requirements breaks in any state of the run as it is told.",
                requirements=check.requirements,
            )
        )
    yield (
        say(
            "After each step the equipment comes to rest in one state only, in whatever order it acts (parts marked "
            "WARNING for timing excepted)."
        )
        if timed
        else say("After each step the equipment comes to rest in one state only, in whatever order it acts.")
    )
    audit = audited.audit
    amiss = [one for one in audit.actions if one.verdict is not Verdict.POSSIBLE]
    if amiss or audit.breaches or audit.goal_missed is not None:
        yield say("Audited as a written procedure: what was found stands with the parts that it is about.")
    elif audit.actions:
        yield (
            say(
                "Audited as a written procedure of {actions} actions: each is possible in every "
                "sequence of events, nothing breaks, and the end is the one wanted.",
                actions=len(audit.actions),
            )
        )
    yield (
        say(
            "This takes for granted that the description is right, that the supplies stay as "
            "they are, that nothing fails, and that people do what is written, and wait until "
            "the equipment has come to rest."
        )
    )
