"""A fleet, as it is told, whatever the format: what was found of each aircraft, and what tells those that differ."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.requirements import Instance
from interlock.hold.language.fleets import Fleet
from interlock.hold.loader import FileRead
from interlock.hold.tell import Story
from interlock.kernel.claims import Disputed, Undecided
from interlock.report.views.assumptions import CAUTIONS, assumptions_of, checkers_of
from interlock.report.views.facts import PROGRAM, Place, what_is_asked
from interlock.report.views.fleet_facts import (
    AircraftFacts,
    AnswerFacts,
    BrokenFacts,
    ConfigurationFacts,
    FleetFacts,
    FleetHoldFacts,
    FleetResult,
    GroupFacts,
    OpenFacts,
    RefusalFacts,
    TellingFacts,
)
from interlock.report.views.identification import identification
from interlock.report.views.proof import story_facts
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of, listed
from interlock.study.fleet.configurations import Configuration, Fitted
from interlock.study.fleet.differences import Mark, tell_apart
from interlock.study.fleet.together import Together
from interlock.study.verify import Answer, Status, Verification

FLEET_ASSUMPTIONS = (
    "The fleet file is right about each aircraft: its hold, the options fitted and what is inoperative. What it does "
    "not mention is not fitted and works.",
    "What is deferred is inoperative from the start and stays so. A limit is required to be kept by the interlock "
    "itself; limitations that the crew keeps are not reckoned with.",
    "What tells aircraft apart is read off the configurations of this fleet; other combinations may behave otherwise.",
)
FLEET_CAUTIONS = (
    "This releases no aircraft. What may be inoperative, and what is fitted to an aircraft, is said by its approved "
    "records, the operator's approved lists and their authority.",
    *CAUTIONS,
)
NOTHING_ASKED = "no requirement has anything to ask of it"
MOST_ALIKE = 3
"""Of what tells the same aircraft more are counted."""
RESULTS: tuple[FleetResult, ...] = ("disputed", "rejected", "fails", "undecided", "holds")
"""The gravest first."""
TONES: Mapping[FleetResult, Tone] = {
    "holds": Tone.GOOD,
    "fails": Tone.BAD,
    "rejected": Tone.BAD,
    "undecided": Tone.OPEN,
    "disputed": Tone.LOUD,
}
WORDS: Mapping[FleetResult, str] = {
    "holds": "all that was asked holds",
    "fails": "something fails",
    "rejected": "the configuration is no hold",
    "undecided": "not all is known",
    "disputed": "two parts of this program contradict each other: use no result",
}


@dataclass(slots=True)
class Effort:
    """How the configurations were answered; no part of the result, which is the same either way."""

    proved: int = 0
    together: int = 0
    kept: int = 0
    unbelieved: int = 0
    undecided: int = 0

    def note(self, was_kept: bool, unbelieved: int, is_whole: bool) -> None:
        """One more was answered."""
        self.unbelieved += unbelieved
        self.kept += was_kept
        self.proved += is_whole and not was_kept
        self.undecided += not is_whole

    def note_together(self, number: int, was_kept: bool, unbelieved: int) -> None:
        """So many more were answered by one proof."""
        self.unbelieved += unbelieved
        self.kept += number * was_kept
        self.together += number * (not was_kept)

    @property
    def text(self) -> str:
        """`12 configurations proved, 84 confirmed from what was kept`."""
        parts = [f"{count_of(self.proved, 'configuration')} proved alone"]
        parts += [f"{self.together:,} proved together with others"] if self.together else []
        parts += [f"{self.kept:,} confirmed again from what was kept"] if self.kept else []
        if self.unbelieved:
            parts.append(f"{self.unbelieved:,} kept {'entry' if self.unbelieved == 1 else 'entries'} not believed")
        return ", ".join(parts)


@frozen
class FleetView:
    """What is told.  `configurations` and `groups` of the facts are found by their numbers, from 1."""

    facts: FleetFacts

    @property
    def tone(self) -> Tone:
        """That of the gravest result."""
        return TONES[self.worst]

    @property
    def worst(self) -> FleetResult:
        """The gravest result."""
        found = {one.result for one in self.facts.configurations}
        return next((one for one in RESULTS if one in found), "undecided")

    @property
    def counts(self) -> tuple[tuple[FleetResult, int], ...]:
        """How many aircraft have each result, the gravest first; results that none has are left out."""
        counted = Counter(one.result for one in self.facts.aircraft)
        return tuple((one, counted[one]) for one in RESULTS if counted[one])

    @property
    def summary(self) -> str:
        """`2,000 aircraft in 96 configurations of 3 holds: 40 fail, 1,960 hold`."""
        facts = self.facts
        found = ", ".join(f"{number:,} {_verb(one, number)}" for one, number in self.counts)
        return (
            f"{len(facts.aircraft):,} aircraft in {count_of(len(facts.configurations), 'configuration')} of "
            f"{count_of(len(facts.holds), 'hold')}: {found}"
        )

    def configuration(self, number: int) -> ConfigurationFacts:
        """By its number."""
        return self.facts.configurations[number - 1]

    def group(self, number: int) -> GroupFacts:
        """By its number."""
        return self.facts.groups[number - 1]

    def groups_of(self, hold: FleetHoldFacts) -> tuple[GroupFacts, ...]:
        """Those of one hold."""
        return tuple(one for one in self.facts.groups if one.hold == hold.file)

    def fitted(self, one: ConfigurationFacts) -> str:
        """`with a.yaml; deferred: M3L=lowered`."""
        parts = [f"with {listed(one.options)}"] if one.options else []
        parts += [f"deferred: {'; '.join(one.deferrals)}"] if one.deferrals else []
        return "; ".join(parts) or "no options, nothing deferred"

    @staticmethod
    def telling(one: TellingFacts) -> str:
        """Where a requirement fails, as the end of a sentence."""
        if not one.where:
            if one.others:
                return "on some, and no option or deferral, nor two, tell which"
            return "on every aircraft with this hold"
        more = "; and on others that no two of them tell" if one.others else ""
        exactly = "where" if one.others else "exactly where"
        return f"{exactly} {'; or where '.join(one.where)}{more}"


def _verb(result: FleetResult, number: int) -> str:
    plural = {
        "holds": "hold",
        "fails": "fail",
        "undecided": "undecided",
        "disputed": "DISPUTED",
        "rejected": "rejected",
    }
    return result if number == 1 and result in ("holds", "fails") else plural[result]


def answer_facts(found: Verification) -> AnswerFacts:
    """What was found of one configuration that is a hold."""
    by_status: dict[Status, list[Answer]] = {}
    for answer in found.answers:
        by_status.setdefault(answer.status, []).append(answer)
    disputed, failing = by_status.get(Status.DISPUTED, []), by_status.get(Status.FAILS, [])
    undecided = by_status.get(Status.UNDECIDED, [])
    result: FleetResult = "holds" if found.answers else "undecided"
    graver: tuple[tuple[FleetResult, list[Answer]], ...]
    graver = (("undecided", undecided), ("fails", failing), ("disputed", disputed))
    for name, those in graver:
        result = name if those else result
    return AnswerFacts(
        result,
        len(found.answers),
        len(by_status.get(Status.VACUOUS, [])),
        tuple(map(_broken, failing)),
        tuple(map(_open, undecided)),
        tuple(map(_open, disputed)),
        (),
        checkers_of(found),
        assumptions_of(found.compiled),
        "" if found.answers else NOTHING_ASKED,
    )


def together_facts(found: Together) -> AnswerFacts:
    """What was found of one configuration by a family proof; runs are told where it was asked by itself too."""
    told = {answer.instance.requirement.id: answer for answer in found.told}
    failing = []
    for outcome in found.statuses.get(Status.FAILS, ()):
        answer = told.get(outcome.instance.requirement.id)
        failing.append(_broken_by(outcome.instance, None if answer is None else answer.story))
    disputed = tuple(
        OpenFacts(one.instance.requirement.id, one.instance.text, one.disputed)
        for one in found.statuses.get(Status.DISPUTED, ())
    )
    result: FleetResult = "disputed" if disputed else "fails" if failing else "holds" if found.asked else "undecided"
    return AnswerFacts(
        result,
        found.asked,
        len(found.statuses.get(Status.VACUOUS, ())),
        tuple(failing),
        (),
        disputed,
        (),
        found.checked_by,
        assumptions_of(found.hold),
        "" if found.asked else NOTHING_ASKED,
    )


def refused_facts(diagnostics: Iterable[Diagnostic]) -> AnswerFacts:
    """That a configuration is no hold, and why."""
    faults = tuple(
        RefusalFacts(one.code, Place(one.span.file, one.span.line, one.span.column, one.span.length), one.message)
        for one in diagnostics
    )
    return AnswerFacts("rejected", 0, 0, (), (), (), faults, (), (), "")


def nothing_facts(why: str) -> AnswerFacts:
    """That nothing was found out, and why."""
    return AnswerFacts("undecided", 0, 0, (), (), (), (), (), (), why)


def fleet_view(
    file: str,
    fleet: Fleet,
    fitted: Sequence[Fitted],
    answers: Sequence[AnswerFacts],
    titles: Mapping[str, str],
    code: int,
    read: Sequence[FileRead] = (),
) -> FleetView:
    """What is told of a fleet: `answers[i]` is about `fitted[i]`; `titles` has that of each hold, by its file.

    `read` are the files that were read.
    """
    groups, group_of = _groups(fitted, answers, [one.tail for one in fleet.aircraft])
    numbers = {one.configuration: number for number, one in enumerate(fitted, 1)}
    holds = tuple(_hold(file_, titles[file_], fitted, answers) for file_ in sorted(titles))
    shared = {one.file: set(one.assumptions) for one in holds}
    configurations = tuple(
        ConfigurationFacts(
            number,
            one.configuration.hold,
            one.configuration.options,
            one.configuration.deferrals,
            tuple(each.tail for each in one.aircraft),
            group_of[number],
            answer.result,
            answer.asked,
            answer.vacuous,
            tuple(text for text in answer.assumptions if text not in shared[one.configuration.hold]),
        )
        for number, (one, answer) in enumerate(zip(fitted, answers, strict=True), 1)
    )
    of_tail = {each.tail: numbers[one.configuration] for one in fitted for each in one.aircraft}
    aircraft = tuple(
        AircraftFacts(one.tail, one.span.line, of_tail[one.tail], answers[of_tail[one.tail] - 1].result)
        for one in fleet.aircraft
    )
    facts = FleetFacts(
        1,
        PROGRAM,
        code,
        file,
        fleet.title,
        holds,
        groups,
        configurations,
        aircraft,
        FLEET_ASSUMPTIONS,
        FLEET_CAUTIONS,
        identification(read),
    )
    return FleetView(facts)


def _broken(answer: Answer) -> BrokenFacts:
    return _broken_by(answer.instance, answer.story)


def _broken_by(instance: Instance, story: Story | None) -> BrokenFacts:
    return BrokenFacts(
        *what_is_asked(instance),
        None if story is None else story_facts(story),
    )


def _open(answer: Answer) -> OpenFacts:
    finding = answer.finding
    if isinstance(finding, Disputed):
        why = finding.what
    elif isinstance(finding, Undecided):
        why = finding.reason
    else:
        why = "whether its situation ever arises is not known"
    return OpenFacts(answer.instance.requirement.id, answer.instance.text, why)


def _equal(answer: AnswerFacts) -> tuple[object, ...]:
    """What two configurations with equal results share."""
    refusals = tuple((one.code, one.message) for one in answer.refusals)
    lists = (answer.failing, answer.open, answer.disputed)
    return answer.result, *(tuple(sorted(one.id for one in those)) for those in lists), refusals, answer.why


def _groups(
    fitted: Sequence[Fitted], answers: Sequence[AnswerFacts], order: Sequence[str]
) -> tuple[tuple[GroupFacts, ...], Mapping[int, int]]:
    alike: dict[tuple[object, ...], list[int]] = {}
    for number, (one, answer) in enumerate(zip(fitted, answers, strict=True), 1):
        alike.setdefault((one.configuration.hold, *_equal(answer)), []).append(number)
    members = sorted(
        alike.values(),
        key=lambda those: (
            fitted[those[0] - 1].configuration.hold,
            RESULTS.index(answers[those[0] - 1].result),
            those[0],
        ),
    )
    found = []
    for number, those in enumerate(members, 1):
        first = answers[those[0] - 1]
        having = {each.tail for one in those for each in fitted[one - 1].aircraft}
        tails = tuple(tail for tail in order if tail in having)
        hold = fitted[those[0] - 1].configuration.hold
        found.append(
            GroupFacts(
                number,
                hold,
                first.result,
                tuple(those),
                tails,
                first.failing,
                first.open,
                first.disputed,
                first.refusals,
                first.why,
            )
        )
    return tuple(found), {one: number for number, those in enumerate(members, 1) for one in those}


def _hold(file: str, title: str, fitted: Sequence[Fitted], answers: Sequence[AnswerFacts]) -> FleetHoldFacts:
    own = [(one, answer) for one, answer in zip(fitted, answers, strict=True) if one.configuration.hold == file]
    told = [answer for _, answer in own if answer.assumptions]
    shared = tuple(
        text for text in (told[0].assumptions if told else ()) if all(text in one.assumptions for one in told)
    )
    checked = sorted({by for _, answer in own for by in answer.checked_by})
    differences = tuple(_differences([(one.configuration, answer) for one, answer in own]))
    aircraft = sum(len(one.aircraft) for one, _ in own)
    return FleetHoldFacts(file, title, aircraft, len(own), differences, shared, tuple(checked))


def _differences(own: Sequence[tuple[Configuration, AnswerFacts]]) -> Iterator[TellingFacts]:
    failing = dict.fromkeys(one.id for _, answer in own for one in answer.failing)
    decided = [(c, answer) for c, answer in own if answer.result in ("holds", "fails")]
    for id in failing:
        having: list[frozenset[str]] = []
        others: list[frozenset[str]] = []
        for configuration, answer in decided:
            breaks = any(one.id == id for one in answer.failing)
            (having if breaks else others).append(configuration.features)
        deferrals = {one for configuration, _ in own for one in configuration.deferrals}
        telling = tell_apart(having, others)
        where = tuple(_wheres(alike, deferrals) for alike in telling.sure)
        yield TellingFacts(id, where, not telling.covers_all)


def _wheres(alike: Sequence[Sequence[Mark]], deferrals: set[str]) -> str:
    """What tells, and what would tell as well."""
    first, *others = [_where(marks, deferrals) for marks in alike]
    if not others:
        return first
    more = f" and {len(others) - MOST_ALIKE} more" if len(others) > MOST_ALIKE else ""
    return f"{first} (or, which tells the same aircraft: {'; '.join(others[:MOST_ALIKE])}{more})"


def _where(marks: Sequence[Mark], deferrals: set[str]) -> str:
    """`'a.yaml' is fitted and 'M3L=lowered' is not deferred`."""
    said = []
    for mark in marks:
        verb = "deferred" if mark.feature in deferrals else "fitted"
        said.append(f"'{mark.feature}' is {verb}" if mark.present else f"'{mark.feature}' is not {verb}")
    return " and ".join(said)
