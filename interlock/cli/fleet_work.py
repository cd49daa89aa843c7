"""What is done about one configuration of a fleet, by whatever process has the time: it is compiled and proved there.

It is given what was read, and reads no file of the fleet itself; it looks into the cache of the machine it runs on.
"""

from __future__ import annotations

import gc
from collections.abc import Iterable, Mapping
from functools import partial
from threading import Lock

from interlock import __version__
from interlock.cli.cache import keep_claims, kept_claims
from interlock.cli.workers import is_stopped
from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.fleets import Aircraft
from interlock.hold.language.model import RequirementText
from interlock.hold.loader import Source
from interlock.kernel.claims import Limits
from interlock.report.views.fleet import answer_facts, refused_facts, together_facts
from interlock.report.views.fleet_facts import AnswerFacts
from interlock.study.fleet.answering import answer
from interlock.study.fleet.configurations import Refused, compile_configuration
from interlock.study.fleet.together import prove_together
from interlock.study.kept_claims import bundled, unbundled
from interlock.study.recalling import Store

_ALONE = Lock()
"""Solvers keep things for the whole process: where threads work, they take turns."""


@frozen
class Job:
    """Configurations of one hold, as the first `aircraft` that has each says it, and all that is needed to answer.

    Several are to be proved together, as a family that differs in `features`.  `numbers` are the places of their
    answers; `files` has what was read, by name; `journal` what is kept in a journal about the one, or about all of them
    together; `caches`: claims are looked up in the cache, and left there.  `seconds` are for each.
    """

    numbers: tuple[int, ...]
    aircraft: tuple[Aircraft, ...]
    features: tuple[str, ...]
    files: Mapping[str, Source]
    texts: tuple[RequirementText, ...]
    only: tuple[str, ...]
    seconds: float | None
    journal: bytes | None
    caches: bool
    version: str = __version__


@frozen
class Reply:
    """What was found, by number; what is missing of a family is to be asked alone.

    `claims` are what the answer for one rests on, where all was decided (see `answering.Answered`), or those for
    several, bundled, as far as it was.
    """

    facts: Mapping[int, AnswerFacts]
    refused: Refused | None = None
    claims: bytes | None = None
    was_kept: bool = False
    unbelieved: int = 0


def work(job: Job) -> Reply:
    """Answers for configurations.  Raises RuntimeError where the job comes from another version of the program."""
    if job.version != __version__:
        raise RuntimeError(f"a job of version {job.version} came to a worker of version {__version__}")
    with _ALONE:
        reply = _together(job) if len(job.numbers) > 1 else _alone(job)
        # the collector rarely runs by itself here: what goes round in circles would pile up from job to job
        gc.collect(1)
        return reply


def _together(job: Job) -> Reply:
    known = {} if job.journal is None else unbundled(job.journal)

    def compiled_of(aircraft: Aircraft) -> CompiledHold | None:
        compiled = compile_configuration(aircraft, job.files.get, job.texts)
        return None if isinstance(compiled, Refused) else compiled

    def recall(key: str) -> Iterable[bytes]:
        return _recalled(job, known.get(key), key)

    store = Store(recall)
    limits = Limits(seconds=None if job.seconds is None else job.seconds * len(job.numbers), stop=is_stopped)
    given = job.aircraft, job.features, job.files.get, job.texts, limits, job.only or None
    found = prove_together(*given, compiled_of, store)
    for key in store.made if job.caches else ():
        keep_claims(key, store.used[key])
    facts = {job.numbers[at]: together_facts(one) for at, one in found.items()}
    claims = bundled(store.used) if store.used else None
    return Reply(facts, None, claims, not store.missed, store.unbelieved)


def _alone(job: Job) -> Reply:
    (number,) = job.numbers
    compiled = compile_configuration(job.aircraft[0], job.files.get, job.texts)
    if isinstance(compiled, Refused):
        return Reply({number: refused_facts(compiled.diagnostics)}, compiled)
    limits = Limits(seconds=job.seconds, stop=is_stopped)
    found = answer(compiled, limits, partial(_recalled, job, job.journal), job.only)
    if job.caches and found.claims is not None and not found.was_kept:
        keep_claims(found.key, found.claims)
    facts = {number: answer_facts(found.verification)}
    return Reply(facts, None, found.claims, found.was_kept, found.unbelieved)


def _recalled(job: Job, journal: bytes | None, key: str) -> Iterable[bytes]:
    """What is kept under the key: in the journal, then in the cache."""
    if journal is not None:
        yield journal
    content = kept_claims(key) if job.caches else None
    if content is not None:
        yield content
