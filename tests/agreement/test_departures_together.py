"""Slips and failures together: the smallest choices of up to two, against a plain count from the same state machine."""

from __future__ import annotations

from collections.abc import Iterable
from random import Random
from types import SimpleNamespace
from typing import Any

import pytest

from interlock.confirm.consequences import count_consequences
from interlock.kernel.claims import Limits, Refuted
from interlock.kernel.expressions import TRUE, Expr, Is, conj, neg
from interlock.kernel.machine import Actor, Machine, Requirement, RequirementKind, Rule, Variable, question_of
from interlock.prove.engine import Clock
from interlock.prove.search.explicit import explicit
from interlock.study.procedure import together
from interlock.study.procedure.audit import audit_procedure
from interlock.study.procedure.beyond import Beyond
from interlock.study.procedure.graph import Move, Point, ProcedureGraph, procedure_graph, procedure_machine
from interlock.study.procedure.interleavings import Hazard, InterleavingSearch
from interlock.study.procedure.recount import track_of
from interlock.study.procedure.slips import slips_of
from interlock.study.procedure.together import Departures, Pairs
from tests.agreement.test_procedures_agree import HOLDS, drawn
from tests.teeth.procedures import FAILING, bind

Leading = dict[str, frozenset[tuple[str, ...]]]


def a_graph(rng: Random) -> ProcedureGraph:
    """Four things of three states, two failures of which one may heal, and a course of moves and slips over them."""
    variables = tuple(Variable(f"v{at}", (0, 1, 2), (0,)) for at in range(4))
    facts = [Is(one.name, value) for one in variables for value in (0, 0, 1, 2)]
    struck = [Is(f"failure {at}", True) for at in range(2)]

    def guard() -> Expr:
        found = conj(*rng.sample(facts, rng.choice((1, 1, 2))))
        return rng.choice((TRUE, found, found, neg(found), conj(found, neg(rng.choice(struck)))))

    rules = []
    for at in range(7):
        update = tuple((one.name, rng.choice((0, 1, 2))) for one in rng.sample(variables, rng.choice((1, 1, 2))))
        when = conj(guard(), rng.choice(struck)) if at == 6 else guard()
        rules.append(Rule(f"rule {at}", Actor.PLANT if at in (2, 6) else Actor.CREW, when, update))
    for at, fact in enumerate(struck):
        more = () if rng.random() < 0.7 else ((rng.choice(variables).name, 1),)
        rules.append(Rule(f"strikes {at}", Actor.FAILURE, neg(fact), ((fact.variable, True), *more)))
    if rng.random() < 0.5:
        rules.append(Rule("heals", Actor.FAILURE, struck[0], ((struck[0].variable, False),)))
    requirements = []
    for at in range(4):
        bad = conj(*rng.sample(facts, rng.choice((2, 3))), *rng.sample(struck, rng.choice((0, 0, 1, 2))))
        if at < 3:
            requirements.append(Requirement(f"r{at}", RequirementKind.NEVER, bad))
        else:
            steps = frozenset({f"rule {rng.randrange(7)}"})
            requirements.append(Requirement(f"r{at}", RequirementKind.ONLY_IF, neg(bad), steps=steps))
    failures = tuple(Variable(fact.variable, (False, True), (False,)) for fact in struck)
    machine = Machine((*variables, *failures), (), tuple(rules), tuple(requirements))
    points = [Point(str(at + 1), at) for at in range(4)]
    points += [Point("done", 4, ends=True), Point("stopped at 2", 1, ends=True, stopped=True)]
    points.append(Point("everybody gone", 4, ends=True))
    crew: list[str | None] = [None, *(rule.name for rule in rules if rule.actor is Actor.CREW)]
    moves = [Move(at, at + 1, rng.choice(crew), TRUE, None, at) for at in range(4)]
    moves += [Move(at, at + 1, None, rng.choice(facts), None, at) for at in range(4) if rng.random() < 0.5]
    moves.append(Move(1, 5, None, rng.choice(facts), None, 1))
    for at in range(4):
        source = rng.randrange(4)
        moves.append(Move(source, min(4, source + rng.randrange(3)), rng.choice(crew), TRUE, at, source))
    compiled = SimpleNamespace(glossary=SimpleNamespace(rules={rule.name: SimpleNamespace(text="") for rule in rules}))
    bound: Any = SimpleNamespace(goal=rng.choice(facts), compiled=compiled)
    slips: Any = tuple(SimpleNamespace(id=f"slip {at}", action=0) for at in range(4))
    plant = tuple(rule.name for rule in rules if rule.actor is Actor.PLANT)
    return ProcedureGraph(bound, machine, tuple(points), tuple(moves), slips, (0, 1, 2, 3, 4), 6, plant, ())


def said(graph: ProcedureGraph) -> tuple[Leading, dict[str, frozenset[str]]]:
    """What the search says of the graph: the smallest choices per requirement, and what comes of each departure."""
    hazards = []
    for one in graph.machine.requirements:
        instance: Any = SimpleNamespace(requirement=one)
        bad = question_of(graph.machine, one).target
        if one.kind is RequirementKind.ONLY_IF:
            bad = neg(one.condition)
            hazards.append(Hazard(instance, conj(one.situation, bad), one.steps))
        else:
            hazards.append(Hazard(instance, bad, None))
    search = InterleavingSearch(graph, hazards, Clock(None), lost=False)
    search.begin()
    rightly = search.explore()
    departures = Departures(search)
    made = departures.made_at(rightly, slips=True, failures=True)
    search.explore()
    usual = search.outcome_of(search.first)
    dangers = {which: one.outcome(search) & search.every_hazard & ~usual for which, one in made.items()}
    pairs = Pairs(departures, range(len(rightly), len(search.edges)), made, dangers, slips=True, failures=True)
    found: dict[str, set[tuple[str, ...]]] = {id: {()} for id in search.hazards_in(usual)}
    for which, danger in dangers.items():
        for id in search.hazards_in(danger):
            found.setdefault(id, set()).add((departures.name(which),))
    for pair in pairs.found():
        labels = tuple(sorted(map(departures.name, pair.both)))
        found.setdefault(search.hazards[pair.hazard].instance.requirement.id, set()).add(labels)
        way = pairs.way(pair)
        assert way[0][0] in search.first
    effects = {departures.name(which): together.effects_of(search, one) for which, one in made.items()}
    return {id: frozenset(some) for id, some in found.items()}, effects


def disagreeing(seeds: Iterable[int]) -> list[int]:
    """The random courses of which search and plain count say different things."""
    found = []
    for seed in seeds:
        graph = a_graph(Random(seed))
        counted = count_consequences(track_of(graph, 2, failing=True))
        assert not counted.stopped
        leading, effects = said(graph)
        if leading != counted.leading or effects != counted.of:
            found.append(seed)
    return found


def test_random_courses_agree() -> None:
    """On random courses the smallest choices of slips and failures are those that a plain count finds."""
    assert disagreeing(range(100)) == []


def test_random_courses_are_not_trivial() -> None:
    """Among them are pairs of each kind that reach a hazard which neither of the two reaches by itself."""
    kinds = set()
    for seed in range(100):
        for some in count_consequences(track_of(a_graph(Random(seed)), 2, failing=True)).leading.values():
            kinds |= {tuple(label.split()[0] for label in labels) for labels in some}
    assert kinds >= {(), ("slip",), ("failure",), ("slip", "slip"), ("failure", "slip"), ("failure", "failure")}


def _labels_without_two(self: Any, first: range) -> dict[int, int]:
    return {node: those & ~3 for node, those in LABELS(self, first).items()}


def _no_seconds_by_failures(self: Any) -> Any:
    return (one for one in ASKED(self) if one[1][0] >= 0)


def _only_steps_matter(self: Any, points: Any) -> Any:
    return (one for one in HAPPENINGS(self, points) if one[1] is not None)


def _marks_forgotten(self: Any, hazard: int, places: Any) -> None:
    if hazard % 2:
        HIT(self, hazard, places)


def _one_step_back(self: Any, hazards: Iterable[int]) -> Any:
    for hazard, reach in REACHING(self, hazards):
        reach[self.known :] = False
        yield hazard, reach


LABELS, ASKED, HIT, REACHING = Pairs._labels, Pairs._asked, Beyond._hit, Beyond.reaching
HAPPENINGS = Beyond.happenings


@pytest.mark.parametrize(
    ("where", "name", "broken"),
    [
        (Pairs, "_labels", _labels_without_two),
        (Pairs, "_asked", _no_seconds_by_failures),
        (Beyond, "happenings", _only_steps_matter),
        (Beyond, "_hit", _marks_forgotten),
        (Beyond, "reaching", _one_step_back),
    ],
)
def test_a_broken_search_is_noticed(where: Any, name: str, broken: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Labels dropped, a departure not made, a mark or a way back forgotten: the plain count says otherwise."""
    monkeypatch.setattr(where, name, broken)
    assert any(disagreeing([seed]) for seed in range(100))


def test_choices_that_are_not_smallest_are_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where pairs are kept although one of the two suffices, the plain count says otherwise."""
    found = Pairs.found

    def careless(self: Any) -> Any:
        self._dangers = {}
        return found(self)

    monkeypatch.setattr(Pairs, "found", careless)
    assert disagreeing(range(40))


def test_digests_that_clash_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Places are told apart by what they are: where all have one digest, the same is found."""
    monkeypatch.setattr("interlock.study.procedure.beyond.MIXER", 0)
    assert disagreeing(range(30)) == []


def test_each_pair_of_slips_by_itself() -> None:
    """Two slips in a machine of their own break what they are said to break, and pairs that are not named nothing."""
    draw = Random(5)
    named = 0
    for seed in (4, 5, 6):
        bound = bind(drawn(seed), HOLDS[seed % 5 == 4])
        audit = audit_procedure(bound, None, Limits(), interrupted=False)
        assert audit.slips is not None and audit.slips.counted.agreed and audit.slips.counted.together == 2
        slips = slips_of(bound)
        pairs = {one.slips for one in audit.slips.combinations if len(one.slips) == 2}
        named += len(pairs)
        asked = [
            *draw.sample(sorted(pairs, key=str), min(4, len(pairs))),
            *(tuple(draw.sample(slips, 2)) for _ in range(4)),
        ]
        usual = {breach.hazard.instance.requirement.id for breach in audit.breaches}
        for pair in asked:
            alone = {id for one in audit.slips.results if one.slip in pair for id in one.hazards}
            graph = procedure_graph(bound, tuple(slip for slip in slips if slip in pair))
            machine = procedure_machine(graph, lost=False, slips=2)
            claims = explicit(machine, [question_of(machine, one) for one in machine.requirements])
            broken = {claim.question for claim in claims if isinstance(claim, Refuted)}
            both = {*pair}
            combined = {one.hazard.instance.requirement.id for one in audit.slips.combinations if {*one.slips} <= both}
            assert broken - usual == alone | combined, (seed, [slip.id for slip in pair])
    assert named


def test_failures_and_slips_of_a_hold() -> None:
    """What two switches that fail lead to with each other and with slips is what a second count finds."""
    audit = audit_procedure(bind(FAILING, "../tests/teeth/failing-door-switch.yaml"), None, Limits(), interrupted=True)
    failures, slips = audit.failures, audit.slips
    assert audit.disputed == () and slips is not None and slips.counted.agreed
    assert not any(one.failures for one in slips.combinations)
    assert failures is not None and failures.counted is not None
    assert failures.counted.agreed and failures.counted.together == 2
    assert {type(one).__name__ for one in failures.findings} == {"Fails"}
    assert any(one.slips and one.failures for one in failures.combinations)
