"""Options that several commands have."""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite
from time import monotonic
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])

MOST_SECONDS = 1e9
"""Thirty years: what is more than that no clock of a solver takes."""


def situation_option(function: F) -> F:
    """`--from`."""
    return click.option(
        "--from", "situation", metavar="SITUATION", help="Start from this situation of the description."
    )(function)


def requirements_option(use: str) -> Callable[[F], F]:
    """`--requirements`, which may be repeated; `use` says what becomes of them."""
    return click.option("--requirements", "files", multiple=True, metavar="FILE", help=f"{use} May be repeated.")


def standing_option(verb: str) -> Callable[[F], F]:
    """`--standing`; `verb` says what is done with them."""
    return click.option(
        "--standing/--no-standing", default=True, help=f"{verb} the standing requirements, or leave them out."
    )


def only_option(function: F) -> F:
    """`--only`."""
    return click.option("--only", multiple=True, metavar="ID", help="Ask only this requirement. May be repeated.")(
        function
    )


def catalogue_option(function: F) -> F:
    """`--catalogue`."""
    return click.option(
        "--catalogue", metavar="FILE", help="Take what can fail from this file in place of the standing one."
    )(function)


def time_option(use: str) -> Callable[[F], F]:
    """`--time`, in seconds."""
    return click.option(
        "--time", "seconds", metavar="SECONDS", type=click.FloatRange(min=0.001), callback=_finite, help=use
    )


def seconds_left(seconds: float | None, began: float) -> float | None:
    """What is left of `--time` when it began to run then, by `time.monotonic`; always a moment, so that all is told."""
    return None if seconds is None else max(0.001, seconds - (monotonic() - began))


def _finite(ctx: click.Context, param: click.Parameter, seconds: float | None) -> float | None:
    """The number, or what comes to the same as a very large one; what is none, or has no end, cannot be kept to."""
    if seconds is not None and not isfinite(seconds):
        raise click.BadParameter("give a number of seconds; without this option there is no limit.")
    return None if seconds is None else min(seconds, MOST_SECONDS)
