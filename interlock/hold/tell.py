"""Traces and truths in trade words: what happened, what is so afterwards, and why."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import compress
from operator import ne

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.glossary import Glossary
from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State, evaluate
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value, variables_of
from interlock.kernel.machine import Actor, Machine, Variable


@frozen
class Reason:
    """A sentence that is so in a state, and the sentences that make it so."""

    text: str
    because: tuple[Reason, ...] = ()


@frozen
class ToldStep:
    """One step: `number` counts from 1; `responses` is what the mechanism did by itself; `after` what changed.

    `at` is where the thing is described that is acted upon, or that acts.
    """

    number: int
    actor: Actor
    text: str
    responses: tuple[str, ...]
    after: tuple[str, ...]
    rule: str
    at: Span | None


@frozen
class Story:
    """A run for readers.

    `start` says where everything that moves in the run began, and what the description leaves open at the start.
    `possible` are the conditions that let the last step happen.
    `reached` tells why the last state is the one that was asked about.
    """

    start: tuple[str, ...]
    steps: tuple[ToldStep, ...]
    possible: tuple[Reason, ...]
    reached: tuple[Reason, ...]


def tell(machine: Machine, glossary: Glossary, trace: Trace, target: Expr) -> Story:
    """The trace as a story whose end satisfies `target`.  Raises KeyError for a rule that the machine lacks."""
    rules = {rule.name: rule for rule in machine.rules}
    steps = []
    moved: set[str] = set()
    taken = zip(trace.rules, trace.states[:-1], trace.states[1:], strict=True)
    for number, (name, before, after) in enumerate(taken, 1):
        said = glossary.rules[name]
        changed = tuple(compress(zip(machine.variables, after, strict=True), map(ne, before, after)))
        moved.update(variable.name for variable, _ in changed)
        became = _sentences(glossary, changed)
        steps.append(ToldStep(number, said.actor, said.text, said.responses, became, name, said.at))
    possible: tuple[Reason, ...] = ()
    if trace.rules:
        before = trace.states[-2]
        guard = rules[trace.rules[-1]].guard
        possible = reasons(machine, glossary, guard, before, 2, _otherwise(machine, trace.states[0], before))
    named = moved | {variable.name for variable in machine.variables if len(variable.init) > 1}
    first = zip(machine.variables, trace.states[0], strict=True)
    start = _sentences(glossary, (told for told in first if told[0].name in named))
    end = trace.states[-1]
    reached = reasons(machine, glossary, target, end, 4, _otherwise(machine, trace.states[0], end))
    return Story(start, tuple(steps), possible, reached)


def _otherwise(machine: Machine, first: State, state: State) -> frozenset[str]:
    """The variables whose value is not that of the start."""
    return frozenset(variable.name for variable in compress(machine.variables, map(ne, first, state)))


def _sentences(glossary: Glossary, values: Iterable[tuple[Variable, Value]]) -> tuple[str, ...]:
    return tuple(
        text
        for variable, value in values
        if not glossary.origins.is_idle(variable.name, value)
        and (text := glossary.values.get((variable.name, value))) is not None
    )


def reasons(
    machine: Machine,
    glossary: Glossary,
    expr: Expr,
    state: State,
    depth: int,
    otherwise: frozenset[str] = frozenset(),
) -> tuple[Reason, ...]:
    """The sentences that make the expression what it is in the state, true or false.

    A true conjunction gives all its parts, a false one the first false part; a true alternative the first true part.
    Signals are opened up to `depth` levels; beyond that, down to the contacts that read a variable which is `otherwise`
    than it was.
    """
    if depth < 0 and not variables_of(expr, machine.definitions) & otherwise:
        return ()
    truth = evaluate(machine, expr, state)
    if isinstance(expr, Const):
        return ()
    if isinstance(expr, Not):
        return reasons(machine, glossary, expr.arg, state, depth, otherwise)
    if isinstance(expr, Is):
        text = _value_text(machine, glossary, expr, state)
        return () if text is None else (Reason(text),)
    if isinstance(expr, Ref):
        definition = machine.definitions[expr.signal]
        if expr.signal not in glossary.signals:
            return reasons(machine, glossary, definition, state, depth, otherwise)
        inner = reasons(machine, glossary, definition, state, depth - 1, otherwise) if depth > 0 or otherwise else ()
        text = glossary.signals[expr.signal][0 if truth else 1]
        if len(inner) == 1 and inner[0].text == text:
            inner = inner[0].because
        return (Reason(text, inner),)
    every = isinstance(expr, And) == truth
    args = expr.args if every else tuple(arg for arg in expr.args if evaluate(machine, arg, state) == truth)
    found: dict[Reason, None] = {}
    for arg in args:
        found.update(dict.fromkeys(reasons(machine, glossary, arg, state, depth, otherwise)))
        if found and not every:
            break
    return tuple(found)


def _value_text(machine: Machine, glossary: Glossary, atom: Is, state: State) -> str | None:
    value = state[machine.positions[atom.variable]]
    return glossary.values.get((atom.variable, value))
