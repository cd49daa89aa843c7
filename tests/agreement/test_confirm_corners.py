"""Evidence that is wrong in a corner: each part of what `confirm` looks at is looked at by itself."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from random import Random

import pytest

from interlock.confirm.confirm import MOST_RECOUNTED, Agreed, Broken, Unchecked, confirm, verdict_on
from interlock.confirm.recheck import Recheck
from interlock.confirm.recovery import confirm_recovery
from interlock.confirm.replay import replay
from interlock.confirm.smtlib import Obligation
from interlock.kernel.claims import Certificate, Disputed, Holds, Proved, Trace
from interlock.kernel.expressions import TRUE, Expr, Is, Not, Or, Ref
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.kernel.recovery import (
    Entry,
    Rank,
    Recoverable,
    Recovers,
    Recovery,
    RecoveryQuestion,
    Stage,
    rank_of,
    restarted,
    surely_drops,
    surely_never_rises,
    without_failures,
    written_by,
)

LAMP = Machine(
    (Variable("lamp", ("off", "on"), ("off",)), Variable("n", (0, 1, 2), (0,))),
    (),
    (
        Rule("on", Actor.CREW, Is("lamp", "off"), (("lamp", "on"),)),
        Rule("up", Actor.CREW, Is("n", 0), (("n", 1),)),
        Rule("down", Actor.PLANT, Is("n", 1), (("n", 0),)),
        Rule("blow", Actor.FAILURE, Is("lamp", "on"), (("lamp", "off"), ("n", 1))),
    ),
    start=Is("lamp", "off"),
)


@pytest.mark.parametrize("at", range(3))
@pytest.mark.parametrize("ragged", [("on",), ("on", 0, 0), ()])
def test_one_ragged_state_spoils_a_trace(at: int, ragged: tuple[str | int, ...]) -> None:
    """A state with too few or too many values is a fault of the trace wherever it stands, not of the program."""
    states = [("off", 0), ("on", 0), ("on", 1)]
    assert replay(LAMP, Is("n", 1), Trace(("on", "up"), tuple(states))) == []
    spoiled = Trace(("on", "up"), tuple(ragged if place == at else state for place, state in enumerate(states)))
    assert replay(LAMP, Is("n", 1), spoiled) == ["a state does not have one value for each variable"]


def test_absurd_count_does_not_change_how_others_are_counted() -> None:
    """A count beyond what is recounted is left open by itself; the others are counted as if it were not there."""
    questions = [Question("a", Is("n", 2)), Question("b", Is("n", 2))]
    claims = [Proved("a", "explicit", None, 4), Proved("b", "explicit", None, MOST_RECOUNTED + 1)]
    alone = confirm(LAMP, questions[:1], claims[:1])
    assert isinstance(alone[0], Holds)
    assert confirm(LAMP, questions, claims)[0] == alone[0]


@pytest.mark.parametrize(
    ("answers", "verdict"),
    [
        (("unsat", "unsat", "unsat"), Agreed("s")),
        (("unsat", "sat", "unsat"), Broken("(o) q1, says s")),
        (("sat", "unknown (t)", "sat"), Broken("(o) q0 (and 1 more), says s")),
        (("unknown (t)", "unsat", "sat"), Broken("(o) q2, says s")),
        (("unsat", "unsat", "unknown (t)"), Unchecked("(o) whether q2: unknown (t)")),
        (("unsat", "nonsense", "unsat"), Unchecked("(o) whether q1: nonsense")),
    ],
)
def test_answers_are_judged_together(answers: tuple[str, ...], verdict: object) -> None:
    """One `sat` breaks whatever else was said; else anything but `unsat` leaves open; only all `unsat` agree."""
    assert verdict_on(Obligation("o", "", ("q0", "q1", "q2")), range(3), Recheck("s", answers)) == verdict


def test_certificate_that_looks_back_no_step_is_disputed() -> None:
    """With k below 1 there would be nothing to check, and anything could be claimed."""
    for k in (0, -1):
        (finding,) = confirm(LAMP, [Question("q", Is("n", 1))], [Proved("q", "a", Certificate((), k))])
        assert isinstance(finding, Disputed) and f"k = {k}" in finding.what


GOAL = RecoveryQuestion("lit", Is("lamp", "on"))
ENTRY = Entry((Is("lamp", "off"),), ("on",))
STAGE = Stage(Is("lamp", "on"), (), (ENTRY,))
WAY = Recovery(Certificate((Not(Is("n", 2)),)), (STAGE,))


def _spoiled(**parts: object) -> Recovery:
    return replace(WAY, stages=(replace(STAGE, **parts),))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("recovery", "what"),
    [
        (replace(WAY, certificate=replace(WAY.certificate, k=2)), "not inductive by itself"),
        (replace(WAY, certificate=replace(WAY.certificate, distinct=True)), "not inductive by itself"),
        (replace(WAY, certificate=Certificate((Not(Is("m", 2)),))), "no variable 'm'"),
        (_spoiled(goal=Ref("lit")), "no signal 'lit'"),
        (_spoiled(rank=((("m", 1, 1),),)), "no variable 'm'"),
        (_spoiled(rank=((), (("n", 3, 1),))), "'n' is never 3"),
        (_spoiled(entries=(replace(ENTRY, when=(Is("m", 1),)),)), "no variable 'm'"),
        (_spoiled(entries=(replace(ENTRY, when=(Or((Is("n", 1), Is("n", 0))),)),)), "stage 1, case 1 is not told"),
        (_spoiled(entries=(ENTRY, replace(ENTRY, when=(Not(TRUE),)))), "stage 1, case 2 is not told by facts"),
        (_spoiled(entries=(ENTRY, replace(ENTRY, rules=("on", "x")))), "stage 1, case 2: there is no rule 'x'"),
        (_spoiled(entries=(replace(ENTRY, rules=("on", "blow")),)), "stage 1, case 1 counts on a failure, 'blow'"),
        (replace(WAY, stages=()), "the last stage ends short of the goal"),
        (_spoiled(entries=()), "a state is in no case"),
        (_spoiled(entries=(replace(ENTRY, rules=("up",)),)), "rule 'up' may not fire in its turn"),
        (_spoiled(entries=(replace(ENTRY, rules=("on", "on")),)), "rule 'on' may not fire in its turn"),
        (_spoiled(entries=(replace(ENTRY, rules=()),)), "in case 1 the end is no better"),
        (replace(WAY, certificate=Certificate((Is("n", 0),))), "rule 'up' leads to a state that breaks a clause"),
        (replace(WAY, certificate=Certificate((Is("n", 1),))), "0 steps from an initial one breaks a clause"),
    ],
)
def test_way_back_with_one_fault_is_disputed(recovery: Recovery, what: str) -> None:
    """The sound way back is accepted; with any one part of it wrong it is disputed, and that part is named."""
    for told, kind in ((WAY, Recovers), (recovery, Disputed)):
        (finding,) = confirm_recovery(LAMP, [GOAL], [Recoverable("lit", "a", told)])
        assert isinstance(finding, kind)
    assert isinstance(finding, Disputed) and what in finding.what


def test_ways_back_and_questions_must_fit() -> None:
    """A missing claim, and a goal about another machine, are faults of the caller."""
    with pytest.raises(ValueError, match="0 claims for 1 questions"):
        confirm_recovery(LAMP, [GOAL], [])
    with pytest.raises(ValueError, match="no variable 'm'"):
        confirm_recovery(LAMP, [replace(GOAL, goal=Is("m", 1))], [Recoverable("lit", "a", WAY)])


def test_what_remains_once_nothing_fails() -> None:
    """Without failures all else stays, the start too; restarted, the given state is the only initial one."""
    rules = LAMP.rules[:3]
    assert without_failures(LAMP) == Machine(LAMP.variables, (), rules, (), LAMP.start)
    variables = (Variable("lamp", ("off", "on"), ("on",)), Variable("n", (0, 1, 2), (2,)))
    assert restarted(LAMP, ("on", 2)) == Machine(variables, (), rules)
    for short in (("on",), ("on", 2, 2)):
        with pytest.raises(ValueError):
            restarted(LAMP, short)
    assert written_by(LAMP, ("up", "on", "blow")) == {"n": 1, "lamp": "off"}
    assert written_by(LAMP, ("blow", "on", "down")) == {"n": 0, "lamp": "on"}


FIRST: Rank = ((("n", 1, 2), ("n", 2, 3), ("lamp", "on", 1)),)


@pytest.mark.parametrize(
    ("rank", "when", "written", "drops"),
    [
        (FIRST, (Is("n", 2),), {"n": 1}, True),
        (FIRST, (Is("n", 1),), {"n": 1}, False),
        (FIRST, (Is("n", 1),), {"n": 2}, False),
        (FIRST, (), {"n": 0}, False),
        (FIRST, (Not(Is("n", 0)),), {"n": 0}, True),
        (FIRST, (Not(Is("n", 1)),), {"n": 0}, False),
        (FIRST, (Not(Is("n", 0)), Not(Is("n", 1))), {"n": 1}, True),
        (FIRST, (Is("n", 1), Is("lamp", "off")), {"n": 0, "lamp": "on"}, True),
        (FIRST, (Is("n", 2), Is("lamp", "off")), {"n": 1, "lamp": "on"}, False),
        (FIRST, (Is("n", 2), Not(Is("lamp", "on"))), {"n": 1}, True),
        (FIRST, (Is("n", 2),), {}, False),
        ((), (Is("n", 2),), {"n": 0}, False),
        ((*FIRST, (("n", 1, 1),)), (Is("n", 1), Is("lamp", "off")), {"n": 1, "lamp": "off"}, False),
        (((("lamp", "on", 1),), *FIRST), (Is("n", 2),), {"n": 1}, True),
        (((("lamp", "on", 1),), *FIRST), (Is("n", 2), Is("lamp", "off")), {"n": 0, "lamp": "on"}, False),
        (((("lamp", "on", -1),), *FIRST), (Is("n", 2), Is("lamp", "off")), {"n": 2, "lamp": "on"}, True),
        (((("n", 2, 1), ("n", 2, 1), ("n", 1, 1)),), (Is("n", 2),), {"n": 1}, True),
    ],
)
def test_which_drops_are_sure(rank: Rank, when: tuple[Expr, ...], written: dict[str, str | int], drops: bool) -> None:
    """Weights add up, unnamed values weigh nothing, the first component that differs decides, a tie is no drop."""
    assert surely_drops(LAMP, rank, when, written) is drops


@pytest.mark.parametrize(
    ("rank", "when", "written", "stays"),
    [
        ((), (), {"n": 1}, True),
        (FIRST, (Is("n", 1),), {"n": 1}, True),
        (FIRST, (Is("n", 1),), {"n": 2}, False),
        (FIRST, (), {"n": 0}, True),
        (FIRST, (), {"n": 1}, False),
        (FIRST, (Not(Is("n", 0)),), {"n": 1}, True),
        ((*FIRST, (("n", 1, 1),)), (Is("n", 1), Is("lamp", "off")), {"n": 1, "lamp": "on"}, False),
        ((*FIRST, (("lamp", "on", 1),)), (Is("n", 2), Is("lamp", "off")), {"n": 1, "lamp": "on"}, False),
        ((*FIRST, (("lamp", "on", 1),)), (Is("n", 2), Is("lamp", "off")), {"n": 0, "lamp": "on"}, True),
        (((("lamp", "on", 1),), *FIRST), (Is("n", 2),), {"n": 2}, True),
    ],
)
def test_which_ranks_surely_never_rise(
    rank: Rank, when: tuple[Expr, ...], written: dict[str, str | int], stays: bool
) -> None:
    """A tie in every component, or a drop in the first that differs, at the worst."""
    assert surely_never_rises(LAMP, rank, when, written) is stays


def test_drop_of_one_written_variable_is_sure_exactly_where_it_always_happens() -> None:
    """With one component and one variable written, sure means: from every state that the facts allow."""
    seen = []
    for seed in range(300):
        rng = Random(seed)
        rank: Rank = (tuple(("n", rng.randrange(3), rng.randint(-2, 2)) for _ in range(3)),)
        left_out = rng.sample(range(3), rng.randint(0, 2))
        when = tuple(Not(Is("n", value)) for value in left_out)
        to = rng.randrange(3)
        states = [s for s in product(("off", "on"), range(3)) if s[1] not in left_out]
        always = all(rank_of(LAMP, rank, (lamp, to)) < rank_of(LAMP, rank, (lamp, n)) for lamp, n in states)
        assert surely_drops(LAMP, rank, when, {"n": to}) is always
        seen.append(always)
    assert 30 < sum(seen) < 270
