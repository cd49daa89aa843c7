"""Replay of a trace, step by step, with the kernel's reference evaluator."""

from __future__ import annotations

from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import evaluate, fire, is_enabled, is_initial
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine


def replay(machine: Machine, target: Expr, trace: Trace) -> list[str]:
    """Everything that is wrong with the trace as a run of the machine into the target, in plain words.

    An empty list means that the run exists and that its last state satisfies the target.  Each step is judged from
    the state that the trace itself gives, so one wrong state is reported on both sides.  Steps count from 1.
    """
    if len(trace.states) != len(trace.rules) + 1:
        return [f"{len(trace.rules)} steps do not fit {len(trace.states)} states"]
    if any(len(state) != len(machine.variables) for state in trace.states):
        return ["a state does not have one value for each variable"]
    faults = [] if is_initial(machine, trace.states[0]) else ["the first state is not an initial state"]
    rules = {rule.name: rule for rule in machine.rules}
    for number, name in enumerate(trace.rules, start=1):
        before, after = trace.states[number - 1], trace.states[number]
        if name not in rules:
            faults.append(f"step {number}: there is no rule {name!r}")
            continue
        if not is_enabled(machine, rules[name], before):
            faults.append(f"step {number}: rule {name!r} may not fire there")
        due = fire(machine, rules[name], before)
        wrong = [v.name for v, is_, must in zip(machine.variables, after, due, strict=True) if is_ != must]
        if wrong:
            faults.append(f"step {number}: rule {name!r} leads to another value of {', '.join(wrong)}")
    if not evaluate(machine, target, trace.states[-1]):
        faults.append("the last state does not satisfy the target")
    return faults
