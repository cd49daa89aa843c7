"""Facts written down as JSON, and the JSON Schema (2020-12) that is derived from their declarations."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from interlock.report.languages import in_json
from interlock.report.views.facts import Facts


def document(facts: Facts) -> str:
    """The facts in the order of their declarations; no clock, no path that the caller did not write."""
    return in_json(msgspec.to_builtins(facts))


def schema(result: type[Facts]) -> Mapping[str, Any]:
    """What every document of such facts satisfies."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **msgspec.json.schema(result)}
