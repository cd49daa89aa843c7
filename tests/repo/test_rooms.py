"""The rooms keep apart: import rules are declared, bite, and hold; names and dependencies are as agreed."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import networkx as nx
import pytest

from tests.some import some

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "interlock"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
LOWEST_FIRST = (("diagnostics",), ("kernel",), ("hold", "prove", "confirm"), ("study",), ("report",), ("cli",))
"""Each room may import those of earlier places only; rooms of one place never import each other."""

FORBIDDEN_LIBRARIES = {
    "diagnostics": {"z3", "cvc5", "pysat", "yaml", "json", "networkx", "transitions", "graphviz", "click", "rich"},
    "kernel": {"z3", "cvc5", "pysat", "yaml", "json", "networkx", "transitions", "graphviz", "click", "rich"},
    "hold": {"z3", "cvc5", "pysat", "click", "rich"},
    "prove": {"cvc5", "yaml", "click", "rich"},
    "confirm": {"z3", "pysat", "yaml", "click", "rich"},
    "study": {"z3", "cvc5", "pysat", "yaml", "click", "rich"},
    "report": {"z3", "cvc5", "pysat", "yaml", "click", "rich"},
    "cli": {"z3", "cvc5", "pysat", "yaml"},
}

IMPORTED_AS = {
    "markdown-it-py": "markdown_it",
    "python-sat": "pysat",
    "pyyaml": "yaml",
    "z3-solver": "z3",
    "types-pyyaml": "",
}
"""Distributions whose import name is another."""

TOOLS = {"import-linter": "lint-imports", "mypy": "mypy", "pytest-xdist": "pytest -n", "ruff": "ruff"}
"""Distributions that are run, not imported, with the words by which the continuous check runs them."""

AWAITED = frozenset({"jinja2"})
"""Dependencies for something that is not written yet."""


@cache
def parsed(path: Path) -> ast.Module:
    """What a file of Python says; none of them changes while tests run."""
    return ast.parse(path.read_text(encoding="utf-8"))


def modules() -> Iterator[tuple[str, Path]]:
    """Every module of the program with its room."""
    for path in sorted(PACKAGE.rglob("*.py")):
        inside = path.relative_to(PACKAGE).parts
        if len(inside) > 1 and inside[0] != "_shipped":
            yield inside[0], path


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    """All that is written in a file; whoever looks at it leaves it as it is."""
    return tuple(ast.walk(parsed(path)))


@cache
def imports_of(path: Path) -> frozenset[str]:
    """The full names of all modules that a file imports, wherever in it; those for type checkers as well."""
    found: set[str] = set()
    for node in nodes(path):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module is not None:
            found.add(node.module)
            if node.module == "interlock":
                found.update(f"interlock.{alias.name}" for alias in node.names)
    return frozenset(found)


def dynamic_imports_of(path: Path) -> set[str]:
    """The names given as text to `import_module`, up to the first place that is filled in."""
    found: set[str] = set()
    for node in nodes(path):
        if isinstance(node, ast.Call) and getattr(node.func, "id", getattr(node.func, "attr", "")) == "import_module":
            first = node.args[0]
            text = first.values[0] if isinstance(first, ast.JoinedStr) else first
            found.add(str(text.value).rstrip(".") if isinstance(text, ast.Constant) else "?")
    return found


# ---- import rules ------------------------------------------------------------------------------------------------


def place_of(room: str) -> int:
    """The place of a room, counted from the lowest."""
    return next(at for at, rooms in enumerate(LOWEST_FIRST) if room in rooms)


def test_every_room_is_known() -> None:
    """Each folder of the program is one of the rooms, and each room is there."""
    folders = {path.name for path in PACKAGE.iterdir() if path.is_dir()} - {"__pycache__", "_shipped"}
    assert folders == {room for rooms in LOWEST_FIRST for room in rooms}


def test_no_room_imports_upwards_or_sideways() -> None:
    """Rooms import only rooms of earlier places and themselves, also inside functions and by name."""
    seen = 0
    for room, path in modules():
        for name in imports_of(path) | dynamic_imports_of(path):
            parts = name.split(".")
            if parts[0] == "interlock" and len(parts) > 1 and parts[1] != "__version__":
                other = parts[1]
                seen += 1
                assert other == room or place_of(other) < place_of(room), f"{path.relative_to(ROOT)} imports {name}"
    assert seen > 200


def test_no_room_imports_libraries_it_must_not_know() -> None:
    """Solvers stay with the engines and the sceptic, each with its own; the kernel knows no library of that sort."""
    for room, path in some(modules()):
        roots = {name.split(".")[0] for name in imports_of(path)}
        assert roots.isdisjoint(FORBIDDEN_LIBRARIES[room]), path.relative_to(ROOT)


def test_contracts_say_what_this_file_says() -> None:
    """The layers of import-linter are the places above, top first, and all contracts are of known types."""
    contracts = PROJECT["tool"]["importlinter"]["contracts"]
    layers = next(contract["layers"] for contract in contracts if contract["type"] == "layers")
    written = [tuple(name.strip().removeprefix("interlock.") for name in layer.split("|")) for layer in layers]
    assert list(reversed(written)) == [tuple(rooms) for rooms in LOWEST_FIRST]
    forbidden = [contract for contract in contracts if contract["type"] == "forbidden"]
    for contract in forbidden:
        for source in contract["source_modules"]:
            room = source.split(".")[1]
            libraries = {name for name in contract["forbidden_modules"] if not name.startswith("interlock.")}
            missing = libraries - FORBIDDEN_LIBRARIES[room] - {"jinja2", "json"}
            assert not missing, (room, missing)


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    """`lint-imports` on the package in that folder, by its `pyproject.toml`."""
    script = Path(sys.executable).parent / "lint-imports"
    assert script.exists(), "import-linter is not installed"
    return subprocess.run(
        [str(script), "--no-cache"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=120,
        env={"PATH": "", "PYTHONPATH": str(folder)},
    )


# ---- circles -----------------------------------------------------------------------------------------------------


@cache
def import_graph() -> nx.DiGraph[str]:
    """Which module of the program imports which, wherever in the file; a package stands for its `__init__`."""
    named = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path for _, path in modules()
    }
    graph: nx.DiGraph[str] = nx.DiGraph()
    for name, path in named.items():
        for node in nodes(path):
            if isinstance(node, ast.ImportFrom) and node.module is not None:
                targets = {f"{node.module}.{alias.name}" for alias in node.names} & named.keys()
                graph.add_edges_from((name, target) for target in targets or {node.module} & named.keys())
    return graph


def circles(graph: nx.DiGraph[str]) -> list[set[str]]:
    """Sets of modules each of which imports, by way of others, itself."""
    return [set(found) for found in nx.strongly_connected_components(graph) if len(found) > 1]


def test_no_modules_import_one_another_in_a_circle() -> None:
    """Modules can be read one after another: none needs itself by way of others."""
    graph = import_graph()
    assert graph.number_of_edges() > 500
    assert circles(graph) == []


def test_no_sub_packages_import_one_another_in_a_circle() -> None:
    """Inside a room, too, one folder comes before another; a module beside them counts as a folder of its own."""
    folded: nx.DiGraph[str] = nx.DiGraph()
    for one, other in import_graph().edges:
        here, there = (".".join(name.split(".")[:3]) for name in (one, other))
        if here != there:
            folded.add_edge(here, there)
    assert folded.number_of_edges() > 100
    assert circles(folded) == []


def test_contracts_are_kept() -> None:
    """import-linter finds every contract kept."""
    done = lint(ROOT)
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"Contracts: \d+ kept, 0 broken", done.stdout)


FORBIDDEN = (
    ("kernel/claims.py", "import interlock.hold.language.model"),
    ("confirm/replay.py", "from interlock.prove import engine"),
    ("hold/language/model.py", "import interlock.prove.engine"),
    ("report/views/wording.py", "import interlock.cli.screen"),
    ("report/html/page.py", "import interlock.report.text.lines"),
    ("report/text/count.py", "import interlock.study.verify"),
    ("confirm/recheck.py", "import z3"),
    ("kernel/evaluator.py", "import json"),
)
"""Modules, and what none of them may say."""


def test_contracts_bite(tmp_path: Path) -> None:
    """Each forbidden import breaks a contract, by itself and not as a step on the way to another."""
    shutil.copytree(PACKAGE, tmp_path / "interlock", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    at = {}
    for module, line in FORBIDDEN:
        spoiled = tmp_path / "interlock" / module
        text = spoiled.read_text(encoding="utf-8") + f"\n{line}\n"
        spoiled.write_text(text, encoding="utf-8")
        at[module] = text.count("\n")
    done = lint(tmp_path)
    assert done.returncode == 1, done.stdout + done.stderr
    for module, line in FORBIDDEN:
        imported = ".".join(line.removeprefix("from ").removeprefix("import ").split(" import "))
        importer = f"interlock.{module.removesuffix('.py').replace('/', '.')}"
        alone = rf"^- +{re.escape(importer)} -> {re.escape(imported)} \(l\.{at[module]}\)\n\n"
        assert re.search(alone, done.stdout, re.MULTILINE), (module, line, done.stdout)


def test_confirm_and_the_kernel_stand_alone() -> None:
    """Loading the sceptic loads no engine, no solver of theirs, and nothing of the hold."""
    code = (
        "import sys, interlock.confirm.confirm, interlock.confirm.evidence\n"
        "print(*sorted(n for n in sys.modules if n.split('.')[0] in ('interlock', 'z3', 'pysat', 'yaml')))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True, timeout=60
    )
    rooms = {name.split(".")[1] for name in done.stdout.split() if name.count(".")}
    assert rooms == {"kernel", "confirm"}
    assert {name.split(".")[0] for name in done.stdout.split()} == {"interlock"}


# ---- names and texts ---------------------------------------------------------------------------------------------


def test_no_module_has_a_name_that_says_nothing() -> None:
    """No module is called after what any module could be called."""
    idle = {"utils", "util", "helpers", "helper", "common", "base", "manager", "misc", "tools"}
    assert [str(path) for _, path in modules() if path.stem in idle] == []


def test_every_module_says_what_it_is() -> None:
    """Each module begins with a docstring of at least a few words."""
    bare = [
        str(path.relative_to(ROOT))
        for path in sorted(PACKAGE.rglob("*.py"))
        if "_shipped" not in path.parts and len((ast.get_docstring(parsed(path)) or "").split()) < 3
    ]
    assert bare == []


def test_kernel_knows_no_cargo_word() -> None:
    """No word of the trade stands in the kernel, comments and names included."""
    words = re.compile(r"\b(latch|latches|cargo|bay|bays|door|doors|pallet|lever|sill|drive|drives|zone)\b", re.I)
    for path in some(sorted((PACKAGE / "kernel").glob("*.py"))):
        found = words.findall(path.read_text(encoding="utf-8"))
        # the package says of itself that it knows none
        allowed = {"cargo"} if path.name == "__init__.py" else set()
        assert set(map(str.lower, found)) <= allowed, path.name


def surely_asserts(body: list[ast.stmt]) -> bool:
    """Some statement asserts whenever the body runs: not only in a loop that may be empty, nor under a condition.

    A call that stands for itself counts (it checks something for several tests), and so does `pytest.raises`.
    """
    for one in body:
        match one:
            case ast.Assert() | ast.Expr(value=ast.Call()):
                return True
            case ast.With(items=items, body=inner):
                if any("raises" in ast.unparse(item) or "warns" in ast.unparse(item) for item in items):
                    return True
                if surely_asserts(inner):
                    return True
            case ast.Try(body=inner, finalbody=last):
                if surely_asserts(inner) or surely_asserts(last):
                    return True
            case ast.If(body=inner, orelse=other):
                if surely_asserts(inner) and surely_asserts(other):
                    return True
            case ast.For(iter=over, body=inner) if surely_asserts(inner):
                # written out, a constant of the module, a range, or looked at by `some`
                if isinstance(over, ast.Tuple | ast.List) and over.elts:
                    return True
                if ast.unparse(over).isupper() or re.match(r"(some|range)\(", ast.unparse(over)):
                    return True
    return False


@cache
def written_tests() -> tuple[tuple[Path, ast.FunctionDef], ...]:
    """All test functions with their files."""
    return tuple(
        (path, node)
        for path in sorted((ROOT / "tests").rglob("test_*.py"))
        for node in nodes(path)
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    )


def test_no_test_passes_because_it_looked_at_nothing() -> None:
    """Each test asserts something whatever its loops and conditions do."""
    tests = written_tests()
    assert len(tests) > 700
    assert [f"{path.name}::{node.name}" for path, node in tests if not surely_asserts(node.body)] == []


@pytest.mark.parametrize(
    ("body", "surely"),
    [
        ("assert x", True),
        ("for x in found: assert x", False),
        ("for x in some(found): assert x", True),
        ("for x in some(found):\n if x: assert x", False),
        ("if x: assert x", False),
        ("if x: assert x\nelse: assert not x", True),
        ("with pytest.raises(E): f()", True),
        ("x = f()", False),
    ],
)
def test_what_surely_asserts(body: str, surely: bool) -> None:
    """Loops that may be empty and conditions do not count."""
    assert surely_asserts(ast.parse(body).body) is surely


def test_every_test_says_what_it_tests() -> None:
    """Each test function has a docstring."""
    silent = [f"{path.name}::{node.name}" for path, node in written_tests() if not ast.get_docstring(node)]
    assert silent == []


# ---- dependencies ------------------------------------------------------------------------------------------------


def names_of(requirements: list[str]) -> dict[str, str]:
    """Import name by distribution name."""
    plain = [re.split(r"[^A-Za-z0-9._-]", text)[0].lower() for text in requirements]
    return {name: IMPORTED_AS.get(name, name.replace("-", "_")) for name in plain}


def roots_imported(folder: Path) -> set[str]:
    """The first parts of all names imported anywhere in the folder."""
    return {name.split(".")[0] for path in sorted(folder.rglob("*.py")) for name in imports_of(path)}


def test_run_time_dependencies_are_used() -> None:
    """Each dependency is imported by the program; nothing else is, beside the standard library."""
    declared = names_of(PROJECT["project"]["dependencies"])
    used = roots_imported(PACKAGE)
    unused = {distribution for distribution, name in declared.items() if name not in used}
    assert unused <= AWAITED
    extras = PROJECT["project"]["optional-dependencies"]
    optional = names_of([*extras["diagrams"], *extras["cluster"], *extras["editor"]])
    assert used <= {*declared.values(), *optional.values(), "interlock", *sys.stdlib_module_names}


def test_asked_for_libraries_are_really_used() -> None:
    """State machines, graphs, solver, YAML reader and DOT writer each do work in the rooms that they belong to."""
    rooms: dict[str, set[str]] = {}
    for room, path in modules():
        for name in imports_of(path):
            rooms.setdefault(name.split(".")[0], set()).add(room)
    assert "hold" in rooms["transitions"]
    assert "hold" in rooms["networkx"]
    assert "hold" in rooms["yaml"]
    assert rooms["z3"] == {"prove"}
    assert rooms["cvc5"] == {"confirm"}
    assert rooms["pysat"] == {"prove"}
    assert "report" in rooms["graphviz"]


def test_tests_use_what_they_ask_for() -> None:
    """Each development dependency is imported by a test, or run by the continuous check, or types for a library."""
    check = (ROOT / ".ci" / "run").read_text(encoding="utf-8") + (ROOT / "README.md").read_text(encoding="utf-8")
    imported = roots_imported(ROOT / "tests")
    asked = PROJECT["project"]["optional-dependencies"]["dev"]
    used = [*PROJECT["project"]["dependencies"], *asked]
    for distribution, name in some(names_of(asked).items()):
        if distribution in TOOLS:
            assert TOOLS[distribution] in check, distribution
        elif distribution.startswith("types-"):
            assert distribution.removeprefix("types-") in names_of(used)
        else:
            assert name in imported, distribution


def test_guide_names_every_room_and_test_folder() -> None:
    """DEVELOPERS.md has a row for each room and each folder of tests."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for rooms in some(LOWEST_FIRST):
        for room in some(rooms):
            assert re.search(rf"^\| `{room}` \|", guide, re.MULTILINE), room
    for folder in sorted((ROOT / "tests").iterdir()):
        if folder.is_dir() and folder.name != "__pycache__":
            assert f"| `tests/{folder.name}/` |" in guide, folder.name
