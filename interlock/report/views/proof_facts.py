"""The facts of proofs, as the JSON result has them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, TypeAlias

from msgspec import UNSET, Meta, UnsetType, field

from interlock.report.views.facts import Count, ExitCode, Facts, Place, Reason, ResultFacts, Step, Texts
from interlock.report.views.identification import Identification
from interlock.study.verify import Status as Status

Values: TypeAlias = Mapping[str, bool | int | str]
_Yes: TypeAlias = Annotated[bool, Meta(extra_json_schema={"const": True})]
_No: TypeAlias = Annotated[bool, Meta(extra_json_schema={"const": False})]
_Engine: TypeAlias = Annotated[str, Meta(description="who claimed it")]
_Checked: TypeAlias = Annotated[str, Meta(description="what checked the claim by other means")]
_Steps: TypeAlias = Annotated[Count, Meta(description="of the run")]
_Shortest: TypeAlias = Annotated[
    bool, Meta(description="whether runs with fewer failures, and shorter ones with as many, were excluded")
]
_Failures: TypeAlias = Annotated[
    Count | None, Meta(description="how many failures strike on the run; null: the hold declares none")
]


class FindingFacts(Facts, frozen=True):
    """What was found of the requirement's question: one of these."""


class Unreachable(FindingFacts, frozen=True):
    """No reachable state is as asked."""

    reachable: Annotated[_No, Meta(description="whether a state as asked can be reached")]
    engine: _Engine
    checked_by: _Checked
    states: Annotated[int | None, Meta(description="how many states there are, where all were visited")]


class Reachable(FindingFacts, frozen=True):
    """A run leads to a state as asked."""

    reachable: Annotated[_Yes, Meta(description="whether a state as asked can be reached")]
    engine: _Engine
    steps: _Steps
    shortest: _Shortest
    failures: _Failures


class Open(FindingFacts, frozen=True):
    """It is not known."""

    reachable: Annotated[None, Meta(description="whether a state as asked can be reached")]
    reason: Annotated[str, Meta(description="why not")]
    what_to_try: Annotated[str, Meta(description="what may bring an answer")]
    excluded_up_to_steps: Annotated[int, Meta(ge=-1, description="no run of so many steps was found; -1: none known")]


class Contradicted(FindingFacts, frozen=True):
    """Two parts of the program contradict each other: use no result."""

    reachable: Annotated[None, Meta(description="whether a state as asked can be reached")]
    engine: _Engine
    disputed: Annotated[str, Meta(description="what does not fit")]


class AlwaysPossible(FindingFacts, frozen=True):
    """From every reachable state some run leads to the goal."""

    always_possible: Annotated[_Yes, Meta(description="whether the goal can be reached from every state")]
    engine: _Engine
    checked_by: _Checked
    cases: Annotated[Count, Meta(description="how many cases are told apart")]


class DeadEnd(FindingFacts, frozen=True):
    """A run leads to where the goal is out of reach for good."""

    always_possible: Annotated[_No, Meta(description="whether the goal can be reached from every state")]
    engine: _Engine
    checked_by: _Checked
    steps: _Steps
    shortest: _Shortest


class StoryFacts(Facts, frozen=True):
    """A run in words."""

    start: Annotated[Texts, Meta(description="where what moves began")]
    steps: Annotated[tuple[Step, ...], Meta(description="in order")]
    last_step_possible: Annotated[tuple[Reason, ...], Meta(description="why the last step was possible")]
    reached: Annotated[tuple[Reason, ...], Meta(description="why the end is what was asked about")]


class TraceStep(Facts, frozen=True):
    """One step of a run as the state machine has it."""

    rule: Annotated[str, Meta(description="the name of the rule")]
    changed: Annotated[Values, Meta(description="the new value of every variable that changed")]


class TraceFacts(Facts, frozen=True):
    """A run as the state machine has it."""

    initial: Annotated[Values, Meta(description="the value of every variable at the start")]
    steps: Annotated[tuple[TraceStep, ...], Meta(description="in order")]


class RequirementFacts(Facts, frozen=True):
    """One requirement and what was found of it."""

    id: Annotated[str, Meta(description="unique in the hold")]
    from_: Annotated[str, Meta(description="the id of its text")] = field(name="from")
    bindings: Annotated[Mapping[str, str], Meta(description="the thing that each name of its text stands for")]
    kind: Annotated[str, Meta(description="what sort of requirement")]
    text: Annotated[str, Meta(description="what it asks for")]
    hazard: Annotated[str, Meta(description="what its breach can lead to")]
    severity: Annotated[str, Meta(description="the category of the hazard")]
    scheme: Annotated[str, Meta(description="the scheme of the categories")]
    harm: Annotated[Texts | None, Meta(description="who or what comes to harm; null: not said")]
    source: Annotated[str, Meta(description="where it is taken from")]
    written_at: Annotated[Place, Meta(description="where its text stands")]
    status: Annotated[Status, Meta(description="what was found")]
    situation_arises: Annotated[bool | None, Meta(description="null: not known, or it speaks of every state")]
    finding: Annotated[FindingFacts, Meta(description="the answer to its question, and who checked it")]
    story: Annotated[StoryFacts | None, Meta(description="the run against it, or that shows what can be done")]
    forbidden_steps: Annotated[Texts, Meta(description="possible at the end of the run although it forbids them")]
    trace: Annotated[TraceFacts | None, Meta(description="the run, for replay")]


class Counts(Facts, frozen=True):
    """How many requirements came out how."""

    hold: Annotated[Count, Meta(description="those that hold, vacuously too")]
    hold_vacuously: Annotated[Count, Meta(description="those whose situation never arises")]
    fail: Annotated[Count, Meta(description="those that some run breaks")]
    undecided: Annotated[Count, Meta(description="those that a limit left open")]
    disputed: Annotated[Count, Meta(description="faults of this program")]


class MachineSize(Facts, frozen=True):
    """How large the state machine is."""

    variables: Annotated[Count, Meta(description="memory cells")]
    rules: Annotated[Count, Meta(description="possible steps")]


class ChangeFacts(Facts, frozen=True):
    """One change of a modification."""

    verb: Annotated[str, Meta(description="what was done")]
    object: Annotated[str, Meta(description="to what")]
    at: Annotated[Place, Meta(description="where that is written")]


class CoreFact(Facts, frozen=True):
    """A sentence that is so in every reachable state."""

    text: Annotated[str, Meta(description="with '...' where several differ in a place only")]
    places: Annotated[Texts, Meta(description="what stands there")]


class CoreFacts(Facts, frozen=True):
    """What the proofs of one requirement text rest on."""

    requirement: Annotated[str, Meta(description="the id of the text")]
    clauses: Annotated[Count, Meta(description="how many clauses of certificates that is")]
    counted: Annotated[bool, Meta(description="some were decided by visiting every state")]
    facts: Annotated[tuple[CoreFact, ...], Meta(description="the clauses in words")]


class HindranceFacts(Facts, frozen=True):
    """One thing that keeps steps from happening: a contact, a stop, a panel, reach, a thing that is fixed."""

    text: Annotated[str, Meta(description="what is so of it")]
    written_at: Annotated[Place, Meta(description="where that is written")]


class WithoutFacts(Facts, frozen=True):
    """A smallest set of hindrances without all of which something could be that can never be."""

    hindrances: Annotated[tuple[HindranceFacts, ...], Meta(description="all of them have to go")]
    steps: Annotated[Count, Meta(description="of the run that then exists; a shorter one may exist")]
    story: Annotated[StoryFacts, Meta(description="that run")]
    also: Annotated[Texts, Meta(description="the ids of requirements that then could be too")]


class NeverFacts(Facts, frozen=True):
    """Why something can never be: the smallest sets of hindrances without which it could."""

    requirement: Annotated[str, Meta(description="the id of what can never be; of a checklist's goal, `goal`")]
    without: Annotated[tuple[WithoutFacts, ...], Meta(description="smaller sets first; none: no hindrance keeps it")]
    complete_up_to: Annotated[
        Count | None, Meta(description="all smallest sets of so many hindrances are here; null: of any number")
    ]
    not_all: Annotated[str, Meta(description="why larger ones may be missing; empty where none is")]
    hindrances: Annotated[Count, Meta(description="how many there are in the hold")]
    checked_by: Annotated[str, Meta(description="what agreed that no other set would do")]


class CauseFacts(Facts, frozen=True):
    """What to look at first: a hint, found by comparing and by trying on the model; no approved change."""

    item: Annotated[str, Meta(description="what it is")]
    id: Annotated[str, Meta(description="the id that it has, or that it belongs to")]
    at: Annotated[Place, Meta(description="where it is described")]
    found: Annotated[str, Meta(description="what is so of it")]
    beside: Annotated[str, Meta(description="what that is held against")]
    requirements: Annotated[Texts, Meta(description="the ids of what fails because of it")]
    proved: Annotated[bool, Meta(description="they hold once it is otherwise; false: as it is they must fail")]
    lost: Annotated[Texts, Meta(description="what could then not be done any more, or no way to it was soon found")]
    besides: Annotated[
        Texts, Meta(description="other items, told of other requirements, that have to be otherwise too")
    ]


class DifferenceFacts(Facts, frozen=True):
    """One thing that changes made otherwise."""

    item: Annotated[str, Meta(description="what it is")]
    at: Annotated[Place, Meta(description="where it is described")]
    now: Annotated[str, Meta(description="what is so of it")]
    was: Annotated[str, Meta(description="what was before")]


class BlamedFacts(Facts, frozen=True):
    """Which changes of a modification to blame for what fails."""

    requirement: Annotated[str, Meta(description="the id of what fails")]
    sets: Annotated[
        tuple[tuple[ChangeFacts, ...], ...],
        Meta(description="the smallest sets of changes that, undone together, restore it: proved"),
    ]
    complete: Annotated[bool, Meta(description="there are no others: each was asked")]
    before: Annotated[bool, Meta(description="it fails without any of the changes too")]
    differences: Annotated[tuple[DifferenceFacts, ...], Meta(description="what the first of the sets did")]


class HoldFacts(Facts, frozen=True):
    """What was found of one hold."""

    description: Annotated[str, Meta(description="the file, as it was named")]
    title: Annotated[str, Meta(description="of the hold")]
    situation: Annotated[str | None, Meta(description="the situation it starts from; null: as described")]
    exit_code: Annotated[ExitCode, Meta(description="0 all holds, 1 some fails, 3 undecided, 4 disputed")]
    counts: Annotated[Counts, Meta(description="how many requirements came out how")]
    machine: Annotated[MachineSize, Meta(description="how large the state machine is")]
    modifications: Annotated[tuple[ChangeFacts, ...], Meta(description="changes that were carried out")]
    requirements: Annotated[tuple[RequirementFacts, ...], Meta(description="in the order of their texts")]
    nothing_to_range_over: Annotated[Texts, Meta(description="texts that find nothing of their sort in the hold")]
    checked_by: Annotated[Texts, Meta(description="what checked the proofs by other means")]
    assumptions: Annotated[Texts, Meta(description="what is taken for granted; object to each line")]
    identification: Annotated[Identification, Meta(description="what it was made from")]
    grounds: Annotated[
        tuple[CoreFacts, ...] | UnsetType, Meta(description="what the proofs rest on, where that was asked for")
    ] = UNSET
    never: Annotated[
        tuple[NeverFacts, ...] | UnsetType, Meta(description="why what can never be cannot, where there is such")
    ] = UNSET
    look_first: Annotated[
        tuple[CauseFacts, ...] | UnsetType, Meta(description="what to look at first, where that was looked for")
    ] = UNSET
    blamed_changes: Annotated[
        tuple[BlamedFacts, ...] | UnsetType, Meta(description="changes to blame, where that was looked for")
    ] = UNSET


class DiagnosticFacts(Facts, frozen=True):
    """One fault in a file."""

    code: Annotated[str, Meta(description="stable for ever; 'interlock explain' says more")]
    at: Annotated[Place, Meta(description="where it is")]
    message: Annotated[str, Meta(description="what is wrong")]
    expected: Annotated[str | None, Meta(description="what would be right")]
    nearest: Annotated[str | None, Meta(description="the known name most like the one found")]
    context: Annotated[Texts, Meta(description="how the text came to be read")]


class Rejection(Facts, frozen=True):
    """A description that cannot be used."""

    description: Annotated[str, Meta(description="the file, as it was named")]
    diagnostics: Annotated[tuple[DiagnosticFacts, ...], Meta(description="every fault, by place")]


class ProofFacts(ResultFacts, frozen=True):
    """Result of proving the requirements of cargo holds."""

    exit_code: Annotated[
        Annotated[int, Meta(extra_json_schema={"enum": [0, 1, 2, 3, 4]})],
        Meta(description="the worst of all holds: 4 before 2 (rejected) before 1 before 3 before 0"),
    ]
    holds: Annotated[tuple[HoldFacts, ...], Meta(description="those that were proved, in order")]
    rejected: Annotated[tuple[Rejection, ...], Meta(description="those that cannot be used")]
    cautions: Annotated[Texts, Meta(description="what governs")]
