"""Changes the program in one place at a time, to see whether a test notices: `python -m tests.benchmarks.mutants -h`.

One change is one operator, constant, condition or statement of one module, drawn by a seed; comments, docstrings,
messages, annotations, decorators and `strict=True` are left alone.  The changed tree is a copy, made at the start; its
tests are the files named for the room (few and quick, those meant for it), ended at the first failure or at a limit of
time.  A change that is not caught is printed with its line: somebody has to judge whether it can be seen at all.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import signal
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import import_module
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from typing import TypeAlias

import pytest

ROOT = Path(__file__).parents[2]

LIBRARIES = "cvc5 jinja2 msgspec networkx numpy pysat.solvers rich transitions yaml z3"
"""What takes long to load."""

COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
REPLACED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.Mult: ast.Add,
    ast.LShift: ast.RShift, ast.RShift: ast.LShift,
}  # fmt: skip
CALLED = {"any": "all", "all": "any", "min": "max", "max": "min", "conj": "disj", "disj": "conj"}

TESTS = {
    "kernel": (
        "agreement/test_kernel_expressions.py agreement/test_kernel_machines.py agreement/test_limiting.py "
        "agreement/test_together.py agreement/test_failure_sets.py"
    ),
    "confirm": (
        "agreement/test_confirm_corners.py agreement/test_confirm_findings.py agreement/test_confirm_forged.py "
        "agreement/test_confirm_certificates.py agreement/test_confirm_closed.py agreement/test_confirm_traces.py "
        "agreement/test_failure_sets.py agreement/test_confirm_consequences.py agreement/test_confirm_evidence.py"
    ),
    "hold": (
        "golden/test_malformed.py golden/test_reading.py agreement/test_hold_corners.py agreement/test_hold_counts.py "
        "agreement/test_hold_starts_and_failures.py teeth/test_hands.py agreement/test_floor_facts.py "
        "agreement/test_verbs.py agreement/test_settling.py agreement/test_names_and_states.py "
        "agreement/test_lever_readings.py agreement/test_nothing_dropped.py agreement/test_hold_restraint.py "
        "golden/test_opening_procedures.py golden/test_drawings.py teeth/test_standing_set.py"
    ),
    "prove": (
        "agreement/test_engines_contract.py agreement/test_engines_agree.py agreement/test_recovery.py "
        "agreement/test_vectorised.py agreement/test_cone.py agreement/test_engines_mutants.py "
        "published/test_engines.py agreement/test_recovery_sidings.py"
    ),
    "study": (
        "golden/test_slips.py teeth/test_holders.py teeth/test_procedures.py golden/test_audit_reports.py "
        "agreement/test_procedures_agree.py quality/test_interrupted.py published/test_orders.py "
        "repo/test_checklist_command.py quality/test_checklists.py"
    ),
}
"""The room and the test files that speak of it, those first that are quickest to notice."""


_Placed: TypeAlias = ast.expr | ast.stmt


@dataclass(frozen=True, slots=True)
class Change:
    """One place of one module: its number among `places`, its line and column, and what is changed there."""

    module: Path
    at: int
    line: int
    column: int
    what: str


def places(tree: ast.Module) -> Iterator[tuple[_Placed, str, Callable[[], None]]]:
    """Every single change of the tree: where, what it is, and what makes it (once, in place)."""
    prose = {
        id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    unseen = {id(part) for node in ast.walk(tree) for apart in _unseen(node) for part in ast.walk(apart)}
    for node in ast.walk(tree):
        if id(node) in unseen:
            continue
        match node:
            case ast.Compare(ops=ops):
                for at, op in enumerate(ops):
                    if type(op) in COMPARED:
                        other = COMPARED[type(op)]
                        yield node, f"{type(op).__name__} -> {other.__name__}", _put(ops, at, other())
            case ast.BinOp(op=operator) if type(operator) in REPLACED:
                become = REPLACED[type(operator)]
                yield node, f"{type(operator).__name__} -> {become.__name__}", _set(node, "op", become())
            case ast.BoolOp(op=joined, values=values):
                swapped = ast.Or() if isinstance(joined, ast.And) else ast.And()
                yield node, f"{type(joined).__name__} swapped", _set(node, "op", swapped)
                for at in range(len(values)):
                    left = values[:at] + values[at + 1 :]
                    yield values[at], f"operand {at} dropped", _set(node, "values", left)
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                yield node, "not dropped", _set(node, "operand", ast.UnaryOp(ast.Not(), operand))
            case ast.Constant(value=bool(value)):
                yield node, f"{value} -> {not value}", _set(node, "value", not value)
            case ast.Constant(value=int(number)) if id(node) not in prose:
                yield node, f"{number} -> {number + 1}", _set(node, "value", number + 1)
            case ast.If(test=test) | ast.While(test=test) | ast.IfExp(test=test):
                yield node, "condition negated", _set(node, "test", ast.UnaryOp(ast.Not(), test))
            case ast.comprehension(ifs=[_, *_]):
                yield node.ifs[0], "filter dropped", _set(node, "ifs", [])
            case ast.Call(func=ast.Name(id=name)) if name in CALLED:
                yield node, f"{name} -> {CALLED[name]}", _set(node.func, "id", CALLED[name])
            case ast.Call(args=[_, _, *_]) if isinstance(node.func, ast.Name) and node.func.id in ("conj", "disj"):
                yield node, f"last part of {node.func.id} dropped", _set(node, "args", node.args[:-1])
        for name in ("body", "orelse"):
            block = getattr(node, name, None)
            if isinstance(block, list):
                for at, one in enumerate(block):
                    if isinstance(one, ast.Expr) and isinstance(one.value, ast.Call | ast.YieldFrom | ast.Yield):
                        yield one, "statement dropped", _put(block, at, ast.Pass())
                    if isinstance(one, ast.AugAssign | ast.Continue | ast.Break):
                        yield one, f"{type(one).__name__} dropped", _put(block, at, ast.Pass())


def _unseen(node: ast.AST) -> Iterator[ast.AST]:
    """What of the node is for a checker of types or against mistakes: no run that is right shows it."""
    match node:
        case ast.FunctionDef(decorator_list=decorators, returns=returns):
            yield from (*decorators, *([returns] if returns else []))
        case ast.ClassDef(decorator_list=decorators):
            yield from decorators
        case ast.AnnAssign(annotation=annotation) | ast.arg(annotation=ast.expr() as annotation):
            yield annotation
        case ast.keyword(arg="strict"):
            yield node


def _put(items: list[ast.cmpop] | list[ast.stmt], at: int, value: ast.AST) -> Callable[[], None]:
    return lambda: items.__setitem__(at, value)  # type: ignore[call-overload]


def _set(node: ast.AST, name: str, value: object) -> Callable[[], None]:
    return lambda: setattr(node, name, value)


def changes_of(module: Path) -> list[Change]:
    """Every single change of a module."""
    found = places(ast.parse(module.read_text(encoding="utf-8")))
    return [Change(module, at, node.lineno, node.col_offset, what) for at, (node, what, _) in enumerate(found)]


def changed(change: Change) -> str:
    """The text of the module with the change made."""
    tree = ast.parse(change.module.read_text(encoding="utf-8"))
    _, _, make = next(islice(places(tree), change.at, None))
    make()
    return ast.unparse(ast.fix_missing_locations(tree))


def tested(change: Change, tree: Path, tests: list[str], seconds: float) -> str:
    """`caught`, `too long` (a test that never ends has noticed as well) or `not noticed`."""
    kept = change.module.read_text(encoding="utf-8")
    change.module.write_text(changed(change), encoding="utf-8")
    try:
        return "not noticed" if passes(tree, tests, seconds) else "caught"
    except TimeoutError:
        return "too long"
    finally:
        change.module.write_text(kept, encoding="utf-8")


def said(change: Change, tree: Path) -> str:
    """The change in one line: module, line, column, what."""
    return f"{change.module.relative_to(tree)}:{change.line}:{change.column}: {change.what}:"


def passes(tree: Path, tests: list[str], seconds: float | None = None) -> bool:
    """Whether every test passes in the copy; raises TimeoutError at the limit.

    In a process that is this one's copy, libraries and all: to load them anew would take longer than most tests do.
    """
    process = get_context("fork").Process(target=_run, args=(tree, tests))
    process.start()
    process.join(seconds)
    if process.is_alive():
        assert process.pid is not None
        os.killpg(process.pid, signal.SIGKILL)
        process.join()
        raise TimeoutError
    return process.exitcode == 0


def _run(tree: Path, tests: list[str]) -> None:
    os.setsid()
    os.dup2(os.open(os.devnull, os.O_RDWR), 1)
    os.dup2(1, 2)
    # modules and tests of the copy, in processes that a test starts as well
    for name in [name for name in sys.modules if name.partition(".")[0] in ("interlock", "tests")]:
        del sys.modules[name]
    os.chdir(tree)
    # what tests keep aside, their bytecode too, is of this change alone, and gone when all is done
    tempfile.tempdir = tempfile.mkdtemp(dir=tree.parent)
    os.environ |= {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1", "TMPDIR": tempfile.tempdir}
    sys.path[:] = [str(tree), *(place for place in sys.path if place not in ("", str(ROOT)))]
    sys.exit(pytest.main(["-q", "-x", "-p", "no:cacheprovider", *tests]))


def main() -> None:
    """Prints a line for each change that was not caught, and the counts."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("room", choices=sorted(TESTS))
    parser.add_argument("--under", default="", help="only modules whose path within the room begins so")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--most", type=int, default=50, help="how many changes are tried")
    parser.add_argument("--seconds", type=float, default=120.0, help="the limit for one change")
    parser.add_argument("--tests", nargs="*", help="test files in the place of those of the room")
    parser.add_argument("--only", default="", help="of those files only the tests that pytest's -k selects")
    parser.add_argument("--again", type=Path, help="a file of what this printed: those changes alone are tried")
    given = parser.parse_args()
    tests = ["-k", given.only, *(given.tests or [f"tests/{name}" for name in TESTS[given.room].split()])]
    counts: Counter[str] = Counter()
    for name in LIBRARIES.split():
        import_module(name)
    with tempfile.TemporaryDirectory() as place:
        # a copy from the start: what stands in the tree itself may be worked on meanwhile
        tree = Path(place) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache"))
        if not passes(tree, tests):
            sys.exit("the tests fail before anything is changed: every change would count as caught")
        room = tree / "interlock" / given.room
        modules = [m for m in sorted(room.rglob("*.py")) if str(m.relative_to(room)).startswith(given.under)]
        every = [one for module in modules for one in changes_of(module)]
        drawn = random.Random(given.seed).sample(every, min(given.most, len(every)))
        if given.again is not None:
            before = given.again.read_text(encoding="utf-8")
            drawn = [one for one in every if said(one, tree) in before]
        for change in drawn:
            end = tested(change, tree, tests, given.seconds)
            counts[end] += 1
            if end != "caught":
                print(said(change, tree), end, flush=True)
    print(f"{given.room}/{given.under}: {len(every)} changes possible, {counts.total()} tried: {dict(counts)}")


if __name__ == "__main__":
    main()
