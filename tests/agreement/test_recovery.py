"""Ways back and dead ends: the engine against enumeration, and its evidence against corruption."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace

import pytest

from interlock.confirm import recovery as confirming
from interlock.confirm.recovery import RecoveryFinding, confirm_recovery
from interlock.kernel import beside
from interlock.kernel.claims import Certificate, Disputed, Limits, Trace, Undecided
from interlock.kernel.expressions import FALSE, Expr, Is, Value, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Question, Requirement, RequirementKind, Rule, Variable, question_of
from interlock.kernel.recovery import (
    DeadEnd,
    HasDeadEnd,
    Recoverable,
    Recovers,
    Recovery,
    RecoveryQuestion,
    Stage,
    rank_of,
    recovery_question_of,
    surely_drops,
    surely_never_rises,
    without_failures,
    written_by,
)
from interlock.prove.certificates.obligations import UnsoundCertificate
from interlock.prove.core.local import LocalRules
from interlock.prove.engine import Clock
from interlock.prove.recovery import cases
from interlock.prove.recovery import recovery as recovering_engine
from interlock.prove.recovery.dead_ends import closed_region
from interlock.prove.recovery.ranks import rank_by_distance
from interlock.prove.recovery.recovery import recover
from tests.agreement.judging import BY_CASES, judge_recovery
from tests.agreement.listing import listing_of
from tests.agreement.random_machines import random_way_back as _case
from tests.agreement.recovering import dead_ends, proves
from tests.agreement.ways_by_z3 import discharge_recovery
from tests.some import some, swept


@pytest.mark.parametrize(
    "tens", [*swept(range(20), 4), *(pytest.param(at, marks=pytest.mark.slow) for at in range(20, 100))]
)
def test_engine_agrees_with_enumeration(tens: int) -> None:
    """On a thousand random machines the engine is right, and its evidence is what it says, state by state."""
    for seed in range(10 * tens, 10 * tens + 10):
        judge_recovery(seed)


def test_random_goals_are_of_both_kinds() -> None:
    """The random questions are neither all recoverable nor all dead ends, and many take more than a case or two."""
    kinds = [bool(dead_ends(machine, question.goal)) for machine, question in map(_case, range(120))]
    assert 20 < sum(kinds) < 100
    claims = [recover(*_asked(seed), BY_CASES)[0] for seed in range(60)]
    cases = [
        sum(len(stage.entries) for stage in claim.recovery.stages) for claim in claims if isinstance(claim, Recoverable)
    ]
    assert sum(number > 1 for number in cases) > 15
    assert sum(number > 3 for number in cases) > 8


def _asked(seed: int) -> tuple[Machine, list[RecoveryQuestion]]:
    machine, question = _case(seed)
    return machine, [question]


@pytest.mark.parametrize("seed", swept(range(60), 12))
def test_second_solver_agrees(seed: int) -> None:
    """What the engine claims of random machines is confirmed, never disputed."""
    machine, question = _case(seed)
    claims = recover(machine, [question], BY_CASES)
    (finding,) = confirm_recovery(machine, [question], claims)
    assert isinstance(finding, Recovers if isinstance(claims[0], Recoverable) else HasDeadEnd), finding


def test_an_invariant_that_need_not_be_small_is_confirmed_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where what cases rest on is not looked for the cases are the same, and all that is known bears them out."""
    machine, question = _case(0)
    assert recover(machine, [question], BY_CASES, smallest=False) == recover(machine, [question], BY_CASES)
    monkeypatch.setattr(recovering_engine, "FEW_LEMMAS", 0)
    larger = 0
    for seed in range(8):
        machine, question = _case(seed)
        (small,) = recover(machine, [question], BY_CASES)
        claims = recover(machine, [question], BY_CASES, smallest=False)
        (finding,) = confirm_recovery(machine, [question], claims)
        assert isinstance(finding, Recovers if isinstance(small, Recoverable) else HasDeadEnd), finding
        if isinstance(small, Recoverable) and isinstance(claims[0], Recoverable):
            assert claims[0].recovery.stages == small.recovery.stages
            fewer, more = set(small.recovery.certificate.clauses), set(claims[0].recovery.certificate.clauses)
            assert fewer <= more
            larger += fewer < more
    assert larger


def test_a_dead_end_that_no_walk_meets_is_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A dead end found among states of the invariant is claimed where a run leads there, not excluded as unreachable.

    The machines are ones in which that is how it is found; an engine that excludes it goes on until the time is up.
    """
    found = []
    looked_into = cases.RecoveryCases._dead_end

    def noting(self: cases.RecoveryCases, state: tuple[Value, ...]) -> object:
        found.append(looked_into(self, state))
        return found[-1]

    monkeypatch.setattr(cases.RecoveryCases, "_dead_end", noting)
    for seed in (90, 256, 266, 288):
        machine, question = _case(seed)
        (claim,) = recover(machine, [question], replace(BY_CASES, seconds=20))
        assert isinstance(claim, DeadEnd)
        assert claim.trace.states[-1] in dead_ends(machine, question.goal)
        assert isinstance(found[-1], DeadEnd)


def _corrupted(machine: Machine, recovery: Recovery, draw: random.Random) -> Iterator[Recovery]:
    """Recoveries that differ in one place."""
    clauses = recovery.certificate.clauses
    if clauses:
        at = draw.randrange(len(clauses))
        yield replace(recovery, certificate=Certificate(clauses[:at] + clauses[at + 1 :]))
    variable = draw.choice(machine.variables)
    more = Is(variable.name, draw.choice(variable.domain))
    yield replace(recovery, certificate=Certificate((*clauses, more)))
    for number, stage in enumerate(recovery.stages):

        def put(changed: Stage, number: int = number) -> Recovery:
            return replace(recovery, stages=(*recovery.stages[:number], changed, *recovery.stages[number + 1 :]))

        yield put(replace(stage, rank=()))
        yield put(replace(stage, rank=tuple(tuple((n, v, -w) for n, v, w in part) for part in stage.rank)))
        yield put(replace(stage, goal=disj(stage.goal, more)))
        for at, entry in enumerate(stage.entries):
            others = (*stage.entries[:at], *stage.entries[at + 1 :])
            yield put(replace(stage, entries=others))
            for into in (None, at, at + 1, 0):
                if into != entry.into:
                    changed = replace(entry, into=into)
                    yield put(replace(stage, entries=(*stage.entries[:at], changed, *stage.entries[at + 1 :])))
            if entry.when:
                yield put(replace(stage, entries=(*others, replace(entry, when=entry.when[1:]))))
            yield put(
                replace(
                    stage,
                    entries=(*others, replace(entry, when=(*entry.when, neg(entry.when[0]) if entry.when else more))),
                )
            )
            yield put(replace(stage, entries=(*others, replace(entry, rules=entry.rules[1:]))))
            yield put(
                replace(stage, entries=(*others, replace(entry, rules=(*entry.rules, draw.choice(machine.rules).name))))
            )


def _is_proof_with_sure_drops(machine: Machine, recovery: Recovery, goal: Expr) -> bool:
    """As `proves`, each rank that does not surely drop taken for none."""
    stages = []
    for stage in recovery.stages:
        sure = [
            e
            for e in stage.entries
            if (surely_drops if e.into is None else surely_never_rises)(
                machine, stage.rank, e.when, written_by(machine, e.rules)
            )
        ]
        if len(sure) < len(stage.entries):
            return False
        stages.append(stage)
    return proves(machine, recovery, goal)


@pytest.mark.parametrize("seed", swept(range(40), 6))
def test_corrupted_evidence_is_rejected(seed: int) -> None:
    """Evidence changed in one place is accepted by either checker only where it is still a proof, state by state."""
    machine, question = _case(seed)
    (claim,) = recover(machine, [question], BY_CASES)
    if not isinstance(claim, Recoverable):
        return
    draw = random.Random(seed)
    rejected = 0
    for changed in some(list(_corrupted(machine, claim.recovery, draw))[:25]):
        sound = proves(machine, changed, question.goal)
        try:
            discharge_recovery(machine, changed, question.goal, Clock(None))
            accepted = True
        except UnsoundCertificate:
            accepted = False
        (finding,) = confirm_recovery(machine, [question], [replace(claim, recovery=changed)])
        assert isinstance(finding, Recovers | Disputed)
        assert isinstance(finding, Recovers) == accepted
        assert sound or not accepted
        if _is_proof_with_sure_drops(machine, changed, question.goal):
            assert accepted
        rejected += not accepted
    if any(stage.entries for stage in claim.recovery.stages):
        assert rejected


def test_evidence_is_judged_in_two_processes_as_it_is_in_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever obligation fails, and with more of them than one, the same is found, and said of it."""
    judged: list[Recovers | Disputed] = []
    places: set[str] = set()
    for seed in range(3):
        machine, question = _case(seed)
        (claim,) = recover(machine, [question], BY_CASES)
        if not isinstance(claim, Recoverable):
            continue
        goal = claim.recovery.stages[-1]
        short = replace(claim.recovery, stages=(*claim.recovery.stages[:-1], replace(goal, goal=conj())))
        never = replace(claim.recovery, certificate=Certificate((FALSE,)))
        changed = [claim.recovery, short, never, *list(_corrupted(machine, claim.recovery, random.Random(seed)))[:10]]
        for claimed in [replace(claim, recovery=one) for one in changed]:
            found: list[RecoveryFinding] = []
            for least, processes in (10**9, 1), (0, 2):
                monkeypatch.setattr(confirming, "LEAST_DIVIDED", least)
                beside.allow(processes)
                try:
                    found += confirm_recovery(machine, [question], [claimed])
                finally:
                    beside.allow(1)
            assert found[0] == found[1]
            assert isinstance(found[0], Recovers | Disputed)
            judged.append(found[0])
            if isinstance(found[0], Disputed):
                places.add(found[0].what.split(")")[0])
    assert {"(start", "(step", "(stage-1", "(goal"} <= places
    assert any(isinstance(one, Recovers) for one in judged)


def _lamp() -> Machine:
    """A lamp with a fuse: the fuse may blow, and can be changed only while the lamp is off."""
    lamp = Variable("lamp", ("off", "on"), ("off",))
    fuse = Variable("fuse", ("whole", "blown"), ("whole",))
    cover = Variable("cover", ("shut", "open", "jammed"), ("shut",))
    rules = (
        Rule("light", Actor.CREW, conj(Is("lamp", "off"), Is("fuse", "whole")), (("lamp", "on"),)),
        Rule("dark", Actor.CREW, Is("lamp", "on"), (("lamp", "off"),)),
        Rule("blow", Actor.FAILURE, Is("fuse", "whole"), (("fuse", "blown"), ("lamp", "off"))),
        Rule("open", Actor.CREW, Is("cover", "shut"), (("cover", "open"),)),
        Rule("shut", Actor.CREW, Is("cover", "open"), (("cover", "shut"),)),
        Rule("change", Actor.CREW, conj(Is("cover", "open"), Is("fuse", "blown")), (("fuse", "whole"),)),
    )
    return Machine((lamp, fuse, cover), (), rules)


JAM = Rule("jam", Actor.FAILURE, Is("cover", "shut"), (("cover", "jammed"),))
UNJAM = Rule("unjam", Actor.FAILURE, Is("cover", "jammed"), (("cover", "shut"),))
LIT = RecoveryQuestion("lit", conj(Is("lamp", "on"), Is("cover", "shut")))


def test_failures_before_but_not_on_the_way_back() -> None:
    """A failure may lead to where the way back begins; what only a failure would mend is a dead end."""
    lamp = _lamp()
    assert isinstance(recover(lamp, [LIT])[0], Recoverable)
    jamming = Machine(lamp.variables, (), (*lamp.rules, JAM, UNJAM))
    for limits in (Limits(), BY_CASES):
        (claim,) = recover(jamming, [LIT], limits)
        assert isinstance(claim, DeadEnd)
        assert isinstance(confirm_recovery(jamming, [LIT], [claim])[0], HasDeadEnd)


def test_evidence_that_counts_on_a_failure_is_rejected() -> None:
    """A case whose run contains a failure proves nothing, and both checkers say so."""
    lamp = _lamp()
    (claim,) = recover(lamp, [LIT])
    assert isinstance(claim, Recoverable)
    stages = claim.recovery.stages
    entries = tuple(replace(entry, rules=(*entry.rules, "blow")) for entry in stages[-1].entries)
    changed = replace(claim.recovery, stages=(*stages[:-1], replace(stages[-1], entries=entries)))
    with pytest.raises(UnsoundCertificate):
        discharge_recovery(lamp, changed, LIT.goal, Clock(None))
    (finding,) = confirm_recovery(lamp, [LIT], [replace(claim, recovery=changed)])
    assert isinstance(finding, Disputed)


def test_corrupted_dead_ends_are_disputed() -> None:
    """A dead end with a wrong run, a run that stops short of it or too weak a certificate is disputed."""
    lamp = _lamp()
    jamming = Machine(lamp.variables, (), (*lamp.rules, JAM))
    (claim,) = recover(jamming, [LIT])
    assert isinstance(claim, DeadEnd)
    trace = claim.trace
    for changed in (
        replace(claim, certificate=Certificate(())),
        replace(claim, trace=Trace(trace.rules[:-1], trace.states[:-1])),
        replace(claim, trace=Trace(("open", *trace.rules[1:]), trace.states)),
        replace(claim, question="another"),
    ):
        assert isinstance(confirm_recovery(jamming, [LIT], [changed])[0], Disputed)


def test_no_dead_end_is_claimed_on_a_proof_that_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Should the proof that nothing leads back say nothing, the engine's own second look finds it out."""
    lamp = _lamp()
    jamming = Machine(lamp.variables, (), (*lamp.rules, JAM))
    for module in (recovering_engine, cases):
        monkeypatch.setattr(module, "certify", lambda *_: Certificate(()))
    for limits in (Limits(), BY_CASES):
        with pytest.raises(UnsoundCertificate):
            recover(jamming, [LIT], limits)


def test_no_time_is_undecided() -> None:
    """Without time nothing is claimed."""
    (claim,) = recover(_lamp(), [LIT], Limits(seconds=0.0))
    (finding,) = confirm_recovery(_lamp(), [LIT], [claim])
    assert isinstance(finding, Undecided)


def test_sure_drop_is_never_wrong() -> None:
    """Where a drop of the rank is called sure, every state that the facts allow has a smaller rank afterwards."""
    from tests.agreement.engines import every_state

    draw = random.Random(3)
    sure = 0
    for seed in range(300):
        machine, _ = _case(seed)
        facts = [(v.name, value) for v in machine.variables for value in v.domain]
        rank = tuple(
            tuple((*fact, draw.randint(-2, 4)) for fact in draw.choices(facts, k=draw.randint(1, 5))) for _ in range(2)
        )
        chosen = draw.sample(machine.variables, min(2, len(machine.variables)))
        when = [Is(v.name, draw.choice(v.domain)) for v in chosen]
        written = {v.name: draw.choice(v.domain) for v in chosen}
        drops = surely_drops(machine, rank, when, written)
        if not surely_never_rises(machine, rank, when, written):
            assert not drops
            continue
        sure += drops
        for state in every_state(machine):
            if all(state[machine.positions[fact.variable]] == fact.value for fact in when):
                after = list(state)
                for name, value in written.items():
                    after[machine.positions[name]] = value
                assert rank_of(machine, rank, tuple(after)) <= rank_of(machine, rank, state)
                assert not drops or rank_of(machine, rank, tuple(after)) < rank_of(machine, rank, state)
    assert sure > 30


def _relays() -> Machine:
    """A lever with two ways, each with a relay that it sets; a cart that either way takes out of its end."""
    cart = Variable("cart", ("out", "fore", "aft"), ("out",))
    lever = Variable("lever", ("neutral", "fore", "aft"), ("neutral",))
    relays = tuple(Variable(f"set_{way}", (False, True), (False,)) for way in ("fore", "aft"))
    rules = [
        rule
        for way in ("fore", "aft")
        for rule in (
            Rule(f"hold {way}", Actor.CREW, Is("lever", "neutral"), (("lever", way), (f"set_{way}", True))),
            Rule(f"release {way}", Actor.CREW, Is("lever", way), (("lever", "neutral"), (f"set_{way}", False))),
            Rule(f"bring {way}", Actor.CREW, Is("cart", "out"), (("cart", way),)),
            Rule(f"take {way}", Actor.PLANT, conj(Is("cart", way), Is(f"set_{way}", True)), (("cart", "out"),)),
        )
    ]
    return Machine((cart, lever, *relays), (), tuple(rules))


def test_what_goes_only_with_one_of_two_ways_is_not_asked_for() -> None:
    """The lever had better be neutral, since two ways are asked of it; so had the relays, which go with one each."""
    (stage,) = rank_by_distance(_relays(), Is("cart", "out"))
    weights = {(name, value) for component in stage[1] for name, value, _ in component}
    assert {fact for fact in weights if fact[0] != "cart"} == {
        ("lever", "fore"),
        ("lever", "aft"),
        ("set_fore", True),
        ("set_aft", True),
    }


def test_cases_lead_into_one_another_where_no_measure_falls() -> None:
    """With a measure that says nothing each state still leads on, a case into one told apart before."""
    sizes = 6
    track = Variable("at", tuple(range(sizes)), (0,))
    rules = tuple(Rule(f"{at}", Actor.CREW, Is("at", at), (("at", at + 1),)) for at in range(sizes - 1))
    goal = Is("at", sizes - 1)
    question = RecoveryQuestion("end", goal)
    (claim,) = recover(
        Machine((track,), (), (*rules, Rule("back", Actor.CREW, goal, (("at", 0),)))),
        [question],
        BY_CASES,
        heuristics=(lambda _machine, _goal: [(goal, ((("at", 0, 0),),))],),
    )
    assert isinstance(claim, Recoverable)


def test_kind_is_no_question_about_states() -> None:
    """Nobody can ask an ordinary engine about a requirement that speaks of ways back."""
    requirement = Requirement("lit", RequirementKind.CAN_ALWAYS, LIT.goal)
    with pytest.raises(ValueError, match="not for a state"):
        question_of(_lamp(), requirement)
    assert recovery_question_of(requirement) == LIT
    assert isinstance(question_of(_lamp(), replace(requirement, kind=RequirementKind.CAN)), Question)


def test_a_closed_region_keeps_every_run_from_the_goal() -> None:
    """What is found around a goal is entered by no step from where the lemmas hold, and no start is in it."""
    found = 0
    for seed in range(200):
        machine, question = _case(seed)
        rules = LocalRules(without_failures(machine))
        listing = listing_of(rules.machine)
        cube = closed_region(rules, question.goal, (), Clock(None))
        goal = listing.where(question.goal)
        if cube is None:
            continue
        found += bool(goal)
        outside = [rules.clause(cube)]
        assert listing.initial <= listing.within(outside)
        assert listing.is_kept(outside)
        assert not goal & listing.within(outside)
        assert not goal & frozenset(listing.depths)
    assert found > 5
