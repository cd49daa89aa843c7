"""A checklist as Markdown with tick boxes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import in_language, joined, say
from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import Tell, bullets, heading, identified, slips_by_kind, table
from interlock.report.translation import ENGLISH, Translation
from interlock.report.views.checklist import ChecklistView, PartView
from interlock.report.views.checklist_facts import Body, Guard
from interlock.report.views.slips import Fewest
from interlock.report.views.wording import capital, listed, span_of


def checklist_markdown(view: ChecklistView, language: Translation = ENGLISH) -> str:
    """The checklist; every text of the description, and every translation, is escaped."""
    writer = _Writer(partial(in_language, language=language))
    head, body = list(writer.head(view)), list(writer.body(view))
    # what is to be said of a translation is known once everything is said
    notes = [f"> {in_markdown(note)}" for note in language.notes()]
    return "\n".join((*head, *notes, *body)) + "\n"


@frozen
class _Writer:
    tell: Tell

    def head(self, view: ChecklistView) -> Iterator[str]:
        facts = view.facts
        yield from heading(say("Checklist: {goal}", goal=facts.goal), 1, self.tell)
        yield in_markdown(facts.title)
        yield ""
        yield from (f"> {self._said(caution)}" for caution in facts.cautions)

    def body(self, view: ChecklistView) -> Iterator[str]:
        facts = view.facts
        yield ""
        yield from heading(say("Before you start"), tell=self.tell)
        yield from self._boxes(facts.checklist.before)
        for number, part in enumerate(view.parts, 1):
            yield ""
            yield f"## {number}. {self._said(part.facts.title)}"
            yield ""
            yield from self._part(part)
        yield ""
        yield from heading(say("Slips"), tell=self.tell)
        yield from self._slips(facts.checklist)
        yield ""
        yield from heading(say("What is proved"), tell=self.tell)
        yield from bullets(facts.checklist.claims, self.tell)
        yield self._said(facts.scheme)
        yield ""
        yield from identified(facts.identification, self.tell)

    def _said(self, text: str) -> str:
        return in_markdown(self.tell(text))

    def _part(self, part: PartView) -> Iterator[str]:
        facts = part.facts
        if facts.caution is not None:
            yield from (self._guard(facts.caution), "")
        begins = {first: last for first, last in part.runs}
        for step in facts.steps:
            if step.number in begins:
                free = say("in any order, {steps}:", steps=span_of(step.number, begins[step.number]))
                yield from ("", f"*{self._said(capital(free))}*", "")
            if step.guards:
                yield from ("", *map(self._guard, step.guards), "")
            yield f"- [ ] **{step.number}.** {self._said(step.instruction)}"
            yield from (f"  - {self._said(result)}" for result in step.results)
            if step.why:
                yield f"  - {self._said(say('Why: {why}.', why=step.why))}"
        for finding in facts.audit_findings:
            yield from ("", f"> **{self._said(say('AUDIT:'))}** {self._said(finding)}")
        if facts.check_guards:
            yield from ("", *map(self._guard, facts.check_guards))
        if facts.checks:
            yield from ("", self._said(say("Check:")), "", *self._boxes(facts.checks))
        yield from ("", self._said(part.orders))

    def _slips(self, facts: Body) -> Iterator[str]:
        slips = facts.slips
        if slips is None:
            yield self._said(say("Not examined: {why}.", why=joined(facts.left_open, "; ")))
            return
        yield f"{self._said(slips.followed)}."
        yield ""
        yield from slips_by_kind(slips.kinds, self.tell)
        if slips.fewest:
            heads = say("requirement"), say("hazard"), say("severity"), say("fewest slips"), say("which")
            yield from table(heads, map(_fewest, slips.fewest), self.tell)
        else:
            yield from (self._said(say("No slip that was followed leads to a hazard.")), "")
        for text in facts.left_open:
            yield from (self._said(say("Left open: {text}.", text=text)), "")
        yield self._said(slips.second_count)

    def _boxes(self, texts: Iterable[str]) -> Iterator[str]:
        yield from (f"- [ ] {self._said(text)}" for text in texts)

    def _guard(self, guard: Guard) -> str:
        return f"> **{self._said(say(guard.label))}:** {self._said(guard.text)}"


def _fewest(row: Fewest) -> tuple[str, ...]:
    which = joined([listed(those) for those in row.combinations], "; ")
    return row.requirement, row.hazard, row.severity, str(row.slips), which
