"""Configurations of one hold proved together, as a family: what is deferred becomes an option that excludes others.

What a family proof leaves open, or cannot say, is left to be proved alone.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.fleets import Aircraft, deferred, plain
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode, SequenceNode
from interlock.hold.language.parser import is_name
from interlock.hold.loader import Fetch, Loaded, load_family
from interlock.kernel.claims import Limits
from interlock.study.families.families import Family, NotTheHold, Outcome, prove_family
from interlock.study.fleet.configurations import Fitted, as_change, configuration_of, mapping
from interlock.study.recalling import Store, verify_by
from interlock.study.verify import Answer, Status

PAYS = 12
"""Of so many configurations of one hold together they are proved in less time than alone (measured)."""
MOST_FEATURES = 10
"""Options and deferrals of one family; there is a set of choices for each subset of them."""
MOST_TOLD = 16
"""So many sets of requirements that fail are told with runs."""


Statuses: TypeAlias = Mapping[Status, tuple[Outcome, ...]]
"""The outcomes of one configuration by what came out."""


@dataclass(frozen=True, slots=True)
class Share:
    """Configurations of one hold that one family proof is to answer for, by their places, and what they differ in."""

    features: tuple[str, ...]
    members: tuple[int, ...]


def shares(fitted: Sequence[Fitted], devices: Mapping[str, Collection[str]]) -> tuple[Share, ...]:
    """What is to be proved together: of each hold what differs in the options and deferrals that occur most often.

    `devices` has the ids of the devices of each hold: only what is inoperative of these can be an option.  It depends
    on the fleet alone, so whoever works on it gets the same.
    """
    found = []
    for hold in dict.fromkeys(one.configuration.hold for one in fitted):
        able = [
            at
            for at, one in enumerate(fitted)
            if one.configuration.hold == hold and _is_able(one, devices.get(hold, ()))
        ]
        counted = Counter(feature for at in able for feature in sorted(fitted[at].configuration.features))
        features = {feature for feature, _ in counted.most_common(MOST_FEATURES)}
        members = tuple(at for at in able if fitted[at].configuration.features <= features)
        if len(members) >= PAYS:
            found.append(Share(tuple(sorted(features)), members))
    return tuple(found)


def _is_able(one: Fitted, devices: Collection[str]) -> bool:
    """It has options of the description alone, and of what is inoperative devices that stay in a state."""
    aircraft = one.aircraft[0]
    items = [deferred(node) for node in aircraft.deferrals]
    return all(is_name(node.text) for node in aircraft.options) and all(
        item is not None and item.item.text in devices for item in items
    )


@dataclass(frozen=True, slots=True)
class Together:
    """What was found of one configuration of a family, by status.

    `hold` is what it is by itself; `told` are the answers of a proof by itself of what fails, where one was made.
    """

    hold: CompiledHold
    statuses: Statuses
    told: tuple[Answer, ...]
    checked_by: tuple[str, ...]

    @property
    def asked(self) -> int:
        """How many requirements were asked."""
        return sum(map(len, self.statuses.values()))


def prove_together(
    aircraft: Sequence[Aircraft],
    features: Sequence[str],
    fetch: Fetch,
    texts: Sequence[RequirementText],
    limits: Limits,
    chosen: Sequence[str] | None,
    compiled_of: Callable[[Aircraft], CompiledHold | None],
    store: Store,
) -> Mapping[int, Together]:
    """For each aircraft, by its place, what was found; those that are missing are to be proved alone.

    `compiled_of` gives the hold of an aircraft by itself.  Every configuration here was compared with the machine that
    was proved.  Where something fails, one configuration of each sort is asked by itself too, for its run and as a
    check.  Claims are looked up in the `store`, and left there.
    """
    configurations = [configuration_of(one) for one in aircraft]
    fitting = _fitting(aircraft, features, fetch)
    if fitting is None:
        return {}
    named, fit = fitting
    fitted = [frozenset(named[one] for one in configuration.features) for configuration in configurations]

    def requirements(hold: Hold) -> tuple[RequirementText, ...]:
        return hold.not_replaced(texts)

    try:
        family = prove_family(fit, requirements, None, limits, chosen=chosen, within=fitted, store=store)
    except NotTheHold:
        return {}
    found: dict[int, Together] = {}
    told: dict[frozenset[str], tuple[Answer, ...]] = {}
    for at, one in enumerate(fitted):
        statuses = _statuses(family, one)
        hold = compiled_of(aircraft[at]) if statuses is not None else None
        if statuses is None or hold is None:
            continue
        failing = frozenset(outcome.instance.requirement.id for outcome in statuses.get(Status.FAILS, ()))
        answers: tuple[Answer, ...] = ()
        if failing and failing not in told and len(told) < MOST_TOLD:
            answers = told[failing] = verify_by(store, hold, limits, chosen=sorted(failing)).answers
            statuses = _contradicted(statuses, answers)
        checked = sorted({outcome.checked_by for those in statuses.values() for outcome in those if outcome.checked_by})
        found[at] = Together(hold, statuses, answers, tuple(checked))
    return found


def _contradicted(statuses: Statuses, answers: Sequence[Answer]) -> Statuses:
    """What fails together and not alone is disputed; what was not decided alone is no contradiction."""
    alone = {answer.instance.requirement.id: answer.status for answer in answers}
    fails, disputed = [], [*statuses.get(Status.DISPUTED, ())]
    for outcome in statuses.get(Status.FAILS, ()):
        status = alone.get(outcome.instance.requirement.id)
        if status in (Status.FAILS, Status.UNDECIDED):
            fails.append(outcome)
        else:
            said = "is not asked" if status is None else status.value
            disputed.append(replace(outcome, disputed=f"it fails of all configurations together, and {said} alone"))
    found = {**statuses, Status.FAILS: tuple(fails), Status.DISPUTED: tuple(disputed)}
    return {status: those for status, those in found.items() if those}


def _statuses(family: Family, fitted: frozenset[str]) -> Statuses | None:
    """What came out in one configuration; None where it was not asked, or something is left open there."""
    if family.unmerged:
        return None
    alone = family.space.alone(fitted)
    if not alone & family.compiling & family.compared:
        return None
    found: dict[Status, list[Outcome]] = {}
    for outcome in family.outcomes:
        status = outcome.status_in(alone)
        if status is Status.UNDECIDED:
            return None
        if status is not None:
            found.setdefault(status, []).append(outcome)
    return {status: tuple(those) for status, those in found.items()}


def _fitting(
    aircraft: Sequence[Aircraft], features: Sequence[str], fetch: Fetch
) -> tuple[Mapping[str, str], Callable[[Collection[str]], Loaded[Hold]]] | None:
    """What options and deferrals are called in the family, and the hold with any of them; None where there is none."""
    first = aircraft[0]
    source = fetch(configuration_of(first).hold)
    if source is None:
        return None
    nodes = {plain(node): node for one in aircraft for node in one.deferrals}
    items: dict[str, list[str]] = {}
    named = {feature: feature for feature in features}
    for number, feature in enumerate(one for one in features if one in nodes):
        named[feature] = f"deferral-{number}"
        one = deferred(nodes[feature])
        if one is not None:
            items.setdefault(one.item.text, []).append(named[feature])
    more = []
    for feature, id in named.items():
        one = deferred(nodes[feature]) if feature in nodes else None
        if one is not None:
            others = [other for other in items[one.item.text] if other != id]
            more.append(_as_option(id, feature, as_change(one), others, nodes[feature]))
    wanted = frozenset(named.values())
    family = load_family(source, fetch, more)

    def fit(options: Collection[str]) -> Loaded[Hold]:
        loaded = family(options)
        if loaded.value is None:
            return loaded
        kept = tuple(
            replace(
                one,
                excludes=tuple(other for other in one.excludes if other in wanted),
                needs=tuple(other for other in one.needs if other in wanted),
            )
            for one in loaded.value.options
            if one.id in wanted
        )
        return replace(loaded, value=replace(loaded.value, options=kept))

    return named, fit


def _as_option(id: str, text: str, change: MappingNode, excludes: Sequence[str], node: ScalarNode) -> MappingNode:
    def said(word: str) -> ScalarNode:
        return ScalarNode(word, node.span, False, None)

    values: dict[str, Node] = {"id": said(id), "name": said(text), "changes": SequenceNode((change,), node.span)}
    if excludes:
        return mapping(node.span, {**values, "excludes": SequenceNode(tuple(map(said, excludes)), node.span)})
    return mapping(node.span, values)
