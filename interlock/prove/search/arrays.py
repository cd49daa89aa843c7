"""Machines over whole arrays of states: where the bits are, guards as array expressions, states as sortable keys.

A state is one or several words of 64 bits.  A guard over an array of states is an array of truth values; facts and
common parts of guards are computed once for all rules.  So that sets of states can be sorted, searched and compared as
plain integers, a state of several words is given a key of one word: every distinct word is numbered, and a key holds
the numbers (of the last word and of everything before it).  The numbering is exact, not a digest.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Is, Value
from interlock.kernel.machine import Machine, Rule
from interlock.prove.core.straight import StraightLine

Words: TypeAlias = NDArray[np.uint64]
Flags: TypeAlias = NDArray[np.bool_]

WORD = 64
HALF = np.uint64(32)
LOW = np.uint64((1 << 32) - 1)


class Layout:
    """Which bits of which word hold each variable; no variable lies across two words."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.fields: dict[str, tuple[int, int, int]] = {}
        """Variable -> (word, shift, mask before shifting)."""
        self._places = {v.name: {value: at for at, value in enumerate(v.domain)} for v in machine.variables}
        word = shift = 0
        for variable in machine.variables:
            width = (len(variable.domain) - 1).bit_length()
            if shift + width > WORD:
                word, shift = word + 1, 0
            self.fields[variable.name] = (word, shift, (1 << width) - 1)
            shift += width
        self.words = word + 1

    def place(self, name: str, value: Value) -> int:
        """The place of the value in the variable's domain."""
        return self._places[name][value]

    def pack(self, state: State) -> list[int]:
        """The words of a state."""
        packed = [0] * self.words
        for variable, value in zip(self.machine.variables, state, strict=True):
            word, shift, _ = self.fields[variable.name]
            packed[word] |= self.place(variable.name, value) << shift
        return packed

    def unpack(self, words: Sequence[int]) -> State:
        """The state of these words."""
        values = []
        for variable in self.machine.variables:
            word, shift, mask = self.fields[variable.name]
            values.append(variable.domain[(words[word] >> shift) & mask])
        return tuple(values)

    def writes(self, rule: Rule) -> dict[int, tuple[int, int]]:
        """Per word that the rule writes (keep, bits): the word after it is `word & keep | bits`."""
        found: dict[int, tuple[int, int]] = {}
        everything = (1 << WORD) - 1
        for name, value in rule.update:
            word, shift, mask = self.fields[name]
            keep, bits = found.get(word, (everything, 0))
            found[word] = (keep & ~(mask << shift), bits | self.place(name, value) << shift)
        return found


class Numbering:
    """Numbers 0, 1, ... for the distinct integers it is shown, in the order in which it is shown them."""

    def __init__(self) -> None:
        self._sorted: Words = np.empty(0, np.uint64)
        self._numbers: Words = np.empty(0, np.uint64)
        self._values: Words = np.empty(1024, np.uint64)

    def __len__(self) -> int:
        return len(self._sorted)

    @property
    def held_bytes(self) -> int:
        """What the tables take."""
        return 2 * self._sorted.nbytes + self._values.nbytes

    def number(self, values: Words) -> Words:
        """The number of each value; those not seen before get the next ones, smallest value first."""
        distinct, back = np.unique(values, return_inverse=True)
        at = np.searchsorted(self._sorted, distinct)
        known = _found(self._sorted, distinct, at)
        fresh = distinct[~known]
        if len(fresh):
            first, last = len(self), len(self) + len(fresh)
            if last > len(self._values):
                self._values = np.concatenate((self._values[:first], np.empty(last, np.uint64)))
            self._values[first:last] = fresh
            self._numbers = np.insert(self._numbers, at[~known], np.arange(first, last, dtype=np.uint64))
            self._sorted = np.insert(self._sorted, at[~known], fresh)
            at = np.searchsorted(self._sorted, distinct)
        numbers: Words = self._numbers[at][back]
        return numbers

    def known(self, values: Words) -> tuple[Words, Flags]:
        """The number of each value and whether it has one; the number of one that has none means nothing."""
        at = np.searchsorted(self._sorted, values)
        there = _found(self._sorted, values, at)
        numbers = np.zeros(len(values), np.uint64)
        numbers[there] = self._numbers[at[there]]
        return numbers, there

    def values(self, numbers: Words) -> Words:
        """The values that have these numbers."""
        found: Words = self._values[numbers]
        return found


class Keys:
    """One integer for each state of a layout: its word, or the number of the other words beside that of the last."""

    def __init__(self, layout: Layout) -> None:
        self.words = layout.words
        self.parts = [Numbering() for _ in range(layout.words)] if layout.words > 1 else []
        self.pairs = [Numbering() for _ in range(layout.words - 2)]

    @property
    def held_bytes(self) -> int:
        """What the numberings take."""
        return sum(numbering.held_bytes for numbering in (*self.parts, *self.pairs))

    def encode(self, words: Sequence[Words]) -> Words:
        """The keys of states given by their words; what is new gets numbers."""
        if self.words == 1:
            return words[0]
        return self.join([part.number(word) for part, word in zip(self.parts, words, strict=True)])

    def join(self, numbers: Sequence[Words]) -> Words:
        """The keys of states given by the numbers of their words."""
        key = (numbers[0] << HALF) | numbers[1]
        for pair, last in zip(self.pairs, numbers[2:], strict=True):
            key = (pair.number(key) << HALF) | last
        return key

    def known(self, words: Sequence[Words]) -> tuple[Words, Flags]:
        """The keys of those states that have one, and which these are; numbers nothing."""
        if self.words == 1:
            return words[0], np.ones(len(words[0]), np.bool_)
        key, there = self.parts[0].known(words[0])
        for at in range(1, self.words):
            if at > 1:
                key, seen = self.pairs[at - 2].known(key)
                there &= seen
            last, seen = self.parts[at].known(words[at])
            there &= seen
            key = (key << HALF) | last
        return key, there

    def numbers(self, keys: Words) -> list[Words]:
        """The number of each word, per key; only where there are several words."""
        found = []
        for pair in reversed(self.pairs):
            found.append(keys & LOW)
            keys = pair.values(keys >> HALF)
        found += [keys & LOW, keys >> HALF]
        return found[::-1]

    def decode(self, keys: Words) -> list[Words]:
        """The words of the states that have these keys."""
        if self.words == 1:
            return [keys]
        return [part.values(numbers) for part, numbers in zip(self.parts, self.numbers(keys), strict=True)]


def is_in(run: Words, values: Words) -> Flags:
    """Which values are in the sorted run; fast where the values are sorted as well."""
    return _found(run, values, np.searchsorted(run, values))


def _found(run: Words, values: Words, at: NDArray[np.intp]) -> Flags:
    if not len(run):
        return np.zeros(len(values), np.bool_)
    found: Flags = run[np.minimum(at, len(run) - 1)] == values
    return found


def compile_truths(layout: Layout, exprs: Sequence[Expr]) -> Callable[[Sequence[Words]], Iterator[tuple[int, Any]]]:
    """`truths(words)`: per expression that is not always false (its place, an array of truth values, or True).

    Given in order.  The arrays may be one and the same for two expressions: they must not be written to.
    """
    lines = _Lines(layout)
    lines.weigh(exprs)
    for at, expr in enumerate(exprs):
        name = lines.name_of(expr)
        if name != "False":
            lines.give(at, name)
    scope: dict[str, Any] = {"uint8": np.uint8}
    # The source is made of integers, operators and names of our own: no name or value of the machine gets into it.
    exec("\n".join(lines.source()), scope)  # noqa: S102
    made: Callable[[Sequence[Words]], Iterator[tuple[int, Any]]] = scope["truths"]
    return made


class _Lines(StraightLine):
    """One array per distinct part of the expressions."""

    def __init__(self, layout: Layout) -> None:
        super().__init__(layout.machine)
        self.layout = layout
        self._facts: Counter[str] = Counter()

    def weigh(self, exprs: Iterable[Expr]) -> frozenset[Is]:
        """Counts how many facts speak of each variable, too."""
        facts = super().weigh(exprs)
        self._facts.update(fact.variable for fact in facts)
        return facts

    def fact(self, fact: Is) -> str:
        word, shift, mask = self.layout.fields[fact.variable]
        place = self.layout.place(fact.variable, fact.value)
        if mask == 0:
            return "True"
        if mask == 1:
            one = self.line((fact.variable,), f"(w{word} & {1 << shift}) != 0", ())
            return one if place else self.line(("~", one), f"~{one}", (one,))
        if self._facts[fact.variable] == 1 or mask > 255:
            return self.line(fact, f"(w{word} & {mask << shift}) == {place << shift}", ())
        # bytes compare many times faster than words, so a field with several facts is taken out once
        field = self.line((fact.variable,), f"((w{word} >> {shift}) & {mask}).astype(uint8)", ())
        return self.line(fact, f"{field} == {place}", (field,))

    def source(self) -> Iterator[str]:
        """The text of a generator function."""
        yield "def truths(words):"
        yield f" {''.join(f'w{at}, ' for at in range(self.layout.words))} = words"
        yield " if False: yield"
        yield from self.body()
