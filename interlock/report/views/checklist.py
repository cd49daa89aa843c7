"""A checklist, or why there is none, as it is told, whatever the format."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from msgspec import UNSET

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import joined, linked, say, say_many
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.requirements import Instance
from interlock.hold.loader import FileRead
from interlock.kernel.claims import Disputed, Fails, Holds
from interlock.kernel.evaluator import State
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.checklist_checks import checks_of
from interlock.report.views.checklist_facts import (
    Body,
    HazardousSlip,
    Instead,
    Made,
    OrderFacts,
    PartFacts,
    Refused,
    SlipsFacts,
    StepFacts,
    StepSlip,
)
from interlock.report.views.checklist_guards import Danger, check_guards, dangers_of, guards_of, noticed, slip_words
from interlock.report.views.checklist_words import (
    audit_findings,
    caution_of,
    claims_of,
    goal_words,
    instruction_of,
    leg_title,
    preconditions,
    results_of,
)
from interlock.report.views.facts import PROGRAM
from interlock.report.views.harm import SCHEME
from interlock.report.views.identification import Identification, identification
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.kept_limits import limit_words
from interlock.report.views.moving import people_words
from interlock.report.views.needs import why_needed
from interlock.report.views.never import never_facts
from interlock.report.views.slips import counted_text, effect_counts, fewest_rows, followed_text, kind_counts
from interlock.report.views.tones import Tone
from interlock.study.checklist.audit import ChecklistAudit
from interlock.study.checklist.goals import Goal, Load, Unload
from interlock.study.checklist.making import Checklist, Leg, NoChecklist, Step
from interlock.study.checklist.nearest_goals import Nearest
from interlock.study.checklist.needs import needs_of
from interlock.study.checklist.partial_orders import free_runs
from interlock.study.procedure.audit import Overall, Verdict
from interlock.study.procedure.slip_audit import Effect, SlipResult
from interlock.study.procedure.slips import TAXONOMY


@frozen
class PartView:
    """One part as it is told.

    `runs` are (first, last) numbers of steps whose order is free among themselves; `orders` says how many orders there
    are and whether a shorter way was looked for.  `noticed` tells by the number of a step where its omission shows.
    """

    facts: PartFacts
    runs: tuple[tuple[int, int], ...]
    orders: str
    noticed: Mapping[int, str]


@frozen
class ChecklistView:
    """What is told of a checklist; `states` are those of the hold at the start and after each part, for pictures."""

    facts: Made
    parts: tuple[PartView, ...]
    summary: str
    tone: Tone
    compiled: CompiledHold
    states: tuple[State, ...]


@frozen
class RefusalView:
    """What is told where there is no checklist.

    `aim` is what no way was found to, `reachable` says that it could be reached otherwise, `dispute` what does not fit;
    each may be empty.  `instead` explains the goals that are proposed in its place.
    """

    facts: Refused
    aim: str
    reachable: str
    dispute: str
    instead: tuple[str, ...]


_AIMS = {
    "open": "open {what}",
    "load": "load {what}",
    "unload": "unload {what}",
    "shut": "shut {what}",
    "reach": "reach {what}",
}


def checklist_view(
    label: str,
    result: Checklist | NoChecklist,
    audited: ChecklistAudit | None,
    code: int,
    read: Sequence[FileRead] = (),
) -> ChecklistView | RefusalView:
    """What is told of the result; `label` is what the reader calls the hold, `code` the exit code, `read` the
    files that were read.

    Warnings stand where the audit, which a checklist must have, found slips that lead to a hazard.
    """
    compiled, identified = result.compiled, identification(read)
    if isinstance(result, NoChecklist):
        return _refusal(label, result, code, identified)
    assert audited is not None  # noqa: S101 -- what is handed out was audited
    writer = InstructionWriter(compiled)
    instances = {instance.requirement.id: instance for instance in compiled.instances}
    dangers = dangers_of(audited)
    leg_of = {step.number: leg for leg in result.legs for step in leg.steps}
    needs = needs_of(result)
    whys = {step.number: why_needed(writer, step, leg_of, needs) for step in result.steps}
    parts = tuple(_part(writer, leg, following, audited, instances, dangers, whys) for leg, following in result.in_turn)
    body = Body(
        tuple(preconditions(writer, result)),
        tuple(part.facts for part in parts),
        result.check.states,
        result.check.requirements,
        tuple(claims_of(result, audited)),
        _slips(writer, result, audited),
        audited.audit.open,
    )
    summary, tone = _summary(result, audited)
    states = (result.start, *(leg.end for leg in result.legs))
    title, goal = compiled.hold.title, goal_words(compiled, result.goal)
    cautions = (*CAUTIONS, *map(limit_words, audited.audit.limits), people_words(compiled))
    facts = Made(3, PROGRAM, code, label, title, compiled.situation, goal, body, SCHEME, cautions, identified)
    return ChecklistView(facts, parts, summary, tone, compiled, states)


def _part(
    writer: InstructionWriter,
    leg: Leg,
    following: Leg | None,
    audited: ChecklistAudit,
    instances: Mapping[str, Instance],
    dangers: Sequence[Danger],
    whys: Mapping[int, str],
) -> PartView:
    first = leg.steps[0].number if leg.steps else 0
    end = first + len(leg.steps)
    checks = tuple(checks_of(writer, leg, following))
    facts = PartFacts(
        leg_title(writer, leg),
        leg.timed,
        tuple(_step(writer, step, audited, instances, dangers, whys.get(step.number, "")) for step in leg.steps),
        tuple(check.text for check in checks),
        check_guards(audited, first, end, instances, dangers),
        tuple(audit_findings(audited, first, end, checks)),
        OrderFacts(tuple((first + earlier, first + later) for earlier, later in leg.freedom.pairs), leg.freedom.count),
        leg.shortness.length,
        leg.shortness.excluded,
        leg.shortness.is_shown,
        caution_of(writer, leg),
    )
    runs = free_runs(leg.freedom.before) if leg.freedom.count else ()
    return PartView(
        facts,
        tuple((first + low, first + high) for low, high in runs),
        joined(list(_orders(leg))),
        {step.number: said for step in leg.steps if (said := noticed(step, audited))},
    )


def _step(
    writer: InstructionWriter,
    step: Step,
    audited: ChecklistAudit,
    instances: Mapping[str, Instance],
    dangers: Sequence[Danger],
    why: str,
) -> StepFacts:
    return StepFacts(
        step.number,
        instruction_of(writer, step),
        results_of(writer, step),
        why,
        guards_of(writer, step, audited, instances, dangers),
        tuple(step.execution.rules),
        tuple(_step_slip(one, audited) for one in audited.slips_at(step.number)),
    )


def _step_slip(one: SlipResult, audited: ChecklistAudit) -> StepSlip:
    return StepSlip(
        one.slip.kind.word,
        one.slip.kind.mode or None,
        None if one.slip.instead is None else one.slip.instead.action.text,
        one.effect,
        one.hazards,
        one.impossible,
        tuple(dict.fromkeys(audited.step_of(action) for action in one.shows_at)),
    )


def _orders(leg: Leg) -> Iterator[str]:
    """How many orders do the same, and whether there is a shorter way."""
    several = len(leg.steps) > 1
    match leg.freedom.count:
        case None if several:
            yield say("Only this sequence was examined.")
        case 1 if several:
            yield say("No other sequence of these steps does the same.")
        case None | 1:
            pass
        case count:
            yield say("{count} sequences of these steps do the same, this one included.", count=count)
    if leg.shortness.is_shown:
        yield (
            say(
                "Shortest: a search found no way of fewer than {length} steps, steps of the equipment counted.",
                length=leg.shortness.length,
            )
        )
    else:
        yield say("Not shown shortest.")


def _slips(writer: InstructionWriter, checklist: Checklist, audited: ChecklistAudit) -> SlipsFacts | None:
    slips = audited.audit.slips
    if slips is None:
        return None
    steps = {step.number: step for step in checklist.steps}
    said = {one.slip.id: slip_words(writer, steps, audited, one.slip) for one in slips.results}
    return SlipsFacts(
        followed_text(slips),
        TAXONOMY,
        effect_counts(slips),
        kind_counts(slips.results),
        tuple(HazardousSlip(said[one.slip.id], one.hazards) for one in slips.results if one.effect is Effect.HAZARD),
        fewest_rows(slips, lambda slip: said[slip.id]),
        counted_text(slips),
    )


def _summary(checklist: Checklist, audited: ChecklistAudit) -> tuple[str, Tone]:
    """One line for the end."""
    if audited.audit.overall is Overall.DISPUTED:
        return say("DISPUTED: two parts of this program contradict each other; do not use this"), Tone.LOUD
    legs = say_many("{number} part", "{number} parts", len(checklist.legs))
    steps = say_many("{number} step", "{number} steps", len(checklist.steps))
    text = say("checklist made and proved: {legs}, {steps}", legs=legs, steps=steps)
    if not audited.followed:
        return say("{text}; slips not examined, so warnings may be missing", text=text), Tone.OPEN
    amiss = sum(one.verdict is not Verdict.POSSIBLE for one in audited.audit.actions)
    if amiss:
        return say_many(
            "{text}; {number} action depending on timing: see AUDIT",
            "{text}; {number} actions depending on timing: see AUDIT",
            amiss,
            text=text,
        ), Tone.OPEN
    return text, Tone.GOOD


def _refusal(label: str, found: NoChecklist, code: int, identified: Identification) -> RefusalView:
    compiled = found.compiled
    finding, aim, near = found.finding, found.aim, found.nearest
    checked = finding.checked_by if isinstance(finding, Holds) else None
    instead = None
    if near is not None:
        instead = Instead(
            tuple("+".join(unit.cells) for unit in near.in_the_way),
            tuple("+".join(unit.cells) for unit in near.left_out),
            tuple(map(_option, near.goals)),
        )
    what = ""
    if aim is not None:
        what = ", ".join("+".join(unit.cells) for unit in aim.units) or ", ".join(aim.doors) or aim.text
    reachable = ""
    if isinstance(finding, Fails):
        reachable = say(
            "From the start of the hold {steps} of crew and equipment reach the goal of this "
            "part in some order, but no plan was found that goes on from the parts before it.",
            steps=say_many("{number} step", "{number} steps", finding.claim.trace.depth),
        )
    return RefusalView(
        Refused(
            3,
            PROGRAM,
            code,
            label,
            compiled.hold.title,
            compiled.situation,
            goal_words(compiled, found.goal),
            None,
            found.reason,
            found.broken,
            isinstance(finding, Holds),
            instead,
            checked,
            CAUTIONS,
            identified,
            UNSET if found.why is None else never_facts(found.why),
        ),
        "" if aim is None else say(_AIMS[aim.what], what=what) if what else aim.what,
        reachable,
        finding.what if isinstance(finding, Disputed) else "",
        () if near is None else tuple(_nearest(compiled, near)),
    )


def _nearest(compiled: CompiledHold, near: Nearest) -> Iterator[str]:
    names = {unit.id: unit.name for unit in compiled.hold.units}
    for unit in near.in_the_way:
        yield say("The {unit} in {cells} stands in the way.", unit=names[unit.kind], cells=linked(unit.cells))
    for unit in near.left_out:
        yield say(
            "No plan was found that takes the {unit} to {cells}.", unit=names[unit.kind], cells=linked(unit.cells)
        )


def _option(goal: Goal) -> tuple[str, str]:
    """How the goal is asked for, option and value; every word of it was planned."""
    match goal:
        case Unload(bays=bays):
            return "--unload", ",".join(bays)
        case Load(wanted=wanted):
            return "--load", ",".join(f"{bay}={kind}" for bay, kind in wanted)
    return "--goal", repr(goal.text)
