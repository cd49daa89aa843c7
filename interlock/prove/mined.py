"""Invariants mined from walks: pairs of facts never seen together, pruned to those that no rule can break.

Candidates are single facts and pairs of facts over variables that share a rule or a question.  Walks drop those that
are seen; then each rule is asked, under all that is left, whether it can bring a pair about (the greatest set that
is inductive together).  The state after such a step satisfies every inductive subset of the candidates, and so does
all that follows from it: walks that begin there drop, rightly, what would else take a round each.

References (from memory)
  C. Flanagan, K. R. M. Leino: Houdini, an annotation assistant for ESC/Java. FME 2001.
  A. Gupta, R. Majumdar, A. Rybalchenko: From tests to proofs. TACAS 2009. (candidates from runs)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations, count

from interlock.kernel.claims import Claim, Limits, Progress, Proved, Report, Unknown, silent
from interlock.kernel.evaluator import State, fire
from interlock.kernel.expressions import TRUE, And, Expr, Is, Not, Or, Ref
from interlock.kernel.machine import Machine, Question, support_of
from interlock.prove.encoding import TRUTH
from interlock.prove.engine import NO_LIMITS, Clock, OutOfTime, clock_of, time_reason
from interlock.prove.frames import Frames
from interlock.prove.local import Cube, LocalRules
from interlock.prove.pdr import certify, pursue
from interlock.prove.samples import Samples
from interlock.prove.sampling import Walks
from interlock.prove.solvers import SatSolver, SolverFactory, add_all, light_solver
from interlock.prove.starts import some_initial_states

NAME = "mined"
MOST_STARTS = 64
"""Walks begin in so many initial states, where there are so many."""
FIRST_QUIET = 12
"""The first walks end when so many sweeps in a row dropped nothing, the later ones after fewer."""
LATER_QUIET = 2
MOST_SWEEPS = 400
LARGEST_GROUP = 16
"""What speaks of more variables is taken apart before its variables are paired."""
MOST_PARTNERS = 60_000
"""Pairs are left out, variables with the most neighbours first, when there would be more."""


def mined(
    machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: Report = silent
) -> tuple[Claim, ...]:
    """Proves what mined invariants exclude, and pursues the rest from there (see `pdr`)."""
    clock = clock_of(limits)
    claims: dict[int, Claim] = {}
    rules = LocalRules(machine)
    lemmas: list[Cube] = []
    clear = -1
    try:
        starts = some_initial_states(rules, MOST_STARTS, clock, light_solver)
        if starts:
            lemmas = mine(rules, [question.target for question in questions], starts, clock, light_solver, report)
            claim_mined(rules, lemmas, questions, claims, clock)
        frames = Frames(rules, [question.target for question in questions], clock, light_solver, lemmas)
        try:
            pursue(frames, questions, claims, limits.depth, report)
            reason = f"no invariant within {frames.top} frames"
        finally:
            clear = frames.clear
            frames.solver.close()
    except OutOfTime:
        reason = time_reason(limits)
    except KeyboardInterrupt:
        reason = "interrupted"
    for at, question in enumerate(questions):
        if at not in claims:
            claims[at] = Unknown(question.id, NAME, reason, clear)
    return tuple(claims[at] for at in range(len(questions)))


def claim_mined(
    rules: LocalRules, lemmas: Sequence[Cube], questions: Sequence[Question], claims: dict[int, Claim], clock: Clock
) -> None:
    """Adds to `claims`, by place, a proof of every open question whose target the lemmas exclude.  Raises OutOfTime."""
    asked = {at: rules.encoding.gate(question.target) for at, question in enumerate(questions) if at not in claims}
    solver = light_solver()
    add_all(solver, rules.encoding.clauses)
    add_all(solver, [[-literal for literal in cube] for cube in lemmas])
    try:
        excluded = [at for at, target in asked.items() if not solver.solve([target], clock)]
    finally:
        solver.close()
    if excluded:
        certificate = certify(rules, lemmas, [questions[at].target for at in excluded], clock)
        claims.update({at: Proved(questions[at].id, NAME, certificate) for at in excluded})


class Candidates:
    """Facts and pairs of facts that have not been seen together; `partners` is symmetric."""

    def __init__(self, rules: LocalRules, targets: Iterable[Expr]) -> None:
        self.rules = rules
        machine = rules.machine
        self.facts = {
            v.name: [literal for literal, _ in rules.encoding.values[v.name] if literal != TRUTH]
            for v in machine.variables
        }
        self.singles = {literal for own in self.facts.values() for literal in own}
        self.partners: dict[int, set[int]] = {literal: set() for literal in sorted(self.singles)}
        for first, second in _neighbours(machine, targets):
            for one in self.facts[first]:
                self.partners[one].update(self.facts[second])
            for other in self.facts[second]:
                self.partners[other].update(self.facts[first])
        self.made = [
            [literal for literal in _made(effects.items()) if literal in self.singles] for effects in rules.effects
        ]
        self.reads = [support_of(machine, rule.guard) for rule in machine.rules]
        self.readers: dict[str, list[int]] = {}
        self.writers: dict[str, list[int]] = {}
        for at, rule in enumerate(machine.rules):
            for name in sorted(self.reads[at]):
                self.readers.setdefault(name, []).append(at)
            for name, _ in rule.update:
                self.writers.setdefault(name, []).append(at)
        self.dropped: set[int] = set()
        """Facts of which something was dropped since this was last emptied."""

    def see(self, literals: Iterable[int]) -> None:
        """All of these were seen together."""
        listed = set(literals) & self.partners.keys()
        for literal in sorted(listed):
            self.singles.discard(literal)
            for other in sorted(self.partners[literal] & listed):
                self.drop(literal, other)

    def see_all(self, samples: Samples) -> None:
        """Drops what some sample shows."""
        masks = samples.masks
        for literal in [literal for literal in sorted(self.singles) if masks[literal]]:
            self.drop_single(literal)
        for one, others in self.partners.items():
            mask = masks[one]
            for other in [other for other in others if one <= other and mask & masks[other]]:
                self.drop(one, other)

    def drop(self, one: int, other: int) -> None:
        """The pair can come about."""
        self.partners[one].discard(other)
        self.partners[other].discard(one)
        self.dropped.update((one, other))

    def drop_single(self, literal: int) -> None:
        """The fact can come about."""
        self.singles.discard(literal)
        self.dropped.add(literal)

    def settle(self, never: Iterable[int]) -> None:
        """These facts are never so: pairs with them say nothing, nor do pairs with what they leave always so."""
        for literal in sorted(never):
            for known in (literal, -literal):
                for other in self.partners.get(known, ()):
                    self.partners[other].discard(known)
                if known in self.partners:
                    self.partners[known] = set()

    def watch(self, walks: Walks, most_quiet: int) -> None:
        """Drops what the walks show as they go; ends when they have shown nothing new for a while."""
        masks, made, partners, singles = walks.masks, self.made, self.partners, self.singles
        news = 0

        def seen(rule: int, where: int) -> None:
            nonlocal news
            for literal in made[rule]:
                if literal in singles:
                    self.drop_single(literal)
                    news += 1
                both = [other for other in partners[literal] if where & masks[other]]
                for other in both:
                    self.drop(literal, other)
                news += len(both)

        quiet = 0
        for sweep in range(MOST_SWEEPS):
            if sweep % 12 == 8:
                walks.deny()
            before = news
            walks.sweep(seen)
            quiet = 0 if news > before else quiet + 1
            if quiet >= most_quiet:
                break

    def touched(self) -> list[int]:
        """The rules whose answer may have rested on something dropped."""
        names = self.rules.encoding.variable_of
        gone = {names[abs(literal)] for literal in self.dropped}
        found = {at for name in gone for at in self.readers.get(name, ())}
        found.update(at for name in gone for at in self.writers.get(name, ()))
        for literal in self.dropped:
            # A pair that a rule may complete, the other fact of which was part of something dropped.
            for other in self.partners[literal]:
                found.update(self.rules.making.get(other, ()))
        return sorted(found)

    def cubes(self) -> list[Cube]:
        """What is left, each pair once; pairs that a single covers are not named."""
        found: list[Cube] = [(literal,) for literal in sorted(self.singles)]
        for one, others in self.partners.items():
            if one not in self.singles:
                found += [(one, other) for other in sorted(others) if one < other and other not in self.singles]
        return found


def _made(effects: Iterable[tuple[int, bool]]) -> list[int]:
    return [atom if value else -atom for atom, value in effects]


def _neighbours(machine: Machine, targets: Iterable[Expr]) -> list[tuple[str, str]]:
    """Pairs of variables that some rule or question brings together."""
    pairs: set[tuple[str, str]] = set()
    supports = {signal.name: support_of(machine, signal.definition) for signal in machine.signals}
    groups: dict[frozenset[str], None] = {}
    for rule in machine.rules:
        written = frozenset(name for name, _ in rule.update)
        read = support_of(machine, rule.guard)
        if len(read | written) <= LARGEST_GROUP:
            groups[read | written] = None
            continue
        # What concerns the whole of the machine would pair everything with everything.
        groups.update(dict.fromkeys(_small_groups(machine, rule.guard, supports)))
        for name in sorted(written):
            pairs.update((min(name, other), max(name, other)) for other in read | written if other != name)
    for target in targets:
        groups.update(dict.fromkeys(_small_groups(machine, target, supports)))
    for group in groups:
        pairs.update(combinations(sorted(group), 2))
    if len(pairs) > MOST_PARTNERS:
        degree: dict[str, int] = {}
        for pair in pairs:
            for name in pair:
                degree[name] = degree.get(name, 0) + 1
        return sorted(sorted(pairs), key=lambda pair: (max(degree[pair[0]], degree[pair[1]]), pair))[:MOST_PARTNERS]
    return sorted(pairs)


def _small_groups(machine: Machine, expr: Expr, supports: Mapping[str, frozenset[str]]) -> list[frozenset[str]]:
    """The variables of each largest part of the expression that does not speak of too many."""
    found: list[frozenset[str]] = []
    stack = [expr]
    while stack:
        node = stack.pop()
        own = supports[node.signal] if isinstance(node, Ref) else support_of(machine, node)
        if len(own) <= LARGEST_GROUP:
            found.append(own)
        elif isinstance(node, Ref):
            stack.append(machine.definitions[node.signal])
        elif isinstance(node, Not):
            stack.append(node.arg)
        elif isinstance(node, And | Or):
            stack.extend(node.args)
            # The small parts of one conjunction belong together where there are few.
            plain = frozenset().union(*(support_of(machine, arg) for arg in node.args if isinstance(arg, Is | Not)))
            if len(plain) <= LARGEST_GROUP:
                found.append(plain)
    return found


def mine(
    rules: LocalRules,
    targets: Sequence[Expr],
    starts: Sequence[State],
    clock: Clock,
    make_solver: SolverFactory,
    report: Report,
    samples: Samples | None = None,
) -> list[Cube]:
    """Cubes of one or two facts whose complements hold initially and are inductive together.

    `starts` are some states from which walks begin, all reachable, and `samples` more reachable states.  Raises
    OutOfTime.
    """
    candidates = Candidates(rules, targets)
    if samples is not None:
        candidates.see_all(samples)
    walks = Walks(rules)
    walks.place(starts)
    _drop_initial(candidates, rules, clock, make_solver)
    report(Progress(NAME, "random walks"))
    candidates.watch(walks, FIRST_QUIET)
    _settle_singles(candidates, clock, make_solver)
    dirty = list(range(len(rules.guards)))
    for turn in count():
        clock.check()
        candidates.dropped = set()
        report(Progress(NAME, f"{sum(map(len, candidates.partners.values())) // 2} candidate pairs", turn))
        after = _ask_rules(candidates, dirty, clock, make_solver)
        if after:
            walks.place(after)
            candidates.watch(walks, LATER_QUIET)
            dirty = candidates.touched()
        elif len(dirty) < len(rules.guards):
            dirty = list(range(len(rules.guards)))
        else:
            return candidates.cubes()
    raise AssertionError("unreachable")


def _drop_initial(candidates: Candidates, rules: LocalRules, clock: Clock, make_solver: SolverFactory) -> None:
    """Drops what holds in some initial state."""
    machine, encoding = rules.machine, rules.encoding
    if machine.start == TRUE:
        first = {
            literal
            for variable in machine.variables
            for literal, value in encoding.values[variable.name]
            if value in variable.init
        }
        for variable in machine.variables:
            own = [literal for literal in candidates.facts[variable.name] if literal in first]
            for literal in own:
                candidates.drop_single(literal)
                for other in sorted(candidates.partners[literal] & first):
                    candidates.drop(literal, other)
        return
    solver = make_solver()
    initial = encoding.initial_clauses()
    add_all(solver, encoding.clauses)
    add_all(solver, initial)
    solver.add([TRUTH, encoding.top])
    try:
        for cube in [(literal,) for literal in sorted(candidates.singles)] + [
            (one, other) for one, others in candidates.partners.items() for other in sorted(others) if one < other
        ]:
            alive = cube[-1] in candidates.partners[cube[0]] if len(cube) > 1 else cube[0] in candidates.singles
            if alive and solver.solve(cube, clock):
                model = solver.model()
                candidates.see(literal for literal in candidates.partners if model[abs(literal) - 1] == literal)
    finally:
        solver.close()


def _settle_singles(candidates: Candidates, clock: Clock, make_solver: SolverFactory) -> None:
    """Finds the facts that are never so for no other reason than each other; no pair with one of them is asked about.

    The other single facts stay candidates: pairs may yet keep them out.
    """
    rules = candidates.rules
    alive = set(candidates.singles)
    pending = True
    while pending and alive:
        pending = False
        solver = make_solver()
        add_all(solver, rules.encoding.clauses)
        solver.add([TRUTH, rules.encoding.top])
        add_all(solver, [[-literal] for literal in sorted(alive)])
        try:
            for at, guard in enumerate(rules.guards):
                made = alive.intersection(candidates.made[at])
                if made and guard != -TRUTH and solver.solve([guard], clock):
                    alive -= made
                    pending = True
        finally:
            solver.close()
    candidates.settle(alive)


def _ask_rules(candidates: Candidates, asked: Sequence[int], clock: Clock, make_solver: SolverFactory) -> list[State]:
    """Asks each rule whether it can bring a candidate about; drops those, and gives the states in which they stood."""
    rules = candidates.rules
    solver = make_solver()
    add_all(solver, rules.encoding.clauses)
    solver.add([TRUTH, rules.encoding.top])
    add_all(solver, [[-literal for literal in cube] for cube in candidates.cubes()])
    fresh = count(rules.encoding.top + 1)
    after: list[State] = []
    try:
        for at in asked:
            after += _ask_rule(candidates, at, solver, fresh, clock)
    finally:
        solver.close()
    return after


def _ask_rule(candidates: Candidates, at: int, solver: SatSolver, fresh: Iterable[int], clock: Clock) -> list[State]:
    rules = candidates.rules
    guard, effects, made = rules.guards[at], rules.effects[at], candidates.made[at]
    after: list[State] = []
    if guard == -TRUTH or not made:
        return after
    together = set(made)
    at_once = any(literal in candidates.singles or candidates.partners[literal] & together for literal in made)
    if at_once and solver.solve([guard], clock):
        after.append(_after(rules, at, solver))
        for literal in made:
            if literal in candidates.singles:
                candidates.drop_single(literal)
            for other in sorted(candidates.partners[literal] & together):
                candidates.drop(literal, other)
    while True:
        wanted = {other for literal in made for other in candidates.partners[literal] if abs(other) not in effects}
        if not wanted:
            return after
        some = next(iter(fresh))
        solver.add([-some, *sorted(wanted)])
        if not solver.solve([guard, some], clock):
            return after
        model = solver.model()
        after.append(_after(rules, at, solver))
        for literal in made:
            for other in [other for other in candidates.partners[literal] if model[abs(other) - 1] == other]:
                if abs(other) not in effects:
                    candidates.drop(literal, other)


def _after(rules: LocalRules, at: int, solver: SatSolver) -> State:
    return fire(rules.machine, rules.machine.rules[at], rules.encoding.decode(solver.model()))
