"""What can no longer be done once one failure is there: the steps and the ends that are out of reach then.

Runs without a failure are walked again with it, each step by another rule of the same deed where the failure makes the
mechanism follow otherwise.  What none of them shows any more is looked for in the machine in which the failure is there
first, or proved to be out of reach in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.confirm.confirm import confirm
from interlock.hold.origin import Origins, Strike
from interlock.kernel.claims import Disputed, Fails, Holds, Limits, Progress, ProgressCallback, Refuted, Trace
from interlock.kernel.expressions import Expr, disj
from interlock.kernel.failures import failures_of
from interlock.kernel.machine import Actor, Machine, Question, Rule
from interlock.kernel.recovery import without_failures
from interlock.prove.core.packing import Packing, compile_enabled
from interlock.prove.decide import decide
from interlock.prove.engine import Clock, OutOfTime, share_of
from interlock.prove.search.guided import GuidedSearch
from interlock.study.contacts.struck import Likeness, difference, likeness, strikes, struck_first, uses_of

NAME = "losses"
MOST_EXPANDED = 1_000
"""How many states guided search expands for a step or an end that a failure seems to have put out of reach."""
SEARCHING = 0.7
"""The part of the time for one failure that is for claims; the rest is for checking them."""


@dataclass(frozen=True, slots=True)
class Loss:
    """What a failure makes impossible: the ids of questions (see `Work`) that are proved to be out of reach with it.

    `open` are those of which that is not known, `why` says why; `disputed` says what two parts of this program
    contradict each other about.
    """

    failure: str
    lost: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    why: str = ""
    disputed: str = ""


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
        sound = without_failures(machine)
        asked = [Question(id, target, expects_run=True) for id, target in targets.items()]
        search = GuidedSearch(sound, asked, limits, clock)
        search.cover(report)
        search.run(range(len(asked)), MOST_EXPANDED, report)
        found = {
            **search.found,
            **self._decided(sound, [q for q in asked if q.id in ends and q.id not in search.found]),
        }
        self.possible = {one.id: one for one in asked if one.id in found}
        self._ends = {id: target for id, target in ends.items() if id in self.possible}
        self._rules_of = rules
        self._prepare(found)

    def _decided(self, sound: Machine, ends: Sequence[Question]) -> Mapping[str, Trace]:
        """Runs to ends that guided search alone does not reach."""
        if not ends:
            return {}
        limits = share_of(self.limits, self.clock)
        claims = decide(sound, ends, limits, self.report)
        return {claim.question: claim.trace for claim in claims if isinstance(claim, Refuted)}

    def _prepare(self, found: Mapping[str, Trace]) -> None:
        """Chooses runs that show everything, and sees where in them a failure makes a difference."""
        differing = {name: difference(name, self.uses[name]) for name in self.failures}
        tests = [
            *(rule.guard for rule in self.machine.rules),
            *self._ends.values(),
            *differing.values(),
        ]
        asking = tuple(Rule(str(at), Actor.CREW, expr, ()) for at, expr in enumerate(tests))
        self.packing = Packing(Machine(self.machine.variables, self.machine.signals, asking))
        self._enabled = compile_enabled(self.packing)
        self._writes = {rule.name: self.packing.writes(rule) for rule in self.machine.rules}
        self._strikes = {
            name: [at for at, rule in enumerate(self.machine.rules) if strikes(rule, name)] for name in self.failures
        }
        count = len(self.machine.rules)
        self._end_at = dict(enumerate(self._ends, count))
        self._differing_at = dict(enumerate(differing, count + len(self._ends)))
        self._facts: dict[int, frozenset[int]] = {}
        self.runs: list[tuple[Trace, frozenset[str], frozenset[str]]] = []
        """Runs, with what each shows to be possible and the failures that make a difference somewhere in it."""
        shown: set[str] = set()
        for id in sorted(self.possible, key=lambda one: (-found[one].depth, one)):
            if id not in shown:
                run = found[id]
                possible: set[str] = set()
                differ: set[str] = set()
                for state in map(self.packing.pack, run.states):
                    facts = self._so(state)
                    possible.update(self._shown_by(facts))
                    differ.update(name for at, name in self._differing_at.items() if at in facts)
                self.runs.append((run, frozenset(possible & self.possible.keys()), frozenset(differ)))
                shown |= possible

    def _so(self, state: int) -> frozenset[int]:
        found = self._facts.get(state)
        if found is None:
            found = self._facts[state] = frozenset(self._enabled(state))
        return found

    def _shown_by(self, facts: frozenset[int]) -> Iterator[str]:
        rules = self.machine.rules
        for at in facts:
            if at < len(rules):
                yield self.deed_of[rules[at].name]
            elif at in self._end_at:
                yield self._end_at[at]

    def losses(self, failures: Sequence[str]) -> Iterator[Loss]:
        """One per failure, in their order; those that make the same machine are asked about once.

        Where time is over, what is not known of the rest is `open`.
        """
        known: dict[Likeness, Loss] = {}
        for done, failure in enumerate(failures):
            self.report(Progress(NAME, "what can no longer be done", done, len(failures)))
            left = self._not_shown(failure)
            if not left:
                yield Loss(failure)
                continue
            key = likeness(failure, self.uses[failure])
            if key not in known:
                known[key] = self._look(failure, left)
            yield replace(known[key], failure=failure)

    def _not_shown(self, failure: str) -> list[str]:
        """What no run shows to be possible with the failure there first."""
        shown: set[str] = set()
        for run, possible, differ in self.runs:
            if failure not in differ:
                shown |= possible
            elif not shown.issuperset(possible):
                shown |= self._walked_again(failure, run)
        return [id for id in self.possible if id not in shown]

    def _walked_again(self, failure: str, run: Trace) -> set[str]:
        rules, place = self.machine.rules, {rule.name: at for at, rule in enumerate(self.machine.rules)}
        state = self.packing.pack(run.states[0])
        by = next((at for at in self._strikes[failure] if at in self._so(state)), None)
        shown: set[str] = set()
        if by is None:
            return shown
        keep, bits = self._writes[rules[by].name]
        state = state & keep | bits
        for name in run.rules:
            facts = self._so(state)
            shown.update(self._shown_by(facts))
            others = [place[one.name] for one in self._rules_of.get(self.deed_of[name], ())]
            taken = place[name] if place[name] in facts else next((at for at in others if at in facts), None)
            # what cannot be done is left out: what comes after may still be possible
            if taken is not None:
                keep, bits = self._writes[rules[taken].name]
                state = state & keep | bits
        shown.update(self._shown_by(self._so(state)))
        return shown

    def _look(self, failure: str, ids: Sequence[str]) -> Loss:
        """Whether these are out of reach with the failure there first."""
        machine, questions, _ = struck_first(self.machine, failure, [self.possible[id] for id in ids])
        try:
            self.clock.check()
        except OutOfTime:
            return Loss(failure, open=tuple(ids), why="there was no time left")
        limits = share_of(self.limits, self.clock, SEARCHING)
        search = GuidedSearch(machine, questions, limits, self.clock)
        search.run(range(len(questions)), MOST_EXPANDED, self.report)
        left = [replace(one, expects_run=False) for one in questions if one.id not in search.found]
        if not left:
            return Loss(failure)
        claims = decide(machine, left, limits, self.report)
        findings = confirm(machine, left, claims, self.clock.seconds_left(), self.report)
        lost = tuple(one.question for one in findings if isinstance(one, Holds))
        opened = tuple(one.question for one in findings if not isinstance(one, Holds | Fails))
        disputed = next((one.what for one in findings if isinstance(one, Disputed)), "")
        return Loss(failure, lost, opened, "it is too hard, or there was no time left" if opened else "", disputed)
