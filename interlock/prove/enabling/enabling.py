"""The smallest sets of options that make a target reachable, with the evidence that there are no others.

A certificate that the target is out of reach with some options true is good for many more: for all that it can do
without being false (`freeing`).  So every set that enables the target has an option beside those: it *hits* what is
left.  Smallest sets that hit all of that are tried, the smallest first, until each such set contains one that is known
to enable the target.  A set that hits all is smallest in the sense asked for: without one of its options it misses
something.

References (from memory)
  R. Reiter: A theory of diagnosis from first principles. Artificial Intelligence 32, 1987. (hitting sets)
  A. Ignatiev, A. Previti, M. Liffiton, J. Marques-Silva: Smallest MUS extraction with minimal hitting set dualization.
    CP 2015.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from interlock.kernel.claims import (
    Certificate,
    Claim,
    Limits,
    Progress,
    ProgressCallback,
    Proved,
    Refuted,
    Unknown,
    silent,
)
from interlock.kernel.enabling import Cover, EnablingClaim, EnablingQuestion, Way, started_with
from interlock.kernel.expressions import Expr, Is, assign, variables_of
from interlock.kernel.machine import Machine, Question
from interlock.prove.certificates.needed import needed_clauses
from interlock.prove.core.cone import cone_of, lifted
from interlock.prove.core.constants import without
from interlock.prove.core.local import LocalRules
from interlock.prove.core.solvers import light_solver
from interlock.prove.enabling.freeing import Freeing
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Engine, OutOfTime, clock_of, stop_reason
from interlock.prove.frames.frames import Frames
from interlock.prove.frames.pdr import pdr
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.prove.invariants.mined import claim_mined, strengthen
from interlock.prove.search.guided import GuidedSearch, guided

NAME = "enabling"
FIRST_EXPANDED = 400
"""So many states guided search expands before engines are asked; where there is a run it mostly needs fewer."""
FEW_STATES = 1
"""Engines look at so few states one by one: a claim that counts states has no certificate to learn from."""


def enable(
    machine: Machine,
    question: EnablingQuestion,
    engine: Engine,
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    most: int | None = None,
    larger: bool = True,
    known: Certificate | None = None,
) -> EnablingClaim:
    """All smallest sets of options that enable the target, smaller ones first, as far as the limits let it come.

    Options that are true must only ever make more possible, or it may end early.  The engine decides about one set at
    a time.  The end is after `most` sets and, unless `larger`, with sets of as many options as the first that is found.
    `known` may prove that nothing is enabled without any option.
    """
    search = _Search(machine, question, engine, limits, report)
    reason = ""
    try:
        search.run(most, larger, known)
        reason = search.reason
    except OutOfTime:
        reason = stop_reason(limits, search.clock)
    except KeyboardInterrupt:
        reason = INTERRUPTED
    return EnablingClaim(question.id, NAME, tuple(search.ways), tuple(search.covers), search.size, reason)


class _Search:
    def __init__(
        self, machine: Machine, question: EnablingQuestion, engine: Engine, limits: Limits, report: ProgressCallback
    ) -> None:
        self.machine = machine
        self.question = question
        self.engine = engine
        self.limits = limits
        self.report = report
        self.clock = clock_of(limits)
        self.part = cone_of(started_with(machine, question.options, ()), [question.target])
        self.options = tuple(name for name in question.options if name in self.part.domains)
        self.freeing = Freeing(self.part, question.target, self.options, self.clock, light_solver)
        self.ways: list[Way] = []
        self.covers: list[Cover] = []
        self.size: int | None = -1
        """Of sets of so many options all are accounted for; None: of all."""
        self.reason = ""
        self.lemmas: tuple[Expr, ...] = ()
        """What is so in every reachable state while some options are false."""

    def run(self, most: int | None, larger: bool, known: Certificate | None) -> None:
        if known is not None and known.k == 1:
            self.lemmas += known.clauses
        from pysat.examples.hitman import Hitman

        # what is no part of what the target depends on changes nothing
        idle = frozenset(self.question.options) - set(self.options)
        with Hitman(htype="sorted") as sets:
            while (found := sets.get()) is not None:
                self.clock.check()
                self.size = len(found) - 1
                if most is not None and len(self.ways) >= most:
                    self.reason = f"{most} sets were found, and no more were looked for"
                    return
                if not larger and self.ways and len(found) > len(self.ways[0].options):
                    self.reason = "none were looked for"
                    return
                true = tuple(name for name in self.options if name in found)
                self.report(Progress(NAME, f"{len(self.ways)} sets found", len(self.covers)))
                way = self.decide(true)
                if isinstance(way, Way):
                    self.ways.append(way)
                    if not true:
                        break
                    sets.block(list(true))
                    continue
                free = None if way is None else self.freeing.free(way, true)
                if way is None or free is None:
                    self.reason = self.reason or "a proof was given that cannot be learnt from"
                    return
                off = [name for name in self.options if name not in free]
                # what was assumed to be false has to be part of what is claimed
                clauses = (*way.clauses, *(Is(name, False) for name in off))
                covered = tuple(name for name in self.question.options if name in free or name in idle)
                self.covers.append(Cover(covered, Certificate(clauses)))
                if not off:
                    break
                sets.hit(off)
        self.size = None

    def with_true(self, true: Collection[str]) -> tuple[Machine, Expr]:
        """What the target then depends on, and the target."""
        values = {name: name in true for name in self.options}
        target = assign(self.question.target, values)
        return cone_of(without(self.part, values), [target]), target

    def decide(self, true: Sequence[str]) -> Way | Certificate | None:
        """A way where these are true, or a proof that there is none, the cheapest first; None where nothing says."""
        part, target = self.with_true(true)
        question = Question(self.question.id, target, expects_run=bool(true))
        why_not = ""
        for attempt in (self._by_lemmas, self._by_short_search, self._by_engine, self._by_long_search):
            claim = attempt(part, question)
            if isinstance(claim, Refuted):
                begun = started_with(self.machine, self.question.options, true)
                return Way(tuple(true), lifted(begun, part, claim.trace))
            if isinstance(claim, Proved) and claim.certificate is not None:
                certificate = claim.certificate
                if certificate.k > 1:
                    return certificate
                self.lemmas = tuple(dict.fromkeys((*self.lemmas, *certificate.clauses)))
                return Certificate(needed_clauses(part, certificate, [target]))
            self.clock.check()
            why_not = claim.reason if isinstance(claim, Unknown) else "all states were counted"
        self.reason = why_not
        return None

    def _by_lemmas(self, part: Machine, question: Question) -> Claim:
        """What was found to be so with other options true may be so here, and enough."""
        known = Lemmas(Remembered(tuple(one for one in self.lemmas if variables_of(one) <= part.domains.keys())))
        rules = LocalRules(part)
        cubes = known.taken_up(rules, self.clock, light_solver)
        frames = Frames(rules, [question.target], self.clock, light_solver, cubes)
        claims: dict[int, Claim] = {}
        try:
            if question.expects_run:
                claim_mined(rules, cubes, [question], claims, self.clock)
            else:
                strengthen(frames, [question], claims, self.report)
        finally:
            frames.solver.close()
        return claims.get(0, Unknown(question.id, NAME, "nothing follows from what is known"))

    def _by_short_search(self, part: Machine, question: Question) -> Claim:
        search = GuidedSearch(part, [question], NO_LIMITS, self.clock)
        search.run([0], FIRST_EXPANDED, self.report)
        trace = search.found.get(question.id)
        if trace is None:
            return Unknown(question.id, NAME, "no run was found soon")
        return Refuted(question.id, NAME, trace, shortest=False)

    def _by_long_search(self, part: Machine, question: Question) -> Claim:
        limits = replace(self.limits, seconds=self.clock.seconds_left())
        return guided(part, [question], limits, self.report)[0]

    def _by_engine(self, part: Machine, question: Question) -> Claim:
        limits = replace(self.limits, seconds=self.clock.seconds_left(), states=FEW_STATES)
        (claim,) = self.engine(part, [question], limits, self.report)
        if isinstance(claim, Proved) and claim.certificate is None:
            # all states were looked at all the same; there is nothing to learn from that
            (claim,) = pdr(part, [question], replace(limits, seconds=self.clock.seconds_left()), self.report)
        return claim
