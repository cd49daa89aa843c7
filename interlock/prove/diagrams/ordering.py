"""In which order the variables of a machine stand in its diagrams: those that rules touch together, close together.

The centre of gravity of each rule pulls the variables that it touches towards it, until that brings no more; begun
from several orders, the best one comes first.  How good an order is depends on how far apart the variables of a rule
are, and on how high up the highest of them stands.

References (from memory)
  F. A. Aloul, I. L. Markov, K. A. Sakallah: FORCE, a fast and easy-to-implement variable-ordering heuristic.
  GLSVLSI 2003.
  R. Siminiceanu, G. Ciardo: New metrics for static variable ordering in decision diagrams. TACAS 2006.
  E. Cuthill, J. McKee: Reducing the bandwidth of sparse symmetric matrices. ACM National Conference 1969.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from heapq import heapify, heappop, heappush
from itertools import chain
from typing import TypeAlias

from interlock.kernel.machine import Machine, support_of

MOST_ROUNDS = 60
"""How often the centres are worked out anew."""
MOST_QUIET = 6
"""Rounds without a better order after which there will be none."""

Edge: TypeAlias = tuple[int, ...]
"""The variables that a rule touches, by number."""


def orders(machine: Machine) -> list[list[str]]:
    """Orders of the variables, the lowest first, all different, the one that promises most before the others."""
    names = [variable.name for variable in machine.variables]
    number = {name: at for at, name in enumerate(names)}
    edges = _edges(machine, number)
    begun = [list(range(len(names))), _breadth_first(len(names), edges), _completing(len(names), edges)]
    tried: dict[tuple[int, ...], float] = {}
    alike = dict.fromkeys(range(len(names)), 1.0)
    # a variable that many rules touch says little of where any of them belongs
    rarity = {at: 1 / max(1, touching) for at, touching in Counter(chain(range(len(names)), *edges)).items()}
    for order in begun:
        for made in (order, _pulled(order, edges, alike), _pulled(order, edges, rarity)):
            for way in (made, made[::-1]):
                tried.setdefault(tuple(way), _weight(way, edges))
    # of orders alike in weight the one that was made first: the sort keeps them so
    return [[names[at] for at in order] for order, _ in sorted(tried.items(), key=lambda item: item[1])]


def _edges(machine: Machine, number: Mapping[str, int]) -> Mapping[Edge, float]:
    """What rules touch together, each set once; what touches many variables weighs less, as it spans much anyway."""
    found: dict[Edge, float] = {}
    for rule in machine.rules:
        touched = {*support_of(machine, rule.guard), *(name for name, _ in rule.update)}
        if len(touched) > 1:
            found[tuple(sorted(number[name] for name in touched))] = 1 / (len(touched) - 1)
    return found


def _weight(order: Sequence[int], edges: Mapping[Edge, float]) -> float:
    place = {variable: at for at, variable in enumerate(order)}
    total = 0.0
    for edge, many in edges.items():
        places = [place[variable] for variable in edge]
        top, bottom = max(places), min(places)
        total += many * (top - bottom + 1) * (top + 1)
    return total


def _spans(order: Sequence[int], edges: Mapping[Edge, float]) -> float:
    place = {variable: at for at, variable in enumerate(order)}
    spans = 0.0
    for edge, many in edges.items():
        places = [place[variable] for variable in edge]
        spans += many * (max(places) - min(places))
    return spans


def _pulled(order: Sequence[int], edges: Mapping[Edge, float], rarity: Mapping[int, float]) -> list[int]:
    """`rarity[variable]`: how much it counts where the centre of a rule is worked out."""
    best, least, quiet = list(order), _spans(order, edges), 0
    present = list(order)
    for _ in range(MOST_ROUNDS):
        place = {variable: float(at) for at, variable in enumerate(present)}
        pull: dict[int, list[float]] = {variable: [0.0, 0.0] for variable in present}
        for edge, many in edges.items():
            weights = sum(rarity[variable] for variable in edge)
            centre = sum(rarity[variable] * place[variable] for variable in edge) / weights
            for variable in edge:
                own = pull[variable]
                own[0] += many * centre
                own[1] += many
        wanted = {v: pull[v][0] / pull[v][1] if pull[v][1] else place[v] for v in present}
        moved = sorted(present, key=lambda variable: (wanted[variable], place[variable]))
        if moved == present:
            break
        present = moved
        spans = _spans(present, edges)
        if spans < least:
            best, least, quiet = present, spans, 0
        else:
            quiet += 1
            if quiet > MOST_QUIET:
                break
    return best


def _completing(variables: int, edges: Mapping[Edge, float]) -> list[int]:
    """Rule by rule, each time one that lacks fewest variables and has some that were placed late.

    What a few rules have in common with all parts comes in bit by bit, not all of it between the first two parts.
    """
    touching: list[list[Edge]] = [[] for _ in range(variables)]
    for edge in edges:
        for variable in edge:
            touching[variable].append(edge)
    lacking = {edge: len(edge) for edge in edges}
    waiting = [(len(edge), 0, number, edge) for number, edge in enumerate(edges)]
    heapify(waiting)
    order: dict[int, None] = {}
    while waiting:
        lacks, _, number, edge = heappop(waiting)
        if lacks != lacking[edge] or not lacks:
            continue
        for variable in edge:
            if variable not in order:
                order[variable] = None
                for other in touching[variable]:
                    lacking[other] -= 1
                    heappush(waiting, (lacking[other], -len(order), number, other))
    return [*order, *(variable for variable in range(variables) if variable not in order)]


def _breadth_first(variables: int, edges: Mapping[Edge, float]) -> list[int]:
    """From one end of what hangs together to the other, neighbours with few neighbours first."""
    near: list[set[int]] = [set() for _ in range(variables)]
    for edge in edges:
        if len(edge) <= 32:
            for variable in edge:
                near[variable].update(edge)
    order: list[int] = []
    seen: set[int] = set()
    for start in sorted(range(variables), key=lambda variable: (len(near[variable]), variable)):
        if start in seen:
            continue
        start = _walk(_walk(start, near, set())[-1], near, set())[-1]
        order += _walk(start, near, seen)
    return order


def _walk(start: int, near: Sequence[set[int]], seen: set[int]) -> list[int]:
    found = [start]
    seen.add(start)
    for variable in found:
        fresh = sorted(near[variable] - seen, key=lambda one: (len(near[one]), one))
        seen.update(fresh)
        found += fresh
    return found
