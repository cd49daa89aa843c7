"""What a hand on a lever can bring about, told a second time: by trying every state of everything else."""

from __future__ import annotations

from itertools import product
from random import Random

import pytest

from interlock.hold.compile.levers import commanding, levers_of, readings_of
from interlock.hold.compile.supplies import supplies_of
from interlock.hold.language.model import Direction, Hold
from interlock.hold.loader import Source, load_hold
from tests.agreement.hold_texts import doorway, hold_text
from tests.some import swept

POSITIONS = ("in_", "out", "mid")
SWITCHES = ("A", "B", "C")
TEXT = """\
controls:
  - {{id: L, kind: lever, positions: [in_, out, mid]}}
{switches}
circuits:
  - {{id: c1, use: logic, is: {c1}}}
  - {{id: c2, use: logic, is: {c2}}}
zones:
  - {{id: Z, bays: [1C], power: always, commands: [{{left: {command}}}]}}
"""


def drawn(draw: Random, switches: list[str], named: tuple[str, ...], depth: int) -> tuple[str, str]:
    """An expression in which each switch occurs once at most, in the words of the language and in those of Python."""
    if depth == 0 or draw.random() < 0.25:
        if switches and draw.random() < 0.4:
            switch = switches.pop()
            return f"{switch} is on", f"at['{switch}']"
        if named and draw.random() < 0.4:
            name = draw.choice(named)
            return name, f"{name}(at)"
        position = draw.choice((*POSITIONS, "neutral"))
        if draw.random() < 0.2:
            return f"L is not {position}", f"(at['L'] != '{position}')"
        return f"L is {position}", f"(at['L'] == '{position}')"
    word = draw.choice(("and", "or", "not", "implies"))
    first = drawn(draw, switches, named, depth - 1)
    if word == "not":
        return f"not ({first[0]})", f"(not {first[1]})"
    second = drawn(draw, switches, named, depth - 1)
    if word == "implies":
        return f"(({first[0]}) implies ({second[0]}))", f"(not {first[1]} or {second[1]})"
    return f"(({first[0]}) {word} ({second[0]}))", f"({first[1]} {word} {second[1]})"


def loaded(rest: str) -> Hold:
    text = hold_text(ball_mat="[1C]", doorways=doorway("1C", "left"), rest=rest)
    found = load_hold(Source("test.yaml", text.encode()), lambda name: None)
    assert found.value is not None, found.diagnostics
    return found.value


@pytest.mark.parametrize("first", swept(range(0, 400, 100), 4))
def test_a_position_asks_where_holding_it_makes_the_command_true(first: int) -> None:
    """Of 100 drawn commands: all positions that can make it true are found; where nothing is said twice, no others."""
    exact = 0
    for seed in range(first, first + 100):
        draw = Random(seed)
        switches = list(SWITCHES)
        one = drawn(draw, switches, (), 1)
        two = drawn(draw, switches, ("c1",), 1)
        command = drawn(draw, switches, ("c1", "c2"), 3)
        lines = "\n".join(f"  - {{id: {id}, kind: switch, positions: [off, on], starts: off}}" for id in SWITCHES)
        hold = loaded(TEXT.format(switches=lines, c1=one[0], c2=two[0], command=command[0]))
        names: dict[str, object] = {}
        for name, (_, python) in (("c1", one), ("c2", two), ("command", command)):
            exec(f"def {name}(at): return {python}", names)  # noqa: S102 -- the text was made above
        meant = names["command"]
        assert callable(meant)
        asking = set()
        for position in POSITIONS:
            for states in product((False, True), repeat=len(SWITCHES)):
                rest = dict(zip(SWITCHES, states, strict=True))
                if meant({"L": position, **rest}) and not meant({"L": "neutral", **rest}):
                    asking.add(position)
        (zone,) = hold.zones
        found = {position for _, position in commanding(hold, zone, zone.commands[0], Direction.LEFT)}
        assert asking <= found, command[0]
        if "c1" not in command[0] + two[0] and command[0].count("c2") < 2:
            # each switch occurs once, so nothing hangs together that is taken to be free
            assert found == asking, command[0]
            exact += 1
        assert levers_of(hold, zone) == (("L",) if found else ())
    assert exact > 5


QUANTIFIED = """\
controls:
  - {{id: L, kind: lever, positions: [run]}}
  - {{id: K, kind: lever, positions: [run]}}
  - {{id: J, kind: lever, positions: [run]}}
groups:
  - {{id: two, members: [L, K]}}
stations:
  - {{id: S, controls: [L, J], owns: always}}
zones:
  - {{id: Z, bays: [1C], power: always, commands: [{{station: S, left: "{command}"}}]}}
"""


@pytest.mark.parametrize(
    ("command", "found"),
    [
        ("some v in two: v is run", {"L"}),
        ("every v in two: v is run", {"L"}),
        ("no v in two: v is run", set()),
        ("no v in two: v is neutral", {"L"}),
        ("at most one v in two: v is neutral", {"L"}),
        ("at most one v in two: v is run", set()),
        ("some v in S.controls: v is held", {"L", "J"}),
        ("some v in levers: not v is neutral", {"L", "J"}),
        ("every v in controls: v is run", {"L", "J"}),
        ("some b in bays: b is empty", set()),
        ("not (every v in two: v is neutral)", {"L"}),
        ("true implies L is run", {"L"}),
        ("L is run implies false", set()),
    ],
)
def test_quantifiers_over_levers(command: str, found: set[str]) -> None:
    """Each quantifier over a group of levers, a group of the description, of a station, of all."""
    hold = loaded(QUANTIFIED.format(command=command))
    (zone,) = hold.zones
    assert {id for id, _ in commanding(hold, zone, zone.commands[0], Direction.LEFT)} == found


RELAYS = """\
controls:
  - {{id: L, kind: lever, positions: [run]}}
sensors:
  - {{id: seen, reads: L is run}}
relays:
  - {{id: r, sets: {sets}, drops: {drops}}}
  - {{id: s, sets: r, drops: not r}}
circuits:
  - {{id: again, use: logic, is: s is energised and seen is on}}
zones:
  - {{id: Z, bays: [1C], power: always, commands: [{{left: "{command}"}}]}}
"""


@pytest.mark.parametrize(
    ("sets", "drops", "command", "asks"),
    [
        ("L is run", "L is neutral", "r", True),
        ("L is run", "L is neutral", "r is released", False),
        ("L is neutral", "L is run", "r", False),
        ("L is neutral", "L is run", "not r", True),
        ("L is neutral", "L is run", "r is released", True),
        ("L is neutral", "never", "r and L is run", True),
        ("always", "L is neutral", "r", False),
        ("L is run", "never", "s", True),
        ("L is run", "never", "again", True),
        ("L is neutral", "never", "again is off", False),
        ("always", "never", "seen is off", False),
        ("s or L is run", "never", "s", True),
        ("s and L is run", "never", "s", True),
        ("L is neutral", "never", "not r", False),
    ],
)
def test_memory_between_lever_and_command(sets: str, drops: str, command: str, asks: bool) -> None:
    """A relay is asked for by what sets it; what makes it drop asks for its being dropped."""
    hold = loaded(RELAYS.format(sets=sets, drops=drops, command=command))
    (zone,) = hold.zones
    assert (commanding(hold, zone, zone.commands[0], Direction.LEFT) == (("L", "run"),)) is asks


@pytest.mark.parametrize(
    ("power", "command", "found"),
    [
        ("GP is on", "L is run", ("GP",)),
        ("GP is on", "L is run and not AP is off", ("AP", "GP")),
        ("fed", "L is run", ("GP",)),
        ("kept", "L is run", ("AP", "GP")),
        ("'every s in supplies: s is on'", "L is run", ("AP", "GP")),
        ("always", "L is run", ()),
        ("D1 is open", "seen", ("AP",)),
    ],
)
def test_the_supplies_of_a_zone(power: str, command: str, found: tuple[str, ...]) -> None:
    """Through circuits, relays by what sets and what drops them, sensors and groups; not through a door."""
    hold = loaded(
        f"""\
controls:
  - {{id: L, kind: lever, positions: [run]}}
supplies:
  - {{id: GP, starts: off, may_be_lost: true}}
  - {{id: AP, starts: off, may_be_lost: true}}
sensors:
  - {{id: seen, reads: AP is on}}
circuits:
  - {{id: fed, use: power, is: GP is on}}
  - {{id: light, use: indication, is: GP is on and AP is on}}
relays:
  - {{id: kept, sets: fed, drops: not seen}}
zones:
  - {{id: Z, bays: [1C], power: {power}, commands: [{{left: {command}}}]}}
"""
    )
    assert supplies_of(hold, hold.zones[0]) == found


def test_what_is_only_read_off_a_command_is_listed() -> None:
    """Each position that counts for a direction because a command asks for it, and for nothing that it says itself."""
    rest = """\
controls:
  - {id: LM, kind: lever, positions: [near, far], marks: {left: [near]}}
  - {id: LN, kind: lever, positions: [left, right]}
  - {id: LR, kind: lever, positions: [in_, out]}
zones:
  - id: Z
    bays: [1C]
    power: always
    commands:
      - {left: LM is near or LN is left or LR is in_, right: LN is right or LR is out}
"""
    hold = loaded(rest)
    told = [(one.zone.id, one.lever.id, one.position, one.direction.value) for one in readings_of(hold)]
    assert told == [("Z", "LR", "in_", "left"), ("Z", "LR", "out", "right")]
    (zone,) = hold.zones
    left = commanding(hold, zone, zone.commands[0], Direction.LEFT)
    assert left == (("LM", "near"), ("LN", "left"), ("LR", "in_"))
    assert readings_of(loaded(rest.replace("LR is in_", "never").replace("LR is out", "never"))) == ()
