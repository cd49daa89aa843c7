"""The program from Python: the same verdicts as the commands, tables as plain rows, errors with every fault."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from collections.abc import Callable
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest

import interlock
from interlock import interface
from interlock.cli import run
from interlock.cli.formats import FORMATS
from interlock.cli.reading import DEMO
from interlock.cli.shipped import demonstrations, procedures
from interlock.report.views.facts import Facts
from tests.golden.small_hold import REQUIREMENTS
from tests.golden.small_hold import TEXT as SMALL
from tests.golden.wired_hold import WIRED, WIRED_ASKED
from tests.repo.test_readme import README, blocks
from tests.some import some

pytestmark = pytest.mark.usefixtures("done_once")
PACKAGE = Path(interlock.__file__).parent
LIBRARIES = ("z3", "cvc5", "pysat", "yaml", "networkx", "transitions", "numpy", "click", "jinja2", "msgspec")
SINGLE = "demo:single-lane"
FLAWED = "demo:flawed/key-not-trapped"


def printed(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str]:
    """What a command ends with and prints."""
    capsys.readouterr()
    code = run(args)
    return code, capsys.readouterr().out


# ---- what is public ----------------------------------------------------------------------------------------------


def test_what_is_public_is_said_once_and_is_no_room() -> None:
    """The package, its types and the module name the same; nothing that is loaded later takes the place of a name."""
    stub = ast.parse((PACKAGE / "__init__.pyi").read_text(encoding="utf-8"))
    typed = {alias.asname for node in stub.body if isinstance(node, ast.ImportFrom) for alias in node.names}
    assert typed | {"__version__"} == set(interlock.__all__) == {*interface.__all__, "__version__"}
    assert not typed & {path.stem for path in PACKAGE.iterdir()}
    for name in some(interface.__all__):
        assert getattr(interlock, name) is getattr(interface, name)
    tree = ast.parse((PACKAGE / "interface.py").read_text(encoding="utf-8"))
    made = {node.name for node in tree.body if isinstance(node, ast.FunctionDef | ast.ClassDef)}
    assert {name for name in made if not name.startswith("_")} == set(interface.__all__)
    with pytest.raises(AttributeError, match="has no attribute 'prove_holds'"):
        interlock.prove_holds  # type: ignore[attr-defined]  # noqa: B018


def test_importing_loads_nothing() -> None:
    """No solver, no YAML, no library at all is loaded before something is asked for."""
    code = f"import sys, interlock; print(dir(interlock)); print([n for n in {LIBRARIES} if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    names, loaded = done.stdout.splitlines()
    assert "prove_hold" in names
    assert loaded == "[]"


# ---- verdicts ----------------------------------------------------------------------------------------------------


def test_every_format_of_the_command_is_there(tmp_path: Path) -> None:
    """What comes as a page, a table or for other programs comes so from Python too; a part that lacks is no silence."""
    (tmp_path / "small.yaml").write_text(SMALL, encoding="utf-8")
    hold = interlock.load_hold(tmp_path / "small.yaml", standing=False)
    results = {
        "prove": interlock.prove_hold(hold),
        "failures": interlock.analyse_failures(hold),
        "compare": interlock.compare_holds(hold, hold),
        "checklist": interlock.make_checklist(hold, goal="D1 is open"),
        "repair": interlock.repair_hold(hold),
    }
    for command, found in results.items():
        assert set(found.formats) == {row.name for row in FORMATS if row.shows == command}
        for name in some(found.formats):
            assert name == "modification" or found.rendered(name)
    with pytest.raises(KeyError, match="checklist as text: no "):
        interface._formats("checklist", {"view": None, "facts": None, "verbose": False})


def test_contacts_and_repairs_are_those_of_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same documents; of a repair the modification that the command would write."""
    file, asked = tmp_path / "wired.yaml", tmp_path / "asked.yaml"
    file.write_text(WIRED.replace("GP is on and door_open", "door_open"), encoding="utf-8")
    asked.write_text(WIRED_ASKED, encoding="utf-8")
    hold = interlock.load_hold(file, requirements=[asked], standing=False)
    options = str(file), "--no-standing", "--requirements", str(asked)
    code, out = printed(capsys, "contacts", *options, "--format", "json")
    found = interlock.analyse_contacts(hold)
    assert (found.exit_code, json.loads(found.json())) == (code, json.loads(out))
    repaired = interlock.repair_hold(hold, only=["powered-drives"])
    code, out = printed(capsys, "repair", *options, "--only", "powered-drives", "--format", "json")
    assert (repaired.exit_code, json.loads(repaired.json())) == (code, json.loads(out))
    assert repaired.facts.proposals
    assert "modifies:" in repaired.rendered("modification")
    with pytest.raises(interlock.RequestError, match="together is 1 or 2"):
        interlock.analyse_contacts(hold, together=3)


def test_a_page_to_teach_with_and_sheets_in_german(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The page is that of the command; another language is asked for by its name."""
    (tmp_path / "small.yaml").write_text(SMALL, encoding="utf-8")
    name = str(tmp_path / "small.yaml")
    hold = interlock.load_hold(name, standing=False)
    wanted = "--no-standing", "--goal", "D1 is open", "--language", "de"
    assert interlock.teach(hold, goal="D1 is open", language="de") + "\n" == printed(capsys, "teach", name, *wanted)[1]
    sheet = interlock.make_checklist(hold, goal="D1 is open", language="de")
    assert str(sheet) == printed(capsys, "checklist", name, *wanted)[1]
    with pytest.raises(interlock.RequestError, match="there is no language 'xy'"):
        interlock.make_checklist(hold, goal="D1 is open", language="xy")
    with pytest.raises(interlock.RequestError, match="there is no checklist for that"):
        interlock.teach(hold, goal="D1 is open and D1 is closed")
    asked = *wanted, "--seed", "3", "--number", "2"
    questions = interlock.make_questions(hold, goal="D1 is open", language="de", seed=3, number=2)
    assert questions + "\n" == printed(capsys, "questions", name, *asked)[1]
    with pytest.raises(interlock.RequestError, match="there is no checklist for that"):
        interlock.make_questions(hold, goal="D1 is open and D1 is closed")
    with pytest.raises(interlock.RequestError, match="is about another hold than"):
        interlock.teach(hold, procedures=["demo:procedures/open-and-shut"])


def test_a_fleet_that_cannot_be_used_is_told_with_its_faults(tmp_path: Path) -> None:
    """What is wrong with the list or what it names, all at once; of a configuration that makes no hold why."""
    (tmp_path / "tails.csv").write_text("tail,hold\nZZ-AAA,nowhere.yaml\nZZ-AAA,demo:single-lane\n")
    with pytest.raises(interlock.DescriptionError, match=r"tails.csv:2:") as caught:
        interlock.prove_fleet(tmp_path / "tails.csv")
    assert len(caught.value.faults) >= 2
    (tmp_path / "fitted.yaml").write_text(FITTED.replace("{remove: RG}", "{remove: D1}"), encoding="utf-8")
    (tmp_path / "asked.yaml").write_text(REQUIREMENTS, encoding="utf-8")
    (tmp_path / "two.csv").write_text("tail,hold,options\nZZ-AAA,fitted.yaml,BARE\n")
    found = interlock.prove_fleet(tmp_path / "two.csv", requirements=[tmp_path / "asked.yaml"], standing=False)
    assert found.exit_code == 2
    assert "asked.yaml:18:30: error[unknown-name]: 'D1' was taken out" in found.doubts
    with pytest.raises(interlock.RequestError, match="workers is 1 or more"):
        interlock.prove_fleet(tmp_path / "two.csv", workers=0)


@pytest.mark.parametrize(
    "demo", [SINGLE.removeprefix(DEMO), *(pytest.param(one, marks=pytest.mark.slow) for one in demonstrations())]
)
def test_proofs_are_those_of_the_command(demo: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Of every demonstration: document and exit code are what `interlock prove` gives."""
    code, out = printed(capsys, "prove", f"demo:{demo}", "--no-cache", "--format", "json")
    proof = interlock.prove_hold(interlock.load_hold(f"demo:{demo}"))
    assert proof.exit_code == code
    assert json.loads(proof.json()) == json.loads(out)
    assert proof.statuses() == {one["id"]: one["status"] for one in json.loads(out)["holds"][0]["requirements"]}


@pytest.mark.slow
@pytest.mark.parametrize("name", procedures())
def test_audits_are_those_of_the_command(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Of every demonstration procedure."""
    code, out = printed(capsys, "audit", f"demo:{name}", "--no-interlock", "--format", "json")
    audit = interlock.audit_procedure(f"demo:{name}", interlock=False)
    assert (audit.exit_code, json.loads(audit.json())) == (code, json.loads(out))


TEST_SECONDS = 60.0


def small(situation: str | None = None) -> interlock.Hold:
    """The small hold of the tests, of a file in the folder of the test."""
    return interlock.load_hold("small.yaml", situation=situation)


OTHERS: list[tuple[str, Callable[[], interlock.Result[Facts]]]] = [
    (
        "checklist small.yaml --no-standing --goal D1_is_open",
        lambda: interlock.make_checklist(interlock.load_hold("small.yaml", standing=False), goal="D1 is open"),
    ),
    ("checklist small.yaml --goal false", lambda: interlock.make_checklist(small(), goal="false")),
    ("compare small.yaml wider.yaml", lambda: interlock.compare_holds(small(), interlock.load_hold("wider.yaml"))),
    ("defer small.yaml SL", lambda: interlock.defer(small(), "SL")),
    ("failures small.yaml --together 2", lambda: interlock.analyse_failures(small(), together=2)),
    ("test small.yaml --time 60", lambda: interlock.make_test(small(), seconds=TEST_SECONDS)),
    ("family fitted.yaml", lambda: interlock.prove_family(interlock.load_hold("fitted.yaml"))),
    ("audit work.yaml", lambda: interlock.audit_procedure("work.yaml")),
    ("fleet tails.csv --workers 1", lambda: interlock.prove_fleet("tails.csv")),
    ("prove small.yaml --no-cache", lambda: interlock.prove_hold(small())),
]
SOFTER = SMALL.replace('opens: "true"', 'opens: "false"')
FITTED = (
    SMALL
    + """
options:
  - id: BARE
    name: no right guide
    changes: [{remove: RG}]
"""
)
WORK = """
interlock: 1
procedure: Raise the sill latch behind the open door
hold: small.yaml
steps: [unlock D1, unlatch D1, open D1, raise SL]
goal: SL is raised
"""


@pytest.mark.parametrize(("line", "ask"), OTHERS, ids=[line for line, _ in OTHERS])
def test_other_studies_are_those_of_the_commands(
    line: str,
    ask: Callable[[], interlock.Result[Facts]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """One of each: the same document, the same code, and every format that the command has for it is rendered."""
    for name, text in (("small", SMALL), ("wider", SOFTER), ("fitted", FITTED), ("work", WORK)):
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "tails.csv").write_text("tail,hold,options\nZZ-AAA,small.yaml,\nZZ-AAB,fitted.yaml,BARE\n")
    monkeypatch.chdir(tmp_path)
    code, out = printed(capsys, *(word.replace("_", " ") for word in line.split()), "--format", "json")
    found = ask()
    assert found.exit_code == code
    assert json.loads(found.json()) == json.loads(out)
    for name in some(found.formats):
        assert found.rendered(name).strip()
    assert set(found.formats) >= {"text", "json"}
    assert ("html" in found.formats) == ("false" not in line)
    if isinstance(found, interlock.Checklist):
        assert found.is_made == ("false" not in line)


# ---- as in a notebook --------------------------------------------------------------------------------------------


class Seen(HTMLParser):
    """What a browser would make of markup: its tags, and what stands in frames."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.frames: list[dict[str, str | None]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Notes it."""
        self.tags.append(tag)
        if tag == "iframe":
            self.frames.append(dict(attrs))


def test_results_show_themselves_in_a_notebook() -> None:
    """The page stands in a frame that runs nothing and is the page; the text is there for whoever shows no frames."""
    hold = interlock.load_hold(FLAWED)
    proof = interlock.prove_hold(hold, only=["nobody-shut-in", "no-drive-under-a-person"])
    seen = Seen()
    seen.feed(proof._repr_html_())
    assert seen.tags == ["iframe", "details", "summary", "pre"]
    frame = seen.frames[0]
    assert frame["srcdoc"] == proof.html()
    assert frame["sandbox"] is None
    assert "FAILS" in unescape(proof._repr_html_())
    assert "<svg" in hold._repr_html_()
    assert repr(proof) == "<interlock.Proof of prove, exit code 1>"
    assert "81 requirements" in repr(hold)


def test_names_of_users_are_no_markup() -> None:
    """A title that is written as markup stays a text, in the plan, in the page and in the text beside it."""
    evil = "<script>alert(1)</script>"
    text = SMALL.replace("title: Small hold", f'title: "{evil}"').replace("half-width container", f'"{evil}"')
    hold = interlock.load_text(text, standing=False)
    shown = hold._repr_html_() + interlock.prove_hold(hold)._repr_html_()
    assert "&lt;script&gt;" in shown
    assert "<script" not in shown


def test_tables_are_plain_rows() -> None:
    """Every row has names and values of Python; what has parts is told by part; each row of the facts is there."""
    proof = interlock.prove_hold(interlock.load_hold(FLAWED), only=["nobody-shut-in", "no-drive-under-a-person"])
    rows = proof.records("requirements")
    assert len(rows) == len(proof.facts.requirements) > 1
    failing = [row for row in rows if row["status"] == "fails"]
    assert failing
    assert failing[0]["finding.steps"] == len(failing[0]["story.steps"])  # type: ignore[arg-type]
    assert isinstance(failing[0]["written_at.line"], int)
    for row in rows:
        assert all(isinstance(value, str | int | float | bool | list | None) for value in row.values())
    assert "requirements" in proof.tables
    with pytest.raises(interlock.RequestError, match="there is no table 'requirement' in this, only"):
        proof.records("requirement")


def test_undecided_is_no_yes() -> None:
    """A result cannot be taken for true, whatever came out; a limit leaves things undecided."""
    proof = interlock.prove_hold(interlock.load_hold(SINGLE), only=["nobody-shut-in"], method="bounded", depth=1)
    assert proof.exit_code == 3
    assert set(proof.statuses().values()) == {"undecided"}
    with pytest.raises(TypeError, match="neither true nor false"):
        bool(proof)


# ---- what goes wrong ---------------------------------------------------------------------------------------------


def test_faults_of_a_description_come_all_at_once() -> None:
    """As the command line shows them, and as values; the doubts of a sound one are told."""
    with pytest.raises(interlock.DescriptionError) as caught:
        interlock.load_text("interlock: 1\ntitel: x\nunits: []\n", name="cell")
    assert "cell:2:1: error[unknown-field]" in str(caught.value)
    assert "did you mean 'title'?" in str(caught.value)
    assert {fault.code for fault in caught.value.faults} >= {"unknown-field", "missing-field"}
    assert all(fault.span.file == "cell" and fault.span.line for fault in caught.value.faults)
    assert interlock.load_hold(SINGLE).doubts == ""


WRONG: list[tuple[str, Callable[[], object]]] = [
    ("Cannot read no-such.yaml: No such file", lambda: interlock.load_hold("no-such.yaml")),
    ("has no situation 'x'", lambda: interlock.load_hold(SINGLE, situation="x")),
    ("There is no requirement 'x'", lambda: interlock.prove_hold(interlock.load_hold(SINGLE), only=["x"])),
    ("no method 'x'", lambda: interlock.prove_hold(interlock.load_hold(SINGLE), method="x")),
    ("say what is wanted", lambda: interlock.make_checklist(interlock.load_hold(SINGLE))),
    ("There is no bay '9L'", lambda: interlock.make_checklist(interlock.load_hold(SINGLE), load="9L=HALF")),
    ("is never 'opn'", lambda: interlock.make_checklist(interlock.load_hold(SINGLE), goal="D1 is opn")),
    ("Cannot read no-such.yaml", lambda: interlock.audit_procedure("no-such.yaml")),
    ("together is 1, 2 or 3", lambda: interlock.analyse_failures(interlock.load_hold(SINGLE), together=4)),
    (
        "same: ",
        lambda: interlock.compare_holds(interlock.load_hold(SINGLE), interlock.load_hold(FLAWED), same={"X": "Y"}),
    ),
    ("say what is asked about", lambda: interlock.make_questions(interlock.load_hold(SINGLE))),
    ("number is 1 to 40", lambda: interlock.make_questions(interlock.load_hold(SINGLE), load="4C=HALF", number=0)),
    ("'M9'", lambda: interlock.defer(interlock.load_hold(SINGLE), "M9")),
]


@pytest.mark.parametrize(("told", "ask"), WRONG, ids=[told[:24] for told, _ in WRONG])
def test_what_does_not_go_together_is_told(told: str, ask: Callable[[], object]) -> None:
    """As an error of ours, which says what; nothing of the library that reads command lines is seen."""
    with pytest.raises(interlock.RequestError) as caught:
        ask()
    assert told in str(caught.value)
    assert isinstance(caught.value, interlock.InterlockError)


def test_the_example_of_the_readme_runs(tmp_path: Path) -> None:
    """As it stands there, with what it prints."""
    import doctest

    (example,) = blocks(README, "pycon")
    assert len([line for line in example.splitlines() if line.startswith(">>> ")]) >= 5
    parsed = doctest.DocTestParser().get_doctest(example, {}, "README.md", None, 0)
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
    told: list[str] = []
    runner.run(parsed, out=told.append)
    assert runner.summarize(verbose=False).failed == 0, "".join(told)
