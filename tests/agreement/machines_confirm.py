"""Small random machines with awkward names, and what their runs really are, told without the kernel's evaluator.

Drawn from a seeded generator rather than from Hypothesis' own strategies: those favour constant guards and few rules,
so that hardly any of their certificates broke in the step.  The machines are small enough to read without shrinking.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from random import Random

from interlock.kernel.claims import Certificate
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import FALSE, TRUE, And, Const, Expr, Is, Not, Or, Ref, conj, disj, neg, one_of
from interlock.kernel.machine import Actor, Machine, Rule, Signal, Variable

# Names that would be other symbols, end a quoted symbol, end a comment or merge with one another if written plainly.
NAMES = (
    "door.D1.position",
    "true",
    "and",
    "x",
    "x=1",
    "signal x",
    "a|b",
    "a\\b",
    "a%7Cb",
    "x @1",
    "ü 扉",
    "(assert false)",
    ";",
    "x\n(assert false)\n;",
    "",
    " after",
)
DOMAINS = (
    (False, True),
    (False, True),
    (True, False),
    (True,),
    ("open", "closed"),
    ("open", "moving", "closed"),
    (1, "1", "#1"),
    (-1, 0, 7),
    ("only",),
    ("true", "x=true", "x\n(assert false)"),
)


def an_expr(rng: Random, atoms: Sequence[Expr], depth: int = 3) -> Expr:
    """An expression as it may come, not folded by the kernel's constructors."""
    shape = rng.choice(("atom", "atom", "not", "and", "or")) if depth else "atom"
    if shape == "atom":
        return rng.choice((*atoms, *atoms, TRUE, FALSE))
    if shape == "not":
        return Not(an_expr(rng, atoms, depth - 1))
    args = tuple(an_expr(rng, atoms, depth - 1) for _ in range(rng.choice((0, 1, 2, 2, 3))))
    return And(args) if shape == "and" else Or(args)


def atoms_of(machine: Machine) -> list[Expr]:
    """Every variable at every value, and every signal."""
    facts: list[Expr] = [Is(v.name, value) for v in machine.variables for value in v.domain]
    return facts + [Ref(s.name) for s in machine.signals]


def a_machine(rng: Random) -> Machine:
    """Any machine, or one in three times a walk, on which long ways lead through states that are not reachable."""
    return a_walk(rng) if rng.random() < 0.3 else any_machine(rng)


def a_walk(rng: Random) -> Machine:
    """Six places, six ways from one to another, and a switch that some ways need or turn."""
    places = range(6)
    variables = (Variable("place", tuple(places), (0,)), Variable("|", (False, True), (False,)))
    rules = []
    for name in rng.sample(NAMES, 6):
        here, there = rng.sample(places, 2)
        guard = rng.choice((Is("place", here), conj(Is("place", here), Is("|", rng.random() < 0.5))))
        turned = (("|", rng.random() < 0.5),) if rng.random() < 0.2 else ()
        rules.append(Rule(name, Actor.PLANT, guard, (("place", there), *turned)))
    return Machine(variables, (Signal("far", one_of("place", (4, 5))),), tuple(rules))


def any_machine(rng: Random) -> Machine:
    """At most 27 states, up to two signals of which one may rest on the other, up to six rules."""
    variables = []
    for name in rng.sample(NAMES, rng.randint(1, 3)):
        domain = rng.choice(DOMAINS)
        variables.append(Variable(name, domain, tuple(rng.sample(domain, min(len(domain), rng.choice((1, 1, 2)))))))
    facts: list[Expr] = [Is(v.name, value) for v in variables for value in v.domain]
    signals: list[Signal] = []
    for name in rng.sample(NAMES, rng.randint(0, 2)):
        signals.append(Signal(name, an_expr(rng, [*facts, *(Ref(s.name) for s in signals)])))
    # Declared in the other order, so that nobody can rely on the order of declaration.
    signals.reverse()
    atoms = [*facts, *(Ref(s.name) for s in signals)]
    rules = []
    for name in rng.sample(NAMES, rng.randint(0, 6)):
        guard = rng.choice((rng.choice(atoms), And((rng.choice(atoms), rng.choice(atoms))), an_expr(rng, atoms)))
        written = rng.sample(variables, min(len(variables), rng.choice((0, 1, 1, 2))))
        rules.append(Rule(name, Actor.CREW, guard, tuple((v.name, rng.choice(v.domain)) for v in written)))
    start = rng.choice((TRUE, TRUE, an_expr(rng, atoms)))
    return Machine(tuple(variables), tuple(signals), tuple(rules), start=start)


@dataclass(frozen=True, slots=True)
class World:
    """All states, initial states and steps of a machine, laid out as a graph."""

    states: tuple[State, ...]
    initial: frozenset[State]
    successors: Mapping[State, frozenset[State]]
    reachable: frozenset[State]


def true_in(machine: Machine, expr: Expr, state: State) -> bool:
    """What the expression means in the state; a second telling, by sets of states rather than by a walk over values."""
    if isinstance(expr, Const):
        return expr.value
    if isinstance(expr, Is):
        at = [v.name for v in machine.variables].index(expr.variable)
        return bool(state[at] == expr.value)
    if isinstance(expr, Ref):
        (definition,) = (s.definition for s in machine.signals if s.name == expr.signal)
        return true_in(machine, definition, state)
    if isinstance(expr, Not):
        return not true_in(machine, expr.arg, state)
    truths = {true_in(machine, arg, state) for arg in expr.args}
    return False not in truths if isinstance(expr, And) else True in truths


def world_of(machine: Machine) -> World:
    states = tuple(product(*(v.domain for v in machine.variables)))
    initial = frozenset(
        s
        for s in states
        if true_in(machine, machine.start, s) and all(x in v.init for v, x in zip(machine.variables, s, strict=True))
    )
    successors: dict[State, frozenset[State]] = {}
    for state in states:
        after = set()
        for rule in machine.rules:
            if true_in(machine, rule.guard, state):
                new = dict(zip((v.name for v in machine.variables), state, strict=True)) | dict(rule.update)
                after.add(tuple(new.values()))
        successors[state] = frozenset(after)
    reachable = set(initial)
    waiting = list(initial)
    while waiting:
        for after_state in successors[waiting.pop()]:
            if after_state not in reachable:
                reachable.add(after_state)
                waiting.append(after_state)
    return World(states, initial, successors, frozenset(reachable))


def cube_of(machine: Machine, state: State) -> Expr:
    """True in this state alone."""
    return conj(*(Is(v.name, value) for v, value in zip(machine.variables, state, strict=True)))


def true_certificate(machine: Machine, world: World) -> Certificate:
    """One clause for each unreachable state, thinned while it still excludes no reachable state."""
    clauses: dict[Expr, None] = {}
    for state in world.states:
        if state in world.reachable:
            continue
        literals = [Not(Is(v.name, value)) for v, value in zip(machine.variables, state, strict=True)]
        for literal in tuple(literals):
            fewer = [one for one in literals if one != literal]
            if all(any(true_in(machine, one, seen) for one in fewer) for seen in world.reachable):
                literals = fewer
        clauses[disj(*literals)] = None
    return Certificate(tuple(clauses))


def obligations_kept(machine: Machine, world: World, certificate: Certificate, target: Expr) -> dict[str, bool]:
    """Which of the three obligations are true, by brute force over all states."""
    k = certificate.k
    good = {s for s in world.states if all(true_in(machine, clause, s) for clause in certificate.clauses)}
    layer = set(world.initial)
    start = True
    for _ in range(k):
        start = start and layer <= good
        layer = {after for state in layer for after in world.successors[state]}
    step = True
    paths: list[tuple[State, ...]] = [(s,) for s in sorted(good, key=repr)]
    for length in range(1, k + 1):
        following: list[tuple[State, ...]] = []
        for path in paths:
            for after in world.successors[path[-1]]:
                if certificate.distinct and after in path:
                    continue
                if length < k and after in good:
                    following.append((*path, after))
                if length == k and after not in good:
                    step = False
        # Runs that end alike go on alike, unless they must not meet themselves.
        paths = following if certificate.distinct else [(end,) for end in {path[-1] for path in following}]
    safe = not any(true_in(machine, target, s) for s in good)
    return {"start": start, "step": step, "safe": safe}


def a_target(rng: Random, machine: Machine, world: World) -> Expr:
    """Nothing at all, one state that is not reachable if there is one, or any expression."""
    far = sorted(set(world.states) - world.reachable, key=repr)
    one = cube_of(machine, rng.choice(far)) if far else FALSE
    return rng.choice((FALSE, one, one, an_expr(rng, atoms_of(machine))))


def a_certificate(rng: Random, machine: Machine, world: World) -> Certificate:
    """A true certificate, left as it is or spoiled in one of the ways an engine could get it wrong."""
    clauses = list(true_certificate(machine, world).clauses)
    facts = [atom for atom in atoms_of(machine) if isinstance(atom, Is)]
    spoiling = rng.choice(
        ("none", "drop", "halve", "alone", "alone", "add", "weaken", "strengthen", "replace", "extend", "name")
    )
    at = rng.randrange(max(len(clauses), 1))
    if spoiling == "drop":
        clauses = clauses[:at] + clauses[at + 1 :]
    elif spoiling == "halve":
        clauses = [clause for clause in clauses if rng.random() < 0.5]
    elif spoiling == "alone":
        # What a k-induction engine claims: one state that others, not reachable either, lead to.
        far = set(world.states) - world.reachable
        led_to = sorted({after for state in far for after in world.successors[state] if after in far}, key=repr)
        clauses = [neg(cube_of(machine, rng.choice(led_to)))] if led_to else clauses
    elif spoiling == "add":
        clauses.insert(at, neg(rng.choice(facts)) if rng.random() < 0.5 else rng.choice(facts))
    elif spoiling == "weaken":
        clauses[at : at + 1] = [disj(clause, rng.choice(facts)) for clause in clauses[at : at + 1]]
    elif spoiling == "strengthen":
        clauses[at : at + 1] = [rng.choice(clause.args) for clause in clauses[at : at + 1] if isinstance(clause, Or)]
    elif spoiling == "replace":
        clauses = [neg(a_target(rng, machine, world))]
    elif spoiling == "extend":
        clauses.append(an_expr(rng, atoms_of(machine)))
    elif spoiling == "name" and machine.signals:
        named: Expr = Ref(rng.choice(machine.signals).name)
        clauses = [*rng.sample(clauses, len(clauses) // 2), rng.choice((named, neg(named)))]
    return Certificate(tuple(clauses), rng.choice((1, 1, 2, 3)), rng.random() < 0.5)
