"""Sets of failures that lead to a target, against all states written out under every set; and claims that are false."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise, product

import pytest

from interlock.confirm.failures import confirm_sets
from interlock.confirm.replay import replay
from interlock.kernel import beside
from interlock.kernel.claims import Limits, ProgressCallback, Trace, silent
from interlock.kernel.evaluator import State, evaluate, fire, initial_states, is_enabled, truths_in
from interlock.kernel.expressions import TRUE, Is, assign, conj, disj
from interlock.kernel.failures import (
    DisputedSets,
    Kept,
    KnownSets,
    NotFailures,
    Reason,
    Sets,
    SmallestSets,
    Tolerance,
    at_risk,
    failures_of,
    lost_clauses,
    smallest,
    struck_by,
)
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.engine import OutOfTime
from interlock.prove.failures import one_set
from interlock.prove.failures.ahead import Ahead
from interlock.prove.failures.looking_back import LookBack
from interlock.prove.failures.one_set import Guide, OneSet
from interlock.prove.failures.pool import Pool
from interlock.prove.failures.sets import smallest_sets
from interlock.prove.failures.states import Ending, Met, Nominal, extended, struck_late
from interlock.prove.frames import frames
from interlock.study.sessions import Session
from tests.agreement.failing import random_failing, reached_under
from tests.some import some

Case = tuple[Machine, tuple[Question, ...], tuple[SmallestSets, ...]]


@cache
def case_of(seed: int, most: int) -> Case:
    machine, questions = random_failing(seed)
    return machine, questions, smallest_sets(machine, questions, most)


def truth_of(machine: Machine, questions: Sequence[Question], most: int) -> list[list[frozenset[str]]]:
    failures = failures_of(machine)
    found: list[list[frozenset[str]]] = [[] for _ in questions]
    for size in range(most + 1):
        for struck in combinations(failures, size):
            reached = reached_under(machine, struck, [question.target for question in questions])
            for own, is_reached in zip(found, reached, strict=True):
                if is_reached:
                    own.append(frozenset(struck))
    return [smallest(own) for own in found]


@pytest.mark.parametrize(
    ("first", "count", "most"),
    [
        (0, 20, 2),
        (7000, 5, 3),
        pytest.param(20, 40, 2, marks=pytest.mark.thorough),
        pytest.param(7005, 20, 3, marks=pytest.mark.thorough),
    ],
)
def test_sets_are_those_of_all_states_written_out(first: int, count: int, most: int) -> None:
    """For every set of failures all states were visited; the claims have the same smallest ones, and are confirmed."""
    sizes: set[int] = set()
    for seed in range(first, first + count):
        machine, questions, claims = case_of(seed, most)
        findings = confirm_sets(machine, questions, claims)
        for claim, finding, true in zip(claims, findings, truth_of(machine, questions, most), strict=True):
            assert isinstance(finding, KnownSets), (seed, finding)
            assert finding.complete == min(most, len(failures_of(machine)))
            assert not claim.open
            assert sorted(map(sorted, true)) == sorted(map(sorted, claim.sets)), seed
            sizes.update(map(len, claim.sets))
    assert sizes == set(range(most + 1)) or most == 3


def checked_breaking(monkeypatch: pytest.MonkeyPatch) -> Counter[int]:
    """How often so many clauses are broken by one step; each is so before the step, and is not so behind it."""
    broken: Counter[int] = Counter()
    broken_by = Pool._broken_by

    def looked(self: Pool, rule: int, model: Sequence[int]) -> list[int]:
        found = broken_by(self, rule, model)
        machine = self.rules.machine
        state = self.rules.encoding.decode(model)
        assert is_enabled(machine, machine.rules[rule], state)
        after = fire(machine, machine.rules[rule], state)
        standing = {at: self.rules.clause(self.cubes[at]) for at in self.standing(self._number)}
        assert all(evaluate(machine, clause, state) for clause in standing.values())
        assert found == [at for at, clause in standing.items() if not evaluate(machine, clause, after)]
        broken[len(found)] += 1
        return found

    monkeypatch.setattr(Pool, "_broken_by", looked)
    return broken


def checked_following(monkeypatch: pytest.MonkeyPatch) -> Counter[bool]:
    """How often states were followed by endings, loosely or not: each from each of the states, rule by rule."""
    followed: Counter[bool] = Counter()
    before = Met.before

    def is_so(rules: LocalRules, literal: int, state: State) -> bool:
        encoding = rules.encoding
        if abs(literal) not in encoding.parts:
            return evaluate(rules.machine, encoding.facts[literal], state)
        return all(is_so(rules, part, state) for part in encoding.parts[abs(literal)]) == (literal > 0)

    def end_of(rules: LocalRules, state: State, ending: Ending, loosely: bool) -> State | None:
        for at in ending:
            if is_so(rules, rules.guards[at], state):
                state = fire(rules.machine, rules.machine.rules[at], state)
            elif not loosely:
                return None
        return state

    def looked(
        self: Met, rules: LocalRules, endings: Mapping[Ending, Collection[int]], first: int, loosely: bool
    ) -> list[tuple[Ending, int, int]]:
        found = list(before(self, rules, endings, first, loosely))
        if followed[loosely] < 60:
            plainly: dict[int, tuple[Ending, int, int]] = {}
            states = {1 << lane: self.run_of(1 << lane).states[-1] for lane in range(first, self.size)}
            for ending in sorted(endings):
                ends = {lane: end_of(rules, state, ending, loosely) for lane, state in states.items()}
                for target in endings[ending]:
                    lanes = sum(lane for lane, end in ends.items() if end is not None and is_so(rules, target, end))
                    if lanes:
                        plainly.setdefault(target, (ending, target, lanes))
            assert sorted(found) == sorted(plainly.values())
            followed[loosely] += bool(found)
        return found

    monkeypatch.setattr(Met, "before", looked)
    return followed


def test_what_little_work_does_not_settle_is_settled_thoroughly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where neither a few steps back nor a few queries settle a target, sets are put off and looked at once more."""
    thoroughly: list[bool] = []
    run = OneSet.run

    def noted(
        self: OneSet, guide: Guide | None, report: ProgressCallback, hard: Collection[frozenset[int]]
    ) -> list[Cube]:
        thoroughly.append(guide is not None)
        return run(self, guide, report, hard)

    monkeypatch.setattr(frames, "MOST_STEPS_BACK", 0)
    monkeypatch.setattr(one_set, "FEW_QUERIES", 3)
    monkeypatch.setattr(one_set, "SOME_QUERIES", 6)
    monkeypatch.setattr(OneSet, "run", noted)
    broken, followed = checked_breaking(monkeypatch), checked_following(monkeypatch)
    test_sets_are_those_of_all_states_written_out(7100, 12, 2)
    assert set(thoroughly) == {False, True}
    assert broken.keys() >= {1, 2}
    assert not broken[0]
    assert all(followed[loosely] for loosely in (False, True)), followed


def lost_plainly(machine: Machine, sets: Sets, tolerance: Tolerance) -> list[set[int]]:
    """Per clause the sets, by number, under which some rule may break it for which no reason holds; to the end."""
    given = {(kept.clause, kept.rule): kept.reasons for kept in tolerance.kept}
    lost: list[set[int]] = [set() for _ in tolerance.clauses]
    before = -1
    while before != (before := sum(map(len, lost))):
        for (at, rule), (number, members) in product(at_risk(machine, tolerance.clauses), enumerate(sets.members)):
            owner = struck_by(rule, tolerance.failures)
            reasons = given.get((at, rule.name), ())
            struck = [
                set(reason.failures) & set(members) or any(number in lost[c] for c in reason.clauses)
                for reason in reasons
            ]
            if all(struck) and (owner is None or tolerance.failures.index(owner) in members):
                lost[at].add(number)
    return lost


def test_a_clause_is_lost_wherever_what_it_rests_on_is() -> None:
    """Whatever the order in which reasons rest on one another, and in a circle too: as worked out step by step."""
    draw = random.Random(5)
    followed = 0
    for seed in range(30):
        machine, _, claims = case_of(seed, 2)
        for tolerance in {claim.tolerance for claim in claims if claim.tolerance is not None}:
            places, failures = range(len(tolerance.clauses)), range(len(tolerance.failures))

            def one_of(those: range) -> tuple[int, ...]:
                return (draw.choice(those),) if those and draw.random() < 0.5 else ()

            sets = Sets(len(failures), 2)
            for _ in range(5):
                reasons = [tuple(Reason(one_of(places), one_of(failures)) for _ in "ab") for _ in tolerance.kept]
                kept = [replace(one, reasons=own) for one, own in zip(tolerance.kept, reasons, strict=True)]
                drawn = replace(tolerance, kept=tuple(kept))
                plain = lost_plainly(machine, sets, drawn)
                assert lost_clauses(machine, sets, drawn) == [sum(1 << at for at in own) for own in plain], seed
                followed += sum(0 < len(own) < len(sets.members) for own in plain)
    assert followed > 20


def spoiled(claim: SmallestSets, draw: random.Random) -> SmallestSets:
    """The claim with something in it that is not so, or need not be."""
    tolerance = claim.tolerance
    assert tolerance is not None
    kept = list(tolerance.kept)
    how = draw.randrange(10)
    if how == 9 and claim.runs:
        run = claim.runs[0]
        return replace(claim, runs=(Trace((), run.states[:1]), *claim.runs[1:]))
    if how == 0 and claim.sets:
        at = draw.randrange(len(claim.sets))
        return replace(claim, sets=claim.sets[:at] + claim.sets[at + 1 :], runs=claim.runs[:at] + claim.runs[at + 1 :])
    if how == 1 and kept:
        at = draw.randrange(len(kept))
        one = kept[at]
        kept[at] = replace(one, reasons=tuple(replace(reason, failures=()) for reason in one.reasons))
    elif how == 2 and kept:
        at = draw.randrange(len(kept))
        one = kept[at]
        kept[at] = replace(one, reasons=tuple(replace(reason, clauses=()) for reason in one.reasons))
    elif how == 3 and kept:
        del kept[draw.randrange(len(kept))]
    elif how == 4:
        return replace(claim, clear=tuple(replace(reason, failures=()) for reason in claim.clear))
    elif how == 5:
        return replace(claim, clear=tuple(replace(reason, clauses=()) for reason in claim.clear))
    elif how == 6:
        return replace(claim, clear=(*claim.clear, Reason((), ())))
    elif how == 7:
        clauses = (*tolerance.clauses[:-1], TRUE) if draw.random() < 0.5 else tolerance.clauses[:-1]
        return replace(claim, tolerance=Tolerance(tolerance.failures, clauses, tolerance.kept))
    else:
        return replace(claim, most=claim.most + 1)
    return replace(claim, tolerance=replace(tolerance, kept=tuple(kept)))


@pytest.mark.parametrize("seeds", [range(15), pytest.param(range(15, 50), marks=pytest.mark.thorough)])
def test_no_false_claim_is_believed(seeds: range) -> None:
    """Claims with sets, reasons, clauses or failures left out, or a size too large: disputed, or true all the same.

    They are judged alike where runs are replayed beside.
    """
    disputed = 0
    for seed in seeds:
        machine, questions, claims = case_of(seed, 2)
        draw = random.Random(seed)
        false = [spoiled(claim, draw) for claim in claims]
        most = max((claim.most for claim in false), default=0)
        truth = {size: truth_of(machine, questions, size) for size in {claim.most for claim in false}}
        assert most <= 3
        findings = confirm_sets(machine, questions, false)
        if seed < 4:
            beside.allow(2)
            assert confirm_sets(machine, questions, false) == findings
            beside.allow(1)
        for at, finding in enumerate(findings):
            if isinstance(finding, DisputedSets):
                disputed += 1
            elif finding.complete >= 0:
                true = truth[finding.complete][at]
                assert sorted(map(sorted, true)) == sorted(map(sorted, false[at].sets)), (seed, finding)
    assert disputed > 0.8 * len(seeds)


def test_runs_that_are_found_ahead_are_runs_of_their_set(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each leads to the target that it is given for, and nothing but the failures of the set strikes in it."""
    look = Ahead.look
    found: list[tuple[int, frozenset[str], Trace]] = []

    def looked(
        self: Ahead, asked: Sequence[int], own: Sequence[str], met: Met, lanes: Sequence[int]
    ) -> dict[int, Trace]:
        runs = look(self, asked, own, met, lanes)
        found.extend((at, frozenset(own), run) for at, run in runs.items())
        assert set(runs) <= set(asked)
        return runs

    monkeypatch.setattr(Ahead, "look", looked)
    monkeypatch.setattr(LookBack, "run_to", lambda self, target, shortly=False: None)
    steps = struck = 0
    for seed in range(3000, 3030):
        machine, questions = random_failing(seed)
        found.clear()
        smallest_sets(machine, questions, 2)
        failures = failures_of(machine)
        for at, own, run in found:
            assert not replay(machine, questions[at].target, run), seed
            members = {struck_by(machine.rule(name), failures) for name in run.rules} - {None}
            assert members <= own, seed
            steps += run.depth
            struck += len(members)
    assert steps > 50
    assert struck > 20


def test_failures_strike_as_late_as_they_can() -> None:
    """A random run stays one, with the same end; where one thing fails, it cannot as well do so a step later."""
    moved = 0
    for seed in range(200):
        machine, _ = random_failing(seed)
        draw = random.Random(seed)
        failures = failures_of(machine)
        start = next(initial_states(machine), None)
        if start is None:
            continue
        trace = Trace((), (start,))
        for _ in range(8):
            enabled = [rule for rule in machine.rules if is_enabled(machine, rule, trace.states[-1])]
            if enabled:
                trace = extended(machine, trace, [draw.choice(enabled)])

        def is_strike(name: str, machine: Machine = machine, failures: tuple[str, ...] = failures) -> bool:
            return struck_by(machine.rule(name), failures) is not None

        late = struck_late(machine, trace, is_strike)
        assert not replay(machine, TRUE, late)
        assert (late.states[0], late.states[-1]) == (trace.states[0], trace.states[-1])
        assert sorted(late.rules) == sorted(trace.rules)
        for at, (name, after) in enumerate(pairwise(late.rules)):
            if is_strike(name) and sum(map(is_strike, late.rules)) == 1:
                rule, strike = machine.rule(after), machine.rule(name)
                between = fire(machine, rule, late.states[at])
                assert not (
                    is_enabled(machine, rule, late.states[at])
                    and is_enabled(machine, strike, between)
                    and fire(machine, strike, between) == late.states[at + 2]
                )
        moved += late.rules != trace.rules
    assert moved > 20


LAMP = Machine(
    (
        Variable("lit", (False, True), (False,)),
        Variable("wire", (False, True), (False,)),
        Variable("bulb", (False, True), (False,)),
    ),
    (),
    (
        Rule("by itself", Actor.PLANT, Is("wire", True), (("lit", True),)),
        Rule("wire strikes", Actor.FAILURE, Is("wire", False), (("wire", True),)),
        Rule("bulb strikes", Actor.FAILURE, Is("bulb", False), (("bulb", True),)),
    ),
)
LIT = Question("lit", Is("lit", True))


def test_a_failure_strikes_in_the_place_of_another(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of three wires that light a lamp alike one is searched for; so are two that strike too early and too late."""
    names = ["lit", "on", "w0", "w1", "w2", "early", "spare", "dim"]
    some_wire = disj(*(Is(name, True) for name in names[2:6]))
    lamps = Machine(
        tuple(Variable(name, (False, True), (False,)) for name in names),
        (),
        (
            Rule("on", Actor.CREW, Is("on", False), (("on", True),)),
            Rule("by itself", Actor.PLANT, conj(Is("on", True), some_wire), (("lit", True),)),
            *(Rule(f"{one} strikes", Actor.FAILURE, Is(one, False), ((one, True),)) for one in names[2:5]),
            Rule("dims", Actor.CREW, conj(Is("spare", True), Is("on", False)), (("dim", True),)),
            Rule("by spare", Actor.PLANT, conj(Is("spare", True), Is("dim", True)), (("lit", True),)),
            Rule("spare strikes", Actor.FAILURE, conj(Is("spare", False), Is("on", True)), (("spare", True),)),
            Rule("early strikes", Actor.FAILURE, conj(Is("early", False), Is("on", False)), (("early", True),)),
        ),
    )
    searched: list[int] = []
    run = OneSet.run

    def looked(
        self: OneSet, guide: Guide | None, report: ProgressCallback, hard: Collection[frozenset[int]]
    ) -> list[Cube]:
        searched.append(len(self.targets))
        return run(self, guide, report, hard)

    monkeypatch.setattr(OneSet, "run", looked)
    (claim,) = smallest_sets(lamps, [LIT], 1)
    (finding,) = confirm_sets(lamps, [LIT], [claim])
    assert isinstance(finding, KnownSets)
    assert claim.sets == (("early",), ("w0",), ("w1",), ("w2",))
    assert searched == [1, 1, 1]


def test_runs_that_begin_alike_have_their_states_in_common() -> None:
    """To whatever target: a state of a large hold has thousands of values, and each step is replayed once."""
    shared = 0
    for seed in range(15):
        known: dict[object, object] = {}
        _, _, claims = case_of(seed, 2)
        for run in (run for claim in claims for run in claim.runs):
            for step, state in enumerate(run.states):
                begun = run.states[0], run.rules[:step]
                shared += step > 0 and begun in known
                assert known.setdefault(begun, state) is state
    assert shared > 10


def test_every_reason_is_looked_at() -> None:
    """A reason that says nothing is put beside each of those given, in turn: disputed exactly where it is none."""
    nothing = Reason((), ())
    seen = {True: 0, False: 0}
    both = Rule("both", Actor.PLANT, Is("wire", True), (("lit", True), ("bulb", True)))
    strikes = Rule("wire strikes", Actor.FAILURE, Is("wire", False), (("wire", True),))
    lamps, asked = Machine(LAMP.variables, (), (both, strikes)), (LIT, Question("bulb", Is("bulb", True)))
    for machine, questions, claims in (case_of(1, 2), (lamps, asked, smallest_sets(lamps, asked, 1))):
        values = product(*(variable.domain for variable in machine.variables))
        truths = [truths_in(machine, state) for state in values]
        first, tolerance = claims[0], claims[0].tolerance
        assert tolerance is not None
        cases = []
        for at, kept in enumerate(tolerance.kept):
            rule = machine.rule(kept.rule)
            after = assign(tolerance.clauses[kept.clause], dict(rule.update))
            own = (*tolerance.kept[:at], replace(kept, reasons=(*kept.reasons, nothing)), *tolerance.kept[at + 1 :])
            claim = replace(first, tolerance=replace(tolerance, kept=own))
            cases.append((questions[0], claim, any(so(rule.guard) and not so(after) for so in truths)))
        for question, claim in zip(questions, claims, strict=True):
            is_so = any(so(question.target) for so in truths)
            cases += [(question, replace(claim, clear=(*claim.clear, nothing)), is_so)]
        for question, claim, is_false in cases:
            (finding,) = confirm_sets(machine, [question], [claim])
            assert isinstance(finding, DisputedSets) == is_false
            seen[is_false] += 1
    assert min(seen.values()) > 3, seen


def test_a_run_in_which_something_else_fails_is_disputed() -> None:
    """A set is listed with a run in which all of it and nothing else strikes."""
    (claim,) = smallest_sets(LAMP, [LIT], 2)
    assert claim.sets == (("wire",),)
    for sets in ((("wire", "bulb"),), (("bulb",),), ((),), (("wire",), ("bulb", "wire"))):
        runs = claim.runs * len(sets)
        (finding,) = confirm_sets(LAMP, [LIT], [replace(claim, sets=sets, runs=runs)])
        assert isinstance(finding, DisputedSets), sets


def test_what_is_left_open_is_said() -> None:
    """Without time nothing is claimed to be complete, and the reason stands in the finding."""
    claims = smallest_sets(LAMP, [LIT], 1, Limits(seconds=0.0))
    (finding,) = confirm_sets(LAMP, [LIT], claims)
    assert isinstance(finding, KnownSets)
    assert (finding.complete, finding.why) == (-1, "out of time (0 s)")


def test_a_size_that_was_not_gone_through_is_not_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where time ends among 190 pairs, what is known of single failures is claimed and confirmed, and no more."""
    names = [f"p{at}" for at in range(20)]
    strikes = [Rule(f"{name} strikes", Actor.FAILURE, Is(name, False), ((name, True),)) for name in names]
    variables = tuple(Variable(name, (False, True), (False,)) for name in names)
    top = disj(*(conj(Is(one, True), Is(other, True)) for one, other in combinations(names, 2)))

    def met(nominal: Nominal, own: Sequence[str], strikes: Mapping[str, Sequence[Rule]]) -> Met:
        if len(own) > 1:
            raise OutOfTime
        return Met(nominal, own, strikes)

    monkeypatch.setattr("interlock.prove.failures.sets.Met", met)
    machine, question = Machine(variables, (), tuple(strikes)), Question("top", top)
    (claim,) = smallest_sets(machine, [question], 2, Limits(seconds=100.0))
    assert (claim.most, claim.sets, claim.open) == (1, (), ())
    (finding,) = confirm_sets(machine, [question], [claim])
    assert isinstance(finding, KnownSets)
    assert (finding.complete, finding.why) == (1, "out of time (100 s)")


def test_the_time_named_is_all_of_it() -> None:
    """The search has a part of the time; where that was too short, the finding names what the user gave."""

    def finder(
        machine: Machine, questions: Sequence[Question], most: int, limits: Limits, report: ProgressCallback
    ) -> Sequence[SmallestSets]:
        assert limits.seconds is not None
        assert 0 < limits.seconds < 100.0
        return smallest_sets(machine, questions, most, replace(limits, seconds=0.0), report)

    session = Session(LAMP, Limits(seconds=100.0), silent)
    (finding,) = session.claim_and_confirm_sets([LIT], finder, 1)
    assert isinstance(finding, KnownSets)
    assert (finding.complete, finding.why) == (-1, "out of time (100 s)")


def test_what_is_no_failure_is_refused() -> None:
    """A rule of the actor failure that strikes nothing, or two things at once, has no place in a set."""
    nothing = Rule("odd", Actor.FAILURE, TRUE, (("lit", True),))
    both = Rule("both", Actor.FAILURE, TRUE, (("wire", True), ("bulb", True)))
    for odd in some((nothing, both)):
        machine = Machine(LAMP.variables, (), (*LAMP.rules, odd))
        with pytest.raises(NotFailures):
            failures_of(machine)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda claim: replace(claim, clear=(Reason((99,), ()),)),
        lambda claim: replace(claim, clear=(Reason((), (99,)),)),
        lambda claim: replace(claim, clear=(Reason((), (-1,)),)),
        lambda claim: replace(claim, sets=(("nobody",),)),
        lambda claim: replace(claim, most=1.0),
        lambda claim: replace(claim, question="other"),
        lambda claim: replace(claim, runs=()),
        lambda claim: replace(claim, tolerance=replace(claim.tolerance, failures=("wire",))),
        lambda claim: replace(claim, tolerance=replace(claim.tolerance, kept=(Kept(0, "nothing of it", ()),))),
        lambda claim: replace(claim, tolerance=replace(claim.tolerance, kept=(Kept(7, "by itself", ()),))),
    ],
)
def test_ill_formed_evidence_is_no_proof(spoil: object) -> None:
    """What does not fit the machine is disputed or left unchecked; it never ends in an exception."""
    (claim,) = smallest_sets(LAMP, [LIT], 1)
    assert callable(spoil)
    (finding,) = confirm_sets(LAMP, [LIT], [spoil(claim)])
    assert isinstance(finding, DisputedSets) or finding.complete == -1


def test_that_nothing_happens_without_a_failure_is_a_claim_like_any_other() -> None:
    """Of sets of none there is one; its proof is checked, and said to be."""
    (claim,) = smallest_sets(LAMP, [LIT], 0)
    (finding,) = confirm_sets(LAMP, [LIT], [claim])
    assert isinstance(finding, KnownSets)
    assert (finding.complete, finding.why) == (0, "")
    assert finding.checked_by


def test_a_size_beyond_all_failures_is_no_endless_work() -> None:
    """A claim about sets of a billion members is one about all sets."""
    (claim,) = smallest_sets(LAMP, [LIT], 2)
    (finding,) = confirm_sets(LAMP, [LIT], [replace(claim, most=10**9)])
    assert isinstance(finding, KnownSets)
    assert finding.complete == 10**9
