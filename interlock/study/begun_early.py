"""Ways back, looked for beside the proof of all else as soon as that has found the lemmas that it will rest on."""

from __future__ import annotations

from collections.abc import Sequence
from types import TracebackType

from interlock.kernel.beside import Beside, may_begin
from interlock.kernel.claims import Limits, Progress, ProgressCallback, silent
from interlock.kernel.machine import Machine
from interlock.kernel.recovery import RecoveryClaim, RecoveryQuestion
from interlock.prove.invariants.lemmas import Lemmas, Remembered, nothing
from interlock.prove.recovery.cases import NAME
from interlock.study.sessions import Recoverer

LOOKS_EVERY_S = 0.2
"""So often whoever waits looks whether an end is asked for."""


class BegunEarly:
    """A recoverer that claims what `recoverer` does, sooner; leaving the `with` ends what it began.

    It begins nothing early where time or memory is limited, as its part of them is not known yet.  The recoverer finds
    nothing in the lemmas but what they hold once they are settled.
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

    def __enter__(self) -> BegunEarly:
        if self._ways and self._limits.seconds is None and self._limits.memory is None and may_begin():
            self._lemmas.when_settled = self._begin
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._lemmas.when_settled = nothing
        if self._begun is not None:
            self._begun.close()

    def _begin(self) -> None:
        def work() -> tuple[tuple[RecoveryClaim, ...], Remembered]:
            return self._recoverer(self._machine, self._ways, self._limits, silent), self._lemmas.found()

        self._lemmas.when_settled = nothing
        self._begun = Beside(work)

    def __call__(
        self, machine: Machine, questions: Sequence[RecoveryQuestion], limits: Limits, report: ProgressCallback
    ) -> tuple[RecoveryClaim, ...]:
        """The claims; as the recoverer it gives what it has where an end is asked for, or on KeyboardInterrupt."""
        self._lemmas.when_settled = nothing
        if self._begun is None:
            return self._recoverer(machine, questions, limits, report)
        report(Progress(NAME, "ways back"))
        begun, self._begun = self._begun, None
        with begun:
            try:
                while not begun.is_done(LOOKS_EVERY_S):
                    if limits.stop is not None and limits.stop():
                        begun.interrupt()
                        break
                claims, found = begun.result()
            except KeyboardInterrupt:
                begun.interrupt()
                claims, found = begun.result()
        self._lemmas.take_over(found)
        return claims
