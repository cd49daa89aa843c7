"""What the proof of each requirement rests on: the facts of its certificate that the requirement needs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from interlock.hold.explain import Fact, explain_clauses
from interlock.hold.model import RequirementText
from interlock.kernel.claims import Certificate, Holds
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Question
from interlock.prove.needed import needed_clauses
from interlock.study.verify import Verification


@dataclass(frozen=True, slots=True)
class Grounds:
    """The facts on which the proofs of one requirement text rest, all its instances together.

    They are so in every reachable state, follow from each other step by step, and exclude what the requirement
    forbids; a clause left out would break that for at least one instance.  `counted` says that some instance was
    decided by visiting every state instead: that needs no fact.
    """

    origin: RequirementText
    facts: tuple[Fact, ...]
    clauses: int
    counted: bool


def grounds_of(verification: Verification) -> tuple[Grounds, ...]:
    """The grounds of each requirement text of which some instance holds, in the order of the requirements."""
    proofs: dict[str, list[tuple[Certificate | None, Question]]] = {}
    origins: dict[str, RequirementText] = {}
    questions: Mapping[str, Question] = {question.id: question for question in verification.questions}
    for answer in verification.answers:
        if isinstance(answer.finding, Holds):
            origin = answer.instance.origin
            origins[origin.id] = origin
            proof = (answer.finding.claim.certificate, questions[answer.finding.question])
            proofs.setdefault(origin.id, []).append(proof)
    return tuple(_grounds(verification, origins[id], found) for id, found in proofs.items())


def _grounds(
    verification: Verification, origin: RequirementText, proofs: Sequence[tuple[Certificate | None, Question]]
) -> Grounds:
    machine = verification.machine
    served: dict[int, tuple[Certificate, list[Expr]]] = {}
    for certificate, question in proofs:
        if certificate is not None:
            served.setdefault(id(certificate), (certificate, []))[1].append(question.target)
    clauses: dict[Expr, None] = {}
    for certificate, targets in served.values():
        clauses.update(dict.fromkeys(needed_clauses(machine, certificate, targets)))
    facts = explain_clauses(machine, verification.compiled.glossary, clauses)
    return Grounds(origin, facts, len(clauses), any(certificate is None for certificate, _ in proofs))
