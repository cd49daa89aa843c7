"""Why something can never be, as it is told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from msgspec import convert

from interlock.report.views.facts import Place, Step, as_reasons
from interlock.report.views.proof_facts import HindranceFacts, NeverFacts, StoryFacts, WithoutFacts

if TYPE_CHECKING:
    from interlock.study.why_never import WhyNever, Without

KINDS_OF_THEM = "contacts, stops of devices, panels, reach, things that are fixed"


def heading_of(never: NeverFacts) -> str:
    """What the list of hindrances begins with."""
    sizes = {len(way.hindrances) for way in never.without}
    if len(never.without) == 1:
        return f"It could be if {'this' if sizes == {1} else 'all of these'} were not so"
    if sizes == {1}:
        return "It could be if any one of these were not so"
    return "It could be if all that stands under one of the numbers were not so"


def account_of(never: NeverFacts) -> str:
    """How far it is proved that nothing else keeps it from being."""
    if not never.without and never.complete_up_to is None:
        return (
            f"No hindrance ({KINDS_OF_THEM}) keeps it from being: it could not be without all {never.hindrances:,} "
            "of them either. Look for what is not there: room on the floor, a device, a drive, a way to it."
        )
    whole = f"the {never.hindrances:,} hindrances of this hold ({KINDS_OF_THEM})"
    if never.complete_up_to is None:
        return f"That is all: no other set of {whole} would do, of whatever size."
    size = never.complete_up_to
    if size == 0:
        return f"There may be more: {never.not_all}."
    number = "no other" if never.without else "no"
    sets = f"single one of {whole}" if size == 1 else f"set of up to {size} of {whole}"
    return f"That is proved: {number} {sets} would do. Larger sets may do as well: {never.not_all}."


def told_with(found: Sequence[NeverFacts]) -> dict[str, str]:
    """Of requirements of which it is told with another: that one's id by their own."""
    return {id: one.requirement for one in found for way in one.without for id in way.also}


def never_facts(why: WhyNever) -> NeverFacts:
    """The same as facts."""
    ways = tuple(map(_without, why.ways))
    return NeverFacts(why.id, ways, why.size, why.reason, why.possible, why.checked_by)


def _without(way: Without) -> WithoutFacts:
    told = tuple(HindranceFacts(one.text, convert(one.span, Place, from_attributes=True)) for one in way.hindrances)
    steps = tuple(Step(one.number, one.actor, one.text, one.responses, one.after) for one in way.story.steps)
    story = StoryFacts(way.story.start, steps, as_reasons(way.story.possible), as_reasons(way.story.reached))
    return WithoutFacts(told, way.steps, story, tuple(instance.requirement.id for instance in way.also))
