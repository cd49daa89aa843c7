"""What to look at first in a procedure, and how the hold is left, as facts and in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated

from msgspec import Meta

from interlock.report.views.facts import Count, Facts, Place, as_place
from interlock.report.views.wording import sentence
from interlock.study.procedure.guilty import Guilty
from interlock.study.procedure.leavings import Leaving

LOOK_FIRST = "Look at first"
LEFT = "The end compared with the start"


class GuiltyFacts(Facts, frozen=True):
    """An action, or the goal, because of which other things are as they were found."""

    action: Annotated[Count | None, Meta(description="from 1; null: the goal")]
    at: Annotated[Place, Meta(description="where it is written")]
    what: Annotated[str, Meta(description="what is wrong with it")]
    instead: Annotated[str, Meta(description="what would do, by trial; may be empty")]
    restores: Annotated[bool, Meta(description="with that, and supplies steady, nothing else is wrong")]


class LeavingFacts(Facts, frozen=True):
    """Something that may be another way at the end than at the start, and of which the goal does not speak."""

    what: Annotated[str, Meta(description="how it is, and how it was")]
    action: Annotated[Count | None, Meta(description="the action, from 1, after which it is so; null: none")]
    grave: Annotated[bool, Meta(description="power on, a lever held, a door not as it was, a person inside")]


def guilty_facts(found: Sequence[Guilty]) -> tuple[GuiltyFacts, ...]:
    """The same as facts."""
    return tuple(GuiltyFacts(one.action, as_place(one.span), one.what, one.instead, one.restores) for one in found)


def leaving_facts(found: Sequence[Leaving]) -> tuple[LeavingFacts, ...]:
    """The same as facts."""
    return tuple(LeavingFacts(one.what, one.action, one.grave) for one in found)


def guilty_words(one: GuiltyFacts, follow: str) -> str:
    """One of them in words; `follow` says what else was found because of it, and may be empty."""
    where = "The goal" if one.action is None else f"Action {one.action}"
    text = f"{where} ({one.at.file}, line {one.at.line}): {sentence(one.what)}"
    if one.instead:
        does = "with that nothing else was found wrong" if one.restores else "with that less is wrong"
        text += f" By trial: {one.instead}; {does}, supplies steady."
        text += " By trial alone: whether it is right is for whoever answers for the procedure."
    return f"{text} {follow}".strip()


def leaving_words(found: Sequence[LeavingFacts]) -> Iterator[str]:
    """How the hold is left otherwise, one sentence each."""
    for one in found:
        yield sentence(one.what + ("" if one.action is None else f" (action {one.action})"))
