"""From a description to a state machine: what everything in it means.

`compile_hold` reads as a chain: everything is named and defined (`naming`), the mechanism is fused into what sets it
off (`settling`), the requirements are instantiated (`requirements`), and what is known of all names is put beside the
machine.  Every part takes frozen values and gives frozen values.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.chatter import chain_of
from interlock.hold.compile.components import UnsettledKind
from interlock.hold.compile.described import describe
from interlock.hold.compile.easing import ease
from interlock.hold.compile.limits import limit_faults
from interlock.hold.compile.lowering import Lowering
from interlock.hold.compile.naming import NamedHold, name_hold
from interlock.hold.compile.requirements import Instance, instantiate
from interlock.hold.compile.settling import Fuser, NeverSettles, UnfusedRule
from interlock.hold.compile.starting import start_faults
from interlock.hold.compile.symbols import Symbols
from interlock.hold.compile.world import Thing, World
from interlock.hold.floor import Floor
from interlock.hold.glossary import Glossary, Happening
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.language.readable import Readable
from interlock.hold.language.syntax import Syntax
from interlock.hold.origin import Arrive, Deed, Depart, Means, Origin, Origins, Work, origins_of
from interlock.hold.sense import doubts_of
from interlock.kernel.expressions import Expr, Value
from interlock.kernel.machine import Machine, Requirement, Rule, Signal


@frozen
class CompiledHold:
    """A description with its meaning.

    `machine` carries one kernel requirement per entry of `instances`, in the same order.  `world` holds the things that
    names resolve to, `glossary` what kernel names are about and how they are said.
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

    def rules_of(self, thing: Thing, verb: str) -> tuple[str, ...]:
        """The rules by which the verb is done to or by the thing; none where it has no such verb."""
        return tuple(rule for deed in thing.verbs.get(verb, ()) for rule in self.origins.rules_of.get(deed, ()))


@frozen
class Compilation:
    """`compiled` is None exactly when `diagnostics` holds an error; all errors of the description are there.

    Warnings are given only where there is no error.
    """

    compiled: CompiledHold | None
    diagnostics: tuple[Diagnostic, ...]


@frozen
class _Settled:
    """What can happen, mechanism included: the rules, their origins, how they are told, and when all is at rest."""

    rules: tuple[Rule, ...]
    rules_of: Mapping[str, tuple[str, ...]]
    origins: Mapping[str, Origin]
    told: Mapping[str, Happening]
    mechanism: tuple[UnfusedRule, ...]
    at_rest: Expr
    faults: tuple[Diagnostic, ...]


def compile_hold(
    hold: Hold, requirements: tuple[RequirementText, ...] = (), situation: str | None = None
) -> Compilation:
    """Compiles a description, its own requirements and those given, for one way to start (None: as described).

    What loading lets through can only be rejected for a mechanism that never comes to rest and for a start that is not
    settled, or for what the requirements given name.  Raises KeyError when the hold has no situation of that id.
    """
    try:
        named = _named(hold, situation)
    except UnsettledKind as fault:
        return Compilation(None, (Diagnostic("settling-never-ends", hold.span, str(fault)),))
    settled = _settle(named)
    lowering = Lowering(named.world)
    instances = instantiate((*hold.requirements, *requirements), lowering, settled.rules_of)
    faults = (*named.faults, *lowering.faults, *settled.faults, *limit_faults(named)) or _start_faults(named, settled)
    if faults:
        return Compilation(None, _in_order(faults))
    return Compilation(_compiled(named, settled, instances), doubts_of(hold, named.described.floor))


def ease_hold(compiled: CompiledHold, chosen: Iterable[Instance]) -> CompiledHold:
    """The hold compiled once more so that what keeps steps from happening can be lifted (`compile.easing`).

    It is asked about what is chosen of its own instances, all of which must say what can be done.  What can be lifted
    are the variables of which `Origins.variables` says that they are `Lifted`; they are false at the start.
    """
    return _eased(compiled, {instance.requirement.id for instance in chosen}, ())[0]


def ease_goal(compiled: CompiledHold, goal: Expr) -> tuple[CompiledHold, Expr]:
    """The same, asked about nothing of its own, and the goal, an expression over the hold, eased too."""
    eased, (wanted,) = _eased(compiled, frozenset(), (goal,))
    return eased, wanted


def _eased(
    compiled: CompiledHold, wanted: Collection[str], goals: Iterable[Expr]
) -> tuple[CompiledHold, tuple[Expr, ...]]:
    named = name_hold(describe(compiled.hold, compiled.situation, eased=True))
    easing = ease(named.described, named.symbols, named.world)
    acts = easing.acts(named.symbols.acts)
    eased = replace(named, symbols=replace(named.symbols, acts=acts), definitions=easing.definitions)
    settled = _settle(eased)
    texts = dict.fromkeys(one.origin for one in compiled.instances if one.requirement.id in wanted)
    found = instantiate(tuple(texts), Lowering(named.world), settled.rules_of)
    instances = tuple(
        replace(one, requirement=easing.requirement(one.requirement)) for one in found if one.requirement.id in wanted
    )
    asked = tuple(map(easing.eased, goals))
    symbols = easing.symbols(named.described, eased.symbols)
    return _compiled(replace(eased, symbols=symbols, definitions=easing.definitions), settled, instances), asked


def _compiled(named: NamedHold, settled: _Settled, instances: tuple[Instance, ...]) -> CompiledHold:
    asked = tuple(instance.requirement for instance in instances)
    variables = tuple(one.variable for one in named.symbols.memories.values())
    # all of them: procedures, goals and reports ask about what no rule and no requirement needs
    signals = tuple(Signal(name, definition) for name, definition in named.definitions.items())
    machine = Machine(variables, signals, settled.rules, asked, settled.at_rest)
    glossary = _glossary(named.symbols, settled, asked)
    described = named.described
    return CompiledHold(described.hold, machine, instances, named.world, described.floor, glossary, described.situation)


def faults_of_names(hold: Hold) -> tuple[Diagnostic, ...]:
    """What is wrong with the expressions of a description, also where its devices make no sense."""
    named = _named(hold, None)
    return _in_order((*_faults_within(named), *limit_faults(named)))


def faults_of_part(part: Readable) -> tuple[Diagnostic, ...]:
    """The same of a description that cannot be read whole; nothing is said of what may lie in what cannot."""
    named = name_hold(describe(part.hold, None), part.unread)
    return _in_order(_faults_within(named, part.loose))


def world_of(hold: Hold) -> World:
    """What the expressions of a description can name, even of one that could not be read whole.

    Raises UnsettledKind for a faulty declaration of a kind.
    """
    return _named(hold, None).world


_last: list[tuple[Hold, str | None, NamedHold]] = []
"""The last hold that was named, itself and not one that says the same: what names it may have been changed since."""


def _named(hold: Hold, situation: str | None) -> NamedHold:
    """What is loaded is compiled next, as a rule: it is named once for both."""
    for known, start, named in _last:
        if known is hold and start == situation:
            return named
    named = name_hold(describe(hold, situation))
    _last[:] = [(hold, situation, named)]
    return named


def _faults_within(named: NamedHold, more: Iterable[Syntax] = ()) -> tuple[Diagnostic, ...]:
    """What is wrong with the expressions and requirements of a description, and with more expressions."""
    lowering = Lowering(named.world)
    instantiate(named.described.hold.requirements, lowering, {})
    for syntax in more:
        lowering.expression(syntax)
    return (*named.faults, *lowering.faults)


def _settle(named: NamedHold) -> _Settled:
    """Fuses the mechanism into what sets it off; where names are at fault there is nothing to fuse."""
    acts = () if named.faults else named.symbols.acts
    mechanism = tuple(act.rule for act in acts if act.settles)
    deeds = {act.deed.name: act.deed for act in acts}
    fuser = Fuser(mechanism, named.definitions, named.described.eased)
    rules: list[Rule] = []
    origins: dict[str, Origin] = {}
    told: dict[str, Happening] = {}
    rules_of: dict[str, tuple[str, ...]] = {}
    hold = named.described.hold
    lists = (hold.doorways, hold.devices, hold.controls, hold.supplies, hold.relays, hold.zones, hold.people)
    written = {thing.id: thing.span for things in lists for thing in things}
    driven = {bay: zone.id for zone in reversed(hold.zones) for bay in zone.bays}
    faults: list[Diagnostic] = []
    for act in acts:
        if act.settles:
            continue
        try:
            ways = list(fuser.settle(act.rule))
        except NeverSettles as fault:
            faults.append(_never_settles(named.described.hold, deeds, fault))
            break
        for way in ways:
            origin = Origin(act.deed, tuple(deeds[step.name] for step in way.responses))
            while (name := origin.name) in origins:
                origin = replace(origin, number=origin.number + 1)
            origins[name] = origin
            rules.append(Rule(name, act.rule.actor, way.guard, tuple(sorted(way.updates.items()))))
            responses = tuple(step.text for step in way.responses)
            acting = _acting(act.deed, driven)
            told[name] = Happening(act.rule.actor, act.rule.text, responses, written.get(acting))
            rules_of[act.deed.name] = (*rules_of.get(act.deed.name, ()), name)
    return _Settled(tuple(rules), rules_of, origins, told, mechanism, fuser.at_rest(), tuple(faults))


def _acting(deed: Deed, driven: Mapping[str, str]) -> str:
    """The thing that a deed acts upon or that acts, of zones the one by `driven`; empty where it is no one thing."""
    match deed:
        case Depart() | Arrive():
            cells = deed.placement.cells if deed.means is Means.DRIVE else ()
            return next((driven[cell] for cell in cells if cell in driven), "")
    return deed.subject.id


def _never_settles(hold: Hold, deeds: Mapping[str, Deed], fault: NeverSettles) -> Diagnostic:
    ids = [deed.subject.id for step in fault.responses if isinstance(deed := deeds[step.name], Work)]
    spans = {relay.id: relay.span for relay in hold.relays} | {control.id: control.span for control in hold.controls}
    span = next((spans[name] for name in ids if name in spans), hold.span)
    return Diagnostic(
        "settling-never-ends",
        span,
        chain_of(fault),
        "conditions under which the mechanism comes to rest",
    )


def _start_faults(named: NamedHold, settled: _Settled) -> tuple[Diagnostic, ...]:
    variables = tuple(one.variable for one in named.symbols.memories.values())
    says = _values(named.symbols)
    hold = named.described.hold
    return start_faults(hold, variables, settled.at_rest, settled.mechanism, named.definitions, says)


def _values(symbols: Symbols) -> Mapping[tuple[str, Value], str]:
    memories = symbols.memories.items()
    return {(name, value): text for name, one in memories for value, text in one.says.items()}


def _glossary(symbols: Symbols, settled: _Settled, requirements: tuple[Requirement, ...]) -> Glossary:
    memories = {name: one.memory for name, one in symbols.memories.items()}
    meanings = {name: one.meaning for name, one in symbols.signals.items()}
    phrases = {name: one.phrases for name, one in symbols.signals.items() if any(one.phrases)}
    return Glossary(
        origins_of(memories, meanings, settled.origins, requirements),
        MappingProxyType(_values(symbols)),
        MappingProxyType(phrases),
        MappingProxyType(settled.told),
    )


def _in_order(faults: tuple[Diagnostic, ...]) -> tuple[Diagnostic, ...]:
    unique = dict.fromkeys(faults)
    return tuple(sorted(unique, key=lambda d: (d.span.file, d.span.line, d.span.column, d.code)))
