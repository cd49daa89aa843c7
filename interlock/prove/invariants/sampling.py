"""Many random walks at once: one bit of every integer belongs to one walk.

A rule fires in those walks in which its guard holds and a coin says so; the walks are thus runs of the machine, and
every state that they pass through is reachable from where they began.  Each walk is denied some of the rules for a
while, so that some fill up what others would empty again.

References (from memory)
  A. Groce, C. Zhang, E. Eide, Y. Chen, J. Regehr: Swarm testing. ISSTA 2012. (leaving out some of the moves)
  E. Biham: A fast new DES implementation in software. FSE 1997. (one machine word, many instances)
"""

from __future__ import annotations

import random
from collections.abc import Callable, Generator, Sequence

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import And, Expr, Is, Not, Or, fold
from interlock.kernel.machine import Machine
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import LocalRules
from interlock.prove.core.samples import bits_of

WALKS = 1_024
SEED = 20_301

Watch = Callable[[int, int], None]
"""Told (rule, walks) each time a rule has fired in some walks, the new state in place."""


class Walks:
    """`masks[literal]`: the walks in which the literal of a fact is true (negative literals count from the end).

    Those of gates are as they were when a rule was last offered that asks for them.
    """

    def __init__(self, rules: LocalRules, walks: int = WALKS) -> None:
        self.rules = rules
        self.every = (1 << walks) - 1
        self.walks = walks
        self.masks = [0] * (2 * rules.encoding.top + 2)
        self.masks[TRUTH] = self.every
        self._draw = random.Random(SEED)  # noqa: S311  (repeatable on purpose)
        self._plans = [_Plan(rules, at) for at in range(len(rules.guards))]
        self._order = [at for at, guard in enumerate(rules.guards) if guard != -TRUTH]
        self._shapes = _shapes(rules.machine)
        bits = self._draw.getrandbits
        # Half of the walks keep to what they were denied at first: those come far.
        self._patient = 0
        self._shape_allowed = [0] * (max(self._shapes, default=0) + 1)
        self.deny()
        self._patient = bits(walks)
        self._eager = bits(walks)

    def place(self, states: Sequence[State]) -> None:
        """Begins again: walk n stands in state n, and round again while there are fewer states than walks."""
        encoding = self.rules.encoding
        placed = states[: self.walks]
        rounds = -(-self.walks // len(placed))
        repeated = ((1 << len(placed) * rounds) - 1) // ((1 << len(placed)) - 1)
        for variable, column in zip(encoding.machine.variables, zip(*placed, strict=True), strict=False):
            masks = bits_of(column, variable.domain)
            for literal, value in encoding.values[variable.name]:
                if literal != TRUTH:
                    mask = masks[value] * repeated & self.every
                    self.masks[literal] = mask
                    self.masks[-literal] = self.every ^ mask

    def deny(self) -> None:
        """Draws anew which shapes of rule each impatient walk does without: none, a quarter or half of them."""
        bits = self._draw.getrandbits
        whole = bits(self.walks) & bits(self.walks)
        careful = bits(self.walks)
        patient = self._patient
        for shape, allowed in enumerate(self._shape_allowed):
            drawn = whole | bits(self.walks) | (careful & bits(self.walks))
            self._shape_allowed[shape] = (allowed & patient) | (drawn & ~patient)
        self._allowed = [self._shape_allowed[shape] for shape in self._shapes]

    def sweep(self, watch: Watch) -> None:
        """Offers every rule once to every walk, in a new order; every other walk takes what it is offered."""
        bits, walks, eager = self._draw.getrandbits, self.walks, self._eager
        self._draw.shuffle(self._order)
        for at in self._order:
            fired = self._fire(self._plans[at], (bits(walks) | eager) & self._allowed[at])
            if fired:
                watch(at, fired)

    def _fire(self, plan: _Plan, fired: int) -> int:
        """Fires the rule in those of these walks in which its guard holds; gives them."""
        masks, every = self.masks, self.every
        for literal in plan.facts:
            fired &= masks[literal]
            if not fired:
                return 0
        for literal, gates in plan.rest:
            for gate, parts in gates:
                mask = every
                for part in parts:
                    mask &= masks[part]
                masks[gate], masks[-gate] = mask, every ^ mask
            fired &= masks[literal]
            if not fired:
                return 0
        kept = every ^ fired
        for literal in plan.made:
            masks[literal] |= fired
            masks[-literal] &= kept
        return fired

    def holds(self, literal: int) -> int:
        """The walks in which a gate is true now."""
        known: dict[int, int] = {}
        parts, facts = self.rules.encoding.parts, self.rules.encoding.variable_of

        def mask(wanted: int) -> Generator[int, int, int]:
            atom = abs(wanted)
            if atom == TRUTH or atom in facts:
                return self.masks[wanted]
            if atom not in known:
                found = self.every
                for part in parts[atom]:
                    found &= yield part
                known[atom] = found
            return known[atom] if wanted > 0 else self.every ^ known[atom]

        return fold(mask, literal)


def _shapes(machine: Machine) -> list[int]:
    """Per rule a number that it shares with rules that do and ask alike, whatever the variables are called.

    Denied together, the rules of one kind of device leave the others a clear way through all of the machine.
    """
    numbers: dict[tuple[object, ...], int] = {}
    found = []
    for rule in machine.rules:
        update = tuple(sorted(repr((machine.domains[name], value)) for name, value in rule.update))
        asked = tuple(sorted({repr((machine.domains[f.variable], f.value, plain)) for f, plain in _facts(rule.guard)}))
        shape = (rule.actor, update, asked)
        found.append(numbers.setdefault(shape, len(numbers)))
    return found


def _facts(expr: Expr) -> list[tuple[Is, bool]]:
    """The facts that the expression names directly, with whether each stands under an even number of negations."""
    found: list[tuple[Is, bool]] = []
    stack = [(expr, True)]
    while stack:
        node, plain = stack.pop()
        if isinstance(node, Is):
            found.append((node, plain))
        elif isinstance(node, Not):
            stack.append((node.arg, not plain))
        elif isinstance(node, And | Or):
            stack.extend((arg, plain) for arg in node.args)
    return found


class _Plan:
    """What it takes to fire a rule: the facts that must be so; other literals of its guard, each with the gates below
    it that were not worked out before, those first that others are made of; the literals that it makes true.
    """

    def __init__(self, rules: LocalRules, at: int) -> None:
        parts, guard = rules.encoding.parts, rules.guards[at]
        whole = parts[guard] if guard > 0 and guard in parts else (guard,)
        self.facts = [literal for literal in whole if abs(literal) not in parts]
        self.rest: list[tuple[int, list[tuple[int, tuple[int, ...]]]]] = []
        self.made = [atom if value else -atom for atom, value in rules.effects[at].items()]
        known: set[int] = set()
        for literal in whole:
            fresh: set[int] = set()
            waiting = [abs(literal)]
            while waiting:
                gate = waiting.pop()
                if gate in parts and gate not in known and gate not in fresh:
                    fresh.add(gate)
                    waiting.extend(map(abs, parts[gate]))
            if abs(literal) in parts:
                self.rest.append((literal, [(gate, parts[gate]) for gate in sorted(fresh)]))
            known |= fresh
