"""`interlock teach`: a page on which a hold can be worked."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import click

from interlock.cli.audit import open_procedure
from interlock.cli.checklist import audited_checklist, goal_of
from interlock.cli.exit_codes import DONE, FOUND, code_of_audit, code_of_checklist, code_of_hold, worst_code
from interlock.cli.languages import chosen_language, language_option
from interlock.cli.options import situation_option
from interlock.cli.session import Session, Work, study_options

if TYPE_CHECKING:
    from collections.abc import Callable

    from interlock.cli.opening import Opened
    from interlock.hold.procedure.binding import BoundProcedure
    from interlock.kernel.claims import Limits, ProgressCallback
    from interlock.report.translation import Translation
    from interlock.report.views.checklist import RefusalView
    from interlock.report.views.exercises import Rehearsed
    from interlock.report.views.identified import Identified
    from interlock.study.procedure.audit import Audit
    from interlock.study.verify import Verification

Wanted: TypeAlias = "tuple[str | None, str | None, str | None]"
"""What is to be loaded, unloaded or brought about, as it was asked for."""


@click.command(
    name="teach",
    help="Make a page for teaching: one HTML file on which HOLD can be worked by mouse or keys, in any browser, with "
    "no network. With --failing it also plays what breaks each requirement, with --audit what goes wrong in a "
    "procedure, which it has as an exercise; with a goal it plays the checklist for it and has that as one. HOLD is a "
    "description file, '-' for standard input, or 'demo:NAME'.",
)
@click.argument("hold", metavar="HOLD")
@click.option("--failing", is_flag=True, help="Prove the requirements, and play what breaks those that fail.")
@click.option("--load", "load", metavar="LOAD", help="Exercise loading: 'all:KIND', or '3L=HALF,3R=HALF'.")
@click.option("--unload", "unload", metavar="BAYS", help="Exercise unloading: 'all', or bays: '3L,3R'.")
@click.option("--goal", "goal", metavar="EXPR", help="Exercise this goal, such as 'D1 is open and PWR is off'.")
@click.option(
    "--audit",
    "procedures",
    multiple=True,
    metavar="PROCEDURE",
    help="Exercise it, and play what an audit of it finds. May be repeated.",
)
@language_option
@situation_option
@study_options(
    "teach",
    "Warn of these requirements as well",
    "Warn of",
    time="Give up proving and planning after this many seconds.",
    verbose=None,
)
def command(
    asked: Session,
    hold: str,
    failing: bool,
    load: str | None,
    unload: str | None,
    goal: str | None,
    procedures: tuple[str, ...],
    language: str,
) -> int:
    """Opens, proves and plans what is asked for, shows."""
    from interlock.report.views.exercises import Rehearsed
    from interlock.report.views.teaching import OtherHold, teaching_view

    wanted = load, unload, goal
    if sum(text is not None for text in wanted) > 1:
        raise click.UsageError("Of --load, --unload and --goal only one can be exercised.")
    told_in = chosen_language(language, asked)
    opened = asked.open(hold, asked.texts())
    bound = [open_procedure(name, asked.files, asked.standing)[0] for name in procedures]
    codes = [DONE]
    found: Verification | None = None
    rehearsed: Rehearsed | None = None
    with asked.work() as work:
        if failing:
            found = _proved(opened, work)
            codes.append(code_of_hold(found))
        if any(text is not None for text in wanted):
            planned, code = rehearse(opened, wanted, work)
            codes.append(code)
            if not isinstance(planned, Rehearsed):
                refuse(planned, told_in)
                return code
            rehearsed = planned
        audits = [_audited(name, one, work) for name, one in zip(procedures, bound, strict=True)]
        codes += [code_of_audit(audit.overall) for audit in audits]
        try:
            view = teaching_view(opened.compiled, identified(opened), found, rehearsed, audits)
        except OtherHold as fault:
            title = " ".join(str(fault).split())
            raise click.UsageError(f"The procedure '{title}' is about another hold than {hold}.") from fault
        work.screen.show(asked.shape.render({"view": view, "language": told_in}))
        work.screen.close()
    # what fails is what the page is made to show
    return worst_code(code for code in codes if code != FOUND)


def identified(opened: Opened) -> tuple[Identified, ...]:
    """The files of the description."""
    from interlock.report.views.identified import Identified

    return tuple(Identified(one.name, one.sha256) for one in opened.read)


def _proved(opened: Opened, work: Work) -> Verification:
    from interlock.cli.methods import DEFAULT, engine_of
    from interlock.study.verify import verify

    with work.shown(opened.label) as report:
        return verify(opened.compiled, engine_of(DEFAULT), work.limits(), report)


def _audited(name: str, bound: BoundProcedure, work: Work) -> Audit:
    from interlock.study.procedure.audit import audit_procedure

    with work.shown(name) as report:
        return audit_procedure(bound, None, work.limits(), report)


def rehearse(opened: Opened, wanted: Wanted, work: Work) -> tuple[Rehearsed | RefusalView, int]:
    """The checklist for the goal, audited, and its exit code."""
    with work.shown(opened.label) as report:
        return planned_exercise(opened, wanted, work.limits, report)


def planned_exercise(
    opened: Opened, wanted: Wanted, limits: Callable[[], Limits], report: ProgressCallback
) -> tuple[Rehearsed | RefusalView, int]:
    """The same, within limits that are asked for anew.  Raises click.UsageError for a goal that does not fit."""
    from interlock.report.views.checklist import RefusalView, checklist_view
    from interlock.report.views.exercises import Rehearsed
    from interlock.report.views.wording import sentence
    from interlock.study.checklist.goals import GoalFault
    from interlock.study.checklist.making import NoChecklist, make_checklist

    try:
        result = make_checklist(opened.compiled, goal_of(opened.compiled, *wanted), limits(), report)
        audited = None if isinstance(result, NoChecklist) else audited_checklist(result, limits(), report)
    except GoalFault as fault:
        raise click.UsageError(sentence(str(fault))) from fault
    code = code_of_checklist(result, audited)
    told = checklist_view(opened.label, result, audited, code)
    if isinstance(told, RefusalView) or isinstance(result, NoChecklist) or audited is None:
        assert isinstance(told, RefusalView)  # noqa: S101 -- of what is not made only that is told
        return told, code
    return Rehearsed(result, audited, told), code


def refuse(told: RefusalView, language: Translation) -> None:
    """Says why there is no checklist."""
    from interlock.report.text.checklist import checklist_report
    from interlock.report.text.lines import as_text

    click.echo(as_text(checklist_report(told, False, language)), err=True, nl=False)
