"""Forged evidence: parts of another type, huge, empty, twice, foreign.  Never an exception, never a false finding.

Claims of every kind about small random machines, true and false ones, are spoiled at one or more places by what no
engine would write.  The machine written out says what is true.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass, replace
from functools import cache
from math import inf, nan
from random import Random
from typing import Any

import pytest

from interlock.confirm.confirm import confirm
from interlock.confirm.recovery import confirm_recovery
from interlock.kernel.claims import (
    Certificate,
    Claim,
    Diagram,
    Disputed,
    Fails,
    Holds,
    Limits,
    Proved,
    Refuted,
    Trace,
    Undecided,
    Unknown,
)
from interlock.kernel.expressions import FALSE, TRUE, And, Const, Expr, Is, Not, Or, Ref, conj, neg
from interlock.kernel.machine import Actor, Machine, Question, Rule, Signal, Variable
from interlock.kernel.recovery import (
    DeadEnd,
    Entry,
    HasDeadEnd,
    Recoverable,
    Recovers,
    Recovery,
    RecoveryClaim,
    RecoveryQuestion,
    Stage,
)
from interlock.kernel.shapes import MOST_BITS, fault_of_shape
from interlock.prove.decide import decide
from interlock.prove.diagrams.saturation import diagrams
from interlock.prove.recovery.recovery import recover
from interlock.prove.search.explicit import explicit
from tests.agreement.judging import BY_CASES
from tests.agreement.listing import Listing
from tests.agreement.random_machines import random_case, random_way_back
from tests.agreement.recovering import dead_ends
from tests.some import swept


class Agreeable:
    """Equal to everything, and found in every collection that holds something of its hash."""

    def __eq__(self, other: object) -> bool:
        return True

    def __hash__(self) -> int:
        return hash("only")


class Number(int):
    """A number that is equal to every other."""

    def __eq__(self, other: object) -> bool:
        return True

    __hash__ = int.__hash__


class Word(str):
    """A word that is equal to every other."""

    def __eq__(self, other: object) -> bool:
        return True

    __hash__ = str.__hash__


class Kept(Proved):
    """A claim of a class of its own."""


def _chain(depth: int) -> Expr:
    """As deep as that, and true of everything."""
    whole: Expr = TRUE
    for at in range(depth):
        whole = Not(whole) if at % 2 else And((whole,))
    return whole if depth % 4 < 2 else Not(whole)


def _spread(depth: int) -> Expr:
    """Small, and as wide as two to that when written out."""
    whole: Expr = Not(FALSE)
    for _ in range(depth):
        whole = And((whole, whole))
    return whole


HOSTILE: Sequence[Any] = (
    *(
        0,
        1,
        -1,
        2,
        True,
        False,
        1.0,
        0.0,
        -1.0,
        nan,
        inf,
        -inf,
        1e16,
        -1e16,
        1j,
        2**70,
        -(2**70),
        10**5000,
        -(10**5000),
    ),
    *("", "x", "v0", "s0", "r0", "only", "up", "\n(assert false)\n", "\ud800", b"v0", None, ..., int, object()),
    *((), ("v0",), ((),), [], ["v0", 1], {}, {"v0": 1}, set(), iter(()), (x for x in "v0"), range(3)),
    *(Agreeable(), Number(1), Word("v0"), Actor.CREW, Kept("q0", "a", Certificate(()))),
    *(TRUE, FALSE, Const(1), Const("false"), Const(Agreeable())),  # type: ignore[arg-type]
    *(Is("v0", 1.0), Is("v0", nan), Is("v0", 10**5000), Is("v0", None), Is("nobody", True)),  # type: ignore[arg-type]
    *(Is("v0", 0), Is("v0", False), Is("v0", 1), Is("v0", True), Is("latch0", 1), Is("latch0", 0), Is("count", True)),
    *(Is("v0", Agreeable()), Is(Agreeable(), 1), Ref("nobody"), Ref(Agreeable()), Ref(3)),  # type: ignore[arg-type]
    *(Not(True), And((True,)), Or((1,)), And("v0"), Or(())),  # type: ignore[arg-type]
    *(_chain(3_000), _spread(60)),
    *(Trace((), ()), Trace((), ((),)), Certificate(()), Certificate((FALSE,)), Certificate((TRUE,), 10**9)),
    *(Certificate((), True), Certificate((), 1.0), Certificate((), 1, 1)),  # type: ignore[arg-type]
    *(Entry((), ()), Stage(TRUE, (), ()), Stage(FALSE, (), ()), Recovery(Certificate(()), ())),
)


HUGE = (pytest.param(10**5000, id="huge"), pytest.param(-(10**5000), id="huge below nothing"))


def _places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where something stands, from the whole down, not too deep: names of fields and places in tuples."""
    yield path
    if len(path) > 9:
        return
    if is_dataclass(value):
        for field in fields(value):
            yield from _places(getattr(value, field.name), (*path, field.name))
    elif isinstance(value, tuple):
        for at, part in enumerate(value):
            yield from _places(part, (*path, at))


def _at(value: Any, path: tuple[Any, ...]) -> Any:
    for step in path:
        value = value[step] if isinstance(step, int) else getattr(value, step)
    return value


def _put(value: Any, path: tuple[Any, ...], new: Any) -> Any:
    """The same with something else there, made behind the back of every constructor."""
    if not path:
        return new
    first, rest = path[0], path[1:]
    if isinstance(first, int):
        return (*value[:first], _put(value[first], rest, new), *value[first + 1 :])
    made = object.__new__(type(value))
    for field in fields(value):
        part = getattr(value, field.name)
        object.__setattr__(made, field.name, _put(part, rest, new) if field.name == first else part)
    if hasattr(value, "_hash"):
        object.__setattr__(made, "_hash", hash(value))
    return made


def _spoiled(draw: Random, claim: Any) -> Any:
    """The claim with something hostile at one to three places, or with a part twice, left out, or from elsewhere."""
    mild = draw.random() < 0.5
    for _ in range(draw.choice((1, 1, 1, 2, 3))):
        places = list(_places(claim))
        path = draw.choice(places)
        old = _at(claim, path)
        if isinstance(old, tuple) and (mild or draw.random() < 0.5):
            new: Any = draw.choice((old + old, old + old[:1], (), old[1:], old[:-1], old[::-1]))
            if not mild:
                new = draw.choice((new, list(old), (*old, draw.choice(HOSTILE))))
        elif mild:
            new = draw.choice([part for place in places if type(part := _at(claim, place)) is type(old)])
        elif isinstance(old, bool) and draw.random() < 0.5:
            new = int(old)
        elif isinstance(old, int) and draw.random() < 0.5:
            new = draw.choice((float(old % 9), Number(old), -old, old * 10**20, bool(old)))
        else:
            new = draw.choice((*HOSTILE, _at(claim, draw.choice(places))))
        claim = _put(claim, path, new)
        if not is_dataclass(claim):
            break
    return claim


def _everything(machine: Machine) -> Diagram:
    """Every valuation."""
    names = tuple(variable.name for variable in machine.variables)
    nodes: list[tuple[int, ...]] = []
    for name in reversed(names):
        below = len(nodes) + 1
        nodes.append((below,) * len(machine.domains[name]))
    return Diagram(names, tuple(nodes), len(nodes) + 1)


def _claims(draw: Random, question: Question, claim: Claim, other: Claim, everything: Diagram) -> list[Any]:
    """What an engine said, what another said of another question, and made-up claims of each kind."""
    return [
        claim,
        replace(other, question=question.id),
        Proved(question.id, "a", Certificate((neg(question.target),)), draw.choice((None, 3))),
        Proved(question.id, "a", Certificate((neg(question.target),), draw.randint(1, 3), draw.random() < 0.5)),
        Proved(question.id, "a", None, draw.randint(0, 600)),
        Proved(question.id, "a", None, None, everything),
        Unknown(question.id, "a", "tired"),
    ]


@cache
def _judge(seed: int) -> Counter[str]:
    """Confirms spoiled claims about one machine; how many findings of which kind there were."""
    machine, questions = random_case(seed)
    listing = Listing(machine)
    draw = Random(seed)
    tally: Counter[str] = Counter()
    engine = (explicit, decide, diagrams)[seed % 3]
    made = engine(machine, questions, Limits())
    for question, claim in zip(questions, made, strict=True):
        reached = listing.nearest(question.target) is not None
        for told in _claims(draw, question, claim, draw.choice(made), _everything(machine)):
            for _ in range(3):
                (finding,) = confirm(machine, [question], [_spoiled(draw, told)], seconds=1)
                tally[type(finding).__name__] += 1
                assert isinstance(finding, Holds | Fails | Undecided | Disputed)
                assert not (isinstance(finding, Holds) and reached)
                assert not (isinstance(finding, Fails) and not reached)
    return tally


@cache
def _judge_ways(seed: int) -> Counter[str]:
    """The same for ways back."""
    machine, question = random_way_back(seed)
    bad = dead_ends(machine, question.goal)
    draw = Random(seed)
    tally: Counter[str] = Counter()
    (claim,) = recover(machine, [question], BY_CASES if seed % 4 else Limits())
    trace = Trace((), (tuple(variable.init[0] for variable in machine.variables),))
    claims: list[RecoveryClaim] = [claim, *_made_up(draw, machine, question, trace)]
    for told in claims:
        for _ in range(6):
            (finding,) = confirm_recovery(machine, [question], [_spoiled(draw, told)], seconds=1)
            tally[type(finding).__name__] += 1
            assert isinstance(finding, Recovers | HasDeadEnd | Undecided | Disputed)
            assert not (isinstance(finding, Recovers) and bad)
            assert not (isinstance(finding, HasDeadEnd) and not bad)
    return tally


def _made_up(draw: Random, machine: Machine, question: RecoveryQuestion, trace: Trace) -> Iterator[RecoveryClaim]:
    """A loop of every rule that is said to come nearer the goal, and a dead end where things start."""
    rank = (tuple((v.name, value, draw.randint(-3, 3)) for v in machine.variables for value in v.domain),)
    entries = tuple(Entry((), (rule.name,)) for rule in machine.rules)
    yield Recoverable(question.id, "a", Recovery(Certificate(()), (Stage(question.goal, rank, entries),)))
    yield DeadEnd(question.id, "a", trace, Certificate((neg(question.goal),)))


@pytest.mark.parametrize("seed", swept(range(21), 3))
def test_spoiled_claims_never_mislead(seed: int) -> None:
    """Whatever stands in a claim, a finding comes of it, and it is never better or worse than the truth."""
    assert _judge(seed).total() >= 30


@pytest.mark.parametrize("seed", swept(range(24), 3))
def test_spoiled_ways_back_never_mislead(seed: int) -> None:
    """The same for ways back and dead ends."""
    assert _judge_ways(seed).total() >= 12


def test_spoiling_meets_every_finding() -> None:
    """Some of what is spoiled is still evidence, most is not: every kind of finding is met."""
    seen = sum((_judge(seed) for seed in range(5)), Counter()) + sum(
        (_judge_ways(seed) for seed in range(20)), Counter()
    )
    assert {name for name, times in seen.items() if times >= 3} == {
        *("Holds", "Fails", "Undecided", "Disputed", "Recovers", "HasDeadEnd")
    }


SWING = Machine(
    (Variable("place", ("a", "b"), ("a",)), Variable("there", (False, True), (False,))),
    (),
    (
        Rule("go", Actor.CREW, Is("place", "a"), (("place", "b"),)),
        Rule("back", Actor.CREW, Is("place", "b"), (("place", "a"),)),
        Rule("fail", Actor.FAILURE, Is("place", "b"), (("there", False),)),
    ),
)
THERE = RecoveryQuestion("there", Is("there", True))


def _swinging(*weights: Any) -> Recoverable:
    """It goes to and fro for ever; the weights are to say that it comes nearer all the time."""
    rank = (tuple(zip(("place", "place", "place", "place"), ("a", "a", "a", "b"), weights, strict=True)),)
    entries = (Entry((Is("place", "a"),), ("go",)), Entry((Is("place", "b"),), ("back",)))
    return Recoverable("there", "a", Recovery(Certificate(()), (Stage(THERE.goal, rank, entries),)))


@pytest.mark.parametrize(
    "weights", [(1.0, 1e16, -1e16, -1.0), (1, 10**16, -(10**16), -1.0), (nan, 0, 0, 0), (0, 0, 0, inf)]
)
def test_rank_of_broken_numbers_is_disputed(weights: tuple[Any, ...]) -> None:
    """Sums of floats depend on their order: a rank of them could fall along both halves of a loop."""
    (finding,) = confirm_recovery(SWING, [THERE], [_swinging(*weights)])
    assert isinstance(finding, Disputed) and "of type float" in finding.what


def test_ranks_are_as_exact_as_they_are_long() -> None:
    """Weights that are whole numbers of any size that can be written are reckoned exactly."""
    up = Machine(SWING.variables, (), (Rule("set", Actor.CREW, Is("there", False), (("there", True),)),))
    for size in (1, 10**16, 10**1000):
        rank = ((("there", False, size + 1), ("there", True, size)),)
        entry = Entry((Is("there", False),), ("set",))
        stages = (Stage(Is("place", "b"), rank, (entry,)),)
        claim = Recoverable("there", "a", Recovery(Certificate((Is("place", "a"),)), stages))
        (finding,) = confirm_recovery(up, [RecoveryQuestion("there", Is("place", "b"))], [claim])
        assert isinstance(finding, Disputed) and "a state is in no case" in finding.what
        steady = replace(stages[0], rank=((("there", False, size), ("there", True, size)),))
        told = replace(
            claim, recovery=replace(claim.recovery, stages=(replace(steady, entries=(Entry((), ("set",)),)),))
        )
        assert isinstance(confirm_recovery(up, [THERE], [told])[0], Disputed)


ROUND = Machine(
    (Variable("n", (0, 1, 2, 3), (0,)),),
    (),
    tuple(Rule(f"{n}", Actor.CREW, Is("n", n), (("n", (n + 1) % 4),)) for n in range(4)),
)
THIRD = RecoveryQuestion("third", Is("n", 3))


def _round(*into: Any, last: int = 3, rank: Any = ()) -> Recoverable:
    """From 2, 1, 0 on to the next; each case names the one that it leads into, with no measure but their order."""
    entries = tuple(Entry((Is("n", n),), (f"{n}",), to) for n, to in zip((2, 1, 0), into, strict=True))
    goal = Is("n", last)
    clauses = Certificate(())
    return Recoverable("third", "a", Recovery(clauses, (Stage(goal, rank, entries),)))


def test_a_case_may_lead_into_one_listed_before() -> None:
    """With no measure at all: each case leads to the goal, or into an earlier case."""
    (finding,) = confirm_recovery(ROUND, [THIRD], [_round(None, 0, 1)])
    assert isinstance(finding, Recovers)


@pytest.mark.parametrize(
    ("forged", "what"),
    [
        (_round(None, 0, 2), "case 3 leads into case 3, which is not listed before it"),
        (_round(2, 0, 1), "case 1 leads into case 3, which is not listed before it"),
        (_round(None, 1, 1), "case 2 leads into case 2, which is not listed before it"),
        (_round(None, -1, 1), "case 2 leads into case 0, which is not listed before it"),
        (_round(None, 0, 0), "in case 3 the end is no better"),
        (_round(None, None, 1), "in case 2 the end is no better"),
        (_round(None, 0, True), "of type bool"),
        (_round(None, 0, 1.0), "of type float"),
        (_round(None, "0", 1), "of type str"),
        (_round(None, 0, 1, rank=((("n", 2, 1),),)), "in case 2 the end is no better"),
    ],
)
def test_forged_earlier_case_is_disputed(forged: Recoverable, what: str) -> None:
    """A case that is not earlier, not led into, no number, or reached with a greater measure proves nothing."""
    (finding,) = confirm_recovery(ROUND, [THIRD], [forged])
    assert isinstance(finding, Disputed) and what in finding.what


def test_an_earlier_case_does_not_help_out_of_the_stage() -> None:
    """An earlier case that applies again does not help where what the stage before came to is lost."""
    there = (Variable("n", (0, 1, 2), (0,)), Variable("kept", (False, True), (False,)))
    rules = (
        Rule("keep", Actor.CREW, Is("kept", False), (("kept", True),)),
        Rule("on", Actor.CREW, Is("n", 1), (("n", 2),)),
        Rule("go", Actor.CREW, Is("n", 0), (("n", 1), ("kept", False))),
    )
    stages = (
        Stage(Is("kept", True), (), (Entry((Is("kept", False),), ("keep",)),)),
        Stage(Is("n", 2), (), (Entry((Is("n", 1),), ("on",)), Entry((Is("n", 0),), ("go",), 0))),
    )
    claim = Recoverable("third", "a", Recovery(Certificate(()), stages))
    question = RecoveryQuestion("third", Is("n", 2))
    (finding,) = confirm_recovery(Machine(there, (), rules), [question], [claim])
    assert isinstance(finding, Disputed) and "in case 2 the end is no better" in finding.what
    kept = (*rules[:2], Rule("go", Actor.CREW, Is("n", 0), (("n", 1),)))
    (finding,) = confirm_recovery(Machine(there, (), kept), [question], [claim])
    assert isinstance(finding, Recovers)


@pytest.mark.parametrize("wrong", [0, 0.0, Number(0)])
def test_dead_end_in_another_type_is_disputed(wrong: Any) -> None:
    """A state that says 0 for False is no state of the machine, though Python takes the two for equal."""
    dead = DeadEnd("there", "a", Trace((), (("a", False),)), Certificate((Is("there", False),)))
    assert isinstance(confirm_recovery(SWING, [THERE], [dead])[0], HasDeadEnd)
    forged = replace(dead, trace=Trace((), (("a", wrong),)))
    assert isinstance(confirm_recovery(SWING, [THERE], [forged])[0], Disputed)
    step = replace(dead, trace=Trace(("go",), (("a", False), ("b", wrong))))
    assert isinstance(confirm_recovery(SWING, [THERE], [step])[0], Disputed)


COUNTED = Machine(
    (Variable("n", (0, 1, 2), (0,)), Variable("lit", (False, True), (False,))),
    (Signal("high", Is("n", 2)),),
    (Rule("up", Actor.CREW, Is("n", 0), (("n", 1),)), Rule("light", Actor.CREW, Is("n", 1), (("lit", True),))),
)
HIGH, LIT = Question("high", Ref("high")), Question("lit", Is("lit", True))


@pytest.mark.parametrize(
    "states",
    [
        ((0, False), (1, False), (1, 1)),
        ((0, False), (True, False), (1, True)),
        ((False, False), (1, False), (1, True)),
        ((0, 0), (1, False), (1, True)),
        ((0, False), (1.0, False), (1, True)),
    ],
)
def test_run_through_values_of_another_type_is_disputed(states: Any) -> None:
    """Every value of a run is one of its variable's, of the same type."""
    run = Trace(("up", "light"), ((0, False), (1, False), (1, True)))
    assert isinstance(confirm(COUNTED, [LIT], [Refuted("lit", "a", run, False)])[0], Fails)
    assert isinstance(confirm(COUNTED, [LIT], [Refuted("lit", "a", Trace(run.rules, states), False)])[0], Disputed)


@pytest.mark.parametrize("wrong", [True, 1.0, Number(1), None, *HUGE, 0, "1"])
def test_certificate_that_looks_back_so_far_is_disputed(wrong: Any) -> None:
    """How far a certificate looks back is a whole number from one up, and short enough to be written."""
    right = Proved("high", "a", Certificate((Not(Is("n", 2)),)))
    assert isinstance(confirm(COUNTED, [HIGH], [right])[0], Holds)
    forged = replace(right, certificate=Certificate((Not(Is("n", 2)),), wrong))
    assert isinstance(confirm(COUNTED, [HIGH], [forged])[0], Disputed)


@pytest.mark.parametrize("wrong", [True, 3.0, Number(3), nan, inf, "3", *HUGE, -3])
def test_count_in_another_type_is_disputed(wrong: Any) -> None:
    """A number of states is a whole number that can be written."""
    assert isinstance(confirm(COUNTED, [HIGH], [Proved("high", "a", None, 3)])[0], Holds)
    assert isinstance(confirm(COUNTED, [HIGH], [Proved("high", "a", None, wrong)])[0], Disputed)


@pytest.mark.parametrize("wrong", [None, 0, "proved", (), Kept("high", "a", Certificate((Not(Is("n", 2)),)))])
def test_what_is_no_claim_is_disputed(wrong: Any) -> None:
    """What is not one of the kinds of claim, a subclass of one included, is disputed and not passed on."""
    (finding,) = confirm(COUNTED, [HIGH], [wrong])
    assert isinstance(finding, Disputed) and isinstance(finding.claim, Unknown)
    (way,) = confirm_recovery(COUNTED, [RecoveryQuestion("high", TRUE)], [wrong])
    assert isinstance(way, Disputed) and isinstance(way.claim, Unknown)


def test_ill_formed_certificate_spoils_every_claim_that_shares_it() -> None:
    """What was found faulty in one claim is found faulty in the next that holds the same object."""
    certificate = Certificate((Not(Is("n", 2)), Const(1)))  # type: ignore[arg-type]
    questions = [replace(HIGH, id=str(at)) for at in range(3)]
    findings = confirm(COUNTED, questions, [Proved(q.id, "a", certificate) for q in questions])
    assert [type(finding) for finding in findings] == [Disputed] * 3


def test_clause_that_is_huge_when_written_out_is_refused() -> None:
    """A clause that shares its parts sixty times over is not written out; nobody waits for it."""
    (finding,) = confirm(COUNTED, [HIGH], [Proved("high", "a", Certificate((Not(Is("n", 2)), _spread(60))))])
    assert isinstance(finding, Disputed | Undecided)


class Name(str):
    """A text that is a type of its own."""


@pytest.mark.parametrize(
    ("rules", "states", "fault"),
    [
        (("go", True), ((True, "up"),), "Trace.rules has a part of type bool"),
        (("go", Name("stop")), ((True, "up"),), "Trace.rules has a part of type Name"),
        (("go",), ((True, "up"), (True, Name("up"))), "Trace.states has a part of type Name"),
        (("go",), ((True, "up", None),), "Trace.states has a part of type NoneType"),
        (("go",), ((True, 1 << MOST_BITS),), f"Trace.states has a number of {MOST_BITS + 1} bits"),
        (("go",), ((True, 2, "up"),), ""),
    ],
)
def test_parts_of_long_tuples_are_what_is_declared(rules: Any, states: Any, fault: str) -> None:
    """Of names and states, which are looked at all at once, one part of another type is found all the same."""
    assert fault_of_shape(Trace(rules, states), Trace) == fault


@pytest.mark.parametrize(
    ("value", "fault"),
    [
        (Proved("q", "a", Certificate((Is("x", 1), Not(Ref("s")), conj(Is("x", "1"), TRUE))), 7), ""),
        (Refuted("q", "a", Trace(("r",), ((1, "x", True), ())), False), ""),
        (Proved("q", "a", Certificate((Is("x", 1.5),))), "Is.value has a part of type float"),  # type: ignore[arg-type]
        (Proved("q", "a", Certificate((Or(()),)), 2**MOST_BITS), "Proved.states has a number of 4097 bits"),
        (Proved("q", "a", Certificate([])), "Certificate.clauses has a part of type list"),  # type: ignore[arg-type]
        (Proved("q", "a", Trace((), ())), "Proved.certificate has a part of type Trace"),  # type: ignore[arg-type]
        (Refuted("q", "a", Trace((), ()), 0), "Refuted.shortest has a part of type int"),  # type: ignore[arg-type]
        (Proved("q", Word("a"), None), "Proved.engine has a part of type Word"),
        (object.__new__(Unknown), "Unknown.depth has a part of type _MISSING_TYPE"),
        (7, "the claim has a part of type int"),
    ],
)
def test_shapes_are_told_in_words(value: object, fault: str) -> None:
    """What is not as declared is named by the field in which it stands."""
    assert fault_of_shape(value, Claim) == fault


def test_tuples_of_a_declared_length_have_it() -> None:
    """A weight is of a variable, a value and a number: no part less, no part more."""
    for weight in (("x", 1), ("x", 1, 1, 1), ()):
        stage = Stage(TRUE, ((weight,),), ())  # type: ignore[arg-type]
        assert fault_of_shape(stage, Stage) == f"Stage.rank has {len(weight)} parts in place of 3"
