"""Ways out: what the crew can do, by any means that the hold allows, to bring something about from here."""

from __future__ import annotations

from dataclasses import dataclass, replace

from interlock.kernel.claims import Limits, silent
from interlock.kernel.expressions import TRUE, Expr
from interlock.kernel.machine import Actor, Machine, Question
from interlock.prove.search.guided import find_runs
from interlock.study.procedure.interleavings import InterleavingSearch

MOST_EXPANDED = 400
"""States that the search for a way out looks behind."""
SECONDS = 5.0


@dataclass(frozen=True, slots=True)
class Rescue:
    """What to do, in order, each with who or what does it; `breaks` are the requirements broken on the way."""

    steps: tuple[tuple[Actor, str], ...]
    breaks: tuple[str, ...]


def find_rescue(search: InterleavingSearch, node: int, wanted: Expr) -> Rescue | None:
    """A way to what is wanted from a node; None where the search finds none (one may exist all the same)."""
    graph = search.graph
    state = search.state(node)
    variables = tuple(
        replace(variable, init=(value,)) for variable, value in zip(graph.machine.variables, state, strict=True)
    )
    machine = Machine(variables, graph.machine.signals, graph.machine.rules, (), TRUE)
    question = Question("way out", wanted)
    found = find_runs(machine, [question], Limits(), silent, search.clock.sooner(SECONDS), MOST_EXPANDED)
    trace = found.get(question.id)
    if trace is None:
        return None
    glossary = graph.bound.compiled.glossary
    breaks: dict[str, None] = {}
    steps = []
    for name, before in zip(trace.rules, trace.states[:-1], strict=True):
        said = glossary.rules[name]
        steps.append((said.actor, said.text))
        breaks.update(dict.fromkeys(search.broken(before, name)))
    breaks.update(dict.fromkeys(search.broken(trace.states[-1], None)))
    return Rescue(tuple(steps), tuple(breaks))
