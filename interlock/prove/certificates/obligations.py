"""The obligations of a certificate, put to z3 before an engine may claim a proof.

The kernel's expressions become z3 terms directly, by no way of the engines' clauses: a fault in the encoder, in the
generalisation of a cube or in a SAT solver shows here, as an internal error and not as a wrong proof.

Reference (from memory)
  L. de Moura, N. Bjørner: Z3: an efficient SMT solver. TACAS 2008.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any

from interlock.kernel.claims import Certificate
from interlock.kernel.expressions import (
    And,
    Expr,
    Is,
    Leaf,
    Not,
    Or,
    Ref,
    Value,
    signals_of,
    variables_of,
)
from interlock.kernel.machine import Machine, Rule, support_of, unsettled
from interlock.prove.core.trees import bottom_up
from interlock.prove.engine import Clock, OutOfTime

NEAR = 96
"""Of so many variables a solver is told at most that is asked before one that knows the whole machine."""


class UnsoundCertificate(AssertionError):
    """An engine made a certificate that z3 refuses: a fault of this program."""


class TermFactory:
    """Conjunction, disjunction and negation by z3's C interface: its Python operators look at every argument again."""

    def __init__(self) -> None:
        import z3

        self.z3 = z3
        self.core = z3.z3core
        self.context = z3.main_ctx()
        self.ref = self.context.ref()
        self.true = z3.BoolVal(True)
        self.false = z3.BoolVal(False)

    def _array(self, args: Sequence[Any]) -> Any:
        return (self.z3.Ast * len(args))(*(arg.ast for arg in args))

    def all_of(self, args: Sequence[Any]) -> Any:
        """Every argument is true."""
        if len(args) < 2:
            return args[0] if args else self.true
        return self.z3.BoolRef(self.core.Z3_mk_and(self.ref, len(args), self._array(args)), self.context)

    def any_of(self, args: Sequence[Any]) -> Any:
        """Some argument is true."""
        if len(args) < 2:
            return args[0] if args else self.false
        return self.z3.BoolRef(self.core.Z3_mk_or(self.ref, len(args), self._array(args)), self.context)

    def negation(self, arg: Any) -> Any:
        """The argument is false."""
        return self.z3.BoolRef(self.core.Z3_mk_not(self.ref, arg.ast), self.context)

    def same(self, one: Any, other: Any) -> Any:
        """Both are true or both are false."""
        return self.z3.BoolRef(self.core.Z3_mk_iff(self.ref, one.ast, other.ast), self.context)


class Terms:
    """z3 terms for one state of the machine; with `written`, for the state after those values were assigned."""

    def __init__(self, machine: Machine, depth: int, make: TermFactory) -> None:
        z3 = make.z3
        self.make = make
        self.machine = machine
        self.atoms: dict[tuple[str, Value], Any] = {}
        self.domains: dict[str, list[Any]] = {}
        """Per variable what its atoms satisfy in every state."""
        for at, variable in enumerate(machine.variables):
            if isinstance(variable.domain[0], bool):
                atom = z3.Bool(f"v{at}@{depth}")
                self.atoms.update({(variable.name, True): atom, (variable.name, False): make.negation(atom)})
                only = variable.domain if len(variable.domain) == 1 else ()
                self.domains[variable.name] = [self.atoms[variable.name, value] for value in only]
                continue
            options = [z3.Bool(f"v{at}.{place}@{depth}") for place in range(len(variable.domain))]
            self.atoms.update({(variable.name, value): o for value, o in zip(variable.domain, options, strict=True)})
            self.domains[variable.name] = [make.any_of(options), z3.AtMost(*options, 1)]
        self.signals: dict[str, Any] = {}
        self.order = machine.signals_in_order
        for signal in self.order:
            self.signals[signal.name] = self.term(signal.definition)

    def all_domains(self) -> list[Any]:
        """What every state satisfies."""
        return [one for own in self.domains.values() for one in own]

    def term(self, expr: Expr) -> Any:
        """The expression, said of this state."""
        return self._term(expr, {}, self.signals)

    def _term(self, expr: Expr, written: Mapping[str, Value], signals: Mapping[str, Any]) -> Any:
        make, atoms = self.make, self.atoms

        def leaf(node: Leaf) -> Any:
            if isinstance(node, Is):
                if node.variable not in written:
                    return atoms[node.variable, node.value]
                return make.true if written[node.variable] == node.value else make.false
            if isinstance(node, Ref):
                return signals[node.signal]
            return make.true if node.value else make.false

        def join(node: Not | And | Or, parts: list[Any]) -> Any:
            if isinstance(node, Not):
                return make.negation(parts[0])
            return make.all_of(parts) if isinstance(node, And) else make.any_of(parts)

        return bottom_up(expr, leaf, join)

    def after(self, exprs: Iterable[Expr], written: Mapping[str, Value], supports: Mapping[str, frozenset[str]]) -> Any:
        """The expressions, said of the state after the assignments."""
        signals = dict(self.signals)
        for signal in self.order if supports else ():
            if not supports[signal.name].isdisjoint(written):
                signals[signal.name] = self._term(signal.definition, written, signals)
        return [self._term(expr, written, signals) for expr in exprs]

    def is_initial(self) -> list[Any]:
        """What an initial state satisfies."""
        fits = [self.make.any_of([self.atoms[v.name, value] for value in v.init]) for v in self.machine.variables]
        return [*fits, self.term(self.machine.start)]


def discharge(machine: Machine, certificate: Certificate, targets: Sequence[Expr], clock: Clock) -> None:
    """Has z3 agree that the certificate proves every target unreachable.

    Raises UnsoundCertificate when it does not agree, OutOfTime when it has not answered in time.
    """
    _Discharge(machine, certificate, clock).run(targets)


class _Discharge:
    def __init__(self, machine: Machine, certificate: Certificate, clock: Clock) -> None:
        self.make = TermFactory()
        self.z3 = self.make.z3
        self.machine = machine
        self.certificate = certificate
        self.clock = clock
        self.states = [Terms(machine, depth, self.make) for depth in range(certificate.k)]
        self.kept = [[state.term(clause) for clause in certificate.clauses] for state in self.states]
        """Per state the clauses, said of it."""
        self._equal_variables: dict[tuple[int, int], dict[str, Any]] = {}

    def run(self, targets: Sequence[Expr]) -> None:
        last = self.states[-1]
        start = self._solver(self.states[:1])
        start.add(self.states[0].is_initial())
        for depth, state in enumerate(self.states):
            if depth:
                start.add(state.all_domains())
                start.add(self._step(depth - 1))
            broken = self.make.negation(self.make.all_of(self.kept[depth]))
            self._refute(start, [broken], f"a clause fails {depth} steps from the start")
        inductive = self._solver(self.states)
        for depth, kept in enumerate(self.kept):
            inductive.add(kept)
            if depth:
                inductive.add(self._step(depth - 1))
            if self.certificate.distinct:
                inductive.add([self.make.negation(self._equal(depth, earlier, {})) for earlier in range(depth)])
        self._steps(inductive, last)
        safe = inductive
        if len(self.states) > 1:
            safe = self._solver(self.states[:1])
            safe.add(self.kept[0])
        regions = [support_of(self.machine, target) for target in targets]
        for near, group in self._nearby(regions):
            bad = self.make.any_of([self.states[0].term(targets[at]) for at in group])
            if not self._has_none(near, [bad]):
                self._refute(safe, [bad], "a target satisfies the clauses")

    def _steps(self, solver: Any, last: Terms) -> None:
        """No rule breaks a clause: one query per rule that writes a variable of one."""
        machine, clauses, behind = self.machine, self.certificate.clauses, self.behind
        open_after = unsettled(clauses)
        with_signals = [at for at, clause in enumerate(clauses) if signals_of(clause)]
        supports = supports_of(machine) if with_signals else {}
        breaking: list[tuple[Rule, list[int]]] = []
        for rule in machine.rules:
            written = dict(rule.update)
            opened = {at for at in with_signals if not behind[at].isdisjoint(written)}
            touched = sorted(opened | open_after(rule.update))
            if touched:
                breaking.append((rule, touched))
        regions = [support_of(machine, rule.guard).union(*(behind[at] for at in those)) for rule, those in breaking]
        for near, group in self._nearby(regions):
            for rule, touched in [breaking[at] for at in group]:
                written = dict(rule.update)
                after = last.after([clauses[at] for at in touched], written, supports)
                query = [last.term(rule.guard), self.make.negation(self.make.all_of(after))]
                if self._has_none(near, query):
                    continue
                if self.certificate.distinct:
                    depth = self.certificate.k - 1
                    query += [self.make.negation(self._equal(depth, earlier, written)) for earlier in range(depth)]
                self._refute(solver, query, f"rule {rule.name!r} breaks a clause")

    @cached_property
    def behind(self) -> list[frozenset[str]]:
        """The variables that each clause depends on."""
        return [support_of(self.machine, clause) for clause in self.certificate.clauses]

    @cached_property
    def about(self) -> Mapping[str, list[int]]:
        """Per variable the clauses that depend on it, by place."""
        found: dict[str, list[int]] = {}
        for at, names in enumerate(self.behind):
            for name in names:
                found.setdefault(name, []).append(at)
        return found

    def _nearby(self, regions: Sequence[frozenset[str]]) -> Iterator[tuple[Any, list[int]]]:
        """What is asked, by place, those together that are about the same few variables, with a solver for them.

        That knows no clause but those about these variables alone, which is what most queries are refuted by; None for
        what is about many, and where clauses need more than one step.
        """
        for group, region in _grouped(regions, self.machine.positions):
            if len(self.states) > 1 or len(region) > NEAR:
                yield None, group
                continue
            near = self._solver(())
            near.add([part for name in sorted(region) for part in self.states[0].domains[name]])
            inside = {at for name in region for at in self.about.get(name, ()) if self.behind[at] <= region}
            near.add([self.kept[0][at] for at in sorted(inside)])
            yield near, group

    def _step(self, depth: int) -> Any:
        """Some rule leads from the state at the depth to the next."""
        here = self.states[depth]
        return self.make.any_of(
            [
                self.make.all_of([here.term(rule.guard), self._equal(depth, depth + 1, dict(rule.update))])
                for rule in self.machine.rules
            ]
        )

    def _equal(self, depth: int, other: int, written: Mapping[str, Value]) -> Any:
        """The state at `other` is that at `depth` after the assignments."""
        there = self.states[other]
        parts = [there.atoms[name, value] for name, value in written.items()]
        parts += [same for name, same in self._equalities(depth, other).items() if name not in written]
        return self.make.all_of(parts)

    def _equalities(self, depth: int, other: int) -> Mapping[str, Any]:
        """Per variable: it has the same value at both depths."""
        if (depth, other) not in self._equal_variables:
            here, there, same = self.states[depth].atoms, self.states[other].atoms, self.make.same
            self._equal_variables[depth, other] = {
                v.name: self.make.all_of([same(here[v.name, x], there[v.name, x]) for x in v.domain])
                for v in self.machine.variables
            }
        return self._equal_variables[depth, other]

    def _solver(self, states: Iterable[Terms]) -> Any:
        solver = self.z3.SolverFor("QF_FD")
        # Otherwise z3 takes Ctrl-C for itself, answers `unknown`, and nobody hears of it.
        solver.set("ctrl_c", False)
        for state in states:
            solver.add(state.all_domains())
        return solver

    def _has_none(self, near: Any, query: Sequence[Any]) -> bool:
        """The query has no model, as is seen from near by."""
        return near is not None and self._answer(near, query) == self.z3.unsat

    def _refute(self, solver: Any, query: Sequence[Any], what: str) -> None:
        answer = self._answer(solver, query)
        if answer == self.z3.sat:
            raise UnsoundCertificate(what)
        if answer != self.z3.unsat:
            self.clock.check()
            raise OutOfTime

    def _answer(self, solver: Any, query: Sequence[Any]) -> Any:
        self.clock.check()
        left = self.clock.milliseconds_left()
        if left is not None:
            solver.set("timeout", left)
        solver.push()
        solver.add(query)
        answer = solver.check()
        solver.pop()
        return answer


def _grouped(
    regions: Sequence[frozenset[str]], positions: Mapping[str, int]
) -> Iterator[tuple[list[int], frozenset[str]]]:
    """The regions, by place, in groups, each with all its variables: at most `NEAR`, but where one has more itself."""
    shared = Counter(name for region in regions for name in region)
    # each where that of its variables stands which the fewest are about: what all are about tells nothing
    own = [min(((shared[name], positions[name]) for name in region), default=(0, 0))[1] for region in regions]
    group: list[int] = []
    around: frozenset[str] = frozenset()
    for at in sorted(range(len(regions)), key=own.__getitem__):
        if group and len(around | regions[at]) > NEAR:
            yield group, around
            group, around = [], frozenset()
        group.append(at)
        around |= regions[at]
    if group:
        yield group, around


def supports_of(machine: Machine) -> Mapping[str, frozenset[str]]:
    """Per signal the variables that it depends on, directly or not."""
    found: dict[str, frozenset[str]] = {}
    for signal in machine.signals_in_order:
        below = (found[name] for name in signals_of(signal.definition))
        found[signal.name] = variables_of(signal.definition).union(*below)
    return found
