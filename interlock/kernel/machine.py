"""The state machine that a description means: variables, signals, rules, requirements.

Semantics, in full: a state gives every variable a value of its domain.  An initial state takes each
variable from its `init` values and satisfies `start`.  One rule fires per step: its guard holds in the state
before, the state after differs only by the rule's assignments, which happen at once.  A state in
which no guard holds has no step.  Signals have no memory: they are names for expressions.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache

from interlock.kernel.expressions import (
    TRUE,
    And,
    Expr,
    Is,
    Not,
    Or,
    Ref,
    Value,
    assign,
    conj,
    disj,
    neg,
    signals_of,
    variables_of,
)


class Actor(StrEnum):
    """Who or what makes a step happen."""

    CREW = "crew"
    MECHANISM = "mechanism"
    PLANT = "plant"
    FAILURE = "failure"


@dataclass(frozen=True, slots=True)
class Variable:
    """A finite memory cell.  `domain` is ordered and has no repeats; `init` is a non-empty part of it."""

    name: str
    domain: tuple[Value, ...]
    init: tuple[Value, ...]


@dataclass(frozen=True, slots=True)
class Signal:
    """A named expression over variables and signals, without memory."""

    name: str
    definition: Expr


@dataclass(frozen=True, slots=True)
class Rule:
    """A guarded command: when `guard` holds, all of `update` may happen, at once.

    `update` holds (variable, constant) pairs, at most one per variable.
    """

    name: str
    actor: Actor
    guard: Expr
    update: tuple[tuple[str, Value], ...]


class RequirementKind(StrEnum):
    """What a requirement asks of the reachable states or of the steps between them."""

    NEVER = "never"
    ALWAYS = "always"
    ONLY_IF = "only if"
    ORDER = "order"
    CAN = "can"
    CAN_ALWAYS = "can always"

    @property
    def is_about_work(self) -> bool:
        """It says what can be done; all other kinds say what must not be."""
        return self in (RequirementKind.CAN, RequirementKind.CAN_ALWAYS)

    @property
    def is_about_steps(self) -> bool:
        """A step breaks it; of the other kinds that say what must not be, a state does."""
        return self in (RequirementKind.ONLY_IF, RequirementKind.ORDER)


@dataclass(frozen=True, slots=True)
class Requirement:
    """One thing to prove, by kind.

    never    no reachable state satisfies `situation` and `condition`
    always   every reachable state that satisfies `situation` satisfies `condition`
    only if  a step whose rule is in `steps` leaves only states that satisfy `condition`
    order    a step whose rule is in `steps` happens only after one in `first`, and none in `since` lies
             between them (an empty `since`: once is enough)
    can      some reachable state satisfies `situation` and `condition`; with `first`, one to which some run leads
             that has taken a step in `first`
    can always   from every reachable state some run without failures leads to one that satisfies `condition`
                 (see `kernel.recovery`; it is no question about single states)
    """

    id: str
    kind: RequirementKind
    condition: Expr = TRUE
    situation: Expr = TRUE
    steps: frozenset[str] = frozenset()
    first: frozenset[str] = frozenset()
    since: frozenset[str] = frozenset()


class IllFormedMachine(ValueError):
    """The parts of a machine do not fit together; the message names every fault."""


@dataclass(frozen=True, slots=True)
class Machine:
    """Variables, signals, rules and requirements that fit together; checked when made.

    Raises IllFormedMachine when a name is used twice or not defined, a value lies outside its domain, a domain
    mixes Booleans with numbers, or signals define one another in a circle.
    """

    variables: tuple[Variable, ...]
    signals: tuple[Signal, ...]
    rules: tuple[Rule, ...]
    requirements: tuple[Requirement, ...] = ()
    start: Expr = TRUE
    definitions: Mapping[str, Expr] = field(init=False, repr=False, compare=False)
    domains: Mapping[str, tuple[Value, ...]] = field(init=False, repr=False, compare=False)
    positions: Mapping[str, int] = field(init=False, repr=False, compare=False)
    signals_in_order: tuple[Signal, ...] = field(init=False, repr=False, compare=False)
    """The signals, each after those that its definition names."""
    _rules: Mapping[str, Rule] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "definitions", {s.name: s.definition for s in self.signals})
        object.__setattr__(self, "domains", {v.name: v.domain for v in self.variables})
        object.__setattr__(self, "positions", {v.name: at for at, v in enumerate(self.variables)})
        object.__setattr__(self, "_rules", {r.name: r for r in self.rules})
        faults = _faults(self)
        if faults:
            raise IllFormedMachine("; ".join(faults))
        object.__setattr__(self, "signals_in_order", _in_order(self))

    def rule(self, name: str) -> Rule:
        """The rule of that name.  Raises KeyError."""
        return self._rules[name]


def _in_order(machine: Machine) -> tuple[Signal, ...]:
    """The signals, each after those that its definition names.  Raises IllFormedMachine where they go in a circle."""
    placed: dict[str, Signal] = {}
    begun: set[str] = set()
    by_name = {signal.name: signal for signal in machine.signals}
    stack = [(signal, False) for signal in reversed(machine.signals)]
    while stack:
        signal, ready = stack.pop()
        if signal.name in placed:
            continue
        if ready:
            placed[signal.name] = signal
            continue
        if signal.name in begun:
            open_ones = [one.name for one, is_open in stack if is_open]
            circle = sorted(open_ones[open_ones.index(signal.name) :])
            raise IllFormedMachine("signals in a circle: " + ", ".join(circle))
        begun.add(signal.name)
        stack.append((signal, True))
        stack.extend((by_name[name], False) for name in sorted(signals_of(signal.definition)))
    return tuple(placed.values())


def _faults(machine: Machine) -> list[str]:
    faults: list[str] = []
    for kind, names in (
        ("variable", [v.name for v in machine.variables]),
        ("signal", [s.name for s in machine.signals]),
        ("rule", [r.name for r in machine.rules]),
        ("requirement", [r.id for r in machine.requirements]),
    ):
        repeated = sorted({name for name in names if names.count(name) > 1}) if len(set(names)) < len(names) else []
        faults += [f"{kind} {name!r} is defined twice" for name in repeated]
    for variable in machine.variables:
        kinds = set(map(type, variable.domain))
        if len(set(variable.domain)) < len(variable.domain) or not (kinds == {bool} or set() < kinds <= {int, str}):
            faults.append(f"variable {variable.name!r} has an empty, repeating or mixed domain")
        if not variable.init or not all(is_among(value, variable.domain) for value in variable.init):
            faults.append(f"variable {variable.name!r} starts outside its domain")
    places: list[tuple[str, Expr]] = [("start", machine.start)]
    places += [(f"signal {s.name!r}", s.definition) for s in machine.signals]
    places += [(f"guard of {r.name!r}", r.guard) for r in machine.rules]
    for requirement in machine.requirements:
        places.append((f"requirement {requirement.id!r}", conj(requirement.condition, requirement.situation)))
    facts = {(v.name, type(value), value) for v in machine.variables for value in v.domain}
    for where, expr in places:
        faults += [f"{where}: {fault}" for fault in _unknown(machine, facts, expr)]
    rule_names = {rule.name for rule in machine.rules}
    for rule in machine.rules:
        written = [name for name, _ in rule.update]
        if len(set(written)) < len(written):
            faults.append(f"rule {rule.name!r} writes a variable twice")
        for name, value in rule.update:
            if name not in machine.domains or not is_among(value, machine.domains[name]):
                faults.append(f"rule {rule.name!r} writes {value!r} to {name!r}")
    for requirement in machine.requirements:
        missing = (requirement.steps | requirement.first | requirement.since) - rule_names
        faults += [f"requirement {requirement.id!r} names no rule {name!r}" for name in sorted(missing)]
    return faults


def is_among(value: object, values: tuple[Value, ...]) -> bool:
    """The value is one of these, of the same type too: True is not 1, and 1.0 is neither."""
    return type(value) in map(type, values) and value in values


VALUES = (bool, int, str)


def _unknown(machine: Machine, facts: Set[tuple[str, type, Value]], expr: Expr) -> list[str]:
    faults: list[str] = []
    stack = [expr]
    while stack:
        node = stack.pop()
        if isinstance(node, Is):
            if type(node.value) not in VALUES or (node.variable, type(node.value), node.value) not in facts:
                never = f"{node.variable!r} is never {node.value!r}"
                faults.append(never if node.variable in machine.domains else f"no variable {node.variable!r}")
        elif isinstance(node, Ref) and node.signal not in machine.definitions:
            faults.append(f"no signal {node.signal!r}")
        elif isinstance(node, Not):
            stack.append(node.arg)
        elif isinstance(node, And | Or):
            stack.extend(node.args)
    return faults


def unsettled(exprs: Sequence[Expr]) -> Callable[[Sequence[tuple[str, Value]]], set[int]]:
    """Which of the expressions, by place, name a variable of an update and are not clearly true after it."""
    naming: dict[str, set[int]] = {}
    either = [expr.args if type(expr) is Or else (expr,) for expr in exprs]
    for at, expr in enumerate(exprs):
        for name in variables_of(expr):
            naming.setdefault(name, set()).add(at)

    @cache
    def made_true(fact: tuple[str, Value]) -> set[int]:
        """By this alone, as one of their alternatives, whatever else is written: most of what names the variable."""
        return {at for at in naming.get(fact[0], ()) if any(assign(part, dict([fact])) == TRUE for part in either[at])}

    def open_after(update: Sequence[tuple[str, Value]]) -> set[int]:
        named = {at for name, _ in update for at in naming.get(name, ())}
        return named.difference(*map(made_true, update))

    return open_after


def support_of(machine: Machine, expr: Expr) -> frozenset[str]:
    """The variables that the expression depends on, through signals."""
    return variables_of(expr, machine.definitions)


def with_monitors(machine: Machine) -> Machine:
    """The machine with one Boolean memory per requirement that needs one, so that every requirement speaks of states.

    The memory `order.<id>` is true from a step in `first` until a step in `since`; a step in both leaves it true.
    It never keeps a rule from firing.
    """
    return _remembering(machine, [r for r in machine.requirements if is_monitored(r)])


def with_order_monitors(machine: Machine) -> Machine:
    """The same for the order requirements alone: enough for what must never be, with fewer states."""
    return _remembering(machine, [r for r in machine.requirements if r.kind is RequirementKind.ORDER])


def is_monitored(requirement: Requirement) -> bool:
    """Whether the requirement speaks of what went before."""
    kind = requirement.kind
    return kind is RequirementKind.ORDER or (kind is RequirementKind.CAN and bool(requirement.first))


def _remembering(machine: Machine, asked: list[Requirement]) -> Machine:
    if not asked:
        return machine
    variables = [Variable(monitor_name(r), (False, True), (False,)) for r in asked]
    rules = []
    for rule in machine.rules:
        extra = tuple((monitor_name(r), rule.name in r.first) for r in asked if rule.name in r.first | r.since)
        rules.append(Rule(rule.name, rule.actor, rule.guard, rule.update + extra) if extra else rule)
    return Machine(
        machine.variables + tuple(variables), machine.signals, tuple(rules), machine.requirements, machine.start
    )


def monitor_name(requirement: Requirement) -> str:
    """The name of the memory that `with_monitors` adds for a requirement."""
    return f"order.{requirement.id}"


@dataclass(frozen=True, slots=True)
class Question:
    """Is some state that satisfies `target` reachable?  What engines are asked.

    `expects_run` is advice, never evidence: whoever asks expects a run and takes any, so engines may look for one
    before they try to prove that there is none, and need not look for the shortest.
    """

    id: str
    target: Expr
    expects_run: bool = False


def question_of(machine: Machine, requirement: Requirement) -> Question:
    """The requirement as a question about states; `machine` must come from `with_monitors`.

    For every kind but `can` a reachable target refutes the requirement; for `can` it is the witness.
    For step kinds the target is a state in which a named rule may fire although it must not.
    Raises ValueError for `can always`, which is no question about single states (see `kernel.recovery`).
    """
    kind = requirement.kind
    if kind is RequirementKind.CAN_ALWAYS:
        raise ValueError(f"{requirement.id!r} asks for a way from every state, not for a state")
    if kind is RequirementKind.ALWAYS:
        return Question(requirement.id, conj(requirement.situation, neg(requirement.condition)))
    if kind in (RequirementKind.NEVER, RequirementKind.CAN):
        before = Is(monitor_name(requirement), True) if is_monitored(requirement) else TRUE
        target = conj(before, requirement.situation, requirement.condition)
        return Question(requirement.id, target, expects_run=kind is RequirementKind.CAN)
    allowed = allowed_by(requirement)
    return Question(requirement.id, conj(requirement.situation, steps_possible(machine, requirement), neg(allowed)))


def allowed_by(requirement: Requirement) -> Expr:
    """What must be so where one of its steps is made, its memory included; for kinds about steps."""
    memory = Is(monitor_name(requirement), True) if requirement.kind is RequirementKind.ORDER else TRUE
    return conj(requirement.condition, memory)


def occasion_of(machine: Machine, requirement: Requirement) -> Question | None:
    """Does the situation that the requirement speaks of ever arise?  None where it has none to ask about.

    When the answer is no, the requirement holds only vacuously.
    """
    occasion = requirement.situation
    if requirement.kind.is_about_steps:
        occasion = conj(occasion, steps_possible(machine, requirement))
    if requirement.kind in (RequirementKind.CAN, RequirementKind.CAN_ALWAYS) or occasion == TRUE:
        return None
    return Question(f"{requirement.id}?", occasion, expects_run=True)


def steps_possible(machine: Machine, requirement: Requirement) -> Expr:
    """Some rule in the requirement's `steps` may fire."""
    return disj(*(rule.guard for rule in machine.rules if rule.name in requirement.steps))
