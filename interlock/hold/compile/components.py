"""One thing of a kind, compiled: which memory it needs, when it is in each state, what it can do.

Mechanism transitions (`by_itself`) settle before anyone acts.  Where the settled state follows from the conditions
alone, the compiler keeps no memory for it: states joined by mechanism transitions form a class, the variable holds the
class, and the state within it is an expression.  Only where a class has several settled states under the same
conditions (a handle, a relay) do its states become values of the variable, and its mechanism transitions rules.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from itertools import product

from interlock.diagnostics.frozen import frozen
from interlock.hold.kinds import BY_ITSELF, Change, Kind, changes_of
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Value, conj, disj, neg


class UnsettledKind(ValueError):
    """A declaration whose mechanism goes round in a circle under some conditions; names kind and conditions."""


@frozen
class Behaviour:
    """What a declaration needs, whatever the thing: the values of its variable and when each state holds.

    `values` are the classes (each by its first state) or, where a class has memory, its states.  `within` gives for
    every state its value and the settings of the class's conditions, as rows of true and false, under which it holds.
    """

    values: tuple[str, ...]
    value_of: Mapping[str, str]
    conditions: Mapping[str, tuple[str, ...]]
    rows: Mapping[str, frozenset[tuple[bool, ...]]]
    remembered: frozenset[str]


def _allows(change: Change, setting: Mapping[str, bool]) -> bool:
    return all(setting[name] for name in change.needs) and not any(setting[name] for name in change.unless)


@cache
def behaviour_of(kind: Kind, lags: bool = False) -> Behaviour:
    """Works out the classes of a declaration; with `lags`, every state is remembered.

    Raises UnsettledKind when the mechanism of a class never settles under some setting of its conditions.
    """
    changes = changes_of(kind)
    mechanism = [] if lags else [change for change in changes if change.trigger == BY_ITSELF]
    class_of = {state: state for state in kind.states}
    for change in mechanism:
        old, new = class_of[change.dest], class_of[change.source]
        first = min((old, new), key=kind.states.index)
        class_of = {state: first if name in (old, new) else name for state, name in class_of.items()}
    values: list[str] = []
    value_of: dict[str, str] = {}
    conditions: dict[str, tuple[str, ...]] = {}
    rows: dict[str, frozenset[tuple[bool, ...]]] = {}
    remembered: set[str] = set()
    for first in dict.fromkeys(class_of.values()):
        members = [state for state in kind.states if class_of[state] == first]
        inner = [change for change in mechanism if change.source in members]
        names = tuple(dict.fromkeys(name for change in inner for name in (*change.needs, *change.unless)))
        settled: dict[tuple[bool, ...], set[str]] = {}
        for row in product((False, True), repeat=len(names)):
            setting = dict(zip(names, row, strict=True))
            settled[row] = {_settle(kind, member, inner, setting) for member in members}
        if all(len(ends) == 1 for ends in settled.values()):
            values.append(first)
            for member in members:
                value_of[member] = first
                conditions[member] = names
                rows[member] = frozenset(row for row, ends in settled.items() if ends == {member})
        else:
            values.extend(members)
            remembered.update(members)
            for member in members:
                value_of[member] = member
                conditions[member] = ()
                rows[member] = frozenset({()})
    return Behaviour(tuple(values), value_of, conditions, rows, frozenset(remembered))


def _settle(kind: Kind, state: str, mechanism: list[Change], setting: Mapping[str, bool]) -> str:
    seen = {state}
    while True:
        dest = next((c.dest for c in mechanism if c.source == state and _allows(c, setting)), state)
        if dest == state:
            return state
        if dest in seen:
            shown = ", ".join(f"{name} {'true' if value else 'false'}" for name, value in setting.items())
            raise UnsettledKind(f"{kind.id}: never settles with {shown}")
        seen.add(dest)
        state = dest


def _by_cases(names: tuple[str, ...], rows: frozenset[tuple[bool, ...]], meaning: Mapping[str, Expr]) -> Expr:
    """The condition that the setting is one of the rows, deciding one name after another."""
    if not rows:
        return FALSE
    if len(rows) == 2 ** len(names):
        return TRUE
    with_it = frozenset(row[1:] for row in rows if row[0])
    without = frozenset(row[1:] for row in rows if not row[0])
    yes, no = _by_cases(names[1:], with_it, meaning), _by_cases(names[1:], without, meaning)
    if yes == no:
        return yes
    condition = meaning[names[0]]
    if no == FALSE:
        return conj(condition, yes)
    if yes == FALSE:
        return conj(neg(condition), no)
    if yes == TRUE:
        return disj(condition, no)
    if no == TRUE:
        return disj(neg(condition), yes)
    return disj(conj(condition, yes), conj(neg(condition), no))


@frozen
class Action:
    """One transition of one thing: `updates` is empty where the class does not change."""

    trigger: str
    source: str
    dest: str
    guard: Expr
    updates: tuple[tuple[str, Value], ...]


@frozen
class Component:
    """One thing of a kind in one hold.

    `variable` is None where it has one value only.  `states` says when it is in each state.  `actions` are done by
    somebody or (mechanism, memory) by itself.
    """

    variable: str | None
    values: tuple[str, ...]
    starts: tuple[str, ...]
    states: Mapping[str, Expr]
    actions: tuple[Action, ...]


def compose(
    name: str, kind: Kind, meaning: Mapping[str, Expr], starts: tuple[str, ...], lags: bool, fixed: str | None
) -> Component:
    """Compiles one thing; `meaning` gives its kind's conditions, `starts` the states that it may start in.

    A thing that is `fixed` in a state has no memory and does nothing.  Raises KeyError when a condition has no meaning
    and UnsettledKind for a faulty declaration.
    """
    if fixed is not None:
        held = {state: TRUE if state == fixed else FALSE for state in kind.states}
        return Component(None, (fixed,), (fixed,), held, ())
    behaviour = behaviour_of(kind, lags)
    variable = name if len(behaviour.values) > 1 else None
    states: dict[str, Expr] = {}
    for state in kind.states:
        where = _by_cases(behaviour.conditions[state], behaviour.rows[state], meaning)
        valued = TRUE if variable is None else Is(variable, behaviour.value_of[state])
        states[state] = conj(valued, where)
    actions = []
    earlier: dict[tuple[str, str], list[Expr]] = {}
    for change in changes_of(kind):
        if change.trigger == BY_ITSELF and not lags and change.source not in behaviour.remembered:
            continue
        condition = conj(*(meaning[n] for n in change.needs), *(neg(meaning[n]) for n in change.unless))
        tried = earlier.setdefault((change.trigger, change.source), [])
        guard = conj(states[change.source], condition, *(neg(other) for other in tried))
        tried.append(condition)
        before, after = behaviour.value_of[change.source], behaviour.value_of[change.dest]
        updates: tuple[tuple[str, Value], ...] = () if variable is None or before == after else ((variable, after),)
        actions.append(Action(change.trigger, change.source, change.dest, guard, updates))
    values = tuple(dict.fromkeys(behaviour.value_of[state] for state in starts))
    return Component(variable, behaviour.values, values, states, tuple(actions))
