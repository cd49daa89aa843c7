"""Why a step of preparation is needed, in words."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.diagnostics.said import say
from interlock.hold.origin import Arrive, Depart, Sort, Work
from interlock.hold.tell import reasons
from interlock.report.views.instructions import InstructionWriter, the
from interlock.report.views.wording import listed
from interlock.study.checklist.making import Leg, Step
from interlock.study.checklist.needs import Need, Without


def why_needed(writer: InstructionWriter, step: Step, leg_of: Mapping[int, Leg], needs: Mapping[int, Need]) -> str:
    """`it stops the unit of step 11`; empty where nothing is to be said."""
    need = needs.get(step.number)
    if need is None:
        return ""
    leg = leg_of[need.step]
    later = next(one for one in leg.steps if one.number == need.step)
    deeds = [writer.compiled.origins.deed_of(rule) for rule in later.execution.rules]
    moves = any(isinstance(deed, Depart | Arrive) for deed in deeds)
    done = writer.done(step.execution.deed)
    match need.without:
        case Without.MISSED:
            loose = [
                writer.where(unit)
                for unit in writer.resting(need.after)
                if writer.compiled.floor.is_inside(unit)
                and not all(writer.so(cell, ("secured",), need.after) for cell in unit.cells)
                and all(writer.so(cell, ("secured",), leg.end) for cell in unit.cells)
            ]
            return say("without it the unit in {loose} is not secured", loose=listed(loose)) if loose else ""
        case Without.UNSAFE:
            return say("without it step {step} is not safe", step=need.step)
        case Without.ELSEWHERE if moves:
            if isinstance(done, Work) and done.subject.sort is Sort.DEVICE:
                name = the(writer.compiled.world.things[done.subject.id].phrase)
                raised = bool(writer.so(done.subject.id, ("raised",), step.execution.after))
                return say(
                    "{name} stops the unit of step {step}" if raised else "{name} would stop the unit of step {step}",
                    name=name,
                    step=need.step,
                )
            return say("without it the unit of step {step} does not stop where it should", step=need.step)
        case Without.ELSEWHERE:
            missed = _missed(writer, later, need)
            if missed:
                return say("without it step {step} does not bring this about: {missed}", step=need.step, missed=missed)
            return say("without it step {step} leads to something else", step=need.step)
        case Without.NOT_POSSIBLE:
            if moves and isinstance(done, Work) and done.subject.sort is Sort.DEVICE:
                name = the(writer.compiled.world.things[done.subject.id].phrase)
                return say("{name} would be in the way of the unit of step {step}", name=name, step=need.step)
            kept = _kept_by(writer, later, need)
            if kept:
                return say("step {step} needs it: without it {kept}", step=need.step, kept=kept)
            return say("step {step} needs it", step=need.step)


def _missed(writer: InstructionWriter, later: Step, need: Need) -> str:
    """What the later step does to units, doors and supplies, and then does not."""
    before = later.execution.before
    done = writer.effects(before, later.execution.after)
    return listed([text for text in done if text not in writer.effects(before, need.after)])


def _kept_by(writer: InstructionWriter, later: Step, need: Need) -> str:
    """What then keeps the later step from being possible."""
    compiled = writer.compiled
    rule = compiled.machine.rule(later.execution.rules[0])
    found = reasons(compiled.machine, compiled.glossary, rule.guard, need.after, 1)
    return found[0].text if found else ""
