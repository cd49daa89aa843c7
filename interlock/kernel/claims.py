"""What engines claim and what only `confirm` finds.

An engine answers a `Question`: is some state that satisfies the target reachable?  Its answer is a claim.  A claim
becomes a finding when its evidence has been checked by other means.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr
from interlock.kernel.why import Why


@dataclass(frozen=True, slots=True)
class Trace:
    """A run: `states[0]` is initial and rule `rules[i]` leads from `states[i]` to `states[i + 1]`."""

    rules: tuple[str, ...]
    states: tuple[State, ...]

    @property
    def depth(self) -> int:
        """The number of steps."""
        return len(self.rules)


@dataclass(frozen=True, slots=True)
class Certificate:
    """Why a target is unreachable: the conjunction P of `clauses` is k-inductive and excludes the target.

    Obligations: (start) every state within `k - 1` steps of an initial one satisfies P; (step) of `k`
    consecutive states that satisfy P, every successor of the last satisfies P; (safe) P excludes the target.
    With `k == 1` P is an inductive invariant.  Where `distinct` is true, (step) speaks only of runs of k + 1
    pairwise different states.
    Certificates of several questions may be one object: compare by identity before checking again.
    """

    clauses: tuple[Expr, ...]
    k: int = 1
    distinct: bool = False


@dataclass(frozen=True, slots=True)
class Diagram:
    """Why targets are unreachable: a set of states that has every initial one, that no step leaves, and no target.

    `order` names variables, each once; what it leaves out may have any value.  A node has one child for each place in
    the domain of its variable: 0, no state; 1, every state, only below the last variable; n + 2, the n-th of `nodes`
    (from 0), which stands before the node and is about the next variable of `order`.  `root` is about the first
    variable.  Diagrams of several questions may be one object.
    """

    order: tuple[str, ...]
    nodes: tuple[tuple[int, ...], ...]
    root: int


@dataclass(frozen=True, slots=True)
class AnyClaim:
    """What every claim says, those about ways back (`kernel.recovery`) included: what it answers, and who claims it."""

    question: str
    engine: str


@dataclass(frozen=True, slots=True)
class Proved(AnyClaim):
    """Claim: no reachable state satisfies the target, by a certificate, or a diagram, or the number of all states.

    Where neither a certificate nor a diagram is given, every reachable state was counted.
    """

    certificate: Certificate | None
    states: int | None = None
    diagram: Diagram | None = None


@dataclass(frozen=True, slots=True)
class Refuted(AnyClaim):
    """Claim: the last state of the trace satisfies the target.

    `shortest` is true only when every shorter run with as few failures has been excluded; of what `prove.following`
    passes on, every run with fewer failures too.
    """

    trace: Trace
    shortest: bool


@dataclass(frozen=True, slots=True)
class Unknown(AnyClaim):
    """Claim: not decided.  No run of up to `depth` steps reaches the target (-1: nothing is known).

    The reason is a `Why` wherever it is known what may help.
    """

    reason: str | Why
    depth: int = -1


Claim: TypeAlias = Proved | Refuted | Unknown


@dataclass(frozen=True, slots=True)
class Holds:
    """Finding: the target is unreachable; `checked_by` names what re-checked the certificate, with its version."""

    question: str
    claim: Proved
    checked_by: str


@dataclass(frozen=True, slots=True)
class Fails:
    """Finding: the target is reachable; the trace was replayed by the reference evaluator."""

    question: str
    claim: Refuted


@dataclass(frozen=True, slots=True)
class Undecided:
    """Finding: nobody knows.  `reason` says why; no run of up to `depth` steps reaches the target (-1: unknown)."""

    question: str
    reason: str
    depth: int = -1


@dataclass(frozen=True, slots=True)
class Disputed:
    """Finding: the evidence does not bear out the claim.  A fault of this program, never of the hold."""

    question: str
    claim: AnyClaim
    what: str


Finding: TypeAlias = Holds | Fails | Undecided | Disputed


@dataclass(frozen=True, slots=True)
class Limits:
    """When an engine gives up: steps deep, seconds of wall clock, states held, bytes that the program holds, on demand.

    None: no limit.  `stop` is asked now and then; once it says True it must stay with that.
    """

    depth: int | None = None
    seconds: float | None = None
    states: int | None = None
    memory: int | None = None
    stop: Callable[[], bool] | None = None


@dataclass(frozen=True, slots=True)
class Progress:
    """What an engine is doing, for whoever waits: a stage in plain words and, where known, how far of how much."""

    engine: str
    stage: str
    done: int = 0
    total: int | None = None


ProgressCallback: TypeAlias = Callable[[Progress], None]


def silent(progress: Progress) -> None:
    """A report that goes nowhere."""
