"""What is told of studies, as facts: values whose fields are the members of the results for other programs.

JSON is these values written down, and its schemas are derived from these declarations (`interlock.report.json`); text,
Markdown and pages lay them out.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Literal, TypeAlias

from msgspec import Meta, Struct, convert

from interlock import __version__
from interlock.hold.tell import ToldStep
from interlock.kernel.machine import Actor

if TYPE_CHECKING:
    from interlock.hold.compile.requirements import Instance

Count: TypeAlias = Annotated[int, Meta(ge=0)]
Texts: TypeAlias = tuple[str, ...]
ExitCode: TypeAlias = Annotated[int, Meta(extra_json_schema={"enum": [0, 1, 3, 4]})]


class Facts(Struct, frozen=True, forbid_unknown_fields=True):
    """A frozen value whose schema allows no further member."""


class Program(Facts, frozen=True):
    """What wrote the result."""

    name: Annotated[Literal["interlock"], Meta(description="this program")]
    version: Annotated[str, Meta(description="its version")]


PROGRAM = Program("interlock", __version__)


class ResultFacts(Facts, frozen=True):
    """What a result for other programs begins with, in its first layout."""

    schema: Annotated[Literal[1], Meta(description="counts up when a reader of the old layout would go wrong")]
    program: Annotated[Program, Meta(description="what wrote this")]


class AskedFacts(Facts, frozen=True):
    """A requirement: how it is called, what it asks for, and what its breach would mean."""

    id: Annotated[str, Meta(description="unique in the hold")]
    from_: Annotated[str, Meta(description="the id of its text")]
    text: Annotated[str, Meta(description="what it asks for")]
    hazard: Annotated[str, Meta(description="what its breach can lead to")]
    severity: Annotated[str, Meta(description="the category of the hazard")]
    scheme: Annotated[str, Meta(description="the scheme of the categories")]


def what_is_asked(instance: Instance) -> tuple[str, str, str, str, str, str]:
    """The members of `AskedFacts` of a requirement, in their order."""
    origin = instance.origin
    return instance.requirement.id, origin.id, instance.text, origin.hazard, origin.severity, origin.scheme


class Reason(Facts, frozen=True):
    """A sentence that is so in a state, and the sentences that make it so."""

    text: Annotated[str, Meta(description="what is so")]
    because: Annotated[tuple[Reason, ...], Meta(description="what makes it so")]


def as_reasons(reasons: Sequence[object]) -> tuple[Reason, ...]:
    """The reasons that a study gives, as facts."""
    return convert(reasons, tuple[Reason, ...], from_attributes=True)


class Place(Facts, frozen=True):
    """A stretch of one line of a file."""

    file: Annotated[str, Meta(description="as it was named")]
    line: Annotated[Count, Meta(description="counts from 1")]
    column: Annotated[Count, Meta(description="counts from 1, in code points")]
    length: Annotated[Count, Meta(description="in code points")]


class Step(Facts, frozen=True):
    """One step of a run."""

    number: Annotated[Count, Meta(description="counts from 1")]
    actor: Annotated[Actor, Meta(description="who or what acts")]
    text: Annotated[str, Meta(description="what happens")]
    responses: Annotated[tuple[str, ...], Meta(description="what the mechanism then does by itself")]
    after: Annotated[tuple[str, ...], Meta(description="what has changed after it")]
    at: Annotated[
        Place | None, Meta(description="where the action is written, or what acts or is acted upon; null: no one place")
    ]


class RunStep(Step, frozen=True):
    """One step of a run of a procedure."""

    action: Annotated[Count | None, Meta(description="the action, from 1, that it is part of; null: of none")]
    slip: Annotated[str | None, Meta(description="what goes wrong in it")]


class Run(Facts, frozen=True):
    """Steps from the start of a procedure, and why the end is what it is."""

    steps: Annotated[tuple[RunStep, ...], Meta(description="in order")]
    because: Annotated[tuple[Reason, ...], Meta(description="why the last state is what it is")]


def as_run(run: object) -> Run:
    """A run that a study tells, as facts."""
    return convert(run, Run, from_attributes=True)


class WayStep(Facts, frozen=True):
    """One step of a way out."""

    actor: Annotated[Actor, Meta(description="who or what acts")]
    text: Annotated[str, Meta(description="what happens")]


class WayOut(Facts, frozen=True):
    """Steps by any means that the hold allows."""

    steps: Annotated[tuple[WayStep, ...], Meta(description="in order; none: what is wanted is so already")]
    breaks: Annotated[tuple[str, ...], Meta(description="the requirements that are broken on the way")]


def as_place(span: object) -> Place:
    """Where something is written, as a fact."""
    return convert(span, Place, from_attributes=True)


def step_facts(one: ToldStep) -> Step:
    """A step in words, as facts."""
    at = None if one.at is None else as_place(one.at)
    return Step(one.number, one.actor, one.text, one.responses, one.after, at)
