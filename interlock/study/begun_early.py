"""Ways back, looked for beside the proof of all else: from the beginning, with its lemmas once there are any."""

from __future__ import annotations

import os
import pickle
from collections.abc import Sequence
from contextlib import ExitStack
from types import TracebackType

from interlock.kernel.beside import Beside, may_begin
from interlock.kernel.claims import Limits, Progress, ProgressCallback, silent
from interlock.kernel.machine import Machine
from interlock.kernel.recovery import RecoveryClaim, RecoveryQuestion
from interlock.prove.engine import is_waited_for
from interlock.prove.invariants.lemmas import Lemmas, Remembered, nothing
from interlock.prove.recovery.cases import NAME
from interlock.study.sessions import Recoverer


class BegunEarly:
    """A recoverer that claims what `recoverer` does, sooner; leaving the `with` ends what it began.

    What it begins does what takes no lemmas, then waits until they are settled, or it is called, and has the same.
    It begins nothing where time or memory is limited, as its part of them is not known yet.
    """

    def __init__(
        self, recoverer: Recoverer, machine: Machine, ways: Sequence[RecoveryQuestion], limits: Limits, lemmas: Lemmas
    ) -> None:
        self._recoverer = recoverer
        self._machine = machine
        self._ways = ways
        self._limits = limits
        self._lemmas = lemmas
        self._begun: Beside[tuple[tuple[RecoveryClaim, ...], Remembered]] | None = None
        self._open = ExitStack()

    def __enter__(self) -> BegunEarly:
        if self._ways and self._limits.seconds is None and self._limits.memory is None and may_begin():
            # a pipe alone would hold up whoever sends, where much is sent before it is waited for
            self._sent = self._open.enter_context(os.fdopen(os.memfd_create("lemmas"), "w+b"))
            self._source, self._sink = os.pipe()
            self._open.callback(os.close, self._source)
            self._open.callback(os.close, self._sink)
            self._lemmas.awaiting = self._receive
            self._begun = self._open.enter_context(Beside(self._work))
            self._lemmas.awaiting, self._lemmas.when_settled = nothing, self._send
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._lemmas.awaiting = self._lemmas.when_settled = nothing
        self._open.close()

    def _work(self) -> tuple[tuple[RecoveryClaim, ...], Remembered]:
        return self._recoverer(self._machine, self._ways, self._limits, silent), self._lemmas.found()

    def _send(self) -> None:
        self._lemmas.when_settled = nothing
        pickle.dump((self._lemmas.clauses, self._lemmas.cut_short), self._sent)
        self._sent.flush()
        os.write(self._sink, b".")

    def _receive(self) -> None:
        self._lemmas.awaiting = nothing
        os.read(self._source, 1)
        self._sent.seek(0)
        self._lemmas.clauses, self._lemmas.cut_short = pickle.load(self._sent)  # noqa: S301 (this program sent it)

    def __call__(
        self, machine: Machine, questions: Sequence[RecoveryQuestion], limits: Limits, report: ProgressCallback
    ) -> tuple[RecoveryClaim, ...]:
        """The claims; as the recoverer it gives what it has where an end is asked for, or on KeyboardInterrupt."""
        begun, self._begun = self._begun, None
        if begun is None:
            return self._recoverer(machine, questions, limits, report)
        report(Progress(NAME, "ways back"))
        self._lemmas.when_settled()
        self._lemmas.when_settled = nothing
        try:
            if not is_waited_for(begun, limits):
                begun.interrupt()
            claims, found = begun.result()
        except KeyboardInterrupt:
            begun.interrupt()
            claims, found = begun.result()
        self._lemmas.take_over(found)
        return claims
