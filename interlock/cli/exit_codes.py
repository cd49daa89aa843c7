"""What the program reports to its caller as a number: every exit code, and which outcome has which.

Outcomes are compared by their values, so that help is printed without what finds them.
"""

from __future__ import annotations

import signal
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from interlock.study.checklist.audit import ChecklistAudit
    from interlock.study.checklist.making import Result
    from interlock.study.comparison.compare import Comparison
    from interlock.study.contacts.purposes import ContactAnalysis
    from interlock.study.deferral.deferral import Deferral
    from interlock.study.failures import FailureAnalysis
    from interlock.study.families.families import Family
    from interlock.study.functional_test.making import FunctionalTest
    from interlock.study.procedure.audit import Overall
    from interlock.study.repair.results import Repair
    from interlock.study.verify import Status, Verification

DONE = 0
FOUND = 1
REJECTED = 2
"""A file or the command line, or a result that could not be written."""
UNDECIDED = 3
DISPUTED = 4
INTERNAL_FAULT = 70
STOPPED = 128 + signal.SIGINT
"""As shells say it."""
PIPE_CLOSED = 141
ENDED = 128 + signal.SIGTERM

_WORST_FIRST = (DISPUTED, REJECTED, FOUND, UNDECIDED)
_STATUSES = {"disputed": DISPUTED, "fails": FOUND, "undecided": UNDECIDED, "holds": DONE, "holds vacuously": DONE}
_RESULTS = {"disputed": DISPUTED, "rejected": REJECTED, "fails": FOUND, "undecided": UNDECIDED, "holds": DONE}
_AUDITS = {"disputed": DISPUTED, "findings": FOUND, "undecided": UNDECIDED, "nothing found": DONE}


def worst_code(codes: Iterable[int]) -> int:
    """One code for several holds: disputed before rejected before failed before undecided."""
    found = set(codes)
    return next((code for code in _WORST_FIRST if code in found), DONE)


def code_of_status(status: Status) -> int:
    """What one requirement that came out so gives."""
    return _STATUSES[status.value]


def code_of_hold(verification: Verification) -> int:
    """The worst of its requirements; where nothing was asked, nothing is decided."""
    codes = [code_of_status(answer.status) for answer in verification.answers]
    return worst_code(codes) if codes else UNDECIDED


def code_of_audit(overall: Overall) -> int:
    """What an audit that came out so gives."""
    return _AUDITS[overall.value]


def code_of_checklist(result: Result, audited: ChecklistAudit | None) -> int:
    """Done where it was made and is proved; found where the goal is out of reach, or a requirement breaks on the way.

    Undecided as well where slips were not followed to an end: warnings that they call for may be missing.
    """
    from interlock.kernel.claims import Disputed, Holds
    from interlock.study.checklist.making import NoChecklist
    from interlock.study.procedure.audit import Overall

    if isinstance(result, NoChecklist):
        if isinstance(result.finding, Disputed):
            return DISPUTED
        return FOUND if result.broken or isinstance(result.finding, Holds) else UNDECIDED
    if audited is not None and audited.audit.overall is Overall.DISPUTED:
        return DISPUTED
    return DONE if audited is None or (audited.followed and not audited.audit.open) else UNDECIDED


def code_of_failures(analysis: FailureAnalysis) -> int:
    """Found where some set of failures breaks a requirement, undecided where there may be others than those found."""
    if analysis.is_disputed:
        return DISPUTED
    if any(answer.broken for answer in analysis.answers):
        return FOUND
    return DONE if analysis.is_complete and analysis.answers else UNDECIDED


def code_of_comparison(comparison: Comparison) -> int:
    """Done where both do the same: proved; found where some difference is shown, whether or not there may be more."""
    behaviour = comparison.behaviour
    if behaviour.is_disputed:
        return DISPUTED
    if behaviour.pair.starts or any(kind.shown is not None for kind in behaviour.kinds):
        return FOUND
    return DONE if behaviour.is_same else UNDECIDED


def code_of_contacts(analysis: ContactAnalysis) -> int:
    """Found where nothing needs some contact, undecided where it is not known of one whether anything does."""
    from interlock.study.contacts.purposes import Need

    if analysis.disputed:
        return DISPUTED
    needs = {contact.need for contact in analysis.contacts}
    if Need.NOTHING in needs:
        return FOUND
    return UNDECIDED if Need.OPEN in needs or not needs else DONE


def code_of_deferrals(cases: Iterable[Deferral | None]) -> int:
    """Done where nothing fails in any case; found where something does, or where one makes no hold."""
    codes = []
    for case in cases:
        if case is not None and case.is_disputed:
            codes.append(DISPUTED)
        elif case is None or case.broken:
            codes.append(FOUND)
        else:
            codes.append(UNDECIDED if case.open else DONE)
    return worst_code(codes) if codes else UNDECIDED


def code_of_family(family: Family) -> int:
    """The worst of all requirements in all configurations; where nothing was asked, nothing is decided."""
    if family.is_disputed:
        return DISPUTED
    if family.fails:
        return FOUND
    return DONE if family.is_decided and family.outcomes else UNDECIDED


def code_of_repair(repair: Repair) -> int:
    """Done where nothing fails, or a change is proved to mend it; undecided where a limit kept it from being known."""
    if repair.disputed:
        return DISPUTED
    if repair.mendings or all(_STATUSES[one.status.value] == DONE for one in repair.verification.answers):
        return DONE if repair.verification.answers else UNDECIDED
    return FOUND if repair.failing and not repair.is_cut else UNDECIDED


def code_of_fleet(results: Iterable[str]) -> int:
    """The worst of the results of its configurations; where there are none, nothing is decided."""
    codes = [_RESULTS[result] for result in results]
    return worst_code(codes) if codes else UNDECIDED


def code_of_test(test: FunctionalTest) -> int:
    """Done where it shows every failure that was asked for; undecided where the search for more was cut short."""
    if test.cut:
        return UNDECIDED
    return FOUND if test.hidden else DONE


def help_text(sound: str, found: str, open: str, *, last: str = "") -> str:
    """The end of a help text: what 0, 1 and 3 mean for a command, and what the other codes mean for all of them."""
    return f"""\b
Exit codes:
  0   {sound}
  1   {found}
  2   a file is rejected, or the command line is wrong
  3   {open}
  4   DISPUTED: two parts of this program contradict each other: do not
      use the results; wins over all others
  70  a fault inside this program
{last}"""


PROVING = help_text(
    "everything that was asked holds",
    "some requirement fails",
    "something is undecided (a limit was reached, or you stopped it)",
    last="Several holds in one call: 4 before 2 before 1 before 3 before 0.\n",
)
"""For `prove`, and for the program as a whole."""

FAILING = help_text(
    "no set of failures of that size breaks anything that was asked",
    "some set does; what is printed says whether there may be others",
    "none was found, and there may be some (a limit was reached)",
)
"""For `failures`."""

COMPARING = help_text(
    "both behave the same: proved",
    "they behave otherwise; what is printed says whether all of it is known",
    "no difference was found, and there may be some (a limit was reached)",
)
"""For `compare`; verdicts of requirements do not count here."""

PURPOSES = help_text(
    "something that is required needs each contact",
    "of some contact it is proved that nothing that was asked needs it alone",
    "of some contact that is not known (a limit was reached)",
)
"""For `contacts`."""

DEFERRING = help_text(
    "nothing is possible that must not be: no limitation is needed",
    "something fails; what is printed says which limitations suffice, if any",
    "nothing fails as far as it was decided, and not all was",
)
"""For `defer`."""

OPTIONS = help_text(
    "everything that was asked holds in every configuration",
    "some requirement fails in some; what is printed says in which",
    "something is undecided (a limit was reached, or you stopped it)",
)
"""For `family`."""

MENDING = help_text(
    "nothing fails, or a change is proved to mend it",
    "something fails, and none of the changes that were looked at mends it",
    "it is not known whether anything fails, or a limit ended the search",
)
"""For `repair`."""

FLEETS = help_text(
    "on every aircraft all that was asked holds",
    "on some aircraft some requirement fails",
    "of some aircraft not all is known (a limit, or you stopped it)",
    last="Several aircraft: 4 before 2 before 1 before 3 before 0.\n",
)
"""For `fleet`."""

TESTING = help_text(
    "the test shows every failure that was asked for",
    "the test is made, and some failures stay hidden from it, each with why",
    "the search was cut short: longer looking may show more",
)
"""For `test`."""
