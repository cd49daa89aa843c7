"""Every planted error of a procedure is found, at its action, with the right explanation; nothing else is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import pytest

from interlock.hold.loader import Source, load_procedure
from interlock.hold.procedure.binding import bind_procedure
from interlock.kernel.claims import Disputed, Fails, Limits, Refuted, Trace
from interlock.study.procedure.audit import Audit, Breach, Overall, Verdict, audit_procedure
from interlock.study.procedure.failing import FailureAudit, FailureResult
from interlock.study.procedure.holders import Holder
from interlock.study.procedure.slip_audit import Effect
from tests.agreement.hold_texts import compile_text, hold_text, standing
from tests.some import swept, telling
from tests.teeth.procedures import assert_nothing_found, audit, bind, demo, planted, words_of


@dataclass(frozen=True, slots=True)
class Error:
    """One change to a demonstration: the action that must be found, how, and words of the explanation."""

    name: str
    demo: str
    old: str
    new: str
    action: str
    verdict: Verdict
    words: tuple[str, ...]
    left_out: str = ""


ERRORS = (
    Error(
        "wrong order: the latch before the person",
        "single-lane-load",
        "      - go P1 to in_bay_1\n      - raise M3\n",
        "      - raise M3\n      - go P1 to in_bay_1\n",
        "raise M3",
        Verdict.IMPOSSIBLE,
        ("cannot be reached",),
    ),
    Error(
        "missing latch, with a check that finds it",
        "single-lane-load",
        "      - raise M3\n      - go P1 to at_door\n      - check M3 is raised\n",
        "      - go P1 to at_door\n",
        "check 3C is secured and 4C is secured",
        Verdict.UNMET,
        ("bay 3C is not secured", "mid latch 3 is lowered"),
    ),
    Error(
        "missing latch, without a check",
        "single-lane-load",
        "      - raise M3\n      - go P1 to at_door\n      - check M3 is raised\n",
        "      - go P1 to at_door\n",
        "close D1",
        Verdict.IMPOSSIBLE,
        ("lane secured is off",),
        left_out="      - check 3C is secured and 4C is secured\n",
    ),
    Error(
        "into the hold with the power key on",
        "single-lane-load",
        "      - set KEY to off\n      - go P1 to in_bay_1\n",
        "      - go P1 to in_bay_1\n",
        "go P1 to in_bay_1",
        Verdict.IMPOSSIBLE,
        ("power key is set to on",),
    ),
    Error(
        "the key turned on with somebody inside",
        "single-lane-load",
        "      - go P1 to at_door\n      - check M3 is raised\n      - set KEY to on\n",
        "      - check M3 is raised\n      - set KEY to on\n      - go P1 to at_door\n",
        "set KEY to on",
        Verdict.IMPOSSIBLE,
        ("power key cannot be reached",),
    ),
    Error(
        "a unit brought twice",
        "single-lane-load",
        "      - run loader in at D1 until 1C is occupied or 2C is occupied or 3C is occupied\n",
        "      - bring HALF to D1\n"
        "      - run loader in at D1 until 1C is occupied or 2C is occupied or 3C is occupied\n",
        "bring HALF to D1",
        Verdict.IMPOSSIBLE,
        ("the loader at side door holds a half-width container",),
    ),
    Error(
        "wrong row",
        "single-lane-load",
        "hold LVA to aft until 3C is occupied",
        "hold LVA to aft until 2C is occupied",
        "hold LVA to aft until 2C is occupied",
        Verdict.SOMETIMES,
        ("bay 2C is empty",),
    ),
    Error(
        "the sill guard still down when the door is to close",
        "single-lane-load",
        "      - set SGS to raise\n      - wait until SG is raised\n      - set KEY to off\n      - close D1\n",
        "      - set KEY to off\n      - close D1\n",
        "close D1",
        Verdict.IMPOSSIBLE,
        ("sill guard switch is set to lower",),
    ),
    Error(
        "lever direction wrong",
        "open-and-shut",
        "hold LVD to up until D1 is open",
        "hold LVD to down until D1 is open",
        "hold LVD to down until D1 is open",
        Verdict.IMPOSSIBLE,
        ("cargo door is closed",),
    ),
    Error(
        "door shut before the sill locks are up",
        "open-and-shut",
        "      - hold LVD to down until D1 is closed\n",
        "      - pull H1\n      - hold LVD to down until D1 is closed\n",
        "hold LVD to down until D1 is closed",
        Verdict.IMPOSSIBLE,
        ("sill locks up is off", "switch of sill lock 1 reports false"),
    ),
    Error(
        "the cover shut before the switch behind it is off",
        "open-and-shut",
        "      - set PWR to off\n      - close AP\n",
        "      - close AP\n      - set PWR to off\n",
        "set PWR to off",
        Verdict.IMPOSSIBLE,
        ("control panel cover is closed",),
    ),
    Error(
        "locked before latched",
        "open-and-shut",
        "      - latch D1\n      - lock D1\n",
        "      - lock D1\n      - latch D1\n",
        "lock D1",
        Verdict.IMPOSSIBLE,
        ("cargo door is unlatched",),
    ),
    Error(
        "a lever never let go",
        "open-and-shut",
        "      - hold LVD to up until D1 is open\n",
        "      - hold LVD to up\n      - wait until D1 is open\n",
        "hold LVD to down until D1 is closed",
        Verdict.IMPOSSIBLE,
        ("door lever is held to up",),
    ),
    Error(
        "check too early",
        "open-and-shut",
        "      - hold LVD to up until D1 is open\n",
        "      - check D1 is open\n      - hold LVD to up until D1 is open\n",
        "check D1 is open",
        Verdict.UNMET,
        ("cargo door is closed",),
    ),
    Error(
        "nothing left to do",
        "open-and-shut",
        "      - unlock D1\n",
        "      - unlock D1\n      - set PWR to on\n",
        "set PWR to on",
        Verdict.IDLE,
        ("cargo power switch is set to on",),
    ),
    Error(
        "unlatched while locked",
        "open-and-shut",
        "      - unlock D1\n      - unlatch D1\n",
        "      - unlatch D1\n      - unlock D1\n",
        "unlatch D1",
        Verdict.IMPOSSIBLE,
        ("cargo door is locked",),
    ),
    Error(
        "taken from beside the wrong bay",
        "change-at-the-door",
        "take away from D1 beside 9R",
        "take away from D1 beside 10R",
        "take away from D1 beside 10R",
        Verdict.IMPOSSIBLE,
        ("the loader at main cargo door beside 10R holds nothing",),
    ),
    Error(
        "the handle of the sill lock not pulled",
        "change-at-the-door",
        "      - pull H9\n      - check SL10 is raised\n",
        "      - check SL10 is raised\n",
        "hold LVY to right until D1-9R is occupied and D1 is sill_clear",
        Verdict.IMPOSSIBLE,
        ("sill lock 9 is raised", "sill lock handle 9 is stowed"),
    ),
    Error(
        "the lever before the handle",
        "change-at-the-door",
        "      - pull H10\n      - hold LVY to right until D1-10R is occupied and D1 is sill_clear\n",
        "      - hold LVY to right until D1-10R is occupied and D1 is sill_clear\n      - pull H10\n",
        "hold LVY to right until D1-10R is occupied and D1 is sill_clear",
        Verdict.IMPOSSIBLE,
        ("sill lock 10 is raised", "sill lock handle 10 is stowed"),
    ),
    Error(
        "one of the two handles of a long pallet forgotten",
        "change-at-the-door",
        "      - {do: pull H10, note: Both locks lie in its way.}\n",
        "",
        "run loader in at D1 beside 9R until 9R is LONG",
        Verdict.IMPOSSIBLE,
        ("sill lock 10 is raised", "sill lock handle 10 is stowed"),
    ),
    Error(
        "the latch under a long pallet still up",
        "change-at-the-door",
        "      - {do: lower M9R, note: The long pallet lies over it while it stands at the door.}\n",
        "",
        "run loader in at D1 beside 9R until 9R is LONG",
        Verdict.IMPOSSIBLE,
        ("mid latch 9R is raised",),
    ),
    Error(
        "worked on with the power on",
        "work-on-a-sill-lock",
        "      - {do: disconnect GP, note: "
        '"(d)(3) and (4): isolate at the ground power unit, put lock and tag on it."}\n',
        "",
        "check not cargo_power",
        Verdict.UNMET,
        ("cargo power is on",),
    ),
)


BY_DAY = (
    "wrong row",
    "missing latch, with a check that finds it",
    "lever direction wrong",
    "door shut before the sill locks are up",
    "locked before latched",
    "check too early",
    "nothing left to do",
)
"""Of each verdict one at least. Among 32 bays a way out of an error is looked for for seconds."""


@pytest.mark.parametrize(
    "error",
    telling((pytest.param(one, id=one.name) for one in ERRORS), *BY_DAY),
)
def test_the_error_is_found_where_it_is(error: Error) -> None:
    """The first action that is not as it should be is the one with the error, and the explanation names the cause."""
    text = planted(error.demo, error.old, error.new).replace(error.left_out, "")
    found = audit(text)
    first = next(one for one in found.actions if one.verdict is not Verdict.POSSIBLE)
    assert (first.bound.action.text, first.verdict) == (error.action, error.verdict)
    said = words_of(first.why)
    for words in error.words:
        assert words in said, said
    assert first.run is not None
    assert found.overall is Overall.FINDINGS
    if error.verdict in (Verdict.IMPOSSIBLE, Verdict.UNMET):
        assert {one.verdict for one in found.actions[first.number :]} <= {Verdict.UNREACHED}
        assert found.goal_missed is None


@cache
def with_slips(text: str, hold: str | None = None) -> Audit:
    """The audit with slips; it is looked at by several tests."""
    return audit(text, hold, slips=True)


@pytest.mark.parametrize("name", swept(["open-and-shut", "single-lane-load", "work-on-a-latch"], 3))
def test_without_the_error_nothing_is_found(name: str) -> None:
    """The demonstrations that the errors are planted in are sound themselves, slips to hazards included.

    Those of the main deck are looked at where their reports are kept (`tests/golden/test_audit_reports.py`).
    """
    assert_nothing_found(with_slips(demo(name)))


STORED = """
controls: [{id: MST, kind: switch, positions: [off, on], starts: off}]
supplies: [{id: HYD, name: pressure, starts: off, may_be_lost: true, needs: MST is on, stored: true}]
"""
LET_OUT = """\
interlock: 1
procedure: Let the pressure out
hold: some.yaml
goal: HYD is off
steps: [set MST to on, wait until HYD is on, set MST to off, check MST is off and HYD is off]
"""


def test_a_check_that_comes_to_be_so_later_is_told_as_it_was_found() -> None:
    """Where a check can come too early, what is not so is told of the moment of the check, not of what came after."""
    procedure, hold = load_procedure(Source("out.yaml", LET_OUT.encode())).value, compile_text(hold_text(rest=STORED))
    assert procedure is not None
    bound = bind_procedure(procedure, hold).bound
    assert bound is not None
    check = audit_procedure(bound, None, Limits(), slips=False).actions[-1]
    assert check.verdict is Verdict.MAY_STOP
    assert words_of(check.why).startswith("pressure is on")
    assert check.run is not None
    assert check.run.steps[-1].text.endswith("the procedure stops")


def test_what_would_help_is_told() -> None:
    """Where an action is not possible because of a step forgotten, that step is what would make it possible."""
    found = audit(planted("open-and-shut", "      - unlock D1\n", ""))
    first = next(one for one in found.actions if one.verdict is not Verdict.POSSIBLE)
    assert first.bound.action.text == "unlatch D1"
    assert first.rescue is not None
    assert [text for _, text in first.rescue.steps] == ["unlock cargo door"]


def test_a_goal_that_is_missed_is_found() -> None:
    """A procedure that ends with the key on, though it should be off, is told with the run that ends so."""
    text = planted("single-lane-load", "      - set KEY to off\n      - close D1\n", "      - close D1\n")
    found = audit(text)
    assert [one.verdict for one in found.actions] == [Verdict.POSSIBLE] * len(found.actions)
    assert found.goal_missed is not None
    assert "power key is set to on" in words_of(found.goal_missed.because)


def test_a_missing_check_leaves_a_slip_unnoticed() -> None:
    """That the switch was left on is noticed only where somebody looks at it."""
    without = with_slips(demo("open-and-shut"))
    checked = audit(
        planted("open-and-shut", "      - set PWR to off\n", "      - set PWR to off\n      - check PWR is off\n"),
        slips=True,
    )

    def effect(found: Audit, text: str) -> Effect:
        assert found.slips is not None
        return next(one.effect for one in found.slips.results if one.slip.text == text)

    assert effect(without, "'set PWR to off' is left out") is Effect.UNNOTICED
    assert effect(checked, "'set PWR to off' is left out") is Effect.DETECTED
    assert effect(checked, "'check PWR is off' is left out") is Effect.HARMLESS


def test_a_slip_that_the_interlock_stops_shows_where_it_stops() -> None:
    """To leave the door latched is stopped where the door should move, and the latch is named."""
    found = with_slips(demo("open-and-shut"))
    assert found.slips is not None
    one = next(one for one in found.slips.results if one.slip.text == "'unlatch D1' is left out")
    assert (one.effect, one.shows_at, one.impossible) == (Effect.BLOCKED, (5,), False)
    swapped = next(one for one in found.slips.results if one.slip.text == "'unlatch D1' is done before 'unlock D1'")
    assert (swapped.effect, swapped.impossible) == (Effect.BLOCKED, True)
    assert "cargo door is locked" in words_of(swapped.why)


def test_a_flaw_of_the_hold_makes_a_slip_a_hazard() -> None:
    """In a hold whose lock takes no notice of the latch, to forget the latch leads to a door locked but not latched."""
    text = demo("open-and-shut")
    found = with_slips(text, "flawed/lock-without-latch.yaml")
    assert found.slips is not None
    hazards = {one.slip.text: one.hazards for one in found.slips.results if one.effect is Effect.HAZARD}
    assert any("locked-only-latched[D1]" in ids for ids in hazards.values())
    assert "locked-only-latched[D1]" in hazards["'latch D1' is left out"]
    assert found.slips.fewest("locked-only-latched[D1]") == 1
    assert {type(one).__name__ for one in found.slips.findings} == {"Fails"}
    assert found.overall is Overall.FINDINGS
    told = next(one for one in found.slips.results if one.slip.text == "'latch D1' is left out")
    assert told.run is not None
    assert [step.slip for step in told.run.steps if step.slip] == ["omitted: 'latch D1' is left out"]


def test_two_slips_together() -> None:
    """Where two slips are needed, the pair is found, and neither slip by itself is blamed."""
    text = planted(
        "open-and-shut",
        "      - lock D1\n      - set PWR",
        "      - check D1 is latched\n      - lock D1\n      - set PWR",
    )
    found = with_slips(text, "flawed/lock-without-latch.yaml")
    assert found.slips is not None
    pairs = {
        tuple(slip.text for slip in one.slips)
        for one in found.slips.combinations
        if one.hazard.instance.requirement.id == "locked-only-latched[D1]" and len(one.slips) == 2
    }
    assert ("'latch D1' is left out", "'check D1 is latched' is left out") in pairs
    singles = {one.slip.text for one in found.slips.results if "locked-only-latched[D1]" in one.hazards}
    assert all(first not in singles and second not in singles for first, second in pairs)
    assert "'latch D1' is left out" not in singles


def test_pairs_of_slips_are_smallest() -> None:
    """Of a door locked twice, once with a check before it: no pair contains a slip that breaks the same by itself."""
    again = "      - unlock D1\n      - unlatch D1\n      - latch D1\n      - lock D1\n"
    text = planted(
        "open-and-shut",
        "      - lock D1\n      - set PWR",
        f"      - check D1 is latched\n      - lock D1\n{again}      - set PWR",
    )
    found = audit(text, "flawed/lock-without-latch.yaml", slips=True).slips
    assert found is not None and found.together == 2
    alone = {one.slip.id: set(one.hazards) for one in found.results}
    pairs = [
        (one.hazard.instance.requirement.id, frozenset(slip.id for slip in one.slips))
        for one in found.combinations
        if len(one.slips) == 2
    ]
    assert any(alone.values()) and pairs
    assert [(id, pair) for id, pair in pairs if len(pair) != 2 or any(id in alone[slip] for slip in pair)] == []
    assert len(set(pairs)) == len(pairs)


@pytest.mark.thorough
def test_one_requirement_asked_alone_is_broken_by_the_same_slips() -> None:
    """What else is asked, and in which order, makes no difference to the slips and pairs that break a requirement."""
    text = planted(
        "open-and-shut",
        "      - lock D1\n      - set PWR",
        "      - check D1 is latched\n      - lock D1\n      - set PWR",
    )
    found: list[set[tuple[str, ...]]] = []
    for texts in (standing(), tuple(one for one in standing() if one.id == "locked-only-latched")):
        slips = audit_procedure(bind(text, "flawed/lock-without-latch.yaml", texts), None, Limits()).slips
        assert slips is not None and slips.counted.agreed
        of_it = [one for one in slips.combinations if one.hazard.instance.requirement.id == "locked-only-latched[D1]"]
        found.append({tuple(slip.id for slip in one.slips) for one in of_it})
    assert found[0] == found[1]
    assert {len(ids) for ids in found[0]} == {2}


def test_a_lever_that_stays_makes_interruptions_unsafe() -> None:
    """Where a lever is a switch that stays, people who are called away leave the drives running, and only then."""
    text = planted(
        "open-and-shut",
        "  - group: Shut\n",
        "  - set LVX to aft\n  - set LVX to neutral\n  - group: Shut\n",
    )
    found = audit(text, "flawed/lever-that-stays.yaml")
    unsafe = {one.before: one.at_risk for one in found.interruptions if one.at_risk or one.at_risk_lost}
    assert list(unsafe) == [8]
    assert "drive-only-while-held[1L,1L.aft]" in unsafe[8]
    assert found.overall is Overall.FINDINGS


def test_power_that_comes_back_is_followed() -> None:
    """Where power that comes back finds the lever held, the requirement breaks by a loss of power, and only by that."""
    found = audit(demo("single-lane-load"), "../tests/agreement/loose-single-lane.yaml")
    by_loss = {one.hazard.instance.requirement.id for one in found.breaches if one.lost}
    assert "fresh-command-after-power-loss[ZX]" in by_loss
    assert "fresh-command-after-power-loss[ZX]" not in {
        one.hazard.instance.requirement.id for one in found.breaches if not one.lost
    }
    run = next(
        one.run for one in found.breaches if one.hazard.instance.requirement.id == "fresh-command-after-power-loss[ZX]"
    )
    assert [step.text for step in run.steps if step.action is None][-2:] == [
        "ground power is lost",
        "ground power comes on",
    ]
    assert {type(one.finding).__name__ for one in found.breaches} == {"Fails"}


def test_nothing_amiss_is_called_sound() -> None:
    """Each thing that can be found makes the audit one with findings, by itself; what is disputed is worse than any."""
    sound = with_slips(demo("open-and-shut"))
    assert sound.overall is Overall.SOUND and sound.slips is not None
    run = next(one.run for one in sound.slips.results if one.run is not None)
    first, hazard, slip = sound.interruptions[0], sound.hazards[0], sound.slips.results[0]
    claim = Refuted(hazard.instance.requirement.id, "", Trace((), ((),)), False)
    fails, disputed = Fails(claim.question, claim), Disputed(claim.question, claim, "")
    broken = FailureAudit(1, (FailureResult("it", ("r",), run),), ())
    found = [
        *(
            replace(sound, actions=(replace(sound.actions[0], verdict=v),))
            for v in Verdict
            if v is not Verdict.POSSIBLE
        ),
        *(replace(sound, breaches=(Breach(hazard, lost, run, fails),)) for lost in (False, True)),
        replace(sound, goal_missed=run),
        replace(sound, interruptions=(first, replace(first, at_risk=("r",)))),
        replace(sound, interruptions=(first, replace(first, at_risk_lost=("r",)))),
        replace(sound, slips=replace(sound.slips, results=(slip, replace(slip, effect=Effect.HAZARD)))),
        replace(sound, failures=broken),
    ]
    for one in found:
        assert one.overall is Overall.FINDINGS
        assert replace(one, open=("more",)).overall is Overall.FINDINGS
        assert replace(one, proofs=(disputed,)).overall is Overall.DISPUTED
    assert replace(sound, open=("more",)).overall is Overall.UNDECIDED
    for doubted in (
        replace(sound, breaches=(Breach(hazard, False, run, disputed),)),
        replace(sound, slips=replace(sound.slips, findings=(disputed,))),
        replace(sound, failures=replace(broken, findings=(disputed,))),
    ):
        assert doubted.overall is Overall.DISPUTED


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("name", "actions"),
    [("load-two-and-one", 60), ("unload-two-and-one", 48)],
)
def test_long_demonstrations_are_sound(name: str, actions: int) -> None:
    """Loading and unloading three units can be done as written; no slip and no pair of slips leads to a hazard."""
    found = audit(demo(name), slips=True)
    assert len(found.actions) == actions
    assert found.overall is Overall.SOUND
    assert found.slips is not None
    assert found.slips.combinations == ()
    assert found.slips.open == ()
    assert {one.effect for one in found.slips.results} >= {Effect.BLOCKED, Effect.DETECTED, Effect.HARMLESS}


def test_what_only_the_procedure_holds() -> None:
    """A requirement that fails in general and holds along the procedure is held by the procedure only; one that the
    procedure breaks is held by nothing; the others by the interlock."""
    from interlock.prove.decide import decide

    text = demo("open-and-shut")
    found = audit(text, "flawed/lock-without-latch.yaml", engine=decide)
    holders = {one.instance.requirement.id: one.holder for one in found.held}
    assert holders["locked-only-latched[D1]"] is Holder.PROCEDURE
    assert holders["latched-only-closed[D1]"] is Holder.INTERLOCK
    assert found.overall is Overall.SOUND
    broken = text.replace("      - latch D1\n", "").replace("goal: D1 is locked", "goal: D1 is closed")
    found = audit(broken, "flawed/lock-without-latch.yaml", engine=decide)
    holders = {one.instance.requirement.id: one.holder for one in found.held}
    assert holders["locked-only-latched[D1]"] is Holder.NOTHING
    assert [(one.hazard.instance.requirement.id, one.lost) for one in found.breaches] == [
        ("locked-only-latched[D1]", False)
    ]
    assert type(found.breaches[0].finding).__name__ == "Fails"
