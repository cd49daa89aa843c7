"""The size of what has to be trusted: the kernel and the sceptic."""

from __future__ import annotations

import ast
from pathlib import Path

import interlock

PARTS = {
    "what a machine means": ("kernel", "claims enabling evaluator expressions machine recovery shapes"),
    "two machines side by side": ("kernel", "together"),
    "limitations as choices": ("kernel", "limiting"),
    "options as choices": ("kernel", "merged"),
    "proofs and runs": ("confirm", "confirm recheck replay smtlib"),
    "sets of states": ("confirm", "closed"),
    "ways back": ("confirm", "recovery"),
    "what would make possible": ("confirm", "enabling"),
    "counts": ("confirm", "enumeration numbering"),
    "what slips lead to": ("confirm", "consequences screening"),
    "evidence as files": ("confirm", "evidence"),
    "what sets of failures are": ("kernel", "failures"),
    "sets of failures": ("confirm", "failures"),
    "why there is no answer": ("kernel", "why"),
    "work in a second process": ("kernel", "beside"),
}
"""The trusted parts: room, and modules of it.  A verdict of *holds* or *fails* rests on the first two alone."""
BUDGET = {
    "what a machine means": 753,
    "two machines side by side": 225,
    "limitations as choices": 42,
    "options as choices": 122,
    "proofs and runs": 570,
    "sets of states": 105,
    "ways back": 206,
    "what would make possible": 95,
    "counts": 183,
    "what slips lead to": 200,
    "evidence as files": 166,
    "what sets of failures are": 140,
    "sets of failures": 212,
    "why there is no answer": 21,
    "work in a second process": 95,
}
"""Lines of code that each part may have.  Raise one only with a reason in the commit that does."""


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


def modules_of(part: str) -> list[Path]:
    room, names = PARTS[part]
    folder = Path(interlock.__file__).parent / room
    return sorted(path for name in names.split() for path in folder.glob(f"{name}.py"))


def size_of(part: str) -> int:
    return sum(code_lines(path.read_text(encoding="utf-8")) for path in modules_of(part))


def test_trusted_parts_stay_small(record_property: object) -> None:
    """Each trusted part stays within its budget of lines, and the figures are written into the report."""
    sizes = {part: size_of(part) for part in PARTS}
    for part, size in sizes.items():
        assert callable(record_property)
        record_property(f"trusted lines, {part}", size)
    assert {part: size for part, size in sizes.items() if size > BUDGET[part]} == {}


def test_every_trusted_module_belongs_to_a_part() -> None:
    """No module of the kernel or of the sceptic is left out of the count, or counted twice."""
    counted = [path for part in PARTS for path in modules_of(part)]
    rooms = sorted({room for room, _names in PARTS.values()})
    there = [path for room in rooms for path in (Path(interlock.__file__).parent / room).rglob("*.py")]
    assert sorted(counted) == sorted(path for path in there if path.name != "__init__.py" or path in counted)


def test_budget_is_not_slack() -> None:
    """No budget is more than an eighth above what is there, so that growth is noticed."""
    assert {part: size_of(part) for part in PARTS if BUDGET[part] > size_of(part) * 9 // 8} == {}


def test_lines_are_counted_as_said() -> None:
    """Prose and blank lines do not count; the first line of a text that is used does."""
    source = '"""Prose.\n\nMore."""\n\nx = """a\nb"""\n# no\n\n\ndef f():\n    """No."""\n    return x  # counts\n'
    assert code_lines(source) == 3
