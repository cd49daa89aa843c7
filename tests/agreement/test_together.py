"""The machine of two machines side by side against an explicit simulation of both, written from the definition."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache, reduce
from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

import interlock.kernel.together as module
from interlock.kernel.evaluator import State, evaluate, initial_states, successors
from interlock.kernel.expressions import FALSE, And, Const, Expr, Is, Not, Ref, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Rule
from interlock.kernel.together import Labelled, Together, together
from interlock.prove.core.encoding import Encoding
from interlock.prove.core.solvers import add_all, light_solver
from tests.agreement.random_machines import random_case
from tests.some import some

Found = set[tuple[str, str]]
Truths = NDArray[np.bool_]


def changed(machine: Machine, draw: random.Random) -> Machine:
    """The machine with a guard, an update, a rule or a start otherwise."""
    rules = list(machine.rules)
    variables = list(machine.variables)
    for _ in range(draw.choice((0, 1, 1, 2))):
        some = draw.choice(variables)
        fact = Is(some.name, draw.choice(some.domain))
        what = draw.randrange(5)
        if what == 0 or not rules:
            rules.append(Rule(f"added {len(rules)}", Actor.CREW, fact, ()))
            continue
        at = draw.randrange(len(rules))
        rule = rules[at]
        if what == 1:
            rules[at] = replace(rule, guard=conj(rule.guard, draw.choice((fact, neg(fact)))))
        elif what == 2:
            rules[at] = replace(rule, guard=disj(rule.guard, fact))
        elif what == 3:
            update = {**dict(rule.update), some.name: draw.choice(some.domain)}
            rules[at] = replace(rule, update=tuple(sorted(update.items())))
        else:
            del rules[at]
    return Machine(tuple(variables), machine.signals, tuple(rules), (), machine.start)


def simulated(one: Labelled, other: Labelled, alone: tuple[set[str], set[str]]) -> Found:
    """What can differ, by stepping through pairs of states; both machines have the same variables."""

    @cache
    def after(state: State, of_second: bool) -> dict[str, list[tuple[State, Rule]]]:
        labelled = other if of_second else one
        found: dict[str, list[tuple[State, Rule]]] = {}
        for rule, then in successors(labelled.machine, state):
            found.setdefault(labelled.labels[rule.name], []).append((then, rule))
        return found

    names = [v.name for v in one.machine.variables]
    starts = set(initial_states(one.machine)) & set(initial_states(other.machine))
    reached = {(start, start) for start in starts}
    waiting = list(reached)
    found: Found = set()
    while waiting:
        left, right = waiting.pop()
        ours, theirs = after(left, False), after(right, True)
        nexts: list[tuple[State, State]] = []
        for label in set(ours) | set(theirs):
            lefts, rights = ours.get(label, []), theirs.get(label, [])
            if label in alone[0] | alone[1]:
                nexts += [(state, right) for state, _ in lefts] + [(left, state) for state, _ in rights]
                continue
            if bool(lefts) != bool(rights):
                found.add((label, "lost" if lefts else "gained"))
            alike = {
                (i, j)
                for i, (a, rule) in enumerate(lefts)
                for j, (b, its) in enumerate(rights)
                if all(a[names.index(name)] == b[names.index(name)] for name, _ in (*rule.update, *its.update))
            }
            unmatched = (
                {i for i in range(len(lefts)) if all(pair[0] != i for pair in alike)},
                {j for j in range(len(rights)) if all(pair[1] != j for pair in alike)},
            )
            if lefts and rights and any(unmatched):
                found.add((label, "otherwise"))
            for i, (a, _) in enumerate(lefts):
                for j, (b, _) in enumerate(rights):
                    if (i, j) in alike or i in unmatched[0] or j in unmatched[1]:
                        nexts.append((a, b))
        for pair in nexts:
            if pair not in reached:
                reached.add(pair)
                waiting.append(pair)
    return found


class Everything:
    """All valuations of a machine as one array, an axis a variable, and what is true in which of them.

    Written from the meaning alone, as quick as a machine of two machines needs it, of which some have 100,000 states.
    """

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._shape = tuple(len(v.domain) for v in machine.variables)
        self._axes = {v.name: at for at, v in enumerate(machine.variables)}
        self._signals: dict[str, Truths] = {}
        for signal in machine.signals_in_order:
            self._signals[signal.name] = self.truth(signal.definition)
        self.reached = self._reached()

    def truth(self, expr: Expr) -> Truths:
        """Where it is true; an axis that does not matter has the length one."""
        if isinstance(expr, Const):
            return np.full((1,) * len(self._shape), expr.value)
        if isinstance(expr, Ref):
            return self._signals[expr.signal]
        if isinstance(expr, Not):
            return ~self.truth(expr.arg)
        if isinstance(expr, Is):
            at = self._axes[expr.variable]
            values = [value == expr.value for value in self._machine.variables[at].domain]
            return np.array(values).reshape([-1 if one == at else 1 for one in range(len(self._shape))])
        parts = map(self.truth, expr.args)
        return reduce(np.logical_and if isinstance(expr, And) else np.logical_or, parts)

    def _reached(self) -> Truths:
        machine = self._machine
        starts = (disj(*(Is(v.name, value) for value in v.init)) for v in machine.variables)
        found = np.broadcast_to(self.truth(conj(machine.start, *starts)), self._shape).copy()
        steps = [(self.truth(rule.guard), *self._written(rule)) for rule in machine.rules]
        before = -1
        while before != (before := int(found.sum())):
            for guard, axes, into in steps:
                found[into] |= (found & guard).any(axis=axes, keepdims=True)
        return found

    def _written(self, rule: Rule) -> tuple[tuple[int, ...], tuple[slice, ...]]:
        """The axes that it writes, and where it leads to."""
        into = [slice(None)] * len(self._shape)
        for name, value in rule.update:
            at = self._axes[name]
            place = self._machine.variables[at].domain.index(value)
            into[at] = slice(place, place + 1)
        return tuple(self._axes[name] for name, _ in rule.update), tuple(into)


def unclashing(one: Labelled, other: Labelled, alone: tuple[set[str], set[str]]) -> Together:
    """The machine of both in which no variable that is kept once could ever be set to two values."""
    same = {v.name: v.name for v in one.machine.variables}
    apart: set[str] = set()
    while True:
        both = together(one, other, same, alone, apart)
        encoding = Encoding(both.machine)
        gates = {name: encoding.gate(clash) for name, clash in both.clashes.items()}
        solver = light_solver()
        add_all(solver, encoding.clauses)
        more = {name for name, gate in gates.items() if solver.solve([gate])}
        solver.close()
        if not more:
            return both
        apart |= more


def told(both: Together, everything: Everything) -> Found:
    """What differs in some reachable state."""
    return {
        (label, what)
        for label, one in both.differences.items()
        for what in ("gained", "lost", "otherwise")
        if (everything.truth(getattr(one, what)) & everything.reached).any()
    }


def test_differences_are_those_of_an_explicit_simulation() -> None:
    """Pairs of small random machines, the second changed a little: the same labels differ, in the same ways."""
    assert sum(bool(judge(seed)) for seed in range(24)) > 4


@pytest.mark.parametrize("seed", (1, 6, 13, 26))
def test_all_at_once_is_what_the_reference_evaluator_reaches(seed: int) -> None:
    """Arrays of valuations, by which the machine of both is judged, hold exactly the states that it can be in."""
    machine, _ = random_case(seed)
    found = set(initial_states(machine))
    waiting = list(found)
    while waiting:
        more = {after for _, after in successors(machine, waiting.pop())} - found
        found |= more
        waiting += more
    everything = Everything(machine)
    for state in some(product(*(v.domain for v in machine.variables))):
        at = tuple(v.domain.index(value) for v, value in zip(machine.variables, state, strict=True))
        assert everything.reached[at] == (state in found)
        for rule in machine.rules:
            truth = np.broadcast_to(everything.truth(rule.guard), everything.reached.shape)
            assert truth[at] == evaluate(machine, rule.guard, state)


@pytest.mark.slow
def test_differences_of_many_pairs_are_those_of_an_explicit_simulation() -> None:
    """The same of 5,000 other pairs."""
    assert sum(bool(judge(seed)) for seed in range(1_000, 6_000)) > 1_000


@pytest.mark.parametrize(
    ("broken", "seeds"),
    [
        ("a step whose counterpart does something else counts as alike", range(48)),
        ("a step without counterpart is not followed", range(400)),
        ("a step that one alone can follow is taken for one of both", range(48)),
    ],
)
def test_a_broken_machine_of_both_is_found_out(broken: str, seeds: range, monkeypatch: pytest.MonkeyPatch) -> None:
    """The simulation disagrees with each of these mutations on some of the pairs."""
    if broken.startswith("a step whose"):
        monkeypatch.setattr(module._Steps, "_unlike", lambda self, a, b: {})
    elif broken.startswith("a step without"):
        true = module._Steps.pairs
        monkeypatch.setattr(
            module._Steps,
            "pairs",
            lambda self, ours, theirs, found: (p for p in true(self, ours, theirs, found) if not p[3]),
        )
    else:
        true_difference = module._Steps.difference
        monkeypatch.setattr(
            module._Steps,
            "difference",
            lambda self, ours, theirs, found: replace(true_difference(self, ours, theirs, found), gained=FALSE),
        )
    with pytest.raises(AssertionError):
        for seed in seeds:
            judge(seed)


def judge(seed: int) -> Found:
    """One pair of machines; what differs."""
    machine, _ = random_case(seed)
    draw = random.Random(seed)
    machine = Machine(machine.variables, machine.signals, machine.rules, (), machine.start)
    other = changed(machine, draw)
    words = [f"label {at}" for at in range(draw.choice((2, 4, 30)))]
    labels = {rule.name: draw.choice(words) for rule in (*machine.rules, *other.rules)}
    one, two = (Labelled(m, {rule.name: labels[rule.name] for rule in m.rules}) for m in (machine, other))
    kept = set(one.labels.values()), set(two.labels.values())
    only = kept[0] - kept[1], kept[1] - kept[0]
    alone = only if draw.random() < 0.5 else (set[str](), set[str]())
    wanted = simulated(one, two, alone)
    both = unclashing(one, two, alone)
    everything = Everything(both.machine)
    assert not any((everything.truth(clash) & everything.reached).any() for clash in both.clashes.values())
    assert told(both, everything) == wanted, seed
    return wanted
