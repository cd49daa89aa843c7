"""Guesses put to the test: does what breaks a requirement still happen in the hold as it would then be?

First by the states of the runs that are known, then by doing the runs again in the hold as it would be, last by proof.
A proof that fails gives a run that the next guess must stop too.
"""

from __future__ import annotations

from collections import ChainMap
from collections.abc import Callable, Collection, Generator, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from itertools import product
from typing import cast

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.compile.described import position, whereabouts
from interlock.hold.compile.lowering import Lowering
from interlock.hold.compile.requirements import Instance
from interlock.hold.compile.world import Thing
from interlock.hold.kinds import DEVICE_KINDS, Working
from interlock.hold.language.model import Hold
from interlock.hold.language.syntax import Syntax
from interlock.hold.origin import Commanded, Sort
from interlock.hold.wiring import Wire, wires_of
from interlock.kernel.claims import Fails, Holds, Limits, Trace, silent
from interlock.kernel.evaluator import State, fire, is_enabled, is_initial, truths_in
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Or, Ref, Value, conj, disj, fold, neg, signals_of
from interlock.kernel.machine import Actor, Machine, Question, RequirementKind, question_of, with_monitors
from interlock.prove.core.encoding import Encoding
from interlock.prove.core.solvers import add_all, light_solver
from interlock.prove.decide import decide
from interlock.prove.engine import Allowance, Engine, clock_of
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.prove.search.guided import GuidedSearch
from interlock.study.verify import Status, Verification, verify

CLEAR_IN_VAIN = 2_000
"""States that a search for what can be done where nothing is broken expands for what it does not find, all together."""
MOST_EXPANDED = 100
"""States that a search for what could still be done expands for each."""
NEAR_EXPANDED = 240
"""States that a search for another way round a guess expands."""
PROOF_SECONDS = 20.0
"""How long one guess may be put to proof: what takes longer is no good guess to tell of."""
HASTY_LOOKS, HASTY_LOOKS_EACH = 4_000, 50
"""How often one may ask for the time where nobody asked for more, and for each rule of the machine so much more.

Those that hold mostly take a tenth of it; those that fail in the end can take ten times as long.
"""
MOST_NOT_ASKED = 12
"""What can be done that nobody asked about this time: of so much it is looked whether a guess leaves it."""
MOST_STARTS = 64
"""Starts that are tried for a run in a hold whose memories are not the same."""

FOLDED = (Sort.RELAY, Sort.SUPPLY, Sort.DEVICE)
"""Things with a mechanism that may have a memory."""


@dataclass(frozen=True, slots=True)
class Model:
    """A hold compiled with the requirements that are asked about, its machine with monitors in."""

    compiled: CompiledHold
    machine: Machine
    questions: Mapping[str, Question]


def model_of(compiled: CompiledHold, ids: Sequence[str]) -> Model:
    """The machine and the questions of the requirements among `ids` that the hold has, of drives, doors, people, hands.

    Of each drive it is asked whether it can run, of each door whether it can start to move either way, and arrive, of
    each person whether they can go from place to place, of each device that hands work whether it can be moved.
    """
    machine = with_monitors(compiled.machine)
    wanted = set(ids)
    found = {
        one.requirement.id: question_of(machine, one.requirement)
        for one in compiled.instances
        if one.requirement.id in wanted and one.requirement.kind is not RequirementKind.CAN_ALWAYS
    }
    for side in compiled.world.sides.values():
        if side.sort is Sort.DIRECTION_OF_ZONE:
            found[f"{side.phrase} can run"] = Question(f"{side.phrase} can run", side.states["running"])
    moved = {position(Sort.DOOR, door.id).name for door in compiled.hold.doorways}
    moved |= {whereabouts(person.id).name for person in compiled.hold.people}
    by_hand = [device for device in compiled.hold.devices if DEVICE_KINDS[device.kind].working is Working.HAND]
    worked = {position(Sort.DEVICE, device.id).name for device in by_hand}
    moves: dict[str, list[Expr]] = {}
    for rule in machine.rules:
        what = {name for name, _ in rule.update}
        if what & moved or (rule.actor is Actor.CREW and what & worked):
            moves.setdefault(compiled.glossary.rules[rule.name].text, []).append(rule.guard)
    found |= {text: Question(text, disj(*guards)) for text, guards in moves.items()}
    return Model(compiled, machine, found)


def run_again(model: Model, source: Model, trace: Trace, question: str) -> Trace | None:
    """The run of another hold, deed by deed, as far as the target; None where it cannot be done or misses that."""
    target = model.questions[question].target
    again = as_far_as_it_goes(model, source, trace, target)
    return again if again is not None and truths_in(model.machine, again.states[-1])(target) else None


def as_far_as_it_goes(model: Model, source: Model, trace: Trace, target: Expr) -> Trace | None:
    """The run of another hold, deed by deed, to the target or as far as it can be done; None without such a start."""
    machine, origins = model.machine, model.compiled.origins
    state = _start(model.machine, source.machine, trace.states[0])
    if state is None:
        return None
    rules: list[str] = []
    states = [state]
    for name in trace.rules:
        if truths_in(machine, states[-1])(target):
            break
        deed = source.compiled.origins.deed_of(name).name
        possible = [name] if name in origins.rules else []
        possible += [rule for rule in origins.rules_of.get(deed, ()) if rule != name]
        enabled = next((r for r in map(machine.rule, possible) if is_enabled(machine, r, states[-1])), None)
        if enabled is None:
            break
        rules.append(enabled.name)
        states.append(fire(machine, enabled, states[-1]))
    return Trace(tuple(rules), tuple(states))


def _start(machine: Machine, source: Machine, first: State) -> State | None:
    """A start of the machine that agrees with the state of the other one as far as it can."""
    known = {variable.name: value for variable, value in zip(source.variables, first, strict=True)}
    choices = [(known[v.name],) if v.name in known and known[v.name] in v.init else v.init for v in machine.variables]
    for at, values in enumerate(product(*choices)):
        if is_initial(machine, values):
            return values
        if at >= MOST_STARTS:
            break
    return None


@dataclass(slots=True)
class _Remembering(Lowering):
    """What was lowered is known, in parts: most of a guess is what is written in the hold."""

    known: dict[int, tuple[Syntax, Expr]] = field(default_factory=dict)

    def expression(self, syntax: Syntax, bound: Mapping[str, Thing] | None = None) -> Expr:
        """The same; what variables stand for differs from place to place, and is not remembered."""
        if bound:
            return Lowering.expression(self, syntax, bound)
        found = self.known.get(id(syntax))
        if found is None:
            # kept with the expression: what has gone could leave its id to another
            found = self.known[id(syntax)] = syntax, Lowering.expression(self, syntax)
        return found[1]


class _Together:
    """Truths in many states of a machine at once, as a number with a bit for each."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._numbers: dict[State, int] = {}
        self._facts: dict[tuple[str, Value], int] = {}
        self._signals: dict[str, int] = {}
        self._known: dict[int, tuple[Expr, int]] = {}
        """By the id of an expression, which is kept with it: guesses are put together from the same parts, and to see
        that two that are made anew are equal takes longer than to work them out."""

    def __len__(self) -> int:
        return len(self._numbers)

    def among(self, states: Iterable[State]) -> int:
        """The bits of these states."""
        found = 0
        for state in states:
            number = self._numbers.get(state)
            if number is None:
                number = self._numbers[state] = len(self._numbers)
                self._signals.clear()
                self._known.clear()
                for variable, value in zip(self._machine.variables, state, strict=True):
                    fact = variable.name, value
                    self._facts[fact] = self._facts.get(fact, 0) | 1 << number
            found |= 1 << number
        return found

    def __call__(self, expr: Expr) -> int:
        """The bits of the states in which the expression is so."""
        return self._known[id(expr)][1] if id(expr) in self._known else fold(self._step, expr)

    def _step(self, expr: Expr) -> Generator[Expr, int, int]:
        every, known = (1 << len(self._numbers)) - 1, self._known
        match expr:
            case Const(value):
                return every if value else 0
            case Is(variable, value):
                return self._facts.get((variable, value), 0)
            case Ref(signal):
                if signal not in self._signals:
                    self._signals[signal] = yield self._machine.definitions[signal]
                return self._signals[signal]
            case Not(arg):
                found = every ^ (known[id(arg)][1] if id(arg) in known else (yield arg))
            case And(args):
                found = every
                for arg in args:
                    found &= known[id(arg)][1] if id(arg) in known else (yield arg)
                    if not found:
                        break
            case Or(args):
                found = 0
                for arg in args:
                    found |= known[id(arg)][1] if id(arg) in known else (yield arg)
        known[id(expr)] = expr, found
        return found


class Bench:
    """Where guesses are tried: the hold as it is, the runs against what fails, and those that show what can be done.

    `bad` grows: each guess that is refuted adds the run that it does not stop.
    """

    def __init__(self, verification: Verification, engine: Engine, limits: Limits) -> None:
        self.verification = verification
        self.engine = engine
        self._known = Remembered(_clauses_of(verification))
        self.clock = clock_of(limits)
        self._limits = replace(limits, depth=None)
        self.unsettled: set[str] = set()
        """What fails of which some guess was not tried, or not proved either way."""
        self.bad: dict[str, list[Trace]] = {}
        self.good: dict[str, list[Trace]] = {}
        for answer in verification.answers:
            if isinstance(answer.finding, Fails):
                id, trace = answer.instance.requirement.id, answer.finding.claim.trace
                if answer.status is Status.FAILS:
                    self.bad[id] = [trace]
                else:
                    self.good[id] = [trace]
        self._truths: dict[State, Callable[[Expr], bool]] = {}
        others = _not_asked(verification)
        self.model = model_of(verification.compiled, [*self.bad, *self.good, *(one.requirement.id for one in others)])
        self._note_what_runs([*self.bad.values(), *self.good.values()])
        self._keep_clear([one.requirement.id for one in others])
        self._lowering = _Remembering(verification.compiled.world)
        own = {text.id for text in verification.compiled.hold.requirements}
        wanted = {
            a.instance.origin.id: a.instance.origin
            for a in verification.answers
            if isinstance(a.finding, Fails) or a.status is Status.FAILS
        }
        wanted |= {one.origin.id: one.origin for one in others if one.requirement.id in self.good}
        self._texts = tuple(text for id, text in wanted.items() if id not in own)
        self._under: dict[Expr, frozenset[str]] = {}
        self._so = _Together(self.model.machine)
        self._critical: dict[str, dict[int, tuple[Trace, int]]] = {}
        self._built: dict[Hashable, Model | None] = {}

    def _note_what_runs(self, known: Sequence[Sequence[Trace]]) -> None:
        """What drives, doors and people are known to do can be done too: where nothing moves little is broken."""
        traces = [trace for some in known for trace in some]
        for id, question in self.model.questions.items():
            if id not in self.bad and id not in self.good:
                for trace in traces:
                    at = next((n for n, state in enumerate(trace.states) if self.truths(state)(question.target)), None)
                    if at is not None:
                        self.good[id] = [Trace(trace.rules[:at], trace.states[: at + 1])]
                        break

    def _keep_clear(self, others: Sequence[str]) -> None:
        """What can be done is shown by runs on which nothing that fails is broken: others may rest on the flaw.

        What is broken at the start already no run keeps clear of, nor what is broken on all ways that are known to
        what is not found otherwise.  What is not soon found so is left out: it says nothing about guesses.  The
        `others` were not asked about, and are looked for in the same way.
        """
        starts = [self.truths(traces[0].states[0]) for traces in self.bad.values()]
        targets = [self.model.questions[id].target for id in self.bad]
        breaches = [one for one in targets if not any(true(one) for true in starts)]
        passed = {id: self._passed(trace, breaches) for id, (trace, *_) in self.good.items()}
        left = [*(id for id, found in passed.items() if found), *others]
        known = {id: self.good.pop(id) for id in left if id in self.good}
        while left:
            found = self._clear_of(breaches, left)
            self.good |= found
            left = [id for id in known if id not in found and id in left]
            # what is broken on the way to all of them nobody keeps clear of
            everywhere = set(breaches).intersection(*(passed[id] for id in left)) if left else set()
            if not everywhere:
                break
            breaches = [one for one in breaches if one not in everywhere]

    def _passed(self, trace: Trace, breaches: Sequence[Expr]) -> frozenset[Expr]:
        """Those that are so in some state of the run."""
        truths = [self.truths(state) for state in trace.states]
        return frozenset(one for one in breaches if any(true(one) for true in truths))

    def _clear_of(self, breaches: Sequence[Expr], wanted: Sequence[str]) -> Mapping[str, list[Trace]]:
        """Runs on which none of these is so, for those of the questions for which one is soon found."""
        machine = self.model.machine
        sound = neg(disj(*breaches))
        rules = tuple(replace(rule, guard=conj(rule.guard, sound)) for rule in machine.rules)
        asked = [Question(id, conj(self.model.questions[id].target, sound), expects_run=True) for id in wanted]
        search = GuidedSearch(replace(machine, rules=rules), asked, self.limits, clock_of(self.limits), briefly=True)
        search.run(range(len(asked)), MOST_EXPANDED, silent, CLEAR_IN_VAIN)
        return {id: [search.found[id]] for id in wanted if id in search.found}

    def is_over(self) -> bool:
        """No more time, or an end was asked for."""
        return self.clock.is_over()

    @property
    def limits(self) -> Limits:
        """Those of the next proof."""
        left = self.clock.seconds_left()
        return replace(self._limits, seconds=PROOF_SECONDS if left is None else min(left, PROOF_SECONDS))

    def truths(self, state: State) -> Callable[[Expr], bool]:
        """Truths in a state of the hold as it is."""
        if state not in self._truths:
            self._truths[state] = truths_in(self.model.machine, state)
        return self._truths[state]

    def lowered(self, syntax: Syntax) -> Expr:
        """What the expression means in the hold as it is."""
        return self._lowering.expression(syntax)

    # ---- guesses at one expression, by the states of the runs that are known

    def stopping(self, wire: Wire, syntax: Syntax) -> Callable[[Trace, str], bool]:
        """Whether a run would not get to what is asked with that expression instead."""
        old, new, so = self.lowered(wire.syntax), self.lowered(syntax), self._so
        critical = self._critical.setdefault(wire.meaning.name, {})
        among, otherwise = 0, 0

        def stops(trace: Trace, question: str) -> bool:
            nonlocal among, otherwise
            states = (critical.get(id(trace)) or self._critical_of(wire, trace, question))[1]
            if among != len(so):
                # of more states than it was worked out for
                among, otherwise = len(so), so(old) ^ so(new)
            return bool(otherwise & states)

        return stops

    def ends_otherwise(self, wire: Wire, syntax: Syntax, trace: Trace, question: str) -> bool:
        """Whether what is asked would not be so at the end of a run, were that expression alone another one there."""
        last = trace.states[-1]
        old, new = (self.truths(last)(self.lowered(one)) for one in (wire.syntax, syntax))
        if old == new:
            return False
        name, target = wire.meaning.name, self.model.questions[question].target
        return name in self.signals_under(target) and not self._otherwise(name, last)(target)

    def _critical_of(self, wire: Wire, trace: Trace, question: str) -> tuple[Trace, int]:
        """The states of a run in which it would not go on, or miss its end, were the truth of the wire the other.

        Of an expression that is no more than a truth, whose signal is folded away, all states.  They stand beside the
        run itself.
        """
        name, machine = wire.meaning.name, self.model.machine
        known = self._critical[name]
        if id(trace) not in known:
            needed = [*(machine.rule(rule).guard for rule in trace.rules), self.model.questions[question].target]
            states = (
                trace.states
                if name not in machine.definitions
                else [
                    state
                    for state, expr in zip(trace.states, needed, strict=True)
                    if name in self.signals_under(expr) and not self._otherwise(name, state)(expr)
                ]
            )
            self._so.among(trace.states)  # the rest of them will be asked about next
            # kept with the run: the hash of a run takes longer than all else here
            known[id(trace)] = trace, self._so.among(states)
        return known[id(trace)]

    def _otherwise(self, name: str, state: State) -> Callable[[Expr], bool]:
        """Truths in the state, were that of one signal the other."""
        opposite = Const(not self.truths(state)(Ref(name)))
        machine = _Otherwise(
            self.model.machine.positions,
            ChainMap({name: opposite}, cast("dict[str, Expr]", self.model.machine.definitions)),
        )
        return truths_in(cast(Machine, machine), state)

    def signals_under(self, expr: Expr) -> frozenset[str]:
        """All signals that the expression depends on."""
        if expr not in self._under:
            self._under[expr] = signals_under(self.model.machine, [expr])
        return self._under[expr]

    # ---- guesses built

    def redefined(self, wire: Wire, syntax: Syntax) -> Model | None:
        """The hold with another expression there, where no more than what one signal stands for would be another.

        None where that is not so for sure, or where nothing comes of it.
        """
        name, machine = wire.meaning.name, self.model.machine
        # which levers count for a direction follows from the commands
        if name not in machine.definitions or name in self._folded or isinstance(wire.meaning, Commanded):
            return None
        new = self.lowered(syntax)
        if name in self.signals_under(new):
            return None
        signals = tuple(replace(one, definition=new) if one.name == name else one for one in machine.signals)
        return replace(self.model, machine=replace(machine, signals=signals))

    @cached_property
    def _folded(self) -> frozenset[str]:
        """What mechanism with memory goes by: that is folded into the steps that set it off."""
        compiled = self.verification.compiled
        wires = [wire for wire in wires_of(compiled.hold) if wire.meaning.subject.sort in FOLDED]
        below = signals_under(self.model.machine, [self.lowered(wire.syntax) for wire in wires])
        return below | {wire.meaning.name for wire in wires}

    def built(self, hold: Hold, ids: Sequence[str] = ()) -> Model | None:
        """The hold as it would be, with what is known to fail or to be possible, and `ids`; None where it is none."""
        compiled = compile_hold(hold, self._texts, self.verification.compiled.situation).compiled
        return None if compiled is None else model_of(compiled, [*self.bad, *self.good, *ids])

    def of(self, hold: Hold, ids: Sequence[str]) -> Bench | None:
        """A bench for another hold, where these are asked and what is known to be possible; None where it is none."""
        found = self._verified(hold, [*ids, *self.good])
        limits = replace(self._limits, seconds=self.clock.seconds_left())
        return None if found is None else Bench(found, self.engine, limits)

    def mended(self, hold: Hold, ids: Sequence[str]) -> tuple[str, ...]:
        """Those of these that hold in another hold, proved, and not for want of an occasion."""
        found = self._verified(hold, ids)
        return () if found is None else holding(found, ids)

    def _verified(self, hold: Hold, ids: Sequence[str]) -> Verification | None:
        compiled = compile_hold(hold, self._texts, self.verification.compiled.situation).compiled
        if compiled is None:
            return None
        asked = [one.requirement.id for one in compiled.instances if one.requirement.id in set(ids)]
        engine = partial(decide, found=Lemmas(self._known)) if self.engine is decide else self.engine
        return verify(compiled, engine, self.limits, chosen=asked)

    def outcomes(self, hold: Hold) -> Mapping[str, Status]:
        """What comes of all that was asked in the hold as it would be, ways back included; nothing where it is none."""
        answers, compiled = self.verification.answers, self.verification.compiled
        own = {text.id for text in compiled.hold.requirements}
        texts = {one.instance.origin.id: one.instance.origin for one in answers}
        wanted = tuple(text for id, text in texts.items() if id not in own)
        built = compile_hold(hold, wanted, compiled.situation).compiled
        if built is None:
            return {}
        ids = [one.instance.requirement.id for one in answers]
        found = verify(built, self.engine, self.limits, chosen=ids, lemmas=Lemmas(self._known), smallest=False)
        return {one.instance.requirement.id: one.status for one in found.answers}

    def tried(self, guess: Hashable, make: Callable[[], Hold]) -> Model | None:
        """The same of a hold that is made as the guess says; it is known, if that was tried before."""
        if guess not in self._built:
            self._built[guess] = self.built(make())
        return self._built[guess]

    def can_do(self, model: Model, trace: Trace, id: str) -> bool:
        """Whether a run of the hold as it is can be done there, deed by deed, and ends where the requirement breaks."""
        return run_again(model, self.model, trace, id) is not None

    def stopped(self, model: Model, ids: Sequence[str]) -> tuple[str, ...]:
        """Those of the failing requirements whose known runs cannot be done any more, or lead to no breach."""
        return tuple(
            id
            for id in ids
            if id in model.questions and not any(self.can_do(model, trace, id) for trace in self.bad[id])
        )

    def is_got_round(self, model: Model, id: str) -> bool:
        """Whether a run against the requirement is soon found there from where those that are known come to an end.

        It is remembered.
        """
        question = replace(model.questions[id], expects_run=True)
        search = GuidedSearch(model.machine, [question], self.limits, clock_of(self.limits))
        for trace in self.bad[id]:
            begun = as_far_as_it_goes(model, self.model, trace, question.target)
            if begun is not None:
                search.follow(begun)
        search.run([0], NEAR_EXPANDED, silent)
        if id in search.found:
            self._remember(model, search.found[id], id)
        return id in search.found

    def _remember(self, model: Model, trace: Trace, id: str) -> None:
        """A run of the hold as it would be against a requirement, if it can be done in the hold as it is as well."""
        back = run_again(self.model, model, trace, id)
        if back is not None:
            self.bad[id].append(back)

    def is_stilled(self, model: Model) -> bool:
        """Whether some step of a drive that can be, in whatever state, could never be: a unit that it cannot take."""
        return not _possible(model.machine, self._by_drives) >= self._by_drives

    @cached_property
    def _by_drives(self) -> frozenset[str]:
        model = self.model
        told = model.compiled.glossary.rules
        rules = [rule.name for rule in model.machine.rules if told[rule.name].actor is Actor.PLANT]
        return _possible(model.machine, rules)

    def lost(self, model: Model, most: float) -> tuple[str, ...]:
        """What could not be done any more in the hold as it would be, or for which no run is soon found.

        Once that is more than `most` the rest is taken to be lost as well; and all is lost where a drive or door cannot
        do any more what it could.

        Runs that are found are remembered where they can be done in the hold as it is: they do not rest on the flaw.
        """
        known = [id for id in self.good if id in model.questions]
        open = [id for id in known if not any(self.can_do(model, trace, id) for trace in self.good[id])]
        if not open:
            return ()
        asked = [replace(model.questions[id], expects_run=True) for id in open]
        search = GuidedSearch(model.machine, asked, self.limits, clock_of(self.limits), briefly=True)
        near = search.nearest(range(len(asked)))
        lost = len(asked) - len(near)
        for number in near:
            if lost > most:
                break
            search.run([number], MOST_EXPANDED, silent)
            lost += asked[number].id not in search.found
        for id in open:
            trace = search.found.get(id)
            back = None if trace is None else run_again(self.model, model, trace, id)
            if back is not None:
                self.good[id].append(back)
        left = tuple(id for id in open if id not in search.found)
        asked_for = {one.requirement.id for one in self.verification.compiled.instances}
        return left if asked_for.issuperset(left) else tuple(known)

    def prove_first(
        self, model: Model, first: str, others: Sequence[str], hastily: bool = False
    ) -> Mapping[str, Status]:
        """What comes of one failing requirement in the hold as it would be; where it holds, of the others as well."""
        lemmas = Lemmas(self._known)
        found = self.prove(model, [first], lemmas, hastily)
        rest = [id for id in others if id != first]
        if rest and found.get(first) is Status.HOLDS:
            found |= self.prove(model, rest, lemmas, hastily)
        return found

    def prove(
        self, model: Model, ids: Sequence[str], lemmas: Lemmas | None = None, hastily: bool = False
    ) -> dict[str, Status]:
        """What comes of the failing requirements in the hold as it would be; runs against them are remembered.

        `hastily`: what takes long is left undecided.
        """
        engine = self.engine
        if engine is decide:
            # most of what is so for good in the hold as it is is so there as well, and any run will do
            engine = partial(decide, found=lemmas or Lemmas(self._known), shortest=False)
        limits = self.limits
        if hastily:
            looks = Allowance(HASTY_LOOKS + HASTY_LOOKS_EACH * len(model.machine.rules))
            limits = replace(limits, stop=clock_of(limits).within(looks).stop)
        found = verify(model.compiled, engine, limits, chosen=ids)
        for answer in found.answers:
            if isinstance(answer.finding, Fails) and answer.instance.requirement.id in self.bad:
                self._remember(model, answer.finding.claim.trace, answer.instance.requirement.id)
        return {answer.instance.requirement.id: answer.status for answer in found.answers}


@dataclass(frozen=True, slots=True)
class _Otherwise:
    """As much of a machine as truths are worked out from."""

    positions: Mapping[str, int]
    definitions: Mapping[str, Expr]


def _possible(machine: Machine, names: Collection[str]) -> frozenset[str]:
    """Those of the rules whose guards some state satisfies, reachable or not; all that the machine does not have."""
    encoding = Encoding(machine)
    gates = {rule.name: encoding.gate(rule.guard) for rule in machine.rules if rule.name in names}
    solver = light_solver()
    add_all(solver, encoding.clauses)
    found = frozenset(name for name in names if name not in gates or solver.solve([gates[name]]))
    solver.close()
    return found


def holding(verification: Verification, ids: Sequence[str]) -> tuple[str, ...]:
    """Those of these requirements that hold, and not for want of an occasion."""
    statuses = {answer.instance.requirement.id: answer.status for answer in verification.answers}
    return tuple(id for id in ids if statuses.get(id) is Status.HOLDS)


def _not_asked(verification: Verification) -> tuple[Instance, ...]:
    """A few of what can perhaps be done although nobody asked this time, spread over all of it."""
    asked = {answer.instance.requirement.id for answer in verification.answers}
    instances = verification.compiled.instances
    left = [one for one in instances if one.requirement.kind is RequirementKind.CAN and one.requirement.id not in asked]
    return tuple(left[:: -(-len(left) // MOST_NOT_ASKED) or 1])


def _clauses_of(verification: Verification) -> tuple[Expr, ...]:
    """What the proofs of what holds rest on, where each step is enough for itself."""
    claims = [finding.claim for finding in verification.findings if isinstance(finding, Holds)]
    bodies = {id(claim.certificate): claim.certificate for claim in claims}
    return tuple(
        dict.fromkeys(clause for one in bodies.values() if one is not None and one.k == 1 for clause in one.clauses)
    )


def signals_under(machine: Machine, exprs: Sequence[Expr]) -> frozenset[str]:
    """All signals that the expressions depend on."""
    found: set[str] = set()
    waiting = [name for expr in exprs for name in signals_of(expr)]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += signals_of(machine.definitions[name])
    return frozenset(found)
