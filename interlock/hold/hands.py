"""Whose hands a run ties down: controls that spring back take one for as long as they are held."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import Verb
from interlock.hold.language.model import Person
from interlock.hold.origin import Condition, Work
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Value, conj, disj

HANDS = 2
"""Of a person; common practice, no source."""


@frozen
class Hands:
    """What is held while it is not at rest, as (variable, resting value), and when there are hands enough for all.

    Somebody holds a control only from where he can reach it.  Where a description says nothing of people there is one.
    """

    held: tuple[tuple[str, Value], ...]
    enough: Expr


def people_for(hands: int) -> int:
    """How many people have so many hands, at least."""
    return -(-hands // HANDS)


def hands_of(compiled: CompiledHold) -> Hands:
    """The controls of the hold that spring back, and the people who can hold them."""
    rests: dict[Condition, Value] = {}
    for origin in compiled.origins.rules.values():
        deed = origin.deed
        if isinstance(deed, Work) and deed.trigger.verb is Verb.RELEASE:
            rests[deed.of] = deed.dest
    people = compiled.hold.people
    # more than all of them can hold is too much already
    most = HANDS * max(1, len(people)) + 1
    controls = sorted(rests, key=lambda one: one.name)
    sets = (chosen for size in range(1, most + 1) for chosen in combinations(controls, size))
    enough = conj(*(disj(_at_rest(chosen, rests), _manned(compiled, chosen)) for chosen in sets))
    return Hands(tuple((one.name, rests[one]) for one in controls), enough)


def _at_rest(chosen: Sequence[Condition], rests: dict[Condition, Value]) -> Expr:
    return disj(*(Is(one.name, rests[one]) for one in chosen))


def _manned(compiled: CompiledHold, chosen: Sequence[Condition]) -> Expr:
    """So many people are where they can reach one of these that there is a hand for each."""
    needed = people_for(len(chosen))
    people = compiled.hold.people
    if not people:
        return TRUE if needed == 1 else FALSE
    near = [disj(*_near(compiled, person, chosen)) for person in people]
    return disj(*(conj(*some) for some in combinations(near, needed)))


def _near(compiled: CompiledHold, person: Person, chosen: Sequence[Condition]) -> Iterator[Expr]:
    places = compiled.hold.places
    at = compiled.world.things[person.id].states
    for control in chosen:
        reaching = [place.id for place in places if control.subject.id in place.reaches]
        yield TRUE if not reaching else disj(*(at[one] for one in reaching if one in person.places))
