"""Limits of deferred items: which of them people alone keep, and what becomes of it where they forget one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.requirements import Instance
from interlock.hold.language.model import Device
from interlock.kernel.claims import Fails, Finding, Holds, Limits, ProgressCallback
from interlock.kernel.expressions import Expr, conj, neg, signals_of
from interlock.kernel.machine import Question, question_of, with_order_monitors
from interlock.prove.decide import decide
from interlock.study.sessions import Session, nobody


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


def limits_kept(compiled: CompiledHold, limits: Limits, report: ProgressCallback) -> tuple[KeptLimit, ...]:
    """Of every deferred device, in the order of the description; nothing is asked where there is none."""
    things = compiled.world.things
    within = {one: things[one.id].states["within_limit"] for one in compiled.hold.devices if one.deferred is not None}
    if not within:
        return ()
    machine = with_order_monitors(compiled.machine)
    shut = conj(*(things[door.id].states["closed"] for door in compiled.hold.doorways))
    asked = {one.requirement.id: one for one in compiled.instances if not one.requirement.kind.is_about_work}
    targets: dict[str, Expr] = {id: question_of(machine, one.requirement).target for id, one in asked.items()}
    questions = []
    for device, kept in within.items():
        questions.append(Question(_id(device), conj(shut, neg(kept)), expects_run=True))
        for id, target in targets.items():
            # what asks for the limit itself is broken by definition
            if not signals_of(target) & signals_of(kept):
                questions.append(Question(_id(device, id), conj(target, neg(kept))))
                questions.append(Question(_id(device, id, "kept"), conj(target, kept)))
    found, _ = Session(machine, limits, report).claim_and_confirm(
        questions, (), partial(decide, shortest=False), nobody
    )
    return tuple(_kept(device, asked, found) for device in within)


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
