"""The life of each kind of thing as a diagram, drawn from its `transitions` declaration and from nothing else."""

from __future__ import annotations

import re
from collections.abc import Mapping

import graphviz

from interlock.hold.kinds import (
    BY_ITSELF,
    CONDITIONS,
    DEVICE_KINDS,
    DOOR_KINDS,
    HANDLE,
    PANEL,
    PUSH_BUTTON,
    RELAY,
    SUPPLY,
    Change,
    Kind,
    changes_of,
    fed_supply_kind,
    latch_kind,
    lever_kind,
    lock_kind,
    machine_of,
    momentary_switch_kind,
    press_lever_kind,
    switch_kind,
)
from interlock.kernel.machine import Actor
from interlock.report.languages import in_dot
from interlock.report.views.wording import sentence

_FONT = "DejaVu Sans"
_LINE = 34


def kinds_drawn() -> Mapping[str, Kind]:
    """Every kind of thing by the name of its diagram, one example of those that depend on a description.

    A switch is drawn with two positions, a selector with three, a lever with two directions, one that can be pressed
    with one.
    """
    kinds = [*DEVICE_KINDS.values(), HANDLE, PANEL, PUSH_BUTTON, SUPPLY, RELAY, *DOOR_KINDS.values()]
    kinds += [latch_kind(by, by) for by in ("hand", "power")] + [lock_kind(by, by) for by in ("hand", "power")]
    kinds += [fed_supply_kind(stored, may_be_lost=True) for stored in (False, True)]
    named = {file_name(kind.id): kind for kind in kinds}
    named["switch"] = switch_kind(("off", "on"))
    named["selector"] = switch_kind(("left", "both", "right"))
    named["lever"] = lever_kind(("fore", "aft"))
    named["press-lever"] = press_lever_kind(("out",))
    named["momentary-switch"] = momentary_switch_kind(("up", "off", "down"), "off")
    return dict(sorted(named.items()))


def file_name(kind: str) -> str:
    """The id of a kind in letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", kind.lower()).strip("-")


def lifecycle_dot(kind: Kind, name: str | None = None) -> str:
    """The diagram in the DOT language; `name` heads it, the id of the kind where none is given.

    Rounded boxes are states, with a thick line where the thing stands above the floor; the dot points at where it
    rests at the start.  A full line is done by the crew or the equipment, a broken one happens by itself before anyone
    acts again.
    """
    machine = machine_of(kind)
    graph = graphviz.Digraph(
        "lifecycle",
        graph_attr={
            "fontname": _FONT,
            "fontsize": "11",
            "labelloc": "b",
            "labeljust": "l",
            "rankdir": "LR" if len(kind.states) < 3 else "TB",
            "nodesep": "0.7",
            "ranksep": "0.9",
            "label": _lines([sentence(name or kind.id), *_filled(kind.about, 80), *_filled(_key(kind), 80)], "\\l"),
        },
        node_attr={"shape": "box", "style": "rounded", "fontname": _FONT, "fontsize": "13", "margin": "0.25,0.12"},
        edge_attr={"fontname": _FONT, "fontsize": "10"},
    )
    graph.node("start", label="", shape="point", width="0.12")
    for state in machine.states:
        says, looks = [state.replace("_", " ")], {}
        if state in kind.standing:
            says, looks = [*says, "above the floor"], {"penwidth": "2.6"}
        graph.node(_node(state), label=_lines(says), **looks)
    graph.edge("start", _node(kind.initial))
    for change in changes_of(kind):
        looks = {"style": "dashed"} if change.trigger == BY_ITSELF else {}
        # spaces keep the words off the line
        label = _lines([f"  {line}  " for line in _label(kind, change)])
        graph.edge(_node(change.source), _node(change.dest), label=label, **looks)
    return str(graph.source)


def lifecycle_mermaid(kind: Kind) -> str:
    """The same machine in the mermaid language, as the `transitions` library writes it."""
    from transitions.extensions import GraphMachine

    machine = GraphMachine(
        states=list(kind.states),
        transitions=[dict(entry) for entry in kind.transitions],
        initial=kind.initial,
        auto_transitions=False,
        title=kind.id,
        show_conditions=True,
        graph_engine="mermaid",
    )
    return str(machine.get_graph().source)


def _label(kind: Kind, change: Change) -> list[str]:
    """Who does what, and on which conditions."""
    trigger = kind.triggers[change.trigger]
    if change.trigger == BY_ITSELF:
        head = "by itself"
    else:
        order = trigger.told("it").replace("the drive moves it", "it moves")
        head = {Actor.CREW: "crew: ", Actor.PLANT: "equipment: "}.get(trigger.actor, "") + order
    lines = _filled(head, _LINE)
    for word, names in (("if ", change.needs), ("unless ", change.unless)):
        for condition in names:
            lines += _filled(word + CONDITIONS[condition], _LINE)
            word = "and " if word != "unless " else "or "
    return lines


def _key(kind: Kind) -> str:
    says = ["Full line: done by the crew or the equipment."]
    if any(change.trigger == BY_ITSELF for change in changes_of(kind)):
        says.append("Broken line: by itself, before anyone acts again.")
    if kind.standing:
        says.append("Thick box: it stands above the floor.")
    if not changes_of(kind):
        says = [says[-1]] if kind.standing else []
    return " ".join(says)


def _filled(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, width, break_long_words=False)


def _lines(lines: list[str], end: str = "\\n") -> str:
    """Several lines as one label; nothing in them is taken for a command of the language."""
    return end.join(in_dot(line) for line in lines) + (end if end == "\\l" else "")


def _node(state: str) -> str:
    # `start` is the node of the entry arrow
    return f"state {state}"
