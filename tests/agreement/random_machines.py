"""Small random machines, made from a seed: the same seed gives the same machine for ever.

Half of them are soup (guards and updates at random), half are built from parts that hang together (counters, tokens
that move round a ring, latches that let something pass), because soup alone is seldom deep.
"""

from __future__ import annotations

import random
from itertools import pairwise

from interlock.kernel.expressions import Expr, Is, Ref, Value, conj, disj, neg
from interlock.kernel.machine import (
    Actor,
    Machine,
    Question,
    Requirement,
    RequirementKind,
    Rule,
    Signal,
    Variable,
    question_of,
    with_monitors,
)
from interlock.kernel.recovery import RecoveryQuestion

_DOMAINS: tuple[tuple[Value, ...], ...] = (
    (False, True),
    (False, True),
    (False, True),
    (0, 1, 2),
    ("up", "down"),
    ("aft", "mid", "fore", "out"),
    (0, 1, 2, 3, 4),
    ("only",),
)


def random_case(seed: int) -> tuple[Machine, tuple[Question, ...]]:
    """A machine that has been through `with_monitors`, and its questions; at most about 600 states in all."""
    draw = random.Random(seed)
    machine = with_monitors(_soup(draw) if seed % 2 else _parts(draw))
    return machine, tuple(question_of(machine, requirement) for requirement in machine.requirements)


def random_way_back(seed: int) -> tuple[Machine, RecoveryQuestion]:
    """A random machine, often with ways round each variable's values added, and a goal."""
    machine, questions = random_case(seed)
    draw = random.Random(seed)
    if draw.random() < 0.7:
        rules = list(machine.rules)
        for variable in machine.variables:
            for value, after in pairwise((*variable.domain, variable.domain[0])):
                other = draw.choice(machine.variables)
                lent = (Is(other.name, draw.choice(other.domain)),) if draw.random() < 0.4 else ()
                guard = conj(Is(variable.name, value), *(fact for fact in lent if other is not variable))
                rules.append(Rule(f"{variable.name} from {value}", Actor.CREW, guard, ((variable.name, after),)))
        machine = Machine(machine.variables, machine.signals, tuple(rules), (), machine.start)
    goal: Expr = draw.choice(questions).target
    if draw.random() < 0.6:
        some = draw.sample(machine.variables, min(len(machine.variables), draw.randint(1, 3)))
        goal = conj(*(Is(variable.name, draw.choice(variable.domain)) for variable in some))
    return machine, RecoveryQuestion("goal", goal)


def _soup(draw: random.Random) -> Machine:
    variables: list[Variable] = []
    size = 1
    while len(variables) < draw.randint(3, 7):
        domain = draw.choice(_DOMAINS)
        if size * len(domain) > 600:
            break
        size *= len(domain)
        some = sorted(draw.sample(range(len(domain)), draw.choice((1, 1, 1, min(2, len(domain))))))
        variables.append(Variable(f"v{len(variables)}", domain, tuple(domain[at] for at in some)))
    signals: list[Signal] = []
    for at in range(draw.randint(0, 3)):
        signals.append(Signal(f"s{at}", _formula(draw, variables, signals, 2)))
    rules = []
    for at in range(draw.choice((0, 3, 6, 8, 10, 12, 14))):
        written = draw.sample(variables, min(len(variables), draw.choice((0, 1, 1, 1, 2, 2, 3))))
        update = tuple((variable.name, draw.choice(variable.domain)) for variable in written)
        guard = conj(*(_fact(draw, variables, signals) for _ in range(draw.randint(0, 2))))
        if draw.random() < 0.3:
            guard = conj(guard, _formula(draw, variables, signals, 2))
        rules.append(Rule(f"r{at}", draw.choice(tuple(Actor)), guard, update))
    start = _formula(draw, variables, signals, 2) if draw.random() < 0.25 else conj()
    return Machine(
        tuple(variables), tuple(signals), tuple(rules), tuple(_requirements(draw, variables, signals, rules)), start
    )


def _parts(draw: random.Random) -> Machine:
    """A counter, a token on a ring and latches, coupled by a few facts that guards borrow from one another."""
    top = draw.randint(2, 7)
    ring: tuple[Value, ...] = ("aft", "mid", "fore", "out")[: draw.randint(2, 4)]
    latches = [f"latch{at}" for at in range(draw.randint(1, 3))]
    variables = [
        Variable("count", tuple(range(top + 1)), (0,)),
        Variable("token", ring, ring[: draw.choice((1, 1, 2)) if len(ring) > 2 else 1]),
        *(Variable(name, (False, True), draw.choice(((False,), (True,), (False, True)))) for name in latches),
    ]
    signals = [Signal("all_set", conj(*(Is(name, True) for name in latches)))]
    signals.append(Signal("busy", disj(neg(Ref("all_set")), neg(Is("token", ring[0])))))

    def lent() -> list[Expr]:
        return [_fact(draw, variables, signals) for _ in range(draw.choice((0, 0, 0, 0, 1, 1, 2)))]

    rules = [Rule(f"count{at}", Actor.CREW, conj(Is("count", at), *lent()), (("count", at + 1),)) for at in range(top)]
    if draw.random() < 0.5:
        rules.append(Rule("reset", Actor.MECHANISM, conj(Is("count", top), *lent()), (("count", 0),)))
    for at, place in enumerate(ring):
        after = ring[(at + 1) % len(ring)]
        update: tuple[tuple[str, Value], ...] = (("token", after),)
        if draw.random() < 0.4:
            update += ((draw.choice(latches), draw.random() < 0.5),)
        rules.append(Rule(f"move from {place}", Actor.PLANT, conj(Is("token", place), *lent()), update))
    for name in latches:
        for value in (True, False):
            if draw.random() < 0.8:
                guard = conj(Is(name, not value), *lent())
                rules.append(Rule(f"{name} {value}", Actor.CREW, guard, ((name, value),)))
    draw.shuffle(rules)
    return Machine(
        tuple(variables), tuple(signals), tuple(rules), tuple(_requirements(draw, variables, signals, rules))
    )


def _requirements(
    draw: random.Random, variables: list[Variable], signals: list[Signal], rules: list[Rule]
) -> list[Requirement]:
    names = [rule.name for rule in rules]
    found = [
        # Whole valuations of a few variables, so that the target is often deep and often out of reach.
        Requirement(
            f"q{at}",
            RequirementKind.NEVER,
            conj(*(_elsewhere(draw, v) for v in draw.sample(variables, min(len(variables), size)))),
        )
        for at, size in enumerate((2, 3, len(variables)))
    ]
    found.append(
        Requirement(
            "always",
            RequirementKind.ALWAYS,
            disj(_fact(draw, variables, signals), _formula(draw, variables, signals, 2)),
            conj(_fact(draw, variables, signals), _fact(draw, variables, signals)),
        )
    )
    if len(names) > 2:
        some = draw.sample(names, 3)
        found.append(
            Requirement("only if", RequirementKind.ONLY_IF, _fact(draw, variables, signals), steps=frozenset(some[:1]))
        )
        found.append(
            Requirement(
                "order",
                RequirementKind.ORDER,
                steps=frozenset(some[:1]),
                first=frozenset(some[1:2]),
                since=frozenset(some[2:]) if draw.random() < 0.5 else frozenset(),
            )
        )
    return found


def _elsewhere(draw: random.Random, variable: Variable) -> Expr:
    """A value of the variable, more often than not one that it does not start with."""
    others = [value for value in variable.domain if value not in variable.init]
    return Is(variable.name, draw.choice(others if others and draw.random() < 0.7 else variable.domain))


def _fact(draw: random.Random, variables: list[Variable], signals: list[Signal]) -> Expr:
    if signals and draw.random() < 0.25:
        fact: Expr = Ref(draw.choice(signals).name)
    else:
        variable = draw.choice(variables)
        fact = Is(variable.name, draw.choice(variable.domain))
    return neg(fact) if draw.random() < 0.4 else fact


def _formula(draw: random.Random, variables: list[Variable], signals: list[Signal], depth: int) -> Expr:
    if depth == 0 or draw.random() < 0.2:
        return _fact(draw, variables, signals)
    parts = [_formula(draw, variables, signals, depth - 1) for _ in range(draw.randint(2, 3))]
    whole = conj(*parts) if draw.random() < 0.5 else disj(*parts)
    return neg(whole) if draw.random() < 0.2 else whole


def pigeons(holes: int) -> tuple[Machine, Expr]:
    """One more pigeon than holes, each to a free hole; that all sit is out of reach, and hard to see by search."""
    birds = range(holes + 1)
    domain: tuple[Value, ...] = ("air", *range(holes))
    rules = [
        Rule(
            f"{bird} to {hole}",
            Actor.CREW,
            conj(Is(f"bird{bird}", "air"), *(neg(Is(f"bird{other}", hole)) for other in birds if other != bird)),
            ((f"bird{bird}", hole),),
        )
        for bird in birds
        for hole in range(holes)
    ]
    rules += [
        Rule(f"{bird} leaves", Actor.CREW, neg(Is(f"bird{bird}", "air")), ((f"bird{bird}", "air"),)) for bird in birds
    ]
    variables = tuple(Variable(f"bird{bird}", domain, ("air",)) for bird in birds)
    return Machine(variables, (), tuple(rules)), conj(*(neg(Is(f"bird{bird}", "air")) for bird in birds))
