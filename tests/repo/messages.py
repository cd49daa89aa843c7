"""Every message of the sheets that can be told in other languages, as the program's own text has them."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from jinja2 import nodes

from interlock.diagnostics.said import is_translatable, places_of
from interlock.hold.kinds import DEVICE_KINDS, ENERGISED, RELEASED, Kind
from interlock.hold.language.model import Direction, Harm
from interlock.hold.loader import Part, Source, load_specification
from interlock.report.drawing.lifecycle import kinds_drawn
from interlock.report.html.teaching import script_messages
from interlock.report.languages import html_environment
from interlock.report.views.harm import LABELS
from interlock.report.views.slips import EFFECT_HEADS
from interlock.report.views.wording import ACTORS
from interlock.study.procedure.audit import Verdict
from interlock.study.procedure.slip_audit import Effect
from interlock.study.procedure.slips import SlipKind
from interlock.study.verify import Status

ROOT = Path(__file__).parents[2]
MAKERS = {"say": 1, "say_both": 2, "say_many": 2, "Said": 1}
"""How many of its first arguments are messages."""
NOT_SHOWN = ("interlock/diagnostics/said.py",)


def messages() -> dict[str, str]:
    """Each English message with that for many of something, empty where the number does not matter."""
    found: dict[str, str] = {}
    for path in sorted((ROOT / "interlock").rglob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        text = path.read_text(encoding="utf-8")
        if ("diagnostics.said import" in text or name == "interlock/hold/kinds.py") and name not in NOT_SHOWN:
            found.update(_in_module(ast.parse(text)))
    for path in sorted((ROOT / "interlock" / "report" / "html").glob("*.j2")):
        found.update({one: "" for one in _in_template(path.read_text(encoding="utf-8"))})
    found.update({one: "" for one in (*script_messages(), *_words())})
    standing = ROOT / "specs" / "standing.yaml"
    texts = load_specification(Source("standing.yaml", standing.read_bytes())).value
    assert texts
    for one in texts:
        found[one.text] = ""
        found[one.hazard] = ""
    return {one: many for one, many in found.items() if is_translatable(one)}


def _in_module(tree: ast.Module) -> Iterator[tuple[str, str]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in MAKERS:
            texts = [[*_literals(arg)] for arg in node.args[: MAKERS[node.func.id]]]
            if node.func.id == "say_many" and len(texts) == 2 and texts[0]:
                yield texts[0][0], texts[1][0]
            else:
                yield from ((text, "") for those in texts for text in those)
        # what is chosen before it is said: a message with places is nothing else
        elif isinstance(node, ast.Assign | ast.Dict | ast.IfExp | ast.Tuple):
            yield from ((text, "") for text in _literals(node) if _has_places(text))
    # orders of a kind, one of a choice of them, and what is said where a hand lets go again at once
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Trigger":
            orders = [node.args[1], *(given.value for given in node.keywords if given.arg == "briefly")]
            yield from ((text, "") for order in orders for text in _literals(order))


def _in_template(text: str) -> Iterator[str]:
    """What a template says."""
    for call in html_environment().parse(text).find_all(nodes.Call):
        if isinstance(call.node, nodes.Name) and call.node.name == "say" and isinstance(call.args[0], nodes.Const):
            yield str(call.args[0].value)


def _literals(node: ast.AST) -> Iterator[str]:
    match node:
        case ast.Constant(value=str(text)):
            yield text
        case ast.IfExp(body=body, orelse=orelse):
            yield from _literals(body)
            yield from _literals(orelse)
        case ast.Assign(value=value):
            yield from _literals(value)
        case ast.Dict(values=values) | ast.Tuple(elts=values):
            for value in values:
                yield from _literals(value)


def _has_places(text: str) -> bool:
    try:
        return bool(places_of(text))
    except ValueError:
        return False


def _words() -> Iterator[str]:
    """Words that are no literal where they are said: states, directions, sorts of file."""
    kinds: dict[str, Kind] = dict(kinds_drawn())
    for kind in kinds.values():
        yield from (state.replace("_", " ") for state in kind.states if state not in kind.says)
    yield from (RELEASED, ENERGISED, "on", "off", "locked", "unlocked", "latched", "unlatched")
    yield from Direction
    yield from Part
    yield from (one.value for one in Verdict)
    yield from LABELS
    yield from (kind.word for kind in SlipKind)
    yield from (text for kind in DEVICE_KINDS.values() for text in (kind.id, kind.purpose) if text)
    yield from (*Effect, *Status, *Harm)
    yield from ACTORS.values()
    yield "unknown"
    yield from EFFECT_HEADS.values()
    yield from (f"being {way}" for way in ("driven open", "driven closed"))
    yield from (f"{word} of {{door}}" for word in ("latching", "unlatching", "locking", "unlocking"))
