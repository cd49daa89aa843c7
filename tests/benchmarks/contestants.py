"""Who is timed, each alone in a process of its own that is ended at its limit."""

from __future__ import annotations

import multiprocessing
import resource
import signal
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil
from multiprocessing.connection import Connection
from time import process_time

from interlock.kernel.claims import Claim, Limits, Proved, Refuted, Trace
from interlock.kernel.machine import Machine, Question, RequirementKind, question_of

RIVALS = ("horn", "diagrams", "plain")
MOST_BYTES = 8 << 30
"""No contestant gets more memory than this, so that none can take the machine down with it."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a contestant did: seconds of the processor (None: ended at its limit) and its verdicts, or its counts."""

    seconds: float | None
    verdicts: tuple[str, ...] = ()
    numbers: tuple[int, ...] = ()


def diagrams(machine: Machine, questions: Sequence[Question]) -> tuple[Claim, ...]:
    """Answers by decision diagrams, for timing alone: its refutations carry no trace."""
    from tests.published.symbolic import Diagrams

    made = Diagrams(machine)
    targets = {question.id: made.expression(question.target) for question in questions}
    met: set[str] = set()
    for level in made.levels():
        met |= {name for name, target in targets.items() if name not in met and level & target != made.manager.false}
    return tuple(
        Refuted(question.id, "diagrams", Trace((), ()), shortest=False)
        if question.id in met
        else Proved(question.id, "diagrams", None)
        for question in questions
    )


def contestant(name: str) -> Callable[[Machine, Sequence[Question]], tuple[Claim, ...]]:
    """The engine of that name; what it needs is loaded now."""
    if name == "decide":
        from interlock.prove import decide as strategy
        from interlock.prove.frames import pdr
        from interlock.prove.invariants import mined
        from interlock.prove.search import guided

        assert guided and mined and pdr
        return strategy.decide
    if name == "horn":
        from .horn import horn

        return horn
    if name == "plain":
        from .plain import plain

        return plain
    return diagrams


def answer(pipe: Connection, name: str, rows: int, seconds: float) -> None:
    """In a process of its own: compiles, says so, answers, says how long it took."""
    from .families import hold
    from .holds import hold_machine

    engine = contestant(name)
    machine = hold_machine(rows)
    # what must stay possible from every state is no question about single states, and no rival here can answer it
    asked = [one for one in machine.requirements if one.kind is not RequirementKind.CAN_ALWAYS]
    questions = [question_of(machine, requirement) for requirement in asked]
    # the first call of a process loads the solvers; that is not what is measured here
    tiny = hold(6)
    if name == "decide":
        engine(tiny, [question_of(tiny, tiny.requirements[0])])
    began = _ready(pipe, machine, len(questions), seconds)
    claims = engine(machine, questions)
    pipe.send(Outcome(process_time() - began, tuple(type(claim).__name__ for claim in claims)))


def count(pipe: Connection, name: str, case: str, seconds: float) -> None:
    """In a process of its own: builds, says so, counts, says how long it took."""
    from interlock.prove.search.vectorised import count_states

    from .plain import search

    machine = counted(case)
    began = _ready(pipe, machine, 0, seconds)
    found = count_states(machine) if name == "arrays" else search(machine, {}, Limits())[0]
    took = process_time() - began
    assert found.complete
    pipe.send(Outcome(took, (), (found.states, found.steps, found.depth, found.dead, *found.per_depth)))


def _ready(pipe: Connection, machine: Machine, asked: int, seconds: float) -> float:
    """Sends the sizes, sets the limits, gives the time: from here on it counts."""
    pipe.send((len(machine.variables), len(machine.rules), asked))
    _, most_seconds = resource.getrlimit(resource.RLIMIT_CPU)
    resource.setrlimit(resource.RLIMIT_CPU, (ceil(process_time() + seconds), most_seconds))
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    return process_time()


def counted(case: str) -> Machine:
    """A machine to be counted."""
    from tests.published.puzzles import sliding
    from tests.published.test_references import single_lane

    from .families import lanes_by_rows

    if case == "tray of eight":
        return sliding(3, 3, (0, 0))
    return single_lane(False) if case == "single-lane hold" else lanes_by_rows(1, 5)


def run_alone(
    work: Callable[[Connection, str, int, float], None] | Callable[[Connection, str, str, float], None],
    name: str,
    what: int | str,
    seconds: float,
) -> tuple[tuple[int, int, int], Outcome]:
    """The sizes and the outcome; the process is ended when it has had so many seconds of the processor.

    Raises RuntimeError where it ends in any other way without an outcome.
    """
    here, there = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=work, args=(there, name, what, seconds))
    process.start()
    there.close()
    sizes: tuple[int, int, int] = here.recv()
    try:
        outcome: Outcome = here.recv()
    except EOFError:
        process.join()
        if process.exitcode not in (-signal.SIGXCPU, -signal.SIGKILL):
            raise RuntimeError(f"{name} on {what} ended with {process.exitcode}") from None
        return sizes, Outcome(None)
    process.join()
    return sizes, outcome
