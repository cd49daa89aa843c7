"""Analyses of contacts as they are told, whatever the format."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.hold.catalogue import FailingHold
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.requirements import Instance
from interlock.hold.loader import FileRead
from interlock.report.views.assumptions import CAUTIONS, assumptions_of
from interlock.report.views.contacts_facts import (
    AskedFacts,
    ContactFacts,
    ContactsFacts,
    EffectFacts,
    TogetherFacts,
)
from interlock.report.views.contacts_facts import Need as NeedWord
from interlock.report.views.facts import PROGRAM, Place
from interlock.report.views.failures import failure_item
from interlock.report.views.identification import identification
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of, listed, sentence
from interlock.study.contacts.purposes import ContactAnalysis, ContactPurpose, Effect, Need

_NEEDS: Mapping[Need, NeedWord] = {
    Need.ALONE: "alone",
    Need.TOGETHER: "with one more failure",
    Need.NOTHING: "nothing",
    Need.OPEN: "not settled",
}
_COUNTED: Mapping[NeedWord, str] = {
    "alone": "needed",
    "with one more failure": "needed where something else fails too",
    "nothing": "that nothing needs by itself",
    "not settled": "not settled",
}
_MODES = {"welded": "bridged", "open": "open"}
ABOUT_WITHOUT = "'Without it' means: bridged where it is in series with others, open where it is beside others."
ABOUT_NEEDLESS = (
    "Such a contact is a spare, a second line against something, or the description does not say what it is for. Two "
    "of them may each be enough without the other, and not be missed at once. Nobody may take one away on this word."
)


@frozen
class ContactsView:
    """What is told of an analysis: `said` has each other failure in words by its id, `asked` each requirement."""

    facts: ContactsFacts
    said: Mapping[str, str]
    asked: Mapping[str, AskedFacts]

    @property
    def tone(self) -> Tone:
        """That of the worst that came out."""
        return {0: Tone.GOOD, 1: Tone.OPEN, 4: Tone.LOUD}.get(self.facts.exit_code, Tone.OPEN)

    def of_need(self, need: NeedWord) -> tuple[ContactFacts, ...]:
        """The contacts that are needed so far."""
        return tuple(one for one in self.facts.contacts if one.need == need)

    @property
    def groups(self) -> tuple[tuple[ContactFacts, ...], ...]:
        """The contacts of one expression each, in the order of the description."""
        found: dict[tuple[str, str], list[ContactFacts]] = {}
        for one in self.facts.contacts:
            found.setdefault((one.of, one.place), []).append(one)
        return tuple(map(tuple, found.values()))

    @property
    def needless(self) -> str:
        """What is proved of the contacts that nothing needs."""
        together = min((one.settled for contact in self.of_need("nothing") for one in contact.without), default=1)
        if together < 2:
            said = (
                "Without any of these nothing breaks that was asked, and all that could be done still can: proved one "
                "at a time; not of pairs."
            )
        else:
            said = (
                "Without any of these nothing breaks that was asked, nor where one more contact is not there either or "
                "something else has failed: proved. That all that could be done still can is proved one at a time."
            )
        if not self.facts.broken:
            return said
        return f"{said} They may be for what is broken although nothing fails: mend that first, then ask again."

    def breaks(self, ids: Iterable[str]) -> tuple[str, ...]:
        """Texts of requirements with how many of each, by severity, the gravest first."""
        by_severity: dict[str, list[str]] = {}
        numbers = Counter((self.asked[id].severity, self.asked[id].from_) for id in ids)
        for (severity, text), number in sorted(numbers.items()):
            by_severity.setdefault(severity, []).append(text + (f" ({number} times)" if number > 1 else ""))
        return tuple(f"severity {severity}: {', '.join(texts)}" for severity, texts in by_severity.items())

    def lost(self, effect: EffectFacts) -> str:
        """What can no longer be done, in short; empty where nothing is lost."""
        numbers = Counter(self.asked[id].from_ for id in effect.lost)
        parts = [text + (f" ({number} times)" if number > 1 else "") for text, number in sorted(numbers.items())]
        parts += [f"{count_of(len(effect.steps), 'step')}"] if effect.steps else []
        return f"can no longer be: {listed(parts)}" if parts else ""

    def told(self, effect: EffectFacts, most: int | None = None) -> tuple[str, ...]:
        """What comes of it in short; pairs with other failures up to so many, then how many more there are."""
        parts = [*self.breaks(effect.breaks), *filter(None, [self.lost(effect)])]
        for one in effect.together[:most]:
            others = listed([self.said[other] for other in one.others])
            parts.append(f"{self.asked[one.requirement].from_} where also {others}")
        if most is not None and len(effect.together) > most:
            parts.append(f"{count_of(len(effect.together) - most, 'pair')} more")
        return tuple(parts)

    def when(self, effect: EffectFacts) -> str:
        """In which condition it is then."""
        return _MODES[effect.mode]

    def summary(self) -> str:
        """The last line."""
        if self.facts.disputed:
            return "DISPUTED: do not use this result"
        numbers = Counter(one.need for one in self.facts.contacts)
        parts = [f"{numbers[need]} {said}" for need, said in _COUNTED.items() if numbers[need]]
        return f"{count_of(len(self.facts.contacts), 'contact')}: {listed(parts) or 'there is none'}"

    @property
    def scope(self) -> tuple[str, ...]:
        """How far it goes, and what says nothing of contacts."""
        facts = self.facts
        found = []
        if unsettled := self.of_need("not settled"):
            found.append(
                f"Not settled: whether anything needs {count_of(len(unsettled), 'contact')}. More time may settle them."
            )
        if facts.size < 2:
            found.append("Asked about one contact at a time: what it takes two failures for is not among this.")
        else:
            found.append(
                "What can no longer be done is asked about one contact at a time, what breaks about pairs too."
            )
        if facts.broken:
            found.append(f"Broken although nothing fails, so that no contact is for them: {listed(facts.broken)}.")
        if facts.impossible:
            found.append(f"Not found to be possible although nothing fails: {listed(facts.impossible)}.")
        return tuple(found)


def contacts_view(
    label: str, analysis: ContactAnalysis, reckoned: FailingHold, code: int, read: Sequence[FileRead] = ()
) -> ContactsView:
    """What is told of an analysis; `reckoned` are the failures that may strike, `read` the files that were read."""
    compiled = analysis.compiled
    asked = tuple(
        AskedFacts(one.requirement.id, one.origin.id, one.text, one.origin.severity)
        for one in (*(answer.instance for answer in analysis.analysis.answers), *analysis.analysis.left_out)
    )
    contacts = tuple(_contact(compiled, one) for one in analysis.contacts)
    named = {
        other
        for contact in contacts
        for effect in (*contact.without, *contact.otherwise)
        for one in effect.together
        for other in one.others
    }
    others = tuple(failure_item(name, one) for name, one in reckoned.failures.items() if name in named)
    facts = ContactsFacts(
        1,
        PROGRAM,
        code,
        label,
        compiled.hold.title,
        analysis.size,
        asked,
        contacts,
        others,
        _ids(analysis.broken),
        _ids(analysis.impossible),
        analysis.disputed,
        assumptions_of(compiled),
        CAUTIONS,
        identification(read),
    )
    return ContactsView(facts, {one.id: one.text for one in others}, {one.id: one for one in asked})


def _contact(compiled: CompiledHold, purpose: ContactPurpose) -> ContactFacts:
    item = purpose.item
    assert item.contact is not None  # noqa: S101 -- only contacts are given
    return ContactFacts(
        item.contact.name,
        item.subject.id,
        compiled.world.things[item.subject.id].phrase,
        item.place or "",
        item.written or "",
        Place(item.span.file, item.span.line, item.span.column, item.span.length),
        _NEEDS[purpose.need],
        tuple(_effect(compiled, one) for one in purpose.without),
        tuple(_effect(compiled, one) for one in purpose.otherwise),
    )


def _effect(compiled: CompiledHold, effect: Effect) -> EffectFacts:
    known = compiled.origins
    texts = [compiled.glossary.rules[known.rules_of[deed][0]].text for deed in effect.steps]
    return EffectFacts(
        effect.failure,
        effect.mode,
        _ids(effect.breaks),
        tuple(TogetherFacts(one.requirement.id, others) for one, others in effect.together),
        _ids(effect.lost),
        tuple(dict.fromkeys(map(sentence, texts))),
        effect.settled,
        effect.no_difference,
    )


def _ids(instances: Sequence[Instance]) -> tuple[str, ...]:
    return tuple(one.requirement.id for one in instances)
