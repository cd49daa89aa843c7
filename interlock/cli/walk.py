"""`interlock walk`: a hold worked by hand."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import click

from interlock.cli.exit_codes import DONE
from interlock.cli.options import requirements_option, situation_option
from interlock.cli.screen import Screen, color_option
from interlock.diagnostics.visible import visible

if TYPE_CHECKING:
    from interlock.study.walk import Walk

HELP = """\
  a number   do that step
  steps      list the possible steps again
  find TEXT  list the possible steps that have TEXT in them
  show       show the whole state
  why        say what breaks the requirements that are broken now
  back       take the last step back
  start N    begin again, the Nth way
  quit       leave
"""


@click.command(
    name="walk",
    help="Work HOLD by hand: choose one possible step after another and see what it does. Reads commands from standard "
    "input, so that they can also come from a file.\n\n\b\nCommands:\n" + HELP,
)
@click.argument("hold")
@click.option("--do", "script", metavar="N,N,...", help="Do the steps of these numbers, show the state and end.")
@situation_option
@requirements_option("Warn of these requirements as well.")
@color_option
def command(hold: str, script: str | None, situation: str | None, files: tuple[str, ...], color: str) -> int:
    """Opens, then reads commands until the end."""
    from interlock.cli.opening import open_texts
    from interlock.cli.refusals import usable, usable_hold
    from interlock.report.text.walk import opening_lines
    from interlock.report.views.walk import walk_view
    from interlock.study.walk import begin_walk

    opened = usable_hold(hold, usable(hold, open_texts(files, True)), situation)
    screen = Screen(None, color)
    walk = begin_walk(opened.compiled)
    screen.show(opening_lines(walk_view(walk)))
    if script is not None:
        _do(screen, walk, script)
    else:
        _listen(screen, walk, _typed())
    return DONE


def _do(screen: Screen, walk: Walk, script: str) -> None:
    from interlock.report.text.walk import broken_lines, state_lines, step_lines
    from interlock.report.views.walk import walk_view
    from interlock.study.walk import choices_of, take

    for word in script.replace(",", " ").split():
        choices = choices_of(walk)
        number = _number(word, len(choices))
        if number is None:
            raise click.UsageError(f"Step {word!r} is not possible here; there are {len(choices)} possible steps.")
        walk = take(walk, choices[number - 1])
        view = walk_view(walk)
        screen.show((*step_lines(view), *broken_lines(view, why=False)))
    screen.show(state_lines(walk_view(walk)))


def _number(word: str, most: int) -> int | None:
    """The number from 1 to `most` that the word is, if it is one; of any length, which Python's own reading is not."""
    digits = word.lstrip("0")
    if not digits.isdecimal() or len(digits) > len(str(most)):
        return None
    number = int(digits)
    return number if 1 <= number <= most else None


def _typed() -> Iterator[str]:
    """Lines of standard input, with a prompt where somebody types, else echoed; none where it is closed."""
    if sys.stdin is None:
        return
    typing = sys.stdin.isatty()
    while True:
        if typing:
            click.echo("> ", nl=False)
        try:
            line = sys.stdin.readline()
        except OSError as fault:
            raise click.UsageError(f"Cannot read standard input: {fault.strerror or fault}.") from fault
        if not line:
            return
        if not typing:
            click.echo(f"> {visible(line.rstrip())}")
        yield line.strip()


def _listen(screen: Screen, walk: Walk, lines: Iterable[str]) -> None:
    from interlock.report.text.lines import flow
    from interlock.report.text.walk import broken_lines, choice_lines, state_lines, step_lines
    from interlock.report.views.walk import walk_view
    from interlock.study.walk import choices_of, start_from, take, take_back

    view = walk_view(walk)
    screen.show((*state_lines(view), *broken_lines(view, why=False), *choice_lines(view)))
    for line in lines:
        verb, _, rest = line.partition(" ")
        rest = rest.strip()
        before = walk
        if verb in ("quit", "q"):
            return
        if not rest and (number := _number(verb, len(view.choices))) is not None:
            walk = take(walk, choices_of(walk)[number - 1])
        elif verb == "back":
            walk = take_back(walk)
        elif verb == "start" and (way := _number(rest, len(walk.starts))) is not None:
            walk = start_from(walk, way)
        elif verb == "show":
            screen.show(state_lines(view))
        elif verb == "steps":
            screen.show(choice_lines(view))
        elif verb == "find" and rest:
            screen.show(choice_lines(view, rest))
        elif verb == "why":
            screen.show(broken_lines(view, why=True))
        elif verb in ("help", "?"):
            screen.show(HELP)
        elif line:
            screen.show(flow(f"'{line}' is not possible here; type a number from 1 to {len(view.choices)}, or 'help'."))
        if walk is not before or verb == "back":
            view = walk_view(walk)
            screen.show((*step_lines(view), *broken_lines(view, why=False), *choice_lines(view)))
