"""An analysis of failures as a table: a row for each requirement and set, and each failure that is in no set."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.report.languages import in_csv
from interlock.report.views.failures import FailuresView
from interlock.report.views.failures_facts import BrokenFacts

COLUMNS = (
    "result",
    "severity",
    "requirement",
    "text",
    "places",
    "failures",
    "said",
    "together",
    "steps",
    "probability",
    "known",
    "caution",
)


def failures_csv(view: FailuresView) -> str:
    """The table, requirements in the order of their texts; what several things stand in is set apart by semicolons.

    `known` says how far it is known that there are no others.  A table is cut up and sorted, so that and the caution
    stand in every row.
    """
    facts = view.facts
    rows: list[Sequence[str]] = [COLUMNS]

    def put(result: str, one: BrokenFacts | None, failures: Sequence[str], steps: str = "", likely: str = "") -> None:
        about = ("", "", "", "") if one is None else (one.severity, one.id, one.text, "; ".join(one.about))
        said = "; ".join(view.said.get(id, id) for id in failures)
        told = "; ".join(failures), said, str(len(failures)), steps, likely, view.completeness, facts.cautions[0]
        rows.append((result, *about, *told))

    for one in facts.requirements:
        if one.disputed is not None:
            put("DISPUTED", one, ())
        for found in one.sets:
            likely = "" if found.probability is None else f"{found.probability:.3g}"
            put("breaks", one, found.failures, str(found.steps), likely)
        for left in one.open:
            put("not settled", one, left)
    named = {id for one in view.sets for id in one.failures} | {id for left in view.open_sets for id in left}
    for item in facts.failures:
        if item.id not in named:
            put("in no set that was found", None, (item.id,))
    return "".join(",".join(map(in_csv, row)) + "\n" for row in rows)
