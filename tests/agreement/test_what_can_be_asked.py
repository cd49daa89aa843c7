"""Whatever a description has a word for can be asked about, also where no rule and no requirement needs it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from interlock import cli
from interlock.cli.opening import Opened, Texts, open_hold
from interlock.hold.compile.world import Thing
from interlock.kernel.expressions import signals_of
from tests.golden.small_hold import TEXT

PROCEDURE = "interlock: 1\nprocedure: Tested\nhold: demo:single-lane\ngoal: {fact}\nsteps:\n  - check {fact}\n"


def things_of(opened: Opened) -> Iterator[Thing]:
    """Every thing and all its parts, each once."""
    world = opened.compiled.world
    yield from (*world.things.values(), *world.sides.values())


@pytest.mark.parametrize("name", ["single-lane", "twin-lane"])
def test_every_state_of_every_thing_is_known_to_the_machine(name: str) -> None:
    """The machine, compiled without any requirement, defines what each state of each thing means."""
    opened = open_hold(f"demo:{name}", Texts(), None)
    assert isinstance(opened, Opened)
    named = {signal for thing in things_of(opened) for state in thing.states.values() for signal in signals_of(state)}
    assert len(named) > 50
    assert named <= set(opened.compiled.machine.definitions)


@pytest.mark.parametrize("fact", ["SG is lowered", "SG is raised", "4C is secured", "M2 is raised"])
@pytest.mark.parametrize("standing", ["--standing", "--no-standing"])
def test_a_procedure_may_check_any_state(
    fact: str, standing: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A step or goal about a state that nothing else in the description speaks of is audited like any other."""
    file = tmp_path / "procedure.yaml"
    file.write_text(PROCEDURE.format(fact=fact))
    assert cli.run(["audit", str(file), "--no-interlock", standing]) in (0, 1)
    assert "inside this program" not in capsys.readouterr().err


def test_a_checklist_without_standing_requirements(capsys: pytest.CaptureFixture[str]) -> None:
    """Whether a unit is secured can be a goal where no requirement asks about it."""
    assert cli.run(["checklist", "demo:single-lane", "--no-standing", "--load", "4C=HALF"]) == 0
    assert cli.run(["checklist", "demo:single-lane", "--no-standing", "--goal", "SG is lowered"]) in (0, 1)
    assert "inside this program" not in capsys.readouterr().err


ZONE = """\
stations:
  - {id: ST, controls: [LV], owns: "true"}
controls:
  - {id: LV, kind: lever, positions: [fore, aft]}
supplies:
  - {id: GP, may_be_lost: false, starts: "on"}
circuits:
  - {id: PW, use: power, is: GP is on}
zones:
  - {id: Z, bays: [1C], power: PW, commands: [{station: ST, fore: LV is fore, aft: LV is aft}]}
"""


def test_a_zone_that_can_move_nothing_is_no_fault(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The standing requirements are asked of a hold in which no unit can ever go the way that a zone drives."""
    file = tmp_path / "hold.yaml"
    file.write_text(TEXT + ZONE)
    only = ["--only", "fresh-command-after-power-loss", "--only", "latched-only-closed"]
    assert cli.run(["prove", str(file), *only]) == 0
    said = capsys.readouterr()
    assert "unknown-verb" not in said.err
    # a pass that could not have failed is told as one
    assert "never put to the test" in said.out or "Nothing in this hold for" in said.out
