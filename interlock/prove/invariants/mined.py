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

from collections.abc import Callable, Sequence
from contextlib import suppress
from itertools import count

from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, Proved, Refuted, Trace, Unknown, silent
from interlock.kernel.evaluator import State, fire
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine, Question
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.samples import Samples
from interlock.prove.core.solvers import SolverFactory, add_all, light_solver
from interlock.prove.core.starts import some_initial_states
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Clock, OutOfTime, clock_of, looked_ahead, stop_reason
from interlock.prove.frames.frames import Frames
from interlock.prove.frames.pdr import NAME as PDR
from interlock.prove.frames.pdr import certify, pursue
from interlock.prove.invariants.candidates import Candidates, Key, is_alive
from interlock.prove.invariants.sampling import Walks

NAME = "mined"
LOOKING = "looking for what is always so"
"""How every report of what it is doing begins while candidates are asked about."""
MOST_STARTS = 64
"""Walks begin in so many initial states, where there are so many."""
BLOCK = 32
"""So many candidates are assumed by one literal."""
MOST_QUIET = 3
"""Walks end when so many sweeps in a row dropped nothing, and those from states to which a guess led:"""
MOST_QUIET_BEYOND = 1
GRACE = 0.1
"""The part of a limit in seconds, once it is over, in which what is known well enough may be claimed, and at most:"""
LONGEST_GRACE = 5.0
AT_ONCE = 0.5
"""The part of the time that is left in which one certificate of all is tried for, before parts of them are claimed."""
FIRST_PART = 16
"""The first of these parts is one in so many; each next is twice as large."""


def mined(
    machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: ProgressCallback = silent
) -> tuple[Claim, ...]:
    """Proves what mined invariants exclude, and pursues the rest from there (see `pdr`)."""
    clock = clock_of(limits)
    claims: dict[int, Claim] = {}
    rules = LocalRules(machine)
    lemmas: list[Cube] = []
    frames: Frames | None = None
    reason = ""
    try:
        starts = some_initial_states(rules, MOST_STARTS, clock, light_solver)
        if starts:
            lemmas = mine(rules, [question.target for question in questions], starts, clock, light_solver, report)
        frames = Frames(rules, [question.target for question in questions], clock, light_solver, lemmas)
        strengthen(frames, questions, claims, report)
        pursue(frames, questions, claims, limits.depth, report)
        reason = looked_ahead(frames.top, limits.depth)
    except OutOfTime:
        reason = stop_reason(limits, clock)
        claim_late(rules, frames, lemmas, questions, claims, limits, clock, report)
    except KeyboardInterrupt:
        reason = INTERRUPTED
    clear = -1
    if frames is not None:
        clear = frames.clear
        frames.solver.close()
    for at, question in enumerate(questions):
        if at not in claims:
            claims[at] = Unknown(question.id, NAME, reason, clear)
    return tuple(claims[at] for at in range(len(questions)))


def strengthen(
    frames: Frames,
    questions: Sequence[Question],
    claims: dict[int, Claim],
    report: ProgressCallback,
    looking: Clock | None = None,
    met: Callable[[Trace], None] | None = None,
    hastily: bool = False,
    settled: Callable[[Sequence[Cube]], None] | None = None,
) -> None:
    """Strengthens mined lemmas by what the open questions need, and adds to `claims`, by place, what that decides.

    The clock for `looking` may end sooner than that of the frames; `met` is as for `pursue`, `hastily` and `settled`
    as for `claim_mined`.  Raises OutOfTime.
    """
    left = frames.not_excluded([at for at in range(len(questions)) if at not in claims])
    # those that are likely to be reachable last: they must not keep the others from their turn
    left.sort(key=lambda at: questions[at].expects_run)
    for at, trace in frames.strengthen(left, report, looking, claims):
        claims[at] = Refuted(questions[at].id, PDR, trace, shortest=trace.depth == 0)
        if met is not None:
            met(trace)
    claim_mined(frames.rules, frames.lemmas, questions, claims, frames.clock, hastily, settled)


def claim_late(
    rules: LocalRules,
    frames: Frames | None,
    lemmas: Sequence[Cube],
    questions: Sequence[Question],
    claims: dict[int, Claim],
    limits: Limits,
    clock: Clock,
    report: ProgressCallback,
) -> None:
    """Once the clock is over: claims what is known well enough for that already, in a moment of grace.

    `lemmas` are those mined; the frames, where they were made, may have found more.  Of a limit in seconds the moment
    is a small part; where the memory is used up there is none.
    """
    stopped = limits.stop is not None and limits.stop()
    if clock.memory is not None and clock.memory.is_used_up() and not stopped:
        return
    seconds = LONGEST_GRACE if limits.seconds is None else min(LONGEST_GRACE, GRACE * limits.seconds)
    if frames is not None:
        lemmas = frames.lemmas if frames.invariant is None else frames.invariant
    with suppress(OutOfTime, KeyboardInterrupt):
        report(Progress(NAME, "ending: what follows from facts found so far"))
        claim_mined(rules, lemmas, questions, claims, Clock(None).sooner(seconds), hastily=True)


def excluded_by(
    rules: LocalRules, lemmas: Sequence[Cube], places: Sequence[int], questions: Sequence[Question], clock: Clock
) -> list[int]:
    """The questions at these places whose target the lemmas exclude.  Raises OutOfTime."""
    asked = {at: rules.encoding.gate(questions[at].target) for at in places}
    solver = PolaritySolver(rules.encoding, light_solver())
    add_all(solver, [[-literal for literal in cube] for cube in lemmas])
    try:
        return [at for at, target in asked.items() if not solver.solve(solver.parts(target), clock)]
    finally:
        solver.close()


def claim_mined(
    rules: LocalRules,
    lemmas: Sequence[Cube],
    questions: Sequence[Question],
    claims: dict[int, Claim],
    clock: Clock,
    hastily: bool = False,
    settled: Callable[[Sequence[Cube]], None] | None = None,
) -> None:
    """Adds to `claims`, by place, a proof of every open question whose target the lemmas exclude.  Raises OutOfTime.

    One certificate serves all, as long as there is time to make it; else parts of them have one each, as far as time
    goes.  From it nothing can be left out, unless it is made `hastily`.  Where they exclude all that is open they are
    `settled`, which is told before the proofs are made.
    """

    def claim(places: Sequence[int], clock: Clock, hastily: bool) -> None:
        certificate = certify(rules, lemmas, [questions[at].target for at in places], clock, hastily)
        claims.update({at: Proved(questions[at].id, NAME, certificate) for at in places})

    excluded = excluded_by(rules, lemmas, [at for at in range(len(questions)) if at not in claims], questions, clock)
    if settled is not None and len(claims) + len(excluded) == len(questions):
        settled(lemmas)
    left = clock.seconds_left()
    if not excluded:
        return
    try:
        claim(excluded, clock if left is None else clock.sooner(AT_ONCE * left), hastily)
    except OutOfTime:
        clock.check()
        some = max(1, len(excluded) // FIRST_PART)
        while excluded:
            claim(excluded[:some], clock, hastily=True)
            excluded, some = excluded[some:], 2 * some


def mine(
    rules: LocalRules,
    targets: Sequence[Expr],
    starts: Sequence[State],
    clock: Clock,
    make_solver: SolverFactory,
    report: ProgressCallback,
    samples: Samples | None = None,
) -> list[Cube]:
    """Cubes of one or two facts whose complements hold initially and are inductive together.

    `starts` are some states from which walks begin, all reachable, and `samples` more reachable states.  Raises
    OutOfTime.
    """
    clock.check()
    candidates = Candidates(rules, targets)
    clock.check()
    if samples is not None:
        candidates.see_all(samples)
    candidates.drop_initial(clock, make_solver)
    report(Progress(NAME, "trying steps at random"))
    clock.check()
    walks = Walks(rules)
    walks.place(starts)
    candidates.watch(walks, MOST_QUIET, clock)
    _settle_singles(candidates, clock, make_solver)
    every = list(range(len(rules.guards)))
    asked = candidates.examples
    solver = PolaritySolver(rules.encoding, make_solver())
    try:
        known = Assumed(candidates, solver)
        for turn in count():
            clock.check()
            report(Progress(NAME, f"{LOOKING}: {candidates.size():,} guesses left", turn))
            beyond = _ask_rules(known, asked, clock)
            if beyond:
                asked = candidates.examples
                walks.place(beyond[-walks.walks :])
                candidates.watch(walks, MOST_QUIET_BEYOND, clock)
                known.renew()
            elif asked is every:
                return candidates.cubes()
            else:
                asked = every
    finally:
        solver.close()
    raise AssertionError("unreachable")


class Assumed:
    """The candidates as clauses of a solver; `acts`, assumed, say that all are so that are left.

    In blocks, so that what is dropped costs little more than its block.  A block's literal stands in its clauses, as a
    literal for each candidate would follow from it anew in every query.
    """

    def __init__(self, candidates: Candidates, solver: PolaritySolver) -> None:
        self.candidates = candidates
        self.solver = solver
        self._clauses: dict[Key, list[list[int]]] = {}
        for alike, names in candidates.members.items():
            for at in sorted(candidates.singles[alike]):
                self._clauses[alike, at, -1] = [[-candidates.facts[name][at]] for name in names]
        for kind in candidates.kinds:
            for a, b in kind.alive():
                self._clauses[kind.number, a, b] = [[-ones[a], -others[b]] for ones, others in kind.pairs]
        keys = list(self._clauses)
        self._blocks = [keys[at : at + BLOCK] for at in range(0, len(keys), BLOCK)]
        self._block_of = {key: at for at, block in enumerate(self._blocks) for key in block}
        self.acts = list(map(self._act, self._blocks))
        candidates.news.clear()

    def _act(self, block: Sequence[Key]) -> int:
        act = self.solver.new()
        add_all(self.solver, ([-act, *clause] for key in block for clause in self._clauses[key]))
        return act

    def renew(self) -> None:
        """Forgets what was dropped."""
        gone: dict[int, set[Key]] = {}
        for key in self.candidates.news:
            if key in self._block_of:
                gone.setdefault(self._block_of.pop(key), set()).add(key)
        self.candidates.news.clear()
        for at, keys in gone.items():
            self.solver.add([-self.acts[at]])
            self._blocks[at] = [key for key in self._blocks[at] if key not in keys]
            self.acts[at] = self._act(self._blocks[at])


def _settle_singles(candidates: Candidates, clock: Clock, make_solver: SolverFactory) -> None:
    """Finds the facts that are never so for no other reason than each other; no pair with one of them is asked about.

    The other single facts stay candidates: pairs may yet keep them out.
    """
    rules = candidates.rules
    alive = {literal for literal in candidates.place if candidates.is_single(literal)}
    pending = True
    while pending and alive:
        pending = False
        solver = PolaritySolver(rules.encoding, make_solver())
        add_all(solver, [[-literal] for literal in sorted(alive)])
        try:
            for at, guard in enumerate(rules.guards):
                made = alive.intersection(candidates.made[at])
                if made and guard != -TRUTH and solver.solve(solver.parts(guard), clock):
                    alive -= made
                    pending = True
        finally:
            solver.close()
    candidates.settle(alive)


def _ask_rules(known: Assumed, asked: Sequence[int], clock: Clock) -> list[State]:
    """Asks each rule whether it can bring a candidate about, and drops those.

    Gives the states to which that leads; every inductive subset of the candidates is so in them, and in what follows.
    """
    return [state for at in asked for state in _ask_rule(known, at, clock)]


def _ask_rule(known: Assumed, at: int, clock: Clock) -> list[State]:
    candidates, solver = known.candidates, known.solver
    rules = candidates.rules
    effects, made = rules.effects[at], candidates.made[at]
    if rules.guards[at] == -TRUTH or not made:
        return []

    def state_after(model: Sequence[int]) -> State:
        return fire(rules.machine, rules.machine.rules[at], rules.encoding.decode(model))

    guard = solver.parts(rules.guards[at])
    together = set(made)
    at_once = [p for literal in made for p in candidates.partners(literal) if p.literal in together]
    singles = [literal for literal in made if candidates.is_single(literal)]
    beyond: list[State] = []
    if (singles or at_once) and solver.solve([*known.acts, *guard], clock):
        beyond.append(state_after(solver.model()))
        for literal in singles:
            candidates.drop_single(literal)
        for partner in at_once:
            candidates.drop(partner)
        known.renew()
    wanted = [p for literal in made for p in candidates.partners(literal) if abs(p.literal) not in effects]
    while wanted:
        some = solver.new()
        solver.add([-some, *sorted({partner.literal for partner in wanted})])
        if not solver.solve([*known.acts, *guard, some], clock):
            solver.add([-some])
            break
        model = solver.model()
        beyond.append(state_after(model))
        for partner in wanted:
            if model[abs(partner.literal) - 1] == partner.literal:
                candidates.drop(partner)
        wanted = list(filter(is_alive, wanted))
        known.renew()
        solver.add([-some])
    return beyond
