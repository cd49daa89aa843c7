"""The smallest sets of options that enable a target, against every set of options tried on every state."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import combinations
from typing import Any

import pytest

from interlock.confirm.enabling import confirm_enabling
from interlock.kernel.claims import Certificate, Disputed, Limits, Trace, Undecided
from interlock.kernel.enabling import Cover, Enabled, EnablingClaim, EnablingQuestion, Way, started_with
from interlock.kernel.evaluator import evaluate
from interlock.kernel.expressions import TRUE, Expr, Is, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Rule, Variable
from interlock.prove.decide import decide
from interlock.prove.enabling.enabling import enable
from interlock.prove.frames.pdr import pdr
from tests.agreement.engines import reachable_states
from tests.agreement.random_machines import random_case
from tests.some import swept

MOST_OPTIONS = 5


def random_enabling(seed: int) -> tuple[Machine, EnablingQuestion]:
    """A random machine with options, mostly one of which a target is out of reach without any, in reach with all."""
    draw = random.Random(seed)
    machine, question = _drawn(draw, seed)
    for _ in range(8):
        if not _reached(machine, question, ()) and _reached(machine, question, question.options):
            break
        machine, question = _drawn(draw, seed)
    return machine, question


def _reached(machine: Machine, question: EnablingQuestion, true: tuple[str, ...]) -> bool:
    begun = started_with(machine, question.options, true)
    return any(evaluate(begun, question.target, state) for state in reachable_states(begun))


def _drawn(draw: random.Random, seed: int) -> tuple[Machine, EnablingQuestion]:
    """Options let rules fire more often, now and then less often."""
    machine, questions = random_case(seed)
    options = [f"option {at}" for at in range(draw.randint(1, MOST_OPTIONS))]

    def spoilt(guard: Expr) -> Expr:
        """Harder to meet, unless options are true."""
        some = draw.choice(machine.variables)
        hard = conj(guard, Is(some.name, draw.choice(some.domain)))
        for option in draw.sample(options, min(len(options), draw.choice((1, 1, 2)))):
            hard = disj(hard, conj(guard, Is(option, True))) if draw.random() < 0.7 else conj(hard, Is(option, True))
        return hard

    rules = tuple(replace(rule, guard=spoilt(rule.guard)) if draw.random() < 0.7 else rule for rule in machine.rules)
    more = tuple(Variable(option, (False, True), (False,)) for option in options)
    target = draw.choice(questions).target
    if draw.random() < 0.3:
        target = disj(target, conj(Is(draw.choice(options), True), draw.choice(questions).target))
    whole = Machine(machine.variables + more, machine.signals, rules, (), machine.start)
    return whole, EnablingQuestion("q", target, tuple(options))


def smallest_by_trial(machine: Machine, question: EnablingQuestion) -> set[frozenset[str]]:
    """Sets that enable the target and of which no smaller one does, each tried by itself."""
    found: set[frozenset[str]] = set()
    for size in range(len(question.options) + 1):
        for chosen in combinations(question.options, size):
            if any(known <= set(chosen) for known in found):
                continue
            if _reached(machine, question, chosen):
                found.add(frozenset(chosen))
    return found


@pytest.mark.parametrize("engine", [decide, pdr], ids=["decide", "pdr"])
@pytest.mark.parametrize("block", swept(range(5), 5))
def test_all_smallest_sets_are_found(engine: Any, block: int) -> None:
    """On random machines they are those that trying every set of options finds, and the evidence is accepted."""
    sizes: dict[int, int] = {}
    first = (300_000 if engine is decide else 400_000) + 25 * block
    for seed in range(first, first + 25):
        machine, question = random_enabling(seed)
        claim = enable(machine, question, engine)
        assert claim.size is None and claim.reason == ""
        assert {frozenset(way.options) for way in claim.ways} == smallest_by_trial(machine, question), seed
        assert isinstance(confirm_enabling(machine, question, claim), Enabled), seed
        for way in claim.ways:
            sizes[len(way.options)] = sizes.get(len(way.options), 0) + 1
    assert sizes.get(1, 0) >= 5 and sum(number for size, number in sizes.items() if size > 1) >= 1


@pytest.mark.parametrize("block", swept(range(2), 2))
def test_what_is_cut_short_is_right_as_far_as_it_goes(block: int) -> None:
    """Ended after the smallest size or after a number of sets, all up to the size named are there."""
    for seed in range(310_000 + 20 * block, 310_000 + 20 * (block + 1)):
        machine, question = random_enabling(seed)
        right = smallest_by_trial(machine, question)
        for claim in (enable(machine, question, decide, larger=False), enable(machine, question, decide, most=1)):
            found = {frozenset(way.options) for way in claim.ways}
            assert found <= right
            if claim.size is not None:
                assert {one for one in right if len(one) <= claim.size} <= found
                assert claim.reason
            else:
                assert found == right
            assert isinstance(confirm_enabling(machine, question, claim), Enabled), seed


def gates(*needs: tuple[str, ...]) -> tuple[Machine, EnablingQuestion]:
    """`done` becomes true where all of one of these are true."""
    names = tuple(dict.fromkeys(name for need in needs for name in need))
    variables = tuple(Variable(name, (False, True), (False,)) for name in ("done", *names))
    rules = tuple(
        Rule(f"by {'+'.join(need)}", Actor.CREW, conj(*(Is(name, True) for name in need)), (("done", True),))
        for need in needs
    )
    return Machine(variables, (), rules), EnablingQuestion("done", Is("done", True), names)


def right_claim() -> tuple[Machine, EnablingQuestion, EnablingClaim]:
    machine, question = gates(("a",), ("b", "c"))
    claim = enable(machine, question, decide)
    assert [way.options for way in claim.ways] == [("a",), ("b", "c")]
    return machine, question, claim


def test_a_set_left_out_is_noticed() -> None:
    """Without one of the ways, or one of the covers, the rest is no closed account."""
    machine, question, claim = right_claim()
    for at in range(len(claim.ways)):
        forged = replace(claim, ways=claim.ways[:at] + claim.ways[at + 1 :])
        found: Any = confirm_enabling(machine, question, forged)
        assert isinstance(found, Disputed) and "contains no way" in found.what
    for at in range(len(claim.covers)):
        forged = replace(claim, covers=claim.covers[:at] + claim.covers[at + 1 :])
        assert isinstance(confirm_enabling(machine, question, forged), Disputed)


def test_a_set_that_is_larger_than_need_be_is_noticed() -> None:
    """A way with an option too many enables too, but it is no smallest one."""
    machine, question, claim = right_claim()
    names = [variable.name for variable in machine.variables]
    begun = started_with(machine, question.options, ("a", "b"))
    start = tuple(variable.init[0] for variable in begun.variables)
    after = tuple(True if name == "done" else value for name, value in zip(names, start, strict=True))
    forged = replace(claim, ways=(Way(("a", "b"), Trace(("by a",), (start, after))), *claim.ways))
    found: Any = confirm_enabling(machine, question, forged)
    assert (isinstance(found, Disputed) and "can do without 'a'" in found.what) or "can do without 'b'" in found.what


def test_a_cover_that_is_too_wide_is_noticed() -> None:
    """A certificate that needs an option to be false does not speak of sets with that option."""
    machine, question, claim = right_claim()
    wide = tuple(Cover(question.options, cover.certificate) for cover in claim.covers)
    found: Any = confirm_enabling(machine, question, replace(claim, covers=wide))
    assert isinstance(found, Disputed) and "start" in found.what
    bare = Certificate((neg(Is("done", True)),))
    found = confirm_enabling(machine, question, replace(claim, covers=(Cover(("b",), bare), *claim.covers)))
    assert isinstance(found, Disputed) and "step" in found.what


def test_a_cover_speaks_of_every_set_within_it() -> None:
    """Where an option that is true stands in the way, a proof for that option alone says nothing of none."""
    variables = tuple(Variable(name, (False, True), (False,)) for name in ("done", "a"))
    rule = Rule("unless a", Actor.CREW, Is("a", False), (("done", True),))
    machine, question = Machine(variables, (), (rule,)), EnablingQuestion("done", Is("done", True), ("a",))
    proof = Certificate((Is("a", True), neg(Is("done", True))))
    forged = EnablingClaim("done", "forged", (), (Cover(("a",), proof),), None)
    found = confirm_enabling(machine, question, forged)
    assert isinstance(found, Disputed) and "start" in found.what


def test_a_run_with_other_options_is_noticed() -> None:
    """The run must start with exactly the options of its way."""
    machine, question, claim = right_claim()
    forged = replace(claim, ways=(replace(claim.ways[0], options=("b",)), *claim.ways[1:]))
    assert isinstance(confirm_enabling(machine, question, forged), Disputed)


def test_a_run_that_is_none_is_noticed() -> None:
    """Nothing but the run of a way is forged: a step is left out."""
    machine, question, claim = right_claim()
    trace = claim.ways[1].trace
    short = Trace(trace.rules[:-1], trace.states[:-1])
    forged = replace(claim, ways=(claim.ways[0], replace(claim.ways[1], trace=short)))
    found = confirm_enabling(machine, question, forged)
    assert isinstance(found, Disputed) and "target" in found.what


def test_sets_that_share_a_part_with_a_way_are_accounted_for_too() -> None:
    """An option that does nothing makes more sets; that those with half of a way are excluded must be shown as well."""
    machine, question = gates(("b", "c"))
    claim = enable(machine, question, decide)
    whole = replace(machine, variables=(*machine.variables, Variable("e", (False, True), (False,))))
    asked = replace(question, options=(*question.options, "e"))
    ways = tuple(
        replace(way, trace=Trace(way.trace.rules, tuple((*state, False) for state in way.trace.states)))
        for way in claim.ways
    )
    found = confirm_enabling(whole, asked, replace(claim, ways=ways))
    assert isinstance(found, Disputed) and "contains no way" in found.what
    # as soon as it is in every cover all is shown
    covers = tuple(replace(cover, options=(*cover.options, "e")) for cover in claim.covers)
    assert isinstance(confirm_enabling(whole, asked, replace(claim, ways=ways, covers=covers)), Enabled)
    # all sets without b are covered, and b alone: what is missing is b with the option that does nothing
    assert [cover.options for cover in claim.covers] == [("b",), ("c",)]
    short = replace(claim, ways=ways, covers=(claim.covers[0], covers[1]))
    assert isinstance(confirm_enabling(whole, asked, short), Disputed)


@pytest.mark.parametrize("forge", [
    lambda claim: replace(claim, question="another"),
    lambda claim: replace(claim, size=1.0),
    lambda claim: replace(claim, covers=(Cover(("nobody knows",), claim.covers[0].certificate), *claim.covers)),
])  # fmt: skip
def test_ill_formed_evidence_is_disputed(forge: Any) -> None:
    """Evidence that does not fit its question, or is not made as declared, is no evidence."""
    machine, question, claim = right_claim()
    assert isinstance(confirm_enabling(machine, question, forge(claim)), Disputed)


def test_a_size_that_was_not_reached_is_noticed() -> None:
    """To account for sets of two options takes more than to account for sets of one."""
    machine, question = gates(("a", "b"), ("c", "d"))
    claim = enable(machine, question, decide, most=1)
    assert claim.size == 1 and len(claim.ways) == 1
    assert isinstance(confirm_enabling(machine, question, claim), Enabled)
    assert isinstance(confirm_enabling(machine, question, replace(claim, size=2)), Disputed)


def test_no_time_is_no_answer() -> None:
    """What cannot be checked in time is undecided; what cannot be found in time accounts for nothing."""
    machine, question, claim = right_claim()
    assert isinstance(confirm_enabling(machine, question, claim, seconds=0.0), Undecided)
    early = enable(machine, question, decide, Limits(seconds=0.0))
    assert early.size == -1 and early.ways == () and "out of time" in early.reason
    assert isinstance(confirm_enabling(machine, question, early), Enabled)


def test_options_are_what_they_are_called() -> None:
    """A variable that a rule writes, or that is not true or false, is no option."""
    machine, question = gates(("a",))
    with pytest.raises(ValueError, match="done"):
        started_with(machine, ("done",), ())
    with pytest.raises(KeyError):
        started_with(machine, ("nobody",), ())
    assert started_with(machine, question.options, ("a",)).start == TRUE
