"""A functional test as Markdown with tick boxes and a table of what it shows."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import bullets, heading, identified, table
from interlock.report.views.checklist_facts import Guard
from interlock.report.views.functional_test import KEEP_CLEAR, FunctionalTestView
from interlock.report.views.wording import sentence


def functional_test_markdown(view: FunctionalTestView) -> str:
    """The test; every text of the description is escaped."""
    return "\n".join(_parts(view)) + "\n"


def _parts(view: FunctionalTestView) -> Iterator[str]:
    facts = view.facts
    scope = " of what the modification touches" if facts.only_changed else ""
    yield from heading(f"Functional test{scope}", 1)
    yield in_markdown(facts.title)
    yield ""
    yield from (f"> {in_markdown(caution)}" for caution in facts.cautions)
    yield ""
    yield from heading("Before you start")
    yield from (_guard(KEEP_CLEAR), "")
    yield from (f"- [ ] {in_markdown(text)}" for text in facts.before)
    yield ""
    yield from heading("Steps")
    for step in facts.steps:
        if step.guards:
            yield from ("", *map(_guard, step.guards), "")
        yield f"- [ ] **{step.number}.** {in_markdown(step.instruction)}"
        yield from (f"  - {in_markdown(text)}" for text in step.told)
    yield from ("", in_markdown(view.end), "")
    yield from heading("What it shows")
    yield from table(("step", "failure"), ((str(one.step), one.text) for one in view.shown))
    for why, some in view.hidden.items():
        yield in_markdown(sentence(f"not shown: {why}"))
        yield ""
        yield from bullets(one.text for one in some)
    yield from heading("What is known")
    yield from bullets(facts.claims)
    yield in_markdown(facts.scheme)
    yield ""
    yield from identified(facts.identification)


def _guard(guard: Guard) -> str:
    return f"> **{guard.label}:** {in_markdown(guard.text)}"
