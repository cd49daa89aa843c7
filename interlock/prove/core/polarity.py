"""A solver that knows the facts of a state, and of the gates over them what queries need, encoded one way only.

A model gives every variable a value that its solver has, and most gates are guards of rules that the query is not
about.  What a query assumes is therefore taken apart into facts as far as it is a conjunction; a gate that is left
comes into the solver when it is first spoken of, and implies what it says: nothing implies the gate.  Models tell
facts, not gates.

Reference (from memory)
  D. A. Plaisted, S. Greenbaum: A structure-preserving clause form translation. Journal of Symbolic Computation, 1986.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import count

from interlock.prove.core.encoding import TRUTH, Encoding
from interlock.prove.core.solvers import SatSolver, add_all


class PolaritySolver:
    """Facts have the numbers of the encoding; everything else has numbers of its own, from `new`.

    `add`, `solve`, `core` and `close` are the solver's, which speaks of its own numbers.
    """

    def __init__(self, encoding: Encoding, solver: SatSolver) -> None:
        self.encoding = encoding
        self.add = solver.add
        self.solve = solver.solve
        self.soon_refutes = solver.soon_refutes
        self.core = solver.core
        self.close = solver.close
        self._model = solver.model
        self._facts = encoding.facts_top
        self._fresh = count(1)
        self._own: dict[int, int] = {}
        self._gate_of: dict[int, int] = {}
        self._said: dict[int, tuple[int, ...]] = {}
        self._begin()

    def _begin(self) -> None:
        add_all(self, self.encoding.domains)
        # the solver must know every fact, so that its models are complete
        self.add([TRUTH, self._facts])
        self._fresh = count(self._facts + 1)

    def new(self) -> int:
        """A fresh SAT variable."""
        return next(self._fresh)

    def model(self) -> Sequence[int]:
        """After True: the facts, each at its number less one."""
        return self._model()[: self._facts]

    def fact(self, literal: int) -> int:
        """The literal of the solver that says this of a fact."""
        return literal

    def said(self, literals: Iterable[int]) -> list[int]:
        """Literals of the solver which together say what these of the encoding say."""
        return [own for literal in literals for own in self.parts(literal)]

    def meant(self, own: int) -> int:
        """What one of these literals of the solver says, as a literal of the encoding."""
        return self._gate_of.get(own, own)

    def parts(self, literal: int) -> tuple[int, ...]:
        """The same of a single literal."""
        known = self._said.get(literal)
        if known is None:
            known = self._said[literal] = self._taken_apart(literal)
        return known

    def _taken_apart(self, literal: int) -> tuple[int, ...]:
        if abs(literal) <= self._facts:
            return (self.fact(literal),)
        found: dict[int, None] = {}
        pending: list[int] = []
        stack = [literal]
        seen: set[int] = set()
        while stack:
            part = stack.pop()
            if part <= self._facts:
                found[self._implying(part, pending)] = None
            elif part not in seen:
                seen.add(part)
                stack.extend(reversed(self.encoding.parts[part]))
        while pending:
            gate = pending.pop()
            own = self._own[gate]
            if gate < 0:
                self.add([-own, *(self._implying(-part, pending) for part in self.encoding.parts[-gate])])
            else:
                for part in self.encoding.parts[gate]:
                    self.add([-own, self._implying(part, pending)])
        return tuple(found)

    def _implying(self, literal: int, pending: list[int]) -> int:
        """A literal of the solver that implies this one; a gate that it did not know is added to what is pending."""
        if abs(literal) <= self._facts:
            return self.fact(literal)
        known = self._own.get(literal)
        if known is None:
            known = self._own[literal] = self.new()
            self._gate_of[known] = literal
            pending.append(literal)
        return known


class NearSolver(PolaritySolver):
    """The same for few queries about little: it knows no facts but those of variables that are spoken of.

    Facts have numbers of its own, too, from `fact`, so that an answer takes no longer on a larger machine.  It has no
    models to tell.
    """

    def _begin(self) -> None:
        self._numbers = {TRUTH: self.new()}
        self.add([self._numbers[TRUTH]])

    def fact(self, literal: int) -> int:
        """The literal of the solver that says this of a fact; the first of a variable brings all of its domain."""
        known = self._numbers.get(abs(literal))
        if known is None:
            known = self._numbers[abs(literal)] = self.new()
            for clause in self.encoding.domain_of.get(self.encoding.variable_of.get(abs(literal), ""), ()):
                self.add([self.fact(part) for part in clause])
        return known if literal > 0 else -known
