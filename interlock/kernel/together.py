"""Two machines that take the same steps side by side, as one machine, and where one does what the other does not.

Steps go by labels: a rule of one machine and a rule of the other with the same label are one step that both take.  The
machine of both is what comparing rests on, so it is made here, plainly, and held against an explicit simulation by
tests.  The idea is the product of two automata; that what is the same in both is kept once is what makes it small.

Where a label is possible in both, a step of the one has its counterpart in every step of the other that does the same
to all that both remember.  A step without counterpart is taken together with whatever the other can do by that label,
so that what follows from it is seen too.  A label that only one machine can follow ends the run, unless it is one that
the other has nothing to do with (`alone`): then the other stays as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import TypeAlias

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Leaf, Ref, Value, conj, disj, neg, with_leaves
from interlock.kernel.machine import Machine, Rule, Signal, Variable, is_among

_Rules: TypeAlias = tuple[Rule, ...]
_Taken: TypeAlias = tuple[str | None, str | None]
BEFORE = "before."
"""How names begin in the machine of both of what only the first machine has, or has otherwise."""


@dataclass(frozen=True, slots=True)
class Labelled:
    """A machine, and for each of its rules by name what both machines call such a step."""

    machine: Machine
    labels: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Difference:
    """Of one label, where it is possible in the second machine alone, in the first alone, or in both otherwise."""

    gained: Expr
    lost: Expr
    otherwise: Expr


@dataclass(frozen=True, slots=True)
class Together:
    """The machine of both.

    `rules` has for each of its rules the rule of the first and of the second machine that it stands for; None: that one
    stays as it is.  `variables` has for each of them, of the first and of the second machine, its name here.
    `differences` are by label, for those that both have.  `clashes` are by name of a variable that is kept once: where
    a step would set it to one value in one machine and to another in the other.  While one of them can be reached the
    machine is worth nothing, and that variable has to be kept apart.
    """

    first: Labelled
    second: Labelled
    machine: Machine
    rules: Mapping[str, tuple[str | None, str | None]]
    variables: tuple[Mapping[str, str], Mapping[str, str]]
    differences: Mapping[str, Difference]
    clashes: Mapping[str, Expr]
    _read: tuple[Callable[[Expr], Expr], Callable[[Expr], Expr]]

    def of_first(self, expr: Expr) -> Expr:
        """An expression of the first machine, in this one."""
        return self._read[0](expr)

    def of_second(self, expr: Expr) -> Expr:
        """An expression of the second machine, in this one."""
        return self._read[1](expr)

    def state_of(self, state: State, second: bool) -> State:
        """What the first or the second machine is in while this one is in the state."""
        machine, names = (self.second if second else self.first).machine, self.variables[second]
        return tuple(state[self.machine.positions[names[one.name]]] for one in machine.variables)


def together(
    first: Labelled,
    second: Labelled,
    same: Mapping[str, str],
    alone: tuple[AbstractSet[str], AbstractSet[str]] = (frozenset(), frozenset()),
    apart: AbstractSet[str] = frozenset(),
) -> Together:
    """The machine of both.

    `same` has for variables of the first machine the variable of the second that remembers the same; it is kept once,
    but for those, by their name in the second, that are kept `apart`, and those that have no start in common.  Both
    start in what both may start in.  `alone` are labels that the first, or the second, follows without the other.
    """
    once = {
        one: other
        for one, other in same.items()
        if other not in apart and _common(first.machine, second.machine, one, other)
    }
    names = (
        {v.name: once.get(v.name, BEFORE + v.name) for v in first.machine.variables},
        {v.name: v.name for v in second.machine.variables},
    )
    signals: dict[Expr, str] = {}
    read_second = _reader(second.machine, names[1], signals, "")
    read_first = _reader(first.machine, names[0], signals, BEFORE)
    steps = _Steps(first, second, same, names, (read_first, read_second))
    rules: dict[str, tuple[Rule, _Taken]] = {}
    differences: dict[str, Difference] = {}
    clashes: dict[str, list[Expr]] = {name: [] for name in once.values()}
    for label in dict.fromkeys((*second.labels.values(), *first.labels.values())):
        ours, theirs = steps.of(label)
        if label in alone[0] or label in alone[1]:
            for rule, of_second in (*((r, False) for r in ours), *((r, True) for r in theirs)):
                steps.add(rules, (None, rule) if of_second else (rule, None))
                for name, _ in rule.update:
                    if names[of_second][name] in clashes:
                        clashes[names[of_second][name]].append((read_second if of_second else read_first)(rule.guard))
            continue
        counterparts = steps.counterparts(ours, theirs)
        differences[label] = steps.difference(ours, theirs, counterparts)
        for a, b, when, apart_where in steps.pairs(ours, theirs, counterparts):
            steps.add(rules, (a, b), when)
            for name, where in apart_where.items():
                if name in clashes:
                    clashes[name].append(conj(read_first(a.guard), read_second(b.guard), when, where))
    machine = Machine(
        tuple(_variables(first.machine, second.machine, once)),
        tuple(Signal(name, definition) for definition, name in signals.items()),
        tuple(rule for rule, _ in rules.values()),
        (),
        conj(
            read_first(first.machine.start), read_second(second.machine.start), *_same_starts(first, second, same, once)
        ),
    )
    return Together(
        first,
        second,
        machine,
        {name: pair for name, (_, pair) in rules.items()},
        names,
        differences,
        {name: found for name, wheres in clashes.items() if (found := disj(*wheres)) != FALSE},
        (read_first, read_second),
    )


def _common(first: Machine, second: Machine, one: str, other: str) -> tuple[Value, ...]:
    """The values that a variable of both may have at the start in both, in the order of the second."""
    ours, theirs = (m.variables[m.positions[name]].init for m, name in ((first, one), (second, other)))
    return tuple(value for value in theirs if is_among(value, ours))


def _same_starts(first: Labelled, second: Labelled, same: Mapping[str, str], once: Mapping[str, str]) -> Iterator[Expr]:
    """What is kept apart starts alike, where it can."""
    for one, other in same.items():
        if one not in once and (values := _common(first.machine, second.machine, one, other)):
            yield disj(*(conj(Is(BEFORE + one, value), Is(other, value)) for value in values))


def _variables(first: Machine, second: Machine, once: Mapping[str, str]) -> Iterator[Variable]:
    """Those of the second machine, then what only the first has or has apart."""
    other = {name: first.variables[first.positions[one]] for one, name in once.items()}
    for one in second.variables:
        if one.name not in other:
            yield one
            continue
        both = other[one.name]
        more = tuple(value for value in both.domain if not is_among(value, one.domain))
        yield Variable(one.name, (*one.domain, *more), _common(first, second, both.name, one.name))
    for one in first.variables:
        if one.name not in once:
            yield Variable(BEFORE + one.name, one.domain, one.init)


def _reader(
    machine: Machine, variables: Mapping[str, str], signals: dict[Expr, str], prefix: str
) -> Callable[[Expr], Expr]:
    """Puts expressions of a machine into names of both; its signals join `signals` where they are not there yet."""
    known: dict[str, Expr] = {}

    def leaf(node: Leaf) -> Expr:
        if type(node) is Is:
            return Is(variables[node.variable], node.value)
        return known[node.signal] if type(node) is Ref else node

    for signal in machine.signals_in_order:
        definition = with_leaves(signal.definition, leaf)
        known[signal.name] = Ref(signals.setdefault(definition, prefix + signal.name))
    return lambda expr: with_leaves(expr, leaf)


class _Steps:
    """The rules of both machines by label, and how they go together."""

    def __init__(
        self,
        first: Labelled,
        second: Labelled,
        same: Mapping[str, str],
        names: tuple[Mapping[str, str], Mapping[str, str]],
        read: tuple[Callable[[Expr], Expr], Callable[[Expr], Expr]],
    ) -> None:
        self._by_label = tuple(_by_label(one) for one in (first, second))
        self._second_name = same
        self._first_name = {other: one for one, other in same.items()}
        self._domains = {v.name: v.domain for v in second.machine.variables}
        self._first_domains = {v.name: v.domain for v in first.machine.variables}
        self._names = names
        self._guards = (
            {rule.name: read[0](rule.guard) for rule in first.machine.rules},
            {rule.name: read[1](rule.guard) for rule in second.machine.rules},
        )

    def of(self, label: str) -> tuple[_Rules, _Rules]:
        """The rules of the first and of the second machine."""
        return self._by_label[0].get(label, ()), self._by_label[1].get(label, ())

    def counterparts(self, ours: _Rules, theirs: _Rules) -> tuple[Mapping[str, Expr], Mapping[str, Expr]]:
        """Of the rules of one label, by name, when each has a counterpart that can happen."""
        return dict(self._counterparts(ours, theirs, False)), dict(self._counterparts(theirs, ours, True))

    def difference(
        self, ours: _Rules, theirs: _Rules, found: tuple[Mapping[str, Expr], Mapping[str, Expr]]
    ) -> Difference:
        """Of rules of one label, with their counterparts."""
        before = disj(*(self._guards[0][rule.name] for rule in ours))
        after = disj(*(self._guards[1][rule.name] for rule in theirs))
        alike = before == after
        gained, lost = (FALSE if alike else conj(one, neg(other)) for one, other in ((after, before), (before, after)))
        otherwise = [
            conj(self._guards[at][name], (after, before)[at], neg(when))
            for at in (0, 1)
            for name, when in found[at].items()
        ]
        return Difference(gained, lost, disj(*otherwise))

    def pairs(
        self, ours: _Rules, theirs: _Rules, found: tuple[Mapping[str, Expr], Mapping[str, Expr]]
    ) -> Iterator[tuple[Rule, Rule, Expr, Mapping[str, Expr]]]:
        """Every two rules that are taken together, when, and where they then set a variable to different values."""
        for a in ours:
            for b in theirs:
                unlike = self._unlike(a, b)
                alike = conj(*map(neg, unlike.values()))
                when = disj(alike, neg(found[0][a.name]), neg(found[1][b.name]))
                if when != FALSE:
                    yield a, b, when, unlike

    def add(
        self, rules: dict[str, tuple[Rule, _Taken]], taken: tuple[Rule | None, Rule | None], when: Expr = TRUE
    ) -> None:
        """The rule of both for one or two that are taken together, unless it can never be."""
        parts = [(at, rule) for at, rule in enumerate(taken) if rule is not None]
        guard = conj(*(self._guards[at][rule.name] for at, rule in parts), when)
        if guard == FALSE:
            return
        update = {self._names[at][name]: value for at, rule in parts for name, value in rule.update}
        name = " / ".join(dict.fromkeys(rule.name for _, rule in parts))
        name = BEFORE + name if taken[1] is None else name
        names = tuple(None if rule is None else rule.name for rule in taken)
        rules[name] = Rule(name, parts[0][1].actor, guard, tuple(sorted(update.items()))), (names[0], names[1])

    def _counterparts(self, rules: _Rules, others: _Rules, second: bool) -> Iterator[tuple[str, Expr]]:
        for rule in rules:
            guard = self._guards[second][rule.name]
            found: list[Expr] = []
            for other in others:
                unlike = self._unlike(other, rule) if second else self._unlike(rule, other)
                alike = conj(*map(neg, unlike.values()))
                when = self._guards[not second][other.name]
                if alike == TRUE and when == guard:
                    found = [TRUE]
                    break
                found.append(conj(when, alike))
            yield rule.name, disj(*found)

    def _unlike(self, a: Rule, b: Rule) -> Mapping[str, Expr]:
        """By variable of the second machine, where the two rules do not leave the same in what both remember."""
        found: dict[str, Expr] = {}
        ours, theirs = dict(a.update), dict(b.update)
        for name in dict.fromkeys((*(self._second_name.get(one) for one in ours), *theirs)):
            if name is None or name not in self._first_name:
                continue
            one = self._first_name[name]
            alike: Expr
            if one in ours and name in theirs:
                alike = TRUE if ours[one] == theirs[name] else FALSE
            elif one in ours:
                alike = _is(self._names[1][name], ours[one], self._domains[name])
            else:
                alike = _is(self._names[0][one], theirs[name], self._first_domains[one])
            if alike != TRUE:
                found[name] = neg(alike)
        return found


def _is(name: str, value: Value, domain: tuple[Value, ...]) -> Expr:
    return Is(name, value) if is_among(value, domain) else FALSE


def _by_label(labelled: Labelled) -> Mapping[str, _Rules]:
    found: dict[str, list[Rule]] = {}
    for rule in labelled.machine.rules:
        found.setdefault(labelled.labels[rule.name], []).append(rule)
    return {label: tuple(rules) for label, rules in found.items()}
