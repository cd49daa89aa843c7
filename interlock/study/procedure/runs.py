"""Runs of a procedure: from places in the followed graph to steps in trade words, and to traces for replay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

from interlock.confirm.confirm import confirm
from interlock.diagnostics.said import say
from interlock.diagnostics.spans import Span
from interlock.hold.tell import Reason, reasons
from interlock.kernel.claims import Finding, ProgressCallback, Refuted, Trace, silent
from interlock.kernel.evaluator import State, as_mapping
from interlock.kernel.expressions import Expr, Value
from interlock.kernel.machine import Actor, Machine, Question, question_of
from interlock.study.procedure.graph import SLIPS, Move, ProcedureGraph, move_name
from interlock.study.procedure.interleavings import Hazard, InterleavingSearch, Way

NAME = "procedure"


@dataclass(frozen=True, slots=True)
class RunStep:
    """One step: `action` counts from 1 and is None for what people have no part in; `slip` says what went wrong.

    `rule` is the rule of the hold that fires, None where nothing happens to it.  `at` is where the action is written;
    of what people have no part in, where the thing is described that acts.
    """

    number: int
    actor: Actor
    text: str
    responses: tuple[str, ...]
    after: tuple[str, ...]
    action: int | None
    slip: str | None
    rule: str | None
    at: Span | None


@dataclass(frozen=True, slots=True)
class Run:
    """Steps from the start, and why the end is what it is.

    `start` is the state of the hold there, by its variables.
    """

    steps: tuple[RunStep, ...]
    because: tuple[Reason, ...]
    start: Mapping[str, Value]


def tell_run(search: InterleavingSearch, way: Way, target: Expr | None) -> Run:
    """The way in trade words; `target` is what its last state was looked at for."""
    graph = search.graph
    glossary = graph.bound.compiled.glossary
    steps: list[RunStep] = []
    for (before, _), (after, what) in pairwise(way):
        if what is None:
            raise ValueError("a way goes on by something")
        changed = _changes(search, before, after)
        if what < 0:
            name = search.plant[-1 - what].name
            said = glossary.rules[name]
            told_so = said.actor, said.text, said.responses, changed
            steps.append(RunStep(len(steps) + 1, *told_so, None, None, name, said.at))
            continue
        move = graph.moves[what]
        slip = None if move.slip is None else graph.slips[move.slip]
        told = None if slip is None else say("{kind}: {text}", kind=say(slip.kind.word), text=slip.text)
        text, responses = _said(graph, move)
        if text or told:
            number, said_so = len(steps) + 1, text or told or ""
            known = move.action < len(graph.bound.actions)
            at = graph.bound.actions[move.action].action.span if known else None
            done = said_so, responses, changed
            steps.append(RunStep(number, Actor.CREW, *done, move.action + 1, told, move.rule, at))
    because = () if target is None else reasons_at(search, way[-1][0], target, depth=4)
    return Run(tuple(steps), because, MappingProxyType(as_mapping(graph.machine, search.state(way[0][0]))))


def reasons_at(search: InterleavingSearch, node: int, expr: Expr, depth: int) -> tuple[Reason, ...]:
    """What makes the expression what it is at the node."""
    graph = search.graph
    return reasons(graph.machine, graph.bound.compiled.glossary, expr, search.state(node), depth)


def _said(graph: ProcedureGraph, move: Move) -> tuple[str, tuple[str, ...]]:
    if move.rule is not None:
        said = graph.bound.compiled.glossary.rules[move.rule]
        return said.text, said.responses
    if move.slip is not None:
        return "", ()
    action = graph.bound.actions[move.action].action if move.action < len(graph.bound.actions) else None
    if graph.points[move.dest].stopped and action is not None:
        return f"{action.text}: it is not so, and the procedure stops", ()
    if action is not None and action.verb in ("check", "wait"):
        return action.text, ()
    return "", ()


def _changes(search: InterleavingSearch, before: int, after: int) -> tuple[str, ...]:
    glossary = search.graph.bound.compiled.glossary
    values = glossary.values
    old, new = search.state(before), search.state(after)
    found = []
    for variable, was, now in zip(search.graph.machine.variables, old, new, strict=True):
        if was != now and (variable.name, now) in values and not glossary.origins.is_idle(variable.name, now):
            found.append(values[variable.name, now])
    return tuple(dict.fromkeys(found))


def trace_of(search: InterleavingSearch, machine: Machine, way: Way) -> Trace:
    """The way as a trace of the machine that `procedure_machine` gives."""
    graph = search.graph
    counted = any(variable.name == SLIPS for variable in machine.variables)
    made = 0
    rules: list[str] = []
    states: list[State] = []
    for node, what in way:
        if what is not None:
            if what < 0:
                rules.append(search.plant[-1 - what].name)
            else:
                slip = graph.moves[what].slip is not None
                rules.append(move_name(graph, what, made if slip else None))
                made += slip
        point = graph.points[search.point[node]].name
        states.append((*search.state(node), point, made) if counted else (*search.state(node), point))
    return Trace(tuple(rules), tuple(states))


class Replays:
    """Runs that break requirements, as claims about the machine that `procedure_machine` gives, to be replayed."""

    def __init__(self, search: InterleavingSearch, machine: Machine) -> None:
        self._search = search
        self._machine = machine
        self._requirements = {one.id: one for one in machine.requirements}
        self._questions: list[Question] = []
        self._claims: list[Refuted] = []

    def add(self, hazard: Hazard, way: Way, id: str = "") -> None:
        """Adds the way; it must end where the requirement is broken, or may be by the step that it lets happen."""
        id = id or f"run {len(self._questions) + 1}"
        target = question_of(self._machine, self._requirements[hazard.instance.requirement.id]).target
        self._questions.append(Question(id, target))
        self._claims.append(Refuted(id, NAME, trace_of(self._search, self._machine, way), shortest=False))

    def confirmed(self, seconds: float | None, report: ProgressCallback = silent) -> tuple[Finding, ...]:
        """A finding for each of them."""
        return confirm(self._machine, self._questions, self._claims, seconds, report)
