"""Clauses of certificates in trade words, and what a proof is said to rest on."""

from __future__ import annotations

from interlock.hold.explain import Fact, explain_clause, explain_clauses
from interlock.hold.glossary import Glossary
from interlock.hold.origin import origins_of
from interlock.kernel.claims import Limits
from interlock.kernel.expressions import Expr, Is, Or, Value, disj, neg
from interlock.kernel.machine import Machine, Variable
from interlock.prove.invariants.mined import mined
from interlock.report.text.cores import core_lines
from interlock.report.text.lines import as_text
from interlock.report.views.proof import core_facts
from interlock.report.views.wording import places_after
from interlock.study.proof_cores import proof_cores_of
from interlock.study.verify import verify
from tests.golden.small_hold import small_hold

COMPILED = small_hold()
DOOR = "door.D1.position"
HOLDS = "bay.1C.holds"
CROSSING = next(v.name for v in COMPILED.machine.variables if v.name.endswith(".crossing"))


def said(*parts: Expr) -> str:
    return explain_clause(COMPILED.machine, COMPILED.glossary, Or(parts))


def test_motion_comes_before_what_follows_from_it() -> None:
    """A unit on its way is the premise, what the door does the conclusion, however the clause is written."""
    crossing = Is(CROSSING, "HALF")
    expected = "whenever a half-width container is on its way over the sill of side door, side door is open"
    assert said(neg(crossing), Is(DOOR, "open")) == expected
    assert said(Is(DOOR, "open"), neg(crossing)) == expected


def test_a_variable_of_two_values_is_never_said_by_a_negation() -> None:
    """Where there is only one other value, the sentence names that one."""
    text = said(neg(Is("door.D1.latch", "unlatched")), neg(Is("door.D1.lock", "locked")))
    assert text == "whenever side door is locked, side door is latched"


def test_a_single_fact_is_said_to_be_so_never_or_always() -> None:
    """A clause of one literal needs no premise."""
    assert said(neg(Is(DOOR, "moving"))) == "never: side door is moving"
    assert said(Is(HOLDS, "empty")) == "always: bay 1C is empty"


def test_sentences_of_one_pattern_become_one_fact() -> None:
    """What differs only in a place is folded; what does not stays whole."""
    machine, glossary = COMPILED.machine, COMPILED.glossary
    whole = disj(neg(Is(DOOR, "closed")), Is("door.D1.latch", "latched"))
    other = disj(neg(Is(DOOR, "moving")), Is("door.D1.latch", "unlatched"))
    assert explain_clauses(machine, glossary, [whole, whole, other]) == (
        Fact("whenever side door is closed, side door is latched"),
        Fact("whenever side door is moving, side door is unlatched"),
    )


def test_grounds_name_what_a_proof_rests_on() -> None:
    """The facts given for each requirement text of the small hold."""
    verification = verify(COMPILED, mined, Limits())
    found = {ground.origin.id: [fact.text for fact in ground.facts] for ground in proof_cores_of(verification)}
    text = as_text(core_lines([core_facts(core) for core in proof_cores_of(verification)]))
    assert all(
        line in text for line in ("WHAT THE PROOFS REST ON", "  - Whenever side door is open, side door is unlatched.")
    )
    assert found == {
        "latched-when-locked": ["whenever side door is locked, side door is latched"],
        "never-locked-while-open": [
            "whenever side door is locked, side door is latched",
            "whenever side door is moving, side door is unlatched",
            "whenever side door is open, side door is unlatched",
        ],
    }


def test_rows_and_lanes_are_folded() -> None:
    """One sentence for all mid latches, with the places in the order of the rows."""
    machine = Machine(
        tuple(Variable(f"{kind}.{at}", (False, True), (False,)) for kind in KINDS for at in PLACES), (), ()
    )
    words = {("face", True): "a unit is on its way over mid latch {}", ("face", False): "nothing is over mid latch {}"}
    words |= {("device", True): "mid latch {} is lowered", ("device", False): "mid latch {} is raised"}
    values: dict[tuple[str, Value], str] = {
        (f"{kind}.{at}", v): text.format(at) for (kind, v), text in words.items() for at in PLACES
    }
    clauses = [disj(Is(f"device.{at}", True), neg(Is(f"face.{at}", True))) for at in PLACES]
    (fact,) = explain_clauses(machine, Glossary(origins_of({}, {}, {}, ()), values, {}, {}), clauses)
    assert fact == Fact(
        "whenever a unit is on its way over mid latch ..., mid latch ... is lowered", ("2L", "3L", "10R")
    )
    assert places_after(fact.text, fact.places).endswith("is lowered (for each of 2L, 3L, 10R)")


KINDS = ("face", "device")
PLACES = ("10R", "3L", "2L")
