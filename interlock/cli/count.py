"""`interlock count`: how many states a hold can reach."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.cli.exit_codes import DONE, UNDECIDED
from interlock.cli.options import situation_option, time_option
from interlock.cli.screen import Screen, color_option, output_option

MOST_STATES = 50_000_000
"""Where counting stops if nothing else is said."""
MOST_MIB = 2_048
"""How much memory the program holds at most if nothing else is said; 8 to 40 bytes for each state."""


@click.command(
    name="count",
    help="Count exactly the states of HOLD that can be reached, and the steps between them. Ends with code 3 where a "
    "limit stops it: the numbers are then lower bounds.",
)
@click.argument("hold")
@situation_option
@click.option(
    "--states",
    metavar="NUMBER",
    type=click.IntRange(min=1),
    default=MOST_STATES,
    show_default=True,
    help="Stop at this many states.",
)
@click.option(
    "--memory",
    type=click.IntRange(min=64),
    default=MOST_MIB,
    show_default=True,
    metavar="MIB",
    help="Stop before the program holds more memory than this.",
)
@time_option("Stop after this many seconds.")
@click.option("--depth", metavar="STEPS", type=click.IntRange(min=0), help="Go no deeper than this many steps.")
@click.option("-v", "--verbose", is_flag=True, help="Say how many states lie at each depth.")
@output_option
@color_option
def command(
    hold: str,
    situation: str | None,
    states: int,
    memory: int,
    seconds: float | None,
    depth: int | None,
    verbose: bool,
    output: Path | None,
    color: str,
) -> int:
    """Opens and counts."""
    from interlock.cli.refusals import usable_hold
    from interlock.cli.stopping import noted_stop
    from interlock.kernel.claims import Limits
    from interlock.prove.search.enumeration import count_states
    from interlock.report.text.count import count_lines
    from interlock.report.views.count import count_view

    compiled = usable_hold(hold, situation=situation).compiled
    screen = Screen(output, color)
    with noted_stop() as stop:
        limits = Limits(depth=depth, seconds=seconds, states=states, memory=memory << 20, stop=stop.is_asked)
        with stop.tearing():
            count = count_states(compiled.machine, limits, memory << 20)
        screen.show(count_lines(count_view(compiled.hold.title, count), verbose))
        screen.close()
    return DONE if count.complete else UNDECIDED
