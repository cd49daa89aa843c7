"""The obvious engine on arrays: every reachable state, nearest first, a whole level at a time.

Rules fire on chunks of a level at once; what they give is sieved, sorted and looked up in sorted runs of what has been
seen.  About 8 bytes are held for each state where states are only counted, 16 where questions are asked (levels are
kept, to find the way back), and up to 16 more for a moment while runs are merged; a state of several words costs more,
for the numbering of its words.  (Measured: 12.9 million states, 277 and 363 MiB at most.)

References (from memory)
  E. F. Moore: The shortest path through a maze. 1959. (breadth-first search)
  P. O'Neil, E. Cheng, D. Gawlick, E. O'Neil: The log-structured merge-tree. Acta Informatica 33, 1996. (sorted runs)
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from math import prod

import numpy as np

from interlock.diagnostics.said import say
from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, Proved, Refuted, Trace, Unknown, silent
from interlock.kernel.evaluator import State, is_enabled
from interlock.kernel.expressions import And, Is, Value, conj
from interlock.kernel.machine import Machine, Question, Rule
from interlock.kernel.why import Helps, Why
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Clock, clock_of, deeper_than, more_states_than, stop_reason
from interlock.prove.memory import resident_bytes
from interlock.prove.search.arrays import Keys, Layout, Words, compile_truths, is_in
from interlock.prove.search.explicit import Count

NAME = "vectorised"
CHUNK = 32_768
"""States on which rules fire at once: small enough that all that is computed of them stays in the cache."""
BATCH = 4_000_000
"""How many states that may be new are gathered before they are sorted and looked up."""
SIEVE_BITS = 16
"""The sieve remembers up to two to this power states that were met lately."""
MIXER = 0x9E3779B97F4A7C15
"""Odd; times this, the high bits of a word depend on all its bits (D. E. Knuth, TAOCP 3, 6.4: golden ratio)."""
MOST_BYTES = 4 << 30
"""What is held at most if nothing else is said."""
LOOKED_UP_BYTES = 40
"""What it takes for a moment, for each state that waits, to sort it and look it up."""
MOST_BEFORE = 50_000
"""How many states before a rule are listed; where there may be more, a level is searched for them."""


class Levels:
    """Breadth-first search, level by level, each an array of keys in ascending order."""

    def __init__(self, machine: Machine, limits: Limits, most_bytes: int, counting: bool) -> None:
        self.machine = machine
        self.layout = Layout(machine)
        self.keys = Keys(self.layout)
        self.limits = limits
        self.most_bytes = most_bytes
        self.clock: Clock = clock_of(limits)
        self.counting = counting
        self.states = 0
        self.steps = 0
        self.dead = 0
        self.stopped = ""
        self.held_bytes = 0
        """An estimate, on the safe side, of what is held."""
        self._runs: list[Words] = []
        self._waiting: list[Words] = []
        self._largest_piece = 0
        self._in_level = 0
        self._guards = compile_truths(self.layout, [rule.guard for rule in machine.rules])
        self._writes = [self.layout.writes(rule) for rule in machine.rules]
        # slot 0 is where 0 belongs, so what stands there at first must be anything else
        self._sieve: Words = np.zeros(1 << SIEVE_BITS, np.uint64)
        self._sieve[0] = 1

    def __iter__(self) -> Iterator[Words]:
        """The states at depth 0, 1, ... ; ends early with `stopped` set when a limit is met.

        The level in which a limit was met is given out as far as it got.
        """
        level = self._gather(self._initial())
        depth = 0
        while len(level):
            yield level
            if self.stopped or self._is_over():
                return
            if self.limits.depth is not None and depth >= self.limits.depth:
                beyond = self._gather(self._expand(level))
                self.states -= len(beyond)
                if len(beyond) and not self.stopped:
                    self.stopped = deeper_than(self.limits.depth)
                return
            level = self._gather(self._expand(level))
            depth += 1

    def _is_over(self) -> bool:
        waiting = sum(map(len, self._waiting))
        largest = max(map(len, self._runs), default=0)
        # while runs are merged or what waits is sorted, they are there several times
        held = 8 * (self.states * (1 if self.counting else 2) + 2 * largest + 4 * waiting)
        self.held_bytes = held + self._sieve.nbytes + self.keys.held_bytes
        # each for a moment: the next step, which may number more words; looking up what waits; joining the level
        stepping = LOOKED_UP_BYTES * self.layout.words * self._largest_piece + self.keys.held_bytes // 3
        beside = max(stepping, LOOKED_UP_BYTES * waiting, 8 * (self._in_level + waiting))
        budget = self.clock.memory
        if self.limits.states is not None and self.states > self.limits.states:
            self.stopped = more_states_than(self.limits.states)
        elif self.held_bytes > self.most_bytes:
            needed = say(
                "more than {size} MiB would be needed; {states} states were seen",
                size=self.most_bytes >> 20,
                states=self.states,
            )
            self.stopped = Why(needed, Helps.METHOD)
        # asked first: between two looks the budget gives the answer of the last one
        elif (budget is not None and budget.is_used_up(beside)) or self.clock.is_over():
            self.stopped = stop_reason(self.limits, self.clock)
        return bool(self.stopped)

    def _gather(self, pieces: Iterator[Words]) -> Words:
        """What is new in the pieces, sorted; from now on it counts as seen.  Ends early when a limit is met."""
        fresh: list[Words] = []
        waiting = self._in_level = 0
        for piece in pieces:
            self._largest_piece = max(self._largest_piece, len(piece))
            piece = self._sieved(piece)
            self._waiting.append(piece)
            waiting += len(piece)
            if waiting > self._batch():
                fresh.append(self._settle())
                self._in_level += len(fresh[-1])
                waiting = 0
            if self._is_over():
                break
        fresh.append(self._settle())
        level = fresh[0]
        if len(fresh) > 1:
            level = np.concatenate(fresh)
            fresh.clear()
            level.sort()
        if not self.stopped:
            self._is_over()
        return level

    def _batch(self) -> int:
        """How many may wait: fewer where a limit is near, so that it is not overstepped by much."""
        most = BATCH
        if self.limits.states is not None:
            most = min(most, self.limits.states - self.states)
        if self.limits.memory is not None:
            most = min(most, self.limits.memory // (20 * LOOKED_UP_BYTES))
        return max(CHUNK, most)

    def _sieved(self, keys: Words) -> Words:
        """The keys without most of those that were met lately."""
        slots = (keys * np.uint64(MIXER)) >> np.uint64(64 - SIEVE_BITS)
        passed = self._sieve[slots] != keys
        keys = keys[passed]
        self._sieve[slots[passed]] = keys
        return keys

    def _settle(self) -> Words:
        """Those waiting that were never seen before; they join the runs."""
        keys = np.concatenate(self._waiting) if self._waiting else np.empty(0, np.uint64)
        self._waiting = []
        keys.sort()
        if len(keys):
            first = np.ones(len(keys), np.bool_)
            np.not_equal(keys[1:], keys[:-1], out=first[1:])
            keys = keys[first]
        for run in self._runs:
            if not len(keys):
                break
            keys = keys[~is_in(run, keys)]
        if len(keys):
            self.states += len(keys)
            self._runs.append(keys)
            while len(self._runs) > 1 and len(self._runs[-2]) <= 2 * len(self._runs[-1]) and self._has_room():
                merged = np.concatenate((self._runs.pop(), self._runs.pop()))
                merged.sort(kind="stable")
                self._runs.append(merged)
        return keys

    def _has_room(self) -> bool:
        """Merging the last two runs, which are there twice meanwhile, stays within the memory allowed."""
        if self.limits.memory is None:
            return True
        held = resident_bytes()
        return held is None or held + self._runs[-2].nbytes + self._runs[-1].nbytes < self.limits.memory

    def _initial(self) -> Iterator[Words]:
        """Every initial state: all choices of `init` values, counted through, that satisfy `start`."""
        fixed = self.layout.pack(tuple(variable.init[0] for variable in self.machine.variables))
        free = [variable for variable in self.machine.variables if len(variable.init) > 1]
        truths = compile_truths(self.layout, [self.machine.start])
        total = prod(len(variable.init) for variable in free)
        for first in range(0, total, CHUNK):
            choice = [first + at for at in range(min(CHUNK, total - first))]
            rest = np.array(choice, np.uint64) if total < 1 << 63 else np.array(choice, object)
            words = [np.full(len(rest), word, np.uint64) for word in fixed]
            for variable in free:
                word, shift, mask = self.layout.fields[variable.name]
                table = np.array([self.layout.place(variable.name, v) << shift for v in variable.init], np.uint64)
                words[word] &= np.uint64((1 << 64) - 1 - (mask << shift))
                words[word] |= table[(rest % len(table)).astype(np.intp)]
                rest = rest // len(table)
            for _, truth in truths(words):
                yield self.keys.encode(words if truth is True else [word[truth] for word in words])

    def _expand(self, level: Words) -> Iterator[Words]:
        """The states one step after those of the level, chunk by chunk, with repeats."""
        for start in range(0, len(level), CHUNK):
            yield self._step(level[start : start + CHUNK])

    def _step(self, keys: Words) -> Words:
        words = self.keys.decode(keys)
        single = self.layout.words == 1
        numbers = [] if single else self.keys.numbers(keys)
        after: list[list[Words]] = [[] for _ in words]
        """Per word, and per rule that fires, the word afterwards, or its number where the rule leaves it alone."""
        written: list[list[bool]] = [[] for _ in words]
        alive = np.zeros(len(keys), np.bool_) if self.counting else None
        everything = np.arange(len(keys))
        for at, truth in self._guards(words):
            fired = everything if truth is True else np.flatnonzero(truth)
            if not len(fired):
                continue
            self.steps += len(fired)
            if alive is not None:
                alive[fired] = True
            writes = self._writes[at]
            if not writes:
                continue
            for place, word in enumerate(words):
                if place in writes:
                    keep, bits = writes[place]
                    moved = word[fired] & np.uint64(keep)
                    moved |= np.uint64(bits)
                else:
                    moved = numbers[place][fired]
                after[place].append(moved)
                written[place].append(place in writes)
        if alive is not None:
            self.dead += len(keys) - int(np.count_nonzero(alive))
        if not after[0]:
            return np.empty(0, np.uint64)
        if single:
            return np.concatenate(after[0])
        return self.keys.join([self._numbered(at, after[at], written[at]) for at in range(len(words))])

    def _numbered(self, place: int, pieces: list[Words], is_word: list[bool]) -> Words:
        """The numbers of the words of these pieces, some of which are numbers already."""
        whole = np.concatenate(pieces)
        flags = np.repeat(is_word, [len(piece) for piece in pieces])
        whole[flags] = self.keys.parts[place].number(whole[flags])
        return whole


def vectorised(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    most_bytes: int = MOST_BYTES,
) -> tuple[Claim, ...]:
    """Visits the reachable states in order of depth until every question is answered.

    Refutations are shortest; a proof carries no certificate but the number of states.  It stops, and says how far it
    came, before more than `most_bytes` are held.
    """
    search = Levels(machine, limits, most_bytes, counting=False)
    levels: list[Words] = []
    met: dict[int, tuple[int, int]] = {}
    clear = -1
    try:
        for level in search:
            levels.append(level)
            still_open = {at: question for at, question in enumerate(questions) if at not in met}
            for at, key in _hits(search, level, still_open).items():
                met[at] = (len(levels) - 1, key)
            if not search.stopped:
                clear += 1
            if len(met) == len(questions):
                break
            report(Progress(NAME, f"{search.states} states", clear, limits.depth))
    except KeyboardInterrupt:
        search.stopped = INTERRUPTED
    claims: list[Claim] = []
    for at, question in enumerate(questions):
        if at in met:
            claims.append(Refuted(question.id, NAME, _trace(search, levels, *met[at]), shortest=True))
        elif search.stopped:
            claims.append(Unknown(question.id, NAME, search.stopped, clear))
        else:
            claims.append(Proved(question.id, NAME, None, search.states))
    return tuple(claims)


def count_states(machine: Machine, limits: Limits = NO_LIMITS, most_bytes: int = MOST_BYTES) -> Count:
    """Counts the reachable states and the steps between them."""
    search = Levels(machine, limits, most_bytes, counting=True)
    per_depth = tuple(map(len, search))
    return Count(sum(per_depth), search.steps, len(per_depth) - 1, search.dead, per_depth, not search.stopped)


def _hits(search: Levels, level: Words, questions: Mapping[int, Question]) -> dict[int, int]:
    """Per question, by its place, the first state of the level in its target, where there is one."""
    places = list(questions)
    truths = compile_truths(search.layout, [questions[at].target for at in places])
    found: dict[int, int] = {}
    for start in range(0, len(level), CHUNK):
        chunk = level[start : start + CHUNK]
        for which, truth in truths(search.keys.decode(chunk)):
            if places[which] not in found and (truth is True or truth.any()):
                found[places[which]] = int(chunk[0 if truth is True else truth.argmax()])
    return found


def _trace(search: Levels, levels: Sequence[Words], depth: int, key: int) -> Trace:
    """A run of `depth` steps to the state: level by level back, by the first rule that leads there."""
    states = [_state(search, key)]
    rules: list[str] = []
    for level in reversed(levels[:depth]):
        rule, before = _step_before(search, level, states[-1])
        rules.append(rule.name)
        states.append(before)
    return Trace(tuple(reversed(rules)), tuple(reversed(states)))


def _state(search: Levels, key: int) -> State:
    words = search.keys.decode(np.array([key], np.uint64))
    return search.layout.unpack([int(word[0]) for word in words])


def _step_before(search: Levels, level: Words, after: State) -> tuple[Rule, State]:
    for rule in search.machine.rules:
        for before in _before(search, level, rule, after):
            if is_enabled(search.machine, rule, before):
                return rule, before
    raise AssertionError("a state of one level has no state before it in the level above")


def _before(search: Levels, level: Words, rule: Rule, after: State) -> Iterator[State]:
    """The states of the level that differ from `after` in nothing but what the rule writes."""
    machine, layout = search.machine, search.layout
    if any(after[machine.positions[name]] != value for name, value in rule.update):
        return
    guard = conj(rule.guard)
    known = {
        fact.variable: fact.value
        for fact in (guard.args if isinstance(guard, And) else (guard,))
        if isinstance(fact, Is)
    }
    choices: list[tuple[Value, ...]] = [
        (known[name],) if name in known else machine.domains[name] for name, _ in rule.update
    ]
    if prod(map(len, choices)) > MOST_BEFORE:
        yield from _searched(search, level, rule, after)
        return
    listed = []
    for values in product(*choices):
        before = list(after)
        for (name, _), value in zip(rule.update, values, strict=True):
            before[machine.positions[name]] = value
        listed.append(tuple(before))
    packed = np.array([layout.pack(before) for before in listed], np.uint64)
    keys, there = search.keys.known([np.ascontiguousarray(packed[:, at]) for at in range(layout.words)])
    there &= is_in(level, keys)
    yield from (before for before, is_there in zip(listed, there, strict=True) if is_there)


def _searched(search: Levels, level: Words, rule: Rule, after: State) -> Iterator[State]:
    writes = search.layout.writes(rule)
    wanted = search.layout.pack(after)
    for start in range(0, len(level), CHUNK):
        words = search.keys.decode(level[start : start + CHUNK])
        fits = np.ones(len(words[0]), np.bool_)
        for place, word in enumerate(words):
            keep = writes[place][0] if place in writes else (1 << 64) - 1
            fits &= (word & np.uint64(keep)) == np.uint64(wanted[place] & keep)
        for at in np.flatnonzero(fits):
            yield search.layout.unpack([int(word[at]) for word in words])
