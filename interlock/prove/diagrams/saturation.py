"""Every reachable state at once, as one decision diagram; a proof is the diagram, and `confirm` follows rules in it.

Where the states are many and the machine is loosely knit this is the engine of choice; where everything depends on
everything diagrams are as large as the states are many.  Which it is depends on the order of the variables too: with
each failed try more work is allowed, and the next order is tried.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from interlock.diagnostics.said import say
from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, Proved, Refuted, Unknown, silent
from interlock.kernel.machine import Machine, Question
from interlock.kernel.why import Helps, Why
from interlock.prove.core.cone import cone_of, lifted
from interlock.prove.diagrams.forest import Exhausted, Work, deep_enough
from interlock.prove.diagrams.ordering import orders
from interlock.prove.diagrams.reaching import Reached
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Clock, OutOfTime, clock_of, stop_reason

NAME = "diagrams"
FIRST_WORK = 250_000
"""How much work the first try may be; about a second."""
MORE_WORK = 4
"""So many times more each time that all orders failed."""
MOST_VALUES = 4_096
"""Of one variable; every node has as many children."""
RUN_WORK = 8
"""So many times the work of reaching all states may be spent on a run to one of them, and at least `FIRST_WORK`."""
TOO_MUCH = Why(
    say("whether a state like that is among those that can be reached is too much work to say"), Helps.METHOD
)
TOO_LONG = Why(say("a state like that can be reached, but the run to it is too long to be made"), Helps.METHOD)


def diagrams(
    machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: ProgressCallback = silent
) -> tuple[Claim, ...]:
    """Finds all reachable states and answers every question from them; runs need not be shortest.

    `limits.depth` bounds the runs that are claimed; `limits.states` bounds nothing, as no state is held.
    """
    clock = clock_of(limits)
    claims: dict[int, Claim] = {}
    reason = ""
    try:
        met: dict[int, int] = {}
        search = Saturation(machine, questions, clock)
        most = FIRST_WORK
        while not search.is_hopeless and not search.try_orders(most, report):
            most *= MORE_WORK
        wide = Why(say("a variable has more than {number} values", number=MOST_VALUES), Helps.METHOD)
        reason = wide if search.is_hopeless else TOO_MUCH
        if search.reached is not None:
            met = search.prove(range(len(questions)), claims)
            search.refute(met, claims, limits.depth)
            for at in met:
                claims.setdefault(at, Unknown(questions[at].id, NAME, TOO_LONG))
    except OutOfTime:
        reason = stop_reason(limits, clock)
    except KeyboardInterrupt:
        reason = INTERRUPTED
    for at, question in enumerate(questions):
        if at not in claims:
            claims[at] = Unknown(question.id, NAME, reason)
    return tuple(claims[at] for at in range(len(questions)))


class Saturation:
    """Tries to reach all states, with more work each time; then answers.

    Methods raise OutOfTime by the clock only.
    """

    def __init__(self, machine: Machine, questions: Sequence[Question], clock: Clock) -> None:
        self.machine = machine
        self.questions = questions
        self.clock = clock
        self.part = cone_of(machine, [question.target for question in questions])
        self.reached: Reached | None = None
        self.is_hopeless = max((len(v.domain) for v in self.part.variables), default=0) > MOST_VALUES
        self._orders: list[list[str]] | None = None
        self._spent = 0

    def try_orders(self, most: int, report: ProgressCallback, most_orders: int | None = None) -> bool:
        """Tries the orders one after the other, each with so much work at most; whether all states were reached."""
        if self.is_hopeless:
            return False
        if self._orders is None:
            self._orders = orders(self.part)
        for at, order in enumerate(self._orders[:most_orders]):
            work = Work(self.clock, most)
            try:
                with deep_enough(len(order)):
                    reached = Reached(self.part, order, work)
                    reached.reach()
            except Exhausted:
                report(Progress(NAME, f"order {at + 1} of the variables: more than {most:,} pieces of work"))
                continue
            report(Progress(NAME, f"{reached.count()} states"))
            self.reached = reached
            self._spent = work.done
            return True
        return False

    def count(self) -> int:
        """How many states of the part that the questions depend on can be reached; 0 where that is not known."""
        return 0 if self.reached is None else self.reached.count()

    def prove(self, places: Sequence[int], claims: dict[int, Claim]) -> dict[int, int]:
        """Adds a proof, by place, for every one of these questions whose target no reached state satisfies.

        Gives, by place, the reached states of the other targets.
        """
        reached = self._reached()
        met: dict[int, int] = {}
        proved: list[int] = []
        with deep_enough(len(reached.order)):
            for at in places:
                self._allow()
                try:
                    goal = reached.meeting(reached.states, self.questions[at].target)
                except Exhausted:
                    continue
                if goal:
                    met[at] = goal
                else:
                    proved.append(at)
            diagram = reached.diagram() if proved else None
        for at in proved:
            claims[at] = Proved(self.questions[at].id, NAME, None, diagram=diagram)
        return met

    def refute(self, met: Mapping[int, int], claims: dict[int, Claim], deepest: int | None) -> None:
        """Adds runs to these reached states, by the place of their question, where that is not too much work."""
        reached = self._reached()
        with deep_enough(len(reached.order)):
            for at, goal in met.items():
                self._allow()
                try:
                    trace = reached.run_to(goal)
                except Exhausted:
                    continue
                if deepest is None or trace.depth <= deepest:
                    whole = lifted(self.machine, self.part, trace)
                    claims[at] = Refuted(self.questions[at].id, NAME, whole, shortest=trace.depth == 0)

    def _allow(self) -> None:
        """For each question, more work anew."""
        self._reached().forest.work.allow(max(FIRST_WORK, RUN_WORK * self._spent))

    def _reached(self) -> Reached:
        if self.reached is None:
            raise ValueError("not all states were reached")
        return self.reached
