"""Functional tests do what they say: judged by replaying them, and on a small hold by trying all that people can do."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import jsonschema
import pytest

from interlock import cli
from interlock.cli.exit_codes import DONE, FOUND, REJECTED, UNDECIDED
from interlock.cli.opening import Rejected, open_texts
from interlock.hold.catalogue import everything_fails
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.model import RequirementText
from interlock.hold.loader import Source, load_hold
from interlock.hold.origin import Arrive, Bring, Depart, TakeAway
from interlock.kernel.claims import Limits
from interlock.kernel.evaluator import State, evaluate, fire, is_enabled
from interlock.report.json.writing import schema
from interlock.report.views.functional_test import functional_test_view
from interlock.report.views.functional_test_facts import FunctionalTestFacts
from interlock.study.functional_test.making import NEEDS_UNIT, UNSEEN, FunctionalTest, Maker, make_test
from tests.agreement.hold_texts import fetch
from tests.agreement.replayed_tests import Replay
from tests.agreement.test_everything_fails import shipped_catalogue
from tests.golden.small_hold import requirement_texts
from tests.golden.wired_hold import WIRED, WIRED_ASKED, WIRES_FAIL
from tests.some import some

LIT = WIRED.replace(
    "zones:", "  - {id: lamp, name: power lamp, use: indication, is: GP is on and SL is raised}\nzones:"
)


def failing(text: str, texts: tuple[RequirementText, ...] = requirement_texts(WIRED_ASKED)) -> CompiledHold:
    """The hold in which everything may fail."""
    hold = load_hold(Source("wired.yaml", text.encode()), lambda _name: None).value
    assert hold is not None
    compilation = compile_hold(everything_fails(hold, shipped_catalogue()).hold, texts)
    assert compilation.compiled is not None, compilation.diagnostics
    return compilation.compiled


def made(compiled: CompiledHold, **options: bool) -> FunctionalTest:
    """The test of a hold."""
    test = make_test(compiled, **options)  # type: ignore[arg-type]
    assert test is not None
    return test


@cache
def lit() -> FunctionalTest:
    """The test of the wired hold with a lamp."""
    return made(failing(LIT))


def test_a_test_shows_what_it_says_and_a_sound_hold_passes() -> None:
    """By the reference evaluator, looking at no more than the test says: the same failures at the same steps."""
    test = lit()
    replay = Replay(test)
    assert list(replay.sound_faults()) == []
    assert replay.shown() == test.shown
    assert len(test.shown) >= 25
    assert set(test.shown) | set(test.hidden) == set(test.asked)
    assert {"failure.door_open.stuck_true", "failure.lamp.open"} <= set(test.shown)
    # that a lever springs back is felt while it is held
    step = test.steps[test.shown["failure.LV.spring_broken"]]
    assert any(test.bench.observables[at].about == "LV" and value for at, value in step.expected.items())


def test_what_only_hands_feel_is_shown() -> None:
    """That a lever springs back counts where it is felt, though no rule, circuit or requirement asks for its spring."""
    spare = "  - {id: LX, name: spare lever, kind: lever, positions: [up, down]}\n"
    test = made(failing(LIT.replace("controls:\n", f"controls:\n{spare}")))
    assert "failure.LX.spring_broken" in test.shown
    assert Replay(test).shown() == test.shown


KEPT = (
    WIRED_ASKED
    + """\
  - id: lever-not-left
    text: The lever is never held left
    kind: never
    condition: LV is left
    hazard: none, this is for a test
    severity: "4"
    scheme: MIL-STD-882E
    source: common practice, no source
  - id: latch-stays-where-there-is-power
    text: The sill latch is lowered only without power
    kind: only if
    step: lower SL
    condition: GP is off
    hazard: none, this is for a test
    severity: "4"
    scheme: MIL-STD-882E
    source: common practice, no source
"""
)


def held_left(test: FunctionalTest) -> bool:
    """Somewhere in the test the lever is held left."""
    left = test.compiled.world.things["LV"].states["left"]
    return any(evaluate(test.compiled.machine, left, step.after) for step in test.steps)


def test_nothing_is_broken_on_the_way_of_a_test() -> None:
    """Neither a state that must not be nor a step that must not be taken is part of it; else the lever is held."""
    test = made(failing(LIT, requirement_texts(KEPT)))
    replay = Replay(test)
    assert list(replay.sound_faults()) == []
    assert held_left(lit()) and not held_left(test)
    assert test.shown


def test_units_let_a_test_show_more() -> None:
    """With units brought in: still certain on the sound hold, still what it says, and not less."""
    test = made(failing(LIT), units=True)
    replay = Replay(test)
    assert list(replay.sound_faults()) == []
    assert replay.shown() == test.shown
    assert len(test.shown) >= len(lit().shown)


MORE = "".join(f"  - {{id: {id}, name: lever {id}, kind: lever, positions: [left, right]}}\n" for id in ("LW", "LX"))
TWO_HELD = (
    LIT.replace("is: GP is on and SL is raised", "is: LV is left and LW is left and (LX is left or SL is raised)")
    .replace("stations:\n", MORE + "stations:\n  - {id: SU, name: loader station, controls: [LW], owns: 'true'}\n")
    .replace("controls: [LV]", "controls: [LV, LX]")
)


def test_what_is_held_and_how_many_people_it_takes_is_told() -> None:
    """Levers that stay held, by the states of the test; two at one station are one person's, at two two people's."""
    compiled = failing(TWO_HELD)
    test = made(compiled)
    reckoned = everything_fails(compiled.hold, shipped_catalogue())
    facts = functional_test_view("wired.yaml", test, reckoned, 0, False).facts
    levers, world = ("LV", "LW", "LX"), compiled.world.things
    people = []
    for step, told in zip(test.steps, facts.steps, strict=True):
        before, after = (
            {
                id: [way for way in ("left", "right") if evaluate(compiled.machine, world[id].states[way], state)]
                for id in levers
            }
            for state in (step.before, step.after)
        )
        assert list(told.held) == [id for id in levers if before[id] and before[id] == after[id]]
        assert ("Go on holding" in told.instruction) is bool(told.held)
        touched = {id for id in levers if before[id] or after[id]}
        people.append(told.people)
        if "LW" in touched and touched & {"LV", "LX"}:
            assert told.people == 2
        elif len(told.held) + (step.head is not None) <= 2:
            assert told.people <= 1
    assert max(people) == 2
    assert f"At least 2 people take part: step {people.index(2)} needs so many." in facts.before


def test_the_judge_can_fail() -> None:
    """With less looked at less shows, and a step that ends otherwise than told is found."""
    test = lit()
    blind = replace(test, steps=tuple(replace(step, expected={}) for step in test.steps))
    assert len(Replay(blind).shown()) < len(test.shown)
    first, second, *rest = test.steps
    assert list(Replay(replace(test, steps=(first, *rest))).sound_faults())
    wrong = replace(second, after=first.after)
    assert list(Replay(replace(test, steps=(first, wrong, *rest))).sound_faults())


def test_what_shows_nothing_is_left_out_and_nothing_else(monkeypatch: pytest.MonkeyPatch) -> None:
    """Something done and undone at the end is not in the test, which shows what it shows without it."""
    spare: list[str] = []
    go_back = Maker.go_back

    def and_more(maker: Maker) -> bool:
        back = go_back(maker)
        for step in list(maker.bench.steps(maker.now, maker.barred)):
            undone = [one for one in maker.bench.steps(step.after, maker.barred) if one.after == maker.now]
            for one in (step, *undone[:1]) if undone else ():
                spare.append(one.head)
                maker.append(one)
        return back

    monkeypatch.setattr(Maker, "go_back", and_more)
    test = made(failing(LIT))
    assert len(spare) >= 4
    assert test.shown.keys() == lit().shown.keys()
    assert len(test.steps) <= len(lit().steps)
    assert test.back
    assert Replay(test).shown() == test.shown


def broken_with(replay: Replay, failure: str) -> Iterator[tuple[int, str]]:
    """Steps, and requirements that may break at each with the failure there, while nothing that people see is wrong."""
    bench = replay.test.bench
    first, *stages = [
        replace(one, expected=dict(enumerate(bench.seen(bench.packing.pack(one.after))))) for one in replay.test.steps
    ]
    struck = [rule for rule in replay.machine.rules if (failure, True) in rule.update]
    rests = [
        replay.rests(fire(replay.machine, rule, first.after))
        for rule in struck
        if is_enabled(replay.machine, rule, first.after)
    ]
    yield from ((0, id) for _, passed in rests for id in replay.broken(first.after, [], set(passed)))
    states = frozenset(state for ends, _ in rests for state in ends if replay.sees(state, first))
    for stage in stages:
        for state in states:
            rules = [rule for rule in replay.by_deed[str(stage.head)] if is_enabled(replay.machine, rule, state)]
            passed = {one for rule in rules for one in replay.rests(fire(replay.machine, rule, state))[1]}
            yield from ((stage.number, id) for id in replay.broken(state, rules, passed))
        states = replay.done(states, stage)


def test_what_may_break_where_something_has_failed_is_told_with_each_step() -> None:
    """Every requirement with every failure that may break it there, by the reference evaluator; and no other."""
    test = made(failing(LIT, requirement_texts(KEPT)))
    replay = Replay(test)
    told = {(one.number, id, name) for one in test.steps for id, names in one.breaks.items() for name in names}
    found = {(at, id, name) for name in test.asked for at, id in broken_with(replay, name)}
    assert told == found
    assert len({id for _, id, _ in told}) >= 3


def moves(replay: Replay, state: State) -> Iterator[tuple[str, State | None, frozenset[State]]]:
    """What people can do to a sound hold in which nothing is broken by it, or try in vain (None), without units."""
    deeds = replay.test.compiled.origins.deeds
    for deed, rules in replay.by_deed.items():
        if isinstance(deeds[deed], Bring | TakeAway | Depart | Arrive):
            continue
        enabled = [rule for rule in rules if is_enabled(replay.machine, rule, state)]
        reached = [replay.rests(fire(replay.machine, rule, state)) for rule in enabled]
        ends = frozenset(end for one, _ in reached for end in one)
        passed = {one for _, some_ in reached for one in some_}
        if not enabled:
            yield deed, None, frozenset()
        elif len(ends) == 1 and not list(replay.broken(state, enabled, passed)):
            yield deed, next(iter(ends)), ends


def can_be_shown(replay: Replay, failure: str) -> bool:
    """Some sequence of what people can do and try shows the failure for certain: all are tried."""

    def seen(state: State) -> tuple[bool, ...]:
        return tuple(evaluate(replay.machine, expr, state) for expr in replay.observables)

    start = replay.test.steps[0].after
    struck = [rule for rule in replay.machine.rules if (failure, True) in rule.update]
    first = {
        end
        for rule in struck
        if is_enabled(replay.machine, rule, start)
        for end in replay.rests(fire(replay.machine, rule, start))[0]
    }
    states = frozenset(end for end in first if seen(end) == seen(start))
    if not states:
        return bool(first)
    met = {(start, states)}
    waiting = [(start, states)]
    while waiting:
        sound, with_it = waiting.pop()
        for deed, after, _ in moves(replay, sound):
            ends: set[State] = set()
            for state in with_it:
                rules = [rule for rule in replay.by_deed[deed] if is_enabled(replay.machine, rule, state)]
                if after is None:
                    ends |= set() if rules else {state}
                else:
                    ends |= {end for rule in rules for end in replay.rests(fire(replay.machine, rule, state))[0]}
            end = sound if after is None else after
            left = frozenset(state for state in ends if seen(state) == seen(end))
            if not left:
                return True
            if (end, left) not in met:
                met.add((end, left))
                waiting.append((end, left))
    return False


def test_what_stays_hidden_can_be_shown_by_nothing_that_people_do() -> None:
    """On the small hold with no unit in it: every sequence of steps and attempts, for every hidden failure."""
    test = lit()
    replay = Replay(test)
    assert {test.hidden[one] for one in some(test.hidden)} & {UNSEEN, NEEDS_UNIT}
    for failure in some(test.hidden):
        assert not can_be_shown(replay, failure), (failure, test.hidden[failure])
    assert can_be_shown(replay, "failure.door_open.stuck_true")


@pytest.mark.slow
def test_the_test_of_the_single_lane() -> None:
    """All 307 failures of the catalogue, replayed: what is claimed is what shows."""
    source = fetch("models/single-lane.yaml")
    assert source is not None
    texts = open_texts((), True)
    assert not isinstance(texts, Rejected)
    test = made(failing(source.content.decode(), tuple(texts.by_id.values())))
    replay = Replay(test)
    assert list(replay.sound_faults()) == []
    assert replay.shown() == test.shown
    assert len(test.shown) >= 160


def test_without_time_little_is_claimed() -> None:
    """What was not looked for is said to have been left, and what is claimed is so all the same."""
    test = make_test(failing(LIT), Limits(seconds=0.001))
    assert test is not None
    assert test.cut
    assert Replay(test).shown() == test.shown
    assert set(test.shown) | set(test.hidden) == set(test.asked)


def test_it_begins_with_the_supplies_on_that_its_steps_take_to_be_on() -> None:
    """A supply that is off at first and comes on by itself is on before the first step, not told to be off there."""
    test = make_test(failing(LIT.replace("starts: [off, on]", "starts: off")), Limits(seconds=0.001))
    assert test is not None
    assert evaluate(test.compiled.machine, test.compiled.world.things["GP"].states["on"], test.steps[0].after)


@pytest.fixture
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder with the hold, a modification of it and its requirements."""
    monkeypatch.chdir(tmp_path)
    Path("wired.yaml").write_text(LIT)
    Path("asked.yaml").write_text(WIRED_ASKED)
    Path("wires.yaml").write_text(WIRES_FAIL)
    Path("changed.yaml").write_text(
        "interlock: 1\nmodifies: wired.yaml\ntitle: Another lamp\nabout: The lamp no longer heeds the latch.\n"
        "changes:\n  - change: lamp\n    to: {is: GP is on}\n"
    )


ASKED = ("--no-standing", "--requirements", "asked.yaml")


@pytest.mark.usefixtures("in_a_folder")
def test_the_command_tells_the_test(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON by its schema, every failure in it once; the text within 80 columns, with the steps and what they show."""
    assert cli.run(["test", "wired.yaml", *ASKED, "--format", "json"]) == FOUND
    result = json.loads(capsys.readouterr().out)
    jsonschema.validate(result, schema(FunctionalTestFacts))
    covered = [one["id"] for one in result["coverage"]]
    assert len(covered) == len(set(covered))
    shown = [id for step in result["steps"] for id in step["shows"]]
    assert sorted(shown) == sorted(one["id"] for one in result["coverage"] if one["step"] is not None)
    assert all(one["why_not"] for one in result["coverage"] if one["step"] is None)
    hazards = {one["number"]: " ".join(guard["hazard"] for guard in one["guards"]) for one in result["steps"]}
    for one in result["steps"]:
        told = " ".join(one["told"])
        if re.search(r"The drives? under bays? [^.]* runs? ", told):
            assert re.search("[Tt]he drives move|and the drives move", hazards[one["number"]])
        if "Side door is not closed." in told or "Side door is not open." in told:
            assert re.search("[Tt]he side door (moves|and)", hazards[one["number"]])
    assert sum("move" in hazard for hazard in hazards.values()) >= 4
    assert cli.run(["test", "wired.yaml", *ASKED]) == FOUND
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80
    assert "WARNING: What is tested may have failed" in text
    assert "-> Power lamp is on." in text
    assert cli.run(["test", "wired.yaml", *ASKED, "--catalogue", "wires.yaml"]) == DONE
    assert cli.run(["test", "wired.yaml", *ASKED, "--time", "0.001"]) == UNDECIDED


@pytest.mark.usefixtures("in_a_folder")
def test_after_a_modification_only_what_it_touches(capsys: pytest.CaptureFixture[str]) -> None:
    """The lamp, its contacts and what it reads; nothing of the drives. A hold that is no modification is refused."""
    assert cli.run(["test", "changed.yaml", *ASKED, "--changed", "--format", "json"]) in (DONE, FOUND)
    result = json.loads(capsys.readouterr().out)
    assert result["only_changed"]
    of = {one["id"].split(".")[1] for one in some(result["coverage"])}
    assert "lamp" in of or "circuit" in of
    assert not any("door_open" in one["id"] or "LV" in one["id"] for one in result["coverage"])
    assert cli.run(["test", "wired.yaml", *ASKED, "--changed"]) == REJECTED
    assert "is no modification" in capsys.readouterr().err
