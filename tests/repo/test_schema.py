"""The JSON Schema for editors is fresh, and agrees with the reader about what descriptions look like."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import jsonschema
import pytest

from interlock.diagnostics.faults import Faults
from interlock.hold import json_schema
from interlock.hold.compile.compiler import compile_hold
from interlock.hold.json_schema import hold_schema
from interlock.hold.language.declarations import Record
from interlock.hold.language.field_types import records_within, types_within
from interlock.hold.language.model import SECTIONS, Catalogue, Hold, Specification
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode, compose, split_lines
from interlock.hold.language.references import BUILT_IN_GROUPS
from interlock.hold.language.text_types import Reference
from interlock.hold.loader import Source, load_hold
from interlock.hold.overlay.changes import CHANGES, Modification
from interlock.hold.procedure.model import Procedure, Step

ROOT = Path(__file__).parents[2]
FILE = Path(json_schema.__file__).with_name("hold.schema.json")
SOUND = sorted(
    path
    for folder in ("models", "specs")
    for path in (ROOT / folder).rglob("*.yaml")
    # what the flawed holds are known to lose is a record for tests, no description
    if path.name != "expected.yaml"
)


def plain(node: Node) -> Any:
    """A node tree as JSON values; every scalar is a string."""
    if isinstance(node, ScalarNode):
        return node.text
    if isinstance(node, MappingNode):
        return {entry.key.text: plain(entry.value) for entry in node.entries}
    return [plain(item) for item in node.items]


def read(text: str) -> Any:
    """A YAML text as JSON values."""
    node = compose("x.yaml", text, split_lines(text), Faults())
    assert node is not None
    return plain(node)


def test_file_is_fresh() -> None:
    """The file in the repository is what `hold_schema` gives."""
    assert json.loads(FILE.read_text("utf-8")) == hold_schema(), "write it anew: python -m tests.repo.test_schema"


def test_schema_is_a_schema() -> None:
    """Draft-07 accepts it."""
    jsonschema.Draft7Validator.check_schema(hold_schema())


def test_what_refers_to_a_definition_is_a_uri_reference() -> None:
    """RFC 3986 has no blanks, section 2.4 writes them as %20; what is behind the number sign is then a definition."""
    found = set(re.findall(r'"\$ref": "#/definitions/([^"]*)"', FILE.read_text("utf-8")))
    assert found
    assert not any(" " in name for name in found)
    assert {unquote(name) for name in found} <= set(hold_schema()["definitions"])


@pytest.mark.parametrize("path", SOUND, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_shipped_files_satisfy_it(path: Path) -> None:
    """Every shipped description and specification satisfies the schema."""
    errors = list(jsonschema.Draft7Validator(hold_schema()).iter_errors(read(path.read_text("utf-8"))))
    assert [error.message for error in errors] == []


def test_numbers_and_truth_values_may_have_their_types() -> None:
    """An editor that reads numbers as numbers and true as true is satisfied too."""
    document = read((ROOT / "models" / "twin-lane.yaml").read_text("utf-8"))
    document["interlock"] = 1
    document["layout"]["rows"] = 6
    document["layout"]["neighbour_restrains"] = False
    document["units"][0]["max_gross_kg"] = 1588.0
    jsonschema.Draft7Validator(hold_schema()).validate(document)


@pytest.mark.parametrize(
    ("place", "wrong"),
    [
        (("layuot",), {}),
        (("interlock",), "2"),
        (("layout", "rows"), "many"),
        (("layout", "secured"), ["front"]),
        (("layout", "neighbour_restrains"), "perhaps"),
        (("units", 0, "across"), 4),
        (("devices", 0, "latchs"), "x"),
        (("devices", 0, "kind"), "manual lach"),
        (("devices", 0, "on"), ["3L.back"]),
        (("devices", 0, "for"), {"r": "six"}),
        (("controls", 0, "positions"), []),
        (("zones", 0, "inhibits"), {"up": "true"}),
        (("requirements", 0, "kind"), "sometimes"),
        (("failures",), [{"of": "up_M3L", "mode": "stuck-true"}]),
    ],
)
def test_mistakes_are_flagged(place: tuple[str | int, ...], wrong: Any) -> None:
    """A mistake that needs no meaning to be seen is flagged in the editor."""
    document = read((ROOT / "models" / "twin-lane.yaml").read_text("utf-8"))
    if place[0] == "requirements" and not document.get("requirements"):
        document["requirements"] = [{}]
    at = document
    for step in place[:-1]:
        at = at[step]
    at[place[-1]] = wrong
    assert not jsonschema.Draft7Validator(hold_schema()).is_valid(document)


def test_modifications_are_flagged_by_their_own_rules() -> None:
    """A file with `modifies` needs changes, not a layout."""
    good = {
        "interlock": "1",
        "title": "t",
        "modifies": "x.yaml",
        "changes": [{"remove": "M1"}, {"fix": "M2", "in": "raised"}, {"for": {"r": "1..2"}, "remove": "M{r}"}],
    }
    validator = jsonschema.Draft7Validator(hold_schema())
    validator.validate(good)
    assert not validator.is_valid({**good, "layout": {}})
    assert not validator.is_valid({**good, "changes": [{"delete": "M1"}]})
    assert not validator.is_valid({**good, "changes": [{"fix": "M1"}]})


def records() -> list[type[Record]]:
    """Every record of the language."""
    return [one for file in (Hold, Modification, Specification, Procedure, Catalogue) for one in records_within(file)]


def test_records_and_fields_are_told_in_sentences() -> None:
    """Each record, and each field of it, has a sentence for editors; records have names of their own."""
    found: list[type[Record]] = list(dict.fromkeys([*records(), *CHANGES.values(), Step]))
    assert len({one.declaration.name for one in found}) == len(found) == 42
    sentences = [text for one in found for text in (one.declaration.about, *(f.about for f in one.declaration.fields))]
    assert len(sentences) > 150
    assert [text for text in sentences if not re.fullmatch(r"[A-Z`].*[^.]\.", text)] == []


def test_references_name_sections() -> None:
    """A field that names things of a description names sections that there are."""
    kinds = [kind for one in records() for field in one.declaration.fields for kind in types_within(field.type)]
    named = {section for kind in kinds if isinstance(kind, Reference) for section in kind.sections}
    assert {"units", "devices", "controls", "stations", "places"} <= named <= set(SECTIONS)


def test_names_of_groups_are_those_that_the_compiler_makes() -> None:
    """The groups whose names nothing else can have are exactly those that every compiled description has."""
    path = ROOT / "models" / "single-lane.yaml"
    hold = load_hold(Source(path.name, path.read_bytes()), lambda name: None).value
    assert hold is not None
    compiled = compile_hold(hold).compiled
    assert compiled is not None
    own = {group.id for group in hold.groups}
    assert set(compiled.world.groups) - own == set(BUILT_IN_GROUPS)


def test_reading_needs_no_graph_library() -> None:
    """Reading a description loads neither networkx nor graphviz nor a solver; kinds of device run on transitions."""
    program = (
        "import sys, pathlib, interlock.hold\n"
        "from interlock.hold.loader import Source, load_hold\n"
        "path = pathlib.Path('models/twin-lane.yaml')\n"
        "assert load_hold(Source(path.name, path.read_bytes()), lambda name: None).value is not None\n"
        "print([name for name in ('networkx', 'z3', 'cvc5', 'graphviz') if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


if __name__ == "__main__":
    FILE.write_text(json.dumps(hold_schema(), indent=1) + "\n", "utf-8")
