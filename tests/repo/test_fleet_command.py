"""`interlock fleet`: a verdict for each tail, what tells tails apart, what is refused, and what is never believed."""

from __future__ import annotations

import csv
import gc
import json
import weakref
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from interlock import cli
from interlock.cli import cache, fleet_work
from interlock.cli.exit_codes import DISPUTED, DONE, FOUND, REJECTED, UNDECIDED
from interlock.cli.fleet_work import Job, Reply
from interlock.kernel.claims import Certificate, Finding, Holds, Proved
from interlock.kernel.expressions import FALSE
from interlock.report.json.writing import schema
from interlock.report.views.fleet_facts import FleetFacts
from interlock.study import kept_claims, recalling, sessions
from interlock.study.families import asking, families
from interlock.study.fleet import together
from interlock.study.verify import Status
from tests.golden.small_hold import REQUIREMENTS, TEXT
from tests.some import some

SAFE = TEXT.replace('hand_work: "true"', "hand_work: D1 is open").replace(
    "closes: not D1 is sill_covered", "closes: not D1 is sill_covered and (1C is empty or up)"
) + ("sensors:\n  - {id: up, name: switch of the sill latch, reads: SL is raised}\n")
BRIDGED = """\
interlock: 1
title: The switch of the sill latch left out
modifies: {hold}
changes:
  - change: D1
    to: {{closes: not D1 is sill_covered}}
"""
NO_LATCH = """\
interlock: 1
title: Without the sill latch
modifies: safe.yaml
changes:
  - change: D1
    to: {closes: not D1 is sill_covered}
  - remove: up
  - remove: SL
"""
FLEET = """\
tail,hold,options,deferrals
ZZ-AAA,safe.yaml,,
ZZ-AAB,safe.yaml,options/bridged.yaml,
ZZ-AAC,safe.yaml,,SL=lowered
ZZ-AAD,./safe.yaml,,
ZZ-AAE,safe.yaml,options/bridged.yaml,SL=raised
ZZ-AAF,other.yaml,,
"""
ASKED = ("--no-standing", "--requirements", "asked.yaml", "--only", "secured-behind-door")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with two holds, two options and a fleet, and with a cache of its own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(cache, "_folder", lambda: tmp_path / "cache")
    write_fleet()


def write_fleet() -> None:
    """The holds, the options, the requirements and the fleet, in the folder that we are in."""
    Path("options").mkdir()
    Path("safe.yaml").write_text(SAFE)
    Path("other.yaml").write_text(TEXT.replace("Small hold", "Other hold"))
    Path("options/bridged.yaml").write_text(BRIDGED.format(hold="../safe.yaml"))
    Path("no-latch.yaml").write_text(NO_LATCH)
    Path("asked.yaml").write_text(REQUIREMENTS)
    Path("fleet.csv").write_text(FLEET)


def run(*args: str, file: str = "fleet.csv") -> int:
    """The command in this process."""
    return cli.run(["fleet", file, *ASKED, "--workers", "1", *args])


def told(capsys: pytest.CaptureFixture[str]) -> str:
    """Standard output as one line."""
    return " ".join(capsys.readouterr().out.split())


def result(*args: str, file: str = "fleet.csv", code: int = FOUND) -> Any:
    """The JSON result, which is as its schema says."""
    assert run(*args, "--output", "result.json", file=file) == code
    found = json.loads(Path("result.json").read_text())
    jsonschema.validate(found, schema(FleetFacts))
    return found


def test_each_tail_has_its_verdict_and_alike_ones_are_proved_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Five configurations for six aircraft; a file named in two ways is one."""
    worked: list[Job] = []
    work = fleet_work.work

    def noted(job: Job) -> Reply:
        worked.append(job)
        return work(job)

    monkeypatch.setattr(fleet_work, "work", noted)
    found = result()
    assert len(worked) == 5
    verdicts = {one["tail"]: one["result"] for one in found["aircraft"]}
    failing = {"ZZ-AAB", "ZZ-AAF"}
    assert verdicts == {f"ZZ-AA{x}": "fails" if f"ZZ-AA{x}" in failing else "holds" for x in "ABCDEF"}
    assert found["configurations"][0]["tails"] == ["ZZ-AAF"]
    assert ["ZZ-AAA", "ZZ-AAD"] in [one["tails"] for one in found["configurations"]]


def test_what_tells_tails_apart_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    """The switch that is left out, unless the latch is stuck up; and what fails on all of a hold."""
    assert run() == FOUND
    out = told(capsys)
    assert "exactly where 'options/bridged.yaml' is fitted and 'SL=raised' is not deferred" in out
    assert "secured-behind-door[1C]: on every aircraft with this hold" in out
    assert "This releases no aircraft." in out


def test_tables_and_pages_have_every_tail_and_the_caution() -> None:
    """Each row of the table has the caution with it; the page and the table agree with the JSON."""
    found = result()
    assert run("--output", "result.csv") == run("--output", "result.html") == FOUND
    rows = list(csv.DictReader(Path("result.csv").read_text().splitlines()))
    assert [(row["tail"], row["result"]) for row in rows] == [(o["tail"], o["result"]) for o in found["aircraft"]]
    page = Path("result.html").read_text()
    for row in some(rows):
        assert "releases no aircraft" in row["caution"]
        assert row["tail"] in page
    assert "releases no aircraft" in page


def test_yaml_says_the_same_as_a_table() -> None:
    """Rows with repetitions, one option without brackets."""
    Path("fleet.yaml").write_text(
        """\
interlock: 1
fleet: The same fleet
aircraft:
  - {for: {x: [A, D]}, tail: "ZZ-AA{x}", hold: safe.yaml}
  - {tail: ZZ-AAB, hold: safe.yaml, options: options/bridged.yaml}
  - {tail: ZZ-AAC, hold: safe.yaml, deferrals: [SL=lowered]}
  - {tail: ZZ-AAE, hold: safe.yaml, options: [options/bridged.yaml], deferrals: SL=raised}
  - {tail: ZZ-AAF, hold: other.yaml}
"""
    )
    table, written = result(), result(file="fleet.yaml")
    for found in (table, written):
        assert len(found["configurations"]) == 5
    assert {(o["tail"], o["result"]) for o in table["aircraft"]} == {
        (o["tail"], o["result"]) for o in written["aircraft"]
    }


def test_every_fault_comes_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    """Columns, tails given twice, files that are not there, wrong options, items and ways with the nearest name."""
    Path("fleet.csv").write_text(
        """\
tail,hold,option,deferrals
ZZ-AAA,safe.yaml,,SX=lowered
"ZZ-AAA",sage.yaml,,
ZZ-AAB,safe.yaml,,"SL=lowred"
,safe.yaml,,
ZZ-AAC,safe.yaml,,SL,more
ZZ-AAD,safe.yaml,,"SL=lowered with 1X is empty"
ZZ-AAE,sage.yaml,,SX=lowered
ZZ-AAF,safe.yaml,,"SL=lowered
ZZ-AAG,safe.yaml,,"SL=lowered, SL=raised"
ZZ-AAH,safe.yaml,,"SL=lowered with every b in bays, b is empty"
"""
    )
    assert run() == REJECTED
    err = capsys.readouterr().err
    for place in some(
        (
            "1:11: error[unknown-field]",
            "2:19: error[unknown-name]",
            "3:1: error[listed-twice]",
            "3:10: error[missing-file]",
            "4:23: error[unknown-state]",
            "5:1: error[missing-field]",
            "6:22: error[not-a-table]",
            "6:19: error[unknown-failure]",
            "7:36: error[unknown-name]",
            "8:8: error[missing-file]",
            "9:19: error[not-a-table]",
            "10:20: error[not-a-table]",
        )
    ):
        assert f"fleet.csv:{place}" in err, place
    assert "did you mean 'options'?" in err
    assert "did you mean 'lowered'?" in err
    # what stands in one cell is set apart by semicolons, and told once; in a limit a comma is in its place
    assert err.count("fleet.csv:10:") == 1
    assert "fleet.csv:11:" not in err
    assert ' 4 | ZZ-AAB,safe.yaml,,"SL=lowred"\n   |                       ^~~~~~\n' in err


def test_a_fault_in_another_file_says_which_aircraft_asks_for_it(capsys: pytest.CaptureFixture[str]) -> None:
    """Told once, although two holds are made of the file, with the first line of the fleet that fits it."""
    Path("wrong.yaml").write_text(BRIDGED.format(hold="safe.yaml").replace("closes: not D1", "closes: not D9"))
    Path("fleet.csv").write_text(
        "tail,hold,options,deferrals\nZZ-AAA,safe.yaml,,\nZZ-AAB,safe.yaml,wrong.yaml,\n"
        "ZZ-AAC,other.yaml,,\nZZ-AAD,./safe.yaml,wrong.yaml; options/bridged.yaml,\n"
    )
    assert run() == REJECTED
    err = capsys.readouterr().err
    assert err.count("error[unknown-name]: 'D9'") == 1
    assert "= asked for at fleet.csv, line 3\n" in err
    assert "once more" not in err


@pytest.mark.parametrize(
    ("first", "said"),
    [
        ("tail;hold;options;deferrals", "semicolons set the columns apart"),
        ("tail\thold\toptions\tdeferrals", "tabulators set the columns apart"),
        ("Tail,Hold,Options,Deferrals", "did you mean 'tail'?"),
    ],
)
def test_a_first_line_as_other_programs_write_it_is_told_as_such(
    first: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One fault, which says what to write instead."""
    Path("fleet.csv").write_text(first + "\n")
    assert run() == REJECTED
    err = capsys.readouterr().err
    assert "fleet.csv:1:1: error[missing-field]" in err
    assert said in err
    assert "tail,hold,options,deferrals" in err
    assert "rejected, 1 fault" in err


def test_paths_go_by_the_folder_of_the_fleet_and_show_no_other_file(capsys: pytest.CaptureFixture[str]) -> None:
    """By the rules of `modifies`: no absolute path, and of a file that is none of ours no line."""
    Path("secret.txt").write_text("password: 12345\n")
    Path("far").mkdir()
    Path("far/fleet.csv").write_text("tail,hold\nZZ-AAA,../safe.yaml\n")
    assert run(file="far/fleet.csv") == DONE
    Path("far/fleet.csv").write_text(f"tail,hold,options\nA,../secret.txt,\nB,{Path.cwd()}/safe.yaml,\nC,-,\n")
    assert run(file="far/fleet.csv") == REJECTED
    err = capsys.readouterr().err
    assert err.count("error[missing-file]") == 2
    assert "error[wrong-file]" in err
    assert "12345" not in err


def test_an_option_must_be_one_of_that_hold(capsys: pytest.CaptureFixture[str]) -> None:
    """A modification of another hold, and a hold in full, are no options."""
    Path("fleet.csv").write_text("tail,hold,options\nA,other.yaml,options/bridged.yaml\nB,safe.yaml,other.yaml\n")
    assert run() == REJECTED
    err = capsys.readouterr().err
    Path("fleet.csv").write_text("tail,hold,options\nA,other.yaml,ONE TWO\n")
    assert run() == REJECTED
    assert "= expected the id of an option of that hold, or a path" in capsys.readouterr().err
    assert "fleet.csv:2:14: error[wrong-file]" in err and "modifies another hold" in err
    assert "fleet.csv:3:13: error[wrong-file]" in err and "is no modification" in err


def test_what_makes_no_hold_together_is_rejected_and_the_rest_is_proved(capsys: pytest.CaptureFixture[str]) -> None:
    """Each for itself is fine: two changes of which one takes away what the other needs."""
    Path("fleet.csv").write_text(
        "tail,hold,options,deferrals\nZZ-AAA,safe.yaml,no-latch.yaml,SL=lowered\nZZ-AAB,safe.yaml,,\n"
    )
    found = result(code=REJECTED)
    assert {one["tail"]: one["result"] for one in found["aircraft"]} == {"ZZ-AAA": "rejected", "ZZ-AAB": "holds"}
    assert "no item 'SL'" in found["groups"][0]["refusals"][0]["message"]
    assert "fleet.csv:2:32: error[unknown-name]" in capsys.readouterr().err


def test_out_of_time_nothing_is_said_to_hold() -> None:
    """Undecided, with why; nothing of it is kept."""
    found = result("--time", "0.001", "--journal", "kept", code=UNDECIDED)
    assert {one["result"] for one in found["aircraft"]} == {"undecided"}
    assert len(Path("kept").read_bytes().splitlines()) == 1
    assert not Path("cache").exists()


# ---- families ----------------------------------------------------------------------------------------------------

OPTIONS = """\
options:
  - id: bridged
    name: the switch of the sill latch left out
    changes: [{change: D1, to: {closes: not D1 is sill_covered}}]
  - id: no_units
    name: no unit is carried
    excludes: beam
    changes: [{change: D1, to: {opens: never}}]
  - id: beam
    name: a beam over the sill
    changes: [{add: {sensors: [{id: beam_cut, name: beam, reads: D1 is sill_covered}]}}]
"""


def family(cells: Sequence[str] = ("", "SL=lowered", "SL=raised", "SL=lowered with 1C is empty")) -> None:
    """A fleet of a hold with options in which each of these is deferred, and what goes with nothing else."""
    Path("family.yaml").write_text(SAFE + OPTIONS)
    options = ("", "bridged", "beam", "bridged; beam", "bridged; no_units")
    rows = [f"ZZ-{a}{b},family.yaml,{o},{d}" for a, o in enumerate(options) for b, d in enumerate(cells)]
    # what has failed is no option, nor is the file of a modification
    rows += ["ZZ-X,family.yaml,bridged,up=stuck_true", "ZZ-Y,family.yaml,options/of-family.yaml; beam,"]
    Path("options/of-family.yaml").write_text(BRIDGED.format(hold="../family.yaml"))
    Path("fleet.csv").write_text("\n".join(["tail,hold,options,deferrals", *rows]) + "\n")


def told_of(found: Any) -> list[Any]:
    """What is told of each configuration, but for how long runs are."""
    groups = {one["number"]: one for one in found["groups"]}
    return [
        (
            one["result"],
            one["asked"],
            one["vacuous"],
            one["assumes"],
            [x["id"] for x in groups[one["group"]]["failing"]],
        )
        for one in found["configurations"]
    ]


def test_a_family_says_what_each_configuration_says_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """Options and deferrals in all combinations: the same verdicts, and each group told with a run."""
    family()
    asked = ("--no-cache", "--only", "never-locked-while-open", "--only", "bay-filled")
    alone = result("--alone", *asked)
    capsys.readouterr()
    assert run(*asked) == FOUND
    assert "2 configurations proved alone, 20 proved together with others" in told(capsys)
    found = result(*asked)
    assert told_of(found) == told_of(alone)
    assert found["holds"] == alone["holds"]
    assert len({one["result"] for one in found["configurations"]}) == 2
    stories = [one["story"] is not None for group in found["groups"] for one in group["failing"]]
    assert any(stories)


def test_a_family_that_is_contradicted_is_disputed(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is said to fail together, and holds alone, gives 4: it is not quietly proved again."""
    family(("", "SL=lowered", "SL=raised"))
    monkeypatch.setattr(families.Outcome, "status_in", lambda outcome, some: Status.FAILS)
    found = result("--no-cache", code=DISPUTED)
    assert {one["result"] for one in found["groups"] if one["disputed"]} == {"disputed"}
    assert any("fails of all configurations together" in one["why"] for g in found["groups"] for one in g["disputed"])


def test_what_a_family_leaves_open_is_proved_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the family says nothing of some, they are asked by themselves; nothing is lost, nothing is there twice."""
    family(("", "SL=lowered", "SL=raised"))
    alone = result("--alone", "--no-cache")
    statuses = together._statuses

    def some(family: Any, fitted: frozenset[str]) -> Any:
        return None if len(fitted) == 1 else statuses(family, fitted)

    monkeypatch.setattr(together, "_statuses", some)
    found = result("--no-cache")
    assert told_of(found) == told_of(alone)


def test_an_option_that_is_none_is_told_with_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    """Of a hold that has options and of one that has none."""
    family()
    Path("fleet.csv").write_text("tail,hold,options\nA,family.yaml,bridge\nB,safe.yaml,bridged\n")
    assert run() == REJECTED
    err = capsys.readouterr().err
    assert "fleet.csv:2:15: error[unknown-name]: 'bridge' is no option of that hold" in err
    assert "did you mean 'bridged'?" in err
    assert "fleet.csv:3:13: error[unknown-name]" in err


def test_options_that_exclude_one_another_are_rejected(capsys: pytest.CaptureFixture[str]) -> None:
    """The place is that of the fleet; the rest is proved."""
    family()
    Path("fleet.csv").write_text("tail,hold,options\nA,family.yaml,no_units; beam\nB,family.yaml,beam\n")
    found = result(code=REJECTED)
    assert [one["result"] for one in found["aircraft"]] == ["rejected", "holds"]
    assert "fleet.csv:2:15: error[options-exclude]" in capsys.readouterr().err


# ---- what was kept -----------------------------------------------------------------------------------------------


def test_what_was_kept_is_confirmed_and_says_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    """From the cache and from a journal every byte is the same, and nothing is proved again."""
    plain = result("--no-cache")
    assert not Path("cache").exists()
    assert result() == result() == result("--no-cache", "--journal", "kept") == plain
    capsys.readouterr()
    assert run() == run("--no-cache", "--journal", "kept") == FOUND
    assert told(capsys).count("0 configurations proved alone, 5 confirmed again from what was kept") == 2


def test_an_interrupted_run_goes_on_where_it_stopped(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Stopped after two: those are told, the others are undecided; then only the others are proved."""
    plain = result("--no-cache")
    work = fleet_work.work
    worked: list[int] = []

    def interrupted(job: Job) -> Reply:
        if len(worked) == 2:
            raise KeyboardInterrupt
        worked.append(job.numbers[0])
        return work(job)

    monkeypatch.setattr(fleet_work, "work", interrupted)
    found = result("--no-cache", "--journal", "kept")
    assert sorted(one["result"] for one in found["configurations"]).count("undecided") == 3
    assert {one["why"] for one in found["groups"] if one["result"] == "undecided"} == {"stopped before it was decided"}
    monkeypatch.setattr(fleet_work, "work", work)
    capsys.readouterr()
    assert run("--no-cache", "--journal", "kept") == FOUND
    assert "3 configurations proved alone, 2 confirmed again" in told(capsys)
    assert result("--no-cache", "--journal", "kept") == plain


def test_a_damaged_line_of_a_journal_is_as_if_it_were_not_there(capsys: pytest.CaptureFixture[str]) -> None:
    """One sign changed, and the last line torn: these two are proved again, and put there anew."""
    run("--no-cache", "--journal", "kept")
    lines = Path("kept").read_bytes().splitlines(keepends=True)
    assert len(lines) == 6
    lines[2] = lines[2][:200] + (b"A" if lines[2][200:201] != b"A" else b"B") + lines[2][201:]
    Path("kept").write_bytes(b"".join([*lines[:-1], lines[-1][:300]]))
    capsys.readouterr()
    assert run("--no-cache", "--journal", "kept") == FOUND
    assert "2 configurations proved alone, 3 confirmed again from what was kept" in told(capsys)
    assert run("--no-cache", "--journal", "kept") == FOUND
    assert "0 configurations proved alone, 5 confirmed" in told(capsys)


@pytest.mark.parametrize("other", ["safe.yaml", "."])
def test_a_file_that_is_no_journal_is_left_alone(other: str, capsys: pytest.CaptureFixture[str]) -> None:
    """It is named, and not written to."""
    before = Path("safe.yaml").read_bytes()
    assert run("--journal", other) == REJECTED
    assert "--journal" in capsys.readouterr().err
    assert Path("safe.yaml").read_bytes() == before


def forged() -> Iterator[Path]:
    """What is in the cache, with the claims of the sound configuration in the place of those of every other one.

    They are made anew for that machine: key and digests are right, so that nothing but checking them can tell.
    """
    entries = sorted(Path("cache/claims").iterdir())
    contents = {path: path.read_bytes() for path in entries}
    sound = next(
        kept
        for path, content in contents.items()
        if (kept := kept_claims.from_bytes(content, path.stem)) is not None
        and all(isinstance(one, Proved) for one in kept.claims.values())
    )
    for path in entries:
        claimed = {id: one for id, one in sound.claims.items() if isinstance(one, Proved)}
        findings = [Holds(id, one, "nobody") for id, one in claimed.items()]
        path.write_bytes(kept_claims.as_bytes(path.stem, findings, ()))
        yield path


def test_forged_entries_are_not_believed(capsys: pytest.CaptureFixture[str]) -> None:
    """Entries that claim for every hold what was proved of the sound one: no verdict changes, and it is said."""
    plain = result()
    assert len(list(forged())) == 5
    assert run() == FOUND
    assert "not believed" in told(capsys)
    assert list(forged()) and result() == plain


def test_without_the_check_they_would_be_believed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The test above can fail: where claims are taken at their word, a tail that fails is said to hold."""
    result()
    assert list(forged())

    def gullible(
        machine: object, questions: Sequence[object], claims: Sequence[Any], *rest: object
    ) -> tuple[Finding, ...]:
        return tuple(Holds(claim.question, claim, "nobody") for claim in claims)

    monkeypatch.setattr(sessions, "confirm", gullible)
    found = result(code=DONE)
    assert {one["result"] for one in found["aircraft"]} == {"holds"}


def test_what_a_family_proof_found_is_confirmed_and_says_the_same(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """From the cache and from a journal: nothing is asked of an engine again, and every byte is the same."""
    family(("", "SL=lowered", "SL=raised"))
    only = ("--only", "never-locked-while-open", "--only", "bay-filled")
    plain = result(*only)
    run(*only, "--no-cache", "--journal", "kept")
    capsys.readouterr()

    def nothing(*args: Any, **more: Any) -> Any:
        raise AssertionError("an engine was asked")

    for engine in ("decide", "recover"):
        monkeypatch.setattr(asking, engine, nothing)
    monkeypatch.setattr(recalling, "decide", nothing)
    assert result(*only) == plain
    for asked in ((), ("--no-cache", "--journal", "kept")):
        assert run(*only, *asked) == FOUND
        assert "0 configurations proved alone, 17 confirmed again from what was kept" in told(capsys)


def test_no_verdict_of_a_family_rests_on_what_cannot_be_confirmed(capsys: pytest.CaptureFixture[str]) -> None:
    """A damaged entry, one in the place of another, one that claims that all holds: proved again, the same result."""
    family(("", "SL=lowered", "SL=raised"))
    only = ("--only", "never-locked-while-open", "--only", "bay-filled")
    plain = result(*only)
    entries = sorted(Path("cache/claims").iterdir())
    contents = [path.read_bytes() for path in entries]
    for number, path in enumerate(entries):
        content = contents[number]
        kept = kept_claims.from_bytes(content, path.stem)
        assert kept is not None
        proof = Proved("any", "decide", Certificate((FALSE,)))
        holds = [Holds(id, replace(proof, question=id), "nobody") for id in kept.claims]
        damaged = content[:-1] + bytes([content[-1] ^ 1])
        forged_one = kept_claims.as_bytes(path.stem, holds, ())
        path.write_bytes((forged_one, damaged, contents[number - 1])[number % 3])
    capsys.readouterr()
    assert run(*only) == FOUND
    assert f"{len(entries)} kept entries not believed" in told(capsys)
    assert result(*only) == plain


def test_what_a_job_leaves_in_circles_is_gone_before_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the collector hardly ever runs by itself, as in this program, no process grows from job to job."""
    left: list[weakref.ref[Any]] = []

    class Round:
        def __init__(self) -> None:
            self.itself = self
            left.append(weakref.ref(self))

    def alone(job: Job) -> Reply:
        Round()
        return Reply({})

    monkeypatch.setattr(fleet_work, "_alone", alone)
    gc.disable()
    try:
        fleet_work.work(Job((0,), (), (), {}, (), (), None, None, False))
        assert left[0]() is None
    finally:
        gc.enable()


# ---- processes ---------------------------------------------------------------------------------------------------


def test_several_processes_say_the_same() -> None:
    """Four workers give the bytes that one gives."""
    assert run("--no-cache", "--output", "one.json") == FOUND
    assert cli.run(["fleet", "fleet.csv", *ASKED, "--no-cache", "--workers", "4", "--output", "four.json"]) == FOUND
    assert Path("four.json").read_bytes() == Path("one.json").read_bytes()
