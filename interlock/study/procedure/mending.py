"""What could be otherwise in a procedure that goes wrong, so that it goes right: tried, not deduced.

A mend is the procedure with one thing otherwise: a lever let go, an action later, done to another thing or the other
way, somebody out of the way for a while, one more thing done, or an action left out.  All mends are followed at once,
as slips are: what comes after a place does not depend on how it was come by.  No check is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import chain

from interlock.hold.origin import Condition, Go, Sort, Subject, Work
from interlock.hold.procedure.binding import Bound, BoundProcedure, Manner, bind_action
from interlock.kernel.expressions import FALSE, TRUE, Expr
from interlock.kernel.machine import Actor, Machine, Rule, support_of
from interlock.prove.core.packing import bits_of
from interlock.prove.engine import Clock, OutOfTime
from interlock.study.procedure.graph import Course, procedure_graph
from interlock.study.procedure.interleavings import Hazard, InterleavingSearch, TooMuch
from interlock.study.procedure.slips import other_things, other_ways

MOST_ALIKE = 400
"""Mends of one sort that are tried in one audit, those of actions nearest to what goes wrong."""
MOST_PLACES = 150_000
"""Places that are followed for all of them."""
FARTHEST = 8
"""An action is tried so many actions later at most; something missing, twice as many before what goes wrong."""
MOST_TOLD = 3
"""Mends that are told."""


class Wrong(StrEnum):
    """What is wrong with an action (`{}`), likeliest first where several mends do equally well."""

    NEVER_LET_GO = "{} is never let go"
    TOO_EARLY = "{} comes too early"
    OTHER_THING = "{} is done to the wrong thing"
    OTHER_WAY = "{} goes the wrong way"
    IN_THE_WAY = "{} is done with somebody in the way"
    MISSING = "before {} something is missing"
    NEEDLESS = "{} is not wanted here"


@dataclass(frozen=True, slots=True)
class Mend:
    """One thing otherwise at the action numbered `action` (from 0); `instead` says what to do.

    Of mends that are about the same, one is enough.
    """

    action: int
    wrong: Wrong
    instead: str
    course: Course
    about: int | str


def mends_of(bound: BoundProcedure, last: int, wanted: Sequence[Expr]) -> tuple[Mend, ...]:
    """What can be tried of the actions up to number `last` (from 0), likeliest first, nearest to the last first.

    `wanted` is what should be so and is not: only what bears on it, and levers, is tried.
    """
    machine = bound.compiled.machine
    bearing = _bearing(machine, wanted)
    written = {rule.name: {target for target, _ in rule.update} for rule in machine.rules}
    missing = [rule for rule in machine.rules if _by_hand(bound, rule) and not bearing.isdisjoint(written[rule.name])]
    ways = _ways_out(bound, (name for name, targets in written.items() if not bearing.isdisjoint(targets)))

    def bears(mend: Mend) -> bool:
        """What is done instead bears on what is wanted; or what is done now, where nothing is."""
        doing = [one for _, one in mend.course.instead] or [bound.actions[mend.action]]
        return any(not bearing.isdisjoint(written[name]) for one in doing for name in one.rules)

    found: list[Mend] = []
    for at in range(min(last, len(bound.actions) - 1), -1, -1):
        found += _letting_go(bound, at, last)
        found += (one for one in _of_action(bound, at) if bears(one))
        found += _later(bound, at)
        if last - at < 2 * FARTHEST:
            found += (_before(bound, at, rule) for rule in missing)
            found += (one for out, back in ways for one in _away(bound, at, out, back))
    return tuple(chain.from_iterable([one for one in found if one.wrong is wrong][:MOST_ALIKE] for wrong in Wrong))


def _bearing(machine: Machine, wanted: Sequence[Expr]) -> frozenset[str]:
    """The variables on which it depends, and those on which it depends that the equipment makes it so."""
    directly = frozenset().union(*(support_of(machine, expr) for expr in wanted))
    found = directly
    for rule in machine.rules:
        if rule.actor is not Actor.CREW and any(target in directly for target, _ in rule.update):
            found |= support_of(machine, rule.guard)
    return found


def _by_hand(bound: BoundProcedure, rule: Rule) -> bool:
    """Whether it is a hand on a device, or on a control that stays where it is put."""
    match bound.compiled.origins.deed_of(rule.name):
        case Work(Condition(Subject(sort))):
            return rule.actor is Actor.CREW and sort in (Sort.DEVICE, Sort.CONTROL)
    return False


def _ways_out(bound: BoundProcedure, rules: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Pairs among the rules by which somebody goes to another place, and back."""
    going = {deed: name for name in rules if isinstance(deed := bound.compiled.origins.deed_of(name), Go)}
    pairs = ((name, going.get(Go(deed.person, deed.dest, deed.source))) for deed, name in going.items())
    return tuple((out, back) for out, back in pairs if back is not None)


def _added(bound: BoundProcedure, at: int, rule: str) -> Bound:
    said = bound.compiled.glossary.rules[rule].text
    return Bound(replace(bound.actions[at].action, text=said), Manner.ONCE, (rule,), (), FALSE, TRUE)


def _before(bound: BoundProcedure, at: int, rule: Rule) -> Mend:
    """One more thing done before the action."""
    added = _added(bound, at, rule.name)
    course = Course(at, ((at, added), (at, bound.actions[at])), at + 1)
    said = added.action.text
    return Mend(at, Wrong.MISSING, f"{said} before action {at + 1}", course, said)


def _away(bound: BoundProcedure, at: int, out: str, back: str) -> Iterator[Mend]:
    """Somebody goes elsewhere before the action, and comes back before a later one."""
    there = _added(bound, at, out)
    for end in range(at + 1, min(at + FARTHEST, len(bound.actions) - 1) + 1):
        between = tuple((place, bound.actions[place]) for place in range(at, end))
        again = _added(bound, end, back)
        said = f"{there.action.text} before action {at + 1}; {again.action.text} before action {end + 1}"
        course = Course(at, ((at, there), *between, (end, again), (end, bound.actions[end])), end + 1)
        yield Mend(at, Wrong.IN_THE_WAY, said, course, f"{out}, {back}")


def _letting_go(bound: BoundProcedure, at: int, last: int) -> Iterator[Mend]:
    """A lever that is held and never released: it is let go before a later action."""
    here = bound.actions[at]
    action = here.action
    if action.verb not in ("hold", "press") or here.manner is not Manner.ONCE or action.subject is None:
        return
    later = [one.action for one in bound.actions[at + 1 :]]
    if any(one.verb in ("release", "hold", "press") and one.subject == action.subject for one in later):
        return
    text = f"release {'.'.join(action.subject.parts)}"
    release = bind_action(replace(action, verb="release", to=None, condition=None, text=text), bound.compiled)
    if release is None:
        return
    for place in range(at + 1, min(last, len(bound.actions) - 1) + 1):
        course = Course(place, ((at, release), (place, bound.actions[place])), place + 1)
        yield Mend(at, Wrong.NEVER_LET_GO, f"{text} before action {place + 1}", course, at)


def _later(bound: BoundProcedure, at: int) -> Iterator[Mend]:
    """The action, or check, done after a later one."""
    here = bound.actions[at]
    if here.manner is Manner.WAIT or here.action.verb in ("bring", "take_away"):
        return
    for end in range(at + 1, min(at + FARTHEST, len(bound.actions) - 1) + 1):
        between = tuple((place, bound.actions[place]) for place in range(at + 1, end + 1))
        course = Course(at, (*between, (at, here)), end + 1)
        yield Mend(at, Wrong.TOO_EARLY, f"do it after action {end + 1}", course, at)


def _of_action(bound: BoundProcedure, at: int) -> Iterator[Mend]:
    """The action done to another thing, the other way, or left out."""
    here = bound.actions[at]
    for wrong, others in ((Wrong.OTHER_THING, other_things), (Wrong.OTHER_WAY, other_ways)):
        for other in others(here, bound.compiled):
            yield Mend(at, wrong, f"{other.action.text} instead", Course(at, ((at, other),), at + 1), at)
    yield Mend(at, Wrong.NEEDLESS, "leave it out", Course(at, (), at + 1), at)


@dataclass(frozen=True, slots=True)
class Tried:
    """A mend that does some good; `restores`: with it nothing is wrong any more, supplies steady."""

    mend: Mend
    restores: bool


def mends_that_do(
    bound: BoundProcedure, hazards: Sequence[Hazard], mends: Sequence[Mend], clock: Clock
) -> tuple[Tried, ...]:
    """The best mend of each action that sets all of it right, or where none does, that leaves least wrong.

    Likeliest first; none where the time, or the number of places, does not suffice.
    """
    graph = procedure_graph(bound, (), [mend.course for mend in mends])
    search = InterleavingSearch(graph, hazards, clock, lost=False, most_nodes=MOST_PLACES)
    made: dict[int, dict[int, int]] = {}
    try:
        search.begin()
        rightly = search.explore()
        for node in rightly:
            for move, dest, _ in search.slips_from(node):
                place = graph.moves[move].slip
                assert place is not None  # noqa: S101 -- only moves onto courses are among these
                made.setdefault(place, {})[node] = dest
        search.explore()
    except (OutOfTime, TooMuch):
        return ()
    wrong = search.every_hazard | (search.good - 1) | search.bad
    before: dict[int, int] = {}
    for node in rightly:
        action = graph.points[search.point[node]].action
        before[action] = before.get(action, 0) | search.marks[node] & wrong
    usual = _grave(search, search.outcome_of(search.first) & wrong)
    rated: list[tuple[tuple[int, ...], int, Tried]] = []
    for place, ways in made.items():
        mend = mends[place]
        left = search.outcome_of(ways.values()) & wrong
        for action, marks in before.items():
            left |= marks if action < mend.course.action else 0
        rating = _grave(search, left)
        # what only comes to a stand sooner, or misses the goal, breaks less by doing less
        if rating < usual and all(now <= then for now, then in zip(rating, usual, strict=True)):
            rated.append((rating, place, Tried(mend, not left)))
    best: dict[int | str, Tried] = {}
    rated.sort(key=lambda one: one[:2])
    for rating, _, tried in rated:
        if rating == rated[0][0]:
            best.setdefault(tried.mend.about, tried)
    return tuple(best.values())[:MOST_TOLD]


def _grave(search: InterleavingSearch, outcome: int) -> tuple[int, ...]:
    """How bad: hazards, then how early it comes to a stand, then whether the goal is missed; less is better."""
    stands = [search.graph.points[at].action for at in bits_of((outcome & (search.good - 1)) >> search.stands)]
    number = len(search.graph.bound.actions)
    return (outcome & search.every_hazard).bit_count(), number - min(stands, default=number), bool(outcome & search.bad)
