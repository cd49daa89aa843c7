"""From a description to a state machine: what everything in it means.

`compile_hold` builds the things that expressions can name (`building`), the motion of units (`motion`), lowers every
expression (`lowering`), fuses the mechanism (`settling`) and instantiates the requirements (`requirements`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.compile.builder import Builder
from interlock.hold.compile.components import UnsettledKind
from interlock.hold.compile.lowering import Thing, World
from interlock.hold.compile.motion import add_motion
from interlock.hold.compile.requirements import Instance, instantiate
from interlock.hold.compile.settling import Draft, Fuser, NeverSettles, may_hold
from interlock.hold.compile.things import build as build_things
from interlock.hold.floor import Floor, bays_reached, lay_out
from interlock.hold.glossary import Glossary, Happening
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.origin import Origin, Origins, Work, origins_of
from interlock.hold.sense import check_hold, check_loads, check_sills, doubts_of
from interlock.kernel.expressions import FALSE, TRUE, Const, Expr, Value, assign, conj, expand, signals_of, variables_of
from interlock.kernel.machine import Actor, Machine, Requirement, RequirementKind, Rule, Signal, Variable

MOST_MOVERS = 3
"""Things that move by themselves at a start which a message names."""


@dataclass(frozen=True, slots=True)
class CompiledHold:
    """A description with its meaning.

    `machine` carries one kernel requirement per entry of `instances`, in the same order.  `world` holds the things that
    names resolve to, `glossary` how kernel names are said.
    """

    hold: Hold
    machine: Machine
    instances: tuple[Instance, ...]
    world: World
    floor: Floor
    glossary: Glossary
    situation: str | None

    @property
    def origins(self) -> Origins:
        """What every name is about."""
        return self.glossary.origins


@dataclass(frozen=True, slots=True)
class Compilation:
    """`compiled` is None exactly when `diagnostics` holds an error; all errors of the description are there.

    Warnings are given only where there is no error.
    """

    compiled: CompiledHold | None
    diagnostics: tuple[Diagnostic, ...]


def compile_hold(
    hold: Hold, requirements: tuple[RequirementText, ...] = (), situation: str | None = None
) -> Compilation:
    """Compiles a description, its own requirements and those given, for one way to start (None: as described).

    Raises KeyError when the hold has no situation of that id.
    """
    floor = lay_out(hold)
    builder = Builder(hold, floor)
    try:
        build_things(builder, situation)
        add_motion(builder)
    except UnsettledKind as fault:
        return Compilation(None, (*check_hold(hold), Diagnostic("settling-never-ends", hold.span, str(fault))))
    lower_definitions(builder)
    drawn = instantiate((*hold.requirements, *requirements), builder.lowering)
    faults = [*check_hold(hold), *builder.lowering.faults, *check_loads(hold, floor), *check_sills(hold, floor)]
    faults += _unreached(hold, floor)
    circle = _circular(builder)
    if circle:
        faults.append(circle)
    if faults:
        return Compilation(None, _in_order(faults))
    return _assemble(builder, situation, drawn)


def lower_definitions(builder: Builder) -> None:
    """Gives every promised signal its definition, now that every name resolves."""
    for name, syntax in builder.promised.items():
        builder.signals[name] = builder.lowering.expression(syntax)


def _assemble(builder: Builder, situation: str | None, drawn: tuple[Instance, ...]) -> Compilation:
    hold = builder.hold
    definitions = dict(builder.signals)
    mechanism = tuple(d for d in builder.drafts if d.actor is Actor.MECHANISM and d.name in builder.urgent)
    fuser = Fuser(mechanism, definitions)
    rules: list[Rule] = []
    told: dict[str, Happening] = {}
    origins: dict[str, Origin] = {}
    born: dict[str, list[str]] = {}
    for draft in builder.drafts:
        if draft.name in builder.urgent:
            continue
        try:
            settled = list(fuser.settle(draft))
        except NeverSettles as fault:
            return Compilation(None, (_never_settles(builder, fault),))
        for way in settled:
            responses = tuple(builder.deeds[step.name] for step in way.responses)
            origin = _numbered(Origin(builder.deeds[draft.name], responses), origins)
            name = origin.name
            origins[name] = origin
            rules.append(Rule(name, draft.actor, way.guard, _changing(way.updates)))
            told[name] = Happening(draft.actor, draft.text, tuple(step.text for step in way.responses))
            for source in (draft, *way.responses):
                born.setdefault(source.name, []).append(name)
    requirements = tuple(_with_rules(instance, born) for instance in drawn)
    variables = tuple(builder.variables.values())
    start = conj(builder.start, fuser.at_rest())
    faults = _start_faults(hold, variables, start, mechanism, definitions, builder.values)
    if faults:
        return Compilation(None, faults)
    # all of them: procedures, goals and reports ask about what no rule and no requirement needs
    signals = tuple(Signal(name, definition) for name, definition in definitions.items())
    machine = Machine(variables, signals, tuple(rules), requirements, start)
    for thing in _all_things(builder.world):
        for verb, names in thing.verbs.items():
            thing.verbs[verb] = [rule for name in names for rule in born.get(name, ())]
    instances = tuple(Instance(r, i.origin, i.text, i.bindings) for r, i in zip(requirements, drawn, strict=True))
    known = origins_of(builder.memories, builder.meanings, origins, requirements)
    glossary = Glossary(known, builder.values, builder.phrases, told)
    compiled = CompiledHold(hold, machine, instances, builder.world, builder.floor, glossary, situation)
    return Compilation(compiled, doubts_of(hold, builder.floor))


def _all_things(world: World) -> list[Thing]:
    """Every thing of the world and of its parts, each once."""
    found: dict[Thing, None] = {}
    waiting = list(world.things.values())
    while waiting:
        thing = waiting.pop()
        if thing not in found:
            found[thing] = None
            for part in thing.parts.values():
                waiting.extend(part if isinstance(part, tuple) else (part,))
    return list(found)


def _changing(updates: Mapping[str, Value]) -> tuple[tuple[str, Value], ...]:
    return tuple(sorted(updates.items()))


def _numbered(origin: Origin, taken: Mapping[str, Origin]) -> Origin:
    while origin.name in taken:
        origin = replace(origin, number=origin.number + 1)
    return origin


def _with_rules(instance: Instance, born: Mapping[str, list[str]]) -> Requirement:
    """The requirement about rules, where it was about drafts."""
    requirement = instance.requirement

    def rules(drafts: frozenset[str]) -> frozenset[str]:
        return frozenset(rule for name in drafts for rule in born.get(name, ()))

    first = rules(requirement.first)
    # what has to come first never happens: then what is to come after it cannot be brought about
    never = requirement.kind is RequirementKind.CAN and instance.origin.first and not first
    return Requirement(
        requirement.id,
        requirement.kind,
        FALSE if never else requirement.condition,
        requirement.situation,
        rules(requirement.steps),
        first,
        rules(requirement.since),
    )


def _unreached(hold: Hold, floor: Floor) -> list[Diagnostic]:
    if not hold.units or not hold.doorways:
        return []
    reached = bays_reached(floor)
    missing = [bay for bay in floor.bays if bay not in reached]
    if not missing:
        return []
    return [
        Diagnostic(
            "unreachable-bay",
            hold.layout.span,
            f"no unit can come to {', '.join(missing)} from any doorway, whatever the latches do",
            "a way over ball mat and rollers from a sill to every bay, for some kind of unit it may hold",
        )
    ]


def _circular(builder: Builder) -> Diagnostic | None:
    import networkx

    graph: networkx.DiGraph[str] = networkx.DiGraph()
    for name, expr in builder.signals.items():
        graph.add_edges_from((name, used) for used in sorted(signals_of(expr)))
    # to look for a circle where there is none takes time that grows with the square of the hold
    if networkx.is_directed_acyclic_graph(graph):
        return None
    circle = [edge[0] for edge in networkx.find_cycle(graph)]
    start = circle.index(min(circle))
    subjects = [builder.meanings[name].subject for name in circle[start:] + circle[:start]]
    names = list(dict.fromkeys(subject.id for subject in subjects))
    hold = builder.hold
    spans = {circuit.id: circuit.span for circuit in hold.circuits}
    spans |= {sensor.id: sensor.span for sensor in hold.sensors} | {device.id: device.span for device in hold.devices}
    span: Span = next((spans[name] for name in names if name in spans), builder.hold.span)
    return Diagnostic(
        "circular-circuit",
        span,
        "these define one another in a circle: " + " -> ".join([*names, names[0]]),
        "a definition that does not come back to itself; write a relay where memory is meant",
    )


def _never_settles(builder: Builder, fault: NeverSettles) -> Diagnostic:
    texts = list(dict.fromkeys(step.text for step in fault.responses))
    ids = [deed.subject.id for step in fault.responses if isinstance(deed := builder.deeds[step.name], Work)]
    hold = builder.hold
    spans = {relay.id: relay.span for relay in hold.relays} | {control.id: control.span for control in hold.controls}
    span = next((spans[name] for name in ids if name in spans), builder.hold.span)
    return Diagnostic(
        "settling-never-ends",
        span,
        f"after '{fault.draft.text}' the mechanism never comes to rest: {'; '.join(texts)}, and so on for ever",
        "conditions under which the mechanism comes to rest",
    )


def _start_faults(
    hold: Hold,
    variables: tuple[Variable, ...],
    start: Expr,
    mechanism: Sequence[Draft],
    definitions: Mapping[str, Expr],
    says: Mapping[tuple[str, Value], str],
) -> tuple[Diagnostic, ...]:
    if start == TRUE:
        return ()
    starts = {variable.name: variable.init for variable in variables}
    only = {name: values[0] for name, values in starts.items() if len(values) == 1}
    opened = expand(start, definitions)
    settled = assign(opened, only)
    if _can_be(settled, starts):
        left = [
            (name, value)
            for name in sorted(variables_of(settled))
            for value in starts[name]
            if not _can_be(assign(settled, {name: value}), starts)
        ]
        # a start that is written down and then left out would be one of which nothing is proved
        return tuple(
            Diagnostic(
                "start-not-settled",
                hold.span,
                f"where {says.get(start_value, ' is '.join(map(str, start_value)))} at the start, "
                f"{_movers(mechanism, definitions, {**starts, start_value[0]: (start_value[1],)})} at once",
                "starting positions in which the mechanism is at rest",
            )
            for start_value in left
        )
    if not may_hold(opened):
        return (
            Diagnostic(
                "settling-never-ends",
                next((relay.span for relay in hold.relays), hold.span),
                "there is no state in which every relay and handle is at rest",
                "conditions under which the mechanism comes to rest",
            ),
        )
    return (
        Diagnostic(
            "start-not-settled",
            hold.span,
            f"at the start {_movers(mechanism, definitions, starts)} at once",
            "starting positions in which the mechanism is at rest",
        ),
    )


def _movers(
    mechanism: Sequence[Draft], definitions: Mapping[str, Expr], starts: Mapping[str, tuple[Value, ...]]
) -> str:
    """What may move by itself in such a start, in words."""
    only = {name: values[0] for name, values in starts.items() if len(values) == 1}
    moving = [step for step in mechanism if _can_be(assign(expand(step.guard, definitions), only), starts)]
    texts = list(dict.fromkeys(step.text for step in moving))
    return " or ".join(texts[:MOST_MOVERS]) or "some relay or handle would change by itself"


def _can_be(expr: Expr, values: Mapping[str, tuple[Value, ...]]) -> bool:
    """Some choice of one of its values for each variable makes the expression, which names no signal, true."""
    if isinstance(expr, Const):
        return expr.value
    name = min(variables_of(expr))
    return any(_can_be(assign(expr, {name: value}), values) for value in values[name])


def _in_order(faults: list[Diagnostic]) -> tuple[Diagnostic, ...]:
    unique = dict.fromkeys(faults)
    return tuple(sorted(unique, key=lambda d: (d.span.file, d.span.line, d.span.column, d.code)))
