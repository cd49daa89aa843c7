"""`interlock contacts`: what it says of a contact is what is found where the contact is taken out of the text."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import jsonschema
import pytest

from interlock import cli
from interlock.cli.exit_codes import DONE, FOUND, REJECTED, UNDECIDED
from interlock.cli.opening import Rejected, open_catalogue, open_texts
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.compile.contacts import ways_out
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.language.syntax import Chain, Fact, Negation, Syntax
from interlock.hold.loader import Source, load_hold
from interlock.hold.wiring import rewired, wires_of
from interlock.kernel import beside
from interlock.kernel.claims import Unknown, silent
from interlock.kernel.evaluator import State, evaluate, successors
from interlock.kernel.expressions import Is
from interlock.kernel.failures import DisputedSets, KnownSets, SetsFinding, SmallestSets, failures_of
from interlock.kernel.machine import Actor, Machine, Question, Requirement, RequirementKind, Rule, Variable
from interlock.kernel.recovery import RecoveryQuestion
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS, clock_of
from interlock.report.json.writing import schema
from interlock.report.views.contacts_facts import ContactsFacts
from interlock.study import failures
from interlock.study.contacts import losses, purposes, struck
from interlock.study.contacts.purposes import (
    ContactAnalysis,
    ContactPurpose,
    Effect,
    Need,
    Study,
    analyse_contacts,
    failing_contacts,
    settled_of,
)
from interlock.study.contacts.struck import struck_first, uses_of
from interlock.study.failures import analyse_failures
from interlock.study.verify import Status, verify
from tests.agreement.test_losses import all_behind
from tests.golden.small_hold import requirement_texts
from tests.golden.wired_hold import WIRED, WIRED_ASKED
from tests.some import some

ROOT = Path(__file__).parents[2]
ASKED = ("--no-standing", "--requirements", "asked.yaml")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the wired hold and its requirements."""
    monkeypatch.chdir(tmp_path)
    Path("wired.yaml").write_text(WIRED)
    Path("asked.yaml").write_text(WIRED_ASKED)


def hold_of(text: str) -> Hold:
    """The description as read."""
    hold = load_hold(Source("wired.yaml", text.encode()), lambda _name: None).value
    assert hold is not None
    return hold


def analysed(hold: Hold, texts: tuple[RequirementText, ...], size: int = 1) -> ContactAnalysis:
    """What is found of its contacts."""
    catalogue = open_catalogue(None)
    assert not isinstance(catalogue, Rejected)
    compilation = compile_hold(failing_contacts(hold, catalogue[0]).hold, texts)
    assert compilation.compiled is not None, compilation.diagnostics
    return analyse_contacts(compilation.compiled, size)


def needs_of(analysis: ContactAnalysis) -> dict[str, Need]:
    """How far each is needed, by what it is in and how it is written."""
    return {f"{one.item.subject.id}.{one.item.place}: {one.item.written}": one.need for one in analysis.contacts}


def test_every_contact_of_the_wired_hold_is_needed() -> None:
    """Each of its six contacts, the one that inhibits too."""
    found = needs_of(analysed(hold_of(WIRED), requirement_texts(WIRED_ASKED)))
    assert len(found) == 6
    assert set(found.values()) == {Need.ALONE}


def test_what_is_lost_is_asked_last_of_what_breaks_something(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where time runs out it is known of these already that they are needed."""
    asked: list[Sequence[str]] = []
    look = losses.Work.losses

    def noted(self: losses.Work, failures: Sequence[str]) -> list[losses.Loss]:
        asked.append(failures)
        return look(self, failures)

    monkeypatch.setattr(losses.Work, "losses", noted)
    analysis = analysed(hold_of(WIRED), requirement_texts(WIRED_ASKED))
    breaks = {one.failure: bool(one.breaks) for contact in analysis.contacts for one in contact.without}
    first = [breaks[one] for one in asked[0]]
    assert set(first) == {False, True}
    assert first == sorted(first)
    assert len(first) == len(breaks)


def test_what_a_short_search_misses_is_decided(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ends that guided search does not come to are possible all the same, and what bears on them is needed."""
    monkeypatch.setattr(losses, "MOST_EXPANDED", 0)
    analysis = analysed(hold_of(WIRED), requirement_texts(WIRED_ASKED))
    assert not analysis.impossible
    assert set(needs_of(analysis).values()) == {Need.ALONE}


DOUBLED = WIRED.replace("is: GP is on and door_open", "is: GP is on and door_open and not D1 is closed")


def test_a_contact_that_another_makes_good_is_needed_with_it_alone() -> None:
    """Two that ask the same of the door: either is enough, so each is needed where the other fails."""
    texts = requirement_texts(WIRED_ASKED)
    two = ("permit.is: door_open", "permit.is: not D1 is closed")
    alone = needs_of(analysed(hold_of(DOUBLED), texts))
    assert [alone[one] for one in two] == [Need.NOTHING] * 2
    analysis = analysed(hold_of(DOUBLED), texts, 2)
    pairs = needs_of(analysis)
    assert [pairs[one] for one in two] == [Need.TOGETHER] * 2
    # with what, all of it: what breaks without the only one of them, where the other is not there either
    (single,) = [one for one in analysed(hold_of(WIRED), texts).contacts if one.item.written == "door_open"]
    broken = [instance.requirement.id for instance in single.without[0].breaks]
    effects = [one.without[0] for one in analysis.contacts if one.item.written in ("door_open", "not D1 is closed")]
    for effect, other in (effects, effects[::-1]):
        assert (effect.breaks, effect.settled) == ((), 2)
        assert broken
        assert [(what.requirement.id, rest) for what, rest in effect.together] == [
            (id, (other.failure,)) for id in broken
        ]


def test_a_spare_is_found_and_one_that_never_matters() -> None:
    """A contact that no requirement asks for, and one that another contact of its line always makes good."""
    spare = WIRED.replace("power: permit", "power: permit and (GP is on or LV is neutral)")
    analysis = analysed(hold_of(spare), requirement_texts(WIRED_ASKED), 2)
    by_name = {one.item.written: one for one in analysis.contacts if one.item.subject.id == "Z"}
    assert by_name["LV is neutral"].need is Need.NOTHING
    assert all(one.no_difference for one in by_name["LV is neutral"].without)
    alone = analysed(hold_of(spare), requirement_texts(WIRED_ASKED))
    assert {one.settled for contact in alone.contacts for one in contact.without if one.no_difference} == {1}


ENDING = (
    WIRED.replace("starts: [closed, latched, locked]", "starts: [open]")
    .replace("starts: [off, on], may_be_lost: true", "starts: on, may_be_lost: false")
    .replace("power: permit", "power: permit and (not shut_once is on or LV is left)")
    .replace("circuits:", "relays:\n  - {id: shut_once, sets: D1 is latched, drops: 'false'}\ncircuits:")
)
EMPTIED = """\
interlock: 1
specification: What can always be done
requirements:
  - id: always-emptied
    text: The bay can be emptied again
    kind: can always
    condition: 1C is empty
    hazard: unit locked in
    severity: "3"
    scheme: MIL-STD-882E
    source: operability, no source
"""
OPENED = """\
  - id: always-driven
    text: The zone can be driven right again
    kind: can always
    condition: Z.right is running
    hazard: unit locked in
    severity: "3"
    scheme: MIL-STD-882E
    source: operability, no source
"""


def test_a_contact_without_which_one_gets_stuck_is_needed() -> None:
    """Each single thing can still be done without it, and nothing breaks; but after shutting once no unit gets out."""
    analysis = analysed(hold_of(ENDING), requirement_texts(EMPTIED))
    (contact,) = [one for one in analysis.contacts if one.item.place == "power" and one.item.written == "LV is left"]
    (effect,) = contact.without
    assert (effect.breaks, effect.steps) == ((), ())
    assert [one.requirement.id for one in effect.lost] == ["always-emptied"]
    assert contact.need is Need.ALONE


def test_no_contact_is_for_what_ends_in_a_dead_end_although_nothing_fails(capsys: pytest.CaptureFixture[str]) -> None:
    """It is told as broken, no contact is said to be needed for it, and that others may be for it is said of spares.

    Where a second processor works, too.
    """
    hopeless = EMPTIED.replace("always-emptied", "always-as-new").replace("1C is empty", "shut_once is off")
    texts = requirement_texts(EMPTIED + hopeless.partition("requirements:\n")[2])
    beside.allow(2)
    try:
        analysis = analysed(hold_of(ENDING), texts)
    finally:
        assert beside.may_begin()
        beside.allow(1)
    assert needs_of(analysis) == needs_of(analysed(hold_of(ENDING), texts))
    assert [one.requirement.id for one in analysis.broken] == ["always-as-new"]
    lost = {one.requirement.id for contact in analysis.contacts for effect in contact.without for one in effect.lost}
    assert lost == {"always-emptied"}
    Path("ending.yaml").write_text(ENDING)
    Path("asked.yaml").write_text(EMPTIED + hopeless.partition("requirements:\n")[2])
    cli.run(["contacts", "ending.yaml", *ASKED])
    assert "mend that first" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("starts", [struck.MOST_STARTS, 0])
def test_what_can_always_be_done_is_what_every_state_shows(starts: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Proved for many contacts together: with each the same as going through all states with it alone says."""
    monkeypatch.setattr(struck, "MOST_STARTS", starts)
    catalogue = open_catalogue(None)
    assert not isinstance(catalogue, Rejected)
    compiled = compile_hold(
        failing_contacts(hold_of(ENDING), catalogue[0]).hold, requirement_texts(EMPTIED + OPENED)
    ).compiled
    assert compiled is not None
    study = Study(compiled, analyse_failures(compiled, 0), NO_LIMITS, silent)
    names = failures_of(study.machine)[:: 1 if starts else 3]
    beside.allow(2)
    try:
        dead, proved = study.always_possible(names, clock_of(NO_LIMITS))
    finally:
        beside.allow(1)
    goals = [Question(one.requirement.id, one.requirement.condition) for one in study.always]
    expected: dict[str, list[str]] = {}
    for one in names:
        machine, questions, begun = struck_first(study.machine, one, goals)
        states = all_behind(machine)
        before = {state for state in states if not begun and not evaluate(machine, Is(one, True), state)}
        sources: dict[State, list[State]] = {state: [] for state in states}
        for state in states:
            for _, after in successors(machine, state):
                sources[after].append(state)
        for asked in questions:
            waiting = [state for state in states if evaluate(machine, asked.target, state)]
            back = set(waiting)
            while waiting:
                fresh = set(sources[waiting.pop()]) - back
                waiting += fresh
                back |= fresh
            if back | before != states:
                expected.setdefault(one, []).append(asked.id)
    assert set(names) - expected.keys() == proved
    assert {one: [instance.requirement.id for instance in some] for one, some in dead.items()} == expected
    assert proved
    assert {len(some) for some in expected.values()} == {1, 2}


def claims_nothing(
    _machine: Machine, questions: Sequence[Question | RecoveryQuestion], *_: object, **__: object
) -> object:
    """An engine that does not know."""
    return tuple(Unknown(one.id, "nobody", "it does not know") for one in questions)


def test_a_contact_is_needless_where_all_of_it_is_proved() -> None:
    """What breaks by it alone is known, and all can still be done or it makes no difference; of each way it may be."""
    item = analysed(hold_of(WIRED), ()).contacts[0].item
    plain = Effect("one", "welded", (), (), (), (), 1, True)
    needless = [replace(plain, can_still=True), replace(plain, no_difference=True)]
    unknown = [plain, *(replace(one, settled=0) for one in needless)]
    assert [ContactPurpose(item, (one,), ()).need for one in needless] == [Need.NOTHING] * 2
    for one in unknown:
        assert [ContactPurpose(item, ways, ()).need for ways in ((one,), (needless[0], one))] == [Need.OPEN] * 2


def knows_no_sets(_machine: Machine, questions: Sequence[Question], *_: object) -> tuple[SmallestSets, ...]:
    """It was stopped before it knew anything."""
    return tuple(SmallestSets(one.id, "nobody", -1, (), (), (), (), None, "it does not know") for one in questions)


def test_what_may_break_without_a_contact_is_not_settled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it is not known what breaks nothing is needless but what makes no difference, though all can be done."""
    monkeypatch.setattr(failures, "smallest_sets", knows_no_sets)
    analysis = analysed(hold_of(DOUBLED), requirement_texts(WIRED_ASKED))
    assert Need.OPEN in needs_of(analysis).values()
    needless = [one for one in analysis.contacts if one.need is Need.NOTHING]
    assert all(one.no_difference for contact in needless for one in contact.without)
    assert not any(one.breaks for contact in analysis.contacts for one in contact.without)


@pytest.mark.parametrize(("engine", "text", "asked"), [("recover", ENDING, EMPTIED), ("decide", DOUBLED, WIRED_ASKED)])
def test_what_no_engine_knows_is_not_settled(
    engine: str, text: str, asked: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """That nothing needs a contact is never said where whether all can still be done is unknown."""
    texts = requirement_texts(asked)
    sure = needs_of(analysed(hold_of(text), texts))
    assert Need.NOTHING in sure.values()
    monkeypatch.setattr(purposes, engine, claims_nothing)
    monkeypatch.setattr(losses.Work, "shown", lambda _work, _failure: {})
    analysis = analysed(hold_of(text), texts)
    assert Need.NOTHING not in needs_of(analysis).values()
    assert not any(one.can_still or one.no_difference for contact in analysis.contacts for one in contact.without)
    assert {one for one, need in needs_of(analysis).items() if need is Need.ALONE} <= {
        one for one, need in sure.items() if need is Need.ALONE
    }


def test_what_is_open_of_a_contact_bounds_what_is_settled() -> None:
    """Sets of which it is not known what they do, claims that were not re-checked, and disputes: each for its own."""
    analysis = analysed(hold_of(DOUBLED), requirement_texts(WIRED_ASKED)).analysis
    answer = next(one for one in analysis.answers if isinstance(one.finding, KnownSets))
    known = answer.finding
    assert isinstance(known, KnownSets)

    def settled(finding: SetsFinding) -> int:
        both = (replace(answer, finding=finding), *analysis.answers)
        return settled_of(replace(analysis, size=2, answers=both), "one")

    def left(*opened: tuple[str, ...]) -> KnownSets:
        return replace(known, complete=2, claim=replace(known.claim, open=opened))

    whole = replace(analysis, size=2, answers=(replace(answer, finding=left()),))
    assert settled_of(whole, "one") == 2
    analysis = whole
    assert [settled(left(("other",))), settled(left(("other", "third")))] == [2, 2]
    assert [settled(left(("one", "other"))), settled(left(("one",))), settled(left(()))] == [1, 0, -1]
    assert [settled(replace(left(), complete=1)), settled(DisputedSets("q", "no"))] == [1, -1]


def test_a_contact_without_which_a_step_cannot_be_taken_is_needed_for_that() -> None:
    """Beside another it is as if it were not there when it is open: nothing is then driven left, and nothing breaks."""
    either = WIRED.replace("power: permit", "power: permit and (LV is left or LV is right)")
    analysis = analysed(hold_of(either), requirement_texts(WIRED_ASKED))
    (contact,) = [one for one in analysis.contacts if one.item.place == "power" and one.item.written == "LV is left"]
    (effect,) = contact.without
    assert effect.breaks == ()
    assert effect.steps
    assert contact.need is Need.ALONE


def test_a_failure_that_a_requirement_alone_speaks_of_has_a_use() -> None:
    """It is not taken for one that makes no difference."""
    machine = Machine(
        (Variable("broken", (False, True), (False,)),),
        (),
        (Rule("strikes", Actor.FAILURE, Is("broken", False), (("broken", True),)),),
        (Requirement("whole", RequirementKind.ALWAYS, Is("broken", False)),),
    )
    assert uses_of(machine) == {"broken": [("requirement whole", Is("broken", False))]}


@pytest.mark.parametrize(
    ("expression", "expected"),
    [
        ("GP is on and door_open", {"GP is on": {"welded"}, "door_open": {"welded"}}),
        ("GP is on or door_open", {"GP is on": {"open"}, "door_open": {"open"}}),
        ("not (GP is on and door_open)", {"not GP is on": {"open"}, "not door_open": {"open"}}),
        ("GP is on implies door_open", {"not GP is on": {"open"}, "door_open": {"open"}}),
        ("not (not door_open or GP is on)", {"door_open": {"welded"}, "not GP is on": {"welded"}}),
        ("GP is on", {"GP is on": {"welded", "open"}}),
        ("GP is on and (door_open or GP is on)", {"GP is on": {"welded", "open"}, "door_open": {"open"}}),
    ],
)
def test_how_a_contact_is_as_if_it_were_not_there(expression: str, expected: dict[str, set[str]]) -> None:
    """In series bridged, beside others open, under a negation the other way round."""
    text = WIRED.replace("is: GP is on and door_open", f"is: {expression}")
    compiled = compile_hold(hold_of(text)).compiled
    assert compiled is not None
    found = ways_out(compiled.hold, compiled.world)
    analysis = analysed(compiled.hold, ())
    names = {
        one.item.contact.name: one.item.written
        for one in analysis.contacts
        if one.item.contact is not None and one.item.subject.id == "permit"
    }
    assert {str(names[name]): set(modes) for name, modes in found.items() if name in names} == expected


def without(syntax: Syntax, written: str, sign: bool = True) -> Syntax | None:
    """The expression as somebody would write it who took the contact out; None where nothing is left, or not simple."""
    if isinstance(syntax, Fact):
        said = ".".join(syntax.subject.parts) + ("" if syntax.state is None else f" is {syntax.state}")
        return None if written == ("" if sign is not syntax.negated else "not ") + said else syntax
    if isinstance(syntax, Negation):
        inner = without(syntax.arg, written, not sign)
        return None if inner is None else Negation(inner, syntax.span)
    if isinstance(syntax, Chain):
        if syntax.operator == "implies":
            first, second = (without(arg, written, sign is at) for at, arg in enumerate(syntax.args))
            if first is None:
                return second
            return Negation(first, syntax.span) if second is None else replace(syntax, args=(first, second))
        left = tuple(arg for arg in (without(arg, written, sign) for arg in syntax.args) if arg is not None)
        return replace(syntax, args=left) if len(left) > 1 else (left[0] if left else None)
    return syntax


def taken_out(hold: Hold, contact: ContactPurpose) -> Hold | None:
    """The hold with the contact taken out of the text of its expression, where something is left."""
    assert contact.item.contact is not None
    (wire,) = [one for one in wires_of(hold) if one.meaning == contact.item.contact.owner]
    syntax = without(wire.syntax, str(contact.item.written))
    return None if syntax is None or syntax == wire.syntax else rewired(hold, wire.meaning, syntax)


def statuses(compiled: CompiledHold) -> dict[str, Status]:
    """What proving says of each requirement."""
    found = verify(compiled, decide, NO_LIMITS)
    return {one.instance.requirement.id: one.status for one in found.answers}


def compare(hold: Hold, texts: tuple[RequirementText, ...], contacts: Iterator[ContactPurpose]) -> int:
    """Proves the hold without each of the contacts and compares; gives how many were compared."""
    sound = compile_hold(hold, texts).compiled
    assert sound is not None
    before, compared = statuses(sound), 0
    for contact in contacts:
        changed = taken_out(hold, contact)
        compiled = None if changed is None else compile_hold(changed, texts).compiled
        if compiled is None or len(contact.without) != 1:
            continue
        (effect,) = contact.without
        after = statuses(compiled)
        worse = {id for id, status in after.items() if status is Status.FAILS and before[id] is not Status.FAILS}
        told = {one.requirement.id for one in (*effect.breaks, *effect.lost)}
        # where it is not needed nothing is worse; a contact that fails late may do more than one that is not there
        assert worse <= told, (contact.item.name, worse - told)
        assert not (contact.need is Need.NOTHING and worse)
        compared += 1
    return compared


def test_taking_a_contact_out_of_the_text_breaks_no_more_than_is_told() -> None:
    """Of the small wired hold with a double contact, each that can be taken out of its line."""
    texts = requirement_texts(WIRED_ASKED)
    hold = hold_of(DOUBLED)
    assert compare(hold, texts, iter(analysed(hold, texts).contacts)) >= 3


@cache
def single_lane() -> tuple[Hold, tuple[RequirementText, ...], ContactAnalysis]:
    """The demonstration, the standing requirements, and what was found of its contacts."""
    hold = hold_of((ROOT / "models" / "single-lane.yaml").read_text())
    texts = open_texts((), True)
    assert not isinstance(texts, Rejected)
    asked = tuple(texts.by_id.values())
    return hold, asked, analysed(hold, asked)


@pytest.mark.slow
def test_the_contacts_of_the_single_lane_against_proofs_without_each() -> None:
    """All is settled; taken out of the text one by one, those that nothing needs change no verdict."""
    hold, texts, analysis = single_lane()
    assert Need.OPEN not in needs_of(analysis).values()
    needless = [one for one in analysis.contacts if one.need is Need.NOTHING]
    assert compare(hold, texts, iter(needless)) >= 25
    assert compare(hold, texts, (one for one in analysis.contacts if one.need is Need.ALONE)) >= 25


def test_what_is_written_is_what_was_found(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON by its schema; the text within 80 columns, with where each contact is and what it is for."""
    assert cli.run(["contacts", "wired.yaml", *ASKED, "--format", "json"]) == DONE
    result = json.loads(capsys.readouterr().out)
    jsonschema.validate(result, schema(ContactsFacts))
    lines = WIRED.splitlines()
    for one in some(result["contacts"]):
        at = one["at"]
        assert one["contact"].removeprefix("not ") in lines[at["line"] - 1]
        assert one["need"] == "alone"
    assert cli.run(["contacts", "wired.yaml", *ASKED]) == DONE
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80
    assert "severity 1: held-to-run" in text
    assert "6 contacts: 6 needed, in" in text


def test_what_is_not_known_is_not_said(capsys: pytest.CaptureFixture[str]) -> None:
    """Without time nothing is needless, with a spare contact the code says so, without contacts there is nothing."""
    Path("wired.yaml").write_text(DOUBLED)
    assert cli.run(["contacts", "wired.yaml", *ASKED, "--time", "0.001", "--format", "json"]) == UNDECIDED
    needs = {one["need"] for one in json.loads(capsys.readouterr().out)["contacts"]}
    assert needs == {"not settled"}
    assert cli.run(["contacts", "wired.yaml", *ASKED]) == FOUND
    assert "nothing needs it" in capsys.readouterr().out
    assert cli.run(["contacts", "demo:single-lane", "--time", "1", "--only", "nonsense"]) == REJECTED
    Path("bare.yaml").write_text(WIRED[: WIRED.index("controls:")].replace("Wired", "Bare"))
    capsys.readouterr()
    assert cli.run(["contacts", "bare.yaml", "--no-standing"]) == REJECTED
    assert "there is no contact in it" in capsys.readouterr().err
