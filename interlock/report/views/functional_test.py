"""Functional tests as they are told, whatever the format."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.hold.catalogue import FailingHold
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.requirements import Instance
from interlock.hold.compile.things import let_go
from interlock.hold.hands import people_for
from interlock.hold.language.model import Control
from interlock.hold.loader import FileRead
from interlock.hold.origin import Condition, Sort
from interlock.kernel.evaluator import State, as_mapping
from interlock.kernel.expressions import Value
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.checklist_facts import Guard, note
from interlock.report.views.checklist_guards import in_one_box
from interlock.report.views.facts import PROGRAM
from interlock.report.views.functional_test_facts import CoveredFacts, FunctionalTestFacts, SeenFacts, StageFacts
from interlock.report.views.harm import LABELS, NOTE, SCHEME, WARNING, label_of
from interlock.report.views.identification import identification
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.moving import moved_between, stand_clear
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of, listed, sentence
from interlock.study.checklist.operating import Deed
from interlock.study.functional_test.making import FunctionalTest, Stage

KEEP_CLEAR = Guard(
    WARNING,
    "What is tested may have failed: drives, doors and guides can move when nothing asks them to.",
    "Let nobody stand in the way of a drive, a unit, a door or a guide, unless a step says so.",
    "Stop at the first observation that is not as told; leave the hold to licensed staff.",
)
"""Said before the first step of every test."""
CLAIMS = (
    "On a hold without a failure every step ends as told, in whatever order the equipment acts, and breaks no "
    "requirement that was asked; supplies are taken to stay on.",
    "A failure that is listed with a step shows at that step at the latest, for certain, if it was there before the "
    "test began and stays, and nothing else has failed. One that comes and goes, or comes later, may be missed.",
    "What people can see, hear or feel is taken to be: indications, which drives run and which way, whether doors are "
    "open, closed, latched and locked, whether devices are raised, whether what springs back pushes against the hand "
    "that holds it, where units stand, and what cannot be done.",
    "How many people a step takes at least is reckoned with two hands a person, who is not at two stations at once: "
    "common practice, no source. How far apart things are, and who can reach what from where, is not looked at.",
    "A failure that is not listed is not reckoned with. Failures that stay hidden need other means of finding them.",
)


@frozen
class FunctionalTestView:
    """What is told of a test of the hold that begins in `start`."""

    facts: FunctionalTestFacts
    compiled: CompiledHold
    start: State

    @property
    def tone(self) -> Tone:
        """That of what came out."""
        return {0: Tone.GOOD, 1: Tone.BAD}.get(self.facts.exit_code, Tone.OPEN)

    @property
    def shown(self) -> tuple[CoveredFacts, ...]:
        """The failures that the test shows, by step."""
        found = [one for one in self.facts.coverage if one.step is not None]
        return tuple(sorted(found, key=lambda one: one.step or 0))

    @property
    def hidden(self) -> Mapping[str, tuple[CoveredFacts, ...]]:
        """Those that it does not show, by why."""
        found: dict[str, list[CoveredFacts]] = {}
        for one in self.facts.coverage:
            if one.step is None:
                found.setdefault(one.why_not, []).append(one)
        return {why: tuple(some) for why, some in found.items()}

    @property
    def end(self) -> str:
        """How it leaves the hold."""
        if self.facts.ends_as_it_began:
            return "The test ends as it began."
        return "The test does not bring the hold back to how it was found: see to that afterwards."

    def summary(self) -> str:
        """The last line."""
        facts = self.facts
        asked = count_of(len(facts.coverage), "failure")
        steps = count_of(len(facts.steps) - 1, "step")
        cut = f"; {facts.cut}, longer looking may show more" if facts.cut else ""
        return f"{steps}: {len(self.shown)} of {asked} shown, {len(facts.coverage) - len(self.shown)} not{cut}"


def functional_test_view(
    label: str,
    test: FunctionalTest,
    reckoned: FailingHold,
    code: int,
    only_changed: bool,
    read: Sequence[FileRead] = (),
) -> FunctionalTestView:
    """What is told of a test of the hold in which everything `reckoned` may fail; `read` are the files read for it."""
    compiled = test.compiled
    writer = InstructionWriter(compiled)
    instances = {one.requirement.id: one for one in compiled.instances}
    known = {name: one.text for name, one in reckoned.failures.items()}
    steps = []
    told: frozenset[str] = frozenset()
    for stage in test.steps:
        guards, told = _guards(writer, stage, instances, known, told)
        steps.append(_stage(test, writer, stage, guards))
    shown = test.shown
    facts = FunctionalTestFacts(
        1,
        PROGRAM,
        code,
        label,
        compiled.hold.title,
        only_changed,
        tuple(_before(test, writer)),
        tuple(steps),
        test.back,
        tuple(CoveredFacts(one, known[one], shown.get(one), test.hidden.get(one, "")) for one in test.asked),
        test.cut,
        CLAIMS,
        SCHEME,
        CAUTIONS,
        identification(read),
    )
    return FunctionalTestView(facts, compiled, test.steps[0].after)


def _before(test: FunctionalTest, writer: InstructionWriter) -> Iterator[str]:
    compiled = test.compiled
    most = max(test.steps, key=lambda one: (_people(test, one), -one.number))
    if (people := _people(test, most)) > 1:
        yield f"At least {people} people take part: step {most.number} needs so many."
    state = dict(zip((one.name for one in test.bench.asked.variables), test.steps[0].after, strict=True))
    yield "No unit is in the hold or at a sill." if not writer.resting(test.steps[0].after) else "Units stand as told."
    for name, value in state.items():
        about = compiled.origins.variables.get(name)
        text = compiled.glossary.values.get((name, value))
        # whether a relay is set is not seen
        if isinstance(about, Condition) and about.subject.sort is not Sort.RELAY and text is not None:
            yield sentence(text)


def _stage(test: FunctionalTest, writer: InstructionWriter, stage: Stage, guards: tuple[Guard, ...]) -> StageFacts:
    observables = test.bench.observables
    expected = tuple(
        SeenFacts(observables[at].about, sentence(observables[at].said(value)), at in stage.changes)
        for at, value in stage.expected.items()
    )
    return StageFacts(
        stage.number,
        _instruction(test, writer, stage),
        stage.attempt,
        stage.head,
        tuple(one.id for one in _held(test, stage)),
        _people(test, stage),
        expected,
        tuple(_told(test, stage)),
        guards,
        stage.shows,
    )


def _instruction(test: FunctionalTest, writer: InstructionWriter, stage: Stage) -> str:
    if stage.head is None:
        return "Look before anything is done."
    said = writer.instruction(Deed((stage.head,)), stage.before, stage.after)
    if stage.attempt:
        said = f"Try to do this; it must not be possible: {said[:1].lower()}{said[1:]}"
    kept = listed([f"the {test.compiled.world.things[one.id].phrase}" for one in _held(test, stage)])
    return f"{said} Go on holding {kept}." if kept else said


def _held(test: FunctionalTest, stage: Stage) -> list[Control]:
    """What somebody holds before the step and goes on holding where it is."""
    return [one for one, before, after in _hands_on(test, stage) if before is not None and before == after]


def _hands_on(test: FunctionalTest, stage: Stage) -> Iterator[tuple[Control, Value | None, Value | None]]:
    """What springs back, and where it is held before the step and after it; None where no hand is on it."""
    before, after = (as_mapping(test.bench.asked, state) for state in (stage.before, stage.after))
    for control in test.compiled.hold.controls:
        if control.is_held and (free := let_go(control)).variable in before:
            one, other = (None if at[free.variable] == free.value else at[free.variable] for at in (before, after))
            yield control, one, other


def _people(test: FunctionalTest, stage: Stage) -> int:
    """How many it takes at least: whatever is held takes a hand, and what else is done one more."""
    hands_on = {one.id: before == after for one, before, after in _hands_on(test, stage) if {before, after} != {None}}
    at_once = [len(hands_on.keys() & set(one.controls)) for one in test.compiled.hold.stations]
    hands = len(hands_on) + (stage.head is not None and all(hands_on.values()))
    return max(people_for(hands), sum(map(people_for, at_once)))


def _told(test: FunctionalTest, stage: Stage) -> Iterator[str]:
    """What must be seen, drives that run the same way in one sentence; none of what is seen is left out."""
    observables, seen = test.bench.observables, stage.expected
    if stage.attempt:
        yield "It is not possible."
    motions = [at for at in seen if observables[at].is_motion]
    ways: dict[tuple[str, bool], list[str]] = {}
    for at in motions:
        one = observables[at]
        ways.setdefault((one.way, seen[at]), []).append(one.about)
    everything = test.bench.seen(test.bench.packing.pack(stage.after))
    running = [at for at, value in enumerate(everything) if value and observables[at].is_motion]
    if motions and not running:
        yield "No drive runs."
    else:
        for (way, runs), bays in ways.items():
            under = f"under bay {bays[0]}" if len(bays) == 1 else f"under bays {listed(bays)}"
            verb = ("runs" if runs else "does not run") if len(bays) == 1 else ("run" if runs else "do not run")
            yield f"The drive{'' if len(bays) == 1 else 's'} {under} {verb} {way}."
    for at in seen:
        if not observables[at].is_motion:
            yield sentence(observables[at].said(seen[at]))


def _guards(
    writer: InstructionWriter,
    stage: Stage,
    instances: Mapping[str, Instance],
    known: Mapping[str, str],
    before: frozenset[str],
) -> tuple[tuple[Guard, ...], frozenset[str]]:
    """What must be known before the step, in one box: what moves where nothing has failed, and what can break where
    something has, but for what was told of the step before; with all that can break.
    """
    by_text: dict[str, tuple[Instance, list[str]]] = {}
    for id, failures in stage.breaks.items():
        instance = instances[id]
        by_text.setdefault(instance.origin.id, (instance, []))[1].extend(failures)
    found = []
    for id, (instance, causes) in by_text.items():
        if id not in before:
            origin = instance.origin
            label = label_of(origin)
            names = list(dict.fromkeys(causes))
            said = known[names[0]] + (f", or {count_of(len(names) - 1, 'other failure')}" if names[1:] else "")
            consequence = f"Where something has failed ({said}) this may be broken: {sentence(instance.text)}"
            if label == NOTE:
                found.append(note(f"{sentence(origin.hazard)} {consequence}"))
            else:
                found.append(Guard(label, sentence(origin.hazard), "Stand clear.", consequence))
    found.sort(key=lambda one: LABELS.index(one.label))
    clear = stand_clear(moved_between(writer, stage.before, stage.after))
    # behind the gravest, so that it is said however much else is
    return in_one_box([*found[:1], *([] if clear is None else [clear]), *found[1:]]), frozenset(by_text)
