"""`--watch`: the same once more, each time a file that it reads has changed, until Ctrl-C."""

from __future__ import annotations

import functools
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import click

from interlock.cli.exit_codes import REJECTED
from interlock.cli.reading import digest_now, noted_contents
from interlock.cli.stopping import noted_stop, times_asked
from interlock.diagnostics.visible import visible

F = TypeVar("F", bound=Callable[..., int])

LOOKS_EVERY_S = 0.25
WIDTH = 80


def watch_option(*given: str) -> Callable[[F], F]:
    """`--watch` for a command whose parameters `given` name what it reads; what it runs is all of its function."""

    def decorate(function: F) -> F:
        @functools.wraps(function)
        def call(*args: Any, watch: bool, **values: Any) -> int:
            if not watch:
                return function(*args, **values)
            named = [values[name] for name in given]
            if "-" in [one for some in named for one in ([some] if isinstance(some, str) else some)]:
                raise click.UsageError("--watch: standard input cannot be read again.")
            return watched(lambda: function(*args, **values))

        return click.option(  # type: ignore[return-value]
            "--watch",
            is_flag=True,
            help="Do it again each time a file that was read has changed; Ctrl-C ends it, with the last exit code.",
        )(call)

    return decorate


def watched(work: Callable[[], int]) -> int:
    """Works, and works again whenever a file has changed for which the work asked; gives the last code that it gave.

    What ends the work early, but a fault of ours, is shown and waited for: half-written files are told and passed over.
    A result that Ctrl-C cut short is told and does not count where there was one before.
    """
    code: int | None = None
    while True:
        heard = times_asked()
        with noted_stop(), noted_contents() as read:
            found = _once(work)
        is_cut_short = times_asked() != heard
        if code is None or not is_cut_short:
            code = found
        if is_cut_short:
            return code
        changed = _next_change(read)
        if not changed:
            return code
        head = f"--- {time.strftime('%H:%M:%S')} {visible(', '.join(changed))} "
        click.echo(f"\n{head}{'-' * max(3, WIDTH - len(head))}", err=True)


def _once(work: Callable[[], int]) -> int:
    try:
        return work()
    except click.exceptions.Exit as end:
        return end.exit_code
    except click.ClickException as fault:
        click.echo(f"Error: {visible(fault.format_message())}", err=True)
        return REJECTED


def _next_change(before: Mapping[str, str | None]) -> list[str]:
    """The names of the files that are no longer as they were, once some are; none where an end is asked for."""
    click.echo("Waiting for a change; Ctrl-C ends.", err=True)
    with noted_stop() as stop:
        while not stop.asked:
            changed = [Path(name).name for name, was in before.items() if digest_now(name) != was]
            if changed:
                return changed
            time.sleep(LOOKS_EVERY_S)
    return []
