"""The reasons for a run and for its end go on to what decides: contacts, what is set aside, and what is not there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.hold.tell import Reason, Story
from interlock.kernel.claims import Limits
from interlock.prove.decide import decide
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_source, overlay, standing


def story_of(changes: str, requirement: str) -> Story:
    compiled = compile_source(overlay("twin-lane", changes), standing())
    (answer,) = verify(compiled, decide, Limits(), chosen=[requirement]).answers
    assert answer.status is Status.FAILS
    assert answer.story is not None
    return answer.story


def lines(reasons: Sequence[Reason], depth: int = 0) -> Iterator[str]:
    for reason in reasons:
        yield "  " * depth + reason.text
        yield from lines(reason.because, depth + 1)


BRIDGED = """
  - change: door_free
    to: {is: cargo_power and LVX is neutral and LVY is neutral and not sill_covered}
"""


def test_a_permit_is_opened_down_to_the_contacts_that_somebody_moved() -> None:
    """The permit is not where the reasons end: what was set for it on the way is told, what is as it was is not."""
    told = list(lines(story_of(BRIDGED, "door-path-clear[D1]").reached))
    at = next(n for n, text in enumerate(told) if text.strip() == "door free to move is on")
    assert [text.strip() for text in told[at + 1 : at + 3]] == ["cargo power is on", "cargo power switch is set to on"]
    assert not any("ground power" in text for text in told)


DEFERRED = """
  - defer: M3L
    in: lowered
    because: latch spring broken.
    limit: 3L is empty and 4L is empty
  - change: up_M3L
    to: {reads: "true"}
"""


def test_a_deferral_and_why_it_was_made_are_told() -> None:
    """What keeps the latch from locking is said where the unit is not restrained."""
    told = [text.strip() for text in lines(story_of(DEFERRED, "secured-behind-shut-doors[3L]").reached)]
    assert told[-2:] == [
        "a unit in bay 3L is not restrained aft",
        "mid latch 3L is deferred and stays lowered (latch spring broken), and does not lock so",
    ]


WRONG_STATE = """
  - change: M3L
    to: {locking: lowered}
"""


def test_a_state_in_which_a_device_locks_is_told_where_it_is_not_the_raised_one() -> None:
    """That the latch is up is no reason by itself: it says in which state it locks."""
    told = [text.strip() for text in lines(story_of(WRONG_STATE, "secured-behind-shut-doors[3L]").reached)]
    assert told[-2:] == [
        "mid latch 3L does not lock: it does so only while lowered",
        "mid latch 3L is raised",
    ]


STOPS_NOTHING = """
  - change: FSL
    to: {stops: aft}
"""


def test_that_nothing_there_could_restrain_is_told() -> None:
    """Where no device could ever do it, the reasons say so instead of naming another."""
    told = [text.strip() for text in lines(story_of(STOPS_NOTHING, "secured-behind-shut-doors[1L]").reached)]
    assert told[-1] == "a unit in bay 1L is not restrained fore: no device there stops fore and restrains x"
