"""The frames of property-directed reachability, and the search for a fixed point (see `pdr`)."""

from __future__ import annotations

import heapq
from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass
from itertools import count

from interlock.diagnostics.frozen import frozen
from interlock.kernel.claims import Progress, ProgressCallback, Trace
from interlock.kernel.evaluator import State, fire
from interlock.kernel.expressions import TRUE, Expr
from interlock.kernel.machine import Actor
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.samples import Samples
from interlock.prove.core.solvers import SolverFactory, add_all
from interlock.prove.engine import Clock, OutOfTime

NAME = "pdr"
STRENGTHENING = "looking for what never changes"
"""What is told while targets are kept out for good, before any frame."""
SETTLING_FRAMES = frozenset({2, 4, 8, 16, 32, 64, 128})
"""After these frames it is asked which clauses are inductive by themselves, though others still travel."""

MOST_STEPS_BACK = 40
"""So many cubes are looked at before a target is left to the frames."""
MOST_IN_VAIN = 200
"""The same for all targets that are left to the frames together."""
MOST_STEPS_BOLDLY = 150
MOST_BOLDLY_IN_VAIN = 1_000
"""The same where it is looked boldly."""
FREE = frozenset({Actor.CREW, Actor.FAILURE})
"""Who mostly may do a thing as well as leave it: what such steps change on the way is seldom what keeps a cube out."""
MOST_JOINED = 32
"""So often a cube is made larger before it is given up."""


@dataclass(frozen=True, slots=True, eq=False)
class Obligation:
    """Every state of the cube leads by `rule` into the cube of `then`; without `then` it satisfies the target."""

    cube: Cube
    rule: int
    then: Obligation | None


@dataclass(frozen=True, slots=True, eq=False)
class _Assumed:
    """A cube that is taken to be kept out while the literal is assumed.

    That it can be is a guess where `is_guess`; else each of its states leads into the cube below it, or to the target.
    """

    obligation: Obligation
    switch: int
    is_guess: bool


@frozen
class _Entry:
    """A state from which the rule leads into the cube asked about."""

    rule: int
    model: Sequence[int]


class Frames:
    """Frames over one machine and several targets.

    `lemmas` hold in every reachable state and are inductive together; they are part of every frame.  `samples` are
    reachable states: a target that can be reached from one of them is, and no clause is learnt that one of them breaks.
    After `run`: `invariant` (cubes whose complements are inductive together and exclude every target not refuted),
    or None; `top`, the last frame; `clear`, the depth up to which no open target is reachable.
    """

    def __init__(
        self,
        rules: LocalRules,
        targets: Sequence[Expr | int],
        clock: Clock,
        make_solver: SolverFactory,
        lemmas: Sequence[Cube] = (),
        samples: Samples | None = None,
    ) -> None:
        self.rules = rules
        self.clock = clock
        self.lemmas = tuple(lemmas)
        self.samples = samples
        self.invariant: tuple[Cube, ...] | None = None
        self.clear = -1
        self._is_propagated = True
        encoding = rules.encoding
        self.targets = [target if isinstance(target, int) else encoding.gate(target) for target in targets]
        self.solver = PolaritySolver(encoding, make_solver())
        self.acts = [self.solver.new()]
        for clause in encoding.initial_clauses():
            if len(clause) == 1:
                add_all(self.solver, [[-self.acts[0], part] for part in self.solver.parts(clause[0])])
            else:
                self.solver.add([-self.acts[0], *clause])
        add_all(self.solver, [[-literal for literal in cube] for cube in lemmas])
        self.cubes: list[list[Cube]] = [[]]
        self._away: dict[tuple[int, ...], int] = {}
        self._free = frozenset(at for at, rule in enumerate(rules.machine.rules) if rule.actor in FREE)
        self._make_solver = make_solver
        self._first_values = {
            v.name: [
                frozenset(literal if other == value else -literal for literal, other in encoding.values[v.name])
                for value in v.init
            ]
            for v in rules.machine.variables
        }
        """Per variable what each of its initial values makes true."""

    @property
    def top(self) -> int:
        """The number of the last frame."""
        return len(self.acts) - 1

    def strengthen(
        self,
        asked: Sequence[int],
        report: ProgressCallback,
        looking: Clock | None = None,
        answered: Container[int] = (),
        boldly: bool = False,
    ) -> Iterator[tuple[int, Trace]]:
        """Adds lemmas that keep targets out for good, as far as that is found within a few steps back.

        What `run` learnt of frames is forgotten.

        If `boldly`, within more of them, and what people may change is guessed not to matter (see `_widened`).

        Targets that come to be `answered` are passed over.  What was found by when the clock for `looking` is over is
        kept.

        Gives (place, trace) for each target found reachable on the way.  One frame stands for all that is reachable.  A
        cube that must be kept out is taken to be out while what leads into it is looked at, so that clauses which only
        hold together are found; those that do not are dropped at the end.
        """
        add_all(self.solver, [[-act] for act in self.acts[1:]])
        self.acts, self.cubes = [self.acts[0], self.solver.new()], [[], []]
        self.clear, self._is_propagated = -1, True
        most, left = (MOST_STEPS_BOLDLY, MOST_BOLDLY_IN_VAIN) if boldly else (MOST_STEPS_BACK, MOST_IN_VAIN)
        whole, self.clock = self.clock, looking or self.clock
        try:
            for place, at in enumerate(asked):
                if at in answered:
                    continue
                report(Progress(NAME, STRENGTHENING, place, len(asked)))
                found = self._block_for_good(at, min(left, most), boldly)
                if isinstance(found, Trace):
                    yield at, found
                else:
                    left -= found
                if not left:
                    break
        except OutOfTime:
            whole.check()
        finally:
            self.clock = whole
        self._settle()
        self.solver.add([-self.acts[1]])
        self.acts, self.cubes = self.acts[:1], self.cubes[:1]

    def _block_for_good(self, at: int, most: int, boldly: bool) -> int | Trace:
        """Learns clauses that exclude the target; gives a run to it, or in how many steps neither came about."""
        act, target = self.acts[1], self.targets[at]
        stack: list[_Assumed] = []
        plain: set[Cube] = set()
        """The cubes that are not widened, or not any more."""
        try:
            for _ in range(most):
                self.acts[1:] = [act, *(assumed.switch for assumed in stack)]
                if not stack:
                    if not self._solve([act, *self.solver.parts(target)]):
                        return 0
                    cube = tuple(sorted(self.rules.justify([target], self.solver.model())))
                    stack.append(self._assume_blocked(Obligation(cube, -1, None)))
                    continue
                obligation = stack[-1].obligation
                cube = obligation.cube
                lead = self._run_into(cube)
                if lead is not None:
                    guessed = [place for place, assumed in enumerate(stack) if assumed.is_guess]
                    if not guessed:
                        return self._trace(lead, obligation)
                    # what was guessed last is taken back, with all that came of it
                    add_all(self.solver, [[-assumed.switch] for assumed in stack[guessed[-1] :]])
                    del stack[guessed[-1] :]
                    continue
                answer = self._entry(cube, 1)
                if isinstance(answer, _Entry) and boldly and cube not in plain:
                    plain.add(cube)
                    wider = self._widened(cube)
                    if wider != cube:
                        plain.add(wider)
                        wide = Obligation(wider, obligation.rule, obligation.then)
                        stack.append(self._assume_blocked(wide, is_guess=True))
                        continue
                if isinstance(answer, _Entry):
                    joined = None if boldly else self._joined(cube, 1)
                    if joined is None:
                        before = Obligation(self._before(cube, answer), answer.rule, obligation)
                        stack.append(self._assume_blocked(before))
                        continue
                    cube, answer = joined, set(joined)
                self._learn(self._generalize(cube, answer, 1), 1)
                self.solver.add([-stack.pop().switch])
            return most
        finally:
            self.acts[1:] = [act]
            add_all(self.solver, [[-assumed.switch] for assumed in stack])

    def _assume_blocked(self, obligation: Obligation, is_guess: bool = False) -> _Assumed:
        switch = self.solver.new()
        self.solver.add([-switch, *(-literal for literal in obligation.cube)])
        return _Assumed(obligation, switch, is_guess)

    def _widened(self, cube: Cube) -> Cube:
        """The cube without what steps that are free (`FREE`) lead into, as long as nothing known is in it.

        That none of its states is reached is a guess.
        """
        pending = True
        while pending:
            pending = False
            for at in self.rules.entering(cube):
                written = self.rules.written(at, cube) if at in self._free else None
                if not written:
                    continue
                wider = tuple(literal for literal in cube if literal not in written)
                if not wider or self._is_seen(wider) or self._outside_start(wider) is None:
                    continue
                guard = self.solver.parts(self.rules.guards[at])
                if self._solve([*self.acts[1:], *guard, self._outside(tuple(written)), *wider]):
                    cube, pending = wider, True
                    break
        return cube

    def run(
        self, asked: Sequence[int], deepest: int | None, report: ProgressCallback, answered: Container[int] = ()
    ) -> Iterator[tuple[int, Trace]]:
        """Gives (place, trace) for each target asked about and found reachable; ends at a fixed point or `deepest`.

        Whoever takes a trace may find others answered by it: targets that are `answered` are asked about no more.
        After OutOfTime it goes on, when called again, where it was.
        """
        still_open = list(asked)
        while True:
            if not self._is_propagated:
                # What the frame before knows and can be kept need not be learnt again.
                fixed = self._propagate()
                if fixed is not None:
                    kept = [cube for level in self.cubes[fixed + 1 :] for cube in level]
                    self.invariant = (*self.lemmas, *kept)
                    return
                self._is_propagated = True
            if self.clear < self.top:
                for place, at in enumerate(asked):
                    if at in answered or at not in still_open:
                        continue
                    report(Progress(NAME, f"what {self.top} steps can reach", place, len(self.targets)))
                    trace = self._clear_target(at)
                    if trace is not None:
                        yield at, trace
                        still_open.remove(at)
                still_open = [at for at in still_open if at not in answered]
                self.clear = self.top
                if still_open and (self.top == 0 or self.top in SETTLING_FRAMES):
                    if self.top:
                        self._settle()
                    if not self.not_excluded(still_open):
                        self.invariant = self.lemmas
                        return
            if not still_open or (deepest is not None and self.top >= deepest):
                return
            self.acts.append(self.solver.new())
            self.cubes.append([])
            self._is_propagated = False

    def not_excluded(self, asked: Sequence[int]) -> list[int]:
        """Those of these targets that the lemmas alone do not keep out."""
        # with a solver of its own: most targets are asked about here and never again
        solver = PolaritySolver(self.rules.encoding, self._make_solver())
        try:
            add_all(solver, [[-literal for literal in cube] for cube in self.lemmas])
            return [at for at in asked if solver.solve(solver.parts(self.targets[at]), self.clock)]
        finally:
            solver.close()

    def _solve(self, assumptions: Sequence[int]) -> bool:
        return self.solver.solve(assumptions, self.clock)

    def _clear_target(self, at: int) -> Trace | None:
        """Empties the last frame of states in the target; gives a trace where that cannot be."""
        target = self.targets[at]
        if self.top == 0:
            if not self._solve([self.acts[0], *self.solver.parts(target)]):
                return None
            return Trace((), (self.rules.encoding.decode(self.solver.model()),))
        while self._solve([self.acts[-1], *self.solver.parts(target)]):
            cube = tuple(sorted(self.rules.justify([target], self.solver.model())))
            trace = self._block(Obligation(cube, -1, None), self.top)
            if trace is not None:
                return trace
        return None

    def _block(self, first: Obligation, level: int) -> Trace | None:
        ticket = count()
        queue = [(level, next(ticket), first)]
        while queue:
            level, _, obligation = heapq.heappop(queue)
            cube = obligation.cube
            lead = self._run_into(cube)
            if lead is not None:
                return self._trace(lead, obligation)
            if not self._solve([*self.acts[level:], *cube]):
                if level < self.top:
                    heapq.heappush(queue, (level + 1, next(ticket), obligation))
                continue
            answer = self._entry(cube, level - 1)
            if isinstance(answer, _Entry):
                before = Obligation(self._before(cube, answer), answer.rule, obligation)
                heapq.heappush(queue, (level - 1, next(ticket), before))
                heapq.heappush(queue, (level, next(ticket), obligation))
                continue
            lemma = self._generalize(cube, answer, level - 1)
            while level < self.top and not isinstance(self._entry(lemma, level), _Entry):
                level += 1
            self._learn(lemma, level)
            if level < self.top:
                heapq.heappush(queue, (level + 1, next(ticket), obligation))
        return None

    def _before(self, cube: Cube, entry: _Entry) -> Cube:
        """States from which the rule leads into the cube, that of the entry among them."""
        rest = [literal for literal in cube if abs(literal) not in self.rules.effects[entry.rule]]
        return tuple(sorted(self.rules.justify([self.rules.guards[entry.rule]], entry.model).union(rest)))

    def _run_into(self, cube: Cube) -> Trace | None:
        """A run to a state of the cube that is known already."""
        run = None if self.samples is None else self.samples.run_into(cube)
        if run is None and (start := self._initial_state_in(cube)) is not None:
            run = Trace((), (start,))
        return run

    def _trace(self, lead: Trace, obligation: Obligation) -> Trace:
        machine = self.rules.machine
        states, fired = list(lead.states), list(lead.rules)
        step: Obligation | None = obligation
        while step is not None and step.then is not None:
            rule = machine.rules[step.rule]
            fired.append(rule.name)
            states.append(fire(machine, rule, states[-1]))
            step = step.then
        return Trace(tuple(fired), tuple(states))

    def _initial_state_in(self, cube: Cube) -> State | None:
        if self._outside_start(cube) is None and self._solve([self.acts[0], *cube]):
            return self.rules.encoding.decode(self.solver.model())
        return None

    def _outside_start(self, cube: Cube) -> set[int] | None:
        """Literals of the cube that no initial state satisfies together; None where one satisfies all of the cube."""
        names = self.rules.encoding.variable_of
        said: dict[str, list[int]] = {}
        for literal in cube:
            said.setdefault(names[abs(literal)], []).append(literal)
        for name, own in said.items():
            if not any(first.issuperset(own) for first in self._first_values[name]):
                return set(own)
        if self.rules.machine.start == TRUE or self._solve([self.acts[0], *cube]):
            return None
        return set(cube).intersection(self.solver.core())

    def never_entered(self, cube: Cube, first: Sequence[int]) -> Cube | None:
        """A cube at least as large that no initial state is in and that no rule enters where the lemmas hold.

        Of what can be given up, these literals are given up first.  None where no such cube is found by taking in,
        again and again, the state from which a rule enters.
        """
        beyond = self.top + 1
        rule = 0
        while cube and self._outside_start(cube) is not None:
            answer = self._entry(cube, beyond, rule)
            if isinstance(answer, _Entry):
                rule = answer.rule
                cube = tuple(literal for literal in cube if answer.model[abs(literal) - 1] == literal)
                continue
            for literal in (None, *first):
                # None: what the answer does not rest on goes all at once.
                fewer = tuple(o for o in cube if o != literal) if literal else self._closed(cube, answer)
                if len(fewer) == len(cube) or not fewer or self._outside_start(fewer) is None:
                    continue
                less = self._entry(fewer, beyond)
                if not isinstance(less, _Entry):
                    cube, answer = fewer, less
            return self._generalize(cube, answer, beyond)
        return None

    def _entry(self, cube: Cube, level: int, first: int = 0) -> _Entry | set[int]:
        """A way into the cube from outside it within the frame; else the literals that keep every rule out.

        Rules are asked in their order from the `first` on, then those before it.
        """
        return self._entry_from(cube, self.acts[level:], first)

    def _entry_from(self, cube: Cube, assumed: Sequence[int], first: int = 0) -> _Entry | set[int]:
        """The same from where the assumed literals hold."""
        kept: set[int] = set()
        members = set(cube)
        for at in sorted(self.rules.entering(cube), key=lambda rule: rule < first):
            written = self.rules.written(at, cube)
            if written is None:
                continue
            rest = [literal for literal in cube if literal not in written]
            outside = self._outside(tuple(written))
            guard = self.solver.parts(self.rules.guards[at])
            if self._solve([*assumed, *guard, outside, *rest]):
                return _Entry(at, self.solver.model())
            # what the guard says too needs not be said by the cube
            kept.update(members.intersection(self.solver.core()).difference(guard))
        return kept

    def _outside(self, written: tuple[int, ...]) -> int:
        """A literal that implies that one of these is false."""
        if len(written) == 1:
            return -written[0]
        found = self._away.get(written)
        if found is None:
            found = self._away[written] = self.solver.new()
            self.solver.add([-found, *(-literal for literal in written)])
        return found

    def _generalize(self, cube: Cube, kept: set[int], level: int) -> Cube:
        """A larger cube that no rule enters from outside it within the frame, and that no initial state is in."""
        best = self._unseen(self._closed(cube, kept), cube, level)
        for literal in self._in_order_of_use(best):
            if literal not in best or len(best) == 1:
                continue
            smaller = tuple(other for other in best if other != literal)
            best = self._joined(smaller, level) or best
        return best

    def _joined(self, cube: Cube, level: int) -> Cube | None:
        """A cube around this one that no rule enters; each way in makes it as large as the state where that began."""
        rule = 0
        for _ in range(MOST_JOINED):
            if self._is_seen(cube) or self._outside_start(cube) is None:
                return None
            answer = self._entry(cube, level, rule)
            if not isinstance(answer, _Entry):
                return self._unseen(self._closed(cube, answer), cube, level)
            rule = answer.rule
            cube = tuple(literal for literal in cube if answer.model[abs(literal) - 1] == literal)
        return None

    def _is_seen(self, cube: Cube) -> bool:
        return self.samples is not None and self.samples.within(cube) != 0

    def _unseen(self, part: Cube, cube: Cube, level: int) -> Cube:
        """The part with more of the cube, so that samples stay out that the cube keeps out; the cube, where that fails.

        A rule may lead from the part into what is left of it: the outcome is asked about once more.
        """
        if not self._is_seen(part) or self.samples is None:
            return part
        masks = self.samples.masks
        inside = self.samples.within(part)
        grown = set(part)
        rest = [literal for literal in self._in_order_of_use(cube) if literal not in grown]
        while inside and rest:
            best = min(rest, key=lambda literal: ((inside & masks[literal]).bit_count(), literal))
            if inside & masks[best] == inside:
                break
            inside &= masks[best]
            grown.add(best)
            rest.remove(best)
        found = tuple(sorted(grown))
        return cube if isinstance(self._entry(found, level), _Entry) else found

    def _in_order_of_use(self, cube: Cube) -> list[int]:
        """Literals that few rules make true are the more telling: they are tried last."""
        return sorted(cube, key=lambda literal: (-len(self.rules.making(literal)), literal))

    def _closed(self, cube: Cube, kept: set[int]) -> Cube:
        """The part of the cube that `_entry` rests on, with what keeps the other rules and the start out."""
        outside = self._outside_start(cube)
        if outside is None:
            raise AssertionError("an initial state is in a cube that was to be blocked")
        chosen = set(kept)
        if self._outside_start(tuple(sorted(chosen))) is None:
            chosen.update(outside)
        pending = True
        while pending:
            pending = False
            for at in self.rules.entering(chosen):
                if self.rules.written(at, cube) is None and self.rules.written(at, chosen) is not None:
                    effect = self.rules.effects[at]
                    chosen.add(next(o for o in cube if effect.get(abs(o), o > 0) != (o > 0)))
                    pending = True
        return tuple(sorted(chosen))

    def _learn(self, lemma: Cube, level: int) -> None:
        members = frozenset(lemma)
        for below in range(1, level + 1):
            self.cubes[below] = [cube for cube in self.cubes[below] if not members.issubset(cube)]
        self.cubes[level].append(lemma)
        self.solver.add([-self.acts[level], *(-literal for literal in lemma)])

    def _settle(self) -> None:
        """Makes lemmas of those clauses of the last frames that are inductive together, wherever the frames stand."""
        pool = [cube for level in self.cubes[max(1, self.top - 1) :] for cube in level if not self._is_seen(cube)]
        switches = {cube: self.solver.new() for cube in pool}
        for cube, switch in switches.items():
            self.solver.add([-switch, *(-literal for literal in cube)])
        pending = True
        while pending:
            pending = False
            for cube in list(switches):
                if isinstance(self._entry_from(cube, list(switches.values())), _Entry):
                    del switches[cube]
                    pending = True
        self.lemmas = (*self.lemmas, *switches)
        self.cubes = [[cube for cube in level if cube not in switches] for level in self.cubes]
        add_all(self.solver, [[switch] for switch in switches.values()])

    def _propagate(self) -> int | None:
        """Moves clauses to later frames where they hold there too; the first frame that equals the next, or None."""
        for level in range(1, self.top):
            for cube in list(self.cubes[level]):
                if cube not in self.cubes[level]:
                    continue
                if not isinstance(self._entry(cube, level), _Entry):
                    self._learn(cube, level + 1)
            if not self.cubes[level]:
                return level
        return None
