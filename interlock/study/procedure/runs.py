"""Runs of a procedure: from places in the followed graph to steps in trade words, and to traces for replay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from interlock.hold.tell import Reason, reasons
from interlock.kernel.claims import Refuted, Trace
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Actor, Machine
from interlock.study.procedure.following import Follow
from interlock.study.procedure.machine import SLIPS, Course, Move, move_name

NAME = "procedure"
Way = Sequence[tuple[int, int | None]]
"""Nodes, each with what led to it: a place in `Course.moves`, or -1 - a place in `Follow.plant`; None at the start."""


@dataclass(frozen=True, slots=True)
class RunStep:
    """One step: `action` counts from 1 and is None for what people have no part in; `slip` says what went wrong."""

    number: int
    actor: Actor
    text: str
    responses: tuple[str, ...]
    after: tuple[str, ...]
    action: int | None
    slip: str | None


@dataclass(frozen=True, slots=True)
class Run:
    """Steps from the start, and why the end is what it is."""

    steps: tuple[RunStep, ...]
    because: tuple[Reason, ...]


def tell_run(follow: Follow, way: Way, target: Expr | None) -> Run:
    """The way in trade words; `target` is what its last state was looked at for."""
    course = follow.course
    glossary = course.bound.compiled.glossary
    steps: list[RunStep] = []
    for (before, _), (after, what) in pairwise(way):
        if what is None:
            raise ValueError("a way goes on by something")
        changed = _changes(follow, before, after)
        if what < 0:
            said = glossary.rules[follow.plant[-1 - what].name]
            steps.append(RunStep(len(steps) + 1, said.actor, said.text, said.responses, changed, None, None))
            continue
        move = course.moves[what]
        slip = None if move.slip is None else course.slips[move.slip]
        told = None if slip is None else f"{slip.kind.word}: {slip.text}"
        text, responses = _said(course, move)
        if text or told:
            steps.append(
                RunStep(len(steps) + 1, Actor.CREW, text or told or "", responses, changed, move.action + 1, told)
            )
    because: tuple[Reason, ...] = ()
    if target is not None:
        because = reasons(course.machine, glossary, target, follow.state(way[-1][0]), depth=4)
    return Run(tuple(steps), because)


def _said(course: Course, move: Move) -> tuple[str, tuple[str, ...]]:
    if move.rule is not None:
        said = course.bound.compiled.glossary.rules[move.rule]
        return said.text, said.responses
    if move.slip is not None:
        return "", ()
    action = course.bound.actions[move.action].action if move.action < len(course.bound.actions) else None
    if course.points[move.dest].stopped and action is not None:
        return f"{action.text}: it is not so, and the procedure stops", ()
    if action is not None and action.verb in ("check", "wait"):
        return action.text, ()
    return "", ()


def _changes(follow: Follow, before: int, after: int) -> tuple[str, ...]:
    values = follow.course.bound.compiled.glossary.values
    old, new = follow.state(before), follow.state(after)
    found = []
    for variable, was, now in zip(follow.course.machine.variables, old, new, strict=True):
        if was != now and (variable.name, now) in values and not (variable.name.startswith("face.") and now == "none"):
            found.append(values[variable.name, now])
    return tuple(dict.fromkeys(found))


def trace_of(follow: Follow, machine: Machine, way: Way) -> Trace:
    """The way as a trace of the machine that `course_machine` gives."""
    course = follow.course
    counted = any(variable.name == SLIPS for variable in machine.variables)
    made = 0
    rules: list[str] = []
    states: list[State] = []
    for node, what in way:
        if what is not None:
            if what < 0:
                rules.append(follow.plant[-1 - what].name)
            else:
                slip = course.moves[what].slip is not None
                rules.append(move_name(course, what, made if slip else None))
                made += slip
        point = course.points[follow.point[node]].name
        states.append((*follow.state(node), point, made) if counted else (*follow.state(node), point))
    return Trace(tuple(rules), tuple(states))


def claim_of(follow: Follow, machine: Machine, question: str, way: Way) -> Refuted:
    """The way as a claim that the question's target is reached at its end."""
    return Refuted(question, NAME, trace_of(follow, machine, way), shortest=False)
