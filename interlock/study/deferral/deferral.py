"""May the aircraft go with these items inoperative: what fails then, and what could be kept so that nothing does."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Hold, RequirementText
from interlock.kernel.claims import Fails, Holds, Limits, ProgressCallback, Trace, silent
from interlock.kernel.expressions import Expr, conj
from interlock.kernel.limiting import with_choices
from interlock.kernel.machine import Machine, Question, question_of, with_order_monitors
from interlock.prove.decide import decide
from interlock.prove.engine import clock_of, share_of
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.study.deferral.inoperative import Inoperative, compile_inoperative
from interlock.study.deferral.limitations import MILD, Kept, Limitation, can_be_kept, limitations_of
from interlock.study.deferral.restoring import Restoring, restore, stops
from interlock.study.sessions import Session, nobody
from interlock.study.verify import Answer, Status, Verification, verify

MOST_WEIGHED = 6
"""So many sets of limitations are weighed by what they leave."""


@dataclass(frozen=True, slots=True)
class Capability:
    """A kind of unit can be in a bay, secured, with the doors shut."""

    bay: str
    kind: str

    @property
    def id(self) -> str:
        """Unique in the hold."""
        return f"{self.kind} carried in {self.bay}"


@dataclass(frozen=True, slots=True)
class Option:
    """A smallest set of limitations, and what it leaves to be carried; None where that was not worked out.

    Without any one of them a run breaks a requirement: so it is the crew who keep each, no interlock does.
    """

    limitations: tuple[Limitation, ...]
    leaves: tuple[Capability, ...] | None = None
    unknown: tuple[Capability, ...] = ()


@dataclass(frozen=True, slots=True)
class Deferral:
    """What was found with some items inoperative.

    `broken` are what must not be and is; of these and of what can be done `before` fail without them too.  Limitations
    are looked for against what of it the items bring about (`added`) alone: what else breaks it nobody could tell from
    what breaks the hold as it is.  `open` are undecided.  `carried` is what can be carried without any item
    inoperative, `left` with them, before any limitation;
    of what is `unknown` neither was shown.
    `lost_work` is what could be done without the items inoperative and cannot now.  `sorts` are the sorts of
    limitation that were looked at.
    """

    compiled: CompiledHold
    items: tuple[Inoperative, ...]
    verification: Verification
    broken: tuple[Answer, ...]
    before: tuple[str, ...]
    open: tuple[Answer, ...]
    restoring: Restoring | None
    options: tuple[Option, ...]
    carried: tuple[Capability, ...]
    left: tuple[Capability, ...]
    unknown: tuple[Capability, ...]
    lost_work: tuple[Answer, ...]
    sorts: tuple[Kept, ...]

    @property
    def checked_by(self) -> str:
        """What checked the proofs again: those of the limitations, or where none are needed those of the hold."""
        if self.restoring is not None:
            return self.restoring.checked_by
        return next((one.checked_by for one in self.verification.findings if isinstance(one, Holds)), "")

    @property
    def is_disputed(self) -> bool:
        """Two parts of this program contradict each other."""
        return bool(self.verification.count(Status.DISPUTED)) or bool(self.restoring and self.restoring.disputed)

    @property
    def added(self) -> tuple[Answer, ...]:
        """What is broken and does not fail, as far as that is known, without the items inoperative."""
        return _added(self.broken, self.before)

    @property
    def needs_none(self) -> bool:
        """Nothing is that must not be: no limitation is needed."""
        return not self.broken and not self.open


def defer(
    hold: Hold,
    compiled: CompiledHold,
    items: Sequence[Inoperative],
    texts: tuple[RequirementText, ...],
    size: int,
    limits: Limits,
    report: ProgressCallback = silent,
    *,
    wider: bool = False,
    chosen: Sequence[str] | None = None,
) -> Deferral | None:
    """What becomes of a hold with these items inoperative; None where that makes no hold.

    `compiled` is the hold without, compiled with the same requirements.  Limitations are looked for in sets of at most
    `size`, those of the milder sorts first, or of all sorts where `wider`.  `chosen` are requirements, where not
    all are asked about.
    """
    clock = clock_of(limits)
    within = partial(share_of, limits, clock)
    without = compile_inoperative(hold, items, texts, compiled.situation)
    if without is None:
        return None
    lemmas = Lemmas()
    found = verify(without, decide, within(0.4), report, chosen, lemmas=lemmas)
    known = Remembered(lemmas.clauses)
    failing = [one for one in found.answers if one.status is Status.FAILS]
    ids = {one.instance.requirement.id for one in failing}
    known_before = verify(compiled, decide, within(0.4), report, sorted(ids)) if ids else None
    answered = () if known_before is None else known_before.answers
    before = tuple(a.instance.requirement.id for a in answered if a.status is Status.FAILS)
    unsafe = [one for one in failing if not one.instance.requirement.kind.is_about_work]
    added = _added(unsafe, before)
    restoring, sorts = _restore(without, items, added, size, within(0.7), report, wider, known) if added else (None, ())
    carried = _carried(compiled.machine, _capabilities(compiled), within(0.3), report, known)
    wanted = {one: target for one, target in _capabilities(without).items() if one in carried.runs}
    left = _carried(without.machine, wanted, within(0.4), report, known)
    undecided = tuple(one for one in found.answers if one.status is Status.UNDECIDED)
    # a set suffices only where it does for all: nothing is left that no limitation stops, or that is not known
    suffice = restoring is not None and not restoring.hopeless and not undecided
    options = tuple(_options(without, items, restoring, left, within, report, known)) if suffice else ()
    return Deferral(
        without,
        tuple(items),
        found,
        tuple(unsafe),
        before,
        undecided,
        restoring,
        options,
        tuple(carried.runs),
        tuple(left.runs),
        (*carried.unknown, *left.unknown),
        _added([one for one in failing if one not in unsafe], before),
        sorts,
    )


def _added(failing: Sequence[Answer], before: Sequence[str]) -> tuple[Answer, ...]:
    return tuple(one for one in failing if one.instance.requirement.id not in before)


def _restore(
    compiled: CompiledHold,
    items: Sequence[Inoperative],
    unsafe: Sequence[Answer],
    size: int,
    within: Limits,
    report: ProgressCallback,
    wider: bool,
    remembered: Remembered,
) -> tuple[Restoring, tuple[Kept, ...]]:
    machine = with_order_monitors(compiled.machine)
    questions = [question_of(machine, one.instance.requirement) for one in unsafe]
    known = [
        (q.id, one.finding.claim.trace)
        for q, one in zip(questions, unsafe, strict=True)
        if isinstance(one.finding, Fails)
    ]
    clock = clock_of(within)
    for sorts in (tuple(Kept),) if wider else (MILD, tuple(Kept)):
        known_limits = limitations_of(compiled, [one.id for one in items], sorts)
        forbidding = [each for one in known_limits for each in one.forbidding]
        found = restore(machine, questions, known, forbidding, size, share_of(within, clock), report, remembered)
        of = {one.name: one for one in known_limits}
        found = replace(found, sets=tuple(names for names in found.sets if can_be_kept([of[name] for name in names])))
        if found.reason or found.disputed or (found.sets and not found.hopeless):
            break
    return found, sorts


# ---- what can still be carried


@dataclass(frozen=True, slots=True)
class _Carried:
    """What can be carried, each with a run that shows it, and of what that is not known."""

    targets: Mapping[Capability, Expr]
    runs: Mapping[Capability, Trace]
    unknown: tuple[Capability, ...]


def _capabilities(compiled: CompiledHold) -> Mapping[Capability, Expr]:
    """What to look for: a unit of the kind stands in the bay and is secured, and all doors are closed."""
    world = compiled.world
    shut = conj(*(world.things[door.id].states["closed"] for door in compiled.hold.doorways))
    return {
        Capability(bay, unit.id): conj(states[unit.id], states["secured"], shut)
        for bay in compiled.floor.bays
        for unit in compiled.hold.units
        if unit.id in (states := world.things[bay].states)
    }


def _carried(
    machine: Machine, targets: Mapping[Capability, Expr], within: Limits, report: ProgressCallback, known: Remembered
) -> _Carried:
    questions = {one: Question(one.id, target, expects_run=True) for one, target in targets.items()}
    session = Session(machine, within, report)
    found, _ = session.claim_and_confirm(
        tuple(questions.values()), (), partial(decide, found=Lemmas(known), shortest=False), nobody
    )
    findings = {one: found[question.id] for one, question in questions.items()}
    runs = {one: finding.claim.trace for one, finding in findings.items() if isinstance(finding, Fails)}
    return _Carried(
        targets, runs, tuple(one for one, finding in findings.items() if not isinstance(finding, Fails | Holds))
    )


def _options(
    compiled: CompiledHold,
    items: Sequence[Inoperative],
    restoring: Restoring | None,
    left: _Carried,
    within: Callable[[float], Limits],
    report: ProgressCallback,
    remembered: Remembered,
) -> Iterator[Option]:
    """The sets, each with what it leaves: first those that leave most, then those that were not weighed."""
    if restoring is None:
        return
    known = {one.name: one for one in limitations_of(compiled, [one.id for one in items])}
    weighed = []
    for names in restoring.sets[:MOST_WEIGHED]:
        limitations = tuple(known[name] for name in known if name in names)
        weighed.append(_weighed(compiled.machine, limitations, left, within(0.3), report, remembered))
    yield from sorted(weighed, key=_rank)
    for names in restoring.sets[MOST_WEIGHED:]:
        yield Option(tuple(known[name] for name in known if name in names))


def _weighed(
    machine: Machine,
    limitations: tuple[Limitation, ...],
    left: _Carried,
    within: Limits,
    report: ProgressCallback,
    known: Remembered,
) -> Option:
    """What can be carried although these are kept: what a known run shows that none of them stops, else asked."""
    forbidding = [each for one in limitations for each in one.forbidding]
    free = [one for one, run in left.runs.items() if not any(stops(machine, limit, run) for limit in forbidding)]
    open_targets = {one: left.targets[one] for one in left.runs if one not in free}
    if not open_targets:
        return Option(limitations, tuple(free), left.unknown)
    kept = with_choices(machine, forbidding, [{one.name} for one in forbidding])
    asked = _carried(kept, open_targets, within, report, known)
    leaves = tuple(one for one in left.runs if one in free or one in asked.runs)
    return Option(limitations, leaves, (*left.unknown, *asked.unknown))


def _rank(option: Option) -> tuple[int, int, list[int]]:
    order = list(Kept)
    leaves = len(option.leaves or ())
    return -leaves, len(option.limitations), [order.index(one.kept) for one in option.limitations]
