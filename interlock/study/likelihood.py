"""How likely it is that all failures of one set, of any of several sets, have struck.

Taken for granted: each failure strikes at a constant rate and independently of the others, so that within an exposure
of so many hours it has struck with probability 1 - exp(-rate * exposure).  A common cause is a failure of its own.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from math import expm1, prod
from typing import TypeAlias

FailureSet: TypeAlias = frozenset[str]

MOST_CASES = 20_000
"""Cases that are told apart at most, beyond which the probability of any of several sets is not worked out."""


def struck_within(rate: float, exposure: float) -> float:
    """How likely something is to have failed that fails so often an hour, within so many hours."""
    return -expm1(-rate * exposure)


def all_struck(failures: Iterable[str], likely: Mapping[str, float]) -> float:
    """How likely it is that all of these have struck."""
    return prod(likely[one] for one in failures)


@dataclass(frozen=True, slots=True)
class Likelihood:
    """How likely it is that all failures of some of several sets have struck; None where there is no figure.

    It is `at_least` so likely where sets are left out, of which `without` lack a figure themselves.  Where it is too
    much to work out, the largest sets are left out, or there is none.
    """

    probability: float | None
    at_least: bool
    without: int
    is_too_much: bool = False


def likelihood_of(sets: Collection[FailureSet], likely: Mapping[str, float], are_all: bool) -> Likelihood:
    """That of these sets; `are_all`: it is known that there are no others.

    What has no probability given is never taken to be impossible.  Nothing is worked out where nothing has to fail.
    """
    smallest = _smallest(sets)
    known = [one for one in smallest if one and one <= likely.keys()]
    without = len(smallest) - len(known)
    probability, taken = None, known
    for most in sorted({len(one) for one in known}, reverse=True):
        taken = [one for one in known if len(one) <= most]
        probability = any_set_struck(taken, likely)
        if probability is not None:
            break
    is_too_much = bool(known) and (probability is None or len(taken) < len(known))
    at_least = probability is not None and (without > 0 or is_too_much or not are_all)
    return Likelihood(probability, at_least, without, is_too_much)


def any_set_struck(sets: Collection[FailureSet], likely: Mapping[str, float], most: int = MOST_CASES) -> float | None:
    """How likely it is that all failures of some set have struck, exactly; None where more than `most` cases arise.

    One failure after the other is taken as struck or not, and cases in which the same sets are left, with the same
    failures to come, are one: a decision diagram of the sets (Rauzy, Reliability Engineering and System Safety 40,
    1993, from memory), level by level from the top, of which one level is kept.  Probabilities are only added and
    multiplied, so small ones keep their digits.
    """
    cases: dict[frozenset[FailureSet], float] = {_smallest(sets): 1.0}
    if not all(sets):
        return 1.0
    told, reached = 0, 0.0
    for failure in _order(sets):
        below: dict[frozenset[FailureSet], float] = {}
        for left, probability in cases.items():
            touched = frozenset(one for one in left if failure in one)
            others = left - touched
            if touched == {frozenset({failure})}:
                reached += probability * likely[failure]
            else:
                # of sets within which no other is these are again such sets, but for others that one of them is within
                shrunk = frozenset(one - {failure} for one in touched)
                struck = shrunk | {one for one in others if not any(small <= one for small in shrunk)}
                below[struck] = below.get(struck, 0.0) + probability * likely[failure]
            below[others] = below.get(others, 0.0) + probability * (1 - likely[failure])
        told += len(below)
        if told > most:
            return None
        cases = below
    return reached


def _smallest(sets: Iterable[FailureSet]) -> frozenset[FailureSet]:
    """Those within which no other is."""
    found: list[FailureSet] = []
    for one in sorted(set(sets), key=len):
        if not any(other <= one for other in found):
            found.append(one)
    return frozenset(found)


def _order(sets: Collection[FailureSet]) -> list[str]:
    """Next comes what completes a set soonest, and of that what is in the most sets: few cases are open at a time."""
    having: dict[str, list[int]] = {}
    for at, some in enumerate(sets):
        for one in some:
            having.setdefault(one, []).append(at)
    missing = [len(some) for some in sets]
    order = []
    left = sorted(having, key=lambda one: (-len(having[one]), one))
    while left:
        following = min(left, key=lambda one: min(missing[at] for at in having[one]))
        left.remove(following)
        order.append(following)
        for at in having[following]:
            missing[at] -= 1
    return order
