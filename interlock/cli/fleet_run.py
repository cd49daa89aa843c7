"""Has the configurations of a fleet answered for: families first, then what they leave, by whoever works."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from time import monotonic

from interlock import __version__
from interlock.cli import fleet_work
from interlock.cli.fleet_work import Job, Reply
from interlock.cli.journal import Journal
from interlock.cli.progress import shown_progress
from interlock.cli.stopping import Stop
from interlock.cli.workers import ENDED, NOT_BEGUN, Done, here, in_processes, on_cluster
from interlock.diagnostics.frozen import frozen
from interlock.hold.language.model import RequirementText
from interlock.hold.loader import Source
from interlock.kernel.beside import processors
from interlock.kernel.claims import Progress
from interlock.report.views.fleet import Effort, nothing_facts
from interlock.report.views.fleet_facts import AnswerFacts
from interlock.study.fleet.checking import Checked
from interlock.study.fleet.configurations import Fitted, Refused
from interlock.study.fleet.estimate import Estimate
from interlock.study.fleet.together import shares


@frozen
class Way:
    """How it is done: by so many processes (None: as many as there are processors) or by a cluster, and what is asked.

    `alone`: each configuration by itself.  `caches`: claims are looked up in the cache, and left there.
    """

    workers: int | None
    cluster: str | None
    alone: bool
    caches: bool
    seconds: float | None
    only: tuple[str, ...]
    texts: tuple[RequirementText, ...]


@dataclass(slots=True)
class Run:
    """One run; `answers` and `refused` are by the places of the configurations."""

    fitted: Sequence[Fitted]
    checked: Checked
    way: Way
    journal: Journal | None
    stop: Stop
    effort: Effort = field(default_factory=Effort)
    answers: dict[int, AnswerFacts] = field(default_factory=dict)
    refused: dict[int, Refused] = field(default_factory=dict)

    def run(self, label: str, quiet: bool) -> list[AnswerFacts]:
        """The answer for each configuration, in their order; what was decided goes into the journal as it comes.

        Whoever stops it keeps what was done by then.
        """
        together = () if self.way.alone else shares(self.fitted, self.checked.devices)
        members = {at for share in together for at in share.members}
        first = [self._job(share.members, share.features) for share in together]
        first += [self._job((at,)) for at in range(len(self.fitted)) if at not in members]
        with self.stop.tearing(), shown_progress(label, quiet) as report:
            estimate = Estimate(len(self.fitted), monotonic())

            def tell() -> None:
                estimate.note(len(self.answers), monotonic())
                stage = f"configurations{estimate.in_words()}"
                report(Progress("fleet", stage, len(self.answers), len(self.fitted)))

            tell()
            try:
                for one in self._done(first):
                    self._take(one)
                    tell()
                left = [at for at in range(len(self.fitted)) if at not in self.answers]
                for one in self._done([self._job((at,)) for at in left]):
                    self._take(one)
                    tell()
            except KeyboardInterrupt:
                self.stop.asked = True
        return [self.answers.get(number) or nothing_facts(NOT_BEGUN) for number in range(len(self.fitted))]

    def _take(self, done: Done[Job, Reply]) -> None:
        job, reply = done.job, done.result
        if reply is None:
            # a family whose process ended twice is asked one by one
            if len(job.numbers) == 1 or done.why != ENDED:
                self.answers.update(dict.fromkeys(job.numbers, nothing_facts(done.why)))
            return
        self.answers.update(reply.facts)
        if len(job.numbers) > 1:
            self.effort.note_together(len(reply.facts), reply.was_kept, reply.unbelieved)
        else:
            self.effort.note(reply.was_kept, reply.unbelieved, reply.claims is not None)
        if reply.refused is not None:
            self.refused[job.numbers[0]] = reply.refused
        if self.journal is not None and reply.claims is not None and reply.claims != job.journal:
            self.journal.add(self._digest(job.numbers), reply.claims)

    def _done(self, jobs: Sequence[Job]) -> Iterator[Done[Job, Reply]]:
        """What comes of the jobs, as it comes."""
        asked, work = self.stop.is_asked, fleet_work.work
        if not jobs:
            return iter(())
        if self.way.cluster is not None:
            return on_cluster(work, jobs, self.way.cluster, asked)
        number = min(self.way.workers or processors(), len(jobs))
        return here(work, jobs, asked) if number == 1 else in_processes(work, jobs, number, asked)

    def _job(self, places: tuple[int, ...], features: tuple[str, ...] = ()) -> Job:
        aircraft = tuple(self.fitted[at].aircraft[0] for at in places)
        files = {name: source for at in places for name, source in self._files(at).items()}
        known = None
        if self.journal is not None:
            known = self.journal.claims(self._digest(places))
        way = self.way
        return Job(places, aircraft, features, files, way.texts, way.only, way.seconds, known, way.caches)

    def _files(self, at: int) -> Mapping[str, Source]:
        own = self.fitted[at].configuration
        names = {*self.checked.read_with[own.hold], *own.options}
        return {name: self.checked.files[name] for name in sorted(names) if name in self.checked.files}

    def _digest(self, places: tuple[int, ...]) -> str:
        """Of what is asked of one configuration, or of several together: by this a journal knows it."""
        asked = tuple(self.fitted[at].configuration for at in places)
        said = repr((__version__, asked, self.way.only, self.way.texts))
        digest = sha256(said.encode("utf-8", "surrogatepass"))
        files = {name: source for at in places for name, source in self._files(at).items()}
        for name, source in sorted(files.items()):
            digest.update(f"\n{name} {len(source.content)}\n".encode("utf-8", "surrogatepass") + source.content)
        return digest.hexdigest()
