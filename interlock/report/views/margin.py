"""How few slips and failures it takes along a procedure until a requirement breaks, as it is told."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from msgspec import Meta

from interlock.confirm.consequences import MOST_PLACES
from interlock.report.views.facts import Count, Facts, Run, as_run
from interlock.report.views.wording import count_of, listed
from interlock.study.procedure.audit import Audit
from interlock.study.procedure.recount import SecondCount
from interlock.study.procedure.slip_audit import MOST_SLIPS
from interlock.study.procedure.together import MOST_RUNS, MOST_RUNS_IN_ALL, Combination

MARGIN = "Margin: the fewest slips and failures to each hazard"
TOO_MANY = f"more than {MOST_PLACES:,} points in the procedure"
MOST_CHOICES = 4
"""Choices that are named for one requirement where people read; programs are given all."""


class Choice(Facts, frozen=True):
    """Slips and failures that together break a requirement, and not without any one of them."""

    slips: Annotated[tuple[str, ...], Meta(description="ids of slips; one that is named twice is made twice")]
    failures: Annotated[tuple[str, ...], Meta(description="what fails; what is named twice heals and fails again")]
    text: Annotated[str, Meta(description="all of it in words")]
    run: Annotated[
        Run | None,
        Meta(description="to where it is broken, for the first with a failure; slips: see `combinations`"),
    ]


class MarginRow(Facts, frozen=True):
    """One requirement that so few can break."""

    requirement: Annotated[str, Meta(description="its id")]
    hazard: Annotated[str, Meta(description="what its breach can lead to")]
    severity: Annotated[str, Meta(description="the category of the hazard, and of which scheme")]
    fewest: Annotated[Count, Meta(description="how many it takes; 0: it breaks as the procedure is written")]
    choices: Annotated[tuple[Choice, ...], Meta(description="all that were found, the fewest first")]

    @property
    def smallest(self) -> tuple[Choice, ...]:
        """The choices of the fewest."""
        return tuple(one for one in self.choices if len(one.slips) + len(one.failures) == self.fewest)

    @property
    def many(self) -> str:
        """How many choices of the fewest there are, in a few words."""
        return "as written" if self.fewest == 0 else count_of(len(self.smallest), "combination")

    def told(self) -> Iterator[str]:
        """The first of the smallest in words, and how many more there are."""
        yield from (one.text for one in self.smallest[:MOST_CHOICES])
        if len(self.smallest) > MOST_CHOICES:
            yield f"and {len(self.smallest) - MOST_CHOICES:,} more"


class MarginFacts(Facts, frozen=True):
    """The fewest slips and failures to each hazard, and how far that is all."""

    slips: Annotated[Count | None, Meta(description="all choices of so many slips are there; null: not asked")]
    failures: Annotated[
        Count | None,
        Meta(description="all choices of so many that have a failure are there; null: not asked"),
    ]
    declared: Annotated[Count, Meta(description="how many failures the description declares")]
    complete: Annotated[str, Meta(description="how far these are all, in words")]
    evidence: Annotated[str, Meta(description="how far that was checked by other means, in words")]
    requirements: Annotated[tuple[MarginRow, ...], Meta(description="those that so few break, the fewest first")]
    others: Annotated[Count, Meta(description="how many requirements no choice that was found breaks")]


def margin_facts(audit: Audit) -> MarginFacts | None:
    """The margin along an audited procedure; None where neither slips nor failures were followed."""
    slips, failures = audit.slips, audit.failures
    if slips is None and failures is None:
        return None
    found: dict[str, list[Combination]] = {}
    for part in (slips, failures):
        for one in () if part is None else part.combinations:
            found.setdefault(one.hazard.instance.requirement.id, []).append(one)
    broken = {one.hazard.instance.requirement.id for one in audit.breaches if not one.lost}
    rows = []
    for hazard in audit.hazards:
        id, origin = hazard.instance.requirement.id, hazard.instance.origin
        those = sorted(found.get(id, ()), key=lambda one: one.size)
        if those or id in broken:
            fewest = 0 if id in broken else those[0].size
            severity = f"{origin.severity} ({origin.scheme})"
            rows.append(MarginRow(id, origin.hazard, severity, fewest, tuple(map(_choice, those))))
    return MarginFacts(
        None if slips is None else slips.together,
        None if failures is None else 0 if failures.open else failures.together,
        0 if failures is None else failures.declared,
        " ".join(_complete(audit)),
        " ".join(_evidence(audit)),
        tuple(sorted(rows, key=lambda row: row.fewest)),
        len(audit.hazards) - len(rows),
    )


def others_text(margin: MarginFacts) -> str:
    """What is said of the requirements that no combination breaks."""
    whole = count_of(margin.others, "other requirement" if margin.requirements else "requirement")
    return f"{whole} {'is' if margin.others == 1 else 'are'} not broken by any combination that was followed."


def _choice(one: Combination) -> Choice:
    said = [f"action {slip.action + 1}, {slip.kind.word}: {slip.text}" for slip in one.slips]
    said += [f"failure: {failure.text}" for failure in one.failures]
    text = f"{said[0]}, twice" if len(said) > 1 and said[0] == said[1] else "; and ".join(said)
    run = as_run(one.run) if one.failures and one.run is not None else None
    return Choice(tuple(slip.id for slip in one.slips), tuple(failure.text for failure in one.failures), text, run)


def _complete(audit: Audit) -> Iterator[str]:
    slips, failures = audit.slips, audit.failures
    if slips is None:
        yield "Slips were not followed: none is among these."
    if failures is None or failures.open:
        yield "Failures were not followed: none is among these."
    elif not failures.declared:
        yield "The description declares no failures: none is among these."
    sizes = {}
    if slips is not None:
        sizes["slips"] = slips.together
    if failures is not None and failures.declared and not failures.open:
        sizes[f"combinations with any of {count_of(failures.declared, 'declared failure')}"] = failures.together
    whole = [what for what, size in sizes.items() if size == MOST_SLIPS]
    if whole:
        yield f"Up to two together these are all, as far as {listed(whole)} go; what takes three is not told."
    for what, size in sizes.items():
        if size < MOST_SLIPS:
            yield f"Of {what} these are all that do it alone; which two do it together was not followed to an end."


def _evidence(audit: Audit) -> Iterator[str]:
    counts: list[tuple[str, int, SecondCount]] = []
    if audit.slips is not None:
        counts.append(("slips", audit.slips.together, audit.slips.counted))
    if audit.failures is not None and audit.failures.counted is not None:
        counts.append(("combinations with a failure", audit.failures.together, audit.failures.counted))
    for what, together, one in counts:
        if not one.together:
            yield f"That there are no other {what} was looked for once, and not counted a second time: {one.why}."
            continue
        size = "one or two" if one.together > 1 else "one"
        same = "with the same result" if one.agreed else "with ANOTHER RESULT"
        yield f"Which {what} do it, {size}, was counted a second time by other means ({one.states:,} states), {same}."
        if one.together < together:
            yield f"Which two do it together was looked for once, and not counted a second time: {TOO_MANY}."
    if counts:
        yield (
            "Each slip and failure alone was replayed to the first requirement that it breaks, of combinations of two "
            f"the first {MOST_RUNS} for each requirement, {MOST_RUNS_IN_ALL} in all at most."
        )
