"""What `audit` and `checklist` write as JSON satisfies the published schemas, and the schemas are strict."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner

from interlock import cli
from interlock.cli.exit_codes import code_of_audit
from interlock.kernel.machine import Actor
from interlock.report.json.writing import schema as schema_of
from interlock.report.views.audit_facts import AuditFacts
from interlock.report.views.checklist_facts import Made, Refused
from interlock.report.views.proof_facts import ProofFacts
from interlock.study.procedure.audit import Overall, Verdict
from interlock.study.procedure.holders import Holder
from interlock.study.procedure.interruptions import Resumption
from interlock.study.procedure.slip_audit import Effect
from interlock.study.procedure.slips import SlipKind
from interlock.study.verify import Status
from tests.some import some, telling

AUDIT_SCHEMA = schema_of(AuditFacts)
CHECKLIST_SCHEMA = schema_of(Made, Refused)
PROOF_SCHEMA = schema_of(ProofFacts)
ROOT = Path(__file__).parents[2]
MODELS = ROOT / "models"
WRONG = """\
interlock: 1
procedure: Doors in a hurry
hold: {hold}
start: {{GP: on}}
goal: D1 is closed
steps:
  - unlock D1
  - open AP
  - set PWR to on
  - hold LVD to up until D1 is open
  - hold LVD to down until D1 is closed
  - lock D1
"""
AUDITS = {
    "open-and-shut": ("demo:procedures/open-and-shut",),
    "work-on-a-latch": ("demo:procedures/work-on-a-latch", "--no-interlock"),
    "single-lane-load": ("demo:procedures/single-lane-load", "--no-interlock", "--no-slips"),
    "change-at-the-door": ("demo:procedures/change-at-the-door", "--no-interlock"),
    "work-on-a-sill-lock": ("demo:procedures/work-on-a-sill-lock", "--no-interlock"),
    "planted": ("WRONG", "--no-interlock"),
    "out of time": ("demo:procedures/open-and-shut", "--no-interlock", "--time", "0.001"),
}
CHECKLISTS = {
    "single-lane": (str(MODELS / "single-lane.yaml"), "--load", "4C=HALF"),
    "unload": (str(MODELS / "single-lane.yaml"), "--unload", "all", "--aboard", "4C=HALF"),
    "goal": ("demo:twin-lane", "--goal", "D1 is open"),
    "warnings": (str(MODELS / "flawed" / "lock-without-latch.yaml"), "--load", "3L=HALF"),
    "pairs": (str(MODELS / "flawed" / "mid-latch-switch-bridged.yaml"), "--load", "3L=HALF"),
    "another goal": (str(MODELS / "modified" / "mid-latch-3L-deferred.yaml"), "--load", "3L=HALF"),
    "requirement in the way": ("demo:twin-lane", "--goal", "D1 is open", "--no-standing", "--requirements", "-"),
}
SHUT = """\
interlock: 1
specification: One that stands in the way
requirements:
  - id: door-stays-shut
    text: The cargo door stays shut.
    kind: always
    condition: D1 is closed
    hazard: none, this is for a test
    severity: "4"
    scheme: MIL-STD-882E
    source: common practice, no source
"""


@cache
def _audit(name: str, folder: Path) -> Any:
    args = AUDITS[name]
    if args[0] == "WRONG":
        file = folder / "wrong.yaml"
        file.write_text(WRONG.format(hold="demo:flawed/lock-without-latch"))
        args = (str(file), *args[1:])
    return json.loads(CliRunner().invoke(cli.commands, ["audit", *args, "--format", "json"]).stdout)


@cache
def _checklist(name: str) -> Any:
    called = CliRunner().invoke(cli.commands, ["checklist", *CHECKLISTS[name], "--format", "json"], input=SHUT)
    return json.loads(called.stdout)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for a faulty procedure."""
    return tmp_path_factory.mktemp("procedures")


@pytest.mark.parametrize(
    "name",
    telling(
        (pytest.param(one, marks=pytest.mark.slow if one == "change-at-the-door" else ()) for one in AUDITS),
        "single-lane-load",
        "planted",
        "out of time",
    ),
)
def test_audits_satisfy_their_schema(name: str, folder: Path) -> None:
    """Every sort of audit: sound, with findings, without slips, out of time."""
    jsonschema.Draft202012Validator(AUDIT_SCHEMA).validate(_audit(name, folder))


@pytest.mark.parametrize("name", telling(CHECKLISTS, "single-lane", "goal", "pairs", "requirement in the way"))
def test_checklists_satisfy_their_schema(name: str) -> None:
    """Every sort of checklist, and every sort of refusal."""
    jsonschema.Draft202012Validator(CHECKLIST_SCHEMA).validate(_checklist(name))


def test_schemas_are_schemas() -> None:
    """The draft accepts both."""
    for one in (AUDIT_SCHEMA, CHECKLIST_SCHEMA):
        jsonschema.Draft202012Validator.check_schema(one)


@pytest.mark.thorough
def test_between_them_they_use_everything(folder: Path) -> None:
    """The documents that are validated have runs, ways out, slips to a hazard, pairs, warnings and other goals."""
    planted = _audit("planted", folder)
    assert any(action["run"] for action in planted["actions"])
    assert any(action["way_out"] for action in planted["actions"])
    assert _audit("open-and-shut", folder)["second_count"]["slips_together"] == 2
    assert _audit("single-lane-load", folder)["slips"] is None
    assert _audit("out of time", folder)["undecided"]
    assert _checklist("warnings")["checklist"]["slips"]["hazardous"]
    assert any(one["slips"] == 2 for one in _checklist("pairs")["checklist"]["slips"]["fewest"])
    assert _checklist("another goal")["instead"]["goals"] == [["--load", "2L=HALF"]]
    assert _checklist("requirement in the way")["broken"]


def _places(value: Any, here: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """The places of all objects in a document."""
    found = [here] if isinstance(value, dict) else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        found += _places(inner, (*here, key))
    return found


def _one_of_each(places: list[tuple[str | int, ...]]) -> list[tuple[str | int, ...]]:
    """One place for all that differ in their numbers in lists only."""
    found = {tuple(step for step in place if isinstance(step, str)): place for place in places}
    return list(found.values())


def _spoiled(document: Any, place: tuple[str | int, ...], key: str | None) -> Any:
    """A copy with one member more at the place, or with one less."""
    copy = json.loads(json.dumps(document))
    at = copy
    for step in place:
        at = at[step]
    if key is None:
        at["what else"] = 1
    else:
        del at[key]
    return copy


def test_the_schemas_are_strict(folder: Path) -> None:
    """A member more or a member less, in any object of a document, does not satisfy the schema."""
    cases = ((AUDIT_SCHEMA, _audit("planted", folder)), (CHECKLIST_SCHEMA, _checklist("pairs")))
    for schema, document in some(cases):
        validator = jsonschema.Draft202012Validator(schema)
        places = _one_of_each(_places(document))
        assert len(places) > 9
        for place in places:
            assert not validator.is_valid(_spoiled(document, place, None)), place
            at = document
            for step in place:
                at = at[step]
            assert not validator.is_valid(_spoiled(document, place, sorted(at)[0])), place


def _objects(schema: Any) -> Iterator[Any]:
    """Every piece of a schema that tells the members of an object."""
    if isinstance(schema, dict):
        if isinstance(schema.get("properties"), dict) and schema.get("type") == "object":
            yield schema
        for inner in schema.values():
            yield from _objects(inner)
    elif isinstance(schema, list):
        for inner in schema:
            yield from _objects(inner)


def _words_of(schema: Any, structure: str, member: str) -> set[Any]:
    """The values that the schema lists for the member of that structure."""
    told = schema["$defs"][structure]["properties"][member]
    if "$ref" in told:
        told = schema["$defs"][told["$ref"].rpartition("/")[2]]
    return set(told["enum"])


def test_the_schemas_list_what_words_there_are() -> None:
    """Where a member is one of a few words, the schema lists exactly those that the program has."""
    kinds = {kind.word for kind in SlipKind}
    modes = {kind.mode or None for kind in SlipKind}
    for schema, structure, member, words in (
        (AUDIT_SCHEMA, "AuditFacts", "overall", set(Overall)),
        (AUDIT_SCHEMA, "AuditFacts", "exit_code", {code_of_audit(one) for one in Overall}),
        (AUDIT_SCHEMA, "ActionFacts", "verdict", set(Verdict)),
        (AUDIT_SCHEMA, "HeldFacts", "held_by", set(Holder)),
        (AUDIT_SCHEMA, "InterruptionFacts", "afterwards", {*Resumption, "nothing is left to do"}),
        (AUDIT_SCHEMA, "RunStep", "actor", set(Actor)),
        (AUDIT_SCHEMA, "SlipFacts", "effect", set(Effect)),
        (AUDIT_SCHEMA, "SlipFacts", "kind", kinds),
        (AUDIT_SCHEMA, "SlipFacts", "error_mode", modes),
        (CHECKLIST_SCHEMA, "KindFacts", "kind", kinds),
        (CHECKLIST_SCHEMA, "StepSlip", "error_mode", modes),
        (CHECKLIST_SCHEMA, "Guard", "label", {"WARNING", "CAUTION", "NOTE"}),
        (PROOF_SCHEMA, "RequirementFacts", "status", set(Status)),
    ):
        assert _words_of(schema, structure, member) == words, (structure, member)


@pytest.mark.parametrize("schema", [AUDIT_SCHEMA, CHECKLIST_SCHEMA, PROOF_SCHEMA], ids=["audit", "checklist", "result"])
def test_the_schemas_describe_every_member(schema: Any) -> None:
    """Each member of each object has a description, each object says what it is, and allows nothing else."""
    objects = list(_objects(schema))
    assert len(objects) > 10
    for one in objects:
        assert one["additionalProperties"] is False, one["title"]
        assert one["description"], one["title"]
        assert [name for name, told in one["properties"].items() if not told.get("description")] == [], one["title"]


@pytest.mark.parametrize(
    ("name", "schema"), [("audit", AUDIT_SCHEMA), ("checklist", CHECKLIST_SCHEMA), ("result", PROOF_SCHEMA)]
)
def test_the_schemas_are_printed(name: str, schema: object) -> None:
    """`interlock schema` prints what the tests validate with."""
    assert json.loads(CliRunner().invoke(cli.commands, ["schema", name]).stdout) == schema
