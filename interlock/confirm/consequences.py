"""A second, plain count of what one departure from a usual course leads to, with the kernel's reference evaluator.

Some rules of the machine are *departures*, each with a label; its variable `place` says how far things have gone.
What comes of a label is everything that is watched on some run on which its rule fires first of all departures, and
no other after it, the ends of that run included.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from time import monotonic

from interlock.confirm.screening import Screen
from interlock.kernel.evaluator import State, fire, initial_states, truths_in
from interlock.kernel.expressions import Expr, Value
from interlock.kernel.machine import Machine, support_of

MISSED = "ends without what is wanted"
MOST_PLACES = 25_000
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


@dataclass(frozen=True, slots=True)
class Consequences:
    """What the count found: per label what comes of it, and per watched thing the fewest departures before it.

    Among what comes of a label are MISSED and `stopped_at` of places; a label that is not there cannot fire.
    `stopped` says why the count ended early; nothing else is then of use.
    """

    states: int
    of: Mapping[str, frozenset[str]]
    fewest: Mapping[str, int]
    stopped: str = ""


def stopped_at(place: Value) -> str:
    """What is found where a run can come to a stand at the place."""
    return f"stopped at {place}"


def count_consequences(track: Track, most: int = MOST_PLACES, deadline: float | None = None) -> Consequences:
    """Walks every state within as many departures as the machine allows; `deadline` is on the monotonic clock."""
    machine = track.machine
    at = machine.positions[track.place]
    depth: dict[State, int] = dict.fromkeys(initial_states(machine), 0)
    found: dict[State, set[str]] = {}
    before: dict[State, list[State]] = {}
    away: list[tuple[State, State, str, set[str]]] = []
    free: dict[State, None] = {}
    queue = deque(depth)
    names = list(track.watched)
    bads = [track.watched[name].bad for name in names]
    guards, broken = Screen(machine, [rule.guard for rule in machine.rules]), Screen(machine, bads)
    # what is watched looks at the same things in many states
    looked_at = sorted({machine.positions[name] for bad in bads for name in support_of(machine, bad)})
    known: dict[tuple[Value, ...], dict[str, frozenset[str] | None]] = {}
    while queue:
        if len(depth) > most:
            return Consequences(len(depth), {}, {}, f"more than {most:,} places")
        if deadline is not None and monotonic() > deadline:
            return Consequences(len(depth), {}, {}, "out of time")
        state = queue.popleft()
        if state in found:
            continue
        true = truths_in(machine, state)
        seen = tuple([state[position] for position in looked_at])
        if seen not in known:
            known[seen] = {names[i]: track.watched[names[i]].steps for i in broken.true_in(state, true)}
        bad = known[seen]
        marks = found[state] = {name for name, those in bad.items() if those is None}
        leaves = state[at] in track.ends and (wanted := track.ends[state[at]]) is not None and true(wanted)
        for number in guards.true_in(state, true):
            rule = machine.rules[number]
            after = fire(machine, rule, state)
            made = {name for name, those in bad.items() if those is not None and rule.name in those}
            label = track.departures.get(rule.name)
            steps = depth[state] + (label is not None)
            if label is None:
                marks |= made
                before.setdefault(after, []).append(state)
                leaves = leaves or (state[at] not in track.ends and after[at] != state[at])
            else:
                away.append((state, after, label, made))
            if steps < depth.get(after, steps + 1):
                depth[after] = steps
                # breadth first by departures: what needs fewer of them is gone through before the rest
                if label is None:
                    queue.appendleft(after)
                else:
                    queue.append(after)
        if leaves:
            free[state] = None
    _spread_free(free, before, at)
    for state, marks in found.items():
        if state not in free:
            marks.add(MISSED if track.ends.get(state[at]) is not None else stopped_at(state[at]))
    _spread_marks(found, before)
    of: dict[str, set[str]] = {}
    fewest: dict[str, int] = {}
    for state, after, label, made in away:
        if depth[state] == 0:
            of.setdefault(label, set()).update(made, found[after])
        for name in made:
            fewest[name] = min(fewest.get(name, depth[state] + 1), depth[state] + 1)
    for state, marks in found.items():
        for name in marks & track.watched.keys():
            fewest[name] = min(fewest.get(name, depth[state]), depth[state])
    return Consequences(len(found), {label: frozenset(marks) for label, marks in of.items()}, fewest)


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
