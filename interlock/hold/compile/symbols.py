"""What the stages of a compilation make: memories, signals, deeds, and the things that expressions can name.

A stage is a function: it takes the description and the symbols of the stages before it, and gives symbols of its own.
What it says of a thing that is known already is joined to that.  Expressions of the description may name anything; so
a signal that one of them defines is promised with its syntax, and all of them are lowered once everything is named.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import say, say_both
from interlock.hold.compile.components import Action, Component
from interlock.hold.compile.settling import UnfusedRule
from interlock.hold.compile.world import Thing
from interlock.hold.failing import MayStrike
from interlock.hold.kinds import Kind, Trigger, Verb
from interlock.hold.language.syntax import Syntax, Truth
from interlock.hold.origin import Condition, Deed, Fact, Meaning, Memory, Strike, Subject, Work
from interlock.kernel.expressions import FALSE, TRUE, Const, Expr, Is, Ref, Value, conj, disj, neg
from interlock.kernel.machine import Actor, Variable


@frozen
class Remembered:
    """A variable, what it remembers, and a sentence for each value that is told."""

    memory: Memory
    variable: Variable
    says: Mapping[Value, str]


@frozen
class Defined:
    """A signal with its two sentences: said when it is true, said when it is false."""

    meaning: Meaning
    definition: Expr
    phrases: tuple[str, str]


@frozen
class Promised:
    """A signal that an expression of the description defines, unless something makes it so, or not so, for good.

    Of the two the latter wins.
    """

    meaning: Meaning
    syntax: Syntax
    phrases: tuple[str, str]
    so: Expr = FALSE
    not_so: Expr = FALSE

    def definition(self, lowered: Expr) -> Expr:
        """What defines it, given what its expression means."""
        return conj(disj(lowered, self.so), neg(self.not_so))


@frozen
class Act:
    """Something that can happen, as a rule before settling; `verbs` are (thing, verb) pairs that mean it.

    What `settles` happens before anybody acts again: it becomes part of what sets it off.
    """

    deed: Deed
    rule: UnfusedRule
    verbs: tuple[tuple[str, str], ...]
    settles: bool


@frozen
class Case:
    """A part of what a trigger of a thing does: `when` it is that part, and (thing, verb) pairs that mean it alone."""

    id: str
    when: Expr
    verbs: tuple[tuple[str, str], ...]


@frozen
class Symbols:
    """All that some stages have made, by name and in order."""

    memories: Mapping[str, Remembered]
    signals: Mapping[str, Defined | Promised]
    things: Mapping[str, Thing]
    acts: tuple[Act, ...]

    def joined(self, more: Symbols) -> Symbols:
        """These and more."""
        things = dict(self.things)
        for id, thing in more.things.items():
            things[id] = things[id].joined(thing) if id in things else thing
        return Symbols(
            MappingProxyType({**self.memories, **more.memories}),
            MappingProxyType({**self.signals, **more.signals}),
            MappingProxyType(things),
            (*self.acts, *more.acts),
        )


NOTHING = Symbols({}, {}, {}, ())


def told(name: str, what: str) -> tuple[str, str]:
    """The two sentences of a signal that says what is so of something."""
    return say_both("{name} is {what}", "{name} is not {what}", name=name, what=what)


def promised(meaning: Meaning, syntax: Syntax, eased: bool = False) -> Expr:
    """What stands for an expression of the description; where the hold is eased, what is constant is lowered too."""
    if isinstance(syntax, Truth) and not eased:
        return TRUE if syntax.value else FALSE
    return Ref(meaning.name)


class Additions:
    """What one stage adds: written within that stage alone, and given away as `symbols`."""

    def __init__(self, eased: bool = False) -> None:
        self._eased = eased
        self._memories: dict[str, Remembered] = {}
        self._signals: dict[str, Defined | Promised] = {}
        self._things: dict[str, Thing] = {}
        self._acts: list[Act] = []

    def symbols(self) -> Symbols:
        """All of it."""
        return NOTHING.joined(Symbols(self._memories, self._signals, self._things, tuple(self._acts)))

    def define(self, meaning: Meaning, definition: Expr, phrases: tuple[str, str]) -> Expr:
        """A signal."""
        self._signals[meaning.name] = Defined(meaning, definition, phrases)
        return Ref(meaning.name)

    def signal(self, meaning: Meaning, definition: Expr, phrases: tuple[str, str]) -> Expr:
        """The same, but atoms and constants stay what they are."""
        return definition if isinstance(definition, Const | Is) else self.define(meaning, definition, phrases)

    def promise(
        self,
        meaning: Meaning,
        syntax: Syntax,
        phrases: tuple[str, str],
        *,
        so: Expr = FALSE,
        not_so: Expr = FALSE,
    ) -> Expr:
        """A signal that is lowered later, unless `so` or `not_so`, failures that have struck, say what it is."""
        constant = so == not_so == FALSE
        expr = promised(meaning, syntax, self._eased) if constant else Ref(meaning.name)
        if isinstance(expr, Ref):
            self._signals[meaning.name] = Promised(meaning, syntax, phrases, so, not_so)
        return expr

    def remember(
        self, memory: Memory, values: tuple[Value, ...], starts: Iterable[Value], says: Mapping[Value, str]
    ) -> None:
        """A variable."""
        self._memories[memory.name] = Remembered(memory, Variable(memory.name, values, tuple(starts)), says)

    def act(
        self,
        deed: Deed,
        actor: Actor,
        guard: Expr,
        updates: Mapping[str, Value],
        text: str,
        verbs: Iterable[tuple[str, str]] = (),
        settles: bool = False,
    ) -> None:
        """Something that can happen; a guard that is false adds nothing."""
        if guard != FALSE:
            rule = UnfusedRule(deed.name, actor, guard, dict(updates), text)
            self._acts.append(Act(deed, rule, tuple(verbs), settles))

    def name(
        self,
        thing: Thing,
        states: Mapping[str, Expr] | None = None,
        parts: Mapping[str, str | tuple[str, ...]] | None = None,
        *,
        truth: Expr | None = None,
        verbs: Iterable[str] = (),
        seen: Mapping[tuple[Meaning | None, str], Expr] | None = None,
    ) -> None:
        """A thing, or more of one; `verbs` can be asked about though nothing does them."""
        asked: dict[str, tuple[str, ...]] = dict.fromkeys(verbs, ())
        more = Thing(thing.id, thing.sort, thing.phrase, states or {}, truth, parts or {}, asked, seen or {})
        known = self._things.get(thing.id)
        self._things[thing.id] = more if known is None else known.joined(more)

    def states(self, of: Condition, phrase: str, component: Component, kind: Kind) -> dict[str, Expr]:
        """The signals for the states of a thing of that kind and, where it has memory, its variable."""
        states = {
            state: self.signal(Fact(of.subject, state), expr, told(phrase, kind.said(state)))
            for state, expr in component.states.items()
        }
        if component.variable is not None:
            says: dict[Value, str] = {
                value: say("{name} is {what}", name=phrase, what=kind.said(value)) for value in component.values
            }
            self.remember(of, component.values, component.starts, says)
        return states

    def work(
        self,
        thing: Thing,
        of: Condition,
        kind: Kind,
        component: Component,
        crew: Expr,
        plant: Expr = TRUE,
        *,
        lags: bool = False,
        also: tuple[str, ...] = (),
        cases: Mapping[Verb, Sequence[Case]] = MappingProxyType({}),
    ) -> None:
        """What its kind can do: steps of the crew need `crew`, others `plant`; `also` are further verbs for all of it.

        `cases` take what some triggers do apart: each state is in one of them.

        What its kind can do is a step that can be asked about also where it can never happen: of a lever that is fixed
        a requirement still says that it must be moved first.
        """
        triggers = [trigger for trigger in kind.triggers.values() if trigger.verb is not Verb.SETTLE]
        self.name(thing, verbs=[word for trigger in triggers for word in (trigger.word, trigger.verb)])
        for action in component.actions:
            trigger = kind.triggers[action.trigger]
            guard = conj(action.guard, crew if trigger.actor is Actor.CREW else plant)
            text = trigger.told(thing.phrase)
            verbs = [trigger.word, *([trigger.verb] if trigger.to else []), *also]
            settles = False
            if trigger.verb is Verb.SETTLE:
                text = say("{name} goes to {what} by itself", name=thing.phrase, what=kind.said(action.dest))
                settles = not lags
            if settles:
                # no rule of its own says when it is possible, or what came before it
                verbs = []
            deed = _work(of, trigger, action, component)
            pairs = [(thing.id, str(verb)) for verb in verbs]
            for case in cases.get(trigger.verb, (Case("", TRUE, ()),)):
                one, when = replace(deed, case=case.id), conj(guard, case.when)
                self.act(one, trigger.actor, when, dict(action.updates), text, (*pairs, *case.verbs), settles)

    def failing(self, of: Subject, phrase: str, states: dict[str, Expr], state: str, so: Expr, not_so: Expr) -> None:
        """Puts failures into the two states of a thing: struck, it is in the state (`so`) or in the other."""
        if so != FALSE or not_so != FALSE:
            (other,) = (one for one in states if one != state)
            fails = conj(disj(states[state], so), neg(not_so))
            states[state] = self.define(Fact(of, state), fails, told(phrase, state))
            states[other] = self.define(Fact(of, other), neg(states[state]), told(phrase, other))

    def fails(self, declared: Iterable[MayStrike]) -> None:
        """Failures that may strike, at any time, and need not: each once, unless it may go again."""
        for one in declared:
            failure, id = one.failure, one.failure.subject.id
            is_struck, works = Is(failure.name, True), f"{one.item.name} works"
            self.remember(failure, (False, True), (False,), {True: one.text, False: works})
            verbs = ((id, f"fail_{failure.mode}"), (id, "fail"))
            self.act(Strike(failure), Actor.FAILURE, neg(is_struck), {failure.name: True}, one.text, verbs)
            if one.heals:
                again = Strike(failure, heals=True)
                self.act(again, Actor.FAILURE, is_struck, {failure.name: False}, f"{works} again", ((id, "heal"),))


def _work(of: Condition, trigger: Trigger, action: Action, component: Component) -> Work:
    sole = sum(one.trigger == action.trigger for one in component.actions) == 1
    return Work(of, trigger, action.source, action.dest, sole)
