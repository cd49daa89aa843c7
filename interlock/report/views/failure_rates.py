"""How likely sets of failures are, as it is told: figures from the user's own rates, and what they take for granted."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import groupby

from interlock.diagnostics.frozen import frozen
from interlock.hold.language.rates import FailureRate
from interlock.kernel.failures import KnownSets
from interlock.report.views.failures_facts import FailuresFacts, LikelyFacts, RateFacts
from interlock.report.views.wording import count_of
from interlock.study.failures import Answer, FailureAnalysis
from interlock.study.likelihood import all_struck, likelihood_of, struck_within

NO_FIGURE = "no figure"


@frozen
class GivenRates:
    """The file that rates come from, as it was named, and the rates by the ids of failures."""

    file: str
    rates: Mapping[str, FailureRate]


def rated_facts(given: GivenRates, failures: Collection[str]) -> tuple[RateFacts, ...]:
    """The rates of these failures, in their order."""
    return tuple(
        RateFacts(id, one.rate, one.per, one.exposure, one.source, struck_within(one.rate, one.exposure))
        for id, one in given.rates.items()
        if id in failures
    )


def probability_of(failures: Sequence[str], likely: Mapping[str, float]) -> float | None:
    """How likely it is that all have struck; None where one has no rate, or nothing has to."""
    return all_struck(failures, likely) if failures and set(failures) <= likely.keys() else None


def likely_facts(analysis: FailureAnalysis, likely: Mapping[str, float]) -> tuple[LikelyFacts, ...]:
    """How likely it is that what breaks each text of a requirement has struck, in the order of the texts."""
    texts = groupby(analysis.answers, key=lambda answer: answer.instance.origin.id)
    return tuple(_likely(id, tuple(answers), analysis, likely) for id, answers in texts)


def _likely(id: str, answers: Sequence[Answer], analysis: FailureAnalysis, likely: Mapping[str, float]) -> LikelyFacts:
    wanted = min(analysis.size, len(analysis.failures))
    sets = {frozenset(one.failures) for answer in answers for one in answer.broken}
    are_all = all(
        isinstance(one.finding, KnownSets) and one.finding.complete >= wanted and not one.open for one in answers
    )
    found = likelihood_of(sets, likely, are_all)
    missing = [f"{count_of(found.without, 'set')} without a figure"] if found.without else []
    missing += ["the largest sets left out, too many cases to tell apart"] if found.is_too_much else []
    missing += [] if are_all else ["there may be other sets"]
    why = "; ".join(missing)
    if found.probability is None:
        if frozenset() in sets:
            why = "nothing has to fail"
        elif not sets and are_all:
            why = f"no set of at most {count_of(wanted, 'failure')} breaks it"
        elif found.is_too_much:
            why = "too many cases to tell apart"
    return LikelyFacts(id, found.probability, found.at_least, why)


def assumed_of(given: GivenRates) -> Iterator[str]:
    """What the figures take for granted."""
    yield (
        f"Rates and exposures are those of {given.file}; the program has none of its own and checks none. Each failure "
        "strikes at a constant rate and independently of all others, so that within its exposure it has struck with "
        "probability 1 - exp(-rate * exposure). What has no rate has no figure; it is not taken never to fail."
    )
    yield (
        "The probability of a set is that all of its failures have struck, in any order, each within its own exposure. "
        "What people and equipment must do besides for the breach is taken to happen: it is not the probability of an "
        "accident."
    )
    yield (
        "The probability of a requirement is that all failures of some set that is listed for it have struck, at any "
        "of its places. Sets of more failures than were asked about are not in it."
    )


def figure(probability: float | None) -> str:
    """Three digits and a power of ten; nothing is rounded to nought."""
    if probability is None:
        return NO_FIGURE
    return f"{Decimal(probability):.2e}"


def likely_words(one: LikelyFacts) -> str:
    """The figure of a requirement, with what is left out of it."""
    bound = "at least " if one.at_least else ""
    return f"{bound}{figure(one.probability)}" + (f" ({one.why})" if one.why else "")


def likely_of(facts: FailuresFacts, text: str) -> str:
    """The figure of the requirement of this text; empty where no rates were given."""
    return next((likely_words(one) for one in facts.likely if one.from_ == text), "")
