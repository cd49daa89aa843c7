"""A hold worked by a careful crew: one action after another, each begun only when the equipment has come to rest.

A *deed* is what one person does in one go: throw a switch, raise a latch, hold a spring-centred lever until everything
has stopped and let it go, run a unit from the loader over the sill.  Supplies stay as they are, nothing fails.  After
each half of a deed the equipment does all that it can do; a deed counts as possible only where that ends in one state,
in whatever order the equipment acts, and where no requirement breaks in any state or by any step on the way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from graphlib import CycleError, TopologicalSorter
from itertools import islice
from typing import NamedTuple, TypeAlias

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.things import let_go
from interlock.hold.kinds import Trigger, Verb
from interlock.hold.origin import Arrive, Depart, Means, Origins, Work
from interlock.hold.procedure.binding import rules_of_supplies
from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State, initial_states
from interlock.kernel.expressions import Expr, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, allowed_by, question_of, with_order_monitors
from interlock.prove.core.packing import Packing, compile_enabled, compile_hits

MOST_STARTS = 64
"""Ways to start that are looked at."""
MOST_RESTLESS = 5_000
"""States that the equipment may pass through before it counts as never coming to rest."""

Breaks: TypeAlias = Callable[[Iterable[int]], dict[int, int]]


@dataclass(frozen=True, slots=True, order=True)
class Deed:
    """What one person does in one go, by the names of `Origins.deeds`."""

    heads: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Execution:
    """What one deed led to: `rules[i]` leads from `states[i]` to `states[i + 1]`; `halves[i]` counts the rules that
    were fired up to and with the equipment's rest after the i-th half of the deed.

    The trace is one order of what the equipment did; every other order ends in the same state.
    """

    deed: Deed
    rules: tuple[str, ...]
    states: tuple[State, ...]
    halves: tuple[int, ...]

    @property
    def before(self) -> State:
        """The state in which the deed begins."""
        return self.states[0]

    @property
    def after(self) -> State:
        """The state in which everything has come to rest."""
        return self.states[-1]


class Refusal(Enum):
    """Why a deed does not do."""

    IMPOSSIBLE = "it is not possible there"
    FORBIDDEN = "a step must not be taken there"
    BREAKS = "a requirement breaks in a state, or by a step, that it can lead to"
    DEPENDS = "where the equipment comes to rest depends on timing"
    NEVER_RESTS = "the equipment never comes to rest"


class _Done(NamedTuple):
    """An `Execution` by the places of its rules and by packed states."""

    rules: tuple[int, ...]
    states: tuple[int, ...]
    halves: tuple[int, ...]


class Operation:
    """One hold, worked as the module says.  Everything found is remembered: the same question costs nothing twice.

    `strict` is false where requirements may break on the way; `broken_by` then tells what did.
    """

    def __init__(self, compiled: CompiledHold, strict: bool = True) -> None:
        self.compiled = compiled
        self.strict = strict
        self.asked = with_order_monitors(compiled.machine)
        """The machine with order memories, all of its rules and its requirements: what replays and proofs are about."""
        lost = {name for name, verb in rules_of_supplies(compiled).items() if verb == "lose"}
        rules = tuple(r for r in self.asked.rules if r.actor is not Actor.FAILURE and r.name not in lost)
        self.machine = Machine(self.asked.variables, self.asked.signals, rules, (), self.asked.start)
        """The machine less failures and lost supplies."""
        self.packing = Packing(self.machine)
        self.heads = tuple(compiled.origins.deed_of(rule.name).name for rule in rules)
        self._crew = tuple(rule.actor is Actor.CREW for rule in rules)
        self._writes = tuple(self.packing.writes(rule) for rule in rules)
        self._enabled = compile_enabled(self.packing)
        self._follow = _followers(compiled.origins, self.heads)
        self._ends = frozenset(self._follow.values())
        self._requirements = self.asked.requirements
        standing = {
            at: question_of(self.asked, requirement).target
            for at, requirement in enumerate(self._requirements)
            if not (requirement.kind.is_about_work or requirement.kind.is_about_steps)
        }
        self._which_break = compile_hits(self.packing, standing)
        self._something_breaks = compile_hits(self.packing, {0: disj(*standing.values())})
        self._forbidden = self._step_rules()
        self._rests: dict[int, _Done | Refusal] = {}
        self._executions: dict[tuple[int, Deed], _Done | Refusal] = {}
        self._choices: dict[tuple[int, bool], tuple[Deed, ...]] = {}
        self._broken: dict[tuple[int, Deed], tuple[str, ...]] = {}
        self._loose: Operation | None = None

    def loosened(self) -> Operation:
        """The same hold, worked on although requirements break."""
        if not self.strict:
            return self
        if self._loose is None:
            self._loose = Operation(self.compiled, strict=False)
        return self._loose

    def _step_rules(self) -> Mapping[int, tuple[tuple[int, Breaks], ...]]:
        found: dict[int, list[tuple[int, Breaks]]] = {}
        for at, requirement in enumerate(self._requirements):
            if not requirement.kind.is_about_steps:
                continue
            breaks = compile_hits(self.packing, {0: conj(requirement.situation, neg(allowed_by(requirement)))})
            for number, rule in enumerate(self.machine.rules):
                if rule.name in requirement.steps:
                    found.setdefault(number, []).append((at, breaks))
        return {number: tuple(entries) for number, entries in found.items()}

    def start(self) -> State | None:
        """Where the crew begins: of the first ways to start the one with most supplies on; None without one."""
        supplies = [self.compiled.world.things[s.id].states.get("on") for s in self.compiled.hold.supplies]
        hits = [compile_hits(self.packing, {0: on}) for on in supplies if on is not None]
        best: tuple[int, State] | None = None
        for state in islice(initial_states(self.machine), MOST_STARTS):
            packed = self.packing.pack(state)
            on = sum(bool(hit([packed])) for hit in hits)
            if best is None or on > best[0]:
                best = on, state
        return None if best is None else best[1]

    def choices(self, packed: int, halves: bool = False) -> tuple[Deed, ...]:
        """The deeds that can be begun in a packed state at rest, in the order of the machine.

        With `halves`, levers may also be left held and other things half done, for holds that need two hands.
        """
        key = packed, halves
        if key not in self._choices:
            found: dict[Deed, None] = {}
            for number in self._enabled(packed):
                if self._crew[number]:
                    head = self.heads[number]
                    follower = self._follow.get(head)
                    if follower is not None:
                        found[Deed((head, follower))] = None
                    if follower is None or halves:
                        found[Deed((head,))] = None
            self._choices[key] = tuple(found)
        return self._choices[key]

    def perform(self, state: State, deed: Deed) -> Execution | Refusal:
        """What the deed leads to from a state at rest."""
        return self._told(deed, self._perform(self.packing.pack(state), deed))

    def _told(self, deed: Deed, done: _Done | Refusal) -> Execution | Refusal:
        if isinstance(done, Refusal):
            return done
        names = tuple(self.machine.rules[number].name for number in done.rules)
        return Execution(deed, names, tuple(map(self.packing.unpack, done.states)), done.halves)

    def outcome(self, packed: int, deed: Deed) -> int | Refusal:
        """The packed state in which everything has come to rest after the deed."""
        found = self._perform(packed, deed)
        return found if isinstance(found, Refusal) else found.states[-1]

    def settle(self, state: State) -> Execution | Refusal:
        """What the equipment does by itself before anybody acts."""
        return self._told(Deed(()), self._rest(self.packing.pack(state)))

    def test_of(self, expr: Expr) -> Callable[[int], bool]:
        """A fast test of one expression on packed states."""
        hits = compile_hits(self.packing, {0: expr})
        return lambda packed: bool(hits((packed,)))

    def broken_in(self, state: State) -> tuple[str, ...]:
        """The requirements about states that the state breaks, in their order."""
        return self._ids(self._which_break([self.packing.pack(state)]))

    def _ids(self, places: Mapping[int, int] | set[int]) -> tuple[str, ...]:
        return tuple(self._requirements[at].id for at in sorted(places))

    def _perform(self, packed: int, deed: Deed) -> _Done | Refusal:
        key = packed, deed
        if key not in self._executions:
            self._executions[key] = self._worked_out(packed, deed)
        return self._executions[key]

    def _worked_out(self, packed: int, deed: Deed) -> _Done | Refusal:
        rules: list[int] = []
        states = [packed]
        halves = []
        for head in deed.heads:
            number = next((n for n in self._enabled(states[-1]) if self.heads[n] == head), None)
            if number is None:
                return Refusal.IMPOSSIBLE
            if self.strict and self.forbidden_now(number, states[-1]):
                return Refusal.FORBIDDEN
            rest = self._rest(self.after(states[-1], number))
            if isinstance(rest, Refusal):
                return rest
            rules += [number, *rest.rules]
            states += rest.states
            halves.append(len(rules))
        return _Done(tuple(rules), tuple(states), tuple(halves))

    def steps(self, packed: int) -> Iterator[tuple[int, int]]:
        """Every single step that is possible, whoever takes it: (place of the rule, state after it)."""
        for number in self._enabled(packed):
            yield number, self.after(packed, number)

    def after(self, packed: int, rule: int) -> int:
        """The state after the rule, by place, has fired."""
        keep, bits = self._writes[rule]
        return packed & keep | bits

    def follower(self, head: str) -> str | None:
        """What ends the deed that begins so, None for a deed that is done at once."""
        return self._follow.get(head)

    def ends_a_deed(self, rule: int) -> bool:
        """The rule, by place, ends what another one begins: a lever is let go."""
        return self.heads[rule] in self._ends

    def breaks(self, packed: int, rule: int, after: int) -> bool:
        """The step breaks a requirement about steps, or the state after it one about states."""
        return bool(self.forbidden_now(rule, packed)) or bool(self._something_breaks((after,)))

    def is_at_rest(self, packed: int) -> bool:
        """The equipment has nothing to do."""
        return all(self._crew[number] for number in self._enabled(packed))

    def forbidden_now(self, rule: int, packed: int) -> set[int]:
        """The places of the requirements about steps that the rule breaks when it fires there."""
        return {at for at, breaks in self._forbidden.get(rule, ()) if breaks((packed,))}

    def _rest(self, packed: int) -> _Done | Refusal:
        if packed not in self._rests:
            self._rests[packed] = self._come_to_rest(packed)
        return self._rests[packed]

    def _come_to_rest(self, packed: int) -> _Done | Refusal:
        """Every order in which the equipment can act from here; it must end, in one state, with nothing broken."""
        parents: dict[int, tuple[int, int] | None] = {packed: None}
        order = [packed]
        ends: list[int] = []
        broken = False
        successors: dict[int, list[int]] = {}
        for state in order:
            moves = [number for number in self._enabled(state) if not self._crew[number]]
            after_all = []
            for number in moves:
                broken = broken or bool(self.forbidden_now(number, state))
                after = self.after(state, number)
                after_all.append(after)
                if after not in parents:
                    parents[after] = state, number
                    order.append(after)
            successors[state] = after_all
            if not moves:
                ends.append(state)
            if len(order) > MOST_RESTLESS:
                return Refusal.NEVER_RESTS
        if self.strict and (broken or self._something_breaks(order)):
            return Refusal.BREAKS
        if len(ends) > 1:
            return Refusal.DEPENDS
        if not ends or _goes_round(successors):
            return Refusal.NEVER_RESTS
        rules: list[int] = []
        states = [ends[0]]
        while (step := parents[states[-1]]) is not None:
            states.append(step[0])
            rules.append(step[1])
        return _Done(tuple(reversed(rules)), tuple(reversed(states)), (len(rules),))

    def broken_by(self, packed: int, deed: Deed) -> tuple[str, ...]:
        """The requirements that break in some state or by some step that the deed can lead to, in their order."""
        key = packed, deed
        if key not in self._broken:
            found = self._perform(packed, deed)
            self._broken[key] = () if isinstance(found, Refusal) else self._ids(self._broken_places(found))
        return self._broken[key]

    def broken_by_itself(self, state: State) -> tuple[str, ...]:
        """The requirements, in order, that break there or in what the equipment does from there until it rests."""
        found: set[int] = set()
        reached: dict[int, None] = {}
        self._run_on(self.packing.pack(state), reached, found)
        return self._ids(found | set(self._which_break(reached)))

    def _broken_places(self, done: _Done) -> set[int]:
        found: set[int] = set()
        reached: dict[int, None] = {}
        begun = 0
        for end in done.halves:
            state = done.states[begun]
            found |= self.forbidden_now(done.rules[begun], state)
            self._run_on(self.after(state, done.rules[begun]), reached, found)
            begun = end
        if self._something_breaks(reached):
            found |= set(self._which_break(reached))
        return found

    def _run_on(self, state: int, reached: dict[int, None], found: set[int]) -> None:
        """Adds all states that the equipment can pass through, and what its steps there break."""
        pending = [state]
        while pending:
            state = pending.pop()
            if state in reached:
                continue
            reached[state] = None
            for number in self._enabled(state):
                if not self._crew[number]:
                    found |= self.forbidden_now(number, state)
                    pending.append(self.after(state, number))


def _goes_round(successors: Mapping[int, list[int]]) -> bool:
    """The equipment can go on for ever: there is a circle among the states that it can pass through."""
    try:
        TopologicalSorter(successors).prepare()
    except CycleError:
        return True
    return False


def trace_of(executions: Iterable[Execution]) -> Trace:
    """The run that the courses make, one after the other.  Raises ValueError where they do not fit together."""
    rules: list[str] = []
    states: list[State] = []
    for execution in executions:
        if states and states[-1] != execution.before:
            raise ValueError("an execution begins elsewhere than the one before it ends")
        rules += execution.rules
        states += execution.states if not states else execution.states[1:]
    return Trace(tuple(rules), tuple(states))


def levers_neutral(operation: Operation) -> tuple[Expr, ...]:
    """Every lever is let go."""
    moved = operation.compiled.origins.variables
    controls = (control for control in operation.compiled.hold.controls if control.is_held)
    return tuple(free for free in map(let_go, controls) if free.variable in moved)


def _followers(origins: Origins, heads: tuple[str, ...]) -> Mapping[str, str]:
    """What ends that which a deed begins: letting go after holding, arriving after departing, the door's other half."""
    deeds = [origins.deeds[head] for head in dict.fromkeys(heads)]
    ends: dict[tuple[object, ...], str] = {}
    for deed in deeds:
        match deed:
            case Work(of, Trigger(verb=Verb.RELEASE), source):
                ends[of, Verb.RELEASE, source] = deed.name
            case Work(of, Trigger(verb=Verb.FINISH, to=to)):
                ends[of, Verb.FINISH, to] = deed.name
            case Arrive(move, means):
                ends[move, means] = deed.name
    found: dict[str, str | None] = {}
    for deed in deeds:
        match deed:
            case Work(of, Trigger(verb=Verb.HOLD), dest=dest):
                found[deed.name] = ends.get((of, Verb.RELEASE, dest))
            case Work(of, Trigger(verb=Verb.START, to=to)):
                found[deed.name] = ends.get((of, Verb.FINISH, to))
            case Depart(move, Means.LOADER | Means.PUSH as means):
                found[deed.name] = ends.get((move, means))
    return {begin: end for begin, end in found.items() if end is not None}
