"""What is known of one machine of which it is asked whether goals can always be brought about (see `recovery`)."""

from __future__ import annotations

from collections.abc import Generator, Sequence

from interlock.kernel.claims import ProgressCallback
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Is, Value, each, fold, neg
from interlock.kernel.machine import Machine, Question
from interlock.kernel.recovery import (
    Entry,
    Rank,
    surely_drops,
    surely_never_rises,
    without_failures,
    written_by,
)
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.solvers import light_solver
from interlock.prove.core.starts import some_initial_states
from interlock.prove.engine import NO_LIMITS, Clock
from interlock.prove.frames.frames import Frames
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.prove.invariants.mined import MOST_STARTS, mine
from interlock.prove.recovery.planning import Planner
from interlock.prove.search import guided

FACT_EXPANDED = 60
"""How many states are expanded to see a variable have a value, for states that are surely reachable."""
FACTS_IN_VAIN = 800
"""So many in all for values that are not seen."""
LONGEST_RUN = 1_000
"""The run of a case that is remembered has no more rules."""
MOST_MET = 400
"""So many of these are tried first: cases and dead ends among them are real."""


class RecoveryContext:
    """Its rules, an invariant, and states that are surely reachable; all questions and stages share them."""

    def __init__(
        self,
        machine: Machine,
        goals: Sequence[Expr],
        clock: Clock,
        report: ProgressCallback,
        found: Lemmas | None = None,
    ) -> None:
        self.found = Lemmas() if found is None else found
        self.remembered = self.found.remembered or Remembered()
        self.machine = machine
        self.calm = without_failures(machine)
        self._calm_names = {rule.name for rule in self.calm.rules}
        self.clock = clock
        self.report = report
        self.rules = LocalRules(machine)
        self.number = {rule.name: at for at, rule in enumerate(machine.rules)}
        self.home = [
            -literal
            for variable in machine.variables
            for literal, value in self.rules.encoding.values[variable.name]
            if value not in variable.init and abs(literal) != TRUTH
        ]
        self.written = {name for rule in machine.rules for name, _ in rule.update}
        self.initial = {variable.name: variable.init for variable in machine.variables}
        self.planner = Planner(self.calm)
        starts = some_initial_states(self.rules, MOST_STARTS, clock, light_solver)
        self.lemmas: list[Cube] = []
        self.effort = 1
        """How many times as much as at first is spent on one state."""
        self.told: dict[tuple[Expr, Expr], list[Entry]] = {}
        """Per goals before and after a stage the cases that were told apart in it, by whatever measure."""
        self._told_failing: dict[tuple[tuple[str, ...], tuple[int, ...]], int] = {}
        """What `failing` gave."""
        self.met: list[State] = []
        """States that are surely reachable."""
        if starts:
            search = self._explore()
            self.met, self.run_to = search.states(MOST_MET), search.run_to
            self.prepare(goals)
            # they come last, as they may have to be waited for
            self.lemmas = self.found.taken_up(self.rules, clock, light_solver)
            if not self.lemmas:
                self.lemmas = mine(self.rules, goals, starts, clock, light_solver, report)
                self.found.keep(self.rules, self.lemmas)
        else:
            # No run at all: anything holds of every reachable state.
            self.lemmas = [()]

    def prepare(self, goals: Sequence[Expr]) -> None:
        """What can be known of the goals without lemmas."""

    def known(self, entry: Entry) -> Entry | None:
        """The case in the words of this machine; None where it is none that could be of use here."""
        if not self._calm_names.issuperset(entry.rules) or len(entry.rules) > LONGEST_RUN:
            return None
        facts: list[Expr] = []
        for fact in entry.when:
            literals = self.rules.cube(neg(fact))
            if literals is None:
                return None
            facts += [self.rules.encoding.facts[literal] for literal in literals]
        told = [fact.variable for fact in facts if isinstance(fact, Is)]
        return Entry(tuple(facts), entry.rules, entry.into) if len(set(told)) == len(told) else None

    def _explore(self) -> guided.GuidedSearch:
        """Runs to where each variable has each of its values, as far as these are soon found."""
        facts = [Is(v.name, value) for v in self.machine.variables for value in v.domain if value not in v.init]
        questions = [Question(f"{fact.variable} {fact.value}", fact, expects_run=True) for fact in facts]
        # a value that is hard to come by is not worth what would have to be done beforehand
        search = guided.GuidedSearch(self.machine, questions, NO_LIMITS, self.clock, briefly=True)
        search.run(range(len(questions)), FACT_EXPANDED, self.report, FACTS_IN_VAIN)
        search.cover(self.report)
        return search

    def failing_case(self, rank: Rank, entries: Sequence[Entry], entry: Entry, before: int, to: int) -> int:
        """The literal that says, of a state in which the entry applies, that it does not keep its word there."""
        written = written_by(self.machine, entry.rules)
        good = [to]
        if surely_drops(self.machine, rank, entry.when, written):
            good.append(before)
        elif entry.into is not None and surely_never_rises(self.machine, rank, entry.when, written):
            good.append(self.rules.encoding.all_of([before, self.applies(entries[entry.into])]))
        return self.failing(entry.rules, *good)

    def applies(self, entry: Entry) -> int:
        """The literal that says that the entry applies."""
        encoding = self.rules.encoding
        return encoding.all_of(encoding.gate(fact) for fact in entry.when)

    def failing(self, names: Sequence[str], *wanted: int) -> int:
        """The literal that says, of a state, that these rules cannot fire there in turn, or lead to nothing wanted."""
        key = tuple(names), wanted
        if key not in self._told_failing:
            encoding = self.rules.encoding
            effects: dict[int, bool] = {}
            wrong = []
            for name in names:
                at = self.number[name]
                wrong.append(-self._after(self.rules.guards[at], effects))
                effects.update(self.rules.effects[at])
            good = [self._after(literal, effects) for literal in wanted]
            self._told_failing[key] = encoding.any_of([*wrong, -encoding.any_of(good)])
        return self._told_failing[key]

    def _after(self, literal: int, effects: dict[int, bool]) -> int:
        """The literal that says of a state what this one says of the state after the effects."""
        encoding = self.rules.encoding
        known: dict[int, int] = {}

        def moved(wanted: int) -> Generator[int, int, int]:
            atom = abs(wanted)
            if atom not in known:
                if atom in effects:
                    known[atom] = TRUTH if effects[atom] else -TRUTH
                elif atom in encoding.parts:
                    parts = encoding.parts[atom]
                    after: list[int] = yield from each(parts)
                    known[atom] = atom if tuple(after) == parts else encoding.all_of(after)
                else:
                    known[atom] = atom
            return known[atom] if wanted > 0 else -known[atom]

        return fold(moved, literal) if effects else literal

    def excludes(self, state: State) -> bool:
        """The state is of a kind that no rule leads to: the invariant says so from now on."""
        weak = [one for one in self.facts_of(state) if one < 0 or len(self._options(one)) <= 2]
        # What kind of thing is there matters less, on the whole, than that something is.
        kinds = [one for one in weak if not self._rules_out_start(one)]
        frames = Frames(self.rules, [], self.clock, light_solver, self.lemmas)
        try:
            cube = frames.never_entered(tuple(sorted(weak)), kinds)
        finally:
            frames.solver.close()
        if cube is not None:
            self.lemmas.append(cube)
        return cube is not None

    def _rules_out_start(self, literal: int) -> bool:
        """The variable has not (one of) its initial values."""
        ruled_out = [value for option, value in self._options(literal) if option == -literal]
        return any(value in self.initial[self.rules.encoding.variable_of[abs(literal)]] for value in ruled_out)

    def _options(self, literal: int) -> Sequence[tuple[int, Value]]:
        encoding = self.rules.encoding
        return encoding.values[encoding.variable_of[abs(literal)]]

    def spoken_of(self, names: Sequence[str]) -> frozenset[str]:
        """The variables that these rules read or write."""
        return frozenset().union(*(self.rules.region(self.number[name]) for name in names))

    def facts_of(self, state: State) -> list[int]:
        """What is so in the state: of variables with many values also which values they do not have."""
        found = []
        for variable, value in zip(self.machine.variables, state, strict=True):
            options = self.rules.encoding.values[variable.name]
            for literal, other in options:
                if abs(literal) != TRUTH and (len(options) > 2 or literal > 0):
                    found.append(literal if other == value else -literal)
        return found
