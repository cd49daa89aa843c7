"""How claims become findings: what is disputed, what stays undecided, and that nothing passes unchecked."""

from __future__ import annotations

import subprocess
import sys
from itertools import combinations
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.confirm import confirm as confirming
from interlock.confirm.confirm import MOST_RECOUNTED, confirm
from interlock.confirm.recheck import Recheck, recheck
from interlock.confirm.smtlib import Obligation
from interlock.kernel.claims import (
    Certificate,
    Disputed,
    Fails,
    Holds,
    Progress,
    Proved,
    Refuted,
    Trace,
    Undecided,
    Unknown,
)
from interlock.kernel.expressions import FALSE, TRUE, Is, Not, Or, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from tests.some import some

from .machines_confirm import a_machine, cube_of, world_of

seeds = st.integers(0, 10**9)
quick = settings(max_examples=100, deadline=None, derandomize=True)

STEPS = Machine(
    (Variable("n", (0, 1, 2), (0,)),),
    (),
    (Rule("on", Actor.CREW, Is("n", 0), (("n", 1),)),),
)
NEVER_2 = Question("never 2", Is("n", 2))
REASON = Certificate((Not(Is("n", 2)),))


def test_each_claim_gets_its_own_finding_in_place() -> None:
    """A mixed list of claims comes back as findings in the order of the questions."""
    reached = Question("one", Is("n", 1))
    questions = [NEVER_2, reached, Question("open", FALSE), Question("counted", Is("n", 2))]
    kept = Proved("never 2", "a", REASON)
    run = Refuted("one", "b", Trace(("on",), ((0,), (1,))), shortest=True)
    counted = Proved("counted", "d", None, states=2)
    claims: list[Proved | Refuted | Unknown] = [
        kept,
        run,
        Unknown("open", "c", "too deep", depth=7),
        counted,
    ]
    assert confirm(STEPS, questions, claims) == (
        Holds("never 2", kept, recheck(Obligation("", "", ())).solver),
        Fails("one", run),
        Undecided("open", "too deep", 7),
        Holds("counted", counted, "second count one state at a time, 2 states"),
    )


def test_checker_is_named_with_its_version() -> None:
    """A proof says which solver agreed, with its version."""
    (finding,) = confirm(STEPS, [NEVER_2], [Proved("never 2", "a", REASON)])
    assert isinstance(finding, Holds)
    assert finding.checked_by.split(".")[0].startswith("cvc5 1")


def test_answer_to_another_question_is_disputed() -> None:
    """Two claims that changed places are both disputed, although each would hold in its own."""
    questions = [NEVER_2, Question("also", Is("n", 2))]
    claims = [Proved("also", "a", REASON), Proved("never 2", "a", REASON)]
    findings = confirm(STEPS, questions, claims)
    assert [type(finding) for finding in findings] == [Disputed, Disputed]
    assert [finding.question for finding in findings] == ["never 2", "also"]


def test_claims_and_questions_must_fit() -> None:
    """A missing claim, and a question about another machine, are faults of the caller."""
    with pytest.raises(ValueError, match="0 claims for 1 questions"):
        confirm(STEPS, [NEVER_2], [])
    with pytest.raises(ValueError, match="no variable 'm'"):
        confirm(STEPS, [Question("q", Is("m", 2))], [Unknown("q", "a", "tired")])


def test_shared_certificate_is_rechecked_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Start and step of a certificate that serves many questions are asked once, and safe for all in one text."""
    asked: list[tuple[str, int]] = []

    def counting(obligation: Obligation, deadline: float | None = None) -> Recheck:
        asked.append((obligation.name, len(obligation.queries)))
        return recheck(obligation, deadline)

    monkeypatch.setattr(confirming, "recheck", counting)
    questions = [Question(str(number), Is("n", 2)) for number in range(5)]
    findings = confirm(STEPS, questions, [Proved(q.id, "a", REASON) for q in questions])
    assert all(isinstance(finding, Holds) for finding in findings)
    assert asked == [("start", 1), ("step", 0), ("safe", 5)]


def test_one_unsafe_question_does_not_spoil_the_others() -> None:
    """Of the questions that share a certificate, only those that it does not answer are disputed."""
    questions = [NEVER_2, Question("never 1", Is("n", 1)), Question("nor 2", Is("n", 2))]
    findings = confirm(STEPS, questions, [Proved(q.id, "a", REASON) for q in questions])
    assert [type(finding) for finding in findings] == [Holds, Disputed, Holds]


def test_missing_second_solver_is_never_agreement(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the second solver a proof is undecided, and the reason says what is missing."""
    monkeypatch.setitem(sys.modules, "cvc5", None)
    (finding,) = confirm(STEPS, [NEVER_2], [Proved("never 2", "a", REASON)])
    assert isinstance(finding, Undecided)
    assert "not re-checked" in finding.reason
    assert "cvc5 cannot be imported" in finding.reason


@pytest.mark.parametrize("claim", [Proved("never 2", "a", REASON), Proved("never 2", "a", None, states=2)])
def test_no_time_is_never_agreement(claim: Proved) -> None:
    """Where the time is up before anything was checked, the claim is undecided."""
    (finding,) = confirm(STEPS, [NEVER_2], [claim], seconds=-1.0)
    assert isinstance(finding, Undecided)
    assert "not re-checked" in finding.reason
    assert "out of time" in finding.reason


def test_solver_that_gives_up_is_never_agreement() -> None:
    """Where the second solver runs into the limit, the claim is undecided.

    Eleven birds in ten holes, each in a hole of its own, take it far longer than the limit.
    """
    holes = range(10)
    birds = Machine(tuple(Variable(f"{b} in {h}", (False, True), (False,)) for b in range(11) for h in holes), (), ())
    housed = conj(*(disj(*(Is(f"{b} in {h}", True) for h in holes)) for b in range(11)))
    apart = [
        neg(conj(Is(f"{a} in {h}", True), Is(f"{b} in {h}", True)))
        for h in holes
        for a, b in combinations(range(11), 2)
    ]
    target = Question("all housed", conj(housed, *apart))
    claim = Proved("all housed", "a", Certificate(()))
    for seconds in (0.4, 1.6, 6.4):
        (finding,) = confirm(birds, [target], [claim], seconds)
        assert isinstance(finding, Undecided)
        if "out of time" not in finding.reason:  # a busy machine may not even have begun
            break
    assert isinstance(finding, Undecided)
    assert finding.reason.endswith("(safe) whether some state that satisfies the clauses satisfies the target of"
                                   " 'all housed': unknown (TIMEOUT)")  # fmt: skip


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("(set-logic QF_UF)", "0 answers to 1 queries"),
        ("(set-logic QF_UF)(assert false)(check-sat)(check-sat)", "2 answers to 1 queries"),
        ("(set-logic QF_UF)(assert (", "eof"),
        ("(set-logic QF_UF)(assert |undeclared|)(check-sat)", "undeclared"),
        ("(set-logic QF_UF)(assert false)(check-sat)(get-value (true))", "get-value"),
    ],
)
def test_anything_unusual_is_never_agreement(text: str, why: str) -> None:
    """A text that is cut short, wrong, or answered too often makes the whole answer unknown."""
    (answer,) = recheck(Obligation("made up", text, ("a query",))).answers
    assert answer.startswith("unknown (")
    assert why in answer.lower()


def test_announced_status_does_not_sway_the_solver() -> None:
    """A text that announces `unsat` for what is satisfiable is answered `sat`."""
    text = "(set-logic QF_UF)(set-info :status unsat)(check-sat)"
    assert recheck(Obligation("made up", text, ("a query",))).answers == ("sat",)


@pytest.mark.parametrize(
    ("states", "target", "kind", "words"),
    [
        (2, Is("n", 2), Holds, "2 states"),
        (1, Is("n", 2), Disputed, "a second count finds at least 2 states, not 1"),
        (3, Is("n", 2), Disputed, "a second count finds 2 states, not 3"),
        (2, Is("n", 1), Disputed, "a second count reaches the target in 1 steps"),
        (None, Is("n", 2), Undecided, "neither a certificate nor a number of states"),
        (MOST_RECOUNTED + 1, Is("n", 2), Undecided, "more than the 40000000"),
    ],
)
def test_counted_claim_is_counted_again(
    states: int | None, target: Is, kind: type[Holds | Disputed | Undecided], words: str
) -> None:
    """A proof by counting holds only where a second count sees the same number and not the target."""
    (finding,) = confirm(STEPS, [Question("q", target)], [Proved("q", "explicit", None, states)])
    assert isinstance(finding, kind)
    assert words in repr(finding)


def test_counts_are_judged_one_by_one() -> None:
    """One walk serves all counted claims, and one wrong count among them spoils no other."""
    questions = [Question(str(number), Is("n", 2)) for number in range(4)]
    counts = (2, 3, MOST_RECOUNTED + 1, None)
    claims = [Proved(q.id, "explicit", None, count) for q, count in zip(questions, counts, strict=True)]
    assert [type(f) for f in confirm(STEPS, questions, claims)] == [Holds, Disputed, Undecided, Undecided]


def test_too_many_initial_states_are_not_counted() -> None:
    """A machine whose initial values combine in millions of ways is left undecided at once."""
    wide = Machine(
        tuple(Variable(f"b{n}", (False, True), (False, True)) for n in range(40)),
        (),
        (),
        start=conj(*(Is(f"b{n}", True) for n in range(40))),
    )
    (finding,) = confirm(wide, [Question("q", Is("b0", False))], [Proved("q", "explicit", None, 1)])
    assert isinstance(finding, Undecided)
    assert "combinations of initial values" in finding.reason


@quick
@given(seeds)
def test_second_count_agrees_with_search(number: int) -> None:
    """On random machines the count holds for every unreachable state, and is disputed for every reachable one."""
    machine = a_machine(Random(number))
    world = world_of(machine)
    questions = [Question(str(at), cube_of(machine, state)) for at, state in enumerate(world.states)]
    claims = [Proved(q.id, "explicit", None, len(world.reachable)) for q in questions]
    for state, finding in some(zip(world.states, confirm(machine, questions, claims), strict=True)):
        assert isinstance(finding, Disputed if state in world.reachable else Holds)


def test_progress_is_told() -> None:
    """Whoever waits hears of each certificate and of the second count."""
    heard: list[Progress] = []
    questions = [NEVER_2, Question("counted", Is("n", 2)), Question("other", Is("n", 2))]
    kept = Proved("never 2", "a", REASON)
    claims = [
        kept,
        Proved("counted", "d", None, states=2),
        Proved("other", "a", Certificate((Or((Not(Is("n", 2)),)), TRUE))),
    ]
    assert all(isinstance(finding, Holds) for finding in confirm(STEPS, questions, claims, report=heard.append))
    assert [(p.done, p.total) for p in heard] == [(0, 2), (1, 2), (0, None)]


def test_sceptic_loads_no_solver_of_the_engines() -> None:
    """Importing the whole room loads neither the engines nor a solver; the second solver comes only when asked."""
    program = (
        "import sys, interlock.confirm.confirm, interlock.confirm.evidence\n"
        "print(sorted(m for m in sys.modules if m.split('.')[0] in {'z3', 'pysat', 'cvc5'} or 'prove' in m))"
    )
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
