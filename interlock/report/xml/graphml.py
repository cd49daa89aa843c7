"""Graphs in GraphML, the format of the graph drawing community (graphml.graphdrawing.org), as networkx writes it."""

from __future__ import annotations

from io import BytesIO
from xml.etree.ElementTree import fromstring, register_namespace

from interlock.report.languages import in_xml
from interlock.report.views.graphs import GraphView

NAMESPACE = "http://graphml.graphdrawing.org/xmlns"


def graph_graphml(view: GraphView) -> str:
    """A directed graph in which several edges may lead from one node to another.

    Nodes have `initial` and what is so in them, edges `event`, `actor`, `says`, and `itself`, `needs`, `unless` where
    they are bound to conditions.  Names of several conditions are joined by blanks.
    """
    import networkx
    from networkx.readwrite.graphml import GraphMLWriter

    graph: networkx.MultiDiGraph[str] = networkx.MultiDiGraph()
    graph.graph.update(title=view.title, notes=" ".join(view.notes))
    graph.graph.update({f"condition {name}": means for name, means in view.conditions.items()})
    for node in view.nodes:
        graph.add_node(node.id, initial=str(node.is_initial).lower(), **node.values)
    for edge in view.edges:
        told = {"event": edge.event, "actor": edge.actor, "says": edge.says}
        if view.conditions or edge.itself:
            told |= {"itself": str(edge.itself).lower(), "needs": " ".join(edge.needs), "unless": " ".join(edge.unless)}
        graph.add_edge(edge.source, edge.target, **told)
    written = BytesIO()
    register_namespace("", NAMESPACE)
    # not networkx.write_graphml, which prefers a library that writes otherwise where it is installed
    writer = GraphMLWriter(encoding="utf-8", prettyprint=False)
    writer.add_graph_element(graph)
    writer.dump(written)
    return in_xml(fromstring(written.getvalue()))  # noqa: S314 -- our own
