"""Claims that were kept: what comes back is what was put there, and nothing else is ever believed."""

from __future__ import annotations

import copy
import json
import random
import zlib
from collections import Counter
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from typing import Any

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.claims import Limits
from interlock.prove.decide import decide
from interlock.study import kept_claims
from interlock.study.fleet.answering import Answered, answer
from interlock.study.kept_claims import DIGEST_BYTES, from_bytes
from interlock.study.recalling import is_whole
from interlock.study.verify import claims_key_of, verify
from tests.golden.small_hold import REQUIREMENTS, TEXT, small_hold
from tests.some import swept

BACK = """\
  - id: back
    text: The door can always be shut again
    kind: can always
    condition: D1 is closed
    hazard: none, this is for a test
    severity: "4"
    scheme: MIL-STD-882E
    source: common practice, no source
  - id: back-to-locked
    text: The sill latch can always be lowered while the door is open
    kind: can always
    condition: SL is lowered and D1 is open and D1 is locked
    hazard: none, this is for a test
    severity: "4"
    scheme: MIL-STD-882E
    source: common practice, no source
"""


@cache
def hold() -> CompiledHold:
    """Requirements of every kind and outcome."""
    return small_hold(TEXT, REQUIREMENTS + BACK)


@cache
def proved() -> Answered:
    """Its proof."""
    return answer(hold(), Limits(), lambda key: ())


def claims() -> bytes:
    """What is to be kept of it."""
    found = proved().claims
    assert found is not None
    return found


def packed(said: Mapping[str, Any]) -> bytes:
    """With a digest that is right."""
    body = zlib.compress(json.dumps(said).encode())
    return sha256(body).digest() + body


def unpacked() -> dict[str, Any]:
    """What is kept, as plain values."""
    found: dict[str, Any] = json.loads(zlib.decompress(claims()[DIGEST_BYTES:]))
    return found


def test_what_was_kept_answers_all_and_is_kept_the_same() -> None:
    """Every sort of finding comes back confirmed, with the same statuses and runs; the same gives the same bytes."""
    again = answer(hold(), Limits(), lambda key: (claims(),))
    assert (again.was_kept, again.unbelieved, again.claims) == (True, 0, claims())
    statuses = Counter(one.status.value for one in again.verification.answers)
    assert set(statuses) == {"holds", "fails", "holds vacuously"}
    assert [one.story for one in again.verification.answers] == [one.story for one in proved().verification.answers]
    assert {way[0] for way in unpacked()["ways"].values()} == {"recoverable", "dead end"}
    assert answer(hold(), Limits(), lambda key: ()).claims == claims()


def test_the_key_is_of_the_machine_the_questions_and_what_made_the_claims(monkeypatch: pytest.MonkeyPatch) -> None:
    """Titles and remarks do not count; a guard, a requirement and a version do."""
    key = claims_key_of(hold())
    assert claims_key_of(small_hold(TEXT.replace("Small hold", "Other title"), REQUIREMENTS + BACK)) == key
    others = [
        claims_key_of(
            small_hold(TEXT.replace("closes: not D1 is sill_covered", "closes: always"), REQUIREMENTS + BACK)
        ),
        claims_key_of(small_hold(TEXT, REQUIREMENTS)),
        claims_key_of(hold(), ["back"]),
    ]
    monkeypatch.setattr(kept_claims, "_makers", lambda: ("another solver",))
    others.append(claims_key_of(hold()))
    assert len({key, *others}) == 5


def test_what_is_damaged_or_of_something_else_is_a_miss() -> None:
    """Cut, with one bit turned, under another key, of another layout, too large: nothing is read from it."""
    key = proved().key
    content = claims()
    assert from_bytes(content, key) is not None
    turned = [content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :] for at in range(0, len(content), 7)]
    for one in (b"", content[:-1], content + b"x", *turned):
        assert from_bytes(one, key) is None
    assert from_bytes(content, "0" * 64) is None
    assert from_bytes(packed({**unpacked(), "layout": 2}), key) is None
    bomb = zlib.compress(b"[" * (kept_claims.MOST_BYTES + 1))
    assert from_bytes(sha256(bomb).digest() + bomb, key) is None


def places(value: Any, here: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The places of all values within, but for layout and key."""
    found = [here] if here else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        if here or key not in ("layout", "key"):
            found += places(inner, (*here, key))
    return found


def at(value: Any, place: tuple[Any, ...]) -> Any:
    """What stands there."""
    for key in place:
        value = value[key]
    return value


def spoil(said: dict[str, Any], rng: random.Random) -> None:
    """One thing taken away, put in the place of another, or changed a little."""
    known = places(said)
    place = rng.choice(known)
    around, last = at(said, place[:-1]), place[-1]
    match rng.randrange(4):
        case 0:
            del around[last]
        case 1:
            around[last] = copy.deepcopy(at(said, rng.choice(known)))
        case 2 if type(around[last]) is int:
            around[last] += rng.choice((-1, 1, 1000, -1000))
        case _:
            around[last] = rng.choice((True, False, 0, 1, "", None, [], "D1"))


@pytest.mark.parametrize("seed", swept(range(2), 2))
def test_forged_claims_change_no_verdict(seed: int) -> None:
    """With every digest right and parts changed at random: a miss, or not confirmed, or the same verdicts."""
    rng = random.Random(seed)
    true = [one.status for one in proved().verification.answers]
    outcomes: Counter[str] = Counter()
    for _ in range(40):
        said = unpacked()
        spoil(said, rng)
        kept = from_bytes(packed(said), proved().key)
        if kept is None:
            outcomes["miss"] += 1
            continue
        found = verify(hold(), decide, Limits(), kept=kept)
        outcomes["confirmed" if is_whole(found) else "not confirmed"] += 1
        assert not is_whole(found) or [one.status for one in found.answers] == true
    assert outcomes["miss"] and outcomes["not confirmed"], outcomes
