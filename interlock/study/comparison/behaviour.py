"""How two holds behave otherwise: each kind of difference with a shortest sequence, or the proof that there is none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.glossary import Glossary
from interlock.hold.hands import hands_of
from interlock.hold.tell import Reason, Story, reasons, tell
from interlock.kernel.claims import (
    Disputed,
    Fails,
    Finding,
    Holds,
    Limits,
    ProgressCallback,
    Refuted,
    Trace,
    Undecided,
    silent,
)
from interlock.kernel.evaluator import State, fire, is_enabled, truths_in
from interlock.kernel.expressions import TRUE, Expr, conj, disj
from interlock.kernel.machine import Machine, Question
from interlock.prove.decide import decide
from interlock.prove.following import Handling, follow
from interlock.study.comparison.pairing import Asked, Pair, What
from interlock.study.sessions import Session, nobody

_START = "both can start"
_ONCE = "what is kept once is the same in both"


@dataclass(frozen=True, slots=True)
class Shown:
    """A run of both holds to a difference, the first of its kind.

    `first` and `second` are the runs of each hold; a step that only one of them has is in that one alone.  `story` is
    the run as the hold tells it that has more of it.  `why` are the conditions on the side where it is possible or so,
    `why_not` those on the other side.  Where the same step has another outcome,
    `then` and `then_in_other` are what it leads to on either side.
    """

    asked: Asked
    run: Trace
    first: Trace
    second: Trace
    story: Story
    shortest: bool
    why: tuple[Reason, ...]
    why_not: tuple[Reason, ...]
    then: tuple[str, ...] = ()
    then_in_other: tuple[str, ...] = ()

    @property
    def in_second(self) -> bool:
        """It is the second hold in which it is possible or so."""
        return self.asked.what in (What.GAINED, What.ON, What.OTHERWISE)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of difference: what was asked of it, what was found, and where a difference is shown the run to it.

    `members` are those that are known to differ, `open` those of which that is not known.
    """

    what: What
    asked: tuple[Asked, ...]
    finding: Finding
    shown: Shown | None
    members: tuple[Asked, ...]
    open: tuple[Asked, ...]


@dataclass(frozen=True, slots=True)
class Behaviour:
    """What was found of a pair.

    `start` says whether there is a state in which both may start: where there is none nothing was compared.
    `once` is the proof that the machine of both says what it is meant to.
    """

    pair: Pair
    kinds: tuple[Kind, ...]
    start: Finding
    once: Finding

    def of(self, what: What) -> tuple[Kind, ...]:
        """The kinds of that sort of difference that were found."""
        return tuple(kind for kind in self.kinds if kind.what is what and kind.shown is not None)

    @property
    def is_disputed(self) -> bool:
        """Two parts of this program contradict each other."""
        findings = (self.start, self.once, *(kind.finding for kind in self.kinds))
        return any(isinstance(one, Disputed) for one in findings) or isinstance(self.once, Fails)

    @property
    def is_decided(self) -> bool:
        """Every kind of difference is shown, or proved not to be."""
        findings = (self.once, *(kind.finding for kind in self.kinds))
        return isinstance(self.start, Fails) and not any(isinstance(one, Undecided) for one in findings)

    @property
    def is_same(self) -> bool:
        """Both do the same, from the same starts: proved."""
        proved = all(isinstance(kind.finding, Holds) for kind in self.kinds)
        return self.is_decided and not self.is_disputed and proved and not self.pair.starts


def compare_behaviour(
    pair: Pair, limits: Limits, report: ProgressCallback = silent, *, every: bool = False
) -> Behaviour:
    """Asks about each kind of difference at once; where `every`, then about each of a kind that is found otherwise.

    Runs that show one of a kind may show others of it; what they do not show is left open where nobody asks.
    """
    machine = pair.both.machine
    kinds: dict[tuple[str, ...], list[Asked]] = {}
    for one in pair.asked:
        kinds.setdefault(one.group, []).append(one)
    questions = {group: Question(" ".join(group), disj(*(a.target for a in found))) for group, found in kinds.items()}
    start = Question(_START, TRUE, expects_run=True)
    once = Question(_ONCE, disj(*pair.both.clashes.values()))
    session = Session(machine, limits, report)
    engine = follow(decide, _handling(pair))
    found, _ = session.claim_and_confirm([start, once, *questions.values()], (), engine, nobody)
    runs = [one.claim.trace for one in found.values() if isinstance(one, Fails)]
    in_doubt = [group for group in kinds if not isinstance(found[questions[group].id], Holds)]
    seen = _seen(machine, [one for group in in_doubt for one in kinds[group]], runs)
    unseen = [
        one
        for group in in_doubt
        if isinstance(found[questions[group].id], Fails)
        for one in kinds[group]
        if id(one) not in seen
    ]
    more = [Question(f"{one.what}: {one.label}", one.target) for one in unseen]
    answers: Mapping[str, Finding] = {}
    if every and more:
        answers, _ = session.claim_and_confirm(more, (), engine, nobody)
    known = {id(one): answers.get(question.id) for one, question in zip(unseen, more, strict=True)}
    told = []
    for group, members in kinds.items():
        finding = found[questions[group].id]
        differ = [one for one in members if id(one) in seen or isinstance(known.get(id(one)), Fails)]
        left = [one for one in members if id(one) in known and not isinstance(known[id(one)], Fails | Holds)]
        shown = _shown(pair, finding.claim, members) if isinstance(finding, Fails) else None
        told.append(Kind(members[0].what, tuple(members), finding, shown, tuple(differ), tuple(left)))
    return Behaviour(pair, tuple(told), found[_START], found[_ONCE])


def _handling(pair: Pair) -> Handling:
    """What people hold in either hold, and where their hands suffice in both."""
    old, new = hands_of(pair.old), hands_of(pair.new)
    held = dict.fromkeys(
        (names[name], rest)
        for names, hands in zip(pair.both.variables, (old, new), strict=True)
        for name, rest in hands.held
    )
    return Handling(tuple(held), conj(pair.both.of_first(old.enough), pair.both.of_second(new.enough)))


def _seen(machine: Machine, asked: Sequence[Asked], runs: Sequence[Trace]) -> set[int]:
    """Those of which some state of the runs is a case."""
    found: set[int] = set()
    for state in {state for run in runs for state in run.states}:
        true = truths_in(machine, state)
        found |= {id(one) for one in asked if id(one) not in found and true(one.target)}
    return found


def run_of(pair: Pair, run: Trace, second: bool) -> Trace:
    """What the first or the second hold does in a run of both: the steps that it has a part in."""
    rules, states = [], [pair.both.state_of(run.states[0], second)]
    for name, after in zip(run.rules, run.states[1:], strict=True):
        own = pair.both.rules[name][second]
        if own is not None:
            rules.append(own)
            states.append(pair.both.state_of(after, second))
    return Trace(tuple(rules), tuple(states))


def _shown(pair: Pair, claim: Refuted, members: Sequence[Asked]) -> Shown:
    run = claim.trace
    true = truths_in(pair.both.machine, run.states[-1])
    asked = next(one for one in members if true(one.target))
    first, second = run_of(pair, run, False), run_of(pair, run, True)
    in_new = asked.what in (What.GAINED, What.ON, What.OTHERWISE)
    with_it, without = (pair.new, pair.old) if in_new else (pair.old, pair.new)
    ends = (second, first) if in_new else (first, second)
    exprs = (asked.there, asked.here) if in_new else (asked.here, asked.there)
    told, hold, whole = (ends[0], with_it, exprs[0])
    story = tell(hold.machine, hold.glossary, told, whole)
    why = _why(hold.machine, hold.glossary, whole, told.states[-1])
    why_not = _why(without.machine, without.glossary, exprs[1], ends[1].states[-1])
    shown = Shown(asked, run, first, second, story, claim.shortest, why, why_not)
    if asked.what is not What.OTHERWISE:
        return shown
    sides = ((pair.new, pair.both.second.labels, second), (pair.old, pair.both.first.labels, first))
    then, other = (_outcome(hold, labels, asked.label, end.states[-1]) for hold, labels, end in sides)
    return replace(shown, then=then, then_in_other=other)


def _outcome(hold: CompiledHold, labels: Mapping[str, str], label: str, state: State) -> tuple[str, ...]:
    """What the step leads to in the state, in words; what it may lead to, where that is not certain."""
    machine = hold.machine
    found: dict[str, None] = {}
    for rule in machine.rules:
        if labels[rule.name] == label and is_enabled(machine, rule, state):
            run = Trace((rule.name,), (state, fire(machine, rule, state)))
            step = tell(machine, hold.glossary, run, TRUE).steps[0]
            found.update(dict.fromkeys((*step.responses, *step.after)))
    return tuple(found)


def _why(machine: Machine, glossary: Glossary, expr: Expr, state: State) -> tuple[Reason, ...]:
    return reasons(machine, glossary, expr, state, 3)
