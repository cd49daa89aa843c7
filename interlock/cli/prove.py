"""`interlock prove`: the main job."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

import click

from interlock.cli.exit_codes import PROVING, REJECTED, UNDECIDED, code_of_hold, worst_code
from interlock.cli.formats import chosen_format, format_option
from interlock.cli.methods import ABOUT, DEFAULT, METHODS
from interlock.cli.options import requirements_option, situation_option, standing_option, time_option
from interlock.cli.screen import Screen, color_option, output_option
from interlock.cli.watching import watch_option
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.visible import visible

if TYPE_CHECKING:
    from interlock.cli.opening import Opened
    from interlock.cli.stopping import Stop
    from interlock.diagnostics.spans import Diagnostic
    from interlock.report.views.proof import ProofView
    from interlock.study.causes.blame import Blame
    from interlock.study.proof_cores import ProofCore
    from interlock.study.verify import Verification
    from interlock.study.why_never import WhyNever


@frozen
class _Wanted:
    """The options that concern proving rather than showing."""

    only: tuple[str, ...]
    method: str
    seconds: float | None
    memory_mib: int | None
    depth: int | None
    quiet: bool
    blame: bool
    thorough: bool
    """What to blame is looked for as long as it takes, up to a minute."""
    tells_proofs: bool
    """What proofs rest on is told, and not only that they are there."""
    recalls: bool
    """What earlier proofs have left may be used."""
    leaves: bool
    """Something may be left for later ones."""
    why: bool
    """What can never be is told with all that keeps it from being."""


@click.command(
    name="prove",
    help="Prove the requirements of each HOLD over every state that any sequence of steps can reach. "
    "HOLD is a description file, '-' for standard input, or 'demo:NAME'.",
    epilog=PROVING,
)
@click.argument("holds", nargs=-1, required=True, metavar="HOLD...")
@requirements_option("Requirements to add; one with the id of a standing requirement replaces it.")
@standing_option("Ask")
@click.option(
    "--only",
    multiple=True,
    metavar="ID",
    help="Ask only this requirement: an id, or an id with what it is about, as in 'some-id[3L]'. May be repeated.",
)
@situation_option
@click.option(
    "--method",
    type=click.Choice(list(METHODS)),
    metavar="WORD",
    default=DEFAULT,
    show_default=True,
    help=f"How to decide. {ABOUT}",
)
@time_option("Give up on each hold after this many seconds.")
@click.option(
    "--memory",
    "memory_mib",
    type=click.IntRange(min=1),
    metavar="MIB",
    help="Decide nothing more on a hold once the program holds this many MiB of memory.",
)
@click.option("--depth", metavar="STEPS", type=click.IntRange(min=0), help="Look no deeper than this many steps.")
@click.option(
    "--evidence",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Write what others need to check the results without this program.",
)
@format_option("prove")
@output_option
@click.option("-q", "--quiet", is_flag=True, help="Say only what does not hold.")
@click.option(
    "-v",
    "--verbose",
    is_flag=True,
    help="List each instance of each requirement with when it was decided, and show what can be done.",
)
@click.option(
    "--full",
    is_flag=True,
    help="Tell everything of each requirement that fails, and all that is assumed, also where more than five fail.",
)
@click.option(
    "--blame/--no-blame",
    "blaming",
    default=None,
    help="Look longer for what to blame where something fails; or not at all.",
)
@click.option(
    "--no-cache",
    "afresh",
    is_flag=True,
    help="Use nothing that earlier proofs on this computer have left, which is checked anew anyway; leave nothing.",
)
@click.option(
    "--why",
    is_flag=True,
    help="Say for each requirement that holds what facts its proof rests on, and of what can never be "
    "all that keeps it from being.",
)
@color_option
@watch_option("holds", "files")
def command(
    holds: tuple[str, ...],
    files: tuple[str, ...],
    standing: bool,
    only: tuple[str, ...],
    situation: str | None,
    method: str,
    seconds: float | None,
    memory_mib: int | None,
    depth: int | None,
    evidence: Path | None,
    layout: str | None,
    output: Path | None,
    quiet: bool,
    verbose: bool,
    full: bool,
    blaming: bool | None,
    why: bool,
    afresh: bool,
    color: str,
) -> int:
    """Opens, proves, shows; the worst exit code of all holds."""
    from interlock.cli.opening import Rejected, check_only, open_hold, open_texts
    from interlock.cli.refusals import show_rejection, show_warnings
    from interlock.cli.stopping import noted_stop
    from interlock.prove.memory import resident_bytes
    from interlock.report.text.lines import BLANK
    from interlock.report.views.proof import proof_facts, proof_view

    if memory_mib is not None and resident_bytes() is None:
        raise click.UsageError("--memory: how much memory a program holds cannot be found out on this system.")
    shape = chosen_format("prove", layout, output)
    if shape.name == "html" and len(holds) > 1:
        raise click.UsageError("--format html: a page to sign is about one HOLD.")
    folders = _folders(evidence, holds)
    if evidence is not None and output is not None and output.resolve().is_relative_to(evidence.resolve()):
        raise click.UsageError(f"--output: {output} would lie among the evidence in {evidence}.")
    texts = open_texts(files, standing)
    if isinstance(texts, Rejected):
        show_rejection("requirements", texts)
        return REJECTED
    tells_proofs = why or evidence is not None or not shape.shows_each
    leaves = method == DEFAULT and not (only or afresh)
    # what is told of proofs must not depend on what was proved before
    recalls = method == DEFAULT and not (tells_proofs or afresh)
    blames = blaming is not False and not quiet
    proving = only, method, seconds, memory_mib, depth, quiet, blames, bool(blaming)
    wanted = _Wanted(*proving, tells_proofs, recalls, leaves, why)
    codes: list[int] = []
    faults: list[Exception] = []
    proofs: list[ProofView] = []
    rejections: dict[str, Sequence[Diagnostic]] = {}
    opened: list[tuple[Opened, Path | None]] = []
    # everything is read before anything is proved: a slip in the last name must not cost an hour
    for name, folder in zip(holds, folders, strict=True):
        found = open_hold(name, texts, situation)
        if isinstance(found, Rejected):
            show_rejection(name, found)
            rejections[name] = found.diagnostics
            codes.append(REJECTED)
        else:
            show_warnings(found.warnings)
            opened.append((found, folder))
    screen = Screen(output, color)
    check_only([one for one, _ in opened], only)
    with noted_stop() as stop:
        for at, (one, folder) in enumerate(opened):
            began = monotonic()
            found_of, never, blamed, evidence_in, why_not = _prove_or_not(one, wanted, folder, stop, faults)
            took = monotonic() - began
            if why_not:
                click.echo(f"{visible(one.label)}: {why_not}", err=True)
            cores = _cores(found_of) if why or shape.name == "html" else None
            own = code_of_hold(found_of)
            told = one.texts, own, one.replaced, evidence_in, cores, never, blamed, one.read
            proof = proof_view(one.label, found_of, *told)
            codes.append(own)
            proofs.append(proof)
            if not shape.shows_each:
                if not quiet and not why_not:
                    click.echo(f"{visible(one.label)}: {proof.summary(took)}", err=True)
            elif why_not:
                codes.append(UNDECIDED)
            else:
                screen.show((BLANK, BLANK) if at and not quiet else ())
                told_as = {"proof": proof, "quiet": quiet, "verbose": verbose, "full": full, "seconds": took}
                screen.show(shape.render(told_as))
        code = worst_code(codes)
        if not shape.shows_each:
            if shape.name == "html" and not proofs:
                return code  # an old page stays as it is
            first = proofs[0] if proofs else None
            facts = proof_facts(proofs, rejections, code)
            screen.show(shape.render({"facts": facts, "proofs": proofs, "only_proof": first}))
        screen.close()
    if faults:
        raise next((fault for fault in faults if not isinstance(fault, click.ClickException)), faults[0])
    return code


def _prove_or_not(
    opened: Opened, wanted: _Wanted, folder: Path | None, stop: Stop, faults: list[Exception]
) -> tuple[Verification, tuple[WhyNever, ...], Blame | None, str | None, str]:
    """What was found of one hold, why what can never be cannot, what is to be blamed, where the evidence is, and why
    there is nothing.

    Whatever goes wrong is added to `faults`: what was found of this hold, and of others, must not be lost with it.
    """
    from interlock.study.verify import leave_undecided

    verification, blamed, evidence, why_not = None, None, None, "stopped before it was decided"
    never: tuple[WhyNever, ...] = ()
    began = monotonic()
    try:
        verification = None if stop.asked else _prove(opened, wanted, stop)
        if verification is not None and folder is not None:
            evidence = _put_evidence(verification, folder)
        if verification is not None:
            never = _never(verification, wanted.why, _left(wanted.seconds, began), stop)
            if wanted.blame:
                blamed = _blame(opened, wanted, stop, verification, never, _left(wanted.seconds, began))
    except KeyboardInterrupt:
        pass
    except click.ClickException as fault:
        faults.append(fault)
    except Exception as fault:
        faults.append(fault)
        why_not = "a fault inside this program kept it from being decided"
    if verification is not None:
        return verification, never, blamed, evidence, ""
    return leave_undecided(opened.compiled, why_not, wanted.only or None), (), None, None, why_not


def _prove(opened: Opened, wanted: _Wanted, stop: Stop) -> Verification:
    from interlock.cli.cache import leave, recalled
    from interlock.cli.methods import engine_of
    from interlock.cli.progress import shown_progress
    from interlock.kernel.claims import Limits
    from interlock.prove.invariants.lemmas import Lemmas, Remembered
    from interlock.study.verify import Status, verify

    memory = None if wanted.memory_mib is None else wanted.memory_mib * 2**20
    limits = Limits(depth=wanted.depth, seconds=wanted.seconds, memory=memory, stop=stop.is_asked)
    engine = engine_of(wanted.method)
    lemmas = Lemmas(recalled(opened.keys) if wanted.recalls else None)
    with stop.tearing(), shown_progress(opened.label, wanted.quiet) as report:
        found = verify(
            opened.compiled,
            engine,
            limits,
            report,
            wanted.only or None,
            lemmas=lemmas,
            smallest=wanted.tells_proofs,
        )
    is_whole = not (found.count(Status.UNDECIDED) or found.count(Status.DISPUTED))
    if wanted.leaves and is_whole and lemmas.found() not in (lemmas.remembered, Remembered()):
        leave(opened.keys[0], lemmas.found())
    return found


BLAME_SECONDS = 60.0
"""How long is looked for what to blame, where there is no limit."""


def _blame(
    opened: Opened,
    wanted: _Wanted,
    stop: Stop,
    found: Verification,
    never: Sequence[WhyNever],
    left: float | None,
) -> Blame | None:
    """What is to be blamed for what fails, looked for in the time that is left."""
    from interlock.cli.methods import engine_of
    from interlock.cli.progress import shown_progress
    from interlock.kernel.claims import Limits, Progress
    from interlock.study.causes.blame import blame

    limits = Limits(seconds=BLAME_SECONDS if left is None else left, stop=stop.is_asked)
    if stop.asked:
        return None
    with stop.tearing(), shown_progress(opened.label, wanted.quiet) as report:
        report(Progress("blame", "looking for what to blame"))
        return blame(found, opened.without, engine_of("combined"), limits, wanted.thorough, never)


def _cores(found: Verification) -> tuple[ProofCore, ...]:
    from interlock.study.proof_cores import proof_cores_of

    return proof_cores_of(found)


def _left(seconds: float | None, began: float) -> float | None:
    return None if seconds is None else max(0.0, seconds - (monotonic() - began))


def _never(found: Verification, every: bool, seconds: float | None, stop: Stop) -> tuple[WhyNever, ...]:
    """Why what can never be cannot; nothing where an end was asked for."""
    from interlock.study.verify import Status

    if not found.count(Status.FAILS):
        return ()
    from interlock.study.why_never import SECONDS, why_never

    if not every:
        seconds = SECONDS if seconds is None else min(SECONDS, seconds)
    try:
        with stop.tearing():
            return () if stop.asked else why_never(found, every, seconds)
    except KeyboardInterrupt:
        return ()


def _put_evidence(found: Verification, folder: Path) -> str:
    """Writes the folder, whole; gives its name."""
    from interlock.cli.folders import write_folder
    from interlock.confirm.evidence import evidence_files
    from interlock.report.markdown.certificates import certificate_files
    from interlock.report.views.certificates import certificate_views

    words = certificate_files(certificate_views(found))
    files = evidence_files(found.machine, found.questions, found.findings, found.recoveries, words)
    write_folder(folder, files)
    return folder.as_posix()


LONGEST_STEM = 60
"""Characters of a description's name in that of its evidence; most systems take 255 bytes, four for a character."""


def _folders(evidence: Path | None, holds: tuple[str, ...]) -> list[Path | None]:
    """A folder for the evidence of each hold, checked before any work is done."""
    from interlock.cli.folders import check_folder

    if evidence is None:
        return [None] * len(holds)
    check_folder(evidence)
    if len(holds) == 1:
        return [evidence]
    found: list[Path | None] = []
    for number, name in enumerate(holds, 1):
        stem = Path(name.removeprefix("demo:")).stem or "standard-input"
        found.append(evidence / f"{number}-{stem[:LONGEST_STEM]}")
    return found
