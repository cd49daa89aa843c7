"""Facts written down as JSON, and the JSON Schema (2020-12) that is derived from their declarations."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from interlock.report.languages import in_json, plain_values
from interlock.report.views.facts import Facts

_REFERENCE = "#/$defs/{name}"


def document(facts: Facts) -> str:
    """The facts in the order of their declarations; no clock, no path that the caller did not write."""
    return in_json(plain_values(facts))


def schema(*results: type[Facts]) -> Mapping[str, Any]:
    """What every document of such facts satisfies: of one of these.

    A class without members stands for any one of the classes that are made from it.
    """
    refs, definitions = msgspec.json.schema_components(results, ref_template=_REFERENCE)
    for base in Facts.__subclasses__():
        if base.__name__ in definitions and not base.__struct_fields__:
            kinds, more = msgspec.json.schema_components(base.__subclasses__(), ref_template=_REFERENCE)
            definitions |= {**more, base.__name__: {"description": base.__doc__, "oneOf": list(kinds)}}
    whole = refs[0] if len(refs) == 1 else {"oneOf": list(refs)}
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **whole, "$defs": definitions}
