"""Every allowed combination of a hold's options, proved in one run: which requirements fail with which options.

The configurations are merged to one machine whose options are choices at the start, and that is asked.  What is found
to fail is replayed on the configuration itself, compiled by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from interlock.confirm.confirm import confirm
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.compile.requirements import Instance
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.loader import Loaded
from interlock.hold.tell import Story, tell
from interlock.kernel.claims import Fails, Limits, Progress, ProgressCallback, Refuted, Trace, silent
from interlock.kernel.expressions import Expr, conj, neg
from interlock.kernel.machine import Machine, Question, RequirementKind
from interlock.kernel.merged import Forms, fault_of_merge
from interlock.prove.engine import Clock, OutOfTime, clock_of, share_of, stop_reason
from interlock.study.families.asking import Asking, Reached, asking
from interlock.study.families.conditions import choices_of, so_in
from interlock.study.families.configurations import Space, Term, looked_at, space_of, terms_of
from interlock.study.families.merging import Asked, CannotMerge, Compiled, Merged, merge, shared
from interlock.study.recalling import Store, verify_by
from interlock.study.verify import Answer, Status, ask

BY_LOT = 4
"""So many configurations are compiled beside those that tell most, to see whether the merged machine is right there."""
EVERY_UP_TO = 64
"""Where there are no more configurations than this, every one is compiled and compared."""
MOST_ALONE = 12
"""So many configurations in which something fails are asked about by themselves too."""
KEPT = 8
"""So many compiled holds are kept, to be told of."""

MAIN, OCCASION, GOAL = "main", "occasion", "goal"

Runs = dict[tuple[str, tuple[str, ...]], Trace]
"""Of a requirement and the options that are fitted a run of the merged machine."""

Fitting = Callable[[Collection[str]], Loaded[Hold]]
"""Gives the hold with these of its options fitted."""


@dataclass(frozen=True, slots=True)
class Shown:
    """What fails in the configurations of a term, told of the one with the fewest options.

    `story` is None where no run tells.  `alone`: it was asked about this configuration by itself too, and fails; where
    a story is told the run is then the shortest that was found there.
    """

    term: Term
    fitted: tuple[str, ...]
    story: Story | None
    alone: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was found of one requirement: sets of configurations.

    It is asked in those of `where`; of these it fails in `fails`, holds vacuously in `vacuous`, is undecided in
    `undecided`, for that `reason`, and holds in all others.  `shown` has together the configurations in which it fails.
    """

    instance: Instance
    where: int
    fails: int
    vacuous: int
    undecided: int
    reason: str
    shown: tuple[Shown, ...]
    checked_by: str
    disputed: str = ""

    def status_in(self, configuration: int) -> Status | None:
        """What comes out in this one configuration, a set of one; None where it is not asked there."""
        if self.disputed:
            return Status.DISPUTED
        if not self.where & configuration:
            return None
        of = ((self.undecided, Status.UNDECIDED), (self.fails, Status.FAILS), (self.vacuous, Status.VACUOUS))
        return next((status for some, status in of if some & configuration), Status.HOLDS)


@dataclass(frozen=True, slots=True)
class Family:
    """What was found of all configurations.

    Of those that the description allows, `compiling` are taken to compile: each of `not_compiling` names some that do
    not, with what is wrong.  `compared` were compiled one by one and found to be the same as the merged machine; with
    those that were seen to be no hold they are `seen`.
    `unmerged` says why nothing was asked, where that is so.
    """

    hold: Hold
    space: Space
    compiling: int
    not_compiling: tuple[tuple[Term, tuple[Diagnostic, ...]], ...]
    compared: int
    outcomes: tuple[Outcome, ...]
    unmerged: str = ""
    seen: int = 0

    @property
    def is_whole(self) -> bool:
        """Every configuration that is allowed was compared with the merged machine, or seen to be no hold."""
        return not self.space.allowed & ~self.seen

    @property
    def is_disputed(self) -> bool:
        """Two parts of this program contradict each other."""
        return any(one.disputed for one in self.outcomes)

    @property
    def is_decided(self) -> bool:
        """Nothing is open."""
        return not self.unmerged and not any(one.undecided for one in self.outcomes)

    @property
    def fails(self) -> bool:
        """Something fails in some configuration."""
        return any(one.fails for one in self.outcomes)


class NotTheHold(Exception):
    """The description without any of its options cannot be used; `diagnostics` say why."""

    def __init__(self, diagnostics: tuple[Diagnostic, ...]) -> None:
        super().__init__("the description cannot be used")
        self.diagnostics = diagnostics


def prove_family(
    fitting: Fitting,
    requirements: Callable[[Hold], tuple[RequirementText, ...]],
    situation: str | None,
    limits: Limits,
    report: ProgressCallback = silent,
    chosen: Sequence[str] | None = None,
    *,
    every: bool = False,
    within: Sequence[frozenset[str]] = (),
    store: Store | None = None,
) -> Family:
    """Asks about the requirements (or the `chosen` ids) in every allowed configuration of the hold.

    `requirements` gives those to be asked beside the hold's own.  Where `every` is set each configuration is
    compiled and compared, however many there are.  Where some are given, `within` them alone is asked, each of them
    compiled and compared.  Claims are looked up in the `store`, and left there.  Raises NotTheHold and TooManyOptions.
    """
    clock = clock_of(limits)
    base = fitting(())
    if base.value is None:
        raise NotTheHold(base.diagnostics)
    space = space_of(base.value)
    configurations = _Configurations(space, fitting, requirements, situation, chosen)
    if not configurations.compiles(frozenset()):
        raise NotTheHold(configurations.faults[frozenset()])
    some = looked_at(space, BY_LOT)
    if every or space.allowed.bit_count() <= EVERY_UP_TO:
        some = space.each(space.allowed)
    looked = list(dict.fromkeys((frozenset(), *within) if within else some))
    while True:
        try:
            merged = _merged(configurations, looked, clock, report)
        except (CannotMerge, OutOfTime, KeyboardInterrupt) as fault:
            reason = str(fault) if isinstance(fault, CannotMerge) else stop_reason(limits, clock)
            return Family(base.value, space, space.allowed, (), 0, (), reason)
        merged = _within(merged, space, within) if within else merged
        plain = configurations.machines[frozenset()].machine
        asks = asking(space, merged.machine, plain, merged.compiling, share_of(limits, clock), report, store)
        runs: Runs = {}
        outcomes = tuple(_outcomes(configurations, merged, asks, runs))
        # what was not compared may be found wrong where something is to be shown of it: then all is merged anew
        shown = {frozenset(one.fitted) for outcome in outcomes for one in outcome.shown} - set(looked)
        wrong = [one for one in sorted(shown, key=sorted) if not _is_right(configurations, merged, one, Forms())]
        looked += sorted(shown, key=sorted)
        if not wrong:
            break
    outcomes = tuple(_with_stories(configurations, merged, outcome, runs) for outcome in outcomes)
    outcomes = _asked_alone(configurations, outcomes, share_of(limits, clock), report, store)
    compared = seen = 0
    for one in looked:
        seen |= space.alone(one)
        compared |= space.alone(one) if configurations.compiles(one) else 0
    unusable = _not_compiling(configurations)
    return Family(base.value, space, merged.compiling, unusable, compared, outcomes, seen=seen)


class _Configurations:
    """Compiled configurations, each made when it is first asked for."""

    def __init__(
        self,
        space: Space,
        fitting: Fitting,
        requirements: Callable[[Hold], tuple[RequirementText, ...]],
        situation: str | None,
        chosen: Sequence[str] | None,
    ) -> None:
        self.space = space
        self.faults: dict[frozenset[str], tuple[Diagnostic, ...]] = {}
        self.machines: dict[frozenset[str], Compiled] = {}
        self.instances: dict[str, Instance] = {}
        self._known: dict[Expr, Expr] = {}
        self._fitting = fitting
        self._requirements = requirements
        self._situation = situation
        self._chosen = chosen
        self.hold_of = lru_cache(KEPT)(self._hold_of)

    def compiles(self, fitted: frozenset[str]) -> bool:
        """Whether there is such a hold; it is kept as a machine, or what is wrong with it."""
        if fitted in self.machines or fitted in self.faults:
            return fitted in self.machines
        compiled = self.hold_of(fitted)
        if compiled is None:
            return False
        asked = ask(compiled, self._chosen)
        found: dict[Asked, Expr] = {}
        for instance in asked.instances:
            id = instance.requirement.id
            self.instances.setdefault(id, instance)
            main = asked.main[id]
            if isinstance(main, Question):
                found[Asked(id, MAIN)] = main.target
            else:
                found[Asked(id, GOAL)] = main.goal
            if id in asked.occasions:
                found[Asked(id, OCCASION)] = asked.occasions[id].target
        found = {one: self._known.setdefault(expr, expr) for one, expr in found.items()}
        self.machines[fitted] = Compiled(fitted, shared(asked.machine, self._known), found)
        return True

    def _hold_of(self, fitted: frozenset[str]) -> CompiledHold | None:
        loaded = self._fitting(fitted)
        if loaded.value is None:
            self.faults[fitted] = loaded.diagnostics
            return None
        compilation = compile_hold(loaded.value, self._requirements(loaded.value), self._situation)
        if compilation.compiled is None:
            self.faults[fitted] = compilation.diagnostics
        return compilation.compiled


def _merged(
    configurations: _Configurations, waiting: Sequence[frozenset[str]], clock: Clock, report: ProgressCallback
) -> Merged:
    """A merged machine that is the same as each of these configurations."""
    space = configurations.space
    first = 1 + len(space.options) + 2
    seen, left = list(waiting[:first]), list(waiting[first:])
    forms = Forms()
    while True:
        for number, one in enumerate(seen, 1):
            clock.check()
            report(Progress("family", "compiling configurations", number, len(waiting)))
            configurations.compiles(one)
        machines = [configurations.machines[one] for one in seen if one in configurations.machines]
        merged = merge(space, machines, [one for one in seen if one in configurations.faults])
        missed = [one for one in left if not _is_right(configurations, merged, one, forms)]
        if not missed:
            break
        # a few at a time: one that was missed tells what others depend on too
        seen, left = [*seen, *missed[:4]], [one for one in left if one not in missed[:4]]
    if not all(_is_right(configurations, merged, one, forms) for one in seen):
        raise CannotMerge("the merged machine is not what it was made of")
    return merged


def _within(merged: Merged, space: Space, some: Sequence[frozenset[str]]) -> Merged:
    """The merged machine that can be these configurations alone."""
    wanted = 0
    for one in some:
        wanted |= space.alone(one)
    compiling = merged.compiling & wanted
    plain = merged.machine
    machine = replace(plain, start=conj(plain.start, so_in(space, compiling)))
    where = {asked: those & wanted for asked, those in merged.where.items()}
    return replace(merged, machine=machine, compiling=compiling, where=where)


def _is_right(configurations: _Configurations, merged: Merged, fitted: frozenset[str], forms: Forms) -> bool:
    """The merged machine is the same as this configuration, or knows that it does not compile."""
    space = configurations.space
    is_there = bool(merged.compiling & space.alone(fitted))
    if not configurations.compiles(fitted):
        return not is_there
    if not is_there:
        return False
    one = configurations.machines[fitted]
    where = {asked for asked, some in merged.where.items() if some & space.alone(fitted)}
    if where != set(one.asked):
        return False
    asked = ((merged.asked[asked], expr) for asked, expr in one.asked.items())
    rules = merged.rules_of(one.machine)
    return not fault_of_merge(merged.machine, choices_of(space, fitted), one.machine, rules, asked, forms)


def _not_compiling(configurations: _Configurations) -> tuple[tuple[Term, tuple[Diagnostic, ...]], ...]:
    """What does not compile, in as few words as what was seen allows, with what is wrong in the smallest such one."""
    space = configurations.space
    bad = good = 0
    for fitted in configurations.faults:
        bad |= space.alone(fitted)
    for fitted in configurations.machines:
        good |= space.alone(fitted)
    found = []
    for term in terms_of(space, bad, space.everything & ~good):
        smallest = next(one for one in space.each(term.of(space) & bad))
        found.append((term, configurations.faults[smallest]))
    return tuple(found)


def _outcomes(configurations: _Configurations, merged: Merged, asks: Asking, runs: Runs) -> Iterator[Outcome]:
    """What was found of each requirement, nothing told yet; `runs` is given what there is to tell."""
    space = configurations.space
    plain = [one for one in merged.asked if one.sense != GOAL]
    ways = [one for one in merged.asked if one.sense == GOAL]
    different = list(dict.fromkeys(merged.asked[one] for one in plain))
    expected = {
        merged.asked[one]
        for one in plain
        if one.sense == OCCASION or configurations.instances[one.requirement].requirement.kind is RequirementKind.CAN
    }
    found = dict(zip(different, asks.reach([(one, one in expected) for one in different]), strict=True))
    goals = list(dict.fromkeys(merged.asked[one] for one in ways))
    lost = dict(zip(goals, asks.lose(goals), strict=True))
    for id, instance in configurations.instances.items():
        main, goal, occasion = (Asked(id, sense) for sense in (MAIN, GOAL, OCCASION))
        if goal in merged.asked:
            expr = merged.asked[goal]
            yield _outcome(space, instance, merged.where[goal], lost[expr], None, runs)
        else:
            arises = found[merged.asked[occasion]] if occasion in merged.asked else None
            expr = merged.asked[main]
            yield _outcome(space, instance, merged.where[main], found[expr], arises, runs)


def _outcome(
    space: Space, instance: Instance, where: int, reached: Reached, arises: Reached | None, runs: Runs
) -> Outcome:
    wanted = instance.requirement.kind is RequirementKind.CAN
    there = reached.configurations & where
    rest = where & ~there
    if wanted:
        fails = 0 if reached.reason else rest
        undecided = rest if reached.reason else 0
    else:
        fails, undecided = there, rest if reached.reason else 0
    vacuous, reason = 0, reached.reason
    if arises is not None and not wanted:
        never = where & ~arises.configurations & ~fails & ~undecided
        if arises.reason and never:
            undecided, reason = undecided | never, reason or arises.reason
        else:
            vacuous = never
    disputed = reached.disputed or (arises.disputed if arises is not None else "")
    shown = []
    # where it is not asked, or nothing compiles, it does not matter what a term says
    for term in terms_of(space, fails, space.everything & ~where):
        fitted = next(space.each(term.of(space) & fails))
        named = tuple(option for option in space.options if option in fitted)
        shown.append(Shown(term, named, None))
        witness = next((one for one in reached.witnesses if one.configurations & space.alone(fitted)), None)
        if witness is not None and not wanted:
            runs[instance.requirement.id, named] = witness.run
    return Outcome(
        instance,
        where,
        fails,
        vacuous,
        undecided,
        reason,
        tuple(shown),
        reached.checked_by,
        disputed,
    )


def _with_stories(configurations: _Configurations, merged: Merged, outcome: Outcome, runs: Runs) -> Outcome:
    """What is shown, each with its run told of the configuration itself; disputed where it is none there."""
    shown, disputed = [], outcome.disputed
    for one in outcome.shown:
        run = runs.get((outcome.instance.requirement.id, one.fitted))
        told = None if run is None else _told(configurations, merged, outcome.instance, frozenset(one.fitted), run)
        shown.append(one if isinstance(told, str) else replace(one, story=told))
        disputed = disputed or (told if isinstance(told, str) else "")
    return replace(outcome, shown=tuple(shown), disputed=disputed)


def _asked_alone(
    configurations: _Configurations,
    outcomes: tuple[Outcome, ...],
    limits: Limits,
    report: ProgressCallback,
    store: Store | None,
) -> tuple[Outcome, ...]:
    """What is shown, asked about its configuration by itself: for a run that is short there, and as a check."""
    ids: dict[tuple[str, ...], list[str]] = {}
    for outcome in outcomes:
        for shown in outcome.shown:
            ids.setdefault(shown.fitted, []).append(outcome.instance.requirement.id)
    most = sorted(ids, key=lambda fitted: (len(fitted), fitted))[:MOST_ALONE]
    clock = clock_of(limits)
    found: dict[tuple[tuple[str, ...], str], Answer] = {}
    for left, fitted in zip(range(len(most), 0, -1), most, strict=True):
        compiled = configurations.hold_of(frozenset(fitted))
        if compiled is not None:
            some = verify_by(store, compiled, share_of(limits, clock, 1 / left), report, ids[fitted])
            found.update({(fitted, one.instance.requirement.id): one for one in some.answers})
    return tuple(_with_answers(outcome, found) for outcome in outcomes)


def _with_answers(outcome: Outcome, found: Mapping[tuple[tuple[str, ...], str], Answer]) -> Outcome:
    shown, disputed = [], outcome.disputed
    for one in outcome.shown:
        answer = found.get((one.fitted, outcome.instance.requirement.id))
        if answer is None or answer.status is Status.UNDECIDED:
            shown.append(one)
        elif answer.status is Status.FAILS:
            shown.append(replace(one, story=answer.story, alone=True))
        else:
            shown.append(one)
            named = ", ".join(one.fitted) or "no option"
            disputed = (
                disputed or f"it fails of all configurations together, and {answer.status.value} with {named} alone"
            )
    return replace(outcome, shown=tuple(shown), disputed=disputed)


def _told(
    configurations: _Configurations, merged: Merged, instance: Instance, fitted: frozenset[str], run: Trace
) -> Story | str:
    """The run on the configuration itself, replayed there and told; or in words why it is none."""
    compiled = configurations.hold_of(fitted)
    if compiled is None or not configurations.compiles(fitted):
        return f"a run was found with {', '.join(sorted(fitted)) or 'no option'}, which does not compile"
    one = configurations.machines[fitted]
    asked = {asked.sense: expr for asked, expr in one.asked.items() if asked.requirement == instance.requirement.id}
    target = asked.get(MAIN) or neg(asked[GOAL])
    trace = _on(one.machine, merged, run)
    question = Question(instance.requirement.id, target)
    (finding,) = confirm(one.machine, [question], [Refuted(question.id, "family", trace, False)])
    if not isinstance(finding, Fails):
        return f"a run of the merged machine is none with {', '.join(sorted(fitted)) or 'no option'}"
    return tell(one.machine, compiled.glossary, trace, target)


def _on(one: Machine, merged: Merged, run: Trace) -> Trace:
    """The run as one of the configuration: its rules by their names there, its variables alone."""
    names = merged.rules_of(one)
    places = [merged.machine.positions[variable.name] for variable in one.variables]
    return Trace(
        tuple(names[rule] for rule in run.rules), tuple(tuple(state[at] for at in places) for state in run.states)
    )
