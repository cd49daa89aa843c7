"""Rule-local questions: may this rule lead from these states into that cube?

What a rule writes are constants, so the states from which it leads into a cube are those that satisfy its guard and
the literals of the cube that it does not write.  There is no second copy of the variables and no transition
relation; a rule that makes no literal of the cube true need not be asked at all.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from copy import copy
from typing import TypeAlias

from interlock.kernel.expressions import Expr, Is, Not, Or, Value, disj
from interlock.kernel.machine import Machine, support_of
from interlock.prove.core.encoding import TRUTH, Encoding
from interlock.prove.core.solvers import FOREVER
from interlock.prove.engine import Clock

LOOK_EVERY = 256
"""Rules between two looks at the clock."""

Cube: TypeAlias = tuple[int, ...]
"""Literals, sorted: the states in which all of them hold."""


class LocalRules:
    """The rules of a machine by what they make true.  To make it raises OutOfTime."""

    def __init__(self, machine: Machine, clock: Clock = FOREVER) -> None:
        self.machine = machine
        self.encoding = encoding = Encoding(machine)
        self.guards: list[int] = []
        self.effects: list[Mapping[int, bool]] = []
        self._writers: dict[str, list[tuple[int, Value]]] = {}
        for at, rule in enumerate(machine.rules):
            if at % LOOK_EVERY == 0:
                clock.check()
            self.guards.append(encoding.gate(rule.guard))
            self.effects.append(encoding.effects(rule.update))
            if self.guards[-1] != -TRUTH:
                for name, value in rule.update:
                    self._writers.setdefault(name, []).append((at, value))
        self._making: dict[int, list[int]] = {}
        self._literals: dict[int, tuple[frozenset[int], frozenset[int]]] = {}
        """Per rule the literals that it makes true and those that it makes false, where these are few."""
        self._regions: dict[int, frozenset[str]] = {}

    def with_guards(self, guards: Sequence[int]) -> LocalRules:
        """The same with other guards; the encoding is shared.  A rule with the guard -TRUTH never fires."""
        changed = copy(self)
        changed.guards = list(guards)
        changed._writers = {}
        for at, (rule, guard) in enumerate(zip(self.machine.rules, guards, strict=True)):
            if guard != -TRUTH:
                for name, value in rule.update:
                    changed._writers.setdefault(name, []).append((at, value))
        changed._making = {}
        return changed

    def with_guards_changed(self, guards: Mapping[int, int]) -> LocalRules:
        """The same where only these guards, by the number of their rule, are others."""
        changed = copy(self)
        changed.guards = list(self.guards)
        changed._writers = dict(self._writers)
        changed._making = {}
        for at, guard in guards.items():
            changed.guards[at] = guard
            if (guard == -TRUTH) == (self.guards[at] == -TRUTH):
                continue
            for name, value in self.machine.rules[at].update:
                others = [one for one in changed._writers.get(name, ()) if one[0] != at]
                changed._writers[name] = others if guard == -TRUTH else sorted([*others, (at, value)], key=_first)
        return changed

    def region(self, rule: int) -> frozenset[str]:
        """The variables that the rule, by its number, reads or writes, whatever its guard was changed to."""
        if rule not in self._regions:
            own = self.machine.rules[rule]
            self._regions[rule] = support_of(self.machine, own.guard).union(name for name, _ in own.update)
        return self._regions[rule]

    def making(self, literal: int) -> list[int]:
        """The rules that make the literal true, in order."""
        found = self._making.get(literal)
        if found is None:
            name = self.encoding.variable_of.get(abs(literal), "")
            literals, atom = self.encoding.literals, abs(literal)
            writers = self._writers.get(name, ())
            found = [at for at, value in writers if (literals[name, value] == atom) == (literal > 0)]
            self._making[literal] = found
        return found

    def entering(self, cube: Iterable[int]) -> list[int]:
        """The rules that make some literal of the cube true, whatever they do to the others."""
        return sorted({rule for literal in cube for rule in self.making(literal)})

    def written(self, rule: int, cube: Collection[int]) -> list[int] | None:
        """The literals of the cube that the rule makes true; None where it makes one false."""
        effect = self.effects[rule]
        if not isinstance(effect, dict):
            told = [(literal, effect[abs(literal)] == (literal > 0)) for literal in cube if abs(literal) in effect]
            return [literal for literal, _ in told] if all(is_made for _, is_made in told) else None
        if rule not in self._literals:
            made = frozenset(atom if value else -atom for atom, value in effect.items())
            self._literals[rule] = made, frozenset(-literal for literal in made)
        made, unmade = self._literals[rule]
        return [literal for literal in cube if literal in made] if unmade.isdisjoint(cube) else None

    def justify(self, literals: Iterable[int], model: Sequence[int]) -> set[int]:
        """Facts of the model, as few as come easily, from which these literals (true in it) follow."""
        parts = self.encoding.parts
        is_fact = self.encoding.variable_of
        true: dict[int, bool] = {}
        chosen: set[int] = set()
        seen: set[int] = set()
        stack = list(literals)
        while stack:
            literal = stack.pop()
            if literal in seen or literal == TRUTH:
                continue
            seen.add(literal)
            atom = abs(literal)
            if atom in is_fact:
                chosen.add(literal)
            elif literal > 0:
                stack.extend(parts[atom])
            else:
                failing = [part for part in parts[atom] if not self._holds(part, model, true)]
                best = min(failing, key=lambda part: (-part not in seen, abs(part) not in is_fact, abs(part)))
                stack.append(-best)
        return chosen

    def _holds(self, literal: int, model: Sequence[int], true: dict[int, bool]) -> bool:
        """The literal is true in the model; `true`, per gate, is what was found of it before."""
        if abs(literal) <= self.encoding.facts_top:
            return model[abs(literal) - 1] == literal
        parts = self.encoding.parts
        stack = [abs(literal)]
        while stack:
            gate = stack[-1]
            unknown = [p for part in parts[gate] if (p := abs(part)) > self.encoding.facts_top and p not in true]
            if unknown:
                stack.append(unknown[0])
                continue
            stack.pop()
            true[gate] = all(
                true[abs(part)] == (part > 0) if abs(part) in true else model[abs(part) - 1] == part
                for part in parts[gate]
            )
        return true[abs(literal)] == (literal > 0)

    def clause(self, cube: Iterable[int]) -> Expr:
        """The kernel's words for "not in this cube"."""
        return disj(*(self.encoding.facts[-literal] for literal in cube))

    def cube(self, clause: Expr) -> Cube | None:
        """The states that break the clause; None where it is not made of facts of it, or never broken."""
        literals: set[int] = set()
        for part in clause.args if isinstance(clause, Or) else (clause,):
            fact = part.arg if isinstance(part, Not) else part
            known = self.encoding.literals.get((fact.variable, fact.value)) if isinstance(fact, Is) else None
            if known is None:
                return None
            literals.add(known if isinstance(part, Not) else -known)
        literals.discard(TRUTH)
        if any(-literal in literals for literal in literals) or -TRUTH in literals:
            return None
        return tuple(sorted(literals))


def _first(pair: tuple[int, Value]) -> int:
    return pair[0]
