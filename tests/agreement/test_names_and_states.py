"""What names and states mean, and for each that means nothing: where it stands, what is said, what was likely meant."""

from __future__ import annotations

from dataclasses import replace

import pytest

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.compile.lowering import Lowering
from interlock.hold.language.nodes import ScalarNode, Stretch
from interlock.hold.language.parser import parse_expression, parse_step
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, conj, disj, neg, one_of
from tests.agreement.test_floor_facts import hold

BAYS = ("1L", "1R", "2L", "2R", "3L", "3R")
DEVICE = "one of covered, deferred, hand_worked, locking, lowered, movable, raised, standing"


def scalar(text: str) -> ScalarNode:
    return ScalarNode(text, Span("x", 1, 1, max(1, len(text))), False, (Stretch(0, 1, 1),))


def lower(text: str) -> tuple[Expr, list[Diagnostic]]:
    syntax = parse_expression(scalar(text), Faults())
    assert syntax is not None, text
    lowering = Lowering(hold()[0].world)
    return lowering.expression(syntax), lowering.faults


def steps(text: str) -> tuple[frozenset[str], list[Diagnostic]]:
    step = parse_step(scalar(text), Faults())
    assert step is not None, text
    lowering = Lowering(hold()[0].world)
    return lowering.steps((step,)), lowering.faults


def holds(bay: str, kind: str) -> Expr:
    return Is(f"bay.{bay}.holds", kind)


LONG_2L = one_of("bay.2L.holds", ("LONG_aft", "LONG_fore"))


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("ML is raised", Is("device.ML.position", "raised")),
        ("ML is not raised", neg(Is("device.ML.position", "raised"))),
        ("not ML is raised", neg(Is("device.ML.position", "raised"))),
        ("ML is raised implies 2L is empty", disj(neg(Is("device.ML.position", "raised")), holds("2L", "empty"))),
        ("2L is empty or SWX is off", disj(holds("2L", "empty"), Is("control.SWX.position", "off"))),
        ("2L is empty and SWX is off", conj(holds("2L", "empty"), Is("control.SWX.position", "off"))),
        ("2L is LONG", LONG_2L),
        ("some u in units: 2L is u", disj(holds("2L", "HALF"), holds("2L", "WIDE_left"), LONG_2L)),
        ("every b in bays: b is empty", conj(*(holds(bay, "empty") for bay in BAYS))),
        ("no b in bays: b is empty", neg(disj(*(holds(bay, "empty") for bay in BAYS)))),
        ("some b in ZD.bays: b is empty", disj(holds("1L", "empty"), holds("1R", "empty"))),
        ("at most one b in ZD.bays: b is empty", disj(neg(holds("1L", "empty")), neg(holds("1R", "empty")))),
        ("every s in supplies: s is nonsense", TRUE),
        ("no s in supplies: s is nonsense", TRUE),
        ("at most one s in supplies: s is nonsense", TRUE),
        ("some s in supplies: s is nonsense", FALSE),
        ("true", TRUE),
        ("false or 2L is empty", holds("2L", "empty")),
    ],
)
def test_what_is_said_means(text: str, meaning: Expr) -> None:
    """Words, quantifiers over any group, and groups that nothing is in, which need no meaning for their bodies."""
    assert lower(text) == (meaning, [])


@pytest.mark.parametrize(
    ("text", "code", "at", "message", "expected", "nearest"),
    [
        ("M9 is raised", "unknown-name", (1, 2), "'M9' is not known here", None, None),
        ("M9.aft is raised", "unknown-name", (1, 2), "'M9' is not known here", None, None),
        ("ML is up", "unknown-state", (7, 2), "ML (device) is never 'up'", DEVICE, "raised"),
        ("not ML is rased", "unknown-state", (11, 5), "ML (device) is never 'rased'", DEVICE, "raised"),
        ("ML", "not-a-truth-value", (1, 2), "ML (device) is not true or false by itself", f"`is` and {DEVICE}", None),
        (
            "movable_devices is raised",
            "wrong-object-kind",
            (1, 25),
            "movable_devices is a group",
            "one object; write `every x in ...`",
            None,
        ),
        (
            "2L.sides is crossed",
            "wrong-object-kind",
            (1, 19),
            "2L.sides is a group",
            "one object; write `every x in ...`",
            None,
        ),
        (
            "2L.aftt is crossed",
            "unknown-name",
            (4, 4),
            "bay 2L (bay) has no 'aftt'",
            "one of aft, devices, fore, kinds, left, right, sides, up",
            "aft",
        ),
        (
            "2L.sides.aft is crossed",
            "wrong-object-kind",
            (10, 3),
            "a group has no parts",
            "one object before the dot",
            None,
        ),
        (
            "ZL.left is held",
            "unknown-name",
            (4, 4),
            "ZL (zone) has no 'left'",
            "one of aft, bays, fore, levers, supplies",
            None,
        ),
        (
            "every b in 2L: b is occupied",
            "wrong-object-kind",
            (12, 2),
            "bay 2L (bay) is one object",
            "a group of objects",
            None,
        ),
        (
            "every b in 2L.bayz: b is empty",
            "unknown-name",
            (15, 4),
            "bay 2L (bay) has no 'bayz'",
            "one of aft, devices, fore, kinds, left, right, sides, up",
            None,
        ),
        ("SWX is for", "unknown-state", (8, 3), "SWX (control) is never 'for'", "one of aft, fore, off", "fore"),
    ],
)
def test_what_means_nothing_is_told_where_it_stands(
    text: str, code: str, at: tuple[int, int], message: str, expected: str | None, nearest: str | None
) -> None:
    """One fault, over the words at fault, with what could stand there; false stands in."""
    column, length = at
    found, faults = lower(text)
    assert faults == [Diagnostic(code, Span("x", 1, column, length), message, expected, nearest)]
    assert found == (TRUE if text.startswith("not") else FALSE)


def test_unknown_groups_are_told_from_known_ones() -> None:
    """A group that is not there is told with all that are, in order, and the likeliest."""
    found, (fault,) = lower("every b in bay: b is occupied")
    assert found == FALSE
    assert (fault.code, fault.span, fault.message, fault.nearest) == (
        "unknown-group",
        Span("x", 1, 12, 3),
        "no group is called 'bay'",
        "bays",
    )
    groups = hold()[0].world.groups
    assert fault.expected == "one of " + ", ".join(sorted(groups)) and len(groups) > 15


def test_a_fault_in_a_body_is_told_once() -> None:
    """The body is read for every member; what is wrong with it is told of the first, each place by itself."""
    _, faults = lower("every b in 2L.sides: b is crossed and b is crost or b is crost")
    assert [(f.span.column, f.span.length, f.nearest) for f in faults] == [(44, 5, "crossed"), (58, 5, "crossed")]
    assert faults[0].message == "the fore side of bay 2L (side of a bay) is never 'crost'"


def test_what_a_modification_took_out_is_told_so() -> None:
    """A name that was there before a modification is told apart from one that never was."""
    lowering = Lowering(replace(hold()[0].world, removed={"M9": Span("changes.yaml", 7, 3)}))
    syntax = parse_expression(scalar("M9 is raised"), Faults())
    assert syntax is not None
    assert lowering.expression(syntax) == FALSE
    (fault,) = lowering.faults
    assert (fault.code, fault.span) == ("unknown-name", Span("x", 1, 1, 2))
    assert fault.message == "'M9' was taken out by a modification"
    assert fault.context == ("taken out at changes.yaml, line 7",)


@pytest.mark.parametrize(
    ("text", "rules"),
    [
        ("raise ML", {"device.ML.raise"}),
        ("raise movable_devices", {f"device.{latch}.raise" for latch in ("ML", "MR", "MX")}),
        (
            "bring_LONG D2",
            {"loader.LONG.D2-3L+D2-3L-2.bring"},
        ),
    ],
)
def test_steps_are_rules(text: str, rules: set[str]) -> None:
    """A step names the rules by which it happens; for a group those of any member."""
    assert steps(text) == (frozenset(rules), [])


def test_steps_of_motion_are_all_ways_to_make_it() -> None:
    """To enter and to leave a bay, by whatever moves the unit; to run a zone, only what its drives carry."""
    names = {rule.name for rule in hold()[1].rules if rule.name.startswith("unit.")}
    halves = {name: name.split(".") for name in names}
    for bay in BAYS:
        entering = {
            n for n, (_, _, cells, _, half, _) in halves.items() if bay in cells.split("+") and half == "arrive"
        }
        leaving = {n for n, (_, _, cells, _, half, _) in halves.items() if bay in cells.split("+") and half == "depart"}
        assert steps(f"enter {bay}") == (frozenset(entering), [])
        assert steps(f"leave {bay}") == (frozenset(leaving), [])
        for side in ("fore", "aft", "left", "right"):
            that_way = {name for name in leaving if halves[name][3] == side}
            found, faults = steps(f"leave {bay}.{side}")
            assert found == that_way and bool(faults) == (not that_way)
    run: set[str] = set()
    for zone in ("ZL", "ZR", "ZD"):
        found, _ = steps(f"run {zone}")
        assert found and all(halves[name][5] == "driven" for name in found)
        across = {halves[name][3] in ("left", "right") for name in found}
        assert across == {zone == "ZD"}
        run |= found
    assert run == {name for name in names if name.endswith(".driven")}


@pytest.mark.parametrize(
    ("text", "code", "at", "message", "expected", "nearest"),
    [
        ("raise MLL", "unknown-name", (7, 3), "'MLL' is not known here", None, "ML"),
        (
            "open ML",
            "unknown-verb",
            (1, 7),
            "nothing called 'open' happens to ML (device)",
            "one of lower, raise",
            None,
        ),
        (
            "rise ML",
            "unknown-verb",
            (1, 7),
            "nothing called 'rise' happens to ML (device)",
            "one of lower, raise",
            "raise",
        ),
        (
            "fly bays",
            "unknown-verb",
            (1, 8),
            "nothing called 'fly' happens to bay 1L (bay)",
            "one of enter, leave",
            None,
        ),
        (
            "raise GD",
            "unknown-verb",
            (1, 8),
            "nothing called 'raise' happens to GD (device)",
            "nothing: no step touches it",
            None,
        ),
    ],
)
def test_steps_that_nothing_takes_are_told(
    text: str, code: str, at: tuple[int, int], message: str, expected: str | None, nearest: str | None
) -> None:
    """A verb that nothing there knows is told with those that it does know; no rule is named."""
    assert steps(text) == (frozenset(), [Diagnostic(code, Span("x", 1, *at), message, expected, nearest)])


def test_every_step_of_several_is_looked_up() -> None:
    """Steps given together are all rules of any of them, and one that is wrong hides none behind it."""
    several = [parse_step(scalar(text), Faults()) for text in ("raise ML", "raise MLL", "lower MR", "open MX")]
    lowering = Lowering(hold()[0].world)
    found = lowering.steps(tuple(step for step in several if step is not None))
    assert found == {"device.ML.raise", "device.MR.lower"}
    assert [fault.code for fault in lowering.faults] == ["unknown-name", "unknown-verb"]
