"""Graphs as state charts: State Chart XML (SCXML), W3C Recommendation of 1 September 2015.

Section numbers are those of the recommendation.  A condition of the declaration is a region of its own beside the life
of the thing (3.4, `parallel`), in which events `NAME.so` and `NAME.not_so` change whether it is so; transitions ask for
it with the predicate `In` (B.2.2).  What happens by itself is a transition without an event (3.13), taken as soon as it
can be.  Of several transitions that can be taken the first in the order of the document is (3.13), as in
`transitions`.  Sentences for people are attributes of a namespace of our own, which processors pass over (3.2).
"""

from __future__ import annotations

from collections.abc import Mapping
from xml.etree.ElementTree import Element, SubElement

from interlock.report.languages import in_xml
from interlock.report.views.graphs import Edge, GraphView, Node

NAMESPACE = "http://www.w3.org/2005/07/scxml"
OWN = "urn:interlock:said"
SO, NOT_SO = "so", "not_so"


def graph_scxml(view: GraphView) -> str:
    """A document with the states of the graph, and a region for each condition.

    Where a machine can start in several states, a state `start` has a transition to each, of the event `start.STATE`.
    """
    root = Element(
        "scxml",
        {"xmlns": NAMESPACE, "xmlns:said": OWN, "version": "1.0", "datamodel": "ecmascript", "name": "interlock"},
    )
    root.set("said:title", view.title)
    root.set("said:notes", " ".join(view.notes))
    initial = [node.id for node in view.nodes if node.is_initial]
    whole = root
    if view.conditions:
        root.set("initial", "whole")
        whole = SubElement(SubElement(root, "parallel", {"id": "whole"}), "state", {"id": "life"})
    if len(initial) > 1:
        start = SubElement(whole, "state", {"id": "start"})
        for one in initial:
            SubElement(start, "transition", {"event": f"start.{one}", "target": id_of(one)})
        whole.set("initial", "start")
    else:
        whole.set("initial", id_of(initial[0]))
    leaving: dict[str, list[Edge]] = {}
    for edge in view.edges:
        leaving.setdefault(edge.source, []).append(edge)
    for node in view.nodes:
        _state(whole, node, leaving.get(node.id, []))
    for name, means in view.conditions.items():
        _condition(root[0], name, means)
    return in_xml(root)


def id_of(node: str) -> str:
    """The identifier of a state, apart from those of conditions (3.14: of type xsd:ID)."""
    return f"is_{node}"


def _state(around: Element, node: Node, leaving: list[Edge]) -> None:
    state = SubElement(around, "state", {"id": id_of(node.id)})
    state.set("said:values", "; ".join(_said(node.values)))
    for edge in leaving:
        told = {} if edge.itself else {"event": edge.event}
        conditions = [f"In('{name}.{SO}')" for name in edge.needs] + [f"!In('{name}.{SO}')" for name in edge.unless]
        told |= {"cond": " && ".join(conditions)} if conditions else {}
        SubElement(
            state, "transition", {**told, "target": id_of(edge.target), "said:by": edge.actor, "said:does": edge.says}
        )


def _said(values: Mapping[str, str]) -> list[str]:
    return [f"{name}: {value}" for name, value in values.items()]


def _condition(around: Element, name: str, means: str) -> None:
    region = SubElement(around, "state", {"id": name, "initial": f"{name}.{NOT_SO}", "said:means": means})
    for word, other in ((NOT_SO, SO), (SO, NOT_SO)):
        state = SubElement(region, "state", {"id": f"{name}.{word}"})
        SubElement(state, "transition", {"event": f"{name}.{other}", "target": f"{name}.{other}"})
