"""The table of all codes: what each means, with an example that raises it and one that does not.

Codes are stable for ever.  An example is a part of a description: sections that stand in the place of those of a small
hold with lanes L and R, rows 1 and 2, a door D1 and units HALF; where it begins with `interlock:` it is a whole file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from interlock.diagnostics.texts import Text
from interlock.diagnostics.texts_of_expressions import TEXTS as OF_EXPRESSIONS
from interlock.diagnostics.texts_of_fields import TEXTS as OF_FIELDS
from interlock.diagnostics.texts_of_files import TEXTS as OF_FILES
from interlock.diagnostics.texts_of_meaning import TEXTS as OF_MEANING
from interlock.diagnostics.texts_of_meaning import WARNINGS
from interlock.diagnostics.texts_of_procedures import TEXTS as OF_PROCEDURES
from interlock.diagnostics.texts_of_records import TEXTS as OF_RECORDS


class Severity(StrEnum):
    """Whether a description with this fault can be used."""

    ERROR = "error"
    WARNING = "warning"


@dataclass(frozen=True, slots=True)
class Code:
    """One code: `about` is a paragraph, `wrong` raises it, `right` says what was meant."""

    code: str
    severity: Severity
    about: str
    wrong: str
    right: str


def _code(text: Text) -> Code:
    severity = Severity.WARNING if text.code in WARNINGS else Severity.ERROR
    return Code(text.code, severity, " ".join(text.about.split()), text.wrong, text.right)


CODES: Mapping[str, Code] = {
    text.code: _code(text)
    for text in sorted(
        (*OF_FILES, *OF_EXPRESSIONS, *OF_FIELDS, *OF_RECORDS, *OF_MEANING, *OF_PROCEDURES),
        key=lambda text: text.code,
    )
}
"""Every code, in alphabetical order."""


def severity_of(code: str) -> Severity:
    """The severity of a code; that of an unknown one is an error."""
    found = CODES.get(code)
    return Severity.ERROR if found is None else found.severity
