"""Making a functional test: few steps in which each failure that people can be shown is shown for certain.

One failure after the other is taken that nothing shows yet.  A state of the sound hold is planned for in which what
people see, or can do, would be otherwise with it; where there is none, one in which what the failure bears on would be,
and from there all that people can do is tried for a few steps, with the failure and without.  What else shows on the
way counts as well; what shows nothing new is not kept.
"""

from __future__ import annotations

from collections.abc import Collection, Container, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field
from functools import cached_property

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.origin import Arrive, Bring, Depart, Precedence, TakeAway
from interlock.kernel.claims import Limits, Progress, ProgressCallback, silent
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import FALSE, Expr, Is, conj, disj
from interlock.kernel.machine import Actor
from interlock.prove.core.packing import bits_of
from interlock.prove.engine import NO_LIMITS, Clock, clock_of
from interlock.prove.search.best_first import best_first
from interlock.prove.search.delete_relaxation import DeleteRelaxation, RelaxedGoal
from interlock.study.checklist.operating import Refusal
from interlock.study.checklist.planning import moving
from interlock.study.functional_test.altered import Altered, Expressions
from interlock.study.functional_test.bench import Bench, SoundStep
from interlock.study.functional_test.reach import Reach

NAME = "functional test"
MOST_EXPANDED = 150
"""States at rest that a plan for one failure may look beyond."""
MOST_WITH_UNITS = 600
"""The same where units may be brought in: they have a long way."""
MOST_BACK = 1_500
"""The same for the way back to where the test began."""
FEW = 8
"""So few failures are followed whether they make a difference or not: to ask takes longer."""
MOST_TRIED = 60
"""States from which steps are tried where no plan shows a failure at once."""
APART = 12
"""Two steps are left out together where they are less than so far apart."""
DEEPEST = 4
"""Steps that are tried one after the other then."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One step, numbered from 1; 0 is looking at the hold before anything is done.

    `head` is the deed, None for looking only; an `attempt` must fail.  `expected` has, by place among the observables,
    what must be seen then; `changes` are the places of what comes to be otherwise on the sound hold.  `shows` are the
    failures that show here for certain at the latest: the step cannot be made, or the attempt succeeds (`refused`), or
    something expected is not seen.  `breaks` has the ids of requirements that may break at this step where something
    has failed, each with failures that do so.
    """

    number: int
    head: str | None
    attempt: bool
    before: State
    after: State
    expected: Mapping[int, bool]
    changes: tuple[int, ...]
    shows: tuple[str, ...]
    refused: tuple[str, ...]
    breaks: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class FunctionalTest:
    """A test of a hold; `asked` are the failures that it was to show, `hidden` those that it does not, each with why.

    `back`: the last step leaves the hold as it was found.
    """

    bench: Bench
    asked: tuple[str, ...]
    steps: tuple[Stage, ...]
    hidden: Mapping[str, str]
    back: bool
    cut: str

    @property
    def compiled(self) -> CompiledHold:
        """The hold, with everything in it that may fail."""
        return self.bench.compiled

    @property
    def shown(self) -> Mapping[str, int]:
        """The number of the step at which a failure shows."""
        return {failure: step.number for step in self.steps for failure in step.shows}


UNSTRIKABLE = "it cannot strike in the state in which the test begins"
UNSEEN = "nothing that people can see or do depends on it, as the hold is described"
NEEDS_UNIT = "nothing that people can see or do depends on it while the hold is empty: it needs a unit on board"
NOT_FOUND = "no safe and certain step was found that shows it; that there is none is not shown"
UNTRIED = "there was no time to look for a step that shows it"
IMPOSSIBLE = "no state in which it would show can come about, as the hold is described, from where the test begins"


def make_test(
    compiled: CompiledHold,
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    asked: Collection[str] | None = None,
    units: bool = False,
) -> FunctionalTest | None:
    """A test of the hold, of which `everything_fails` declares what may fail; None where it has no way to begin.

    It begins where the equipment has come to rest by itself, supplies that can be on being on; as described, where that
    depends on timing.  What is broken there is told with the first look.
    `asked` are the failures that matter, where not all do.  With `units` they may be brought in, else the hold stays
    empty.  The same call gives the same test, unless a limit cuts it short.
    """
    bench = Bench(compiled)
    first = bench.operation.start()
    if first is None:
        return None
    settled = bench.operation.loosened().settle(first)
    start = first if isinstance(settled, Refusal) else settled.after
    wanted = tuple(one for one in bench.failures if asked is None or one in set(asked))
    maker = Maker(bench, start, wanted, clock_of(limits), report, units)
    return maker.make()


@dataclass(slots=True)
class _Followed:
    """The failures that nothing has shown yet: where the hold may be with each, None where it was let go.

    One that has made no difference so far (`plain`) is where the sound hold is, but for itself.
    """

    plain: dict[str, None] = field(default_factory=dict)
    apart: dict[str, frozenset[int]] = field(default_factory=dict)
    let_go: dict[str, None] = field(default_factory=dict)

    def only(self, names: Collection[str]) -> _Followed:
        """Those of these names, to be gone on with."""
        return _Followed(
            {name: None for name in names if name in self.plain},
            {name: self.apart[name] for name in names if name in self.apart},
            {name: None for name in names if name in self.let_go},
        )

    def unlike(self, other: _Followed) -> _Followed:
        """Those of which something else is known than in the other one, of the same state of the sound hold."""
        return _Followed(
            {name: None for name in self.plain if name not in other.plain},
            {name: states for name, states in self.apart.items() if other.apart.get(name) != states},
            {name: None for name in self.let_go if name not in other.let_go},
        )

    @property
    def left(self) -> list[str]:
        """All of them."""
        return [*self.plain, *self.apart, *self.let_go]


@dataclass(frozen=True, slots=True)
class _Shown:
    """What a step shows: failures by which it cannot be made, and `shown` in all, those that are seen included.

    `seen` has per failure, for each state in which it is seen, a bit for each observable that differs; `broken` the
    failures with which a requirement, by place, may break.
    """

    refused: tuple[str, ...]
    shown: tuple[str, ...]
    seen: Mapping[str, tuple[int, ...]]
    broken: Mapping[int, tuple[str, ...]]


class Maker:
    def __init__(
        self,
        bench: Bench,
        start: State,
        wanted: Sequence[str],
        clock: Clock,
        report: ProgressCallback,
        units: bool,
    ) -> None:
        self.bench = bench
        self.start = bench.packing.pack(start)
        self.wanted = wanted
        self.clock = clock
        self.report = report
        deeds = bench.compiled.origins.deeds
        of_units = Bring | TakeAway | Depart | Arrive
        self.barred = (
            frozenset() if units else frozenset(head for head in bench.heads if isinstance(deeds[head], of_units))
        )
        written = {
            written
            for rule, head in zip(bench.machine.rules, bench.heads, strict=True)
            if head not in self.barred
            for written, _ in rule.update
        }
        values = zip(bench.asked.variables, start, strict=True)
        self.altered = Altered(bench.asked, {one.name: value for one, value in values if one.name not in written})
        self.unbound = Altered(bench.asked, {})
        guards: dict[str, list[Expr]] = {}
        for rule, head in zip(bench.machine.rules, bench.heads, strict=True):
            if head not in self.barred and rule.actor is Actor.CREW:
                guards.setdefault(head, []).append(rule.guard)
        self._looks = Expressions([one.expr for one in bench.observables])
        self._deeds = Expressions([disj(*some) for some in guards.values()])
        moves = moving(bench.operation, {}, self.barred)
        self._guards = Expressions([bench.machine.rules[at].guard for at in moves])
        self.relaxation = DeleteRelaxation(bench.machine, rules=moves)
        """What people can bring about."""
        self.reach = Reach(self.relaxation, bench.packing.places(self.start))
        self.hidden: dict[str, str] = {}
        self.followed = _Followed()
        self.steps: list[tuple[SoundStep, _Shown]] = []
        self.trail: list[_Followed] = []
        """Per step what was followed before it."""
        self.first: _Shown | None = None
        self.now = self.start

    @cached_property
    def reach_with_units(self) -> Reach:
        """What could be brought about if nothing were barred."""
        return Reach(DeleteRelaxation(self.bench.machine), self.bench.packing.places(self.start))

    def make(self) -> FunctionalTest:
        """Begins, takes one failure after the other, and goes back to where it began."""
        self.first = self.begin()
        tried: set[str] = set()
        while waiting := [name for name in self.followed.left if name not in tried]:
            self.report(Progress(NAME, "showing failures", len(self.wanted) - len(waiting), len(self.wanted)))
            name = waiting[0]
            tried.add(name)
            if self.clock.is_over():
                self.hidden.update({one: UNTRIED for one in waiting if one not in self.hidden})
                break
            self.pursue(name)
        for name in self.followed.left:
            self.hidden.setdefault(name, NOT_FOUND)
        back = self.go_back()
        self.shorten()
        return self.told(back)

    def begin(self) -> _Shown:
        """Every failure strikes; what shows before anything is done."""
        seen: dict[str, tuple[int, ...]] = {}
        broken: dict[int, list[str]] = {}
        for name, passed in self.bench.struck(self.wanted, self.start).items():
            if passed is None or not passed.ends:
                self.hidden[name] = UNSTRIKABLE
                continue
            for at in passed.broken:
                broken.setdefault(at, []).append(name)
            self._sort(name, passed.ends, self.start, self.followed, seen)
        return self._shown([], seen, self.followed, {at: tuple(names) for at, names in sorted(broken.items())})

    def _sort(
        self, name: str, ends: frozenset[int], after: int, followed: _Followed, seen: dict[str, tuple[int, ...]]
    ) -> None:
        """Where the failure is kept from now on, and what shows where it is not."""
        sight = self.bench.sight
        sound = sight(after)
        alike = frozenset(end for end in ends if sight(end) == sound)
        if alike != ends:
            seen[name] = tuple(sight(end) ^ sound for end in sorted(ends - alike))
        if not alike:
            return
        if alike == {after | self.bench.bits[name]}:
            followed.plain[name] = None
        else:
            followed.apart[name] = alike

    def _shown(
        self,
        refused: Sequence[str],
        seen: Mapping[str, tuple[int, ...]],
        followed: _Followed,
        broken: Mapping[int, tuple[str, ...]],
    ) -> _Shown:
        certain = [name for name in seen if name not in followed.apart and name not in followed.plain]
        return _Shown(tuple(refused), (*refused, *certain), seen, broken)

    def shown_by(self, step: SoundStep, followed: _Followed) -> _Shown:
        """What the step shows of the failures followed, which then are where it leads."""
        bench = self.bench
        few = len(followed.plain) <= FEW
        differing = followed.plain if few else bench.differing(step.states)
        refused: list[str] = []
        seen: dict[str, tuple[int, ...]] = {}
        broken: dict[int, list[str]] = {}
        moved = {name: frozenset({step.before | bench.bits[name]}) for name in followed.plain if name in differing}
        moved |= followed.apart
        for name, passed in bench.follow_all(moved, step.head).items():
            followed.plain.pop(name, None)
            followed.apart.pop(name, None)
            if passed is None:
                followed.let_go[name] = None
                continue
            for at in passed.broken:
                broken.setdefault(at, []).append(name)
            ends = passed.ends
            if step.attempt:
                ends = frozenset(state for state in moved[name] if not bench.can(state, step.head))
            if not ends:
                refused.append(name)
            else:
                self._sort(name, ends, step.after, followed, seen)
        return self._shown(refused, seen, followed, {at: tuple(names) for at, names in sorted(broken.items())})

    def append(self, step: SoundStep) -> None:
        """Makes it the next step."""
        self.trail.append(self.followed.only(self.followed.left))
        self.steps.append((step, self.shown_by(step, self.followed)))
        self.now = step.after

    def pursue(self, name: str) -> None:
        """Appends steps that show the failure, where such are found."""
        near = False
        for goal in filter(self.reach.can_be, self.goals(name, self.altered)):
            near = True
            steps = self.planned(goal, MOST_EXPANDED if self.barred else MOST_WITH_UNITS)
            path = None if steps is None else self.tried_from(name, steps)
            if path is not None:
                for step in path:
                    self.append(step)
                return
        self.hidden[name] = NOT_FOUND if near else self.why(name)

    def goals(self, name: str, altered: Altered) -> Iterator[Expr]:
        """States to make for, the most promising first."""
        under = altered.under(name)
        yield from (goal for goal in (under.otherwise(self._looks).at_all,) if goal != FALSE)
        deeds = under.otherwise(self._deeds)
        others = deeds.lost, deeds.gained, under.otherwise(self._guards).at_all
        yield from (goal for goal in others if goal != FALSE)

    def planned(self, goal: Expr, most: int) -> list[SoundStep] | None:
        """Steps from where the test is to the goal; None where none are found."""
        meets = self.bench.operation.test_of(goal)
        if meets(self.now):
            return []

        def successors(state: int, helping: Set[int], met: Container[int]) -> Iterator[tuple[SoundStep, int, bool]]:
            wanted = {self.bench.heads[rule] for rule in helping}
            for step in self.bench.steps(state, self.barred):
                if step.after not in met:
                    yield step, step.after, step.head in wanted

        aim = RelaxedGoal(self.relaxation, self.relaxation.goal(goal))
        return best_first(
            self.bench.packing, self.now, aim, successors, lambda _, __, after: meets(after), most, self.clock
        )

    def tried_from(self, name: str, steps: list[SoundStep]) -> list[SoundStep] | None:
        """The steps and, where they do not show the failure, as few more as do; None where that is not found."""
        followed = self.followed.only((name,))
        for place, step in enumerate(steps):
            shown = self.shown_by(step, followed)
            if name in shown.shown:
                return steps[: place + 1]
        begin = steps[-1].after if steps else self.now
        waiting: list[tuple[int, list[SoundStep], _Followed]] = [(begin, steps, followed)]
        met: set[tuple[int, object]] = set()
        depth = len(steps) + DEEPEST
        for tried, (state, path, before) in enumerate(waiting):
            if tried >= MOST_TRIED or self.clock.is_over() or name in before.let_go:
                break
            if len(path) >= depth:
                continue
            for step in self.possible(name, state, before):
                after = before.only((name,))
                shown = self.shown_by(step, after)
                if name in shown.shown:
                    return [*path, step]
                key = step.after, after.apart.get(name)
                if key not in met:
                    met.add(key)
                    waiting.append((step.after, [*path, step], after))
        return None

    def possible(self, name: str, state: int, followed: _Followed) -> Iterator[SoundStep]:
        """What people can do, and what they can try that works only with the failure there."""
        bench = self.bench
        with_it = followed.apart.get(name, frozenset({state | bench.bits[name]}))
        sound = bench.heads_at(state)
        for head in dict.fromkeys(head for one in sorted(with_it) for head in bench.heads_at(one)):
            if head not in self.barred and head not in sound:
                attempt = bench.attempt(state, head)
                if isinstance(attempt, SoundStep):
                    yield attempt
        yield from bench.steps(state, self.barred)

    def why(self, name: str) -> str:
        """Why it stays hidden, where nothing that it bears on can be otherwise with it."""
        hidden = UNSEEN
        for goal in self.goals(name, self.unbound):
            hidden = IMPOSSIBLE
            if self.reach_with_units.can_be(goal):
                return NEEDS_UNIT
        return hidden

    def go_back(self) -> bool:
        """Appends steps to where the test began, where such are found; what went before need not be forgotten."""
        begun = dict(zip(self.bench.asked.domains, self.bench.packing.unpack(self.start), strict=True))
        about = self.bench.compiled.origins.variables
        goal = conj(*(Is(name, begun[name]) for name in begun if not isinstance(about.get(name), Precedence)))
        for step in self.planned(goal, MOST_BACK) or ():
            self.append(step)
        return self.bench.operation.test_of(goal)(self.now)

    def shorten(self) -> None:
        """Leaves out what the test does without: whole stretches first, then single steps; it ends where it ended."""
        length = max(1, len(self.steps) // 4)
        while length and not self.clock.is_over():
            at = len(self.steps) - length
            while at >= 0 and not self.clock.is_over():
                self.report(Progress(NAME, "leaving out steps", 0, len(self.steps)))
                self.leave_out(range(at, at + length))
                at -= max(1, length // 2)
            length //= 2
        at = len(self.steps) - 2
        while at >= 0 and not self.clock.is_over():
            self.report(Progress(NAME, "leaving out two steps", 0, len(self.steps)))
            others = (other for other in range(at + 1, min(at + APART, len(self.steps))) if self.leave_out((at, other)))
            next(others, None)
            at = min(at, len(self.steps) - 1) - 1

    def leave_out(self, places: Sequence[int]) -> bool:
        """Leaves out these steps, in order, where the others can be made, end there and show no less.

        From where the hold and what is known of a failure are again as they were, the failure shows as it did.
        """
        first = places[0]
        kept = [at for at in range(first, len(self.steps)) if at not in places]
        made = self.made_again(self.steps[first][0].before, kept)
        if made is None:
            return False
        shown = [set(shown.shown) for _, shown in self.steps[first:]]
        gone = set[str]().union(*(shown[at - first] for at in places))
        without = self.trail[first].only(gone)
        for step in made:
            self.shown_by(step, without)
        if without.left:
            return False
        without = self.trail[first].only(set[str]().union(*shown) - gone)
        for step, at in zip(made, kept, strict=True):
            if step is self.steps[at][0] and at > places[-1]:
                without = without.unlike(self.trail[at])
            self.shown_by(step, without)
        if without.left:
            return False
        self.followed = self.trail[first]
        del self.steps[first:], self.trail[first:]
        for step in made:
            self.append(step)
        return True

    def made_again(self, state: int, kept: Sequence[int]) -> list[SoundStep] | None:
        """The steps at these places, made from that state; None where one cannot be, or they end elsewhere."""
        made: list[SoundStep] = []
        for one in (self.steps[at][0] for at in kept):
            step: SoundStep | Refusal = one
            if state != one.before:
                step = self.bench.attempt(state, one.head) if one.attempt else self.bench.step(state, one.head)
            if isinstance(step, Refusal):
                return None
            made.append(step)
            state = step.after
        return made if state == self.now else None

    def told(self, back: bool) -> FunctionalTest:
        """The test, with as little to look at as shows what it shows."""
        told = []
        state = self.start
        assert self.first is not None  # noqa: S101 -- set by `make`
        rows: list[tuple[str | None, bool, int, int, _Shown]] = [(None, False, state, state, self.first)]
        rows += [(step.head, step.attempt, step.before, step.after, shown) for step, shown in self.steps]
        for number, (head, attempt, before, after, shown) in enumerate(rows):
            sight = self.bench.sight(after)
            looked = sight ^ self.bench.sight(before)
            changes = tuple(bits_of(looked))
            for differing in (one for ends in shown.seen.values() for one in ends):
                if not differing & looked:
                    looked |= differing & -differing
            breaks = {self.bench.requirements[at].id: names for at, names in shown.broken.items()}
            told.append(
                Stage(
                    number,
                    head,
                    attempt,
                    self.bench.packing.unpack(before),
                    self.bench.packing.unpack(after),
                    {at: bool(sight >> at & 1) for at in bits_of(looked)},
                    changes,
                    shown.shown,
                    shown.refused,
                    breaks,
                )
            )
        shown_names = {name for step in told for name in step.shows}
        hidden = {name: why for name, why in self.hidden.items() if name not in shown_names}
        cut = "the time was up" if self.clock.is_over() else ""
        return FunctionalTest(self.bench, tuple(self.wanted), tuple(told), hidden, back, cut)
