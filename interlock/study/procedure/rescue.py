"""Ways out: what the crew can do, by any means that the hold allows, to bring something about from here."""

from __future__ import annotations

from dataclasses import dataclass, replace

from interlock.kernel.claims import Limits, silent
from interlock.kernel.evaluator import State
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


def find_rescue(
    search: InterleavingSearch, node: int, wanted: Expr, known: dict[State, Rescue] | None = None
) -> Rescue | None:
    """A way to what is wanted from a node; None where the search finds none (one may exist all the same).

    `known` are ways by where they begin, each found one to the same end with what is left of it on the way.
    """
    known = {} if known is None else known
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
        return known.get(state)
    glossary = graph.bound.compiled.glossary
    told = [glossary.rules[name] for name in trace.rules]
    steps = tuple((said.actor, said.text) for said in told)
    broken = [search.broken(at, name) for at, name in zip(trace.states, (*trace.rules, None), strict=True)]
    for at, passed in enumerate(trace.states):
        breaks = dict.fromkeys(id for ids in broken[at:] for id in ids)
        known.setdefault(passed, Rescue(steps[at:], tuple(breaks)))
    return Rescue(steps, tuple(dict.fromkeys(id for ids in broken for id in ids)))
