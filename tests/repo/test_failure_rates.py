"""`interlock failures --rates`: figures from the rates of a file, and what such a file must say."""

from __future__ import annotations

import json
from itertools import combinations
from math import exp, prod
from pathlib import Path

import pytest

from interlock import cli
from interlock.cli.exit_codes import FOUND, REJECTED
from tests.golden.small_hold import REQUIREMENTS, TEXT
from tests.some import some

CAUSES = """\
common_causes:
  - {id: BENT, name: bent frame, failures: [{of: D1, mode: latch_does_not_hold}, {of: D1, mode: lock_does_not_hold}]}
"""
HEAD = "interlock: 1\nfailure_rates: Invented for tests\nrates:\n"
BENT = "  - {of: BENT, mode: happens, rate: 0.001, per: hour, exposure: 20, source: invented}\n"
LOCK = "  - {of: D1, mode: lock_does_not_hold, rate: 2e-6, per: flight hour, exposure: 250.5, source: invented}\n"
LATCHES = (
    "  - {item: latch of a door, mode: latch_does_not_hold, rate: 3E-6, per: hour, exposure: 9, source: invented}\n"
)
ASKED = ("failures", "small.yaml", "--no-standing", "--requirements", "asked.yaml", "--runs", "0", "--rates", "r.yaml")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the small hold, a common cause in it, and its requirements."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT + CAUSES)
    Path("asked.yaml").write_text(REQUIREMENTS)


def said(capsys: pytest.CaptureFixture[str], rates: str, *options: str) -> str:
    """What is shown with these rates."""
    Path("r.yaml").write_text(HEAD + rates)
    assert cli.run([*ASKED, *options]) == FOUND
    return capsys.readouterr().out


def test_figures_are_those_of_the_sets(capsys: pytest.CaptureFixture[str]) -> None:
    """Of each set the product, of each requirement what inclusion and exclusion over its sets gives."""
    result = json.loads(said(capsys, BENT + LOCK + LATCHES, "--format", "json"))
    chance = {one["failure"]: one["probability"] for one in result["rates"]}
    expected = sorted(1 - exp(-mean) for mean in (0.001 * 20, 2e-6 * 250.5, 3e-6 * 9))
    assert sorted(chance.values()) == pytest.approx(expected)
    assert all(one["source"] == "invented" for one in result["rates"])
    likely = {one["from_"]: one for one in result["likely"]}
    told = 0
    for requirement in some(result["requirements"]):
        sets = [frozenset(one["failures"]) for one in requirement["sets"]]
        for one in requirement["sets"]:
            figure = prod(chance[id] for id in one["failures"]) if one["failures"] else None
            assert one["probability"] == pytest.approx(figure)
        found = likely[requirement["from_"]]
        if frozenset() in sets:
            assert (found["probability"], found["why"]) == (None, "nothing has to fail")
            continue
        told += 1
        union = sum(
            (-1.0) ** (size + 1) * prod(chance[id] for id in frozenset[str]().union(*those))
            for size in range(1, len(sets) + 1)
            for those in combinations(sets, size)
        )
        assert found["probability"] == pytest.approx(union, rel=1e-9)
        assert not found["at_least"]
    assert told == 2


def test_what_has_no_rate_has_no_figure(capsys: pytest.CaptureFixture[str]) -> None:
    """Never nought: a requirement is then at least as likely as what has one, or has none."""
    text = " ".join(said(capsys, BENT).split())
    assert "probability: no figure" in text
    assert "Probability: at least 1.98e-2 (1 set without a figure)" in text
    assert "rates and exposures are those of r.yaml" in text.lower()
    for layout in ("html", "markdown"):
        page = said(
            capsys, LOCK + BENT.replace("BENT, mode: happens", "D1, mode: latch_does_not_hold"), "--format", layout
        )
        assert "no figure" in page
        assert "at least" in page
        assert "1.98e-2" in page.replace("\\", "")
        assert "invented" in page


def test_rates_alike_share_a_row(capsys: pytest.CaptureFixture[str]) -> None:
    """Each failure with a rate is named once, with figures, hours and source."""
    lock = LATCHES.replace("item: latch of a door, mode: latch", "of: D1, mode: lock")
    page = said(capsys, lock + LATCHES + BENT, "--format", "markdown").replace("\\", "")
    rows = [line for line in page.splitlines() if line.endswith("| invented |")]
    assert [line.split(" | ")[1:] for line in rows] == [
        ["3.00e-6 per hour", "9 hours", "2.70e-5", "invented |"],
        ["1.00e-3 per hour", "20 hours", "1.98e-2", "invented |"],
    ]
    assert rows[0].count(";") == 1


def test_what_is_said_of_one_thing_goes_before_the_rest(capsys: pytest.CaptureFixture[str]) -> None:
    """A rate of a sort of item is that of each of them but those with a rate of their own."""
    own = "  - {of: D1, mode: latch_does_not_hold, rate: 1, per: hour, exposure: 1, source: own}\n"
    result = json.loads(said(capsys, LATCHES + own, "--format", "json"))
    assert [one["source"] for one in result["rates"]] == ["own"]


def test_what_is_not_settled_makes_a_lower_bound(capsys: pytest.CaptureFixture[str]) -> None:
    """Without time nothing is known, and nothing is called improbable."""
    Path("r.yaml").write_text(HEAD + BENT)
    cli.run([*ASKED, "--time", "0.001", "--format", "json"])
    result = json.loads(capsys.readouterr().out)
    for one in some(result["likely"]):
        assert one["probability"] is None or one["at_least"]
        assert "there may be other sets" in one["why"] or one["why"] == "nothing has to fail"


@pytest.mark.parametrize(
    ("wrong", "code", "told"),
    [
        (BENT.replace(", source: invented", ""), "missing-field", "lacks 'source'"),
        (BENT.replace("source: invented", "source: ''"), "missing-value", "'source' is empty"),
        (BENT.replace(", exposure: 20", ""), "missing-field", "lacks 'exposure'"),
        (BENT.replace("0.001", "0"), "not-an-amount", "positive number"),
        (BENT.replace("0.001", "-1e-6"), "not-an-amount", "positive number"),
        (BENT.replace("0.001", "nan"), "not-an-amount", "positive number"),
        (BENT.replace("0.001", "1e-400"), "not-an-amount", "positive number"),
        (BENT.replace("per: hour", "per: cycle"), "unknown-choice", "one of hour, flight hour"),
        (BENT.replace("of: BENT", "of: BENTT"), "unknown-name", "did you mean 'BENT'"),
        (BENT.replace("happens", "stuck"), "unknown-failure", "one of happens"),
        (BENT.replace("of: BENT, ", ""), "missing-field", "lacks 'of' or 'item'"),
        (LATCHES.replace("item:", "of: D1, item:"), "field-not-for-this-kind", "says `of` and `item`"),
        (LATCHES.replace("latch_does_not_hold", "stuck"), "unknown-failure", "latch_does_not_hold"),
        (BENT + BENT, "listed-twice", "each failure once"),
        (BENT.replace("BENT, mode: happens", "D1, mode: open, contact: KEY"), "unknown-failure", "no contact 'KEY'"),
    ],
)
def test_a_fault_of_the_file_is_told_at_its_place(
    wrong: str, code: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """With file, line and code; the hold is not looked into, and nothing is shown."""
    Path("r.yaml").write_text(HEAD + wrong)
    assert cli.run([*ASKED]) == REJECTED
    captured = capsys.readouterr()
    assert captured.out == ""
    assert f"r.yaml:{3 + wrong.count(chr(10))}:" in captured.err
    assert code in captured.err
    assert told in captured.err


def test_another_sort_of_file_is_no_file_of_rates(capsys: pytest.CaptureFixture[str]) -> None:
    """Nor are rates a hold."""
    Path("r.yaml").write_text(HEAD + BENT)
    assert cli.run([*ASKED[:-1], "asked.yaml"]) == REJECTED
    assert "not a file of failure rates" in capsys.readouterr().err
    assert cli.run(["failures", "r.yaml"]) == REJECTED
    assert "this file is a file of failure rates, not a hold" in capsys.readouterr().err
