"""Runs that people can follow: with the fewest failures, of those the shortest, and with few hands tied for long.

Whatever engine refutes, its runs are looked at once more.  A run on which failures strike is given up for one with
fewer of them, even if that is longer: a machine in which only so many can strike is asked the same question, for none
first.  Of the steps of a run, those by which a hand is tied come as late as they can, those that free it as early.
Where hands do not suffice all the same, another run of as many steps is looked for on which they do.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from interlock.diagnostics.frozen import frozen
from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, Refuted, Trace, Unknown, silent
from interlock.kernel.evaluator import State, evaluate, fire, is_enabled
from interlock.kernel.expressions import TRUE, Expr, Is, Value, conj
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable, support_of
from interlock.prove.core.solvers import deep_solver
from interlock.prove.engine import NO_LIMITS, Clock, Engine, OutOfTime, clock_of
from interlock.prove.search.unrolling import Unrolling

SECONDS = 20.0
"""How long other runs are looked for where there is no limit in seconds."""
MOST_SEARCHED = 4
"""For so many questions of one call another run is looked for on which hands suffice."""
DEEPEST = 40
"""Of at most so many steps."""


@frozen
class Handling:
    """What ties hands down: variables that are away from the value at which they rest, and where hands suffice."""

    held: tuple[tuple[str, Value], ...] = ()
    enough: Expr = TRUE


NO_HANDS = Handling()


def follow(engine: Engine, handling: Handling = NO_HANDS, again: Engine | None = None) -> Engine:
    """The engine, with runs that people can follow; `again` is asked for those with fewer failures.

    A run then is called shortest where every run with fewer failures is excluded, and every shorter one with as many.
    Of questions whose asker expects a run and takes any, runs stay as they are.
    """
    return partial(_followed, engine, handling, again or engine)


def _followed(
    engine: Engine,
    handling: Handling,
    again: Engine,
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
) -> tuple[Claim, ...]:
    clock = clock_of(limits)
    claims = list(engine(machine, questions, limits, report))
    work = _Following(machine, questions, claims, handling, again, limits, report)
    clock = clock if limits.seconds is not None else clock.sooner(SECONDS)
    try:
        work.fail_less(clock)
        work.hold_less(clock)
    except (OutOfTime, KeyboardInterrupt):
        work.doubt()
    return tuple(claims)


def failures_on(machine: Machine, trace: Trace) -> int:
    """How many steps of the run are failures."""
    return sum(machine.rule(name).actor is Actor.FAILURE for name in trace.rules)


def is_run(machine: Machine, trace: Trace) -> bool:
    """Each step of the trace is one of the machine's and leads where it says; what is none is not looked at further."""
    known = {rule.name for rule in machine.rules}
    if not known.issuperset(trace.rules) or len(trace.states) != len(trace.rules) + 1:
        return False
    if any(len(state) != len(machine.variables) for state in trace.states):
        return False
    pairs = zip(trace.states[:-1], trace.rules, trace.states[1:], strict=True)
    return all(fire(machine, machine.rule(name), before) == after for before, name, after in pairs)


class _Following:
    def __init__(
        self,
        machine: Machine,
        questions: Sequence[Question],
        claims: list[Claim],
        handling: Handling,
        again: Engine,
        limits: Limits,
        report: ProgressCallback,
    ) -> None:
        self.machine = machine
        self.questions = questions
        self.claims = claims
        self.handling = handling
        self.again = again
        self.limits = limits
        self.report = report
        self.fewest: dict[int, int] = {}
        """Per place how many failures are surely needed, as far as that is known."""

    def refuted(self) -> Iterator[tuple[int, Refuted]]:
        """What was refuted and is shown as it is."""
        for at, (question, claim) in enumerate(zip(self.questions, self.claims, strict=True)):
            if isinstance(claim, Refuted) and not question.expects_run and is_run(self.machine, claim.trace):
                yield at, claim

    def doubt(self) -> None:
        """What was not looked at for runs with fewer failures is not called shortest."""
        for at, claim in self.refuted():
            if claim.shortest and failures_on(self.machine, claim.trace) > self.fewest.get(at, 0):
                self.claims[at] = replace(claim, shortest=False)

    def fail_less(self, clock: Clock) -> None:
        """Runs with fewer failures, none first, where there are such."""
        most = 0
        open_ = {at for at, claim in self.refuted() if failures_on(self.machine, claim.trace)}
        while open_:
            clock.check()
            self.report(Progress("following", f"runs with at most {most} failures", most))
            limited, names = at_most(self.machine, most)
            places = sorted(open_)
            asked = [self.questions[at] for at in places]
            limits = replace(self.limits, seconds=clock.seconds_left())
            for at, claim in zip(places, self.again(limited, asked, limits, self.report), strict=True):
                if isinstance(claim, Refuted):
                    trace = _of_all(self.machine, names, claim.trace)
                    self.claims[at] = Refuted(claim.question, claim.engine, trace, claim.shortest)
                    open_.discard(at)
                    self.fewest[at] = most
                elif isinstance(claim, Unknown):
                    open_.discard(at)
                else:
                    self.fewest[at] = most + 1
            most += 1
            open_ = {
                at for at, claim in self.refuted() if at in open_ and failures_on(self.machine, claim.trace) > most
            }
        self.doubt()

    def hold_less(self, clock: Clock) -> None:
        """The same steps in an order that ties hands for less long; other runs as long where hands do not suffice."""
        if not self.handling.held:
            return
        searched = 0
        burden = Burden(self.machine, self.handling)
        for at, claim in list(self.refuted()):
            clock.check()
            trace = easier(self.machine, claim.trace, burden)
            short = burden.of(trace.states)[0]
            if short and claim.shortest and trace.depth <= DEEPEST and searched < MOST_SEARCHED:
                searched += 1
                failing = failures_on(self.machine, trace)
                other = self._within_hands(self.questions[at].target, trace.depth, failing, clock)
                if other is not None:
                    trace = easier(self.machine, other, burden)
            self.claims[at] = replace(claim, trace=trace)

    def _within_hands(self, target: Expr, depth: int, failures: int, clock: Clock) -> Trace | None:
        """A run of so many steps, with so many failures at most, on which hands always suffice."""
        limited, names = at_most(self.machine, failures)
        solver = deep_solver()
        try:
            run = Unrolling(limited, solver, [target, self.handling.enough], in_order=False)
            for _ in range(depth):
                clock.check()
                run.advance()
            for at in range(depth + 1):
                solver.add([run.at(run.targets[1], at)])
            if not solver.solve([run.at(run.targets[0], depth)], clock):
                return None
            return _of_all(self.machine, names, run.trace(solver.model(), depth))
        finally:
            solver.close()


def at_most(machine: Machine, failures: int) -> tuple[Machine, dict[str, str]]:
    """The machine in which so many failures can strike in all, and by the name of each of its rules that of its own."""
    struck = "failures struck"
    while struck in machine.domains:
        struck += "'"
    rules: list[Rule] = []
    names: dict[str, str] = {}
    taken = {rule.name for rule in machine.rules}
    for rule in machine.rules:
        if rule.actor is not Actor.FAILURE:
            rules.append(rule)
            names[rule.name] = rule.name
            continue
        for number in range(failures):
            name = f"{rule.name} as {number + 1}."
            while name in taken:
                name += "'"
            taken.add(name)
            names[name] = rule.name
            update = (*rule.update, (struck, number + 1))
            rules.append(Rule(name, rule.actor, conj(rule.guard, Is(struck, number)), update))
    more = (Variable(struck, tuple(range(failures + 1)), (0,)),) if failures else ()
    return Machine((*machine.variables, *more), machine.signals, tuple(rules), (), machine.start), names


def _of_all(machine: Machine, names: dict[str, str], trace: Trace) -> Trace:
    width = len(machine.variables)
    return Trace(tuple(names[name] for name in trace.rules), tuple(state[:width] for state in trace.states))


class Burden:
    """How much a run ties hands down."""

    def __init__(self, machine: Machine, handling: Handling) -> None:
        self._machine = machine
        self._enough = handling.enough
        self._rests = [(machine.positions[name], value) for name, value in handling.held]
        self._asked = sorted(machine.positions[name] for name in support_of(machine, handling.enough))
        self._known: dict[State, bool] = {}
        self.tying = frozenset(name for name, _ in handling.held)
        """What ties a hand, or frees it."""

    def of(self, states: Sequence[State]) -> tuple[int, int]:
        """In how many of the states hands do not suffice, and how many are tied in all of them together."""
        tied = [sum(state[at] != value for at, value in self._rests) for state in states]
        # where nobody holds anything, hands suffice
        short = sum(number > 0 and not self._is_enough(state) for number, state in zip(tied, states, strict=True))
        return short, sum(tied)

    def _is_enough(self, state: State) -> bool:
        key = tuple(state[at] for at in self._asked)
        if key not in self._known:
            self._known[key] = evaluate(self._machine, self._enough, state)
        return self._known[key]


def easier(machine: Machine, trace: Trace, burden: Burden) -> Trace:
    """The same steps to the same end; those that tie hands later, those that free them earlier, while that helps."""
    least = burden.of(trace.states)
    at = 0
    while at < trace.depth:
        if not burden.tying.isdisjoint(variable for variable, _ in machine.rule(trace.rules[at]).update):
            moved = list(_moved(machine, trace, at))
            burdens = [burden.of(one.states) for one in moved]
            if burdens and min(burdens) < least:
                least = min(burdens)
                trace = moved[burdens.index(least)]
                at = 0
                continue
        at += 1
    return trace


def _moved(machine: Machine, trace: Trace, at: int) -> Iterator[Trace]:
    """The run with that step at every other place where it can be made with the same result."""
    rule = machine.rule(trace.rules[at])
    others = [machine.rule(name) for name in trace.rules]
    states = [trace.states[at]]
    for place in range(at + 1, trace.depth):
        if not is_enabled(machine, others[place], states[-1]):
            break
        states.append(fire(machine, others[place], states[-1]))
        if is_enabled(machine, rule, states[-1]) and fire(machine, rule, states[-1]) == trace.states[place + 1]:
            rules = (*trace.rules[:at], *trace.rules[at + 1 : place + 1], rule.name, *trace.rules[place + 1 :])
            yield Trace(rules, (*trace.states[:at], *states, *trace.states[place + 1 :]))
    for place in range(at - 1, -1, -1):
        if not is_enabled(machine, rule, trace.states[place]):
            continue
        states = [trace.states[place], fire(machine, rule, trace.states[place])]
        for other in others[place:at]:
            if not is_enabled(machine, other, states[-1]):
                break
            states.append(fire(machine, other, states[-1]))
        else:
            if states[-1] == trace.states[at + 1]:
                rules = (*trace.rules[:place], rule.name, *trace.rules[place:at], *trace.rules[at + 1 :])
                yield Trace(rules, (*trace.states[:place], *states, *trace.states[at + 2 :]))
