"""The obligations of a certificate as SMT-LIB 2.6 text, made here from the machine alone.

Propositional throughout (logic QF_UF with no functions): a Boolean variable is one symbol, any other variable one
symbol per value, of which exactly one is true.  On a machine of 500 variables, 2,000 rules and 5,000 clauses cvc5 took
0.3 s for the step obligation so written; bit-vectors took 1.6 times and data types 2.7 times as long.  One query
over all rules instead of one per rule took 2.8 times as long and could not name the rule that breaks.

There is no primed copy of the variables for the last step: what a rule writes are constants, so "after the rule" is
the same formula with those put in, and only the rules and clauses that share a variable meet.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import quote

from interlock.kernel.claims import Certificate
from interlock.kernel.expressions import TRUE, And, Const, Expr, Is, Not, Ref, Value, assign, signals_of
from interlock.kernel.machine import Machine, Question, signals_in_order, support_of

_PRINTABLE = "".join(map(chr, range(33, 127)))
# What would end a quoted symbol or a comment, or could make two names one, is written as in a web address.
_SAFE_IN_NAME = "".join(c for c in _PRINTABLE if c not in '%|\\"=@#')
_SAFE_IN_VALUE = "".join(c for c in _PRINTABLE if c not in '%|\\"@#')

_HEADER = """\
; Every query below must answer unsat; {count} of them.
; |x=v|          variable x has value v.  A Boolean variable has only |x=true|; any other has one symbol per value,
;                and exactly one of them is true.  A number is written #3.
; |signal s|     the signal s: a name for a formula, without memory.
; ... @2|        the same, two steps later.   ... after|   the same, once the rule in question has fired.
; %20 and the like stand for characters that may not stand in a name, as in web addresses.
(set-info :smt-lib-version 2.6)
(set-logic QF_UF)"""


@dataclass(frozen=True, slots=True)
class Obligation:
    """One SMT-LIB text; `queries` says in words what each of its check-sat commands asks, in their order.

    Every query must be answered `unsat`.
    """

    name: str
    text: str
    queries: tuple[str, ...]


def start_obligation(machine: Machine, certificate: Certificate) -> Obligation:
    """No state within k - 1 steps of an initial one breaks a clause: one query per number of steps.

    A query for depth n assumes n steps and no more, so that a run which ends early is not overlooked.
    """
    scribe = Scribe(machine)
    lines = list(scribe.state(0))
    lines += [f"(assert {any_of(scribe.fact(v.name, value, 0) for value in v.init)})" for v in machine.variables]
    lines.append(f"(assert {scribe.formula(machine.start, 0)})")
    queries = []
    for depth in range(certificate.k):
        if depth:
            lines += [*scribe.state(depth), *scribe.step(depth - 1)]
        broken = all_of(scribe.formula(clause, depth) for clause in certificate.clauses)
        lines += query(f"some state after {depth} steps breaks a clause", [f"(assert (not {broken}))"])
        queries.append(f"a state {depth} steps from an initial one breaks a clause")
    meaning = "(start) A run from an initial state of fewer than k steps never breaks a clause of the certificate."
    return obligation_of("start", meaning, certificate, lines, queries)


def step_obligation(machine: Machine, certificate: Certificate) -> Obligation:
    """After k consecutive states that satisfy the clauses, no rule leads to one that does not: one query per rule.

    A rule that writes no variable of any clause, or whose constants make true every clause that they touch, needs no
    query.  A state that breaks a clause differs by that from those before it, so `distinct` need only be said of those.
    """
    scribe = Scribe(machine)
    last = certificate.k - 1
    lines: list[str] = []
    for depth in range(certificate.k):
        lines += scribe.state(depth)
        lines += [f"(assert {scribe.formula(clause, depth)})" for clause in certificate.clauses]
        if depth:
            lines += scribe.step(depth - 1)
        if certificate.distinct:
            lines += [f"(assert (not {scribe.same(depth, earlier)}))" for earlier in range(depth)]
    by_variable: dict[str, list[int]] = {}
    for at, clause in enumerate(certificate.clauses):
        for name in sorted(support_of(machine, clause)):
            by_variable.setdefault(name, []).append(at)
    queries = []
    for rule in machine.rules:
        written = dict(rule.update)
        touched = sorted({at for name in written for at in by_variable.get(name, ())})
        after = [clause for at in touched if (clause := assign(certificate.clauses[at], written)) != TRUE]
        if not after:
            continue
        changed = scribe.changed(written, after)
        asserts = list(scribe.signals_after(written, changed, last))
        asserts.append(f"(assert {scribe.formula(rule.guard, last)})")
        asserts.append(f"(assert (not {all_of(scribe.formula(clause, last, changed) for clause in after)}))")
        lines += query(f"rule {quoted(rule.name)} breaks a clause", asserts)
        queries.append(f"rule {rule.name!r} leads to a state that breaks a clause")
    meaning = "(step) After k consecutive states that satisfy every clause, no rule leads to one that breaks a clause."
    if certificate.distinct:
        meaning += "\n; Of the k + 1 states, no two are the same."
    return obligation_of("step", meaning, certificate, lines, queries)


def safe_obligation(machine: Machine, certificate: Certificate, questions: Sequence[Question]) -> Obligation:
    """No state that satisfies the clauses satisfies a target: one query per question."""
    scribe = Scribe(machine)
    lines = [*scribe.state(0), *(f"(assert {scribe.formula(clause, 0)})" for clause in certificate.clauses)]
    for question in questions:
        lines += query(f"question {quoted(question.id)}", [f"(assert {scribe.formula(question.target, 0)})"])
    meaning = "(safe) No state that satisfies every clause satisfies the target of a question."
    queries = [f"some state that satisfies the clauses satisfies the target of {q.id!r}" for q in questions]
    return obligation_of("safe", meaning, certificate, lines, queries)


class Scribe:
    """Writes states, steps and formulas of one machine; holds nothing but what it looked up in it."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.signals = signals_in_order(machine)
        self.support = {signal.name: support_of(machine, signal.definition) for signal in self.signals}

    def fact(self, name: str, value: Value, depth: int) -> str:
        at = f" @{depth}" if depth else ""
        symbol = quote(name, safe=_SAFE_IN_NAME, errors="surrogatepass")
        if isinstance(value, bool):
            return f"|{symbol}=true{at}|" if value else f"(not |{symbol}=true{at}|)"
        shown = f"#{value}" if isinstance(value, int) else quote(value, safe=_SAFE_IN_VALUE, errors="surrogatepass")
        return f"|{symbol}={shown}{at}|"

    def signal(self, name: str, depth: int, after: bool = False) -> str:
        return f"|signal {quoted(name)}{f' @{depth}' if depth else ''}{' after' if after else ''}|"

    def facts(self, name: str, depth: int) -> list[str]:
        """The symbols of the variable, as many as it takes to tell its values apart."""
        domain = self.machine.domains[name]
        return [self.fact(name, value, depth) for value in ((True,) if isinstance(domain[0], bool) else domain)]

    def formula(self, expr: Expr, depth: int, changed: frozenset[str] = frozenset()) -> str:
        """The expression at that depth; the signals in `changed` are meant as they are after the rule."""
        if isinstance(expr, Const):
            return "true" if expr.value else "false"
        if isinstance(expr, Is):
            return self.fact(expr.variable, expr.value, depth)
        if isinstance(expr, Ref):
            return self.signal(expr.signal, depth, expr.signal in changed)
        if isinstance(expr, Not):
            return f"(not {self.formula(expr.arg, depth, changed)})"
        texts = (self.formula(arg, depth, changed) for arg in expr.args)
        return all_of(texts) if isinstance(expr, And) else any_of(texts)

    def state(self, depth: int) -> Iterator[str]:
        """Declarations of one state: every variable with exactly one value of its domain, every signal."""
        for variable in self.machine.variables:
            facts = self.facts(variable.name, depth)
            yield from (f"(declare-const {fact} Bool)" for fact in facts)
            if not isinstance(variable.domain[0], bool):
                yield f"(assert {any_of(facts)})"
                for at, fact in enumerate(facts):
                    yield from (f"(assert (not (and {other} {fact})))" for other in facts[:at])
            elif len(variable.domain) == 1:
                yield f"(assert {self.fact(variable.name, variable.domain[0], depth)})"
        for signal in self.signals:
            definition = self.formula(signal.definition, depth)
            yield f"(define-fun {self.signal(signal.name, depth)} () Bool {definition})"

    def step(self, depth: int) -> Iterator[str]:
        """Exactly one rule fires between the states at `depth` and `depth + 1`.

        The rule is the binary number that the `choice` symbols spell, so that no two can fire.
        """
        rules = self.machine.rules
        choices = [f"|choice {bit} @{depth}|" for bit in range(max(len(rules) - 1, 0).bit_length())]
        yield from (f"(declare-const {choice} Bool)" for choice in choices)
        writers: dict[str, list[str]] = {}
        fires = []
        for number, rule in enumerate(rules):
            fired = f"|rule {quoted(rule.name)} @{depth}|"
            digits = (c if number >> bit & 1 else f"(not {c})" for bit, c in enumerate(choices))
            yield f"(define-fun {fired} () Bool {all_of(digits)})"
            effect = [self.formula(rule.guard, depth)]
            effect += [self.fact(name, value, depth + 1) for name, value in rule.update]
            yield f"(assert (=> {fired} {all_of(effect)}))"
            fires.append(fired)
            for name, _ in rule.update:
                writers.setdefault(name, []).append(fired)
        yield f"(assert {any_of(fires)})"
        for variable in self.machine.variables:
            kept = zip(self.facts(variable.name, depth), self.facts(variable.name, depth + 1), strict=True)
            unchanged = all_of(f"(= {before} {after})" for before, after in kept)
            yield f"(assert {any_of([unchanged, *writers.get(variable.name, ())])})"

    def same(self, depth: int, other: int) -> str:
        """The states at the two depths are one."""
        pairs = (zip(self.facts(v.name, depth), self.facts(v.name, other), strict=True) for v in self.machine.variables)
        return all_of(f"(= {one} {two})" for facts in pairs for one, two in facts)

    def changed(self, written: Mapping[str, Value], after: Iterable[Expr]) -> frozenset[str]:
        """The signals that the formulas rest on, directly or not, and that what was written may change."""
        found: set[str] = set()
        waiting = [name for expr in after for name in sorted(signals_of(expr))]
        while waiting:
            name = waiting.pop()
            if name not in found and not self.support[name].isdisjoint(written):
                found.add(name)
                waiting += sorted(signals_of(self.machine.definitions[name]))
        return frozenset(found)

    def signals_after(self, written: Mapping[str, Value], changed: frozenset[str], depth: int) -> Iterator[str]:
        """Definitions of these signals as they are once the constants have been written."""
        for signal in self.signals if changed else ():
            if signal.name in changed:
                definition = self.formula(assign(signal.definition, written), depth, changed)
                yield f"(define-fun {self.signal(signal.name, depth, after=True)} () Bool {definition})"


def obligation_of(
    name: str, meaning: str, certificate: Certificate, lines: Iterable[str], queries: Sequence[str]
) -> Obligation:
    """The obligation with its header, in which every query is announced."""
    header = f"; {meaning}\n; {len(certificate.clauses)} clauses, k = {certificate.k}.\n"
    return Obligation(
        name, header + "\n".join([_HEADER.format(count=len(queries)), *lines, "(exit)"]) + "\n", tuple(queries)
    )


def query(comment: str, asserts: Iterable[str]) -> list[str]:
    """A question apart from all others, to be answered `unsat`."""
    return ["(push 1)", f"; {comment}", *asserts, "(set-info :status unsat)", "(check-sat)", "(pop 1)"]


def all_of(texts: Iterable[str]) -> str:
    """A conjunction."""
    return _joined("and", "true", texts)


def any_of(texts: Iterable[str]) -> str:
    """An alternative."""
    return _joined("or", "false", texts)


def _joined(operator: str, empty: str, texts: Iterable[str]) -> str:
    """The standard gives `and` and `or` no meaning for fewer than two arguments."""
    listed = list(texts)
    if len(listed) > 1:
        return f"({operator} {' '.join(listed)})"
    return listed[0] if listed else empty


def quoted(name: str) -> str:
    """A name that may stand in a comment and within a quoted symbol."""
    return quote(name, safe=_SAFE_IN_NAME, errors="surrogatepass")
