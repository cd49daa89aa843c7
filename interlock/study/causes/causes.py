"""What to blame where a requirement fails: the one thing that, were it otherwise, would restore it.

Every guess of `remedies` that makes a difference to the run is tried.  The best is the one with which most of what
fails holds, proved, while what can be done still can.  It is a hint, not a finding: another thing may be wrong as well.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from interlock.diagnostics.spans import Span
from interlock.hold.alike import Alike
from interlock.hold.compile.restraint import side_of
from interlock.hold.language.directions import Direction
from interlock.hold.language.syntax import Syntax, Truth
from interlock.hold.origin import Condition, Fact, Meaning, Sort
from interlock.hold.wiring import Wire, wires_of
from interlock.kernel.claims import Fails, Trace
from interlock.kernel.expressions import FALSE, Ref, variables_of
from interlock.kernel.machine import Requirement
from interlock.study.causes.remedies import (
    Likeliness,
    Remedy,
    absence,
    added_beside,
    called,
    contact_remedies,
    crossed_commands,
    device_remedies,
    devices_near,
    every_contact,
    like_wires,
    like_zones,
    listed,
    odd_door_steps,
    odd_sensors,
    tighter,
    unused_contacts,
)
from interlock.study.causes.trials import Bench, signals_under
from interlock.study.verify import Answer, Status

MOST_BUILT = 24
"""Guesses of one sort that are built and run for one requirement."""
FEW_BUILT = 8
"""So many where nobody asked for more: what is less likely has its turn as well."""
MOST_PROVED = 8
"""Guesses of one sort that are put to proof for one requirement."""
MOST_UNASKED = 30
"""So much work is done for all requirements together, where nobody asked for more: as much as it is, about, to ..."""
LOOKED, BUILT, PROVED = 1, 1, 4
"""... see what a guess leaves, to build a hold, and to put one to proof."""
MOST_LOST = 0.05
"""The part of what can be done that a guess may cost at most: a hold in which nothing moves breaks nothing."""


@dataclass(frozen=True, slots=True)
class Cause:
    """What to look at first: `item` with its `id` and place, what is so of it, and what that is held against.

    `requirements` are the ids of those that fail and, were it otherwise, would hold: proved on the model, where
    `proved`; else it follows from the description that they must fail as it is.  `lost` could then not be done any
    more, or no way to it is soon found.
    """

    id: str
    item: str
    span: Span
    found: str
    beside: str
    requirements: tuple[str, ...]
    proved: bool
    lost: tuple[str, ...]


def causes_of(bench: Bench, explained: Collection[str] = (), thorough: bool = True) -> Iterator[Cause]:
    """One cause for each of what fails by a run, as far as one is found in time; those that share one once.

    For those that are `explained` none is looked for.  Unless it is `thorough`, few guesses are put to proof, none
    that is less likely than those of which one would restore all that fails, and none about the side of a bay where
    something is missing.
    """
    told: dict[tuple[str, str], Cause] = {}
    for cause in _Search(bench, explained, thorough).causes():
        same = told.get((cause.item, cause.beside))
        joined = cause if same is None else replace(same, requirements=(*same.requirements, *cause.requirements))
        told[joined.item, joined.beside] = joined
    yield from told.values()


@dataclass(frozen=True, slots=True)
class _Tried:
    remedy: Remedy
    restored: tuple[str, ...]
    vacuous: int
    lost: tuple[str, ...]

    @property
    def merit(self) -> tuple[float, ...]:
        likely = self.remedy.likeliness
        return -len(self.lost), len(self.restored), -self.vacuous, -likely, self.remedy.votes


class _Search:
    def __init__(self, bench: Bench, explained: Collection[str], thorough: bool) -> None:
        self.bench = bench
        self.thorough = thorough
        self.work = 0
        self.compiled = bench.verification.compiled
        self.alike = Alike(self.compiled.hold, self.compiled.floor)
        self.reach: dict[Meaning, int] = {}
        self.open = [id for id in bench.bad if id not in explained]
        self.bare: set[str] = set()
        """Ids of the sides of bays where a device is missing."""
        self.most_lost = MOST_LOST * len(bench.good)

    def causes(self) -> Iterator[Cause]:
        answers = [a for a in self.bench.verification.answers if a.instance.requirement.id in self.bench.bad]
        answers.sort(key=lambda a: a.finding.claim.trace.depth if isinstance(a.finding, Fails) else 0)
        # what is not there needs no guess, and a guess that restores it as well would hide it
        for find in (self._missing, self._guessed):
            for answer in answers:
                if answer.instance.requirement.id in self.open and not self.bench.is_over():
                    cause = find(answer)
                    if cause is not None:
                        self.open = [id for id in self.open if id not in cause.requirements]
                        yield cause

    # ---- what is not there

    def _missing(self, answer: Answer) -> Cause | None:
        """Something in the requirement can never be so, because nothing is there that would make it so."""
        machine = self.bench.model.machine
        requirement = answer.instance.requirement
        if self._forgets(requirement):
            return self._forgotten()
        for name in sorted(signals_under(machine, [requirement.condition])):
            meaning = self.compiled.origins.signals[name]
            if isinstance(meaning, Fact) and meaning.what == "restrained" and self._never_by_devices(requirement, name):
                bay = meaning.subject.id
                found = absence(self.compiled, self.alike, bay, Direction(meaning.way) if meaning.way != "up" else "up")
                if found is not None:
                    if meaning.way != "up":
                        face = self.alike.side(bay, Direction(meaning.way))
                        self.bare |= {side_of(*side).id for side in self.compiled.floor.sides_of_face(face)}
                    told = found.id, found.item, found.span, found.found, found.beside
                    return Cause(*told, (requirement.id,), False, ())
        return None

    def _never_by_devices(self, requirement: Requirement, restrained: str) -> bool:
        """Nothing restrains there that way, but for the rest of a unit that lies across several bays."""
        if self.bench.model.machine.definitions[restrained] == FALSE:
            return True
        if self.compiled.hold.layout.neighbour_restrains:
            return False
        return not any(self.bench.truths(trace.states[-1])(Ref(restrained)) for trace in self.bench.bad[requirement.id])

    def _forgets(self, requirement: Requirement) -> bool:
        """What calls for something anew leaves nothing behind but a supply that goes and comes: all is as before."""
        machine, variables = self.compiled.machine, self.compiled.origins.variables
        left = {name for rule in requirement.since for name, _ in machine.rule(rule).update}
        return bool(left) and all(
            isinstance(memory := variables[name], Condition) and memory.subject.sort is Sort.SUPPLY for name in left
        )

    def _forgotten(self) -> Cause:
        """All that fails for that reason."""
        bench, hold = self.bench, self.compiled.hold
        instances = [one.instance for one in bench.verification.answers if one.instance.requirement.id in self.open]
        failing = [one for one in instances if self._forgets(one.requirement)]
        ids = list(dict.fromkeys(id for one in failing for _, id in one.bindings))
        things = {thing.id: thing for thing in (*hold.zones, *hold.doorways)}
        named = listed([called(things[id].name, id) for id in ids if id in things])
        span = next((things[id].span for id in ids if id in things), hold.layout.span)
        found = "nothing there remembers that a supply was lost: what is held when it comes back runs at once"
        beside = "a relay that drops with the supply, and is set again with the levers let go, would remember"
        item = f"no relay in what {named or 'this'} goes by"
        return Cause(
            ids[0] if ids else "", item, span, found, beside, tuple(one.requirement.id for one in failing), False, ()
        )

    # ---- guesses

    def _guessed(self, answer: Answer) -> Cause | None:
        best: _Tried | None = None
        is_bare = any(id in self.bare for _, id in answer.instance.bindings)
        for guesses in () if self._is_enough() or (is_bare and not self.thorough) else self._sorts(answer):
            best = self._better(best, self._tried(answer, guesses))
            if best is not None and len(best.restored) == len(self.open) and self._is_good(best):
                break
        if best is None:
            return None
        if best.remedy.likeliness is Likeliness.CONTACT:
            best = self._rather_added(best, answer)
        remedy = best.remedy
        found, beside = remedy.said()
        told = remedy.id, remedy.item, remedy.span, f"it {found}", beside
        return Cause(*told, best.restored, True, best.lost)

    def _rather_added(self, best: _Tried, answer: Answer) -> _Tried:
        """With the other contact beside it, where that does as much: nobody knows that the one there is not wanted."""
        for tried in self._tried(answer, list(added_beside(self.compiled, best.remedy))):
            if {*tried.restored} >= {*best.restored} and len(tried.lost) <= len(best.lost):
                return tried
        return best

    def _better(self, best: _Tried | None, others: Iterator[_Tried]) -> _Tried | None:
        """The best of all these that leave what can be done; the first that could not be better."""
        for tried in others:
            if len(tried.lost) > self.most_lost:
                continue
            if best is None or tried.merit > best.merit:
                best = tried
            if not best.lost and not best.vacuous and len(best.restored) == len(self.open):
                break
        return best

    def _is_good(self, tried: _Tried) -> bool:
        """No less likely guess is to be tried where this one restores all."""
        return not self.thorough or not (tried.lost or tried.vacuous)

    def _is_enough(self) -> bool:
        return not self.thorough and self.work >= MOST_UNASKED

    def _sorts(self, answer: Answer) -> Iterator[list[Remedy]]:
        id = answer.instance.requirement.id
        wires = self._wires(id)
        devices = devices_near(self.compiled, self._things(answer))
        near = [
            *device_remedies(self.compiled, self.alike, devices),
            *like_wires(self.compiled, self.alike, wires),
            *like_zones(self.compiled, wires),
            *odd_sensors(self.compiled, wires),
            *odd_door_steps(self.compiled, wires),
            *(crossed_commands(self.compiled, wires) if self._fails_both_ways(answer) else ()),
        ]
        for likeliness in (Likeliness.SET_ASIDE, Likeliness.UNLIKE):
            yield [one for one in near if one.likeliness is likeliness]
        # there are thousands of the others
        both = [(wire, inhibits) for wire in wires for inhibits in (False, True)]
        both = [(wire, inhibits) for wire, inhibits in both if wire.meaning.subject.sort is not Sort.SENSOR]
        guesses = [
            *near,
            *contact_remedies(self.compiled, wires),
            *tighter(self.compiled, both, self._contacts(id)),
        ]
        for likeliness in Likeliness:
            if likeliness > Likeliness.UNLIKE and (self.thorough or likeliness is not Likeliness.OPPOSITE):
                yield [one for one in guesses if one.likeliness is likeliness]

    def _fails_both_ways(self, answer: Answer) -> bool:
        """What it asks of one side of a bay, and of the side over against it, fails for both."""
        answers = self.bench.verification.answers
        alike = [one.instance for one in answers if one.instance.origin.id == answer.instance.origin.id]
        sides = {id for one in alike if one.requirement.id in self.open for _, id in one.bindings}
        turns = ((bay, (way, way.opposite)) for bay in self.compiled.floor.bays for way in Direction)
        return any(sides.issuperset(side_of(bay, way).id for way in ways) for bay, ways in turns)

    def _tried(self, answer: Answer, guesses: Sequence[Remedy]) -> Iterator[_Tried]:
        bench, id = self.bench, answer.instance.requirement.id
        told = [
            one
            for one in guesses
            if not bench.is_over() and all(self._stops(one, id, trace) for trace in bench.bad[id])
        ]
        told = _in_turn(sorted(told, key=self._promise)) if len(told) > 1 else told
        proofs = 0
        for remedy in told[: MOST_BUILT if self.thorough else FEW_BUILT]:
            if proofs == MOST_PROVED or self._is_enough() or bench.is_over():
                break
            if not all(self._stops(remedy, id, trace) for trace in bench.bad[id]):
                continue  # a run that was found in the meantime
            if self._is_no_good(remedy, id):
                continue
            model = bench.built(remedy.hold)
            self.work += BUILT
            if model is None or id not in (stopped := bench.stopped(model, self.open)):
                continue
            if bench.is_got_round(model, id):
                continue
            lost = bench.lost(model, self.most_lost)
            self.work += LOOKED
            if len(lost) > self.most_lost or (lost and remedy.likeliness is Likeliness.OPPOSITE):
                continue
            self.work += PROVED
            proofs += 1
            found = bench.prove_first(model, id, stopped)
            good = tuple(one for one in stopped if found.get(one) in (Status.HOLDS, Status.VACUOUS))
            if found.get(id) is Status.VACUOUS:
                # what could never arise any more is not mended, and no other was put to proof
                self.work += LOOKED - PROVED
            if found.get(id) is Status.HOLDS:
                yield _Tried(remedy, good, sum(found[one] is Status.VACUOUS for one in good), lost)

    def _is_no_good(self, remedy: Remedy, id: str) -> bool:
        """Whether the guess is got round or stops nearly everything, where that shows without building it.

        Most guesses that stop the runs that are known do either, which is sooner seen than proved.
        """
        model = None if remedy.wire is None else self.bench.redefined(*remedy.wire)
        if model is None:
            return False
        self.work += LOOKED
        if not self.bench.stopped(model, [id]) or self.bench.is_got_round(model, id):
            return True
        return len(self.bench.lost(model, self.most_lost)) > self.most_lost

    def _stops(self, remedy: Remedy, id: str, trace: Trace) -> bool:
        """Whether the guess stops the run; where that is not so easily seen, it may stop what it should."""
        if remedy.wire is None or remedy.wire[0].meaning.subject.sort is Sort.RELAY:
            return id in self.bench.bad
        return self.bench.stops(*remedy.wire, trace, id)

    def _promise(self, remedy: Remedy) -> tuple[float, ...]:
        """How early the guess is tried: what stops most of what fails, and least of what can be done."""
        if remedy.wire is None or self.bench.is_over():
            return remedy.likeliness, -remedy.votes, 0, 0, 0
        bad, good = self.bench.bad, self.bench.good
        failing = sum(self._stops(remedy, id, bad[id][0]) for id in self.open)
        remembers = remedy.wire[0].meaning.subject.sort is Sort.RELAY
        spoilt = remembers + sum(all(self._stops(remedy, id, trace) for trace in traces) for id, traces in good.items())
        reach = self._reach(remedy.wire[0])
        if remedy.likeliness <= Likeliness.ODD:
            return remedy.likeliness, -remedy.votes, -failing, spoilt, reach
        return -failing, spoilt, remedy.likeliness, -remedy.votes, reach

    def _reach(self, wire: Wire) -> int:
        """How many expressions go by it: the fewer, the smaller a change it would be."""
        if wire.meaning not in self.reach:
            name = wire.meaning.name
            lowered = (self.bench.lowered(one.syntax) for one in wires_of(self.compiled.hold))
            self.reach[wire.meaning] = sum(name in self.bench.signals_under(expr) for expr in lowered)
        return self.reach[wire.meaning]

    # ---- what a run has to do with

    def _wires(self, id: str) -> list[Wire]:
        """The expressions that the run and its end depend on, and those that are no more than a truth."""
        bench = self.bench
        machine = bench.model.machine
        exprs = [bench.model.questions[id].target]
        exprs += [machine.rule(name).guard for trace in bench.bad[id] for name in trace.rules]
        wires = wires_of(self.compiled.hold)
        # what a mechanism with memory goes by is folded into the steps that set it off
        relays = [wire for wire in wires if wire.meaning.subject.sort is Sort.RELAY]
        exprs += [bench.lowered(wire.syntax) for wire in relays]
        signals = signals_under(machine, exprs)
        return [w for w in wires if w in relays or w.meaning.name in signals or isinstance(w.syntax, Truth)]

    def _things(self, answer: Answer) -> list[str]:
        """What the requirement is about, and what its end depends on."""
        bench = self.bench
        machine = bench.model.machine
        ids = [id for _, id in answer.instance.bindings]
        target = bench.model.questions[answer.instance.requirement.id].target
        origins = self.compiled.origins
        for name in sorted(variables_of(target, machine.definitions)):
            memory = origins.variables[name]
            if hasattr(memory, "subject"):
                ids.append(memory.subject.id)
        return list(dict.fromkeys(ids))

    def _contacts(self, id: str) -> list[Syntax]:
        """The contacts of the hold that have to do with how the requirement is broken."""
        bench = self.bench
        machine = bench.model.machine
        about = variables_of(bench.model.questions[id].target, machine.definitions)
        related = [
            contact
            for contact in every_contact(self.compiled.hold)
            if variables_of(bench.lowered(contact), machine.definitions) & about
        ]
        return [*related, *unused_contacts(self.compiled.hold)]


def _in_turn(guesses: Sequence[Remedy]) -> list[Remedy]:
    """The best guess at each thing first, then the second best at each, and so on."""
    rounds: dict[tuple[object, Likeliness], int] = {}
    numbered = []
    for guess in guesses:
        about = (guess.id if guess.wire is None else guess.wire[0].meaning, guess.likeliness)
        rounds[about] = rounds.get(about, 0) + 1
        numbered.append((rounds[about], guess))
    return [guess for _, guess in sorted(numbered, key=lambda one: one[0])]
