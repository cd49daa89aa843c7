"""Shorter runs to a target, in which nothing fails but what is allowed to."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from interlock.kernel.claims import Claim, Refuted, Trace, silent
from interlock.kernel.evaluator import State, fire
from interlock.kernel.failures import failures_of, struck_by
from interlock.kernel.machine import Machine, Question
from interlock.prove.engine import Clock, OutOfTime
from interlock.prove.search.bmc import BoundedSearch


def with_failures(machine: Machine, allowed: Collection[str]) -> Machine:
    """The machine in which nothing else fails; its requirements are left out."""
    failures = failures_of(machine)
    rules = tuple(rule for rule in machine.rules if (own := struck_by(rule, failures)) is None or own in set(allowed))
    return Machine(machine.variables, machine.signals, rules, (), machine.start)


def shorter_run(
    machine: Machine, question: Question, allowed: Collection[str], run: Trace, seconds: float
) -> tuple[Trace, bool]:
    """The shortest run in which nothing else fails, as far as that is found in time, and whether it is known to be."""
    look = BoundedSearch(with_failures(machine, allowed), [question], run.depth - 1)
    found: dict[int, Claim] = {}
    try:
        look.run(found, Clock(None).sooner(seconds), silent)
    except OutOfTime:
        return run, False
    finally:
        look.solver.close()
    claim = found.get(0)
    if isinstance(claim, Refuted):
        return claim.trace, True
    return run, look.is_exhausted or look.clear >= run.depth - 1


class SharedRuns:
    """Runs of one machine that begin alike have the states of that in common: large ones are kept and replayed once."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._first: dict[State, State] = {}
        self._after: dict[tuple[int, str], State] = {}
        """By the identity of a state, which is kept here, and the name of a rule."""

    def of(self, run: Trace) -> Trace:
        """The same run, with states that others have."""
        states = [self._first.setdefault(run.states[0], run.states[0])]
        for name, state in zip(run.rules, run.states[1:], strict=True):
            states.append(self._after.setdefault((id(states[-1]), name), state))
        return Trace(run.rules, tuple(states))

    def told(self, first: State, rules: Iterable[int]) -> Trace:
        """The run that begins there and in which the rules of these numbers fire."""
        fired = [self._machine.rules[at] for at in rules]
        states = [self._first.setdefault(first, first)]
        for rule in fired:
            step = id(states[-1]), rule.name
            if step not in self._after:
                self._after[step] = fire(self._machine, rule, states[-1])
            states.append(self._after[step])
        return Trace(tuple(rule.name for rule in fired), tuple(states))
