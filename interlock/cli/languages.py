"""`--language`: sheets in other languages."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from interlock.cli.reading import read_source
from interlock.cli.session import Session
from interlock.diagnostics.visible import visible

if TYPE_CHECKING:
    from interlock.report.translation import Translation

F = TypeVar("F", bound=Callable[..., Any])
ENDING = ".po"


def language_option(function: F) -> F:
    """`--language`."""
    return click.option(
        "--language",
        default="en",
        show_default=True,
        metavar="CODE",
        help="Tell it in this language: 'de' comes with the program, or a catalogue of messages (FILE.po).",
    )(function)


def chosen_language(name: str, asked: Session) -> Translation:
    """The language of that name, or of that file.  Raises click.UsageError; what cannot be used of a file is told."""
    from interlock.report.translation import ENGLISH

    if name != ENGLISH.code and "language" not in asked.shape.takes:
        raise click.UsageError(f"--language: what comes as {asked.shape.name} is for programs, and has one language.")
    return language_of(name)


def language_of(name: str) -> Translation:
    """The same, for whatever is told in it."""
    from interlock.report.translation import ENGLISH, SHIPPED, BadCatalogue, Catalogue, shipped

    if name == ENGLISH.code:
        return ENGLISH
    if name in SHIPPED:
        return shipped(name)
    if not name.endswith(ENDING):
        known = ", ".join((ENGLISH.code, *SHIPPED))
        raise click.UsageError(
            f"--language: there is no language {name!r}, only {known}, or a file that ends in {ENDING}."
        )
    source = read_source(name)
    try:
        found = Catalogue(source.content, source.name)
    except BadCatalogue as fault:
        raise click.UsageError(f"--language: {fault}.") from fault
    for line, message in found.unusable:
        click.echo(visible(f"{source.name}:{line}: not used, as its places are not those of: {message}"), err=True)
    return found
