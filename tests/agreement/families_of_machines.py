"""Families of small random machines: one machine, and options that each change parts of it at random."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import replace

from interlock.kernel.expressions import Expr, Is, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Question, Rule, Signal, Variable
from interlock.study.families.configurations import Space
from interlock.study.families.merging import Asked, Compiled
from tests.agreement.random_machines import random_case


def random_family(seed: int) -> tuple[Space, Mapping[frozenset[str], Compiled]]:
    """Three options, all combinations allowed, and the machine of each, with the same questions about it.

    An option leaves rules out, tightens or loosens guards, adds a variable with rules of its own, changes where the
    machine starts, or what a signal means; sometimes only together with another.
    """
    draw = random.Random(seed)
    machine, questions = random_case(seed)
    space = Space(("A", "B", "C"), ())
    edits = {option: [_edit(draw, machine, option) for _ in range(draw.randint(1, 2))] for option in space.options}
    both = _edit(draw, machine, "AB") if draw.random() < 0.4 else None
    compiled = {}
    for fitted in space.each(space.everything):
        made = machine
        for option in space.options:
            if option in fitted:
                for edit in edits[option]:
                    made = edit(made)
        if both is not None and {"A", "B"} <= fitted:
            made = both(made)
        compiled[fitted] = Compiled(fitted, made, _asked(questions))
    return space, compiled


def _asked(questions: tuple[Question, ...]) -> Mapping[Asked, Expr]:
    found = {Asked(question.id, "main"): question.target for question in questions}
    return {**found, **({Asked(questions[0].id, "goal"): questions[0].target} if questions else {})}


def _edit(draw: random.Random, machine: Machine, option: str) -> Callable[[Machine], Machine]:
    fact = _fact(draw, machine)
    rule = draw.choice([one.name for one in machine.rules] or ["none"])
    sort = draw.choice(("remove", "tighten", "loosen", "add", "start", "signal"))
    own = Variable(f"of {option}", (False, True), (False,))
    written = draw.choice(machine.variables)
    value = draw.choice(written.domain)

    def edit(made: Machine) -> Machine:
        rules, signals, variables, start = made.rules, made.signals, made.variables, made.start
        if sort == "remove":
            rules = tuple(one for one in rules if one.name != rule)
        elif sort in ("tighten", "loosen"):
            join = conj if sort == "tighten" else disj
            rules = tuple(replace(one, guard=join(one.guard, fact)) if one.name == rule else one for one in rules)
        elif sort == "add" and own.name not in made.domains:
            variables = (*variables, own)
            rules = (
                *rules,
                Rule(f"{option} on", Actor.CREW, conj(Is(own.name, False), fact), ((own.name, True),)),
                Rule(f"{option} does", Actor.PLANT, Is(own.name, True), ((written.name, value), (own.name, False))),
            )
        elif sort == "start":
            start = conj(start, disj(fact, *(Is(v.name, v.init[0]) for v in made.variables[:1])))
        elif sort == "signal" and signals:
            first = signals[0]
            signals = (Signal(first.name, disj(first.definition, fact)), *signals[1:])
        return Machine(variables, signals, rules, (), start)

    return edit


def _fact(draw: random.Random, machine: Machine) -> Expr:
    variable = draw.choice(machine.variables)
    fact: Expr = Is(variable.name, draw.choice(variable.domain))
    return neg(fact) if draw.random() < 0.4 else fact
