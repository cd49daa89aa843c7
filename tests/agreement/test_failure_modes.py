"""What every failure does, on small holds whose states are all looked at: where it matters, and what stands it.

Each case has a fact that no state has while all works, and some state has once the failure may strike; and one that no
state has either way, because something in the hold stands that failure.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

import networkx
import pytest

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold.catalogue import everything_fails
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.compile.contacts import contact_items
from interlock.hold.compile.lowering import Lowering
from interlock.hold.failing import failing_items
from interlock.hold.kinds import Verb
from interlock.hold.language.model import RequirementText
from interlock.hold.language.nodes import ScalarNode
from interlock.hold.language.parser import parse_expression
from interlock.hold.loader import Source, load_specification
from interlock.hold.origin import Failure, Work
from interlock.hold.sorts import FAILURES, Item
from interlock.kernel.evaluator import as_mapping, evaluate
from interlock.kernel.expressions import FALSE, Expr, assign, expand
from interlock.kernel.failures import failures_of
from interlock.kernel.machine import Actor
from interlock.report.views.assumptions import assumptions_of
from interlock.study.failures import analyse_failures
from tests.agreement.hold_texts import compile_text, doorway, faults_of, hold_text
from tests.agreement.state_graphs import state_graph
from tests.agreement.test_everything_fails import shipped_catalogue
from tests.some import some

WIRED = hold_text(
    units="",
    devices=(
        "- {id: SG, kind: powered guide resting raised, on: 1C.left, circuit: SW is on, stops: [left], "
        "restrains: [y, z], locking: raised}\n"
        "- {id: SL, kind: handle-worked lock, handle: H1, on: 1C.right, stops: [right], restrains: [y, z], "
        "locking: raised}\n"
    ),
    rest="""\
controls:
  - {id: SW, kind: switch, positions: [off, on], starts: off}
  - {id: SEL, kind: selector, positions: [door, loader], starts: door}
  - {id: LV, kind: lever, positions: [fore, aft]}
  - {id: BTN, kind: push button}
  - {id: H1, kind: self-resetting handle}
  - {id: AP, kind: access panel, starts: closed}
stations:
  - {id: STA, controls: [LV], owns: SEL is door}
  - {id: STB, controls: [LV], owns: SEL is loader}
supplies:
  - {id: GP, starts: on, may_be_lost: false}
  - {id: XP, starts: off, may_be_lost: false}
sensors:
  - {id: sl_up, reads: SL is raised}
  - {id: sg_up, reads: SG is raised}
  - {id: sl_too, reads: SL is raised}
relays:
  - {id: R1, sets: SW is on, drops: SW is off}
  - {id: R2, sets: R1 is energised, drops: SW is off}
circuits:
  - {id: P, use: power, is: GP is on and SW is on}
  - {id: P_too, use: power, is: P and SW is on}
  - {id: P_by_relay, use: power, is: R1 is energised and SW is on}
  - {id: X_too, use: power, is: XP is on and SW is on}
  - {id: at_door, use: logic, is: SEL is door}
  - {id: at_loader, use: logic, is: SEL is loader}
  - {id: at_loader_only, use: logic, is: SEL is loader and not at_door}
  - {id: to_fore, use: logic, is: LV is fore}
  - {id: to_fore_held, use: logic, is: LV is fore and BTN is pressed}
  - {id: idle, use: logic, is: not SW is on}
  - {id: permit, use: permit, is: sl_up and sl_both and sg_up}
  - {id: sl_both, use: logic, is: sl_up and sl_too}
zones:
  - id: Z
    bays: [1C]
    power: BTN is pressed
    levers: [LV, BTN]
    commands:
      - {station: STA, fore: LV is fore, aft: LV is aft}
      - {station: STB, fore: LV is fore and SEL is loader}
""",
)
FLOOR = hold_text(
    rows=2,
    doorways=doorway("1C", "left"),
    pushing="SW is on",
    ball_mat="[1C]",
    devices=(
        "- {id: M1, kind: manual latch, on: 1C.aft, stops: [fore, aft], restrains: [x], locking: raised, "
        "starts: lowered}\n"
        "- {id: M2, kind: manual latch, on: 1C.aft, stops: [fore, aft], restrains: [x], locking: raised, "
        "starts: lowered}\n"
        "- {id: FS, kind: fixed guide, on: [1C.right, 2C.right], stops: [right], restrains: [y]}\n"
        "- {id: FT, kind: fixed guide, on: 1C.right, stops: [right], restrains: [y]}\n"
    ),
    rest="controls:\n  - {id: SW, kind: switch, positions: [off, on], starts: off}\n",
)
AT_REST = FLOOR.replace("pushing: SW is on", "pushing: never")
SPRINGS = hold_text(
    rows=2,
    doorways=doorway("1C", "left"),
    pushing="always",
    ball_mat="[1C]",
    devices="".join(
        f"- {{id: {id}, kind: spring latch, on: 1C.aft, stops: [fore], gives_way: [aft], restrains: [x], "
        "locking: raised, starts: raised}\n"
        for id in ("S1", "S2")
    ),
    rest="sensors:\n  - {id: up, reads: S1 is raised}\ncircuits:\n  - {id: seen, use: logic, is: up}\n",
)
DRIVEN = hold_text(
    rows=2,
    rest="""\
controls:
  - {id: KEY, kind: switch, positions: [off, on], starts: off}
  - {id: LV, kind: lever, positions: [fore, aft, left, right]}
zones:
  - id: Z
    bays: [1C, 2C]
    power: KEY is on
    commands: {fore: LV is fore, aft: LV is aft, left: LV is left, right: LV is right}
    inhibits: {fore: LV is aft}
""",
    units="",
)
DOOR = hold_text(
    units="",
    doorways=(
        "- {id: D1, bays: 1C, side: left, moved_by: power, opens: UP is on, closes: DOWN is on, "
        'latch: {by: hand, when: "true"}, unlatch: {by: hand, when: D1 is unlocked and free}, '
        'lock: {by: hand, when: D1 is latched}, unlock: {by: hand, when: "true"}, path: [], '
        "starts: [closed, latched, locked]}\n"
        '- {id: D2, bays: 1C, side: right, moved_by: hand, opens: "false", closes: "false", '
        'latch: {by: hand, when: "true"}, unlatch: {by: hand, when: D2 is open}, lock: none, '
        "path: [], starts: closed}\n"
    ),
    rest="""\
controls:
  - {id: UP, kind: switch, positions: [off, on], starts: off}
  - {id: DOWN, kind: switch, positions: [off, on], starts: off}
  - {id: FREE, kind: switch, positions: [off, on], starts: off}
circuits:
  - {id: free, use: logic, is: FREE is on}
""",
)


class Case(NamedTuple):
    """A failure that adds something: `matters` is so only once it may strike, `stood` never."""

    text: str
    item: Item
    of: str
    mode: str
    matters: str
    stood: str
    contact: str = ""


NOT_HELD = "Z is running and LV is neutral"
BOTH_HOLD = "SG is locking and SL is locking and not 1C.up is restrained"
CASES = [
    Case(WIRED, Item.SENSOR, "sl_up", "stuck_true", "sl_up and SL is lowered", "permit and SL is lowered"),
    Case(WIRED, Item.SENSOR, "sl_up", "stuck_false", "SL is raised and not sl_up", "permit and SL is lowered"),
    Case(WIRED, Item.SENSOR, "sl_up", "reads_opposite", "sl_up and SL is lowered", "permit and SL is lowered"),
    Case(WIRED, Item.CIRCUIT, "P", "short_to_power", "P and SW is off", "P_too and SW is off"),
    Case(WIRED, Item.CIRCUIT, "P", "open", "SW is on and not P", "P and SW is off"),
    Case(WIRED, Item.CONTACT, "P", "welded", "P and SW is off", "P_too and SW is off", "SW is on"),
    Case(WIRED, Item.CONTACT, "P", "open", "SW is on and not P", "SW is on and not R1", "SW is on"),
    Case(WIRED, Item.CONTACT, "idle", "welded", "idle and SW is on", "P and SW is off", "not SW is on"),
    Case(WIRED, Item.CONTACT, "idle", "open", "SW is off and not idle", "idle and SW is on", "not SW is on"),
    Case(WIRED, Item.CONTACT, "R1", "open", "R1 is energised and SW is off", "P and SW is off", "SW is off"),
    Case(WIRED, Item.CONTACT, "permit", "bypassed", "permit and not sg_up", "permit and SL is lowered", "sg_up"),
    Case(WIRED, Item.CONTACT, "Z", "bypassed", "Z is running and BTN is released", NOT_HELD, "BTN is pressed"),
    Case(WIRED, Item.RELAY, "R1", "welded", "R1 is energised and SW is off", "P_by_relay and SW is off"),
    Case(WIRED, Item.RELAY, "R1", "does_not_pull_in", "SW is on and not R1", "R2 is energised and not R1"),
    Case(WIRED, Item.RELAY, "R1", "drops_out", "R2 is energised and not R1", "R1 is energised and SW is off"),
    Case(WIRED, Item.SUPPLY, "GP", "lost", "GP is off", "P and GP is off"),
    Case(WIRED, Item.SUPPLY, "XP", "returns", "XP is on", "X_too and SW is off"),
    Case(WIRED, Item.STATION, "STB", "in_charge_too", "Z is contested", "Z is running and BTN is released"),
    Case(WIRED, Item.STATION, "STA", "never_in_charge", "SEL is door and not STA is owning", "Z is contested"),
    Case(WIRED, Item.SWITCH, "SEL", "contacts_together", "at_door and at_loader", "at_door and at_loader_only"),
    Case(
        WIRED,
        Item.HELD_CONTROL,
        "LV",
        "contacts_together",
        "to_fore and LV is neutral",
        "to_fore_held and BTN is released",
    ),
    Case(
        WIRED,
        Item.HELD_CONTROL,
        "LV",
        "spring_broken",
        "LV is fore and not LV is held",
        "BTN is pressed and not BTN is held",
    ),
    Case(WIRED, Item.HANDLE, "H1", "linkage_broken", "H1 is pulled and SL is raised", "permit and SL is lowered"),
    Case(WIRED, Item.HANDLE, "H1", "does_not_return", "H1 is stowed and SL is lowered", "permit and SL is lowered"),
    Case(
        WIRED, Item.HANDLE_DEVICE, "SL", "linkage_broken", "H1 is pulled and SL is raised", "permit and SL is lowered"
    ),
    Case(
        WIRED, Item.HANDLE_DEVICE, "SL", "spring_broken", "H1 is stowed and SL is lowered", "permit and SL is lowered"
    ),
    Case(
        WIRED, Item.POWERED_DEVICE, "SG", "works_uncommanded", "SW is off and SG is lowered", "permit and SG is lowered"
    ),
    *(
        Case(WIRED, item, of, "broken", f"{of} is locking and not 1C.{way} is restrained", BOTH_HOLD)
        for item, of, way in ((Item.POWERED_DEVICE, "SG", "left"), (Item.HANDLE_DEVICE, "SL", "right"))
    ),
    Case(WIRED, Item.POWERED_DEVICE, "SG", "rests", "SW is on and SG is raised", "permit and SG is lowered"),
    Case(
        FLOOR,
        Item.HAND_DEVICE,
        "M1",
        "broken",
        "M1 is raised and 1C.aft is crossed",
        "M1 is raised and M2 is raised and 1C.aft is crossed",
    ),
    Case(
        FLOOR,
        Item.HAND_DEVICE,
        "M1",
        "broken",
        "M1 is locking and not 1C.aft is restrained",
        "M1 is locking and M2 is locking and not 1C.aft is restrained",
    ),
    Case(FLOOR, Item.FIXED_DEVICE, "FS", "broken", "not 2C.right is restrained", "not 1C.right is restrained"),
    Case(AT_REST, Item.FLOOR, "1C", "drifts", "1C.aft is crossed", "M1 is raised and 1C.aft is crossed"),
    Case(SPRINGS, Item.SPRING_DEVICE, "S1", "jammed_up", "S1 is raised and S1 is covered", "seen and not S1 is raised"),
    Case(
        SPRINGS,
        Item.SPRING_DEVICE,
        "S1",
        "spring_broken",
        "S1 is held_down and not S1 is covered",
        "seen and not S1 is raised",
    ),
    Case(
        SPRINGS,
        Item.SPRING_DEVICE,
        "S1",
        "broken",
        "S1 is locking and not 2C.fore is restrained",
        "S1 is locking and S2 is locking and not 2C.fore is restrained",
    ),
    Case(
        DRIVEN,
        Item.DRIVE,
        "1C",
        "runs_other_way",
        "LV is fore and 1C.aft is running",
        "KEY is off and 1C.aft is running",
    ),
    Case(
        DRIVEN,
        Item.DRIVE,
        "1C",
        "runs_fore",
        "LV is neutral and 1C.fore is running",
        "KEY is off and 1C.fore is running",
    ),
    *(
        Case(
            DRIVEN,
            Item.DRIVE,
            "1C",
            f"runs_{way}",
            f"LV is neutral and 1C.{way} is running",
            f"LV is neutral and 2C.{way} is running",
        )
        for way in ("aft", "left", "right")
    ),
    Case(
        DOOR,
        Item.POWERED_DOOR,
        "D1",
        "runs_open",
        "UP is off and D1 is driven_open",
        "D1 is latched and not D1 is closed",
    ),
    Case(
        DOOR,
        Item.POWERED_DOOR,
        "D1",
        "runs_closed",
        "DOWN is off and D1 is driven_closed",
        "D1 is latched and not D1 is closed",
    ),
    Case(DOOR, Item.HAND_DOOR, "D2", "moves_by_itself", "D2 is moving", "D2 is latched and not D2 is closed"),
    Case(
        DOOR,
        Item.DOOR_LATCH,
        "D1",
        "latch_does_not_hold",
        "D1 is latched and not D1 is closed",
        "UP is off and D1 is driven_open",
    ),
    Case(
        DOOR,
        Item.DOOR_LOCK,
        "D1",
        "lock_does_not_hold",
        "D1 is locked and not D1 is latched",
        "D1 is latched and not D1 is closed",
    ),
]


@cache
def compiled_with(text: str, of: str = "", mode: str = "", contact: str = "") -> CompiledHold:
    """The hold, with the failure declared where one is given, of a contact where one is given."""
    part = f", contact: {contact}" if contact else ""
    return compile_text(text + (f"failures:\n  - {{of: {of}, mode: {mode}{part}}}\n" if of else ""))


class Lost(NamedTuple):
    """A failure that only takes something away: while all works `goal` can always come about, struck never again.

    `stood` still can, whatever has struck.
    """

    text: str
    item: Item
    of: str
    mode: str
    goal: str
    stood: str


LOST = [
    Lost(WIRED, Item.SWITCH, "SEL", "stuck", "SEL is loader", "Z is running"),
    Lost(WIRED, Item.HELD_CONTROL, "LV", "stuck", "LV is fore", "not Z is running"),
    Lost(WIRED, Item.HANDLE, "H1", "stuck", "H1 is pulled", "not permit"),
    Lost(WIRED, Item.PANEL, "AP", "stuck", "AP is open", "SW is on"),
    Lost(FLOOR, Item.HAND_DEVICE, "M1", "stuck", "M1 is raised", "M2 is raised"),
    Lost(SPRINGS, Item.SPRING_DEVICE, "S1", "stuck", "S1 is kept_down", "S2 is kept_down"),
    Lost(DRIVEN, Item.DRIVE, "1C", "dead", "1C.fore is running", "2C.fore is running"),
    Lost(DOOR, Item.POWERED_DOOR, "D1", "dead", "D1 is open", "not D1 is driven_open"),
]


def fact(compiled: CompiledHold, text: str) -> Expr:
    """What a requirement would mean by the text."""
    faults = Faults()
    syntax = parse_expression(ScalarNode(text, Span("test", 1, 1), False, None), faults)
    assert syntax is not None, faults.sorted()
    lowering = Lowering(compiled.world)
    expr = lowering.expression(syntax)
    assert lowering.faults == []
    return expr


@cache
def states_with(text: str, of: str = "", mode: str = "", contact: str = "") -> networkx.MultiDiGraph[int]:
    """Every state that is reached, and every step."""
    return state_graph(compiled_with(text, of, mode, contact).machine)


def arises(text: str, what: str, of: str = "", mode: str = "", contact: str = "") -> bool:
    """Some state is so."""
    compiled = compiled_with(text, of, mode, contact)
    expr, graph = fact(compiled, what), states_with(text, of, mode, contact)
    return any(evaluate(compiled.machine, expr, data["state"]) for _, data in graph.nodes(data=True))


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.of}.{case.contact}.{case.mode}")
def test_a_failure_does_what_it_says_and_is_stood_where_something_stands_it(case: Case) -> None:
    """What matters arises only with the failure; what something else keeps from arising does not arise with it."""
    compiled = compiled_with(case.text, case.of, case.mode, case.contact)
    items = (*failing_items(compiled.hold), *contact_items(compiled.hold, compiled.world))
    (failure,) = (memory for memory in compiled.origins.variables.values() if isinstance(memory, Failure))
    (item,) = {item.item for item in items for one in item.failings if item.failure(one) == failure}
    assert item is case.item
    assert not arises(case.text, case.matters)
    assert arises(case.text, case.matters, case.of, case.mode, case.contact)
    assert not arises(case.text, case.stood, case.of, case.mode, case.contact)


@pytest.mark.parametrize("case", LOST, ids=lambda case: f"{case.of}.{case.mode}")
def test_a_failure_that_takes_something_away(case: Lost) -> None:
    """From every state in which it has not struck the goal can come about, from some in which it has never again."""
    compiled, graph = compiled_with(case.text, case.of, case.mode), states_with(case.text, case.of, case.mode)
    machine, expr = compiled.machine, fact(compiled, case.goal)
    strikes = {rule.name for rule in machine.rules if rule.actor is Actor.FAILURE}
    whole: networkx.DiGraph[int] = networkx.DiGraph()
    whole.add_edges_from(
        (before, after) for before, after, data in graph.edges(data=True) if data["rule"] not in strikes
    )
    whole.add_nodes_from(graph)

    def can_reach(expr: Expr) -> set[int]:
        goals = {node for node, data in graph.nodes(data=True) if evaluate(machine, expr, data["state"])}
        return goals.union(*(networkx.ancestors(whole, node) for node in goals))

    can = can_reach(expr)
    (name,) = {name for name, memory in compiled.origins.variables.items() if isinstance(memory, Failure)}
    struck = {node for node, data in graph.nodes(data=True) if as_mapping(machine, data["state"])[name]}
    assert set(graph) - struck <= can
    assert struck - can
    assert struck <= can_reach(fact(compiled, case.stood))


def asked_about(cases: Sequence[Case]) -> tuple[RequirementText, ...]:
    """That what matters, and that what is stood, is never so; by the place of the case."""
    head = "interlock: 1\nspecification: Facts that are never so\nrequirements:\n"
    rows = (
        f"  - {{id: {name}{at}, text: never so, kind: never, condition: {fact}, hazard: invented, severity: '1', "
        "scheme: invented, source: invented}\n"
        for at, case in enumerate(cases)
        for name, fact in (("matters", case.matters), ("stood", case.stood))
    )
    loaded = load_specification(Source("asked.yaml", (head + "".join(rows)).encode()))
    assert loaded.value is not None, loaded.diagnostics
    return loaded.value


@pytest.mark.parametrize("text", [WIRED, FLOOR, AT_REST, SPRINGS, DRIVEN, DOOR])
def test_analysis_finds_exactly_the_failures_that_matter(text: str) -> None:
    """With all of them declared at once: for each fact those alone with which some state is so, and no others.

    So each is found to break a requirement where it matters, and found to break none where something stands it.
    """
    cases = [case for case in CASES if case.text == text]
    failures = dict.fromkeys((case.of, case.mode, case.contact) for case in cases)
    failures |= dict.fromkeys((case.of, case.mode, "") for case in LOST if case.text == text)
    parts = (f"of: {of}, mode: {mode}" + (f", contact: {contact}" if contact else "") for of, mode, contact in failures)
    declared = "".join(f"  - {{{part}}}\n" for part in parts)
    compiled = compile_hold(compile_text(f"{text}failures:\n{declared}").hold, asked_about(cases)).compiled
    assert compiled is not None
    analysis = analyse_failures(compiled, 1)
    assert analysis.is_complete
    found = {answer.instance.origin.id: {one.failures for one in answer.broken} for answer in some(analysis.answers)}
    told = 0
    for of, mode, contact in failures:
        (name,) = (
            name for name, one in compiled_with(text, of, mode, contact).origins.variables.items() if is_failure(one)
        )
        for at, case in enumerate(cases):
            for asked, what in ((f"matters{at}", case.matters), (f"stood{at}", case.stood)):
                assert ((name,) in found[asked]) == arises(text, what, of, mode, contact), (name, what)
                told += (name,) in found[asked]
    assert told >= len(cases)


def is_failure(memory: object) -> bool:
    """It remembers whether a failure has struck."""
    return isinstance(memory, Failure)


@pytest.mark.parametrize("mode", ["lost", "returns"])
def test_a_supply_that_has_failed_neither_goes_off_nor_comes_on(mode: str) -> None:
    """What is said to be lost is off afterwards, what is said to come on is on, whatever has struck before."""
    text = WIRED.replace("id: XP, starts: off, may_be_lost: false", "id: XP, starts: off, may_be_lost: true")
    compiled, graph = compiled_with(text, "XP", mode), states_with(text, "XP", mode)
    seen = set()
    for _, after, data in graph.edges(data=True):
        deed = compiled.origins.rules[data["rule"]].deed
        if isinstance(deed, Work) and deed.of.subject.id == "XP":
            is_on = evaluate(compiled.machine, fact(compiled, "XP is on"), graph.nodes[after]["state"])
            assert is_on == (deed.trigger.verb is Verb.RESTORE)
            seen.add(deed.trigger.verb)
    assert seen == {Verb.LOSE, Verb.RESTORE}


def test_every_failure_has_its_case() -> None:
    """No mode without a test that says what it does."""
    told = {(case.item, case.mode) for case in CASES} | {(case.item, case.mode) for case in LOST}
    told |= {(Item.COMMON_CAUSE, "happens")}  # `test_one_event_is_several_failures`
    assert told == {(item, failing.mode) for item, failings in FAILURES.items() for failing in failings}


@pytest.mark.parametrize("text", [WIRED, FLOOR, SPRINGS, DRIVEN, DOOR])
def test_what_may_strike_takes_nothing_away_before_it_does(text: str) -> None:
    """With all that can fail in it declared, a hold in which nothing has struck has the rules that it has without."""
    plain = compiled_with(text)
    hold = everything_fails(plain.hold, shipped_catalogue()).hold
    failing = compile_hold(hold).compiled
    assert failing is not None
    failures = {name: False for name, memory in failing.origins.variables.items() if isinstance(memory, Failure)}
    assert len(failures) > 5

    def rules(compiled: CompiledHold) -> set[tuple[str, Expr]]:
        definitions = compiled.machine.definitions
        found = {
            (rule.name, assign(expand(rule.guard, definitions), dict(failures)))
            for rule in compiled.machine.rules
            if rule.actor is not Actor.FAILURE
        }
        return {(name, guard) for name, guard in found if guard != FALSE}

    assert {name for name, _ in rules(plain)} <= {name for name, _ in rules(failing)}
    assert rules(plain) <= rules(failing)


@pytest.mark.parametrize(
    ("written", "code", "nearest"),
    [
        ("of: P, mode: welded, contact: SW is on", None, None),
        ("of: P, mode: welded, contact: SW is on, at: is", None, None),
        ("of: P, mode: welded, contact: SW is of", "unknown-contact", "SW is on"),
        ("of: idle, mode: welded, contact: SW is on", "unknown-contact", "not SW is on"),
        ("of: R1, mode: welded, contact: SW is on, at: drops", "unknown-contact", "SW is off"),
        ("of: R1, mode: welded, contact: SW is on, at: set", "unknown-contact", "sets"),
        ("of: Z, mode: welded, contact: LV is fore", "unknown-contact", None),
        ("of: Z, mode: welded, contact: LV is fore, at: commands.2.fore", None, None),
        ("of: P, mode: weldd, contact: SW is on", "unknown-failure", "welded"),
        ("of: P, mode: welded", "unknown-failure", None),
        ("of: sl_up, mode: welded, contact: SL is raised", "unknown-contact", None),
        ("of: P, mode: short_to_power, at: is", "missing-field", None),
    ],
)
@pytest.mark.parametrize("section", ["failures", "excluded_failures"])
def test_a_contact_is_named_as_it_is_written(section: str, written: str, code: str | None, nearest: str | None) -> None:
    """What is misspelt is told at its place, with the nearest name; a sensor is no wire and has no contacts."""
    because = ", because: x" if section == "excluded_failures" else ""
    text = WIRED + f"{section}:\n  - {{{written}{because}}}\n"
    found = [(one.code, one.nearest, one.span.line) for one in faults_of(Source("test.yaml", text.encode()))]
    assert found == ([] if code is None else [(code, nearest, text.count("\n"))])


CAUSE = """\
common_causes:
  - id: leak
    name: water over the lock switches
    failures:
      - {of: sl_up, mode: stuck_true}
      - {of: permit, mode: welded, contact: sl_both}
"""


def test_one_event_is_several_failures() -> None:
    """What stands each of two failures alone need not stand an event that is both."""
    what = "permit and SL is lowered"
    assert not arises(WIRED, what, "sl_up", "stuck_true")
    assert not arises(WIRED, what, "permit", "welded", "sl_both")
    assert arises(WIRED + CAUSE, what)
    compiled = compiled_with(WIRED + CAUSE)
    (failure,) = (memory for memory in compiled.origins.variables.values() if isinstance(memory, Failure))
    assert compiled.glossary.values[failure.name, True] == "water over the lock switches"
    known = everything_fails(compiled.hold, shipped_catalogue()).failures
    several = [known[one.name] for one in known[failure.name].several]
    assert {(one.item, one.failure.subject.id, one.failure.mode) for one in several} == {
        (Item.SENSOR, "sl_up", "stuck_true"),
        (Item.CONTACT, "permit", "welded"),
    }


@pytest.mark.parametrize("wrong", ["{of: sl_up, mode: welded}", "{of: permit, mode: welded, contact: sl_bth}"])
def test_an_event_is_made_of_failures_that_there_are(wrong: str) -> None:
    """What is misspelt in it is told."""
    text = WIRED + CAUSE + f"      - {wrong}\n"
    (fault,) = faults_of(Source("test.yaml", text.encode()))
    assert fault.code in ("unknown-failure", "unknown-contact")
    assert fault.span.line == text.count("\n")


def test_a_failure_may_come_and_go() -> None:
    """Struck for good, what is lost is lost; of one that heals it may come back, and be lost again."""
    for heals in (False, True):
        text = WIRED + f"failures:\n  - {{of: P, mode: open, heals: {str(heals).lower()}}}\n"
        compiled = compiled_with(text)
        graph = states_with(text)
        on = fact(compiled, "P")
        lit = {node for node, data in graph.nodes(data=True) if evaluate(compiled.machine, on, data["state"])}
        can = lit.union(*(networkx.ancestors(graph, node) for node in lit))
        assert (can == set(graph)) is heals
    assert set(failures_of(compiled.machine)) == {"failure.P.open"}


def test_all_that_fails_may_heal_where_that_is_asked() -> None:
    """As an option: what has struck need not have struck for good."""
    hold = compiled_with(DOOR).hold
    assert not any(one.heals for one in everything_fails(hold, shipped_catalogue()).hold.failures)
    healing = everything_fails(hold, shipped_catalogue(), heal=True)
    assert {one.heals for one in healing.hold.failures} == {True}
    compiled = compile_hold(healing.hold).compiled
    assert compiled is not None
    assert set(failures_of(compiled.machine)) == set(healing.failures)


def test_lists_name_a_contact_by_what_it_is_in() -> None:
    """Two contacts of one thing are told apart, also where assumptions list what may fail."""
    welded = "{of: Z, mode: welded, contact: LV is fore, at: commands.1.fore}"
    compiled = compiled_with(WIRED + f"failures:\n  - {welded}\n  - {{of: P, mode: open}}\n")
    assert [one.label for one in compiled.hold.failures] == ["Z.commands.1.fore.LV is fore.welded", "P.open"]
    assert any("Z.commands.1.fore.LV is fore.welded" in line for line in assumptions_of(compiled))
