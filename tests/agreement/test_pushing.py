"""Where and when units can be pushed, and by whom, told a second time from the rules as a person reads them."""

from __future__ import annotations

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.origin import Arrive, Depart, Means
from interlock.kernel.claims import Limits
from interlock.kernel.evaluator import State, as_mapping, successors
from interlock.prove.search.explicit import explicit
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import HALF, LONG, compile_text, doorway, hold_text, standing
from tests.agreement.state_graphs import state_graph

PEOPLE = """\
controls:
  - {id: SW, kind: switch, positions: [off, on], starts: off}
places:
  - {id: out, bay: outside, reaches: [1C]}
  - {id: in4, bay: 4C, reaches: [3C]}
people:
  - {id: P, places: [out, in4], starts: out, moves: always}
"""
RULES = "[{bays: 1C..2C, when: SW is on}, {bays: 3C, when: always}]"


def hold(pushing: str, units: str = HALF, rest: str = PEOPLE) -> CompiledHold:
    doors = doorway("1C", "fore")
    return compile_text(hold_text(rows=4, units=units, doorways=doors, pushing=pushing, rest=rest), standing())


def can(bay: str, pushing: str, on: bool, place: str) -> bool:
    """Whether somebody can push a unit that is in that bay."""
    if bay not in ("1C", "2C", "3C", "4C"):
        return False
    allowed = {"always": True, "SW is on": on}.get(pushing, {"1C": on, "2C": on, "3C": True, "4C": False}[bay])
    within = {"1C": place == "out", "3C": place == "in4"}.get(bay, True)
    return allowed and within


def pushes(compiled: CompiledHold, state: State) -> set[Depart | Arrive]:
    """What can be pushed in a state."""
    names = {rule.name for rule, _ in successors(compiled.machine, state)}
    deeds = {compiled.origins.rules[name].deed for name in names}
    return {deed for deed in deeds if isinstance(deed, Depart | Arrive) and deed.means is Means.PUSH}


@pytest.mark.parametrize("pushing", ["always", "SW is on", RULES])
@pytest.mark.parametrize("units", [HALF, LONG], ids=["half", "long"])
def test_units_are_pushed_where_somebody_can(pushing: str, units: str) -> None:
    """In every reachable state, of all pushes that would be possible without rules, those that the rules allow."""
    compiled, free = hold(pushing, units), hold("always", units, "")
    graph = state_graph(compiled.machine)
    allowed = forbidden = 0
    for node in graph:
        state = graph.nodes[node]["state"]
        values = as_mapping(compiled.machine, state)
        on, place = values["control.SW.position"] == "on", str(values["person.P.at"])
        any_push = pushes(free, tuple(values[variable.name] for variable in free.machine.variables))
        expected = {
            deed
            for deed in any_push
            if any(
                can(cell, pushing, on, place)
                for cell in (deed.move.source.cells if isinstance(deed, Depart) else deed.move.cells)
            )
        }
        assert pushes(compiled, state) == expected
        allowed += len(expected)
        forbidden += len(any_push - expected)
    assert allowed > 20
    assert forbidden > 20


NOBODY_THERE = """\
requirements:
  - id: pushed-by-somebody
    text: A unit leaves 3C only while somebody stands in 4C
    kind: only if
    step: leave 3C
    condition: P is in4
    hazard: a unit moves with nobody near it
    severity: "2"
    scheme: MIL-STD-882E
    source: common practice, no source
"""


@pytest.mark.parametrize(
    ("change", "status"),
    [
        (("", ""), Status.HOLDS),
        (("reaches: [1C]", "reaches: [1C, 3C]"), Status.FAILS),
        (("reaches: [3C]", "reaches: []"), Status.FAILS),
    ],
    ids=["sound", "reached from outside as well", "nobody's reach is declared"],
)
def test_who_can_push_is_told_by_reach(change: tuple[str, str], status: Status) -> None:
    """A bay within somebody's reach is pushed in by whoever is there; one that nobody reaches by anybody."""
    compiled = hold(RULES, rest=PEOPLE.replace(*change) + NOBODY_THERE)
    (answer,) = verify(compiled, explicit, Limits(), chosen=("pushed-by-somebody",)).answers
    assert answer.status is status
