"""From the values of the fields of a record to the record of the model."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from interlock.diagnostics.spans import Span
from interlock.hold.language import model
from interlock.hold.language.schema_fields import DIRECTION_WORDS
from interlock.hold.language.syntax import Path

_Values = dict[str, Any]


def _plain(made: Callable[..., Any]) -> Callable[[_Values, Span], Any]:
    return lambda values, span: made(**values, span=span)


def _named(made: Callable[..., Any]) -> Callable[[_Values, Span], Any]:
    def build(values: _Values, span: Span) -> Any:
        return made(**{**values, "name": values["name"] or values["id"]}, span=span)

    return build


def _by_direction(values: _Values, span: Span) -> tuple[tuple[model.Direction, Any], ...]:
    return tuple((model.Direction(way), values[way]) for way in DIRECTION_WORDS if values[way] is not None)


def _command(values: _Values, span: Span) -> model.Command:
    return model.Command(values["station"], _by_direction(values, span), span)


def _obstacle(values: _Values, span: Span) -> tuple[str, str, Span]:
    return values["device"], values["in"], span


def _requirement(values: _Values, span: Span) -> model.RequirementText:
    each: tuple[tuple[str, Path], ...] = values["each"]
    found = {**values, "each": tuple((variable, path.parts) for variable, path in each)}
    return model.RequirementText(**found, span=span, each_spans=tuple(path.spans for _, path in each))


def _hold(values: _Values, span: Span) -> model.Hold:
    found = {key: value for key, value in values.items() if key != "interlock"}
    return model.Hold(**found, changes=(), span=span)


def _specification(values: _Values, span: Span) -> tuple[model.RequirementText, ...]:
    found: tuple[model.RequirementText, ...] = values["requirements"]
    return found


BUILDERS: Mapping[str, Callable[[_Values, Span], Any]] = {
    "layout": _plain(model.Layout),
    "bay rule": _plain(model.BayRule),
    "unit": _named(model.UnitKind),
    "door step": _plain(model.DoorStep),
    "doorway": _named(model.Doorway),
    "obstacle": _obstacle,
    "device": _named(model.Device),
    "deferral": _plain(model.Deferral),
    "control": _named(model.Control),
    "marks": _by_direction,
    "station": _named(model.Station),
    "supply": _named(model.Supply),
    "circuit": _named(model.Circuit),
    "relay": _named(model.Relay),
    "sensor": _named(model.Sensor),
    "command": _command,
    "section": _plain(model.Section),
    "zone": _named(model.Zone),
    "place": _named(model.Place),
    "person": _named(model.Person),
    "group": _plain(model.Group),
    "situation": _named(model.Situation),
    "failure": _plain(model.FailureMode),
    "requirement": _requirement,
    "description": _hold,
    "specification": _specification,
}
"""How the values of each record become a record of the model."""
