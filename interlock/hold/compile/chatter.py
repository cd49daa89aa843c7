"""Failures under which a mechanism never comes to rest: a relay that drops itself, picks up again, and so on.

A description that does so as it stands is rejected.  One that does so only where something has failed is not: what
has to fail for it is found, one failure at a time, and left out of what is reckoned with.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.components import UnsettledKind
from interlock.hold.compile.described import describe
from interlock.hold.compile.naming import NamedHold, name_hold
from interlock.hold.compile.settling import Fuser, NeverSettles
from interlock.hold.language.model import Hold
from interlock.kernel.expressions import FALSE, assign, variables_of


@frozen
class Chatter:
    """With this failure, by its variable, and with those of `others`, the mechanism never comes to rest: `chain`."""

    failure: str
    others: tuple[str, ...]
    chain: str


def chattering(hold: Hold, failures: Sequence[str]) -> tuple[Chatter, ...]:
    """What of the failures that the hold declares, by their variables, must be left out for it to come to rest.

    None where it does not even where nothing fails, or where its names are at fault: compiling says so.
    """
    try:
        named = name_hold(describe(hold, None))
    except UnsettledKind:
        return ()
    if named.faults:
        return ()
    every = frozenset(name for name in failures if name in named.symbols.memories)
    left = [name for name in failures if name in every]
    found: list[Chatter] = []
    while (fault := _fault(named, every.difference(left))) is not None:
        if _fault(named, every) is not None:
            return ()
        more = list(_guilty(named, fault, every, left))
        found += more
        gone = {one.failure for one in more}
        left = [name for name in left if name not in gone]
    return tuple(found)


def _guilty(named: NamedHold, fault: NeverSettles, every: frozenset[str], left: Sequence[str]) -> Iterator[Chatter]:
    """Those of what is left under each of which alone it never comes to rest; else one of few that do it together."""
    guards = (fault.rule.guard, *(step.guard for step in fault.responses))
    near = {name for guard in guards for name in variables_of(guard, named.definitions)} | set(fault.rule.updates)
    able = [name for name in left if name in near]
    alone = {name: own for name in able if (own := _fault(named, every - {name})) is not None}
    if alone:
        yield from (Chatter(name, (), chain_of(own)) for name, own in alone.items())
        return
    needed = list(left) if _fault(named, every.difference(able)) is None else able
    # what the chain speaks of is given up last
    for name in sorted(left, key=lambda name: name in able):
        fewer = [one for one in needed if one != name]
        if (other := _fault(named, every.difference(fewer))) is not None:
            needed, fault = fewer, other
    yield Chatter(needed[0], tuple(needed[1:]), chain_of(fault))


def _fault(named: NamedHold, never: Collection[str]) -> NeverSettles | None:
    """The first chain that never ends where these failures never strike."""
    off = dict.fromkeys(never, False)
    definitions = {name: assign(one, off) for name, one in named.definitions.items()} if off else named.definitions
    rules = [replace(act.rule, guard=assign(act.rule.guard, off)) for act in named.symbols.acts]
    settling = [act.settles for act in named.symbols.acts]
    fuser = Fuser(tuple(rule for rule, settles in zip(rules, settling, strict=True) if settles), definitions)
    for rule, settles in zip(rules, settling, strict=True):
        if settles or rule.guard == FALSE or not off.keys().isdisjoint(rule.updates):
            continue
        try:
            for _ in fuser.settle(rule):
                pass
        except NeverSettles as fault:
            return fault
    return None


def chain_of(fault: NeverSettles) -> str:
    """What comes round again and again, in words, without a full stop."""
    texts = dict.fromkeys(step.text for step in fault.responses)
    return f"after '{fault.rule.text}' the mechanism never comes to rest: {'; '.join(texts)}, and so on for ever"
