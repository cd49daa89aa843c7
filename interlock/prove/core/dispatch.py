"""Very many rules over packed states: those that may fire are found by what the state has, not by asking each.

Rules that ask for a value of a variable are sorted by that value, again and again, until few are left together; how is
worked out where states come to, and not before.  A rule that asks for no value of its own is asked in every state.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.kernel.expressions import TRUE, Expr, Is, conj
from interlock.prove.core.packing import Packing, compile_hits, conjuncts
from interlock.prove.engine import Clock

FEW = 8
"""So many rules are asked one after the other."""
MOST_LEVELS = 64
"""Where no variable spares this part of the rules, they are asked one after the other, too."""
LOOK_EVERY = 1_024
"""Rules between two looks at the clock."""

Test: TypeAlias = Callable[[Sequence[int]], Any]


@dataclass(slots=True)
class _Rest:
    """What a guard says beside values of variables, with the test for it once that was needed."""

    expr: Expr
    test: Test | None = None


@frozen
class _Asked:
    """A rule: may fire where `state & mask == bits` and `rest` is true; the state after is `state & keep | put`."""

    facts: dict[str, Is]
    mask: int
    bits: int
    rest: _Rest | None
    keep: int
    put: int


@dataclass(slots=True)
class _Branch:
    """Rules that may fire in states that come here: `few` are asked, the rest is sorted once somebody comes."""

    rules: Sequence[_Asked]
    decided: frozenset[str]
    few: Sequence[_Asked] = ()
    shift: int = 0
    mask: int = 0
    by_place: dict[int, _Branch] = field(default_factory=dict)
    others: _Branch | None = None
    is_sorted: bool = False


def _one_of(rests: dict[Expr, _Rest], expr: Expr) -> _Rest | None:
    return None if expr == TRUE else rests.setdefault(expr, _Rest(expr))


class Dispatch:
    """The same as what `compile_expand` makes, for thousands of rules.  To make it raises OutOfTime."""

    def __init__(self, packing: Packing, counting: bool, clock: Clock) -> None:
        self.packing = packing
        self.counting = counting
        rests: dict[Expr, _Rest] = {}
        asked = []
        for at, rule in enumerate(packing.machine.rules):
            if at % LOOK_EVERY == 0:
                clock.check()
            facts: dict[str, Is] = {}
            rest = []
            mask = bits = 0
            for part in conjuncts(rule.guard):
                if isinstance(part, Is) and part.variable not in facts:
                    facts[part.variable] = part
                    own_mask, own_bits = packing.fact(part.variable, part.value)
                    mask, bits = mask | own_mask, bits | own_bits
                else:
                    rest.append(part)
            keep, put = packing.writes(rule)
            if keep != -1 or counting:
                asked.append(_Asked(facts, mask, bits, _one_of(rests, conj(*rest)), keep, put))
        self._root = _Branch(asked, frozenset())

    def __call__(
        self, frontier: Sequence[int], parents: dict[int, int], fresh: Callable[[int], None]
    ) -> tuple[int, int]:
        steps = dead = 0
        for state in frontier:
            fired = 0
            pending = [self._root]
            while pending:
                branch = pending.pop()
                if not branch.is_sorted:
                    self._sort(branch)
                for rule in branch.few:
                    if state & rule.mask == rule.bits and (rule.rest is None or self._test(rule.rest)((state,))):
                        fired += 1
                        after = state & rule.keep | rule.put
                        if after not in parents:
                            parents[after] = state
                            fresh(after)
                if branch.by_place:
                    below = branch.by_place.get((state >> branch.shift) & branch.mask)
                    if below is not None:
                        pending.append(below)
                    if branch.others is not None:
                        pending.append(branch.others)
            if self.counting:
                steps += fired
                dead += not fired
        return steps, dead

    def _test(self, rest: _Rest) -> Test:
        if rest.test is None:
            # only now: in few states most rules are told apart without
            rest.test = compile_hits(self.packing, {0: rest.expr})
        return rest.test

    def _sort(self, branch: _Branch) -> None:
        """By the value of the variable that most rules ask for, and these for different values."""
        branch.is_sorted = True
        kinds: dict[str, Counter[object]] = {}
        for rule in branch.rules if len(branch.rules) > FEW else ():
            for name, fact in rule.facts.items():
                if name not in branch.decided:
                    kinds.setdefault(name, Counter())[fact.value] += 1
        # how many rules a state is spared, where it has any value as likely as another
        spared = {name: seen.total() - max(seen.values()) for name, seen in kinds.items()}
        best = max(spared, key=lambda name: spared[name], default="")
        if not best or spared[best] * MOST_LEVELS < len(branch.rules):
            branch.few = branch.rules
            return
        branch.shift, branch.mask = self.packing.field(best)
        decided = branch.decided | {best}
        by_place: dict[int, list[_Asked]] = {}
        others = []
        for rule in branch.rules:
            if best in rule.facts:
                place = self.packing.fact(best, rule.facts[best].value)[1] >> branch.shift
                by_place.setdefault(place, []).append(rule)
            else:
                others.append(rule)
        branch.by_place = {place: _Branch(rules, decided) for place, rules in by_place.items()}
        branch.others = _Branch(others, decided) if others else None
