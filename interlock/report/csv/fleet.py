"""A fleet as a table with a row for each aircraft."""

from __future__ import annotations

from interlock.report.languages import in_csv
from interlock.report.views.assumptions import IN_SHORT
from interlock.report.views.fleet import FleetView

COLUMNS = (
    "tail",
    "hold",
    "options",
    "deferrals",
    "result",
    "fails",
    "undecided",
    "disputed",
    "why",
    "configuration",
    "group",
    "caution",
)


def fleet_csv(view: FleetView) -> str:
    """The table, the aircraft in the order of the file; what several things stand in is set apart by semicolons.

    A table is cut up and sorted, so the caution stands in every row.
    """
    rows = [COLUMNS]
    for one in view.facts.aircraft:
        configuration = view.configuration(one.configuration)
        group = view.group(configuration.group)
        rows.append(
            (
                one.tail,
                configuration.hold,
                "; ".join(configuration.options),
                "; ".join(configuration.deferrals),
                one.result,
                "; ".join(each.id for each in group.failing),
                "; ".join(each.id for each in group.open),
                "; ".join(each.id for each in group.disputed),
                "; ".join(
                    [*(f"{each.code}: {each.message}" for each in group.refusals), *([group.why] * bool(group.why))]
                ),
                str(one.configuration),
                str(group.number),
                f"{view.facts.cautions[0]} {IN_SHORT}",
            )
        )
    return "".join(",".join(map(in_csv, row)) + "\n" for row in rows)
