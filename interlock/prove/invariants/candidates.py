"""Facts and pairs of facts that may never be so, kept for all like places at once (see `likeness`)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.kernel.expressions import TRUE, Expr
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.samples import Samples
from interlock.prove.core.solvers import SolverFactory, add_all
from interlock.prove.engine import Clock
from interlock.prove.invariants.likeness import Likeness, PairKind
from interlock.prove.invariants.sampling import Walks

MOST_SWEEPS = 400

Key: TypeAlias = tuple[int, int, int]
"""A candidate: (negative number of the kind, place, place of the other), or (number of like variables, place, -1)."""


class Kind:
    """Pairs of variables that are related alike, and which pairs of their facts have not been seen together.

    `there[a]`: the places of the other variable's facts that fact `a` of the one was not seen with; `back` likewise.
    """

    def __init__(self, number: int, kind: PairKind, facts: dict[str, list[int]]) -> None:
        self.number = number
        self.mirrored = kind.mirrored
        self.pairs = [(facts[one], facts[other]) for one, other in kind.pairs]
        ones, others = self.pairs[0]
        self.there = [set(range(len(others))) for _ in ones]
        self.back = [set(range(len(ones))) for _ in others]

    def drop(self, a: int, b: int) -> None:
        """The pair can come about, here or in a like place."""
        self.there[a].discard(b)
        self.back[b].discard(a)
        if self.mirrored:
            self.there[b].discard(a)
            self.back[a].discard(b)

    def alive(self) -> list[tuple[int, int]]:
        """The pairs of places that are left."""
        return [(a, b) for a, row in enumerate(self.there) for b in sorted(row)]


@frozen
class Partner:
    """The other fact of a pair: fact `a` of the one and fact `b` of the other variable of the kind."""

    literal: int
    kind: Kind
    a: int
    b: int


class Candidates:
    """Facts and pairs of facts that have not been seen together."""

    def __init__(self, rules: LocalRules, targets: Iterable[Expr]) -> None:
        self.rules = rules
        machine = rules.machine
        likeness = Likeness(machine, targets)
        self.facts = {
            v.name: [literal for literal, _ in rules.encoding.values[v.name] if literal != TRUTH]
            for v in machine.variables
        }
        self.place = {literal: (name, at) for name, own in self.facts.items() for at, literal in enumerate(own)}
        self.alike = likeness.variable
        self.members: dict[int, list[str]] = {}
        for variable in machine.variables:
            self.members.setdefault(self.alike[variable.name], []).append(variable.name)
        self.singles = {alike: set(range(len(self.facts[own[0]]))) for alike, own in self.members.items()}
        self.kinds = [
            Kind(-number, kind, self.facts)
            for number, kind in enumerate(likeness.pairs, 1)
            if all(self.facts[name] for name in kind.pairs[0])
        ]
        self.near: dict[str, list[tuple[Kind, bool, list[int]]]] = {v.name: [] for v in machine.variables}
        names = rules.encoding.variable_of
        for kind in self.kinds:
            for ones, others in kind.pairs:
                self.near[names[abs(ones[0])]].append((kind, True, others))
                self.near[names[abs(others[0])]].append((kind, False, ones))
        self.made = [
            [literal for literal in _made(effects.items()) if literal in self.place] for effects in rules.effects
        ]
        first: dict[int, int] = {}
        for at, alike in enumerate(likeness.rule):
            if self.made[at] and rules.guards[at] != -TRUTH:
                first.setdefault(alike, at)
        self.examples = sorted(first.values())
        """One of each kind of rule that may make a fact true."""
        self.news: list[Key] = []
        """What was dropped since whoever wants to know has emptied it."""
        self._partners: dict[int, list[Partner]] = {}

    def partners(self, literal: int) -> list[Partner]:
        """What the fact has not been seen with."""
        known = self._partners.get(literal)
        if known is None:
            name, at = self.place[literal]
            known = []
            for kind, forward, others in self.near[name]:
                row = kind.there[at] if forward else kind.back[at]
                known += [Partner(others[b], kind, *((at, b) if forward else (b, at))) for b in sorted(row)]
        else:
            known = list(filter(is_alive, known))
        self._partners[literal] = known
        return known

    def _seen_with(self, literal: int, where: int, masks: Sequence[int]) -> list[Partner]:
        """Which of these the fact is seen with in these walks."""
        known = self._partners.get(literal)
        if known is None:
            known = self.partners(literal)
        # what was dropped since is still among them; that matters, and is looked for, only where something is seen
        if not any(where & masks[partner.literal] for partner in known):
            return []
        return [partner for partner in self.partners(literal) if where & masks[partner.literal]]

    def is_single(self, literal: int) -> bool:
        """The fact has not been seen."""
        name, at = self.place[literal]
        return at in self.singles[self.alike[name]]

    def drop_single(self, literal: int) -> None:
        """The fact can come about."""
        name, at = self.place[literal]
        self.singles[self.alike[name]].discard(at)
        self.news.append((self.alike[name], at, -1))

    def drop(self, pair: Partner) -> None:
        """The pair can come about."""
        pair.kind.drop(pair.a, pair.b)
        self.news.append((pair.kind.number, pair.a, pair.b))
        if pair.kind.mirrored:
            self.news.append((pair.kind.number, pair.b, pair.a))

    def see_all(self, samples: Samples) -> None:
        """Drops what some sample shows."""
        masks = samples.masks
        for alike, names in self.members.items():
            for at in sorted(self.singles[alike]):
                if any(masks[self.facts[name][at]] for name in names):
                    self.singles[alike].discard(at)
        for kind in self.kinds:
            for a, b in kind.alive():
                for ones, others in kind.pairs:
                    if masks[ones[a]] & masks[others[b]]:
                        kind.drop(a, b)
                        break

    def settle(self, never: set[int]) -> None:
        """These facts are never so: pairs with them say nothing, nor do pairs with what they leave always so."""
        gone: dict[int, set[int]] = {}
        for alike, names in self.members.items():
            places = range(len(self.facts[names[0]]))
            own = {at for at in places if all(self.facts[name][at] in never for name in names)}
            gone[alike] = set(places) if own and len(places) == 2 else own
        names_of = self.rules.encoding.variable_of
        for kind in self.kinds:
            ones, others = kind.pairs[0]
            one, other = gone[self.alike[names_of[abs(ones[0])]]], gone[self.alike[names_of[abs(others[0])]]]
            if one or other:
                for a, b in kind.alive():
                    if a in one or b in other:
                        kind.drop(a, b)

    def watch(self, walks: Walks, most_quiet: int, clock: Clock) -> None:
        """Drops what the walks show as they go; ends when they have shown nothing new for a while (or OutOfTime)."""
        masks, made = walks.masks, self.made
        news = 0

        def seen(rule: int, where: int) -> None:
            nonlocal news
            for literal in made[rule]:
                if self.is_single(literal):
                    self.drop_single(literal)
                    news += 1
                for partner in self._seen_with(literal, where, masks):
                    self.drop(partner)
                    news += 1

        quiet = 0
        for sweep in range(MOST_SWEEPS):
            clock.check()
            if sweep % 12 == 8:
                walks.deny()
            before = news
            walks.sweep(seen)
            quiet = 0 if news > before else quiet + 1
            if quiet >= most_quiet:
                break

    def drop_initial(self, clock: Clock, make_solver: SolverFactory) -> None:
        """Drops what holds in some initial state."""
        machine, encoding = self.rules.machine, self.rules.encoding
        first = {
            literal
            for variable in machine.variables
            for literal, value in encoding.values[variable.name]
            if value in variable.init
        }
        solver = make_solver()
        add_all(solver, encoding.clauses)
        add_all(solver, encoding.initial_clauses())
        solver.add([TRUTH, encoding.top])

        def is_initial(*literals: int) -> bool:
            # without a condition on the start every combination of first values is a start
            return first.issuperset(literals) and (machine.start == TRUE or solver.solve(literals, clock))

        try:
            for alike, names in self.members.items():
                for at in sorted(self.singles[alike]):
                    if any(is_initial(self.facts[name][at]) for name in names):
                        self.singles[alike].discard(at)
            for kind in self.kinds:
                for a, b in kind.alive():
                    if any(is_initial(ones[a], others[b]) for ones, others in kind.pairs):
                        kind.drop(a, b)
        finally:
            solver.close()

    def size(self) -> int:
        """How many pairs are left."""
        return sum(sum(map(len, kind.there)) * len(kind.pairs) for kind in self.kinds)

    def cubes(self) -> list[Cube]:
        """What is left, each pair once; pairs that a single covers are not named."""
        singles = {
            self.facts[name][at] for alike, own in self.members.items() for name in own for at in self.singles[alike]
        }
        found: list[Cube] = [(literal,) for literal in sorted(singles)]
        pairs = {
            (min(ones[a], others[b]), max(ones[a], others[b]))
            for kind in self.kinds
            for a, b in kind.alive()
            for ones, others in kind.pairs
            if ones[a] not in singles and others[b] not in singles
        }
        return [*found, *sorted(pairs)]


def is_alive(partner: Partner) -> bool:
    """The pair was not dropped."""
    return partner.b in partner.kind.there[partner.a]


def _made(effects: Iterable[tuple[int, bool]]) -> list[int]:
    return [atom if value else -atom for atom, value in effects]
