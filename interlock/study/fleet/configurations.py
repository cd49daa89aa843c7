"""Which aircraft of a fleet are alike, so that they are proved once; and from a configuration to its hold.

This is the one place that knows how a configuration becomes a hold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.fleets import Aircraft, Deferred, deferred, plain
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.language.nodes import Entry, MappingNode, Node, ScalarNode, clip
from interlock.hold.language.parser import is_name
from interlock.hold.loader import Fetch, beside, load_fitted_hold
from interlock.study.deferral.inoperative import (
    Inoperative,
    NoSuchItem,
    failed_at_first,
    ways_of,
    with_inoperative,
)

BECAUSE = "open deferral of the fleet file"
"""The reason that a deferral with a limit gives."""


@dataclass(frozen=True, slots=True, order=True)
class Configuration:
    """A hold with options fitted and deferrals open.  `hold` is the name of a file; both lists are sorted.

    Of `options` those of the description are ids, and modifications are names of files.

    In which order options and deferrals are written does not matter.
    """

    hold: str
    options: tuple[str, ...]
    deferrals: tuple[str, ...]

    @property
    def features(self) -> frozenset[str]:
        """What tells it from another one of the same hold."""
        return frozenset((*self.options, *self.deferrals))


@dataclass(frozen=True, slots=True)
class Fitted:
    """A configuration, and the aircraft that have it, in the order of the file."""

    configuration: Configuration
    aircraft: tuple[Aircraft, ...]


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a configuration is no hold, with the lines of the files that were read."""

    diagnostics: tuple[Diagnostic, ...]
    sources: Mapping[str, tuple[str, ...]]


def configuration_of(aircraft: Aircraft) -> Configuration:
    """What one aircraft has."""
    file = aircraft.span.file

    def named(node: ScalarNode) -> str:
        text = node.text.strip()
        return text if is_name(text) and node is not aircraft.hold else beside(file, text)

    deferrals = map(plain, aircraft.deferrals)
    return Configuration(
        named(aircraft.hold), tuple(sorted(set(map(named, aircraft.options)))), tuple(sorted(set(deferrals)))
    )


def group(aircraft: Sequence[Aircraft]) -> tuple[Fitted, ...]:
    """The configurations of a fleet by hold, options and deferrals, those with the fewest of them first."""
    alike: dict[Configuration, list[Aircraft]] = {}
    for one in aircraft:
        alike.setdefault(configuration_of(one), []).append(one)
    order = sorted(alike, key=lambda c: (c.hold, len(c.options) + len(c.deferrals), c))
    return tuple(Fitted(one, tuple(alike[one])) for one in order)


def read_configuration(aircraft: Aircraft, fetch: Fetch) -> tuple[Hold, tuple[Inoperative, ...]] | Refused:
    """The hold of an aircraft with its options, and what else is inoperative on it."""
    faults: list[Diagnostic] = []
    seen: dict[str, ScalarNode] = {}
    changes: list[Node] = []
    plain: list[Deferred] = []
    for node in aircraft.deferrals:
        one = deferred(node)
        if one is None:
            expected = "ITEM=WAY, such as `M3L=lowered`, or ITEM=WAY with LIMIT"
            faults.append(Diagnostic("unknown-failure", node.span, f"'{clip(node.text)}' is no deferral", expected))
        elif (before := seen.setdefault(one.item.text, node)) is not node:
            where = f"it is at line {before.span.line}, column {before.span.column} too"
            said = f"'{clip(one.item.text)}' is deferred already"
            faults.append(Diagnostic("listed-twice", node.span, said, "each item once", context=(where,)))
        elif one.limit is None:
            plain.append(one)
        else:
            changes.append(as_change(one))
    loaded = load_fitted_hold(aircraft, changes, fetch)
    if loaded.value is None:
        return Refused((*faults, *loaded.diagnostics), loaded.sources)
    items: list[Inoperative] = []
    for one in plain:
        try:
            items += ways_of(loaded.value, one.item.text, one.way.text)[:1]
        except NoSuchItem as fault:
            code, node = ("unknown-state", one.way) if fault.word == one.way.text else ("unknown-name", one.item)
            faults.append(_no_such(code, node, fault))
    return Refused(tuple(faults), loaded.sources) if faults else (loaded.value, tuple(items))


def compile_configuration(
    aircraft: Aircraft, fetch: Fetch, texts: Sequence[RequirementText] = ()
) -> CompiledHold | Refused:
    """The hold of an aircraft as it is, with those of the requirements whose ids the hold does not have itself."""
    found = read_configuration(aircraft, fetch)
    if isinstance(found, Refused):
        return found
    hold, items = found
    compilation = compile_hold(with_inoperative(hold, items), hold.not_replaced(texts))
    if compilation.compiled is None:
        return Refused(compilation.diagnostics, {})
    compiled = failed_at_first(compilation.compiled, items)
    if compiled is None:
        said = "what is deferred cannot have failed on this hold"
        return Refused((Diagnostic("unknown-failure", aircraft.span, said, "another deferral"),), {})
    return compiled


def as_change(one: Deferred) -> MappingNode:
    """The deferral of a device as a modification writes it: without a limit the device stays as it is, from the start.

    That is what `with_inoperative` makes of a device.
    """
    span = one.item.span
    if one.limit is None:
        to = mapping(span, {"fixed": one.way, "starts": one.way})
        return mapping(span, {"change": one.item, "to": to})
    because = ScalarNode(BECAUSE, span, False, None)
    return mapping(span, {"defer": one.item, "in": one.way, "because": because, "limit": one.limit})


def mapping(span: Span, values: Mapping[str, Node]) -> MappingNode:
    """These values by their keys, as if written there."""
    return MappingNode(tuple(Entry(ScalarNode(name, span, False, None), value) for name, value in values.items()), span)


def _no_such(code: str, node: ScalarNode, fault: NoSuchItem) -> Diagnostic:
    from interlock.diagnostics.nearest import nearest_name

    known = ", ".join(fault.known[:8]) + (" and others" if len(fault.known) > 8 else "")
    return Diagnostic(code, node.span, str(fault), f"one of {known}", nearest_name(fault.word, fault.known))
