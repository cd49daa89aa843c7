"""What can no longer be done once one failure is there: the steps and the ends that are out of reach then.

Runs without a failure are walked again with it, each step by another rule of the same deed where the failure makes the
mechanism follow otherwise.  What none of them shows any more is looked for in the machine in which the failure is there
first, or proved to be out of reach in it.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import reduce
from operator import or_

from interlock.confirm.confirm import confirm
from interlock.hold.origin import Origins, Strike
from interlock.kernel.claims import Disputed, Fails, Holds, Limits, Progress, ProgressCallback, Refuted, Trace
from interlock.kernel.evaluator import State, fire
from interlock.kernel.expressions import Expr, disj
from interlock.kernel.failures import failures_of
from interlock.kernel.machine import Actor, Machine, Question, Rule
from interlock.prove.core.packing import Packing, bits_of
from interlock.prove.core.planes import Known, Planes
from interlock.prove.decide import decide
from interlock.prove.engine import Clock, share_of
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.prove.search.guided import GuidedSearch
from interlock.study.contacts.struck import (
    Likeness,
    any_struck_first,
    difference,
    likeness,
    strikes,
    struck_first,
    uses_of,
)
from interlock.study.halves import in_halves

NAME = "losses"
MOST_EXPANDED = 1_000
"""How many states guided search expands for a step or an end while nothing fails."""
FEW_EXPANDED = 200
"""The same for one that a failure seems to have put out of reach: mostly it is, and the proof is quick ..."""
MOST_IN_VAIN = 100
"""... and how many in vain for all of them."""
MOST_KEPT = 50_000
"""States of which it is remembered what is so in them."""
SEARCHING = 0.7
"""The part of the time for one failure that is for claims; the rest is for checking them."""


@dataclass(frozen=True, slots=True)
class Loss:
    """What a failure makes impossible: the ids of questions (see `Work`) that are proved to be out of reach with it.

    `open` are those of which that is not known, `why` says why; `disputed` says what two parts of this program
    contradict each other about.  `found` are runs to others that had to be looked for, in the machine in which the
    failure is there first.
    """

    failure: str
    lost: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    why: str = ""
    disputed: str = ""
    found: Mapping[str, Trace] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Run:
    """A run in the machine in which nothing fails: after how many steps each thing is first possible.

    Failures that `differ` make a difference somewhere in it, or do more than strike where it begins: in `start`, a
    packed state of the whole machine.
    """

    trace: Trace
    start: int
    first: Mapping[str, int]
    differ: frozenset[str]


class Work:
    """Everything that can be done in a hold in which nothing fails, as far as it is found.

    `possible` are questions by id: `ends`, and for each deed of people, equipment and supplies whether it is possible.
    """

    def __init__(
        self,
        machine: Machine,
        origins: Origins,
        ends: Mapping[str, Expr],
        clock: Clock,
        limits: Limits,
        report: ProgressCallback,
    ) -> None:
        self.machine = machine
        self.clock = clock
        self.limits = limits
        self.report = report
        self.failures = failures_of(machine)
        self.deed_of = {rule.name: origins.deed_of(rule.name).name for rule in machine.rules}
        self.uses = uses_of(machine)
        rules: dict[str, list[Rule]] = {}
        for rule in machine.rules:
            if rule.actor is not Actor.FAILURE and not isinstance(origins.deed_of(rule.name), Strike):
                rules.setdefault(self.deed_of[rule.name], []).append(rule)
        targets = {**ends, **{deed: disj(*(rule.guard for rule in some)) for deed, some in rules.items()}}
        sound = any_struck_first(machine, ())
        asked = [Question(id, sound.alone(target), expects_run=True) for id, target in targets.items()]
        search = GuidedSearch(sound.machine, asked, limits, clock)
        search.cover(report)
        search.run(range(len(asked)), MOST_EXPANDED, report)
        found = {
            **search.found,
            **self._decided(sound.machine, [q for q in asked if q.id in ends and q.id not in search.found]),
        }
        self.possible = {id: Question(id, target, expects_run=True) for id, target in targets.items() if id in found}
        self._ends = {id: target for id, target in ends.items() if id in self.possible}
        self._rules_of = rules
        self._lemmas: Remembered | None = None
        """What was found out of the machine with another failure there first."""
        self._first: dict[Likeness, str] = {}
        """Of failures that make the same machine the one that is asked about ..."""
        self._like: dict[str, str] = {}
        """... per failure ..."""
        self._known_losses: dict[str, Loss] = {}
        """... and what was found of it."""
        self._shown: dict[str, dict[str, tuple[int, int]]] = {}
        """Per failure that was asked about what can be done with it: in which run, and after how many steps."""
        self._walked: set[str] = set()
        """Of which all of that is known that runs show."""
        self._taken: dict[tuple[str, int], tuple[tuple[str, ...], int]] = {}
        """Per failure and run in which it makes a difference the rules of the run with it there.

        With the state in which that begins, packed.
        """
        self._prepare(found)

    def _decided(self, sound: Machine, ends: Sequence[Question]) -> Mapping[str, Trace]:
        """Runs to ends that guided search alone does not reach."""
        if not ends:
            return {}
        limits = share_of(self.limits, self.clock)
        claims = decide(sound, ends, limits, self.report, Lemmas(), shortest=False)
        return {claim.question: claim.trace for claim in claims if isinstance(claim, Refuted)}

    def _prepare(self, found: Mapping[str, Trace]) -> None:
        """Chooses runs that show everything, and sees where in them a failure makes a difference."""
        rules = self.machine.rules
        self.packing = Packing(self.machine)
        self._known = Known(Planes(self.packing, [*(rule.guard for rule in rules), *self._ends.values()]), MOST_KEPT)
        self._writes = [self.packing.writes(rule) for rule in rules]
        self._place = {rule.name: at for at, rule in enumerate(rules)}
        self._strikes = {name: [at for at, rule in enumerate(rules) if strikes(rule, name)] for name in self.failures}
        self._others = {deed: [self._place[one.name] for one in some] for deed, some in self._rules_of.items()}
        ends = {id: [at] for at, id in enumerate(self._ends, len(rules))}
        self._shows = {at: id for id in self.possible for at in (self._others | ends)[id]}
        """Per test what is possible where it is so."""
        self._telling = sum(1 << at for at in self._shows)
        differing = Planes(self.packing, [difference(name, self.uses[name]) for name in self.failures])
        self.runs: list[Run] = []
        shown: set[str] = set()
        for id in sorted(self.possible, key=lambda one: (-found[one].depth, one)):
            if id not in shown:
                states = [self.packing.pack(self._whole(found[id].states[0]))]
                for name in found[id].rules:
                    states.append(self._after(states[-1], self._place[name]))
                self._known.learn(states)
                first = self._first_shown(states)
                bits = reduce(or_, differing(states))
                differ = {self.failures[at] for at in bits_of(bits)}
                differ |= {name for name in self.failures if not self._does_nothing_else(name, states[0])}
                self.runs.append(Run(found[id], states[0], first, frozenset(differ)))
                shown |= first.keys()

    def _whole(self, state: State) -> State:
        """The state of the machine in which nothing fails as one of the whole."""
        names, values = set(self.failures), iter(state)
        return tuple(False if one.name in names else next(values) for one in self.machine.variables)

    def _does_nothing_else(self, failure: str, state: int) -> bool:
        """The failure can strike there, and then nothing is otherwise but that it has."""
        by = self._by(failure, state)
        return by is not None and self._after(state, by) == state | self.packing.fact(failure, True)[1]

    def _by(self, failure: str, state: int) -> int | None:
        """The rule by which the failure strikes there."""
        return next((at for at in self._strikes[failure] if self._known(state) >> at & 1), None)

    def _first_shown(self, states: Sequence[int]) -> dict[str, int]:
        """What is possible somewhere in these, and where first."""
        shown: dict[str, int] = {}
        left = self._telling
        for at, facts in enumerate(map(self._known, states)):
            for place in bits_of(facts & left):
                shown.setdefault(self._shows[place], at)
            left &= ~facts
        return shown

    def losses(self, failures: Sequence[str]) -> list[Loss]:
        """One per failure, in their order; those that make the same machine are asked about once.

        Where time is over, what is not known of the rest is `open`.
        """
        keys = {failure: likeness(failure, self.uses[failure]) for failure in failures}
        self._like.update({failure: self._first.setdefault(key, failure) for failure, key in keys.items()})
        firsts = list(dict.fromkeys(self._like[failure] for failure in failures))
        self._walk_again([one for one in firsts if one not in self._walked])
        left = {one: [id for id in self.possible if id not in self._shown[one]] for one in firsts}
        known = self._known_losses
        # what lacked time may have some now
        asked = [one for one in firsts if left[one] and (one not in known or known[one].open)]

        def look(some: Sequence[str], report: ProgressCallback) -> list[Loss]:
            found = []
            for done, failure in enumerate(some):
                report(Progress(NAME, "what can no longer be done", done, len(some)))
                found.append(self._look(failure, left[failure], report))
            return found

        known.update(zip(asked, in_halves(look, asked, self.limits, self.report), strict=True))
        found = [(one, self._like[one]) for one in failures]
        return [replace(known[first], failure=one) if left[first] else Loss(one) for one, first in found]

    def shown(self, failure: str) -> Mapping[str, Trace]:
        """What runs show to be possible with the failure there first, in the machine in which nothing else can be."""
        names = set(self.failures)
        kept = [at for at, one in enumerate(self.machine.variables) if one.name not in names]
        found: dict[str, Trace] = {}
        whole: dict[int, Trace] = {}
        failure = self._like[failure]
        for id, (run, length) in self._shown[failure].items():
            if run not in whole and failure in self.runs[run].differ:
                rules, start = self._taken[failure, run]
                states = [self.packing.unpack(start)]
                for name in rules:
                    states.append(fire(self.machine, self.machine.rules[self._place[name]], states[-1]))
                whole[run] = Trace(rules, tuple(tuple(state[at] for at in kept) for state in states))
            elif run not in whole:
                whole[run] = self.runs[run].trace
            found[id] = Trace(whole[run].rules[:length], whole[run].states[: length + 1])
        return found

    def _walk_again(self, failures: Sequence[str]) -> None:
        """What some run shows to be possible with each of the failures there first: by which, and after how many steps.

        With all failures at once, run by run, as long as there is time.
        """
        self._shown.update({failure: {} for failure in failures})
        for at, run in enumerate(self.runs):
            if self.clock.is_over():
                return
            asked = [failure for failure in failures if not self._shown[failure].keys() >= run.first.keys()]
            walks = {failure: self._walk(failure, run) for failure in asked if failure in run.differ}
            for failure, (rules, states) in self._known.together(walks).items():
                first = self._first_shown(states) if states else {}
                if not self._shown[failure].keys() >= first.keys():
                    self._taken[failure, at] = tuple(rules), states[0]
                self._shown[failure] = {id: (at, place) for id, place in first.items()} | self._shown[failure]
            for failure in asked:
                if failure not in run.differ:
                    self._shown[failure] = {id: (at, place) for id, place in run.first.items()} | self._shown[failure]
        self._walked.update(failures)

    def _walk(self, failure: str, run: Run) -> Generator[Sequence[int], None, tuple[list[str], list[int]]]:
        """The rules and states of the run with the failure there first; none where it cannot strike."""
        yield (run.start,)
        by = self._by(failure, run.start)
        if by is None:
            return [], []
        rules: list[str] = []
        states = [self._after(run.start, by)]
        for name in run.trace.rules:
            yield states[-1:]
            facts = self._known(states[-1])
            same = [self._place[name], *self._others.get(self.deed_of[name], ())]
            taken = next((at for at in same if facts >> at & 1), None)
            # what cannot be done is left out: what comes after may still be possible
            if taken is not None:
                rules.append(self.machine.rules[taken].name)
                states.append(self._after(states[-1], taken))
        yield states[-1:]
        return rules, states

    def _after(self, state: int, rule: int) -> int:
        keep, bits = self._writes[rule]
        return state & keep | bits

    def _look(self, failure: str, ids: Sequence[str], report: ProgressCallback) -> Loss:
        """Whether these are out of reach with the failure there first."""
        if self.clock.is_over():
            return Loss(failure, open=tuple(ids), why="there was no time left")
        asked = [replace(self.possible[id], expects_run=False) for id in ids]
        machine, questions, _ = struck_first(self.machine, failure, asked)
        limits = share_of(self.limits, self.clock, SEARCHING)
        search = GuidedSearch(machine, questions, limits, self.clock)
        search.run(range(len(questions)), FEW_EXPANDED, report, MOST_IN_VAIN)
        is_open = len(search.found) < len(questions)
        lemmas = Lemmas(self._lemmas)
        claims = decide(machine, questions, limits, report, lemmas, shortest=False, searched=search)
        if is_open:
            self._lemmas = lemmas.found()
        findings = confirm(machine, questions, claims, self.clock.seconds_left(), report)
        reached = {one.question: one.claim.trace for one in findings if isinstance(one, Fails)}
        lost = tuple(one.question for one in findings if isinstance(one, Holds))
        opened = tuple(one.question for one in findings if not isinstance(one, Holds | Fails))
        disputed = next((one.what for one in findings if isinstance(one, Disputed)), "")
        return Loss(
            failure, lost, opened, "it is too hard, or there was no time left" if opened else "", disputed, reached
        )
