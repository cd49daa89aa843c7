"""Plans and DOT texts against the files beside this one; `python tests/golden/test_drawings.py` writes them anew.

Look at what was written before it is committed: a golden file only says that a drawing has not changed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache, partial
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import pytest

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.floor import Placement
from interlock.hold.kinds import BY_ITSELF, DEVICE_KINDS, changes_of
from interlock.hold.language.model import BayRule, Hold
from interlock.hold.loader import Source, load_hold
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Value
from interlock.report.drawing.grid import Grid
from interlock.report.drawing.lifecycle import kinds_drawn, lifecycle_dot, lifecycle_mermaid
from interlock.report.drawing.movegraph import moves_dot
from interlock.report.drawing.plan import plan_svg
from interlock.report.drawing.shapes import text_width

FOLDER = Path(__file__).parent / "drawings"
MODELS = Path(__file__).parents[2] / "models"
SVG = "{http://www.w3.org/2000/svg}"


def described(path: Path) -> Hold:
    loaded = load_hold(Source(path.name, path.read_bytes()), lambda name: None)
    assert loaded.value is not None, loaded.diagnostics
    return loaded.value


def compiled_of(hold: Hold) -> CompiledHold:
    compilation = compile_hold(hold)
    assert compilation.compiled is not None, compilation.diagnostics
    return compilation.compiled


@cache
def broad() -> CompiledHold:
    """Three lanes and ten rows with every kind of device; two bays do not exist, one latch is held down for good."""
    hold = described(FOLDER / "broad.yaml")
    gone = BayRule(bays=("10L", "10R"), kinds=(), span=hold.span)
    devices = tuple(replace(d, fixed="lowered") if d.id == "M2L" else d for d in hold.devices)
    return compiled_of(replace(hold, layout=replace(hold.layout, rules=(gone,)), devices=devices))


@cache
def narrow() -> CompiledHold:
    return compiled_of(described(FOLDER / "narrow.yaml"))


@cache
def tapering() -> CompiledHold:
    """Two lanes that merge into one bay in the middle."""
    return compiled_of(described(FOLDER.parents[1] / "teeth" / "described" / "tapering-hold.yaml"))


def merging(compiled: CompiledHold) -> State:
    """A container half-way from the left lane to the middle, one in the right lane, the aft door open."""
    return state_of(compiled, face__2L__aft__crossing="BOX", bay__1R__holds="BOX", door__D2__position="open")


def state_of(compiled: CompiledHold, **values: Value) -> State:
    """The first start state with some variables changed; `__` stands for a dot, `_to_` for a hyphen."""
    state = [variable.init[0] for variable in compiled.machine.variables]
    for name, value in values.items():
        state[compiled.machine.positions[name.replace("__", ".").replace("_to_", "-")]] = value
    return tuple(state)


def busy(compiled: CompiledHold) -> State:
    """Two units half-way, one over the sill, and three at rest; a failure; a person inside."""
    return state_of(
        compiled,
        door__MD__position="open", door__MD__latch="unlatched", door__MD__lock="unlocked",
        bay__1C__holds="CON", bay__8C__holds="PAL2_left", bay__8R__holds="PAL2_right",
        bay__6L__holds="LONG_fore", bay__7L__holds="LONG_aft",
        face__3R__right__crossing="LONG_fore", face__4R__right__crossing="LONG_aft",
        face__4C__aft__crossing="CON",
        device__M1C__position="raised", device__M7C__position="raised", failure__M7C__stuck=True,
        person__LM__at="in_6R", supply__GP__state="on", control__LY__position="left", control__PS__position="guides",
    )  # fmt: skip


def half_shut(compiled: CompiledHold) -> State:
    """A container half-way between bays, a door moving, a spring latch kept down by hand."""
    return state_of(
        compiled,
        face__2C__aft__crossing="BOX", bay__1C__holds="BOX", door__FD__position="moving",
        device__sill_latch__position="kept_down",
    )  # fmt: skip


DRAWN: dict[str, Callable[[], str]] = {
    "tapering.svg": lambda: plan_svg(tapering()),
    "tapering-merging.svg": lambda: plan_svg(taper := tapering(), merging(taper), "Into the middle"),
    "tapering-moves.dot": lambda: moves_dot(tapering()),
    "broad.svg": lambda: plan_svg(broad()),
    "broad-busy.svg": lambda: plan_svg(wide := broad(), busy(wide), "A busy moment"),
    "narrow-half-shut.svg": lambda: plan_svg(slim := narrow(), half_shut(slim)),
    "broad-moves.dot": lambda: moves_dot(broad()),
    "narrow-moves.dot": lambda: moves_dot(narrow()),
}


@pytest.mark.parametrize("name", DRAWN)
def test_drawing_is_the_golden_one(name: str) -> None:
    """A drawing of the example holds is the same bytes as the one that was looked at."""
    assert DRAWN[name]().encode() == (FOLDER / name).read_bytes()


def groups(svg: str, klass: str) -> list[ElementTree.Element]:
    root = ElementTree.fromstring(svg)  # noqa: S314 -- our own text
    return [g for g in root.iter(f"{SVG}g") if klass in g.get("class", "").split()]


def marks_of(compiled: CompiledHold) -> list[list[tuple[str, dict[str, str]]]]:
    """What is drawn of each device, its title left aside."""
    groups = ElementTree.fromstring(plan_svg(compiled)).iter(f"{SVG}g")  # noqa: S314 -- our own text
    drawn = (group for group in groups if group.get("class") == "device")
    return [[(one.tag, one.attrib) for one in group if one.tag != f"{SVG}title"] for group in drawn]


def test_a_mark_goes_by_what_a_kind_is_and_not_by_what_it_is_called(monkeypatch: pytest.MonkeyPatch) -> None:
    """Called something else, a detent latch say, each kind of device keeps its mark."""
    usual = broad()
    called = {id: f"detent {number}" for number, id in enumerate(DEVICE_KINDS)}
    for id, other in called.items():
        kind = DEVICE_KINDS[id]
        monkeypatch.setitem(DEVICE_KINDS, other, replace(kind, id=other))
    hold = replace(usual.hold, devices=tuple(replace(d, kind=called[d.kind]) for d in usual.hold.devices))
    assert not {device.kind for device in hold.devices} & set(called)
    assert marks_of(compiled_of(hold)) == marks_of(usual)
    assert len({str(mark[:2]) for mark in marks_of(usual)}) > 4


def test_every_device_is_drawn_once_on_each_of_its_faces() -> None:
    """No device is missing from the plan, and one that stands on two faces is drawn on both."""
    hold = described(FOLDER / "narrow.yaml")
    first, second = hold.devices[0], hold.devices[1]
    both = replace(first, on=first.on + second.on)
    drawn = groups(plan_svg(compiled_of(replace(hold, devices=(both, *hold.devices[1:])))), "device")
    assert sorted(g.get("data-id", "") for g in drawn) == sorted([first.id, *(d.id for d in hold.devices)])


def test_raised_and_lowered_differ_in_more_than_colour() -> None:
    """A latch that is down has a broken outline, one that stands has not."""
    compiled = broad()
    shown = {g.get("data-id"): g for g in groups(plan_svg(compiled, busy(compiled)), "device")}
    dashes = {id: g.find(f"{SVG}rect") for id, g in shown.items()}
    assert shown["M1C"].get("data-state") == "raised"
    assert dashes["M1C"] is not None and dashes["M1C"].get("stroke-dasharray") is None
    assert shown["M3L"].get("data-state") == "lowered"
    assert dashes["M3L"] is not None and dashes["M3L"].get("stroke-dasharray") is not None


def test_devices_under_a_unit_are_shown_as_held_down() -> None:
    """A state that a device has without memory is worked out: sill locks lie under the pallet that crosses the sill."""
    compiled = broad()
    states = {g.get("data-id"): g.get("data-state") for g in groups(plan_svg(compiled, busy(compiled)), "device")}
    assert [states[id] for id in ("SK1", "SK2", "SK3")] == ["lowered"] * 3
    assert states["SP1"] == "held_down"
    assert states["NL1"] == "raised"


def test_one_unit_across_two_lanes_is_one_box() -> None:
    """Units that lie in several bays or cross several faces are drawn once each."""
    compiled = broad()
    drawn = [(g.get("data-id"), g.get("class")) for g in groups(plan_svg(compiled, busy(compiled)), "unit")]
    assert sorted(drawn) == [
        ("CON", "unit"),
        ("CON", "unit moving"),
        ("LONG", "unit"),
        ("LONG", "unit moving"),
        ("PAL2", "unit"),
    ]


def test_right_hand_side_is_at_the_top_and_forward_to_the_left() -> None:
    """The plan is not mirrored: seen from above with the nose to the left, the right-hand lane is the upper one."""
    grid = Grid(broad(), 60)
    assert grid.cell("1R").bottom < grid.cell("1C").top < grid.cell("1L").top
    assert grid.cell("1L").right < grid.cell("2L").left


def test_names_of_any_kind_survive() -> None:
    """Text with the signs of the markup reads back as it was written."""
    title = "Hold <\"A\" & 'B'> — größer"
    root = ElementTree.fromstring(plan_svg(narrow(), None, title))  # noqa: S314 -- our own text
    assert root.findtext(f"{SVG}title") == title
    assert title in str(root.get("aria-label"))
    assert root.get("role") == "img"


def test_drawing_has_nothing_that_clashes_in_a_page_or_is_fetched() -> None:
    """Several drawings can stand in one page: no ids, no style sheet, no script, no address but the namespace."""
    compiled = broad()
    svg = plan_svg(compiled, busy(compiled))
    assert not re.search(r'\sid="|<style|<script|href|url\(', svg)
    assert svg.count("http") == 1


def moments(compiled: CompiledHold) -> Iterator[State]:
    """Every place at rest and every half-way position once, reachable or not, in as few states as will do."""
    start = dict(zip((v.name for v in compiled.machine.variables), state_of(compiled), strict=True))

    def spread(wanted: list[dict[str, Value]], blocks: list[frozenset[str]]) -> Iterator[State]:
        while wanted:
            values, left, left_blocks = dict(start), [], []
            used: set[str] = set()
            for entry, block in zip(wanted, blocks, strict=True):
                if block & used:
                    left.append(entry)
                    left_blocks.append(block)
                else:
                    values.update(entry)
                    used |= block
            yield tuple(values.values())
            wanted, blocks = left, left_blocks

    def held(placement: Placement) -> dict[str, Value]:
        return {f"bay.{c}.holds": p for c, p in zip(placement.cells, placement.parts, strict=True)}

    places = compiled.floor.placements
    yield from spread([held(p) for p in places], [frozenset(p.cells) for p in places])
    moves = list({move.passage: move for move in compiled.floor.moves}.values())
    crossings: list[dict[str, Value]] = [{f"face.{f}.crossing": part for f, part in move.crossed} for move in moves]
    yield from spread(crossings, [frozenset(move.cells) for move in moves])


def text_boxes(svg: str) -> Iterator[tuple[str, float, float, float, float]]:
    """Each text with the box that it takes at most, left, top, right, bottom."""
    root = ElementTree.fromstring(svg)  # noqa: S314 -- our own text
    for node in root.iter(f"{SVG}text"):
        text, size = node.text or "", float(node.get("font-size", "0"))
        x, y = float(node.get("x", "0")), float(node.get("y", "0"))
        width = text_width(text, size, node.get("font-weight") == "bold")
        before = width / 2 if node.get("text-anchor") == "middle" else 0.0
        if node.get("transform"):
            yield text, x - 0.75 * size, y - (width - before), x + 0.2 * size, y + before
        else:
            yield text, x - before, y - 0.75 * size, x - before + width, y + 0.2 * size


HOLDS: dict[str, Callable[[], CompiledHold]] = {
    "broad": broad,
    "narrow": narrow,
    **{path.stem: partial(lambda path: compiled_of(described(path)), path) for path in sorted(MODELS.glob("*.yaml"))},
}


@pytest.mark.parametrize("name", HOLDS)
def test_no_text_lies_on_another_and_none_is_cut_off(name: str) -> None:
    """Whatever stands or moves wherever, texts keep clear of each other and inside the picture."""
    compiled = HOLDS[name]()
    for state in (None, *moments(compiled)):
        svg = plan_svg(compiled, state)
        view = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
        assert view is not None
        # text of the loader under a unit that covers it is not seen
        boxes = [box for box in text_boxes(svg) if not box[0].startswith("loader at")]
        for text, left, top, right, bottom in boxes:
            assert left >= 0 and top >= 0 and right <= float(view[1]) and bottom <= float(view[2]), text
        for one, other in combinations(boxes, 2):
            apart = one[3] <= other[1] or other[3] <= one[1] or one[4] <= other[2] or other[4] <= one[2]
            assert apart, (one[0], other[0])


@pytest.mark.parametrize("name", kinds_drawn())
def test_lifecycle_tells_every_state_and_every_trigger(name: str) -> None:
    """A diagram has a node for each state and an arrow for each transition, broken where nobody acts."""
    kind = kinds_drawn()[name]
    source = lifecycle_dot(kind)
    arrows = [line for line in source.splitlines() if '" -> "' in line]
    assert all(f'"state {state}" [' in source or f"state {state}" in source for state in kind.states)
    assert len(arrows) == len(changes_of(kind))
    dashed = sum("style=dashed" in line for line in arrows)
    assert dashed == sum(change.trigger == BY_ITSELF for change in changes_of(kind))
    assert source.count("penwidth") == len(kind.standing)


def test_lifecycle_says_conditions_in_words() -> None:
    """Conditions are told as sentences, not by their names in the declaration."""
    source = lifecycle_dot(DEVICE_KINDS["handle-worked lock"])
    assert "handle_pulled" not in source
    assert "if its handle is not stowed" in source


def test_mermaid_text_has_every_transition() -> None:
    """The text for Markdown pages has the same arrows."""
    kind = DEVICE_KINDS["spring latch"]
    text = lifecycle_mermaid(kind)
    assert text.count(" --> ") == len(changes_of(kind)) + 1
    assert "raised --> held_down: by_itself [covered]" in text


def test_moves_diagram_has_every_place_and_every_way() -> None:
    """Each placement is a node, each pair of places that units go between is one line, two-headed where they return."""
    compiled = narrow()
    source = moves_dot(compiled)
    pairs = {frozenset((m.source.id, m.target.id)) for m in compiled.floor.moves}
    assert all(f'"{p.id}" [' in source or f"{p.id} [" in source for p in compiled.floor.placements)
    assert source.count(" -> ") - source.count("style=invis") == len(pairs)
    assert source.count("dir=both") == len(pairs)


def test_moves_diagram_has_right_at_the_top() -> None:
    """Within a row, lines that keep the order go from the left neighbour to the right: that draws right above."""
    pattern = re.compile(r'"?([\w.+ -]+?)"? -> "?([\w.+ -]+?)"? \[(.*)\]')
    for compiled in (narrow(), broad()):
        order = {p.id.replace(":", " "): compiled.floor.cells[p.cells[0]] for p in compiled.floor.placements}
        seen = 0
        for tail, head, looks in pattern.findall(moves_dot(compiled)):
            if order[tail].row == order[head].row and "constraint=false" not in looks:
                assert order[tail].lane < order[head].lane
                seen += 1
        assert seen


def write() -> None:
    for name, drawn in DRAWN.items():
        (FOLDER / name).write_bytes(drawn().encode())


if __name__ == "__main__":
    write()
