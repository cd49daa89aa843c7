"""Each rule of language is quoted and has sentences that keep it and sentences that do not.

Quoted after public summaries of ASD-STE100 and of MIL-DTL-87268D; the standards themselves were not read.
"""

from __future__ import annotations

import pytest

from interlock.report.views.wording import words_in
from tests.quality.writing_rules import (
    faults_of_instruction,
    faults_of_note,
    faults_of_statement,
    faults_of_warning,
)

GOOD = (
    "Open the control panel cover.",
    "Hold the lane lever to aft until the half-width container stands in bay 6L.",
    "Push spring latch 1 down and keep it down.",
    "If the lamp is on, pull the sill lock handle.",
)


@pytest.mark.parametrize("text", GOOD)
def test_good_instructions(text: str) -> None:
    """Instructions as we write them keep every rule."""
    assert faults_of_instruction(text) == ()


def test_at_most_twenty_words() -> None:
    """ASD-STE100 5.1: "max 20 words per procedural sentence"."""
    twenty = "Open the cover " + " ".join(["very"] * 16) + " slowly."
    assert words_in(twenty) == 20
    assert faults_of_instruction(twenty) == ()
    assert [f[:4] for f in faults_of_instruction(twenty.replace("slowly", "slowly now"))] == ["5.1:"]


@pytest.mark.parametrize(
    "text", ["Open the cover and set the switch to on.", "Open the cover, pull the handle.", "Open the cover. Pull it."]
)
def test_one_instruction(text: str) -> None:
    """ASD-STE100 5.2: "one instruction per sentence unless actions are simultaneous"."""
    assert any(fault.startswith("5.2") for fault in faults_of_instruction(text))


@pytest.mark.parametrize("text", ["The cover is opened.", "You open the cover.", "Opening the cover is next."])
def test_imperative(text: str) -> None:
    """ASD-STE100 5.3: "imperative"."""
    assert any(fault.startswith("5.3") for fault in faults_of_instruction(text))


@pytest.mark.parametrize("text", ["Open the cover if the lamp is on.", "If the lamp is on open the cover."])
def test_condition_first(text: str) -> None:
    """ASD-STE100 5.4: "condition first, comma"."""
    assert any(fault.startswith("5.4") for fault in faults_of_instruction(text))


def test_notes_inform() -> None:
    """ASD-STE100 5.5: "notes give information only"; MIL-DTL-87268D 3.2.2.3: "a note is never a step"."""
    assert faults_of_note("No later step shows that step 7 was left out.") == ()
    assert any(fault.startswith("5.5") for fault in faults_of_note("Close the cover."))


def test_at_most_25_words() -> None:
    """ASD-STE100: "max 25 words descriptive"."""
    assert faults_of_statement(" ".join(["word"] * 25) + ".") == ()
    assert len(faults_of_statement(" ".join(["word"] * 26) + ".")) == 1


def test_order_of_a_warning() -> None:
    """MIL-DTL-87268D 3.2.2.2: nature of the hazard, steps to avoid, consequence, and no other steps."""
    assert faults_of_warning("Unit shifts in flight.", "Do not leave out step 8.", "Without step 8, it breaks.") == ()
    assert faults_of_warning("Close the door.", "Do not leave out step 8.", "It breaks.")
    assert faults_of_warning("Unit shifts.", "Raise the latch.", "It breaks.")
    assert faults_of_warning("Unit shifts.", "", "It breaks.")
