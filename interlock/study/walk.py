"""Working a hold by hand: where one can start, which steps are possible, what is broken, and how it came about."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.requirements import Instance
from interlock.hold.tell import Reason, ToldStep, reasons, tell
from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State, evaluate, fire, initial_states, successors
from interlock.kernel.expressions import TRUE
from interlock.kernel.machine import Actor, Machine, Rule, question_of, with_order_monitors
from interlock.study.forbidden import forbidden_steps

MOST_STARTS = 64
"""Ways to start that are looked at; a hold with more is walked from one of these."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A step that is possible now: who acts, what happens, what the mechanism then does by itself."""

    actor: Actor
    text: str
    responses: tuple[str, ...]
    rule: Rule


@dataclass(frozen=True, slots=True)
class Broken:
    """A requirement that the present state breaks, and why; `steps` are possible although it forbids them."""

    instance: Instance
    because: tuple[Reason, ...]
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Walk:
    """A run so far; `machine` is the hold's with its order memories, `starts` the ways to begin."""

    compiled: CompiledHold
    machine: Machine
    starts: tuple[State, ...]
    trace: Trace

    @property
    def state(self) -> State:
        """The present state."""
        return self.trace.states[-1]


def begin_walk(compiled: CompiledHold) -> Walk:
    """A walk that stands at the first way to start.  Raises ValueError for a hold that cannot start at all."""
    machine = with_order_monitors(compiled.machine)
    starts = tuple(islice(initial_states(machine), MOST_STARTS))
    if not starts:
        raise ValueError("no state fits the start")
    return Walk(compiled, machine, starts, Trace((), starts[:1]))


def start_from(walk: Walk, number: int) -> Walk:
    """The walk begun anew at another way to start, counted from 1.  Raises IndexError."""
    if not 1 <= number <= len(walk.starts):
        raise IndexError(number)
    return replace(walk, trace=Trace((), (walk.starts[number - 1],)))


def start_differences(walk: Walk) -> tuple[tuple[str, ...], ...]:
    """For each way to start, the sentences that are not so in all of them."""
    told = [_said(walk, state) for state in walk.starts]
    shared = set(told[0]).intersection(*told)
    return tuple(tuple(text for text in texts if text not in shared) for texts in told)


def _said(walk: Walk, state: State) -> tuple[str, ...]:
    values = walk.compiled.glossary.values
    pairs = zip(walk.machine.variables, state, strict=True)
    return tuple(text for variable, value in pairs if (text := values.get((variable.name, value))) is not None)


def choices_of(walk: Walk) -> tuple[Choice, ...]:
    """The steps that are possible now, crew first, else in the order of the machine; their numbers count from 1."""
    found = []
    for rule, _ in successors(walk.machine, walk.state):
        said = walk.compiled.glossary.rules[rule.name]
        found.append(Choice(said.actor, said.text, said.responses, rule))
    order = (Actor.CREW, Actor.PLANT, Actor.MECHANISM, Actor.FAILURE)
    return tuple(sorted(found, key=lambda choice: order.index(choice.actor)))


def take(walk: Walk, choice: Choice) -> Walk:
    """The walk after the step."""
    trace = walk.trace
    after = fire(walk.machine, choice.rule, walk.state)
    return replace(walk, trace=Trace((*trace.rules, choice.rule.name), (*trace.states, after)))


def take_back(walk: Walk) -> Walk:
    """The walk without its last step; at the start, the same walk."""
    trace = walk.trace
    return replace(walk, trace=Trace(trace.rules[:-1], trace.states[:-1])) if trace.rules else walk


def last_step(walk: Walk) -> ToldStep | None:
    """The last step told, or None at the start."""
    trace = walk.trace
    if not trace.rules:
        return None
    story = tell(walk.machine, walk.compiled.glossary, Trace(trace.rules[-1:], trace.states[-2:]), TRUE)
    return replace(story.steps[0], number=trace.depth)


def broken_now(walk: Walk) -> tuple[Broken, ...]:
    """Every requirement that the present state breaks (or lets a step break), in their order."""
    return tuple(_broken(walk))


def _broken(walk: Walk) -> Iterator[Broken]:
    for instance in walk.compiled.instances:
        if instance.requirement.kind.is_about_work:
            continue
        target = question_of(walk.machine, instance.requirement).target
        if evaluate(walk.machine, target, walk.state):
            glossary = walk.compiled.glossary
            yield Broken(
                instance,
                reasons(walk.machine, glossary, target, walk.state, depth=4),
                forbidden_steps(walk.machine, glossary, instance.requirement, walk.state),
            )
