"""Which smallest sets of options make a target reachable that no run reaches without any.

An option is a Boolean variable that is false at the start and that no rule writes.  A set of options *enables* the
target where some run reaches it that starts with exactly these true.  The answer to an `EnablingQuestion` is the
smallest sets that do: none of them can do without any of its options.  Its evidence is

(ways)    for each such set a run that starts with its options true and ends in the target;
(covers)  sets of options, each with a certificate that no run reaches the target which starts with any of its options
          true and all others false;
(closing) every set of options that contains none of the ways lies within one of the covers, as does each of the ways
          with one option taken out.

Nothing of this supposes that an option that is true only ever makes more possible; where it does, every larger set
enables too.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import TypeAlias

from interlock.kernel.claims import AnyClaim, Certificate, Disputed, Trace, Undecided
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine, Variable
from interlock.kernel.why import Why


@dataclass(frozen=True, slots=True)
class EnablingQuestion:
    """With which smallest sets of `options` can a state be reached that satisfies `target`?"""

    id: str
    target: Expr
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Way:
    """With these options true and all others false the run reaches the target."""

    options: tuple[str, ...]
    trace: Trace


@dataclass(frozen=True, slots=True)
class Cover:
    """With any of these options true and all others false no run reaches the target: so the certificate says."""

    options: tuple[str, ...]
    certificate: Certificate


@dataclass(frozen=True, slots=True)
class EnablingClaim(AnyClaim):
    """Claim: these are all smallest sets, of at most `size` options where that is not None; `reason` says why not all.

    A size of -1: it is not even known that nothing is enabled without any option.
    """

    ways: tuple[Way, ...]
    covers: tuple[Cover, ...]
    size: int | None
    reason: str | Why = ""


@dataclass(frozen=True, slots=True)
class Enabled:
    """Finding: the runs were replayed and the rest of the evidence re-checked by `checked_by`."""

    question: str
    claim: EnablingClaim
    checked_by: str


EnablingFinding: TypeAlias = Enabled | Undecided | Disputed


def started_with(machine: Machine, options: Collection[str], true: Collection[str], either: bool = False) -> Machine:
    """The machine where of these options those in `true` are true at the start, or (`either`) may be; others false.

    Raises KeyError for an option that it has not, ValueError for one that is none.
    """
    written = {name for rule in machine.rules for name, _ in rule.update}
    for name in options:
        if machine.domains[name] != (False, True) or name in written:
            raise ValueError(f"{name!r} is not a Boolean variable that no rule writes")
    init = {name: (False,) for name in options} | {name: (False, True) if either else (True,) for name in true}

    def begun(variable: Variable) -> Variable:
        return replace(variable, init=init[variable.name]) if variable.name in init else variable

    variables = tuple(begun(variable) for variable in machine.variables)
    return Machine(variables, machine.signals, machine.rules, machine.requirements, machine.start)
