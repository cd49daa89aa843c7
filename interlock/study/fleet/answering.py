"""The answer for one configuration: from claims that were kept, if they can be confirmed, else from a proof."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.claims import Limits
from interlock.study.recalling import Recall, Store, verify_by
from interlock.study.verify import Verification


@dataclass(frozen=True, slots=True)
class Answered:
    """What was found; `claims` are to be kept under `key` (None: not all was decided, and there is no key).

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
    store = Store(recall)
    found = verify_by(store, compiled, limits, chosen=chosen or None)
    key, claims = next(iter(store.used.items()), ("", None))
    return Answered(found, key, claims, not store.missed, store.unbelieved)
