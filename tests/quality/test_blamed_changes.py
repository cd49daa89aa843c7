"""Where a modified hold fails, the smallest sets of changes that, undone, restore it are named, and all of them."""

from __future__ import annotations

from collections.abc import Callable
from itertools import chain, combinations

import pytest

from interlock.cli.exit_codes import code_of_hold
from interlock.hold.compile.compiler import compile_hold
from interlock.hold.language.model import Hold
from interlock.hold.loader import Source, load_hold
from interlock.kernel.claims import Limits
from interlock.prove.decide import decide
from interlock.report.text.lines import as_text
from interlock.report.text.proof import proof_lines
from interlock.report.views.proof import proof_view
from interlock.study.causes.blame import Blame, blame
from interlock.study.verify import Status, Verification, verify
from tests.agreement.hold_texts import fetch, overlay, standing

ONE_FLAW = """
  - change: door_free
    to: {is: cargo_power and LVX is neutral and LVY is neutral and not sill_covered}
"""
LATCH_AND_CIRCUIT = """
  - fix: M1R
    in: lowered
  - change: up_M1R
    to: {reads: "true"}
  - change: GP
    to: {name: ground cart}
"""
"""The latch fixed down does no harm while its switch tells the truth; the switch none while the latch can be raised."""
TWO_FLAWS = """
  - change: door_free
    to: {is: cargo_power and LVX is neutral and LVY is neutral and not sill_covered}
  - change: door_up
    to: {is: cargo_power and LVD is up and not door_latched}
"""
BUILT_UPON = """
  - add:
      sensors:
        - {id: second_beam, name: second sill beam, reads: D1 is sill_covered}
  - change: door_free
    to: {is: cargo_power and LVX is neutral and LVY is neutral and not second_beam}
"""
"""Without the beam the circuit is no circuit: undoing the addition alone gives no description."""

BUILT_UPON_ALONE = """
  - add:
      sensors:
        - {id: second_beam, name: beam in bay 1C, reads: 1C is occupied}
  - change: door_released
    to: {is: lanes_secured and not second_beam and LVS is neutral and LVA is neutral and LVB is neutral}
"""
"""The same of the hold with one lane: nothing asks for the sill guard, nor for the sill."""
LATCH_ALONE = """
  - fix: M1
    in: lowered
  - change: up_M1
    to: {reads: "true"}
  - change: GP
    to: {name: ground cart}
"""


def without(source: Source) -> Callable[[frozenset[int]], Hold | None]:
    return lambda undone: load_hold(source, fetch, undone).value


def blamed(source: Source, *chosen: str) -> tuple[Verification, Blame]:
    hold = without(source)(frozenset())
    assert hold is not None
    compiled = compile_hold(hold, standing()).compiled
    assert compiled is not None
    found = verify(compiled, decide, Limits(), chosen=chosen)
    return found, blame(found, without(source), decide)


def restoring(source: Source, requirement: str, number: int) -> set[frozenset[int]]:
    """Every set of changes that, undone, leaves the requirement holding; each asked for itself."""
    sets = chain.from_iterable(combinations(range(1, number + 1), size) for size in range(1, number + 1))
    good = set()
    for undone in map(frozenset, sets):
        hold = without(source)(undone)
        compiled = None if hold is None else compile_hold(hold, standing()).compiled
        if compiled is None:
            continue
        (answer,) = verify(compiled, decide, Limits(), chosen=[requirement]).answers
        if answer.status in (Status.HOLDS, Status.VACUOUS):
            good.add(undone)
    return good


@pytest.mark.parametrize(
    ("base", "changes", "requirement", "number", "smallest"),
    [
        pytest.param("twin-lane", ONE_FLAW, "door-path-clear[D1]", 1, {frozenset({1})}, marks=pytest.mark.slow),
        pytest.param(
            "twin-lane",
            LATCH_AND_CIRCUIT,
            "secured-behind-shut-doors[1R]",
            3,
            {frozenset({2})},
            marks=pytest.mark.thorough,
        ),
        pytest.param("twin-lane", TWO_FLAWS, "door-path-clear[D1]", 2, {frozenset({1, 2})}, marks=pytest.mark.thorough),
        pytest.param("twin-lane", BUILT_UPON, "door-path-clear[D1]", 2, {frozenset({2})}, marks=pytest.mark.thorough),
        ("single-lane", BUILT_UPON_ALONE, "door-path-clear[D1]", 2, {frozenset({2})}),
    ],
    ids=["one", "of-three", "both", "built-upon", "built-upon-alone"],
)
def test_the_smallest_sets_are_those_that_asking_for_each_set_gives(
    base: str, changes: str, requirement: str, number: int, smallest: set[frozenset[int]]
) -> None:
    """Told are exactly the smallest of all sets of changes that restore the requirement."""
    source = overlay(base, changes)
    found, blame = blamed(source, requirement)
    assert [answer.status for answer in found.answers] == [Status.FAILS]
    told = blame.changes[requirement]
    items = {frozenset(change.item for change in one) for one in told.sets}
    restoring_sets = restoring(source, requirement, number)
    assert items == {one for one in restoring_sets if not any(other < one for other in restoring_sets)} == smallest
    assert told.complete
    assert not told.before


def test_a_harmless_change_on_top_is_not_blamed() -> None:
    """Of a modification of a modification the change that did it is named, in whichever file it is."""
    text = (
        "interlock: 1\nmodifies: flawed/key-not-trapped.yaml\ntitle: modified again\nchanges:\n"
        "  - change: GP\n    to: {name: ground cart}\n"
    )
    source = Source("models/again.yaml", text.encode())
    _, blame = blamed(source, "no-drive-under-a-person[1C]")
    told = blame.changes["no-drive-under-a-person[1C]"]
    assert [[change.object for change in one] for one in told.sets] == [["KEY"]]
    assert told.complete


def test_the_report_names_the_change_with_its_line_before_all_else() -> None:
    """The first line under the requirement says which change, in which file and line; then what it did."""
    source = overlay("single-lane", LATCH_ALONE)
    found, blame = blamed(source, "secured-behind-shut-doors[1C]")
    view = proof_view("x.yaml", found, standing(), code_of_hold(found), blamed=blame)
    lines = as_text(proof_lines(view, every=False)).splitlines()
    at = lines.index("FAILS  secured-behind-shut-doors[1C]")
    shown = "\n".join(lines[at + 2 : at + 8])
    line = next(n for n, text in enumerate(source.content.decode().splitlines(), 1) if "change: up_M1" in text)
    assert shown.startswith(
        f"  look first at: the change of up_M1 (models/modified-for-a-test.yaml, line {line})\n"
        "    - switch of mid latch 1 (up_M1): it reads 'true'; before: 'M1 is raised'\n"
        "    - once it is undone the requirement holds (proved)\n"
        "    - no other set of the changes does it, but with one of these in it\n"
    )
    assert "no approved change and no instruction" in " ".join(" ".join(lines).split())
