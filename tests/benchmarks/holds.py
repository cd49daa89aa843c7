"""Real descriptions that grow: the text of the twin-lane demonstration with another number of rows, read and compiled.

Nothing is simplified: doors, latches, guides, levers, sensors, relays, circuits and pallets across both lanes are all
there, and the standing requirements are asked.
"""

from __future__ import annotations

import re
from pathlib import Path

from interlock.hold.compile.compiler import compile_hold
from interlock.hold.loader import Source, load_hold, load_specification
from interlock.kernel.machine import Machine, with_monitors

ROOT = Path(__file__).parents[2]
ROWS = 6
"""Of the demonstration."""


def hold_text(rows: int) -> str:
    """The description of the hold with so many rows (3 to 200) of two bays."""
    text = (ROOT / "models" / "twin-lane.yaml").read_text(encoding="utf-8")
    all_rows = " and ".join(f"row{row}_secured" for row in range(1, ROWS + 1))
    assert all_rows in text
    text = text.replace(all_rows, " and ".join(f"row{row}_secured" for row in range(1, rows + 1)))
    # last row and last but one, by signs that stand in no description, so that no number is replaced twice
    for pattern, after in (
        (r"rows: 6\b", "rows: <last>"),
        (r"\.\.6(?=[LR]?\b)", "..<last>"),
        (r"\.\.5\b", "..<before>"),
        (r"(\bon: \")6(?=\{l\})", r"\g<1><last>"),
        (r"\b(id: row|name: row )6(?=_secured| secured)", r"\g<1><last>"),
        (r"\b(at|CG|up_CG|over_CG|bay: )6(?=[LR]?\b)", r"\g<1><last>"),
        (r"\b(up_M|over_M)5(?=[LR]\b)", r"\g<1><before>"),
    ):
        text, times = re.subn(pattern, after, text)
        assert times, pattern
    text = text.replace("<last>", str(rows)).replace("<before>", str(rows - 1))
    return text


def hold_machine(rows: int) -> Machine:
    """The machine of that hold with the standing requirements and the memories they need."""
    loaded = load_hold(Source(f"twin-lane-{rows}.yaml", hold_text(rows).encode()), lambda _name: None)
    assert loaded.value is not None, loaded.diagnostics
    texts = load_specification(Source("standing.yaml", (ROOT / "specs" / "standing.yaml").read_bytes()))
    assert texts.value is not None, texts.diagnostics
    compilation = compile_hold(loaded.value, texts.value)
    assert compilation.compiled is not None, compilation.diagnostics
    return with_monitors(compilation.compiled.machine)
