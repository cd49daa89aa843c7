"""From some configurations, compiled one by one, one machine for all.

Where a part of the machine is not the same in all of them, what it depends on is guessed from those that were
compiled: on as few options as explain it.  Whoever relies on the guess compares it with others
(`kernel.merged.fault_of_merge`), and gives those that it misses too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from interlock.kernel.expressions import FALSE, TRUE, And, Expr, Not, Or, Value, conj, disj, neg
from interlock.kernel.machine import Actor, IllFormedMachine, Machine, Rule, Signal, Variable
from interlock.kernel.merged import start_within
from interlock.study.families.conditions import choice_of, so_in
from interlock.study.families.configurations import Space, Term, terms_of

DEEPEST = 40
"""Parts of expressions are compared so deep; what differs below is told apart as a whole."""
MOST_TOGETHER = 4
"""What depends on more options than this is taken as it was seen, configuration by configuration."""

_Key = tuple[str, Actor, tuple[tuple[str, Value], ...]]


@dataclass(frozen=True, slots=True)
class Asked:
    """Something that is asked of a configuration: of which requirement, in what sense."""

    requirement: str
    sense: str


@dataclass(frozen=True, slots=True)
class Compiled:
    """A configuration as a machine, with what is asked of it."""

    fitted: frozenset[str]
    machine: Machine
    asked: Mapping[Asked, Expr]


@dataclass(frozen=True, slots=True)
class Merged:
    """One machine for the configurations `compiling`, and what is asked of it.

    `where` says in which of them it is asked at all.  `keys` tells of each rule what it is in a configuration that has
    it: its name there, who does it, what it writes.
    """

    machine: Machine
    asked: Mapping[Asked, Expr]
    where: Mapping[Asked, int]
    compiling: int
    keys: Mapping[str, _Key]

    def rules_of(self, one: Machine) -> Mapping[str, str]:
        """Which rules are which of that configuration."""
        there = {_key(rule): rule.name for rule in one.rules}
        return {name: there[key] for name, key in self.keys.items() if key in there}


def shared(machine: Machine, known: dict[Expr, Expr]) -> Machine:
    """The same machine, what it has in common with others that were given the same objects: they compare quickly."""
    return replace(
        machine,
        signals=tuple(
            replace(one, definition=known.setdefault(one.definition, one.definition)) for one in machine.signals
        ),
        rules=tuple(replace(one, guard=known.setdefault(one.guard, one.guard)) for one in machine.rules),
        start=known.setdefault(machine.start, machine.start),
    )


class CannotMerge(Exception):
    """What is a truth value in one configuration is something else in another, or signals would form a circle."""


def merge(space: Space, compiled: Sequence[Compiled], not_compiling: Sequence[frozenset[str]]) -> Merged:
    """One machine that is the same as each of those given, with the choices made for it.  Raises CannotMerge."""
    guess = _Guess(space, [one.fitted for one in compiled])
    machines = [one.machine for one in compiled]
    every = _Guess(space, [*guess.configurations, *not_compiling])
    compiling = every.where([True] * len(compiled) + [False] * len(not_compiling)) & space.allowed
    variables = _variables(machines)
    choices = {choice_of(option): False for option in space.options}
    start = guess.joined([start_within(variables, choices, one) for one in machines])
    signals = dict.fromkeys(signal.name for one in machines for signal in one.signals)
    guards = [{_key(rule): rule.guard for rule in one.rules} for one in machines]
    keys = _named(dict.fromkeys(key for one in guards for key in one))
    asked = dict.fromkeys(one for machine in compiled for one in machine.asked)
    try:
        machine = Machine(
            (*variables, *(Variable(name, (False, True), (False, True)) for name in choices)),
            tuple(Signal(name, guess.joined([one.definitions.get(name) for one in machines])) for name in signals),
            tuple(
                Rule(name, key[1], guess.joined([one.get(key, FALSE) for one in guards]), key[2])
                for name, key in keys.items()
            ),
            (),
            conj(start, so_in(space, compiling)),
        )
    except IllFormedMachine as fault:
        raise CannotMerge(str(fault)) from fault
    return Merged(
        machine,
        {one: guess.joined([machine.asked.get(one) for machine in compiled]) for one in asked},
        {one: guess.where([one in machine.asked for machine in compiled]) & compiling for one in asked},
        compiling,
        keys,
    )


def _key(rule: Rule) -> _Key:
    return rule.name, rule.actor, tuple(sorted(rule.update, key=lambda one: one[0]))


def _named(keys: Mapping[_Key, None]) -> Mapping[str, _Key]:
    """A name for each rule: its own, or where rules of one name do different things one made of it."""
    taken = {key[0] for key in keys}
    found: dict[str, _Key] = {}
    for key in keys:
        name, number = key[0], 2
        while name in found or (name in taken and name != key[0]):
            name, number = f"{key[0]} ({number})", number + 1
        found[name] = key
    return found


def _variables(machines: Sequence[Machine]) -> tuple[Variable, ...]:
    """Every variable of any of them, with all values that it can have anywhere."""
    found: dict[str, Variable] = {}
    for one in (variable for machine in machines for variable in machine.variables):
        before = found.get(one.name, one)
        if bool in map(type, (*one.domain, *before.domain)) and set(map(type, (*one.domain, *before.domain))) != {bool}:
            raise CannotMerge(f"{one.name!r} is true or false with some options, and something else with others")
        domain = tuple(dict.fromkeys((*before.domain, *one.domain)))
        found[one.name] = Variable(one.name, domain, tuple(dict.fromkeys((*before.init, *one.init))))
    return tuple(found.values())


class _Guess:
    """What depends on which options, as seen in some configurations."""

    def __init__(self, space: Space, configurations: Sequence[frozenset[str]]) -> None:
        self.configurations = configurations
        self._space = space
        self._seen = (1 << len(configurations)) - 1
        self._having = {
            option: sum(1 << at for at, fitted in enumerate(configurations) if option in fitted)
            for option in space.options
        }
        self._known: dict[tuple[int, int], int] = {}

    def where(self, values: Sequence[bool | None]) -> int:
        """The configurations in which it is so, of what was seen so and not so; None where it does not matter."""
        on = sum(1 << at for at, value in enumerate(values) if value is True)
        off = sum(1 << at for at, value in enumerate(values) if value is False)
        if (on, off) not in self._known:
            self._known[on, off] = self._guessed(on, off)
        return self._known[on, off]

    def _guessed(self, on: int, off: int) -> int:
        space = self._space
        if not off:
            return space.everything
        for size in range(min(MOST_TOGETHER, len(space.options)) + 1):
            for options in combinations(space.options, size):
                rows = self._rows(options)
                if any(seen & on and seen & off for _, seen in rows):
                    continue
                some = open_rows = 0
                for term, seen in rows:
                    some |= term.of(space) if seen & on else 0
                    open_rows |= 0 if seen & (on | off) else term.of(space)
                return self._simple(some, open_rows)
        return self._simple(self._union(on), 0)

    def _rows(self, options: Sequence[str]) -> list[tuple[Term, int]]:
        """Every choice of these options, with where it was seen."""
        rows = [(Term((), ()), self._seen)]
        for option in options:
            having = self._having[option]
            rows = [
                row
                for term, seen in rows
                for row in (
                    (Term((*term.fitted, option), term.without), seen & having),
                    (Term(term.fitted, (*term.without, option)), seen & ~having),
                )
            ]
        return rows

    def _simple(self, some: int, beside: int) -> int:
        found = 0
        for term in terms_of(self._space, some, beside | (self._space.everything & ~self._space.allowed & ~some)):
            found |= term.of(self._space)
        return found

    def _union(self, seen: int) -> int:
        found = 0
        for at, fitted in enumerate(self.configurations):
            if seen >> at & 1:
                found |= self._space.alone(fitted)
        return found

    def joined(self, exprs: Sequence[Expr | None], depth: int = 0) -> Expr:
        """One expression that is each of these where it was seen; None where it does not matter."""
        different = set(exprs) - {None}
        if len(different) <= 1:
            return next((one for one in different if one is not None), FALSE)
        if depth > DEEPEST:
            return self._by_cases(exprs)
        plain = [one for one in different if one is not None and one not in (TRUE, FALSE)]
        if plain and all(isinstance(one, Not) for one in plain):
            inner = [None if one is None else neg(one) for one in exprs]
            return neg(self.joined(inner, depth + 1))
        sort = (
            Or if any(isinstance(one, Or) for one in plain) and not any(isinstance(one, And) for one in plain) else And
        )
        return self._by_parts(exprs, sort, depth)

    def _by_parts(self, exprs: Sequence[Expr | None], sort: type[And] | type[Or], depth: int) -> Expr:
        """The parts of conjunctions, each where it was seen; of disjunctions likewise."""
        join, split = (conj, disj) if sort is And else (disj, conj)
        neutral, deciding = (TRUE, FALSE) if sort is And else (FALSE, TRUE)
        parts = [None if one is None or one == deciding else dict.fromkeys(_parts(one, sort, neutral)) for one in exprs]
        seen = [one for one in parts if one is not None]
        common = [part for part in seen[0] if all(part in one for one in seen)] if seen else []
        rest = [None if one is None else [part for part in one if part not in common] for one in parts]
        found = list(common)
        if all(one is None or len(one) == 1 for one in rest) and (common or sort is Or or depth):
            found.append(self._one_by_one([None if one is None else one[0] for one in rest], depth))
        else:
            for part in dict.fromkeys(part for one in rest if one is not None for part in one):
                where = self.where([None if one is None else part in one for one in rest])
                found.append(split(self._unless(where, sort), part))
        decided = self.where([None if one is None else one == deciding for one in exprs])
        if any(one == deciding for one in exprs):
            found.append(self._unless(decided, sort))
        return join(*found)

    def _unless(self, where: int, sort: type[And] | type[Or]) -> Expr:
        """What keeps a part from playing a role elsewhere: of a conjunction that it is not there, else that it is."""
        here = so_in(self._space, where)
        return neg(here) if sort is And else here

    def _one_by_one(self, exprs: Sequence[Expr | None], depth: int) -> Expr:
        """Parts of which each seen configuration has one."""
        different = {one for one in exprs if one is not None}
        if all(isinstance(one, And | Or) for one in different) and len({type(one) for one in different}) == 1:
            return self.joined(exprs, depth + 1)
        return self._by_cases(exprs)

    def _by_cases(self, exprs: Sequence[Expr | None]) -> Expr:
        """Each as a whole, where it was seen."""
        found = []
        for one in dict.fromkeys(one for one in exprs if one is not None):
            where = self.where([None if other is None else other == one for other in exprs])
            found.append(disj(neg(so_in(self._space, where)), one))
        return conj(*found)


def _parts(expr: Expr, sort: type[And] | type[Or], neutral: Expr) -> Iterator[Expr]:
    if isinstance(expr, sort):
        yield from expr.args
    elif expr != neutral:
        yield expr
