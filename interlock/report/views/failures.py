"""Analyses of failures as they are told, whatever the format."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from msgspec.structs import replace

from interlock.hold.catalogue import FailingHold, KnownFailure
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.loader import FileRead
from interlock.kernel.failures import DisputedSets, KnownSets
from interlock.report.views.assumptions import CAUTIONS, assumptions_of
from interlock.report.views.facts import PROGRAM, what_is_asked
from interlock.report.views.failure_rates import GivenRates, assumed_of, likely_facts, probability_of, rated_facts
from interlock.report.views.failures_facts import (
    BrokenFacts,
    ChatteringItem,
    CheckFacts,
    ContactAt,
    CourseFacts,
    ExcludedItem,
    FailureItem,
    FailuresFacts,
    SetFacts,
    ShownAt,
)
from interlock.report.views.identification import identification
from interlock.report.views.proof import story_facts
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of, listed, sentence
from interlock.study.failures import Answer, Broken, FailureAnalysis, stories_of
from interlock.study.functional_test.course import NormalCourse
from interlock.study.functional_test.stated import StatedCheck

SIZES = {1: "single failures", 2: "single failures and pairs"}
NOTHING_KNOWN = "No set was found, and it is not shown that there is none"


@dataclass(frozen=True, slots=True)
class SetView:
    """A smallest set of failures and the requirements that it breaks, the gravest first; `shown` is one with a run."""

    failures: tuple[str, ...]
    breaks: tuple[tuple[BrokenFacts, SetFacts], ...]

    @property
    def probability(self) -> float | None:
        """That all have struck; None: no figure."""
        return self.breaks[0][1].probability

    @property
    def shown(self) -> tuple[BrokenFacts, SetFacts]:
        """One of which the run is told, or else the one with the shortest run."""
        return min(self.breaks, key=lambda one: (one[1].story is None, one[1].steps))


@dataclass(frozen=True, slots=True)
class SetGroup:
    """Sets that are told together: of so many failures; a single event that is several failures is told apart."""

    size: int
    is_cause: bool
    title: str
    noun: str


_GROUPS = (
    SetGroup(0, False, "Broken although nothing fails", ""),
    SetGroup(1, False, "Single failures", "single failure"),
    SetGroup(1, True, "Common causes", "common cause"),
    SetGroup(2, False, "Pairs of failures", "pair"),
    SetGroup(3, False, "Sets of three failures", "set of three"),
)


@dataclass(frozen=True, slots=True)
class FailuresView:
    """What is told of an analysis: `sets` by size, the gravest first; `said` has each failure in words by its id."""

    facts: FailuresFacts
    said: Mapping[str, str]
    sets: tuple[SetView, ...]

    @property
    def tone(self) -> Tone:
        """That of the worst that came out."""
        return {0: Tone.GOOD, 1: Tone.BAD, 4: Tone.LOUD}.get(self.facts.exit_code, Tone.OPEN)

    @property
    def groups(self) -> tuple[SetGroup, ...]:
        """The groups of sets that were asked about, smaller ones first; of common causes only where there are any."""
        return tuple(one for one in _GROUPS if one.size <= self.facts.size and (self._causes or not one.is_cause))

    def of_group(self, group: SetGroup) -> tuple[SetView, ...]:
        """Its sets, the gravest first."""
        return tuple(
            one
            for one in self.sets
            if len(one.failures) == group.size
            and (group.size == 1 and one.failures[0] in self._causes) == group.is_cause
        )

    @property
    def _causes(self) -> frozenset[str]:
        return frozenset(item.id for item in self.facts.failures if item.several)

    def known_of(self, failure: str) -> int:
        """Of how many failures together, this one among them, all is known; 0: not even of this one alone."""
        asked = self.facts.requirements
        open_sizes = [len(one) - 1 for requirement in asked for one in requirement.open if failure in one]
        return max(0, min([*open_sizes, *(one.complete for one in asked)], default=0))

    def said_of(self, failures: Sequence[str]) -> str:
        """These failures in words, without a full stop."""
        return sentence(listed([self.said.get(id, id) for id in failures]) or "nothing fails").rstrip(".")

    @property
    def open_sets(self) -> tuple[tuple[str, ...], ...]:
        """The sets of which it is not known for some requirement whether they break it, by size."""
        found = {one for requirement in self.facts.requirements for one in requirement.open}
        return tuple(sorted(found, key=lambda one: (len(one), one)))

    @property
    def hidden(self) -> frozenset[str]:
        """Failures that need not show in the normal course; all of them where nobody asked about that."""
        if self.facts.course is not None:
            return frozenset(self.facts.course.hidden)
        return frozenset(self.said)

    @property
    def size(self) -> int:
        """Of sets of at most so many failures it was asked."""
        return min(self.facts.size, len(self.facts.failures))

    @property
    def is_complete(self) -> bool:
        """It is known of all sets of as many failures as were asked about."""
        facts = self.facts
        asked = self.size
        return all(one.disputed is None and one.complete >= asked and not one.open for one in facts.requirements)

    @property
    def completeness(self) -> str:
        """How far it is known that there are no other sets."""
        facts = self.facts
        asked = self.size
        if any(one.disputed is not None for one in facts.requirements):
            return "Nothing: two parts of this program contradict each other. Use no result of this run."
        if self.is_complete:
            sizes = "single failures" if asked == 1 else f"sets of at most {count_of(asked, 'failure')}"
            by = listed(sorted({one.checked_by for one in facts.requirements}))
            complete = f"Complete: of {sizes} there are no others, for each requirement. Checked again by: {by}."
            left = len(facts.chattering)
            return complete + (
                f" But {count_of(left, 'failure')} could not be analysed; they are named below." if left else ""
            )
        open = sets_left(facts.requirements, asked)
        why = next((one.why for one in facts.requirements if one.why), "")
        known = "These sets are proved to break a requirement; there may be others" if self.sets else NOTHING_KNOWN
        if 0 < (least := size_known(facts.requirements)) < asked:
            known = f"Of {SIZES[least]} there are no others; of larger sets there may be"
        if open:
            known += f" ({open} of failures, counted for each requirement, could not be settled)"
        return f"NOT complete. {known}." + (f" Why: {why}." if why else "")

    @property
    def result(self) -> str:
        """What stands at the head of a page: what came out, and whether that is all."""
        whole = "complete" if self.is_complete else "NOT complete"
        return sentence(f"{self.summary()}; {whole}")

    def summary(self) -> str:
        """`12 single failures and 3 pairs break a requirement`, and what is broken without any."""
        counted = [(len(self.of_group(group)), group.noun) for group in self.groups if group.noun]
        parts = [count_of(number, noun) for number, noun in counted if number]
        already = sum(any(not one.failures for one in requirement.sets) for requirement in self.facts.requirements)
        verb = "breaks" if sum(number for number, _ in counted) < 2 else "break"
        found = f"{listed(parts) or 'no failure'} {verb} a requirement"
        if not self.is_complete:
            found = f"{found}, there may be others" if parts else "what breaks a requirement is not known"
        broken = "is broken" if already == 1 else "are broken"
        return found + (f"; {count_of(already, 'requirement')} {broken} although nothing fails" if already else "")


def size_known(asked: Iterable[BrokenFacts]) -> int:
    """Of sets of at most so many failures it is known which break these requirements; less than 1: of none."""
    return min((min([one.complete, *(len(some) - 1 for some in one.open)]) for one in asked), default=0)


def sets_left(asked: Collection[BrokenFacts], size: int) -> str:
    """How many sets of at most so many failures are named as not settled, counted for each requirement; or nothing.

    Of a requirement of which too many are open to be named nothing is claimed about that size: there are more then.
    """
    left = sum(len(one.open) for one in asked)
    return f"{at_least(asked, size)}{count_of(left, 'set')}" if left else ""


def at_least(asked: Iterable[BrokenFacts], size: int) -> str:
    """What stands before the number of those that are named, where there are more."""
    return "at least " if any(one.complete < size for one in asked) else ""


def failures_view(
    label: str,
    analysis: FailureAnalysis,
    reckoned: FailingHold,
    code: int,
    told: int,
    seconds: float | None,
    rates: GivenRates | None = None,
    course: NormalCourse | None = None,
    checks: Sequence[tuple[str, StatedCheck]] = (),
    read: Sequence[FileRead] = (),
) -> FailuresView:
    """What is told of an analysis; of so many sets the run is told too, one for each, within so many seconds each.

    Where `rates` are given, also how likely the sets are; where a `course` is or `checks`, also what shows in them.
    """
    compiled = analysis.compiled
    kept = set(analysis.failures)
    items = tuple(failure_item(name, one) for name, one in reckoned.failures.items() if name in kept)
    excluded = tuple(ExcludedItem(one.of, one.mode, one.because) for one in reckoned.excluded)
    chattering = tuple(
        ChatteringItem(
            one.known.failure.subject.id,
            one.known.failure.mode,
            one.known.text,
            tuple(other.text for other in one.others),
            one.chain,
        )
        for one in reckoned.chattering
    )
    stories = _stories(analysis, reckoned, told, seconds)
    rated = () if rates is None else rated_facts(rates, kept)
    likely = {one.failure: one.probability for one in rated}
    requirements = tuple(_broken(answer, stories, likely) for answer in analysis.answers)
    facts = FailuresFacts(
        1,
        PROGRAM,
        code,
        label,
        compiled.hold.title,
        analysis.size,
        items,
        excluded,
        chattering,
        requirements,
        None if rates is None else rates.file,
        rated,
        () if rates is None else likely_facts(analysis, likely),
        None if course is None else _course(compiled, course, kept),
        tuple(_check(file, check, kept) for file, check in checks),
        tuple(dict.fromkeys(one.origin.id for one in analysis.left_out)),
        (*assumptions_of(compiled), *(() if rates is None else assumed_of(rates))),
        CAUTIONS,
        identification(read),
    )
    return view_of_facts(facts)


def _course(compiled: CompiledHold, course: NormalCourse, kept: Collection[str]) -> CourseFacts:
    names = {unit.id: unit.name for unit in compiled.hold.units}
    shown = (ShownAt(name, step) for name, step in course.shown.items() if name in kept)
    hidden, unknown = (tuple(name for name in some if name in kept) for some in (course.hidden, course.unknown))
    return CourseFacts(names[course.kind], course.steps, tuple(shown), hidden, unknown, course.why)


def _check(file: str, check: StatedCheck, kept: Collection[str]) -> CheckFacts:
    shown = (ShownAt(name, action) for name, action in check.shown.items() if name in kept)
    hidden, unknown = (tuple(name for name in some if name in kept) for some in (check.hidden, check.unknown))
    return CheckFacts(file, check.title, check.actions, tuple(shown), hidden, unknown, check.why)


def view_of_facts(facts: FailuresFacts) -> FailuresView:
    """The same facts, with what follows from them."""
    return FailuresView(facts, {item.id: item.text for item in facts.failures}, _sets(facts.requirements))


def failure_item(id: str, known: KnownFailure) -> FailureItem:
    """What is told of a failure that may strike."""
    subject, mode, several = known.failure.subject.id, known.failure.mode, tuple(one.name for one in known.several)
    told = known.effect, known.noticed, known.source
    words = known.words
    contact = None if words is None else ContactAt(words.asks, words.of, words.place, words.alike)
    return FailureItem(id, subject, known.name, known.item, mode, known.text, *told, several, contact)


def _stories(
    analysis: FailureAnalysis, reckoned: FailingHold, most: int, seconds: float | None
) -> Mapping[tuple[str, tuple[str, ...]], SetFacts]:
    """The runs that are told: of each set one, by the id of the requirement that it breaks and the set."""
    best: dict[tuple[str, ...], tuple[Answer, Broken]] = {}
    for answer in analysis.answers:
        for broken in answer.broken:
            known = best.get(broken.failures)
            if known is None or _grave(answer, broken) < _grave(*known):
                best[broken.failures] = answer, broken
    found = {}
    severity = {failures: answer.instance.origin.severity for failures, (answer, _) in best.items()}
    ordered = sorted(best, key=lambda one: (len(one), severity[one], one))
    told = [best[one] for one in _unlike(ordered, lambda one: (len(one), severity[one]), reckoned, most)]
    for (answer, broken), (story, shortest) in zip(told, stories_of(analysis, told, seconds), strict=True):
        facts = SetFacts(broken.failures, len(story.steps), shortest, story_facts(story), None)
        found[answer.instance.requirement.id, broken.failures] = facts
    return found


def _unlike(
    ordered: Sequence[tuple[str, ...]],
    rank: Callable[[tuple[str, ...]], tuple[int, str]],
    reckoned: FailingHold,
    most: int,
) -> list[tuple[str, ...]]:
    """So many of the sets: those of the first rank first, among them such as fail in other ways, of other items."""
    used: Counter[object] = Counter()
    left, chosen = list(ordered), list[tuple[str, ...]]()

    def likes(failures: tuple[str, ...]) -> list[object]:
        known = [reckoned.failures[one] for one in failures if one in reckoned.failures]
        return [*((one.item, one.failure.mode) for one in known), *(one.failure.subject for one in known)]

    while left and len(chosen) < most:
        best = min(left, key=lambda one: (rank(one), sum(used[like] for like in likes(one))))
        chosen.append(best)
        left.remove(best)
        used.update(likes(best))
    return chosen


def _grave(answer: Answer, broken: Broken) -> tuple[str, int]:
    return answer.instance.origin.severity, broken.run.depth


def _broken(
    answer: Answer, stories: Mapping[tuple[str, tuple[str, ...]], SetFacts], likely: Mapping[str, float]
) -> BrokenFacts:
    instance, finding = answer.instance, answer.finding
    id = instance.requirement.id
    known = finding if isinstance(finding, KnownSets) else None
    found = (
        stories.get((id, one.failures)) or SetFacts(one.failures, one.run.depth, False, None, None)
        for one in answer.broken
    )
    sets = tuple(replace(one, probability=probability_of(one.failures, likely)) for one in found)
    return BrokenFacts(
        *what_is_asked(instance),
        tuple(name for _, name in instance.bindings),
        -1 if known is None else known.complete,
        "" if known is None else known.why,
        sets,
        answer.open,
        "" if known is None else known.checked_by,
        finding.what if isinstance(finding, DisputedSets) else None,
    )


def _sets(requirements: Sequence[BrokenFacts]) -> tuple[SetView, ...]:
    breaks: dict[tuple[str, ...], list[tuple[BrokenFacts, SetFacts]]] = {}
    for requirement in requirements:
        for one in requirement.sets:
            breaks.setdefault(one.failures, []).append((requirement, one))
    views = [
        SetView(failures, tuple(sorted(found, key=lambda pair: (pair[0].severity, pair[0].id))))
        for failures, found in breaks.items()
    ]
    return tuple(sorted(views, key=lambda view: (len(view.failures), view.breaks[0][0].severity, view.failures)))
