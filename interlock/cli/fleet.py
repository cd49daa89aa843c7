"""`interlock fleet`: every aircraft of a fleet, each configuration proved once."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

import click

from interlock.cli.exit_codes import FLEETS, REJECTED, code_of_fleet
from interlock.cli.formats import chosen_format, format_option
from interlock.cli.options import requirements_option, standing_option, time_option
from interlock.cli.screen import Screen, color_option, output_option
from interlock.diagnostics.frozen import frozen

if TYPE_CHECKING:
    from interlock.cli.fleet_run import Run
    from interlock.cli.opening import Rejected
    from interlock.hold.language.fleets import Fleet
    from interlock.hold.loader import FileRead
    from interlock.study.fleet.checking import Checked


@click.command(
    name="fleet",
    help="Prove the requirements for every aircraft of a fleet. FILE lists them, as YAML or as a table with the "
    "columns tail, hold, options, deferrals ('interlock explain fleet' says more). Aircraft with the same hold, "
    "options and deferrals are proved once; what is told is the verdict for each tail, and which options and deferrals "
    "tell those that differ. It releases no aircraft.",
    epilog=FLEETS,
)
@click.argument("file")
@requirements_option("Requirements to add; one with the id of a standing requirement replaces it.")
@standing_option("Ask")
@click.option("--only", multiple=True, metavar="ID", help="Ask only this requirement. May be repeated.")
@click.option(
    "--workers",
    metavar="NUMBER",
    type=click.IntRange(min=1, max=256),
    help="So many processes work at a time; left out: as many as there are processors.",
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Let the workers of this scheduler of dask.distributed do it, on whatever machines they are. Jobs and results "
    "are taken on trust from there.",
)
@click.option(
    "--journal",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Keep in this file what is done, and go on where it stops. Nothing in it is believed before it is checked.",
)
@click.option(
    "--alone",
    is_flag=True,
    help="Prove each configuration by itself, not those of a hold with options together: slower, and all that is found "
    "is kept.",
)
@click.option("--no-cache", "afresh", is_flag=True, help="Neither use nor leave anything in your cache folder.")
@time_option("Give up on a configuration after this many seconds.")
@click.option(
    "--runs",
    "told",
    metavar="NUMBER",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="Of so many requirements that fail in a group, show step by step how.",
)
@format_option("fleet")
@output_option
@click.option("-q", "--quiet", is_flag=True, help="No progress.")
@click.option("-v", "--verbose", is_flag=True, help="Name every tail and every configuration.")
@color_option
def command(
    file: str,
    files: tuple[str, ...],
    standing: bool,
    only: tuple[str, ...],
    workers: int | None,
    cluster: str | None,
    journal: Path | None,
    alone: bool,
    afresh: bool,
    seconds: float | None,
    told: int,
    layout: str | None,
    output: Path | None,
    quiet: bool,
    verbose: bool,
    color: str,
) -> int:
    """Opens and checks everything, has it proved, shows."""
    from interlock.cli.fleet_run import Run, Way
    from interlock.cli.journal import Journal
    from interlock.cli.opening import Rejected, open_texts
    from interlock.cli.refusals import show_rejection, usable
    from interlock.cli.stopping import noted_stop
    from interlock.report.views.fleet import fleet_view
    from interlock.study.fleet.configurations import group

    began = monotonic()
    if cluster is not None and workers is not None:
        raise click.UsageError("--workers and --cluster: how many work there is for the cluster to say.")
    shape = chosen_format("fleet", layout, output)
    texts = usable("requirements", open_texts(files, standing))
    opened = opened_fleet(file)
    if isinstance(opened, Rejected):
        show_rejection(file, opened)
        raise click.exceptions.Exit(REJECTED)
    given = tuple(texts.by_id.values())
    check_asked(only, {text.id for text in given} | opened.checked.asking)
    fitted = group(opened.fleet.aircraft)
    kept = None if journal is None else Journal(journal)
    screen = Screen(output, color)
    way = Way(workers, cluster, alone, not afresh, seconds, only, given)
    with noted_stop() as stop:
        try:
            run = Run(fitted, opened.checked, way, kept, stop)
            answers = run.run(file, quiet)
        finally:
            if kept is not None:
                kept.close()
    for label, rejected in refusals_of(run, opened):
        show_rejection(f"{file}, {label}", rejected)
    code = code_of_fleet(one.result for one in answers)
    read = (*opened.read, *texts.read)
    view = fleet_view(file, opened.fleet, fitted, answers, opened.checked.titles, code, read)
    parts = {"view": view, "facts": view.facts, "told": told, "verbose": verbose}
    screen.show(shape.render({**parts, "seconds": monotonic() - began, "how": run.effort}))
    screen.close()
    return code


@frozen
class OpenedFleet:
    """A fleet, what it names, its lines by file, and the files that were read."""

    fleet: Fleet
    checked: Checked
    lines: Mapping[str, tuple[str, ...]]
    read: tuple[FileRead, ...]


def opened_fleet(file: str) -> OpenedFleet | Rejected:
    """The fleet in a file, or every fault of it and of what it names."""
    from interlock.cli.opening import Rejected
    from interlock.cli.reading import fetch, read_source
    from interlock.diagnostics.faults import Faults
    from interlock.hold.loader import load_fleet
    from interlock.study.fleet.checking import check_names

    loaded = load_fleet(read_source(file))
    readable = loaded.readable
    checked = None if readable is None else check_names(readable.aircraft, fetch)
    if loaded.value is None or checked is None or checked.faults:
        faults = Faults()
        faults.take(loaded.diagnostics)
        faults.take(() if checked is None else checked.faults)
        return Rejected(faults.sorted(), {**({} if checked is None else checked.sources), **loaded.sources})
    return OpenedFleet(loaded.value, checked, loaded.sources, (*loaded.read, *checked.read))


def refusals_of(run: Run, opened: OpenedFleet) -> Iterator[tuple[str, Rejected]]:
    """Which configurations make no hold, and why."""
    from interlock.cli.opening import Rejected

    for number, why in sorted(run.refused.items()):
        tails = [each.tail for each in run.fitted[number].aircraft]
        more = f" and {len(tails) - 1} more" if len(tails) > 1 else ""
        rejected = Rejected(why.diagnostics, {**opened.lines, **why.sources})
        yield f"configuration of {tails[0]}{more}", rejected


def check_asked(only: Sequence[str], known: Collection[str]) -> None:
    """Raises click.UsageError for what is the id of no requirement, nor of one of its instances."""
    from interlock.cli.opening import named_instead

    for id in only:
        if id.partition("[")[0] not in known:
            raise click.UsageError(f"There is no requirement {id!r}." + named_instead(id, known))
