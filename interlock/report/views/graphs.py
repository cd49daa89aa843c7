"""Lives of kinds and states of holds as graphs, for programs that read such: one value for all formats."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import BY_ITSELF, CONDITIONS, Kind, changes_of
from interlock.hold.lives import conditions_of
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.wording import ACTORS
from interlock.study.state_graph import StateGraph


@frozen
class Node:
    """A state: `id` is letters, digits and underscores, unique; `values` is what is so in it, by what that is of."""

    id: str
    is_initial: bool
    values: Mapping[str, str]


@frozen
class Edge:
    """A step: who does it (`actor`), what it is called in the declaration (`event`) and what is done, in a sentence.

    `itself`: it happens as soon as it can.  It does while all of `needs` are so and none of `unless`; of several with
    one event from one state the first that can is the one.
    """

    source: str
    target: str
    event: str
    actor: str
    says: str
    itself: bool = False
    needs: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()


@frozen
class GraphView:
    """States and the steps between them; `conditions` are those that steps ask for, with what each means."""

    title: str
    notes: tuple[str, ...]
    nodes: tuple[Node, ...]
    edges: tuple[Edge, ...]
    conditions: Mapping[str, str]


def kind_graph(kind: Kind) -> GraphView:
    """The life of a kind of thing, as declared."""
    nodes = [
        Node(
            state,
            state == kind.initial,
            {"says": str(kind.said(state)), "standing": str(state in kind.standing).lower()},
        )
        for state in kind.states
    ]
    edges = [
        Edge(
            change.source,
            change.dest,
            change.trigger,
            ACTORS[kind.triggers[change.trigger].actor],
            str(kind.triggers[change.trigger].told("it")),
            change.trigger == BY_ITSELF,
            change.needs,
            change.unless,
        )
        for change in changes_of(kind)
    ]
    conditions = {name: CONDITIONS[name] for name in conditions_of(kind)}
    return GraphView(kind.id, (kind.about, *CAUTIONS), tuple(nodes), tuple(edges), conditions)


def states_graph(compiled: CompiledHold, found: StateGraph) -> GraphView:
    """The states of a hold, each with what every part of it is in, and the steps between them in trade words."""
    glossary, machine = compiled.glossary, found.machine
    actors = {rule.name: rule.actor for rule in machine.rules}
    numbers = {rule.name: number for number, rule in enumerate(machine.rules)}
    nodes = []
    for number, state in enumerate(found.states):
        values = dict(_values(compiled, found, state))
        nodes.append(Node(f"s{number}", number < found.initial, values))
    edges = []
    for source, rule, target in found.steps:
        told = glossary.rules[rule]
        says = "; ".join((told.text, *told.responses))
        edges.append(Edge(f"s{source}", f"s{target}", f"step{numbers[rule]}", ACTORS[actors[rule]], says))
    bound = () if found.depth is None else (f"Only states that at most {found.depth} steps lead to are here.",)
    return GraphView(compiled.hold.title, (*bound, *CAUTIONS), tuple(nodes), tuple(edges), {})


def _values(compiled: CompiledHold, found: StateGraph, state: tuple[object, ...]) -> Iterator[tuple[str, str]]:
    for variable, value in zip(found.machine.variables, state, strict=True):
        said = compiled.glossary.values.get((variable.name, value))  # type: ignore[arg-type]
        yield variable.name, str(said or value)
