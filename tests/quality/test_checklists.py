"""Checklists for the demonstration holds: proved, honest about length and order, in the language of procedures."""

from __future__ import annotations

import random
import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import groupby
from pathlib import Path
from time import monotonic
from typing import Any

import pytest

from interlock.confirm.replay import replay
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.kinds import Verb
from interlock.hold.loader import Source, load_hold, load_procedure, load_specification
from interlock.hold.origin import Arrive, Bring, Depart, Sort, Work
from interlock.hold.procedure.binding import bind_procedure, compile_for
from interlock.kernel.claims import Claim, Disputed, Holds, Limits
from interlock.kernel.evaluator import State, evaluate, fire, initial_states, is_enabled, successors
from interlock.kernel.expressions import conj
from interlock.kernel.machine import Actor, Machine, Question, RequirementKind, question_of
from interlock.report.html.checklist import checklist_html
from interlock.report.views.checklist import ChecklistView, checklist_view
from interlock.report.views.checklist_checks import checks_of
from interlock.report.views.checklist_facts import Body
from interlock.report.views.harm import CAUTION, NOTE, WARNING, label_of
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.moving import people_words
from interlock.report.yaml.procedure import checklist_procedure, steps_of_actions
from interlock.study.checklist.audit import ChecklistAudit, audit_checklist
from interlock.study.checklist.goals import Goal, GoalFault, Load, Reach, Unload, aims_of
from interlock.study.checklist.making import Checklist, NoChecklist, Result, make_checklist
from interlock.study.checklist.operating import Refusal, levers_neutral, trace_of
from interlock.study.procedure.audit import Overall, Verdict, audit_procedure
from interlock.study.procedure.slip_audit import Effect
from interlock.study.procedure.slips import SlipKind
from tests.agreement.hold_texts import LONG, compile_text, doorway, hold_text
from tests.quality.writing_rules import (
    faults_of_instruction,
    faults_of_note,
    faults_of_statement,
    faults_of_warning,
)
from tests.some import some, swept
from tests.teeth.written_holds import chosen, written

MODELS = Path(__file__).parents[2] / "models"
STANDING = MODELS.parent / "specs" / "standing.yaml"
SOME = Load((("3L", "HALF"), ("6L", "WIDE")))


def _source(name: str) -> Source:
    return Source(name, (MODELS / name).read_bytes())


@cache
def _compiled(name: str) -> CompiledHold:
    folder = Path(name).parent

    def fetch(other: str) -> Source | None:
        path = (MODELS / folder / other) if not (MODELS / other).exists() else MODELS / other
        return Source(other, path.read_bytes()) if path.exists() else None

    hold = load_hold(_source(name), fetch).value
    texts = load_specification(Source("standing.yaml", STANDING.read_bytes())).value
    assert hold is not None
    compiled = compile_hold(hold, texts or ()).compiled
    assert compiled is not None
    return compiled


@cache
def _made(name: str, goal: Goal, aboard: Goal | None = None) -> Result:
    return make_checklist(_compiled(name), goal, aboard=aboard)


def _checklist(name: str, goal: Goal, aboard: Goal | None = None) -> Checklist:
    found = _made(name, goal, aboard)
    assert isinstance(found, Checklist), found
    return found


@cache
def _audited(name: str, goal: Goal, aboard: Goal | None = None) -> ChecklistAudit:
    made = _checklist(name, goal, aboard)
    return audit_checklist(made, checklist_procedure(made, name), steps_of_actions(made), Limits())


def _words(name: str, goal: Goal, aboard: Goal | None = None) -> Body:
    return _body(_checklist(name, goal, aboard), _audited(name, goal, aboard))


def _body(made: Checklist, audited: ChecklistAudit) -> Body:
    view = checklist_view("hold.yaml", made, audited, 0)
    assert isinstance(view, ChecklistView)
    return view.facts.checklist


ALL_HALF, ALL_OUT = Load((("all", "HALF"),)), Unload(("all",))
QUICK = [
    pytest.param("twin-lane.yaml", ALL_HALF, None, marks=pytest.mark.thorough),
    ("twin-lane.yaml", SOME, None),
    pytest.param("twin-lane.yaml", Load((("all", "WIDE"),)), None, marks=pytest.mark.thorough),
    pytest.param("twin-lane.yaml", ALL_OUT, SOME, marks=pytest.mark.thorough),
    ("single-lane.yaml", ALL_HALF, None),
    ("single-lane.yaml", ALL_OUT, ALL_HALF),
]
LARGE = pytest.param("main-deck.yaml", Load((("2R", "LONG"), ("9L", "SHORT"))), None, marks=pytest.mark.slow)
quick = pytest.mark.parametrize(("name", "goal", "aboard"), [*QUICK, LARGE])


@quick
def test_replayed_by_the_reference_evaluator(name: str, goal: Goal, aboard: Goal | None) -> None:
    """The run is a run of the hold's machine, keeps every requirement in each state, and ends where it should."""
    made = _checklist(name, goal, aboard)
    machine = made.operation.asked
    trace = trace_of(step.execution for step in made.steps)
    assert trace.states[0] == made.start
    rules = {rule.name: rule for rule in machine.rules}
    for rule, before, after in zip(trace.rules, trace.states[:-1], trace.states[1:], strict=True):
        assert is_enabled(machine, rules[rule], before)
        assert fire(machine, rules[rule], before) == after
    standing = [r for r in machine.requirements if r.kind in (RequirementKind.NEVER, RequirementKind.ALWAYS)]
    targets = [question_of(machine, requirement).target for requirement in standing]
    assert targets
    for state in trace.states[:: max(1, len(trace.states) // 40)]:
        assert not any(evaluate(machine, target, state) for target in targets)
    faults = replay(machine, made.legs[-1].goal, trace)
    assert [fault for fault in faults if "initial" not in fault] == []


@quick
def test_all_aboard_and_shut(name: str, goal: Goal, aboard: Goal | None) -> None:
    """At the end what should be aboard is, secured; all else is empty; doors are locked, power and levers off."""
    made = _checklist(name, goal, aboard)
    compiled, end = made.compiled, made.legs[-1].end
    things = compiled.world.things
    machine = made.operation.asked
    occupied = [bay for bay in compiled.floor.bays if evaluate(machine, things[bay].states["occupied"], end)]
    wanted = {unit for leg in made.legs if leg.aim.what == "load" for u in leg.aim.units for unit in u.cells}
    assert set(occupied) == wanted
    for bay in occupied:
        assert evaluate(machine, things[bay].states["secured"], end)
    assert evaluate(machine, conj(things["D1"].states["locked"], *levers_neutral(made.operation)), end)
    assert not any(evaluate(machine, things[z.id].states["powered"], end) for z in compiled.hold.zones)


@quick
def test_equipment_rests_in_one_state(name: str, goal: Goal, aboard: Goal | None) -> None:
    """After each deed of a leg that does not depend on timing nothing moves, and every order ends in the same state."""
    made = _checklist(name, goal, aboard)
    machine = made.operation.machine
    draw = random.Random(7)
    for leg in some(made.legs):
        if leg.timed:
            continue
        for step in some(leg.steps):
            state = step.execution.before
            begun = 0
            for half in step.execution.halves:
                crew = next(r for r in machine.rules if r.name == step.execution.rules[begun])
                state = fire(machine, crew, state)
                while moves := [after for rule, after in successors(machine, state) if rule.actor is not Actor.CREW]:
                    state = draw.choice(moves)
                begun = half
            assert state == step.execution.after


@quick
def test_every_free_order_does_the_same(name: str, goal: Goal, aboard: Goal | None) -> None:
    """Random orders that the partial order allows are possible, break nothing and end in the same state."""
    made = _checklist(name, goal, aboard)
    operation = made.operation
    draw = random.Random(11)
    for leg in some(made.legs):
        if leg.freedom.count is None:
            continue
        assert leg.freedom.count >= 1
        before = leg.freedom.before
        for _ in range(4):
            done, packed = 0, operation.packing.pack(leg.start)
            for _ in leg.steps:
                ready = [p for p in range(len(leg.steps)) if not done >> p & 1 and before[p] & ~done == 0]
                place = draw.choice(ready)
                after = operation.outcome(packed, leg.steps[place].execution.deed)
                assert not isinstance(after, Refusal)
                done, packed = done | 1 << place, after
            assert operation.packing.unpack(packed) == leg.end


def test_order_is_not_freer_than_it_may_be() -> None:
    """Exchanging two neighbours that are ordered fails or ends elsewhere: no pair is there for nothing."""
    made = _checklist("twin-lane.yaml", SOME)
    operation = made.operation
    seen = 0
    # where the hold is shut the power goes off last, whether it must or not
    for leg in made.legs[:-1]:
        for earlier, later in leg.freedom.pairs:
            if later != earlier + 1:
                continue
            order = [*range(earlier), later, earlier, *range(later + 1, len(leg.steps))]
            packed: int | Refusal = operation.packing.pack(leg.start)
            for place in order:
                if not isinstance(packed, Refusal):
                    packed = operation.outcome(packed, leg.steps[place].execution.deed)
            assert isinstance(packed, Refusal) or operation.packing.unpack(packed) != leg.end
            seen += 1
    assert seen > 5


def test_shown_shortest_is_shortest() -> None:
    """Breadth-first search over all steps of crew and equipment agrees wherever a leg is said to be shown shortest."""
    made = _checklist("single-lane.yaml", ALL_HALF)
    machine = made.operation.machine
    legs = [*made.legs, *_checklist("single-lane.yaml", ALL_OUT, ALL_HALF).legs]
    shown = [leg for leg in legs if leg.shortness.is_shown and leg.shortness.length < 9]
    assert len(shown) > 2
    for leg in shown:
        goal = conj(leg.goal, *levers_neutral(made.operation))
        layer, seen, depth = {leg.start}, {leg.start}, 0
        while not any(evaluate(machine, goal, state) for state in layer):
            layer = {after for state in layer for _, after in successors(machine, state)} - seen
            seen |= layer
            depth += 1
        assert depth == leg.shortness.length


@quick
def test_language(name: str, goal: Goal, aboard: Goal | None) -> None:
    """Every instruction, result, check, note and warning keeps the rules of language."""
    _check_language(_words(name, goal, aboard))


def _check_language(words: Body) -> None:
    for leg in words.parts:
        for step in leg.steps:
            assert faults_of_instruction(step.instruction) == (), step.instruction
            assert all(faults_of_statement(result) == () for result in step.results)
            for guard in step.guards:
                _check_guard(guard.label, guard.hazard, guard.avoid, guard.consequence)
        for guard in leg.check_guards:
            _check_guard(guard.label, guard.hazard, guard.avoid, guard.consequence)
        assert all(faults_of_statement(check) == () for check in leg.checks)


def _check_guard(label: str, hazard: str, avoid: str, consequence: str) -> None:
    faults = faults_of_note(hazard) if label == NOTE else faults_of_warning(hazard, avoid, consequence)
    assert faults == (), (hazard, avoid, consequence)


WEAK = "flawed/mid-latch-switch-bridged.yaml", Load((("3L", "HALF"),))


def test_a_weak_interlock_gives_warnings() -> None:
    """With a latch switch bridged, two slips endanger the load: a WARNING stands before the step in every pair."""
    guards = [(step, guard) for leg in _words(*WEAK).parts for step in leg.steps for guard in step.guards]
    warned = [(step, guard) for step, guard in guards if guard.hazard.startswith("Unit shifts in flight (severity 1).")]
    assert [step.instruction for step, _ in warned] == ["Lower centre guide 1."]
    for step, guard in warned:
        assert guard.label == WARNING
        assert f"step {step.number}" in guard.avoid
        assert guard.consequence.startswith("A second slip can then break this: With all doors shut, a unit in ")


UNLATCHED = "flawed/lock-without-latch.yaml", Load((("3L", "HALF"),))
BLIND = "flawed/sill-lock-switches-left-out.yaml", Load((("3L", "HALF"),))


@pytest.mark.parametrize(("which", "fewest"), swept([(WEAK, 2), (UNLATCHED, 1), (BLIND, 1)], 2))
def test_boxes_stand_where_a_slip_leads_to_a_hazard(which: tuple[str, Goal], fewest: int) -> None:
    """Every hazard that slips lead to is told before a step with such a slip, in at most one box, without an id."""
    audited, words = _audited(*which), _words(*which)
    assert audited.audit.slips is not None
    at: dict[str, set[int | None]] = {}
    for one in audited.audit.slips.combinations:
        found = at.setdefault(one.hazard.instance.origin.hazard.lower(), set())
        found |= {audited.step_of(slip.action + 1) for slip in one.slips}
    boxes = [(step.number, guard) for leg in words.parts for step in leg.steps for guard in step.guards]
    assert len({number for number, _ in boxes}) == len(boxes)
    for hazard, steps in at.items():
        told = {number for number, guard in boxes if hazard in guard.hazard.lower()}
        assert told <= steps and told, hazard
    behind = [guard for leg in words.parts for guard in leg.check_guards]
    ids = {instance.requirement.id for instance in audited.audit.bound.compiled.instances}
    texts = [text for _, guard in boxes for text in (guard.hazard, guard.avoid, guard.consequence)]
    assert not any(id in text for id in ids for text in (*texts, *(one.text for one in behind)))
    assert words.slips is not None
    assert {row.slips for row in words.slips.fewest} == {fewest}
    assert bool(words.slips.hazardous) == (fewest == 1)
    assert words.slips.effects.hazard == len(words.slips.hazardous)
    _check_language(words)


def test_of_a_part_left_off_the_last_step_that_matters_is_guilty() -> None:
    """With the switches of the sill locks left out, the unit that lifts them must be brought in."""
    told = [
        step.instruction
        for leg in _words(*BLIND).parts
        for step in leg.steps
        for guard in step.guards
        if "Door or sill lock damaged" in guard.hazard
    ]
    assert told == ["Move the half-width container from the loader into bay 1R."]


def test_damage_is_no_warning() -> None:
    """What harms people is a WARNING, what harms only load, aircraft or equipment a CAUTION, what nobody a NOTE."""
    origins = {one.origin.id: one.origin for one in _audited(*BLIND).audit.bound.compiled.instances}
    assert label_of(origins["secured-behind-shut-doors"]) == WARNING
    assert origins["door-path-clear"].severity == "2"
    assert label_of(origins["door-path-clear"]) == CAUTION
    assert label_of(origins["bay-can-be-filled"]) == NOTE
    unsaid = replace(origins["door-path-clear"], harm=None)
    assert label_of(unsaid) == WARNING
    assert label_of(replace(unsaid, severity="minor", scheme="our own")) == CAUTION


def test_notes_stand_where_nothing_tells() -> None:
    """Before a step whose omission the audit finds unnoticed, that is said."""
    audited = _audited("twin-lane.yaml", SOME)
    assert audited.audit.slips is not None
    unnoticed = {
        audited.step_of(one.slip.action + 1)
        for one in audited.audit.slips.results
        if one.effect is Effect.UNNOTICED and one.slip.kind is SlipKind.OMITTED
    }
    steps = [step for leg in _words("twin-lane.yaml", SOME).parts for step in leg.steps]
    noted = {s.number for s in steps if any("No later step shows" in guard.text for guard in s.guards)}
    assert noted == unnoticed != set()


@pytest.mark.parametrize("name", ["twin-lane.yaml", "single-lane.yaml"])
def test_whoever_stands_near_is_told_to_stand_clear(name: str) -> None:
    """Where the interlock holds everything, a step that moves a door, a unit or a guide has a WARNING all the same."""
    goal = SOME if name == "twin-lane.yaml" else Load((("4C", "HALF"),))
    audited, words = _audited(name, goal), _words(name, goal)
    assert words.slips is not None
    assert words.slips.hazardous == ()
    origins = audited.audit.bound.compiled.origins
    for step in (step for leg in words.parts for step in leg.steps):
        deeds = [origins.deed_of(rule) for rule in step.rules]
        moves = any(isinstance(deed, Depart | Arrive) for deed in deeds)
        moves = moves or any("sill guard is" in result for result in step.results)
        moves = moves or any(
            isinstance(deed, Work) and deed.trigger.verb in (Verb.START, Verb.FINISH) for deed in deeds
        )
        moves = moves or any(isinstance(deed, Bring) for deed in deeds)
        warned = [guard for guard in step.guards if guard.label == WARNING]
        assert bool(warned) == moves, step.instruction
        assert all(guard.avoid == "Stand clear." and "severity 1" in guard.consequence for guard in warned)


def test_no_switch_is_set_for_nothing() -> None:
    """The single lane is filled from one station: the selector is not set to the other and back again."""
    steps = [step.instruction for leg in _words("single-lane.yaml", ALL_HALF).parts for step in leg.steps]
    assert not any("station selector" in step for step in steps)
    assert len(steps) == 32


@quick
def test_doors_are_made_safe_before_the_power_goes_off(name: str, goal: Goal, aboard: Goal | None) -> None:
    """Power that is on when the hold is to be shut goes off behind what is done to the doors, in every order."""
    leg, compiled = _checklist(name, goal, aboard).legs[-1], _compiled(name)
    circuits = [compiled.world.things[one.id].states["on"] for one in compiled.hold.circuits if one.use == "power"]

    def on(state: State) -> int:
        return sum(evaluate(compiled.machine, circuit, state) for circuit in circuits)

    deeds = [[compiled.origins.deed_of(rule) for rule in one.rules] for one in leg.executions]
    doors = [at for at, those in enumerate(deeds) if any(_is_of_door(deed) for deed in those)]
    off = [at for at, one in enumerate(leg.executions) if on(one.before) > on(one.after) == 0]
    assert all(door < at and leg.freedom.before[at] >> door & 1 for door in doors for at in off)


def test_power_goes_off_also_where_some_circuit_is_always_on() -> None:
    """Latches that power keeps raised have a circuit of their own: all other power is off at the end."""
    compiled = compile_text(written(chosen(7006, 4, 8)))
    made = make_checklist(compiled, Load((("2R", "ULD"),)))
    assert isinstance(made, Checklist)
    states = {c.id: compiled.world.things[c.id].states for c in compiled.hold.circuits if c.use == "power"}
    on = [id for id, those in states.items() if evaluate(compiled.machine, those["on"], made.legs[-1].end)]
    assert on == ["latches_up"]
    assert "set PWR to off" in checklist_procedure(made, "hold.yaml")


def _is_of_door(deed: object) -> bool:
    return isinstance(deed, Work) and deed.subject.sort is Sort.DOOR


def test_steps_of_preparation_say_why() -> None:
    """Each is told by what goes wrong without it: what would stop a unit, not hold it, not be possible."""
    twin = {
        step.instruction: step.why
        for leg in _words("twin-lane.yaml", Load((("6L", "HALF"), ("6R", "HALF")))).parts
        for step in leg.steps
    }
    assert twin["Lower centre guide 1."] == "centre guide 1 would stop the unit of step 10"
    assert twin["Raise mid latch 5L."] == "without it the unit in bay 6L is not secured"
    assert twin["Open the control panel cover."] == "step 2 needs it: without it control panel cover is closed"
    assert twin["Pull the sill lock handle."] == "step 15 needs it: without it sill lock 1 is raised"
    assert twin["Latch the cargo door."] == ""


def test_a_sheet_says_whom_it_was_examined_for() -> None:
    """Where people are not described the sheet says so, and where they are it says who."""
    assert "Where people are is not described" in people_words(_audited("twin-lane.yaml", SOME).audit.bound.compiled)
    single = _audited("single-lane.yaml", Load((("4C", "HALF"),))).audit.bound.compiled
    assert "Of people only the loader hand is described" in people_words(single)


@pytest.mark.parametrize(("name", "goal", "aboard"), QUICK)
def test_audited_without_findings(name: str, goal: Goal, aboard: Goal | None) -> None:
    """The audit of a checklist for a demonstration hold finds nothing, and its slips were counted a second time."""
    audit = _audited(name, goal, aboard).audit
    assert audit.overall is Overall.SOUND, audit.open
    assert {action.verdict for action in audit.actions} == {Verdict.POSSIBLE}
    assert audit.slips is not None
    assert len(audit.slips.results) > 100
    assert audit.slips.counted.together >= 1


def test_out_of_reach_is_proved() -> None:
    """A bay behind a deferred latch cannot be loaded and flown: the certificate is checked by the second solver."""
    found = _made("modified/mid-latch-3L-deferred.yaml", Load((("3L", "HALF"),)))
    assert isinstance(found, NoChecklist)
    assert isinstance(found.finding, Holds)


def test_the_bay_that_is_named_is_the_one_in_which_the_unit_begins() -> None:
    """A unit of two bays that is wanted in 2C lies over 2C and 3C, not over 1C and 2C."""
    text = hold_text(rows=3, units=LONG, doorways=doorway("3C", "aft"), devices="")
    compiled = compile_text(text)
    state = next(initial_states(compiled.machine))
    loads = [aim for aim in aims_of(compiled, Load((("2C", "LONG"),)), state) if aim.what == "load"]
    assert [[unit.cells for unit in aim.units] for aim in loads] == [[("2C", "3C")]]


@pytest.mark.parametrize(
    ("side", "rows", "ways"),
    [("fore", (1, 2, 3), ("aft", "1C")), ("aft", (3, 2, 1), ("fore", "2C"))],
    ids=["a door before the first row", "a door behind the last row"],
)
def test_a_long_unit_is_moved_until_it_comes_to_a_bay(side: str, rows: tuple[int, ...], ways: tuple[str, str]) -> None:
    """Written as a procedure, each move goes on to the bay that it leads to: on the others the unit lay before."""
    first, second, last = (f"{row}C" for row in rows)
    text = hold_text(rows=3, units=LONG, doorways=doorway(first, side), devices="", pushing="always")
    compiled = compile_text(text)
    loaded = conj(*(compiled.world.things[bay].states["LONG"] for bay in (second, last)))
    made = make_checklist(compiled, Reach("loaded", loaded))
    assert isinstance(made, Checklist), made
    moves = re.findall(r"(?:run loader|push).*(?=\")", checklist_procedure(made, "x.yaml"))
    assert moves == [
        f"run loader in at D1 until {first} is occupied",
        f"run loader in at D1 until {second} is occupied",
        "push {} from {} until {} is occupied".format(*ways, last),
    ]


def test_no_other_goal_is_offered_where_something_is_disputed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing that this program says of such a hold is to be followed."""

    def disputing(machine: Machine, questions: Sequence[Question], claims: Sequence[Claim], seconds: Any) -> list[Any]:
        return [Disputed(claim.question, claim, "for a test") for claim in claims]

    compiled = _compiled("modified/mid-latch-3L-deferred.yaml")
    goal = Load((("3L", "HALF"),))
    usual = _made("modified/mid-latch-3L-deferred.yaml", goal)
    assert isinstance(usual, NoChecklist) and usual.nearest is not None
    monkeypatch.setattr("interlock.study.checklist.making.confirm", disputing)
    found = make_checklist(compiled, goal)
    assert isinstance(found, NoChecklist) and isinstance(found.finding, Disputed)
    assert found.nearest is None


@pytest.mark.slow
def test_requirements_that_stand_in_the_way_are_named() -> None:
    """Where every way breaks a requirement there is no checklist, and the requirement is named."""
    found = _made("flawed/lever-that-stays.yaml", Load((("3L", "HALF"),)))
    assert isinstance(found, NoChecklist)
    assert any(id.startswith("drive-only-while-held") for id in found.broken)


def test_any_expression_can_be_the_goal() -> None:
    """A goal that is neither load nor unload is one leg."""
    compiled = _compiled("twin-lane.yaml")
    expression = conj(compiled.world.things["D1"].states["open"], compiled.world.things["PWR"].states["off"])
    made = make_checklist(compiled, Reach("D1 is open and PWR is off", expression))
    assert isinstance(made, Checklist)
    assert evaluate(made.operation.asked, expression, made.legs[-1].end)


@pytest.mark.parametrize(
    ("goal", "word"),
    [
        (Load((("9Z", "HALF"),)), "no bay"),
        (Load((("3L", "SHORT"),)), "no kind"),
        (Load((("3L", "HALF"), ("3L", "WIDE"))), "taken"),
        (Unload(("3L",)), "empty at the start"),
    ],
)
def test_goals_that_make_no_sense(goal: Goal, word: str) -> None:
    """What cannot be meant is refused with a reason."""
    with pytest.raises(GoalFault, match=word):
        make_checklist(_compiled("twin-lane.yaml"), goal)


def test_no_time_is_no_answer() -> None:
    """Out of time is neither a checklist nor a proof that there is none."""
    found = make_checklist(_compiled("twin-lane.yaml"), ALL_HALF, Limits(seconds=0.001))
    assert isinstance(found, NoChecklist)
    assert not isinstance(found.finding, Holds)
    assert not found.broken


def test_same_call_same_checklist() -> None:
    """Made twice, a checklist is the same in every word."""
    goal = Load((("4C", "HALF"),))
    words = []
    for _ in range(2):
        made = make_checklist(_compiled("single-lane.yaml"), goal)
        assert isinstance(made, Checklist)
        audited = audit_checklist(made, checklist_procedure(made, "x.yaml"), steps_of_actions(made), Limits())
        words.append(_body(made, audited))
    assert words[0] == words[1]


@quick
def test_what_is_printed_is_what_was_audited(name: str, goal: Goal, aboard: Goal | None) -> None:
    """Each box of the page is a step or a check of the audited procedure, in its order, and the other way round.

    What a check says in words names the devices and doors that its expression asks about, and no others.
    """
    made, audited = _checklist(name, goal, aboard), _audited(name, goal, aboard)
    view = checklist_view("hold.yaml", made, audited, 0)
    assert isinstance(view, ChecklistView)
    boxes = re.findall(r'<label for="([sc])([\d.-]+)">', checklist_html(view))
    printed = [None if sort == "c" else int(number) for sort, number in boxes]
    actions = [one.bound.action.text for one in audited.audit.actions]
    followed = [(step, "") if step else (None, text) for step, text in zip(audited.steps, actions, strict=True)]
    assert printed == [step for (step, _), _ in groupby(followed)]

    writer = InstructionWriter(made.compiled)
    checks = [check for leg, then in made.in_turn for check in checks_of(writer, leg, then)]
    assert [f"check {check.fact}" for check in checks] == [text for step, text in followed if step is None]
    assert [check.text for check in checks] == [text for part in view.facts.checklist.parts for text in part.checks]
    for check in checks:
        for thing in (*made.compiled.hold.devices, *made.compiled.hold.doorways):
            phrase = made.compiled.world.things[thing.id].phrase
            named = re.search(rf"\b{re.escape(phrase)}\b", check.text, re.IGNORECASE)
            assert (named is None) == (f"{thing.id} is " not in check.fact)
        assert (" is secured" in check.fact) == (", secured" in check.text)


@pytest.mark.parametrize(
    ("name", "goal"),
    [
        ("twin-lane.yaml", Load((("6L", "WIDE"), ("5L", "HALF")))),
        ("single-lane.yaml", Load((("4C", "HALF"), ("3C", "HALF")))),
    ],
)
def test_read_back_as_a_procedure_it_passes_the_audit(name: str, goal: Goal) -> None:
    """The checklist as a procedure: every action possible in every order of events, goal reached, nothing broken."""
    made = _checklist(name, goal)
    text = checklist_procedure(made, name)
    procedure = load_procedure(Source("made.yaml", text.encode())).value
    assert procedure is not None
    texts = load_specification(Source("standing.yaml", STANDING.read_bytes())).value
    compiled = compile_for(made.compiled.hold, procedure, texts or ()).compiled
    assert compiled is not None
    bound = bind_procedure(procedure, compiled).bound
    assert bound is not None
    audit = audit_procedure(bound, None, Limits(seconds=60), slips=False)
    assert {action.verdict for action in audit.actions} == {Verdict.POSSIBLE}
    assert audit.goal_missed is None
    assert audit.breaches == ()


@pytest.mark.slow
@pytest.mark.parametrize("goal", [Load((("all", "SHORT"),)), Load((("all", "LONG"),))])
def test_main_deck_there_and_back(goal: Load) -> None:
    """All 32 bays are loaded in one plan, and unloaded in another; the audit of both finds nothing."""
    began = monotonic()
    loaded = _checklist("main-deck.yaml", goal)
    took = monotonic() - began
    assert len(loaded.legs) > 15
    assert took < 90, "thirty seconds on a quiet machine"
    empty = _checklist("main-deck.yaml", ALL_OUT, goal)
    things, machine = empty.compiled.world.things, empty.operation.asked
    for audited in (_audited("main-deck.yaml", goal), _audited("main-deck.yaml", ALL_OUT, goal)):
        assert audited.audit.overall is Overall.SOUND, audited.audit.open
        assert audited.audit.slips is not None
        assert not audited.audit.slips.hazardous
    _check_language(_words("main-deck.yaml", goal))
    _check_language(_words("main-deck.yaml", ALL_OUT, goal))
    assert all(evaluate(machine, things[bay].states["empty"], empty.legs[-1].end) for bay in empty.compiled.floor.bays)


def _load(text: str) -> Load:
    pairs = [word.split("=") for word in text.split(",")]
    return Load(tuple((bay, kind) for bay, kind in pairs))


@pytest.mark.parametrize(
    ("name", "goal", "aboard", "goals", "in_the_way"),
    swept(
        [
            (
                "twin-lane.yaml",
                _load("6L=WIDE"),
                _load("2L=HALF"),
                (Unload(("2L",)), _load("6L=WIDE,2L=HALF")),
                [("2L",)],
            ),
            (
                "twin-lane.yaml",
                Unload(("6L",)),
                _load("4L=WIDE,6L=WIDE"),
                (Unload(("6L", "4L")),),
                [("4L", "4R")],
            ),
            ("modified/mid-latch-3L-deferred.yaml", _load("3L=HALF,5L=HALF"), None, (_load("5L=HALF,2L=HALF"),), []),
        ],
        3,
    ),
)
def test_a_goal_out_of_reach_has_one_near_to_it(
    name: str, goal: Goal, aboard: Goal | None, goals: tuple[Goal, ...], in_the_way: list[tuple[str, ...]]
) -> None:
    """What stands in the way is named, and the goal told in its place really can be planned."""
    found = _made(name, goal, aboard)
    assert isinstance(found, NoChecklist)
    assert found.nearest is not None
    assert found.nearest.goals == goals
    assert [unit.cells for unit in found.nearest.in_the_way] == in_the_way
    assert isinstance(_made(name, goals[0], aboard), Checklist)
