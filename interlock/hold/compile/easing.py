"""A hold in which what keeps steps from happening can be lifted, one thing or several, from the start and for good.

Every hindrance (`origin.Hindrance`) becomes a variable that no rule writes.  Where it is false all is as described.
Where it is true, what it hinders is possible all the same: guards, and what is asked for, only ever become weaker.
For that, signals on which hindrances bear are there twice over: once with what is lifted counted in favour of their
being true, once in favour of their being false.  A guard takes the one or the other by the sign with which it names
the signal.  So what can be reached with some things lifted can be reached with more of them lifted too.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from interlock.hold.compile.described import Described
from interlock.hold.compile.lowering import Lowering
from interlock.hold.compile.symbols import Act, Defined, Promised, Remembered, Symbols
from interlock.hold.compile.world import Thing, World
from interlock.hold.language.model import Control, Device, Direction
from interlock.hold.language.syntax import Syntax, Truth
from interlock.hold.origin import Contact, ContactRead, Cover, Eased, Fixed, Lifted, Reach, Sort, Stop
from interlock.kernel.expressions import (
    FALSE,
    TRUE,
    And,
    Expr,
    Is,
    Not,
    Or,
    Ref,
    conj,
    disj,
    each,
    fold,
    neg,
    variables_of,
)
from interlock.kernel.machine import Requirement, Variable

MOST_MECHANISM = 4
"""So many steps of mechanism with memory are eased: each of n that may follow something or not makes 2 ** n ways."""


@dataclass(slots=True)
class ContactLowering(Lowering):
    """Lowers what the description says of `owner` so that every state it asks for becomes a signal of its own.

    What another expression of the description defines is none: its own contacts are.  `fixed` are things that are
    fixed in one state.
    """

    symbols: Symbols = field(kw_only=True)
    fixed: frozenset[str] = field(kw_only=True)
    contacts: dict[str, Defined] = field(default_factory=dict)

    def expression(self, syntax: Syntax, bound: Mapping[str, Thing] | None = None) -> Expr:
        """The meaning of the syntax; also what is constant can be lifted."""
        if isinstance(syntax, Truth):
            return self._contact("", None, TRUE if syntax.value else FALSE)
        return Lowering.expression(self, syntax, bound)

    def reading(self, found: Thing, state: str | None, expr: Expr) -> Expr:
        """The contact."""
        inner = expr.arg if isinstance(expr, Not) else expr
        if isinstance(inner, Ref) and isinstance(self.symbols.signals[inner.signal], Promised):
            return expr
        return self._contact(found.id, state, expr)

    def _contact(self, thing: str, state: str | None, expr: Expr) -> Expr:
        # a sensor sees what it sees; its contacts are in the circuits that ask it
        if self.owner is None or (self.owner.subject.sort is Sort.SENSOR and thing not in self.fixed):
            return expr
        read = ContactRead(self.owner, thing, state)
        self.contacts[read.name] = Defined(read, expr, ("", ""))
        return Ref(read.name)


def ease(described: Described, symbols: Symbols, world: World) -> Easing:
    """What eases the acts and the requirements of a description that is known to be without fault."""
    fixed = frozenset(thing.id for thing in _fixed(described))
    lowering = ContactLowering(world, symbols=symbols, fixed=fixed)
    definitions: dict[str, Expr] = {}
    for name, one in symbols.signals.items():
        lowering.owner = one.meaning
        definitions[name] = (
            one.definition if isinstance(one, Defined) else one.definition(lowering.expression(one.syntax))
        )
    return Easing(symbols, definitions, lowering.contacts, fixed)


class Easing:
    """Signals twice over, made as they are asked for."""

    def __init__(
        self,
        symbols: Symbols,
        definitions: Mapping[str, Expr],
        contacts: Mapping[str, Defined],
        fixed: frozenset[str],
    ) -> None:
        self._fixed = fixed
        self._signals: dict[str, Defined | Promised] = {**symbols.signals, **contacts}
        self.definitions = {**definitions, **{name: one.definition for name, one in contacts.items()}}
        """All there are by now."""
        self._known: dict[tuple[str, bool], Expr] = {}
        self._lifted: dict[str, Lifted] = {}

    def eased(self, expr: Expr, wanted: bool = True) -> Expr:
        """The expression with what is lifted counted in favour of its being true (`wanted`) or false."""
        return fold(self._step, (expr, wanted))

    def requirement(self, requirement: Requirement) -> Requirement:
        """The same for what a requirement says can be done."""
        condition, situation = self.eased(requirement.condition), self.eased(requirement.situation)
        return replace(requirement, condition=condition, situation=situation)

    def acts(self, acts: tuple[Act, ...]) -> tuple[Act, ...]:
        """Everything that can happen, eased; where too much mechanism with memory is, all but that."""
        eased = tuple(self._act(act) for act in acts)
        loosened = sum(act.settles and act.rule.guard != new.rule.guard for act, new in zip(acts, eased, strict=True))
        if loosened <= MOST_MECHANISM:
            return eased
        return tuple(act if act.settles else new for act, new in zip(acts, eased, strict=True))

    def symbols(self, described: Described, symbols: Symbols) -> Symbols:
        """The symbols, whose acts are eased, with the signals that there are by now and what can be lifted."""
        spoken_of = {name for act in symbols.acts for name in variables_of(act.rule.guard)}
        others = (one for one in _around_acts(described) if one.name in spoken_of)
        lifted = {one.name: _remembered(one) for one in (*others, *self._lifted.values())}
        memories = MappingProxyType({**symbols.memories, **lifted})
        return replace(symbols, memories=memories, signals=MappingProxyType(dict(self._signals)))

    def _act(self, act: Act) -> Act:
        rule = act.rule
        surely = self.eased(rule.guard, wanted=False) if act.settles else None
        return replace(act, rule=replace(rule, guard=self.eased(rule.guard), surely=surely))

    def _step(self, asked: tuple[Expr, bool]) -> Generator[tuple[Expr, bool], Expr, Expr]:
        expr, wanted = asked
        if isinstance(expr, Not):
            return neg((yield expr.arg, not wanted))
        if isinstance(expr, And | Or):
            args: list[Expr] = yield from each([(arg, wanted) for arg in expr.args])
            return conj(*args) if isinstance(expr, And) else disj(*args)
        if not isinstance(expr, Ref):
            return expr
        key = expr.signal, wanted
        if key not in self._known:
            plain = self.definitions[expr.signal]
            inner: Expr = yield plain, wanted
            meaning = self._signals[expr.signal].meaning
            if isinstance(meaning, ContactRead):
                is_lifted = self._lifting(meaning, wanted)
                inner = disj(inner, is_lifted) if wanted else conj(inner, neg(is_lifted))
            self._known[key] = expr if inner == plain else self._define(expr.signal, Eased(meaning, wanted), inner)
        return self._known[key]

    def _lifting(self, read: ContactRead, wanted: bool) -> Expr:
        found: list[Lifted] = []
        if read.subject.sort is not Sort.SENSOR:
            found.append(Lifted(Contact(read.owner, read.thing, read.state, wanted)))
        if read.thing in self._fixed:
            found.append(Lifted(Fixed(read.thing)))
        self._lifted.update({one.name: one for one in found})
        return disj(*(Is(one.name, True) for one in found))

    def _define(self, signal: str, meaning: Eased, definition: Expr) -> Expr:
        self._signals[meaning.name] = Defined(meaning, definition, self._signals[signal].phrases)
        self.definitions[meaning.name] = definition
        return Ref(meaning.name)


def _around_acts(described: Described) -> Iterator[Lifted]:
    """What stages put into guards beside what the description's expressions say."""
    hold = described.hold
    for device in hold.devices:
        yield from (Lifted(Stop(device.id, way)) for way in Direction)
    for control in hold.controls:
        if control.behind is not None:
            yield Lifted(Cover(control.id, control.behind))
    for thing in _fixed(described):
        yield Lifted(Fixed(thing.id))
    for id in dict.fromkeys(id for place in hold.places for id in place.reaches):
        yield Lifted(Reach(id))


def _fixed(described: Described) -> Iterator[Device | Control]:
    yield from (device for device in described.hold.devices if device.fixed is not None)
    yield from (control for control in described.hold.controls if control.fixed is not None)


def _remembered(lifted: Lifted) -> Remembered:
    return Remembered(lifted, Variable(lifted.name, (False, True), (False,)), {})
