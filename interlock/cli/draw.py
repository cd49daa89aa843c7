"""`interlock draw`: plan, unit moves, and the life of each kind of thing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from interlock.cli.formats import chosen_format, format_option
from interlock.cli.screen import output_option, show_whole

if TYPE_CHECKING:
    from interlock.hold.compile.compiler import CompiledHold
    from interlock.hold.kinds import Kind
    from interlock.report.views.graphs import GraphView


@click.command(
    name="draw",
    help="Draw HOLD from above (plan), draw where its units can move (moves), write down all states and steps where "
    "these are few (states), or draw the life of a kind of device or control, for which no HOLD is needed. The plan is "
    "SVG; the others are DOT, or SVG where something on this machine can lay them out. States and lives also come for "
    "other programs, as GraphML and as state charts (SCXML).",
)
@click.argument("hold", required=False)
@click.option(
    "--what",
    default="plan",
    show_default=True,
    metavar="plan|moves|states|KIND",
    help="What to draw; 'kinds' lists the kinds that can be drawn.",
)
@click.option("--from", "situation", metavar="SITUATION", help="Draw the plan as it is at this situation's start.")
@click.option(
    "--depth", metavar="STEPS", type=click.IntRange(min=0), help="Of states, those that so many steps lead to."
)
@format_option("draw")
@output_option
def command(
    hold: str | None, what: str, situation: str | None, depth: int | None, layout: str | None, output: Path | None
) -> int:
    """Draws one picture."""
    from interlock.cli.refusals import usable_hold
    from interlock.report.drawing.lifecycle import kinds_drawn
    from interlock.study.walk import begin_walk

    if what == "kinds":
        return show_whole("".join(f"{name}\n" for name in kinds_drawn()), output)
    if what not in ("plan", "moves", "states"):
        from interlock.report.views.graphs import kind_graph

        kind = _kind(what)
        parts = {"kind": kind, "graph": kind_graph(kind)}
        return show_whole(chosen_format("draw kind", layout, output).render(parts), output)
    if hold is None:
        raise click.UsageError(f"'{what}' needs a HOLD.")
    shape = chosen_format(f"draw {what}", layout, output)
    compiled = usable_hold(hold, situation=situation).compiled
    if what == "states":
        return show_whole(shape.render({"graph": _states(compiled, depth)}), output)
    state = None if situation is None else begin_walk(compiled).state
    return show_whole(shape.render({"compiled": compiled, "state": state}), output)


def _states(compiled: CompiledHold, depth: int | None) -> GraphView:
    from interlock.report.views.graphs import states_graph
    from interlock.study.state_graph import MOST_STATES, TooManyStates, state_graph

    try:
        return states_graph(compiled, state_graph(compiled.machine, depth))
    except TooManyStates as fault:
        raise click.ClickException(
            f"there are more than {MOST_STATES:,} states: --depth bounds them, 'interlock count' counts them"
        ) from fault


def _kind(what: str) -> Kind:
    from interlock.diagnostics.nearest import nearest_name
    from interlock.report.drawing.lifecycle import kinds_drawn

    kinds = kinds_drawn()
    if what not in kinds:
        hint = nearest_name(what, (*kinds, "plan", "moves", "states", "kinds"))
        raise click.UsageError(
            f"There is nothing called {what!r} to draw."
            + (f" Did you mean {hint!r}?" if hint else " 'interlock draw --what kinds' lists what there is.")
        )
    return kinds[what]
