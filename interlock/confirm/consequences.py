"""A second, plain count of what one departure from a usual course leads to, with the kernel's reference evaluator.

Some rules of the machine are *departures*, each with a label; its variable `place` says how far things have gone.
What comes of a label is everything that is watched on some run on which its rule fires first of all departures, and
no other after it, the ends of that run included.  Labels *lead* to something that is watched when some run meets it on
which departures with these labels fire, each as often as it is named, and no others.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from time import monotonic
from typing import TypeAlias

from interlock.confirm.screening import Screen
from interlock.kernel.evaluator import State, fire, initial_states, truths_in
from interlock.kernel.expressions import Expr, Value
from interlock.kernel.machine import Machine, support_of

Labels: TypeAlias = tuple[str, ...]
"""Departures by their labels, sorted; each as often as it fires."""

MISSED = "ends without what is wanted"
MOST_PLACES = 40_000
"""The most states that the count takes on by itself."""


@dataclass(frozen=True, slots=True)
class Watched:
    """A state in which `bad` is so or, where `steps` is not None, one of these rules firing in such a state."""

    bad: Expr
    steps: frozenset[str] | None


@dataclass(frozen=True, slots=True)
class Track:
    """What is counted: `departures` gives rules their labels, `ends` the places that no rule need leave.

    At such a place nothing is amiss where some run within it leads to what is wanted there; None: to be there is to
    have stopped.  At every other place it is amiss where no run without a departure leads out of it.
    """

    machine: Machine
    place: str
    departures: Mapping[str, str]
    watched: Mapping[str, Watched]
    ends: Mapping[Value, Expr | None]
    together: int


@dataclass(frozen=True, slots=True)
class Consequences:
    """What the count found: per label what comes of it, and per watched thing all smallest choices of labels, each
    sorted, that lead to it.

    Among what comes of a label are MISSED and `stopped_at` of places; a label that is not there cannot fire.
    `stopped` says why the count ended early; nothing else is then of use.
    """

    states: int
    of: Mapping[str, frozenset[str]]
    leading: Mapping[str, frozenset[tuple[str, ...]]]
    stopped: str = ""


def stopped_at(place: Value) -> str:
    """What is found where a run can come to a stand at the place."""
    return f"stopped at {place}"


def count_consequences(track: Track, most: int = MOST_PLACES, deadline: float | None = None) -> Consequences:
    """Walks every state within as many departures as are looked at; `deadline` is on the monotonic clock."""
    machine = track.machine
    at = machine.positions[track.place]
    labels: dict[State, list[Labels]] = {state: [()] for state in initial_states(machine)}
    leading: dict[str, set[Labels]] = {}
    found: dict[State, set[str]] = {}
    before: dict[State, list[State]] = {}
    after: dict[State, list[tuple[State, str | None, set[str]]]] = {}
    away: list[tuple[State, str, set[str]]] = []
    free: dict[State, None] = {}
    names = list(track.watched)
    bads = [track.watched[name].bad for name in names]
    guards, broken = Screen(machine, [rule.guard for rule in machine.rules]), Screen(machine, bads)
    # what is watched looks at the same things in many states
    looked_at = sorted({machine.positions[name] for bad in bads for name in support_of(machine, bad)})
    known: dict[tuple[Value, ...], dict[str, frozenset[str] | None]] = {}
    here: dict[State, frozenset[str]] = {}
    # fewer departures first: what they lead to needs no more of them
    waiting: list[deque[tuple[State, Labels]]] = [deque() for _ in range(track.together + 1)]
    waiting[0].extend((state, ()) for state in labels)
    while any(waiting):
        if len(labels) > most:
            return Consequences(len(labels), {}, {}, f"more than {most:,} points in the procedure")
        if deadline is not None and monotonic() > deadline:
            return Consequences(len(labels), {}, {}, "out of time")
        state, those = next(queue for queue in waiting if queue).popleft()
        if state not in found:
            true = truths_in(machine, state)
            seen = tuple([state[position] for position in looked_at])
            if seen not in known:
                known[seen] = {names[i]: track.watched[names[i]].steps for i in broken.true_in(state, true)}
            bad = known[seen]
            here[state] = frozenset(name for name, steps in bad.items() if steps is None)
            marks = found[state] = set(here[state])
            leaves = state[at] in track.ends and (wanted := track.ends[state[at]]) is not None and true(wanted)
            after[state] = []
            for number in guards.true_in(state, true):
                rule = machine.rules[number]
                then = fire(machine, rule, state)
                made = {name for name, steps in bad.items() if steps is not None and rule.name in steps}
                label = track.departures.get(rule.name)
                after[state].append((then, label, made))
                if label is None:
                    marks |= made
                    before.setdefault(then, []).append(state)
                    leaves = leaves or (state[at] not in track.ends and then[at] != state[at])
                elif not those:
                    away.append((then, label, made))
            if leaves:
                free[state] = None
        for name in here[state]:
            leading.setdefault(name, set()).add(those)
        for then, label, made in after[state]:
            more = those if label is None else tuple(sorted((*those, label)))
            if len(more) > track.together:
                continue
            for name in made:
                leading.setdefault(name, set()).add(more)
            if not any(_within(less, more) for less in labels.setdefault(then, [])):
                labels[then].append(more)
                waiting[len(more)].append((then, more))
    _spread_free(free, before, at)
    for state, marks in found.items():
        if state not in free:
            marks.add(MISSED if track.ends.get(state[at]) is not None else stopped_at(state[at]))
    _spread_marks(found, before)
    of: dict[str, set[str]] = {}
    for then, label, made in away:
        of.setdefault(label, set()).update(made, found.get(then, ()))
    smallest = {
        name: frozenset(one for one in some if not any(less != one and _within(less, one) for less in some))
        for name, some in leading.items()
    }
    return Consequences(len(found), {label: frozenset(marks) for label, marks in of.items()}, smallest)


def _within(less: Labels, more: Labels) -> bool:
    """Whether the second choice has every label of the first at least as often."""
    return all(less.count(label) <= more.count(label) for label in less)


def _spread_free(free: dict[State, None], before: Mapping[State, list[State]], at: int) -> None:
    """Whoever can go within its place to where things go on can go on too."""
    queue = list(free)
    while queue:
        state = queue.pop()
        for earlier in before.get(state, ()):
            if earlier not in free and earlier[at] == state[at]:
                free[earlier] = None
                queue.append(earlier)


def _spread_marks(found: Mapping[State, set[str]], before: Mapping[State, list[State]]) -> None:
    """What can come of a state can come of every state that leads to it."""
    queue = deque(found)
    while queue:
        state = queue.popleft()
        for earlier in before.get(state, ()):
            if not found[state] <= found[earlier]:
                found[earlier] |= found[state]
                queue.append(earlier)
