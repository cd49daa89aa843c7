"""Confirming heeds its limits while it writes: thousands of signals, thousands of values, a certificate of any k."""

from __future__ import annotations

from random import Random
from time import monotonic

import pytest

from interlock.confirm import confirm as confirming
from interlock.confirm import smtlib
from interlock.confirm.confirm import confirm
from interlock.confirm.enumeration import enumerate_reachable
from interlock.confirm.recheck import recheck
from interlock.confirm.recovery import confirm_recovery
from interlock.confirm.smtlib import GivenUp, safe_obligation, start_obligation, step_obligation
from interlock.kernel.claims import Certificate, Disputed, Finding, Holds, Proved, Undecided
from interlock.kernel.expressions import FALSE, And, Expr, Is, Not, Or, Ref, conj, disj
from interlock.kernel.machine import Actor, Machine, Question, Rule, Signal, Variable
from interlock.kernel.recovery import Entry, Recoverable, RecoveryQuestion, Stage
from interlock.kernel.recovery import Recovery as Way
from tests.some import swept

from .machines_confirm import a_certificate, a_machine, a_target, obligations_kept, world_of


def _timed(
    machine: Machine, question: Question, certificate: Certificate, seconds: float | None
) -> tuple[Finding, float]:
    began = monotonic()
    (finding,) = confirm(machine, [question], [Proved(question.id, "a", certificate)], seconds)
    return finding, monotonic() - began


def _chained(signals: int, rules: int) -> Machine:
    """Signals that rest on one another, each on a switch of its own too; every rule throws the last switch."""
    switches = tuple(Variable(f"v{at}", (False, True), (False,)) for at in range(signals))
    first = Signal("s0", Is("v0", True))
    chain = [
        Signal(f"s{at}", Or((And((Ref(f"s{at - 1}"), Is(f"v{at}", True))), Is(f"v{at}", True))))
        for at in range(1, signals)
    ]
    made = tuple(Rule(f"r{at}", Actor.CREW, Is(f"v{at}", False), (("v0", False),)) for at in range(rules))
    return Machine(switches, (first, *chain), made)


@pytest.mark.parametrize("seconds", [0.2, 1.0])
def test_a_chain_of_signals_is_written_within_the_time(seconds: float) -> None:
    """Five thousand signals on which all clauses rest: whether or not the time is enough, it is not overrun by much."""
    machine = _chained(5_000, 200)
    certificate = Certificate(tuple(Not(Ref(f"s{at}")) for at in range(0, 5_000, 10)))
    finding, took = _timed(machine, Question("q", Ref("s4990")), certificate, seconds)
    assert isinstance(finding, Undecided) and "out of time" in finding.reason
    assert took < seconds + 1.5


def test_ways_back_are_written_within_the_time() -> None:
    """The obligations of many cases over many signals look at the clock too."""
    machine = _chained(3_000, 500)
    entries = tuple(Entry((Is(f"v{at % 3_000}", False),), (f"r{at % 500}",)) for at in range(20_000))
    way = Way(Certificate((Not(Is("v1", True)),)), (Stage(Ref("s2999"), (), entries),))
    began = monotonic()
    (finding,) = confirm_recovery(
        machine, [RecoveryQuestion("q", Ref("s2999"))], [Recoverable("q", "a", way)], seconds=0.5
    )
    assert isinstance(finding, Undecided) and "out of time" in finding.reason
    assert monotonic() - began < 2.5


def _dial(values: int) -> tuple[Machine, Question, Certificate]:
    """A dial that goes up to the value before the last."""
    numbers = tuple(range(values))
    rules = tuple(Rule(f"r{at}", Actor.CREW, Is("n", at), (("n", at + 1),)) for at in numbers[:-2])
    machine = Machine((Variable("n", numbers, (0,)),), (), rules)
    return machine, Question("q", Is("n", values - 1)), Certificate((Not(Is("n", values - 1)),))


def test_a_variable_of_many_values_is_written_in_proportion() -> None:
    """Twice the values, twice the text; a thousand of them are confirmed in seconds."""
    lengths = [len(safe_obligation(*_dial(size)[:1], Certificate(()), []).text) for size in (400, 800)]
    assert lengths[1] < 2.2 * lengths[0]
    finding, took = _timed(*_dial(1_000), 10)
    assert isinstance(finding, Holds)
    assert took < 10


@pytest.mark.parametrize("deep", [10**7, 10**100])
def test_a_certificate_that_looks_back_for_ever_ends_in_time(deep: int) -> None:
    """However far it looks back, its text is given up once the time is over."""
    machine, question, certificate = _dial(50)
    finding, took = _timed(machine, question, Certificate(certificate.clauses, deep), 0.5)
    assert isinstance(finding, Undecided) and "out of time" in finding.reason
    assert took < 2


def test_a_text_has_a_length_that_it_does_not_pass(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a limit of time, what would fill the memory is given up, and said so."""
    monkeypatch.setattr(smtlib, "MOST_TEXT", 100_000)
    machine, question, certificate = _dial(50)
    for write in (start_obligation, step_obligation):
        with pytest.raises(GivenUp, match="100,000 characters"):
            write(machine, Certificate(certificate.clauses, 10**9))
        assert len(write(machine, certificate).text) < 100_000
    finding, _ = _timed(machine, question, Certificate(certificate.clauses, 10**9), None)
    assert isinstance(finding, Undecided) and "100,000 characters" in finding.reason


def test_what_is_huge_when_written_out_is_not_written(monkeypatch: pytest.MonkeyPatch) -> None:
    """The parts of a certificate are counted as often as they would be written; the last that may be, may be."""
    machine, question, certificate = _dial(9)
    whole: Expr = certificate.clauses[0]
    for _ in range(3):
        whole = And((whole, whole))
    for most, kind in ((23, Holds), (22, Undecided)):
        monkeypatch.setattr(confirming, "MOST_PARTS", most)
        finding, _ = _timed(machine, question, Certificate((whole,)), None)
        assert isinstance(finding, kind)


def test_reading_a_text_stops_with_the_time() -> None:
    """The second solver is not kept reading beyond the deadline; what it has answered stays."""
    machine, question, certificate = _dial(50)
    obligation = safe_obligation(machine, certificate, [question] * 40)
    assert recheck(obligation, monotonic() - 1).answers == ("unknown (out of time)",) * 40
    assert recheck(obligation, monotonic() + 60).answers == ("unsat",) * 40


def test_trying_starts_stops_with_the_time() -> None:
    """Combinations of starts of which none is one are tried no longer than there is time."""
    free = tuple(Variable(f"v{at}", (False, True), (False, True)) for at in range(19))
    never = conj(
        *(disj(Is(v.name, True), Is(v.name, False)) for v in free), Is("v18", True), Not(Or((Is("v18", True),)))
    )
    began = monotonic()
    walk = enumerate_reachable(Machine(free, (), (), start=never), [FALSE], 100, deadline=monotonic() + 0.2)
    assert walk.stopped == "out of time" and not walk.complete
    assert monotonic() - began < 1


@pytest.mark.parametrize("seed", swept(range(120), 6))
def test_a_chain_of_helping_symbols_means_at_most_one(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Written along a chain, no two values are so and each can be: brute force gives the verdicts."""
    monkeypatch.setattr(smtlib, "MOST_PAIRED", 1)
    rng = Random(seed)
    machine = a_machine(rng)
    world = world_of(machine)
    certificate = a_certificate(rng, machine, world)
    target = a_target(rng, machine, world)
    kept = obligations_kept(machine, world, certificate, target)
    finding, _ = _timed(machine, Question("q", target), certificate, None)
    assert isinstance(finding, Holds if all(kept.values()) else Disputed)
