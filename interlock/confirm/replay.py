"""Replay of a trace, step by step, with the kernel's reference evaluator."""

from __future__ import annotations

from operator import is_

from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State, evaluate, fire, is_enabled, is_initial
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine


def replay(machine: Machine, target: Expr, trace: Trace) -> list[str]:
    """Everything that is wrong with the trace as a run of the machine into the target, in plain words.

    An empty list means that the run exists and that its last state satisfies the target.  Each step is judged from
    the state that the trace itself gives, so one wrong state is reported on both sides.  Steps count from 1.
    """
    return Replays(machine).faults(target, trace)


class Replays:
    """Replays of several traces of one machine, which judge a step once that traces share.

    Steps are the same where their states are the same objects: the traces must be kept for as long as this is used.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.rules = {rule.name: rule for rule in machine.rules}
        self._is_first: dict[int, bool] = {}
        self._judged: dict[tuple[int, str, int], list[str]] = {}

    def faults(self, target: Expr, trace: Trace) -> list[str]:
        """As `replay` gives them."""
        machine, states = self.machine, trace.states
        if len(states) != len(trace.rules) + 1:
            return [f"{len(trace.rules)} steps do not fit {len(states)} states"]
        if any(len(state) != len(machine.variables) for state in states):
            return ["a state does not have one value for each variable"]
        if id(states[0]) not in self._is_first:
            self._is_first[id(states[0])] = is_initial(machine, states[0])
        faults = [] if self._is_first[id(states[0])] else ["the first state is not an initial state"]
        for number, name in enumerate(trace.rules, start=1):
            before, after = states[number - 1], states[number]
            step = (id(before), name, id(after))
            if step not in self._judged:
                self._judged[step] = self._faults_of_step(before, name, after)
            faults += [f"step {number}: {fault}" for fault in self._judged[step]]
        if not evaluate(machine, target, states[-1]):
            faults.append("the last state does not satisfy the target")
        return faults

    def _faults_of_step(self, before: State, name: str, after: State) -> list[str]:
        machine = self.machine
        if name not in self.rules:
            return [f"there is no rule {name!r}"]
        rule = self.rules[name]
        faults = [] if is_enabled(machine, rule, before) else [f"rule {name!r} may not fire there"]
        due = fire(machine, rule, before)
        if all(map(is_, after, due)):
            return faults  # nearly always: values of a variable are the same objects
        pairs = zip(machine.variables, after, due, strict=True)
        wrong = [v.name for v, met, must in pairs if met != must or type(met) is not type(must)]
        return [*faults, f"rule {name!r} leads to another value of {', '.join(wrong)}"] if wrong else faults
