"""Guided search: finds long runs to targets that exist; says nothing about those that do not.

Best-first search (see `best_first`) for many targets in turn: whatever is met on the way to one counts for all others.
Steps other than those that help are made only when it is their turn.

Every state that was met is kept with the step that led to it first, and each search begins where an earlier one has
already been: in the state that is farthest along the relaxed plan for the new target.

Reference, from memory:
  M. Helmert, "The Fast Downward planning system", JAIR 26, 2006 (late evaluation).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence, Set
from itertools import islice

from interlock.diagnostics.said import say
from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, Refuted, Trace, Unknown, silent
from interlock.kernel.evaluator import State, initial_states
from interlock.kernel.expressions import FALSE, And, Expr, Is, Ref, Value, assign, variables_of
from interlock.kernel.machine import Machine, Question
from interlock.kernel.why import Helps, Why
from interlock.prove.core.packing import Packing
from interlock.prove.engine import NO_LIMITS, Clock, clock_of
from interlock.prove.search.best_first import OpenList
from interlock.prove.search.delete_relaxation import NEVER, DeleteRelaxation, RelaxationCosts
from interlock.prove.search.novelty import Novelty

NAME = "guided"
NO_RUN = Why(say("no run to it was found, and this way of looking proves nothing"), Helps.METHOD)
MOST_EXPANDED = 4_000
"""How many states one target may expand before the search gives it up."""

MOST_STARTS = 64
"""How many initial states are tried as starts."""
NEARBY_EXPANDED = 40
"""How many states are expanded from where an earlier search has been, and for each step estimated this many more: """
NEARBY_PER_STEP = 3
STEPS = 32
"""Where a target seems to be farther away than so many steps, more states may be expanded in the same proportion."""
PAID_FOR = 20
"""So many more states may be expanded in vain for each run that is found."""
HARD = 3
"""What costs as much as this is not undone on the way to something else, where it is so."""
REACHING_PER_STEP = 8
"""How many states are expanded on the way to a cube, for each step that it seems to be away."""
COVER_EXPANDED = 12
"""How many states are expanded, and for each step estimated one more, to see a rule fire that has not yet."""


def guided(
    machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: ProgressCallback = silent
) -> tuple[Claim, ...]:
    """Runs to as many targets as it can find; Unknown for all others, whether they are reachable or not.

    A run is seldom the shortest and never claimed to be.  Every state that a search for one target goes through is
    looked at for all others.  `limits.states` bounds the states held for one target.
    """
    found = find_runs(machine, questions, limits, report, clock_of(limits))
    return tuple(
        Refuted(q.id, NAME, found[q.id], False) if q.id in found else Unknown(q.id, NAME, NO_RUN, -1) for q in questions
    )


def find_runs(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits,
    report: ProgressCallback,
    clock: Clock,
    most_expanded: int = MOST_EXPANDED,
) -> dict[str, Trace]:
    """The runs that guided search finds, by question id; `most_expanded` states are expanded for each at the most."""
    search = GuidedSearch(machine, questions, limits, clock)
    search.run(range(len(questions)), most_expanded, report)
    return search.found


class GuidedSearch:
    """What is known of one machine while its targets are pursued.

    `found` holds runs by question id.  Every state that was met is kept with the step that led to it first; to
    *visit* one is to see what is so there.
    """

    def __init__(
        self, machine: Machine, questions: Sequence[Question], limits: Limits, clock: Clock, *, briefly: bool = False
    ) -> None:
        self._briefly = briefly
        """What sticks is left: nothing is tried that has to be done beforehand."""
        self._machine = machine
        self._questions = questions
        self._clock = clock
        self._most = limits.states or 1_000_000
        self._packing = Packing(machine)
        self._writes = [self._packing.writes(rule) for rule in machine.rules]
        self._numbers = {rule.name: at for at, rule in enumerate(machine.rules)}
        self._relaxation = DeleteRelaxation(machine, [q.target for q in questions])
        self._starts = [self._packing.pack(state) for state in islice(initial_states(machine), MOST_STARTS)]
        self._parents: dict[int, tuple[int, int] | None] = dict.fromkeys(self._starts)
        self._depths = dict.fromkeys(self._starts, 0)
        self._visited: dict[int, None] = {}
        """In the order in which searches went through them: where later ones may begin."""
        self._states: dict[int, State] = {}
        """Those that were unpacked: runs share most of theirs."""
        self.found: dict[str, Trace] = {}
        self._expanded = 0
        self._undone_by: dict[Expr, frozenset[int]] = {}
        self._seen: set[tuple[str, Value]] = set()
        """What some rule made so that could fire in a state visited, and what was so at first."""
        self._open_at: dict[int, list[int]] = {}
        """Questions that are still open, by the node of the target."""
        self._unfired_at: dict[int, list[int]] = {}
        """Rules that could not fire yet, by the node of the guard."""
        if self._starts:
            self._begin()

    def _begin(self) -> None:
        first = self._starts[0]
        self._at = first
        self._relaxation.put_all(self._packing.places(first))
        self._visited[first] = None
        self._closest = first
        """Where the last search came nearest to what it was for."""
        self._seen.update(zip(self._machine.domains, self._state(first), strict=True))
        self._surveys = [self._relaxation.survey()]
        for number, node in enumerate(self._relaxation.targets):
            self._open_at.setdefault(node, []).append(number)
        for rule in range(len(self._machine.rules)):
            self._unfired_at.setdefault(self._relaxation.guard(rule), []).append(rule)
        self._notice([*self._open_at, *self._unfired_at])
        for start in self._starts[1:]:
            self._visit(start)

    def _survey(self, node: int) -> RelaxationCosts:
        """What things cost from the first start from which the node can be reached at all, as far as costs tell."""
        for at, start in enumerate(self._starts):
            if at == len(self._surveys):
                if self._clock.is_over():
                    break
                self._visit(start)
                self._surveys.append(self._relaxation.survey())
            if self._surveys[at].cost(node) < NEVER:
                return self._surveys[at]
        return self._surveys[0]

    def _cost(self, node: int) -> int:
        return self._survey(node).cost(node)

    def run(
        self, numbers: Iterable[int], most_expanded: int, report: ProgressCallback, in_vain: int | None = None
    ) -> None:
        """Pursues these questions, by place, the nearest first: a farther one begins where a nearer one ended.

        Ends early, without a word, when time is over, or once so many states were expanded `in_vain`, for questions to
        which no run was found; each run that is found pays for a few more.
        """
        if not self._starts:
            return
        asked = self.nearest(numbers)
        for done, number in enumerate(asked):
            if self._clock.is_over():
                break
            report(Progress(NAME, "looking for orders of steps that break something", done, len(asked)))
            if self._is_open(number):
                expanded, found = self._expanded, len(self.found)
                self.pursue(number, most_expanded)
                if in_vain is not None:
                    in_vain += PAID_FOR * (len(self.found) - found)
                    in_vain -= (self._expanded - expanded) * self._is_open(number)
                    if in_vain <= 0:
                        break

    def nearest(self, numbers: Iterable[int]) -> list[int]:
        """Those of these questions to which no run is found yet and to which there may be one, the nearest first."""
        far = {number: self._cost(self._relaxation.targets[number]) for number in numbers if self._is_open(number)}
        return sorted((number for number in far if far[number] < NEVER), key=lambda number: (far[number], number))

    def cover(self, report: ProgressCallback) -> None:
        """Goes where rules fire that make something so which was not so yet, as far as that is soon done.

        A rule that was tried in vain is not hoped for on the way to others.
        """
        if not self._starts:
            return
        rules = self._machine.rules
        unfired = [rule for rules_there in self._unfired_at.values() for rule in rules_there]
        far = {rule: self._cost(self._relaxation.guard(rule)) for rule in unfired}
        failed: set[int] = set()
        for done, rule in enumerate(sorted(far, key=lambda rule: (far[rule], rule))):
            if self._clock.is_over():
                return
            if far[rule] >= NEVER or self._seen.issuperset(rules[rule].update):
                continue
            report(Progress(NAME, "looking for steps not seen yet", done, len(far)))
            goal = self._relaxation.guard(rule)
            near = self._nearest(goal)
            self._visit(near)
            plan = self._relaxation.plan_here(goal)
            if plan is None or not failed.isdisjoint(plan.rules):
                failed.add(rule)
                continue
            reached = self._run([near], True, goal, COVER_EXPANDED + min(plan.size, COVER_EXPANDED), None)
            if reached is None:
                failed.add(rule)
            else:
                self._visit(self._step(reached, rule))

    def spread(self, most_expanded: int) -> list[State]:
        """Goes on to states in which two facts meet for the first time (see `novelty`), from all that were visited.

        Gives these states.  What takes few things at a time is among them, however many steps it takes.
        """
        novelty = Novelty(self._machine, self._packing, self._step)
        begun = [(packed, novelty.facts(self._state(packed))) for packed in self._visited]
        found: dict[int, None] = {}
        for packed in novelty.spread(begun, most_expanded):
            found[packed] = None
            if self._clock.is_over():
                break
        return [self._state(packed) for packed in found]

    def states(self, most: int) -> list[State]:
        """Up to so many reachable states: first those that searches went through, then others a step away."""
        chosen = dict.fromkeys(islice(reversed(self._visited), most))
        each = -(-(most - len(chosen)) // max(1, len(self._visited)))
        turn = 0
        for state in self._along_runs():
            if len(chosen) >= most:
                break
            enabled = self._enabled(state)
            # Each state a few others, and all rules in turn.
            for _ in range(min(each, len(enabled))):
                turn += 1
                chosen[self._step(state, enabled[turn % len(enabled)])] = None
        return [self._state(state) for state in islice(chosen, most)]

    def _along_runs(self) -> list[int]:
        """The states visited, each as near as can be to that from which it was come to: little changes between two."""
        after: dict[int, list[int]] = {}
        for state, step in self._parents.items():
            if step is not None:
                after.setdefault(step[0], []).append(state)
        found: list[int] = []
        stack = [state for state, step in self._parents.items() if step is None][::-1]
        while stack:
            state = stack.pop()
            if state in self._visited:
                found.append(state)
            stack.extend(reversed(after.get(state, ())))
        return found

    def follow(self, trace: Trace) -> None:
        """Goes along a run that was found elsewhere: its states count as met, and are where later searches begin."""
        state = self._packing.pack(trace.states[0])
        if not self._visited:
            return
        if state not in self._parents:
            self._parents[state] = None
            self._depths[state] = 0
        self._visit(state)
        for name in trace.rules:
            state = self._step(state, self._numbers[name])
            self._visit(state)

    def pursue(self, number: int, most_expanded: int = MOST_EXPANDED) -> None:
        """Searches for one target; whatever other targets are met on the way count as well.

        What of the target is not so at the start is pursued by itself first: the rest may have to be undone on the way
        and done again, which the estimate, blind to undoing, does not see.
        """
        parts = _conjuncts(self._questions[number].target, self._machine)
        whole = self._relaxation.targets[number]
        survey = self._survey(whole)
        first = [part for part in parts if survey.cost(self._relaxation.goal(part))]
        if len(first) == len(parts):
            first = []
        node = self._relaxation.all_of([self._relaxation.goal(part) for part in first]) if first else whole
        nearby = self._nearest(node)
        if nearby not in self._starts:
            few = self._few(nearby, node, most_expanded)
            if few:
                self._pursue_from([nearby], first, node, few, number)
        if self._is_open(number):
            most = _most(most_expanded, survey.steps(whole))
            if self._pursue_from(self._starts, first, node, most, number) and self._is_open(number):
                # The half was reached where the rest cannot follow: both at once.
                self._run(self._starts, False, whole, most, number)
        if self._is_open(number) and not self._briefly:
            self._prepare(number, most_expanded)

    def _prepare(self, number: int, most_expanded: int) -> None:
        """Searches for a target from where one thing is so already that was lacking where it came nearest.

        It stays so.  What stands in the way of its being done later, such as a unit in the bay in which people have to
        stand for it, is not there yet.
        """
        whole = self._relaxation.targets[number]
        self._visit(self._closest)
        for name, value in self._relaxation.milestones_here(whole):
            if not self._is_open(number):
                break
            lacking = Is(name, value)
            node = self._relaxation.goal(lacking)
            mask, bits = self._packing.fact(name, value)
            source = next((state for state in self._visited if state & mask == bits), None)
            if source is None:
                start = self._starts[0]
                source = self._run([start], True, node, self._few(start, node, most_expanded), number)
            if source is not None:
                banned = self._undoing([lacking])
                self._run([source], False, whole, self._few(source, whole, most_expanded, banned), number, banned)

    def _few(self, source: int, node: int, most_expanded: int, banned: Set[int] = frozenset()) -> int:
        """How many states are expanded from where an earlier search has been; none where there is no plan."""
        self._visit(source)
        plan = self._relaxation.plan_here(node, banned)
        if plan is None:
            return 0
        return min(NEARBY_EXPANDED + NEARBY_PER_STEP * plan.size, _most(most_expanded, plan.size))

    def reach(self, parts: Sequence[Expr], sources: Iterable[State], most_expanded: int) -> State | None:
        """A state in which all of the parts are so, from where searches have been; `run_to` gives the run.

        The parts are facts or negations of facts.  Of what was met before, the search begins in `sources`, one after
        the other, and never undoes what is so there and was not easily come by; then in what is farthest along a
        relaxed plan.  None: not found.
        """
        if not self._starts:
            return None
        nodes = [self._relaxation.goal(part) for part in parts]
        node = self._relaxation.all_of(nodes)
        if self._cost(node) >= NEVER:
            return None
        hard = [part for part, own in zip(parts, nodes, strict=True) if self._surveys[0].cost(own) >= HARD]
        for source in sources:
            packed = self._packing.pack(source)
            self._visit(packed)
            kept = [part for part in hard if self._relaxation.is_so(self._relaxation.goal(part))]
            found = self._reach_from(packed, node, self._undoing(kept), most_expanded) if kept else None
            if found is not None:
                return found
        return self._reach_from(self._nearest(node), node, frozenset(), most_expanded)

    def _reach_from(self, source: int, node: int, banned: frozenset[int], most_expanded: int) -> State | None:
        self._visit(source)
        plan = self._relaxation.plan_here(node, banned)
        if plan is None:
            return None
        most = most_expanded + REACHING_PER_STEP * plan.size
        found = self._run([source], True, node, most, None, banned)
        return None if found is None else self._state(found)

    def _undoing(self, parts: Iterable[Expr]) -> frozenset[int]:
        """The rules that make one of these, which are facts or negations of facts, false."""
        found: set[int] = set()
        for part in parts:
            if part not in self._undone_by:
                names = variables_of(part)
                self._undone_by[part] = frozenset(
                    at
                    for at, rule in enumerate(self._machine.rules)
                    if any(name in names for name, _ in rule.update) and assign(part, dict(rule.update)) == FALSE
                )
            found |= self._undone_by[part]
        return frozenset(found)

    def _pursue_from(self, sources: Sequence[int], first: Sequence[Expr], node: int, most: int, number: int) -> bool:
        """Gives whether the parts that are pursued `first`, if any, were reached; the node stands for these.

        From there the rest is looked for without undoing them: the estimate, which takes what was once so to be so for
        good, would make away with the unit that a door is to be shut on.
        """
        reached = self._run(sources, bool(first), node, most, number)
        if not first or reached is None:
            return False
        for banned in (self._undoing(first), frozenset[int]()):
            if self._is_open(number):
                self._run([reached], False, self._relaxation.targets[number], most, number, banned)
        return True

    def _is_open(self, number: int) -> bool:
        return number in self._open_at.get(self._relaxation.targets[number], ())

    def _nearest(self, node: int) -> int:
        """The visited state that is farthest along the relaxed plan from the start to the target."""
        near: Iterable[int] = self._visited
        for name, value in self._survey(node).milestones(node):
            mask, bits = self._packing.fact(name, value)
            nearer = [state for state in near if state & mask == bits]
            if len(nearer) == 1:
                return nearer[0]
            near = nearer or near
        return min(near, key=lambda state: self._depths[state])

    def _run(
        self,
        sources: Sequence[int],
        partial: bool,
        node: int,
        most_expanded: int,
        number: int | None,
        banned: Set[int] = frozenset(),
    ) -> int | None:
        """Searches from the sources until the question is met or, where it is `partial`, what the node stands for.

        Without a question (None) only the node counts.  Rules that are banned do not fire.  Gives the state in which
        that is so.
        """
        waiting = OpenList(sources)
        nearest: int | None = None
        most_held = len(self._parents) + self._most
        reached = set(sources)
        for _ in range(most_expanded):
            if number is not None and not self._is_open(number):
                break
            if self._clock.is_over() or len(self._parents) > most_held:
                break
            state = waiting.take()
            if state is None:
                break
            self._expanded += 1
            self._visit(state)
            if partial and self._relaxation.is_so(node):
                return state
            plan = self._relaxation.plan_here(node, banned)
            if plan is None:
                continue
            if nearest is None or plan.size < nearest:
                nearest, self._closest = plan.size, state
            for rule in sorted(plan.first):
                after = self._step(state, rule)
                if after not in reached:
                    reached.add(after)
                    waiting.put_helped(plan.size, after)
            waiting.put_others(plan.size, self._more_steps(state, plan.first | banned, reached))
        return None

    def _more_steps(self, state: int, first: Set[int], reached: set[int]) -> Iterator[int]:
        """The states that other rules lead to and that are not yet in `reached`; they are added to it."""
        for rule in self._enabled(state):
            if rule not in first:
                after = self._step(state, rule)
                if after not in reached:
                    reached.add(after)
                    yield after

    def _enabled(self, state: int) -> list[int]:
        self._visit(state)
        return self._relaxation.enabled()

    def _step(self, state: int, rule: int) -> int:
        """The state after the rule, kept with the step that led to it where it was not met before."""
        keep, bits = self._writes[rule]
        after = state & keep | bits
        if after not in self._parents:
            self._parents[after] = (state, rule)
            self._depths[after] = self._depths[state] + 1
        return after

    def _visit(self, state: int) -> None:
        changes = self._packing.changes(self._at, state)
        self._at = state
        self._visited[state] = None
        self._notice(self._relaxation.put(changes))

    def _notice(self, nodes: Iterable[int]) -> None:
        """Looks at the state visited for what is so there for the first time; it is among the nodes."""
        for node in nodes:
            if node in self._unfired_at and self._relaxation.is_so(node):
                for rule in self._unfired_at.pop(node):
                    self._seen.update(self._machine.rules[rule].update)
            if node in self._open_at and self._relaxation.is_so(node):
                for number in self._open_at.pop(node):
                    self.found[self._questions[number].id] = self._run_to(self._at)

    def run_to(self, state: State) -> Trace:
        """A run to a state that was met."""
        return self._run_to(self._packing.pack(state))

    def _run_to(self, state: int) -> Trace:
        """A run to a state that was met, given packed."""
        rules: list[str] = []
        states = [self._state(state)]
        while (step := self._parents[state]) is not None:
            state, rule = step
            rules.append(self._machine.rules[rule].name)
            states.append(self._state(state))
        return Trace(tuple(reversed(rules)), tuple(reversed(states)))

    def _state(self, packed: int) -> State:
        """The state unpacked, from the one before it where that was unpacked."""
        path: list[tuple[int, int]] = []
        at = packed
        while at not in self._states and (step := self._parents[at]) is not None:
            path.append((at, step[1]))
            at = step[0]
        if at not in self._states:
            self._states[at] = self._packing.unpack(at)
        if path:
            positions = self._machine.positions
            values = list(self._states[at])
            for after, rule in reversed(path):
                for name, value in self._machine.rules[rule].update:
                    values[positions[name]] = value
                self._states[after] = tuple(values)
        return self._states[packed]


def _most(expanded: int, steps: int) -> int:
    """How many states may be expanded for a target that seems to be so many steps away."""
    return max(expanded, min(expanded * steps // STEPS, MOST_EXPANDED))


def _conjuncts(target: Expr, machine: Machine) -> list[Expr]:
    """The parts of a conjunction, signals that name conjunctions opened."""
    parts: list[Expr] = []
    stack = [target]
    while stack:
        expr = stack.pop()
        if isinstance(expr, Ref) and isinstance(machine.definitions[expr.signal], And):
            stack.append(machine.definitions[expr.signal])
        elif isinstance(expr, And):
            stack.extend(reversed(expr.args))
        else:
            parts.append(expr)
    return parts
