"""The size of what has to be trusted: the kernel and the sceptic."""

from __future__ import annotations

import ast
from pathlib import Path

import interlock

ROOMS = ("kernel", "confirm")
BUDGET = {"kernel": 560, "confirm": 1060}
"""Lines of code that each room may have.  Raise one only with a reason in the commit that does."""


def code_lines(source: str) -> int:
    """Lines that hold code: neither blank, nor a comment, nor a docstring, nor the second or later line of a text."""
    prose: set[int] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            prose.update(range(node.lineno + 1, (node.end_lineno or node.lineno) + 1))
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            prose.add(node.lineno)
    lines = enumerate(source.splitlines(), start=1)
    return sum(1 for number, line in lines if number not in prose and line.strip() and not line.strip().startswith("#"))


def size_of(room: str) -> int:
    folder = Path(interlock.__file__).parent / room
    return sum(code_lines(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("*.py")))


def test_trusted_part_stays_small(record_property: object) -> None:
    """Kernel and sceptic together stay within their budget of lines, and the figures are written into the report."""
    sizes = {room: size_of(room) for room in ROOMS}
    for room, size in sizes.items():
        assert callable(record_property)
        record_property(f"trusted lines in {room}", size)
    assert {room: size for room, size in sizes.items() if size > BUDGET[room]} == {}
    assert all(size > 100 for size in sizes.values()), "the rooms were not found"


def test_budget_is_not_slack() -> None:
    """No budget is more than an eighth above what is there, so that growth is noticed."""
    assert {room: size_of(room) for room in ROOMS if BUDGET[room] > size_of(room) * 9 // 8} == {}


def test_lines_are_counted_as_said() -> None:
    """Prose and blank lines do not count; the first line of a text that is used does."""
    source = '"""Prose.\n\nMore."""\n\nx = """a\nb"""\n# no\n\n\ndef f():\n    """No."""\n    return x  # counts\n'
    assert code_lines(source) == 3
