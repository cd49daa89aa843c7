"""A comparison of two holds as it is told, whatever the format."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from msgspec import convert

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Change
from interlock.hold.loader import FileRead, Part
from interlock.kernel.claims import Disputed, Fails, Finding, Holds, Undecided
from interlock.report.views.assumptions import CAUTIONS, assumptions_of
from interlock.report.views.comparison_facts import (
    ComparedHold,
    ComparisonFacts,
    DescriptionChange,
    DifferenceFacts,
    NotOtherwise,
    SameThing,
    StartFacts,
    VerdictChange,
)
from interlock.report.views.facts import PROGRAM, Place, as_reasons
from interlock.report.views.identification import identification
from interlock.report.views.proof import change_facts, story_facts
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of, listed
from interlock.study.comparison.behaviour import Behaviour, Kind, Shown
from interlock.study.comparison.compare import Comparison, Turn, Verdict
from interlock.study.comparison.pairing import Asked, What

COMPARED = (
    "Both holds are taken step by step, from every start that both have, with the same steps of crew, equipment and "
    "failures. A step that one alone can take is where they part: what comes after it is not compared. Steps of things "
    "that only one of them has are taken while the other one waits.",
    "Compared are all steps, and beside them what stands, moves, is latched, driven, powered, set, in charge, secured "
    "or on, of what both have.",
)
"""What the comparison means, beside what both descriptions assume."""
TOLD_TURNS = (Turn.BROKEN, Turn.NEW_FAILS, Turn.OPEN, Turn.MENDED, Turn.STILL_FAILS, Turn.GONE, Turn.NEW)
"""What became of requirements that is told one by one, the gravest first."""
ORDER = (What.OTHERWISE, What.GAINED, What.ON, What.LOST, What.OFF)
"""The sorts of difference in the order in which they are told: what explains others, what is new, what is gone."""


@frozen
class ComparisonView:
    """What is told of a comparison."""

    facts: ComparisonFacts

    @property
    def tone(self) -> Tone:
        """That of the worst that came out."""
        return {0: Tone.GOOD, 1: Tone.BAD, 4: Tone.LOUD}.get(self.facts.exit_code, Tone.OPEN)

    def of(self, what: What) -> tuple[DifferenceFacts, ...]:
        """The differences of that sort, the nearest first."""
        found = (one for one in self.facts.differences if one.what is what)
        return tuple(sorted(found, key=lambda one: one.steps))

    def turned(self, turn: Turn) -> tuple[VerdictChange, ...]:
        """The requirements of which that became."""
        return tuple(one for one in self.facts.verdicts or () if one.turn is turn)

    @property
    def summary(self) -> str:
        """What came out, in a sentence."""
        facts = self.facts
        if facts.disputed is not None:
            return "Two parts of this program contradict each other. Use no result of this run."
        if facts.exit_code == 0:
            return (
                "The two behave the same: no sequence of steps shows a difference. "
                f"Proved, and checked again by {facts.checked_by}."
            )
        if not facts.differences and facts.starts and not facts.open:
            return "The two do the same from every start that both have (proved), but do not start alike."
        if not facts.differences:
            return f"No difference was found, and it is not shown that there is none: {facts.why_open}."
        counted = [f"{what}: {len(found)}" for what in ORDER if (found := self.of(what))]
        rest = f" Of {count_of(len(facts.open), 'kind')} it is not known: {facts.why_open}." if facts.open else ""
        starts = " They do not start alike either." if facts.starts else ""
        none = "" if self.of(What.GAINED) or self.of(What.OTHERWISE) or rest else NOTHING_NEW
        return f"The two behave otherwise (kinds of step or state): {'; '.join(counted)}.{none}{rest}{starts}"

    def groups(self, turn: Turn) -> tuple[tuple[VerdictChange, ...], ...]:
        """The same, those of one text together."""
        by_text: dict[str, list[VerdictChange]] = {}
        for one in self.turned(turn):
            by_text.setdefault(one.from_, []).append(one)
        return tuple(map(tuple, by_text.values()))

    @property
    def turns(self) -> str:
        """How many requirements became what: `failed, holds now: 6; holds in both: 81`."""
        counted = [f"{turn}: {len(found)}" for turn in Turn if (found := self.turned(turn))]
        return "; ".join(counted)


NOTHING_NEW = " No step is newly possible, and none has another outcome: proved."


def comparison_view(
    labels: tuple[str, str],
    comparison: Comparison,
    code: int,
    read: Sequence[FileRead] = (),
    old_read: Sequence[FileRead] = (),
) -> ComparisonView:
    """What is told of it; `labels` are what the reader calls the two.

    `read` are the files that were read for the second, `old_read` those for the first.
    """
    behaviour, pair = comparison.behaviour, comparison.behaviour.pair
    kinds = list(enumerate(behaviour.kinds))
    guessed = set(pair.matching.guessed)
    open_kinds = [kind for _, kind in kinds if isinstance(kind.finding, Undecided)]
    facts = ComparisonFacts(
        1,
        PROGRAM,
        code,
        ComparedHold(labels[0], comparison.old.hold.title, pair.only_old),
        ComparedHold(labels[1], comparison.new.hold.title, pair.only_new),
        tuple(SameThing(a, b, (a, b) in guessed) for a, b in pair.matching.names.items() if a != b),
        tuple(
            DescriptionChange(one.item, convert(one.span, Place, from_attributes=True), one.now, one.was)
            for one in comparison.description
        ),
        tuple(StartFacts("second" if one.second else "first", one.said) for one in pair.starts),
        None if comparison.proofs is None else tuple(map(_verdict, comparison.verdicts)),
        tuple(
            _difference(kind, kind.shown, comparison.causes.get(at, ()), comparison.changes)
            for at, kind in kinds
            if kind.shown is not None
        ),
        _not_otherwise(behaviour),
        tuple(_texts(kind.asked)[0] for kind in open_kinds),
        _why_open(behaviour),
        _checked_by(behaviour),
        next((one.what for one in _findings(behaviour) if isinstance(one, Disputed)), None)
        or ("what is kept once is not the same in both" if isinstance(behaviour.once, Fails) else None),
        (*COMPARED, *_assumptions(comparison.old, comparison.new)),
        CAUTIONS,
        identification(_files(read, old_read)),
    )
    return ComparisonView(facts)


def _files(read: Sequence[FileRead], old_read: Sequence[FileRead]) -> Iterator[FileRead]:
    """What the second was read from, then what of the first; what the second modifies may be the first, and is told so.

    The first is told apart from the second.
    """
    compared = [replace(one, part=Part.COMPARED) if one.part is Part.DESCRIPTION else one for one in old_read]
    known = {(one.name, one.sha256) for one in compared}
    yield from (one for one in read if one.part is not Part.MODIFIED or (one.name, one.sha256) not in known)
    yield from compared


def _findings(behaviour: Behaviour) -> tuple[Finding, ...]:
    return (behaviour.start, behaviour.once, *(kind.finding for kind in behaviour.kinds))


def _why_open(behaviour: Behaviour) -> str:
    if isinstance(behaviour.start, Holds):
        return "there is no state in which both can start, so that nothing was compared"
    reasons = [one.reason for one in _findings(behaviour) if isinstance(one, Undecided)]
    return listed(list(dict.fromkeys(reasons)))


def _checked_by(behaviour: Behaviour) -> str:
    return listed(sorted({one.checked_by for one in _findings(behaviour) if isinstance(one, Holds)}))


def _assumptions(old: CompiledHold, new: CompiledHold) -> list[str]:
    """Of both; what is assumed of one alone says so."""
    ours, theirs = assumptions_of(old), assumptions_of(new)
    both = [text for text in theirs if text in ours]
    first = [f"The first hold alone: {text}" for text in ours if text not in theirs]
    return [*both, *first, *(f"The second hold alone: {text}" for text in theirs if text not in ours)]


def _verdict(one: Verdict) -> VerdictChange:
    answer = one.new or one.old
    assert answer is not None  # noqa: S101 -- a requirement is in one of them
    origin = answer.instance.origin
    failing = one.new if one.turn in (Turn.BROKEN, Turn.NEW_FAILS) else None
    story = None if failing is None or failing.story is None else story_facts(failing.story)
    return VerdictChange(
        one.id,
        origin.id,
        answer.instance.text,
        origin.hazard,
        origin.severity,
        origin.scheme,
        one.turn,
        None if one.old is None else one.old.status,
        None if one.new is None else one.new.status,
        story,
    )


def _difference(
    kind: Kind, shown: Shown, causes: Sequence[frozenset[int]], changes: Sequence[Change]
) -> DifferenceFacts:
    others = tuple(one for one in kind.members if one is not shown.asked)
    return DifferenceFacts(
        kind.what,
        shown.asked.said,
        _texts(others),
        _texts(kind.open),
        len(shown.run.rules),
        shown.shortest,
        "second" if shown.in_second else "first",
        story_facts(shown.story),
        shown.then,
        shown.then_in_other,
        as_reasons(shown.why),
        as_reasons(shown.why_not),
        tuple(tuple(change_facts(one) for one in changes if one.item in items) for items in causes),
    )


def _texts(asked: Sequence[Asked]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one.said for one in asked))


def _not_otherwise(behaviour: Behaviour) -> tuple[NotOtherwise, ...]:
    found: dict[What, list[Asked]] = {}
    for kind in behaviour.kinds:
        if isinstance(kind.finding, Holds):
            found.setdefault(kind.what, []).extend(kind.asked)
    return tuple(NotOtherwise(what, _texts(found[what])) for what in ORDER if what in found)
