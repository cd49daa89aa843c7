"""Holds written at random with one contact wrong: `python -m tests.benchmarks.repairs FIRST COUNT [SECONDS] [HOW]`.

HOW is `bypassed` or `replaced`.  For each seed a sound hold, and of its contacts, in random order, the first without
which something fails that must not be; or the first with another contact of the hold in its place with which anything
fails.  Counted is whether that contact is offered in the place from which it was taken, whether anything is, and how
long it took.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from random import Random
from time import process_time

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.model import Hold
from interlock.hold.language.printer import print_syntax
from interlock.hold.loader import Source, load_hold
from interlock.hold.origin import Meaning
from interlock.hold.wiring import contacts_in, rewired, wires_of, with_contact, without_contact
from interlock.kernel.claims import Limits
from interlock.prove.decide import decide
from interlock.report.yaml.modification import modification_text
from interlock.study.repair.places import contacts_both_ways, facts_of
from interlock.study.repair.repair import repair
from interlock.study.repair.results import Part, Written
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import standing
from tests.teeth.written_holds import chosen, written

MOST_WRONG = 12
"""Contacts that are made wrong, one after the other, until something fails."""


def altered(hold: Hold, seed: int, how: str) -> Iterator[tuple[Hold, Meaning, str]]:
    """The hold with one contact as if it were not there, or another in its place, with where that was and which."""
    places = [
        (wire, way, contact)
        for wire in wires_of(hold)
        if wire.is_electrical
        for way, contact in contacts_in(wire.syntax)
        if way
    ]
    lot = Random(seed)
    lot.shuffle(places)
    others = contacts_both_ways(facts_of(hold))
    for wire, way, contact in places[:MOST_WRONG]:
        if how == "bypassed":
            syntax = without_contact(wire.syntax, way)
        else:
            syntax = with_contact(wire.syntax, way, lot.choice(others))
        yield rewired(hold, wire.meaning, syntax), wire.meaning, print_syntax(contact)


def flawed(seed: int, how: str) -> tuple[str, str, CompiledHold, Meaning, str] | None:
    """The text of a sound hold, that of the modification, what it compiles to, where the contact was and which."""
    text = written(chosen(seed, 6, 10))
    loaded = load_hold(Source("hold.yaml", text.encode()), lambda name: None).value
    if loaded is None:
        return None
    for changed, meaning, contact in altered(loaded, seed, how):
        try:
            flaw = modification_text("flawed", "", "hold.yaml", loaded, changed)
        except ValueError:
            continue
        hold = load_hold(Source("flawed.yaml", flaw.encode()), lambda name: Source(name, text.encode())).value
        compiled = None if hold is None else compile_hold(hold, standing()).compiled
        if compiled is not None:
            found = verify(compiled, decide, Limits(seconds=60))
            failing = [one for one in found.answers if one.status is Status.FAILS]
            is_safe_work = how == "replaced" or not any(o.instance.requirement.kind.is_about_work for o in failing)
            if failing and is_safe_work:
                return text, flaw, compiled, meaning, contact
    return None


def measure(seed: int, seconds: float, how: str) -> str:
    """One line of what came of it; without the base nothing of what was there before is known."""
    made = flawed(seed, how)
    if made is None:
        return f"{seed}: no contact was found that is wrong so that something fails"
    text, flaw, compiled, meaning, contact = made
    sources = {"hold.yaml": text, "flawed.yaml": flaw}

    def write(changed: Hold, parts: Sequence[Part]) -> Written:
        said = modification_text("mended", "", "flawed.yaml", compiled.hold, changed)
        loaded = load_hold(Source("mended.yaml", said.encode()), lambda name: Source(name, sources[name].encode()))
        value = loaded.value
        return Written(said, None if value is None else compile_hold(value, standing()).compiled)

    began = process_time()
    found = repair(compiled, write, limits=Limits(seconds=seconds))
    took = process_time() - began
    offered = [(one.place.wire.meaning, print_syntax(one.contact)) for m in found.mendings for one in m.additions]
    if (meaning, contact) in offered:
        outcome = f"found, {offered.index((meaning, contact)) + 1}"
    elif found.mendings:
        outcome = f"another works: {found.mendings[0].parts[0].item}: {found.mendings[0].parts[0].done}"
    else:
        outcome = "nothing offered" + (", cut" if found.is_cut else "")
    counted = "; ".join(
        f"{one.sort.name} {one.possible}-{one.by_runs}-{one.by_proof}-{one.untried}" for one in found.tried
    )
    free = sum(one.is_free for one in found.mendings)
    lost = (
        f"'{contact}' of {meaning.name}, {', '.join(sorted({one.instance.origin.id for one in found.failing}))} failing"
    )
    return f"{seed}: {outcome}; {lost}; {len(found.mendings)} offered, {free} free; {counted}; {took:.1f} s"


if __name__ == "__main__":
    first, count = int(sys.argv[1]), int(sys.argv[2])
    limit = float(sys.argv[3]) if len(sys.argv) > 3 else 120.0
    how = sys.argv[4] if len(sys.argv) > 4 else "bypassed"
    for number in range(first, first + count):
        print(measure(number, limit, how), flush=True)
