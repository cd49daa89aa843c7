"""Every engine broken on purpose, in two ways or more: the judge of random machines notices each.

What z3 alone must stop is asked in `test_engines_mutants.py`; here anything that catches counts: the engine's own
discharge, or the comparison with the machine written out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import pytest

from interlock.kernel.machine import Machine, Rule
from interlock.prove.certificates.obligations import UnsoundCertificate
from interlock.prove.core import packing as compiled
from interlock.prove.core.encoding import TRUTH, Encoding
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.diagrams import forest, reaching
from interlock.prove.invariants import k_induction as induction
from interlock.prove.recovery import cases, dead_ends
from interlock.prove.recovery import context as known
from interlock.prove.search import arrays, explicit, guided, vectorised
from interlock.prove.search.unrolling import Unrolling

from .judging import judge, judge_recovery
from .test_engines_mutants import believe_every_candidate, drop_literals_unasked, forget_an_effect, skip_a_rule

Break = Callable[[pytest.MonkeyPatch], None]
SEEDS = range(80)


def forget_a_write(patch: pytest.MonkeyPatch) -> None:
    """States held as integers: the last assignment of a rule is not made."""
    for kind in (compiled.Packing, arrays.Layout):
        whole: Callable[[Any, Rule], Any] = kind.writes

        def writes(self: Any, rule: Rule, whole: Callable[[Any, Rule], Any] = whole) -> Any:
            return whole(self, Rule(rule.name, rule.actor, rule.guard, rule.update[:-1]))

        patch.setattr(kind, "writes", writes)


def look_at_few_states(patch: pytest.MonkeyPatch) -> None:
    """Targets are looked for in the first two states of a level."""
    whole = compiled.compile_hits

    def compile_hits(*given: Any) -> Any:
        hits = whole(*given)
        return lambda states: hits(list(states)[:2])

    patch.setattr(explicit, "compile_hits", compile_hits)


def lose_a_state(patch: pytest.MonkeyPatch) -> None:
    """Of what a chunk leads to the last state is dropped."""
    whole = vectorised.Levels._sieved
    patch.setattr(vectorised.Levels, "_sieved", lambda self, keys: whole(self, keys)[:-1])


def go_on_too_early(patch: pytest.MonkeyPatch) -> None:
    """Looked at are only levels with an even number of states."""
    whole = vectorised._hits
    patch.setattr(vectorised, "_hits", lambda walk, level, asked: {} if len(level) % 2 else whole(walk, level, asked))


def change_at_will(patch: pytest.MonkeyPatch) -> None:
    """What no rule writes may change as well."""
    whole = Unrolling._changes

    def changes(self: Unrolling) -> list[list[int]]:
        return [clause for clause in whole(self) if -clause[0] in self.rules]

    patch.setattr(Unrolling, "_changes", changes)


def forget_guards(patch: pytest.MonkeyPatch) -> None:
    """Any rule may fire."""
    whole = Unrolling._choice
    patch.setattr(Unrolling, "_choice", lambda self, guards: whole(self, [TRUTH] * len(guards)))


def order_all_rules(patch: pytest.MonkeyPatch) -> None:
    """Rules fire only in the order in which they are written, whether they can be swapped or not."""

    def order(self: Unrolling) -> list[list[int]]:
        return [[-(rule + self.width), link] for rule, link in zip(self.rules, self._links, strict=True)]

    patch.setattr(Unrolling, "_order", order)


def take_all_as_inductive(patch: pytest.MonkeyPatch) -> None:
    """The step of the induction is not asked."""
    patch.setattr(induction.InductionStep, "is_inductive", lambda *_: True)


def hide_that_states_differ(patch: pytest.MonkeyPatch) -> None:
    """That runs were kept from visiting a state twice is not said in the certificate."""
    whole = induction.InductionStep._part

    def part(self: Any, early: int, late: int) -> None:
        whole(self, early, late)
        self.distinct = False

    patch.setattr(induction.InductionStep, "_part", part)


def fire_whatever(patch: pytest.MonkeyPatch) -> None:
    """Guided search fires rules without asking their guards."""
    patch.setattr(guided.GuidedSearch, "_enabled", lambda self, _: list(range(len(self._writes))))


def count_on_failures(patch: pytest.MonkeyPatch) -> None:
    """A way back may use a failure."""

    def same(machine: Machine) -> Machine:
        return machine

    patch.setattr(known, "without_failures", same)


def cover_nothing(patch: pytest.MonkeyPatch) -> None:
    """All states are taken for covered at once."""
    patch.setattr(cases.RecoveryCases, "uncovered", lambda _: None)


def trap_too_soon(patch: pytest.MonkeyPatch) -> None:
    """The nearest dead end is taken to be wherever the goal is not."""
    patch.setattr(dead_ends, "compile_enabled", lambda _: lambda _: [])


def enter_by_no_rule(patch: pytest.MonkeyPatch) -> None:
    """No rule is asked whether it leads into a cube."""

    def entering(self: LocalRules, cube: Cube) -> Sequence[int]:
        return []

    patch.setattr(LocalRules, "entering", entering)


def forget_all_effects(patch: pytest.MonkeyPatch) -> None:
    """Solvers are told that rules write nothing."""

    def effects(self: Encoding, update: Iterable[tuple[str, Any]]) -> Mapping[int, bool]:
        return {}

    patch.setattr(Encoding, "effects", effects)


def close_nothing(patch: pytest.MonkeyPatch) -> None:
    """What is reached is taken to be the start."""
    patch.setattr(forest.Forest, "saturate", lambda _, states: states)


def meet_nothing(patch: pytest.MonkeyPatch) -> None:
    """No target is taken to be reached."""
    patch.setattr(reaching.Reached, "meeting", lambda *_: 0)


BROKEN: Mapping[str, Sequence[Break]] = {
    "explicit": (forget_a_write, look_at_few_states),
    "vectorised": (forget_a_write, lose_a_state, go_on_too_early),
    "bmc": (forget_an_effect, change_at_will, forget_guards, order_all_rules),
    "k_induction": (change_at_will, order_all_rules, take_all_as_inductive, hide_that_states_differ),
    "mined": (forget_an_effect, believe_every_candidate),
    "pdr": (drop_literals_unasked, skip_a_rule, forget_an_effect),
    "guided": (forget_a_write, fire_whatever),
    "diagrams": (close_nothing, meet_nothing),
    "decide": (forget_a_write, look_at_few_states),
    "decide with facts": (forget_a_write, skip_a_rule, forget_all_effects, look_at_few_states),
    "recover": (count_on_failures, cover_nothing, trap_too_soon, enter_by_no_rule),
}


@pytest.mark.parametrize(
    ("name", "broken"),
    [pytest.param(name, one, id=f"{name}-{one.__name__}") for name, ones in BROKEN.items() for one in ones],
)
def test_a_broken_engine_is_noticed(name: str, broken: Break, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some of the first eighty random machines shows that the engine is broken."""
    broken(monkeypatch)
    for seed in SEEDS:
        try:
            if name == "recover":
                judge_recovery(seed)
            else:
                judge(seed, (name,))
        except (AssertionError, UnsoundCertificate, LookupError, StopIteration):
            return
    pytest.fail("nobody noticed")


def test_every_engine_is_broken_in_two_ways() -> None:
    """The list of broken engines names every engine that is judged, and `recover`, at least twice."""
    from .judging import JUDGED

    assert BROKEN.keys() == {*JUDGED, "recover"}
    assert min(map(len, BROKEN.values())) >= 2
