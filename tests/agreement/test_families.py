"""Families against each of their configurations by itself, all states written out."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations

import pytest

from interlock.diagnostics.spans import Span
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.model import Option
from interlock.hold.loader import Source, load_family
from interlock.kernel.claims import Limits, silent
from interlock.kernel.expressions import FALSE, TRUE
from interlock.kernel.machine import Machine, Rule
from interlock.kernel.merged import Forms, fault_of_merge
from interlock.prove.decide import decide
from interlock.study.families import families
from interlock.study.families.asking import asking
from interlock.study.families.conditions import choices_of
from interlock.study.families.configurations import Space, looked_at
from interlock.study.families.families import Family, prove_family
from interlock.study.families.merging import merge
from interlock.study.recalling import Store
from interlock.study.verify import Status, verify
from tests.agreement.families_of_machines import random_family
from tests.agreement.listing import Listing
from tests.agreement.recovering import dead_ends
from tests.benchmarks.option_families import judge
from tests.golden.small_hold import REQUIREMENTS, TEXT, requirement_texts

SEEDS = 16


def judge_family(seed: int) -> int:
    """What is said of each configuration is so; gives how many statements were judged."""
    space, compiled = random_family(seed)
    merged = merge(space, list(compiled.values()), ())
    forms = Forms()
    asks = asking(space, merged.machine, compiled[frozenset()].machine, merged.compiling, Limits(), silent, Store())
    mains = [one for one in merged.asked if one.sense == "main"]
    goals = [one for one in merged.asked if one.sense == "goal"]
    reached = dict(zip(mains, asks.reach([(merged.asked[one], False) for one in mains]), strict=True))
    lost = dict(zip(goals, asks.lose([merged.asked[one] for one in goals]), strict=True))
    judged = 0
    for fitted, one in compiled.items():
        rules = merged.rules_of(one.machine)
        asked = ((merged.asked[of], expr) for of, expr in one.asked.items())
        assert not fault_of_merge(merged.machine, choices_of(space, fitted), one.machine, rules, asked, forms), fitted
        listing = Listing(one.machine)
        for of, expr in one.asked.items():
            found = reached[of] if of.sense == "main" else lost[of]
            assert not found.reason
            assert not found.disputed
            so = bool(found.configurations & space.alone(fitted))
            if of.sense == "main":
                assert so is (listing.nearest(expr) is not None), (seed, fitted, of)
            else:
                assert so is bool(dead_ends(one.machine, expr)), (seed, fitted, of)
            judged += 1
    return judged


@pytest.mark.parametrize("seed", range(100, 100 + SEEDS))
def test_what_is_said_of_a_family_is_so_of_each(seed: int) -> None:
    """What can be reached and what can be lost, configuration by configuration, with everything written out."""
    assert judge_family(seed) >= 8


@pytest.mark.slow
def test_many_families() -> None:
    """The same of many more."""
    assert sum(judge_family(seed) for seed in range(10_000, 10_400)) > 400 * 8


def _changed(machine: Machine, rules: tuple[Rule, ...]) -> Machine:
    return Machine(machine.variables, machine.signals, rules, (), machine.start)


@pytest.mark.parametrize("what", ["guard", "rule", "start", "asked", "choice", "more", "signal", "written"])
def test_a_wrong_merge_is_seen(what: str) -> None:
    """A merged machine that differs from a configuration anywhere is not taken for it."""
    space, compiled = random_family(104)
    merged = merge(space, list(compiled.values()), ())
    fitted = frozenset(["A"])
    one, machine = compiled[fitted], merged.machine
    names = dict(merged.rules_of(one.machine))
    asked = [(merged.asked[of], expr) for of, expr in one.asked.items()]
    present = next(at for at, rule in enumerate(machine.rules) if rule.name in names)
    rule, rules = machine.rules[present], list(machine.rules)
    if what == "guard":
        rules[present] = replace(rule, guard=FALSE if rule.guard == TRUE else TRUE)
    elif what == "written":
        variable = next(v for v in machine.variables if len(v.domain) > 1 and v.name not in choices_of(space, fitted))
        new = next(x for x in variable.domain if (variable.name, x) not in rule.update)
        kept = tuple(pair for pair in rule.update if pair[0] != variable.name)
        rules[present] = replace(rule, update=(*kept, (variable.name, new)))
    elif what == "choice":
        rules[present] = replace(rule, update=(*rule.update, ("option.A", True)))
    elif what == "more":
        rules.append(replace(rule, name="another"))
    elif what == "rule":
        names.pop(rule.name)
    elif what == "asked":
        asked[0] = (TRUE if asked[0][0] == FALSE else FALSE, asked[0][1])
    changed = _changed(machine, tuple(rules))
    if what == "start":
        changed = Machine(machine.variables, machine.signals, machine.rules, (), FALSE)
    if what == "signal":
        first = machine.signals[0]
        signals = (replace(first, definition=FALSE if first.definition == TRUE else TRUE), *machine.signals[1:])
        changed = Machine(machine.variables, signals, machine.rules, (), machine.start)
    assert fault_of_merge(changed, choices_of(space, fitted), one.machine, names, asked, Forms())
    assert not fault_of_merge(
        machine,
        choices_of(space, fitted),
        one.machine,
        merged.rules_of(one.machine),
        [(merged.asked[of], expr) for of, expr in one.asked.items()],
        Forms(),
    )


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(60, 64))
def test_options_drawn_by_lot(seed: int) -> None:
    """Families of the single-lane hold with options by lot: each configuration by itself says the same."""
    found = judge("single-lane", seed, 5, 32)
    assert found.different == ()
    assert found.compared > 1_000


OPTIONS = """\
options:
  - id: no_latch
    name: no sill latch
    changes:
      - {change: D1, to: {closes: not D1 is sill_covered or 1C is occupied}}
      - {fix: SL, in: lowered}
  - id: shuts_on_load
    name: door closes only on a secured unit
    excludes: loader_only
    changes: [{change: D1, to: {closes: not D1 is sill_covered and (1C is empty or SL is raised)}}]
  - id: loose_lock
    name: lock without latch
    changes: [{change: D1, to: {lock: {by: hand, when: always}}}]
  - id: loader_only
    name: no lock while open
    needs: loose_lock
    changes:
      - add:
          circuits: [{id: C9, name: shut, use: permit, is: D1_shut}]
          sensors: [{id: D1_shut, name: door switch, reads: D1 is closed}]
      - {change: D1, to: {unlatch: {by: hand, when: C9}}}
  - id: chocks
    name: stops that fold
    changes: [{change: AS, to: {kind: manual latch, locking: raised, starts: lowered}}]
"""


def _family_of(text: str, specification: str) -> tuple[Family, Callable[[frozenset[str]], CompiledHold]]:
    fitting = load_family(Source("small.yaml", text.encode()), lambda name: None)
    texts = requirement_texts(specification)

    def compiled(fitted: frozenset[str]) -> CompiledHold:
        hold = fitting(fitted).value
        assert hold is not None
        found = compile_hold(hold, texts).compiled
        assert found is not None
        return found

    return prove_family(fitting, lambda hold: texts, None, Limits()), compiled


def test_each_configuration_by_itself_comes_out_the_same() -> None:
    """Each configuration of a hold, compiled and proved by itself, has the statuses that the family says."""
    again = "\n".join(
        [
            "  - id: can-be-emptied",
            '    text: "{b} can always be emptied"',
            "    kind: can always",
            "    for: {b: bays}",
            "    condition: b is empty",
            "    hazard: unit stuck",
            '    severity: "4"',
            "    scheme: MIL-STD-882E",
            "    source: common practice, no source",
        ]
    )
    family, compiled = _family_of(TEXT + OPTIONS, REQUIREMENTS + again + "\n")
    space = family.space
    assert family.is_whole
    assert not family.is_disputed
    assert family.is_decided
    # both change when the door closes: which would count would depend on their order
    assert [term.fitted for term, _ in family.not_compiling] == [("no_latch", "shuts_on_load")]
    assert [fault.code for fault in family.not_compiling[0][1]] == ["options-collide"]
    statuses = set()
    assert family.compiling.bit_count() == 16
    for fitted in space.each(family.compiling):
        answers = {a.instance.requirement.id: a.status for a in verify(compiled(fitted), decide, Limits()).answers}
        here = {o.instance.requirement.id: o.status_in(space.alone(fitted)) for o in family.outcomes}
        assert {id: status for id, status in here.items() if status is not None} == answers, fitted
        statuses |= set(answers.values())
    assert {Status.HOLDS, Status.FAILS, Status.VACUOUS} <= statuses
    for outcome in family.outcomes:
        shown = 0
        for one in outcome.shown:
            assert one.alone
            shown |= one.term.of(space)
        assert shown & family.compiling & outcome.where == outcome.fails


@pytest.mark.parametrize("seed", range(6))
def test_whatever_three_options_can_be_is_looked_at(seed: int) -> None:
    """Every allowed choice of three options is in one of those that are looked at, each of them allowed."""
    draw = random.Random(seed)
    options = tuple(f"o{number}" for number in range(draw.randint(1, 9)))
    rules = tuple(
        Option(
            span=Span("", 1, 1),
            id=one,
            name=one,
            changes=(),
            excludes=tuple(other for other in options[:at] if draw.random() < 0.1),
            needs=tuple(other for other in options[at + 1 :] if draw.random() < 0.1),
        )
        for at, one in enumerate(options)
    )
    space = Space(options, rules)
    looked = list(looked_at(space, 2))
    assert all(map(space.allows, looked)) and len(set(looked)) == len(looked)
    allowed = list(space.each(space.allowed))
    for three in combinations(options, min(3, len(options))):
        assert {one & set(three) for one in looked} == {one & set(three) for one in allowed}
    assert len(options) < 8 or len(looked) < 2 * len(options) + 20


def test_a_family_without_options_is_the_hold() -> None:
    """Where nothing can be fitted the family is one hold."""
    family, compiled = _family_of(TEXT, REQUIREMENTS)
    answers = {a.instance.requirement.id: a.status for a in verify(compiled(frozenset()), decide, Limits()).answers}
    assert {o.instance.requirement.id: o.status_in(1) for o in family.outcomes} == answers


def test_a_wrong_guess_is_mended_where_something_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    """What two options do is taken for what the first does, until a run is to be told of the first alone."""
    few = [frozenset(), frozenset(["chocks", "loose_lock"])]
    monkeypatch.setattr(families, "looked_at", lambda space, more: iter(few))
    monkeypatch.setattr(families, "EVERY_UP_TO", 0)
    odd = """\
options:
  - {id: chocks, name: stops that fold, changes: [{change: FS, to: {name: chock}}]}
  - {id: loose_lock, name: lock without latch, changes: [{change: D1, to: {lock: {by: hand, when: always}}}]}
"""
    family, _ = _family_of(TEXT + odd, REQUIREMENTS)
    assert not family.is_disputed
    (outcome,) = (one for one in family.outcomes if one.instance.requirement.id == "latched-when-locked[D1]")
    assert [one.term.fitted for one in outcome.shown] == [("loose_lock",)]
    assert outcome.fails == sum(family.space.alone(one) for one in map(frozenset, (["loose_lock"], few[1])))


def test_what_was_not_seen_to_be_no_hold_is_not_said_to_be_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where those that make no hold were not all tried, not every one was compared, whatever is taken for granted."""
    both = frozenset(["no_latch", "shuts_on_load"])

    def tried(space: Space, more: int) -> Iterator[frozenset[str]]:
        return (one for one in space.each(space.allowed) if not both < one)

    monkeypatch.setattr(families, "looked_at", tried)
    monkeypatch.setattr(families, "EVERY_UP_TO", 0)
    family, _ = _family_of(TEXT + OPTIONS, REQUIREMENTS)
    assert family.compared.bit_count() == family.compiling.bit_count() == 16
    assert [term.fitted for term, _ in family.not_compiling] == [("no_latch", "shuts_on_load")]
    assert not family.is_whole
