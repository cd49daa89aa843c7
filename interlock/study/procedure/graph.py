"""A procedure as moves between points, and as a state machine of its own beside that of its hold.

A point is where the people are in the procedure.  Between two moves the equipment and the mechanism do what they can,
in any order; nothing else is done by people.  A slip is a move that the procedure does not ask for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from interlock.hold.procedure.binding import Bound, BoundProcedure, Manner, rules_of_supplies
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, conj, disj, neg
from interlock.kernel.failures import failures_of, struck_by
from interlock.kernel.machine import (
    Actor,
    Machine,
    Requirement,
    RequirementKind,
    Rule,
    Variable,
    allowed_by,
    with_order_monitors,
)
from interlock.study.procedure.slips import Slip, SlipKind

AT = "procedure.at"
SLIPS = "procedure.slips"
GONE = "everybody gone"
"""The point at which nobody does anything any more; levers that were held spring back."""


@dataclass(frozen=True, slots=True)
class Point:
    """`action` counts from 0; it is the number of actions where nothing is left to do, and at GONE.

    `ends` tells that no move leads away; `stopped` that a check was not met; `under_way` that the action has begun.
    """

    name: str
    action: int
    ends: bool = False
    stopped: bool = False
    under_way: bool = False


@dataclass(frozen=True, slots=True)
class Move:
    """People go from one point to another by firing a rule of the hold (None: by doing nothing), while `when` is so.

    `slip` is a place in `ProcedureGraph.slips`, or None for what the procedure asks.  `action` is what is being done.
    """

    source: int
    dest: int
    rule: str | None
    when: Expr
    slip: int | None
    action: int


@dataclass(frozen=True, slots=True)
class Course:
    """Other actions in the place of those from `action` (from 0) to before `resumes`.

    `instead` has each with the number, from 0, of the action of the procedure that it is or stands for.
    """

    action: int
    instead: tuple[tuple[int, Bound], ...]
    resumes: int


@dataclass(frozen=True, slots=True)
class ProcedureGraph:
    """Every point and every move of a procedure, slips included.

    `machine` is the hold's, with its order memories; `plant` names the rules that need no people (supplies steady),
    `lost` those by which supplies go and come.  `starts[n]` is the point before action n; the last one is the end.
    """

    bound: BoundProcedure
    machine: Machine
    points: tuple[Point, ...]
    moves: tuple[Move, ...]
    slips: tuple[Slip, ...]
    starts: tuple[int, ...]
    gone: int
    plant: tuple[str, ...]
    lost: tuple[str, ...]


@dataclass(slots=True)
class _Drawing:
    machine: Machine
    points: list[Point] = field(default_factory=list)
    moves: list[Move] = field(default_factory=list)

    def point(self, point: Point) -> int:
        self.points.append(point)
        return len(self.points) - 1

    def move(self, source: int, dest: int, rule: str | None, when: Expr, slip: int | None, action: int) -> None:
        if when != FALSE:
            self.moves.append(Move(source, dest, rule, when, slip, action))

    def perform(
        self, bound: Bound, action: int, source: int, dest: int, stopped: int, slip: int | None, tag: str
    ) -> None:
        """All moves by which the action is done between two points; the first of them is the slip, if it is one."""
        until = bound.until
        if bound.manner is Manner.CHECK:
            self.move(source, dest, None, until, slip, action)
            self.move(source, stopped, None, neg(until), slip, action)
            return
        if bound.manner is Manner.WAIT:
            self.move(source, dest, None, until, slip, action)
            return
        if bound.manner is Manner.ONCE:
            for name in bound.rules:
                self.move(source, dest, name, TRUE, slip, action)
            possible = disj(*(self.machine.rule(name).guard for name in bound.rules))
            self.move(source, dest, None, conj(bound.done, neg(possible)), slip, action)
            return
        way = self.point(Point(tag, action, under_way=True))
        if bound.manner is Manner.HELD:
            for name in bound.rules:
                self.move(source, way, name, TRUE, slip, action)
            self.move(source, way, None, bound.done, slip, action)
            if slip is None:
                # it is so already: some pass on, some hold the lever all the same
                self.move(source, dest, None, until, None, action)
            for name in bound.release:
                self.move(way, dest, name, until if slip is None else TRUE, None, action)
            return
        for name in bound.rules:
            self.move(source, way, name, TRUE, slip, action)
            self.move(way, way, name, TRUE, None, action)
        self.move(source, dest, None, until, slip, action)
        self.move(way, dest, None, until if slip is None else TRUE, None, action)


def procedure_graph(
    bound: BoundProcedure, slips: Sequence[Slip] = (), courses: Sequence[Course] = ()
) -> ProcedureGraph:
    """All moves of the procedure and of these slips; or of these courses, which then take the place of slips.

    The `slip` of a move onto a course is the place of the course.
    """
    compiled = bound.compiled
    machine = with_order_monitors(compiled.machine)
    number = len(bound.actions)
    drawing = _Drawing(machine)
    starts = [drawing.point(Point(str(at + 1), at)) for at in range(number)]
    starts.append(drawing.point(Point("done", number, ends=True)))
    stopped = [
        drawing.point(Point(f"stopped at {at + 1}", at, ends=True, stopped=True)) if one.manner is Manner.CHECK else -1
        for at, one in enumerate(bound.actions)
    ]
    gone = drawing.point(Point(GONE, number, ends=True))
    for at, one in enumerate(bound.actions):
        drawing.perform(one, at, starts[at], starts[at + 1], stopped[at], None, f"{at + 1} under way")
    for place, slip in enumerate(slips):
        _slip(drawing, bound, slip, place, starts, stopped)
    for place, course in enumerate(courses):
        _depart(drawing, course, place, starts, stopped)
    for control in compiled.hold.controls:
        if control.is_held:
            for name in compiled.rules_of(compiled.world.things[control.id], "release"):
                drawing.move(gone, gone, name, TRUE, None, number)
    lost = rules_of_supplies(compiled)
    plant = tuple(
        rule.name for rule in machine.rules if rule.actor in (Actor.PLANT, Actor.MECHANISM) and rule.name not in lost
    )
    return ProcedureGraph(
        bound,
        machine,
        tuple(drawing.points),
        tuple(drawing.moves),
        tuple(slips),
        tuple(starts),
        gone,
        plant,
        tuple(lost),
    )


def _slip(
    drawing: _Drawing, bound: BoundProcedure, slip: Slip, place: int, starts: Sequence[int], stopped: Sequence[int]
) -> None:
    at = slip.action
    tag = f"{at + 1} under way, {slip.id}"
    if slip.instead is None:
        drawing.move(starts[at], starts[slip.resumes], None, TRUE, place, at)
    elif slip.kind is SlipKind.SWAPPED:
        between = drawing.point(Point(f"{at + 1} after {at + 2}", at))
        drawing.perform(slip.instead, at + 1, starts[at], between, stopped[at + 1], place, tag)
        drawing.perform(bound.actions[at], at, between, starts[at + 2], stopped[at], None, f"{tag}, first")
    elif slip.kind is SlipKind.REPEATED:
        again = replace(slip.instead, done=FALSE)
        drawing.perform(again, at, starts[at + 1], starts[at + 1], stopped[at], place, tag)
    else:
        drawing.perform(slip.instead, at, starts[at], starts[slip.resumes], stopped[at], place, tag)


def _depart(drawing: _Drawing, course: Course, place: int, starts: Sequence[int], stopped: Sequence[int]) -> None:
    """The way onto the course, a point before each of its actions, and the way back."""
    tag = f"course {place}"
    before = [
        drawing.point(Point(f"{tag}, before {number}", action)) for number, (action, _) in enumerate(course.instead)
    ]
    after = [*before, starts[course.resumes]]
    drawing.move(starts[course.action], after[0], None, TRUE, place, course.action)
    for number, (action, one) in enumerate(course.instead):
        way = f"{tag}, {number} under way"
        drawing.perform(one, action, after[number], after[number + 1], stopped[action], None, way)


def procedure_machine(
    graph: ProcedureGraph,
    *,
    lost: bool,
    slips: int = 0,
    gone_from: Iterable[int] = (),
    failing: bool = False,
    counted: bool = True,
) -> Machine:
    """The graph as a state machine of its own: the hold's variables, where the people are, how many slips were made.

    With `lost` supplies go and come at any time; with `failing` declared failures strike at any time.  Where slips are
    not `counted` there may be any number, and each has the name of the first.  From the points
    in `gone_from` everybody may leave.  Requirements speak of the same steps as in the hold; `can` requirements and
    order memories are left out, for the rules carry the memories already.
    """
    machine = graph.machine
    names = tuple(point.name for point in graph.points)
    variables = [*machine.variables, Variable(AT, names, (names[graph.starts[0]],))]
    if slips and counted:
        variables.append(Variable(SLIPS, tuple(range(slips + 1)), (0,)))
    rules: list[Rule] = []
    origin: dict[str, list[str]] = {}

    def add(name: str, actor: Actor, guard: Expr, update: Iterable[tuple[str, object]], rule: str | None) -> None:
        if guard != FALSE:
            rules.append(Rule(name, actor, guard, tuple(update)))  # type: ignore[arg-type]  # values of the domains
            if rule is not None:
                origin.setdefault(rule, []).append(name)

    failures = [rule.name for rule in graph.machine.rules if rule.actor is Actor.FAILURE] if failing else []
    for name in (*graph.plant, *(graph.lost if lost else ()), *failures):
        rule = machine.rule(name)
        add(name, rule.actor, rule.guard, rule.update, name)
    for place, move in enumerate(graph.moves):
        if move.slip is not None and not slips:
            continue
        fired = None if move.rule is None else machine.rule(move.rule)
        guard = conj(Is(AT, names[move.source]), TRUE if fired is None else fired.guard, move.when)
        update: list[tuple[str, object]] = [] if fired is None else list(fired.update)
        if move.dest != move.source:
            update.append((AT, names[move.dest]))
        if move.slip is None:
            add(move_name(graph, place, None), Actor.CREW, guard, update, move.rule)
            continue
        if not counted:
            add(move_name(graph, place, 0), Actor.CREW, guard, update, move.rule)
            continue
        for made in range(slips):
            name = move_name(graph, place, made)
            add(name, Actor.CREW, conj(guard, Is(SLIPS, made)), [*update, (SLIPS, made + 1)], move.rule)
    for point in gone_from:
        add(f"gone {names[point]}", Actor.CREW, Is(AT, names[point]), [(AT, names[graph.gone])], None)
    requirements = tuple(_mapped(one, origin) for one in machine.requirements if not one.kind.is_about_work)
    return Machine(tuple(variables), machine.signals, tuple(rules), requirements, machine.start)


def move_name(graph: ProcedureGraph, place: int, made: int | None) -> str:
    """The name of a move in the machine of its graph; `made` counts the slips before it, where it is one."""
    move = graph.moves[place]
    text = f"move {place}" + ("" if move.rule is None else f": {move.rule}")
    return text if made is None else f"{text} (slip {made + 1}: {graph.slips[move.slip or 0].id})"


def _mapped(requirement: Requirement, origin: Mapping[str, Sequence[str]]) -> Requirement:
    """The requirement about the rules of the graph; an order has become a condition on its memory."""
    steps = frozenset(name for step in requirement.steps for name in origin.get(step, ()))
    if requirement.kind is not RequirementKind.ORDER:
        return replace(requirement, steps=steps)
    condition = allowed_by(requirement)
    return Requirement(requirement.id, RequirementKind.ONLY_IF, condition, requirement.situation, steps)


def strikes(machine: Machine) -> dict[Rule, str]:
    """The rules by which failures strike, each with the failure, by the name of its variable."""
    failures = failures_of(machine)
    struck = {rule: struck_by(rule, failures) for rule in machine.rules}
    return {rule: name for rule, name in struck.items() if name is not None and (name, True) in rule.update}


def healings(machine: Machine) -> list[Rule]:
    """The rules by which failures go again: that may happen at any time, like what the equipment does by itself."""
    made = strikes(machine)
    return [rule for rule in machine.rules if rule.actor is Actor.FAILURE and rule not in made]
