"""How often things fail: what a file with rates can say.  Rates are the user's own, each with its source."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum

from interlock.diagnostics.spans import Diagnostic
from interlock.hold.language import record_rules
from interlock.hold.language.declarations import Record, Written, field, record
from interlock.hold.language.field_types import Listed, RecordOf
from interlock.hold.language.model import FAILING_SECTIONS, File
from interlock.hold.language.text_types import Amount, Choice, Contact, Frequency, Reference, Text, Word
from interlock.hold.sorts import FAILURE_MODES, Item


class Hour(StrEnum):
    """Which hours are counted."""

    HOUR = "hour"
    FLIGHT_HOUR = "flight hour"


def _rated(written: Written) -> Iterator[Diagnostic]:
    """It is about one thing or about a sort of item, and of a sort about a mode that it can have."""
    if written.has("of") == written.has("item"):
        said = "says `of` and `item`" if written.has("of") else "lacks 'of' or 'item'"
        code = "field-not-for-this-kind" if written.has("of") else "missing-field"
        yield written.fault(code, None, said, "`of` for one thing, or `item` for all of a sort")
    if written.has("item") and written.has("contact"):
        expected = "`of`, the thing that has the contact"
        yield written.fault("field-not-for-this-kind", "contact", "is about a sort of item", expected)
    yield from record_rules.failure(written)
    yield from record_rules.catalogued(written)


@record("failure rate", "a failure rate", rule=_rated)
class FailureRate(Record):
    """How often one thing, or each item of a sort, fails in one way; what is said of one thing goes before the rest."""

    of: str | None = field(
        Reference((*FAILING_SECTIONS, "common_causes"), bays=True),
        "What fails; a bay for its drive, or for its floor.",
        default=None,
    )
    item: Item | None = field(Choice(tuple(Item)), "What sort of item fails, in place of one thing.", default=None)
    mode: str = field(Word("failure mode", FAILURE_MODES), "How it fails.")
    contact: str | None = field(Contact(), "The contact of it that fails, as it is written there.", default=None)
    at: str | None = field(Text(), "In which of its expressions that contact is.", default=None)
    rate: float = field(Frequency(), "How often it fails so in an hour, such as `2e-6`.")
    per: Hour = field(Choice(tuple(Hour)), "Which hours those are.")
    exposure: float = field(
        Amount("hours"), "For how many such hours it may have failed unnoticed: since it was last known to be good."
    )
    source: str = field(Text(), "Where rate and exposure are taken from.")

    @property
    def said_of(self) -> str:
        """What it is about, in messages."""
        return self.of or str(self.item)


@record("rates", "a file of failure rates")
class FailureRates(File):
    """How often the equipment of a hold fails."""

    title: str = field(Text(), "Its title.", key="failure_rates")
    about: str | None = field(Text(), "What it is for, for people.", default=None)
    rates: tuple[FailureRate, ...] = field(Listed(RecordOf(FailureRate), least=1), "How often things fail.")
