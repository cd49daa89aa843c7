"""`interlock draw`: plan, unit moves, and the life of each kind of thing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from interlock.cli.exit_codes import REJECTED
from interlock.cli.screen import Screen, output_option

if TYPE_CHECKING:
    from interlock.hold.compile.compiler import CompiledHold


@click.command(
    name="draw",
    help="Draw HOLD from above (plan), draw where its units can move (moves), or draw the life of a kind of device or "
    "control, for which no HOLD is needed. The plan is SVG; the others are DOT, or SVG where something on this "
    "machine can lay them out.",
)
@click.argument("hold", required=False)
@click.option(
    "--what",
    default="plan",
    show_default=True,
    metavar="plan|moves|KIND",
    help="What to draw; 'kinds' lists the kinds that can be drawn.",
)
@click.option("--from", "situation", metavar="SITUATION", help="Draw the plan as it is at this situation's start.")
@click.option(
    "--format",
    "layout",
    type=click.Choice(["svg", "dot", "mermaid"]),
    help="Left out: svg for the plan and where FILE ends in .svg, else dot.",
)
@output_option
def command(hold: str | None, what: str, situation: str | None, layout: str | None, output: Path | None) -> int:
    """Draws one picture."""
    from interlock.cli.refusals import show_rejection, show_warnings

    if layout is None and output is not None and output.suffix.lower() == ".svg":
        layout = "svg"
    if what not in ("plan", "moves"):
        return _draw_kind(what, layout or "dot", output)
    if hold is None:
        raise click.UsageError(f"'{what}' needs a HOLD.")
    if what == "plan" and layout not in (None, "svg"):
        raise click.UsageError("The plan is drawn as svg only.")
    if what == "moves" and layout == "mermaid":
        raise click.UsageError("The moves are drawn as dot or svg.")
    from interlock.cli.opening import Rejected, Texts, open_hold

    opened = open_hold(hold, Texts(), situation)
    if isinstance(opened, Rejected):
        show_rejection(hold, opened)
        return REJECTED
    show_warnings(opened.warnings)
    if what == "plan":
        _put(_plan(opened.compiled), output)
        return 0
    from interlock.report.drawing.movegraph import moves_dot

    return _put_graph(moves_dot(opened.compiled), layout or "dot", output)


def _plan(compiled: CompiledHold) -> str:
    from interlock.report.drawing.plan import plan_svg
    from interlock.study.walk import begin_walk

    if compiled.situation is None:
        return plan_svg(compiled)
    return plan_svg(compiled, begin_walk(compiled).state)


def _draw_kind(what: str, layout: str, output: Path | None) -> int:
    from interlock.diagnostics.nearest import nearest_name
    from interlock.report.drawing.lifecycle import kinds_drawn, lifecycle_dot, lifecycle_mermaid

    kinds = kinds_drawn()
    if what == "kinds":
        _put("".join(f"{name}\n" for name in kinds), output)
        return 0
    if what not in kinds:
        hint = nearest_name(what, (*kinds, "plan", "moves", "kinds"))
        raise click.UsageError(
            f"There is nothing called {what!r} to draw."
            + (f" Did you mean {hint!r}?" if hint else " 'interlock draw --what kinds' lists what there is.")
        )
    if layout == "mermaid":
        _put(lifecycle_mermaid(kinds[what]), output)
        return 0
    return _put_graph(lifecycle_dot(kinds[what]), layout, output)


def _put_graph(source: str, layout: str, output: Path | None) -> int:
    """DOT as it is, or laid out.  Raises click.ClickException where nothing can lay it out."""
    from interlock.cli.rendering import ADVICE, render_dot

    if layout == "dot":
        _put(source, output)
        return 0
    drawn = render_dot(source)
    if drawn is None:
        raise click.ClickException(ADVICE + " Use --format dot.")
    _put(drawn.decode(), output)
    return 0


def _put(text: str, output: Path | None) -> None:
    screen = Screen(output)
    screen.text(text if text.endswith("\n") else text + "\n")
    screen.close()
