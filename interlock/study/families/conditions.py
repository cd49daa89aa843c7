"""In which configurations a run of the merged machine is one: exactly, by following it in all of them at once."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping

from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import TRUE, And, Const, Expr, Is, Not, Ref, conj, disj, each, fold, neg
from interlock.kernel.machine import Machine
from interlock.study.families.configurations import Space, terms_of


def choice_of(option: str) -> str:
    """The variable of the merged machine that says whether the option is fitted."""
    return f"option.{option}"


def choices_of(space: Space, fitted: frozenset[str]) -> Mapping[str, bool]:
    """What the choices are in a configuration."""
    return {choice_of(option): option in fitted for option in space.options}


def where_true(space: Space, machine: Machine, state: State) -> Callable[[Expr], int]:
    """Of an expression the set of the configurations in which it is so in that state, whatever its choices say."""
    having = {choice_of(option): some for option, some in space.having.items()}
    known: dict[str, int] = {}
    everything, positions = space.everything, machine.positions

    def step(expr: Expr) -> Generator[Expr, int, int]:
        if isinstance(expr, Is):
            if expr.variable in having:
                some = having[expr.variable]
                return some if expr.value is True else everything & ~some
            return everything if state[positions[expr.variable]] == expr.value else 0
        if isinstance(expr, Const):
            return everything if expr.value else 0
        if isinstance(expr, Ref):
            if expr.signal not in known:
                known[expr.signal] = yield machine.definitions[expr.signal]
            return known[expr.signal]
        if isinstance(expr, Not):
            return everything & ~(yield expr.arg)
        parts: list[int] = yield from each(expr.args)
        found = everything if isinstance(expr, And) else 0
        for part in parts:
            found = found & part if isinstance(expr, And) else found | part
        return found

    return lambda expr: fold(step, expr)


def where_possible(space: Space, machine: Machine, run: Trace, target: Expr = TRUE) -> int:
    """The set of the configurations in which the run, its choices left aside, is a run of the machine to the target."""
    found = where_true(space, machine, run.states[0])(machine.start)
    for rule, state in zip(run.rules, run.states, strict=False):
        found &= where_true(space, machine, state)(machine.rule(rule).guard)
    return found & where_true(space, machine, run.states[-1])(target)


def so_in(space: Space, some: int, beside: int = 0) -> Expr:
    """That the configuration is one of these, over the choices; of those `beside` it may say either."""
    if not space.everything & ~(some | beside):
        return TRUE
    terms = terms_of(space, some, beside)
    return disj(
        *(
            conj(
                *(Is(choice_of(option), True) for option in term.fitted),
                *(neg(Is(choice_of(option), True)) for option in term.without),
            )
            for term in terms
        )
    )
