"""Which changes a difference comes from: the smallest sets without which its sequence no longer shows it.

What is tried is the sequence that was found, in the hold with some changes undone.  Another sequence may still show
such a difference there; no proof is made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.evaluator import State, evaluate, fire, is_enabled, is_initial
from interlock.kernel.expressions import Expr, Value
from interlock.kernel.machine import Machine, Rule
from interlock.study.comparison.behaviour import Shown
from interlock.study.comparison.pairing import Pair, What, labels_of, shown_states

MOST_TOGETHER = 2
"""So many changes are undone together at the most, beside all of them."""
MOST_SETS = 64
MOST_STATES = 64
"""So many starts, and states after each step, are followed."""


@dataclass(frozen=True, slots=True)
class _Variant:
    """The second hold with some changes undone, ready to be walked."""

    machine: Machine
    by_label: Mapping[str, Sequence[Rule]]
    shown: Mapping[str, Expr]


class Tracer:
    """Tries what was found of one pair; `without` gives the second hold with some changes (`Change.item`) undone."""

    def __init__(self, pair: Pair, items: Sequence[int], without: Callable[[frozenset[int]], CompiledHold | None]):
        self._pair = pair
        self._items = items
        self._without = without
        self._variants: dict[frozenset[int], _Variant | None] = {}

    def causes(self, shown: Shown) -> tuple[frozenset[int], ...]:
        """The smallest sets of changes without which the sequence no longer leads to the difference."""
        found: list[frozenset[int]] = []
        for undone in self._sets():
            if any(one <= undone for one in found) or (found and len(undone) > len(found[0])):
                continue
            variant = self._variant(undone)
            if variant is not None and not self._shows(variant, shown):
                found.append(undone)
        return tuple(found)

    def _sets(self) -> Iterator[frozenset[int]]:
        sizes = range(1, min(MOST_TOGETHER, len(self._items)) + 1)
        sets = (frozenset(some) for size in sizes for some in combinations(self._items, size))
        yield from (one for one, _ in zip(sets, range(MOST_SETS), strict=False))

    def _variant(self, undone: frozenset[int]) -> _Variant | None:
        if undone not in self._variants:
            hold = self._without(undone)
            self._variants[undone] = None if hold is None else _variant(hold)
        return self._variants[undone]

    def _shows(self, variant: _Variant, shown: Shown) -> bool:
        """Whether the sequence still leads to the difference."""
        pair, asked = self._pair, shown.asked
        states = _starts(variant.machine, pair.new.machine, shown.second.states[0])
        for name in shown.run.rules:
            _, second = pair.both.rules[name]
            if second is None:
                continue  # a step of what only the first hold has
            label = pair.both.second.labels[second]
            states = _after(variant, states, label)
        if asked.what in (What.GAINED, What.LOST):
            possible = any(_after(variant, [state], asked.label) for state in states)
            return possible == (asked.what is What.GAINED)
        if asked.what is What.OTHERWISE:
            return self._outcomes(variant, states, asked.label) != self._old_outcomes(shown)
        expr = variant.shown.get(asked.label)
        if expr is None or not states:
            return not states and asked.what is What.OFF
        return any(evaluate(variant.machine, expr, state) == (asked.what is What.ON) for state in states)

    def _old_outcomes(self, shown: Shown) -> set[tuple[Value | None, ...]]:
        old, labelled = self._pair.old.machine, self._pair.both.first
        state = shown.first.states[-1]
        return {
            tuple(fire(old, rule, state)[old.positions[name]] for name in self._same())
            for rule in old.rules
            if labelled.labels[rule.name] == shown.asked.label and is_enabled(old, rule, state)
        }

    def _outcomes(self, variant: _Variant, states: Sequence[State], label: str) -> set[tuple[Value | None, ...]]:
        names = self._same().values()
        places = [variant.machine.positions.get(name) for name in names]
        after = (_after(variant, [state], label) for state in states)
        return {tuple(None if p is None else one[p] for p in places) for found in after for one in found}

    def _same(self) -> Mapping[str, str]:
        return self._pair.same


def _variant(hold: CompiledHold) -> _Variant:
    by_label: dict[str, list[Rule]] = {}
    for rule, label in labels_of(hold, {}).items():
        by_label.setdefault(label, []).append(hold.machine.rule(rule))
    return _Variant(hold.machine, by_label, {".".join(key): expr for key, expr, _ in shown_states(hold)})


def _starts(machine: Machine, other: Machine, first: State) -> list[State]:
    """Starts of the machine that agree with the state of the other one where both have a variable."""
    known = {variable.name: value for variable, value in zip(other.variables, first, strict=True)}
    choices = [(known[v.name],) if v.name in known and known[v.name] in v.init else v.init for v in machine.variables]
    tried = (values for values, _ in zip(product(*choices), range(MOST_STATES), strict=False))
    return [values for values in tried if is_initial(machine, values)]


def _after(variant: _Variant, states: Sequence[State], label: str) -> list[State]:
    """The states after a step of that label."""
    found = {
        fire(variant.machine, rule, state): None
        for state in states
        for rule in variant.by_label.get(label, ())
        if is_enabled(variant.machine, rule, state)
    }
    return list(found)[:MOST_STATES]
