"""All reachable states and steps of a small machine as a graph, to look at in tests."""

from __future__ import annotations

import networkx

from interlock.kernel.claims import Limits
from interlock.kernel.machine import Machine
from interlock.prove.core.packing import compile_enabled
from interlock.prove.engine import NO_LIMITS
from interlock.prove.search.explicit import BreadthFirstSearch


def state_graph(machine: Machine, limits: Limits = NO_LIMITS) -> networkx.MultiDiGraph[int]:
    """The reachable states as nodes 0, 1, ... in order of depth, the steps as edges.

    A node has `state` (the tuple), `depth` and `initial`; an edge has `rule` (its name).  Where a limit was met
    the graph's attribute `complete` is false and only edges between visited states are there.
    """
    search = BreadthFirstSearch(machine, limits, counting=False)
    graph: networkx.MultiDiGraph[int] = networkx.MultiDiGraph()
    index: dict[int, int] = {}
    for depth, level in enumerate(search.levels()):
        for packed in level:
            index[packed] = len(index)
            graph.add_node(index[packed], state=search.packing.unpack(packed), depth=depth, initial=depth == 0)
    enabled = compile_enabled(search.packing)
    writes = [search.packing.writes(rule) for rule in machine.rules]
    for packed, node in index.items():
        for at in enabled(packed):
            keep, bits = writes[at]
            after = index.get(packed & keep | bits)
            if after is not None:
                graph.add_edge(node, after, rule=machine.rules[at].name)
    graph.graph["complete"] = not search.stopped
    return graph
