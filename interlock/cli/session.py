"""What commands that study a hold have in common: their options, and the course of a call from files to result."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any, Protocol

import click

from interlock.cli.formats import Format, chosen_format, format_option
from interlock.cli.options import requirements_option, seconds_left, standing_option, time_option
from interlock.cli.screen import Screen, color_option, output_option
from interlock.diagnostics.frozen import frozen

if TYPE_CHECKING:
    from interlock.cli.opening import Opened, Texts
    from interlock.cli.stopping import Stop
    from interlock.hold.language.model import Hold
    from interlock.kernel.claims import Limits, ProgressCallback


class View(Protocol):
    """One value with all that is told of a study; its facts are the JSON result."""

    @property
    def facts(self) -> object: ...


@frozen
class Session:
    """One call of a command that studies a hold, by what the options say that all such commands have.

    `began` is when, by `time.monotonic`.
    """

    files: tuple[str, ...]
    standing: bool
    situation: str | None
    seconds: float | None
    shape: Format
    output: Path | None
    verbose: bool
    color: str
    began: float

    def texts(self) -> Texts:
        """The requirement texts that were asked for.  Raises as `open_texts` and `usable` do."""
        from interlock.cli.opening import open_texts
        from interlock.cli.refusals import usable

        return usable("requirements", open_texts(self.files, self.standing))

    def open(self, name: str, texts: Texts, prepare: Callable[[Hold], Hold] | None = None) -> Opened:
        """The hold of that name; what is compiled is what `prepare` makes of it.  Raises as `usable_hold` does."""
        from interlock.cli.refusals import usable_hold

        return usable_hold(name, texts, self.situation, prepare)

    def left(self) -> float | None:
        """The seconds that are left of `--time`."""
        return seconds_left(self.seconds, self.began)

    @contextmanager
    def work(self) -> Iterator[Work]:
        """While this is open, Ctrl-C ends what is at work in order.

        Opened once everything is read: raises click.UsageError where the result would replace a file that was read.
        """
        from interlock.cli.stopping import noted_stop

        screen = Screen(self.output, self.color)
        with noted_stop() as stop:
            yield Work(self, screen, stop)


@frozen
class Work:
    """The long part of a session, and the telling of what came of it."""

    session: Session
    screen: Screen
    stop: Stop

    def limits(self, part: float = 1.0) -> Limits:
        """That part of the time that is left, and the wish to stop."""
        from interlock.kernel.claims import Limits

        left = self.session.left()
        return Limits(seconds=None if left is None else part * left, stop=self.stop.is_asked)

    @contextmanager
    def shown(self, label: str, *, quiet: bool = False) -> Iterator[ProgressCallback]:
        """While this is open, what goes on is shown to those who wait, and who asks twice to stop ends it at once."""
        from interlock.cli.progress import shown_progress

        with self.stop.tearing(), shown_progress(label, quiet) as report:
            yield report

    def took(self) -> float:
        """The seconds since the call began."""
        return monotonic() - self.session.began

    def show(self, view: View, **more: object) -> float:
        """The result, in the format that was asked for; `more` are parts of it that only this command has.

        Gives the seconds since the call began, as it is told.
        """
        took = self.took()
        parts = {"view": view, "facts": view.facts, "verbose": self.session.verbose, "seconds": took}
        self.screen.show(self.session.shape.render({**parts, **more}))
        self.screen.close()
        return took


def told_instead(report: str) -> None:
    """Shows the report to people where a modification was asked for and there is none; nothing is written."""
    click.echo(report, err=True, nl=False)
    click.echo("No modification is written: nothing was found that one could declare.", err=True)


def study_options(
    command: str, use: str, verb: str, *, time: str, verbose: str | None
) -> Callable[[Callable[..., int]], Callable[..., int]]:
    """The options of a command that studies a hold; in place of them its function takes a `Session`, first.

    `use` says what becomes of requirements that are given, `verb` what is done with the standing ones; `time`
    and `verbose` are the help of `--time` and `--verbose`; a command that writes nothing to a
    terminal, `verbose` None, has neither `--verbose` nor `--color`.  What only this command asks stands above this,
    `--from` among it.
    """
    told = () if verbose is None else (click.option("-v", "--verbose", is_flag=True, help=verbose), color_option)
    shared = (
        requirements_option(f"{use}; one with the id of a standing requirement replaces it."),
        standing_option(verb),
        time_option(time),
        format_option(command),
        output_option,
        *told,
    )

    def decorate(function: Callable[..., int]) -> Callable[..., int]:
        def call(
            files: tuple[str, ...],
            standing: bool,
            seconds: float | None,
            layout: str | None,
            output: Path | None,
            verbose: bool = False,
            color: str = "never",
            situation: str | None = None,
            **own: Any,
        ) -> int:
            began = monotonic()
            shape = chosen_format(command, layout, output)
            asked = Session(files, standing, situation, seconds, shape, output, verbose, color, began)
            return function(asked, **own)

        for option in reversed(shared):
            option(call)
        return call

    return decorate
