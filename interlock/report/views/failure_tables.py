"""The tables of an analysis of failures that a reviewer reads and signs: by severity, by what fails, by requirement."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.report.views.failure_likes import MOST_PLACES, Following, LikeRow
from interlock.report.views.failure_rates import figure, likely_of
from interlock.report.views.failures import SIZES, FailuresView, SetGroup, SetView, at_least, sets_left, size_known
from interlock.report.views.failures_facts import BrokenFacts, FailureItem, SetFacts
from interlock.report.views.wording import count_of, listed, sentence, shortened

BY_FAILURE = "What each failure does"
BY_REQUIREMENT = "What breaks each requirement"
BY_RATE = "Rates and exposures that were given"
BY_SEVERITY = "How much breaks, by severity"
EXPLAINED = (
    "Effect on the item and how it is noticed are what the catalogue says of such items in general: review them for "
    "this hold. That a failure can be noticed does not say that it is before another strikes.",
    "A set is listed where all of its failures together break a requirement and no fewer of them do; so nothing is "
    "listed for what is broken although nothing fails. Sets are as "
    "independent as the description makes them: what one event can do to several items is reckoned with only where "
    "it is described as a common cause.",
)
"""What a reader of the tables must know."""
_MORE = {1: "a second failure", 2: "a third failure", 3: "a fourth failure"}


@frozen
class SeverityRow:
    """Of the requirements of one severity: how many were asked, and how many sets of each group break any of them.

    Where nothing needs to fail, the requirements are counted and not the sets.  `open` says of how many sets it is
    not known whether they break one, counted for each requirement; nothing where there is none.
    """

    severity: str
    asked: int
    counts: tuple[tuple[SetGroup, int], ...]
    open: str


@frozen
class BrokenLine:
    """A text of a requirement that breaks, and at how many of its places."""

    severity: str
    text: str
    fewest: int
    most: int

    @property
    def said(self) -> str:
        """The text and, where that is more than one, the number."""
        if self.most < 2:
            return self.text
        number = f"{self.most}" if self.fewest == self.most else f"{self.fewest} to {self.most}"
        return f"{self.text} ({number} places)"


@frozen
class Effect:
    """What some failures do: `beside` says alone or with which others, `lines` which requirements then break."""

    beside: str
    lines: tuple[BrokenLine, ...]

    @property
    def broken(self) -> tuple[str, ...]:
        """The lines in words, those of one severity together."""
        alike = groupby(self.lines, key=lambda line: line.severity)
        return tuple(f"severity {severity}: {', '.join(one.said for one in lines)}" for severity, lines in alike)


@frozen
class ItemRow:
    """Items that fail in one way and of which the same is to be said; `rest` is what else is known of them."""

    names: tuple[str, ...]
    effects: tuple[Effect, ...]
    rest: str


@frozen
class ModeTable:
    """One way in which one sort of item fails; `known` is what is known of it in general, by one item of the sort."""

    known: FailureItem
    rows: tuple[ItemRow, ...]


@frozen
class SetRow:
    """A set of failures in words; `places` says of which of several instances it is a smallest one.

    `probability` is that all of them have struck.
    """

    said: str
    places: str
    probability: str


@frozen
class RequirementTable:
    """What breaks the instances of one text of a requirement; `first` is the first of `asked` instances.

    `alike` has the same sets as `groups`, like ones told together.
    """

    first: BrokenFacts
    asked: int
    groups: tuple[tuple[SetGroup, tuple[SetRow, ...]], ...]
    alike: tuple[tuple[SetGroup, tuple[LikeRow, ...]], ...]
    rest: str
    likely: str

    @property
    def short(self) -> str:
        """How many sets of each group break any of them, and whether there are others."""
        counted = [count_of(len(rows), group.noun) for group, rows in self.groups if group.size]
        likely = f" Probability: {self.likely}." if self.likely else ""
        already = "Broken although nothing fails. " if len(counted) < len(self.groups) else ""
        return (already + (f"Broken by {listed(counted)}. " if counted else "") + self.rest).rstrip() + likely


def by_severity(view: FailuresView) -> tuple[SeverityRow, ...]:
    """The gravest first."""
    rows = []
    size = view.size
    for severity in sorted({one.severity for one in view.facts.requirements}):
        asked = [one for one in view.facts.requirements if one.severity == severity]
        counts = []
        for group in view.groups:
            hits = [sum(broken.severity == severity for broken, _ in one.breaks) for one in view.of_group(group)]
            counts.append((group, sum(map(bool, hits)) if group.size else sum(hits)))
        left = sets_left(asked, size) or ("some" if at_least(asked, size) else "")
        rows.append(SeverityRow(severity, len(asked), tuple(counts), left))
    return tuple(rows)


def severity_heads(view: FailuresView) -> tuple[str, ...]:
    """What the numbers of a row are of, those of the groups between the first and the last."""
    return ("Requirements", *(group.title for group in view.groups), "Not settled")


def identification(view: FailuresView) -> Iterator[tuple[str, str]]:
    """What was analysed, how far, and what is not in it."""
    facts = view.facts
    yield "Description", facts.description
    yield "May fail", f"{count_of(len(facts.failures), 'way')} to fail, at any time, none must"
    yield (
        "Asked",
        f"{count_of(len(facts.requirements), 'requirement')}, up to {count_of(facts.size, 'failure')} together",
    )
    if facts.rates_from is not None:
        rated = f"{len(facts.rates)} of {count_of(len(facts.failures), 'way')} to fail"
        yield "Rates", f"{facts.rates_from}: of {rated}, for the rest no figure"
    if facts.left_out:
        yield "Not asked", f"{', '.join(facts.left_out)}, as they say what can be done"
    yield "Severities", "; ".join(sorted({one.scheme for one in facts.requirements}))
    yield "Completeness", view.completeness


def length_of(one: SetFacts) -> str:
    """How long the run is that is told of a set, and whether a shorter one may exist."""
    among = ", with what fails" if one.failures else ""
    end = "No shorter sequence of steps does." if one.shortest else "A shorter one may exist."
    return f"{count_of(one.steps, 'step')}{among}. {end}"


RATE_HEADS = ("Failures", "Rate", "Exposure", "Probability", "Source")


def by_rate(view: FailuresView) -> tuple[tuple[str, ...], ...]:
    """Every rate that was used, in the order of the failures; those with the same figures and source together."""
    rows: dict[tuple[str, ...], list[str]] = {}
    for one in view.facts.rates:
        hours = f"{figure(one.rate)} per {one.per}", f"{one.exposure:g} {one.per}s"
        rows.setdefault((*hours, figure(one.probability), one.source), []).append(view.said_of((one.failure,)))
    return tuple(("; ".join(said), *told) for told, said in rows.items())


def severity_words(row: SeverityRow) -> str:
    """A row as a sentence."""
    broken = [count_of(number, group.noun) for group, number in row.counts if group.size and number]
    already = sum(number for group, number in row.counts if not group.size)
    told = [f"broken by {listed(broken)}"] if broken else []
    told += [f"{already} {'is' if already == 1 else 'are'} broken although nothing fails"] if already else []
    told += [f"{row.open} not settled"] if row.open else []
    return f"{count_of(row.asked, 'requirement')}; {'; '.join(told) or 'nothing was found that breaks one'}."


def by_failure(view: FailuresView) -> tuple[ModeTable, ...]:
    """Every failure that was reckoned with, in the order of the hold, those of one sort and mode together."""
    having: dict[str, list[SetView]] = {}
    for one in view.sets:
        for id in one.failures:
            having.setdefault(id, []).append(one)
    modes: dict[tuple[str, str], list[FailureItem]] = {}
    for item in view.facts.failures:
        modes.setdefault((item.item, item.mode), []).append(item)
    tables, following = [], Following(view)
    for items in modes.values():
        rows: dict[_Alike, list[tuple[str, tuple[Effect, ...]]]] = {}
        for item in items:
            effects = tuple(_effects(view, item, having.get(item.id, ())))
            texts = tuple((one.beside, tuple(line.text for line in one.lines)) for one in effects)
            rows.setdefault((texts, _rest(view, item, item.id in having)), []).append((item.id, effects))
        made = (
            ItemRow(following.names([id for id, _ in alike]), _together([own for _, own in alike]), rest)
            for (_, rest), alike in rows.items()
        )
        tables.append(ModeTable(items[0], tuple(sorted(made, key=lambda row: not row.effects))))
    return tuple(tables)


_Alike: TypeAlias = tuple[tuple[tuple[str, tuple[str, ...]], ...], str]
"""What is to be said of items in the same words: their effects but for how many places, and the rest."""


def _together(every: Sequence[tuple[Effect, ...]]) -> tuple[Effect, ...]:
    """The effects of items that break the same: of each text the fewest and the most places."""
    return tuple(
        Effect(
            same[0].beside,
            tuple(
                BrokenLine(own[0].severity, own[0].text, min(one.fewest for one in own), max(one.most for one in own))
                for own in zip(*(one.lines for one in same), strict=True)
            ),
        )
        for same in zip(*every, strict=True)
    )


def by_requirement(view: FailuresView) -> tuple[RequirementTable, ...]:
    """Every text of a requirement that was asked about, the gravest first."""
    texts = groupby(view.facts.requirements, key=lambda one: one.from_)
    following = Following(view)
    tables = (_requirement(view, following, tuple(asked)) for _, asked in texts)
    return tuple(sorted(tables, key=lambda one: one.first.severity))


def _effects(view: FailuresView, item: FailureItem, sets: Sequence[SetView]) -> Iterator[Effect]:
    """Alone first, then with the fewest others; what others do the same beside it are told together."""
    found: dict[tuple[int, tuple[BrokenLine, ...]], list[str]] = {}
    for one in sets:
        others = [id for id in one.failures if id != item.id]
        broken = tuple(broken_lines(one))
        found.setdefault((len(others), broken), []).append(f"with: {view.said_of(others)}" if others else "alone")
    for (_, broken), besides in sorted(found.items(), key=lambda pair: pair[0][0]):
        yield Effect("; or ".join(besides), broken)


def broken_lines(one: SetView) -> Iterator[BrokenLine]:
    """Each text of a requirement that a set breaks, the gravest first, and of how many places."""
    texts: dict[tuple[str, str], int] = {}
    for broken, _ in one.breaks:
        key = broken.severity, broken.from_
        texts[key] = texts.get(key, 0) + 1
    for (severity, text), number in texts.items():
        yield BrokenLine(severity, text, number, number)


def _rest(view: FailuresView, item: FailureItem, breaks: bool) -> str:
    """What is known of a failure beside the sets in which it is."""
    known, asked = view.known_of(item.id), view.size
    if known < 1:
        return "Not settled whether it breaks anything" + (" else." if breaks else ".")
    beyond = "; of more not settled" if known < asked else ""
    if known > 1:
        return f"In no{' other' if breaks else ''} set of at most {known} failures{beyond}."
    return "" if breaks and not beyond else f"Breaks nothing {'else ' if breaks else ''}by itself{beyond}."


def _requirement(view: FailuresView, following: Following, asked: Sequence[BrokenFacts]) -> RequirementTable:
    places: dict[tuple[str, ...], list[str]] = {}
    for one in asked:
        for broken in one.sets:
            places.setdefault(broken.failures, []).append(" with ".join(one.about))
    groups = tuple((group, tuple(_rows(view, group, places, len(asked)))) for group in view.groups)
    return RequirementTable(
        asked[0],
        len(asked),
        tuple(pair for pair in groups if pair[1]),
        tuple((group, following.rows(view, group, asked)) for group, rows in groups if rows),
        _known(view, asked),
        likely_of(view.facts, asked[0].from_),
    )


def _rows(
    view: FailuresView, group: SetGroup, places: Mapping[tuple[str, ...], Sequence[str]], asked: int
) -> Iterator[SetRow]:
    for one in view.of_group(group):
        found = places.get(one.failures, ())
        if found:
            which = shortened(found, MOST_PLACES) or "the hold"
            if len(found) < asked:
                which = f"{len(found)} of {asked}: {which}"
            yield SetRow(
                view.said_of(one.failures), "all" if len(found) == asked > 1 else which, figure(one.probability)
            )


def _known(view: FailuresView, asked: Sequence[BrokenFacts]) -> str:
    """How far the sets of these requirements are all there are."""
    if any(one.disputed is not None for one in asked):
        return "DISPUTED: use nothing that is said of this requirement."
    if all(not broken.failures for one in asked for broken in one.sets) and all(one.sets for one in asked):
        return ""
    most = size_known(asked)
    found = any(one.sets for one in asked)
    wanted = view.size
    if most >= wanted:
        noun = "single failure" if wanted == 1 else f"set of at most {wanted} failures"
        return f"There is no other {noun}." if found else f"There is no {noun} that breaks it."
    left = sets_left(asked, wanted)
    more = f" {sentence(f'{left} could not be settled')}" if left else ""
    if most > 0:
        none = "no others" if found else "none"
        return f"NOT complete. Of {SIZES[most]} there are {none}; of larger sets there may be.{more}"
    return f"NOT complete. There may be {'others' if found else 'some'}.{more}"
