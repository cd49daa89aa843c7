"""Hands: nobody works what nobody reaches, and what is stuck stays, also when it is let go."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.evaluator import as_mapping, successors
from interlock.kernel.expressions import Value
from interlock.kernel.machine import Actor
from tests.agreement.hold_texts import compile_text, doorway, hold_text
from tests.agreement.state_graphs import state_graph

Values = dict[str, Value]


def steps(compiled: CompiledHold) -> Iterator[tuple[Actor, Values, Values]]:
    """Every step from every reachable state: who takes it, the values before and after."""
    machine = compiled.machine
    for _, data in state_graph(machine).nodes(data=True):
        before = as_mapping(machine, data["state"])
        for rule, after in successors(machine, data["state"]):
            yield rule.actor, before, as_mapping(machine, after)


PEOPLE = """\
people:
  - {id: P1, places: [out, in_bay], moves: always, starts: out}
places:
  - {id: out, bay: outside, reaches: [THIS]}
  - {id: in_bay, bay: 1C, reaches: [OTHER]}
"""


def worked(thing: str, devices: str = "", rest: str = "", door: str = doorway("1C", "left")) -> CompiledHold:
    """A hold of one bay with one person, in which `thing` is within reach outside only; something else inside."""
    other = LATCH.replace("KIND", "manual latch").replace("THIS", "OTHER").replace("aft", "fore") + "\n"
    reached = PEOPLE.replace("THIS", thing)
    return compile_text(hold_text(doorways=door, devices=other + devices, rest=rest + reached))


LATCH = "- {id: THIS, kind: KIND, on: 1C.aft, stops: [aft], restrains: [x], locking: raised, starts: raised}"
WORKED = {
    "latch": ("device.T.position", dict(thing="T", devices=LATCH.replace("KIND", "manual latch").replace("THIS", "T"))),
    "guide": ("device.T.position", dict(thing="T", devices=LATCH.replace("KIND", "manual guide").replace("THIS", "T"))),
    "switch": (
        "control.T.position",
        dict(thing="T", rest="controls:\n  - {id: T, kind: switch, positions: [off, on], starts: off}\n"),
    ),
    "panel": (
        "control.T.position",
        dict(thing="T", rest="controls:\n  - {id: T, kind: access panel, starts: closed}\n"),
    ),
}


@pytest.mark.parametrize("what", WORKED)
def test_nobody_works_what_nobody_reaches(what: str) -> None:
    """Each step of the crew that changes a thing is taken while somebody stands where it is within reach."""
    variable, made = WORKED[what]
    at = Counter(
        before["person.P1.at"]
        for actor, before, after in steps(worked(**made))
        if actor is Actor.CREW and before[variable] != after[variable]
    )
    assert set(at) == {"out"} and at["out"] >= 2


LEVER = """\
controls:
  - {id: LA, kind: lever, positions: [fore, aft]}
failures:
  - {of: LA, mode: stuck}
"""


def test_a_lever_that_sticks_is_not_let_go() -> None:
    """Once a lever sticks nothing moves it: its spring no more than a hand; until then both do."""
    compiled = compile_text(hold_text(doorways=doorway("1C", "left"), rest=LEVER))
    position = "control.LA.position"
    (failure,) = (v.name for v in compiled.machine.variables if v.domain == (False, True))
    moves: Counter[tuple[bool, Value, Value]] = Counter()
    stuck_at = set()
    for _, before, after in steps(compiled):
        stuck = before[failure] is True
        stuck_at |= {before[position]} if stuck else set()
        if before[position] != after[position]:
            moves[stuck, before[position], after[position]] += 1
    assert stuck_at == {"neutral", "fore", "aft"}
    assert {move for move in moves if move[0]} == set()
    assert {move[1:] for move in moves} >= {("neutral", "fore"), ("fore", "neutral"), ("aft", "neutral")}


def test_where_nobody_is_declared_everything_is_within_reach() -> None:
    """Reach counts people who are declared: a hold that declares places and nobody leaves its hand work to anybody."""
    devices = LATCH.replace("KIND", "manual latch").replace("THIS", "T").replace("starts: raised", "starts: lowered")
    places = "places:\n  - {id: out, bay: outside, reaches: [T]}\n"
    compiled = compile_text(hold_text(doorways=doorway("1C", "left"), devices=devices, rest=places))
    moved = {
        (before["device.T.position"], after["device.T.position"])
        for actor, before, after in steps(compiled)
        if actor is Actor.CREW
    }
    assert moved >= {("lowered", "raised"), ("raised", "lowered")}
