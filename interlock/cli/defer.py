"""`interlock defer`: may the hold be used with something inoperative, and under which limitations."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import click

from interlock.cli.exit_codes import DEFERRING, code_of_deferrals
from interlock.cli.options import only_option, situation_option
from interlock.cli.session import Session, study_options, told_instead

if TYPE_CHECKING:
    from interlock.hold.language.model import Hold
    from interlock.study.deferral.inoperative import Inoperative

MOST_TOGETHER = 3
"""Limitations in a set, where nobody says how many."""
MOST_CASES = 64


@click.command(
    name="defer",
    help="Find which requirements fail with items inoperative, and all smallest sets of limitations with which none "
    "does: positions kept empty, kinds of unit not carried there, and where that does not suffice devices, controls "
    "and doorways not used. Each set is proved, and told with what it leaves to be carried. ITEM is an id, or ID=WAY: "
    "the state in which a device stays, or how something has failed (CIRCUIT:CONTACT=bypassed for a contact). Without "
    "a way all ways are taken one after the other. It approves no deferral.",
    epilog=DEFERRING,
)
@click.argument("hold")
@click.argument("items", nargs=-1, metavar="[ITEM]...")
@click.option("--each", "kind", metavar="KIND", help="One after the other, every device of this kind.")
@only_option
@click.option(
    "--together",
    "size",
    metavar="NUMBER",
    type=click.IntRange(min=1, max=6),
    default=MOST_TOGETHER,
    show_default=True,
    help="How many limitations a set may have.",
)
@click.option("--wider", is_flag=True, help="Look at limitations of all sorts from the start.")
@click.option(
    "--runs",
    "told",
    metavar="NUMBER",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="Of so many requirements that fail, show step by step how.",
)
@situation_option
@study_options(
    "defer",
    "Requirements to add",
    "Ask",
    time="Give up after this many seconds.",
    verbose="Name every set, and all that each takes.",
)
def command(
    asked: Session,
    hold: str,
    items: tuple[str, ...],
    kind: str | None,
    only: tuple[str, ...],
    size: int,
    wider: bool,
    told: int,
) -> int:
    """Opens, works out each case, shows."""
    from interlock.cli.opening import check_only
    from interlock.cli.reading import seen_from
    from interlock.report.text.deferral import deferral_report
    from interlock.report.text.lines import as_text
    from interlock.report.views.deferral import deferral_view
    from interlock.study.deferral.deferral import defer

    is_file = asked.shape.name == "modification"
    if is_file and hold == "-":
        raise click.UsageError("Name a file: what is written is a modification of it, which names it.")
    opened = asked.open(hold, asked.texts())
    check_only([opened], only)
    compiled = opened.compiled
    cases = cases_of(compiled.hold, items, kind)
    if is_file:
        check_declared(cases)
    chosen = only or None
    with asked.work() as work:
        found = []
        for left, case in zip(range(len(cases), 0, -1), cases, strict=True):
            limits = work.limits(1 / left)
            with work.shown(opened.label) as report:
                result = defer(
                    compiled.hold, compiled, case, opened.given, size, limits, report, wider=wider, chosen=chosen
                )
            found.append((case, result))
        code = code_of_deferrals(result for _, result in found)
        view = deferral_view(opened.label, compiled, found, size, code, opened.read)
        if is_file and not view.is_declarable:
            told_instead(as_text(deferral_report(view, told, asked.verbose, work.took())))
        else:
            work.show(view, told=told, modifies=seen_from(opened.label, asked.output))
    return code


def check_declared(cases: list[tuple[Inoperative, ...]]) -> None:
    """A file declares one case, of devices that stay in a state.  Raises click.UsageError."""
    if len(cases) > 1:
        raise click.UsageError(f"That makes {len(cases)} cases, and a file is of one: say how each item is, ITEM=WAY.")
    for one in cases[0]:
        if one.state is None:
            raise click.UsageError(
                f"{one.id}={one.way}: a deferral says in which state a device stays; declare what has failed otherwise "
                "in `failures`."
            )


def cases_of(hold: Hold, items: tuple[str, ...], kind: str | None) -> list[tuple[Inoperative, ...]]:
    """What is to be looked at: all ways of what is named together, or of each device by itself.

    Raises click.UsageError.
    """
    from interlock.cli.reading import instead
    from interlock.study.deferral.inoperative import NoSuchItem, ways_of

    if (kind is None) == (not items):
        raise click.UsageError("Name one or more items, or give --each with a kind of device.")
    cases: list[tuple[Inoperative, ...]]
    try:
        if kind is not None:
            those = [device.id for device in hold.devices if device.kind == kind and not device.is_structure]
            if not those:
                raise click.UsageError(
                    f"There is no {kind!r} here." + instead(kind, {one.kind for one in hold.devices})
                )
            cases = [(way,) for id in those for way in ways_of(hold, id)]
        else:
            named = [item.partition("=") for item in items]
            cases = list(product(*(ways_of(hold, id, way if equals else None) for id, equals, way in named)))
    except NoSuchItem as fault:
        message = str(fault)
        raise click.UsageError(message[0].upper() + message[1:] + "." + instead(fault.word, fault.known)) from fault
    if len(cases) > MOST_CASES:
        raise click.UsageError(f"That makes {len(cases)} cases; say for more of the items how they are inoperative.")
    return cases
