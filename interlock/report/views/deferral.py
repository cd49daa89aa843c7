"""What may be deferred, as it is told, whatever the format."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.loader import FileRead
from interlock.kernel.claims import Undecided
from interlock.report.views.assumptions import CAUTIONS, assumptions_of
from interlock.report.views.deferral_facts import (
    CaseFacts,
    DeferralFacts,
    FailingFacts,
    ItemFacts,
    LimitationFacts,
    OptionFacts,
    Result,
)
from interlock.report.views.facts import PROGRAM, what_is_asked
from interlock.report.views.harm import NOTE, label_by_severity
from interlock.report.views.identification import identification
from interlock.report.views.proof import story_facts
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of, listed, sentence, shortened
from interlock.study.deferral.deferral import Capability, Deferral, Option
from interlock.study.deferral.inoperative import Inoperative
from interlock.study.verify import Answer

DEFERRED = (
    "What is inoperative is so from the start and stays so; all else works, but for the failures that the description "
    "declares.",
    "Limitations are kept by the crew at every step: that people may forget one is not examined here. A position is "
    "kept empty when a door is shut; what comes into it behind the shut door by itself is examined.",
)
DEFERRAL_CAUTIONS = (
    "This approves no deferral. What may be inoperative, for how long, and with which procedures is said by the "
    "approved minimum equipment list of the operator and by its authority.",
    *CAUTIONS,
)
NOTHING_CARRIED = "Nothing can be carried then: no unit comes to stand secured behind shut doors, whatever is done."
MOST_LOST = 4
"""So much of what is not carried is named in the table of all cases."""
INTERVAL = "repair interval: as the operator's approved list says"
_COUNTED: Mapping[Result, str] = {
    "none needed": "without limitation",
    "needs limitations": "with limitations",
    "no limitation found": "for which no limitation was found",
    "fails anyway": "with which nothing else fails than without, where something does",
    "undecided": "undecided",
    "disputed": "disputed",
    "no hold": "that make no hold",
}
"""How cases of each outcome are counted."""


@frozen
class Relief:
    """A draft of one line of a list of what may be inoperative, in the trade's columns."""

    item: str
    installed: str
    required: str
    remarks: tuple[str, ...]


@frozen
class DeferralView:
    """What is told."""

    facts: DeferralFacts

    @property
    def tone(self) -> Tone:
        """That of the worst that came out."""
        return {0: Tone.GOOD, 1: Tone.BAD, 4: Tone.LOUD}.get(self.facts.exit_code, Tone.OPEN)

    @property
    def is_declarable(self) -> bool:
        """A file can say it: one case, of devices that stay in a state, with a limit that an expression can say."""
        first, *others = self.facts.cases
        return not others and all(one.stays for one in first.items) and limit_of(first) is not None

    @property
    def summary(self) -> str:
        """`3 cases: 2 without limitation; 1 with limitations`."""
        results = [case.result for case in self.facts.cases]
        counted = [f"{results.count(one)} {_COUNTED[one]}" for one in dict.fromkeys(results)]
        return f"{count_of(len(results), 'case')}: {'; '.join(counted)}"

    def result(self, case: CaseFacts) -> str:
        """What came out of one case, in a sentence."""
        anyway = ""
        if broken_anyway := len(failing_anyway(case)):
            which, are = ("this", "is") if broken_anyway == 1 else (f"these {broken_anyway}", "are")
            anyway = (
                f" The hold fails with nothing inoperative too, in {count_of(broken_anyway, 'requirement')}: no "
                f"limitation is for that. What this adds to {which} does not show before {which} {are} mended "
                "(interlock prove and repair); then ask again."
            )
        carried = f" {NOTHING_CARRIED}" if _carries_nothing(case) else ""
        undone = f" {count_of(len(case.lost_work), 'thing')} can no longer be done." if case.lost_work else ""
        match case.result:
            case "none needed":
                return (
                    "No limitation is needed: with this inoperative nothing is possible that must not be "
                    f"(proved, checked again by {case.checked_by}).{carried}{undone}"
                )
            case "needs limitations":
                number = count_of(len(case.options), "smallest set")
                return (
                    f"It takes limitations: {number} of at most {case.size} of them found, each proved to suffice "
                    f"(checked again by {case.checked_by}); with any other set of these that can be kept and has none "
                    f"of them within it, one of {count_of(case.runs, 'run')} breaks a requirement."
                    f"{anyway}{carried}{undone}"
                )
            case "no limitation found":
                return f"No set of at most {case.size} of the limitations that were looked at suffices.{anyway}"
            case "fails anyway":
                return f"Nothing fails with this that does not fail without.{anyway}{carried}{undone}"
            case "no hold":
                return "With this inoperative the description makes no sense as a hold; nothing was examined."
            case "disputed":
                return "Two parts of this program contradict each other. Use no result of this run."
        return f"UNDECIDED: {case.why}."

    def relief(self, case: CaseFacts) -> Iterator[Relief]:
        """Drafts for each item, with the best set of limitations.

        None where nothing is known to suffice, or the hold fails as it is: it has to be mended, not deferred for.
        """
        if case.result not in ("none needed", "needs limitations") or failing_anyway(case):
            return
        best = case.options[0].limitations if case.options else ()
        for one in case.items:
            remarks = [f"(O) {limit.order[0].upper()}{limit.order[1:]}." for limit in best]
            remarks += [f"(O) {said}" for said in _no_longer(case)]
            remarks += [
                f"(M) Verify that it is inoperative in this way and in no other: {one.text}. Mark it inoperative."
            ]
            # the proof is about this one: of its kind no other may be inoperative in its place
            some = one.installed > 1
            installed = f"{one.installed} of its kind" if some else "1"
            required = f"{one.installed - 1}: all but this one" if some else "0"
            yield Relief(one.name, installed, required, (*remarks, INTERVAL))

    def procedures(self, case: CaseFacts) -> Iterator[tuple[str, tuple[str, ...]]]:
        """Drafts of the procedures that go with it, as steps to tick: a title that says who and when, and the steps."""
        if not any(self.relief(case)):
            return
        for one in case.items:
            yield (
                f"(M) Before dispatch, {one.name}",
                (
                    f"See that it is so: {one.text}. See that nothing else is wrong with it.",
                    "Make sure that it stays as it is.",
                    "Mark it inoperative where whoever works it sees the mark.",
                    "Enter it as the approved procedures say.",
                ),
            )
        if lost := tuple(_no_longer(case)):
            yield "(O) Before loading", lost
        told: dict[str, list[str]] = {}
        for limit in case.options[0].limitations if case.options else ():
            told.setdefault(limit.moment, []).append(sentence(limit.order))
        for moment, orders in told.items():
            yield f"(O) {sentence(moment).rstrip('.')}", tuple(orders)

    @property
    def table(self) -> Iterator[tuple[str, str, str]]:
        """All cases in short: what is inoperative, what is to be kept then, what can still be carried."""
        for case in self.facts.cases:
            best = case.options[0] if case.options else None
            kept = _IN_SHORT.get(case.result, "")
            if best is not None:
                others = len(case.options) - 1
                kept = listed([one.order for one in best.limitations])
                kept += f" (or one of {count_of(others, 'other set')})" if others else ""
            left = f"{case.left}" if best is None or best.leaves is None else f"{len(best.leaves)}"
            if _carries_nothing(case):
                kept += "; nothing can be carried"
            elif lost := _lost(case):
                kept += f"; carry none of these: {shortened(lost, MOST_LOST)}"
            if case.lost_work:
                kept += f"; {count_of(len(case.lost_work), 'thing')} can no longer be done"
            is_known = case.carried and case.result in ("none needed", "needs limitations")
            yield listed([one.text for one in case.items]), kept, f"{left} of {case.carried}" if is_known else "-"


_IN_SHORT: Mapping[Result, str] = {
    "none needed": "no limitation",
    "no limitation found": "no limitation looked at suffices",
    "fails anyway": "the hold fails as it is: mend that first",
    "undecided": "undecided",
    "disputed": "DISPUTED: do not use",
    "no hold": "it makes no hold",
}


def limit_of(case: CaseFacts) -> str | None:
    """What is to be so behind shut doors, as an expression: of the best set that can be said so; None: of no set.

    Empty where no limitation is needed.
    """
    if case.result == "none needed":
        return ""
    for option in case.options:
        said = [one.condition for one in option.limitations if one.condition is not None]
        if len(said) == len(option.limitations):
            return " and ".join(said)
    return None


def failing_anyway(case: CaseFacts) -> tuple[FailingFacts, ...]:
    """Of what must not be and is, that which is so with nothing inoperative too."""
    return tuple(one for one in case.failing if one.id in case.failed_before)


def _carries_nothing(case: CaseFacts) -> bool:
    """Whether it is known that nothing can be carried, with the best limitations where it takes some."""
    best = case.options[0] if case.options else None
    if best is not None:
        return bool(case.carried) and best.leaves == () and not best.unknown
    return bool(case.carried) and not case.left and not case.unknown


def _lost(case: CaseFacts) -> list[str]:
    """What can no longer be carried, by the items and by the best limitations."""
    return [*case.lost, *((case.options[0].takes or ()) if case.options else ())]


def _no_longer(case: CaseFacts) -> Iterator[str]:
    """What whoever loads has to know, since it could be done before: what is not carried, what cannot be done."""
    if _carries_nothing(case):
        yield NOTHING_CARRIED
    elif lost := _lost(case):
        yield f"Carry none of these, they cannot be secured behind shut doors: {listed(lost)}."
    # that a bay can be filled is told by what can be carried
    grave = (one.text for one in case.lost_work if label_by_severity(one.severity, one.scheme) != NOTE)
    yield from (sentence(f"this no longer holds: {text}") for text in dict.fromkeys(grave))


def deferral_view(
    label: str,
    compiled: CompiledHold,
    cases: Sequence[tuple[Sequence[Inoperative], Deferral | None]],
    size: int,
    code: int,
    read: Sequence[FileRead] = (),
) -> DeferralView:
    """What is told of the cases; `label` is what the reader calls the hold, `read` are the files that were read."""
    facts = DeferralFacts(
        1,
        PROGRAM,
        code,
        label,
        compiled.hold.title,
        tuple(_case(compiled, items, found, size) for items, found in cases),
        (*DEFERRED, *assumptions_of(compiled)),
        DEFERRAL_CAUTIONS,
        identification(read),
    )
    return DeferralView(facts)


def _case(compiled: CompiledHold, items: Sequence[Inoperative], found: Deferral | None, size: int) -> CaseFacts:
    told = tuple(
        ItemFacts(one.id, one.name, one.way, one.state is not None, one.text, _installed(compiled, one))
        for one in items
    )
    if found is None:
        return CaseFacts(told, "no hold", (), (), (), (), size, (), 0, 0, 0, (), (), "", "")
    restoring = found.restoring
    hopeless = restoring.hopeless if restoring is not None else {}
    why = listed(list(dict.fromkeys(a.finding.reason for a in found.open if isinstance(a.finding, Undecided))))
    why = why or ("" if restoring is None else restoring.reason)
    return CaseFacts(
        told,
        _result(found, why),
        tuple(_failing(one, one.instance.requirement.id in hopeless) for one in found.broken),
        tuple(_failing(one, False) for one in found.lost_work),
        found.before,
        tuple(_option(found, one) for one in found.options),
        size,
        tuple(found.sorts),
        0 if restoring is None else len(restoring.runs),
        len(found.carried),
        len(found.left),
        _texts(compiled, (one for one in found.carried if one not in (*found.left, *found.unknown))),
        _texts(compiled, found.unknown),
        found.checked_by,
        why,
    )


def _result(found: Deferral, why: str) -> Result:
    if found.is_disputed:
        return "disputed"
    if why:
        return "undecided"
    if found.needs_none:
        return "none needed"
    if not found.added:
        return "fails anyway"
    return "needs limitations" if found.options else "no limitation found"


def _installed(compiled: CompiledHold, item: Inoperative) -> int:
    kinds = {device.id: device.kind for device in compiled.hold.devices}
    return sum(kind == kinds[item.id] for kind in kinds.values()) if item.id in kinds else 1


def _failing(answer: Answer, hopeless: bool) -> FailingFacts:
    return FailingFacts(
        *what_is_asked(answer.instance),
        hopeless,
        None if answer.story is None else story_facts(answer.story),
    )


def _option(found: Deferral, option: Option) -> OptionFacts:
    limitations = tuple(
        LimitationFacts(one.kept, one.of, one.order, one.moment, one.condition) for one in option.limitations
    )
    if option.leaves is None:
        return OptionFacts(limitations, None, None, ())
    taken = (one for one in found.left if one not in option.leaves and one not in option.unknown)
    texts = (_texts(found.compiled, ones) for ones in (option.leaves, taken, option.unknown))
    leaves, takes, unknown = texts
    return OptionFacts(limitations, leaves, takes, unknown)


def _texts(compiled: CompiledHold, capabilities: Iterable[Capability]) -> tuple[str, ...]:
    names = {unit.id: unit.name for unit in compiled.hold.units}
    return tuple(f"{names[one.kind]} in {one.bay}" for one in capabilities)
