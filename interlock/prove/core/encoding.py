"""A state of a machine as SAT literals, and its expressions as gates over them.

A variable with two values is one SAT variable; one with more is one SAT variable per value, of which exactly one is
true; one with a single value is a constant.  SAT variable 1 is the constant true.  An expression becomes a literal
that is equivalent to it; equal gates are shared.

Reference (from memory)
  G. S. Tseitin: On the complexity of derivation in propositional calculus. 1968.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import And, Const, Expr, Is, Leaf, Not, Or, Ref, Value, neg
from interlock.kernel.machine import Machine
from interlock.prove.core.trees import bottom_up

TRUTH = 1
"""The literal that is always true."""
MOST_LISTED = 128
"""SAT variables that a rule writes and that are listed one by one."""


class Encoding:
    """The literals and clauses of one state; grows with every new gate and never changes what it said before.

    `clauses` speak of any state, reachable or not.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.clauses: list[list[int]] = [[TRUTH]]
        self.top = 1
        self.literals: dict[tuple[str, Value], int] = {}
        self.facts: dict[int, Expr] = {TRUTH: Const(True), -TRUTH: Const(False)}
        self.variable_of: dict[int, str] = {}
        """The machine's variable behind a SAT variable, where there is one."""
        self.values: dict[str, list[tuple[int, Value]]] = {}
        """Per variable its (literal, value) pairs in the order of the domain."""
        self.domain_of: dict[str, list[list[int]]] = {}
        """Per variable the clauses that say that it has one value, where its facts do not say so by themselves."""
        self.parts: dict[int, tuple[int, ...]] = {}
        """Per gate the literals of which it is the conjunction."""
        self._first = tuple(variable.domain[0] for variable in machine.variables)
        self._told: dict[int, tuple[int, Value]] = {}
        """By the literals that say which value a variable has, the first value aside where it has two: its place, and
        the value."""
        self._gates: dict[tuple[int, ...], int] = {}
        self._below: dict[int, int] = {}
        self._signals: dict[str, int] = {}
        for at, variable in enumerate(machine.variables):
            self._declare(variable.name, variable.domain)
            named = self.values[variable.name]
            self._told.update((literal, (at, value)) for literal, value in named if literal > TRUTH)
        self.facts_top = self.top
        """The highest SAT variable that is no gate."""
        self.domains = tuple(self.clauses)
        """The clauses that speak of no gate."""
        for signal in machine.signals_in_order:
            self._signals[signal.name] = self.gate(signal.definition)

    def _declare(self, name: str, domain: tuple[Value, ...]) -> None:
        if len(domain) == 1:
            own = [TRUTH]
        elif len(domain) == 2:
            atom = self.new()
            own = [-atom, atom]
        else:
            own = [self.new() for _ in domain]
            self.domain_of[name] = [own, *at_most_one(own, self)]
            self.clauses += self.domain_of[name]
        self.values[name] = list(zip(own, domain, strict=True))
        for literal, value in self.values[name]:
            self.literals[name, value] = literal
            if literal != TRUTH:
                fact = Is(name, value)
                self.facts[literal] = fact
                self.facts.setdefault(-literal, neg(fact))
                self.variable_of[abs(literal)] = name

    def new(self) -> int:
        """A fresh SAT variable."""
        self.top += 1
        return self.top

    def gate(self, expr: Expr) -> int:
        """The literal that is true exactly where the expression is."""
        return bottom_up(expr, self._leaf, self._joined)

    def _leaf(self, expr: Leaf) -> int:
        if isinstance(expr, Is):
            return self.literals[expr.variable, expr.value]
        if isinstance(expr, Ref):
            return self._signals[expr.signal]
        return TRUTH if expr.value else -TRUTH

    def _joined(self, expr: Not | And | Or, parts: list[int]) -> int:
        if isinstance(expr, Not):
            return -parts[0]
        return self.all_of(parts) if isinstance(expr, And) else self.any_of(parts)

    def any_of(self, literals: Iterable[int]) -> int:
        """The literal that is true exactly where one of these is."""
        return -self.all_of(-literal for literal in literals)

    def all_of(self, literals: Iterable[int]) -> int:
        """The literal that is true exactly where all of these are."""
        parts = sorted(set(literals) - {TRUTH})
        if -TRUTH in parts or any(-part in parts for part in parts if part > 0):
            return -TRUTH
        if len(parts) <= 1:
            return parts[0] if parts else TRUTH
        key = tuple(parts)
        out = self._gates.get(key)
        if out is None:
            out = self.new()
            self._gates[key] = out
            self.parts[out] = key
            self.clauses += [[-out, part] for part in parts]
            self.clauses.append([out, *(-part for part in parts)])
        return out

    def names_below(self, literal: int) -> frozenset[str]:
        """The variables on which a literal depends."""
        found: set[str] = set()
        seen: set[int] = set()
        stack = [abs(literal)]
        while stack:
            atom = stack.pop()
            if atom in seen or atom == TRUTH:
                continue
            seen.add(atom)
            if atom in self.variable_of:
                found.add(self.variable_of[atom])
            else:
                stack.extend(abs(part) for part in self.parts[atom])
        return frozenset(found)

    def atoms_below(self, gate: int) -> int:
        """The SAT variables of facts on which a gate depends: a number with a bit for each."""
        known = self._below
        stack = [] if gate in known else [gate]
        while stack:
            own = self.parts[stack[-1]]
            if unknown := [atom for part in own if (atom := abs(part)) > self.facts_top and atom not in known]:
                stack += unknown
                continue
            mask = 0
            for part in own:
                mask |= known.get(abs(part)) or 1 << abs(part)
            known[stack.pop()] = mask
        return known[gate]

    def decode(self, model: Sequence[int], shift: int = 0) -> State:
        """The state in a model; `shift` is what was added to every SAT variable of that state.

        A value that the model leaves open (it ends early) is the first that fits.
        """
        told, found = self._told, list(self._first)
        for literal in model[shift : shift + self.facts_top]:
            if literal > 0 and (fact := told.get(literal - shift)) is not None:
                found[fact[0]] = fact[1]
        return tuple(found)

    def initial_clauses(self) -> list[list[int]]:
        """What initial states satisfy, beside `clauses`."""
        clauses = []
        for variable in self.machine.variables:
            allowed = [self.literals[variable.name, value] for value in variable.init]
            if len(allowed) < len(variable.domain):
                clauses.append(allowed)
        start = self.gate(self.machine.start)
        if start != TRUTH:
            clauses.append([start])
        return clauses

    def effects(self, update: Iterable[tuple[str, Value]]) -> Mapping[int, bool]:
        """For every SAT variable of the variables written: is it true afterwards?"""
        update = tuple(update)
        if sum(len(self.values[name]) for name, _ in update) > MOST_LISTED:
            return _Written(self, dict(update))
        after: dict[int, bool] = {}
        for name, value in update:
            for literal, other in self.values[name]:
                if literal != TRUTH:
                    after[abs(literal)] = (other == value) == (literal > 0)
        return after


class _Written(Mapping[int, bool]):
    """The same without a list: a rule that writes one of thousands of values says of each of them what it is."""

    def __init__(self, encoding: Encoding, update: Mapping[str, Value]) -> None:
        self.encoding = encoding
        self.update = update

    def __getitem__(self, atom: int) -> bool:
        name = self.encoding.variable_of[atom]
        return self.encoding.literals[name, self.update[name]] == atom

    def __iter__(self) -> Iterator[int]:
        for name in self.update:
            yield from (abs(literal) for literal, _ in self.encoding.values[name] if literal != TRUTH)

    def __len__(self) -> int:
        return sum(1 for _ in self)


def at_most_one(literals: Sequence[int], encoding: Encoding) -> list[list[int]]:
    """Clauses for "no two of these": pairs where there are few, else a chain with one new variable per literal."""
    if len(literals) <= 6:
        return [[-a, -b] for at, a in enumerate(literals) for b in literals[at + 1 :]]
    chain = [encoding.new() for _ in literals]
    clauses = [[-literal, link] for literal, link in zip(literals, chain, strict=True)]
    for at, (before, after) in enumerate(pairwise(chain), 1):
        clauses += [[-before, after], [-before, -literals[at]]]
    return clauses
