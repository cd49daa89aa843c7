"""A hold that is sound beside the same hold in which one thing has failed, step for step.

Everything is worked as a checklist is (`study.checklist.operating`): a step is what one person does at once, after it
people wait until the equipment has come to rest, supplies stay on.  On the sound hold a step of a test ends in one
state, in whatever order the equipment acts, and breaks nothing; or it is an *attempt*, which must fail.  Of the hold in
which something has failed all states are kept in which it may be after what was seen so far; where in each of them a
step cannot be made, an attempt succeeds, or what is seen then is not what it should be, the failure shows for certain.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.evaluator import fire, is_enabled
from interlock.kernel.expressions import conj, neg
from interlock.kernel.failures import failures_of
from interlock.kernel.machine import Actor, Machine, Rule, allowed_by, question_of
from interlock.prove.core.packing import Packing, compile_enabled
from interlock.study.checklist.operating import Deed, Operation, Refusal
from interlock.study.contacts.struck import difference, strikes, uses_of
from interlock.study.functional_test.observing import Observable, observables_of

MOST_PASSED = 400
"""States that the equipment of a hold in which something has failed may pass through; beyond, the failure is let go."""


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
        self.uses = uses_of(self.asked)
        self.requirements = [one for one in self.asked.requirements if not one.kind.is_about_work]
        rules = self.machine.rules
        tests = [rule.guard for rule in rules]
        self._seen_at = range(len(tests), len(tests) + len(self.observables))
        tests += [one.expr for one in self.observables]
        self._broken_at = range(len(tests), len(tests) + len(self.requirements))
        tests += [
            conj(one.situation, neg(allowed_by(one)))
            if one.kind.is_about_steps
            else question_of(self.asked, one).target
            for one in self.requirements
        ]
        self._differs_at = {len(tests) + at: name for at, name in enumerate(self.failures)}
        tests += [difference(name, self.uses[name]) for name in self.failures]
        asking = tuple(Rule(str(at), Actor.CREW, expr, ()) for at, expr in enumerate(tests))
        self.packing = Packing(Machine(self.asked.variables, self.asked.signals, asking))
        self._enabled = compile_enabled(self.packing)
        self._writes = [self.packing.writes(rule) for rule in rules]
        self._crew = [rule.actor is Actor.CREW for rule in rules]
        self.heads = self.operation.heads
        self._stepping = {
            at: [n for n, one in enumerate(self.requirements) if one.kind.is_about_steps and rule.name in one.steps]
            for at, rule in enumerate(rules)
        }
        self._standing = frozenset(at for at, one in enumerate(self.requirements) if not one.kind.is_about_steps)
        self._facts: dict[int, tuple[frozenset[int], tuple[bool, ...], frozenset[int], frozenset[str]]] = {}
        self._passed: dict[int, Passed | None] = {}
        self.bits = {name: self.packing.fact(name, True)[1] for name in self.failures}

    def facts(self, state: int) -> tuple[frozenset[int], tuple[bool, ...], frozenset[int], frozenset[str]]:
        """Rules that may fire, what is seen, requirements whose test is so, failures that make a difference there."""
        found = self._facts.get(state)
        if found is None:
            true = self._enabled(state)
            so = frozenset(true)
            found = self._facts[state] = (
                frozenset(at for at in true if at < self._seen_at.start),
                tuple(at in so for at in self._seen_at),
                frozenset(at - self._broken_at.start for at in true if at in self._broken_at),
                frozenset(self._differs_at[at] for at in true if at in self._differs_at),
            )
        return found

    def seen(self, state: int) -> tuple[bool, ...]:
        """What people see, per observable."""
        return self.facts(state)[1]

    def heads_at(self, state: int) -> tuple[str, ...]:
        """What people can do there, one at a time, in order."""
        return tuple(dict.fromkeys(self.heads[at] for at in sorted(self.facts(state)[0]) if self._crew[at]))

    def step(self, state: int, head: str) -> SoundStep | Refusal:
        """The step on the sound hold."""
        after = self.operation.outcome(state, Deed((head,)))
        if isinstance(after, Refusal):
            return after
        passed = self.follow([state], head)
        if passed is None or passed.ends != {after}:
            return Refusal.DEPENDS
        return SoundStep(head, state, after, passed.states | {state})

    def attempt(self, state: int, head: str) -> SoundStep | Refusal:
        """The attempt on the sound hold; FORBIDDEN where it would succeed."""
        return Refusal.FORBIDDEN if self.can(state, head) else SoundStep(head, state, state, frozenset({state}), True)

    def can(self, state: int, head: str) -> bool:
        """People can do it there."""
        return any(self.heads[at] == head and self._crew[at] for at in self.facts(state)[0])

    def passed(self, state: int) -> Passed | None:
        """What the equipment does from there, in every order; None where that is too much to follow."""
        if state not in self._passed:
            self._passed[state] = self._pass(state)
        return self._passed[state]

    def _pass(self, state: int) -> Passed | None:
        met = dict.fromkeys([state])
        pending = [state]
        ends: set[int] = set()
        broken: set[int] = set()
        edges: dict[int, list[int]] = {}
        while pending:
            at = pending.pop()
            enabled, _, tests, _ = self.facts(at)
            broken |= tests & self._standing
            moves = [rule for rule in enabled if not self._crew[rule]]
            for rule in moves:
                broken.update(one for one in self._stepping[rule] if one in tests)
                after = self._after(at, rule)
                edges.setdefault(at, []).append(after)
                if after not in met:
                    met[after] = None
                    pending.append(after)
            if not moves:
                ends.add(at)
            if len(met) > MOST_PASSED:
                return None
        # where it may go on for ever it may be seen anywhere on the way
        return Passed(frozenset(ends if not _has_circle(edges) else met), frozenset(met), frozenset(broken))

    def _after(self, state: int, rule: int) -> int:
        keep, bits = self._writes[rule]
        return state & keep | bits

    def struck(self, failure: str, start: int) -> Passed | None:
        """The hold once the failure has struck there and the equipment has come to rest; None: it cannot strike."""
        state = self.packing.unpack(start)
        found = [
            self.passed(self.packing.pack(fire(self.asked, rule, state)))
            for rule in self.asked.rules
            if strikes(rule, failure) and is_enabled(self.asked, rule, state)
        ]
        return _joined(found) if found else None

    def follow(self, states: Iterable[int], head: str) -> Passed | None:
        """All that the step can lead to from any of these; no ends where it cannot be made in any."""
        found: list[Passed | None] = []
        for state in states:
            enabled, _, tests, _ = self.facts(state)
            for rule in enabled:
                if self.heads[rule] == head and self._crew[rule]:
                    passed = self.passed(self._after(state, rule))
                    by = frozenset(one for one in self._stepping[rule] if one in tests)
                    found.append(passed and Passed(passed.ends, passed.states, passed.broken | by))
        return _joined(found)


def _joined(found: Sequence[Passed | None]) -> Passed | None:
    known = [one for one in found if one is not None]
    if len(known) < len(found):
        return None
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
