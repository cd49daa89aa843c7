"""Asking by way of what was kept: claims kept of an earlier call are confirmed; where they are not, all is asked anew.

Nothing that is kept is believed (see `kept_claims`): damaged, foreign and forged claims are as if nothing were kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from interlock.confirm.recovery import RecoveryFinding
from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.claims import Fails, Finding, Holds, Limits, ProgressCallback, silent
from interlock.kernel.machine import Machine, Question
from interlock.kernel.recovery import HasDeadEnd, Recovers, RecoveryQuestion
from interlock.prove.decide import decide
from interlock.prove.engine import Engine, clock_of, share_of
from interlock.study.kept_claims import KeptClaims, as_bytes, claims_key, from_bytes
from interlock.study.sessions import Recoverer, Session
from interlock.study.verify import Status, Verification, claims_key_of, verify

Recall = Callable[[str], Iterable[bytes]]
"""What is kept under a key, by whoever keeps such things; none of it is believed."""


@dataclass(slots=True)
class Store:
    """Where claims are looked up while one piece of work is done.

    `used` has by key what answers rest on, and `made` the keys of those that are new; nothing is there of what was not
    decided whole.  `missed` answers were not looked up, and `unbelieved` entries could not be confirmed.
    """

    recall: Recall = lambda _: ()
    used: dict[str, bytes] = field(default_factory=dict)
    made: set[str] = field(default_factory=set)
    missed: int = 0
    unbelieved: int = 0

    def looked_up(self, key: str) -> Iterator[tuple[bytes, KeptClaims]]:
        """What can be read of what is kept under the key; whoever believes one takes no more."""
        answered = self.used.get(key)
        for content in self.recall(key) if answered is None else (answered,):
            kept = from_bytes(content, key)
            if kept is not None:
                yield content, kept
            self.unbelieved += 1

    def note(self, key: str, claims: bytes) -> None:
        """These are new."""
        self.used[key] = claims
        self.made.add(key)


def ask_by(
    store: Store | None,
    machine: Machine,
    questions: Sequence[Question],
    ways: Sequence[RecoveryQuestion],
    limits: Limits,
    report: ProgressCallback,
    engine: Engine,
    recoverer: Recoverer,
) -> tuple[Mapping[str, Finding], Mapping[str, RecoveryFinding]]:
    """As `Session.claim_and_confirm`, with claims that are in the store where all of them are confirmed."""
    if store is None:
        return Session(machine, limits, report).claim_and_confirm(questions, ways, engine, recoverer)
    key, clock = claims_key(machine, questions, ways), clock_of(limits)
    for content, kept in store.looked_up(key):
        session = Session(machine, share_of(limits, clock), report)
        found, back = session.claim_and_confirm(questions, ways, kept.engine, kept.recoverer)
        if _kept_of(key, questions, ways, found, back) is not None:
            store.used[key] = content
            return found, back
    store.missed += 1
    session = Session(machine, share_of(limits, clock), report)
    found, back = session.claim_and_confirm(questions, ways, engine, recoverer)
    content_now = _kept_of(key, questions, ways, found, back)
    if content_now is not None:
        store.note(key, content_now)
    return found, back


def _kept_of(
    key: str,
    questions: Sequence[Question],
    ways: Sequence[RecoveryQuestion],
    found: Mapping[str, Finding],
    back: Mapping[str, RecoveryFinding],
) -> bytes | None:
    """What is to be kept; None where something is undecided or disputed."""
    findings = [found[one.id] for one in questions]
    recoveries = [(way, one) for way in ways if isinstance(one := back[way.id], Recovers | HasDeadEnd)]
    if len(recoveries) < len(ways) or not all(isinstance(one, Holds | Fails) for one in findings):
        return None
    return as_bytes(key, findings, recoveries)


def verify_by(
    store: Store | None,
    compiled: CompiledHold,
    limits: Limits,
    report: ProgressCallback = silent,
    chosen: Sequence[str] | None = None,
) -> Verification:
    """As `verify`, with claims that are in the store where all is decided by them."""
    if store is None:
        return verify(compiled, decide, limits, report, chosen)
    key = claims_key_of(compiled, chosen)
    for content, kept in store.looked_up(key):
        found = verify(compiled, decide, limits, report, chosen, kept=kept)
        if is_whole(found):
            store.used[key] = content
            return found
    store.missed += 1
    found = verify(compiled, decide, limits, report, chosen)
    if is_whole(found):
        ways = [(way, one) for way, one in found.recoveries if isinstance(one, Recovers | HasDeadEnd)]
        store.note(key, as_bytes(key, found.findings, ways))
    return found


def is_whole(found: Verification) -> bool:
    """All was decided, and nothing is disputed."""
    return not (found.count(Status.UNDECIDED) or found.count(Status.DISPUTED))
