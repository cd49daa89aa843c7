"""Requirements as written become kernel requirements: one for every combination of the objects they range over."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import perhaps_ours
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.lowering import Lowering
from interlock.hold.compile.world import Thing
from interlock.hold.language.model import RequirementText
from interlock.hold.language.syntax import Path, Step
from interlock.kernel.expressions import FALSE, TRUE, Const, conj
from interlock.kernel.machine import Requirement, RequirementKind


@frozen
class Instance:
    """One kernel requirement, the text it comes from, its sentence, and what its variables stand for.

    A text gives no instance for objects of which the description alone rules it out, and none at all where a hold has
    nothing that it speaks of.
    """

    requirement: Requirement
    origin: RequirementText
    text: str
    bindings: tuple[tuple[str, str], ...]


def instantiate(
    texts: tuple[RequirementText, ...], lowering: Lowering, rules_of: Mapping[str, tuple[str, ...]]
) -> tuple[Instance, ...]:
    """All instances of all texts, in order; what is wrong with a text is kept in `lowering.faults`.

    `rules_of` gives the rules in which a deed happens.
    """
    return tuple(instance for text in texts for instance in _instances(text, lowering, rules_of))


def _instances(
    text: RequirementText, lowering: Lowering, rules_of: Mapping[str, tuple[str, ...]]
) -> Iterator[Instance]:
    def rules(steps: tuple[Step, ...], bound: Mapping[str, Thing]) -> frozenset[str]:
        return frozenset(rule for deed in lowering.steps(steps, bound) for rule in rules_of.get(deed, ()))

    for bound in _combinations(lowering, text.each, {}):
        if text.where is not None:
            before = len(lowering.faults)
            chosen = lowering.expression(text.where, bound)
            if not isinstance(chosen, Const):
                if len(lowering.faults) == before:
                    lowering.faults.append(
                        Diagnostic(
                            "where-not-fixed",
                            text.span,
                            f"`where` of {text.id!r} depends on the state of the hold",
                            "something that the description alone decides, such as `d is movable`",
                        )
                    )
                continue
            if not chosen.value:
                continue
        names = {variable: thing.phrase for variable, thing in bound.items()}
        ids = [thing.id for thing in bound.values()]
        faults = len(lowering.faults)
        situation = lowering.expression(text.when, bound) if text.when is not None else TRUE
        condition = lowering.expression(text.condition, bound) if text.condition is not None else TRUE
        # the description alone rules it out: there is no latch on that side, say; but what can be done must be possible
        faultless = len(lowering.faults) == faults
        if (
            text.kind is not RequirementKind.CAN
            and faultless
            and FALSE
            in (
                situation,
                conj(situation, condition) if text.kind is RequirementKind.NEVER else TRUE,
            )
        ):
            continue
        first = rules(text.first, bound)
        # what has to come first never happens: then what is to come after it cannot be brought about
        never = text.kind is RequirementKind.CAN and text.first and not first
        requirement = Requirement(
            f"{text.id}[{','.join(ids)}]" if ids else text.id,
            text.kind,
            FALSE if never else condition,
            situation,
            rules(text.steps, bound),
            first,
            rules(text.since, bound),
        )
        yield Instance(requirement, text, _say(text.text, names), tuple((v, t.id) for v, t in bound.items()))


def _say(text: str, names: Mapping[str, str]) -> str:
    known = perhaps_ours(text, names)
    if known is not None:
        return known
    for variable, phrase in names.items():
        text = text.replace("{" + variable + "}", phrase)
    return text


def _combinations(
    lowering: Lowering, groups: Sequence[tuple[str, Path]], bound: dict[str, Thing]
) -> Iterator[dict[str, Thing]]:
    if not groups:
        yield dict(bound)
        return
    (variable, path), *rest = groups
    for member in lowering.group(path, bound) or ():
        yield from _combinations(lowering, rest, {**bound, variable: member})
