"""Which failures show in the normal course of things: everything brought in, the hold shut, everything taken out again.

The course is the checklist that the program makes and proves for the hold.  It is worked with each failure there from
the beginning, beside the sound hold (`bench`).  A failure shows at a step where, wherever the hold may then be, the
step cannot be made or something that people can see is not as it should be.  What nobody looks at shows to nobody: so
what is said here not to show is hidden, and what is said to show is so for whoever looks.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.kernel.claims import Limits, ProgressCallback, silent
from interlock.prove.engine import NO_LIMITS, clock_of, share_of
from interlock.study.checklist.goals import ALL, GoalFault, Load, Unload
from interlock.study.checklist.making import Checklist, make_checklist
from interlock.study.checklist.operating import Refusal
from interlock.study.functional_test.bench import Bench
from interlock.study.functional_test.making import FunctionalTest, Maker

PLANNING = 0.5
"""The part of the time for the checklists."""


@dataclass(frozen=True, slots=True)
class NormalCourse:
    """What was followed, and what shows in it.

    `kind` is the kind of unit that is brought in, `steps` how many steps were taken.  `shown` has per failure the
    number of the step, from 1, at which it shows; 0: before anything is done.  `hidden` does not show in any of them;
    `unknown` has what was too much to follow or cannot strike at the start.  `followed` is the course, step by step, as
    a test.  `why` says why it, or a part of it, was not followed: of what is then `hidden` nothing is known beyond the
    steps taken.
    """

    kind: str
    steps: int
    shown: Mapping[str, int]
    hidden: tuple[str, ...]
    unknown: tuple[str, ...]
    followed: FunctionalTest
    why: str = ""


def follow_course(
    compiled: CompiledHold, limits: Limits = NO_LIMITS, report: ProgressCallback = silent
) -> NormalCourse | None:
    """What shows of the failures that the hold declares; None where no checklist brings anything in.

    The same call gives the same, unless a limit cuts it short.
    """
    clock = clock_of(limits)
    found = _course(compiled, share_of(limits, clock, PLANNING), report)
    if found is None:
        return None
    kind, why, heads = found
    bench = Bench(compiled)
    start = bench.operation.start()
    if start is None:
        return None
    maker = Maker(bench, start, bench.failures, clock, report, True)
    maker.first = maker.begin()
    for head in heads:
        if clock.is_over():
            why = "the time was up"
            break
        step = bench.step(maker.now, head)
        if isinstance(step, Refusal):
            why = "a step of the checklist must be taken at the right moment, or depends on it"
            break
        maker.append(step)
    there, test = maker.followed, maker.told(False)
    hidden = tuple(name for name in bench.failures if name in there.plain or name in there.apart)
    unknown = tuple(name for name in bench.failures if name not in test.shown and name not in hidden)
    return NormalCourse(kind, len(test.steps) - 1, test.shown, hidden, unknown, test, why)


def _course(compiled: CompiledHold, limits: Limits, report: ProgressCallback) -> tuple[str, str, list[str]] | None:
    """The kind of unit, why not all is followed, and the deeds in order; of the hold in which nothing fails."""
    texts = tuple(dict.fromkeys(one.origin for one in compiled.instances))
    own = set(compiled.hold.requirements)
    sound = replace(compiled.hold, failures=(), common_causes=())
    given = tuple(text for text in texts if text not in own)
    plain = compile_hold(sound, given, compiled.situation).compiled
    if plain is None:
        return None
    for unit in compiled.hold.units:
        for load in _loads(plain, unit.id, limits, report):
            try:
                unload = make_checklist(plain, Unload((ALL,)), limits, report, load.goal)
            except GoalFault:
                unload = None
            heads = _heads(load)
            if isinstance(unload, Checklist):
                return unit.id, "", [*heads, *_heads(unload)]
            return unit.id, "no checklist was found by which everything is taken out again", heads
    return None


def _loads(plain: CompiledHold, kind: str, limits: Limits, report: ProgressCallback) -> Iterator[Checklist]:
    """A checklist that fills the hold with that kind, or the nearest to it."""
    try:
        made = make_checklist(plain, Load(((ALL, kind),)), limits, report)
        if not isinstance(made, Checklist) and made.nearest is not None:
            made = make_checklist(plain, made.nearest.goals[-1], limits, report)
    except GoalFault:
        return
    if isinstance(made, Checklist):
        yield made


def _heads(made: Checklist) -> list[str]:
    return [head for step in made.steps for head in step.execution.deed.heads]
