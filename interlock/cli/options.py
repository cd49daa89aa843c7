"""Options that several commands have."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


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


def time_option(use: str) -> Callable[[F], F]:
    """`--time`, in seconds."""
    return click.option("--time", "seconds", type=click.FloatRange(min=0.001), help=use)
