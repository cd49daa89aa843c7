"""States that are known to be reached, without any failure and where some strike, by the facts that are so in them.

Nearly every run to a target is one without a failure to the right place, then the failures strike, then a few steps.
So the states that are reached without a failure serve all sets: struck in each of them, a set gives as many states of
its own.  Where none of them lies in a cube that leads to a target, one that does is planned for, and serves from then
on.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from itertools import combinations
from typing import TypeAlias

from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State, fire, is_enabled, truths_in
from interlock.kernel.expressions import Value
from interlock.kernel.machine import Actor, Machine, Rule
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.samples import Samples
from interlock.prove.core.solvers import add_all, light_solver
from interlock.prove.engine import Clock
from interlock.prove.search.guided import GuidedSearch

MOST_PLANNED = 40
"""How many states are expanded to reach a cube without a failure, and some more for each step that it seems away."""
MOST_MORE = 10_000
"""So many states are kept at the most that were planned for."""
MOST_SOURCES = 6
"""From so many states a cube is planned for at the most, beside the one that a plan comes nearest from."""
MOST_IN_VAIN = 6
"""So many cubes are planned for in vain under one set."""

Ending: TypeAlias = tuple[int, ...]
"""Rules, by their numbers, with which a run to a target ended after a failure had struck."""


def extended(machine: Machine, trace: Trace, rules: Iterable[Rule]) -> Trace:
    """The run, and then these rules; whether they can fire is not asked."""
    fired, states = list(trace.rules), list(trace.states)
    for rule in rules:
        fired.append(rule.name)
        states.append(fire(machine, rule, states[-1]))
    return Trace(tuple(fired), tuple(states))


def loosely_after(machine: Machine, trace: Trace, rules: Iterable[Rule]) -> Trace:
    """The run, and then these rules, each where it can fire."""
    for rule in rules:
        if is_enabled(machine, rule, trace.states[-1]):
            trace = extended(machine, trace, (rule,))
    return trace


def struck_late(machine: Machine, trace: Trace, is_strike: Callable[[str], bool]) -> Trace:
    """The run with the same end in which failures strike as late as they can; their rules are known by their names.

    How such a run ends after its last failure has the least to do with what failed.
    """
    names, states = list(trace.rules), list(trace.states)
    for first in reversed([step for step, name in enumerate(names) if is_strike(name)]):
        strike = machine.rule(names[first])
        state = states[first]
        before = [state]
        latest = first
        for at in range(first + 1, len(names)):
            rule = machine.rule(names[at])
            if not is_enabled(machine, rule, state):
                break
            state = fire(machine, rule, state)
            before.append(state)
            if is_enabled(machine, strike, state) and fire(machine, strike, state) == states[at + 1]:
                latest = at
        names[first : latest + 1] = [*names[first + 1 : latest + 1], strike.name]
        states[first : latest + 1] = before[: latest - first + 1]
    return Trace(tuple(names), tuple(states))


class Nominal:
    """What is reached while nothing fails.

    `search` is one over `base`, the machine without its failures; states here are those of the whole machine.
    `lemmas`, over the encoding of the whole, hold in each of them.
    """

    def __init__(
        self,
        rules: LocalRules,
        base: Machine,
        search: GuidedSearch,
        states: Sequence[State],
        lemmas: Iterable[Cube],
        clock: Clock,
    ) -> None:
        self.rules = rules
        self.clock = clock
        self._search = search
        machine = rules.machine
        self._place = [base.positions.get(variable.name, -1) for variable in machine.variables]
        self.variables = [at for at, place in enumerate(self._place) if place >= 0]
        """The places of those that are no failures."""
        values = rules.encoding.values
        literals = {literal for at in self.variables for literal, _ in values[machine.variables[at].name]}
        self.literals = sorted({*literals, *(-literal for literal in literals), TRUTH} - {-TRUTH})
        """What samples are told apart by."""
        self.owners = {
            r.name: next(n for n, _ in r.update if n not in base.positions)
            for r in machine.rules
            if r.actor is Actor.FAILURE
        }
        """Per rule of a failure, that failure."""
        self.intact = frozenset(-rules.encoding.literals[name, True] for name in self.owners.values())
        """Per failure the literal that it has not struck."""
        self._default = [v.init[0] for v in rules.machine.variables]
        self._whole: dict[State, State] = {}
        self._own: dict[State, State] = {}
        self._solver = PolaritySolver(rules.encoding, light_solver())
        add_all(self._solver, [[-literal for literal in cube] for cube in lemmas])
        self._failed: list[frozenset[int]] = []
        """Cubes that were planned for in vain."""
        self.in_vain: list[frozenset[int]] = []
        """Those since this was emptied."""
        self.ways: list[Trace] = []
        """Runs to states that were planned for, since this was emptied."""
        self.parts_in_order: dict[int, list[int]] = {}
        """Per gate what it is the conjunction of, facts first."""
        self.planned = 0
        """How many cubes were planned for."""
        self.samples = Samples(
            rules.encoding, [self.whole(state) for state in states], self.run_to, len(states) + MOST_MORE
        )
        self._known = set(self.samples.states)
        self._noted: dict[State, Trace] = {}
        """Runs to states that were met elsewhere."""
        self._fresh: list[State] = []
        """Those of them that are no samples yet."""

    def note(self, trace: Trace) -> None:
        """Notes a run without a failure, to a state of the whole machine."""
        state = trace.states[-1]
        if state not in self._known:
            self._known.add(state)
            self._noted[state] = trace
            self._fresh.append(state)

    def take(self, ways: Iterable[Trace], in_vain: Iterable[frozenset[int]]) -> None:
        """Notes what came of planning elsewhere: what lies on these ways, and cubes that were planned for in vain."""
        for way in ways:
            for step in range(1, way.depth + 1):
                self.note(Trace(way.rules[:step], way.states[: step + 1]))
        self._failed += in_vain

    def take_notes(self) -> None:
        """What was noted is among the samples from now on."""
        if self._fresh:
            self.samples.add(self._fresh)
            self._fresh = []

    def close(self) -> None:
        """Frees the solver."""
        self._solver.close()

    def whole(self, state: State) -> State:
        """The state of the whole machine in which nothing has failed."""
        found = self._whole.get(state)
        if found is None:
            values = zip(self._place, self._default, strict=True)
            found = self._whole[state] = tuple(state[at] if at >= 0 else other for at, other in values)
            self._own[found] = state
        return found

    def run_to(self, state: State) -> Trace:
        """A run without a failure to a state that is known."""
        if state in self._noted:
            return self._noted[state]
        trace = self._search.run_to(self._own[state])
        return Trace(trace.rules, tuple(map(self.whole, trace.states)))

    def may_reach(self, cube: Sequence[int]) -> bool:
        """Whether nothing that is known speaks against a state of the cube that is reached without a failure."""
        members = frozenset(cube)
        return not any(failed <= members for failed in self._failed) and self._solver.solve(cube, self.clock)

    def _near(self, cube: Sequence[int]) -> list[State]:
        """States that lack one literal of the cube, one for each."""
        found: dict[int, None] = {}
        for literal in cube:
            lanes = self.samples.within(other for other in cube if other != literal)
            if lanes:
                found[(lanes & -lanes).bit_length() - 1] = None
        near = [self.samples.states[at] for at in found]
        return [self._own[state] for state in near if state not in self._noted][:MOST_SOURCES]

    def reach(self, cube: Sequence[int]) -> list[State]:
        """The states on a way to the cube without a failure, the last in it; none where none was found."""
        self.planned += 1
        facts = [self.rules.encoding.facts[literal] for literal in cube]
        found = self._search.reach(facts, self._near(cube), MOST_PLANNED)
        if found is None:
            self._failed.append(frozenset(cube))
            self.in_vain.append(frozenset(cube))
            return []
        trace = self.run_to(self.whole(found))
        self.ways.append(trace)
        fresh = [state for state in trace.states if state not in self._known]
        self._known.update(fresh)
        self.samples.add(fresh)
        return [*fresh, trace.states[-1]]


class Met(Samples):
    """States that are reached where nothing but some failures strikes; grows with each run.

    At first those without a failure, and what each of them becomes where some or all of these strike there.
    """

    def __init__(self, nominal: Nominal, own: Sequence[str], strikes: Mapping[str, Sequence[Rule]]) -> None:
        self.encoding = nominal.samples.encoding
        self.run_to = nominal.run_to
        self._nominal = nominal
        self._machine = nominal.rules.machine
        self._strikes = {name: strikes[name] for name in own}
        self._variables = [*nominal.variables, *(self.encoding.machine.positions[name] for name in own)]
        self._vain = 0
        own_facts = {self.encoding.literals[name, True] for name in own}
        self._others_intact = nominal.intact.difference(-literal for literal in own_facts)
        """That none of the others has struck is so in every lane; masks do not say it."""
        self._told = [*nominal.literals, *own_facts, *(-literal for literal in own_facts)]
        self.states = []
        """Those of the lanes that were met since, and are in no block."""
        self._ways: list[tuple[Trace, int]] = []
        """Per such state a run, and how many of its steps lead there."""
        self.masks = list(nominal.samples.masks)
        self.size = nominal.samples.size
        self.first = 0
        """The first lane that is in no block."""
        self.ends: list[int] = []
        """The lanes, each as a mask, in which runs to targets end, where all of the set has struck."""
        self._block = self.size
        self._blocks: list[tuple[str, ...]] = [()]
        """What has struck in each block of lanes; lane n of a block is nominal state n, struck."""
        self._known: dict[int, int] = {}
        self._in_order = nominal.parts_in_order
        for size in range(1, len(own) + 1):
            for struck in combinations(own, size):
                self._add_block(struck)
        self.first = self.size

    def _add_block(self, struck: tuple[str, ...]) -> None:
        """What the states become, struck by the last of these where the others have struck."""
        source, shift = self._blocks.index(struck[:-1]) * self._block, self.size
        every = (1 << self._block) - 1
        masks = self.masks
        for literal in self._nominal.literals:
            if masks[literal]:
                masks[literal] |= (masks[literal] >> source & every) << shift
        for name in self._strikes:
            fact = self.encoding.literals[name, True]
            has = struck[:-1].count(name)
            masks[fact if has else -fact] |= every << shift
        self._blocks.append(struck)
        self.size += self._block
        waiting = every << shift
        for rule in self._strikes[struck[-1]]:
            lanes = self.true(self.encoding.gate(rule.guard)) & waiting
            if not lanes:
                continue
            waiting &= ~lanes
            for name, value in rule.update:
                for literal, other in self.encoding.values[name]:
                    if other == value:
                        masks[literal] |= lanes
                        masks[-literal] &= ~lanes
                    else:
                        masks[literal] &= ~lanes
                        masks[-literal] |= lanes
            self._known.clear()
        # where none of them may fire it cannot strike
        masks[TRUTH] &= ~waiting
        self._known.clear()

    def meet(self, trace: Trace) -> None:
        """Adds what a run goes through where something has struck, and what that becomes where the rest strikes too."""
        known = set(self.states)
        struck: set[str] = set()
        rules = self._nominal.owners
        for step, name in enumerate(trace.rules, start=1):
            owner = rules.get(name)
            if owner is not None:
                struck.add(owner)
            state = trace.states[step]
            if not struck or state in known:
                continue
            known.add(state)
            self._put(state, trace, step)
            rest = [name for name in self._strikes if name not in struck]
            if rest and (more := self.struck(Trace(trace.rules[:step], trace.states[: step + 1]), rest)) is not None:
                self._put(more.states[-1], more, len(more.rules))
        if len(struck) == len(self._strikes):
            self.ends.append(1 << self.size - 1)

    def inherit(self, runs: Iterable[Trace]) -> None:
        """Adds the ends of runs in which a part of the set fails, and what each becomes where the rest strikes too."""
        for run in runs:
            self._put(run.states[-1], run, run.depth)
            rest = [name for name in self._strikes if not run.states[-1][self._machine.positions[name]]]
            if rest and (more := self.struck(run, rest)) is not None:
                self._put(more.states[-1], more, more.depth)
                self.ends.append(1 << self.size - 1)

    def _put(self, state: State, trace: Trace, step: int) -> None:
        self.states.append(state)
        self._ways.append((trace, step))
        lane = 1 << self.size
        self.size += 1
        self._known.clear()
        masks, variables, values = self.masks, self._machine.variables, self.encoding.values
        masks[TRUTH] |= lane
        for at in self._variables:
            value = state[at]
            for literal, other in values[variables[at].name]:
                if literal != TRUTH:
                    masks[literal if other == value else -literal] |= lane

    def struck(self, trace: Trace, names: Iterable[str]) -> Trace | None:
        """The run, and then these strike; None where one of them cannot any more."""
        for name in names:
            true = truths_in(self._machine, trace.states[-1])
            rule = next((rule for rule in self._strikes[name] if true(rule.guard)), None)
            if rule is None:
                return None
            trace = extended(self._machine, trace, (rule,))
        return trace

    def within(self, cube: Iterable[int]) -> int:
        """The lanes in which all of the literals hold."""
        return super().within(literal for literal in cube if literal not in self._others_intact)

    def run_into(self, cube: Iterable[int]) -> Trace | None:
        """A run to a state that is known and in which all of the literals hold; None where there is none."""
        found = self.within(cube)
        return self.run_of(found) if found else None

    def nearest(self, cube: Cube) -> tuple[int, int]:
        """How many literals of the cube are not so, in the lanes where these are fewest, and these lanes."""
        lanes = every = self.masks[TRUTH]
        counters: list[int] = []
        for literal in cube:
            carry = 0 if literal in self._others_intact else every & ~self.masks[literal]
            for at, counter in enumerate(counters):
                counters[at], carry = counter ^ carry, counter & carry
            if carry:
                counters.append(carry)
        fewest = 0
        for at in reversed(range(len(counters))):
            if fewer := lanes & ~counters[at]:
                lanes = fewer
            else:
                fewest |= 1 << at
        return fewest, lanes

    def along(self, facts: Iterable[tuple[str, Value]]) -> int:
        """The lanes that are farthest along a plan which brings these about, the last first."""
        lanes = self.masks[TRUTH]
        for fact in facts:
            lanes = lanes & self.masks[self.encoding.literals[fact]] or lanes
        return lanes

    def literals_of(self, lanes: int) -> list[int]:
        """What is so in the first of these lanes."""
        lane = lanes & -lanes
        return [literal for literal in self._told if self.masks[literal] & lane]

    def run_of(self, lanes: int) -> Trace:
        """A run to the first of these lanes."""
        lane = (lanes & -lanes).bit_length() - 1
        block, at = divmod(lane, self._block) if self._block else (len(self._blocks), lane)
        if block >= len(self._blocks):
            trace, step = self._ways[lane - len(self._blocks) * self._block]
            return Trace(trace.rules[:step], trace.states[: step + 1])
        run = self.struck(self.run_to(self._nominal.samples.states[at]), self._blocks[block])
        if run is None:
            raise AssertionError("a lane is no state that is reached")
        return run

    def plan_for(self, cube: Cube) -> bool:
        """Adds states of the cube that are reached by a run in which failures come last; whether it did."""
        if self._vain >= MOST_IN_VAIN:
            return False
        own = {self.encoding.literals[name, True]: name for name in self._strikes}
        rest = [literal for literal in cube if abs(literal) not in own]
        wanted = [name for literal, name in own.items() if literal in cube]
        if not self._nominal.may_reach(rest):
            return False
        states = self._nominal.reach(rest)
        for state in states:
            trace = self.run_to(state)
            struck = self.struck(trace, wanted)
            if struck is not None:
                self._put(struck.states[-1], struck, len(struck.rules))
            if len(wanted) < len(own) and (struck := self.struck(trace, own.values())) is not None:
                self._put(struck.states[-1], struck, len(struck.rules))
        self._vain += not states
        return bool(states)

    def true(self, literal: int) -> int:
        """The lanes in which a literal of the encoding is true; it depends on none but these failures."""
        return self._true(literal, self.masks, self._known, self._known, 0)

    def before(
        self, rules: LocalRules, endings: Mapping[Ending, Collection[int]], first: int = 0, loosely: bool = False
    ) -> Iterator[tuple[Ending, int, int]]:
        """An ending for each of their targets, literals, and the lanes from which it leads to where that one is so.

        Of the lanes from that one on; where there are none, nothing is given.  What endings begin with alike is
        followed once.  If `loosely`, rules are left out where they cannot fire (see `loosely_after`).
        """
        settled: set[int] = set()
        masks = [mask >> first for mask in self.masks] if first else self.masks
        every = masks[TRUTH]
        base: dict[int, int] = {} if first else self._known
        path: list[int] = []
        written: list[dict[int, int]] = [{}]
        changed = [0]
        left = [every]
        known = [base]
        for ending in sorted(endings):
            targets = [target for target in endings[ending] if target not in settled]
            if not targets:
                continue
            same = next((at for at, (a, b) in enumerate(zip(path, ending, strict=False)) if a != b), len(path))
            for levels in (written, changed, left, known):
                del levels[same + 1 :]
            path = list(ending)
            for rule in ending[len(left) - 1 :]:
                if not left[-1]:
                    break
                fired = self._true(rules.guards[rule], masks, known[-1], base, changed[-1])
                left.append(left[-1] if loosely else left[-1] & fired)
                if loosely and not fired:
                    written.append(written[-1])
                    changed.append(changed[-1])
                    known.append(known[-1])
                    continue
                facts = dict(written[-1])
                both = changed[-1]
                for atom, is_so in rules.effects[rule].items():
                    # rules write constants: what they make so is so in all lanes where they fire, or in none
                    before = facts.get(atom, masks[atom]) & ~fired if loosely else 0
                    facts[atom] = before | (fired if loosely else every) if is_so else before
                    both |= 1 << atom
                written.append(facts)
                changed.append(both)
                known.append(dict(facts))
            if len(left) == len(ending) + 1 and left[-1]:
                for target in targets:
                    if found := left[-1] & self._true(target, masks, known[-1], base, changed[-1]):
                        settled.add(target)
                        yield ending, target, found << first

    def _true(
        self, literal: int, masks: Sequence[int], known: dict[int, int], base: dict[int, int], changed: int
    ) -> int:
        """By these masks of facts but for those known, which are the `changed` ones; what is found of gates is added.

        What depends on none of these is as `base` has it.
        """
        every = masks[TRUTH]
        encoding = self.encoding
        top, parts, atoms_below, in_order = encoding.facts_top, encoding.parts, encoding.atoms_below, self._in_order
        goal = abs(literal)
        # a gate, what is left of it, and how many of its parts were looked at: facts come before gates
        stack = [] if goal in known or goal <= top else [(goal, every, 0)]
        while stack:
            gate, mask, at = stack.pop()
            if changed and not at and not atoms_below(gate) & changed:
                known[gate] = self._true(gate, masks, base, base, 0)
                continue
            own = in_order.get(gate) or in_order.setdefault(gate, sorted(parts[gate], key=abs))
            while mask and at < len(own):
                part = own[at]
                atom = part if part > 0 else -part
                if atom in known:
                    mask &= known[atom] if part > 0 else ~known[atom]
                elif atom <= top:
                    # that one of the others has not struck the masks do not say
                    mask &= masks[part] if part > 0 else ~masks[atom]
                else:
                    stack += (gate, mask, at), (atom, every, 0)
                    break
                at += 1
            else:
                known[gate] = mask
        found = known[goal] if goal in known else masks[goal]
        return found & every if literal > 0 else every & ~found
