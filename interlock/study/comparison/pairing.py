"""Two compiled holds as one machine, and what to ask of it: which steps and which states of equipment are otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TypeAlias

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.world import Thing
from interlock.hold.origin import (
    Arrive,
    Bring,
    Condition,
    Deed,
    Depart,
    Fact,
    Failure,
    Go,
    Memory,
    Sort,
    Strike,
    Subject,
    TakeAway,
    Work,
)
from interlock.kernel.expressions import FALSE, And, Expr, Is, conj, disj, neg, variables_of
from interlock.kernel.machine import Machine, is_among
from interlock.kernel.together import Labelled, Together, together
from interlock.prove.core.encoding import Encoding
from interlock.prove.core.solvers import add_all, light_solver
from interlock.prove.engine import Clock, OutOfTime
from interlock.study.comparison.matching import Matching


class What(StrEnum):
    """How a step or a state of the equipment is otherwise than it was."""

    OTHERWISE = "same step, another outcome"
    GAINED = "newly possible"
    LOST = "no longer possible"
    ON = "now so, was not"
    OFF = "no longer so"

    @property
    def is_of_step(self) -> bool:
        """It is about a step, not about what is so."""
        return self in (What.OTHERWISE, What.GAINED, What.LOST)


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing to ask: where `target` is so in the machine of both, the step or the state `label` is otherwise.

    `group` is the same for all of its kind.  `here` and `there` are what is possible or so in the first and in the
    second hold, in the words of their machines; `said` names it, in the words of one that has it.
    """

    what: What
    label: str
    group: tuple[str, ...]
    target: Expr
    here: Expr
    there: Expr
    said: str


@dataclass(frozen=True, slots=True)
class Start:
    """Something that is possible at the start of the first or of the `second` hold alone, in a sentence."""

    said: str
    second: bool


@dataclass(frozen=True, slots=True)
class Pair:
    """Two holds as one machine, with all that is to be asked.

    `same` has for variables of the first those of the second that remember the same; `apart` are those, by their names
    in the second, that had to be kept twice.  `only_old` and `only_new` are things that the other hold does not have.
    `starts` are those that the other hold does not have: runs of both begin where both can.
    """

    old: CompiledHold
    new: CompiledHold
    matching: Matching
    both: Together
    asked: tuple[Asked, ...]
    same: Mapping[str, str]
    apart: frozenset[str]
    only_old: tuple[str, ...]
    only_new: tuple[str, ...]
    starts: tuple[Start, ...]


_STATES: Mapping[Sort, frozenset[str] | None] = {
    Sort.DEVICE: frozenset({"raised", "lowered", "standing"}),
    Sort.DOOR: frozenset({"closed", "open", "latched", "locked", "driven_open", "driven_closed"}),
    Sort.RELAY: None,
    Sort.STATION: None,
    Sort.SUPPLY: None,
    Sort.ZONE: frozenset({"powered"}),
    Sort.BAY: frozenset({"secured"}),
    Sort.DIRECTION_OF_BAY: frozenset({"driven", "driven_on_device"}),
    Sort.CIRCUIT: frozenset(),
}
"""What is compared of things beside their steps (None: every state); of circuits, whether they are on."""

_ALIKE = frozenset({Sort.BAY, Sort.DIRECTION_OF_BAY, Sort.DRIVE})
"""Of these there are many, and what is otherwise of one is seldom so of it alone."""


def pair_holds(old: CompiledHold, new: CompiledHold, matching: Matching, clock: Clock) -> Pair:
    """Both as one machine, in which what is the same is kept once, as far as the time suffices to see that it is."""
    names = matching.names
    first, second = Labelled(old.machine, labels_of(old, names)), Labelled(new.machine, labels_of(new, {}))
    by_memory = {memory: name for name, memory in new.origins.variables.items()}
    same = {
        name: by_memory[memory]
        for name, one in old.origins.variables.items()
        if (memory := _memory(one, names)) in by_memory and name in old.machine.domains
    }
    same = {name: other for name, other in same.items() if other in new.machine.domains}
    alone = _alone(old, new, first, second, names)
    apart: set[str] = set()
    while True:
        both = together(first, second, same, alone, apart)
        clashing = _possible(both.machine, both.clashes, clock)
        if not clashing:
            break
        apart |= clashing
    only_old = tuple(id for id in old.world.things if names.get(id, id) not in new.world.things)
    only_new = tuple(id for id in new.world.things if id not in {names.get(one, one) for one in old.world.things})
    asked = (*_steps(old, new, both), *_states(old, new, matching, both))
    starts = tuple(_starts(old, new, same, both, clock))
    return Pair(old, new, matching, both, asked, same, frozenset(apart), only_old, only_new, starts)


SETTLED = "some combination of states, each of which both may have, is at rest"
"""Said where the conditions for a start differ and not what each thing may be."""


def _starts(
    old: CompiledHold, new: CompiledHold, same: Mapping[str, str], both: Together, clock: Clock
) -> Iterator[Start]:
    """What is possible at the start of one of them alone.

    Of what only one of them remembers nothing is asked: where the other has no such memory it has no say.
    """
    inits = [{one.name: one.init for one in hold.machine.variables} for hold in (old, new)]
    common = []
    for ours, theirs in same.items():
        first, second = inits[0][ours], inits[1][theirs]
        for hold, name, some, others in ((old, ours, first, second), (new, theirs, second, first)):
            for value in some:
                if not is_among(value, others):
                    yield Start(hold.glossary.values.get((name, value), f"{name} is {value}"), hold is new)
        names = both.variables[0][ours], both.variables[1][theirs]
        shared = [value for value in second if is_among(value, first)]
        common.append(disj(*(conj(*(Is(name, value) for name in dict.fromkeys(names))) for value in shared)))
    alike = conj(*common)
    rests = both.of_first(_shared(old.machine, same.keys())), both.of_second(_shared(new.machine, set(same.values())))
    targets = {str(at): conj(alike, rests[at], neg(rests[1 - at])) for at in (0, 1)}
    possible = _possible(both.machine, targets, clock)
    # where the time is over nothing is decided in what follows either
    for at in () if clock.is_over() else sorted(possible):
        yield Start(SETTLED, at == "1")


def _shared(machine: Machine, names: Set[str]) -> Expr:
    """What the machine asks of a start, as far as it is about these variables alone."""
    parts = machine.start.args if isinstance(machine.start, And) else (machine.start,)
    return conj(*(part for part in parts if variables_of(part, machine.definitions) <= names))


def _possible(machine: Machine, targets: Mapping[str, Expr], clock: Clock) -> set[str]:
    """Those that some state satisfies, reachable or not, and those of which that is not seen in time."""
    encoding = Encoding(machine)
    gates = {name: encoding.gate(target) for name, target in targets.items()}
    solver = light_solver()
    add_all(solver, encoding.clauses)
    impossible: set[str] = set()
    try:
        for name, gate in gates.items():
            if not solver.solve([gate], clock):
                impossible.add(name)
    except OutOfTime:
        pass
    finally:
        solver.close()
    return targets.keys() - impossible


def _subject(subject: Subject, names: Mapping[str, str]) -> Subject:
    return replace(subject, id=names.get(subject.id, subject.id))


def _memory(memory: Memory, names: Mapping[str, str]) -> Memory:
    """The memory of the second hold for the same of the thing that has another name there."""
    match memory:
        case Condition(subject):
            return replace(memory, subject=_subject(subject, names))
        case Failure(subject, _, None):
            return replace(memory, subject=_subject(subject, names))
    return memory


def labels_of(hold: CompiledHold, names: Mapping[str, str]) -> Mapping[str, str]:
    """By rule of the hold what both holds call such a step; `names` are those of things in the second."""
    return {rule: _label(origin.deed, names) for rule, origin in hold.origins.rules.items()}


def _label(deed: Deed, names: Mapping[str, str]) -> str:
    """What both holds call such a step."""
    match deed:
        case Work(of):
            return replace(deed, of=replace(of, subject=_subject(of.subject, names)), sole=False, case="").name
        case Go(person, source, dest):
            return Go(*(names.get(id, id) for id in (person, source, dest))).name
        case Strike(Failure(subject, _, None) as failure):
            return replace(deed, failure=replace(failure, subject=_subject(subject, names))).name
    return deed.name


Alone: TypeAlias = tuple[frozenset[str], frozenset[str]]


def _alone(old: CompiledHold, new: CompiledHold, first: Labelled, second: Labelled, names: Mapping[str, str]) -> Alone:
    """Steps of things that the other hold does not have: it has no say in them."""
    theirs, ours = set(new.world.things), {names.get(id, id) for id in old.world.things}
    shared = set(first.labels.values()) & set(second.labels.values())
    return (
        frozenset(_steps_of_others(old, first, theirs, names)) - shared,
        frozenset(_steps_of_others(new, second, ours, {})) - shared,
    )


def _steps_of_others(hold: CompiledHold, one: Labelled, known: set[str], names: Mapping[str, str]) -> Iterator[str]:
    for rule, origin in hold.origins.rules.items():
        match origin.deed:
            case Strike():
                yield one.labels[rule]  # a failure that only one hold declares
            case Work() | Go() as deed if names.get(deed.subject.id, deed.subject.id) not in known:
                yield one.labels[rule]


def _steps(old: CompiledHold, new: CompiledHold, both: Together) -> Iterator[Asked]:
    """What to ask about each step, but where both do it alike by how they are written."""
    told: dict[str, tuple[CompiledHold, str]] = {}
    ours: dict[str, list[Expr]] = {}
    theirs: dict[str, list[Expr]] = {}
    for hold, labelled, guards in ((new, both.second, theirs), (old, both.first, ours)):
        for rule in labelled.machine.rules:
            label = labelled.labels[rule.name]
            told.setdefault(label, (hold, rule.name))
            guards.setdefault(label, []).append(rule.guard)
    for label, one in both.differences.items():
        hold, name = told[label]
        group = _group(hold, hold.origins.deed_of(name))
        said = hold.glossary.rules[name].text
        here, there = (disj(*guards.get(label, ())) for guards in (ours, theirs))
        for what, target in (
            (What.OTHERWISE, one.otherwise),
            (What.GAINED, one.gained),
            (What.LOST, one.lost),
        ):
            if target != FALSE:
                yield Asked(what, label, (what, *group), target, here, there, said)


def _group(hold: CompiledHold, deed: Deed) -> tuple[str, ...]:
    """What kind of step it is, whatever it is done to."""
    match deed:
        case Work(of, trigger, source, dest):
            return "work", of.subject.sort, _kind_of(hold, of.subject.id), trigger.word, source, dest
        case Depart(_, means) | Arrive(_, means):
            return type(deed).__name__, deed.placement.kind, deed.move.direction, means
        case Bring(door, placement) | TakeAway(door, placement):
            return type(deed).__name__, door, placement.kind
        case Go(person):
            return "go", person
        case Strike(failure, heals):
            return "strike", failure.subject.sort, failure.mode, str(heals)


def _kind_of(hold: CompiledHold, id: str) -> str:
    """The kind of a device; all other things are called by themselves, of which there are few."""
    return next((device.kind for device in hold.hold.devices if device.id == id), id)


def _states(old: CompiledHold, new: CompiledHold, matching: Matching, both: Together) -> Iterator[Asked]:
    """What to ask about what is powered, driven, standing and so on, of what both have."""
    first = {_called(key, matching.names): (expr, said) for key, expr, said in shown_states(old)}
    for key, expr, said in shown_states(new):
        if key not in first:
            continue
        sort, id, state = key
        was, is_so = both.of_first(first[key][0]), both.of_second(expr)
        group = (sort, state, "" if sort in _ALIKE else _kind_of(new, id))
        for what, target in ((What.ON, conj(is_so, neg(was))), (What.OFF, conj(was, neg(is_so)))):
            if was != is_so and target != FALSE:
                yield Asked(what, ".".join(key), (what, *group), target, first[key][0], expr, said)


def _called(key: tuple[str, str, str], names: Mapping[str, str]) -> tuple[str, str, str]:
    sort, id, state = key
    return sort, names.get(id, id), state


def shown_states(hold: CompiledHold) -> Iterator[tuple[tuple[str, str, str], Expr, str]]:
    """What is compared of a hold beside its steps: what it is about, when it is so, how it is said."""
    for thing in (*hold.world.things.values(), *hold.world.sides.values()):
        wanted = _STATES.get(thing.sort, frozenset())
        if thing.sort is Sort.CIRCUIT and thing.truth is not None:
            yield (thing.sort, thing.id, "on"), thing.truth, f"{thing.phrase} is on"
        for state, expr in thing.states.items():
            if wanted is None or state in wanted:
                yield (thing.sort, thing.id, state), expr, _said(thing, state)
    for name, meaning in hold.origins.signals.items():
        if isinstance(meaning, Fact) and meaning.subject.sort is Sort.DRIVE:
            said, _ = hold.glossary.signals[name]
            yield (Sort.DRIVE, meaning.subject.id, meaning.way), hold.machine.definitions[name], said


def _said(thing: Thing, state: str) -> str:
    return f"{thing.phrase} is {state.replace('_', ' ')}"
