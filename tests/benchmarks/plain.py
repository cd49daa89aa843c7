"""The plain way: breadth-first search over tuples with a set, guards compiled to closures.  Nothing clever.

Fair as far as plain goes: a guard is a tree of closures made once, which index the state directly and stop at the first
part that decides; a state is a tuple that Python hashes; no bits are packed and no source text is compiled (the
program's own engine for small holds does both, and is several times faster).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TypeAlias

from interlock.kernel.claims import Claim, Limits, ProgressCallback, Proved, Refuted, Trace, Unknown, silent
from interlock.kernel.evaluator import State, initial_states
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref
from interlock.kernel.machine import Machine, Question
from interlock.prove.engine import NO_LIMITS, clock_of, time_reason
from interlock.prove.search.explicit import Count

NAME = "plain"
Truth: TypeAlias = Callable[[State], bool]


def closure(machine: Machine, expr: Expr, known: dict[str, Truth]) -> Truth:
    """The expression as a function of a state; a signal's function is made once and shared."""
    if isinstance(expr, Const):
        constant = expr.value
        return lambda _state: constant
    if isinstance(expr, Is):
        place, wanted = machine.positions[expr.variable], expr.value
        return lambda state: state[place] == wanted
    if isinstance(expr, Ref):
        if expr.signal not in known:
            known[expr.signal] = closure(machine, machine.definitions[expr.signal], known)
        return known[expr.signal]
    if isinstance(expr, Not):
        inner = closure(machine, expr.arg, known)
        return lambda state: not inner(state)
    parts = tuple(closure(machine, arg, known) for arg in expr.args)
    if isinstance(expr, And):

        def every(state: State) -> bool:
            for part in parts:  # noqa: SIM110 - a generator inside all() costs half as much again
                if not part(state):
                    return False
            return True

        return every

    def some(state: State) -> bool:
        for part in parts:  # noqa: SIM110
            if part(state):
                return True
        return False

    return some


def search(machine: Machine, targets: Mapping[str, Expr], limits: Limits) -> tuple[Count, dict[str, int]]:
    """The count, and per target that is met its depth; ends early when the time is up."""
    clock = clock_of(limits)
    known: dict[str, Truth] = {}
    rules = [
        (
            closure(machine, rule.guard, known),
            tuple((machine.positions[name], value) for name, value in rule.update),
        )
        for rule in machine.rules
    ]
    open_targets = {name: closure(machine, target, known) for name, target in targets.items()}
    met: dict[str, int] = {}
    level = list(initial_states(machine))
    seen = set(level)
    per_depth: list[int] = []
    steps = dead = 0
    complete = True
    while level and complete:
        per_depth.append(len(level))
        fresh: list[State] = []
        for at, state in enumerate(level):
            if at % 256 == 0 and clock.is_over():
                complete = False
                break
            for name in [name for name, truth in open_targets.items() if truth(state)]:
                met[name] = len(per_depth) - 1
                del open_targets[name]
            fired = 0
            for guard, update in rules:
                if guard(state):
                    fired += 1
                    changed = list(state)
                    for place, value in update:
                        changed[place] = value
                    after = tuple(changed)
                    if after not in seen:
                        seen.add(after)
                        fresh.append(after)
            steps += fired
            dead += not fired
        level = fresh
    return Count(len(seen), steps, len(per_depth) - 1, dead, tuple(per_depth), complete), met


def plain(
    machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: ProgressCallback = silent
) -> tuple[Claim, ...]:
    """Answers as an engine does, for timing alone: its refutations carry no trace."""
    count, met = search(machine, {question.id: question.target for question in questions}, limits)
    claims: list[Claim] = []
    for question in questions:
        if question.id in met:
            claims.append(Refuted(question.id, NAME, Trace((), ()), shortest=False))
        elif count.complete:
            claims.append(Proved(question.id, NAME, None, count.states))
        else:
            claims.append(Unknown(question.id, NAME, time_reason(limits)))
    return tuple(claims)
