"""Whom or what a hazard harms, in words, and the label that follows from it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, TypeAlias

from interlock.diagnostics.said import say
from interlock.hold.language.model import Harm, RequirementText
from interlock.report.views.wording import listed

Label: TypeAlias = Literal["WARNING", "CAUTION", "NOTE"]
WARNING: Label = "WARNING"
CAUTION: Label = "CAUTION"
NOTE: Label = "NOTE"
LABELS = (WARNING, CAUTION, NOTE)
"""Gravest first."""
SCHEME = say(
    "WARNING, CAUTION and NOTE are used as in MIL-STD-38784: a WARNING is about death or injury, a CAUTION about "
    "damage, a NOTE is useful to know. Which of them a requirement gets follows from whom or what its hazard harms; "
    "where that is not said, severity categories 1 and 2 (MIL-STD-882E) are printed as WARNING, 4 as NOTE, all others "
    "as CAUTION. Severity numbers are categories of MIL-STD-882E where no other scheme is named."
)
"""Said on every sheet with such labels: other schemes use the same words for other things."""

_BY_SEVERITY: Mapping[str, Label] = {"1": WARNING, "2": WARNING, "4": NOTE}


def label_of(origin: RequirementText) -> Label:
    """How what breaks the requirement is to be announced.

    Death or injury alone make a WARNING; where it is not said who or what comes to harm, the severity stands in.
    """
    if origin.harm is None:
        return label_by_severity(origin.severity, origin.scheme)
    if Harm.PEOPLE in origin.harm:
        return WARNING
    return CAUTION if origin.harm else NOTE


def label_by_severity(severity: str, scheme: str) -> Label:
    """The label where no more than a severity is known."""
    return _BY_SEVERITY.get(severity, CAUTION) if "882E" in scheme else CAUTION


def harm_words(origin: RequirementText) -> str:
    """Who or what comes to harm, in a few words; empty where it is not said."""
    if origin.harm is None:
        return ""
    return listed(origin.harm) or say("nobody and nothing")


def severity_in_brief(origin: RequirementText) -> str:
    """`severity 2`; the scheme with it where it is another than MIL-STD-882E."""
    if "882E" in origin.scheme:
        return say("severity {severity}", severity=origin.severity)
    return say("severity {severity} ({scheme})", severity=origin.severity, scheme=origin.scheme)


def severity_words(origin: RequirementText) -> str:
    """`2 (MIL-STD-882E), harm to load and aircraft`."""
    category = origin.severity + (f" ({origin.scheme})" if origin.scheme else "")
    harm = harm_words(origin)
    return say("{category}, harm to {harm}", category=category, harm=harm) if harm else category
