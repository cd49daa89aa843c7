"""What each contact is for: what goes wrong, or can no longer be done, where it is as if it were not there.

A contact in series with others is bridged then, one beside others is open (`ways_out`).  What goes wrong is what the
smallest sets of failures say (`study.failures`).  That nothing needs a contact is said only where all of it is proved:
that it makes no difference in any state that is reached, or else that without it nothing breaks, that everything that
could be done still can, and always where that is asked.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial

from interlock.confirm.confirm import confirm
from interlock.confirm.recovery import RecoveryFinding
from interlock.hold.catalogue import FailingHold, everything_fails
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.contacts import contact_items, ways_out
from interlock.hold.compile.requirements import Instance
from interlock.hold.failing import FailingItem
from interlock.hold.language.model import Catalogue, Hold
from interlock.hold.sorts import Item
from interlock.kernel.beside import Beside, may_begin
from interlock.kernel.claims import (
    Disputed,
    Fails,
    Holds,
    Limits,
    Progress,
    ProgressCallback,
    Refuted,
    Trace,
    Undecided,
    silent,
)
from interlock.kernel.expressions import Is, disj
from interlock.kernel.failures import DisputedSets, KnownSets
from interlock.kernel.machine import Question, RequirementKind, question_of, with_monitors
from interlock.kernel.recovery import HasDeadEnd, Recovers, RecoveryQuestion
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS, Clock, clock_of, share_of
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.prove.recovery.recovery import recover
from interlock.study.contacts.losses import Loss, Work
from interlock.study.contacts.struck import any_struck_first, difference, struck_first
from interlock.study.failures import FailureAnalysis, analyse_failures
from interlock.study.halves import in_halves, result_of
from interlock.study.sessions import Session, nobody

NAME = "contacts"
SETS = 0.5
"""The part of the time for sets of failures."""
LOSSES = 0.6
"""The part of what is left then for what can no longer be done without each contact ..."""
NO_DIFFERENCE = 0.4
"""... of what is left then for what makes no difference at all; the rest is for what can still be done ..."""
PAIRS = 0.6
"""... and of what that leaves for pairs; the rest is for what can no longer be done with the opposite of each."""


class Need(StrEnum):
    """How far something that is required needs a contact."""

    ALONE = "without it something breaks, or can no longer be done"
    TOGETHER = "without it and with one more failure something breaks"
    NOTHING = "nothing that is required needs it"
    OPEN = "not settled"


@dataclass(frozen=True, slots=True)
class Effect:
    """What comes of one failure of a contact: `failure` is the name of its variable, `mode` how it fails.

    `breaks` are requirements that break by it alone, `together` those that break by it and the others named, and not
    without it.  `lost` and `steps` are requirements and deeds that are then proved to be out of reach.  `settled` says
    up to how many failures together all that breaks is known, of everything that holds without a failure.
    `no_difference`: proved to be without any effect.  `can_still`: proved that everything else can still be done.
    """

    failure: str
    mode: str
    breaks: tuple[Instance, ...]
    together: tuple[tuple[Instance, tuple[str, ...]], ...]
    lost: tuple[Instance, ...]
    steps: tuple[str, ...]
    settled: int
    losses_known: bool
    no_difference: bool = False
    can_still: bool = False


@dataclass(frozen=True, slots=True)
class ContactPurpose:
    """A contact, and what comes of its being as if it were not there (`without`), or the opposite (`otherwise`)."""

    item: FailingItem
    without: tuple[Effect, ...]
    otherwise: tuple[Effect, ...]

    @property
    def need(self) -> Need:
        """How far it is needed; never more than is proved."""
        if any(one.breaks or one.lost or one.steps for one in self.without):
            return Need.ALONE
        if any(one.together for one in self.without):
            return Need.TOGETHER
        if all(one.settled >= 1 and (one.no_difference or one.can_still) for one in self.without):
            return Need.NOTHING
        return Need.OPEN


@dataclass(frozen=True, slots=True)
class ContactAnalysis:
    """What was found of all contacts of a hold; `broken` are requirements that break although nothing fails.

    `impossible` are requirements to which no run was found although nothing fails.  `size` is how many failures were
    asked about together; `disputed` what parts of this program contradict each other about.
    """

    compiled: CompiledHold
    analysis: FailureAnalysis
    contacts: tuple[ContactPurpose, ...]
    broken: tuple[Instance, ...]
    impossible: tuple[Instance, ...]
    size: int
    disputed: tuple[str, ...]


def failing_contacts(hold: Hold, catalogue: Catalogue) -> FailingHold:
    """The hold in which every contact may fail either way, and what the hold declares.

    That a contact is taken not to fail says nothing of what it is for.
    """
    kept = tuple(one for one in hold.excluded_failures if one.contact is None)
    return everything_fails(replace(hold, excluded_failures=kept), catalogue, {Item.CONTACT})


def analyse_contacts(
    compiled: CompiledHold,
    size: int,
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    chosen: Sequence[str] | None = None,
) -> ContactAnalysis:
    """What each contact of the hold, which comes from `failing_contacts`, is for.

    `size` is how many failures are asked about together: 1, or 2, where all contacts may be out of the way and else
    what fails that is no contact.  `chosen` are requirements where not all are asked.
    """
    clock = clock_of(limits)
    seconds = None if limits.seconds is None else SETS * limits.seconds
    analysis = analyse_failures(compiled, 1, replace(limits, seconds=seconds), report, chosen)
    study = Study(compiled, analysis, limits, report)
    seconds = _part(LOSSES, clock)
    with study.ways_begun(clock) as ways:
        study.begin(seconds)
        dead = study.leave_out_dead_ends(*result_of(ways, limits))
    contacts = study.contacts()
    proved = study.needless([one for one in contacts if one.need is Need.OPEN], clock.seconds_left())
    contacts = tuple(proved.get(one.item.contact.name, one) if one.item.contact else one for one in contacts)
    if size > 1:
        contacts = study.with_one_more(contacts, size, replace(limits, seconds=_part(PAIRS, clock)), chosen)
    contacts = study.with_opposites(contacts, clock.seconds_left())
    broken = tuple(answer.instance for answer in analysis.answers if any(not one.failures for one in answer.broken))
    return ContactAnalysis(
        compiled, analysis, contacts, (*broken, *dead), study.impossible, size, tuple(study.disputed)
    )


@dataclass(frozen=True, slots=True)
class AtAll:
    """What can no longer be done at all with a failure there first, by the ids of questions; None: not all is settled.

    `disputed` is as it is of a `ContactAnalysis`.
    """

    lost: tuple[str, ...] | None = None
    disputed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Always:
    """What cannot always be done any more with a failure there first, by the ids of requirements, or that all can.

    `disputed` is as it is of a `ContactAnalysis`, of this failure and of others that were asked about with it.
    """

    dead: tuple[str, ...]
    is_proved: bool
    disputed: tuple[str, ...] = ()


class Study:
    """What is asked about one hold, step by step; see `analyse_contacts`."""

    def __init__(
        self, compiled: CompiledHold, analysis: FailureAnalysis, limits: Limits, report: ProgressCallback
    ) -> None:
        self.compiled = compiled
        self.analysis = analysis
        self.limits = limits
        self.report = report
        self.machine = with_monitors(compiled.machine)
        asked = analysis.left_out
        self.ends = {one.requirement.id: one for one in asked if one.requirement.kind is RequirementKind.CAN}
        self.always = [one for one in asked if one.requirement.kind is RequirementKind.CAN_ALWAYS]
        self.disputed = _disputes(analysis)
        self.sets = _sets_of(analysis)
        self.items = contact_items(compiled.hold, compiled.world)
        self.work: Work | None = None
        self.runs: Mapping[str, Mapping[str, Trace]] = {}
        """Per failure runs that were looked for with it there first."""
        self.ways: Remembered | None = None
        """How everything can always be done with another contact out of the way: much the same, as nothing needs it."""

    @property
    def impossible(self) -> tuple[Instance, ...]:
        """What was not found to be possible although nothing fails."""
        return tuple(one for id, one in self.ends.items() if self.work is None or id not in self.work.possible)

    def failure(self, item: FailingItem, mode: str) -> str:
        """The name of its variable."""
        return item.failure(next(one for one in item.failings if one.mode == mode)).name

    def begin(self, seconds: float | None) -> None:
        """Finds what can be done while nothing fails; the seconds are for what contacts lose, too."""
        ends = {id: question_of(self.machine, one.requirement).target for id, one in self.ends.items()}
        limits = replace(self.limits, seconds=seconds)
        self.work = Work(self.machine, self.compiled.origins, ends, clock_of(limits), limits, self.report)

    def contacts(self) -> tuple[ContactPurpose, ...]:
        """Every contact, in the order of the description, with what comes of it alone; not yet what opposites lose."""
        out = ways_out(self.compiled.hold, self.compiled.world)
        ways = [(item, out[item.contact.name]) for item in self.items if item.contact is not None]
        # without those that break something it is known already that they are needed: they are asked about last
        failures = [self.failure(item, mode) for item, without in ways for mode in without]
        losses = self.losses(sorted(failures, key=self.breaks_something))
        modes = ("welded", "open")
        return tuple(
            ContactPurpose(
                item,
                tuple(self.effect(item, mode, losses) for mode in modes if mode in without),
                tuple(self.effect(item, mode, {}) for mode in modes if mode not in without),
            )
            for item, without in ways
        )

    def with_opposites(self, contacts: Sequence[ContactPurpose], seconds: float | None) -> tuple[ContactPurpose, ...]:
        """The contacts with what can no longer be done where each is the opposite of what it is without it."""
        assert self.work is not None  # noqa: S101 -- what contacts are for is looked for first
        self.work.clock = clock_of(replace(self.limits, seconds=seconds))
        losses = self.losses([one.failure for contact in contacts for one in contact.otherwise])
        return tuple(
            replace(one, otherwise=tuple(self.effect(one.item, effect.mode, losses) for effect in one.otherwise))
            for one in contacts
        )

    def losses(self, failures: Sequence[str]) -> Mapping[str, Loss]:
        """What can no longer be done with each of the failures there first."""
        assert self.work is not None  # noqa: S101 -- what contacts are for is looked for first
        found = {one.failure: one for one in self.work.losses([one for one in failures if one in self.work.uses])}
        self.disputed += [one.disputed for one in found.values() if one.disputed]
        self.runs = {**self.runs, **{failure: one.found for failure, one in found.items()}}
        return found

    def breaks_something(self, failure: str) -> bool:
        """Some requirement breaks by the failure alone."""
        return any(not others for _, others in self.sets.get(failure, ()))

    def effect(self, item: FailingItem, mode: str, losses: Mapping[str, Loss]) -> Effect:
        """What comes of it alone, as far as it is known by now."""
        failure = self.failure(item, mode)
        breaks = tuple(instance for instance, others in self.sets.get(failure, ()) if not others)
        loss = losses.get(failure)
        lost = () if loss is None else tuple(self.ends[id] for id in loss.lost if id in self.ends)
        steps = () if loss is None else tuple(id for id in loss.lost if id not in self.ends)
        known_losses = loss is not None and not loss.open and not loss.disputed
        return Effect(failure, mode, breaks, (), lost, steps, settled_of(self.analysis, failure), known_losses)

    def with_one_more(
        self, contacts: Sequence[ContactPurpose], size: int, limits: Limits, chosen: Sequence[str] | None
    ) -> tuple[ContactPurpose, ...]:
        """The contacts with what breaks where something else has failed too: another of them is out of the way."""
        others = {one.failure for contact in contacts for one in contact.otherwise}
        among = [one for one in self.analysis.failures if one not in others]
        pairs = analyse_failures(self.compiled, size, limits, self.report, chosen, among)
        self.disputed += _disputes(pairs)
        sets = _sets_of(pairs)

        def more(effect: Effect) -> Effect:
            together = tuple((instance, rest) for instance, rest in sets.get(effect.failure, ()) if rest)
            settled = max(effect.settled, settled_of(pairs, effect.failure))
            return replace(effect, together=together, settled=settled)

        return tuple(replace(one, without=tuple(map(more, one.without))) for one in contacts)

    def ways_begun(self, clock: Clock) -> Beside[tuple[Mapping[str, RecoveryFinding], Remembered]]:
        """Whether everything can always be done while nothing fails, beside what is asked meanwhile."""
        sound = any_struck_first(self.machine, ())
        asked = [RecoveryQuestion(one.requirement.id, sound.alone(one.requirement.condition)) for one in self.always]
        report = silent if may_begin() else self.report

        def work() -> tuple[Mapping[str, RecoveryFinding], Remembered]:
            lemmas = Lemmas(self.ways)
            session = Session(sound.machine, replace(self.limits, seconds=clock.seconds_left()), report)
            _, back = session.claim_and_confirm((), asked, decide, partial(recover, found=lemmas))
            return back, lemmas.found()

        return Beside(work)

    def leave_out_dead_ends(self, back: Mapping[str, RecoveryFinding], ways: Remembered) -> tuple[Instance, ...]:
        """What cannot always be done although nothing fails: it is asked of no contact, as none is for it."""
        self.ways = ways
        self.disputed += [one.what for one in back.values() if isinstance(one, Disputed)]
        dead = tuple(one for one in self.always if isinstance(back[one.requirement.id], HasDeadEnd))
        self.always = [one for one in self.always if one not in dead]
        return dead

    def needless(self, left: Sequence[ContactPurpose], seconds: float | None) -> Mapping[str, ContactPurpose]:
        """Those of the contacts of which it is proved that nothing needs them, or what does after all; by name."""
        clock = clock_of(replace(self.limits, seconds=seconds))
        limits = share_of(self.limits, clock, NO_DIFFERENCE)
        none = self.without_difference([one.failure for contact in left for one in contact.without], limits)
        effects = {one.failure: one for contact in left for one in contact.without}
        for failure, one in effects.items():
            if failure in none:
                effects[failure] = replace(one, no_difference=True, settled=max(1, one.settled), losses_known=True)
        asked = [one for one in effects.values() if not one.no_difference and one.settled >= 1 and one.losses_known]
        effects |= {one.failure: one for one in self.still_possible(asked, clock)}
        return {
            contact.item.contact.name: replace(contact, without=tuple(effects[one.failure] for one in contact.without))
            for contact in left
            if contact.item.contact is not None
        }

    def without_difference(self, failures: Sequence[str], limits: Limits) -> frozenset[str]:
        """Those of the failures that are proved to make no difference in any state that is reached without one."""
        if self.work is None or not failures:
            return frozenset()
        sound = any_struck_first(self.machine, ())
        seen = frozenset().union(*(run.differ for run in self.work.runs))
        asked = [
            Question(one, sound.alone(difference(one, self.work.uses[one]))) for one in failures if one not in seen
        ]
        claims = decide(sound.machine, asked, limits, self.report, Lemmas(), shortest=False) if asked else ()
        findings = confirm(sound.machine, asked, claims, limits.seconds, self.report)
        self.disputed += [one.what for one in findings if isinstance(one, Disputed)]
        return frozenset(one.question for one in findings if isinstance(one, Holds))

    def still_possible(self, effects: Sequence[Effect], clock: Clock) -> Iterator[Effect]:
        """Whether all can still be done with each of the failures there first, and always where that is asked."""

        def settle(some: Sequence[Effect], report: ProgressCallback) -> list[AtAll]:
            found = []
            for done, one in enumerate(some):
                report(Progress(NAME, "contacts that nothing seems to need", done, len(some)))
                found.append(AtAll() if clock.is_over() else self.at_all(one.failure, clock, report))
            return found

        settled = in_halves(settle, effects, self.limits, self.report)
        self.disputed += [what for one in settled for what in one.disputed]
        gone = {effect.failure: one.lost for effect, one in zip(effects, settled, strict=True) if one.lost is not None}
        dead, always = self.always_possible([failure for failure, lost in gone.items() if not lost], clock)
        for one in effects:
            lost = gone.get(one.failure, ())
            yield replace(
                one,
                lost=tuple(self.ends[id] for id in lost if id in self.ends) + tuple(dead.get(one.failure, ())),
                steps=tuple(id for id in lost if id not in self.ends),
                can_still=one.failure in always,
            )

    def at_all(self, failure: str, clock: Clock, report: ProgressCallback) -> AtAll:
        """What can still be done at all with the failure there first."""
        assert self.work is not None  # noqa: S101 -- nothing is needless before losses were looked for
        machine, questions, begun = struck_first(self.machine, failure, list(self.work.possible.values()))
        runs = {**self.work.shown(failure), **self.runs.get(failure, {})} if begun else {}
        shown = [one for one in questions if one.id in runs]
        claims = [Refuted(one.id, NAME, runs[one.id], shortest=False) for one in shown]
        done = {one.question for one in confirm(machine, shown, claims) if isinstance(one, Fails)}
        left = [one for one in questions if one.id not in done]
        session = Session(machine, replace(self.limits, seconds=clock.seconds_left()), report)
        found, _ = session.claim_and_confirm(left, (), partial(decide, shortest=False), nobody)
        settled = all(isinstance(one, Fails | Holds) for one in found.values())
        return AtAll(
            tuple(id for id, one in found.items() if isinstance(one, Holds)) if settled else None,
            tuple(one.what for one in found.values() if isinstance(one, Disputed)),
        )

    def always_possible(
        self, failures: Sequence[str], clock: Clock
    ) -> tuple[Mapping[str, Sequence[Instance]], frozenset[str]]:
        """Per failure what then cannot always be done any more, and those of them with which all of it can."""

        def settle(some: Sequence[str], report: ProgressCallback) -> list[Always]:
            return self.settled_ways(some, clock, report)

        settled = dict(zip(failures, in_halves(settle, failures, self.limits, self.report), strict=True))
        self.disputed += [what for one in settled.values() for what in one.disputed]
        dead = {
            failure: [instance for instance in self.always if instance.requirement.id in one.dead]
            for failure, one in settled.items()
            if one.dead
        }
        return dead, frozenset(failure for failure, one in settled.items() if one.is_proved)

    def settled_ways(self, failures: Sequence[str], clock: Clock, report: ProgressCallback) -> list[Always]:
        """The same of each.

        One proof is looked for that is good for many of them; who is in a dead end is left out of it, and where it is
        too hard it is looked for in two halves.
        """
        dead: dict[str, tuple[str, ...]] = {}
        proved: set[str] = set()
        disputed: list[str] = []
        waiting = [list(failures)]
        while waiting:
            group = waiting.pop()
            if not group or clock.is_over():
                continue
            left = clock.seconds_left()
            seconds = None if left is None else left / (len(waiting) + 1)
            back, stuck = self.ways_back(group, replace(self.limits, seconds=seconds), report)
            disputed += [one.what for one in back.values() if isinstance(one, Disputed)]
            if all(isinstance(one, Recovers) for one in back.values()):
                proved.update(group)
                continue
            dead |= stuck
            if len(group) == 1:
                continue
            if stuck:
                waiting.append([one for one in group if one not in stuck])
                # what else of it cannot always be done is not known yet
                waiting += [[one] for one, some in sorted(stuck.items()) if len(some) < len(self.always)]
            else:
                waiting += [group[len(group) // 2 :], group[: len(group) // 2]]
        found = [Always(dead.get(one, ()), one in proved) for one in failures]
        return [replace(found[0], disputed=tuple(disputed)), *found[1:]] if found else []

    def ways_back(
        self, failures: Sequence[str], limits: Limits, report: ProgressCallback
    ) -> tuple[Mapping[str, RecoveryFinding], dict[str, tuple[str, ...]]]:
        """Per requirement whether it can always be met, whichever of these is there first; what cannot with which."""
        first = any_struck_first(self.machine, failures)
        asked = [Question(one.requirement.id, one.requirement.condition) for one in self.always]
        if len(first.there) == len(failures):
            machine = first.machine
            ways = [RecoveryQuestion(one.id, first.alone(one.target)) for one in asked]
        elif len(failures) == 1:
            (failure,) = failures
            machine, questions, _ = struck_first(self.machine, failure, asked)
            # before it has struck nothing is asked
            ways = [RecoveryQuestion(one.id, disj(Is(failure, False), one.target)) for one in questions]
        else:
            return {one.id: Undecided(one.id, "they do not begin together") for one in asked}, {}
        lemmas = Lemmas(self.ways)
        session = Session(machine, limits, report)
        _, back = session.claim_and_confirm((), ways, decide, partial(recover, found=lemmas))
        self.ways = lemmas.found()
        stuck: dict[str, tuple[str, ...]] = {}
        for id, finding in back.items():
            if isinstance(finding, HasDeadEnd):
                begins = finding.claim.trace.states[0]
                one = first.failure_in(begins) if first.there else failures[0]
                stuck[one] = (*stuck.get(one, ()), id)
        return back, stuck


def _part(part: float, clock: Clock) -> float | None:
    """So much of the time that is left."""
    left = clock.seconds_left()
    return None if left is None else part * left


def _disputes(analysis: FailureAnalysis) -> list[str]:
    return [one.finding.what for one in analysis.answers if isinstance(one.finding, DisputedSets)]


def _sets_of(analysis: FailureAnalysis) -> Mapping[str, Sequence[tuple[Instance, tuple[str, ...]]]]:
    """Per failure what breaks by it, and by which others with it."""
    found: dict[str, list[tuple[Instance, tuple[str, ...]]]] = {}
    for answer in analysis.answers:
        for broken in answer.broken:
            for one in broken.failures:
                others = tuple(other for other in broken.failures if other != one)
                found.setdefault(one, []).append((answer.instance, others))
    return found


def settled_of(analysis: FailureAnalysis, failure: str) -> int:
    """Up to how many failures together all that breaks by this one and others is known."""
    settled = analysis.size
    for answer in analysis.answers:
        known = answer.finding.complete if isinstance(answer.finding, KnownSets) else -1
        unknown = (len(one) - 1 for one in answer.open if failure in one or not one)
        settled = min(settled, known, *unknown)
    return settled
