"""What the proof of each requirement rests on: the facts of its certificate that the requirement needs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.confirm.evidence import certificate_folders, way_folder
from interlock.hold.compile.requirements import Instance
from interlock.hold.explain import Fact, explain_clause, explain_clauses
from interlock.hold.language.model import RequirementText
from interlock.kernel.claims import Certificate, Holds
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Question
from interlock.kernel.recovery import HasDeadEnd, Recovers
from interlock.prove.certificates.needed import needed_clauses
from interlock.study.verify import Status, Verification


@dataclass(frozen=True, slots=True)
class ProofCore:
    """The facts on which the proofs of one requirement text rest, all its instances together.

    They are so in every reachable state, follow from each other step by step, and exclude what the requirement
    forbids; a clause left out would break that for at least one instance.  `counted` says that some instance was
    decided by visiting every state instead: that needs no fact.
    """

    origin: RequirementText
    facts: tuple[Fact, ...]
    clauses: int
    counted: bool


@dataclass(frozen=True, slots=True)
class CertificateInWords:
    """One certificate in trade words, and the requirements that rest on it.

    `folder` is where the evidence has it.  `sentences[i]` says `certificate.clauses[i]`; `facts` are the same, those
    that differ only in a place folded together.  `holding` hold because of it, and `failing` fail: what they ask for
    can never be.  Of `without_occasion` it says that the situation never arises.  `trap` is the requirement that
    something can always be brought about, where the clauses are about what comes after the dead end; `lasting` that
    requirement, where ways back start from states in which the clauses are true.
    """

    folder: str
    certificate: Certificate
    sentences: tuple[str, ...]
    facts: tuple[Fact, ...]
    holding: tuple[Instance, ...] = ()
    failing: tuple[Instance, ...] = ()
    without_occasion: tuple[Instance, ...] = ()
    trap: Instance | None = None
    lasting: Instance | None = None


def certificates_in_words(verification: Verification) -> tuple[CertificateInWords, ...]:
    """Every certificate of the evidence in trade words, in the order of the folders."""
    told = []
    for folder in certificate_folders(verification.questions, verification.findings):
        asked = {question.id for question in folder.questions}
        about = [answer for answer in verification.answers if answer.finding.question in asked]
        holding = tuple(a.instance for a in about if a.status in (Status.HOLDS, Status.VACUOUS))
        failing = tuple(a.instance for a in about if a.status is Status.FAILS)
        idle = tuple(a.instance for a in verification.answers if a.occasion and a.occasion.question in asked)
        plain = _in_words(verification, folder.name, folder.certificate)
        told.append(replace(plain, holding=holding, failing=failing, without_occasion=idle))
    instances = {answer.instance.requirement.id: answer.instance for answer in verification.answers}
    for number, (question, finding) in enumerate(verification.recoveries, 1):
        if isinstance(finding, HasDeadEnd):
            plain = _in_words(verification, way_folder(number), finding.claim.certificate)
            told.append(replace(plain, trap=instances[question.id]))
        elif isinstance(finding, Recovers):
            plain = _in_words(verification, way_folder(number), finding.claim.recovery.certificate)
            told.append(replace(plain, lasting=instances[question.id]))
    return tuple(told)


def _in_words(verification: Verification, folder: str, certificate: Certificate) -> CertificateInWords:
    machine, glossary = verification.machine, verification.compiled.glossary
    sentences = tuple(explain_clause(machine, glossary, clause) for clause in certificate.clauses)
    return CertificateInWords(folder, certificate, sentences, explain_clauses(machine, glossary, certificate.clauses))


def proof_cores_of(verification: Verification) -> tuple[ProofCore, ...]:
    """The proof core of each requirement text of which some instance holds, in the order of the requirements."""
    proofs: dict[str, list[tuple[Certificate | None, Question]]] = {}
    origins: dict[str, RequirementText] = {}
    questions: Mapping[str, Question] = {question.id: question for question in verification.questions}
    for answer in verification.answers:
        if isinstance(answer.finding, Holds):
            origin = answer.instance.origin
            origins[origin.id] = origin
            proof = (answer.finding.claim.certificate, questions[answer.finding.question])
            proofs.setdefault(origin.id, []).append(proof)
    return tuple(_proof_core(verification, origins[id], found) for id, found in proofs.items())


def _proof_core(
    verification: Verification, origin: RequirementText, proofs: Sequence[tuple[Certificate | None, Question]]
) -> ProofCore:
    machine = verification.machine
    served: dict[int, tuple[Certificate, list[Expr]]] = {}
    for certificate, question in proofs:
        if certificate is not None:
            served.setdefault(id(certificate), (certificate, []))[1].append(question.target)
    clauses: dict[Expr, None] = {}
    for certificate, targets in served.values():
        clauses.update(dict.fromkeys(needed_clauses(machine, certificate, targets)))
    facts = explain_clauses(machine, verification.compiled.glossary, clauses)
    return ProofCore(origin, facts, len(clauses), any(certificate is None for certificate, _ in proofs))
