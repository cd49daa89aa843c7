"""A checklist in the words of the trade: what people do, what the equipment does, what to beware of."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.hold.compiler import CompiledHold
from interlock.hold.layout import Placement
from interlock.hold.lowering import Thing
from interlock.kernel.evaluator import State, evaluate
from interlock.kernel.expressions import TRUE, Expr
from interlock.kernel.machine import Machine, Signal
from interlock.report.checklist_guards import CAUTION, NOTE, Guard, check_guards, guards_of, noticed, slip_words
from interlock.report.checklist_printed import FewestWords, LegWords, SlipsWords, StepWords, Words
from interlock.report.slip_words import counted_text, effect_counts, fewest_rows, followed_text, kind_rows
from interlock.report.wording import listed, sentence
from interlock.report.writing_rules import PROCEDURAL_WORDS, words_in
from interlock.study.audit import Verdict
from interlock.study.checklist import Checklist, Leg, Step
from interlock.study.checklist_audit import ChecklistAudit
from interlock.study.goals import Goal, Reach, Unload, placements_in
from interlock.study.nearest_goals import blockers
from interlock.study.operating import Deed
from interlock.study.slip_audit import Effect


class Speaker:
    """Says things of one hold."""

    def __init__(self, compiled: CompiledHold) -> None:
        self.compiled = compiled
        signals = tuple(Signal(name, definition) for name, definition in compiled.definitions.items())
        self._machine = Machine(compiled.machine.variables, signals, ())
        self._kinds = {unit.id: unit.name for unit in compiled.hold.units}
        self._moves = {f"unit.{m.source.id}.{m.direction}": m for m in compiled.floor.moves}
        self._ends = {f"unit.{m.target.id}.{m.direction}": m for m in compiled.floor.moves}
        self._texts: dict[str, str] = {}
        for name, said in compiled.glossary.rules.items():
            self._texts.setdefault(name.split(" + ")[0].split(" #")[0], said.text)

    def unit(self, placement: Placement) -> str:
        """`the short pallet`."""
        return the(self._kinds[placement.kind])

    def where(self, placement: Placement) -> str:
        """`bay 3L`, `bays 3L and 3R`, `the loader`."""
        inside = self.compiled.floor.bays_of(placement.cells)
        if not inside:
            return "the loader"
        return ("bay " if len(inside) == 1 else "bays ") + listed(inside)

    def standing(self, placement: Placement) -> str:
        """`the short pallet stands in bay 3L`."""
        where = self.where(placement)
        return f"{self.unit(placement)} stands {'on' if where == 'the loader' else 'in'} {where}"

    def truth(self, expr: Expr, state: State) -> bool:
        """Whether it is so in the state."""
        return evaluate(self._machine, expr, state)

    def resting(self, state: State) -> list[Placement]:
        """Every unit at rest, on the loader too."""
        values = dict(zip((v.name for v in self._machine.variables), state, strict=False))
        return [
            placement
            for placement in self.compiled.floor.placements
            if all(values.get(f"bay.{c}.holds") == p for c, p in zip(placement.cells, placement.parts, strict=True))
        ]

    def effects(self, before: State, after: State) -> list[str]:
        """What has become of units and doors, one clause each."""
        old = self.resting(before)
        said = self._stopped([placement for placement in self.resting(after) if placement not in old])
        for door in self.compiled.hold.doorways:
            facts: list[str] = []
            for words in (("closed", "moving", "open"), ("latched", "unlatched"), ("locked", "unlocked")):
                states = self.compiled.world.things[door.id].states
                known = [word for word in words if word in states]
                facts += [w for w in known if self.truth(states[w], after) and not self.truth(states[w], before)]
            if facts:
                said.append(f"{the(door.name)} is {listed(facts)}")
        return said

    def _stopped(self, placements: list[Placement]) -> list[str]:
        """Where units have come to stand, units of a kind in one clause."""
        cells = self.compiled.floor.cells
        together: dict[tuple[str, bool], list[Placement]] = {}
        for placement in placements:
            outside = all(cells[cell].door is not None for cell in placement.cells)
            together.setdefault((placement.kind, outside), []).append(placement)
        said = []
        for (kind, outside), units in together.items():
            if len(units) == 1:
                said.append(self.standing(units[0]))
            elif outside:
                said.append(f"{self._kinds[kind]}s stand on the loader")
            else:
                bays = listed([cell for unit in units for cell in unit.cells])
                said.append(f"{self._kinds[kind]}s stand in bays {bays}")
        return said

    def on_the_way(self, before: State, after: State) -> list[str]:
        """What has begun to cross a face, one clause each."""
        values = self.compiled.glossary.values
        changed = [
            (variable.name, new)
            for variable, old, new in zip(self.compiled.machine.variables, before, after, strict=False)
            if variable.name.startswith("face.") and old != new and new != "none"
        ]
        return [values[fact].replace("is on its way over", "is over") for fact in changed if fact in values]

    def equipment(self, before: State, after: State) -> list[str]:
        """What has become of powered devices and indications, one clause each."""
        said = []
        things = self.compiled.world.things
        for device in self.compiled.hold.devices:
            if device.circuit is None:
                continue
            for state, expr in things[device.id].states.items():
                if state in ("raised", "lowered") and self.truth(expr, after) and not self.truth(expr, before):
                    said.append(f"{the(device.name)} is {state}")
        for circuit in self.compiled.hold.circuits:
            lit = things[circuit.id].truth
            if circuit.use == "indication" and lit is not None and self.truth(lit, before) != self.truth(lit, after):
                said.append(f"{the(circuit.name)} is {'on' if self.truth(lit, after) else 'off'}")
        return said

    def instruction(self, deed: Deed, before: State, held: State) -> str:
        """The deed as a command; `held` is the state once its first half has come to rest."""
        if not deed.heads:
            return sentence(f"wait until {listed(self.effects(before, held)) or 'the equipment has come to rest'}")
        head = deed.heads[0]
        sort, id = head.split(".")[:2]
        verb = head.rpartition(".")[2]
        if sort == "control" and verb.startswith("hold_"):
            until = listed(self.effects(before, held) or self.on_the_way(before, held))
            text = self._named(self._texts[head], id)
            whole = f"{text} until {until}" if until else text
            # what is too long for one command is told as results
            return sentence(whole if words_in(whole) <= PROCEDURAL_WORDS else f"{text} until the units have stopped")
        if sort == "unit":
            return sentence(self._motion(deed))
        if sort == "door" and len(deed.heads) == 2:
            word = "open" if verb == "start_opening" else "close"
            return sentence(f"{word} {the(self.compiled.world.things[id].phrase)} fully")
        if sort == "person":
            return sentence(self._going(id, verb))
        if sort == "loader":
            door = next((d.id for d in self.compiled.hold.doorways if f".{d.id}-" in head), id)
            return sentence(self._named(self._texts[head], door))
        return sentence(self._named(self._texts[head], id))

    def _named(self, text: str, id: str) -> str:
        thing = self.compiled.world.things.get(id)
        return text if thing is None else text.replace(thing.phrase, the(thing.phrase), 1)

    def _motion(self, deed: Deed) -> str:
        path, half, mover = deed.heads[0].rsplit(".", 2)
        move = (self._moves if half == "depart" else self._ends)[path]
        verb = "push" if mover == "pushed" else "run"
        unit, source, target = self.unit(move.source), self.where(move.source), self.where(move.target)
        onto = "onto" if target == "the loader" else "into"
        if len(deed.heads) == 2:
            return f"{verb} {unit} from {source} {onto} {target}"
        return (
            f"{verb} {unit} from {source} over the edge"
            if half == "depart"
            else f"{verb} {unit} from the edge {onto} {target}"
        )

    def _going(self, person: str, place_id: str) -> str:
        place = next(place for place in self.compiled.hold.places if place.id == place_id)
        who = the(next(one.name for one in self.compiled.hold.people if one.id == person))
        if place.bay is not None and place.bay != "outside":
            return f"send {who} into bay {place.bay}"
        return f"send {who} {place.name}" if place.name == "outside" else f"send {who} to this place: {place.name}"


def the(name: str) -> str:
    """With an article, unless it has one, or ends in a number and so is a name of its own: `mid latch 5L`."""
    named = any(c.isdigit() for c in name.split()[-1]) if name.split() else True
    return name if named or name.lower().startswith(("the ", "a ", "an ")) else f"the {name}"


def goal_words(compiled: CompiledHold, goal: Goal) -> str:
    """The goal as a title."""
    kinds = {unit.id: unit.name for unit in compiled.hold.units}
    if isinstance(goal, Reach):
        return f"Bring about: {goal.text}"
    if isinstance(goal, Unload):
        return "Unload every bay" if "all" in goal.bays else f"Unload {_bays(goal.bays)}"
    parts = [
        f"every free bay ({kinds.get(kind, kind)})" if bay == "all" else f"bay {bay} ({kinds.get(kind, kind)})"
        for bay, kind in goal.wanted
    ]
    return f"Load {listed(parts)}"


def _bays(bays: tuple[str, ...]) -> str:
    return ("bay " if len(bays) == 1 else "bays ") + listed(bays)


def words_of(checklist: Checklist, audited: ChecklistAudit) -> Words:
    """The whole checklist in words; warnings stand where the audit found slips that lead to a hazard."""
    speaker = Speaker(checklist.compiled)
    instances = {instance.requirement.id: instance for instance in checklist.compiled.instances}
    said = {step.number: _instruction(speaker, step) for step in checklist.steps}
    legs = []
    for leg in checklist.legs:
        steps = tuple(
            StepWords(
                step.number,
                said[step.number],
                _results(speaker, step),
                tuple(guards_of(speaker, step, audited, instances)),
                noticed(step, audited),
            )
            for step in leg.steps
        )
        first = leg.steps[0].number if leg.steps else 0
        end = first + len(leg.steps)
        at_checks = check_guards(audited, first, end, instances)
        legs.append(_leg(speaker, leg, steps, at_checks, tuple(_findings(audited, first, end))))
    return Words(
        goal_words(checklist.compiled, checklist.goal),
        checklist.compiled.hold.title,
        tuple(_before(speaker, checklist)),
        tuple(legs),
        tuple(_claims(checklist, audited)),
        _slips(speaker, checklist, audited),
        audited.audit.open,
    )


def _slips(speaker: Speaker, checklist: Checklist, audited: ChecklistAudit) -> SlipsWords | None:
    slips = audited.audit.slips
    if slips is None:
        return None
    steps = {step.number: step for step in checklist.steps}
    said = {one.slip.id: slip_words(speaker, steps, audited, one.slip) for one in slips.results}
    fewest = tuple(
        FewestWords(
            row.requirement,
            row.hazard,
            row.severity,
            row.number,
            tuple(tuple(said[slip.id] for slip in one.slips) for one in row.combinations),
        )
        for row in fewest_rows(slips)
    )
    hazards = tuple((said[one.slip.id], one.hazards) for one in slips.results if one.effect is Effect.HAZARD)
    return SlipsWords(
        followed_text(slips), effect_counts(slips), kind_rows(slips.results), hazards, fewest, counted_text(slips)
    )


def _findings(audited: ChecklistAudit, first: int, end: int) -> Iterator[str]:
    """What the audit says against the steps from `first` to before `end`, and against the checks behind them."""
    last = 0
    for one in audited.audit.actions:
        step = audited.step_of(one.number)
        last = step or last
        if one.verdict is Verdict.POSSIBLE or not first <= last < end:
            continue
        what = f"the check '{one.bound.action.text}'" if step is None else f"step {step}"
        why = f": {one.why[0].text}" if one.why else ""
        yield sentence(f"{what} is {one.verdict.value} when the equipment acts in another order{why}")


def _instruction(speaker: Speaker, step: Step) -> str:
    course = step.course
    return speaker.instruction(course.deed, course.before, course.states[course.halves[0]])


def _results(speaker: Speaker, step: Step) -> tuple[str, ...]:
    course = step.course
    head = course.deed.heads[0] if course.deed.heads else ""
    told: list[str] = []
    held = course.states[course.halves[0]]
    if head.startswith("control.") and ".hold_" in head:
        # what was waited for is in the instruction; what letting go brings about is not
        told += speaker.effects(held, course.after) if len(course.halves) > 1 else []
        if _instruction(speaker, step).endswith("until the units have stopped."):
            told += speaker.effects(course.before, held)
    elif head.startswith(("control.", "device.", "door.")) and len(course.rules) > len(course.deed.heads):
        told += speaker.effects(course.before, course.after)
    elif head.startswith("unit."):
        path, half, _ = head.rsplit(".", 2)
        there = {step for step in speaker.resting(course.after)}
        move = (speaker._moves if half == "depart" else speaker._ends)[path]
        if len(course.deed.heads) == 2 and move.target not in there:
            told += speaker.effects(course.before, course.after)
    if len(course.halves) == 1 and ".hold_" not in head and not head.startswith("unit."):
        told += speaker.on_the_way(course.before, course.after)
    told += speaker.equipment(course.before, course.after)
    return tuple(sentence(text) for text in dict.fromkeys(told))


def _leg(
    speaker: Speaker,
    leg: Leg,
    steps: tuple[StepWords, ...],
    check_guards: tuple[Guard, ...],
    findings: tuple[str, ...],
) -> LegWords:
    from interlock.study.orders import free_runs

    first = steps[0].number if steps else 0
    freedom = leg.freedom
    runs = tuple((first + low, first + high) for low, high in free_runs(freedom.before)) if freedom.count else ()
    if freedom.count is None:
        free = "Only this order was examined." if len(steps) > 1 else ""
    elif freedom.count == 1:
        free = "No other order of these steps does the same." if len(steps) > 1 else ""
    else:
        free = f"{freedom.count:,} orders of these steps do the same, this one included."
    return LegWords(
        leg_title(speaker, leg),
        steps,
        runs,
        free,
        _shortness(leg),
        _beware(speaker, leg),
        tuple(_checks(speaker, leg)),
        check_guards,
        findings,
    )


def _beware(speaker: Speaker, leg: Leg) -> Guard | None:
    """What must be known before a whole part."""
    if leg.timed:
        return Guard(
            CAUTION,
            "Units move while this part is worked, and where they stop depends on timing.",
            "Do not let anybody stand in their way.",
            "At another moment than the one told, a step can lead to another result.",
        )
    aboard = placements_in(speaker.compiled, leg.start)
    met = [other for unit in leg.aim.units for other in blockers(speaker.compiled, unit, aboard)]
    if not met:
        return None
    where = listed(list(dict.fromkeys(speaker.where(other) for other in met)))
    return Guard(NOTE, f"On the way stands what is in {where}; units of one kind are not told apart here.")


def leg_title(speaker: Speaker, leg: Leg) -> str:
    """What a leg is headed with."""
    aim = leg.aim
    if aim.what in ("load", "unload"):
        bays = listed([speaker.where(unit) for unit in aim.units])
        kinds = listed(list(dict.fromkeys(speaker._kinds[unit.kind] for unit in aim.units)))
        return f"{aim.what.capitalize()} {bays}: {kinds}"
    return {"open": "Open the hold", "shut": "Shut the hold"}.get(aim.what, f"Bring about: {aim.text}")


def _shortness(leg: Leg) -> str:
    if leg.shortness.is_shown:
        return (
            f"Shortest: a search found no way of fewer than {leg.shortness.length} steps, steps of the equipment "
            "counted."
        )
    return "Not shown shortest."


def _checks(speaker: Speaker, leg: Leg) -> Iterator[str]:
    aim, end = leg.aim, leg.end
    things = speaker.compiled.world.things
    if aim.what == "load":
        for unit in aim.units:
            secured = all(speaker.truth(things[cell].states["secured"], end) for cell in unit.cells)
            yield sentence(f"{speaker.standing(unit)}{', secured' if secured else ', not yet secured'}")
            devices = {
                device.id: device.phrase
                for cell in unit.cells
                for device in _devices(speaker, cell)
                if speaker.truth(device.states["locking"], end) and device.states["hand_worked"] == TRUE
            }
            if devices:
                verb = "is" if len(devices) == 1 else "are"
                yield sentence(f"{listed([the(name) for name in devices.values()])} {verb} in the locking position")
    elif aim.what == "unload":
        for unit in aim.units:
            yield sentence(f"{speaker.where(unit)} {'is' if len(unit.cells) == 1 else 'are'} empty")
    for id in aim.doors:
        facts = [w for w in ("open", "closed", "latched", "locked") if w in things[id].states]
        true = [word for word in facts if speaker.truth(things[id].states[word], end)]
        if true:
            yield sentence(f"{the(things[id].phrase)} is {listed(true)}")
    if aim.what == "shut":
        power = [c for c in speaker.compiled.hold.circuits if c.use == "power"]
        if power and not any(speaker.truth(things[c.id].states["on"], end) for c in power):
            yield "All power circuits of the hold are off."
    if aim.what == "reach":
        yield sentence(f"this is so: {aim.text}")


def _devices(speaker: Speaker, cell: str) -> Iterator[Thing]:
    devices = speaker.compiled.world.things[cell].parts["devices"]
    yield from (devices,) if isinstance(devices, Thing) else devices


def _before(speaker: Speaker, checklist: Checklist) -> Iterator[str]:
    """What must be so before the first step: everything that the description leaves open, and what is aboard."""
    compiled = checklist.compiled
    things = compiled.world.things
    for supply in compiled.hold.supplies:
        word = "on" if speaker.truth(things[supply.id].states["on"], checklist.start) else "off"
        yield sentence(f"{the(supply.name)} is {word}, and stays so")
    aboard = [p for p in speaker.resting(checklist.start)]
    if aboard:
        for kind in dict.fromkeys(placement.kind for placement in aboard):
            bays = [speaker.where(p).removeprefix("bay ") for p in aboard if p.kind == kind]
            yield sentence(f"units of this kind are aboard ({speaker._kinds[kind]}), in: {listed(bays)}")
    else:
        yield "Every bay is empty."
    for door in compiled.hold.doorways:
        states = things[door.id].states
        true = [
            w
            for w in ("open", "closed", "latched", "locked")
            if w in states and speaker.truth(states[w], checklist.start)
        ]
        if true:
            yield sentence(f"{the(door.name)} is {listed(true)}")
    for control in compiled.hold.controls:
        if control.kind == "lever":
            continue
        states = things[control.id].states
        now = [name for name, expr in states.items() if speaker.truth(expr, checklist.start)]
        if now:
            verb = "is set to" if control.kind in ("switch", "selector") else "is"
            yield sentence(f"{the(control.name)} {verb} {now[0].replace('_', ' ')}")
    places = {place.id: place.name for place in compiled.hold.places}
    for person in compiled.hold.people:
        for place in person.places:
            if speaker.truth(things[person.id].states[place], checklist.start):
                yield sentence(f"{the(person.name)} is {places[place]}")


def _claims(checklist: Checklist, audited: ChecklistAudit) -> Iterator[str]:
    check = checklist.check
    timed = any(leg.timed for leg in checklist.legs)
    yield (
        f"Every step is possible when its turn comes, and the last state is the one wanted: the whole run of "
        f"{check.states:,} states was replayed, state by state, on the described hold."
    )
    if check.requirements:
        yield (
            f"None of {check.requirements:,} requirements breaks in any state of the run, nor in any state that the "
            "equipment can pass through in another order."
            if not timed
            else f"None of {check.requirements:,} requirements breaks in any state of the run as it is told."
        )
    yield (
        "After each step the equipment comes to rest in one state only, in whatever order it acts"
        + (" (parts marked CAUTION for timing excepted)." if timed else ".")
    )
    audit = audited.audit
    amiss = [one for one in audit.actions if one.verdict is not Verdict.POSSIBLE]
    if amiss or audit.breaches or audit.goal_missed is not None:
        yield "Audited as a written procedure: what was found stands with the parts that it is about."
    elif audit.actions:
        yield (
            f"Audited as a written procedure of {len(audit.actions)} actions: each is possible in every order of "
            "events, nothing breaks, and the end is the one wanted."
        )
    yield (
        "This takes for granted that the description is right, that the supplies stay as they are, that nothing "
        "fails, and that people do what is written, and wait until the equipment has come to rest."
    )
