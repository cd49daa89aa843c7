"""Machines as Python source: a state is one integer, a guard a masked comparison.

Every variable is a field of bits that holds the place of its value in the domain.  Conjunctions of facts become one
mask and one comparison; rules that share a fact are asked together; signals that are named more than once are
computed once per state.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from heapq import heapify, heappop, heappush
from typing import Any

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Or, Ref, Value, conj, each, fold, parts_of
from interlock.kernel.machine import Machine, Rule

MOST_NESTED = 50
"""Brackets in brackets; what is deeper gets a name first.  Python reads no more than 200."""
WORD = 64
"""No variable lies across two words of so many bits, so that a packed state is what `search.arrays.Layout` lays out."""
DEEPEST = 20
"""How many shared facts are nested; Python allows a hundred levels of indentation."""


def bits_of(number: int) -> Iterator[int]:
    """The places of the bits that are set, the lowest first."""
    while number:
        low = number & -number
        yield low.bit_length() - 1
        number ^= low


class Packing:
    """Where the bits of each variable are."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self._fields: dict[str, tuple[int, int]] = {}
        self._places: dict[str, dict[Value, int]] = {}
        shift = 0
        for variable in machine.variables:
            width = (len(variable.domain) - 1).bit_length()
            if shift % WORD + width > WORD:
                shift += WORD - shift % WORD
            self._fields[variable.name] = (shift, (1 << width) - 1)
            self._places[variable.name] = {value: at for at, value in enumerate(variable.domain)}
            shift += width
        self._shifts = list(self._fields.values())
        self._owners = {
            shift + bit: at for at, (shift, mask) in enumerate(self._shifts) for bit in range(mask.bit_length())
        }
        """Per bit the place of the variable that it belongs to."""
        self._last: tuple[int, tuple[int, ...]] = 0, (0,) * len(self._shifts)
        """A state, and the places of its values: the next one that is asked for is mostly near it."""
        self.order = {signal.name: at for at, signal in enumerate(machine.signals_in_order)}

    def fact(self, name: str, value: Value) -> tuple[int, int]:
        """(mask, bits): the variable has the value exactly where `state & mask == bits`."""
        shift, mask = self._fields[name]
        return mask << shift, self._places[name][value] << shift

    def field(self, name: str) -> tuple[int, int]:
        """(shift, mask): the place of the variable's value is `state >> shift & mask`."""
        return self._fields[name]

    def pack(self, state: State) -> int:
        """The integer for a state."""
        packed = 0
        for variable, value in zip(self.machine.variables, state, strict=True):
            packed |= self.fact(variable.name, value)[1]
        return packed

    def unpack(self, packed: int) -> State:
        """The state for an integer."""
        values = []
        for variable in self.machine.variables:
            shift, mask = self._fields[variable.name]
            values.append(variable.domain[(packed >> shift) & mask])
        return tuple(values)

    def places(self, packed: int) -> list[int]:
        """The place of every variable's value in its domain."""
        known, last = self._last
        places = list(last)
        for at, place in self.changes(known, packed):
            places[at] = place
        self._last = packed, tuple(places)
        return places

    def changes(self, before: int, after: int) -> list[tuple[int, int]]:
        """(place of the variable, place of its value) for every variable that has another value afterwards."""
        found = []
        differ = before ^ after
        while differ:
            at = self._owners[(differ & -differ).bit_length() - 1]
            shift, mask = self._shifts[at]
            found.append((at, (after >> shift) & mask))
            differ &= ~(mask << shift)
        return found

    def writes(self, rule: Rule) -> tuple[int, int]:
        """(keep, bits): the state after the rule is `state & keep | bits`."""
        mask = bits = 0
        for name, value in rule.update:
            field, placed = self.fact(name, value)
            mask |= field
            bits |= placed
        return ~mask, bits


class Writer:
    """Writes expressions of one machine as Python expressions over `s`, the state."""

    def __init__(self, packing: Packing, roots: Iterable[Expr]) -> None:
        self.packing = packing
        machine = packing.machine
        definitions = machine.definitions
        used: Counter[str] = Counter()
        pending = list(roots)
        while pending:
            for name in _named(pending.pop()):
                used[name] += 1
                if used[name] == 1:
                    pending.append(definitions[name])
        self._inline: dict[str, str] = {}
        self.prologue: list[str] = []
        """What is worked out first; it grows with every expression that is written."""
        for name in sorted(used, key=packing.order.__getitem__):
            text = self.expression(definitions[name])
            if (used[name] > 1 and len(text) > 12) or text.count("(") > 40:
                self.prologue.append(f"g{packing.order[name]} = {text}")
                text = f"g{packing.order[name]}"
            self._inline[name] = text

    def expression(self, expr: Expr) -> str:
        """A Python expression that is true exactly where the kernel's is; safe to put beside any operator."""
        return fold(self._expression, expr)[0]

    def _expression(self, expr: Expr) -> Generator[Expr, tuple[str, int], tuple[str, int]]:
        """The text, and how deep its brackets are nested."""
        if isinstance(expr, Const):
            return str(expr.value), 0
        if isinstance(expr, Is):
            return self.masked([expr]), 1
        if isinstance(expr, Ref):
            text = self._inline[expr.signal]
            return text, text.count("(")
        facts = [arg for arg in expr.args if isinstance(arg, Is)] if isinstance(expr, And) else []
        texts = [self.masked(facts)] if facts else []
        rest = [arg for arg in parts_of(expr) if not (facts and isinstance(arg, Is))]
        parts: list[tuple[str, int]] = yield from each(rest)
        texts += [text for text, _ in parts]
        depth = 1 + max((deep for _, deep in parts), default=1)
        if isinstance(expr, Not):
            text = f"(not {texts[0]})"
        elif isinstance(expr, Or):
            text = "(" + " or ".join(texts) + ")" if texts else "False"
        else:
            text = "(" + " and ".join(texts) + ")" if len(texts) > 1 else texts[0] if texts else "True"
        if depth <= MOST_NESTED:
            return text, depth
        self.prologue.append(f"h{len(self.prologue)} = {text}")
        return f"h{len(self.prologue) - 1}", 0

    def conjunction(self, args: Sequence[Expr]) -> str:
        """All of these, the plain facts among them in one comparison."""
        return self.expression(And(tuple(args)))

    def masked(self, facts: Sequence[Is]) -> str:
        """One comparison for all the facts."""
        mask = bits = 0
        for fact in facts:
            field, placed = self.packing.fact(fact.variable, fact.value)
            if (mask & field) and (bits & field) != placed:
                return "False"
            mask |= field
            bits |= placed
        return f"(s & {mask} == {bits})" if mask else "True"


def _named(expr: Expr) -> list[str]:
    """Every signal that the expression names, once per mention."""
    found = []
    stack = [expr]
    while stack:
        node = stack.pop()
        stack.extend(parts_of(node))
        if isinstance(node, Ref):
            found.append(node.signal)
    return found


def compile_expand(packing: Packing, counting: bool) -> Callable[..., Any]:
    """`expand(frontier, parents, fresh)`: fires every rule in every state of the frontier.

    A state not yet in `parents` is entered there with the state it came from, and given to `fresh`.  Counting, it
    returns (steps, dead): the enabled rules over all these states, and the states with none.
    """
    machine = packing.machine
    # conjuncts by number: to hash or to write out an expression again and again takes most of the time
    numbers: dict[Expr, int] = {}
    guards = [tuple(numbers.setdefault(part, len(numbers)) for part in conjuncts(rule.guard)) for rule in machine.rules]
    parts = list(numbers)
    lengths = [len(repr(part)) for part in parts]
    writer = Writer(packing, [rule.guard for rule in machine.rules])
    lines = ["def expand(frontier, parents, fresh):", " steps = dead = 0", " for s in frontier:"]
    head = len(lines)
    if counting:
        lines.append("  n = 0")

    def fires(at: int, indent: str) -> list[str]:
        keep, bits = packing.writes(machine.rules[at])
        text = [f"{indent}n += 1"] if counting else []
        if keep == -1:
            return text or [f"{indent}pass"]
        after = f"s & {keep} | {bits}" if bits else f"s & {keep}"
        return [
            *text,
            f"{indent}t = {after}",
            f"{indent}if t not in parents:",
            f"{indent} parents[t] = s",
            f"{indent} fresh(t)",
        ]

    def block(places: list[int], rests: Mapping[int, tuple[int, ...]], indent: str, depth: int) -> list[str]:
        text: list[str] = []
        asking: dict[int, list[int]] = {}
        for at in places:
            for number in rests[at]:
                asking.setdefault(number, []).append(at)
        left = dict.fromkeys(places)
        shared = {number: len(those) for number, those in asking.items()}
        # what most ask first; a count that has fallen since it was put here is put here again
        waiting = [(-many, lengths[number], number) for number, many in shared.items() if many > 1]
        heapify(waiting)
        while waiting and depth < DEEPEST:
            many, length, number = heappop(waiting)
            if shared[number] != -many:
                if shared[number] > 1:
                    heappush(waiting, (-shared[number], length, number))
                continue
            together = [at for at in asking[number] if at in left]
            text.append(f"{indent}if {writer.expression(parts[number])}:")
            below = {at: tuple(arg for arg in rests[at] if arg != number) for at in together}
            text += block(together, below, indent + " ", depth + 1)
            for at in together:
                del left[at]
                for other in rests[at]:
                    shared[other] -= 1
        for at in left:
            condition = writer.conjunction(tuple(parts[number] for number in rests[at]))
            if condition == "True":
                text += fires(at, indent)
            elif condition != "False":
                text += [f"{indent}if {condition}:", *fires(at, indent + " ")]
        return text or [f"{indent}pass"]

    lines += block(list(range(len(guards))), dict(enumerate(guards)), "  ", 0)
    lines[head:head] = [f"  {line}" for line in writer.prologue]
    if counting:
        lines += ["  steps += n", "  if not n: dead += 1"]
    lines.append(" return steps, dead")
    made: Callable[..., Any] = _made(lines, "expand")
    return made


def conjuncts(guard: Expr) -> tuple[Expr, ...]:
    """What must all be so for the guard to hold."""
    flat = conj(guard)
    return flat.args if isinstance(flat, And) else (flat,)


def compile_hits(packing: Packing, targets: Mapping[int, Expr]) -> Callable[[Iterable[int]], dict[int, int]]:
    """`hits(states)`: per key of `targets` the first of the states that satisfies it, where one does."""
    writer = Writer(packing, targets.values())
    lines = ["def hits(states):", " found = {}", " for s in states:"]
    texts = [(key, writer.expression(target)) for key, target in targets.items()]
    lines += [f"  {line}" for line in writer.prologue]
    lines += [f"  if {text} and {key} not in found: found[{key}] = s" for key, text in texts]
    if not targets:
        lines.append("  pass")
    lines.append(" return found")
    found: Callable[[Iterable[int]], dict[int, int]] = _made(lines, "hits")
    return found


def compile_enabled(packing: Packing) -> Callable[[int], list[int]]:
    """`enabled(state)`: the places of the rules that may fire, in order."""
    machine = packing.machine
    writer = Writer(packing, [rule.guard for rule in machine.rules])
    lines = ["def enabled(s):", " found = []"]
    texts = [writer.expression(rule.guard) for rule in machine.rules]
    lines += [f" {line}" for line in writer.prologue]
    lines += [f" if {text}: found.append({at})" for at, text in enumerate(texts)]
    lines.append(" return found")
    found: Callable[[int], list[int]] = _made(lines, "enabled")
    return found


def _made(lines: Sequence[str], name: str) -> Any:
    scope: dict[str, Any] = {}
    # The source is made of integers and operators alone: no name or value of the machine gets into it.
    exec("\n".join(lines), scope)  # noqa: S102
    return scope[name]
