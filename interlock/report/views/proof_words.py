"""What is said of the verdicts of a proof, in text and on pages alike."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.views.proof import AnswerView, Group, LeftOpen, ProofView
from interlock.report.views.proof_facts import DeadEnd, Reachable, Status
from interlock.report.views.wording import count_of, listed, sentence

VERDICTS = {
    Status.HOLDS: "holds",
    Status.VACUOUS: "holds",
    Status.FAILS: "FAILS",
    Status.UNDECIDED: "undecided",
    Status.DISPUTED: "DISPUTED",
}


def tally_of(group: Group) -> str:
    """`2 of 5`: how many of its requirements came out as the worst of them."""
    status = group.status
    number = len(group.answers) if status in (Status.HOLDS, Status.VACUOUS) else len(group.having(status))
    return f"{number} of {len(group.answers)}"


def notes_of(group: Group) -> Iterator[str]:
    """What has to be said beside the verdict: what was never put to the test, how the others came out."""
    total = len(group.answers)
    vacuous = len(group.having(Status.VACUOUS))
    unshown = sum(answer.unshown for answer in group.answers)
    if vacuous == total:
        yield "holds, but the situation never arises"
    elif vacuous:
        yield f"in {vacuous} of them the situation never arises"
    if unshown:
        yield ("" if unshown == total else f"in {unshown} of them ") + "not shown that the situation arises"
    others = [
        f"{len(group.having(status))} {word}"
        for status, word in ((Status.FAILS, "fail"), (Status.UNDECIDED, "undecided"), (Status.HOLDS, "hold"))
        if status is not group.status and group.having(status)
    ]
    if others and group.status not in (Status.HOLDS, Status.VACUOUS):
        yield "the others: " + ", ".join(others)


def instance_said(answer: AnswerView) -> str:
    """One requirement in a list of them."""
    if answer.facts.status is Status.VACUOUS:
        return f"{answer.facts.id} (the situation never arises)"
    if answer.unshown:
        return f"{answer.facts.id} (not shown that the situation arises)"
    return answer.facts.id + ("" if answer.steps is None else f" ({count_of(answer.steps, 'step')})")


def length_of(finding: Reachable, about_a_step: bool) -> str:
    """How long the run is that breaks a requirement, and whether a shorter one may exist."""
    if finding.steps == 0:
        return "The step is possible at the very start." if about_a_step else "It is broken at the very start."
    end = " to where the forbidden step is possible" if about_a_step else " there"
    return f"{leads(finding.steps)}{end}.{shorter(finding.shortest, finding.failures)}"


def leads(steps: int) -> str:
    """`1 step leads`, `5 steps lead`."""
    return f"{count_of(steps, 'step')} {'leads' if steps == 1 else 'lead'}"


def shorter(shortest: bool, failures: int | None = None) -> str:
    """Beside the run; `failures` strike on it (None: none can)."""
    if failures:
        if shortest:
            return " None with fewer failures does, and no shorter one with as many."
        return " One with fewer failures, or a shorter one, may exist."
    if failures is not None and shortest:
        return " Nothing fails on the way; no shorter sequence of steps does without a failure."
    return " No shorter sequence of steps does." if shortest else " A shorter one may exist."


def how_it_fails(answer: AnswerView) -> str:
    """What was found of a requirement that fails, in a sentence or two."""
    facts = answer.facts
    if facts.kind == "can":
        return "No sequence of steps, however long, ever brings this about."
    if isinstance(facts.finding, DeadEnd):
        return f"{dead_end(facts.finding)} {FROM_THERE}"
    return length_of(facts.finding, bool(facts.forbidden_steps)) if isinstance(facts.finding, Reachable) else ""


def dead_end(finding: DeadEnd) -> str:
    """How far it is to where the goal is out of reach."""
    if finding.steps == 0:
        return "From the very start it can never be brought about."
    return f"{leads(finding.steps)} to a dead end.{shorter(finding.shortest)}"


FROM_THERE = "From here on it can never be brought about, whatever is done, unless something fails."


def reached_head(answer: AnswerView) -> str:
    """What the reasons for the end of a run are headed with."""
    dead = isinstance(answer.facts.finding, DeadEnd)
    return "What is still in the way there" if dead else "Which part of the requirement broke"


def depth_said(one: LeftOpen) -> str:
    """How far what is undecided was looked at."""
    if one.depth >= 0:
        return f"Up to {count_of(one.depth, 'step')} nothing was found; what longer orders of steps do is open."
    single = sum(map(len, one.answers.values())) == 1
    whether = "it holds nor that it fails" if single else "they hold nor that they fail"
    return f"Nothing at all is known: neither that {whether}."


def status_said(status: Status) -> str:
    """What came out of one requirement, for a list of them."""
    return "holds; its situation never arises" if status is Status.VACUOUS else VERDICTS[status]


def completeness(proof: ProofView) -> Iterator[str]:
    """What was not asked, what is undecided, what was never put to the test."""
    yield from map(sentence, proof.scope)
    for one in proof.open:
        number = count_of(sum(map(len, one.answers.values())), "requirement")
        yield f"Undecided: {number} ({', '.join(one.answers)}), because: {sentence(one.reason)}"
    if vacuous := [group.text.from_ for group in proof.groups if group.having(Status.VACUOUS)]:
        yield (
            f"Vacuous, as the situation never arises: {listed(vacuous)}, for what the list of each requirement names. "
            "Such a pass shows nothing: look why."
        )
    if unshown := [group.text.from_ for group in proof.groups if any(one.unshown for one in group.answers)]:
        yield f"It holds, but that its situation ever arises is not shown: {listed(unshown)}."
    if proof.evidence is not None:
        yield f"Evidence for others to check: {proof.evidence}."
