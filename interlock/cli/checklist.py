"""`interlock checklist`: from a goal to an order of work that is proved."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from interlock.cli.exit_codes import code_of_checklist, help_text
from interlock.cli.languages import chosen_language, language_option
from interlock.cli.options import situation_option
from interlock.cli.reading import seen_from
from interlock.cli.session import Session, Work, study_options

if TYPE_CHECKING:
    from interlock.hold.compile.compiler import CompiledHold
    from interlock.hold.loader import FileRead
    from interlock.kernel.claims import Limits, ProgressCallback
    from interlock.report.translation import Translation
    from interlock.study.checklist.audit import ChecklistAudit
    from interlock.study.checklist.goals import Goal, Load
    from interlock.study.checklist.making import Checklist, Result


@click.command(
    name="checklist",
    help="Make a checklist for HOLD: steps in an order that reaches the goal, each replayed and checked, with "
    "warnings, free orders and pictures. HOLD is a description file, '-' for standard input, or 'demo:NAME'. After "
    "--load and --unload the load is secured, the doors are shut, latched and locked, and the power is off.",
    epilog=help_text(
        "the checklist was made and is proved",
        "the goal cannot be reached, or only by breaking a requirement",
        "no checklist was found, and it is not shown that there is none;\n"
        "      or its slips were not examined to an end",
    ),
)
@click.argument("hold", metavar="HOLD")
@click.option("--load", "load", metavar="LOAD", help="'all:KIND', or bays with kinds: '3L=HALF,3R=HALF'.")
@click.option("--unload", "unload", metavar="BAYS", help="'all', or bays: '3L,3R'.")
@click.option("--goal", "goal", metavar="EXPR", help="An expression, such as 'D1 is open and PWR is off'.")
@click.option("--aboard", metavar="LOAD", help="Start with this load aboard, as a checklist for it leaves the hold.")
@language_option
@situation_option
@study_options(
    "checklist",
    "Requirements to keep on the way",
    "Keep",
    time="Give up after this many seconds, the reading of files included.",
    verbose="Say at which later step an omission shows, and count slips by kind.",
)
def command(
    asked: Session,
    hold: str,
    load: str | None,
    unload: str | None,
    goal: str | None,
    aboard: str | None,
    language: str,
) -> int:
    """Opens, plans, shows."""
    from interlock.report.views.wording import sentence
    from interlock.study.checklist.goals import GoalFault
    from interlock.study.checklist.making import NoChecklist, make_checklist

    if sum(text is not None for text in (load, unload, goal)) != 1:
        raise click.UsageError("Say what is wanted: one of --load, --unload and --goal, and only one.")
    if asked.shape.name == "procedure" and hold == "-":
        raise click.UsageError("--format procedure: a procedure names the file of its hold, and this has none.")
    told_in = chosen_language(language, asked)
    opened = asked.open(hold, asked.texts())
    compiled = opened.compiled
    wanted = goal_of(compiled, load, unload, goal)
    before = None if aboard is None else load_of(aboard, "--aboard")
    with asked.work() as work:
        try:
            with work.shown(opened.label, quiet=asked.shape.name != "text") as report:
                result = make_checklist(compiled, wanted, work.limits(), report, before)
                audited = None if isinstance(result, NoChecklist) else audited_checklist(result, work.limits(), report)
        except GoalFault as fault:
            hint = "" if unload is None or aboard is not None else " '--aboard all:KIND' starts with a load aboard."
            raise click.UsageError(f"{sentence(str(fault))}{hint}") from fault
        _show(work, hold, result, audited, opened.read, told_in)
    return code_of_checklist(result, audited)


def audited_checklist(made: Checklist, limits: Limits, report: ProgressCallback) -> ChecklistAudit:
    """The checklist, written as a procedure and audited as that."""
    from interlock.report.yaml.procedure import checklist_procedure, steps_of_actions
    from interlock.study.checklist.audit import audit_checklist

    return audit_checklist(made, checklist_procedure(made, "hold.yaml"), steps_of_actions(made), limits, report)


def _show(
    work: Work,
    hold: str,
    result: Result,
    audited: ChecklistAudit | None,
    read: Sequence[FileRead],
    language: Translation,
) -> None:
    from interlock.report.text.checklist import checklist_report
    from interlock.report.text.lines import as_text
    from interlock.report.views.checklist import RefusalView, checklist_view

    view = checklist_view(hold, result, audited, code_of_checklist(result, audited), read)
    if isinstance(view, RefusalView) and work.session.shape.name not in ("text", "json"):
        click.echo(as_text(checklist_report(view, False, language)), err=True, nl=False)
        return
    work.show(view, result=result, hold_file=seen_from(hold, work.screen.output), language=language)


def goal_of(compiled: CompiledHold, load: str | None, unload: str | None, goal: str | None) -> Goal:
    """The goal that was asked for, of which one is given.  Raises click.UsageError."""
    from interlock.study.checklist.goals import Reach, Unload

    if load is not None:
        return load_of(load, "--load")
    if unload is not None:
        bays = tuple(word.strip() for word in unload.split(",") if word.strip())
        if not bays:
            raise click.UsageError("--unload names no bay.")
        return Unload(bays)
    from interlock.diagnostics.faults import Faults
    from interlock.diagnostics.render import render_diagnostics
    from interlock.diagnostics.spans import Span
    from interlock.hold.compile.lowering import Lowering
    from interlock.hold.language.nodes import ScalarNode, Stretch
    from interlock.hold.language.parser import parse_expression

    assert goal is not None  # noqa: S101 -- one of the three is given
    faults = Faults()
    scalar = ScalarNode(goal, Span("--goal", 1, 1, max(1, len(goal))), False, (Stretch(0, 1, 1),))
    syntax = parse_expression(scalar, faults)
    lowering = Lowering(compiled.world)
    expression = None if syntax is None else lowering.expression(syntax)
    wrong = (*faults.sorted(), *lowering.faults)
    if wrong or expression is None:
        raise click.UsageError("--goal is not understood:\n" + render_diagnostics(tuple(wrong), {"--goal": (goal,)}))
    return Reach(goal, expression)


def load_of(text: str, option: str) -> Load:
    from interlock.study.checklist.goals import Load

    wanted = []
    for word in text.split(","):
        bay, sign, kind = word.replace(":", "=", 1).partition("=")
        if not sign or not bay.strip() or not kind.strip():
            raise click.UsageError(f"{option} {text!r} is not like 'all:HALF' or '3L=HALF,3R=HALF'.")
        wanted.append((bay.strip(), kind.strip()))
    return Load(tuple(wanted))
