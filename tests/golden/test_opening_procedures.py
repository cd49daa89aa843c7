"""A procedure is read with its hold: whose requirements count, and where a start can put a unit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from interlock.hold.loader import Source, load_hold
from interlock.hold.procedures import OpenedProcedure, open_procedure
from tests.agreement.hold_texts import doorway, hold_text

OWN = """\
requirements:
  - {id: shut-in, text: The bay is empty, kind: never, condition: 1C is occupied, hazard: none, severity: "1",
     scheme: MIL-STD-882E, source: none}
"""
HOLD = Source("test.yaml", hold_text(rows=2, doorways=doorway("1C", "left", moves="always"), rest=OWN).encode())


def opened(start: str = "{}", ids: tuple[str, ...] = ()) -> OpenedProcedure:
    """A procedure with this start, and the hold's requirement given besides under these ids, in other words."""
    text = "interlock: 1\nprocedure: Tried\nhold: test.yaml\ngoal: always\n"
    text += (f"start: {start}\n" if start != "{}" else "") + "steps:\n  - close D1\n"
    hold = load_hold(HOLD, lambda _: None).value
    assert hold is not None
    given = [replace(hold.requirements[0], id=id, text="As given") for id in ids]
    return open_procedure(Source("p.yaml", text.encode()), lambda _: HOLD, given)


def test_a_requirement_of_the_hold_takes_the_place_of_one_of_the_same_id() -> None:
    """It is asked once, as the hold says it; others are asked beside it."""
    bound = opened(ids=("shut-in", "another")).bound
    assert bound is not None
    asked = sorted((one.requirement.id, one.text) for one in bound.compiled.instances)
    assert asked == [("another", "As given"), ("shut-in", "The bay is empty")]


@pytest.mark.parametrize(("bay", "known"), [("1C", True), ("2C", True), ("0C", False), ("3C", False), ("1L", False)])
def test_a_start_puts_units_in_bays_that_there_are(bay: str, known: bool) -> None:
    """From the first row to the last, in the lanes of the layout; any other bay is unknown, at its place."""
    found = opened(f"{{{bay}: HALF}}")
    assert (found.bound is not None) is known
    assert [one.code for one in found.diagnostics if one.span.file == "p.yaml"] == ([] if known else ["unknown-name"])
