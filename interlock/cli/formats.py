"""The formats in which results come: one table, from which `--format` and what it does are made."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

import click

from interlock.diagnostics.frozen import frozen

if TYPE_CHECKING:
    from interlock.report.text.lines import Line

F = TypeVar("F", bound=Callable[..., Any])
Content: TypeAlias = "str | bytes | Iterable[Line]"
"""Lines are for people: they may have colours; all else is for programs, and comes as it is."""


@frozen
class Format:
    """A format of what a command shows: `renderer`, a function of `interlock.report`, is called with `takes`.

    `suffix` is the ending of files that hold it.  What is `drawn` is DOT, which a program of this machine lays out.
    """

    shows: str
    name: str
    suffix: str
    renderer: str
    takes: tuple[str, ...]
    drawn: bool = False

    @property
    def shows_each(self) -> bool:
        """Of several holds each is shown as soon as it is proved: somebody waits for it."""
        return "proof" in self.takes

    def render(self, parts: Mapping[str, object]) -> Content:
        """The result in this format; `parts` are what the command has found, by name.

        Raises click.ClickException where nothing on this machine can draw it.
        """
        module, name = self.renderer.split(":")
        function = getattr(import_module(f"interlock.report.{module}"), name)
        content: Content = function(*(parts[part] for part in self.takes))
        if isinstance(content, str):
            content = content if content.endswith("\n") else content + "\n"
            return _drawn(content) if self.drawn else content
        return content


FORMATS = (
    Format("prove", "text", ".txt", "text.proof:proof_report", ("proof", "quiet", "verbose", "full", "seconds")),
    Format("prove", "json", ".json", "json.writing:document", ("facts",)),
    Format("prove", "html", ".html", "html.proof:proof_html", ("only_proof",)),
    Format("prove", "sarif", ".sarif", "json.sarif:proof_sarif", ("facts", "proofs")),
    Format("prove", "junit", ".xml", "xml.junit:proof_junit", ("facts", "proofs")),
    Format("failures", "text", ".txt", "text.failures:failures_report", ("view", "verbose", "seconds")),
    Format("failures", "json", ".json", "json.writing:document", ("facts",)),
    Format("failures", "markdown", ".md", "markdown.failures:failures_markdown", ("view",)),
    Format("failures", "csv", ".csv", "csv.failures:failures_csv", ("view",)),
    Format("failures", "html", ".html", "html.failures:failures_html", ("view",)),
    Format("failures", "sarif", ".sarif", "json.sarif:study_sarif", ("view",)),
    Format("failures", "junit", ".xml", "xml.junit:study_junit", ("view",)),
    Format("compare", "text", ".txt", "text.comparison:comparison_report", ("view", "told", "verbose", "seconds")),
    Format("compare", "json", ".json", "json.writing:document", ("facts",)),
    Format("compare", "markdown", ".md", "markdown.comparison:comparison_markdown", ("view",)),
    Format("compare", "html", ".html", "html.comparison:comparison_html", ("view",)),
    Format("compare", "sarif", ".sarif", "json.sarif:comparison_sarif", ("view", "both")),
    Format("contacts", "text", ".txt", "text.contacts:contacts_report", ("view", "verbose", "seconds")),
    Format("contacts", "json", ".json", "json.writing:document", ("facts",)),
    Format("contacts", "html", ".html", "html.contacts:contacts_html", ("view",)),
    Format("contacts", "sarif", ".sarif", "json.sarif:study_sarif", ("view",)),
    Format("contacts", "junit", ".xml", "xml.junit:study_junit", ("view",)),
    Format("defer", "text", ".txt", "text.deferral:deferral_report", ("view", "told", "verbose", "seconds")),
    Format("defer", "json", ".json", "json.writing:document", ("facts",)),
    Format("defer", "markdown", ".md", "markdown.deferral:deferral_markdown", ("view",)),
    Format("defer", "html", ".html", "html.deferral:deferral_html", ("view",)),
    Format("defer", "modification", ".yaml", "yaml.modification:deferral_text", ("view", "modifies")),
    Format("defer", "sarif", ".sarif", "json.sarif:study_sarif", ("view",)),
    Format("defer", "junit", ".xml", "xml.junit:study_junit", ("view",)),
    Format("family", "text", ".txt", "text.family:family_report", ("view", "told", "verbose", "seconds")),
    Format("family", "json", ".json", "json.writing:document", ("facts",)),
    Format("family", "markdown", ".md", "markdown.family:family_markdown", ("view",)),
    Format("family", "html", ".html", "html.family:family_html", ("view", "told")),
    Format("family", "sarif", ".sarif", "json.sarif:study_sarif", ("view",)),
    Format("family", "junit", ".xml", "xml.junit:study_junit", ("view",)),
    Format("repair", "text", ".txt", "text.repair:repair_report", ("view", "told", "verbose", "seconds")),
    Format("repair", "json", ".json", "json.writing:document", ("facts",)),
    Format("repair", "markdown", ".md", "markdown.repair:repair_markdown", ("view",)),
    Format("repair", "html", ".html", "html.repair:repair_html", ("view",)),
    Format("repair", "modification", ".yaml", "yaml.modification:proposed_text", ("facts", "number")),
    Format("fleet", "text", ".txt", "text.fleet:fleet_report", ("view", "told", "verbose", "seconds", "how")),
    Format("fleet", "json", ".json", "json.writing:document", ("facts",)),
    Format("fleet", "csv", ".csv", "csv.fleet:fleet_csv", ("view",)),
    Format("fleet", "html", ".html", "html.fleet:fleet_html", ("view",)),
    Format("fleet", "sarif", ".sarif", "json.sarif:study_sarif", ("view",)),
    Format("fleet", "junit", ".xml", "xml.junit:study_junit", ("view",)),
    Format("audit", "text", ".txt", "text.audit:audit_report", ("view", "verbose", "seconds")),
    Format("audit", "json", ".json", "json.writing:document", ("facts",)),
    Format("audit", "markdown", ".md", "markdown.audit:audit_markdown", ("view",)),
    Format("audit", "html", ".html", "html.audit:audit_html", ("view",)),
    Format("audit", "sarif", ".sarif", "json.sarif:study_sarif", ("view",)),
    Format("audit", "junit", ".xml", "xml.junit:study_junit", ("view",)),
    Format("checklist", "text", ".txt", "text.checklist:checklist_report", ("view", "verbose", "language")),
    Format("checklist", "json", ".json", "json.writing:document", ("facts",)),
    Format("checklist", "markdown", ".md", "markdown.checklist:checklist_markdown", ("view", "language")),
    Format("checklist", "html", ".html", "html.checklist:checklist_html", ("view", "language")),
    Format("checklist", "procedure", ".yaml", "yaml.procedure:checklist_procedure", ("result", "hold_file")),
    Format("test", "text", ".txt", "text.functional_test:functional_test_report", ("view", "verbose")),
    Format("test", "json", ".json", "json.writing:document", ("facts",)),
    Format("test", "markdown", ".md", "markdown.functional_test:functional_test_markdown", ("view",)),
    Format("test", "html", ".html", "html.functional_test:functional_test_html", ("view",)),
    Format("questions", "html", ".html", "html.questions:questions_html", ("view", "language")),
    Format("teach", "html", ".html", "html.teaching:teaching_html", ("view", "language")),
    Format("describe", "text", ".txt", "text.description:description_lines", ("view",)),
    Format("describe", "json", ".json", "json.writing:document", ("facts",)),
    Format("draw plan", "svg", ".svg", "drawing.plan:plan_svg", ("compiled", "state")),
    Format("draw moves", "dot", ".dot", "drawing.movegraph:moves_dot", ("compiled",)),
    Format("draw moves", "svg", ".svg", "drawing.movegraph:moves_dot", ("compiled",), drawn=True),
    Format("draw kind", "dot", ".dot", "drawing.lifecycle:lifecycle_dot", ("kind",)),
    Format("draw kind", "svg", ".svg", "drawing.lifecycle:lifecycle_dot", ("kind",), drawn=True),
    Format("draw kind", "mermaid", ".mmd", "drawing.lifecycle:lifecycle_mermaid", ("kind",)),
    Format("draw kind", "graphml", ".graphml", "xml.graphml:graph_graphml", ("graph",)),
    Format("draw kind", "scxml", ".scxml", "xml.scxml:graph_scxml", ("graph",)),
    Format("draw states", "graphml", ".graphml", "xml.graphml:graph_graphml", ("graph",)),
    Format("draw states", "scxml", ".scxml", "xml.scxml:graph_scxml", ("graph",)),
)
"""Of what a command shows, the first is taken where neither `--format` nor the name of the output says which."""


WHAT_FOR = (
    (("html",), "a page to print and sign"),
    (("markdown",), "text for forms and reviews"),
    (("procedure",), "a file for 'interlock audit'"),
    (("modification",), "the file that declares what is proposed"),
    (("csv",), "a table"),
    (("json",), "for other programs"),
    (("sarif", "junit"), "for servers that gather the results of checks"),
)
"""What formats are, as help says it; those that nobody has to be told of are left out."""


def _said(names: list[str]) -> str:
    """`'html' is a page to print and sign; 'json' is for other programs.`"""
    if len(names) == 1:
        return "There is one so far."
    told = [([f"'{one}'" for one in those if one in names], what) for those, what in WHAT_FOR]
    said = [f"{' and '.join(those)} {'is' if len(those) == 1 else 'are'} {what}" for those, what in told if those]
    return "; ".join(said) + "." if said else ""


def format_option(command: str) -> Callable[[F], F]:
    """`--format`, for all that the command shows."""
    rows = [row for row in FORMATS if row.shows.split()[0] == command]
    names = list(dict.fromkeys(row.name for row in rows))
    firsts = list(dict.fromkeys(next(row.name for row in rows if row.shows == other.shows) for other in rows))
    return click.option(
        "--format",
        "layout",
        type=click.Choice(names),
        help=f"{_said(names)} Left out: what the ending of --output says, else {' or '.join(firsts)}.".strip(),
    )


def chosen_format(shows: str, name: str | None, output: Path | None) -> Format:
    """The format that was asked for, by its name or by that of the file.  Raises click.UsageError."""
    rows = [row for row in FORMATS if row.shows == shows]
    if name is not None:
        found = next((row for row in rows if row.name == name), None)
        if found is None:
            raise click.UsageError(f"--format {name}: there is only {', '.join(row.name for row in rows)} of this.")
        return found
    suffix = "" if output is None else output.suffix.lower()
    return next((row for row in rows if row.suffix == suffix), rows[0])


def _drawn(source: str) -> bytes:
    from interlock.cli.rendering import ADVICE, render_dot

    drawn = render_dot(source)
    if drawn is None:
        raise click.ClickException(ADVICE + " Use --format dot.")
    return drawn if drawn.endswith(b"\n") else drawn + b"\n"
