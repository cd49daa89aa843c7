"""Engines that take turns: what one has found serves the others, and nothing hard takes the time of all else."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import pytest

from interlock.kernel.claims import Claim, Refuted, Trace, silent
from interlock.kernel.expressions import Is, conj, disj
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable, question_of
from interlock.prove import decide as strategy
from interlock.prove.core.local import LocalRules
from interlock.prove.core.solvers import FOREVER, light_solver
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS, Allowance, OutOfTime
from interlock.prove.frames.frames import Frames
from interlock.prove.frames.pdr import pursue
from interlock.prove.search import guided
from tests.agreement.listing import listing_of
from tests.published.families import peterson
from tests.published.puzzles import hanoi, sliding

FAR = 20


def with_counters(machine: Machine, count: int, far: int = FAR) -> tuple[Machine, list[Question]]:
    """The machine, and beside it counters that each go up to `far`, with a question about each top."""
    names = [f"counter {n}" for n in range(count)]
    rules = [Rule(f"{name} up {n}", Actor.CREW, Is(name, n), ((name, n + 1),)) for name in names for n in range(far)]
    more = tuple(Variable(name, tuple(range(far + 1)), (0,)) for name in names)
    both = Machine((*machine.variables, *more), machine.signals, (*machine.rules, *rules))
    return both, [Question(f"top of {name}", Is(name, far), expects_run=True) for name in names]


def swapped(machine: Machine, count: int) -> list[Question]:
    """Of a tray of 3 by 3 so many arrangements that differ from the first by one swap of tiles: never to be reached.

    Half of all arrangements are (W. W. Johnson, W. E. Story, American Journal of Mathematics 2, 1879, from memory).
    """
    first = {variable.name: variable.init[0] for variable in machine.variables}
    names = [name for name in first if first[name] != 0]
    found = []
    for one, other in [(a, b) for a in names for b in names if a < b][:count]:
        changed = {**first, one: first[other], other: first[one]}
        found.append(Question(f"{one} for {other}", conj(*(Is(*fact) for fact in changed.items())), expects_run=True))
    return found


def test_what_is_searched_for_in_vain_does_not_keep_others_from_their_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of ten questions without a run and three with one these have their runs before a few thousand states are seen."""
    tray = sliding(3, 3, (2, 2))
    hard = swapped(tray, 10)
    machine, easy = with_counters(tray, 3)
    seen = [0]
    visit = guided.GuidedSearch._visit

    def counted(self: guided.GuidedSearch, state: int) -> None:
        seen[0] += 1
        visit(self, state)

    monkeypatch.setattr(guided.GuidedSearch, "_visit", counted)
    search = guided.GuidedSearch(machine, [*hard, *easy], NO_LIMITS, FOREVER)
    search.run(range(13), strategy.FIRST_EXPANDED, silent, strategy.IN_VAIN)
    assert seen[0] < 3 * strategy.IN_VAIN
    assert not search.found.keys() & {question.id for question in hard}
    search.run(range(10, 13), strategy.FIRST_EXPANDED, silent, strategy.IN_VAIN)
    assert search.found.keys() == {question.id for question in easy}


def test_runs_that_are_found_pay_for_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where runs are found a search in vain between them does not end the looking."""
    tray = sliding(3, 3, (2, 2))
    machine, easy = with_counters(tray, 3, 1)

    def found(paid: int) -> tuple[int, int]:
        monkeypatch.setattr(guided, "PAID_FOR", paid)
        search = guided.GuidedSearch(machine, [*swapped(tray, 10), *easy], NO_LIMITS, FOREVER)
        search.run(range(13), 60, silent, 1)
        return len(search.found), search._expanded

    few, many = found(0), found(1_000)
    assert few[0] == many[0] == 3
    assert few[1] < 300
    assert many[1] > 1_000


def test_reachability_goes_on_where_its_allowance_ended() -> None:
    """In short turns, of which none is long enough to begin anew in, it comes to the same answer as in a long one."""
    machine = hanoi(3, 5)
    questions = [question_of(machine, one) for one in machine.requirements]

    def asked(each: int) -> tuple[int, Trace]:
        frames = Frames(LocalRules(machine), [one.target for one in questions], FOREVER, light_solver)
        claims: dict[int, Claim] = {}
        used = 0
        while not claims and used < 10 * each + 50_000:
            allowance = Allowance(each)
            frames.clock = FOREVER.within(allowance)
            with suppress(OutOfTime):
                pursue(frames, questions, claims, None, silent)
            used += each - max(0, allowance.left)
        assert isinstance(claims[0], Refuted)
        return used, claims[0].trace

    whole, trace = asked(10**6)
    used, same = asked(whole // 10)
    assert whole < used < 6 * whole
    assert trace.states[-1] == same.states[-1]


@pytest.mark.parametrize("allowed", [0, 20, 200])
def test_what_strengthening_found_is_kept_when_its_allowance_ends(allowed: int) -> None:
    """Whenever it is cut short, its lemmas are so in every reachable state, and kept by every step."""
    machine = peterson()
    questions = [question_of(machine, one) for one in machine.requirements]
    rules = LocalRules(machine)
    frames = Frames(rules, [one.target for one in questions], FOREVER, light_solver)
    list(frames.strengthen(range(len(questions)), silent, FOREVER.within(Allowance(allowed))))
    listing = listing_of(machine)
    clauses = tuple(map(rules.clause, frames.lemmas))
    assert listing.initial <= listing.within(clauses)
    assert listing.is_kept(clauses)


def test_a_run_that_is_found_answers_all_that_it_leads_by(monkeypatch: pytest.MonkeyPatch) -> None:
    """What property-directed reachability finds is followed: states on the way answer questions about them."""
    machine, (one, other) = with_counters(hanoi(3, 2), 2, 6)
    questions = [one, replace(other, target=disj(one.target, other.target))]
    monkeypatch.setattr(strategy, "FIRST_LOOK", 0)
    monkeypatch.setattr(strategy, "SMALL", -1)
    monkeypatch.setattr(strategy, "LOOSELY_KNIT", 0)
    monkeypatch.setattr(strategy, "FIRST_EXPANDED", 0)
    monkeypatch.setattr(guided, "NEARBY_EXPANDED", 0)
    monkeypatch.setattr(guided, "NEARBY_PER_STEP", 0)
    monkeypatch.setattr(guided, "COVER_EXPANDED", 0)
    claims = decide(machine, questions)
    assert [claim.engine for claim in claims if isinstance(claim, Refuted)] == ["pdr", "guided"]


def test_where_any_run_will_do_no_shorter_one_is_looked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever does not ask for the shortest run is given one all the same, and no bounded search is made."""
    machine, (one, _) = with_counters(hanoi(3, 2), 2, 6)
    questions = [replace(one, expects_run=False)]
    monkeypatch.setattr(strategy, "FIRST_LOOK", 0)
    monkeypatch.setattr(strategy, "SMALL", -1)
    monkeypatch.setattr(strategy, "LOOSELY_KNIT", 0)
    (shortest,) = decide(machine, questions)
    monkeypatch.setattr(strategy, "BoundedSearch", None)
    (any_run,) = decide(machine, questions, shortest=False)
    assert isinstance(shortest, Refuted) and isinstance(any_run, Refuted)
    assert shortest.shortest and not any_run.shortest


def test_what_was_reached_is_not_made_away_with_to_reach_the_rest() -> None:
    """A door that shuts on an empty bay, or on a unit behind ten brackets that are up, is shut on the unit.

    A plan that is blind to undoing takes the unit away and shuts the door; nothing in it raises a bracket.
    """
    brackets = [f"bracket {n}" for n in range(10)]
    is_empty, is_open = Is("bay", "empty"), Is("door", "open")
    rules = [Rule(f"raise {name}", Actor.CREW, Is(name, "down"), ((name, "up"),)) for name in brackets]
    rules += [Rule(f"lower {name}", Actor.CREW, Is(name, "up"), ((name, "down"),)) for name in brackets]
    rules += [
        Rule("load", Actor.CREW, conj(is_empty, is_open), (("bay", "unit"),)),
        Rule("unload", Actor.CREW, conj(Is("bay", "unit"), is_open), (("bay", "empty"),)),
        Rule("open", Actor.CREW, Is("door", "shut"), (("door", "open"),)),
        Rule(
            "shut",
            Actor.CREW,
            conj(is_open, disj(is_empty, conj(*(Is(name, "up") for name in brackets)))),
            (("door", "shut"),),
        ),
    ]
    variables = (
        Variable("bay", ("empty", "unit"), ("empty",)),
        Variable("door", ("shut", "open"), ("shut",)),
        *(Variable(name, ("down", "up"), ("down",)) for name in brackets),
    )
    asked = Question("shut on a unit", conj(Is("bay", "unit"), Is("door", "shut")), expects_run=True)
    search = guided.GuidedSearch(Machine(variables, (), tuple(rules)), [asked], NO_LIMITS, FOREVER)
    search.run([0], 60, silent)
    assert search.found[asked.id].depth == 13


def test_what_can_only_be_done_before_is_done_before() -> None:
    """A person lowers a guide from the bay beside the door, before a unit comes to stand there, which is to cross it.

    The search comes nearest with the unit in that bay, where nobody can stand any more, and twelve switches that have
    nothing to do with it keep it there.
    """
    switches = [f"switch {n}" for n in range(12)]
    rules = [
        Rule(f"turn {name} {value}", Actor.CREW, Is(name, not value), ((name, value),))
        for name in switches
        for value in (False, True)
    ]
    off, on = Is("power", "off"), Is("power", "on")
    out, free = Is("person", "outside"), Is("doorway", "empty")
    rules += [
        Rule("power on", Actor.CREW, conj(off, out), (("power", "on"),)),
        Rule("power off", Actor.CREW, on, (("power", "off"),)),
        Rule("go in", Actor.CREW, conj(off, out, free), (("person", "doorway"),)),
        Rule("go out", Actor.CREW, Is("person", "doorway"), (("person", "outside"),)),
        Rule("lower", Actor.CREW, conj(Is("person", "doorway"), Is("guide", "up")), (("guide", "down"),)),
        Rule("raise", Actor.CREW, conj(Is("person", "doorway"), Is("guide", "down")), (("guide", "up"),)),
        *[Rule(f"bring {at}", Actor.PLANT, Is("loader", at), (("loader", at + 1),)) for at in range(6)],
        Rule("load", Actor.PLANT, conj(on, out, free, Is("loader", 6)), (("doorway", "sill"), ("loader", 0))),
        Rule("over the sill", Actor.PLANT, conj(on, Is("doorway", "sill")), (("doorway", "edge"),)),
        Rule("arrive", Actor.PLANT, conj(on, Is("doorway", "edge")), (("doorway", "unit"),)),
        Rule("unload", Actor.PLANT, conj(on, Is("doorway", "unit")), (("doorway", "empty"),)),
        Rule(
            "across",
            Actor.PLANT,
            conj(on, Is("doorway", "unit"), Is("guide", "down")),
            (("doorway", "empty"), ("bay", "unit")),
        ),
    ]
    variables = (
        Variable("power", ("off", "on"), ("on",)),
        Variable("person", ("outside", "doorway"), ("outside",)),
        Variable("guide", ("up", "down"), ("up",)),
        Variable("loader", tuple(range(7)), (0,)),
        Variable("doorway", ("empty", "sill", "edge", "unit"), ("empty",)),
        Variable("bay", ("empty", "unit"), ("empty",)),
        *(Variable(name, (False, True), (False,)) for name in switches),
    )
    asked = Question("across", Is("bay", "unit"), expects_run=True)
    search = guided.GuidedSearch(Machine(variables, (), tuple(rules)), [asked], NO_LIMITS, FOREVER)
    search.run([0], 40, silent)
    assert search.found[asked.id].rules[-1] == "across"
