"""A hold in which one failure is there before anything else happens, and where that makes a difference at all."""

from __future__ import annotations

from collections.abc import Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice
from typing import TypeAlias

from interlock.kernel.evaluator import State, evaluate, fire, initial_states, is_enabled
from interlock.kernel.expressions import (
    FALSE,
    TRUE,
    Expr,
    Is,
    Value,
    assign,
    conj,
    disj,
    fold,
    neg,
    rebuilt,
    variables_of,
)
from interlock.kernel.failures import failures_of, struck_by
from interlock.kernel.machine import Machine, Question, Rule, Signal, Variable

Likeness: TypeAlias = frozenset[tuple[str, Expr]]
"""What a failure makes of everything that asks for it: failures with the same one make the same machine."""


MOST_STARTS = 64


@dataclass(frozen=True, slots=True)
class StruckFirst:
    """A machine in which one failure is there before all else, which stays, and there is no other.

    `there` says per failure that it is this one; failures with too many ways to begin are not in it.
    """

    machine: Machine
    there: Mapping[str, Expr]
    never: frozenset[str]

    def alone(self, expr: Expr) -> Expr:
        """What an expression of the whole machine is in this one."""

        def step(node: Expr) -> Generator[Expr, Expr, Expr]:
            if type(node) is not Is or node.variable not in self.never:
                return (yield from rebuilt(node))
            struck = self.there.get(node.variable, FALSE)
            return struck if node.value is True else neg(struck)

        return expr if self.never.isdisjoint(variables_of(expr)) else fold(step, expr)

    def failure_in(self, state: State) -> str:
        """The one that is there in a state of this machine."""
        return next(one for one, there in self.there.items() if evaluate(self.machine, there, state))


def any_struck_first(machine: Machine, failures: Iterable[str]) -> StruckFirst:
    """The machine in which any one of these failures is there first; each is a way to begin that is kept for good.

    Where none of them can be it is the machine in which nothing fails.
    """
    every = failures_of(machine)
    begun = {one: starts for one in failures if (starts := _starts(machine, one))}
    which = "which"
    while which in machine.domains:
        which += "_"
    choices = tuple(begun)
    there = {one: Is(which, one) if len(begun) > 1 else TRUE for one in choices}
    found = StruckFirst(machine, there, frozenset(every))
    kept = [(at, one) for at, one in enumerate(machine.variables) if one.name not in found.never]
    states = list(dict.fromkeys(chain.from_iterable(begun.values())))
    if begun:
        kept = [(at, Variable(one.name, one.domain, _values(one, at, states))) for at, one in kept]
    open_ = [(at, one.name) for at, one in kept if len(one.init) > 1]
    ways: dict[frozenset[Expr], list[str]] = {}
    for one, starts in begun.items():
        ways.setdefault(frozenset(conj(*(Is(name, state[at]) for at, name in open_)) for state in starts), []).append(
            one
        )
    ordered = {key: sorted(key, key=repr) for key in ways}
    start = disj(*(conj(disj(*(there[one] for one in some)), disj(*ordered[key])) for key, some in ways.items()))
    variables = [one for _, one in kept]
    if len(begun) > 1:
        variables.append(Variable(which, choices, choices))
    signals = tuple(Signal(one.name, found.alone(one.definition)) for one in machine.signals)
    rules = tuple(
        Rule(one.name, one.actor, found.alone(one.guard), one.update)
        for one in machine.rules
        if struck_by(one, every) is None
    )
    return replace(
        found, machine=Machine(tuple(variables), signals, rules, (), start if begun else found.alone(machine.start))
    )


def struck_first(
    machine: Machine, failure: str, questions: Sequence[Question]
) -> tuple[Machine, tuple[Question, ...], bool]:
    """The machine in which nothing happens before the failure has struck, which stays, and there is no other.

    With the questions about it, asked of what is so once it has struck, and whether it begins there.  Where there are
    too many ways to begin, the failure strikes in the first step.
    """
    first = any_struck_first(machine, [failure])
    if first.there:
        return first.machine, tuple(replace(one, target=first.alone(one.target)) for one in questions), True
    others = dict.fromkeys((one for one in first.never if one != failure), False)
    there = Is(failure, True)
    rules = []
    for rule in machine.rules:
        owner = struck_by(rule, first.never)
        if owner is None:
            rules.append(Rule(rule.name, rule.actor, conj(there, assign(rule.guard, others)), rule.update))
        elif strikes(rule, failure):
            rules.append(Rule(rule.name, rule.actor, assign(rule.guard, others), rule.update))
    kept = tuple(one for one in machine.variables if one.name not in others)
    signals = tuple(Signal(one.name, assign(one.definition, others)) for one in machine.signals)
    asked = tuple(replace(one, target=conj(there, assign(one.target, others))) for one in questions)
    return Machine(kept, signals, tuple(rules), (), assign(machine.start, others)), asked, False


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


def uses_of(machine: Machine, seen: Iterable[Expr] = ()) -> Mapping[str, Sequence[tuple[str, Expr]]]:
    """Per failure the signals and rules that ask for it, by name, with what they ask, once nothing else has failed.

    So does what is `seen` besides.
    """
    failures = failures_of(machine)
    every = frozenset(failures)
    found: dict[str, list[tuple[str, Expr]]] = {name: [] for name in failures}
    exprs = [(f"signal {one.name}", one.definition) for one in machine.signals]
    exprs += [(f"rule {one.name}", one.guard) for one in machine.rules if struck_by(one, failures) is None]
    exprs += [(f"requirement {one.id}", conj(one.situation, one.condition)) for one in machine.requirements]
    exprs += [("what is seen", one) for one in seen]
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
