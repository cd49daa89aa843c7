"""Lemmas that are passed on: what is false is dropped, what is true is used, and no verdict changes."""

from __future__ import annotations

import random
from collections.abc import Sequence
from contextlib import suppress
from typing import NoReturn

import pytest

from interlock.confirm.replay import replay
from interlock.kernel.claims import Claim, Limits, Refuted, Trace, silent
from interlock.kernel.expressions import Expr, Is, disj, neg
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.prove.core.encoding import Encoding
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.solvers import FOREVER, light_solver
from interlock.prove.core.starts import some_initial_states
from interlock.prove.decide import decide
from interlock.prove.engine import Allowance, Clock, OutOfTime
from interlock.prove.frames.frames import Frames
from interlock.prove.invariants.candidates import Candidates
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.prove.invariants.mined import MOST_QUIET, MOST_STARTS, mine
from interlock.prove.invariants.sampling import Walks
from interlock.prove.recovery import context
from interlock.prove.recovery.recovery import recover
from interlock.prove.search.bmc import BoundedSearch
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_file, standing
from tests.agreement.judging import BY_CASES
from tests.agreement.listing import listing_of
from tests.agreement.random_machines import random_case, random_way_back
from tests.some import swept


def _guessed(machine: Machine, seed: int) -> tuple[Expr, ...]:
    """Clauses of one to three facts, true or not."""
    draw = random.Random(seed)

    def fact() -> Expr:
        variable = draw.choice(machine.variables)
        one = Is(variable.name, draw.choice(variable.domain))
        return one if draw.random() < 0.5 else neg(one)

    return tuple(disj(*(fact() for _ in range(draw.randint(1, 3)))) for _ in range(60))


def _taken_up(machine: Machine, clauses: tuple[Expr, ...]) -> tuple[Expr, ...]:
    rules = LocalRules(machine)
    return tuple(map(rules.clause, Lemmas(Remembered(clauses)).taken_up(rules, FOREVER, light_solver)))


@pytest.mark.parametrize("seed", swept(range(60), 10))
def test_what_is_guessed_boldly_is_taken_back_where_it_is_wrong(seed: int) -> None:
    """Each run leads to its target; what is learnt is kept by every step, and is so at first; then frames answer all.

    So it is where frames had been begun before.
    """
    machine, questions = random_case(seed)
    listing, rules, every = listing_of(machine), LocalRules(machine), range(len(questions))
    begun = FOREVER.within(Allowance(seed * 7))
    frames = Frames(rules, [question.target for question in questions], begun, light_solver)
    runs: dict[int, Trace] = {}
    with suppress(OutOfTime):
        runs.update(frames.run(every, None, silent))
    frames.clock = FOREVER
    runs.update(frames.strengthen([at for at in every if at not in runs], silent, boldly=True))
    learnt = tuple(map(rules.clause, frames.lemmas))
    assert listing.initial <= listing.within(learnt)
    assert listing.is_kept(learnt)
    runs.update(frames.run([at for at in every if at not in runs], None, silent))
    for at, question in enumerate(questions):
        assert (at in runs) == (listing.nearest(question.target) is not None)
        assert at not in runs or not replay(machine, question.target, runs[at])


@pytest.mark.parametrize("seed", swept(range(60), 5))
def test_only_what_is_so_for_good_is_taken_up(seed: int) -> None:
    """Of clauses guessed at random those are kept that no initial state and no step from where all are so breaks."""
    machine, _ = random_case(seed)
    listing = listing_of(machine)
    kept = _taken_up(machine, _guessed(machine, seed))
    assert listing.initial <= listing.within(kept)
    assert listing.is_kept(kept)


def test_guessed_clauses_are_of_both_kinds() -> None:
    """Over some machines many of the guessed clauses are kept and many are not."""
    tally = [0, 0]
    for seed in range(20):
        machine, _ = random_case(seed)
        guessed = _guessed(machine, seed)
        kept = len(_taken_up(machine, guessed))
        tally = [tally[0] + kept, tally[1] + len(guessed) - kept]
    assert min(tally) > 100, tally


def test_what_holds_only_together_is_taken_up_together() -> None:
    """Two facts that keep each other away are both kept; either alone is not, nor what is not so at the start."""
    both = tuple(Variable(name, (False, True), (False,)) for name in "ab")
    rules = tuple(
        Rule(f"raise {one}", Actor.CREW, Is(other, True), ((one, True),)) for one, other in (("a", "b"), ("b", "a"))
    )
    machine = Machine(both, (), rules)
    down = (neg(Is("a", True)), neg(Is("b", True)))
    assert len(_taken_up(machine, down)) == 2
    assert _taken_up(machine, down[:1]) == _taken_up(machine, down[1:]) == ()
    assert _taken_up(machine, (disj(Is("a", True), Is("b", True)),)) == ()


@pytest.mark.parametrize("seed", swept(range(40), 5))
def test_false_lemmas_change_no_answer(seed: int) -> None:
    """Whether there is always a way back is answered the same whatever clauses are handed over."""
    machine, question = random_way_back(seed)
    (plain,) = recover(machine, [question], BY_CASES)
    (advised,) = recover(machine, [question], BY_CASES, found=Lemmas(Remembered(_guessed(machine, seed))))
    assert type(plain) is type(advised)


def test_what_was_found_is_not_mined_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a hold whose other requirements were decided, ways back are found without walks of their own."""
    compiled = compile_file("models/single-lane.yaml", standing())

    def no_more(*_: object) -> NoReturn:
        raise AssertionError("mined twice")

    monkeypatch.setattr(context, "mine", no_more)
    assert verify(compiled, decide, Limits()).count(Status.HOLDS) == len(compiled.instances)
    with pytest.raises(AssertionError, match="mined twice"):
        verify(compiled, decide, Limits(), chosen=["can-always-be-emptied-and-shut"])


def _mined(machine: Machine, questions: Sequence[Question]) -> list[Cube]:
    rules = LocalRules(machine)
    starts = some_initial_states(rules, MOST_STARTS, FOREVER, light_solver)
    return mine(rules, [one.target for one in questions], starts, FOREVER, light_solver, silent)


def test_walks_from_where_guesses_break_drop_none_that_is_so_for_good(monkeypatch: pytest.MonkeyPatch) -> None:
    """Mining leaves the same facts with and without the walks that begin where a step broke a guess."""
    cases = [random_case(seed) for seed in range(300, 330)]
    watch, walked = Candidates.watch, [0]

    def later_only(self: Candidates, walks: Walks, most_quiet: int, clock: Clock) -> None:
        if most_quiet != MOST_QUIET:
            walked[0] += 1
            watch(self, walks, most_quiet, clock)

    monkeypatch.setattr(Candidates, "watch", later_only)
    found = [_mined(*case) for case in cases]
    monkeypatch.setattr(Candidates, "watch", lambda *_: None)
    assert found == [_mined(*case) for case in cases]
    assert walked[0] >= 20
    assert sum(map(len, found)) >= 100


def test_bounded_search_is_as_deep_with_what_never_is() -> None:
    """Told what mining found, bounded search finds runs of the same lengths; told a false fact it would not."""
    runs = lied = 0
    for seed in range(300, 330):
        machine, questions = random_case(seed)
        depths: list[dict[int, int]] = []
        for never in ((), _mined(machine, questions), [(Encoding(machine).gate(questions[0].target),)]):
            claims: dict[int, Claim] = {}
            look = BoundedSearch(machine, questions, 8, never=never)
            look.run(claims, FOREVER, silent)
            look.solver.close()
            depths.append({at: claim.trace.depth for at, claim in claims.items() if isinstance(claim, Refuted)})
        assert depths[0] == depths[1]
        runs += len(depths[0])
        lied += depths[0] != depths[2]
    assert runs >= 20
    assert lied >= 5
