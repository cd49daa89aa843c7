"""Limits of deferred items: which of them people alone keep, and what becomes of it where they forget one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.requirements import Instance
from interlock.hold.language.model import Device
from interlock.kernel.claims import Fails, Finding, Holds, Limits, ProgressCallback
from interlock.kernel.evaluator import truths_in
from interlock.kernel.expressions import Expr, conj, neg, signals_of
from interlock.kernel.machine import Question, question_of, with_order_monitors
from interlock.prove.decide import decide
from interlock.prove.invariants.lemmas import Lemmas
from interlock.study.sessions import Session, nobody
from interlock.study.verify import Verification


@dataclass(frozen=True, slots=True)
class KeptLimit:
    """The limit of a deferred device.

    `by_people`: it can be broken behind shut doors, so no interlock keeps it (None: that is not known).  What is
    `broken` can be where it is not kept, and cannot as long as it is; of what is `open` that is not known.
    """

    device: Device
    by_people: bool | None
    broken: tuple[Instance, ...] = ()
    open: tuple[Instance, ...] = ()


def limits_kept(
    compiled: CompiledHold,
    limits: Limits,
    report: ProgressCallback,
    proved: Verification | None = None,
    lemmas: Lemmas | None = None,
) -> tuple[KeptLimit, ...]:
    """Of every deferred device, in the order of the description; nothing is asked where there is none.

    What was `proved` of this hold is not asked again: what holds cannot be broken, limit or not.  `lemmas` are advice.
    All that is left is asked at once: hundreds of questions about one machine cost little more than one.
    """
    things = compiled.world.things
    within = {one: things[one.id].states["within_limit"] for one in compiled.hold.devices if one.deferred is not None}
    if not within:
        return ()
    machine = with_order_monitors(compiled.machine)
    shut = conj(*(things[door.id].states["closed"] for door in compiled.hold.doorways))
    known = {} if proved is None else _known(proved)
    asked = {one.requirement.id: one for one in compiled.instances if not one.requirement.kind.is_about_work}
    targets: dict[str, Expr] = {id: question_of(machine, one.requirement).target for id, one in asked.items()}
    questions: list[Question] = []
    found: dict[str, Finding] = {}
    for device, kept in within.items():
        own = conj(shut, neg(kept))
        if own in known:
            found[_id(device)] = known[own]
        else:
            questions.append(Question(_id(device), own, expects_run=True))
        for id, target in targets.items():
            before = known.get(target)
            # what asks for the limit itself is broken by definition
            if signals_of(target) & signals_of(kept) or isinstance(before, Holds):
                continue
            halves = {_id(device, id): neg(kept), _id(device, id, "kept"): kept}
            if isinstance(before, Fails) and proved is not None:
                end = truths_in(proved.machine, before.claim.trace.states[-1])
                found |= {half: before for half, so in halves.items() if end(so)}
            questions += [Question(half, conj(target, so)) for half, so in halves.items() if half not in found]
    engine = partial(decide, shortest=False, found=lemmas)
    found |= Session(machine, limits, report).claim_and_confirm(questions, (), engine, nobody)[0]
    return tuple(_kept(device, asked, found) for device in within)


def _known(proved: Verification) -> Mapping[Expr, Finding]:
    """What was decided, by what can or cannot be reached."""
    found = zip(proved.questions, proved.findings, strict=True)
    return {question.target: finding for question, finding in found if isinstance(finding, Holds | Fails)}


def _id(device: Device, *more: str) -> str:
    return "/".join((device.id, *more))


def _kept(device: Device, asked: Mapping[str, Instance], found: Mapping[str, Finding]) -> KeptLimit:
    broken, unknown = [], []
    for id, instance in asked.items():
        finding, otherwise = found.get(_id(device, id)), found.get(_id(device, id, "kept"))
        if isinstance(finding, Fails) and isinstance(otherwise, Holds):
            broken.append(instance)
        elif not isinstance(finding, Holds | None) and not isinstance(otherwise, Fails):
            unknown.append(instance)
    own = found[_id(device)]
    by_people = True if isinstance(own, Fails) else False if isinstance(own, Holds) else None
    return KeptLimit(device, by_people, tuple(broken), tuple(unknown))
