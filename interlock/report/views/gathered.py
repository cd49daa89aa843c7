"""What a study found, point by point, for programs that gather results of many sorts of check and show them."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from interlock.diagnostics.frozen import frozen
from interlock.hold.loader import Part
from interlock.report.views.facts import Place
from interlock.report.views.identification import Identification

MOST_NAMED = 8


class How(StrEnum):
    """How a point came out."""

    FINE = "fine"
    SHOWS_NOTHING = "shows nothing"
    AMISS = "amiss"
    OPEN = "open"
    REJECTED = "rejected"
    DISPUTED = "disputed"


@frozen
class Sort:
    """What points are about.

    `says` is a sentence that is so of every point that is fine; `help` is more about it, each with what it is.
    """

    id: str
    says: str
    help: tuple[tuple[str, str], ...] = ()


@frozen
class Line:
    """A sentence about something that is written `at` a place, where there is one."""

    text: str
    at: Place | None = None


@frozen
class Point:
    """One thing that was asked.

    `id` is unique among those of its sort; `says` is a sentence; `steps` are a run that shows it, `more` is all else
    that is told, in sentences; `line` is that of the file that was studied.
    """

    sort: Sort
    id: str
    how: How
    says: str
    steps: tuple[Line, ...] = ()
    more: tuple[str, ...] = ()
    line: int | None = None


@frozen
class Gathered:
    """All points of one study.

    `command` made it; `file` is what was studied, read for what `part` says; `of` is what it is about beside that, each
    with what it is; `notes` are what is to be said of all points.
    """

    command: str
    file: str
    part: Part
    title: str
    summary: str
    exit_code: int
    sorts: tuple[Sort, ...]
    points: tuple[Point, ...]
    assumptions: Sequence[str]
    cautions: Sequence[str]
    identification: Identification
    of: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
