"""Why something can never be, as it is told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from msgspec import convert

from interlock.diagnostics.said import say
from interlock.report.views.facts import Place, as_reasons, step_facts
from interlock.report.views.proof_facts import HindranceFacts, NeverFacts, StoryFacts, WithoutFacts

if TYPE_CHECKING:
    from interlock.study.why_never import WhyNever, Without

KINDS_OF_THEM = say("contacts, stops of devices, panels, reach, things that are fixed")


def heading_of(never: NeverFacts) -> str:
    """What the list of hindrances begins with."""
    sizes = {len(way.hindrances) for way in never.without}
    if len(never.without) == 1:
        return (
            say("It could be if this were not so") if sizes == {1} else say("It could be if all of these were not so")
        )
    if sizes == {1}:
        return say("It could be if any one of these were not so")
    return say("It could be if all that stands under one of the numbers were not so")


def account_of(never: NeverFacts) -> str:
    """How far it is proved that nothing else keeps it from being."""
    if not never.without and never.complete_up_to is None:
        return say(
            "No hindrance ({kinds}) keeps it from being: it could not be without all {number} of them either. Look for "
            "what is not there: room on the floor, a device, a drive, a way to it.",
            kinds=KINDS_OF_THEM,
            number=never.hindrances,
        )
    whole = say("the {number} hindrances of this hold ({kinds})", number=never.hindrances, kinds=KINDS_OF_THEM)
    if never.complete_up_to is None:
        return say("That is all: no other set of {whole} would do, of whatever size.", whole=whole)
    size = never.complete_up_to
    if size == 0:
        return say("There may be more: {why}.", why=never.not_all)
    if size == 1:
        sets = say("no other single one of {whole}" if never.without else "no single one of {whole}", whole=whole)
    else:
        told = "no other set of up to {size} of {whole}" if never.without else "no set of up to {size} of {whole}"
        sets = say(told, size=size, whole=whole)
    return say("That is proved: {sets} would do. Larger sets may do as well: {why}.", sets=sets, why=never.not_all)


def told_with(found: Sequence[NeverFacts]) -> dict[str, str]:
    """Of requirements of which it is told with another: that one's id by their own."""
    return {id: one.requirement for one in found for way in one.without for id in way.also}


def never_facts(why: WhyNever) -> NeverFacts:
    """The same as facts."""
    ways = tuple(map(_without, why.ways))
    return NeverFacts(why.id, ways, why.size, why.reason, why.possible, why.checked_by)


def _without(way: Without) -> WithoutFacts:
    told = tuple(HindranceFacts(one.text, convert(one.span, Place, from_attributes=True)) for one in way.hindrances)
    steps = tuple(map(step_facts, way.story.steps))
    story = StoryFacts(way.story.start, steps, as_reasons(way.story.possible), as_reasons(way.story.reached))
    return WithoutFacts(told, way.steps, story, tuple(instance.requirement.id for instance in way.also))
