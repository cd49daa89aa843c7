"""`beside BAY` in procedures: which place at a sill of several bays is meant, and what follows where none is named."""

from __future__ import annotations

import pytest

from interlock.diagnostics.spans import Diagnostic
from interlock.hold.loader import Source, load_procedure
from interlock.hold.origin import Arrive, Bring, Depart, Means, TakeAway
from interlock.hold.procedure.binding import bind_procedure
from interlock.hold.sill_places import bays_beside, place_at_sill, standing_beside
from interlock.study.procedure.audit import Verdict
from interlock.study.procedure.slips import SlipKind, slips_of
from tests.agreement.hold_texts import HALF, LONG, compile_text, doorway, hold_text
from tests.teeth.procedures import audit, bind

DECK = "interlock: 1\nprocedure: Tested\nhold: ../main-deck.yaml\nstart: {GP: on}\ngoal: D1 is open\nsteps:\n"


def heads_of(*steps: str) -> list[set[str]]:
    """What each step on the main deck does, less what the mechanism adds."""
    bound = bind(DECK + "".join(f"  - {step}\n" for step in steps))
    return [{bound.compiled.origins.deed_of(rule).name for rule in action.rules} for action in bound.actions]


@pytest.mark.parametrize(
    ("step", "rules"),
    [
        ("bring SHORT to D1 beside 9R", {"loader.SHORT.D1-9R.bring"}),
        ("bring SHORT to D1 beside 10R", {"loader.SHORT.D1-10R.bring"}),
        ("bring LONG to D1 beside 9R", {"loader.LONG.D1-9R+D1-10R.bring"}),
        ("bring LONG to D1 beside 10R", {"loader.LONG.D1-9R+D1-10R.bring"}),
        (
            "take away from D1 beside 10R",
            {"loader.SHORT.D1-10R.take_away", "loader.LONG.D1-9R+D1-10R.take_away"},
        ),
        (
            "run loader in at D1 beside 10R until 10R is occupied",
            {
                "unit.SHORT.D1-10R.left.depart.loader",
                "unit.SHORT.10R.left.arrive.loader",
                "unit.LONG.D1-9R+D1-10R.left.depart.loader",
                "unit.LONG.9R+10R.left.arrive.loader",
            },
        ),
        (
            "run loader out at D1 beside 9R until D1-9R is occupied",
            {"unit.SHORT.D1-9R.right.arrive.loader", "unit.LONG.D1-9R+D1-10R.right.arrive.loader"},
        ),
    ],
)
def test_only_the_place_that_is_named(step: str, rules: set[str]) -> None:
    """The loader brings, takes and carries at that place alone; a long unit stands beside both of its bays."""
    assert heads_of(step) == [rules]


@pytest.mark.parametrize(
    "step", ["bring SHORT to D1{}", "take away from D1{}", "run loader in at D1{} until 9R is occupied"]
)
def test_any_place_where_none_is_named(step: str) -> None:
    """Without `beside` the step may be done at each place: it means what all of them together mean."""
    anywhere, third, fourth = heads_of(step.format(""), step.format(" beside 9R"), step.format(" beside 10R"))
    assert anywhere == third | fourth
    assert third != fourth


def test_a_long_unit_goes_by_its_first_bay_before_any_other() -> None:
    """At a sill of three bays `beside 2C` is the place over 2C and 3C, not that over 1C and 2C; 3C begins none."""
    door = doorway("[1C, 2C, 3C]", "left")
    compiled = compile_text(hold_text(rows=3, units=f"{HALF}\n{LONG}", doorways=door, pushing="always"))
    floor = compiled.floor
    found = (place_at_sill(floor, deed) for deed in compiled.origins.deeds.values())
    places = [place for place in found if place is not None]
    meant = {bay: {place.id for place in standing_beside(floor, places, bay)} for bay in ("1C", "2C", "3C")}
    assert meant == {
        "1C": {"HALF.D1-1C", "LONG.D1-1C+D1-2C"},
        "2C": {"HALF.D1-2C", "LONG.D1-2C+D1-3C"},
        "3C": {"HALF.D1-3C", "LONG.D1-2C+D1-3C"},
    }
    assert {bays_beside(floor, place) for place in places} == {("1C",), ("2C",), ("3C",), ("1C", "2C"), ("2C", "3C")}


def test_every_rule_of_the_loader_has_its_place() -> None:
    """Of each rule that brings, takes away or runs a unit over a sill it is known where that happens."""
    compiled = bind(DECK + "  - set PWR to on\n").compiled
    deeds = [compiled.origins.deed_of(rule.name) for rule in compiled.machine.rules]
    carried = [deed for deed in deeds if isinstance(deed, Depart | Arrive) and deed.means is Means.LOADER]
    loader = [*carried, *(deed for deed in deeds if isinstance(deed, Bring | TakeAway))]
    assert len(loader) > 10
    assert [deed.name for deed in loader if place_at_sill(compiled.floor, deed) is None] == []


def faults_of(step: str) -> tuple[Diagnostic, ...]:
    """What binding says of one step on the main deck."""
    loaded = load_procedure(Source("tested.yaml", (DECK + f"  - {step}\n").encode()))
    assert loaded.value is not None
    return bind_procedure(loaded.value, bind(DECK + "  - set PWR to on\n").compiled).diagnostics


def test_a_bay_that_is_not_at_the_sill() -> None:
    """The fault points at the bay, names those at the sill, and the nearest of them."""
    (fault,) = faults_of("bring SHORT to D1 beside 99R")
    assert (fault.code, fault.span.line, fault.span.column, fault.span.length) == ("unknown-name", 7, 30, 3)
    assert fault.message == "'99R' is no bay at the sill of main cargo door"
    assert (fault.expected, fault.nearest) == ("one of 9R, 10R", "9R")


@pytest.mark.parametrize(
    ("step", "message", "expected"),
    [
        ("bring SHORTER to D1", "to D1 (door) no 'SHORTER' can be brought", "one of SHORT"),
        ("go P to nowhere", "P (person) does not go to 'nowhere'", "one of inner, outer"),
        ("lock D1", "'lock D1' cannot be done to D1 (door)", "one of bring, close, open, take"),
    ],
)
def test_what_can_be_done_instead_is_named(step: str, message: str, expected: str) -> None:
    """Kinds of unit that come to a door, places to which somebody goes, and that hands open and close a door."""
    rest = (
        "places:\n  - {id: inner, bay: 1C, reaches: []}\n  - {id: outer, bay: outside, reaches: D1}\n"
        "people:\n  - {id: P, places: [inner, outer], starts: outer, moves: always}\n"
    )
    units = "- {id: SHORT, across: 1, along: 1}"
    compiled = compile_text(hold_text(units=units, doorways=doorway("1C", "left", moves="always"), rest=rest))
    text = f"interlock: 1\nprocedure: Tested\nhold: x.yaml\ngoal: D1 is open\nsteps:\n  - {step}\n"
    loaded = load_procedure(Source("tested.yaml", text.encode()))
    assert loaded.value is not None
    (fault,) = bind_procedure(loaded.value, compiled).diagnostics
    assert (fault.message, fault.expected) == (message, expected)


OPEN = (
    "  - set PWR to on\n  - unlock D1\n  - hold LVD to up until D1 is open\n  - pull H10\n"
    "  - bring SHORT to D1{0}\n  - run loader in at D1{0} until 10R is occupied\n"
)


def test_at_the_wrong_place_the_step_is_not_possible() -> None:
    """An audit follows every place that a step leaves open, and tells of the one at which the work comes to a stand."""
    verdicts = {
        where: [action.verdict for action in audit(DECK + OPEN.format(where)).actions] for where in ("", " beside 10R")
    }
    assert set(verdicts[" beside 10R"]) == {Verdict.POSSIBLE}
    assert verdicts[""] == [*[Verdict.POSSIBLE] * 5, Verdict.SOMETIMES]


def test_the_other_place_is_a_slip() -> None:
    """To bring a short pallet beside the other bay is a wrong object; for a long pallet there is no other place."""
    steps = "  - bring SHORT to D1 beside 10R\n  - bring LONG to D1 beside 9R\n"
    slips = [slip.text for slip in slips_of(bind(DECK + steps)) if slip.kind is SlipKind.WRONG_OBJECT]
    assert slips == ["'bring SHORT to D1 beside 9R' is done in the place of 'bring SHORT to D1 beside 10R'"]


def test_places_on_the_loader_are_told_apart() -> None:
    """A unit of three bays reaches three places deep onto the loader at an end door: each is called otherwise."""
    triple = "- {id: TRIPLE, across: 1, along: 3}"
    compiled = compile_text(hold_text(rows=3, ball_mat="[]", units=triple, doorways=doorway("1C", "fore")))
    empty = {said for said in compiled.glossary.values.values() if said.endswith("holds nothing")}
    parts = "", "outer part of the ", "outermost part of the "
    assert empty == {f"the {part}loader at D1 holds nothing" for part in parts}
