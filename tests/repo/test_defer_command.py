"""`interlock defer`: what fails, what suffices, what is refused, and what is never claimed."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from msgspec import convert, structs

from interlock import cli
from interlock.cli.exit_codes import DONE, FOUND, REJECTED, UNDECIDED
from interlock.hold.language.printer import print_syntax
from interlock.hold.loader import Source, load_hold
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine
from interlock.report.json.writing import schema
from interlock.report.views.deferral import DeferralView
from interlock.report.views.deferral_facts import DeferralFacts, OptionFacts
from interlock.report.yaml.modification import deferral_text
from interlock.study.deferral import deferral
from interlock.study.deferral.deferral import Capability
from interlock.study.deferral.inoperative import ways_of, with_inoperative
from interlock.study.deferral.restoring import restore
from tests.golden.small_hold import TEXT

SECURED = """\
interlock: 1
specification: A unit behind shut doors
requirements:
  - id: secured-behind-door
    text: With the door shut, a unit in {b} is secured
    kind: always
    for: {b: bays}
    when: b is occupied and (every d in doors, d is latched)
    condition: b is secured
    hazard: unit shifts in flight
    severity: "1"
    scheme: MIL-STD-882E
    source: 14 CFR 25.787(b) in concept
"""
ASKED = ("--no-standing", "--requirements", "secured.yaml")
GUARDED = TEXT.replace('hand_work: "true"', "hand_work: D1 is open").replace(
    "closes: not D1 is sill_covered", "closes: not D1 is sill_covered and (1C is empty or up)"
) + ("sensors:\n  - {id: up, name: switch of the sill latch, reads: SL is raised}\n")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with a hold whose door asks a switch whether the sill latch is up."""
    monkeypatch.chdir(tmp_path)
    Path("hold.yaml").write_text(GUARDED)
    Path("secured.yaml").write_text(SECURED)


def said(capsys: pytest.CaptureFixture[str]) -> str:
    """Standard output as one line."""
    return " ".join(capsys.readouterr().out.split())


def test_where_the_interlock_itself_keeps_it_no_limitation_is_needed(capsys: pytest.CaptureFixture[str]) -> None:
    """The latch stays down, the switch says so: the door cannot be shut on a unit."""
    assert cli.run(["defer", "hold.yaml", "SL=lowered", *ASKED]) == DONE
    out = said(capsys)
    assert "No limitation is needed" in out
    assert "0 of 1 ways" in out
    assert "approves no deferral" in out
    nothing = "Nothing can be carried then: no unit comes to stand secured behind shut doors"
    assert nothing in out.partition("WHAT IT LEAVES")[0]
    assert f"- (O) {nothing}" in out.partition("DRAFT OF A LINE")[2]


SHUT_AGAIN = """  - id: shut-again
    text: However far things have gone, the door can be shut and latched
    kind: can always
    condition: D1 is latched
    hazard: work cannot be ended
    severity: "3"
    scheme: MIL-STD-882E
    source: operability, no source
"""


def test_a_draft_says_what_can_no_longer_be_done(capsys: pytest.CaptureFixture[str]) -> None:
    """A switch that never tells that the latch is up: once there is a unit in the bay the door stays open.

    Whoever signs the line has to read it there, and not in what a program printed above it.
    """
    Path("secured.yaml").write_text(SECURED + SHUT_AGAIN)
    Path("hold.yaml").write_text(GUARDED.replace("(1C is empty or up)", "up"))
    assert cli.run(["defer", "hold.yaml", "SL=lowered", *ASKED]) == DONE
    before, _, draft = said(capsys).partition("DRAFT OF A LINE")
    assert "No limitation is needed" in before
    assert "1 thing can no longer be done." in before
    assert "- (O) This no longer holds: However far things have gone, the door can be shut and latched." in draft


def test_a_draft_names_all_that_cannot_be_carried(capsys: pytest.CaptureFixture[str]) -> None:
    """What is lost by the item and what the limitations take, none of it left out."""
    assert cli.run(["defer", "hold.yaml", "SL=lowered", *ASKED, "--format", "json"]) == DONE
    facts = convert(json.loads(capsys.readouterr().out), DeferralFacts, strict=False)
    (case,) = facts.cases
    best = OptionFacts((), ("half in 3C",), ("half in 2C",), ())
    lost = structs.replace(case, carried=3, left=2, lost=("half in 1C",), options=(best,), result="needs limitations")
    (relief,) = DeferralView(facts).relief(lost)
    assert (relief.installed, relief.required) == ("1", "0")
    (item,) = lost.items
    several = structs.replace(lost, items=(structs.replace(item, installed=3),))
    (relief,) = DeferralView(facts).relief(several)
    assert (relief.installed, relief.required) == ("3 of its kind", "2: all but this one")
    assert (
        "(O) Carry none of these, they cannot be secured behind shut doors: half in 1C and half in 2C."
        in relief.remarks
    )
    view = DeferralView(structs.replace(facts, cases=(lost,)))
    procedures = dict(view.procedures(lost))
    assert procedures["(O) Before loading"][0].startswith("Carry none of these")
    assert [row[1:] for row in view.table] == [("; carry none of these: half in 1C and half in 2C", "1 of 3")]


LOCKED_OUT = """  - id: never-locked
    text: "{d} is never locked"
    kind: never
    for: {d: doors}
    condition: d is locked
    hazard: invented
    severity: "1"
    scheme: MIL-STD-882E
    source: common practice, no source
"""


def test_no_limitation_is_for_what_fails_with_nothing_inoperative_too(capsys: pytest.CaptureFixture[str]) -> None:
    """A hold that is unsafe as it is has to be mended: limitations would ground it, whatever is deferred."""
    Path("hold.yaml").write_text(TEXT)
    assert cli.run(["defer", "hold.yaml", "SL=lowered", *ASKED]) == FOUND
    out = said(capsys)
    assert "No limitation is needed" not in out
    assert "Keep bay 1C empty" not in out
    assert "number required" not in out
    assert "Nothing fails with this that does not fail without." in out
    assert "The hold fails with nothing inoperative too, in 1 requirement: no limitation is for that" in out
    assert "WHAT FAILS WITH NOTHING INOPERATIVE TOO - secured-behind-door[1C]" in out


def test_limitations_are_for_what_an_item_adds_to_a_hold_that_fails(capsys: pytest.CaptureFixture[str]) -> None:
    """The door can be locked, which nothing here stops; a switch that lies adds a unit unsecured: that is limited."""
    Path("secured.yaml").write_text(SECURED + LOCKED_OUT)
    assert cli.run(["defer", "hold.yaml", "SL=lowered", "up=stuck_true", *ASKED]) == FOUND
    out = said(capsys)
    added, _, anyway = out.partition("WHAT FAILS WITH NOTHING INOPERATIVE TOO")
    assert "- secured-behind-door[1C]" in added
    assert "- never-locked[D1]" in anyway
    assert "1. Keep bay 1C empty when a door is shut, with nothing partly in it." in out
    # a hold that fails as it is gets no line to sign
    assert "number required" not in out
    assert "[ ] 1." not in out


def test_with_the_switch_stuck_the_position_is_kept_empty(capsys: pytest.CaptureFixture[str]) -> None:
    """The switch says that the latch is up: the crew has to keep the bay empty, and the draft says so."""
    assert cli.run(["defer", "hold.yaml", "SL=lowered", "up=stuck_true", *ASKED, "--runs", "1"]) == FOUND
    out = said(capsys)
    assert "secured-behind-door[1C]" in out
    assert "1. Keep bay 1C empty when a door is shut, with nothing partly in it." in out
    assert "(O) Keep bay 1C empty when a door is shut, with nothing partly in it." in out
    assert "sticks at true" in out.partition("Step by step")[2]
    procedures = out.partition("DRAFT OF A PROCEDURE")[2]
    assert "(M) BEFORE DISPATCH, SILL LATCH [ ] 1. See that it is so: sill latch" in procedures
    assert "(O) BEFORE A DOOR IS SHUT [ ] 1. Keep bay 1C empty when a door is shut" in procedures


def test_a_set_suffices_only_where_it_does_for_every_requirement(capsys: pytest.CaptureFixture[str]) -> None:
    """Beside one that an empty bay would mend there is one that nothing stops: no set is offered, no draft made."""
    told = """  - id: told-truly
    text: The switch of the sill latch tells the truth
    kind: always
    condition: up implies SL is raised
    hazard: invented
    severity: "1"
    scheme: MIL-STD-882E
    source: common practice, no source
"""
    Path("secured.yaml").write_text(SECURED + told)
    assert cli.run(["defer", "hold.yaml", "SL=lowered", "up=stuck_true", *ASKED]) == FOUND
    out = said(capsys)
    assert "No set of at most 3" in out
    assert "none of the limitations looked at would stop it" in out
    assert "Keep bay 1C" not in out
    assert "number required" not in out


def test_every_way_is_taken_where_none_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    """One case for each state of the latch, and the result for programs is as its schema says."""
    assert cli.run(["defer", "hold.yaml", "SL", *ASKED, "--format", "json"]) == DONE
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, schema(DeferralFacts))
    assert [case["items"][0]["way"] for case in found["cases"]] == ["lowered", "raised"]
    assert cli.run(["defer", "hold.yaml", "--each", "manual latch", *ASKED, "--format", "json"]) == DONE
    assert json.loads(capsys.readouterr().out) == found
    assert cli.run(["defer", "hold.yaml", "--each", "manual latch", *ASKED]) == DONE
    table = said(capsys).partition("ALL CASES")[2].partition("----")[0]
    for state in ("lowered", "raised"):
        told = f"stays {state} keep: no limitation; nothing can be carried leaves: 0 of 1 ways"
        assert told in table


@pytest.mark.parametrize(
    ("args", "message"),
    [
        ((), "Name one or more items"),
        (("SX",), "There is no item 'SX' that could be inoperative."),
        (("SL=lowred",), "Did you mean 'lowered'?"),
        (("SL", "--each", "manual latch"), "Name one or more items"),
        (("--each", "manual lach"), "Did you mean 'manual latch'?"),
        (("FS",), "broken"),
    ],
)
def test_what_cannot_be_inoperative_is_refused(
    args: tuple[str, ...], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the nearest name; a fixed stop can only be broken, and is not refused."""
    code = cli.run(["defer", "hold.yaml", *args, *ASKED])
    captured = capsys.readouterr()
    assert message in " ".join((captured.err + captured.out).split())
    assert code == (FOUND if args == ("FS",) else REJECTED)


def test_out_of_time_no_limitation_is_said_to_suffice(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing was decided: no set is given, and none is called needless."""
    assert cli.run(["defer", "hold.yaml", "SL=lowered", "up=stuck_true", *ASKED, "--time", "0.001"]) == UNDECIDED
    out = said(capsys)
    assert "UNDECIDED" in out
    assert "No limitation is needed" not in out
    assert "Keep bay" not in out
    assert "not known whether still carried: half-width container in 1C" in out
    assert "no longer:" not in out


def test_what_is_not_known_to_be_carried_is_not_called_lost(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Carried before, and not decided with the item inoperative: it is neither counted nor said to be lost."""
    found = deferral._carried
    asked = []

    def once(machine: Machine, targets: Mapping[Capability, Expr], *rest: Any) -> Any:
        asked.append(targets)
        known = found(machine, targets, *rest)
        return known if len(asked) == 1 else replace(known, runs={}, unknown=tuple(targets))

    monkeypatch.setattr(deferral, "_carried", once)
    assert cli.run(["defer", "hold.yaml", "SL=raised", *ASKED]) == DONE
    assert len(asked) == 2
    out = said(capsys)
    assert "0 of 1 ways" in out
    assert "not known whether still carried: half-width container in 1C" in out
    assert "no longer:" not in out


def test_what_the_crew_makes_sure_of(capsys: pytest.CaptureFixture[str]) -> None:
    """Where the switch reads the wrong thing, a look at the latch itself before the door is shut is as good."""
    assert cli.run(["defer", "hold.yaml", "up=stuck_true", *ASKED, "--wider", "--format", "json"]) == FOUND
    (case,) = json.loads(capsys.readouterr().out)["cases"]
    orders = {one["limitations"][0]["order"]: one for one in case["options"] if len(one["limitations"]) == 1}
    assert "make sure that sill latch is raised before a door is shut" in orders
    # with the latch looked at, all can be carried that could be; kept empty, nothing
    looked_at = orders["make sure that sill latch is raised before a door is shut"]
    assert looked_at["leaves"] == case_left(orders, case)
    assert orders["keep bay 1C empty when a door is shut, with nothing partly in it"]["leaves"] == []


def test_a_deferral_is_written_as_a_file(capsys: pytest.CaptureFixture[str]) -> None:
    """Where no limitation is needed the device stays as it is; nothing else fails in the hold that the file means."""
    Path("deep").mkdir()
    assert cli.run(["defer", "hold.yaml", "SL=lowered", *ASKED, "-o", "deep/deferred.yaml"]) == DONE
    text = Path("deep/deferred.yaml").read_text()
    assert 'modifies: "../hold.yaml"' in text
    assert '- fix: "SL"\n    in: "lowered"\n' in text
    assert cli.run(["prove", "deep/deferred.yaml", *ASKED, "--no-cache"]) == DONE
    # of several cases, and of what no state of a device says, there is no file
    assert cli.run(["defer", "hold.yaml", "SL", *ASKED, "-o", "deep/two.yaml"]) == REJECTED
    assert cli.run(["defer", "hold.yaml", "up=stuck_true", *ASKED, "--format", "modification"]) == REJECTED
    err = " ".join(capsys.readouterr().err.split())
    assert "That makes 2 cases, and a file is of one" in err
    assert "declare what has failed otherwise in `failures`" in err
    # nothing suffices: no file is written, and why is told
    Path("hold.yaml").write_text(TEXT)
    assert cli.run(["defer", "hold.yaml", "SL=lowered", *ASKED, "-o", "deep/none.yaml"]) == FOUND
    assert not Path("deep/none.yaml").exists()
    err = " ".join(capsys.readouterr().err.split())
    assert "The hold fails with nothing inoperative too" in err
    assert err.endswith("No modification is written: nothing was found that one could declare.")


def test_the_file_of_a_deferral_has_the_limit_that_was_found(capsys: pytest.CaptureFixture[str]) -> None:
    """Read again, the latch is deferred in its state, with the positions of the best set as the limit."""
    assert cli.run(["defer", "hold.yaml", "SL=lowered", "up=stuck_true", *ASKED, "--format", "json"]) == FOUND
    facts = convert(json.loads(capsys.readouterr().out), DeferralFacts, strict=False)
    (case,) = facts.cases
    with pytest.raises(ValueError, match="no file can declare that"):
        deferral_text(DeferralView(facts), "hold.yaml")
    case = structs.replace(case, items=case.items[:1])
    view = DeferralView(structs.replace(facts, cases=(case,)))
    text = deferral_text(view, "hold.yaml")
    loaded = load_hold(Source("deferred.yaml", text.encode()), lambda name: Source(name, GUARDED.encode()))
    assert loaded.value is not None, loaded.diagnostics
    (latch,) = [one for one in loaded.value.devices if one.id == "SL"]
    assert latch.fixed == "lowered" and latch.deferred is not None
    assert print_syntax(latch.deferred.limit) == "1C is empty and every s in 1C.sides, not s is crossed"
    (unsaid,) = case.options[0].limitations
    only = structs.replace(case.options[0], limitations=(structs.replace(unsaid, condition=None),))
    none = structs.replace(facts, cases=(structs.replace(case, options=(only,)),))
    with pytest.raises(ValueError, match="no file can declare that"):
        deferral_text(DeferralView(none), "hold.yaml")


def test_no_set_tells_the_crew_to_keep_one_device_in_two_ways(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing could be brought then, which restores whatever one likes: it is no answer, whoever finds it."""
    found = restore

    def with_one_more(*args: Any) -> Any:
        known = found(*args)
        two_ways = frozenset({"kept.kept_so.SL.raised", "kept.kept_so.SL.lowered"})
        unworked = frozenset({"kept.kept_so.SL.lowered", "kept.not_worked.SL"})
        return replace(known, sets=(two_ways, unworked, *known.sets))

    monkeypatch.setattr(deferral, "restore", with_one_more)
    assert cli.run(["defer", "hold.yaml", "up=stuck_true", *ASKED, "--wider", "--format", "json"]) == FOUND
    (case,) = json.loads(capsys.readouterr().out)["cases"]
    sets = [[one["of"] for one in option["limitations"]] for option in case["options"]]
    assert ["1C"] in sets
    assert ["SL.raised"] in sets
    assert all(len([of for of in one if of.startswith("SL")]) < 2 for one in sets)


def case_left(orders: dict[str, dict[str, object]], case: dict[str, object]) -> object:
    """What the best of the single limitations leaves."""
    assert orders
    best = max((one["leaves"] for one in orders.values()), key=lambda some: len(some or ()))  # type: ignore[arg-type]
    assert len(best) == case["left"]  # type: ignore[arg-type]
    return best


def test_what_stays_is_fixed_and_what_has_failed_may_strike() -> None:
    """A device that fails is described as before, beside a failure; one that stays has its state, and no failure."""
    hold = load_hold(Source("hold.yaml", GUARDED.encode()), lambda _name: None).value
    assert hold is not None
    (broken,) = ways_of(hold, "SL", "stuck")
    (lowered,) = ways_of(hold, "SL", "lowered")
    failing = with_inoperative(hold, [broken])
    assert failing.devices == hold.devices
    assert [(one.of, one.mode) for one in failing.failures] == [("SL", "stuck")]
    staying = with_inoperative(hold, [lowered])
    assert {one.id: (one.fixed, one.starts) for one in staying.devices if one.id == "SL"} == {
        "SL": ("lowered", ("lowered",))
    }
    assert staying.failures == ()
    assert with_inoperative(failing, [broken]).failures == failing.failures
