"""What is going on, on standard error, for people who wait at a terminal; silent otherwise."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from time import monotonic
from typing import TYPE_CHECKING

from interlock.diagnostics.visible import visible

if TYPE_CHECKING:
    from interlock.kernel.claims import Progress, ProgressCallback

BETWEEN_UPDATES_S = 0.2
LONG_S = 5.0
"""Results are told as they come to those who have waited so long; others have the report at once."""


@contextmanager
def shown_progress(label: str, quiet: bool) -> Iterator[ProgressCallback]:
    """A report for engines; a moving line where standard error is a terminal."""
    from interlock.kernel.claims import silent

    if quiet or not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.text import Text

    from interlock.study.pace import Results

    name = visible(label)
    console = Console(stderr=True)
    last = 0.0
    began = monotonic()
    with console.status(Text(f"{name}: begins")) as status:

        def report(progress: Progress) -> None:
            nonlocal last
            now = monotonic()
            if isinstance(progress, Results) and now - began >= LONG_S:
                for line in progress.lines:
                    console.print(Text(f"{name}: {line}"))
            if now - last >= BETWEEN_UPDATES_S:
                last = now
                status.update(Text(f"{name}: {in_words(progress)}", overflow="ellipsis", no_wrap=True))

        yield report


def in_words(progress: Progress) -> str:
    """One line; what is counted without a known end are rounds."""
    if progress.total:
        far = f"{progress.done:,} of {progress.total:,}"
        return (
            progress.stage if f"{progress.done} of {progress.total} " in progress.stage else f"{progress.stage}, {far}"
        )
    return f"{progress.stage} (round {progress.done:,})" if progress.done else progress.stage
