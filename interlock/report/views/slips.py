"""What is told of slips, in audits and on checklists alike: how many lead to what, and how few reach each hazard."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Annotated, TypeAlias

from msgspec import Meta

from interlock.diagnostics.said import perhaps_ours, say, say_many
from interlock.report.views.audit_facts import KindWord, Mode, SlipFacts
from interlock.report.views.facts import Count, Facts
from interlock.study.procedure.slip_audit import Effect, SlipAudit, SlipResult
from interlock.study.procedure.slips import TAXONOMY, Slip, SlipKind
from interlock.study.procedure.together import Combination

EFFECT_HEADS = {
    Effect.HAZARD: "hazard",
    Effect.UNNOTICED: "unnoticed",
    Effect.BLOCKED: "blocked",
    Effect.DETECTED: "detected",
    Effect.HARMLESS: "harmless",
}
EFFECTS_EXPLAINED = say(
    "hazard: a requirement can be broken; unnoticed: the work ends without its goal, and no check tells; blocked: the "
    "hold does not let the slip, or a later action, happen; detected: a later check is found not so; harmless: none of "
    "these, in whatever order the equipment acts. Error modes: {taxonomy}.",
    taxonomy=TAXONOMY,
)


_Hazard: TypeAlias = Annotated[Count, Meta(description="a requirement can be broken")]
_Unnoticed: TypeAlias = Annotated[Count, Meta(description="the work ends without its goal, and no check tells")]
_Blocked: TypeAlias = Annotated[Count, Meta(description="the hold does not let it, or a later action, happen")]
_Detected: TypeAlias = Annotated[Count, Meta(description="a later check is found not so")]
_Harmless: TypeAlias = Annotated[Count, Meta(description="none of these")]


class EffectCounts(Facts, frozen=True):
    """How many slips lead to what, at worst; the members are called as in EFFECT_HEADS, in its order."""

    hazard: _Hazard
    unnoticed: _Unnoticed
    blocked: _Blocked
    detected: _Detected
    harmless: _Harmless


class KindFacts(Facts, frozen=True):
    """How many slips of one kind lead to what."""

    kind: Annotated[KindWord, Meta(description="what sort of slip")]
    error_mode: Annotated[Mode, Meta(description="its mode in the taxonomy; null: it has none")]
    hazard: _Hazard
    unnoticed: _Unnoticed
    blocked: _Blocked
    detected: _Detected
    harmless: _Harmless

    @property
    def counts(self) -> tuple[int, ...]:
        """In the order of EFFECT_HEADS."""
        return self.hazard, self.unnoticed, self.blocked, self.detected, self.harmless


def kind_counts(results: Iterable[SlipResult]) -> tuple[KindFacts, ...]:
    """One for each kind of slip that there is."""
    counts = Counter((one.slip.kind, one.effect) for one in results)
    kinds = [kind for kind in SlipKind if any(found is kind for found, _ in counts)]
    return tuple(
        KindFacts(kind.word, kind.mode or None, *(counts[kind, effect] for effect in Effect)) for kind in kinds
    )


def in_stretches(slips: Sequence[SlipFacts]) -> Iterator[tuple[SlipFacts, ...]]:
    """The slips in order, those in a row by which a group is left off and the same goes wrong together."""
    stretch: list[SlipFacts] = []
    for one in slips:
        before = stretch[-1] if stretch else None
        alike = before is not None and (before.kind, before.misses, before.breaks) == (one.kind, one.misses, one.breaks)
        if before is not None and not (alike and one.kind == SlipKind.INCOMPLETE.word):
            yield tuple(stretch)
            stretch = []
        stretch.append(one)
    if stretch:
        yield tuple(stretch)


def effect_counts(slips: SlipAudit) -> EffectCounts:
    """How many slips lead to what."""
    counts = Counter(one.effect for one in slips.results)
    return EffectCounts(*(counts[effect] for effect in Effect))


def followed_text(slips: SlipAudit) -> str:
    """What was followed."""
    single = say_many("{number} single slip", "{number} single slips", len(slips.results))
    if slips.together < 2:
        told = "{single} (pairs were not followed), at {places} points in the procedure"
    elif slips.open:
        told = "{single}, at {places} points in the procedure"
    else:
        told = "{single} and every pair of them, at {places} points in the procedure"
    return say(told, single=single, places=slips.places)


def counted_text(slips: SlipAudit) -> str:
    """How far what was found was checked by other means."""
    counted = slips.counted
    if not counted.together:
        return say(
            "Not counted a second time: {why}. What leads to no hazard was looked for once; every run to a hazard was "
            "replayed.",
            why=counted.why,
        )
    what = say("What comes of each slip")
    if counted.together > 1:
        what = say("What comes of each slip, and which of them break each requirement alone or in pairs,")
    return say(
        "{what} was counted a second time by other means, from the state machine of the procedure ({states} states), "
        "with {result}; every run to a hazard was replayed.",
        what=what,
        states=counted.states,
        result=say("the same result") if counted.agreed else say("ANOTHER RESULT"),
    )


class Fewest(Facts, frozen=True):
    """The fewest slips that break some instance of a requirement text, and every combination of so many, in words."""

    requirement: Annotated[str, Meta(description="its id")]
    hazard: Annotated[str, Meta(description="what its breach can lead to")]
    severity: Annotated[str, Meta(description="the category of the hazard, and of which scheme")]
    slips: Annotated[Count, Meta(description="how few break it")]
    combinations: Annotated[tuple[tuple[str, ...], ...], Meta(description="each set of so many")]


def fewest_rows(slips: SlipAudit, words: Callable[[Slip], str]) -> tuple[Fewest, ...]:
    """One for each instance that up to two slips break, fewest slips first, else in the order of the requirements."""
    found: dict[str, list[Combination]] = {}
    for one in slips.combinations:
        found.setdefault(one.hazard.instance.requirement.id, []).append(one)
    rows = []
    for id, those in found.items():
        number = min(len(one.slips) for one in those)
        origin = those[0].hazard.instance.origin
        smallest = tuple(tuple(map(words, one.slips)) for one in those if len(one.slips) == number)
        rows.append(
            Fewest(
                id,
                perhaps_ours(origin.hazard) or origin.hazard,
                f"{origin.severity} ({origin.scheme})",
                number,
                smallest,
            )
        )
    return tuple(sorted(rows, key=lambda row: row.slips))
