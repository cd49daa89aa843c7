"""Which options can be fitted together, and sets of such choices.

A configuration is the set of the options that are fitted.  Of n options, configuration c has option i where bit i of
the number c is set; a set of configurations is a number too, in which bit c stands for configuration c.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, product
from random import Random

from interlock.hold.language.model import Hold, Option

MOST_OPTIONS = 16
"""More are not taken: sets of configurations would no longer fit well into memory."""


class TooManyOptions(ValueError):
    """More than can be followed together; the message says how many."""


@dataclass(frozen=True)
class Space:
    """The configurations of some options; `excludes` and `needs` are of the description.

    Options that are fitted for good are none of `options`; their rules count all the same.
    """

    options: tuple[str, ...]
    rules: tuple[Option, ...] = field(repr=False)
    for_good: frozenset[str] = frozenset()

    @cached_property
    def everything(self) -> int:
        """The set of all configurations, allowed or not."""
        return (1 << (1 << len(self.options))) - 1

    @cached_property
    def having(self) -> Mapping[str, int]:
        """For each option the set of the configurations that have it."""
        found = {}
        for at, option in enumerate(self.options):
            block, size = ((1 << (1 << at)) - 1) << (1 << at), 2 << at
            while size < 1 << len(self.options):
                block |= block << size
                size *= 2
            found[option] = block
        return found

    @cached_property
    def allowed(self) -> int:
        """The set of the configurations that the description allows."""
        found = self.everything
        for option in self.rules:
            for other in option.excludes:
                found &= ~(self._having(option.id) & self._having(other))
            for other in option.needs:
                found &= ~self._having(option.id) | self._having(other)
        return found & self.everything

    def _having(self, option: str) -> int:
        return self.having.get(option, self.everything if option in self.for_good else 0)

    def number(self, fitted: frozenset[str]) -> int:
        """The configuration as a number."""
        return sum(1 << at for at, option in enumerate(self.options) if option in fitted)

    def fitted(self, number: int) -> frozenset[str]:
        """The options of a configuration."""
        return frozenset(option for at, option in enumerate(self.options) if number >> at & 1)

    def alone(self, fitted: frozenset[str]) -> int:
        """The set of this one configuration."""
        return 1 << self.number(fitted)

    def allows(self, fitted: frozenset[str]) -> bool:
        """The description allows it."""
        return bool(self.allowed & self.alone(fitted))

    def each(self, some: int) -> Iterator[frozenset[str]]:
        """Those of a set, those with the fewest options first."""
        numbers = [at for at, bit in enumerate(reversed(f"{some:b}")) if bit == "1"]
        for number in sorted(numbers, key=lambda one: (one.bit_count(), one)):
            yield self.fitted(number)

    def with_needs(self, fitted: frozenset[str]) -> frozenset[str]:
        """With what those options need, and what these need."""
        needs = {option.id: set(option.needs) - self.for_good for option in self.rules}
        found, waiting = set(fitted), list(fitted)
        while waiting:
            more = [other for other in needs[waiting.pop()] if other not in found]
            found.update(more)
            waiting += more
        return frozenset(found)


@dataclass(frozen=True, slots=True)
class Term:
    """Some configurations: all in which everything of `fitted` and nothing of `without` is fitted."""

    fitted: tuple[str, ...]
    without: tuple[str, ...]

    def of(self, space: Space) -> int:
        """The set of them, allowed or not."""
        found = space.everything
        for option in self.fitted:
            found &= space.having[option]
        for option in self.without:
            found &= ~space.having[option]
        return found


def terms_of(space: Space, some: int, beside: int) -> tuple[Term, ...]:
    """Terms that have all of these configurations, and others only of those `beside`; each as short as it can be.

    Those with the fewest options fitted come first.
    """
    found: list[Term] = []
    left, wrong = some, space.everything & ~(some | beside)
    while left:
        first = next(space.each(left))
        term = Term(
            tuple(option for option in space.options if option in first),
            tuple(option for option in space.options if option not in first),
        )
        for option in (*reversed(term.without), *reversed(term.fitted)):
            shorter = Term(_but(term.fitted, option), _but(term.without, option))
            if not shorter.of(space) & wrong:
                term = shorter
        found.append(term)
        left &= ~term.of(space)
    return tuple(sorted(found, key=lambda one: (len(one.fitted), len(one.without), one.fitted, one.without)))


def _but(options: tuple[str, ...], one: str) -> tuple[str, ...]:
    return tuple(other for other in options if other != one)


def space_of(hold: Hold) -> Space:
    """The configurations of what may be fitted to a hold beside what is.  Raises TooManyOptions."""
    options = tuple(option.id for option in hold.options if option.id not in hold.fitted)
    if len(options) > MOST_OPTIONS:
        raise TooManyOptions(f"it has {len(options)} options, and no more than {MOST_OPTIONS} are followed together")
    return Space(options, hold.options, frozenset(hold.fitted))


def looked_at(space: Space, more: int, seed: int = 0) -> Iterator[frozenset[str]]:
    """Allowed configurations that tell most of what options do, each once: none, single ones, all that go together.

    Then others until whatever three options can be, fitted or not, is so in one of them, and `more` by lot.
    """
    seen: set[frozenset[str]] = set()
    for one in _telling(space, more, Random(seed)):  # noqa: S311
        if one not in seen and space.allows(one):
            seen.add(one)
            yield one


def _telling(space: Space, more: int, lot: Random) -> Iterator[frozenset[str]]:
    first = [frozenset[str](), *(space.with_needs(frozenset([option])) for option in space.options)]
    first += [_most(space, order) for order in (space.options, tuple(reversed(space.options)))]
    yield from first
    yield from _beside(space, first)
    for _ in range(more):
        mixed = list(space.options)
        lot.shuffle(mixed)
        yield _most(space, mixed[: lot.randint(0, len(mixed))])


def _beside(space: Space, seen: Sequence[frozenset[str]], together: int = 3) -> Iterator[frozenset[str]]:
    """Few configurations so that with those `seen` every allowed choice of so many options is in one of them."""
    sets = {(option, True): space.having[option] for option in space.options}
    sets |= {(option, False): space.everything & ~space.having[option] for option in space.options}
    shown = sum(space.alone(one) for one in set(seen))
    left: dict[frozenset[tuple[str, bool]], int] = {}
    for options in combinations(space.options, min(together, len(space.options))):
        for choice in product(*(((option, False), (option, True)) for option in options)):
            some = space.allowed
            for one in choice:
                some &= sets[one]
            if some and not some & shown:
                left[frozenset(choice)] = some
    while left:
        # begun with what is still to be seen, and then, option by option, as most of that can still be
        chosen, some = next(iter(left.items()))
        for option in space.options:
            if any(known == option for known, _ in chosen):
                continue
            ways = [one for one in ((option, False), (option, True)) if some & sets[one]]
            best = max(ways, key=lambda one: sum(1 for there in left.values() if there & some & sets[one]))
            some &= sets[best]
        yield next(space.each(some))
        left = {choice: there for choice, there in left.items() if not there & some}


def _most(space: Space, order: Sequence[str]) -> frozenset[str]:
    """As many of these as go together, taken in this order."""
    found: frozenset[str] = frozenset()
    for option in order:
        with_it = space.with_needs(found | {option})
        if space.allows(with_it):
            found = with_it
    return found
