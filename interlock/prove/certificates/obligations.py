"""The obligations of a certificate, put to z3 before an engine may claim a proof.

The kernel's expressions become z3 terms directly, by no way of the engines' clauses: a fault in the encoder, in the
generalisation of a cube or in a SAT solver shows here, as an internal error and not as a wrong proof.

Reference (from memory)
  L. de Moura, N. Bjørner: Z3: an efficient SMT solver. TACAS 2008.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from ctypes import POINTER, PYFUNCTYPE, Array, c_uint, c_void_p, cast
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
from interlock.kernel.machine import Machine, Rule, unsettled
from interlock.prove.core.trees import bottom_up
from interlock.prove.engine import Clock, OutOfTime

NEAR = 96
"""Of so many variables a solver is told at most that is asked before one that knows the whole machine."""


class UnsoundCertificate(AssertionError):
    """An engine made a certificate that z3 refuses: a fault of this program."""


class TermFactory:
    """Terms of z3, each as its address there, by the library's own functions.

    Its Python classes look at every argument again, ask after each call whether it failed, and count who holds what;
    here all are held until the factory is gone.
    """

    def __init__(self) -> None:
        import z3

        self.z3 = z3
        self.context = z3.main_ctx().ref()
        self.here = self.context.value
        self._all = z3.AstVector()
        address, number, many = c_void_p, c_uint, POINTER(c_void_p)
        self._hold = self.function("Z3_ast_vector_push", address, address)
        self._and = self.function("Z3_mk_and", number, many, gives=address)
        self._or = self.function("Z3_mk_or", number, many, gives=address)
        self._not = self.function("Z3_mk_not", address, gives=address)
        self._same = self.function("Z3_mk_iff", address, address, gives=address)
        self._at_most = self.function("Z3_mk_atmost", number, many, number, gives=address)
        self.true = self.held(self.function("Z3_mk_true", gives=address)(self.here))
        self.false = self.held(self.function("Z3_mk_false", gives=address)(self.here))

    def function(self, name: str, *takes: type, gives: type | None = None) -> Any:
        """The library's function of that name, which takes `here` first; of the Python function, what that calls."""
        at = cast(getattr(self.z3.z3core, name).__defaults__[-1].f, c_void_p).value
        if at is None:
            raise self.z3.Z3Exception(f"there is no {name}")
        return PYFUNCTYPE(gives, c_void_p, *takes)(at)

    def held(self, made: int | None) -> int:
        """What was made, kept from now on."""
        if made is None:
            raise self.z3.Z3Exception("a term could not be made")
        self._hold(self.here, self._all.vector.value, made)
        return made

    def symbol(self, name: str) -> int:
        """What is true or false."""
        return self.held(self.z3.Bool(name).ast.value)

    def all_of(self, args: Sequence[int]) -> int:
        """Every argument is true."""
        if len(args) < 2:
            return args[0] if args else self.true
        return self.held(self._and(self.here, *_many(args)))

    def any_of(self, args: Sequence[int]) -> int:
        """Some argument is true."""
        if len(args) < 2:
            return args[0] if args else self.false
        return self.held(self._or(self.here, *_many(args)))

    def negation(self, arg: int) -> int:
        """The argument is false."""
        return self.held(self._not(self.here, arg))

    def same(self, one: int, other: int) -> int:
        """Both are true or both are false."""
        return self.held(self._same(self.here, one, other))

    def at_most_one(self, args: Sequence[int]) -> int:
        """No two of the arguments are true."""
        return self.held(self._at_most(self.here, *_many(args), 1))


def _many(terms: Sequence[int]) -> tuple[int, Array[c_void_p]]:
    """Their number, and the terms as the library takes them."""
    return len(terms), (c_void_p * len(terms))(*terms)


class TermSolver:
    """Asks whether terms of one factory can be true together."""

    def __init__(self, make: TermFactory) -> None:
        self._make = make
        self._solver = make.z3.SolverFor("QF_FD")
        # Otherwise z3 takes Ctrl-C for itself, answers `unknown`, and nobody hears of it.
        self._solver.set("ctrl_c", False)
        self._assert = make.function("Z3_solver_assert", c_void_p, c_void_p)
        self.push, self.pop = self._solver.push, self._solver.pop

    def add(self, terms: Iterable[int]) -> None:
        """Every one of the terms is true."""
        here, solver, core = self._make.context, self._solver.solver, self._make.z3.z3core
        for term in terms:
            self._assert(here.value, solver.value, term)
            if code := core.Z3_get_error_code(here):
                raise self._make.z3.Z3Exception(core.Z3_get_error_msg(here, code))

    def refutes(self, query: Iterable[int], clock: Clock) -> bool | None:
        """The terms cannot be true beside what was added; None where that was not found out in time."""
        clock.check()
        left = clock.milliseconds_left()
        if left is not None:
            self._solver.set("timeout", left)
        self.push()
        self.add(query)
        answer = self._solver.check()
        self.pop()
        return None if answer == self._make.z3.unknown else bool(answer == self._make.z3.unsat)


class Terms:
    """z3 terms for one state of the machine; with `written`, for the state after those values were assigned."""

    def __init__(self, machine: Machine, depth: int, make: TermFactory) -> None:
        self.make = make
        self.machine = machine
        self.atoms: dict[tuple[str, Value], int] = {}
        self.domains: dict[str, list[int]] = {}
        """Per variable what its atoms satisfy in every state."""
        for at, variable in enumerate(machine.variables):
            if isinstance(variable.domain[0], bool):
                atom = make.symbol(f"v{at}@{depth}")
                self.atoms.update({(variable.name, True): atom, (variable.name, False): make.negation(atom)})
                only = variable.domain if len(variable.domain) == 1 else ()
                self.domains[variable.name] = [self.atoms[variable.name, value] for value in only]
                continue
            options = [make.symbol(f"v{at}.{place}@{depth}") for place in range(len(variable.domain))]
            self.atoms.update({(variable.name, value): o for value, o in zip(variable.domain, options, strict=True)})
            self.domains[variable.name] = [make.any_of(options), make.at_most_one(options)]
        self.signals: dict[str, int] = {}
        self.order = machine.signals_in_order
        for signal in self.order:
            self.signals[signal.name] = self.term(signal.definition)

    def all_domains(self) -> list[int]:
        """What every state satisfies."""
        return [one for own in self.domains.values() for one in own]

    def term(self, expr: Expr) -> int:
        """The expression, said of this state."""
        return self._term(expr, {}, self.signals)

    def _term(self, expr: Expr, written: Mapping[str, Value], signals: Mapping[str, int]) -> int:
        make, atoms = self.make, self.atoms

        def leaf(node: Leaf) -> int:
            if isinstance(node, Is):
                if node.variable not in written:
                    return atoms[node.variable, node.value]
                return make.true if written[node.variable] == node.value else make.false
            if isinstance(node, Ref):
                return signals[node.signal]
            return make.true if node.value else make.false

        def join(node: Not | And | Or, parts: list[int]) -> int:
            if isinstance(node, Not):
                return make.negation(parts[0])
            return make.all_of(parts) if isinstance(node, And) else make.any_of(parts)

        return bottom_up(expr, leaf, join)

    def after(
        self, exprs: Iterable[Expr], written: Mapping[str, Value], supports: Mapping[str, frozenset[str]]
    ) -> list[int]:
        """The expressions, said of the state after the assignments."""
        signals = dict(self.signals)
        for signal in self.order if supports else ():
            if not supports[signal.name].isdisjoint(written):
                signals[signal.name] = self._term(signal.definition, written, signals)
        return [self._term(expr, written, signals) for expr in exprs]

    def is_initial(self) -> list[int]:
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
        self.machine = machine
        self.certificate = certificate
        self.clock = clock
        self.states = [Terms(machine, depth, self.make) for depth in range(certificate.k)]
        self.kept = [[state.term(clause) for clause in certificate.clauses] for state in self.states]
        """Per state the clauses, said of it."""
        self.supports = supports_of(machine)
        self._equal_variables: dict[tuple[int, int], dict[str, int]] = {}

    def run(self, targets: Sequence[Expr]) -> None:
        last = self.states[-1]
        start = self._solver(self.states[:1])
        start.add(self.states[0].is_initial())
        for depth, state in enumerate(self.states):
            if depth:
                start.add(state.all_domains())
                start.add([self._step(depth - 1)])
            broken = self.make.negation(self.make.all_of(self.kept[depth]))
            self._refute(start, [broken], f"a clause fails {depth} steps from the start")
        inductive = self._solver(self.states)
        for depth, kept in enumerate(self.kept):
            inductive.add(kept)
            if depth:
                inductive.add([self._step(depth - 1)])
            if self.certificate.distinct:
                inductive.add([self.make.negation(self._equal(depth, earlier, {})) for earlier in range(depth)])
        self._steps(inductive, last)
        safe = inductive
        if len(self.states) > 1:
            safe = self._solver(self.states[:1])
            safe.add(self.kept[0])
        regions = [self._behind(target) for target in targets]
        for near, group in self._nearby(regions):
            bad = self._some([self.states[0].term(targets[at])] for at in group)
            if near is None or not near.refutes([bad], self.clock):
                self._refute(safe, [bad], "a target satisfies the clauses")

    def _steps(self, solver: TermSolver, last: Terms) -> None:
        """No rule that writes a variable of a clause breaks one: those near by are asked about at once, then each."""
        machine, clauses, behind = self.machine, self.certificate.clauses, self.behind
        open_after = unsettled(clauses)
        with_signals = [at for at, clause in enumerate(clauses) if signals_of(clause)]
        supports = self.supports if with_signals else {}
        breaking: list[tuple[Rule, list[int]]] = []
        for rule in machine.rules:
            written = dict(rule.update)
            opened = {at for at in with_signals if not behind[at].isdisjoint(written)}
            touched = sorted(opened | open_after(rule.update))
            if touched:
                breaking.append((rule, touched))
        regions = [self._behind(rule.guard).union(*(behind[at] for at in those)) for rule, those in breaking]
        for near, group in self._nearby(regions):
            asked: list[tuple[Rule, list[int]]] = []
            for rule, touched in [breaking[at] for at in group]:
                after = last.after([clauses[at] for at in touched], dict(rule.update), supports)
                asked.append((rule, [last.term(rule.guard), self.make.negation(self.make.all_of(after))]))
            if near is not None and near.refutes([self._some(query for _, query in asked)], self.clock):
                continue
            for rule, query in asked:
                if near is not None and near.refutes(query, self.clock):
                    continue
                if self.certificate.distinct:
                    depth = self.certificate.k - 1
                    same = [self._equal(depth, earlier, dict(rule.update)) for earlier in range(depth)]
                    query += map(self.make.negation, same)
                self._refute(solver, query, f"rule {rule.name!r} breaks a clause")

    def _some(self, queries: Iterable[Sequence[int]]) -> int:
        """One of the queries has a model."""
        return self.make.any_of([self.make.all_of(query) for query in queries])

    def _behind(self, expr: Expr) -> frozenset[str]:
        """The variables that the expression depends on."""
        return variables_of(expr).union(*map(self.supports.__getitem__, signals_of(expr)))

    @cached_property
    def behind(self) -> list[frozenset[str]]:
        """The variables that each clause depends on."""
        return [self._behind(clause) for clause in self.certificate.clauses]

    @cached_property
    def about(self) -> Mapping[str, list[int]]:
        """Per variable the clauses that depend on it, by place."""
        found: dict[str, list[int]] = {}
        for at, names in enumerate(self.behind):
            for name in names:
                found.setdefault(name, []).append(at)
        return found

    def _nearby(self, regions: Sequence[frozenset[str]]) -> Iterator[tuple[TermSolver | None, list[int]]]:
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

    def _step(self, depth: int) -> int:
        """Some rule leads from the state at the depth to the next."""
        here = self.states[depth]
        return self.make.any_of(
            [
                self.make.all_of([here.term(rule.guard), self._equal(depth, depth + 1, dict(rule.update))])
                for rule in self.machine.rules
            ]
        )

    def _equal(self, depth: int, other: int, written: Mapping[str, Value]) -> int:
        """The state at `other` is that at `depth` after the assignments."""
        there = self.states[other]
        parts = [there.atoms[name, value] for name, value in written.items()]
        parts += [same for name, same in self._equalities(depth, other).items() if name not in written]
        return self.make.all_of(parts)

    def _equalities(self, depth: int, other: int) -> Mapping[str, int]:
        """Per variable: it has the same value at both depths."""
        if (depth, other) not in self._equal_variables:
            here, there, same = self.states[depth].atoms, self.states[other].atoms, self.make.same
            self._equal_variables[depth, other] = {
                v.name: self.make.all_of([same(here[v.name, x], there[v.name, x]) for x in v.domain])
                for v in self.machine.variables
            }
        return self._equal_variables[depth, other]

    def _solver(self, states: Iterable[Terms]) -> TermSolver:
        solver = TermSolver(self.make)
        for state in states:
            solver.add(state.all_domains())
        return solver

    def _refute(self, solver: TermSolver, query: Sequence[int], what: str) -> None:
        refuted = solver.refutes(query, self.clock)
        if refuted is None:
            self.clock.check()
            raise OutOfTime
        if not refuted:
            raise UnsoundCertificate(what)


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
