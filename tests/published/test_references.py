"""Counts and certificates of the demonstrations against two general-purpose libraries that the program does not use.

`dd` (decision diagrams) counts reachable states; `pycryptosat` (a satisfiability solver) checks certificates, on
clauses that are made here.  What is compared is no published number, but two programs that share nothing with ours.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from interlock.hold.compile.compiler import compile_hold
from interlock.hold.loader import Source, load_hold, load_specification
from interlock.kernel.claims import Certificate, Proved, Refuted
from interlock.kernel.machine import Machine, Question, RequirementKind, question_of, with_monitors
from interlock.prove.frames.pdr import pdr
from interlock.prove.invariants.mined import mined
from interlock.prove.search import explicit, vectorised
from tests.agreement.judging import decide_with_facts
from tests.some import some, swept

from .clauses import obligations, weakenings
from .row import Row
from .rows import ROWS
from .symbolic import Diagrams

ROOT = Path(__file__).parents[2]
MODEL = "single-lane.yaml"
LISTED = [row for row in ROWS if row.states is not None and 20 <= row.states <= 3_000]


@cache
def demonstration(name: str, standing: bool) -> Machine:
    """A demonstration; with the standing requirements, and the memories that they need, where wanted."""
    hold = load_hold(Source(name, (ROOT / "models" / name).read_bytes()), lambda _name: None).value
    assert hold is not None
    texts = load_specification(Source("standing.yaml", (ROOT / "specs" / "standing.yaml").read_bytes())).value
    assert texts is not None
    compiled = compile_hold(hold, texts if standing else ()).compiled
    assert compiled is not None
    return with_monitors(compiled.machine)


def single_lane(standing: bool) -> Machine:
    """The smallest demonstration."""
    return demonstration(MODEL, standing)


@cache
def counted() -> explicit.Count:
    """The demonstration's states, as arrays."""
    return vectorised.count_states(single_lane(False))


def diagrams_of(machine: Machine) -> Diagrams:
    """The machine as diagrams; skips where the installed library was built without its fast kind."""
    pytest.importorskip("dd.cudd", reason="this build of dd has no fast diagrams")
    return Diagrams(machine)


@pytest.mark.thorough
def test_single_lane_by_diagrams() -> None:
    """The single-lane hold has as many states at each depth, and as many steps, by decision diagrams as by arrays."""
    diagrams = diagrams_of(single_lane(False))
    count = counted()
    reached, per_depth = diagrams.manager.false, []
    for level in diagrams.levels():
        per_depth.append(diagrams.count(level))
        reached |= level
    assert tuple(per_depth) == count.per_depth
    assert diagrams.count(reached) == count.states > 1_000_000
    assert diagrams.steps_from(reached) == count.steps


@pytest.mark.slow
def test_single_lane_one_by_one() -> None:
    """The plain engine agrees with arrays on every number of the single-lane hold."""
    assert explicit.count_states(single_lane(False)) == counted()


@pytest.mark.parametrize("row", swept(LISTED, 4), ids=lambda row: row.name)
def test_rows_by_diagrams(row: Row) -> None:
    """Diagrams count the published states, and arrays the same at each depth."""
    machine = with_monitors(row.build())
    diagrams = diagrams_of(machine)
    per_depth = tuple(map(diagrams.count, diagrams.levels()))
    assert sum(per_depth) == row.states
    assert per_depth == vectorised.count_states(machine).per_depth


def certificates(machine: Machine, engine: str) -> list[tuple[Certificate, list[Question]]]:
    """The engine's certificates for all that it proves of the machine, each with its questions."""
    asked_of_states = [r for r in machine.requirements if r.kind is not RequirementKind.CAN_ALWAYS]
    questions = [question_of(machine, requirement) for requirement in asked_of_states]
    claims = {"decide": decide_with_facts, "mined": mined, "pdr": pdr}[engine](machine, questions)
    found: dict[int, tuple[Certificate, list[Question]]] = {}
    for question, claim in zip(questions, claims, strict=True):
        if isinstance(claim, Proved) and claim.certificate is not None:
            found.setdefault(id(claim.certificate), (claim.certificate, []))[1].append(question)
    assert sum(len(asked) for _, asked in found.values()) > 40
    assert any(isinstance(claim, Refuted) for claim in claims) or engine == "mined"
    return list(found.values())


@pytest.mark.parametrize(
    ("model", "engine"),
    [
        *((MODEL, engine) for engine in ("decide", "mined", "pdr")),
        pytest.param("twin-lane.yaml", "decide", marks=pytest.mark.thorough),
        pytest.param("main-deck.yaml", "decide", marks=pytest.mark.slow),
    ],
)
def test_certificates_by_another_solver(model: str, engine: str) -> None:
    """Start, step and safety of every certificate of a demonstration stand, by a solver used nowhere else."""
    machine = demonstration(model, True)
    for certificate, asked in some(certificates(machine, engine)):
        made = obligations(machine, certificate, asked)
        assert len(made.queries) == 1 + len(machine.rules) + len(asked)
        assert made.failing() == []


def test_the_other_solver_sees_what_is_wrong() -> None:
    """Most certificates spoilt by one clause are rejected by the same clauses: the check can fail."""
    machine = single_lane(True)
    (certificate, asked), *_ = certificates(machine, "decide")
    rejected = [bool(obligations(machine, one, asked).failing()) for one in weakenings(certificate)]
    # a denied clause contradicts some start; a clause that is left out may have been one too many
    assert all(rejected[1::2])
    assert any(rejected[0::2])
