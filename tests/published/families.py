"""Interlock-shaped families whose numbers have closed forms, and small shared-resource protocols."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import combinations, product

from interlock.kernel.expressions import Expr, Is, Value, conj, disj, neg
from interlock.kernel.machine import Machine, Requirement, Rule, Variable

from .cases import can, is_exactly, never, step, stuck, switch


def both_ways(name: str, guard: Expr) -> tuple[Rule, Rule]:
    """The switch goes on, and off, where the guard holds."""
    return (
        step(f"{name} on", conj(guard, Is(name, False)), {name: True}),
        step(f"{name} off", conj(guard, Is(name, True)), {name: False}),
    )


def independent(n: int) -> Machine:
    """n latches that know nothing of one another."""
    names = [f"latch{i}" for i in range(n)]
    rules = [rule for name in names for rule in both_ways(name, conj())]
    return _with_all_on(names, rules)


def checklist(size: int, pairs: Iterable[tuple[int, int]]) -> Machine:
    """Items that are done once and for good, the first of each pair before the second; a run to the end is an order."""
    before: dict[int, list[Expr]] = {}
    for first, second in pairs:
        before.setdefault(second, []).append(Is(f"item{first}", True))
    names = [f"item{at}" for at in range(size)]
    rules = [
        step(f"do {name}", conj(Is(name, False), *before.get(at, ())), {name: True}) for at, name in enumerate(names)
    ]
    return _with_all_on(names, rules)


def two_chains(first: int, second: int) -> Machine:
    """Two lists of items, each in its own order, nothing between them."""
    ends = [(at, at + 1) for at in range(first + second - 1) if at != first - 1]
    return checklist(first + second, ends)


def two_rows(width: int) -> Machine:
    """A grid of two rows: each item after its left neighbour and the one above."""
    pairs = [(at, at + 1) for at in range(2 * width - 1) if at != width - 1]
    return checklist(2 * width, [*pairs, *((at, at + width) for at in range(width))])


def zigzag(size: int) -> Machine:
    """A fence: each odd item after both its neighbours."""
    odd = range(1, size, 2)
    return checklist(size, [(near, at) for at in odd for near in (at - 1, at + 1) if near < size])


def boolean_lattice(dimension: int) -> Machine:
    """The subsets of a set, each after those with one element less."""
    subsets = range(1 << dimension)
    pairs = [(mask, mask | 1 << bit) for mask in subsets for bit in range(dimension) if not mask >> bit & 1]
    return checklist(1 << dimension, pairs)


def strict_chain(n: int) -> Machine:
    """Latch i is raised only after latch i-1 and lowered only after latch i+1."""
    names = [f"latch{i}" for i in range(n)]
    rules = []
    for i, name in enumerate(names):
        before = Is(names[i - 1], True) if i else conj()
        after = Is(names[i + 1], False) if i + 1 < n else conj()
        rules.append(step(f"{name} on", conj(Is(name, False), before), {name: True}))
        rules.append(step(f"{name} off", conj(Is(name, True), after), {name: False}))
    return _with_all_on(names, rules)


def rings(n: int) -> Machine:
    """Chinese rings: latch i moves only while latch i-1 is on and every latch below i-1 is off; latch 0 is free."""
    names = [f"latch{i}" for i in range(n)]
    rules: list[Rule] = []
    for i, name in enumerate(names):
        below = [Is(other, False) for other in names[: max(i - 1, 0)]]
        rules += both_ways(name, conj(*below, Is(names[i - 1], True)) if i else conj())
    return _with_all_on(names, rules)


def at_most(k: int, n: int) -> Machine:
    """At most k of n drives on together; the hazard is k + 1 of them."""
    names = [f"drive{i}" for i in range(n)]
    rules = []
    for name in names:
        others = [other for other in names if other != name]
        full = disj(*(conj(*(Is(other, True) for other in some)) for some in combinations(others, k)))
        rules.append(step(f"{name} on", conj(Is(name, False), neg(full)), {name: True}))
        rules.append(step(f"{name} off", Is(name, True), {name: False}))
    over = disj(*(conj(*(Is(name, True) for name in some)) for some in combinations(names, k + 1)))
    return Machine(tuple(map(switch, names)), (), tuple(rules), (never("too many", over),))


def row_exclusion(n: int) -> Machine:
    """n drive zones in a row; neighbours are never on together."""
    return _exclusion([f"zone{i}" for i in range(n)], [(f"zone{i}", f"zone{i + 1}") for i in range(n - 1)])


def ring_exclusion(n: int) -> Machine:
    """n (at least 3) drive zones in a ring; neighbours are never on together."""
    return _exclusion([f"zone{i}" for i in range(n)], [(f"zone{i}", f"zone{(i + 1) % n}") for i in range(n)])


def grid_exclusion(lanes: int, rows: int) -> Machine:
    """Drive zones in lanes and rows; those that share an edge are never on together."""
    cells = {cell: f"zone{cell[0]}{cell[1]}" for cell in product(range(lanes), range(rows))}
    pairs = [
        (name, cells[neighbour])
        for (lane, row), name in cells.items()
        for neighbour in ((lane + 1, row), (lane, row + 1))
        if neighbour in cells
    ]
    return _exclusion(cells.values(), pairs)


def _exclusion(names: Iterable[str], pairs: Iterable[tuple[str, str]]) -> Machine:
    listed = list(pairs)
    near: dict[str, list[Expr]] = {name: [] for name in names}
    for first, second in listed:
        near[first].append(Is(second, False))
        near[second].append(Is(first, False))
    rules = []
    for name, others in near.items():
        rules.append(step(f"{name} on", conj(Is(name, False), *others), {name: True}))
        rules.append(step(f"{name} off", Is(name, True), {name: False}))
    both = disj(*(conj(Is(first, True), Is(second, True)) for first, second in listed))
    return Machine(tuple(map(switch, near)), (), tuple(rules), (never("conflict", both),))


def door_and_latches(k: int, interlocked: bool) -> Machine:
    """A door over k sill latches; interlocked, it closes only when all are locked and they are frozen while closed."""
    names = [f"latch{i}" for i in range(k)]
    locked = conj(*(Is(name, True) for name in names))
    free = Is("door.closed", False) if interlocked else conj()
    rules = [rule for name in names for rule in both_ways(name, free)]
    closing = conj(Is("door.closed", False), locked if interlocked else conj())
    rules.append(step("door closes", closing, {"door.closed": True}))
    rules.append(step("door opens", Is("door.closed", True), {"door.closed": False}))
    hazard = conj(Is("door.closed", True), neg(locked))
    variables = (*map(switch, names), switch("door.closed"))
    return Machine(variables, (), tuple(rules), (never("closed over an open latch", hazard),))


def _with_all_on(names: list[str], rules: Iterable[Rule]) -> Machine:
    goal = conj(*(Is(name, True) for name in names))
    return Machine(tuple(map(switch, names)), (), tuple(rules), (can("goal", goal),))


def philosophers(n: int) -> Machine:
    """n philosophers take the left fork, then the right, and drop both at once; the hazard is that all are stuck."""
    phases: tuple[Value, ...] = ("thinking", "has left", "eating")
    names = [f"philosopher{i}" for i in range(n)]
    rules = []
    for i, name in enumerate(names):
        before, after = names[i - 1], names[(i + 1) % n]
        left_free = neg(Is(before, "eating"))
        right_free = Is(after, "thinking")
        rules.append(step(f"{name} takes left", conj(Is(name, "thinking"), left_free), {name: "has left"}))
        rules.append(step(f"{name} takes right", conj(Is(name, "has left"), right_free), {name: "eating"}))
        rules.append(step(f"{name} drops both", Is(name, "eating"), {name: "thinking"}))
    variables = tuple(Variable(name, phases, ("thinking",)) for name in names)
    return Machine(variables, (), tuple(rules), (never("deadlock", stuck(rules)),))


def dining_hall(n: int, seats: int) -> Machine:
    """Philosophers of six phases each and forks of three; at most `seats` sit at once (seats = n: no footman).

    A philosopher sits, takes the left fork, the right fork, puts down the left, the right, and gets up.
    """
    names = [f"philosopher{i}" for i in range(n)]
    forks = [f"fork{i}" for i in range(n)]
    rules = []
    for i, name in enumerate(names):
        left, right = forks[i], forks[(i + 1) % n]
        others = [other for other in names if other != name]
        full = disj(
            *(
                conj(*(neg(Is(other, 0)) for other in some))
                for some in combinations(others, seats)
                if len(some) == seats
            )
        )
        steps: tuple[tuple[str, Expr, Mapping[str, Value]], ...] = (
            ("sits", neg(full) if seats < n else conj(), {}),
            ("takes left", Is(left, "down"), {left: "owner"}),
            ("takes right", Is(right, "down"), {right: "neighbour"}),
            ("puts down left", conj(), {left: "down"}),
            ("puts down right", conj(), {right: "down"}),
            ("gets up", conj(), {}),
        )
        for phase, (what, guard, update) in enumerate(steps):
            rules.append(step(f"{name} {what}", conj(Is(name, phase), guard), {name: (phase + 1) % 6, **update}))
    variables = [Variable(name, tuple(range(6)), (0,)) for name in names]
    variables += [Variable(fork, ("down", "owner", "neighbour"), ("down",)) for fork in forks]
    return Machine(tuple(variables), (), tuple(rules), (never("deadlock", stuck(rules)),))


def peterson() -> Machine:
    """Two processes with flags and a turn; one step per assignment."""
    rules = []
    for me in (0, 1):
        other = 1 - me
        pc, flag = f"pc{me}", f"flag{me}"
        may_enter = disj(Is(f"flag{other}", False), Is("turn", me))
        rules += [
            step(f"{me} raises flag", Is(pc, "idle"), {pc: "flag", flag: True}),
            step(f"{me} gives turn", Is(pc, "flag"), {pc: "turn", "turn": other}),
            step(f"{me} enters", conj(Is(pc, "turn"), may_enter), {pc: "critical"}),
            step(f"{me} leaves", Is(pc, "critical"), {pc: "idle", flag: False}),
        ]
    phases: tuple[Value, ...] = ("idle", "flag", "turn", "critical")
    pcs = tuple(Variable(f"pc{me}", phases, ("idle",)) for me in (0, 1))
    turn = Variable("turn", (0, 1), (0,))
    return Machine((*pcs, switch("flag0"), switch("flag1"), turn), (), tuple(rules), _exclusive(rules))


def test_then_set() -> Machine:
    """Two processes that look at the other's flag, then raise their own: both can look before either raises."""
    rules = []
    for me in (0, 1):
        pc, flag, other = f"pc{me}", f"flag{me}", f"flag{1 - me}"
        rules += [
            step(f"{me} tests", conj(Is(pc, "idle"), Is(other, False)), {pc: "trying"}),
            step(f"{me} sets", Is(pc, "trying"), {pc: "critical", flag: True}),
            step(f"{me} leaves", Is(pc, "critical"), {pc: "idle", flag: False}),
        ]
    return _flagged(rules)


def set_then_wait() -> Machine:
    """Two processes that raise their flag, then wait for the other's to fall: both can wait for ever."""
    rules = []
    for me in (0, 1):
        pc, flag, other = f"pc{me}", f"flag{me}", f"flag{1 - me}"
        rules += [
            step(f"{me} sets", Is(pc, "idle"), {pc: "trying", flag: True}),
            step(f"{me} enters", conj(Is(pc, "trying"), Is(other, False)), {pc: "critical"}),
            step(f"{me} leaves", Is(pc, "critical"), {pc: "idle", flag: False}),
        ]
    return _flagged(rules)


def _flagged(rules: list[Rule]) -> Machine:
    phases: tuple[Value, ...] = ("idle", "trying", "critical")
    pcs = tuple(Variable(f"pc{me}", phases, ("idle",)) for me in (0, 1))
    return Machine((*pcs, switch("flag0"), switch("flag1")), (), tuple(rules), _exclusive(rules))


def _exclusive(rules: list[Rule]) -> tuple[Requirement, ...]:
    both = is_exactly({"pc0": "critical", "pc1": "critical"})
    return (never("both critical", both), never("deadlock", stuck(rules)))
