"""Expressions of one machine as straight-line code over very many states at once, each part worked out once.

What a part's value is (an array of truth values, a number with a bit per state) is for whoever derives from this.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Generator, Iterable, Iterator, Sequence

from interlock.kernel.expressions import And, Const, Expr, Is, Not, Or, Ref, fold
from interlock.kernel.machine import Machine


class StraightLine:
    """A line per distinct part of the expressions; a value is dropped after its last use."""

    negated = "~{}"
    """How a value is negated."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self._lines: list[tuple[str, str, tuple[str, ...]]] = []
        """(name or "" for a line that gives an answer, text, names used)."""
        self._named: dict[object, str] = {}
        self._signals: dict[str, str] = {}
        self._weights: Counter[Expr] = Counter()

    def fact(self, fact: Is) -> str:
        """The name of the value of a fact, or the text of a constant."""
        raise NotImplementedError

    def weigh(self, exprs: Iterable[Expr]) -> frozenset[Is]:
        """Counts parts, so that what many conjunctions share comes first in each; gives the facts that are named."""
        facts: set[Is] = set()
        signals: set[str] = set()
        stack = list(exprs)
        while stack:
            node = stack.pop()
            match node:
                case Is():
                    facts.add(node)
                case Not(arg):
                    stack.append(arg)
                case Ref(signal) if signal not in signals:
                    signals.add(signal)
                    stack.append(self.machine.definitions[signal])
                case And(args) | Or(args):
                    self._weights.update(args)
                    stack.extend(args)
        return frozenset(facts)

    def name_of(self, expr: Expr) -> str:
        """The name of the expression's value, or the text of a constant."""
        return fold(self._name_of, expr)

    def _name_of(self, expr: Expr) -> Generator[Expr, str, str]:
        match expr:
            case Const(value):
                return str(value)
            case Is():
                return self.fact(expr)
            case Not(part):
                arg = yield part
                if arg in ("True", "False"):
                    return str(arg == "False")
                return self.line(("~", arg), self.negated.format(arg), (arg,))
            case Ref(signal):
                if signal not in self._signals:
                    self._signals[signal] = yield self.machine.definitions[signal]
                return self._signals[signal]
            case And(args):
                return (yield from self._folded(args, "False", "True", "&"))
            case Or(args):
                return (yield from self._folded(args, "True", "False", "|"))

    def _folded(self, args: Sequence[Expr], absorbing: str, neutral: str, sign: str) -> Generator[Expr, str, str]:
        """The name of the value of all or any of these, what many others share first."""
        order = sorted(enumerate(args), key=lambda item: (-self._weights[item[1]], item[0]))
        whole = neutral
        for _, part in order:
            name = yield part
            if name == absorbing:
                return absorbing
            if whole == neutral:
                whole = name
            elif name not in (neutral, whole):
                whole = self.line((sign, whole, name), f"{whole} {sign} {name}", (whole, name))
        return whole

    def line(self, key: object, text: str, used: tuple[str, ...]) -> str:
        """The name of what the text, made of the names used, works out; the same key has the same one."""
        if key not in self._named:
            self._named[key] = f"t{len(self._lines)}"
            self._lines.append((self._named[key], text, used))
        return self._named[key]

    def give(self, at: int, name: str) -> None:
        """The next answer."""
        self._lines.append(("", f"yield {at}, {name}", () if name == "True" else (name,)))

    def body(self) -> Iterator[str]:
        """The lines of a generator function."""
        last: dict[str, int] = {}
        for at, (name, _, used) in enumerate(self._lines):
            last.update(dict.fromkeys(used, at))
            last.setdefault(name, at)
        dropped: dict[int, list[str]] = {}
        for name, at in last.items():
            if name:
                dropped.setdefault(at, []).append(name)
        for at, (name, text, _) in enumerate(self._lines):
            yield f" {name} = {text}" if name else f" {text}"
            if at in dropped:
                yield f" del {', '.join(dropped[at])}"
