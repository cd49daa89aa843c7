"""A machine unrolled over steps: the clauses of one state and of one step, written once and shifted per depth.

In every step exactly one rule fires.  Two neighbouring steps whose rules have nothing to do with each other could be
swapped; only runs in which such neighbours stand in the order of the rules are kept.  Every run has a partner of the
same length between the same two states that is kept (the first in dictionary order among its rearrangements), so no
depth is lost and none is gained.

References (from memory)
  A. Biere, A. Cimatti, E. Clarke, Y. Zhu: Symbolic model checking without BDDs. TACAS 1999.
  C. Wang, Z. Yang, V. Kahlon, A. Gupta: Peephole partial order reduction. TACAS 2008.
  C. Sinz: Towards an optimal CNF encoding of Boolean cardinality constraints. CP 2005. (the chain)
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

from interlock.kernel.claims import Trace
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine, support_of
from interlock.prove.core.encoding import MOST_LISTED, TRUTH, Encoding
from interlock.prove.core.local import Cube
from interlock.prove.core.solvers import FOREVER, SatSolver, simplified
from interlock.prove.engine import Clock

MOST_ORDERED = 1_000_000
"""Pairs of rules that cannot be swapped; where there are more, every order is kept."""
LOOK_EVERY = 1_024
"""Rules, facts or clauses between two looks at the clock."""


class Unrolling:
    """The runs of a machine from depth 0 to `depth`, in one solver.

    To make one and to `advance` raise OutOfTime.  `in_order` keeps only one order of steps that commute; it must be off
    where states on the way are constrained by more than what every reachable state satisfies.  `never` are facts, by
    their literals in any encoding of the machine, that no reachable state has together.
    """

    def __init__(
        self,
        machine: Machine,
        solver: SatSolver,
        targets: Sequence[Expr],
        initial: bool = True,
        in_order: bool = True,
        clock: Clock = FOREVER,
        never: Sequence[Cube] = (),
    ) -> None:
        self.machine = machine
        self.clock = clock
        self.solver = solver
        self.encoding = Encoding(machine)
        self.depth = 0
        encoding = self.encoding
        self.targets = [encoding.gate(target) for target in targets]
        guards = [encoding.gate(rule.guard) for rule in machine.rules]
        start = encoding.initial_clauses() if initial else []
        state_clauses = [*encoding.clauses, *([-literal for literal in cube] for cube in never)]
        self.rules = [encoding.new() for _ in machine.rules]
        self._choice_clauses = self._choice(guards)
        self._written = {v.name: encoding.new() for v in machine.variables if len(v.domain) > MOST_LISTED}
        """Per variable of a large domain: the step writes it."""
        self.width = encoding.top
        kept = {abs(literal) for literal in chain([TRUTH], encoding.variable_of, self.targets, guards, *start)}
        # The last clause says nothing; it makes the solver give every literal of the state a value.
        self._state_clauses = [*simplified(state_clauses, kept), [TRUTH, self.width]]
        self._change_clauses = self._changes()
        self._order_clauses = self._order() if in_order else []
        self._offsets = [0]
        self._top = self.width
        self._add(self._state_clauses, 0)
        self._add(start, 0)

    def _choice(self, guards: Sequence[int]) -> list[list[int]]:
        """Exactly one rule, and its guard holds."""
        encoding = self.encoding
        clauses = [list(self.rules)]
        clauses += [[-rule, guard] for rule, guard in zip(self.rules, guards, strict=True)]
        # links[i] is true exactly when one of the rules 0 .. i fires.
        self._links = [encoding.new() for _ in self.rules]
        for at, (rule, link) in enumerate(zip(self.rules, self._links, strict=True)):
            clauses.append([-rule, link])
            if at:
                before = self._links[at - 1]
                clauses += [[-before, link], [-before, -rule], [-link, before, rule]]
            else:
                clauses.append([-link, rule])
        return clauses

    def _changes(self) -> list[list[int]]:
        """What the chosen rule does to the next state, whose literals lie one width higher."""
        encoding, width = self.encoding, self.width
        writers: dict[int, list[tuple[int, bool]]] = {}
        writing: dict[str, list[int]] = {name: [] for name in self._written}
        for at, (rule, choice) in enumerate(zip(self.machine.rules, self.rules, strict=True)):
            self._look(at)
            for name, value in rule.update:
                if name in self._written:
                    # what it sets to false it need not say: of the next state, too, no two values are true
                    writing[name].append(choice)
                    writers.setdefault(encoding.literals[name, value], []).append((choice, True))
                else:
                    for atom, truth in encoding.effects([(name, value)]).items():
                        writers.setdefault(atom, []).append((choice, truth))
        clauses: list[list[int]] = []
        for at, atom in enumerate(sorted(encoding.variable_of)):
            self._look(at)
            after = atom + width
            setting = writers.get(atom, [])
            clauses += [[-choice, after if value else -after] for choice, value in setting]
            written = self._written.get(encoding.variable_of[atom])
            # Where it changed, a rule that sets it so has fired.
            clauses.append([-after, atom, *(choice for choice, value in setting if value)])
            clearing = [choice for choice, value in setting if not value] if written is None else [written]
            clauses.append([after, -atom, *clearing])
        clauses += [[-written, *writing[name]] for name, written in self._written.items()]
        return clauses

    def _look(self, at: int) -> None:
        if at % LOOK_EVERY == 0:
            self.clock.check()

    def _order(self) -> list[list[int]]:
        """A rule fires next only if the step before was by one not after it, or by one that it cannot swap with."""
        machine = self.machine
        reads = [support_of(machine, rule.guard) for rule in machine.rules]
        writes = [frozenset(name for name, _ in rule.update) for rule in machine.rules]
        touching: dict[str, list[int]] = {}
        writing: dict[str, list[int]] = {}
        for at in range(len(machine.rules)):
            for name in reads[at] | writes[at]:
                touching.setdefault(name, []).append(at)
            for name in writes[at]:
                writing.setdefault(name, []).append(at)
        clauses: list[list[int]] = []
        ordered = 0
        for at in range(len(machine.rules) - 1):
            self._look(at)
            bound = {other for name in writes[at] for other in touching.get(name, ())}
            bound |= {other for name in reads[at] for other in writing.get(name, ())}
            before = [self.rules[other] for other in sorted(bound) if other > at]
            ordered += len(before)
            if ordered > MOST_ORDERED:
                return []
            clauses.append([-(self.rules[at] + self.width), self._links[at], *before])
        return clauses

    def advance(self) -> None:
        """One more step."""
        depth = self.depth
        self._offsets.append(self._top)
        self._top += self.width
        self._add(self._choice_clauses, depth)
        self._add(self._change_clauses, depth)
        if depth:
            self._add(self._order_clauses, depth - 1)
        self._add(self._state_clauses, depth + 1)
        self.depth += 1

    def new(self) -> int:
        """A SAT variable for the caller's own use."""
        self._top += 1
        return self._top

    def _add(self, clauses: Sequence[Sequence[int]], depth: int) -> None:
        """The clauses, said of the state and choice at the depth and, beyond `width`, of those after."""
        add, width = self.solver.add, self.width
        here = self._offsets[depth]
        there = self._offsets[depth + 1] - width if depth < len(self._offsets) - 1 else 0
        for at, clause in enumerate(clauses):
            self._look(at)
            add(
                [
                    (literal + (here if literal <= width else there))
                    if literal > 0
                    else (literal - (here if literal >= -width else there))
                    for literal in clause
                ]
            )

    def at(self, literal: int, depth: int) -> int:
        """The literal, said of the state at a depth."""
        shift = self._offsets[depth]
        return literal + shift if literal > 0 else literal - shift

    def is_true(self, literal: int, model: Sequence[int], depth: int) -> bool:
        """The literal is true in the state at a depth of a model."""
        return model[self.at(abs(literal), depth) - 1] == self.at(literal, depth)

    def trace(self, model: Sequence[int], depth: int) -> Trace:
        """The run of `depth` steps in a model."""
        states = tuple(self.encoding.decode(model, self._offsets[at]) for at in range(depth + 1))
        fired = tuple(
            next(
                rule.name
                for rule, choice in zip(self.machine.rules, self.rules, strict=True)
                if self.is_true(choice, model, at)
            )
            for at in range(depth)
        )
        return Trace(fired, states)
