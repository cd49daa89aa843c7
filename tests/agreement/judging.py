"""Every engine on one random machine, each claim and its evidence held against the machine written out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from interlock.confirm.confirm import Agreed, recheck_diagram
from interlock.confirm.replay import replay
from interlock.kernel.claims import Certificate, Claim, Diagram, Limits, ProgressCallback, Proved, Refuted, silent
from interlock.kernel.expressions import TRUE
from interlock.kernel.machine import Machine, Question
from interlock.kernel.recovery import DeadEnd, Recoverable
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS, Engine
from interlock.prove.invariants.lemmas import Lemmas
from interlock.prove.recovery.recovery import recover
from interlock.prove.search import explicit, vectorised
from interlock.prove.search.guided import guided

from .engines import COMPLETE, ENGINES, SHORTEST, assert_runs, is_in
from .listing import Listing, listing_of
from .random_machines import random_case, random_way_back
from .recovering import dead_ends, proves, shows_dead_end


def decide_with_facts(
    machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: ProgressCallback = silent
) -> tuple[Claim, ...]:
    """The default strategy as it goes about when facts that say why are wanted."""
    return decide(machine, questions, limits, report, Lemmas())


JUDGED: Mapping[str, Engine] = {
    **ENGINES,
    "decide with facts": decide_with_facts,
    "vectorised": vectorised.vectorised,
    "guided": guided,
}
"""`prove.enumeration` is not among them: on machines so small it is the plain engine itself."""
ALWAYS_DECIDE = (*COMPLETE, "decide with facts", "vectorised")
ALWAYS_SHORTEST = (*SHORTEST, "decide with facts", "vectorised")
WITHOUT_CERTIFICATE = ("explicit", "vectorised")
"""Engines that prove by having counted every state."""

BY_CASES = Limits(states=0)
"""With this `recover` may not look at all states: it has to find cases, or a dead end, by solvers alone."""


def judge(seed: int, names: Sequence[str] = tuple(JUDGED)) -> Counter[str]:
    """Runs the engines on one machine; how many claims of which kind each made.  A wrong one raises AssertionError."""
    machine, questions = random_case(seed)
    listing = listing_of(machine)
    right = [listing.nearest(question.target) for question in questions]
    tally: Counter[str] = Counter()
    for name in names:
        claims = JUDGED[name](machine, questions, Limits(depth=depth_of(name, seed)))
        assert len(claims) == len(questions), name
        judge_claims(listing, questions, claims, right, name)
        tally.update(f"{name} {type(claim).__name__}" for claim in claims)
    return tally


def depth_of(name: str, seed: int) -> int | None:
    """How deep the engine goes on this machine: not the same on all, so that every way of stopping is met."""
    return {"bmc": 6 + seed % 7, "k_induction": 1 + seed % 3}.get(name)


def judge_claims(
    listing: Listing, questions: Sequence[Question], claims: Sequence[Claim], right: Sequence[int | None], name: str
) -> None:
    """Verdict, length, run and certificate of each claim are as they should be; `right` are the true depths."""
    checked: dict[int, Certificate] = {}
    for question, claim, depth in zip(questions, claims, right, strict=True):
        assert claim.question == question.id, name
        if isinstance(claim, Refuted):
            assert depth is not None, (name, question.id)
            assert_runs(listing.machine, question, claim.trace)
            assert claim.trace.depth >= depth, (name, question.id)
            assert claim.trace.depth == depth or not claim.shortest, (name, question.id)
            assert claim.shortest or name not in ALWAYS_SHORTEST, (name, question.id)
        elif isinstance(claim, Proved):
            assert depth is None, (name, question.id)
            assert claim.certificate is None or name not in WITHOUT_CERTIFICATE, (name, question.id)
            if claim.certificate is not None:
                judge_certificate(listing, claim.certificate, question, checked)
            elif claim.diagram is not None:
                judge_diagram(listing, claim.diagram, question)
            else:
                assert name in (*WITHOUT_CERTIFICATE, "decide", "decide with facts"), (name, question.id)
                assert claim.states == len(listing.depths), (name, question.id)
        else:
            assert name not in ALWAYS_DECIDE, (name, question.id)
            assert depth is None or depth > claim.depth, (name, question.id)


def judge_certificate(
    listing: Listing, certificate: Certificate, question: Question, checked: dict[int, Certificate]
) -> None:
    """Holds initially (indeed in every reachable state), is kept by every step, and excludes the target."""
    kept = listing.within(certificate.clauses)
    if id(certificate) not in checked:
        checked[id(certificate)] = certificate
        assert listing.depths.keys() <= kept
        # where only runs of different states count, k states in a row may lead out by a way that comes back
        assert certificate.distinct or listing.is_kept(certificate.clauses, certificate.k)
    assert not kept & listing.where(question.target), question.id


def judge_diagram(listing: Listing, diagram: Diagram, question: Question) -> None:
    """Has every reachable state and none of the target, and `confirm` says of it that no step leads out."""
    inside = {state for state in listing.states if is_in(listing.machine, diagram, state)}
    assert listing.depths.keys() <= inside
    assert all(after in inside for state in inside for _, after in listing.after(state))
    assert not inside & listing.where(question.target), question.id
    (verdict,) = recheck_diagram(listing.machine, diagram, [question.target], None)
    assert isinstance(verdict, Agreed), verdict


def judge_counts(seed: int) -> Counter[str]:
    """States, steps, dead ends and states per depth, as both counting engines see them, are those written out."""
    machine, _ = random_case(seed)
    listing = listing_of(machine)
    depths = list(listing.depths.values())
    per_depth = tuple(map(depths.count, range(max(depths, default=-1) + 1)))
    after = [listing.after(state) for state in listing.depths]
    right = explicit.Count(
        len(depths), sum(map(len, after)), len(per_depth) - 1, sum(not steps for steps in after), per_depth, True
    )
    assert explicit.count_states(machine) == right
    assert vectorised.count_states(machine) == right
    return Counter({"counts": 2})


def judge_recovery(seed: int) -> Counter[str]:
    """What `recover` claims of one machine and goal is so, and so is its evidence, state by state."""
    machine, question = random_way_back(seed)
    (claim,) = recover(machine, [question], BY_CASES if seed % 4 else Limits())
    bad = dead_ends(machine, question.goal)
    if isinstance(claim, Recoverable):
        assert not bad
        assert proves(machine, claim.recovery, question.goal)
        return Counter({"recover Recoverable": 1})
    assert isinstance(claim, DeadEnd), claim
    assert claim.trace.states[-1] in bad
    assert not replay(machine, TRUE, claim.trace)
    assert shows_dead_end(machine, claim, question.goal)
    if claim.shortest:
        assert claim.trace.depth == _nearest(machine, bad)
    return Counter({"recover DeadEnd": 1})


def _nearest(machine: Machine, states: Sequence[tuple[object, ...]]) -> int:
    depths = listing_of(machine).depths
    return min(depth for state, depth in depths.items() if state in states)
