"""`interlock edit-server`: what an editor starts to be helped while somebody writes."""

from __future__ import annotations

import gc
import os
import sys
from importlib.util import find_spec

import click

from interlock.cli.exit_codes import DONE

OBJECTS_BETWEEN_COLLECTIONS = 100_000
"""A tenth of what other commands let pass, and more than to know a hold of 32 bays makes at once: what each letter that
is typed leaves in circles is gone after some hundred of them.
"""
SECONDS = 30.0
"""How long a proof in the background may take, unless the editor's settings say otherwise."""


@click.command(
    name="edit-server",
    help="Speak the Language Server Protocol on standard input and output, for an editor that starts this command: "
    "faults and doubts while a description, modification, procedure or specification is written, verdicts when they "
    "are ready, completion, what a word is, where it is given and used, renaming. Needs the extra 'editor'.",
)
@click.option(
    "--time",
    "seconds",
    metavar="SECONDS",
    type=click.FloatRange(min=0),
    default=SECONDS,
    show_default=True,
    help="Seconds for the proof that runs in the background after each pause; 0: none is made.",
)
def command(seconds: float) -> int:
    """Serves until the editor says good-bye."""
    if find_spec("pygls") is None:
        raise click.ClickException(
            "this needs the library 'pygls', which is not installed: pip install 'interlock[editor]'"
        )
    from interlock.cli.language_server import make_server

    gc.freeze()
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    # what it is given it closes at the end, and standard output is not its own
    with os.fdopen(os.dup(sys.stdout.fileno()), "wb") as output:
        make_server(seconds).start_io(stdout=output)
    return DONE
