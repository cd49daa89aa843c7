"""Of the flawed demonstration holds: the contact or the condition that was left out is found again."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import pytest

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.model import Hold
from interlock.hold.loader import Source, load_hold
from interlock.report.yaml.modification import modification_text
from interlock.study.repair.repair import repair
from interlock.study.repair.results import Part, Repair, Sort, Written
from tests.agreement.hold_texts import compile_file, fetch, standing


def mended(name: str, sorts: Collection[Sort]) -> Repair:
    """What would mend a demonstration, each proposal written, read again and compiled."""
    file = f"models/flawed/{name}.yaml"
    compiled: CompiledHold = compile_file(file, standing())

    def write(changed: Hold, parts: Sequence[Part]) -> Written:
        text = modification_text("mended", "", file, compiled.hold, changed)
        loaded = load_hold(Source("mended.yaml", text.encode()), fetch)
        assert loaded.value is not None, (loaded.diagnostics, text)
        return Written(text, compile_hold(loaded.value, standing()).compiled)

    source = fetch(file)
    assert source is not None
    return repair(compiled, write, lambda undone: load_hold(source, fetch, undone).value, sorts=sorts)


def done(found: Repair) -> list[tuple[str, str]]:
    """Per proposal of one part what is done to what."""
    return [(part.id, part.done) for mending in found.mendings for part in mending.parts]


@pytest.mark.thorough
def test_a_contact_left_out_is_found() -> None:
    """The selector contact that was bridged is the first that is offered, and what was there before is too."""
    found = mended("both-stations-in-charge", (Sort.CONTACT,))
    assert done(found)[0] == ("STA", "put the contact 'STN is door' there")


@pytest.mark.slow
def test_where_a_linkage_is_wrong_no_contact_does() -> None:
    """Every contact is settled; the condition that was rigged wrong is what was there before."""
    found = mended("lock-without-latch", (Sort.CONTACT, Sort.BEFORE))
    before, contacts = found.tried
    assert contacts.is_exhausted
    assert contacts.works == 0
    assert before.works == 1
    assert 'lock: {by: "hand", when: "D1 is latched"}' in found.mendings[0].written.text


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "id", "contact"),
    [
        ("sill-lock-switches-left-out", "door_free", "sill_locks_up"),
        ("centre-guide-not-asked", "row1_secured", "up_CG1"),
    ],
)
def test_the_contact_that_was_left_out_is_offered(name: str, id: str, contact: str) -> None:
    """First, in the circuit from which it was taken."""
    assert done(mended(name, (Sort.CONTACT,)))[0] == (id, f"add the contact '{contact}' in series")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "id", "condition"),
    [("lock-without-latch", "D1", "D1 is latched"), ("key-not-trapped", "KEY", "not P1 is inside")],
)
def test_the_condition_that_was_rigged_wrong_is_offered(name: str, id: str, condition: str) -> None:
    """Without a look at what was there before, in the words of the demonstration or in others that are proved."""
    assert done(mended(name, (Sort.LINKAGE,)))[0] == (id, f"let it be possible only while '{condition}'")
