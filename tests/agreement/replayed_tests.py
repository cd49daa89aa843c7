"""Functional tests replayed by the reference evaluator: what they show, judged without whatever made them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.hold.procedure.binding import rules_of_supplies
from interlock.kernel.evaluator import State, evaluate, fire, is_enabled
from interlock.kernel.expressions import conj, neg
from interlock.kernel.machine import Actor, Machine, Rule, allowed_by, question_of, with_order_monitors
from interlock.study.functional_test.making import FunctionalTest, Stage


class Replay:
    """One test, step by step, by the plain meaning of states and rules; only what is to be looked at is looked at."""

    def __init__(self, test: FunctionalTest) -> None:
        self.test = test
        self.machine: Machine = with_order_monitors(test.compiled.machine)
        lost = {name for name, verb in rules_of_supplies(test.compiled).items() if verb == "lose"}
        self.equipment = [
            rule
            for rule in self.machine.rules
            if rule.actor not in (Actor.CREW, Actor.FAILURE) and rule.name not in lost
        ]
        self.by_deed: dict[str, list[Rule]] = {}
        for rule in self.machine.rules:
            if rule.actor is Actor.CREW:
                self.by_deed.setdefault(test.compiled.origins.deed_of(rule.name).name, []).append(rule)
        self.observables = [one.expr for one in test.bench.observables]
        self._rests: dict[State, tuple[frozenset[State], frozenset[State]]] = {}
        self._seen: dict[tuple[State, int], bool] = {}

    def rests(self, state: State) -> tuple[frozenset[State], frozenset[State]]:
        """Where the equipment can come to rest from there, anywhere where it never does, and all on the way."""
        if state not in self._rests:
            after: dict[State, list[State]] = {}
            pending = [state]
            while pending:
                one = pending.pop()
                if one not in after:
                    after[one] = [
                        fire(self.machine, rule, one) for rule in self.equipment if is_enabled(self.machine, rule, one)
                    ]
                    pending += after[one]
            # taking away what leads nowhere, again and again: what is left goes round for ever
            left = {one for one in after if after[one]}
            while gone := {one for one in left if not any(other in left for other in after[one])}:
                left -= gone
            ends = frozenset(after if left else (one for one in after if not after[one]))
            self._rests[state] = ends, frozenset(after)
        return self._rests[state]

    def sees(self, state: State, stage: Stage) -> bool:
        """All that the step says must be seen is seen."""
        for at, wanted in stage.expected.items():
            if (state, at) not in self._seen:
                self._seen[state, at] = evaluate(self.machine, self.observables[at], state)
            if self._seen[state, at] is not wanted:
                return False
        return True

    def done(self, states: frozenset[State], stage: Stage) -> frozenset[State]:
        """Where the hold may be after the step, as far as nothing has shown."""
        found: set[State] = set()
        for state in states:
            rules = [rule for rule in self.by_deed.get(str(stage.head), ()) if is_enabled(self.machine, rule, state)]
            if stage.attempt:
                found |= set() if rules else {state}
            else:
                found |= {end for rule in rules for end in self.rests(fire(self.machine, rule, state))[0]}
        return frozenset(state for state in found if self.sees(state, stage))

    def sound_faults(self) -> Iterator[str]:
        """What is wrong with the test on a sound hold."""
        first, *stages = self.test.steps
        state = first.after
        if not self.sees(state, first):
            yield "step 0: something else is seen"
        for stage in stages:
            if stage.before != state:
                yield f"step {stage.number}: begins elsewhere"
            rules = [rule for rule in self.by_deed.get(str(stage.head), ()) if is_enabled(self.machine, rule, state)]
            if stage.attempt:
                if rules or stage.after != state:
                    yield f"step {stage.number}: the attempt succeeds"
                continue
            passed = {one for rule in rules for one in self.rests(fire(self.machine, rule, state))[1]}
            ends = {one for rule in rules for one in self.rests(fire(self.machine, rule, state))[0]}
            if ends != {stage.after}:
                yield f"step {stage.number}: ends in {len(ends)} states, or in another one"
            yield from (f"step {stage.number} breaks {id}" for id in self.broken(state, rules, passed))
            state = stage.after
            if not self.sees(state, stage):
                yield f"step {stage.number}: something else is seen"

    def broken(self, before: State, rules: list[Rule], passed: set[State]) -> Iterator[str]:
        """The requirements that break at a step."""
        for one in self.machine.requirements:
            if one.kind.is_about_steps:
                bad = conj(one.situation, neg(allowed_by(one)))
                made = [(rule, before) for rule in rules]
                made += [
                    (rule, state)
                    for state in passed
                    for rule in self.equipment
                    if is_enabled(self.machine, rule, state)
                ]
                if any(rule.name in one.steps and evaluate(self.machine, bad, state) for rule, state in made):
                    yield one.id
            elif not one.kind.is_about_work:
                target = question_of(self.machine, one).target
                if any(evaluate(self.machine, target, state) for state in passed):
                    yield one.id

    def shown_at(self, failure: str) -> int | None:
        """The step at which the failure shows for certain, there before all else; None: nowhere."""
        first, *stages = self.test.steps
        struck = [rule for rule in self.machine.rules if (failure, True) in rule.update]
        states = frozenset(
            end
            for rule in struck
            if is_enabled(self.machine, rule, first.after)
            for end in self.rests(fire(self.machine, rule, first.after))[0]
        )
        if not states:
            return None
        states = frozenset(state for state in states if self.sees(state, first))
        if not states:
            return 0
        for stage in stages:
            states = self.done(states, stage)
            if not states:
                return stage.number
        return None

    def shown(self) -> Mapping[str, int]:
        """All that the test shows of what it was asked for, with the steps."""
        found = {name: self.shown_at(name) for name in self.test.asked}
        return {name: step for name, step in found.items() if step is not None}
