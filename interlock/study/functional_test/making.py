"""Making a functional test: few steps in which each failure that people can be shown is shown for certain.

One failure after the other is taken that nothing shows yet.  A state of the sound hold is planned for in which what
people see, or can do, would be otherwise with it; where there is none, one in which what the failure bears on would be,
and from there all that people can do is tried for a few steps, with the failure and without.  What else shows on the
way counts as well; what shows nothing new is not kept.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.origin import Arrive, Bring, Depart, Precedence, TakeAway
from interlock.kernel.claims import Limits, Progress, ProgressCallback, silent
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import FALSE, Expr, Is, conj, disj
from interlock.kernel.machine import Actor
from interlock.prove.engine import NO_LIMITS, Clock, clock_of
from interlock.prove.search.delete_relaxation import NEVER, DeleteRelaxation
from interlock.study.checklist.operating import Refusal
from interlock.study.checklist.planning import moving, plan_deeds
from interlock.study.functional_test.altered import Altered
from interlock.study.functional_test.bench import Bench, SoundStep

NAME = "functional test"
MOST_EXPANDED = 150
"""States at rest that a plan for one failure may look beyond."""
MOST_WITH_UNITS = 600
"""The same where units may be brought in: they have a long way."""
MOST_BACK = 1_500
"""The same for the way back to where the test began."""
MOST_TRIED = 60
"""States from which steps are tried where no plan shows a failure at once."""
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

    `asked` are the failures that matter, where not all do.  With `units` they may be brought in, else the hold stays
    empty.  The same call gives the same test, unless a limit cuts it short.
    """
    bench = Bench(compiled)
    start = bench.operation.start()
    if start is None:
        return None
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

    def copy(self) -> _Followed:
        """The same, to be gone on with."""
        return _Followed(dict(self.plain), dict(self.apart), dict(self.let_go))

    @property
    def left(self) -> list[str]:
        """All of them."""
        return [*self.plain, *self.apart, *self.let_go]


@dataclass(frozen=True, slots=True)
class _Shown:
    """What a step shows: failures by which it cannot be made, and `shown` in all, those that are seen included.

    `seen` has per failure, for each state in which it is seen, the observables that differ; `broken` the failures with
    which a requirement, by place, may break.
    """

    refused: tuple[str, ...]
    shown: tuple[str, ...]
    seen: Mapping[str, tuple[frozenset[int], ...]]
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
        self.hidden: dict[str, str] = {}
        self.followed = _Followed()
        self.steps: list[tuple[SoundStep, _Shown]] = []
        self.first: _Shown | None = None
        self.now = self.start

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
        seen: dict[str, tuple[frozenset[int], ...]] = {}
        broken: dict[int, list[str]] = {}
        sound = self.bench.seen(self.start)
        for name in self.wanted:
            passed = self.bench.struck(name, self.start)
            if passed is None or not passed.ends:
                self.hidden[name] = UNSTRIKABLE
                continue
            for at in passed.broken:
                broken.setdefault(at, []).append(name)
            self._sort(name, passed.ends, sound, self.start, self.followed, seen)
        return self._shown([], seen, self.followed, {at: tuple(names) for at, names in sorted(broken.items())})

    def _sort(
        self,
        name: str,
        ends: frozenset[int],
        sound: tuple[bool, ...],
        after: int,
        followed: _Followed,
        seen: dict[str, tuple[frozenset[int], ...]],
    ) -> None:
        """Where the failure is kept from now on, and what shows where it is not."""
        alike = frozenset(end for end in ends if self.bench.seen(end) == sound)
        if alike != ends:
            seen[name] = tuple(self._differing(sound, end) for end in sorted(ends - alike))
        if not alike:
            return
        if alike == {after | self.bench.bits[name]}:
            followed.plain[name] = None
        else:
            followed.apart[name] = alike

    def _shown(
        self,
        refused: Sequence[str],
        seen: Mapping[str, tuple[frozenset[int], ...]],
        followed: _Followed,
        broken: Mapping[int, tuple[str, ...]],
    ) -> _Shown:
        certain = [name for name in seen if name not in followed.apart and name not in followed.plain]
        return _Shown(tuple(refused), (*refused, *certain), seen, broken)

    def _differing(self, sound: tuple[bool, ...], end: int) -> frozenset[int]:
        pairs = zip(sound, self.bench.seen(end), strict=True)
        return frozenset(at for at, (one, other) in enumerate(pairs) if one != other)

    def shown_by(self, step: SoundStep, followed: _Followed, only: Collection[str] | None = None) -> _Shown:
        """What the step shows of the failures followed, which then are where it leads."""
        bench = self.bench
        differing = frozenset[str]().union(*(bench.facts(state)[3] for state in step.states))
        sound = bench.seen(step.after)
        refused: list[str] = []
        seen: dict[str, tuple[frozenset[int], ...]] = {}
        broken: dict[int, list[str]] = {}
        moved = {name: frozenset({step.before | bench.bits[name]}) for name in followed.plain if name in differing}
        moved |= followed.apart
        for name, states in moved.items():
            if only is not None and name not in only:
                continue
            passed = bench.follow(states, step.head)
            followed.plain.pop(name, None)
            followed.apart.pop(name, None)
            if passed is None:
                followed.let_go[name] = None
                continue
            for at in passed.broken:
                broken.setdefault(at, []).append(name)
            ends = passed.ends
            if step.attempt:
                ends = frozenset(state for state in states if not bench.can(state, step.head))
            if not ends:
                refused.append(name)
            else:
                self._sort(name, ends, sound, step.after, followed, seen)
        return self._shown(refused, seen, followed, {at: tuple(names) for at, names in sorted(broken.items())})

    def pursue(self, name: str) -> None:
        """Appends steps that show the failure, where such are found."""
        path: list[SoundStep] | None = None
        for goal in self.goals(name):
            steps = self.planned(goal, MOST_EXPANDED if self.barred else MOST_WITH_UNITS)
            if steps is None:
                continue
            path = self.tried_from(name, steps)
            if path is not None:
                break
        if path is None:
            self.hidden[name] = self.why(name)
            return
        for step in path:
            self.steps.append((step, self.shown_by(step, self.followed)))
            self.now = step.after

    def goals(self, name: str, altered: Altered | None = None) -> Iterator[Expr]:
        """States to make for, the most promising first."""
        under = (altered or self.altered).under(name)
        bench = self.bench
        yield disj(*(under.otherwise(one.expr) for one in bench.observables))
        guards: dict[str, list[Expr]] = {}
        free = [
            (rule, head) for rule, head in zip(bench.machine.rules, bench.heads, strict=True) if head not in self.barred
        ]
        for rule, head in free:
            if rule.actor is Actor.CREW:
                guards.setdefault(head, []).append(rule.guard)
        deeds = [disj(*some) for some in guards.values()]
        yield disj(*map(under.lost, deeds))
        yield disj(*map(under.gained, deeds))
        yield disj(*(under.otherwise(rule.guard) for rule, _ in free))

    def planned(self, goal: Expr, most: int) -> list[SoundStep] | None:
        """Steps from where the test is to the goal; None where none are found."""
        if goal == FALSE:
            return None
        operation = self.bench.operation
        start = self.bench.packing.unpack(self.now)
        deeds = plan_deeds(operation, start, goal, self.clock, barred=self.barred, halves=True, most=most)
        if deeds is None:
            return None
        return self.made([head for deed in deeds for head in deed.heads], self.now)

    def made(self, heads: Sequence[str], state: int) -> list[SoundStep] | None:
        """The steps one after the other; None where one of them does not do."""
        steps = []
        for head in heads:
            step = self.bench.step(state, head)
            if isinstance(step, Refusal):
                return None
            steps.append(step)
            state = step.after
        return steps

    def tried_from(self, name: str, steps: list[SoundStep]) -> list[SoundStep] | None:
        """The steps and, where they do not show the failure, as few more as do; None where that is not found."""
        followed = self.followed.copy()
        for place, step in enumerate(steps):
            shown = self.shown_by(step, followed, (name,))
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
                after = before.copy()
                shown = self.shown_by(step, after, (name,))
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
        for head in sound:
            if head not in self.barred:
                step = bench.step(state, head)
                if isinstance(step, SoundStep):
                    yield step

    def why(self, name: str) -> str:
        """Why it stays hidden, as far as that is known."""
        if all(goal == FALSE for goal in self.goals(name, self.unbound)):
            return UNSEEN
        goals = [goal for goal in self.goals(name) if goal != FALSE]
        rules = moving(self.bench.operation, {}, self.barred)
        if all(self._is_out_of_reach(goal, rules) for goal in goals):
            every = moving(self.bench.operation, {}, frozenset())
            others = [goal for goal in self.goals(name, self.unbound) if goal != FALSE]
            return IMPOSSIBLE if all(self._is_out_of_reach(goal, every) for goal in others) else NEEDS_UNIT
        return NOT_FOUND

    def _is_out_of_reach(self, goal: Expr, rules: list[int]) -> bool:
        operation = self.bench.operation
        relaxation = DeleteRelaxation(operation.machine, [goal], rules)
        relaxation.put_all(operation.packing.places(self.start))
        return relaxation.survey().cost(relaxation.targets[0]) >= NEVER

    def go_back(self) -> bool:
        """Appends steps to where the test began, where such are found; what went before need not be forgotten."""
        begun = dict(zip(self.bench.asked.domains, self.bench.packing.unpack(self.start), strict=True))
        about = self.bench.compiled.origins.variables
        goal = conj(*(Is(name, begun[name]) for name in begun if not isinstance(about.get(name), Precedence)))
        for step in self.planned(goal, MOST_BACK) or ():
            self.steps.append((step, self.shown_by(step, self.followed)))
            self.now = step.after
        return self.bench.operation.test_of(goal)(self.now)

    def shorten(self) -> None:
        """Leaves out what the test does without: whole stretches first, then single steps; it ends where it ended."""
        end = self.now
        length = max(1, len(self.steps) // 4)
        while length and not self.clock.is_over():
            self.report(Progress(NAME, "leaving out steps", 0, len(self.steps)))
            at = len(self.steps) - length
            while at >= 0 and not self.clock.is_over():
                kept = [step for step, _ in (*self.steps[:at], *self.steps[at + length :])]
                self.take(kept, end)
                at -= max(1, length // 2)
            length //= 2

    def take(self, steps: Sequence[SoundStep], end: int) -> bool:
        """Takes these steps where they can be made, end there and show no less."""
        made: list[SoundStep] = []
        state = self.start
        for one in steps:
            step = self.bench.attempt(state, one.head) if one.attempt else self.bench.step(state, one.head)
            if isinstance(step, Refusal):
                return False
            made.append(step)
            state = step.after
        if state != end:
            return False
        before = {name for name in self.wanted if self.hidden.get(name) != UNSTRIKABLE} - set(self.followed.left)
        followed = _Followed()
        hidden = dict(self.hidden)
        self.followed, earlier = followed, self.followed
        first = self.begin()
        shown = [(step, self.shown_by(step, followed)) for step in made]
        self.hidden = hidden
        if before.isdisjoint(followed.left):
            self.first, self.steps = first, shown
            return True
        self.followed = earlier
        return False

    def told(self, back: bool) -> FunctionalTest:
        """The test, with as little to look at as shows what it shows."""
        told = []
        state = self.start
        assert self.first is not None  # noqa: S101 -- set by `make`
        rows: list[tuple[str | None, bool, int, int, _Shown]] = [(None, False, state, state, self.first)]
        rows += [(step.head, step.attempt, step.before, step.after, shown) for step, shown in self.steps]
        for number, (head, attempt, before, after, shown) in enumerate(rows):
            seen, earlier = self.bench.seen(after), self.bench.seen(before)
            changes = tuple(at for at, (one, other) in enumerate(zip(seen, earlier, strict=True)) if one != other)
            looked = dict.fromkeys(changes)
            for differing in (one for ends in shown.seen.values() for one in ends):
                if differing.isdisjoint(looked):
                    looked[min(differing)] = None
            breaks = {self.bench.requirements[at].id: names for at, names in shown.broken.items()}
            told.append(
                Stage(
                    number,
                    head,
                    attempt,
                    self.bench.packing.unpack(before),
                    self.bench.packing.unpack(after),
                    {at: seen[at] for at in sorted(looked)},
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
