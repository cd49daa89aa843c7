"""What goes to standard output or to a file, with or without colours."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from interlock.cli.exit_codes import DONE
from interlock.cli.files import check_file, write_whole
from interlock.cli.formats import Content
from interlock.report.text.lines import Tone, as_text

F = TypeVar("F", bound=Callable[..., Any])

_STYLES: dict[Tone, dict[str, Any]] = {
    Tone.HEAD: {"bold": True},
    Tone.GOOD: {"fg": "green"},
    Tone.BAD: {"fg": "red", "bold": True},
    Tone.OPEN: {"fg": "yellow"},
    Tone.LOUD: {"fg": "white", "bg": "red", "bold": True},
    Tone.FAINT: {"dim": True},
}


def color_option(function: F) -> F:
    """`--color`."""
    return click.option(
        "--color",
        type=click.Choice(["auto", "always", "never"]),
        default="auto",
        show_default=True,
        help="Colours; 'auto' uses them on a terminal unless NO_COLOR is set.",
    )(function)


def _checked(ctx: click.Context, param: click.Parameter, output: Path | None) -> Path | None:
    """The file, if it can be written: to be told after an hour of proving would be late."""
    if output is None or str(output) == "-":
        return None
    check_file(output)
    return output


def output_option(function: F) -> F:
    """`--output`."""
    return click.option(
        "-o",
        "--output",
        type=click.Path(dir_okay=False, path_type=Path),
        callback=_checked,
        help="Write the result to this file instead of standard output.",
    )(function)


def show_whole(content: Content, output: Path | None, color: str = "never") -> int:
    """Shows a result that is known as a whole; gives the code of success.  Raises as `Screen` does."""
    screen = Screen(output, color)
    screen.show(content)
    screen.close()
    return DONE


class Screen:
    """Takes results in order; a file is written at the end, whole or not at all.

    Made once everything is read and before the work begins: raises click.UsageError where the file is one of those.
    """

    def __init__(self, output: Path | None, color: str = "never") -> None:
        if output is not None:
            check_file(output)
        self.output = output
        self._kept: list[bytes] = []
        self._colored = color == "always" or (
            color == "auto"
            and sys.stdout.isatty()
            and not os.environ.get("NO_COLOR")
            and os.environ.get("TERM") != "dumb"
        )

    def show(self, content: Content) -> None:
        """Takes the next part of the result, which carries its own line ends where it is no lines."""
        if self.output is not None and not isinstance(content, str | bytes):
            content = as_text(content)
        if isinstance(content, str | bytes):
            # for programs: UTF-8 everywhere
            encoded = content if isinstance(content, bytes) else content.encode("utf-8", "backslashreplace")
            if self.output is not None:
                self._kept.append(encoded)
            else:
                click.echo(encoded, nl=False)
        else:
            for line in content:
                style = _STYLES.get(line.tone) if self._colored else None
                text = click.style(line.text, **style) if style and line.text else line.text
                click.echo(text.rstrip(), color=self._colored)

    def close(self) -> None:
        """Writes the file, if there is one.  Raises click.ClickException where that cannot be done."""
        if self.output is not None:
            content = b"".join(self._kept)
            try:
                write_whole(self.output, content)
            except click.ClickException:
                # the result of long work goes somewhere at least
                click.echo(content, nl=False)
                raise
