"""What makes no sense is told when a description is loaded, in one pass with what its expressions get wrong."""

from __future__ import annotations

import pytest

from interlock.hold.compile.compiler import compile_hold
from interlock.hold.loader import Source, load_hold
from tests.agreement.hold_texts import compile_text, doorway, fetch, hold_text

LATCH = "- {id: ML, kind: manual latch, on: 1C.aft, stops: [aft], restrains: [x], locking: %s, starts: lowered}"
CIRCUIT = "circuits:\n  - {id: up, use: logic, is: ML is %s}\n"


def codes(locking: str, state: str) -> tuple[list[str], list[str] | None]:
    """The codes of what loading finds, and of what compiling finds in what is loaded."""
    text = hold_text(rows=1, doorways=doorway("1C", "left"), devices=LATCH % locking, rest=CIRCUIT % state)
    loaded = load_hold(Source("test.yaml", text.encode()), fetch)
    found = [one.code for one in loaded.diagnostics]
    return found, None if loaded.value is None else [one.code for one in compile_hold(loaded.value).diagnostics]


@pytest.mark.parametrize(
    ("locking", "state", "loading", "compiling"),
    [
        ("raised", "raised", [], []),
        ("halfway", "raised", ["never-locking"], None),
        ("raised", "halfway", [], ["unknown-state"]),
        ("halfway", "halfway", ["never-locking", "unknown-state"], None),
    ],
)
def test_sense_is_checked_before_compiling(
    locking: str, state: str, loading: list[str], compiling: list[str] | None
) -> None:
    """A device that is never in its locking state does not load; a circuit about no state is then told as well."""
    assert codes(locking, state) == (loading, compiling)


@pytest.mark.parametrize("relays", [False, True])
def test_a_long_chain_compiles(relays: bool) -> None:
    """Circuits defined by one another a thousand deep, and relays that set one another off, are no fault of ours."""
    length = 60 if relays else 1_500
    lines = ["controls:", "  - {id: SW, kind: switch, positions: [off, on], starts: off}"]
    if relays:
        lines += ["relays:", "  - {id: r0, sets: SW is on, drops: SW is off, starts: dropped}"]
        chained = "  - {{id: r{0}, sets: r{1} is on, drops: r{1} is off, starts: dropped}}"
    else:
        lines += ["relays:", f"  - {{id: R, sets: r{length - 1} is on, drops: r{length - 1} is off, starts: dropped}}"]
        lines += ["circuits:", "  - {id: r0, use: logic, is: SW is on}"]
        chained = "  - {{id: r{0}, use: logic, is: r{1} is on}}"
    lines += [chained.format(at, at - 1) for at in range(1, length)]
    compiled = compile_text(hold_text(doorways=doorway("1C", "left"), rest="\n".join(lines) + "\n"))
    ways = [one for one in compiled.origins.rules.values() if one.deed.name == "control.SW.set_on"]
    assert max(len(way.responses) for way in ways) == (length if relays else 1)
