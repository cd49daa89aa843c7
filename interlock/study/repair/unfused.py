"""A hold before its mechanism is fused into what sets it off, and what becomes of a run where one expression differs.

A kernel rule has the whole consequence of a step in it, worked out for the wiring as it is.  Here a step is what
somebody does, and what mechanism then does is followed one after the other: so it can be followed with a contact more.
All contacts that could stand in one place are followed at once: they part where the run asks for what tells them apart.
"""

from __future__ import annotations

from collections import ChainMap
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.described import describe
from interlock.hold.compile.lowering import Lowering
from interlock.hold.compile.naming import NamedHold, name_hold
from interlock.hold.compile.requirements import instantiate
from interlock.hold.language.model import Hold
from interlock.hold.language.syntax import Fact, Negation, Syntax, Truth
from interlock.hold.wiring import rewired, wires_of
from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State, fire, is_enabled, is_initial, truths_in
from interlock.kernel.expressions import Const, Expr, signals_of
from interlock.kernel.machine import Machine, RequirementKind, Rule, Signal, question_of, with_monitors
from interlock.study.repair.places import Place

MOST_RESPONSES = 60
"""Steps of mechanism that are followed behind one step: a chain that goes on may never come to rest."""


@dataclass(frozen=True, slots=True)
class Run:
    """A run as it was found: where it starts, what is done, with what mechanism did then, and what is so at its end.

    `states` are those at rest, the first and the last among them.
    """

    deeds: tuple[tuple[str, tuple[str, ...]], ...]
    states: tuple[State, ...]
    target: Expr


class Unfused:
    """The machine of steps before mechanism follows; `targets` says per requirement when it is broken, or reached.

    What is looked at is a contact for one of the `facts` in one of the `places`.
    """

    def __init__(self, compiled: CompiledHold, places: Sequence[Place], facts: Sequence[Fact]) -> None:
        hold = opened(compiled.hold, places)
        named = name_hold(describe(hold, compiled.situation))
        steps = {act.deed.name: (act.deed.name,) for act in named.symbols.acts if not act.settles}
        texts = tuple(dict.fromkeys(one.origin for one in compiled.instances))
        known = {one.requirement.id: one.requirement for one in instantiate(texts, Lowering(named.world), steps)}
        asked = tuple(known[id] for one in compiled.instances if (id := one.requirement.id) in known)
        acts = {act.deed.name: act.rule for act in named.symbols.acts if not act.settles}
        self.mechanism = tuple(
            Rule(act.rule.name, act.rule.actor, act.rule.guard, tuple(act.rule.updates.items()))
            for act in named.symbols.acts
            if act.settles
        )
        machine = Machine(
            tuple(one.variable for one in named.symbols.memories.values()),
            tuple(Signal(name, definition) for name, definition in named.definitions.items()),
            tuple(Rule(name, one.actor, one.guard, tuple(one.updates.items())) for name, one in acts.items()),
            asked,
        )
        self.machine = with_monitors(machine)
        self.targets: Mapping[str, Expr] = {
            one.id: question_of(self.machine, one).target for one in asked if one.kind is not RequirementKind.CAN_ALWAYS
        }
        self._lowering = Lowering(named.world)
        self.facts = tuple(self._lowering.expression(fact) for fact in facts)
        self._under: dict[Expr, frozenset[str]] = {}
        self._truths: dict[State, Callable[[Expr], bool]] = {}
        self._otherwise: dict[tuple[str, State], Callable[[Expr], bool]] = {}
        self._made: dict[State, int] = {}
        self._mattering: dict[tuple[Expr, str, State], bool] = {}
        self._ends: dict[Place, tuple[Expr, Expr]] = {}
        self._world = named.world
        self._settling = frozenset().union(*(self.under(step.guard) for step in self.mechanism))
        self._plain = _plain_wires(hold, named, {place.wire.meaning.name for place in places})

    # ---- what is so in a state

    def truths(self, state: State) -> Callable[[Expr], bool]:
        """Truths in the state, wired as it is."""
        if state not in self._truths:
            self._truths[state] = truths_in(self.machine, state)
        return self._truths[state]

    def made(self, state: State) -> int:
        """Which contacts are made in the state: two bits for each fact, the one while it is so, then the other."""
        if state not in self._made:
            true = self.truths(state)
            self._made[state] = sum((1 if true(fact) else 2) << (2 * at) for at, fact in enumerate(self.facts))
        return self._made[state]

    def under(self, expr: Expr) -> frozenset[str]:
        """All signals that the expression depends on."""
        if expr not in self._under:
            found: set[str] = set()
            waiting = list(signals_of(expr))
            while waiting:
                name = waiting.pop()
                if name not in found:
                    found.add(name)
                    waiting += signals_of(self.machine.definitions[name])
            self._under[expr] = frozenset(found)
        return self._under[expr]

    def is_followed(self, place: Place) -> bool:
        """What becomes of a run with a contact there can be followed: the expression alone says what it decides."""
        return place.wire.meaning.name in self._plain

    def in_circles(self, place: Place) -> int:
        """The contacts that depend themselves on what stands in that place, and cannot be put there."""
        name = place.wire.meaning.name
        return sum(3 << (2 * at) for at, fact in enumerate(self.facts) if name in self.under(fact))

    # ---- runs

    def run_of(self, origin: Machine, compiled: CompiledHold, trace: Trace, target: Expr) -> Run | None:
        """The run of a machine of this hold, or of one wired otherwise, as it is done here; None where it cannot be."""
        known = {variable.name: value for variable, value in zip(origin.variables, trace.states[0], strict=True)}
        first = tuple(known.get(variable.name, variable.init[0]) for variable in self.machine.variables)
        if not is_initial(self.machine, first) or not self._is_at_rest(first):
            return None
        deeds = []
        for name in trace.rules:
            rule = compiled.origins.rules[name]
            deeds.append((rule.deed.name, tuple(one.name for one in rule.responses)))
        states = [first]
        for done in deeds:
            after = self._step(states[-1], done)
            if after is None:
                return None
            states.append(after)
        if not self.truths(states[-1])(target):
            return None
        return Run(tuple(deeds), tuple(states), target)

    def _is_at_rest(self, state: State) -> bool:
        true = self.truths(state)
        return not any(true(step.guard) for step in self.mechanism)

    def _step(self, state: State, done: tuple[str, tuple[str, ...]]) -> State | None:
        name, responses = done
        rules = {rule.name for rule in self.machine.rules}
        if name not in rules or not is_enabled(self.machine, rule := self.machine.rule(name), state):
            return None
        after = fire(self.machine, rule, state)
        for _ in range(MOST_RESPONSES):
            true = self.truths(after)
            step = next((one for one in self._in_order(responses) if true(one.guard)), None)
            if step is None:
                return after
            after = fire(self.machine, step, after)
        return None

    def _in_order(self, responses: Sequence[str]) -> Sequence[Rule]:
        if not responses:
            return self.mechanism
        place = {name: at for at, name in enumerate(responses)}
        return sorted(self.mechanism, key=lambda step: place.get(step.name, len(place)))

    # ---- the same with a contact more, or another one

    def done_with(self, run: Run, place: Place, contacts: int) -> int:
        """Those of the contacts with which, put in that place, the run can still be done to its end."""
        name = place.wire.meaning.name
        if name not in self._plain:
            return 0
        if name in self._settling:
            return self._followed(run, place, contacts)
        for at, state in enumerate(run.states):
            asked = self.machine.rule(run.deeds[at][0]).guard if at < len(run.deeds) else run.target
            contacts, _ = self._parted(asked, place, state, contacts)
            if not contacts:
                break
        return contacts

    def _followed(self, run: Run, place: Place, contacts: int) -> int:
        for step in self.mechanism:
            _, contacts = self._parted(step.guard, place, run.states[0], contacts)
        reached = 0
        waiting = [(0, run.states[0], contacts)]
        while waiting:
            at, state, some = waiting.pop()
            if not some:
                continue
            if at == len(run.deeds):
                reached |= self._parted(run.target, place, state, some)[0]
                continue
            name, responses = run.deeds[at]
            rule = self.machine.rule(name)
            some, _ = self._parted(rule.guard, place, state, some)
            order = self._in_order(responses)
            waiting += [(at + 1, *one) for one in self._settled(fire(self.machine, rule, state), place, some, order)]
        return reached

    def _settled(self, state: State, place: Place, contacts: int, order: Sequence[Rule]) -> Iterator[tuple[State, int]]:
        """Where mechanism comes to rest, with which of the contacts; what goes on too long is left out."""
        waiting = [(state, contacts, 0)]
        while waiting:
            state, contacts, steps = waiting.pop()
            for step in order:
                if not contacts:
                    break
                made, contacts = self._parted(step.guard, place, state, contacts)
                if made and steps < MOST_RESPONSES:
                    waiting.append((fire(self.machine, step, state), made, steps + 1))
            if contacts:
                yield state, contacts

    def _parted(self, expr: Expr, place: Place, state: State, contacts: int) -> tuple[int, int]:
        """Of the contacts those with which, put in that place, the expression is true in the state, and the others."""
        wired = self.truths(state)(expr)
        name = place.wire.meaning.name
        changed = 0
        if contacts and name in self.under(expr):
            true = self.truths(state)
            now, made = true(self.machine.definitions[name]), self.made(state)
            while_made, while_open = map(true, self._with_ends(place))
            changed = (contacts & made if while_made is not now else 0) | (
                contacts & ~made if while_open is not now else 0
            )
            if changed and not self._matters(expr, name, state):
                changed = 0
        same = contacts & ~changed
        return (same, changed) if wired else (changed, same)

    def _with_ends(self, place: Place) -> tuple[Expr, Expr]:
        """What the whole expression means while a contact in the place is made, and while it is open."""
        if place not in self._ends:
            lowering = Lowering(self._world, owner=place.wire.meaning)
            made, open_ = (place.with_contact(Truth(value, place.wire.span)) for value in (True, False))
            self._ends[place] = lowering.expression(made), lowering.expression(open_)
        return self._ends[place]

    def _matters(self, expr: Expr, name: str, state: State) -> bool:
        """The truth of the expression would be the other, were that of the signal."""
        key = (expr, name, state)
        if key not in self._mattering:
            self._mattering[key] = self._if_otherwise(name, state)(expr) is not self.truths(state)(expr)
        return self._mattering[key]

    def _if_otherwise(self, name: str, state: State) -> Callable[[Expr], bool]:
        """Truths in the state, were that of one signal the other."""
        if (name, state) not in self._otherwise:
            opposite = Const(not self.truths(state)(self.machine.definitions[name]))
            others = cast("dict[str, Expr]", self.machine.definitions)
            definitions: Mapping[str, Expr] = ChainMap({name: opposite}, others)
            machine = cast(Machine, _Otherwise(self.machine.positions, definitions))
            self._otherwise[name, state] = truths_in(machine, state)
        return self._otherwise[name, state]


@dataclass(frozen=True, slots=True)
class _Otherwise:
    """As much of a machine as truths are worked out from."""

    positions: Mapping[str, int]
    definitions: Mapping[str, Expr]


def opened(hold: Hold, places: Sequence[Place]) -> Hold:
    """The same hold, in which what is no more than a truth is wired all the same, so that a contact can join it."""
    for wire in (place.wire for place in places):
        if isinstance(wire.syntax, Truth):
            opposite: Syntax = replace(wire.syntax, value=not wire.syntax.value)
            hold = rewired(hold, wire.meaning, Negation(opposite, wire.span))
    return hold


def _plain_wires(hold: Hold, named: NamedHold, wanted: Collection[str]) -> frozenset[str]:
    """The expressions that alone say what they decide: no failure comes between."""
    found: list[Any] = []
    for wire in wires_of(hold):
        name = wire.meaning.name
        lowered = Lowering(named.world, owner=wire.meaning).expression(wire.syntax)
        if name in wanted and named.definitions.get(name) == lowered:
            found.append(name)
    return frozenset(found)
