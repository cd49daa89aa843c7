"""Whoever waits is told what is known so far, and whoever asks what took long has a time for each requirement."""

from __future__ import annotations

from interlock.cli.exit_codes import code_of_hold
from interlock.kernel.claims import Limits, Progress
from interlock.prove.decide import decide
from interlock.report.text.lines import as_text
from interlock.report.text.proof import proof_lines, proof_report
from interlock.report.views.proof import proof_view
from interlock.study.pace import Results
from interlock.study.verify import Verification, leave_undecided, verify
from tests.agreement.hold_texts import compile_file, standing

HOLD = "models/single-lane.yaml"
ASKED = ("no-opposed-drives", "locked-only-latched", "bay-can-be-filled")


def proved(told: list[Progress]) -> Verification:
    return verify(compile_file(HOLD, standing()), decide, Limits(), told.append, ASKED)


def test_the_time_of_each_requirement_is_told_beside_it_and_nowhere_else() -> None:
    """Where instances are listed each says when it was known; what is to be the same each time says nothing of it."""
    found = proved([])
    assert set(found.seconds) == {answer.instance.requirement.id for answer in found.answers}
    assert min(found.seconds.values()) >= 0
    view = proof_view(HOLD, found, standing(), code_of_hold(found))
    listed = as_text(proof_report(view, quiet=False, verbose=True, full=False, seconds=1))
    assert listed.count(", after ") == len(found.answers)
    assert ", after " not in as_text(proof_report(view, quiet=False, verbose=False, full=False, seconds=1))
    assert ", after " not in as_text(proof_lines(view, every=True))


def test_what_is_open_has_no_time() -> None:
    """Of what was not decided it is not said that it took a time."""
    assert leave_undecided(compile_file(HOLD, standing()), "not tried").seconds == {}


def test_whoever_waits_hears_how_many_questions_are_answered_and_what_came_of_each_text() -> None:
    """The number never falls and ends with all, and before ways back are looked for there is a line for each text."""
    told: list[Progress] = []
    found = proved(told)
    counted = [int(one.stage.split(" of ")[0]) for one in told if " questions answered; " in one.stage]
    assert counted == sorted(counted)
    assert counted[-1] == len(found.questions)
    (results,) = (one for one in told if isinstance(one, Results))
    holding = sum(answer.instance.origin.id == "no-opposed-drives" for answer in found.answers)
    assert f"no-opposed-drives: {holding} holds" in results.lines
    assert len(results.lines) == len(ASKED)
