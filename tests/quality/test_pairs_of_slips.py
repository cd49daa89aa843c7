"""Pairs of slips on a load of thirty bays: all of them, in a minute of the processor, as two slips alone show them."""

from __future__ import annotations

from random import Random
from time import process_time

import pytest

from interlock.hold.compile.compiler import compile_hold
from interlock.hold.language.model import Hold
from interlock.hold.loader import Source, load_hold, load_procedure
from interlock.hold.procedure.binding import BoundProcedure, bind_procedure, compile_for
from interlock.kernel.claims import Limits, Refuted
from interlock.kernel.machine import question_of
from interlock.prove.search.explicit import explicit
from interlock.report.yaml.procedure import checklist_procedure
from interlock.study.checklist.goals import Load
from interlock.study.checklist.making import Checklist, make_checklist
from interlock.study.procedure.audit import Audit, audit_procedure
from interlock.study.procedure.graph import procedure_graph, procedure_machine
from interlock.study.procedure.slips import Slip, slips_of
from tests.agreement.hold_texts import fetch, standing
from tests.benchmarks.holds import hold_text

ASKED = "LVD is down and load_secured"
MOST_SECONDS = 60


def described(text: str) -> Hold:
    found = load_hold(Source("grown.yaml", text.encode()), fetch).value
    assert found is not None
    return found


def bound_of(rows: int) -> BoundProcedure:
    """The checklist that fills so many rows, followed in a hold whose door does not ask whether the load is secured."""
    text = hold_text(rows)
    assert ASKED in text
    compiled = compile_hold(described(text), standing()).compiled
    assert compiled is not None
    made = make_checklist(compiled, Load((("all", "HALF"),)))
    assert isinstance(made, Checklist)
    procedure = load_procedure(Source("made.yaml", checklist_procedure(made, "grown.yaml").encode())).value
    assert procedure is not None
    flawed = compile_for(described(text.replace(ASKED, "LVD is down")), procedure, standing()).compiled
    assert flawed is not None
    bound = bind_procedure(procedure, flawed).bound
    assert bound is not None
    return bound


def broken_by(bound: BoundProcedure, slips: tuple[Slip, ...]) -> set[str]:
    """What is broken where these slips can be made, once each, and no others: every state of that machine."""
    machine = procedure_machine(procedure_graph(bound, slips), lost=False, slips=len(slips))
    claims = explicit(machine, [question_of(machine, one) for one in machine.requirements])
    return {claim.question for claim in claims if isinstance(claim, Refuted)}


def check_pairs(bound: BoundProcedure, audit: Audit, few: int) -> None:
    """Some pairs that are named, and some that are not, against machines of two slips each."""
    assert audit.slips is not None
    found = [one for one in audit.slips.combinations if len(one.slips) == 2]
    assert len(found) > few and not any(len(one.slips) == 1 for one in audit.slips.combinations)
    draw = Random(1)
    slips = slips_of(bound)
    named = [one.slips for one in draw.sample(found, few)]
    # one of a pair that is named, with any other
    near = [(draw.choice(pair), draw.choice(slips)) for pair in named]
    for pair in (*named, *(pair for pair in near if pair[0] != pair[1])):
        said = {one.hazard.instance.requirement.id for one in found if set(one.slips) == set(pair)}
        assert broken_by(bound, tuple(one for one in slips if one in pair)) == said, [one.id for one in pair]


@pytest.mark.slow
def test_thirty_bays_in_a_minute() -> None:
    """All pairs of 1,746 slips: complete, within the time, every slip by itself counted a second time."""
    bound = bound_of(15)
    began = process_time()
    audit = audit_procedure(bound, None, Limits(), interrupted=False)
    assert process_time() - began < MOST_SECONDS
    slips = audit.slips
    assert audit.open == () and slips is not None and slips.together == 2
    assert len(slips.results) > 1500 and slips.places > 600_000
    assert slips.counted.agreed and slips.counted.together == 1
    check_pairs(bound, audit, 6)


@pytest.mark.slow
def test_six_bays_are_counted_a_second_time() -> None:
    """Where the places are not too many, which pairs do it is what a plain count finds."""
    bound = bound_of(3)
    audit = audit_procedure(bound, None, Limits(), interrupted=False)
    assert audit.slips is not None and audit.slips.counted.agreed and audit.slips.counted.together == 2
    check_pairs(bound, audit, 6)
