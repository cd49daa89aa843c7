"""The obligations of a certificate as SMT-LIB 2.6 text, made here from the machine alone.

Propositional throughout (logic QF_UF with no functions): a Boolean variable is one symbol, any other variable one
symbol per value, of which exactly one is true.  On a machine of 500 variables, 2,000 rules and 5,000 clauses cvc5 took
0.3 s for the step obligation so written; bit-vectors took 1.6 times and data types 2.7 times as long.  One query
over all rules instead of one per rule took 2.8 times as long and could not name the rule that breaks.

Where a variable has more than MOST_PAIRED values, that no two are so is said along a chain of helping symbols, since
pairs would be as many as the values squared.

There is no primed copy of the variables for the last step: what a rule writes are constants, so "after the rule" is
the same formula with those put in, and only the rules and clauses that share a variable meet.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from time import monotonic
from urllib.parse import quote

from interlock.kernel.claims import Certificate
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value, assign, signals_of, variables_of
from interlock.kernel.machine import Machine, Question, unsettled

MOST_PAIRED = 12
"""So many values of a variable are told apart pair by pair."""
MOST_TEXT = 100_000_000
"""The most characters that an obligation may have; a second solver would need many times as much memory."""
MOST_HELD = 1_000_000
"""So many dependences of signals on variables are remembered."""

_PRINTABLE = "".join(map(chr, range(33, 127)))
# What would end a quoted symbol or a comment, or could make two names one, is written as in a web address.
_SAFE_IN_NAME = "".join(c for c in _PRINTABLE if c not in '%|\\"=@#')
_SAFE_IN_VALUE = "".join(c for c in _PRINTABLE if c not in '%|\\"@#')

_HEADER = """\
; Every query below must answer unsat; {count} of them.
; |x=v|          variable x has value v.  A Boolean variable has only |x=true|; any other has one symbol per value,
;                and exactly one of them is true.  A number is written #3.
; |x among n|    variable x has one of its first n values; written where a variable has many.
; |signal s|     the signal s: a name for a formula, without memory.
; ... @2|        the same, two steps later.   ... after|   the same, once the rule in question has fired.
; %20 and the like stand for characters that may not stand in a name, as in web addresses.
(set-info :smt-lib-version 2.6)
(set-logic QF_UF)"""


class GivenUp(Exception):
    """A text was not written to its end; the message says why.  Nothing is known then."""


@dataclass(frozen=True, slots=True)
class Obligation:
    """One SMT-LIB text; `queries` says in words what each of its check-sat commands asks, in their order.

    Every query must be answered `unsat`.
    """

    name: str
    text: str
    queries: tuple[str, ...]


def start_obligation(machine: Machine, certificate: Certificate, deadline: float | None = None) -> Obligation:
    """No state within k - 1 steps of an initial one breaks a clause: one query per number of steps.

    A query for depth n assumes n steps and no more, so that a run which ends early is not overlooked.
    Raises GivenUp, as all that write obligations do, after `deadline` (monotonic clock) and beyond MOST_TEXT.
    """
    queries: list[str] = []

    def lines() -> Iterator[str]:
        scribe = Scribe(machine, deadline)
        guards = (rule.guard for rule in machine.rules if certificate.k > 1)
        spoken = [machine.start, *certificate.clauses, *guards]
        yield from scribe.state(0, spoken)
        for variable in machine.variables:
            yield f"(assert {any_of(scribe.fact(variable.name, value, 0) for value in variable.init)})"
        yield f"(assert {scribe.formula(machine.start, 0)})"
        for depth in range(certificate.k):
            if depth:
                yield from scribe.state(depth, spoken)
                yield from scribe.step(depth - 1)
            broken = all_of(scribe.formula(clause, depth) for clause in certificate.clauses)
            yield from query(f"some state after {depth} steps breaks a clause", [f"(assert (not {broken}))"])
            queries.append(f"a state {depth} steps from an initial one breaks a clause")

    meaning = "(start) A run from an initial state of fewer than k steps never breaks a clause of the certificate."
    return obligation_of("start", meaning, certificate, lines(), queries)


def step_obligation(machine: Machine, certificate: Certificate, deadline: float | None = None) -> Obligation:
    """After k consecutive states that satisfy the clauses, no rule leads to one that does not: one query per rule.

    A rule that writes no variable of any clause, or whose constants make true every clause that they touch, needs no
    query.  A state that breaks a clause differs by that from those before it, so `distinct` need only be said of those.
    """
    queries: list[str] = []

    def lines() -> Iterator[str]:
        scribe = Scribe(machine, deadline)
        last = certificate.k - 1
        for depth in range(certificate.k):
            yield from scribe.state(depth, [*certificate.clauses, *(rule.guard for rule in machine.rules)])
            yield from (f"(assert {scribe.formula(clause, depth)})" for clause in certificate.clauses)
            if depth:
                yield from scribe.step(depth - 1)
            if certificate.distinct:
                yield from (f"(assert (not {scribe.same(depth, earlier)}))" for earlier in range(depth))
        open_after = unsettled(certificate.clauses)
        by_signal: dict[str, list[int]] = {}
        for at, clause in enumerate(certificate.clauses):
            for name in signals_of(clause):
                by_signal.setdefault(name, []).append(at)
        for rule in machine.rules:
            scribe.look()
            written = dict(rule.update)
            touched = open_after(rule.update)
            touched.update(at for name in by_signal if scribe.rests_on(name, written) for at in by_signal[name])
            after = tuple(certificate.clauses[at] for at in sorted(touched))
            broken = scribe.said_after(Not(And(after)), written, written, last)
            if not broken:
                continue
            asserts = [f"(assert {scribe.formula(rule.guard, last)})", *broken]
            yield from query(f"rule {quoted(rule.name)} breaks a clause", asserts)
            queries.append(f"rule {rule.name!r} leads to a state that breaks a clause")

    meaning = "(step) After k consecutive states that satisfy every clause, no rule leads to one that breaks a clause."
    if certificate.distinct:
        meaning += "\n; Of the k + 1 states, no two are the same."
    return obligation_of("step", meaning, certificate, lines(), queries)


def safe_obligation(
    machine: Machine, certificate: Certificate, questions: Sequence[Question], deadline: float | None = None
) -> Obligation:
    """No state that satisfies the clauses satisfies a target: one query per question."""

    def lines() -> Iterator[str]:
        scribe = Scribe(machine, deadline)
        yield from scribe.state(0, [*certificate.clauses, *(question.target for question in questions)])
        yield from (f"(assert {scribe.formula(clause, 0)})" for clause in certificate.clauses)
        for question in questions:
            yield from query(f"question {quoted(question.id)}", [f"(assert {scribe.formula(question.target, 0)})"])

    meaning = "(safe) No state that satisfies every clause satisfies the target of a question."
    queries = [f"some state that satisfies the clauses satisfies the target of {q.id!r}" for q in questions]
    return obligation_of("safe", meaning, certificate, lines(), queries)


class Scribe:
    """Writes states, steps and formulas of one machine; holds nothing but what it looked up in it."""

    def __init__(self, machine: Machine, deadline: float | None = None) -> None:
        self.machine = machine
        self.signals = {signal.name: at for at, signal in enumerate(machine.signals_in_order)}
        self._deadline = deadline
        self._named = {signal.name: signals_of(signal.definition) for signal in machine.signals}
        """Per signal the signals that its definition names."""
        self._behind: dict[str, frozenset[str]] = {}
        self._held = 0

    def look(self) -> None:
        """Raises GivenUp when the time is over."""
        if self._deadline is not None and monotonic() > self._deadline:
            raise GivenUp("out of time")

    def fact(self, name: str, value: Value, depth: int) -> str:
        at = f" @{depth}" if depth else ""
        symbol = quoted(name)
        if isinstance(value, bool):
            return f"|{symbol}=true{at}|" if value else f"(not |{symbol}=true{at}|)"
        shown = f"#{value}" if isinstance(value, int) else quoted(value, _SAFE_IN_VALUE)
        return f"|{symbol}={shown}{at}|"

    def signal(self, name: str, depth: int, after: bool = False) -> str:
        return f"|signal {quoted(name)}{f' @{depth}' if depth else ''}{' after' if after else ''}|"

    def facts(self, name: str, depth: int) -> list[str]:
        """The symbols of the variable, as many as it takes to tell its values apart."""
        domain = self.machine.domains[name]
        return [self.fact(name, value, depth) for value in ((True,) if isinstance(domain[0], bool) else domain)]

    def formula(self, expr: Expr, depth: int, changed: frozenset[str] = frozenset()) -> str:
        """The expression at that depth; the signals in `changed` are meant as they are after the rule."""
        self.look()
        pieces: list[str] = []
        waiting: list[Expr | str] = [expr]
        while waiting:
            node = waiting.pop()
            if isinstance(node, str):
                pieces.append(node)
            elif type(node) is Is:
                pieces.append(self.fact(node.variable, node.value, depth))
            elif type(node) is Not:
                pieces.append("(not ")
                waiting += (")", node.arg)
            elif type(node) is Ref:
                pieces.append(self.signal(node.signal, depth, node.signal in changed))
            elif type(node) is Const:
                pieces.append("true" if node.value else "false")
            elif len(node.args) > 1:
                pieces.append("(and" if type(node) is And else "(or")
                waiting.append(")")
                for arg in reversed(node.args):
                    waiting += (arg, " ")
            else:
                waiting.append(node.args[0] if node.args else Const(isinstance(node, And)))
        return "".join(pieces)

    def state(self, depth: int, spoken: Iterable[Expr] | None = None) -> Iterator[str]:
        """Declarations of one state: every variable with exactly one value of its domain, every signal.

        Where it is given what is `spoken` of that state, of the signals those alone that this rests on.
        """
        for variable in self.machine.variables:
            facts = self.facts(variable.name, depth)
            yield from (f"(declare-const {fact} Bool)" for fact in facts)
            if not isinstance(variable.domain[0], bool):
                yield f"(assert {any_of(facts)})"
                yield from self._at_most_one(variable.name, facts, depth)
            elif len(variable.domain) == 1:
                yield f"(assert {self.fact(variable.name, variable.domain[0], depth)})"
        for name in sorted(self.signals if spoken is None else self.below(spoken), key=self.signals.__getitem__):
            definition = self.formula(self.machine.definitions[name], depth)
            yield f"(define-fun {self.signal(name, depth)} () Bool {definition})"

    def _at_most_one(self, name: str, facts: Sequence[str], depth: int) -> Iterator[str]:
        if len(facts) <= MOST_PAIRED:
            for number, fact in enumerate(facts):
                yield from (f"(assert (not (and {other} {fact})))" for other in facts[:number])
            return
        at = f" @{depth}" if depth else ""
        among = [f"|{quoted(name)} among {first}{at}|" for first in range(1, len(facts) + 1)]
        for fact, link in zip(facts, among, strict=True):
            yield f"(declare-const {link} Bool)"
            yield f"(assert (=> {fact} {link}))"
        for (before, link), fact in zip(pairwise(among), facts[1:], strict=True):
            yield f"(assert (=> {before} {link}))"
            yield f"(assert (not (and {before} {fact})))"

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

    def rests_on(self, signal: str, written: Iterable[str]) -> bool:
        """The signal depends, directly or not, on one of these variables."""
        if signal not in self._behind:
            self.look()
            if self._held > MOST_HELD:
                self._behind.clear()
                self._held = 0
            definitions = self.machine.definitions
            self._behind[signal] = variables_of(definitions[signal], definitions)
            self._held += len(self._behind[signal])
        return not self._behind[signal].isdisjoint(written)

    def below(self, exprs: Iterable[Expr], written: Iterable[str] | None = None) -> frozenset[str]:
        """The signals that the formulas rest on, directly or not; those that these variables may change, if given."""
        found: set[str] = set()
        waiting = [name for expr in exprs for name in signals_of(expr)]
        while waiting:
            name = waiting.pop()
            if name not in found and (written is None or self.rests_on(name, written)):
                found.add(name)
                waiting += self._named[name]
        return frozenset(found)

    def said_after(self, expr: Expr, written: Mapping[str, Value], known: Mapping[str, Value], depth: int) -> list[str]:
        """That the expression is so once the constants have been written, with the signals as they are then.

        `known` is what variables are then, those written among them.  Nothing where it cannot be so, whatever holds.
        """
        changed = self.below([expr], written)
        same: dict[str, Expr] = {}
        lines: list[str] = []
        for name in sorted(changed, key=self.signals.__getitem__):
            definition = assign(self.machine.definitions[name], known, same)
            if isinstance(definition, Const | Is | Ref):
                same[name] = definition
            else:
                signal = self.signal(name, depth, after=True)
                lines.append(f"(define-fun {signal} () Bool {self.formula(definition, depth, changed)})")
        so = assign(expr, known, same)
        return [] if so == Const(False) else [*lines, f"(assert {self.formula(so, depth, changed)})"]


def obligation_of(
    name: str, meaning: str, certificate: Certificate, lines: Iterable[str], queries: Sequence[str]
) -> Obligation:
    """The obligation with its header, in which every query is announced; `queries` must be whole once `lines` end.

    Raises GivenUp beyond MOST_TEXT.
    """
    body = []
    left = MOST_TEXT
    for line in lines:
        left -= len(line) + 1
        if left < 0:
            raise GivenUp(f"its text would have more than {MOST_TEXT:,} characters")
        body.append(line)
    header = f"; {meaning}\n; {len(certificate.clauses)} clauses, k = {certificate.k}.\n"
    return Obligation(
        name, header + "\n".join([_HEADER.format(count=len(queries)), *body, "(exit)"]) + "\n", tuple(queries)
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


@lru_cache(maxsize=1 << 16)
def quoted(name: str, safe: str = _SAFE_IN_NAME) -> str:
    """A name that may stand in a comment and within a quoted symbol."""
    return quote(name, safe=safe, errors="surrogatepass")
