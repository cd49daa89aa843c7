"""The rules of a machine where nothing but some failures may strike: what the others would do is folded away.

Most gates depend on no failure at all, and each failure bears on few; so the rules under a set are those without any
failure, changed in these few places.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from interlock.kernel.failures import struck_by
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import LocalRules


class Narrowing:
    """What gates depend on which failures, and what they are without.  Failures are named by their places.

    A *mask* of failures is a number with a bit for each.
    """

    def __init__(self, rules: LocalRules, failures: Sequence[str]) -> None:
        self.rules = rules
        encoding = rules.encoding
        self.literals = [encoding.literals[name, True] for name in failures]
        """Per failure that it has struck."""
        self._supports: dict[int, int] = {literal: 1 << at for at, literal in enumerate(self.literals)}
        place = {name: at for at, name in enumerate(failures)}
        owners = [struck_by(rule, failures) for rule in rules.machine.rules]
        self.owners = [None if owner is None else place[owner] for owner in owners]
        """Per rule the failure that it strikes or heals."""
        self.strikes = frozenset(at for at, owner in enumerate(self.owners) if owner is not None)
        """The rules that strike or heal one."""
        self._bearing: list[list[int]] = [[] for _ in failures]
        """Per failure the rules, none of a failure's, whose guards depend on it."""
        self._striking: list[list[int]] = [[] for _ in failures]
        for at, (guard, owner) in enumerate(zip(rules.guards, self.owners, strict=True)):
            if owner is not None:
                self._striking[owner].append(at)
                continue
            for failure in places_in(self.support(guard)):
                self._bearing[failure].append(at)
        self._without: dict[int, int] = {}
        guards = [
            -TRUTH if owner is not None else self._folded(guard, 0, self._without)
            for guard, owner in zip(rules.guards, self.owners, strict=True)
        ]
        self._nothing_fails = rules.with_guards(guards)

    def support(self, literal: int) -> int:
        """The mask of the failures that a literal depends on."""
        known, parts = self._supports, self.rules.encoding.parts
        stack = [abs(literal)]
        while stack:
            gate = stack[-1]
            own = parts.get(gate, ())
            if unknown := [abs(part) for part in own if abs(part) not in known and abs(part) in parts]:
                stack += unknown
                continue
            stack.pop()
            if gate not in known and own:
                mask = 0
                for part in own:
                    mask |= known.get(abs(part), 0)
                known[gate] = mask
        return known.get(abs(literal), 0)

    def under(self, members: Sequence[int]) -> Narrowed:
        """The rules and gates where only these may strike."""
        allowed = sum(1 << at for at in members)
        folded: dict[int, int] = {}
        changed: dict[int, int] = {}
        for at in sorted({rule for member in members for rule in self._bearing[member]}):
            changed[at] = self._folded(self.rules.guards[at], allowed, folded)
        for rule in sorted({rule for member in members for rule in self._striking[member]}):
            changed[rule] = self._folded(self.rules.guards[rule], allowed, folded)
        rules = self._nothing_fails.with_guards_changed(changed)
        return Narrowed(rules, lambda literal: self._folded(literal, allowed, folded), self.strikes)

    def _folded(self, literal: int, allowed: int, known: dict[int, int]) -> int:
        """The literal with all failures but those allowed false; `known` is of the same set, and grows."""
        encoding = self.rules.encoding
        stack = [abs(literal)]
        while stack:
            gate = stack[-1]
            if gate in known:
                stack.pop()
                continue
            support = self.support(gate)
            if not support & ~allowed:
                known[gate] = gate
            elif gate not in encoding.parts:
                known[gate] = -TRUTH
            elif allowed and not support & allowed:
                known[gate] = self._folded(gate, 0, self._without)
            elif unknown := [abs(part) for part in encoding.parts[gate] if abs(part) not in known]:
                stack += unknown
                continue
            else:
                known[gate] = encoding.all_of(
                    known[abs(part)] if part > 0 else -known[abs(part)] for part in encoding.parts[gate]
                )
            stack.pop()
        return known[abs(literal)] if literal > 0 else -known[abs(literal)]


@dataclass(frozen=True, slots=True)
class Narrowed:
    """What `Narrowing.under` gives: the rules there; `gate` gives what a literal of the encoding is there.

    `strikes` are the numbers of the rules of failures.
    """

    rules: LocalRules
    gate: Callable[[int], int]
    strikes: frozenset[int]


def places_in(mask: int) -> Iterator[int]:
    """The places of the bits that are set, in ascending order."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def mask_of(places: Iterable[int]) -> int:
    """The number with these bits set."""
    mask = 0
    for at in places:
        mask |= 1 << at
    return mask
