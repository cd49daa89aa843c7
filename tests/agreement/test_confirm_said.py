"""What findings say, word for word, and how the answers to many queries become one verdict."""

from __future__ import annotations

import pytest

from interlock.confirm import confirm as confirming
from interlock.confirm import recheck as rechecking
from interlock.confirm.confirm import (
    MOST_RECOUNTED,
    Agreed,
    Broken,
    Unchecked,
    Verdict,
    confirm,
    verdict_on,
)
from interlock.confirm.enumeration import enumerate_reachable
from interlock.confirm.numbering import count_by_numbers
from interlock.confirm.recheck import Recheck, recheck
from interlock.confirm.replay import replay
from interlock.confirm.smtlib import Obligation, all_of, any_of, safe_obligation, step_obligation
from interlock.kernel.claims import Certificate, Disputed, Holds, Progress, Proved, Refuted, Trace, Undecided, Unknown
from interlock.kernel.expressions import TRUE, Is, Not, Or
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable

STEPS = Machine((Variable("n", (0, 1, 2), (0,)),), (), (Rule("on", Actor.CREW, Is("n", 0), (("n", 1),)),))
NEVER_2 = Question("never 2", Is("n", 2))
THREE = Obligation("step", "", ("the first", "the second", "the third"))


@pytest.mark.parametrize(
    ("answers", "verdict"),
    [
        (("unsat", "unsat", "unsat"), Agreed("a solver")),
        (("unsat", "unknown (a)", "unsat"), Unchecked("(step) whether the second: unknown (a)")),
        (("unsat", "unsat", "unknown (b)"), Unchecked("(step) whether the third: unknown (b)")),
        (("unknown (a)", "unknown (b)", "unsat"), Unchecked("(step) whether the first: unknown (a)")),
        (("unsat", "unsat", "sat"), Broken("(step) the third, says a solver")),
        (("unknown (a)", "sat", "unsat"), Broken("(step) the second, says a solver")),
        (("sat", "unsat", "sat"), Broken("(step) the first (and 1 more), says a solver")),
        (("sat", "sat", "sat"), Broken("(step) the first (and 2 more), says a solver")),
        (("unsat", "unsat", ""), Unchecked("(step) whether the third: ")),
    ],
)
def test_one_verdict_on_many_answers(answers: tuple[str, ...], verdict: Verdict) -> None:
    """Wherever it stands among the answers, one `sat` breaks, else anything but `unsat` leaves the whole open."""
    assert verdict_on(THREE, range(3), Recheck("a solver", answers)) == verdict


def test_only_the_queries_asked_about_are_looked_at() -> None:
    """The answer to one question of a shared text is judged by itself."""
    said = Recheck("a solver", ("unsat", "sat", "unknown (a)"))
    assert [type(verdict_on(THREE, [place], said)) for place in range(3)] == [Agreed, Broken, Unchecked]


@pytest.mark.parametrize("open_one", ["start", "step", "safe"])
def test_an_obligation_left_open_leaves_the_claim_open(open_one: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the last query of any one obligation has no answer the claim is undecided, and the reason says which."""

    def tired(obligation: Obligation, deadline: float | None = None) -> Recheck:
        answers = ["unsat"] * len(obligation.queries)
        if obligation.name == open_one:
            answers[-1] = "unknown (tired)"
        return Recheck("a solver", tuple(answers))

    monkeypatch.setattr(confirming, "recheck", tired)
    machine = Machine((*STEPS.variables, Variable("lit", (False, True), (True,))), (), STEPS.rules)
    reason = Certificate((Or((Is("n", 0), Is("lit", True))),), k=2)
    claim = Proved("never 2", "some engine", reason)
    (finding,) = confirm(machine, [NEVER_2], [claim])
    assert isinstance(finding, Undecided)
    assert finding.reason.startswith(f"found by engine 'some engine', but not re-checked: ({open_one}) whether ")
    assert finding.reason.endswith(": unknown (tired)")


def test_what_a_dispute_is_about() -> None:
    """A disputed claim is handed on whole, with its question and with what is wrong in words."""
    wrong = Certificate((Not(Is("n", 1)),))
    claims: list[Proved | Refuted | Unknown] = [
        Proved("never 2", "a", wrong),
        Proved("another", "a", wrong),
        Refuted("end", "b", Trace(("on",), ((0,), (2,))), shortest=True),
        Proved("counted", "c", None, states=7),
    ]
    asked = [NEVER_2, Question("mine", Is("n", 2)), Question("end", Is("n", 2)), Question("counted", Is("n", 2))]
    step, other, trace, count = confirm(STEPS, asked, claims)
    assert isinstance(step, Disputed)
    assert (step.question, step.claim) == ("never 2", claims[0])
    assert step.what.startswith("(step) rule 'on' leads to a state that breaks a clause, says cvc5")
    assert other == Disputed("mine", claims[1], "the claim answers question 'another'")
    assert trace == Disputed("end", claims[2], "step 1: rule 'on' leads to another value of n")
    assert count == Disputed("counted", claims[3], "a second count finds 2 states, not 7")


def test_the_largest_count_decides_how_far_is_counted() -> None:
    """A claim of too few states ends no count before another claim is judged; one past all bounds drives none."""
    asked = [Question(name, Is("n", 2)) for name in ("few", "right", "vast")]
    claims = [Proved(q.id, "a", None, n) for q, n in zip(asked, (1, 2, MOST_RECOUNTED + 1), strict=True)]
    few, right, vast = confirm(STEPS, asked, claims)
    assert few == Disputed("few", claims[0], "a second count finds 2 states, not 1")
    assert right == Holds("right", claims[1], "second count one state at a time, 2 states")
    assert isinstance(vast, Undecided)


def test_progress_names_the_sceptic_and_the_stage() -> None:
    """Whoever waits is told that claims are being checked, and in which of the two ways."""
    heard: list[Progress] = []
    claims = [Proved("never 2", "a", Certificate((Not(Is("n", 2)),))), Proved("counted", "a", None, 2)]
    confirm(STEPS, [NEVER_2, Question("counted", Is("n", 2))], claims, report=heard.append)
    assert heard == [
        Progress("confirm", "re-checking a certificate with a second solver", 0, 1),
        Progress("confirm", "counting the reachable states a second time"),
    ]


def test_every_fault_of_a_trace_is_told() -> None:
    """A rule that there is not hides no later fault, and one state of a wrong width is enough."""
    trace = Trace(("no such", "on", "on"), ((0,), (1,), (1,), (1,)))
    assert replay(STEPS, Is("n", 0), trace) == [
        "step 1: there is no rule 'no such'",
        "step 2: rule 'on' may not fire there",
        "step 3: rule 'on' may not fire there",
        "the last state does not satisfy the target",
    ]
    width = ["a state does not have one value for each variable"]
    assert replay(STEPS, TRUE, Trace(("on",), ((0,), (1, 1)))) == width
    assert replay(STEPS, TRUE, Trace(("on",), ((), (1,)))) == width


def test_header_says_when_states_must_differ() -> None:
    """A stranger reads in the text of the step whether it speaks of all runs or only of those that never repeat."""
    repeat = "Of the k + 1 states, no two are the same."
    clauses = (Not(Is("n", 2)),)
    assert repeat in step_obligation(STEPS, Certificate(clauses, 2, distinct=True)).text
    assert repeat not in step_obligation(STEPS, Certificate(clauses, 2)).text


@pytest.mark.parametrize("left", [-1.0, 0.0, 0.0004])
def test_less_than_a_moment_is_no_time(left: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """With under a millisecond left the solver is not asked at all: to it, no milliseconds would mean no limit."""
    monkeypatch.setattr(rechecking, "monotonic", lambda: 1000.0)
    obligation = safe_obligation(STEPS, Certificate((Not(Is("n", 2)),)), [NEVER_2, Question("again", Is("n", 2))])
    assert recheck(obligation, 1000.0 + left).answers == ("unknown (out of time)",) * 2
    assert recheck(obligation, 1000.0 + 60).answers == ("unsat",) * 2


def test_connectives_have_two_arguments_or_more() -> None:
    """The standard gives `and` and `or` no meaning for fewer: none and one are written without them."""
    assert (all_of([]), all_of(["a"]), all_of(["a", "b", "c"])) == ("true", "a", "(and a b c)")
    assert (any_of([]), any_of(["a"]), any_of(["a", "b"])) == ("false", "a", "(or a b)")


def test_names_no_file_could_hold_are_written_all_the_same() -> None:
    """Half of a character pair, which no encoding can write, does not keep a machine from being checked."""
    odd = "\ud800"
    machine = Machine(
        (Variable(odd, (odd, "plain"), (odd,)),), (), (Rule(odd, Actor.CREW, Is(odd, odd), ((odd, "plain"),)),)
    )
    asked = Question(odd, Is(odd, odd))
    assert recheck(step_obligation(machine, Certificate((Is(odd, odd),)))).answers == ("sat",)
    assert recheck(safe_obligation(machine, Certificate((Is(odd, "plain"),)), [asked])).answers == ("unsat",)


def test_a_count_that_ends_early_is_not_complete() -> None:
    """Asked for few steps a count says that it has not seen all there are; many variables do not end it early."""
    ring = Machine(STEPS.variables, (), tuple(_round(at) for at in range(3)))
    for depth, states in ((0, 1), (1, 2), (2, 3)):
        walk = enumerate_reachable(ring, (Is("n", 2),), 10, most_depth=depth)
        assert (walk.states, walk.depth, walk.complete) == (states, depth, False)
        assert walk.first == ((2,) if depth == 2 else (None,))
    walk = enumerate_reachable(ring, (Is("n", 2),), 10)
    assert (walk.states, walk.complete, walk.first) == (3, True, (2,))
    wide = tuple(Variable(f"v{at}", (False, True), (False,)) for at in range(63))
    walk = count_by_numbers(Machine(wide, (), ()), (), 10)
    assert (walk.states, walk.complete) == (1, True)


def test_a_count_that_is_done_in_time_counts() -> None:
    """With a limit that is not reached, a claim is counted again like any other."""
    claim = Proved("never 2", "a", None, states=2)
    (finding,) = confirm(STEPS, [NEVER_2], [claim], seconds=600.0)
    assert finding == Holds("never 2", claim, "second count one state at a time, 2 states")


def _round(at: int) -> Rule:
    return Rule(f"from {at}", Actor.CREW, Is("n", at), (("n", (at + 1) % 3),))
