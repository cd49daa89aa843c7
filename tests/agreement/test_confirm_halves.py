"""A text asked in two processes is answered as it is in one: no query is lost, none is answered for another."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from random import Random

import pytest

import interlock.confirm.recheck as rechecking
from interlock.confirm.recheck import half_of, recheck
from interlock.confirm.smtlib import Obligation, query, safe_obligation, start_obligation, step_obligation
from interlock.kernel import beside
from interlock.kernel.machine import Question
from tests.some import swept

from .machines_confirm import NAMES, a_certificate, a_machine, a_target, world_of
from .test_confirm_text import answers_of_z3

NESTED = [
    "(set-logic QF_UF)",
    "(declare-const a Bool)",
    "(declare-const b Bool)",
    "(declare-const c Bool)",
    *query("a and not a", ["(assert a)", "(assert (not a))"]),
    "(push 1)",
    "(assert a)",
    *query("within a case: a", ["(assert a)"]),
    *query("within a case: not a", ["(assert (not a))"]),
    *query("within a case: b", ["(assert b)"]),
    "(pop 1)",
    "(push 1)",
    "(assert c)",
    "(pop 1)",
    "(assert (not c))",
    *query("not a, once more", ["(assert (not a))"]),
    *query("c", ["(assert c)"]),
    *query("b", ["(assert b)"]),
]
"""Queries within and without what is said of several; the last assertion is of those after it alone."""
ANSWERS = ("unsat", "sat", "unsat", "sat", "sat", "unsat", "sat")


def obligation(lines: list[str]) -> Obligation:
    """With as many queries as these lines have."""
    text = "".join(f"{line}\n" for line in [*lines, "(exit)"])
    return Obligation("made up", text, tuple(str(at) for at in range(text.count("(check-sat)"))))


@pytest.fixture
def two(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], int]]:
    """Two processes are allowed, however short the text; gives how many have been begun."""
    begun: list[None] = []

    class Counted(beside.Beside[list[str]]):
        def __init__(self, work: Callable[[], list[str]]) -> None:
            super().__init__(work)
            begun.extend([None] * self.goes_on)

    monkeypatch.setattr(rechecking, "LEAST_HALVED", 0)
    monkeypatch.setattr(rechecking, "Beside", Counted)
    beside.allow(2)
    yield lambda: len(begun)
    beside.allow(1)


def test_answers_come_back_in_their_order(two: Callable[[], int]) -> None:
    """Each query has its own answer, wherever it was asked, and z3 answers each half as its part of the whole."""
    whole = obligation(NESTED)
    assert recheck(whole).answers == ANSWERS
    assert two() == 1
    text = whole.text.replace("(set-info :status unsat)\n", "")
    assert answers_of_z3(text) == ANSWERS
    for which in (0, 1):
        half = half_of(Obligation(whole.name, text, whole.queries), which)
        assert answers_of_z3(half.text) == ANSWERS[which::2]
        assert half.queries == whole.queries[which::2]


def test_a_half_has_what_is_said_of_more_than_one_query_and_no_more() -> None:
    """Together the halves have each query once, and both have all else, each line in its place."""
    whole = obligation(NESTED)
    first, second = (half_of(whole, which).text.splitlines() for which in (0, 1))
    both = [line for line in whole.text.splitlines() if line in first and line in second]
    assert not [line for line in first + second if line.startswith("; ") and line in both]
    assert sum(line.startswith("; ") for line in first + second) == len(ANSWERS)
    for half in (first, second):
        rest = iter(whole.text.splitlines())
        assert all(line in rest for line in half)
        assert half.count("(push 1)") == half.count("(pop 1)") == 2 + half.count("(check-sat)")
        assert "(assert c)" in half and "(assert (not c))" in half


@pytest.mark.parametrize("seed", swept(range(60), 4))
def test_random_texts_are_answered_alike_in_one_process_and_in_two(two: Callable[[], int], seed: int) -> None:
    """Certificates that hold and that do not, names that would be commands."""
    rng = Random(seed)
    machine = a_machine(rng)
    world = world_of(machine)
    certificate = a_certificate(rng, machine, world)
    questions = [Question(name, a_target(rng, machine, world)) for name in rng.sample(NAMES, 5)]
    for one in (
        start_obligation(machine, certificate),
        step_obligation(machine, certificate),
        safe_obligation(machine, certificate, questions),
    ):
        beside.allow(1)
        before, alone = two(), recheck(one)
        assert two() == before
        beside.allow(2)
        assert recheck(one) == alone
        assert two() == before + (len(one.queries) > 1)


@pytest.mark.parametrize("place", [0, 1])
@pytest.mark.parametrize(
    ("line", "why"), [("(assert |undeclared|)", "undeclared"), ("(get-value (true))", "get-value")]
)
def test_what_goes_wrong_in_either_half_leaves_all_unknown(
    two: Callable[[], int], place: int, line: str, why: str
) -> None:
    """As it does where all is asked in one process."""
    asked = [query("a", ["(assert a)"]), query("not a", ["(assert (not a))"])]
    asked[place].insert(2, line)
    answers = recheck(obligation([*NESTED[:2], *asked[0], *asked[1]])).answers
    assert two() == 1
    assert len(answers) == 2
    assert all(answer.startswith("unknown (") and why in answer.lower() for answer in answers)


@pytest.mark.parametrize(("said", "extra"), [(6, []), (8, []), (8, ["(check-sat)"]), (9, ["(check-sat)"])])
def test_a_missing_or_an_extra_answer_leaves_all_unknown(two: Callable[[], int], said: int, extra: list[str]) -> None:
    """Where the text asks more or less than is said, or asks what is of neither half, no answer is anyone's."""
    answers = recheck(Obligation("made up", obligation([*NESTED, *extra]).text, ("",) * said)).answers
    assert len(answers) == said
    assert all(answer.startswith("unknown (") for answer in answers)


def test_a_process_that_is_lost_loses_no_answer(two: Callable[[], int], monkeypatch: pytest.MonkeyPatch) -> None:
    """What it was asked is asked here."""
    here, answers_of = os.getpid(), rechecking._answers

    def lost(half: Obligation, deadline: float | None) -> list[str]:
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return answers_of(half, deadline)

    monkeypatch.setattr(rechecking, "_answers", lost)
    assert recheck(obligation(NESTED)).answers == ANSWERS
    assert two() == 1


def test_a_short_text_is_asked_in_one_process(two: Callable[[], int], monkeypatch: pytest.MonkeyPatch) -> None:
    """Another process would take longer to begin than the text to be answered."""
    whole = obligation(NESTED)
    monkeypatch.setattr(rechecking, "LEAST_HALVED", len(whole.text) + 1)
    assert recheck(whole).answers == ANSWERS
    assert two() == 0
    monkeypatch.setattr(rechecking, "LEAST_HALVED", len(whole.text))
    assert recheck(whole).answers == ANSWERS
    assert two() == 1
