"""The pictures in `diagrams/` are those that the program draws today."""

from __future__ import annotations

import shutil
from importlib.util import find_spec
from pathlib import Path

import pytest

from interlock.cli import rendering
from interlock.cli.diagrams import INDEX, main, texts
from interlock.hold.kinds import CONTROL_KINDS, DEVICE_KINDS, changes_of
from interlock.report.drawing.lifecycle import file_name, kinds_drawn
from tests.some import some

DIAGRAMS = Path(__file__).parents[2] / "diagrams"
REDRAW = "out of date: run `python -m interlock.cli.diagrams` and look at the pictures"


def test_plans_and_dot_texts_are_fresh() -> None:
    """Every generated text is in the folder, byte for byte."""
    for name, text in some(texts().items()):
        assert (DIAGRAMS / name).read_bytes() == text.encode(), f"{name} is {REDRAW}"


def test_folder_holds_nothing_else() -> None:
    """No picture of a hold or kind that no longer exists is left over."""
    wanted = set(texts())
    wanted |= {Path(name).with_suffix(".svg").name for name in wanted if name.endswith(".dot")}
    assert {entry.name for entry in DIAGRAMS.iterdir()} == wanted


def test_every_kind_has_a_diagram() -> None:
    """Devices, controls, doors with latch and lock, supplies and relays are all drawn."""
    named = set(kinds_drawn())
    assert {file_name(kind) for kind in (*DEVICE_KINDS, *CONTROL_KINDS, "supply", "relay")} <= named
    assert {"door-moved-by-hand", "door-moved-by-power", "door-latch-hand-hand", "door-lock-hand-hand"} <= named


@pytest.mark.parametrize("name", kinds_drawn())
def test_committed_picture_names_every_state(name: str) -> None:
    """The picture for readers shows each state of the declaration and as many arrows as there are transitions."""
    kind = kinds_drawn()[name]
    svg = (DIAGRAMS / f"lifecycle-{name}.svg").read_text(encoding="utf-8")
    for state in kind.states:
        assert f">{state.replace('_', ' ')}</text>" in svg
    assert svg.count('class="edge"') == len(changes_of(kind)) + 1


def test_index_shows_every_picture() -> None:
    """The page of the folder has each picture, and each that it shows exists."""
    index = (DIAGRAMS / INDEX).read_text(encoding="utf-8")
    for picture in some(sorted(DIAGRAMS.glob("*.svg"))):
        assert f"]({picture.name})" in index


def test_generator_writes_the_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The command writes all texts; where nothing can draw, it stops with one line that says what to install."""
    monkeypatch.setattr(rendering, "RENDERERS", {})
    assert rendering.render_dot("digraph { a }") is None
    assert main([str(tmp_path)]) == 1
    assert not list(tmp_path.glob("lifecycle-*.svg"))
    assert {entry.name for entry in tmp_path.iterdir()} == set(texts())


INSTALLED = {"dot": shutil.which("dot") is not None, "pygraphviz": find_spec("pygraphviz") is not None}
"""What can draw here; what cannot gives nothing, and the next is tried."""


@pytest.mark.parametrize("name", rendering.RENDERERS)
def test_renderer_draws(name: str) -> None:
    """Each way of drawing that this machine has gives an SVG with the words of the source; the others give nothing."""
    drawn = rendering.RENDERERS[name]('digraph { a [label="raised"] }')
    if INSTALLED[name]:
        assert drawn is not None and drawn.lstrip().startswith(b"<?xml") and b"raised" in drawn
    else:
        assert drawn is None


@pytest.mark.parametrize("name", rendering.RENDERERS)
def test_renderer_gives_up_on_nonsense(name: str) -> None:
    """A text that is not DOT is not drawn, and nothing is raised."""
    assert rendering.RENDERERS[name]("digraph {") is None


def test_the_next_is_tried_where_one_cannot(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without the command on the path the library draws, where it is there and brings its own."""
    monkeypatch.setenv("PATH", str(tmp_path))
    assert rendering.RENDERERS["dot"]("digraph { a }") is None
    monkeypatch.setattr(rendering, "RENDERERS", {"dot": rendering.RENDERERS["dot"], "other": lambda source: b"<svg/>"})
    assert rendering.render_dot("digraph { a }") == b"<svg/>"
