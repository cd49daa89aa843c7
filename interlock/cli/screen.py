"""What goes to standard output or to a file, with or without colours."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any, TypeVar

import click

from interlock.cli.stopping import unheard
from interlock.report.text.lines import Line, Tone, as_text

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


def _writable(ctx: click.Context, param: click.Parameter, output: Path | None) -> Path | None:
    """The file, if its folder is there: to be told after an hour of proving would be late."""
    if output is not None and str(output) != "-" and not os.access(output.parent, os.W_OK | os.X_OK):
        why = "its folder cannot be written to" if output.parent.is_dir() else "there is no such folder"
        raise click.UsageError(f"Cannot write {output}: {why}.")
    return output


def output_option(function: F) -> F:
    """`--output`."""
    return click.option(
        "-o",
        "--output",
        type=click.Path(dir_okay=False, path_type=Path),
        callback=_writable,
        help="Write the result to this file instead of standard output.",
    )(function)


class Screen:
    """Takes results in order; a file is written at the end, whole or not at all."""

    def __init__(self, output: Path | None, color: str) -> None:
        self.output = None if output is None or str(output) == "-" else output
        self._kept: list[str] = []
        self._colored = color == "always" or (
            color == "auto"
            and sys.stdout.isatty()
            and not os.environ.get("NO_COLOR")
            and os.environ.get("TERM") != "dumb"
        )

    def lines(self, lines: Iterable[Line]) -> None:
        """Shows the lines."""
        if self.output is not None:
            self._kept.append(as_text(lines))
            return
        for line in lines:
            style = _STYLES.get(line.tone) if self._colored else None
            text = click.style(line.text, **style) if style and line.text else line.text
            click.echo(text.rstrip(), color=self._colored)

    def text(self, text: str) -> None:
        """Shows a text that carries its own line ends."""
        if self.output is not None:
            self._kept.append(text)
        else:
            click.echo(text, nl=False, color=self._colored)

    def give_up(self) -> None:
        """Leaves the file unwritten, and an old one of that name as it is: there is no result of the kind wanted."""
        self.output = None

    def close(self) -> None:
        """Writes the file, if there is one.  Raises click.ClickException where that cannot be done."""
        if self.output is not None:
            text = "".join(self._kept)
            try:
                write_whole(self.output, text)
            except click.ClickException:
                # the result of long work goes somewhere at least
                click.echo(text, nl=False, color=False)
                raise


def write_whole(path: Path, text: str) -> None:
    """Writes the file so that it is never seen half-written; an old one of that name is replaced.

    A link stays a link, and what is no file (a pipe, a device) is written to as it is: nothing takes its place.
    """
    part: Path | None = None
    try:
        path = path.resolve()
        if path.exists() and not path.is_file():
            path.write_text(text, encoding="utf-8", newline="\n")
            return
        with unheard():
            with NamedTemporaryFile(
                "w", encoding="utf-8", newline="\n", dir=path.parent, prefix=".part-", delete=False
            ) as file:
                part = Path(file.name)
                file.write(text)
            mode = 0o666 & ~_umask()
            part.chmod(mode)
            part.replace(path)
    except BaseException as fault:
        if part is not None:
            part.unlink(missing_ok=True)
        if not isinstance(fault, OSError):
            raise
        raise click.ClickException(f"cannot write {path}: {fault.strerror or fault}") from fault


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
