"""Lives and states as GraphML and as state charts: read back, they are the declared machine and the kernel's steps."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from itertools import product
from types import SimpleNamespace
from typing import Any
from xml.etree.ElementTree import Element, fromstring

import networkx
import pytest
from transitions import Machine as TransitionsMachine

from interlock import cli
from interlock.hold.kinds import BY_ITSELF, Kind, changes_of
from interlock.hold.lives import conditions_of
from interlock.kernel.evaluator import initial_states, successors
from interlock.report.drawing.lifecycle import kinds_drawn
from interlock.report.views.graphs import kind_graph, states_graph
from interlock.report.xml.graphml import graph_graphml
from interlock.report.xml.scxml import NAMESPACE, NOT_SO, SO, graph_scxml, id_of
from interlock.study.state_graph import StateGraph, TooManyStates, state_graph
from tests.agreement.hold_texts import compile_file

KINDS = kinds_drawn()


class Chart:
    """A state chart as far as ours go, worked by the algorithm of the recommendation (appendix D).

    Regions lie side by side; in each the first transition in the order of the document whose event and condition fit
    is taken, and those without an event at once."""

    def __init__(self, text: str) -> None:
        self.root = fromstring(text)  # noqa: S314 -- our own
        assert self.root.tag == f"{{{NAMESPACE}}}scxml" and self.root.get("version") == "1.0"
        self.states = {one.get("id", ""): one for one in self.root.iter() if one.get("id")}
        assert len(self.states) == len([one for one in self.root.iter() if one.get("id")])
        for transition in self.root.iter(f"{{{NAMESPACE}}}transition"):
            assert transition.get("target") in self.states
        self.active: set[str] = set()
        self._enter(self.states[self.root.get("initial", "")])

    def _enter(self, element: Element) -> None:
        self.active.add(element.get("id", ""))
        inner = [one for one in element if one.tag in (f"{{{NAMESPACE}}}state", f"{{{NAMESPACE}}}parallel")]
        if element.tag == f"{{{NAMESPACE}}}parallel":
            for one in inner:
                self._enter(one)
        elif inner:
            self._enter(self.states[element.get("initial", "")])

    def _holds(self, condition: str | None) -> bool:
        told = condition or ""
        found = re.fullmatch(r"(!?In\('[\w.]+'\)( && )?)*", told)
        assert found, told
        return all((one[1] in self.active) != bool(one[0]) for one in re.findall(r"(!?)In\('([\w.]+)'\)", told))

    def _step(self, event: str | None) -> bool:
        taken = []
        for id in sorted(self.active):
            for transition in self.states[id].findall(f"{{{NAMESPACE}}}transition"):
                if transition.get("event") == event and self._holds(transition.get("cond")):
                    taken.append((id, transition.get("target", "")))
                    break
        for source, target in taken:
            self.active.remove(source)
            self.active.add(target)
        return bool(taken)

    def send(self, event: str) -> None:
        """An event from outside, and then all that happens by itself."""
        self._step(event)
        for _ in range(20):
            if not self._step(None):
                return
        raise AssertionError("it never comes to rest")

    @property
    def life(self) -> str:
        (found,) = [one for one in self.active if one.startswith("is_")]
        return found.removeprefix("is_")


def settled(machine: Any, model: Any) -> str:
    """By `transitions`: everything that happens by itself happens."""
    for _ in range(20):
        before = model.state
        if BY_ITSELF in machine.events:
            model.trigger(BY_ITSELF)
        if model.state == before:
            return str(model.state)
    raise AssertionError("it never comes to rest")


def lives(kind: Kind) -> Iterator[tuple[str, Mapping[str, bool], str, str]]:
    """From each state under each setting that lets it stay, for each trigger, where `transitions` leads."""
    names = conditions_of(kind)
    triggers = sorted({change.trigger for change in changes_of(kind)} - {BY_ITSELF})
    for state, values in product(kind.states, product((False, True), repeat=len(names))):
        setting = dict(zip(names, values, strict=True))
        model = SimpleNamespace(**{name: (lambda so=so: so) for name, so in setting.items()})
        machine = TransitionsMachine(
            model=model,
            states=list(kind.states),
            transitions=[dict(entry) for entry in kind.transitions],
            initial=state,
            auto_transitions=False,
            ignore_invalid_triggers=True,
        )
        if settled(machine, model) != state:
            continue
        for trigger in triggers:
            machine.set_state(state, model)
            model.trigger(trigger)
            yield state, setting, trigger, settled(machine, model)


@pytest.mark.parametrize("name", KINDS)
def test_state_chart_of_a_kind_does_what_its_machine_does(name: str) -> None:
    """In every state that lasts, under all settings of conditions, each event leads where `transitions` leads."""
    kind = KINDS[name]
    text = graph_scxml(kind_graph(kind))
    wrong = []
    for state, setting, trigger, wanted in lives(kind):
        chart = Chart(text)
        # brought there: what leads there is another row
        chart.active = {one for one in chart.active if not one.startswith("is_")} | {id_of(state)}
        for condition, so in setting.items():
            chart.active -= {f"{condition}.{SO}", f"{condition}.{NOT_SO}"}
            chart.active.add(f"{condition}.{SO if so else NOT_SO}")
        chart.send(trigger)
        if chart.life != wanted:
            wrong.append((state, setting, trigger, wanted, chart.life))
    assert wrong == []
    assert Chart(text).life == kind.initial


@pytest.mark.parametrize("name", KINDS)
def test_graph_of_a_kind_is_read_back(name: str) -> None:
    """networkx reads from GraphML the states and transitions that are declared, conditions among them."""
    kind = KINDS[name]
    graph = networkx.parse_graphml(graph_graphml(kind_graph(kind)), force_multigraph=True)
    assert list(graph) == list(kind.states)
    assert [node for node, told in graph.nodes(data=True) if told["initial"] == "true"] == [kind.initial]
    assert sorted(
        (source, dest, told["event"], told.get("needs", ""), told.get("unless", ""))
        for source, dest, told in graph.edges(data=True)
    ) == sorted(
        (one.source, one.dest, one.trigger, " ".join(one.needs), " ".join(one.unless)) for one in changes_of(kind)
    )


def test_condition_that_changes_moves_the_thing() -> None:
    """A spring latch goes down when a unit comes over it and up when it is clear, by itself."""
    chart = Chart(graph_scxml(kind_graph(KINDS["spring-latch"])))
    lived = [chart.life]
    for event in ("covered.so", "covered.not_so", "keep_down", "covered.so", "let_up", "covered.not_so", "let_up"):
        chart.send(event)
        lived.append(chart.life)
    assert lived == ["raised", "held_down", "raised", "kept_down", "kept_down", "kept_down", "kept_down", "raised"]


@pytest.fixture(scope="module")
def graph() -> StateGraph:
    """The states of a hold that few steps lead to."""
    return state_graph(compile_file("models/single-lane.yaml").machine, depth=2)


def test_states_and_steps_are_those_of_the_kernel(graph: StateGraph) -> None:
    """The states are those that so many steps lead to, and the steps between them all that the evaluator allows."""
    machine = graph.machine
    level, wanted = list(initial_states(machine)), dict.fromkeys(initial_states(machine))
    for _ in range(2):
        level = [after for state in level for _, after in successors(machine, state) if after not in wanted]
        wanted |= dict.fromkeys(level)
    assert set(graph.states) == set(wanted) and len(graph.states) == len(wanted) > 100
    assert graph.states[: graph.initial] == tuple(initial_states(machine))
    steps = {
        (state, rule.name, after)
        for state in wanted
        for rule, after in successors(machine, state)
        if after in wanted and after != state
    }
    assert {(graph.states[a], rule, graph.states[b]) for a, rule, b in graph.steps} == steps


def test_states_in_both_formats_are_the_graph(graph: StateGraph) -> None:
    """Read back, both formats have each state with its values and each step with who does what."""
    compiled = compile_file("models/single-lane.yaml")
    view = states_graph(compiled, graph)
    read = networkx.parse_graphml(graph_graphml(view), force_multigraph=True)
    assert list(read) == [node.id for node in view.nodes]
    assert sorted((a, b, told["event"], told["says"]) for a, b, told in read.edges(data=True)) == sorted(
        (edge.source, edge.target, edge.event, edge.says) for edge in view.edges
    )
    assert read.nodes["s0"]["supply.GP.state"] == "ground power is off"
    chart = Chart(graph_scxml(view))
    begun = [one.get("target") for one in chart.states["start"]]
    assert begun == [id_of(f"s{number}") for number in range(graph.initial)]
    told = {(id, one.get("event"), one.get("target")) for id in chart.states for one in chart.states[id]}
    assert told - {("start", f"start.s{n}", f"is_s{n}") for n in range(graph.initial)} == {
        (id_of(edge.source), edge.event, id_of(edge.target)) for edge in view.edges
    }


def test_too_many_states_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A graph of millions is not begun; a bound on the steps gives a part, which says so."""
    with pytest.raises(TooManyStates):
        state_graph(compile_file("models/single-lane.yaml").machine, most=500)
    assert cli.run(["draw", "demo:single-lane", "--what", "states", "--depth", "0", "--format", "scxml"]) == 0
    out = capsys.readouterr().out
    assert "at most 0 steps lead to" in out and "approved" in out
