"""The table of all codes: what each means, with an example that raises it and one that does not.

Codes are stable for ever.  They stand in `codes.toml`.  An example is a part of a description: sections that stand in
the place of those of a small hold with lanes L and R, rows 1 and 2, a door D1 and units HALF; where it begins with
`interlock:` it is a whole file.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from enum import StrEnum
from importlib.resources import files

from interlock.diagnostics.frozen import frozen


class Severity(StrEnum):
    """Whether a description with this fault can be used."""

    ERROR = "error"
    WARNING = "warning"


@frozen
class Code:
    """One code: `about` is a paragraph, `wrong` raises it, `right` says what was meant."""

    code: str
    severity: Severity
    about: str
    wrong: str
    right: str


def _code(code: str, said: Mapping[str, str]) -> Code:
    return Code(
        code,
        Severity(said.get("severity", Severity.ERROR)),
        " ".join(said["about"].split()),
        said["wrong"],
        said["right"],
    )


_TABLE = tomllib.loads(files("interlock.diagnostics").joinpath("codes.toml").read_text(encoding="utf-8"))
CODES: Mapping[str, Code] = {code: _code(code, said) for code, said in sorted(_TABLE.items())}
"""Every code, in alphabetical order."""


def severity_of(code: str) -> Severity:
    """The severity of a code; that of an unknown one is an error."""
    found = CODES.get(code)
    return Severity.ERROR if found is None else found.severity
