"""No step of a checklist can be left out, nor two together: tried by leaving them out, in whatever leg they stand."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.claims import Limits
from interlock.kernel.machine import Actor
from interlock.report.yaml.procedure import checklist_procedure, steps_of_actions
from interlock.study.checklist.audit import audit_checklist
from interlock.study.checklist.goals import Load, Unload
from interlock.study.checklist.making import Checklist, Leg, make_checklist
from interlock.study.checklist.operating import Operation, Refusal, levers_neutral
from interlock.study.procedure.audit import Verdict
from tests.agreement.hold_texts import compile_file, compile_text, standing
from tests.some import swept, telling
from tests.teeth.written_holds import chosen, written

OUT = Unload(("all",))
Found = list[tuple[int, ...]]


def made(compiled: CompiledHold, unload: bool) -> Checklist:
    """The checklist that fills every bay, or empties them again."""
    full = Load((("all", compiled.hold.units[0].id),))
    found = make_checklist(compiled, OUT if unload else full, aboard=full if unload else None)
    assert isinstance(found, Checklist), found
    return found


def of_seed(seed: int) -> CompiledHold:
    """A small written hold."""
    return compile_text(written(chosen(seed, 2, 4)), standing())


def spare(checklist: Checklist) -> Found:
    """The steps, from 1, without which each leg reaches its goal: one alone, or two of which none is one alone."""
    operation = checklist.operation
    deeds = [step.execution.deed for step in checklist.steps]
    goals = {leg.steps[-1].number - 1: operation.test_of(leg.goal) for leg in checklist.legs if leg.steps}
    states = [operation.packing.pack(step.execution.before) for step in checklist.steps]

    def does(out: tuple[int, ...]) -> bool:
        state = states[out[0]]
        for at in range(out[0], len(deeds)):
            if at not in out:
                after = operation.outcome(state, deeds[at])
                if isinstance(after, Refusal):
                    return False
                state = after
            if at in goals and not goals[at](state):
                return False
        return True

    one = [at for at in range(len(deeds)) if does((at,))]
    two = [pair for pair in combinations([at for at in range(len(deeds)) if at not in one], 2) if does(pair)]
    return [*((at + 1,) for at in one), *((first + 1, second + 1) for first, second in two)]


def spare_in_time(checklist: Checklist) -> Found:
    """The same for the legs that depend on timing, one step at a time, in the sequence in which the equipment acts."""
    return [(at,) for leg in checklist.legs if leg.timed for at in _spare_in(checklist.operation, leg)]


def _spare_in(operation: Operation, leg: Leg) -> list[int]:
    rules = {rule.name: (number, rule.actor is Actor.CREW) for number, rule in enumerate(operation.machine.rules)}
    wanted = [operation.test_of(part) for part in (leg.goal, *levers_neutral(operation))]
    found = []
    for out in leg.steps:
        state = operation.packing.pack(leg.start)
        for step in leg.steps:
            for name in step.execution.rules:
                number, by_crew = rules[name]
                possible = dict(operation.steps(state))
                if by_crew and (step is out or number not in possible):
                    continue
                if number in possible and not operation.breaks(state, number, possible[number]):
                    state = possible[number]
        if operation.is_at_rest(state) and all(meets(state) for meets in wanted):
            found.append(out.number)
    return found


@pytest.mark.parametrize(
    ("name", "unload"),
    telling(((name, out) for name in ("single-lane", "twin-lane") for out in (False, True)), ("twin-lane", False)),
)
def test_nothing_can_be_left_out_of_a_demonstration(name: str, unload: bool) -> None:
    """Of the checklists that fill and empty the demonstration holds no step and no two steps can be left out."""
    assert spare(made(compile_file(f"models/{name}.yaml"), unload)) == []


@pytest.mark.parametrize("unload", [False, True])
@pytest.mark.parametrize("seed", swept(range(7400, 7412), 6))
def test_nothing_can_be_left_out_of_one_for_a_written_hold(seed: int, unload: bool) -> None:
    """Nor of one for a hold that nobody fitted the search to."""
    checklist = made(of_seed(seed), unload)
    assert (spare_in_time if any(leg.timed for leg in checklist.legs) else spare)(checklist) == []


def test_what_can_be_left_out_is_seen() -> None:
    """A step more at the end is told."""
    checklist = made(compile_file("models/single-lane.yaml"), False)
    operation, last = checklist.operation, checklist.legs[-1]
    state = last.end
    there = next(
        deed
        for deed in operation.choices(operation.packing.pack(state))
        if not isinstance(operation.perform(state, deed), Refusal)
        and operation.test_of(last.goal)(operation.outcome(operation.packing.pack(state), deed))  # type: ignore[arg-type]
    )
    more = operation.perform(state, there)
    assert not isinstance(more, Refusal)
    step = replace(last.steps[-1], number=last.steps[-1].number + 1, execution=more)
    longer = replace(last, steps=(*last.steps, step))
    assert (step.number,) in spare(replace(checklist, legs=(*checklist.legs[:-1], longer)))


@pytest.mark.parametrize(("seed", "unload"), [(7306, False), (7320, True)])
def test_where_timing_decides_no_lever_is_held_for_nothing(seed: int, unload: bool) -> None:
    """Units that roll: no step can be left out, letting go included, and none comes when nothing is left to do."""
    checklist = made(of_seed(seed), unload)
    assert any(leg.timed for leg in checklist.legs)
    assert spare_in_time(checklist) == []
    procedure = checklist_procedure(checklist, "hold.yaml")
    audited = audit_checklist(checklist, procedure, steps_of_actions(checklist), Limits())
    assert Verdict.IDLE not in {one.verdict for one in audited.audit.actions}
