"""A hold that is sound beside the same hold in which one thing has failed, step for step.

Everything is worked as a checklist is (`study.checklist.operating`): a step is what one person does at once, after it
people wait until the equipment has come to rest, supplies stay on.  On the sound hold a step of a test ends in one
state, in whatever order the equipment acts, and breaks nothing; or it is an *attempt*, which must fail.  Of the hold in
which something has failed all states are kept in which it may be after what was seen so far; where in each of them a
step cannot be made, an attempt succeeds, or what is seen then is not what it should be, the failure shows for certain.

What is so is worked out for very many states at once (`Planes`): those of all failures that a step is made with.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.evaluator import truths_in
from interlock.kernel.expressions import conj, neg
from interlock.kernel.failures import failures_of
from interlock.kernel.machine import Actor, allowed_by, question_of
from interlock.prove.core.packing import Packing, bits_of
from interlock.prove.core.planes import Known, Planes
from interlock.study.checklist.operating import Operation, Refusal
from interlock.study.contacts.struck import difference, uses_of
from interlock.study.functional_test.observing import Observable, observables_of

MOST_PASSED = 400
"""States that the equipment of a hold in which something has failed may pass through; beyond, the failure is let go."""
MOST_KEPT = 200_000
"""States of which it is remembered what is so in them."""


@dataclass(frozen=True, slots=True)
class Passed:
    """Where the equipment comes to rest, all that it passes through, and which requirements, by place, break there."""

    ends: frozenset[int]
    states: frozenset[int]
    broken: frozenset[int]


@dataclass(frozen=True, slots=True)
class SoundStep:
    """A step on the sound hold: from `before` by the head of a deed to `after`, through `states`.

    `attempt`: people try to do it, and must not be able to; nothing then changes.
    """

    head: str
    before: int
    after: int
    states: frozenset[int]
    attempt: bool = False


class Bench:
    """One hold of which every failure may be there from the beginning; `failures` by the names of their variables."""

    def __init__(self, compiled: CompiledHold) -> None:
        self.compiled = compiled
        self.operation = Operation(compiled)
        self.machine = self.operation.machine
        self.asked = self.operation.asked
        self.failures = failures_of(self.asked)
        self.observables: tuple[Observable, ...] = observables_of(compiled)
        self.requirements = [one for one in self.asked.requirements if not one.kind.is_about_work]
        self.heads = self.operation.heads
        rules = self.machine.rules
        tests = [rule.guard for rule in rules]
        self._seen_at = len(tests)
        tests += [one.expr for one in self.observables]
        self._broken_at = len(tests)
        tests += [
            conj(one.situation, neg(allowed_by(one)))
            if one.kind.is_about_steps
            else question_of(self.asked, one).target
            for one in self.requirements
        ]
        self.packing = Packing(self.asked)
        self._known = Known(Planes(self.packing, tests), MOST_KEPT)
        uses = uses_of(self.asked, (one.expr for one in self.observables))
        differences = Planes(self.packing, [difference(name, uses[name]) for name in self.failures])
        self._differing = Known(differences, MOST_KEPT)
        self._writes = [self.packing.writes(rule) for rule in rules]
        self._crew = sum(1 << at for at, rule in enumerate(rules) if rule.actor is Actor.CREW)
        self._equipment = (1 << len(rules)) - 1 & ~self._crew
        self._by_head: dict[str, list[int]] = {}
        for at in bits_of(self._crew):
            self._by_head.setdefault(self.heads[at], []).append(at)
        self._stepping = [
            sum(1 << n for n, one in enumerate(self.requirements) if one.kind.is_about_steps and rule.name in one.steps)
            for rule in rules
        ]
        self._standing = sum(1 << at for at, one in enumerate(self.requirements) if not one.kind.is_about_steps)
        self._striking: dict[str, list[int]] = {name: [] for name in self.failures}
        for at, rule in enumerate(self.asked.rules):
            for name, value in rule.update:
                if value is True and name in self._striking:
                    self._striking[name].append(at)
        self._passed: dict[int, Passed | None] = {}
        self.bits = {name: self.packing.fact(name, True)[1] for name in self.failures}

    # ---- what is so in a state

    def facts(self, state: int) -> int:
        """A bit for each rule that may fire, then for each thing that is seen, then for each requirement's test."""
        return self._known(state)

    def sight(self, state: int) -> int:
        """What people see: a bit per observable that is so."""
        return self.facts(state) >> self._seen_at & (1 << len(self.observables)) - 1

    def seen(self, state: int) -> tuple[bool, ...]:
        """The same, per observable."""
        sight = self.sight(state)
        return tuple(bool(sight >> at & 1) for at in range(len(self.observables)))

    def differing(self, states: Iterable[int]) -> frozenset[str]:
        """The failures that make a difference in one of these states of the sound hold."""
        asked = list(states)
        self._differing.learn(asked)
        found = 0
        for state in asked:
            found |= self._differing(state)
        return frozenset(self.failures[at] for at in bits_of(found))

    def heads_at(self, state: int) -> tuple[str, ...]:
        """What people can do there, one at a time, in order."""
        return tuple(dict.fromkeys(self.heads[at] for at in bits_of(self.facts(state) & self._crew)))

    def can(self, state: int, head: str) -> bool:
        """People can do it there."""
        facts = self.facts(state)
        return any(facts >> rule & 1 for rule in self._by_head.get(head, ()))

    # ---- steps on the sound hold

    def step(self, state: int, head: str) -> SoundStep | Refusal:
        """The step on the sound hold."""
        if not self.can(state, head):
            return Refusal.IMPOSSIBLE
        passed = self.follow([state], head)
        if passed is None:
            return Refusal.NEVER_RESTS
        if passed.broken:
            return Refusal.BREAKS
        after, *others = passed.ends
        if others or self.facts(after) & self._equipment:
            return Refusal.DEPENDS
        return SoundStep(head, state, after, passed.states | {state})

    def steps(self, state: int, barred: frozenset[str]) -> Iterator[SoundStep]:
        """All that can be done there but what is barred, in order."""
        heads = [head for head in self.heads_at(state) if head not in barred]
        self._settle(after for head in heads for after in self._afters(state, head))
        for head in heads:
            step = self.step(state, head)
            if isinstance(step, SoundStep):
                yield step

    def attempt(self, state: int, head: str) -> SoundStep | Refusal:
        """The attempt on the sound hold; FORBIDDEN where it would succeed."""
        return Refusal.FORBIDDEN if self.can(state, head) else SoundStep(head, state, state, frozenset({state}), True)

    # ---- steps on a hold in which something has failed

    def struck(self, failures: Sequence[str], start: int) -> Mapping[str, Passed | None]:
        """The hold once each has struck there and the equipment has come to rest; no ends where it cannot strike."""
        true = truths_in(self.asked, self.packing.unpack(start))
        begun: dict[str, list[int]] = {}
        for name in failures:
            rules = (self.asked.rules[at] for at in self._striking[name])
            writes = (self.packing.writes(rule) for rule in rules if true(rule.guard))
            begun[name] = [start & keep | bits for keep, bits in writes]
        self._settle(state for states in begun.values() for state in states)
        return {name: _joined([self._passed[state] for state in states]) for name, states in begun.items()}

    def follow_all(self, asked: Mapping[str, frozenset[int]], head: str) -> Mapping[str, Passed | None]:
        """With each failure all that the step can lead to from any of its states; see `follow`."""
        if len(self._passed) > MOST_KEPT:
            self._passed.clear()
        self._known.learn(state for states in asked.values() for state in states)
        self._settle(after for states in asked.values() for state in states for after in self._afters(state, head))
        return {name: self.follow(states, head) for name, states in asked.items()}

    def follow(self, states: Iterable[int], head: str) -> Passed | None:
        """All that the step can lead to from any of these; no ends where it cannot be made in any.

        None where that is too much to follow.
        """
        found: list[Passed | None] = []
        for state in states:
            facts = self.facts(state)
            for rule in self._by_head.get(head, ()):
                if facts >> rule & 1:
                    after = self._after(state, rule)
                    self._settle((after,))
                    passed = self._passed[after]
                    broken = frozenset(bits_of(facts >> self._broken_at & self._stepping[rule]))
                    found.append(
                        passed and Passed(passed.ends, passed.states, passed.broken | broken) if broken else passed
                    )
        return _joined(found)

    def _afters(self, state: int, head: str) -> Iterator[int]:
        facts = self.facts(state)
        return (self._after(state, rule) for rule in self._by_head.get(head, ()) if facts >> rule & 1)

    def _after(self, state: int, rule: int) -> int:
        keep, bits = self._writes[rule]
        return state & keep | bits

    def _settle(self, states: Iterable[int]) -> None:
        """What the equipment does from each of these, in every order; all of them a step at a time."""
        fresh = {state: self._passing(state) for state in dict.fromkeys(states) if state not in self._passed}
        self._passed |= self._known.together(fresh)

    def _passing(self, state: int) -> Generator[Sequence[int], None, Passed | None]:
        """Asks for what is so in states; gives what the equipment does from this one, None where that is too much."""
        met = dict.fromkeys([state])
        frontier = [state]
        ends: set[int] = set()
        broken = 0
        edges: dict[int, list[int]] = {}
        while frontier:
            yield frontier
            fresh: list[int] = []
            for at in frontier:
                facts = self.facts(at)
                tests = facts >> self._broken_at
                broken |= tests & self._standing
                moves = facts & self._equipment
                for rule in bits_of(moves):
                    broken |= self._stepping[rule] & tests
                    after = self._after(at, rule)
                    edges.setdefault(at, []).append(after)
                    if after not in met:
                        met[after] = None
                        fresh.append(after)
                if not moves:
                    ends.add(at)
            if len(met) > MOST_PASSED:
                return None
            frontier = fresh
        # where it may go on for ever it may be seen anywhere on the way
        stays = edges and _has_circle(edges)
        return Passed(frozenset(met if stays else ends), frozenset(met), frozenset(bits_of(broken)))


def _joined(found: Sequence[Passed | None]) -> Passed | None:
    known = [one for one in found if one is not None]
    if len(known) < len(found):
        return None
    if len(known) == 1:
        return known[0]
    none: frozenset[int] = frozenset()
    return Passed(
        none.union(*(one.ends for one in known)),
        none.union(*(one.states for one in known)),
        none.union(*(one.broken for one in known)),
    )


def _has_circle(edges: Mapping[int, Sequence[int]]) -> bool:
    colour: dict[int, bool] = {}
    for root in edges:
        stack: list[tuple[int, bool]] = [(root, False)]
        while stack:
            state, done = stack.pop()
            if done:
                colour[state] = True
            elif state not in colour:
                colour[state] = False
                stack.append((state, True))
                for after in edges.get(state, ()):
                    if colour.get(after) is False:
                        return True
                    if after not in colour:
                        stack.append((after, False))
    return False
