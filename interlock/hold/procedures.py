"""A procedure with the hold that it names: read, compiled, and every name looked up."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.loader import Fetch, FileRead, Source, load_audited_hold, load_procedure
from interlock.hold.procedure.binding import BoundProcedure, bind_procedure, compile_for, compile_freely
from interlock.hold.procedure.model import Procedure


@frozen
class OpenedProcedure:
    """`bound` is None exactly when there is a fault; `diagnostics` has all faults, or what is doubtful in the hold.

    `freely` is the hold started with every supply that may be lost as the hold describes it; None where it cannot
    start so.  `sources` has the lines of the files of procedure and hold, which `read` names.
    """

    bound: BoundProcedure | None
    freely: CompiledHold | None
    diagnostics: tuple[Diagnostic, ...]
    sources: Mapping[str, tuple[str, ...]]
    read: tuple[FileRead, ...] = ()


def open_procedure(source: Source, fetch: Fetch, requirements: Iterable[RequirementText] = ()) -> OpenedProcedure:
    """Read a procedure and its hold, and bind one to the other.

    Of the requirements those count whose ids the hold does not have itself.  Whatever can be read is looked up as well,
    so that faults of form and faults of names are told together.
    """
    loaded = load_procedure(source)
    procedure = loaded.readable
    if procedure is None:
        return OpenedProcedure(None, None, loaded.diagnostics, loaded.sources)
    described = load_audited_hold(procedure, fetch)
    sources = {**described.sources, **loaded.sources}
    hold = described.value
    if hold is None:
        return OpenedProcedure(None, None, (*loaded.diagnostics, *described.diagnostics), sources)
    return _bound(procedure, hold, loaded.diagnostics, sources, requirements, (*loaded.read, *described.read))


def open_check(source: Source, hold: Hold, requirements: Iterable[RequirementText] = ()) -> OpenedProcedure:
    """Read a procedure and bind it to this hold, whatever hold it names."""
    loaded = load_procedure(source)
    if loaded.readable is None:
        return OpenedProcedure(None, None, loaded.diagnostics, loaded.sources)
    return _bound(loaded.readable, hold, loaded.diagnostics, loaded.sources, requirements, loaded.read)


def _bound(
    procedure: Procedure,
    hold: Hold,
    found: Sequence[Diagnostic],
    sources: Mapping[str, tuple[str, ...]],
    requirements: Iterable[RequirementText],
    read: tuple[FileRead, ...],
) -> OpenedProcedure:
    """The procedure bound to the hold; `found` are faults of its form."""
    given = hold.not_replaced(requirements)
    procedure = _without(procedure, found)
    compilation = compile_for(hold, procedure, given)
    faults = [*found, *(compilation.diagnostics if compilation.compiled is None else ())]
    # what is wrong with the actions is told beside what is wrong with the start
    compiled = compilation.compiled or compile_for(hold, replace(procedure, start=()), given).compiled
    if compiled is not None:
        binding = bind_procedure(procedure, compiled)
        if binding.bound is not None and not faults:
            freely = compile_freely(hold, procedure, given).compiled
            return OpenedProcedure(binding.bound, freely, compilation.diagnostics, sources, read)
        faults += binding.diagnostics
    faults.sort(key=lambda one: (one.span.file != procedure.span.file, one.span.file, one.span.line, one.span.column))
    return OpenedProcedure(None, None, tuple(faults), sources)


def _without(procedure: Procedure, faults: Iterable[Diagnostic]) -> Procedure:
    """The procedure without the actions in whose text there is a fault: their names may not be what was meant."""
    places = [fault.span for fault in faults]
    sound = tuple(
        action
        for action in procedure.steps.actions
        if not any(
            (place.file, place.line) == (action.span.file, action.span.line)
            and 0 <= place.column - action.span.column < action.span.length
            for place in places
        )
    )
    return replace(procedure, steps=replace(procedure.steps, actions=sound))
