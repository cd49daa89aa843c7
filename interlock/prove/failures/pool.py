"""Clauses, and under which sets of failures each of them stays true for good.

That a rule does not break a clause is refuted by a query; what its final conflict names are clauses and failures that
had not struck: the query need not be asked again under any set that touches none of these failures, as long as these
clauses stay true.  So nearly all sets are settled by what was asked under the empty one.  Under another set only what
a target rests on there is asked again, once it is asked for: of the clauses that no model has broken yet the greatest
part that is inductive when all of the set may strike.  A model that breaks a clause tells of all sets under which it
does.

References (from memory)
  C. Flanagan, K. R. M. Leino: Houdini, an annotation assistant for ESC/Java. FME 2001. (greatest inductive part)
  E. Ghassabani, A. Gacek, M. Whalen: Efficient generation of inductive validity cores for safety properties. FSE 2016.
  J. de Kleer: An assumption-based TMS. Artificial Intelligence 28, 1986. (labels: what follows under which assumptions)
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from interlock.kernel.failures import Reason, Sets, without_reason
from interlock.prove.core.encoding import TRUTH, Encoding
from interlock.prove.core.local import Cube
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.solvers import light_solver
from interlock.prove.engine import Clock
from interlock.prove.failures.narrowing import Narrowing, mask_of, places_in

MOST_TOGETHER = 500
"""So many pairs of sets that each break a clause are thought of for what breaks both."""
NO_SET = -1
"""Stands for the number of a set where there is none."""


@dataclass(slots=True)
class Obligation:
    """A query that must have no model under as many sets as can be: `query` are literals of the encoding.

    `strikes` is the mask of the failures without which it is not asked at all; `region` are the variables that it
    speaks of, `failures` those that it depends on, as a mask.  It says of a `rule` that it keeps the clause of the
    place `clause`, or of a target, by its number, that it is not so.
    """

    clause: int | None
    rule: int
    query: tuple[int, ...]
    strikes: int
    region: frozenset[str]
    failures: int
    reasons: list[Reason] = field(default_factory=list)


@dataclass(slots=True)
class Learned:
    """What a pool learned since it had `first` clauses: these then, what is a reason for what, and what is broken.

    Places are those of the pool that learned it.
    """

    first: int
    cubes: list[Cube] = field(default_factory=list)
    reasons: list[tuple[int | None, int, Reason]] = field(default_factory=list)
    """Of an obligation, by its clause and rule."""
    broken: list[tuple[int, set[int]]] = field(default_factory=list)
    """A clause, and sets, as masks, under which a model breaks it."""


class Pool:
    """The clauses by place (`cubes`, which they keep out), and what keeps the rules from breaking each (`kept`).

    What is not shown by the reasons that are known is weighed for some of the sets at a time, the `part`: `lost` is per
    clause the family of those of them under which it was not shown that it stays true when that was done last.
    """

    def __init__(self, narrowing: Narrowing, sets: Sets, most: int, clock: Clock) -> None:
        self.narrowing = narrowing
        self.rules = rules = narrowing.rules
        self.sets = sets
        self.most = most
        """How large the sets will be in the end."""
        self.clock = clock
        self.off = [-literal for literal in narrowing.literals]
        """Per failure that it has not struck."""
        self.cubes: list[Cube] = []
        self.part = Part(sets, 0, len(sets.members))
        self.lost: list[int] = []
        self._every = row_of(self.part, self.part.every)
        self.kept: list[dict[int, Obligation]] = []
        """Per clause, by the number of a rule that may break it, that it does not."""
        self.targets: list[Obligation] = []
        """Per target that it is not so."""
        self._learned = Learned(0)
        self._broken: list[set[int]] = []
        """Per clause the sets, as masks, under which a model breaks it, whatever of the pool stays true there.

        So does every larger one.
        """
        self._rows: list[bytes] = []
        """What `lost` has, to be looked up."""
        self._names: list[frozenset[str]] = []
        self._near: dict[frozenset[str], tuple[int, list[int]]] = {}
        """How many clauses were looked at for some variables, and those of them that name nothing else."""
        self._failures_in: list[int] = []
        """Per clause the mask of the failures that it names."""
        self._named = 0
        """All of these."""
        self._listed: dict[str, list[int]] = {}
        """Each clause once, under that of its names which the fewest had before."""
        self._failure_of = {literal: at for at, literal in enumerate(self.off)}
        self._weighed: tuple[int, ...] = ()
        """Where the part begins and ends, and how many clauses and reasons there were when it was weighed."""
        self._solver = _Switched(rules.encoding, self.cubes)
        # in the solver of all rules, what targets need is dead weight; it is of one set
        self._asking = _Switched(rules.encoding, self.cubes)
        self._number = 0
        """The set, by number, of which it was asked last."""
        self._parts: frozenset[int] = frozenset((0,))
        """All that are within it, as masks."""
        self._gone: dict[int, None] = {}
        """The clauses that a model is known to break under it."""
        self._stay: set[int] = set()
        """Clauses that are shown to stay true under it."""
        self._standing: list[int] | None = None
        """The clauses that no model breaks under it, once they are asked for."""

    def close(self) -> None:
        """Frees the solvers."""
        self._solver.close()
        self._asking.close()

    def add(self, cubes: Iterable[Cube], number: int = 0) -> None:
        """Adds clauses that hold under the set of that number, together with some that are there.

        One that is known and not broken under the set is not added; one that was broken under it stands twice then,
        since it may hold together with what is new.
        """
        self._turn_to(number)
        standing = {self.cubes[at]: at for at in self.standing(number)}
        wanted = [standing[cube] for cube in set(cubes) & standing.keys()]
        for cube in sorted(set(cubes) - standing.keys()):
            wanted.append(len(self.cubes))
            self._take(cube)
        self._standing = None
        self._hold(wanted)

    def guess(self, cubes: Iterable[Cube]) -> None:
        """Adds clauses of which nothing is known; what is there already stays as it is."""
        for cube in sorted(set(cubes).difference(self.cubes)):
            self._take(cube)
        self._standing = None

    def note_from_now(self) -> None:
        """What is learned is noted anew."""
        self._learned = Learned(len(self.cubes))

    def learned(self) -> Learned:
        """What was learned since."""
        self._learned.cubes = self.cubes[self._learned.first :]
        return self._learned

    def learn(self, other: Learned) -> None:
        """Adds what another pool learned that was this one until both noted what they learned.

        A reason is one wherever its clauses are.  That a model breaks a clause there means that nothing there spoke
        against it; the same is taken to be so here.
        """
        own: dict[Cube, list[int]] = {}
        for at in reversed(range(other.first, len(self.cubes))):
            own.setdefault(self.cubes[at], []).append(at)
        places = list(range(other.first))
        for cube in other.cubes:
            same = own.get(cube)
            if not same:
                self._take(cube)
            places.append(same.pop() if same else len(self.cubes) - 1)
        for clause, rule, reason in other.reasons:
            obligation = self.targets[rule] if clause is None else self.kept[places[clause]][rule]
            here = Reason(tuple(sorted(places[at] for at in reason.clauses)), reason.failures)
            if here not in obligation.reasons:
                obligation.reasons.append(here)
        for at, sets in other.broken:
            self._add_broken(places[at], sets)
        # what is known of the set that was asked about last is not all of it any more
        self._number = NO_SET

    def failures_in(self, cube: Cube) -> int:
        """The mask of the failures that a cube names."""
        return mask_of(self._failure_of[-abs(one)] for one in cube if -abs(one) in self._failure_of)

    def _take(self, cube: Cube) -> None:
        at = len(self.cubes)
        names = frozenset(self.rules.encoding.variable_of[abs(literal)] for literal in cube)
        if names:
            rarest = min(sorted(names), key=lambda name: len(self._listed.get(name, ())))
            self._listed.setdefault(rarest, []).append(at)
        failures = self.failures_in(cube)
        self.cubes.append(cube)
        self.lost.append(self.part.every)
        self._rows.append(self._every)
        self.kept.append({})
        self._broken.append(set())
        self._names.append(names)
        self._failures_in.append(failures)
        self._named |= failures
        for rule in self.rules.entering(cube):
            written = self.rules.written(rule, cube)
            if written is not None:
                query = (self.rules.guards[rule], *(literal for literal in cube if literal not in written))
                owner = self.narrowing.owners[rule]
                region = self.rules.region(rule) | names
                self.kept[at][rule] = self._obligation(at, rule, query, owner, region)

    def aim(self, targets: Iterable[int]) -> None:
        """Adds targets, literals of the encoding."""
        for literal in targets:
            region = self.rules.encoding.names_below(literal)
            self.targets.append(self._obligation(None, len(self.targets), (literal,), None, region))

    def _obligation(
        self, clause: int | None, rule: int, query: tuple[int, ...], owner: int | None, region: frozenset[str]
    ) -> Obligation:
        failures = 0
        for literal in query:
            failures |= self.narrowing.support(literal)
        return Obligation(clause, rule, query, 0 if owner is None else 1 << owner, region, failures)

    def grow(self, sets: Sets) -> None:
        """From now on it is asked of larger sets, too; how the others are numbered has not changed.

        It has to be weighed before anything else is asked.
        """
        self.sets = sets

    def excludes(self, at: int, number: int, shortly: bool = False) -> bool:
        """Whether the clauses exclude that target under the set of that number; if so it has a reason for that.

        Where that is not seen from a reason that is known, without a clause that turns out broken, it is not said if
        `shortly`.
        """
        self._turn_to(number)
        target = self.targets[at]
        while True:
            reason = self._reason(target)
            if reason is None and shortly:
                return False
            if reason is None:
                model = self._explain(self._asking, target)
                if model is not None:
                    return False
                reason = target.reasons[-1]
            self._hold(reason.clauses, shortly)
            if all(map(self._stays, reason.clauses)):
                return True
            if shortly:
                return False

    def meet(self, number: int, met: Callable[[Cube], int]) -> None:
        """Notes which clauses keep out what is met under the set of that number."""
        broken = [at for at in self.standing(number) if not self._stays(at) and met(self.cubes[at])]
        members = mask_of(self.sets.members[number])
        for at in broken:
            self._break(at, {members})
        self._standing = None

    def standing(self, number: int) -> list[int]:
        """The clauses, by place, that nothing known breaks under the set of that number."""
        self._turn_to(number)
        if self._standing is None:
            self._standing = [at for at in range(len(self.cubes)) if at not in self._gone]
        return self._standing

    def staying(self, number: int) -> list[int]:
        """The clauses that are known to stay true under the set of that number."""
        return [at for at in self.standing(number) if self._stays(at)]

    def weigh(self, first: int, end: int) -> None:
        """Works `lost` out from all reasons that are known, for the sets from that number on and before the other."""
        pairs = [(at, one) for at, kept in enumerate(self.kept) for one in kept.values()]
        known = first, end, len(self.cubes), sum(len(one.reasons) for _, one in pairs)
        if known == self._weighed:
            return
        self._weighed = known
        self.part = part = Part(self.sets, first, end)
        self._every = row_of(part, part.every)
        lost, every = self.lost, part.every
        lost[:] = [0] * len(self.cubes)
        users: list[list[int]] = [[] for _ in self.cubes]
        for number, (_, one) in enumerate(pairs):
            for clause in {clause for reason in one.reasons for clause in reason.clauses}:
                users[clause].append(number)
        waiting = dict.fromkeys(range(len(pairs)))
        while waiting:
            number = next(iter(waiting))
            del waiting[number]
            at, one = pairs[number]
            possible = part.above(places_in(one.strikes)) & ~lost[at]
            more = possible and possible & without_reason(part, one.reasons, lost)
            if more:
                lost[at] |= more
                waiting.update(dict.fromkeys(users[at]))
        self._rows = [self._every if family == every else row_of(part, family) for family in lost]

    def _turn_to(self, number: int) -> None:
        if number != self._number:
            if not 0 <= number - self.part.first < len(self.part.members):
                raise AssertionError("a set is asked about of which nothing was weighed")
            self._number = number
            self._parts = parts = frozenset(parts_of(self.sets.members[number]))
            self._gone = {at: None for at, broken in enumerate(self._broken) if not parts.isdisjoint(broken)}
            self._stay = set()
            self._standing = None
            self._asking.close()
            self._asking = _Switched(self.rules.encoding, self.cubes)

    def _stays(self, at: int) -> bool:
        return at in self._stay or not is_in(self._rows[at], self._number - self.part.first)

    def _hold(self, wanted: Iterable[int], shortly: bool = False) -> None:
        """Shows of these clauses, and of all that they rest on, that they stay true under the set, or are broken.

        If `shortly`, nothing more is shown once one is broken.
        """
        members = mask_of(self.sets.members[self._number])
        waiting = [at for at in wanted if not self._stays(at)]
        held: set[int] = set()
        users: dict[int, set[int]] = {}
        while waiting:
            at = waiting.pop()
            if at in held or self._stays(at) or at in self._gone:
                continue
            held.add(at)
            for one in self.kept[at].values():
                if one.strikes & ~members:
                    continue
                reason = self._reason(one)
                if reason is None and (model := self._explain(self._solver, one)) is not None:
                    sets = {struck | one.strikes for struck in model}
                    gone = self._broken_by(one.rule, self._solver.model())
                    for broken in gone:
                        self._break(broken, sets)
                    self._standing = None
                    if shortly:
                        return
                    # what rests on them has to rest on something else
                    for broken in gone:
                        held.discard(broken)
                        held -= users.get(broken, set())
                        waiting += users.pop(broken, ())
                    break
                for clause in (one.reasons[-1] if reason is None else reason).clauses:
                    if not self._stays(clause):
                        waiting.append(clause)
                        users.setdefault(clause, set()).add(at)
        self._stay |= held

    def _broken_by(self, rule: int, model: Sequence[int]) -> list[int]:
        """The clauses that the rule breaks where it fires in the model; nothing known speaks against the model."""
        after = list(model)
        for atom, is_so in self.rules.effects[rule].items():
            after[atom - 1] = atom if is_so else -atom
        return [
            at
            for at in self.standing(self._number)
            if rule in self.kept[at] and all(one == TRUTH or after[abs(one) - 1] == one for one in self.cubes[at])
        ]

    def _reason(self, obligation: Obligation) -> Reason | None:
        """One that may hold under the set, as far as it is known what is broken."""
        members = self.sets.members[self._number]
        for reason in obligation.reasons:
            if not any(one in reason.failures for one in members) and self._gone.keys().isdisjoint(reason.clauses):
                return reason
        return None

    def _break(self, at: int, sets: set[int]) -> None:
        """Notes that a model breaks the clause under these sets, as masks, and all larger ones."""
        self._gone[at] = None
        self._learned.broken.append((at, sets))
        self._add_broken(at, sets)

    def _add_broken(self, at: int, sets: set[int]) -> None:
        known = self._broken[at]
        known |= {one for one in sets if known.isdisjoint(parts_of(places_in(one)))}

    def _explain(self, solver: _Switched, obligation: Obligation) -> set[int] | None:
        """Asks the query under the set: where it has no model there it has a reason more.

        Else gives sets, as masks, under which the model is one.
        """
        members = mask_of(self.sets.members[self._number])
        query = solver.said(obligation.query)
        near = [at for at in self._within(obligation.region) if at not in self._gone]
        close = obligation.failures
        for at in near:
            close |= self._failures_in[at]
        # what the query says itself is no reason
        said = members | mask_of(self._failure_of[one] for one in query if one in self._failure_of)
        off = [self.off[at] for at in places_in(close & ~said)]
        clauses = [*map(solver.switch, near)]
        # what is near by is asked first: it nearly always refutes
        if solver.solve([*query, *clauses, *off], self.clock):
            clauses += map(solver.switch, self.standing(self._number))
            off += [self.off[at] for at in places_in(self._named & ~close & ~said)]
            if solver.solve([*query, *clauses, *off], self.clock):
                return self._family(solver.model(), obligation.failures | self._named)
        core = set(solver.core())
        if self.most > 1:
            core = self._with_fewer(solver, [*query, *clauses], [one for one in off if one in core], core)
        reason = Reason(
            tuple(sorted(solver.place_of[one] for one in core if one in solver.place_of)),
            tuple(sorted(self._failure_of[one] for one in core.intersection(off))),
        )
        obligation.reasons.append(reason)
        self._learned.reasons.append((obligation.clause, obligation.rule, reason))
        return None

    def _with_fewer(self, solver: _Switched, rest: list[int], off: list[int], core: set[int]) -> set[int]:
        """The core with fewer of the failures: what rests on fewer holds under more sets."""
        for one in list(off):
            if one in core:
                fewer = [other for other in off if other != one]
                if not solver.solve([*rest, *fewer], self.clock):
                    core, off = set(solver.core()), fewer
        return core

    def _within(self, region: frozenset[str]) -> list[int]:
        """The clauses that name nothing but these variables."""
        names = self._names
        if region in self._near:
            first, near = self._near[region]
            near += [at for at in range(first, len(names)) if names[at] and names[at] <= region]
        else:
            near = sorted(at for name in region for at in self._listed.get(name, ()) if names[at] <= region)
        self._near[region] = len(names), near
        return near

    def _family(self, model: Sequence[int], depends: int) -> set[int]:
        """Sets under which the model is a state that nothing in the pool speaks against, as masks.

        A part of the set asked about is among them.  So are the smallest of all others, where they are few.
        It depends on the failures of that mask at the most; the clauses that nothing breaks under the set asked about
        are so in it.
        """
        family = {mask_of(at for at in places_in(depends) if model[-self.off[at] - 1] > 0)}
        for at in self._gone:
            if all(literal == TRUTH or model[abs(literal) - 1] == literal for literal in self.cubes[at]):
                broken = self._broken[at]
                if len(family) * len(broken) > MOST_TOGETHER:
                    family, broken = family & self._parts, broken & self._parts
                both = {one | other for one in family for other in broken}
                family = {one for one in both if one.bit_count() <= self.most}
        return family


class Part(Sets):
    """Some of the sets, from that number on and before the other, numbered anew from the `first`."""

    def __init__(self, sets: Sets, first: int, end: int) -> None:
        self.count = sets.count
        self.first = first
        self.members = sets.members[first:end]
        self.every = (1 << len(self.members)) - 1


def row_of(sets: Sets, family: int) -> bytes:
    """The family, to be looked up: to test a bit of a number takes time with the length of it."""
    return family.to_bytes(len(sets.members) // 8 + 1, "little")


def is_in(row: bytes, number: int) -> bool:
    """Whether the set of that number is in the family."""
    return bool(row[number >> 3] >> (number & 7) & 1)


def parts_of(members: Iterable[int]) -> Iterator[int]:
    """The masks of all that is within a set of these members."""
    parts = [0]
    for member in members:
        parts += [part | 1 << member for part in parts]
    return iter(parts)


class _Switched(PolaritySolver):
    """A solver that knows a clause once it is asked for the literal that switches it on."""

    def __init__(self, encoding: Encoding, cubes: Sequence[Cube]) -> None:
        super().__init__(encoding, light_solver())
        self._cubes = cubes
        self._switches: dict[int, int] = {}
        self.place_of: dict[int, int] = {}
        """Per such literal the place of its clause."""

    def switch(self, at: int) -> int:
        """The literal of the clause that keeps the cube of that place out."""
        found = self._switches.get(at)
        if found is None:
            found = self._switches[at] = self.new()
            self.add([-found, *(-literal for literal in self._cubes[at])])
            self.place_of[found] = at
        return found
