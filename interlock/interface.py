"""The program from Python: for notebooks, and for other programs.

Each function does what the command of the same purpose does, and gives the same verdicts.  A result has `facts`, the
values that its JSON document has, typed; `records` gives its tables; `str`, `html` and `rendered` lay it out as the
commands do.  Nothing is written to files and nothing is kept; Ctrl-C ends what is at work in order, and what was not
decided by then is undecided.

Nothing here approves anything: see the cautions that each result carries.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from html import escape
from time import monotonic
from typing import TYPE_CHECKING, Generic, Protocol, TypeVar

import click

from interlock.cli.formats import FORMATS, Format
from interlock.cli.opening import (
    Opened,
    Rejected,
    Texts,
    check_only,
    open_catalogue,
    open_hold,
    open_source,
    open_texts,
)
from interlock.cli.stopping import Stop, noted_stop

if TYPE_CHECKING:
    from interlock.diagnostics.spans import Diagnostic
    from interlock.hold.compile.compiler import CompiledHold
    from interlock.hold.language.model import Hold as Described
    from interlock.kernel.claims import Limits
    from interlock.report.views.audit_facts import AuditFacts
    from interlock.report.views.checklist_facts import Head
    from interlock.report.views.comparison_facts import ComparisonFacts
    from interlock.report.views.contacts_facts import ContactsFacts
    from interlock.report.views.deferral_facts import DeferralFacts
    from interlock.report.views.facts import Facts
    from interlock.report.views.failures_facts import FailuresFacts
    from interlock.report.views.family_facts import FamilyFacts
    from interlock.report.views.fleet_facts import FleetFacts
    from interlock.report.views.functional_test_facts import FunctionalTestFacts
    from interlock.report.views.proof_facts import HoldFacts
    from interlock.report.views.repair_facts import RepairFacts

__all__ = [
    "Checklist",
    "DescriptionError",
    "Hold",
    "InterlockError",
    "Proof",
    "RequestError",
    "Result",
    "analyse_contacts",
    "analyse_failures",
    "audit_procedure",
    "compare_holds",
    "defer",
    "load_hold",
    "load_text",
    "make_checklist",
    "make_questions",
    "make_test",
    "prove_family",
    "prove_fleet",
    "prove_hold",
    "repair_hold",
    "teach",
]

_T = TypeVar("_T")
_F = TypeVar("_F", bound="Facts", covariant=True)
_Path = str | os.PathLike[str]
"""A file, or `demo:NAME` for one that comes with the program."""

_RUNS_TOLD = 3
"""Of so many sets of failures the run is told where nobody says of how many."""
_HEIGHT = "34em"


# ---- what goes wrong ---------------------------------------------------------------------------------------------


class InterlockError(Exception):
    """What was given cannot be used; the message says why."""


class RequestError(InterlockError, ValueError):
    """What was asked for does not go with the hold, or a file cannot be read."""


class DescriptionError(InterlockError, ValueError):
    """Files are rejected: the message has every fault, each with file, line, column, the line and a caret."""

    def __init__(self, message: str, faults: tuple[Diagnostic, ...]) -> None:
        super().__init__(message)
        self.faults = faults
        """Each with `code`, `span` (`file`, `line`, `column`), `message`, `expected`, `nearest`."""


@contextmanager
def _told() -> Iterator[None]:
    """What the command line would refuse is raised as an error of this module."""
    try:
        yield
    except click.ClickException as fault:
        raise RequestError(fault.format_message()) from fault


def _usable(found: _T | Rejected) -> _T:
    if isinstance(found, Rejected):
        raise DescriptionError(_rendered(found), found.diagnostics)
    return found


def _rendered(told: Rejected) -> str:
    from interlock.diagnostics.render import render_diagnostics

    return render_diagnostics(told.diagnostics, told.sources)


# ---- values ------------------------------------------------------------------------------------------------------


class _View(Protocol[_F]):
    """One value with all that is told of a study."""

    @property
    def facts(self) -> _F: ...


@dataclass(frozen=True, slots=True, repr=False)
class Hold:
    """A description that makes sense, with the requirements that will be asked; `load_hold` makes it."""

    _opened: Opened
    _texts: Texts
    _situation: str | None

    @property
    def title(self) -> str:
        """As the description has it."""
        return self._opened.compiled.hold.title

    @property
    def doubts(self) -> str:
        """What is doubtful in a description that can be used, as the command line shows it; empty where nothing is."""
        return _rendered(self._opened.warnings)

    @property
    def requirements(self) -> tuple[str, ...]:
        """The ids of the single requirements, such as `one-axis-at-a-time[3L]`."""
        return tuple(one.requirement.id for one in self._opened.compiled.instances)

    def __str__(self) -> str:
        """What the description says, to be checked against the equipment."""
        from interlock.report.text.description import description_lines
        from interlock.report.text.lines import as_text
        from interlock.report.views.description import description_view

        return as_text(description_lines(description_view(self._opened.label, self._opened.compiled)))

    def __repr__(self) -> str:
        return f"<interlock.Hold {self.title!r}, {len(self.requirements)} requirements>"

    def _repr_html_(self) -> str:
        """The plan, and what the description says beneath it."""
        from interlock.report.drawing.plan import plan_svg

        # a drawing of ours, in which every text is escaped; no file of its own, so no XML declaration
        drawn = plan_svg(self._opened.compiled, None)
        return (
            f"<div>{drawn[drawn.index('<svg') :]}</div><details><summary>What it says</summary>{_plain(self)}</details>"
        )


@dataclass(frozen=True, slots=True, repr=False)
class Result(Generic[_F]):
    """What came of a study.

    `facts` are the members of its JSON document (`interlock schema` describes them), `exit_code` is what the command
    would end with: 0 all that was asked holds, 1 something was found, 2 (of a fleet) some configuration makes no hold,
    3 undecided, 4 *disputed*, which is a fault of this program: use no result.  `doubts` are what is doubtful in the
    description, of a fleet why configurations make no hold.
    """

    facts: _F
    exit_code: int
    doubts: str
    _command: str
    _formats: tuple[Format, ...]
    _parts: Mapping[str, object]

    def __bool__(self) -> bool:
        """A result is no yes or no: undecided is neither."""
        raise TypeError("a result is neither true nor false: look at its exit_code (0: all that was asked holds)")

    @property
    def formats(self) -> tuple[str, ...]:
        """What `rendered` takes."""
        return tuple(one.name for one in self._formats)

    def rendered(self, format: str) -> str:
        """As the command writes it with that `--format`.  Raises RequestError where there is none of that name."""
        row = next((one for one in self._formats if one.name == format), None)
        if row is None:
            raise RequestError(f"there is no format {format!r} of this, only {', '.join(self.formats)}")
        from interlock.report.text.lines import as_text

        content = row.render(self._parts)
        if isinstance(content, bytes):
            return content.decode()
        return content if isinstance(content, str) else as_text(content)

    def html(self) -> str:
        """The page to print and sign, as one document.  Raises RequestError where there is none."""
        return self.rendered("html")

    def json(self) -> str:
        """The document for other programs."""
        return self.rendered("json")

    def records(self, table: str) -> list[dict[str, object]]:
        """The rows of a table of the facts (`tables` names them), for a data frame: `pandas.DataFrame(records)`.

        What has parts is told by part, as in `written_at.line`; lists stay lists.  Raises RequestError where there is
        no such table.
        """
        found = self._tables()
        if table not in found:
            raise RequestError(f"there is no table {table!r} in this, only {', '.join(found)}")
        return found[table]

    @property
    def tables(self) -> tuple[str, ...]:
        """What `records` takes."""
        return tuple(self._tables())

    def __str__(self) -> str:
        """The report as text."""
        return self.rendered("text")

    def __repr__(self) -> str:
        return f"<interlock.{type(self).__name__} of {self._command}, exit code {self.exit_code}>"

    def _repr_html_(self) -> str:
        """The page in a frame of its own, in which nothing runs; the report as text for whoever shows no frames."""
        if "html" not in self.formats:
            return _plain(self)
        style = f"width:100%;height:{_HEIGHT};border:1px solid"
        frame = f'<iframe sandbox title="{escape(self._command)}" style="{style}" srcdoc="{escape(self.html())}">'
        return f"{frame}</iframe><details><summary>As text</summary>{_plain(self)}</details>"

    def _tables(self) -> dict[str, list[dict[str, object]]]:
        import json

        return dict(_tables_in(json.loads(_document(self.facts)), ""))


if TYPE_CHECKING:
    _OfHold = Result[HoldFacts]
    _OfHead = Result[Head]
else:
    # what facts are made of is loaded when there are some
    _OfHold = _OfHead = Result


class Proof(_OfHold):
    """What came of proving the requirements of one hold."""

    __slots__ = ()

    def statuses(self) -> dict[str, str]:
        """Of each single requirement, by id: `holds`, `holds vacuously`, `fails`, `undecided` or `disputed`."""
        return {one.id: one.status.value for one in self.facts.requirements}


class Checklist(_OfHead):
    """A checklist that is proved, or why there is none."""

    __slots__ = ()

    @property
    def is_made(self) -> bool:
        """Whether there is one."""
        return "procedure" in self.formats


def _plain(told: object) -> str:
    return f'<pre style="white-space:pre-wrap">{escape(str(told))}</pre>'


def _document(facts: Facts) -> str:
    from interlock.report.json.writing import document

    return document(facts)


def _tables_in(members: Mapping[str, object], before: str) -> Iterator[tuple[str, list[dict[str, object]]]]:
    for name, value in members.items():
        if isinstance(value, dict):
            yield from _tables_in(value, f"{before}{name}.")
        elif isinstance(value, list) and value and all(isinstance(row, dict) for row in value):
            yield before + name, [dict(_cells(row, "")) for row in value]


def _cells(row: Mapping[str, object], before: str) -> Iterator[tuple[str, object]]:
    for name, value in row.items():
        if isinstance(value, dict):
            yield from _cells(value, f"{before}{name}.")
        else:
            yield before + name, value


# ---- what can be asked -------------------------------------------------------------------------------------------


def load_hold(
    file: _Path, *, requirements: Iterable[_Path] = (), standing: bool = True, situation: str | None = None
) -> Hold:
    """Read a description, or a modification of one, from a file or `demo:NAME`.

    `requirements` are files of more requirements, `standing` says whether the standing ones are asked, `situation` one
    of the description's ways to start.  Raises DescriptionError with every fault, RequestError where a file cannot be
    read or there is no such situation.
    """
    with _told():
        texts = _texts(requirements, standing)
        return Hold(_usable(open_hold(os.fspath(file), texts, situation)), texts, situation)


def load_text(
    text: str,
    *,
    name: str = "text",
    requirements: Iterable[_Path] = (),
    standing: bool = True,
    situation: str | None = None,
) -> Hold:
    """As `load_hold`, of a description that stands in a cell; messages call it `name`.

    What it modifies is looked for in the folder in which the program runs.
    """
    from interlock.hold.loader import Source

    with _told():
        texts = _texts(requirements, standing)
        return Hold(_usable(open_source(name, Source(name, text.encode()), texts, situation)), texts, situation)


def prove_hold(
    hold: Hold,
    *,
    only: Iterable[str] = (),
    seconds: float | None = None,
    depth: int | None = None,
    method: str = "combined",
    blame: bool = True,
    why: bool = False,
) -> Proof:
    """Decide the requirements over every state that any order of steps can reach.

    `only` are ids, of texts or of single requirements; `seconds` and `depth` are limits, beyond which a requirement is
    undecided; `method` a word of `interlock prove --help`; `blame` looks for what to look at first where something
    fails, `why` says what proofs rest on.  Raises RequestError for an id or a method that there is not.
    """
    from interlock.cli.exit_codes import code_of_hold
    from interlock.cli.methods import METHODS, engine_of
    from interlock.cli.prove import BLAME_SECONDS
    from interlock.kernel.claims import silent
    from interlock.prove.invariants.lemmas import Lemmas
    from interlock.report.views.proof import proof_facts, proof_view
    from interlock.study.causes.blame import blame as look_for_blame
    from interlock.study.proof_cores import proof_cores_of
    from interlock.study.verify import Status, verify
    from interlock.study.why_never import SECONDS, WhyNever, why_never

    opened, chosen = hold._opened, tuple(only)
    if method not in METHODS:
        raise RequestError(f"there is no method {method!r}, only {', '.join(METHODS)}")
    with _at_work(opened, chosen, seconds, depth) as work:
        # here and below the studies are asked as the commands ask them, progress aside
        engine = engine_of(method)
        found = verify(opened.compiled, engine, work.limits(), silent, chosen or None, lemmas=Lemmas())
        blamed, never = None, tuple[WhyNever, ...]()
        if found.count(Status.FAILS):
            never = why_never(found, why, SECONDS if seconds is None else min(seconds, SECONDS))
        if blame:
            spent = work.limits()
            spent = replace(spent, seconds=BLAME_SECONDS if spent.seconds is None else spent.seconds)
            blamed = look_for_blame(found, opened.without, engine_of("combined"), spent, False, never)
    cores = proof_cores_of(found) if why else None
    code = code_of_hold(found)
    view = proof_view(opened.label, found, opened.texts, code, opened.replaced, None, cores, never, blamed, opened.read)
    parts = {
        "proof": view,
        "only_proof": view,
        "proofs": [view],
        "facts": proof_facts([view], {}, code),
        "quiet": False,
        "verbose": False,
        "full": False,
        "seconds": work.took,
    }
    return Proof(view.facts, code, hold.doubts, "prove", _formats("prove", parts), parts)


def audit_procedure(
    procedure: _Path,
    *,
    requirements: Iterable[_Path] = (),
    standing: bool = True,
    slips: bool = True,
    interlock: bool = True,
    seconds: float | None = None,
) -> Result[AuditFacts]:
    """Audit a written procedure against the hold that it names.

    `slips` follows every slip and pair of them, `interlock` proves what the interlock holds by itself.  Raises as
    `load_hold` does.
    """
    from interlock.cli.exit_codes import code_of_audit
    from interlock.cli.methods import engine_of
    from interlock.cli.reading import fetch, read_source
    from interlock.hold import procedures
    from interlock.kernel.claims import silent
    from interlock.report.views.audit import audit_view
    from interlock.study.procedure.audit import audit_procedure

    name = os.fspath(procedure)
    with _told():
        texts = _texts(requirements, standing)
        opened = procedures.open_procedure(read_source(name), fetch, texts.by_id.values())
    told = Rejected(opened.diagnostics, {**texts.sources, **opened.sources})
    bound = _usable(told if opened.bound is None else opened.bound)
    with _at_work(None, (), seconds) as work:
        engine = engine_of("combined") if interlock else None
        found = audit_procedure(bound, engine, work.limits(), silent, slips=slips, alone=opened.freely)
    code = code_of_audit(found.overall)
    return _result(
        audit_view(found, name, code, (*opened.read, *texts.read)), code, _rendered(told), "audit", work.took
    )


def make_checklist(
    hold: Hold,
    *,
    load: str | None = None,
    unload: str | None = None,
    goal: str | None = None,
    aboard: str | None = None,
    language: str = "en",
    seconds: float | None = None,
) -> Checklist:
    """Make a checklist that is proved, for one of `load` (`all:KIND`, `3L=HALF,3R=HALF`), `unload` (`all`, `3L,3R`) and
    `goal` (an expression); `aboard` is a load to start with.

    It is told in `language`: one that comes with the program, or a catalogue of messages, `FILE.po`.  Raises
    RequestError where the goal does not go with the hold, or there is no such language.  A goal out of reach is a
    result: see `is_made`.
    """
    from interlock.cli.checklist import audited_checklist, goal_of, load_of
    from interlock.cli.exit_codes import code_of_checklist
    from interlock.cli.languages import language_of
    from interlock.kernel.claims import silent
    from interlock.report.views.checklist import checklist_view
    from interlock.report.views.wording import sentence
    from interlock.study.checklist.goals import GoalFault
    from interlock.study.checklist.making import NoChecklist, make_checklist

    if sum(text is not None for text in (load, unload, goal)) != 1:
        raise RequestError("say what is wanted: one of load, unload and goal, and only one")
    opened = hold._opened
    with _told():
        told_in = language_of(language)
    with _at_work(opened, (), seconds) as work:
        wanted = goal_of(opened.compiled, load, unload, goal)
        before = None if aboard is None else load_of(aboard, "aboard")
        try:
            made = make_checklist(opened.compiled, wanted, work.limits(), silent, before)
            audited = None if isinstance(made, NoChecklist) else audited_checklist(made, work.limits(), silent)
        except GoalFault as fault:
            raise RequestError(sentence(str(fault))) from fault
    code = code_of_checklist(made, audited)
    view = checklist_view(opened.label, made, audited, code, opened.read)
    parts: dict[str, object] = {"view": view, "facts": view.facts, "verbose": False, "language": told_in}
    parts |= {"result": made, "hold_file": opened.label}
    # of why there is none there is a text and a document
    shapes = [one for one in _formats("checklist", parts) if audited is not None or one.name in ("text", "json")]
    return Checklist(view.facts, code, hold.doubts, "checklist", tuple(shapes), parts)


def analyse_failures(
    hold: Hold,
    *,
    together: int = 1,
    only: Iterable[str] = (),
    declared: bool = False,
    catalogue: _Path | None = None,
    course: bool = False,
    told: int = _RUNS_TOLD,
    seconds: float | None = None,
) -> Result[FailuresFacts]:
    """Find all smallest sets of up to `together` failures (1 to 3) that break a requirement.

    Everything may fail that the catalogue has and the description does not exclude, or what is `declared` alone;
    `course` says also which show while the hold is filled, shut and emptied; of `told` sets the run is told.
    """
    from interlock.cli.exit_codes import code_of_failures
    from interlock.hold.catalogue import everything_fails
    from interlock.kernel.claims import silent
    from interlock.report.views.failures import failures_view
    from interlock.study.failures import analyse_failures as analyse
    from interlock.study.functional_test.course import follow_course

    if not 1 <= together <= 3:
        raise RequestError("together is 1, 2 or 3")
    with _told():
        known, listed = _usable(open_catalogue(None if catalogue is None else os.fspath(catalogue)))
    opened = hold._opened
    if not declared:
        struck = everything_fails(opened.compiled.hold, known).hold
        opened = replace(opened, compiled=_compiled_again(hold, struck))
    if not opened.compiled.hold.failures:
        raise RequestError(f"{opened.label}: there is nothing in it that could fail, as far as it is described")
    chosen = tuple(only)
    with _at_work(opened, chosen, seconds) as work:
        found = analyse(opened.compiled, together, work.limits(), silent, chosen or None)
        followed = follow_course(opened.compiled, work.limits(), silent) if course else None
    code = code_of_failures(found)
    reckoned = everything_fails(opened.compiled.hold, known)
    read = (*opened.read, *(() if declared else listed))
    view = failures_view(opened.label, found, reckoned, code, told, seconds, None, followed, [], read)
    return _result(view, code, hold.doubts, "failures", work.took)


def analyse_contacts(
    hold: Hold, *, together: int = 1, only: Iterable[str] = (), seconds: float | None = None
) -> Result[ContactsFacts]:
    """Say what each contact of the wiring is for: what breaks, and what can no longer be done, without it.

    `together` is 2 where pairs are asked about as well: without one more contact, or where something else has failed.
    """
    from interlock.cli.exit_codes import code_of_contacts
    from interlock.hold.compile.contacts import contact_items
    from interlock.kernel.claims import silent
    from interlock.report.views.contacts import contacts_view
    from interlock.study.contacts.purposes import analyse_contacts, failing_contacts

    if not 1 <= together <= 2:
        raise RequestError("together is 1 or 2")
    with _told():
        known, listed = _usable(open_catalogue(None))
    opened, chosen = hold._opened, tuple(only)
    compiled = _compiled_again(hold, failing_contacts(opened.compiled.hold, known).hold)
    if not contact_items(compiled.hold, compiled.world):
        raise RequestError(f"{opened.label}: there is no contact in it, as far as it is described")
    with _at_work(replace(opened, compiled=compiled), chosen, seconds) as work:
        found = analyse_contacts(compiled, together, work.limits(), silent, chosen or None)
    code, reckoned = code_of_contacts(found), failing_contacts(compiled.hold, known)
    view = contacts_view(opened.label, found, reckoned, code, (*opened.read, *listed))
    return _result(view, code, hold.doubts, "contacts", work.took)


def repair_hold(
    hold: Hold,
    *,
    only: Iterable[str] = (),
    every: bool = False,
    number: int = 1,
    told: int = 0,
    seconds: float | None = None,
) -> Result[RepairFacts]:
    """Find the smallest changes after which everything that is asked holds, each proved as a modification.

    `every` settles every change that is looked at; `number` is the proposal that `rendered("modification")` writes; of
    `told` requirements that fail the run is told.  It approves nothing.
    """
    from interlock.cli.exit_codes import code_of_repair
    from interlock.cli.repair import writer_of
    from interlock.kernel.claims import silent
    from interlock.report.views.repair import repair_view
    from interlock.study.repair.repair import MOST_OFFERED, repair

    opened, chosen = hold._opened, tuple(only)
    with _at_work(opened, chosen, seconds) as work:
        found = repair(
            opened.compiled,
            writer_of(opened, None),
            opened.without,
            work.limits(),
            silent,
            chosen=chosen or None,
            most=None if every else MOST_OFFERED,
            thorough=every,
        )
    code = code_of_repair(found)
    view = repair_view(opened.label, opened.compiled, found, code, opened.read)
    return _result(view, code, hold.doubts, "repair", work.took, told=told, number=number)


def compare_holds(
    first: Hold,
    second: Hold,
    *,
    same: Mapping[str, str] | None = None,
    verdicts: bool = True,
    every: bool = False,
    told: int = 1,
    seconds: float | None = None,
) -> Result[ComparisonFacts]:
    """Compare a hold with an old one: what became of each requirement, which steps are new, lost or lead elsewhere.

    `same` says which thing of the first is which of the second; `every` asks about every single step of a kind.
    """
    from interlock.cli.compare import both_proofs
    from interlock.cli.exit_codes import code_of_comparison
    from interlock.kernel.claims import silent
    from interlock.report.views.comparison import comparison_view
    from interlock.study.comparison.compare import compare_holds
    from interlock.study.comparison.matching import Unmatchable

    old, new = first._opened, second._opened
    with _at_work(new, (), seconds) as work:
        try:
            found = compare_holds(
                old.compiled,
                new.compiled,
                same or {},
                new.without,
                work.limits(),
                silent,
                verdicts=verdicts,
                every=every,
            )
        except Unmatchable as fault:
            raise RequestError(f"same: {fault}") from fault
    code = code_of_comparison(found)
    view = comparison_view((old.label, new.label), found, code, new.read, old.read)
    both = both_proofs(found, old, new)
    return _result(view, code, first.doubts + second.doubts, "compare", work.took, told=told, both=both)


def defer(
    hold: Hold,
    *items: str,
    only: Iterable[str] = (),
    together: int = 3,
    told: int = 0,
    seconds: float | None = None,
) -> Result[DeferralFacts]:
    """What fails with these items inoperative (`M3L`, `M3L=lowered`), and all smallest sets of up to `together`
    limitations with which nothing does.  It approves no deferral."""
    from interlock.cli.defer import cases_of
    from interlock.cli.exit_codes import code_of_deferrals
    from interlock.cli.reading import seen_from
    from interlock.kernel.claims import silent
    from interlock.report.views.deferral import deferral_view
    from interlock.study.deferral.deferral import defer as work_out

    opened, chosen = hold._opened, tuple(only)
    with _told():
        cases = cases_of(opened.compiled.hold, items, None)
    found = []
    with _at_work(opened, chosen, seconds) as work:
        for left, case in zip(range(len(cases), 0, -1), cases, strict=True):
            result = work_out(
                opened.compiled.hold,
                opened.compiled,
                case,
                opened.given,
                together,
                work.limits(1 / left),
                silent,
                wider=False,
                chosen=chosen or None,
            )
            found.append((case, result))
    code = code_of_deferrals(result for _, result in found)
    view = deferral_view(opened.label, opened.compiled, found, together, code, opened.read)
    modifies = seen_from(opened.label, None)
    without = () if view.is_declarable else ("modification",)
    return _result(view, code, hold.doubts, "defer", work.took, without, told=told, modifies=modifies)


def make_test(hold: Hold, *, units: bool = False, seconds: float | None = None) -> Result[FunctionalTestFacts]:
    """Make a functional test: steps with what must be seen, and which failures each shows.

    Nothing is brought in, but where `units` may be.
    """
    from interlock.cli.exit_codes import code_of_test
    from interlock.hold.catalogue import everything_fails
    from interlock.kernel.claims import silent
    from interlock.report.views.functional_test import functional_test_view
    from interlock.study.functional_test.making import make_test

    with _told():
        known, listed = _usable(open_catalogue(None))
    opened = hold._opened
    compiled = _compiled_again(hold, everything_fails(opened.compiled.hold, known).hold)
    if not compiled.hold.failures:
        raise RequestError(f"{opened.label}: there is nothing in it that could fail, as far as it is described")
    with _at_work(opened, (), seconds) as work:
        made = make_test(compiled, work.limits(), silent, None, units)
    if made is None:
        raise RequestError(f"{opened.label}: it has no way to begin")
    code = code_of_test(made)
    reckoned = everything_fails(compiled.hold, known)
    view = functional_test_view(opened.label, made, reckoned, code, False, (*opened.read, *listed))
    return _result(view, code, hold.doubts, "test", work.took)


def prove_family(
    hold: Hold, *, only: Iterable[str] = (), every: bool = False, told: int = 0, seconds: float | None = None
) -> Result[FamilyFacts]:
    """Decide the requirements for every allowed combination of the options that the description declares."""
    from interlock.cli.exit_codes import code_of_family
    from interlock.kernel.claims import silent
    from interlock.report.views.family import family_view
    from interlock.study.families.configurations import TooManyOptions
    from interlock.study.families.families import prove_family as ask

    opened, chosen = hold._opened, tuple(only)
    with _at_work(opened, (), seconds) as work:
        try:
            found = ask(
                opened.family(),
                lambda described: described.not_replaced(hold._texts.by_id.values()),
                hold._situation,
                work.limits(),
                silent,
                chosen or None,
                every=every,
            )
        except TooManyOptions as fault:
            raise RequestError(f"{opened.label}: {fault}") from fault
    code = code_of_family(found)
    return _result(
        family_view(opened.label, opened.compiled, found, code, opened.read),
        code,
        hold.doubts,
        "family",
        work.took,
        told=told,
    )


def prove_fleet(
    file: _Path,
    *,
    requirements: Iterable[_Path] = (),
    standing: bool = True,
    only: Iterable[str] = (),
    alone: bool = False,
    workers: int | None = 1,
    told: int = 0,
    seconds: float | None = None,
) -> Result[FleetFacts]:
    """Prove the requirements for every aircraft of a fleet, each configuration once.

    `alone` proves each configuration by itself; `workers` are as many processes (1: it is done in this one; None: as
    many as there are processors), `seconds` is for each configuration; of `told` requirements that fail in a group the
    run is told.  Raises as `load_hold` does.
    """
    from interlock.cli.exit_codes import code_of_fleet
    from interlock.cli.fleet import check_asked, opened_fleet, refusals_of
    from interlock.cli.fleet_run import Run, Way
    from interlock.report.views.fleet import fleet_view
    from interlock.study.fleet.configurations import group

    if workers is not None and workers < 1:
        raise RequestError("workers is 1 or more, or None")
    name, chosen = os.fspath(file), tuple(only)
    with _told():
        texts = _texts(requirements, standing)
        opened = _usable(opened_fleet(name))
        given = tuple(texts.by_id.values())
        check_asked(chosen, {text.id for text in given} | opened.checked.asking)
    fitted = group(opened.fleet.aircraft)
    way = Way(workers, None, alone, False, seconds, chosen, given)
    with _told(), noted_stop() as stop:
        began = monotonic()
        run = Run(fitted, opened.checked, way, None, stop)
        answers = run.run(name, True)
    code = code_of_fleet(one.result for one in answers)
    read = (*opened.read, *texts.read)
    view = fleet_view(name, opened.fleet, fitted, answers, opened.checked.titles, code, read)
    doubts = "\n".join(_rendered(rejected) for _, rejected in refusals_of(run, opened))
    return _result(view, code, doubts, "fleet", monotonic() - began, told=told, how=run.effort)


def make_questions(
    hold: Hold,
    *,
    load: str | None = None,
    unload: str | None = None,
    goal: str | None = None,
    seed: int = 1,
    number: int = 6,
    language: str = "en",
    seconds: float | None = None,
) -> str:
    """A sheet of up to `number` questions for a class, with answers and reasons, as one page to print.

    About one of `load`, `unload` and `goal`; another `seed` gives another sheet.  Raises RequestError where there is no
    checklist for that, or nothing can be asked about it.
    """
    from interlock.cli.languages import language_of
    from interlock.cli.questions import MOST
    from interlock.cli.teach import identified, planned_exercise
    from interlock.kernel.claims import silent
    from interlock.report.html.questions import questions_html
    from interlock.report.views.exercises import Rehearsed
    from interlock.report.views.questions import sheet_view

    wanted = load, unload, goal
    if sum(text is not None for text in wanted) != 1:
        raise RequestError("say what is asked about: one of load, unload and goal, and only one")
    if not 1 <= number <= MOST:
        raise RequestError(f"number is 1 to {MOST}")
    opened = hold._opened
    with _told():
        told_in = language_of(language)
    with _at_work(opened, (), seconds) as work:
        planned, _ = planned_exercise(opened, wanted, work.limits, silent)
        if not isinstance(planned, Rehearsed):
            raise RequestError(f"there is no checklist for that: {planned.facts.reason}")
        view = sheet_view(identified(opened), planned, seed, number)
    if not view.questions:
        raise RequestError("nothing can be asked about so short an order of work; ask about a larger load")
    return questions_html(view, told_in)


def teach(
    hold: Hold,
    *,
    load: str | None = None,
    unload: str | None = None,
    goal: str | None = None,
    procedures: Iterable[_Path] = (),
    failing: bool = False,
    language: str = "en",
    seconds: float | None = None,
) -> str:
    """The page on which the hold can be worked, as one document; it is not shown in a notebook, where nothing runs.

    For one of `load`, `unload` and `goal` it has the checklist, to follow and as an exercise, and so for `procedures`,
    which are audited; with `failing` it plays what breaks requirements.  Raises RequestError where there is no
    checklist, or a procedure is about another hold.
    """
    from interlock.cli.languages import language_of
    from interlock.cli.methods import DEFAULT, engine_of
    from interlock.cli.reading import fetch, read_source
    from interlock.cli.teach import identified, planned_exercise
    from interlock.hold import procedures as written
    from interlock.kernel.claims import silent
    from interlock.report.html.teaching import teaching_html
    from interlock.report.views.exercises import Rehearsed
    from interlock.report.views.teaching import OtherHold, teaching_view
    from interlock.study.procedure.audit import audit_procedure
    from interlock.study.verify import verify

    wanted = load, unload, goal
    if sum(text is not None for text in wanted) > 1:
        raise RequestError("of load, unload and goal only one can be exercised")
    opened = hold._opened
    with _told():
        told_in = language_of(language)
    bound = []
    for name in procedures:
        with _told():
            read = written.open_procedure(read_source(os.fspath(name)), fetch, hold._texts.by_id.values())
        bound.append(_usable(read.bound or Rejected(read.diagnostics, {**hold._texts.sources, **read.sources})))
    exercise, proof = None, None
    with _at_work(opened, (), seconds) as work:
        if failing:
            proof = verify(opened.compiled, engine_of(DEFAULT), work.limits(), silent)
        if any(text is not None for text in wanted):
            planned, _ = planned_exercise(opened, wanted, work.limits, silent)
            if not isinstance(planned, Rehearsed):
                raise RequestError(f"there is no checklist for that: {planned.facts.reason}")
            exercise = planned
        audits = [audit_procedure(one, None, work.limits(), silent) for one in bound]
    try:
        return teaching_html(teaching_view(opened.compiled, identified(opened), proof, exercise, audits), told_in)
    except OtherHold as fault:
        raise RequestError(f"the procedure '{fault}' is about another hold than {opened.label}") from fault


# ---- what all of them do -----------------------------------------------------------------------------------------


def _texts(files: Iterable[_Path], standing: bool) -> Texts:
    return _usable(open_texts([os.fspath(one) for one in files], standing))


def _formats(command: str, parts: Mapping[str, object]) -> tuple[Format, ...]:
    """All formats of the command.  Raises KeyError where one takes what is not among the parts: a fault of ours."""
    rows = tuple(one for one in FORMATS if one.shows == command)
    for row in rows:
        for missing in set(row.takes) - set(parts):
            raise KeyError(f"{command} as {row.name}: no {missing}")
    return rows


def _result(
    view: _View[_F],
    code: int,
    doubts: str,
    command: str,
    seconds: float,
    without: Collection[str] = (),
    **more: object,
) -> Result[_F]:
    """The result in all formats of the command but those `without` which it comes."""
    parts = {"view": view, "facts": view.facts, "verbose": False, "seconds": seconds, **more}
    shapes = tuple(one for one in _formats(command, parts) if one.name not in without)
    return Result(view.facts, code, doubts, command, shapes, parts)


@dataclass(frozen=True, slots=True)
class _Work:
    """What is at work: when it began, by `time.monotonic`, how long it may take and how deep it may look, and the wish
    to stop."""

    began: float
    seconds: float | None
    depth: int | None
    stop: Stop

    def limits(self, part: float = 1.0) -> Limits:
        """That part of the time that is left."""
        from interlock.cli.options import seconds_left
        from interlock.kernel.claims import Limits

        left = seconds_left(self.seconds, self.began)
        return Limits(depth=self.depth, seconds=None if left is None else part * left, stop=self.stop.is_asked)

    @property
    def took(self) -> float:
        """Seconds until now."""
        return monotonic() - self.began


@contextmanager
def _at_work(
    opened: Opened | None, chosen: Sequence[str], seconds: float | None, depth: int | None = None
) -> Iterator[_Work]:
    """While this is open Ctrl-C ends what is at work in order, and once more tears it."""
    with _told(), noted_stop() as stop, stop.tearing():
        check_only([] if opened is None else [opened], chosen)
        yield _Work(monotonic(), seconds, depth, stop)


def _compiled_again(hold: Hold, struck: Described) -> CompiledHold:
    """The hold in which more may fail, with the same requirements and the same start."""
    from interlock.hold.compile.compiler import compile_hold

    compilation = compile_hold(struck, hold._opened.given, hold._situation)
    return _usable(compilation.compiled or Rejected(compilation.diagnostics, hold._opened.warnings.sources))
