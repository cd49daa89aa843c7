"""Random machines of which things fail, and which sets of failures lead to a target by going through all states."""

from __future__ import annotations

import random
from collections.abc import Iterable

from interlock.kernel.evaluator import State, initial_states, successors, truths_in
from interlock.kernel.expressions import Expr, Is, conj, disj, neg
from interlock.kernel.failures import failures_of, struck_by
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from tests.agreement.random_machines import random_case


def random_failing(seed: int) -> tuple[Machine, tuple[Question, ...]]:
    """A random machine with two to five failures that let rules fire, keep them from it or bring new ones about."""
    machine, questions = random_case(seed)
    draw = random.Random(seed)
    names = [f"f{at}" for at in range(draw.randint(2, 5))]
    guards: dict[str, Expr] = {rule.name: rule.guard for rule in machine.rules}
    rules = [rule for rule in machine.rules if rule.actor is not Actor.FAILURE]
    extra: list[Rule] = []
    for name in names:
        struck: Expr = Is(name, True)
        if draw.random() < 0.3:
            struck = conj(struck, Is(draw.choice(names), True))
        for rule in draw.sample(rules, min(len(rules), draw.randint(1, 2))):
            how = draw.random()
            if how < 0.4:
                guards[rule.name] = disj(guards[rule.name], struck)
            elif how < 0.6:
                guards[rule.name] = conj(guards[rule.name], neg(struck))
            else:
                variable = draw.choice(machine.variables)
                update = ((variable.name, draw.choice(variable.domain)),)
                guard = conj(struck, guards[rule.name] if draw.random() < 0.5 else struck)
                extra.append(Rule(f"{name} new {len(extra)}", Actor.PLANT, guard, update))
    strikes = [Rule(f"{name} strikes", Actor.FAILURE, Is(name, False), ((name, True),)) for name in names]
    moved = {name for rule in (*rules, *extra) for name, _ in rule.update}
    written = [variable for variable in machine.variables if variable.name in moved]
    for at, strike in enumerate(list(strikes)):
        if written and draw.random() < 0.3:  # what a mechanism then does by itself is part of the step
            variable, other = draw.choice(machine.variables), draw.choice(written)
            held = Is(variable.name, draw.choice(variable.domain))
            also = (*strike.update, (other.name, draw.choice(other.domain)))
            strikes[at] = Rule(strike.name, strike.actor, conj(strike.guard, neg(held)), strike.update)
            strikes.append(Rule(f"{strike.name} and more", strike.actor, conj(strike.guard, held), also))
    heals = [
        Rule(f"{name} heals", Actor.FAILURE, Is(name, True), ((name, False),)) for name in names if draw.random() < 0.2
    ]
    own = tuple(Variable(name, (False, True), (False,)) for name in names)
    whole = [Rule(rule.name, rule.actor, guards[rule.name], rule.update) for rule in rules]
    return (
        Machine((*machine.variables, *own), machine.signals, (*whole, *extra, *strikes, *heals), (), machine.start),
        questions,
    )


def reached_under(machine: Machine, struck: Iterable[str], targets: Iterable[Expr]) -> list[bool]:
    """Which targets some run reaches in which nothing else fails."""
    failures, allowed = failures_of(machine), set(struck)
    listed = list(targets)
    found = [False] * len(listed)
    seen: set[State] = set(initial_states(machine))
    waiting = list(seen)
    while waiting:
        state = waiting.pop()
        true = truths_in(machine, state)
        found = [known or true(target) for known, target in zip(found, listed, strict=True)]
        for rule, after in successors(machine, state):
            if struck_by(rule, failures) not in {None, *allowed}:
                continue
            if after not in seen:
                seen.add(after)
                waiting.append(after)
    return found
