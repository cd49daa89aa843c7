"""Nets and protocols that grow, as machines; what is published of their numbers stands in `test_nets.py`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations, product

from interlock.kernel.expressions import Expr, Is, Value, conj, disj, neg, one_of
from interlock.kernel.machine import Actor, Machine, Requirement, Rule, Variable

from .cases import can, is_exactly, never, step, stuck, switch, up_to

Places = Mapping[str, int]
"""Tokens by place."""


def net(
    bounds: Places,
    marked: Places,
    transitions: Mapping[str, tuple[Places, Places]],
    *asked: Requirement,
    empty: Mapping[str, str] | None = None,
) -> Machine:
    """A place/transition net whose places never hold more tokens than their bounds; one rule per case of numbers.

    A transition takes the tokens of its first mapping and puts those of its second; it waits until its place in `empty`
    is, where it has one there.  That nothing ever overflows is for the source to say: a step that would is left out.
    """
    rules = []
    for name, (taken, put) in transitions.items():
        touched = sorted({*taken, *put}, key=list(bounds).index)
        choices: list[list[tuple[int, int]]] = []
        for place in touched:
            change = put.get(place, 0) - taken.get(place, 0)
            numbers = range(taken.get(place, 0), bounds[place] + 1)
            choices.append([(n, n + change) for n in numbers if n + change <= bounds[place]])
        if empty and name in empty:
            touched.append(empty[name])
            choices.append([(0, 0)])
        for case in product(*choices):
            before = {place: old for place, (old, _) in zip(touched, case, strict=True)}
            after = {place: new for place, (old, new) in zip(touched, case, strict=True) if new != old}
            label = name if all(len(choice) == 1 for choice in choices) else f"{name} {[*before.values()]}"
            rules.append(step(label, is_exactly(before), after, Actor.PLANT))
    variables = tuple(up_to(place, most, marked.get(place, 0)) for place, most in bounds.items())
    return Machine(variables, (), tuple(rules), (never("deadlock", stuck(rules)), *asked))


def safe_net(marked: Sequence[str], transitions: Mapping[str, tuple[str, str]], *asked: Requirement) -> Machine:
    """A net with at most one token on a place; a transition from "p q" to "r" takes from p and q and puts on r."""
    names = dict.fromkeys(marked)
    for taken, put in transitions.values():
        names.update(dict.fromkeys((*taken.split(), *put.split())))
    split = {
        name: (dict.fromkeys(taken.split(), 1), dict.fromkeys(put.split(), 1))
        for name, (taken, put) in transitions.items()
    }
    return net(dict.fromkeys(names, 1), dict.fromkeys(marked, 1), split, *asked)


def _pairs(form: str, n: int) -> Expr:
    """Two of the places of this form are marked."""
    return disj(*(conj(Is(form.format(i), 1), Is(form.format(j), 1)) for i, j in combinations(range(n), 2)))


def kanban(n: int) -> Machine:
    """Four stations with n cards each; the second and third work side by side on what the first has done."""
    bounds = {f"{kind}{at}": n for at in "1234" for kind in ("cards", "at work", "bad", "done")}
    transitions: dict[str, tuple[Places, Places]] = {}
    for at in "1234":
        transitions[f"{at} spoilt"] = {f"at work{at}": 1}, {f"bad{at}": 1}
        transitions[f"{at} again"] = {f"bad{at}": 1}, {f"at work{at}": 1}
        transitions[f"{at} finished"] = {f"at work{at}": 1}, {f"done{at}": 1}
    transitions["in"] = {"cards1": 1}, {"at work1": 1}
    transitions["on"] = {"done1": 1, "cards2": 1, "cards3": 1}, {"cards1": 1, "at work2": 1, "at work3": 1}
    transitions["together"] = {"done2": 1, "done3": 1, "cards4": 1}, {"cards2": 1, "cards3": 1, "at work4": 1}
    transitions["out"] = {"done4": 1}, {"cards4": 1}
    full = conj(*(Is(f"done{at}", n) for at in "1234"))
    over = conj(Is("at work2", n), neg(Is("bad2", 0)))
    return net(bounds, {f"cards{at}": n for at in "1234"}, transitions, can("all done", full), never("too many", over))


def manufacturing(n: int) -> Machine:
    """A flexible manufacturing system: n parts of each of three kinds, of which the first two may be joined in pairs.

    A part waits for a pallet, is worked upon (for two of the machines: or waits for one, which is no other state of the
    parts), and is shipped, upon which a new one waits.  Whatever would be joined at once, is: no two wait for each
    other.
    """
    parts = [f"{kind}{at}" for at in ("1", "2", "3", "12") for kind in ("raw", "at work", "done")]
    transitions: dict[str, tuple[Places, Places]] = {}
    for at in ("1", "2", "3", "12"):
        transitions[f"{at} onto the machine"] = {f"raw{at}": 1}, {f"at work{at}": 1}
        transitions[f"{at} finished"] = {f"at work{at}": 1}, {f"done{at}": 1}
    for at in "123":
        transitions[f"{at} shipped"] = {f"done{at}": 1}, {f"raw{at}": 1}
    transitions["pair shipped"] = {"done12": 1}, {"raw1": 1, "raw2": 1}
    empty = {}
    for at, other in ("12", "21"):
        empty[f"{at} to be joined"] = f"waits{other}"
        transitions[f"{at} to be joined"] = {f"at work{at}": 1}, {f"waits{at}": 1}
        transitions[f"{at} joined"] = {f"at work{at}": 1, f"waits{other}": 1}, {"raw12": 1}
    bounds = dict.fromkeys([*parts, "waits1", "waits2"], n)
    both = conj(neg(Is("waits1", 0)), neg(Is("waits2", 0)))
    asked = never("two wait for each other", both), can("all pairs done", Is("done12", n))
    return net(bounds, {f"raw{at}": n for at in "123"}, transitions, *asked, empty=empty)


def scheduler(n: int) -> Machine:
    """n agents in a ring, started in turn, that end in any order; none is started again before it has ended."""
    transitions = {}
    for i in range(n):
        transitions[f"start {i}"] = f"turn{i} idle{i}", f"pass{i} busy{i}"
        transitions[f"pass {i}"] = f"pass{i}", f"turn{(i + 1) % n}"
        transitions[f"end {i}"] = f"busy{i}", f"idle{i}"
    marked = ["turn0", *(f"idle{i}" for i in range(n))]
    every = conj(*(Is(f"busy{i}", 1) for i in range(n)))
    return safe_net(marked, transitions, never("two turns", _pairs("turn{}", n)), can("all busy", every))


def forks(n: int) -> Machine:
    """Philosophers who take the two forks beside them in either order, one at a time, and put both down at once."""
    transitions = {}
    for i in range(n):
        j = (i + 1) % n
        transitions[f"{i} left"] = f"thinks{i} fork{i}", f"left{i}"
        transitions[f"{i} right"] = f"thinks{i} fork{j}", f"right{i}"
        transitions[f"{i} then right"] = f"left{i} fork{j}", f"eats{i}"
        transitions[f"{i} then left"] = f"right{i} fork{i}", f"eats{i}"
        transitions[f"{i} stops"] = f"eats{i}", f"thinks{i} fork{i} fork{j}"
    marked = [*(f"thinks{i}" for i in range(n)), *(f"fork{i}" for i in range(n))]
    near = disj(*(conj(Is(f"eats{i}", 1), Is(f"eats{(i + 1) % n}", 1)) for i in range(n)))
    return safe_net(marked, transitions, never("neighbours eat", near))


def readers_writers(n: int) -> Machine:
    """n processes with a key each: who reads takes his own, who writes takes all."""
    transitions = {}
    keys = " ".join(f"key{i}" for i in range(n))
    for i in range(n):
        transitions[f"reads {i}"] = f"idle{i} key{i}", f"reading{i}"
        transitions[f"read {i}"] = f"reading{i}", f"idle{i} key{i}"
        transitions[f"writes {i}"] = f"idle{i} {keys}", f"writing{i}"
        transitions[f"written {i}"] = f"writing{i}", f"idle{i} {keys}"
    marked = [*(f"idle{i}" for i in range(n)), *(f"key{i}" for i in range(n))]
    both = disj(*(conj(Is(f"writing{i}", 1), Is(f"reading{j}", 1)) for i in range(n) for j in range(n) if i != j))
    every = conj(*(Is(f"reading{i}", 1) for i in range(n)))
    clash = disj(both, _pairs("writing{}", n))
    return safe_net(marked, transitions, never("clash", clash), can("all read", every))


def token_ring(n: int) -> Machine:
    """Stations that may send while they hold the token, which goes round; each fills a buffer of its own."""
    transitions = {}
    for i in range(n):
        transitions[f"{i} fills"] = f"empty{i}", f"full{i}"
        transitions[f"{i} sends"] = f"token{i} full{i}", f"sending{i}"
        transitions[f"{i} has sent"] = f"sending{i}", f"empty{i} token{(i + 1) % n}"
        transitions[f"{i} passes"] = f"token{i} empty{i}", f"empty{i} token{(i + 1) % n}"
    marked = ["token0", *(f"empty{i}" for i in range(n))]
    last = conj(Is(f"sending{n - 1}", 1), *(Is(f"full{i}", 1) for i in range(n - 1)))
    return safe_net(marked, transitions, never("two send", _pairs("sending{}", n)), can("last of all", last))


def slotted_ring(n: int) -> Machine:
    """Stations in a ring, as many slots as stations, free or used; each is taken in, written or freed, and sent on."""
    transitions = {}
    for i in range(n):
        before = (i - 1) % n
        for kind in ("free", "used"):
            transitions[f"{i} takes a {kind} one"] = f"{kind}_sent{before} ready{i}", f"{kind}_in{i} gone{before}"
            transitions[f"{i} sends a {kind} one"] = f"{kind}_next{i} gone{i}", f"{kind}_sent{i} ready{i}"
        transitions[f"{i} writes"] = f"free_in{i}", f"used_next{i}"
        transitions[f"{i} writes nothing"] = f"free_in{i}", f"free_next{i}"
        transitions[f"{i} frees its own"] = f"used_in{i}", f"free_next{i}"
        transitions[f"{i} leaves another's"] = f"used_in{i}", f"used_next{i}"
    marked = [f"{place}{i}" for i in range(n) for place in ("ready", "free_sent")]
    full = conj(*(Is(f"used_sent{i}", 1) for i in range(n)))
    two = disj(*(conj(Is(f"free_in{i}", 1), Is(f"used_in{i}", 1)) for i in range(n)))
    return safe_net(marked, transitions, can("all used", full), never("two at once", two))


def pipeline(n: int) -> Machine:
    """n buffers of one item in a row, between who makes and who takes."""
    transitions = {"make": ("empty0", "full0"), "take": (f"full{n - 1}", f"empty{n - 1}")}
    transitions |= {f"move {i}": (f"full{i} empty{i + 1}", f"empty{i} full{i + 1}") for i in range(n - 1)}
    odd = conj(*(Is(f"full{i}", i % 2) for i in range(n)))
    two = disj(*(conj(Is(f"full{i}", 1), Is(f"empty{i}", 1)) for i in range(n)))
    return safe_net([f"empty{i}" for i in range(n)], transitions, can("every other", odd), never("both", two))


def counter(bits: int) -> Machine:
    """A binary counter that is counted up by one and wraps round; its parity is remembered."""
    names = [f"bit{i}" for i in range(bits)]
    rules = []
    for at, name in enumerate(names):
        ones = dict.fromkeys(names[:at], True)
        zeros = dict.fromkeys(names[:at], False)
        for parity in (False, True):
            before = is_exactly({name: False, "odd": parity, **ones})
            rules.append(step(f"carry into {name}, {parity}", before, {name: True, "odd": not parity, **zeros}))
    full = dict.fromkeys(names, True)
    rules.append(step("wrap", is_exactly({**full, "odd": True}), {**dict.fromkeys(names, False), "odd": False}))
    wrong = disj(conj(Is("odd", True), Is("bit0", False)), conj(Is("odd", False), Is("bit0", True)))
    goal = is_exactly({name: at == 3 for at, name in enumerate(names)})
    asked = (never("deadlock", stuck(rules)), never("parity", wrong), can("eight", goal))
    return Machine((*map(switch, names), switch("odd")), (), tuple(rules), asked)


def filter_lock(n: int) -> Machine:
    """n processes go through n - 1 rooms; the last to enter a room waits there while any other is as far."""
    places: tuple[Value, ...] = (
        "idle",
        *(f"{what}{room}" for room in range(1, n) for what in ("set", "wait")),
        "critical",
    )
    last = [Variable(f"last{room}", tuple(range(n)), (0,)) for room in range(1, n)]
    processes = [Variable(f"at{i}", places, ("idle",)) for i in range(n)]
    rules: list[Rule] = []
    for i in range(n):
        at = f"at{i}"
        rules.append(step(f"{i} begins", Is(at, "idle"), {at: "set1"}))
        for room in range(1, n):
            rules.append(step(f"{i} last in {room}", Is(at, f"set{room}"), {at: f"wait{room}", f"last{room}": i}))
            below = places[: places.index(f"wait{room}")]
            alone = conj(*(one_of(f"at{j}", below) for j in range(n) if j != i))
            guard = conj(Is(at, f"wait{room}"), disj(neg(Is(f"last{room}", i)), alone))
            rules.append(step(f"{i} through {room}", guard, {at: places[places.index(f"wait{room}") + 1]}))
        rules.append(step(f"{i} leaves", Is(at, "critical"), {at: "idle"}))
    both = disj(*(conj(Is(f"at{i}", "critical"), Is(f"at{j}", "critical")) for i, j in combinations(range(n), 2)))
    asked = (never("both critical", both), never("deadlock", stuck(rules)))
    return Machine((*last, *processes), (), tuple(rules), asked)


def dekker() -> Machine:
    """Two processes with flags and a turn; who has not the turn lowers his flag and waits for it."""
    places: tuple[Value, ...] = ("idle", "test", "wait", "critical", "lower")
    rules = []
    for me in (0, 1):
        at, mine, other = f"at{me}", f"flag{me}", f"flag{1 - me}"
        rules += [
            step(f"{me} raises", Is(at, "idle"), {at: "test", mine: True}),
            step(f"{me} enters", conj(Is(at, "test"), Is(other, False)), {at: "critical"}),
            step(f"{me} yields", conj(Is(at, "test"), Is(other, True), Is("turn", 1 - me)), {at: "wait", mine: False}),
            step(f"{me} has the turn", conj(Is(at, "wait"), Is("turn", me)), {at: "test", mine: True}),
            step(f"{me} hands over", Is(at, "critical"), {at: "lower", "turn": 1 - me}),
            step(f"{me} lowers", Is(at, "lower"), {at: "idle", mine: False}),
        ]
    variables = (*(Variable(f"at{me}", places, ("idle",)) for me in (0, 1)), switch("flag0"), switch("flag1"))
    both = is_exactly({"at0": "critical", "at1": "critical"})
    asked = (never("both critical", both), never("deadlock", stuck(rules)))
    return Machine((*variables, Variable("turn", (0, 1), (0,))), (), tuple(rules), asked)


def lift(floors: int) -> Machine:
    """A lift that goes floor by floor, with a button and a door at each; it moves only with all doors shut."""
    doors = [f"door{f}" for f in range(floors)]
    shut = conj(*(Is(door, "shut") for door in doors))
    rules = []
    for f in range(floors):
        here = Is("floor", f)
        rules.append(step(f"call {f}", Is(f"call{f}", False), {f"call{f}": True}))
        rules.append(step(f"open {f}", conj(here, Is(f"call{f}", True), Is(doors[f], "shut")), {doors[f]: "open"}))
        rules.append(step(f"shut {f}", Is(doors[f], "open"), {doors[f]: "shut", f"call{f}": False}))
        beside = [there for there in (f - 1, f + 1) if 0 <= there < floors]
        rules += [step(f"from {f} to {there}", conj(here, shut), {"floor": there}) for there in beside]
    variables = (
        Variable("floor", tuple(range(floors)), (0,)),
        *(switch(f"call{f}") for f in range(floors)),
        *(Variable(door, ("shut", "open"), ("shut",)) for door in doors),
    )
    elsewhere = disj(*(conj(Is(doors[f], "open"), neg(Is("floor", f))) for f in range(floors)))
    every = conj(Is("floor", floors - 1), *(Is(f"call{f}", True) for f in range(floors)))
    asked = (never("deadlock", stuck(rules)), never("open elsewhere", elsewhere), can("all call", every))
    return Machine(variables, (), tuple(rules), asked)
