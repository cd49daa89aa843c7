"""What is remembered of an earlier proof: it saves work, and whatever stands in it, it changes no answer."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from typing import NoReturn

import pytest

from interlock.confirm.recovery import confirm_recovery
from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.claims import Claim, Limits, ProgressCallback, Unknown, silent
from interlock.kernel.expressions import FALSE, TRUE, Is, conj, disj, neg, variables_of
from interlock.kernel.machine import (
    Actor,
    Machine,
    Question,
    RequirementKind,
    Rule,
    Variable,
    question_of,
    with_monitors,
)
from interlock.kernel.recovery import Entry, Recoverable, Recovers, RecoveryQuestion
from interlock.prove import decide as strategy
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS, Engine, time_reason
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.prove.recovery import cases
from interlock.prove.recovery.recovery import recover
from interlock.study.keeping import as_bytes, from_bytes
from interlock.study.sessions import Session
from interlock.study.verify import Status, Verification, verify
from tests.agreement.hold_texts import compile_file, compile_source, overlay, standing
from tests.some import some

DEFERRED = {
    "single-lane": "  - defer: M3\n    in: lowered\n    because: spring broken\n    limit: 3C is empty\n",
    "twin-lane": "  - defer: M3L\n    in: lowered\n    because: broken\n    limit: 3L is empty and 4L is empty\n",
}
ROWS = "three-rows"
TWIN = pytest.param("twin-lane", marks=pytest.mark.thorough)
EACH = pytest.mark.parametrize("name", ["single-lane", TWIN])
OPEN_ALWAYS = "can-always-be-emptied-and-shut"


@cache
def _hold(name: str) -> CompiledHold:
    return compile_file(f"tests/quality/{name}.yaml" if name == ROWS else f"models/{name}.yaml", standing())


@cache
def _proved(name: str) -> tuple[Verification, Remembered]:
    lemmas = Lemmas()
    return verify(_hold(name), decide, Limits(), lemmas=lemmas), lemmas.found()


def _statuses(found: Verification) -> list[tuple[str, Status, bool]]:
    """What is told of each requirement but for the number of cases."""
    return [(answer.instance.requirement.id, answer.status, answer.story is None) for answer in found.answers]


def _stories(found: Verification) -> list[object]:
    return [answer.story for answer in found.answers]


@pytest.mark.parametrize("name", [ROWS, TWIN])
def test_what_was_proved_is_not_searched_for_again(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With what an earlier proof left nothing is mined and no run is planned; answers and runs are the same."""
    plain, left = _proved(name)
    remembered = from_bytes(as_bytes(left))
    assert remembered == left

    def no_more(*_: object) -> NoReturn:
        raise AssertionError("searched for again")

    monkeypatch.setattr(strategy, "mine", no_more)
    monkeypatch.setattr(cases.RecoveryCases, "cover", no_more)
    again = verify(_hold(name), decide, Limits(), lemmas=Lemmas(remembered))
    assert _statuses(again) == _statuses(plain)
    assert _stories(again) == _stories(plain)
    assert again.findings == plain.findings
    assert again.recoveries == plain.recoveries


@EACH
def test_a_modified_hold_begins_with_what_its_base_left(name: str) -> None:
    """Of a hold with a latch deferred most cases are those of its base; the answers are those without them."""
    compiled = compile_source(overlay(name, DEFERRED[name]), standing())
    plain = verify(compiled, decide, Limits(), chosen=[OPEN_ALWAYS])
    based = Lemmas(_proved(name)[1])
    found = verify(compiled, decide, Limits(), chosen=[OPEN_ALWAYS], lemmas=based)
    assert _statuses(found) == _statuses(plain)
    ((_, finding),) = found.recoveries
    assert isinstance(finding, Recovers)
    known = {entry.rules for entries in _proved(name)[1].cases.values() for entry in entries}
    mine = [entry.rules in known for stage in finding.claim.recovery.stages for entry in stage.entries]
    assert sum(mine) > 0.8 * len(mine)


def _forged(compiled: CompiledHold, left: Remembered, seed: int) -> Iterator[Remembered]:
    """What was left, with things in it that are not so, or that are of no machine at all."""
    draw = random.Random(seed)
    machine = with_monitors(compiled.machine)
    facts = [Is(v.name, value) for v in machine.variables for value in v.domain]
    some_clauses = tuple(disj(*(neg(draw.choice(facts)) for _ in range(draw.randint(1, 2)))) for _ in range(200))
    yield Remembered(some_clauses, left.cases, left.measures)
    yield Remembered((FALSE, *left.clauses), left.cases, left.measures)
    yield Remembered(tuple(disj(Is("nothing", 1), Is(fact.variable, "nowhere")) for fact in facts), left.cases)
    yield Remembered(left.clauses, left.cases, dict.fromkeys(left.measures, 7))
    failures = [rule.name for rule in machine.rules if rule.actor is Actor.FAILURE]
    names = [rule.name for rule in machine.rules]

    def spoilt(entry: Entry) -> Entry:
        match draw.randrange(8):
            case 0:
                return replace(entry, rules=entry.rules[1:])
            case 1:
                return replace(entry, rules=(*entry.rules, draw.choice(names)))
            case 2:
                return replace(entry, when=entry.when[1:])
            case 3:
                return replace(entry, into=draw.choice([-1, 0, 10**6]))
            case 4:
                return replace(entry, rules=("no such rule",))
            case 5:
                return replace(entry, when=(*entry.when, Is(facts[0].variable, 1), draw.choice(facts)))
            case 6:
                return replace(entry, rules=(*entry.rules, *failures[:1]))
            case _:
                return replace(entry, rules=entry.rules * 500)

    yield Remembered(
        left.clauses,
        {name: tuple(map(spoilt, entries)) for name, entries in left.cases.items()},
        left.measures,
    )
    turned = {name: tuple(reversed(entries)) for name, entries in left.cases.items()}
    yield Remembered(left.clauses, turned, left.measures)


@pytest.mark.parametrize(
    ("seed", "part"),
    [
        (0, 0),
        pytest.param(0, 1, marks=pytest.mark.thorough),
        *(pytest.param(at, part, marks=pytest.mark.slow) for at in range(1, 5) for part in (0, 1)),
    ],
)
def test_forgeries_change_no_answer(seed: int, part: int) -> None:
    """Whatever stands in what is remembered, each requirement is answered as without, and nothing is disputed."""
    plain, left = _proved("single-lane")
    for forged in some(list(_forged(_hold("single-lane"), left, seed))[part::2]):
        found = verify(_hold("single-lane"), decide, Limits(), lemmas=Lemmas(forged))
        assert _statuses(found) == _statuses(plain)
        assert _stories(found) == _stories(plain)


@pytest.mark.parametrize(
    ("flaw", "names"),
    [
        ("key-not-trapped", ["single-lane"]),
        pytest.param("lever-that-stays", ["twin-lane", "single-lane"], marks=pytest.mark.thorough),
    ],
)
def test_what_a_sound_hold_left_hides_no_flaw(flaw: str, names: list[str]) -> None:
    """Of a flawed hold the same requirements fail, by the same runs, as without; also with what is of another hold."""
    flawed = compile_file(f"models/flawed/{flaw}.yaml", standing())
    plain = verify(flawed, decide, Limits())
    assert plain.count(Status.FAILS)
    for name in some(names):
        found = verify(flawed, decide, Limits(), lemmas=Lemmas(_proved(name)[1]))
        assert _statuses(found) == _statuses(plain)
        assert _stories(found) == _stories(plain)


@EACH
def test_a_dead_end_is_found_as_without(name: str) -> None:
    """Cases of the sound hold do not change which dead end of the modified one is shown."""
    from tests.teeth.test_standing_set import DEAD_ENDS

    (bite,) = [bite for bite in DEAD_ENDS if bite.base == name]
    compiled = compile_source(overlay(bite.base, bite.changes), standing())
    plain = verify(compiled, decide, Limits(), chosen=[OPEN_ALWAYS])
    found = verify(compiled, decide, Limits(), chosen=[OPEN_ALWAYS], lemmas=Lemmas(_proved(name)[1]))
    assert plain.count(Status.FAILS) == 1
    assert _stories(found) == _stories(plain)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"layout":2,"clauses":[],"cases":{},"measures":{}}',
        b'{"layout":1,"clauses":[[["a",1.5,true]]],"cases":{},"measures":{}}',
        b'{"layout":1,"clauses":[["a"]],"cases":{},"measures":{}}',
        b'{"layout":1,"clauses":[],"cases":{"x":[[[],["r"],"0"]]},"measures":{}}',
        b'{"layout":1,"clauses":[],"cases":{},"measures":{},"more":0}',
    ],
)
def test_what_is_none_of_ours_is_nothing(content: bytes) -> None:
    """Bytes that no proof left are as if there were none."""
    assert from_bytes(content) is None


def test_what_ran_out_of_time_goes_on_from_its_lemmas(monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked again about the same, nothing is mined anew, and the answers are those of one call that had the time."""
    machine = with_monitors(_hold("single-lane").machine)
    asked = [r for r in machine.requirements if r.kind is not RequirementKind.CAN_ALWAYS]
    questions = [question_of(machine, requirement) for requirement in asked]
    lemmas = Lemmas()
    first = decide(machine, questions, found=lemmas)
    assert not lemmas.cut_short and lemmas.clauses

    def not_again(*_: object) -> NoReturn:
        raise AssertionError("mined anew")

    monkeypatch.setattr(strategy, "mine", not_again)
    lemmas.cut_short = True
    assert [type(one) for one in decide(machine, questions, found=lemmas)] == [type(one) for one in first]
    decide(machine, questions[:1], Limits(seconds=0), found=lemmas)
    assert lemmas.cut_short


def test_what_lacked_time_is_asked_again_before_ways_back() -> None:
    """Where much of what breaks requirements is open, ways back wait once; they wait no more where little is."""
    machine = with_monitors(_hold("single-lane").machine)
    questions = [Question(f"q{number}", FALSE) for number in range(20)]
    order: list[int] = []

    def lacking(number: int) -> Engine:
        def engine(
            machine: Machine,
            questions: Sequence[Question],
            limits: Limits = NO_LIMITS,
            report: ProgressCallback = silent,
        ) -> tuple[Claim, ...]:
            order.append(len(questions))
            done = len(order) > 1 or len(questions) < number
            return tuple(
                Unknown(q.id, "stub", "hard" if done or at >= number else time_reason(limits))
                for at, q in enumerate(questions)
            )

        return engine

    def recoverer(
        machine: Machine, questions: Sequence[RecoveryQuestion], limits: Limits, report: ProgressCallback
    ) -> tuple[Unknown, ...]:
        order.append(-len(questions))
        return tuple(Unknown(one.id, "stub", "hard") for one in questions)

    for number, told in ((20, [20, 20, -1]), (1, [20, -1, 1])):
        order.clear()
        session = Session(machine, Limits(seconds=60), silent)
        session.claim_and_confirm(questions, [RecoveryQuestion("way", TRUE)], lacking(number), recoverer)
        assert order == told


def test_of_what_no_rule_writes_a_case_says_what_it_cannot_do_without() -> None:
    """A case that was told of one choice serves every choice that does not matter to it, and no other."""
    facts = [Is("at", value) for value in range(4)]
    rules = [Rule(f"to {at}", Actor.CREW, fact, (("at", at),)) for at, fact in enumerate(facts[1:])]
    rules[2] = replace(rules[2], guard=conj(facts[3], neg(Is("barred", True))))
    rules.append(Rule("round", Actor.CREW, conj(facts[3], Is("barred", True)), (("at", 1),)))
    choices = [Variable(name, (False, True), (False, True)) for name in ("barred", "painted")]
    machine = Machine((Variable("at", tuple(range(4)), tuple(range(4))), *choices), (), tuple(rules), (), TRUE)
    question = RecoveryQuestion("down", facts[0])
    lemmas = Lemmas()
    recover(machine, [question], found=lemmas)
    told = tuple(neg(Is(one.name, True)) for one in choices)
    one_choice = {
        stage: tuple(
            replace(
                entry, when=(*(fact for fact in entry.when if not variables_of(fact) & {"barred", "painted"}), *told)
            )
            for entry in entries
            if Is("barred", True) not in entry.when
        )
        for stage, entries in lemmas.cases.items()
    }
    (claim,) = recover(machine, [question], found=Lemmas(Remembered(cases=one_choice, measures=lemmas.measures)))
    assert isinstance(claim, Recoverable)
    assert isinstance(confirm_recovery(machine, [question], [claim])[0], Recovers)
    entries = [entry for stage in claim.recovery.stages for entry in stage.entries]
    assert not any("painted" in variables_of(fact) for entry in entries for fact in entry.when)
    assert any(Is("barred", False) in entry.when for entry in entries)
