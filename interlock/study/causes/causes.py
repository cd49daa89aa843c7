"""What to blame where a requirement fails: the one thing that, were it otherwise, would restore it.

Every guess of `remedies` that makes a difference to the run is tried.  The best is the one with which most of what
fails holds, proved, while what can be done still can.  It is a hint, not a finding: another thing may be wrong as well.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from interlock.diagnostics.spans import Span
from interlock.hold.alike import Alike, Shape, contacts_of, shape_of
from interlock.hold.compile.requirements import Instance
from interlock.hold.compile.restraint import side_of
from interlock.hold.language.directions import Direction
from interlock.hold.language.syntax import Fact as Contact
from interlock.hold.language.syntax import Syntax, Truth
from interlock.hold.origin import Condition, Fact, Meaning, Sort
from interlock.hold.origin import Contact as Kept
from interlock.hold.wiring import Wire, asked_by, wires_of
from interlock.kernel.claims import Fails, Trace
from interlock.kernel.expressions import FALSE, Expr, Ref, variables_of
from interlock.kernel.machine import Requirement
from interlock.study.causes.remedies import (
    Likeliness,
    Remedy,
    absence,
    added_beside,
    all_together,
    as_read,
    both_ways,
    called,
    commands_by_no_lever,
    contact_remedies,
    crossed_commands,
    crossed_doors,
    crossed_drives,
    crossed_levers,
    device_remedies,
    devices_near,
    every_contact,
    facts_at_the_end,
    lifted_contacts,
    like_parts,
    like_wires,
    like_zones,
    listed,
    odd_door_steps,
    odd_sensors,
    oddness,
    tighter,
    unlike_opposites,
    unused,
    unused_contacts,
    wanting_inhibits,
)
from interlock.study.causes.trials import FOLDED, Bench, signals_under
from interlock.study.verify import Answer, Status

if TYPE_CHECKING:
    from interlock.study.why_never import WhyNever

MOST_BUILT = 24
"""Guesses of one sort that are built and run for one requirement."""
FEW_BUILT = 8
"""So many where nobody asked for more: what is less likely has its turn as well."""
MOST_PROVED = 8
"""Guesses of one sort that are put to proof for one requirement."""
FEW_KEEPING = 4
"""Guesses at what keeps something from ever being that are put to proof, where nobody asked for more."""
MOST_UNASKED = 30
"""So much work is done for all requirements together, where nobody asked for more: as much as it is, about, to ..."""
MORE_UNASKED, MOST_TEXTS = 12, 8
"""So much more for each other text of which something fails, up to so many of them."""
LOOKED, BUILT, PROVED = 1, 2, 4
"""... see what a guess leaves, to build a hold, and to put one to proof."""
MOST_LOST = 0.05
"""The part of what can be done that a guess may cost at most: a hold in which nothing moves breaks nothing."""


@dataclass(frozen=True, slots=True)
class Cause:
    """What to look at first: `item` with its `id` and place, what is so of it, and what that is held against.

    `requirements` are the ids of those that fail and, were it otherwise, would hold: proved on the model, where
    `proved`; else it follows from the description that they must fail as it is.  `lost` could then not be done any
    more, or no way to it is soon found.  All that is so where the items `besides` are otherwise as well; the item alone
    is not known to restore anything.
    """

    id: str
    item: str
    span: Span
    found: str
    beside: str
    requirements: tuple[str, ...]
    proved: bool
    lost: tuple[str, ...]
    besides: tuple[str, ...] = ()


def joined(causes: Iterable[Cause]) -> Collection[Cause]:
    """Those that are told alike as one."""
    told: dict[tuple[str, ...], Cause] = {}
    for cause in causes:
        key = cause.item, cause.beside, *cause.besides
        same = told.get(key)
        told[key] = cause if same is None else replace(same, requirements=(*same.requirements, *cause.requirements))
    return told.values()


def cause_of(
    remedy: Remedy, restored: tuple[str, ...], lost: tuple[str, ...] = (), besides: tuple[str, ...] = ()
) -> Cause:
    """What is told of a guess that was proved to restore these."""
    found, beside = remedy.said()
    return Cause(remedy.id, remedy.item, remedy.span, f"it {found}", beside, restored, True, lost, besides)


@dataclass(frozen=True, slots=True)
class _Tried:
    remedy: Remedy
    restored: tuple[str, ...]
    vacuous: int
    lost: tuple[str, ...]
    breadth: int
    """How much it asks for."""

    @property
    def merit(self) -> tuple[float, ...]:
        likely = self.remedy.likeliness
        return -len(self.lost), len(self.restored), -self.vacuous, -likely, self.remedy.votes, -self.breadth


class Search:
    """What is to blame on a bench: one cause for each of what fails by a run, as far as one is found in time.

    For those that are `explained` none is looked for.  Unless it is `thorough`, few guesses are put to proof, none
    that is less likely than those of which one would restore all that fails, and none about the side of a bay where
    something is missing.  What stays open although there were guesses left is `unsettled` on the bench.  Of what can
    `never` be, and why, the contacts that alone keep it from being are tried before all other guesses.
    """

    def __init__(
        self,
        bench: Bench,
        explained: Collection[str] = (),
        thorough: bool = True,
        never: Sequence[WhyNever] = (),
    ) -> None:
        self.bench = bench
        self.never = [why for why in never if why.id not in explained]
        self.mends: list[Remedy] = []
        """What would be otherwise, of each cause that was told and proved."""
        self.thorough = thorough
        self.work = 0
        self.compiled = bench.verification.compiled
        self.alike = Alike(self.compiled.hold, self.compiled.floor)
        self.reach: dict[Meaning, int] = {}
        self.asked: dict[bool, Counter[Shape]] = {False: Counter(), True: Counter()}
        for wire in wires_of(self.compiled.hold):
            self.asked[wire.is_electrical].update(contacts_of(wire.syntax))
        self.near: dict[str, frozenset[Meaning]] = {}
        self.text = {one.requirement.id: one.origin.id for one in self.compiled.instances}
        """Per requirement the text that asks it."""
        self.unlike: dict[Meaning, list[Remedy]] = {}
        self.open = [id for id in bench.bad if id not in explained]
        """What fails and has no cause yet."""
        self.stilling: dict[Hashable, bool] = {}
        """Whether guesses at expressions stop nearly everything, or what some drive does."""
        self.bare: set[str] = set()
        """Ids of the sides of bays where a device is missing."""
        self.most_lost = MOST_LOST * len(bench.good)

    def causes(self) -> Iterator[Cause]:
        answers = [a for a in self.bench.verification.answers if a.instance.requirement.id in self.bench.bad]
        answers.sort(key=lambda a: a.finding.claim.trace.depth if isinstance(a.finding, Fails) else 0)
        self._know_texts(answers)
        # what is not there needs no guess, and a guess that restores it as well would hide it
        for answer in answers:
            if self._is_open(answer) and (cause := self._missing(answer)) is not None:
                yield self._told(cause)
        restored: set[str] = set()
        for why in self.never:
            if why.id not in restored and not self.bench.is_over() and (cause := self._keeping(why)) is not None:
                restored.update(cause.requirements)
                yield self._told(cause)
        yield from self._by_guesses(answers)
        for answer in answers:
            if self._is_open(answer) and self._forgets(answer.instance.requirement):
                yield self._told(self._forgotten())

    def _know_texts(self, answers: Sequence[Answer]) -> None:
        """How much work there is for all that fails; instances of one requirement mostly fail for one reason."""
        texts = len({a.instance.origin.id for a in answers if a.instance.requirement.id in self.open})
        self.most_work = MOST_UNASKED + MORE_UNASKED * min(max(0, texts - 1), MOST_TEXTS)

    def _is_open(self, answer: Answer) -> bool:
        return answer.instance.requirement.id in self.open and not self.bench.is_over()

    def _told(self, cause: Cause) -> Cause:
        self.open = [id for id in self.open if id not in cause.requirements]
        return cause

    def _by_guesses(self, answers: Sequence[Answer]) -> Iterator[Cause]:
        """First one instance of each text that fails, then the others; of all of them the likely guesses first."""
        first: dict[str, Answer] = {}
        for answer in answers:
            if self._is_open(answer):
                first.setdefault(answer.instance.origin.id, answer)
        yield from self._in_turns(list(first.values()))
        yield from self._in_turns([one for one in answers if self._is_open(one) and one not in first.values()])
        if self._is_enough() or self.bench.is_over():
            self.bench.unsettled.update(self.open)

    def _in_turns(self, answers: Sequence[Answer]) -> Iterator[Cause]:
        best: dict[str, _Tried] = {}
        turns = [(answer, self._sorts(answer)) for answer in answers if self.thorough or not self._is_bare(answer)]
        while turns and not self._is_enough():
            going_on = []
            for answer, sorts in turns:
                id = answer.instance.requirement.id
                if not self._is_open(answer) or (id not in best and self._is_restored(id, best.values())):
                    continue
                if (guesses := next(sorts, None)) is None:
                    continue
                tried = self._better(best.get(id), self._tried(answer, guesses, best.get(id)))
                if tried is not None and tried.remedy.likeliness is Likeliness.CONTACT:
                    tried = self._rather_added(tried, answer)
                    if tried.remedy.likeliness is Likeliness.TIGHTER:
                        # it is one contact more, and others may do as much and ask for less
                        added = [one for one in guesses if one.likeliness is Likeliness.TIGHTER]
                        tried = self._better(tried, self._tried(answer, added, tried)) or tried
                if tried is not None:
                    best[id] = tried
                # what turned out to be a contact beside another may be outdone by one that is put there outright
                last = max((one.likeliness for one in guesses), default=Likeliness.SET_ASIDE)
                is_due = tried is not None and tried.remedy.likeliness <= last
                if tried is not None and is_due and len(tried.restored) == len(self.open) and self._is_good(tried):
                    yield self._told(self._cause(tried))
                elif self.thorough or tried is None or not is_due or last < Likeliness.ODD:
                    going_on.append((answer, sorts))
            turns = going_on
        for id, tried in sorted(best.items(), key=lambda one: one[1].merit, reverse=True):
            if id in self.open:
                yield self._told(self._cause(tried))

    def _is_restored(self, id: str, best: Iterable[_Tried]) -> bool:
        """Something that was found for another restores it as well: no work is done for it unasked."""
        return not self.thorough and any(id in one.restored and not one.lost for one in best)

    def _is_bare(self, answer: Answer) -> bool:
        return any(id in self.bare for _, id in answer.instance.bindings)

    # ---- what is not there

    def _missing(self, answer: Answer) -> Cause | None:
        """Something in the requirement can never be so, because nothing is there that would make it so."""
        machine = self.bench.model.machine
        requirement = answer.instance.requirement
        if self._forgets(requirement) and not self._idle_relays():
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

    def _idle_relays(self) -> bool:
        """A relay is there that nothing goes by: that it is not asked is the likelier guess."""
        hold = self.compiled.hold
        return not unused(hold).isdisjoint(relay.id for relay in hold.relays)

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

    # ---- what can never be

    def _keeping(self, why: WhyNever) -> Cause | None:
        """A contact that alone keeps it from being: were it another, that would be possible, and all that holds hold.

        Of several the one with which most of what fails would hold.
        """
        before = {one.instance.requirement.id: one.status for one in self.bench.verification.answers}
        alone = [way.hindrances[0].hindrance for way in why.ways if len(way.hindrances) == 1]
        guesses = [guess for one in alone if isinstance(one, Kept) for guess in lifted_contacts(self.compiled, one)]
        guesses.sort(key=lambda guess: -sum(self._stops(guess, id) for id in self.open))
        best: tuple[Remedy, tuple[str, ...]] | None = None
        for guess in guesses[: MOST_BUILT if self.thorough else FEW_KEEPING]:
            if self.bench.is_over():
                break
            then = self.bench.outcomes(guess.hold())
            if then.get(why.id) is not Status.HOLDS or any(
                then.get(id) is Status.FAILS and status is not Status.FAILS for id, status in before.items()
            ):
                continue
            good = (Status.HOLDS, Status.VACUOUS)
            restored = tuple(id for id, one in before.items() if one is Status.FAILS and then.get(id) in good)
            if best is None or len(restored) > len(best[1]):
                best = guess, restored
            if not any(status is Status.FAILS for status in then.values()):
                break
        if best is None:
            return None
        self.mends.append(best[0])
        return cause_of(*best)

    # ---- guesses

    def _cause(self, best: _Tried) -> Cause:
        self.mends.append(best.remedy)
        return cause_of(best.remedy, best.restored, best.lost)

    def _rather_added(self, best: _Tried, answer: Answer) -> _Tried:
        """With the other contact beside it, where that does as much: nobody knows that the one there is not wanted."""
        # for what is to be told there is work left
        self.most_work = max(self.most_work, self.work + 2 * (LOOKED + BUILT + PROVED))
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
        return not self.thorough and self.work >= self.most_work

    def _sorts(self, answer: Answer) -> Iterator[list[Remedy]]:
        id = answer.instance.requirement.id
        wires = self._wires(id)
        devices = devices_near(self.compiled, self._things(answer))
        near = [
            *device_remedies(self.compiled, self.alike, devices),
            *self._unlike(wires),
            *like_zones(self.compiled, wires),
            *unlike_opposites(self.compiled, wires),
            *self.of_drives,
            *crossed_doors(self.compiled, wires),
            *odd_sensors(self.compiled, wires),
            *odd_door_steps(self.compiled, wires),
            *commands_by_no_lever(self.compiled, wires),
        ]
        yield [one for one in near if one.likeliness is Likeliness.SET_ASIDE]
        if self._fails_both_ways(answer):
            # little else makes both fail, and there are few to try
            yield [*crossed_levers(self.compiled, wires), *crossed_commands(self.compiled, wires)]
        yield [one for one in near if one.likeliness is Likeliness.UNLIKE]
        # there are thousands of the others
        both = [(wire, inhibits) for wire in wires for inhibits in (False, True)]
        both = [(wire, inhibits) for wire, inhibits in both if wire.meaning.subject.sort is not Sort.SENSOR]
        guesses = [
            *near,
            *contact_remedies(self.compiled, wires),
            *tighter(self.compiled, both, self._contacts(id)),
        ]
        yield [one for one in guesses if one.likeliness is Likeliness.ODD]
        # few contacts keep something from being so at the end that should be, and hardly one of them is innocent
        keeping = [one for one in guesses if one.likeliness is Likeliness.LOOSER and self._ends_otherwise(one, id)]
        yield keeping
        # of contacts it is seen what they spoil, exchanged or added: they are tried by that
        rounds = [(Likeliness.CONTACT, Likeliness.TIGHTER), (Likeliness.LOOSER,)]
        for some in [*rounds, (Likeliness.OPPOSITE,)] if self.thorough else rounds:
            yield [one for one in guesses if one.likeliness in some and one not in keeping]

    def _unlike(self, wires: Sequence[Wire]) -> Iterator[Remedy]:
        """In what these expressions, or parts of them, differ from their likes; it is looked for once."""
        new = [wire for wire in wires if wire.meaning not in self.unlike]
        self.unlike |= {wire.meaning: [] for wire in new}
        for of in (like_wires, like_parts):
            for one in of(self.compiled, self.alike, new):
                if one.wire is not None:
                    self.unlike[one.wire[0].meaning].append(one)
        for wire in wires:
            yield from self.unlike[wire.meaning]

    @cached_property
    def of_drives(self) -> tuple[Remedy, ...]:
        """Drives that lack inhibits which their likes have, or have those of one another."""
        return *wanting_inhibits(self.compiled, self.alike), *crossed_drives(self.compiled, self.alike)

    def _fails_both_ways(self, answer: Answer) -> bool:
        """What it asks of one side of a bay, and of the side over against it, fails for both."""
        answers = self.bench.verification.answers
        alike = [one.instance for one in answers if one.instance.origin.id == answer.instance.origin.id]
        sides = {id for one in alike if one.requirement.id in self.open for _, id in one.bindings}
        turns = ((bay, (way, way.opposite)) for bay in self.compiled.floor.bays for way in Direction)
        return any(sides.issuperset(side_of(bay, way).id for way in ways) for bay, ways in turns)

    def _tried(self, answer: Answer, guesses: Sequence[Remedy], best: _Tried | None = None) -> Iterator[_Tried]:
        """Those of the guesses that restore it; what cannot do more than the best so far is not put to proof."""
        bench, id = self.bench, answer.instance.requirement.id
        told = [one for one in guesses if not bench.is_over() and self._stops(one, id)]
        told = self._in_turn(told, id)
        looked = proofs = 0
        most = MOST_BUILT if self.thorough else FEW_BUILT
        for remedy in told:
            if looked == most or proofs == MOST_PROVED or self._is_enough() or bench.is_over():
                break
            looked += 1
            if not self._stops(remedy, id):
                continue  # a run that was found in the meantime
            if self._is_no_good(remedy, id):
                continue
            model = bench.tried(remedy.guess, remedy.hold)
            self.work += BUILT
            if model is None or id not in (stopped := bench.stopped(model, self.open)):
                continue
            if bench.is_stilled(model) or bench.is_got_round(model, id):
                continue
            lost = bench.lost(model, self.most_lost)
            self.work += LOOKED
            if len(lost) > self.most_lost or (lost and remedy.likeliness is Likeliness.OPPOSITE):
                continue
            if best is not None and not best.lost and not best.vacuous and self._is_outdone(remedy, stopped, best):
                continue
            self.work += PROVED
            proofs += 1
            found = bench.prove_first(model, id, stopped, hastily=not self.thorough)
            bench.unsettled |= {one for one, status in found.items() if status is Status.UNDECIDED}
            good = tuple(one for one in stopped if found.get(one) in (Status.HOLDS, Status.VACUOUS))
            if found.get(id) is Status.VACUOUS:
                # what could never arise any more is not mended, and no other was put to proof
                self.work += LOOKED - PROVED
            if found.get(id) is Status.HOLDS:
                vacuous = sum(found[one] is Status.VACUOUS for one in good)
                tried = _Tried(remedy, good, vacuous, lost, self._breadth(remedy))
                best = tried if best is None or tried.merit > best.merit else best
                yield tried

    def _is_outdone(self, remedy: Remedy, stopped: Sequence[str], best: _Tried) -> bool:
        if len(stopped) != len(best.restored):
            return len(stopped) < len(best.restored)
        mine = remedy.likeliness, -remedy.votes, self._breadth(remedy)
        return mine >= (best.remedy.likeliness, -best.remedy.votes, best.breadth)

    def _is_no_good(self, remedy: Remedy, id: str) -> bool:
        """Whether the guess is got round or stops nearly everything, where that shows without building it.

        Most guesses that stop the runs that are known do either, which is sooner seen than proved.
        """
        if remedy.wire is None or (model := self.bench.redefined(*remedy.wire)) is None:
            return False
        self.work += LOOKED
        if not self.bench.stopped(model, [id]):
            return True
        if len(self.bench.lost(model, self.most_lost)) > self.most_lost:
            self.stilling[remedy.guess] = True
            return True
        return self.bench.is_got_round(model, id)

    def _in_turn(self, guesses: Sequence[Remedy], id: str) -> list[Remedy]:
        """The likeliest first, of several at one thing by turns; those that stop nearly everything are left out."""
        if len(guesses) < 2:
            return list(guesses)
        promises = [self._promises(one, id) for one in guesses]
        numbers = range(len(guesses))
        orders = [sorted(numbers, key=lambda n: (promises[n][by], n)) for by in (0, 1)]
        by_promise = list(dict.fromkeys(n for pair in zip(*orders, strict=True) for n in pair))
        most = 3 * (MOST_BUILT if self.thorough else FEW_BUILT)
        spoils = {
            n for n, (p, _) in enumerate(promises) if guesses[n].likeliness > Likeliness.ODD and len(p) > 2 and p[0]
        }
        told = [guesses[n] for n in by_promise if self.thorough or n not in spoils]
        return _in_turn([one for one in told[:most] if not self._is_stilling(one)] + told[most:])

    def _is_stilling(self, remedy: Remedy) -> bool:
        """Whether it is known to stop nearly everything, or what some drive does for good: that is no work to see."""
        guess = remedy.guess
        if guess not in self.stilling and remedy.wire is not None:
            model = self.bench.redefined(*remedy.wire)
            self.stilling[guess] = model is not None and self.bench.is_stilled(model)
        return self.stilling.get(guess, False)

    def _stopping(self, remedy: Remedy) -> Callable[[Trace, str], bool]:
        """Whether the guess stops a run; where that is not so easily seen, it may stop what it should."""
        if remedy.wire is None or remedy.wire[0].meaning.subject.sort is Sort.RELAY:
            return lambda _, id: id in self.bench.bad
        return self.bench.stopping(*remedy.wire)

    def _stops(self, remedy: Remedy, id: str) -> bool:
        """The same of all runs that are known against one requirement."""
        stops = self._stopping(remedy)
        return all(stops(trace, id) for trace in self.bench.bad[id])

    def _ends_otherwise(self, remedy: Remedy, id: str) -> bool:
        """With the guess nothing would be amiss where the runs that are known end, all before that being as it was."""
        bench = self.bench
        return remedy.wire is not None and all(bench.ends_otherwise(*remedy.wire, one, id) for one in bench.bad[id])

    def _promises(self, remedy: Remedy, id: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """How early the guess is tried, in two orders, in both what has to do with how it ends before other things.

        First what stops most of what fails, or first what spoils least: where several things are wrong, what mends one
        of them does not stop most of what fails.
        """
        if remedy.wire is None or self.bench.is_over():
            return ((remedy.likeliness, -remedy.votes),) * 2
        bad, good = self.bench.bad, self.bench.good
        # what guesses at relays stop is not so easily seen
        remembers = remedy.wire[0].meaning.subject.sort is Sort.RELAY
        stops = self._stopping(remedy)
        stopped = set() if remembers else {one for one in self.open if stops(bad[one][0], one)}
        failing, like = len(stopped), sum(self.text[one] == self.text[id] for one in stopped)
        spoilt = remembers + sum(all(stops(trace, one) for trace in traces) for one, traces in good.items())
        reach = self._reach(remedy.wire[0])
        if remedy.likeliness <= Likeliness.ODD:
            return ((remedy.likeliness, -remedy.votes, -failing, spoilt, reach),) * 2
        is_far = remedy.wire[0].meaning not in self._near_the_end(id)
        odd = oddness(self.compiled.hold, remedy.wire[0])
        likely = spoilt, remedy.likeliness, -remedy.votes, self._breadth(remedy), odd, reach, -self._use(remedy.wire)
        first = 4 * spoilt > 3 * len(good), is_far
        return (*first, -failing, *likely), (*first, spoilt, -like, *likely)

    def _near_the_end(self, id: str) -> frozenset[Meaning]:
        """What the last step and the end of the run depend on; what came before is on the way."""
        if id not in self.near:
            rule = self.bench.model.machine.rule
            lasts = [rule(trace.rules[-1]).guard for trace in self.bench.bad[id] if trace.rules]
            self.near[id] = self._behind([self.bench.model.questions[id].target, *lasts], FOLDED)
        return self.near[id]

    def _breadth(self, remedy: Remedy) -> int:
        """How much more the changed expression goes by: of two guesses that do as much the one that asks for less."""
        if remedy.wire is None:
            return 0
        wire, changed = remedy.wire
        now, then = (self.bench.lowered(one) for one in (wire.syntax, changed))
        definitions = self.bench.model.machine.definitions
        return len(variables_of(then, definitions) - variables_of(now, definitions))

    def _use(self, guess: tuple[Wire, Syntax]) -> int:
        """How often other expressions of its sort, wired or not, ask for what this one would ask for."""
        wire, changed = guess
        asked = self.asked[wire.is_electrical]
        return sum(asked[shape] for shape in contacts_of(changed) - contacts_of(wire.syntax))

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
        exprs = [bench.model.questions[id].target]
        exprs += [bench.model.machine.rule(name).guard for trace in bench.bad[id] for name in trace.rules]
        behind = self._behind(exprs, (Sort.RELAY,))
        return [w for w in wires_of(self.compiled.hold) if w.meaning in behind or isinstance(w.syntax, Truth)]

    def _behind(self, exprs: Sequence[Expr], folded: Collection[Sort]) -> frozenset[Meaning]:
        """What decides these; what mechanism with memory of such sorts goes by is folded into what sets it off."""
        machine, variables = self.bench.model.machine, self.compiled.origins.variables
        memories = (variables[name] for expr in exprs for name in variables_of(expr, machine.definitions))
        subjects = {memory.subject for memory in memories if isinstance(memory, Condition)}
        wires = wires_of(self.compiled.hold)
        within = [w for w in wires if w.meaning.subject.sort in folded and w.meaning.subject in subjects]
        signals = signals_under(machine, [*exprs, *(self.bench.lowered(wire.syntax) for wire in within)])
        return frozenset(w.meaning for w in wires if w in within or w.meaning.name in signals)

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
        every = every_contact(self.compiled.hold)
        related = [one for one in every if variables_of(bench.lowered(one), machine.definitions) & about]
        return [*related, *self._idle(about), *self._at_the_end(id)]

    def _idle(self, about: frozenset[str]) -> Iterator[Syntax]:
        """Contacts that nothing asks for: of relays, and of what has to do with how the requirement is broken."""
        relays = {relay.id for relay in self.compiled.hold.relays}
        for contact in unused_contacts(self.compiled.hold):
            fact = asked_by(contact)
            is_relay = isinstance(fact, Contact) and fact.subject.parts[0] in relays
            if is_relay or variables_of(self.bench.lowered(contact), self.bench.model.machine.definitions) & about:
                yield contact

    def _at_the_end(self, id: str) -> Iterator[Syntax]:
        """What no expression asks yet of what the requirement ends with, and all of it of a sort together."""
        hold = self.compiled.hold
        of = {one.requirement.id: one for one in self.compiled.instances}
        every = {shape_of(one) for one in every_contact(hold)}
        facts = as_read(hold, self._ends([of[id]]))
        yield from both_ways(fact for fact in facts if shape_of(fact) not in every)
        like = [of[one] for one in self.open if of[one].origin is of[id].origin]
        others = {device.id for device in hold.devices} - self._devices_asked(like)
        ends = [fact for fact in self._ends(like) if fact.subject.parts[0] not in others]
        yield from all_together(hold, ends, hold.layout.span)

    def _devices_asked(self, instances: Sequence[Instance]) -> frozenset[str]:
        """The devices whose state these requirements speak of: one beside a bay may have nothing to do with them."""
        machine, origins = self.bench.model.machine, self.compiled.origins
        targets = [self.bench.model.questions[one.requirement.id].target for one in instances]
        meanings: list[object] = [origins.signals[name] for name in signals_under(machine, targets)]
        meanings += [origins.variables[name] for one in targets for name in variables_of(one, machine.definitions)]
        subjects = [one.subject for one in meanings if isinstance(one, Condition | Fact)]
        return frozenset(subject.id for subject in subjects if subject.sort is Sort.DEVICE)

    def _ends(self, instances: Sequence[Instance]) -> list[Contact]:
        """What is so where these requirements end, or is not."""
        origins, model = self.compiled.origins.variables, self.bench.model
        targets = [model.questions[one.requirement.id].target for one in instances]
        names = {name for target in targets for name in variables_of(target, model.machine.definitions)}
        ids = dict.fromkeys(id for one in instances for _, id in one.bindings)
        memories = [origins[name] for name in sorted(names)]
        return list(facts_at_the_end(self.compiled, ids, memories, self.compiled.hold.layout.span))


def _in_turn(guesses: Sequence[Remedy]) -> list[Remedy]:
    """The best guess at each thing first, then the second best at each, and so on."""
    rounds: dict[tuple[object, Likeliness], int] = {}
    numbered = []
    for guess in guesses:
        about = (guess.id if guess.wire is None else guess.wire[0].meaning, guess.likeliness)
        rounds[about] = rounds.get(about, 0) + 1
        numbered.append((rounds[about], guess))
    return [guess for _, guess in sorted(numbered, key=lambda one: one[0])]
