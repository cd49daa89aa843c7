"""A procedure bound to a compiled hold: every action becomes rules that may fire and conditions to be met."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from enum import StrEnum

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.compiler import Compilation, CompiledHold, compile_hold
from interlock.hold.compile.lowering import Lowering
from interlock.hold.compile.world import Thing
from interlock.hold.kinds import PRESSED, Trigger, Verb
from interlock.hold.language.model import START_ID, Direction, Hold, RequirementText, Situation
from interlock.hold.language.syntax import Chain, Syntax
from interlock.hold.origin import Arrive, Bring, Condition, Deed, Depart, Go, Means, Sort, TakeAway, Work
from interlock.hold.procedure.actions import Action
from interlock.hold.procedure.model import Procedure
from interlock.hold.sense import faults_of_start
from interlock.hold.sill_places import bays_beside, place_at_sill, standing_beside
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, conj, disj
from interlock.kernel.machine import Actor

_RULE_VERBS = {"connect": Verb.RESTORE, "disconnect": Verb.LOSE}
_SAID = {verb: word for word, verb in _RULE_VERBS.items()}
_NOT_SAID = (Verb.SETTLE, Verb.START, Verb.FINISH)
"""What procedures have no word for: a door is opened and closed, and its mechanism needs nobody."""
_TAKES_PLACE = frozenset({"set", "hold", "go", "bring"})
_MOVES = {"open": ("start_opening", "finish_opening"), "close": ("start_closing", "finish_closing")}

_NO_POSITION = "{} has no position {!r}"
_NO_SUCH = {"go": "{} does not go to {!r}", "bring": "to {} no {!r} can be brought"}


class Manner(StrEnum):
    """How an action goes on: one act, acts until something is so, a hand that holds until it is so, or only a look."""

    ONCE = "once"
    UNTIL = "until"
    HELD = "held"
    CHECK = "check"
    WAIT = "wait"


@frozen
class Bound:
    """An action with its meaning.

    `rules` are those of the machine that the action may fire (ONCE: exactly one of them), `release` those that let go
    afterwards (HELD).  `done` is what the action brings about, so that with it true nothing is left to do; `until` is
    its condition (TRUE where it has none).
    """

    action: Action
    manner: Manner
    rules: tuple[str, ...]
    release: tuple[str, ...]
    done: Expr
    until: Expr


@frozen
class GoalPart:
    """One of the things that a goal joins by `and`, with its meaning."""

    syntax: Syntax
    expr: Expr


@frozen
class BoundProcedure:
    """A procedure with its hold; `actions` in the order of the procedure, `goal` all of its `parts` together."""

    procedure: Procedure
    compiled: CompiledHold
    actions: tuple[Bound, ...]
    parts: tuple[GoalPart, ...]
    goal: Expr


@frozen
class Binding:
    """`bound` is None exactly when there is a fault."""

    bound: BoundProcedure | None
    diagnostics: tuple[Diagnostic, ...]


def compile_for(hold: Hold, procedure: Procedure, requirements: tuple[RequirementText, ...] = ()) -> Compilation:
    """Compiles the hold for the start that the procedure names."""
    situation = procedure.situation
    if situation is not None and situation not in {one.id for one in hold.situations}:
        known = ", ".join(one.id for one in hold.situations) or "states, since the hold has no situations"
        fault = Diagnostic("unknown-name", procedure.span, f"the hold has no situation '{situation}'", known)
        return Compilation(None, (fault,))
    if procedure.starts:
        lists = (hold.doorways, hold.devices, hold.controls, hold.supplies, hold.relays, hold.people)
        named = {thing.id for things in lists for thing in things}
        named |= set(hold.layout.bay_names.places)
        faults = tuple(
            Diagnostic("unknown-name", span, f"nothing in the hold is called {id!r}", "the id of something in it")
            for id, _, span in procedure.starts
            if id not in named
        )
        if faults:
            return Compilation(None, faults)
        made = Situation(id=START_ID, name="as the procedure says", sets=procedure.starts, span=procedure.span)
        faults = faults_of_start(hold, made)
        if faults:
            return Compilation(None, faults)
        hold = replace(hold, situations=(*hold.situations, made))
        situation = START_ID
    return compile_hold(hold, requirements, situation)


def compile_freely(hold: Hold, procedure: Procedure, requirements: tuple[RequirementText, ...] = ()) -> Compilation:
    """Compiles the hold for the same start, but with every supply that may be lost as the hold describes it.

    Such a supply goes and comes at any time, so this is what people can be faced with who keep to no procedure.
    """
    free = {supply.id for supply in hold.supplies if supply.may_be_lost}
    kept = tuple(entry for entry in procedure.starts if entry[0] not in free)
    found = compile_for(hold, replace(procedure, start=procedure.situation or kept), requirements)
    # a relay that is set at the start may need the supply to be on
    return found if found.compiled is not None else compile_for(hold, procedure, requirements)


def bind_procedure(procedure: Procedure, compiled: CompiledHold) -> Binding:
    """Looks up every name; all faults are told at once."""
    binder = _Binder(compiled)
    actions = [binder.action(action) for action in procedure.steps.actions]
    parts = tuple(GoalPart(part, binder.lowering.expression(part)) for part in _joined(procedure.goal))
    goal = conj(*(part.expr for part in parts))
    faults = Faults()
    faults.take(binder.lowering.faults)
    if faults:
        return Binding(None, faults.sorted())
    return Binding(BoundProcedure(procedure, compiled, tuple(actions), parts, goal), ())


def _joined(syntax: Syntax) -> Iterator[Syntax]:
    """What is joined by `and`, however deep."""
    if isinstance(syntax, Chain) and syntax.operator == "and":
        for arg in syntax.args:
            yield from _joined(arg)
    else:
        yield syntax


class _Binder:
    def __init__(self, compiled: CompiledHold) -> None:
        self.compiled = compiled
        self.lowering = Lowering(compiled.world)
        self.rules = {rule.name: rule for rule in compiled.machine.rules}
        self.doors = {door.id: door for door in compiled.hold.doorways}

    def action(self, action: Action) -> Bound:
        """The action with its meaning; where it has none a fault is noted and nothing fires."""
        until = TRUE if action.condition is None else self.lowering.expression(action.condition)
        if action.verb in ("check", "wait"):
            return Bound(action, Manner(action.verb), (), (), until, until)
        assert action.subject is not None  # noqa: S101 -- only checks and waits have none
        found = self.lowering.find(action.subject)
        if found is None or isinstance(found, tuple):
            if found is not None:
                self._fault(action, "wrong-object-kind", f"{action.text!r} is about a group", "one thing")
            return Bound(action, Manner.ONCE, (), (), FALSE, until)
        if action.verb in ("run_in", "run_out", "push"):
            return self._carry(action, found, until)
        if action.verb in _MOVES and _MOVES[action.verb][0] in found.verbs:
            return self._swing(action, found)
        return self._once(action, found, until)

    def _once(self, action: Action, thing: Thing, until: Expr) -> Bound:
        verb = _RULE_VERBS.get(action.verb, action.verb)
        if action.verb in _TAKES_PLACE:
            verb = f"{verb}_{action.to}"
        ends = "release"
        if action.verb == "press" and thing.sort is Sort.PUSH_BUTTON:
            verb = f"{Verb.HOLD}_{PRESSED}"
        elif action.verb == "press":
            ends = "let_up"
        rules = self._beside(action, thing, self._rules(thing, verb, action))
        supply = thing.sort is Sort.SUPPLY
        if rules and not supply:
            self._check_by_hand(action, thing, rules, "what makes it move")
        rules = tuple(name for name in rules if supply or self.rules[name].actor is Actor.CREW)
        done = disj(*(self._own(name, thing) for name in rules))
        if action.verb in ("bring", "take_away"):
            done = FALSE
        if action.verb in ("hold", "press") and action.condition is not None:
            return Bound(action, Manner.HELD, rules, self._rules(thing, ends, action), done, until)
        return Bound(action, Manner.ONCE, rules, (), done, until)

    def _swing(self, action: Action, thing: Thing) -> Bound:
        """A door is moved by hand until it is at the end."""
        names = [name for verb in _MOVES[action.verb] for name in self.compiled.rules_of(thing, verb)]
        self._check_by_hand(
            action, thing, names, "the lever that runs the drive, such as `hold LVD to up until D1 is open`"
        )
        at_end = thing.states["open" if action.verb == "open" else "closed"]
        return Bound(action, Manner.UNTIL, tuple(names), (), at_end, at_end)

    def _check_by_hand(self, action: Action, thing: Thing, rules: Sequence[str], expected: str) -> None:
        if not any(self.rules[name].actor is Actor.CREW for name in rules):
            self._fault(action, "not-done-by-hand", f"{thing.phrase} is moved by its drive, not by hand", expected)

    def _carry(self, action: Action, thing: Thing, until: Expr) -> Bound:
        """A unit is carried by the loader or pushed by hand."""
        door = self.doors.get(thing.id)
        if action.verb == "push":
            if action.to not in tuple(Direction) or thing.sort is not Sort.BAY:
                self._fault(action, "unknown-verb", f"{action.text!r} names no bay and direction", "`push aft from 2L`")
                return Bound(action, Manner.UNTIL, (), (), until, until)
            direction, means = str(action.to), Means.PUSH
        elif door is None:
            self._fault(action, "wrong-object-kind", f"{thing.phrase} ({thing.sort}) is no door", "a door")
            return Bound(action, Manner.UNTIL, (), (), until, until)
        else:
            direction = str(door.side.opposite if action.verb == "run_in" else door.side)
            means = Means.LOADER
        rules = [
            name
            for name, origin in self.compiled.origins.rules.items()
            if isinstance(deed := origin.deed, Depart | Arrive)
            and (deed.means, deed.move.direction) == (means, direction)
            and self._is_at(deed, thing)
        ]
        if not rules:
            self._fault(action, "unknown-verb", f"{action.text!r} is not possible in this hold", "another way")
        return Bound(action, Manner.UNTIL, self._beside(action, thing, rules), (), until, until)

    def _beside(self, action: Action, thing: Thing, rules: Sequence[str]) -> tuple[str, ...]:
        """Those of the rules that are about the place at the sill that the action names; all where it names none."""
        door = self.doors.get(thing.id)
        if action.beside is None or door is None or not rules:
            return tuple(rules)
        bay, span = action.beside
        floor = self.compiled.floor
        found = ((rule, place_at_sill(floor, self.compiled.origins.deed_of(rule))) for rule in rules)
        places = {rule: place for rule, place in found if place is not None}
        chosen = standing_beside(floor, places.values(), bay)
        if not chosen:
            called = {bays_beside(floor, place)[0] for place in places.values()}
            names = [name for name in door.bays if name in called]
            code, message = "unknown-name", f"{bay!r} is no bay at the sill of {thing.phrase}"
            if bay in door.bays:
                code, message = "unknown-verb", f"{action.text!r} is not possible: no such unit fits there"
            nearest = nearest_name(bay, names)
            fault = Diagnostic(code, span, message, "one of " + ", ".join(names), nearest, action.context)
            self.lowering.faults.append(fault)
        return tuple(rule for rule, place in places.items() if place in chosen)

    def _is_at(self, deed: Depart | Arrive, thing: Thing) -> bool:
        """Whether a move of a unit touches the sill of the door, or the bay."""
        floor = self.compiled.floor
        cells, faces = deed.placement.cells, {face for face, _ in deed.move.crossed}
        door = self.doors.get(thing.id)
        if door is None:
            return thing.id in cells or bool(floor.faces_around([thing.id]) & faces)
        outside = any(floor.cells[cell].door == door.id for cell in cells)
        return outside or any(face in faces for bay in door.bays for face in floor.faces(bay, door.side))

    def _rules(self, thing: Thing, verb: str, action: Action) -> tuple[str, ...]:
        rules = self.compiled.rules_of(thing, verb)
        if not rules:
            known = sorted(set(self._said(thing)))
            ways = sorted(set(self._ways(thing, action.verb)))
            said = f"{action.text!r} cannot be done to {thing.phrase} ({thing.sort})"
            nearest = None
            if action.to is not None and ways:
                said = _NO_SUCH.get(action.verb, _NO_POSITION).format(f"{thing.phrase} ({thing.sort})", action.to)
                known, nearest = ways, nearest_name(action.to, ways)
            expected = "one of " + ", ".join(known) if known else "nothing: no hand works it"
            self._fault(action, "unknown-verb", said, expected, nearest)
        return rules

    def _ways(self, thing: Thing, verb: str) -> Iterator[str]:
        """The positions to which it can be set or held, places to which somebody goes, units that come to a door."""
        known = self.compiled.origins.deeds
        for name in (name for deeds in thing.verbs.values() for name in deeds if name in known):
            match known[name]:
                case Work(trigger=trigger) if trigger.verb == verb and trigger.to:
                    yield trigger.to
                case Go(dest=dest) if verb == "go":
                    yield dest
                case Bring(placement=placement) if verb == "bring":
                    yield placement.kind

    def _said(self, thing: Thing) -> Iterator[str]:
        """What can be done to a thing, in the words of procedures."""
        known = self.compiled.origins.deeds
        door = self.doors.get(thing.id)
        if door is not None and door.moved_by == "hand":
            yield from _MOVES
        for name in dict.fromkeys(name for deeds in thing.verbs.values() for name in deeds if name in known):
            match known[name]:
                case Work(trigger=Trigger(verb=Verb.HOLD, to=to)) if to == PRESSED:
                    yield Verb.PRESS
                case Work(trigger=trigger) if trigger.verb not in _NOT_SAID:
                    yield _SAID.get(trigger.verb, trigger.verb)
                case Go():
                    yield "go"
                case Bring():
                    yield "bring"
                case TakeAway():
                    yield "take"

    def _own(self, name: str, thing: Thing) -> Expr:
        """What the rule makes so of the thing itself."""
        memories = self.compiled.origins.variables
        facts = [
            Is(target, value)
            for target, value in self.rules[name].update
            if isinstance(memory := memories[target], Condition) and memory.subject.id == thing.id
        ]
        return conj(*facts) if facts else FALSE

    def _fault(self, action: Action, code: str, message: str, expected: str, nearest: str | None = None) -> None:
        self.lowering.faults.append(Diagnostic(code, action.span, message, expected, nearest, action.context))


def rules_of_supplies(compiled: CompiledHold) -> Mapping[str, str]:
    """The rules by which supplies go and come of themselves, with `lose` or `restore`.

    What needs another supply comes on, and runs out, as other equipment does what follows from the state of things.
    """
    found: dict[str, str] = {}
    for supply in compiled.hold.supplies:
        thing = compiled.world.things[supply.id]
        for verb in ("lose", "restore") if supply.needs is None else ("lose",):
            rules = (rule for rule in compiled.rules_of(thing, verb) if not _runs_out(compiled.origins.deed_of(rule)))
            found.update(dict.fromkeys(rules, verb))
    return found


def _runs_out(deed: Deed) -> bool:
    return isinstance(deed, Work) and deed.trigger.word != deed.trigger.verb


def bind_action(action: Action, compiled: CompiledHold) -> Bound | None:
    """The action with its meaning in the hold; None where it has none."""
    binder = _Binder(compiled)
    bound = binder.action(action)
    return None if binder.lowering.faults else bound
