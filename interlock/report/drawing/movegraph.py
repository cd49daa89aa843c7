"""Where units can stand and how they can move, as a diagram, latches and drives left aside."""

from __future__ import annotations

from itertools import pairwise

import graphviz

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Floor, Move, Placement, floor_graph
from interlock.report.languages import in_dot
from interlock.report.views.assumptions import IN_SHORT
from interlock.report.views.wording import named

_FONT = "DejaVu Sans"


def moves_dot(compiled: CompiledHold) -> str:
    """The diagram in the DOT language: a cluster for each kind of unit, forward to the left, right at the top.

    A box is a place for a unit, named by the cells that it covers, broken where it is on the loader.  A line with two
    heads is a move and its return; a thick line crosses a sill.
    """
    floor = compiled.floor
    graph = graphviz.Digraph(
        "moves",
        graph_attr={
            "fontname": _FONT,
            "rankdir": "LR",
            "nodesep": "0.3",
            "ranksep": "0.45",
            "label": in_dot(f"{compiled.hold.title}\n{IN_SHORT}"),
        },
        node_attr={"shape": "box", "fontname": _FONT, "fontsize": "11", "height": "0.3"},
        edge_attr={"arrowsize": "0.6"},
    )
    moves = floor_graph(floor)
    pairs: dict[tuple[Placement, Placement], Move] = {
        (source, target): carried["move"] for source, target, carried in moves.edges(data=True)
    }
    for unit in compiled.hold.units:
        with graph.subgraph(name=f"cluster {unit.id}") as cluster:
            cluster.attr(label=in_dot(named(unit.id, unit.name)), style="rounded", color="gray40")
            here = sorted((p for p in floor.placements if p.kind == unit.id), key=lambda p: _order(floor, p))
            beside: set[tuple[Placement, Placement]] = set()
            for row in sorted({_order(floor, placement)[0] for placement in here}):
                with cluster.subgraph(graph_attr={"rank": "same"}) as column:
                    across = [placement for placement in here if _order(floor, placement)[0] == row]
                    for placement in across:
                        outside = any(floor.cells[cell].door for cell in placement.cells)
                        looks = {"style": "dashed"} if outside else {}
                        column.node(_node(placement), label=in_dot(_says(floor, placement)), **looks)
                    beside.update(pairwise(across))
            for left, right in sorted(beside, key=lambda pair: (_order(floor, pair[0]), _order(floor, pair[1]))):
                if (left, right) not in pairs and (right, left) not in pairs:
                    # an edge within a column puts its head above its tail
                    cluster.edge(_node(left), _node(right), style="invis")
            for source in here:
                for target in here:
                    move = pairs.get((source, target))
                    back = (target, source) in pairs
                    if move is None or (back and _order(floor, target) < _order(floor, source)):
                        continue
                    looks = {"dir": "both"} if back else {}
                    if move.doors:
                        looks["penwidth"] = "2.2"
                    tail, head = source, target
                    if move.direction.axis == "x":
                        # counts for more than a small picture does: a lane is a straight line
                        looks["weight"] = "1000"
                    elif (source, target) not in beside:
                        if (target, source) in beside:
                            tail, head = target, source
                            looks["dir"] = "back"
                        else:
                            # side by side, so that a row stays one column of the picture
                            looks["constraint"] = "false"
                    cluster.edge(_node(tail), _node(head), **looks)
    return str(graph.source)


def _node(placement: Placement) -> str:
    # a colon would name a port of a node
    return placement.id.replace(":", " ")


def _says(floor: Floor, placement: Placement) -> str:
    inside = floor.bays_of(placement.cells)
    outside = [cell for cell in placement.cells if cell not in inside]
    if not outside:
        return " + ".join(inside)
    place = floor.cells[outside[0]]
    loader = f"loader at {place.door}"
    beside = place.bay if place.depth == 1 else f"{place.bay}-{place.depth}"
    return f"{loader} ({beside})" if not inside else f"{' + '.join(inside)} + {loader}"


def _order(floor: Floor, placement: Placement) -> tuple[int, int]:
    """Fore to aft, then left to right: the layout goes up a column, so that right is at the top as on the plan."""
    first = floor.cells[placement.cells[0]]
    return first.row, first.lane
