"""What is not decided is told with the reason and with what may bring an answer, in words that need no solver."""

from __future__ import annotations

import json

import pytest

from interlock.cli.exit_codes import code_of_hold
from interlock.kernel.claims import Limits, Undecided
from interlock.kernel.why import Helps, Why
from interlock.prove.decide import decide
from interlock.prove.engine import Engine
from interlock.prove.search.explicit import explicit
from interlock.prove.search.guided import guided
from interlock.report.json.writing import document
from interlock.report.text.lines import as_text
from interlock.report.text.proof import proof_lines
from interlock.report.views.proof import WHAT_TO_TRY, proof_facts, proof_view
from interlock.study.verify import verify
from tests.golden.small_hold import requirement_texts, small_hold

CASES: dict[str, tuple[Engine, Limits, Helps]] = {
    "no time": (decide, Limits(seconds=0.0), Helps.TIME),
    "no memory": (decide, Limits(memory=1), Helps.MEMORY),
    "a bound": (explicit, Limits(depth=1), Helps.DEPTH),
    "stopped": (decide, Limits(stop=lambda: True), Helps.END),
    "a way that only finds runs": (guided, Limits(), Helps.METHOD),
}
JARGON = ("frame", "query", "queries", "clause", "lemma", "induct", "solver", "SAT", "heuristic", "invariant")


@pytest.mark.parametrize(("engine", "limits", "helps"), [pytest.param(*case, id=id) for id, case in CASES.items()])
def test_each_reason_comes_with_what_to_try(engine: Engine, limits: Limits, helps: Helps) -> None:
    """Whatever kept it from being decided: text and JSON say why, and what of it the user can change."""
    found = verify(small_hold(), engine, limits)
    reasons = [one.finding.reason for one in found.answers if isinstance(one.finding, Undecided)]
    assert reasons
    assert {reason.helps for reason in reasons if isinstance(reason, Why)} == {helps}
    proof = proof_view("small.yaml", found, requirement_texts(), code_of_hold(found))
    text = " ".join(as_text(proof_lines(proof, every=False)).split())
    assert f"why: {reasons[0]} try: {WHAT_TO_TRY[helps]}" in text
    told = json.loads(document(proof_facts([proof], {}, 3)))["holds"][0]["requirements"]
    opened = [one["finding"] for one in told if one["status"] == "undecided"]
    assert [one["what_to_try"] for one in opened] == [WHAT_TO_TRY[helps]] * len(reasons)
    assert not [word for word in JARGON for reason in reasons if word in reason]


def test_each_kind_of_help_is_another() -> None:
    """Of every kind of reason it is said what to try, of each something else."""
    assert len({WHAT_TO_TRY[helps] for helps in Helps}) == len(Helps)
