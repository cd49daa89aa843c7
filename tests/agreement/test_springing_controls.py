"""Levers that can be pressed, push buttons, momentary switches: what a hand can do to them, told a second time."""

from __future__ import annotations

from random import Random

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.levers import commanding
from interlock.hold.language.model import Direction
from interlock.hold.loader import Source, load_procedure
from interlock.hold.procedure.binding import bind_procedure
from interlock.kernel.claims import Limits
from interlock.kernel.evaluator import evaluate, initial_states, successors
from interlock.prove.search.explicit import explicit
from interlock.study.procedure.graph import procedure_graph
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_text, doorway, hold_text, standing
from tests.some import swept

CONTROLS = """\
controls:
  - {id: LV, kind: lever, positions: [in, out], can_be_pressed: true, behind: AP}
  - {id: AP, kind: access panel, starts: open}
  - {id: PB, kind: push button}
  - {id: MS, kind: momentary switch, positions: [down, off, up], returns: off}
"""


def hold(rest: str = "") -> CompiledHold:
    text = hold_text(units="- {id: HALF, across: 1, along: 1}", doorways=doorway("1C", "left"), rest=CONTROLS + rest)
    return compile_text(text, standing())


def moves(at: tuple[str, bool, bool, str, bool]) -> set[tuple[str, bool, bool, str, bool]]:
    """Deflection, pressed, button, switch, panel: what one movement of one hand makes of them."""
    lever, pressed, button, switch, panel = at
    found: set[tuple[str, bool, bool, str, bool]] = set()
    if panel and lever == "neutral":
        found |= {(way, pressed, button, switch, panel) for way in ("in", "out")}
    if panel and not pressed:
        found.add((lever, True, button, switch, panel))
    if lever != "neutral" or pressed:
        # springs: the deflection, the pressing, or both at once
        found |= {(lever, False, button, switch, panel), ("neutral", pressed, button, switch, panel)}
        found.add(("neutral", False, button, switch, panel))
    elif panel:
        found.add((lever, pressed, button, switch, False))
    if not panel:
        found.add((lever, pressed, button, switch, True))
    found.add((lever, pressed, not button, switch, panel))
    found |= {(lever, pressed, button, "off", panel)} if switch != "off" else set()
    found |= {(lever, pressed, button, way, panel) for way in ("down", "up")} if switch == "off" else set()
    return found - {at}


def test_what_hands_can_do() -> None:
    """From every state exactly the movements of the plain model, and each name true exactly where it says so."""
    compiled = hold()
    machine, things = compiled.machine, compiled.world.things

    def seen(state: tuple[object, ...]) -> tuple[str, bool, bool, str, bool]:
        def true(id: str) -> set[str]:
            return {name for name, expr in things[id].states.items() if evaluate(machine, expr, state)}  # type: ignore[arg-type]

        lever, switch = true("LV"), true("MS")
        (way,) = lever - {"pressed", "held"}
        (position,) = switch - {"held"}
        assert ("held" in lever) == (way != "neutral")
        assert ("held" in switch) == (position != "off")
        assert true("PB") in ({"pressed", "held"}, {"released"})
        return way, "pressed" in lever, "pressed" in true("PB"), position, "open" in true("AP")

    (start,) = initial_states(machine)
    waiting, known = [start], {start}
    while waiting:
        state = waiting.pop()
        after = [to for rule, to in successors(machine, state) if rule.name.startswith("control.")]
        assert {seen(one) for one in after} == moves(seen(state))
        new = set(after) - known
        known |= new
        waiting.extend(new)
    # with the panel shut the lever is let go
    assert len(known) == 2 * 3 * (6 + 1)


@pytest.mark.parametrize("start", swept(range(0, 150, 50), 3))
def test_which_of_them_ask_for_a_command(start: int) -> None:
    """Of drawn commands: a position counts where taking hold of it, all else the same, can make the command true."""
    states = {
        "LV": [(way, pressed) for way in ("neutral", "in", "out") for pressed in (False, True)],
        "PB": [("released", False), ("pressed", True)],
        "MS": [("off", False), ("down", False), ("up", False)],
    }

    def so(fact: tuple[str, str], at: dict[str, tuple[str, bool]]) -> bool:
        position, pressed = at[fact[0]]
        return pressed if fact == ("LV", "pressed") else position == fact[1]

    facts = [("LV", "in"), ("LV", "out"), ("LV", "pressed"), ("LV", "neutral"), ("PB", "pressed"), ("PB", "released")]
    facts += [("MS", "down"), ("MS", "off"), ("MS", "up")]
    asked = 0
    for seed in range(start, start + 50):
        draw = Random(seed)
        terms = [[(draw.choice(facts), draw.random() < 0.3) for _ in range(draw.randint(1, 2))] for _ in range(2)]
        text = " or ".join(
            "(" + " and ".join(f"{id} is {'not ' * negated}{state}" for (id, state), negated in term) + ")"
            for term in terms
        )

        def meant(at: dict[str, tuple[str, bool]], terms: list[list[tuple[tuple[str, str], bool]]] = terms) -> bool:
            return any(all(so(fact, at) != negated for fact, negated in term) for term in terms)

        expected = set()
        for id, taken, let_go in (
            ("LV", ("in", "out"), ("neutral", False)),
            ("PB", ("pressed",), ("released", False)),
            ("MS", ("down", "up"), ("off", False)),
        ):
            others = [other for other in states if other != id]
            for first in states[others[0]]:
                for second in states[others[1]]:
                    rest = {others[0]: first, others[1]: second}
                    free = meant({id: let_go, **rest})
                    for held in states[id]:
                        if held[0] in taken and meant({id: held, **rest}) and not free:
                            expected.add((id, held[0]))
                    if id == "LV" and meant({id: ("neutral", True), **rest}) and not free:
                        expected.add((id, "pressed"))
        zones = f"zones: [{{id: Z, bays: [1C], power: always, commands: [{{left: {text}}}]}}]\n"
        compiled = hold(zones)
        (zone,) = compiled.hold.zones
        found = set(commanding(compiled.hold, zone, zone.commands[0], Direction.LEFT))
        # a fact that stands in both terms may make it ask for more than can be: that errs towards asking
        assert expected <= found, text
        asked += len(expected)
    assert asked > 20


SPRINGING = """\
  - {id: SW, kind: KIND, positions: [stop, run]}
zones: [{id: Z, bays: [1C], power: always, commands: [{left: SW is run}]}]
"""


@pytest.mark.parametrize(
    ("kind", "status"),
    [("momentary switch, returns: stop", Status.HOLDS), ("switch, starts: stop", Status.FAILS)],
)
def test_a_switch_that_stays_is_no_hold_to_run(kind: str, status: Status) -> None:
    """A momentary switch runs the drive only while it is held; a maintained one runs it on when it is let go."""
    compiled = hold(SPRINGING.replace("KIND", kind))
    (answer,) = verify(compiled, explicit, Limits(), chosen=("drive-only-while-held[1C,1C.left]",)).answers
    assert answer.status is status


def test_procedures_press_and_let_up() -> None:
    """`press` works a button and a lever; a lever that was pressed comes up, goes back, or is let go altogether."""
    procedure = """\
interlock: 1
procedure: Presses
hold: hold.yaml
steps:
  - press PB until PB is pressed
  - press PB
  - release PB
  - press LV
  - hold LV to in
  - let up LV
  - press LV until LV is pressed
  - press LV
  - let back LV
  - release LV
  - hold MS to up until MS is up
  - check PB is released
goal: LV is neutral
"""
    loaded = load_procedure(Source("p.yaml", procedure.encode()))
    assert loaded.value is not None, loaded.diagnostics
    bound = bind_procedure(loaded.value, hold()).bound
    assert bound is not None
    rules = [{rule.rsplit("@", 1)[0] for rule in one.rules} for one in bound.actions[:-1]]
    assert [bool(one.release) for one in bound.actions] == [at in (0, 6, 10) for at in range(12)]
    assert rules[0] == rules[1] == {"control.PB.hold_pressed"}
    assert all(found and all(rule.split(".")[1] in ("PB", "LV", "MS") for rule in found) for found in rules)


def test_whatever_is_held_springs_back_when_everybody_leaves() -> None:
    """At the place where nobody does anything any more a lever, a button and a momentary switch can be let go."""
    procedure = """\
interlock: 1
procedure: Everything at once
hold: hold.yaml
steps:
  - press PB
  - press LV
  - hold MS to up
goal: PB is pressed
"""
    loaded = load_procedure(Source("p.yaml", procedure.encode()))
    assert loaded.value is not None
    bound = bind_procedure(loaded.value, hold()).bound
    assert bound is not None
    graph = procedure_graph(bound, ())
    left = {move.rule.partition("@")[0] for move in graph.moves if move.source == graph.gone and move.rule}
    assert {rule.split(".")[1] for rule in left} == {"PB", "LV", "MS"}
    assert all(".release" in rule for rule in left)


@pytest.mark.parametrize(
    ("step", "expected", "nearest"),
    [
        ("hold LV to inn", "one of in, out", "in"),
        ("hold MS to raised", "one of down, up", None),
        ("set PB to on", "one of press, release", None),
    ],
)
def test_a_position_that_there_is_not_is_told_with_those_that_there_are(
    step: str, expected: str, nearest: str | None
) -> None:
    """Whoever gets the position wrong is not told that holding is something that can be done."""
    text = f"interlock: 1\nprocedure: tried\nhold: tiny.yaml\ngoal: always\nsteps:\n  - {step}\n"
    procedure = load_procedure(Source("tried.yaml", text.encode())).value
    assert procedure is not None
    (fault,) = bind_procedure(procedure, hold()).diagnostics
    assert (fault.code, fault.expected, fault.nearest) == ("unknown-verb", expected, nearest)
