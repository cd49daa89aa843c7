"""Claims that were confirmed once, as bytes to be kept, and back: to be confirmed again before they are believed.

What is kept are claims with their evidence, never findings: whoever reads them has nothing until `confirm` has replayed
each run and re-checked each certificate, on the machine and the questions that are asked about now.  They are known by
a digest of that machine, of these questions and of what made the claims; anything else is as if nothing were kept.
That a run is the shortest is nothing that `confirm` looks into, so it is not kept.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from typing import TypeAlias, TypeVar
from zlib import compress, decompressobj, error

import msgspec

from interlock import __version__
from interlock.kernel.claims import (
    Certificate,
    Claim,
    Diagram,
    Fails,
    Finding,
    Holds,
    Limits,
    ProgressCallback,
    Proved,
    Refuted,
    Trace,
    Unknown,
    silent,
)
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Or, Ref, Value, each, fold
from interlock.kernel.machine import Machine, Question
from interlock.kernel.recovery import (
    DeadEnd,
    Entry,
    HasDeadEnd,
    Rank,
    Recoverable,
    Recovers,
    Recovery,
    RecoveryClaim,
    RecoveryQuestion,
    Stage,
)
from interlock.prove.engine import NO_LIMITS

LAYOUT = 1
DIGEST_BYTES = 32
MOST_BYTES = 2**26
"""Unpacked; what is more is none of ours."""
MADE_BY = ("z3-solver", "python-sat", "cvc5")
"""The distributions on whose versions it depends what is claimed, and how it was confirmed."""

_Node: TypeAlias = "_Const | _Is | _Ref | _Not | _And | _Or"
"""An expression, whose parts are nodes before it, by their places."""


class _Const(msgspec.Struct, frozen=True, array_like=True, tag="const"):
    value: bool


class _Is(msgspec.Struct, frozen=True, array_like=True, tag="is"):
    variable: str
    value: Value


class _Ref(msgspec.Struct, frozen=True, array_like=True, tag="signal"):
    signal: str


class _Not(msgspec.Struct, frozen=True, array_like=True, tag="not"):
    arg: int


class _And(msgspec.Struct, frozen=True, array_like=True, tag="and"):
    args: tuple[int, ...]


class _Or(msgspec.Struct, frozen=True, array_like=True, tag="or"):
    args: tuple[int, ...]


class _Certificate(msgspec.Struct, frozen=True, array_like=True):
    clauses: tuple[int, ...]
    k: int
    distinct: bool


class _Proved(msgspec.Struct, frozen=True, array_like=True, tag="proved"):
    """`certificate` and `diagram` are places among those that are kept."""

    engine: str
    certificate: int | None
    states: int | None
    diagram: int | None


class _Refuted(msgspec.Struct, frozen=True, array_like=True, tag="refuted"):
    engine: str
    trace: Trace


class _Case(msgspec.Struct, frozen=True, array_like=True):
    when: tuple[int, ...]
    rules: tuple[str, ...]
    into: int | None


class _Stage(msgspec.Struct, frozen=True, array_like=True):
    goal: int
    rank: Rank
    cases: tuple[_Case, ...]


class _Recoverable(msgspec.Struct, frozen=True, array_like=True, tag="recoverable"):
    engine: str
    certificate: int
    stages: tuple[_Stage, ...]


class _DeadEnd(msgspec.Struct, frozen=True, array_like=True, tag="dead end"):
    engine: str
    trace: Trace
    certificate: int


class _Kept(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    layout: int
    key: str
    nodes: tuple[_Const | _Is | _Ref | _Not | _And | _Or, ...]
    certificates: tuple[_Certificate, ...]
    diagrams: tuple[Diagram, ...]
    claims: dict[str, _Proved | _Refuted]
    ways: dict[str, _Recoverable | _DeadEnd]


@dataclass(frozen=True, slots=True)
class KeptClaims:
    """Claims by the id of their question.  It answers as an engine does, and as what decides about ways back."""

    claims: Mapping[str, Claim]
    ways: Mapping[str, RecoveryClaim]

    def engine(
        self,
        machine: Machine,
        questions: Sequence[Question],
        limits: Limits = NO_LIMITS,
        report: ProgressCallback = silent,
    ) -> tuple[Claim, ...]:
        """What was claimed of each question."""
        return tuple(self.claims.get(one.id) or Unknown(one.id, "kept", "nothing is kept") for one in questions)

    def recoverer(
        self, machine: Machine, questions: Sequence[RecoveryQuestion], limits: Limits, report: ProgressCallback
    ) -> tuple[RecoveryClaim, ...]:
        """What was claimed of each question about ways back."""
        return tuple(self.ways.get(one.id) or Unknown(one.id, "kept", "nothing is kept") for one in questions)


def claims_key(machine: Machine, questions: Sequence[Question], ways: Sequence[RecoveryQuestion]) -> str:
    """The digest by which claims about these questions are known: of all that they mean, and of what claims them.

    Rules and variables count in their order, since which of two runs is shown may depend on it.
    """
    table = _Table()
    said = (
        LAYOUT,
        _makers(),
        [(one.name, one.domain, one.init) for one in machine.variables],
        [(one.name, table.place(one.definition)) for one in machine.signals],
        [(one.name, one.actor.value, table.place(one.guard), one.update) for one in machine.rules],
        table.place(machine.start),
        [(one.id, table.place(one.target), one.expects_run) for one in questions],
        [(one.id, table.place(one.goal)) for one in ways],
    )
    return sha256(msgspec.json.encode((said, table.nodes))).hexdigest()


@cache
def _makers() -> tuple[str, ...]:
    from importlib.metadata import PackageNotFoundError, version  # here, as it loads what reads mail

    found = [f"interlock {__version__}"]
    for name in MADE_BY:
        try:
            found.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            found.append(f"{name} unknown")
    return tuple(found)


def as_bytes(
    key: str, findings: Sequence[Finding], recoveries: Sequence[tuple[RecoveryQuestion, Recovers | HasDeadEnd]]
) -> bytes:
    """What these findings rest on, as packed JSON with a digest before it; the same gives the same bytes.

    Of findings that are neither Holds nor Fails nothing is kept.
    """
    table = _Table()
    certificates: dict[int, int] = {}
    kept: list[_Certificate] = []
    diagrams: list[Diagram] = []

    def placed(certificate: Certificate) -> int:
        if id(certificate) not in certificates:
            certificates[id(certificate)] = len(kept)
            clauses = tuple(map(table.place, certificate.clauses))
            kept.append(_Certificate(clauses, certificate.k, certificate.distinct))
        return certificates[id(certificate)]

    claims: dict[str, _Proved | _Refuted] = {}
    for finding in findings:
        if isinstance(finding, Holds):
            proved = finding.claim
            at = None if proved.certificate is None else placed(proved.certificate)
            drawn = None
            if proved.diagram is not None:
                drawn = next((n for n, one in enumerate(diagrams) if one is proved.diagram), len(diagrams))
                diagrams += [proved.diagram] if drawn == len(diagrams) else []
            claims[finding.question] = _Proved(proved.engine, at, proved.states, drawn)
        elif isinstance(finding, Fails):
            claims[finding.question] = _Refuted(finding.claim.engine, finding.claim.trace)
    ways: dict[str, _Recoverable | _DeadEnd] = {}
    for question, found in recoveries:
        if isinstance(found, Recovers):
            recovery = found.claim.recovery
            stages = tuple(
                _Stage(
                    table.place(stage.goal),
                    stage.rank,
                    tuple(_Case(tuple(map(table.place, e.when)), e.rules, e.into) for e in stage.entries),
                )
                for stage in recovery.stages
            )
            ways[question.id] = _Recoverable(found.claim.engine, placed(recovery.certificate), stages)
        else:
            dead = found.claim
            ways[question.id] = _DeadEnd(dead.engine, dead.trace, placed(dead.certificate))
    written = msgspec.json.encode(_Kept(LAYOUT, key, tuple(table.nodes), tuple(kept), tuple(diagrams), claims, ways))
    body = compress(written)
    return sha256(body).digest() + body


def from_bytes(content: bytes, key: str) -> KeptClaims | None:
    """What `as_bytes` wrote under that key; None for anything else, damaged or about something else."""
    digest, body = content[:DIGEST_BYTES], content[DIGEST_BYTES:]
    if digest != sha256(body).digest():
        return None
    try:
        unpacking = decompressobj()
        written = unpacking.decompress(body, MOST_BYTES)
        if not unpacking.eof:
            return None
        kept = msgspec.json.decode(written, type=_Kept)
        if kept.layout != LAYOUT or kept.key != key:
            return None
        return _claims(kept)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError, IndexError, ValueError, error):
        return None


def bundled(claims: Mapping[str, bytes]) -> bytes:
    """Claims of several machines, by their keys, as one piece of bytes."""
    return msgspec.msgpack.encode(claims)


def unbundled(content: bytes) -> Mapping[str, bytes]:
    """What `bundled` wrote; nothing where it is anything else."""
    try:
        return msgspec.msgpack.decode(content, type=dict[str, bytes])
    except (msgspec.DecodeError, RecursionError):
        return {}


def _claims(kept: _Kept) -> KeptClaims:
    """Raises IndexError and ValueError where a place is that of nothing."""
    exprs: list[Expr] = []
    for node in kept.nodes:
        exprs.append(_expr(node, exprs))

    certificates = [
        Certificate(tuple(_at(exprs, one) for one in c.clauses), c.k, c.distinct) for c in kept.certificates
    ]
    claims: dict[str, Claim] = {}
    for id, claim in kept.claims.items():
        if isinstance(claim, _Refuted):
            claims[id] = Refuted(id, claim.engine, claim.trace, False)
        else:
            certificate = None if claim.certificate is None else _at(certificates, claim.certificate)
            diagram = None if claim.diagram is None else _at(kept.diagrams, claim.diagram)
            claims[id] = Proved(id, claim.engine, certificate, claim.states, diagram)
    ways: dict[str, RecoveryClaim] = {}
    for id, way in kept.ways.items():
        certificate = _at(certificates, way.certificate)
        if isinstance(way, _DeadEnd):
            ways[id] = DeadEnd(id, way.engine, way.trace, certificate)
            continue
        stages = tuple(
            Stage(
                _at(exprs, stage.goal),
                stage.rank,
                tuple(Entry(tuple(_at(exprs, one) for one in c.when), c.rules, c.into) for c in stage.cases),
            )
            for stage in way.stages
        )
        ways[id] = Recoverable(id, way.engine, Recovery(certificate, stages))
    return KeptClaims(claims, ways)


T = TypeVar("T")


def _at(things: Sequence[T], place: int) -> T:
    if place < 0:
        raise IndexError(place)
    return things[place]


def _expr(node: _Node, before: Sequence[Expr]) -> Expr:
    match node:
        case _Const(value):
            return Const(value)
        case _Is(variable, value):
            return Is(variable, value)
        case _Ref(signal):
            return Ref(signal)
        case _Not(arg):
            return Not(_at(before, arg))
        case _And(args):
            return And(tuple(_at(before, arg) for arg in args))
        case _Or(args):
            return Or(tuple(_at(before, arg) for arg in args))


class _Table:
    """Expressions as nodes, each once."""

    def __init__(self) -> None:
        self.nodes: list[_Node] = []
        self._places: dict[tuple[object, ...], int] = {}
        self._seen: dict[int, tuple[Expr, int]] = {}

    def place(self, expr: Expr) -> int:
        """Where the expression stands."""
        return fold(self._placed, expr)

    def _placed(self, expr: Expr) -> Generator[Expr, int, int]:
        seen = self._seen.get(id(expr))
        if seen is not None:
            return seen[1]
        node: _Node
        key: tuple[object, ...]
        if isinstance(expr, Const):
            node, key = _Const(expr.value), ("const", expr.value)
        elif isinstance(expr, Is):
            # True and 1 are equal, and two things
            node, key = _Is(expr.variable, expr.value), ("is", expr.variable, type(expr.value), expr.value)
        elif isinstance(expr, Ref):
            node, key = _Ref(expr.signal), ("signal", expr.signal)
        elif isinstance(expr, Not):
            arg = yield expr.arg
            node, key = _Not(arg), ("not", arg)
        else:
            args: list[int] = yield from each(expr.args)
            parts = tuple(args)
            node, key = (_And(parts), ("and", parts)) if isinstance(expr, And) else (_Or(parts), ("or", parts))
        at = self._places.setdefault(key, len(self.nodes))
        if at == len(self.nodes):
            self.nodes.append(node)
        self._seen[id(expr)] = expr, at
        return at
