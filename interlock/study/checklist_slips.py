"""What a slip in one step of a checklist leads to.

Each step is left out, taken too early (exchanged with the next), done the other way round, or done to another object
of the same kind; the rest of the checklist is then worked as far as it goes, steps that have become impossible being
left out.  The requirements that break on the way say what the slip endangers.  An interlock that does its work leaves
nothing to break: then the slip only shows, by a later step that is not possible or by an end that is not the goal.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from interlock.kernel.evaluator import State
from interlock.study.operating import Course, Deed, Hitch, Operation

FURTHER = 20
"""Steps after the slip that are worked through."""


class SlipKind(StrEnum):
    """How the step went wrong."""

    OMITTED = "left out"
    TOO_LATE = "exchanged with the next step"
    OPPOSITE = "done the other way round"
    OTHER_OBJECT = "done to another one of the same kind"


@dataclass(frozen=True, slots=True)
class Slip:
    """One slip and what it leads to.

    `instead` is the deed done in place of the right one (None: nothing).  `broken` are the ids of requirements that
    break at once or later.  `stops` is how many steps further on the first step is that is no longer possible, or after
    which nothing moves although it should (0: none of those looked at).  `unnoticed`: all further steps are possible
    and yet the end is another.
    """

    kind: SlipKind
    instead: Deed | None
    broken: tuple[str, ...]
    stops: int
    unnoticed: bool


def slips_of(
    operation: Operation, start: State, courses: Sequence[Course], later: Sequence[Course], timed: bool
) -> tuple[tuple[Slip, ...], ...]:
    """Per step of a leg the slips that break a requirement, and its omission; `later` are the steps after the leg.

    Nothing is examined where the leg depends on timing.
    """
    if timed:
        return tuple(() for _ in courses)
    loose = operation.loosened()
    pack = operation.packing.pack
    right = [pack(course.before) for course in (*courses, *later)]
    right.append(pack(later[-1].after if later else courses[-1].after if courses else start))
    deeds = [course.deed for course in (*courses, *later)]
    moves = [len(course.rules) > len(course.deed.heads) for course in (*courses, *later)]
    found = []
    for at, course in enumerate(courses):
        rest = deeds[at + 1 :]
        ways: list[tuple[SlipKind, Deed | None, list[Deed], int]] = [(SlipKind.OMITTED, None, [], at + 1)]
        if rest:
            ways.append((SlipKind.TOO_LATE, rest[0], [rest[0], course.deed], at + 2))
        ways += [(kind, deed, [deed], at + 1) for kind, deed in _confusions(loose, right[at], course.deed)]
        slips = [_work(loose, right, deeds, moves, at, *way) for way in ways]
        found.append(tuple(slip for slip in slips if slip.broken or slip.kind is SlipKind.OMITTED))
    return tuple(found)


def _work(
    loose: Operation,
    right: Sequence[int],
    deeds: Sequence[Deed],
    moves: Sequence[bool],
    at: int,
    kind: SlipKind,
    instead: Deed | None,
    first: Sequence[Deed],
    resume: int,
) -> Slip:
    """Does `first` in the place of deed `at`, then the right deeds from `resume` on, until all is as it should be."""
    broken: dict[str, None] = {}
    stops = 0
    packed = right[at]
    for deed in first:
        after = loose.outcome(packed, deed)
        if not isinstance(after, Hitch):
            broken.update(dict.fromkeys(loose.broken_by(packed, deed)))
            packed = after
    place = resume
    for place in range(resume, min(len(deeds), resume + FURTHER)):
        if packed == right[place]:
            return Slip(kind, instead, tuple(broken), stops, False)
        after = loose.outcome(packed, deeds[place])
        if isinstance(after, Hitch):
            stops = stops or place - at
            continue
        if moves[place] and not loose.moves_something(packed, deeds[place]):
            # whoever holds the lever waits in vain
            stops = stops or place - at
        broken.update(dict.fromkeys(loose.broken_by(packed, deeds[place])))
        packed = after
    whole = resume + FURTHER >= len(deeds)
    return Slip(kind, instead, tuple(broken), stops, not stops and whole and packed != right[-1])


def _confusions(loose: Operation, packed: int, deed: Deed) -> Iterator[tuple[SlipKind, Deed]]:
    """Other deeds that the crew could take for the right one, as far as they are possible: by the shape of the name."""
    path, _, verb = deed.heads[0].rpartition(".")
    sort = path.split(".")[0]
    if sort not in ("control", "device"):
        return
    for other in loose.choices(packed):
        if other == deed:
            continue
        other_path, _, other_verb = other.heads[0].rpartition(".")
        if other_path == path and other_verb != verb:
            yield SlipKind.OPPOSITE, other
        elif other_path.split(".")[0] == sort and other_verb == verb:
            yield SlipKind.OTHER_OBJECT, other
