"""A hold in which one failure is there before anything else happens, and where that makes a difference at all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from typing import TypeAlias

from interlock.kernel.evaluator import State, fire, initial_states, is_enabled
from interlock.kernel.expressions import TRUE, Expr, Is, Value, assign, conj, disj, neg, variables_of
from interlock.kernel.failures import failures_of, struck_by
from interlock.kernel.machine import Machine, Question, Rule, Signal, Variable

Likeness: TypeAlias = frozenset[tuple[str, Expr]]
"""What a failure makes of everything that asks for it: failures with the same one make the same machine."""


MOST_STARTS = 64


def struck_first(
    machine: Machine, failure: str, questions: Sequence[Question]
) -> tuple[Machine, tuple[Question, ...], bool]:
    """The machine in which nothing happens before the failure has struck, which stays, and there is no other.

    With the questions about it, asked of what is so once it has struck, and whether it begins there.  Where there are
    too many ways to begin, the failure strikes in the first step.
    """
    failures = failures_of(machine)
    facts = dict.fromkeys(failures, False)
    begun = _starts(machine, failure)
    if begun:
        facts[failure] = True
    else:
        del facts[failure]
    there = TRUE if begun else Is(failure, True)

    def alone(expr: Expr) -> Expr:
        return expr if facts.keys().isdisjoint(variables_of(expr)) else assign(expr, facts)

    rules = []
    for rule in machine.rules:
        owner = struck_by(rule, failures)
        if owner is None:
            rules.append(Rule(rule.name, rule.actor, conj(there, alone(rule.guard)), rule.update))
        elif not begun and strikes(rule, failure):
            rules.append(Rule(rule.name, rule.actor, alone(rule.guard), rule.update))
    kept = [(at, one) for at, one in enumerate(machine.variables) if one.name not in facts]
    start = alone(machine.start)
    if begun:
        kept = [(at, Variable(one.name, one.domain, _values(one, at, begun))) for at, one in kept]
        open_ = [(at, one.name) for at, one in kept if len(one.init) > 1]
        start = disj(*(conj(*(Is(name, state[at]) for at, name in open_)) for state in begun)) if open_ else TRUE
    signals = tuple(Signal(one.name, alone(one.definition)) for one in machine.signals)
    asked = tuple(replace(one, target=conj(there, alone(one.target))) for one in questions)
    return Machine(tuple(one for _, one in kept), signals, tuple(rules), (), start), asked, bool(begun)


def _starts(machine: Machine, failure: str) -> list[State]:
    """Every state in which the failure may have struck before all else; none where they are too many."""
    first = list(islice(initial_states(machine), MOST_STARTS + 1))
    if len(first) > MOST_STARTS:
        return []
    by = [rule for rule in machine.rules if strikes(rule, failure)]
    return list(
        dict.fromkeys(fire(machine, rule, state) for state in first for rule in by if is_enabled(machine, rule, state))
    )


def _values(variable: Variable, at: int, states: Sequence[State]) -> tuple[Value, ...]:
    found = {state[at] for state in states}
    return tuple(value for value in variable.domain if value in found)


def strikes(rule: Rule, failure: str) -> bool:
    """The rule is one by which the failure strikes."""
    return (failure, True) in rule.update


def uses_of(machine: Machine) -> Mapping[str, Sequence[tuple[str, Expr]]]:
    """Per failure the signals and rules that ask for it, by name, with what they ask, once nothing else has failed."""
    failures = failures_of(machine)
    every = frozenset(failures)
    found: dict[str, list[tuple[str, Expr]]] = {name: [] for name in failures}
    exprs = [(f"signal {one.name}", one.definition) for one in machine.signals]
    exprs += [(f"rule {one.name}", one.guard) for one in machine.rules if struck_by(one, failures) is None]
    exprs += [(f"requirement {one.id}", conj(one.situation, one.condition)) for one in machine.requirements]
    for name, expr in exprs:
        named = variables_of(expr) & every
        for failure in named:
            found[failure].append((name, assign(expr, dict.fromkeys(named - {failure}, False))))
    return found


def difference(failure: str, uses: Iterable[tuple[str, Expr]]) -> Expr:
    """In which states it matters to what asks for it whether the failure is there.

    Where none of these is ever reached without a failure, nothing is otherwise with it, at any time.
    """
    parts = []
    for _, expr in uses:
        with_it, without = assign(expr, {failure: True}), assign(expr, {failure: False})
        parts.append(disj(conj(with_it, neg(without)), conj(without, neg(with_it))))
    return disj(*parts)


def likeness(failure: str, uses: Iterable[tuple[str, Expr]]) -> Likeness:
    """What the failure makes of what asks for it."""
    return frozenset((name, assign(expr, {failure: True})) for name, expr in uses)
