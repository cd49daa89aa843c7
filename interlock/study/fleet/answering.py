"""The answer for one configuration: from claims that were kept, if they can be confirmed, else from a proof."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.claims import Limits
from interlock.kernel.recovery import HasDeadEnd, Recovers
from interlock.prove.decide import decide
from interlock.study.kept_claims import as_bytes, from_bytes
from interlock.study.verify import Status, Verification, claims_key_of, verify

Recall = Callable[[str], Iterable[bytes]]
"""What is kept under a key, by whoever keeps such things; none of it is believed."""


@dataclass(frozen=True, slots=True)
class Answered:
    """What was found; `claims` are to be kept under `key` (None: not all was decided).

    `was_kept`: it rests on claims that were kept, and were confirmed anew; else it was proved.  `unbelieved`: so many
    were kept that could not be confirmed.
    """

    verification: Verification
    key: str
    claims: bytes | None
    was_kept: bool
    unbelieved: int


def answer(compiled: CompiledHold, limits: Limits, recall: Recall, chosen: tuple[str, ...] = ()) -> Answered:
    """Asks about every requirement, or the `chosen`."""
    only = chosen or None
    key = claims_key_of(compiled, only)
    unbelieved = 0
    for content in recall(key):
        kept = from_bytes(content, key)
        if kept is not None:
            found = verify(compiled, decide, limits, chosen=only, kept=kept)
            if is_whole(found):
                return Answered(found, key, content, True, unbelieved)
        unbelieved += 1
    found = verify(compiled, decide, limits, chosen=only)
    return Answered(found, key, _claims(key, found) if is_whole(found) else None, False, unbelieved)


def is_whole(found: Verification) -> bool:
    """All was decided, and nothing is disputed."""
    return not (found.count(Status.UNDECIDED) or found.count(Status.DISPUTED))


def _claims(key: str, found: Verification) -> bytes:
    ways = [(way, one) for way, one in found.recoveries if isinstance(one, Recovers | HasDeadEnd)]
    return as_bytes(key, found.findings, ways)
