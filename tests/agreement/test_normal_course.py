"""What shows while a hold is filled and emptied, against the reference evaluator that looks at all that can be seen."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from interlock.cli.opening import Rejected, open_texts
from interlock.kernel.claims import Limits
from interlock.study.functional_test.course import NormalCourse, follow_course
from tests.agreement.hold_texts import fetch
from tests.agreement.replayed_tests import Replay
from tests.agreement.test_functional_test import LIT, failing


@cache
def course_of(model: str | None = None) -> NormalCourse:
    """The normal course of a model, or of the small wired hold."""
    if model is None:
        found = follow_course(failing(LIT))
    else:
        source, texts = fetch(f"models/{model}.yaml"), open_texts((), True)
        assert source is not None
        assert not isinstance(texts, Rejected)
        found = follow_course(failing(source.content.decode(), tuple(texts.by_id.values())))
    assert found is not None
    return found


def judged(course: NormalCourse) -> dict[str, int]:
    """What shows, by the reference evaluator, to whoever looks at everything after every step."""
    bench, stages = course.followed.bench, course.followed.steps
    ends = [bench.seen(bench.packing.pack(one.after)) for one in stages]
    steps = tuple(replace(one, expected=dict(enumerate(end))) for one, end in zip(stages, ends, strict=True))
    replay = Replay(replace(course.followed, steps=steps))
    assert list(replay.sound_faults()) == []
    return dict(replay.shown())


@pytest.mark.parametrize("model", [None, pytest.param("single-lane", marks=pytest.mark.slow)])
def test_what_shows_in_the_normal_course_is_what_the_evaluator_shows(model: str | None) -> None:
    """The same failures, at the same steps; all else is hidden, and the sound hold goes through it without a fault."""
    course = course_of(model)
    assert not course.why
    assert judged(course) == course.shown
    assert set(course.hidden) == set(course.followed.asked) - set(course.shown) - set(course.unknown)
    assert course.hidden
    assert len(course.shown) > 10


def test_a_course_that_is_cut_short_says_so() -> None:
    """What shows in the steps taken shows; that the rest was not followed is said."""
    course = follow_course(failing(LIT), Limits(seconds=0.5))
    assert course is None or course.why or course.steps == course_of().steps
