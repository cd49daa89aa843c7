"""What people can bring about at all, as far as that is plain to see: in the delete relaxation."""

from __future__ import annotations

from collections.abc import Generator, Sequence

from interlock.kernel.expressions import And, Const, Expr, Is, Not, Or, Ref, each, fold
from interlock.prove.search.delete_relaxation import NEVER, DeleteRelaxation


class Reach:
    """What some rules lead to from one state, where every variable keeps each value that it once had."""

    def __init__(self, relaxation: DeleteRelaxation, places: Sequence[int]) -> None:
        machine = relaxation.machine
        relaxation.put_all(places)
        costs = relaxation.survey()
        self._definitions = machine.definitions
        self._values = {
            one.name: frozenset(
                value for value in one.domain if costs.cost(relaxation.goal(Is(one.name, value))) < NEVER
            )
            for one in machine.variables
        }
        self._signals: dict[tuple[str, bool], bool] = {}

    def can_be(self, expr: Expr) -> bool:
        """False where the expression is true in no state that can come about."""

        def step(asked: tuple[Expr, bool]) -> Generator[tuple[Expr, bool], bool, bool]:
            part, wanted = asked
            match part:
                case Const(value):
                    return value is wanted
                case Not(arg):
                    return (yield arg, not wanted)
                case Is(name, value):
                    values = self._values[name]
                    return value in values if wanted else not values <= {value}
                case Ref(signal):
                    if (signal, wanted) not in self._signals:
                        self._signals[signal, wanted] = yield self._definitions[signal], wanted
                    return self._signals[signal, wanted]
                case And(args) | Or(args):
                    found: list[bool] = yield from each((arg, wanted) for arg in args)
                    return all(found) if isinstance(part, And) is wanted else any(found)

        return fold(step, (expr, True))
