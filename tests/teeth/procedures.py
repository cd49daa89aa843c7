"""Procedures with one planted error, and how they are read and audited in tests."""

from __future__ import annotations

from interlock.hold.language.model import RequirementText
from interlock.hold.loader import Source, load_procedure
from interlock.hold.procedure.binding import BoundProcedure, bind_procedure, compile_for, compile_freely
from interlock.hold.tell import Reason
from interlock.kernel.claims import Limits
from interlock.prove.engine import Engine
from interlock.study.procedure.audit import Audit, Overall, audit_procedure
from interlock.study.procedure.interruptions import Resumption
from tests.agreement.hold_texts import ROOT, fetch, load_once, standing

MODELS = ROOT / "models"


def bind(text: str, hold: str | None = None, requirements: tuple[RequirementText, ...] | None = None) -> BoundProcedure:
    """The procedure bound to the hold that it names (or to another one), which must both be sound."""
    loaded = load_procedure(Source("models/procedures/tested.yaml", text.encode()))
    assert loaded.value is not None, loaded.diagnostics
    source = fetch(f"models/{hold or loaded.value.hold.removeprefix('../')}")
    assert source is not None
    described = load_once(source)
    assert described.value is not None, described.diagnostics
    compilation = compile_for(described.value, loaded.value, standing() if requirements is None else requirements)
    assert compilation.compiled is not None, compilation.diagnostics
    binding = bind_procedure(loaded.value, compilation.compiled)
    assert binding.bound is not None, binding.diagnostics
    return binding.bound


def audit(text: str, hold: str | None = None, *, slips: bool = False, engine: Engine | None = None) -> Audit:
    """The audit of a procedure; where an engine is given it has 30 s for what the interlock holds by itself."""
    bound = bind(text, hold)
    alone = None
    if engine is not None:
        source = fetch(f"models/{hold or bound.procedure.hold.removeprefix('../')}")
        assert source is not None
        described = load_once(source).value
        assert described is not None
        alone = compile_freely(described, bound.procedure, standing()).compiled
        assert alone is not None
    return audit_procedure(bound, engine, Limits(seconds=None if engine is None else 30), slips=slips, alone=alone)


def assert_nothing_found(found: Audit) -> None:
    """The procedure is sound, slips to hazards included; whoever is called away goes on with it, and that is proved."""
    assert found.overall is Overall.SOUND
    assert all(one.resumption is Resumption.GO_ON for one in found.interruptions)
    assert {type(one).__name__ for one in found.proofs} == {"Holds"}


def demo(name: str) -> str:
    """The text of a demonstration procedure."""
    return (MODELS / "procedures" / f"{name}.yaml").read_text("utf-8")


def planted(name: str, old: str, new: str) -> str:
    """A demonstration with one change, which must be possible."""
    text = demo(name)
    assert text.count(old) == 1, (name, old)
    return text.replace(old, new)


def words_of(reasons: tuple[Reason, ...]) -> str:
    """All sentences of some reasons, one after another."""
    return "; ".join(f"{reason.text}; {words_of(reason.because)}" for reason in reasons)


FAILING = """\
interlock: 1
procedure: Try the drives with the door part open
hold: ../twin-lane.yaml
start: {GP: on}
goal: D1 is moving
steps:
  - unlock D1
  - open AP
  - set PWR to on
  - unlatch D1
  - hold LVD to up until D1 is moving
  - hold LVY to left
"""
"""For a hold whose door switches may fail: `../tests/teeth/failing-door-switch.yaml`."""
