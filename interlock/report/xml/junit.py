"""What studies find as results of tests, in the XML that is known as JUnit's and that servers for checks read.

Common practice, no standard: elements and attributes are those on which its readers agree.  Every time is 0, as the
same input gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement

from interlock.report.languages import in_xml
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.facts import PROGRAM
from interlock.report.views.gathered import How
from interlock.report.views.outcomes import NOTHING_ASKED, Outcome, grounds_of, outcomes_of, refused
from interlock.report.views.proof import ProofView
from interlock.report.views.proof_facts import ProofFacts, Rejection, Status
from interlock.report.views.study_outcomes import StudyView, gathered

ELEMENTS = {
    Status.DISPUTED: "error",
    Status.FAILS: "failure",
    Status.UNDECIDED: "skipped",
    Status.VACUOUS: "skipped",
    Status.HOLDS: "skipped",
}
"""What stands in a case that does not plainly hold: a pass that is not known to be one is none."""
POINTS = {
    How.DISPUTED: "error",
    How.REJECTED: "error",
    How.AMISS: "failure",
    How.OPEN: "skipped",
    How.SHOWS_NOTHING: "skipped",
}
COUNTED = {"failures": "failure", "errors": "error", "skipped": "skipped"}


def proof_junit(facts: ProofFacts, proofs: Sequence[ProofView]) -> str:
    """A suite for each hold that was proved, in order, then one for each that was refused."""
    root = Element("testsuites", name=f"{PROGRAM.name} prove")
    for proof in proofs:
        _proved(root, proof)
    for rejection in facts.rejected:
        _refused(root, rejection)
    for element in (root, *root):
        _count(element)
    return in_xml(root)


def study_junit(view: StudyView) -> str:
    """One suite: a case for each point of what was studied, in order."""
    study = gathered(view)
    root = Element("testsuites", name=f"{PROGRAM.name} {study.command}")
    suite = _suite(
        root,
        study.file,
        title=study.title,
        **dict(study.of),
        summary=study.summary,
        exit_code=str(study.exit_code),
        made_with=study.identification.made_with,
        **{f"sha256 of {one.part} {one.name}": one.sha256 for one in study.identification.files},
    )
    for point in study.points:
        case = _case(suite, f"{point.sort.id} {point.id}", point.sort.id)
        if point.how is not How.FINE:
            found = SubElement(case, POINTS[point.how], message=point.says, type=point.how)
            place = study.file if point.line is None else f"{study.file}, line {point.line}"
            found.text = "\n".join((point.says, f"where: {place}", *(one.text for one in point.steps), *point.more))
    told = (*study.notes, "What this assumes:", *study.assumptions, "Caution:", *study.cautions)
    SubElement(suite, "system-out").text = "\n".join(told)
    for element in (root, *root):
        _count(element)
    return in_xml(root)


def _proved(root: Element, proof: ProofView) -> None:
    facts = proof.facts
    suite = _suite(
        root,
        facts.description,
        title=facts.title,
        situation=facts.situation or "as described",
        summary=proof.summary(),
        exit_code=str(facts.exit_code),
        made_with=facts.identification.made_with,
        **{f"sha256 of {one.part} {one.name}": one.sha256 for one in facts.identification.files},
    )
    for outcome in outcomes_of(proof):
        case = _case(suite, outcome.answer.facts.id, outcome.answer.facts.from_)
        if outcome.is_plain:
            SubElement(case, "system-out").text = "\n".join((outcome.rests_on, *(one.text for one in outcome.steps)))
        else:
            status = outcome.answer.facts.status
            found = SubElement(case, ELEMENTS[status], message=outcome.verdict, type=status)
            found.text = "\n".join(_lines(outcome))
    if not proof.groups:
        case = _case(suite, "something is asked", "interlock")
        SubElement(case, "skipped", message=NOTHING_ASKED, type=Status.UNDECIDED)
    told = (
        *grounds_of(facts),
        "What this proof assumes:",
        *proof.assumptions,
        *proof.scope,
        "Caution:",
        *proof.cautions,
    )
    SubElement(suite, "system-out").text = "\n".join(told)


def _lines(outcome: Outcome) -> Sequence[str]:
    text = outcome.answer.facts
    about = {"hazard": text.hazard, "severity": text.severity, "scheme": text.scheme, "source": text.source}
    place = outcome.file if outcome.at is None else f"{outcome.file}, line {outcome.at.line}"
    return (
        outcome.verdict,
        *(f"{name}: {said}" for name, said in about.items() if said),
        f"where: {place}",
        *(one.text for one in outcome.steps),
        *outcome.more,
    )


def _refused(root: Element, rejection: Rejection) -> None:
    suite = _suite(root, rejection.description, exit_code="2")
    case = _case(suite, "the description can be used", "interlock")
    found = SubElement(case, "error", message="The description cannot be used.", type="rejected")
    found.text = "\n".join(
        f"{one.at.file}:{one.at.line}:{one.at.column}: {text}"
        for text, one in zip(refused(rejection), rejection.diagnostics, strict=True)
    )
    SubElement(suite, "system-out").text = "\n".join(("Caution:", *CAUTIONS))


def _suite(root: Element, name: str, **properties: str) -> Element:
    suite = SubElement(root, "testsuite", name=name)
    told = SubElement(suite, "properties")
    for key, value in {"version": PROGRAM.version, **properties}.items():
        SubElement(told, "property", name=key, value=value)
    return suite


def _case(suite: Element, name: str, group: str) -> Element:
    return SubElement(suite, "testcase", name=name, classname=group, time="0")


def _count(element: Element) -> None:
    element.set("tests", str(len(list(element.iter("testcase")))))
    for attribute, name in COUNTED.items():
        element.set(attribute, str(len(list(element.iter(name)))))
    element.set("time", "0")
