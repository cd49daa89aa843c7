"""What can be written at the cursor: keys, words to choose from, names, states, words of expressions and steps."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from enum import StrEnum

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.world import Thing
from interlock.hold.editing.cursor import Place, place_at
from interlock.hold.editing.known import Known
from interlock.hold.editing.meanings import AnyType, Group, Plain, StateOf, text_at
from interlock.hold.failing import failing_items
from interlock.hold.kinds import CONTROL_KINDS, DEVICE_KINDS, control_kind
from interlock.hold.language.directions import DIRECTIONS
from interlock.hold.language.field_types import Bays, States
from interlock.hold.language.model import SECTIONS
from interlock.hold.language.parser import is_name
from interlock.hold.language.references import BUILT_IN_GROUPS
from interlock.hold.language.text_types import (
    Bay,
    BayOrOutside,
    Choice,
    Contact,
    Expression,
    ExpressionOrNever,
    Lane,
    Reference,
    SideText,
    StepText,
    Version,
    Word,
    YesNo,
)
from interlock.hold.overlay.changes import Anything
from interlock.hold.procedure.action_texts import SLOTS, shapes_of
from interlock.hold.procedure.actions import FORMS, Form
from interlock.hold.procedure.model import ActionText
from interlock.hold.sense import states_at_start

QUANTIFIERS = ("every", "some", "no", "at most one")
JOINTS = ("and", "or", "implies")
TRUTHS = ("true", "false")
_TOKENS = re.compile(r"[A-Za-z0-9_-]+|[().:,]")
_PARTIAL = re.compile(r"[A-Za-z0-9_-]*\Z")


class Sort(StrEnum):
    """What sort of thing is offered."""

    KEY = "key"
    CHOICE = "choice"
    NAME = "name"
    STATE = "state"
    WORD = "word"
    STEP = "step"


@frozen
class Offer:
    """A text that can stand at the cursor in the place of `replaces` characters before it.

    `about` is a sentence for who chooses; `order` sorts offers before the alphabet does.
    """

    text: str
    sort: Sort
    about: str = ""
    replaces: int = 0
    order: int = 0


def complete(known: Known, line: int, column: int) -> tuple[Offer, ...]:
    """Everything that fits at a place, what is written there already or not; sorted, each once."""
    place = place_at(known.lines, line, column, known.sort, known.section_of)
    if place is None:
        return ()
    found: dict[str, Offer] = {}
    for one in _offers(known, place):
        found.setdefault(one.text, one)
    return tuple(sorted(found.values(), key=lambda one: (one.order, one.text)))


def _offers(known: Known, place: Place) -> Iterator[Offer]:
    if place.at_key:
        yield from _keys(place)
        if isinstance(place.keys, States):
            yield from _startable(known, place)
        return
    if is_name(place.before) or not place.before:
        yield from _keys(place)
    if place.type is not None:
        yield from _values(known, place, place.type)


def _keys(place: Place) -> Iterator[Offer]:
    typed = len(place.before)
    for field in place.fields:
        about = f"{field.about} ({field.type.wants()})"
        yield Offer(f"{field.key}: ", Sort.KEY, about, typed, order=0 if field.required else 1)
    if place.repeats:
        yield Offer("for: ", Sort.KEY, "Repeats this item: variables with their values.", typed, order=2)


def _startable(known: Known, place: Place) -> Iterator[Offer]:
    if known.hold is not None:
        for id, states in states_at_start(known.hold).items():
            if id not in place.written and states:
                yield Offer(f"{id}: ", Sort.NAME, ", ".join(states), len(place.before))


def _chosen(before: str, words: Iterable[str], about: Mapping[str, str] | None = None) -> Iterator[Offer]:
    for word in words:
        yield Offer(word, Sort.CHOICE, (about or {}).get(word, ""), len(before))


def _values(known: Known, place: Place, kind: AnyType) -> Iterator[Offer]:
    before = place.before
    match kind:
        case Version():
            yield from _chosen(before, ("1",))
        case YesNo():
            yield from _chosen(before, TRUTHS)
        case Choice(options):
            yield from _chosen(before, map(str, options), _ABOUT_KINDS)
        case StateOf():
            yield from _start_states(known, kind.id, before)
        case Group():
            yield from _groups(known, before)
        case Word():
            yield from _states(known, place, kind)
        case Reference(sections, kinds, bays):
            yield from _things(known, before, sections, kinds)
            yield from _bays(known, before) if bays else ()
        case Anything():
            sections_of_it = ("options",) if place.key == "fit" else tuple(SECTIONS)
            yield from _things(known, before, sections_of_it, ())
        case Bays(members):
            yield from _bays(known, before)
            yield from _things(known, before, tuple(SECTIONS), ()) if members else ()
        case Bay():
            yield from _bays(known, before)
        case BayOrOutside():
            yield from _bays(known, before)
            yield from _chosen(before, ("outside",))
        case Lane():
            yield from _chosen(before, () if known.hold is None else known.hold.layout.lanes)
        case SideText():
            yield from _sides(known, before)
        case Expression() | ExpressionOrNever() | Contact():
            yield from _expression(known, before, _bound(place))
        case StepText():
            yield from _step(known, before, _bound(place))
        case ActionText():
            yield from _action(known, before)


_ABOUT_KINDS = {
    **{id: kind.about for id, kind in DEVICE_KINDS.items()},
    **{id: control_kind(id, ("off", "on"), "off", False).about for id in CONTROL_KINDS},
}
"""What each kind of device and control does, by the word that descriptions use."""


def _start_states(known: Known, id: str, before: str) -> Iterator[Offer]:
    states = {} if known.hold is None else states_at_start(known.hold)
    for state in states.get(id, ()):
        yield Offer(state, Sort.STATE, f"a state of {id}", len(before))


def _states(known: Known, place: Place, kind: Word) -> Iterator[Offer]:
    """The states of the thing that the mapping names, else of the thing that it is."""
    if kind.what == "failure mode":
        yield from _modes(known, place, kind)
        return
    if kind.what == "situation" and known.hold is not None:
        yield from _things(known, place.before, ("situations",), ())
        return
    written = place.written
    named = next((text for key in ("device", "fix", "defer") if (text := text_at(written, key))), "")
    if named:
        yield from _start_states(known, named, place.before)
        return
    for state in _states_of(written, place, known):
        yield Offer(state, Sort.STATE, "", len(place.before))


def _states_of(written: Mapping[str, Plain], place: Place, known: Known) -> tuple[str, ...]:
    changed = text_at(place.around[1], "change") if len(place.around) > 1 else ""
    kind = text_at(written, "kind")
    if changed and not kind:
        return () if known.hold is None else states_at_start(known.hold).get(changed, ())
    if kind in DEVICE_KINDS:
        return DEVICE_KINDS[kind].states
    if kind not in CONTROL_KINDS:
        return ()
    said = written.get("positions", ())
    listed = tuple(one for one in ([said] if isinstance(said, str) else said) if isinstance(one, str))
    pressed = text_at(written, "can_be_pressed") == "true"
    return control_kind(kind, listed or ("off", "on"), text_at(written, "returns") or None, pressed).states


def _modes(known: Known, place: Place, kind: Word) -> Iterator[Offer]:
    of = text_at(place.written, "of")
    items = [] if known.hold is None else [one for one in failing_items(known.hold) if one.subject.id == of]
    modes = [failing.mode for item in items for failing in item.failings] or list(kind.known)
    yield from _chosen(place.before, modes)


def _things(known: Known, before: str, sections: tuple[str, ...], kinds: tuple[str, ...]) -> Iterator[Offer]:
    for one in known.given:
        if one.section not in sections or one.section is None or one.whole is None:
            continue
        written = {entry.key.text: getattr(entry.value, "text", "") for entry in one.whole.entries}
        if kinds and written.get("kind") not in kinds:
            continue
        noun = SECTIONS[one.section].declaration.noun
        about = ", ".join(filter(None, (noun, written.get("kind", ""), written.get("name", ""))))
        yield Offer(one.name, Sort.NAME, about, len(before))


def _bays(known: Known, before: str) -> Iterator[Offer]:
    typed = before.rpartition("..")[2].strip() if ".." in before else before
    for bay in () if known.hold is None else known.hold.layout.bay_names.places:
        yield Offer(bay, Sort.NAME, "a bay", len(typed), order=1)


def _sides(known: Known, before: str) -> Iterator[Offer]:
    bay, dot, way = before.partition(".")
    if dot:
        for word in DIRECTIONS:
            yield Offer(str(word), Sort.CHOICE, f"the {word} side of bay {bay}", len(way))
    else:
        yield from _bays(known, before)


def _groups(known: Known, before: str) -> Iterator[Offer]:
    typed = len(_partial(before))
    for group in (*BUILT_IN_GROUPS, *(() if known.hold is None else (one.id for one in known.hold.groups))):
        yield Offer(group, Sort.NAME, "a group", typed)


# --- expressions


def _bound(place: Place) -> dict[str, str]:
    """What the variables of the requirement around run through."""
    for written in place.around:
        over = written.get("for")
        if isinstance(over, dict):
            return {name: group for name, group in over.items() if isinstance(group, str)}
    return {}


def _partial(text: str) -> str:
    found = _PARTIAL.search(text)
    return "" if found is None else found.group()


def _expression(known: Known, before: str, bound: dict[str, str]) -> Iterator[Offer]:
    partial = _partial(before)
    tokens = _TOKENS.findall(before[: len(before) - len(partial)])
    for at, token in enumerate(tokens[:-3]):
        if token in ("every", "some", "no", "one") and tokens[at + 2] == "in":
            bound = {**bound, tokens[at + 1]: tokens[at + 3]}
    last = tokens[-1] if tokens else ""
    typed = len(partial)

    def words(*found: str) -> Iterator[Offer]:
        for word in found:
            yield Offer(word, Sort.WORD, "", typed, order=2)

    if last == ".":
        for thing in _things_named(known, _path_before(tokens[:-1]), bound):
            for part in thing.parts:
                yield Offer(part, Sort.NAME, f"of {thing.phrase}", typed)
    elif last == "is" or tokens[-2:] == ["is", "not"]:
        path = _path_before(tokens[: -1 if last == "is" else -2])
        for thing in _things_named(known, path, bound):
            for state in thing.states:
                yield Offer(state, Sort.STATE, f"{thing.phrase}, {thing.sort}", typed)
        yield from words("not") if last == "is" else ()
    elif last == "in":
        yield from _groups(known, before)
    elif last in ("every", "some", "no", "one"):
        return
    elif last == "at":
        yield from words("most one")
    elif last in ("", "(", ",", ":", "not", *JOINTS):
        yield from words(*QUANTIFIERS, "not", *TRUTHS)
        for name in bound:
            yield Offer(name, Sort.NAME, f"runs through {bound[name]}", typed)
        yield from _facts(known, typed)
    elif tokens[-2:-1] == ["is"] or tokens[-3:-1] == ["is", "not"] or last in (")", *TRUTHS):
        yield from words(*JOINTS)
    else:
        yield from words("is", *JOINTS)


def _facts(known: Known, typed: int) -> Iterator[Offer]:
    for thing in () if known.world is None else known.world.things.values():
        about = ", ".join(dict.fromkeys((thing.phrase, str(thing.sort))))
        order = 0 if thing.truth is not None or thing.states else 1
        yield Offer(thing.id, Sort.NAME, about, typed, order)


def _path_before(tokens: list[str]) -> list[str]:
    """The dotted name that ends the tokens."""
    path: list[str] = []
    at = len(tokens) - 1
    while at >= 0:
        path.insert(0, tokens[at])
        if at < 2 or tokens[at - 1] != ".":
            break
        at -= 2
    return path


def _things_named(known: Known, path: list[str], bound: Mapping[str, str]) -> tuple[Thing, ...]:
    """What a dotted name can stand for; a variable stands for all that it runs through."""
    if known.world is None or not path:
        return ()
    first = path[0]
    found = known.world.groups.get(bound[first], ()) if first in bound else ()
    found = found or tuple(filter(None, [known.world.things.get(first)]))
    for word in path[1:]:
        parts = [known.world.part(one, word) for one in found if word in one.parts]
        found = tuple(part for part in parts if isinstance(part, Thing))
    return found


# --- steps


def _step(known: Known, before: str, bound: Mapping[str, str]) -> Iterator[Offer]:
    """What requirements can say of a step: a verb and what it is done to."""
    if known.world is None:
        return
    partial = _partial(before)
    words = before[: len(before) - len(partial)].split()
    typed = len(partial)
    if not words:
        verbs = sorted({verb for thing in known.world.things.values() for verb in thing.verbs})
        yield from (Offer(verb, Sort.STEP, "", typed) for verb in verbs)
    elif len(words) == 1:
        for name, group in bound.items():
            yield Offer(name, Sort.NAME, f"runs through {group}", typed)
        yield from _doable(known, words[0], typed)


def _doable(known: Known, verb: str, typed: int) -> Iterator[Offer]:
    for thing in () if known.world is None else known.world.things.values():
        if verb in thing.verbs:
            yield Offer(thing.id, Sort.NAME, thing.phrase, typed)


def _action(known: Known, before: str) -> Iterator[Offer]:
    """What a step of a procedure can go on with, by the forms that begin as it does."""
    partial = "" if not before or before[-1].isspace() else before.split()[-1]
    words = before.split()[: -1 if partial else None]
    for form in FORMS:
        for shape in shapes_of(form):
            yield from _next(known, form, shape, words, before, len(partial))


def _next(known: Known, form: Form, shape: list[str], words: list[str], before: str, typed: int) -> Iterator[Offer]:
    subject = ""
    for at, part in enumerate(shape):
        if at == len(words):
            if part == "CONDITION":
                yield from _expression(known, "" if not typed else before[-typed:], {})
            elif part in SLOTS:
                yield from _slot(known, form, part, subject, typed)
            else:
                literal = [one for one in shape[at:]]
                end = next((i for i, one in enumerate(literal) if one in SLOTS), len(literal))
                yield Offer(" ".join(literal[:end]), Sort.STEP, form.shape if at == 0 else "", typed)
            return
        if part == "CONDITION":
            start = before.find(words[at])
            yield from _expression(known, before[max(0, start) :], {})
            return
        if part == "OBJECT":
            subject = words[at]
        elif part not in SLOTS and part != words[at]:
            return


def _slot(known: Known, form: Form, part: str, subject: str, typed: int) -> Iterator[Offer]:
    hold, world = known.hold, known.world
    if hold is None or world is None:
        return
    if part == "OBJECT":
        doable = list(_doable(known, form.verb, typed))
        if form.verb in ("connect", "disconnect"):
            yield from (Offer(one.id, Sort.NAME, one.name, typed) for one in hold.supplies)
        elif form.verb in ("bring", "take_away", "run_in", "run_out"):
            yield from (Offer(one.id, Sort.NAME, one.name, typed) for one in hold.doorways)
        elif form.verb == "go":
            yield from (Offer(one.id, Sort.NAME, one.name, typed) for one in hold.people)
        else:
            yield from doable
    elif part == "UNIT":
        yield from (Offer(one.id, Sort.NAME, one.name, typed) for one in hold.units)
    elif part == "BAY":
        yield from (Offer(bay, Sort.NAME, "a bay", typed) for bay in hold.layout.bay_names.places)
    elif part == "DIRECTION" and form.verb == "push":
        yield from (Offer(str(way), Sort.CHOICE, "", typed) for way in DIRECTIONS)
    else:
        yield from (Offer(state, Sort.STATE, "", typed) for state in states_at_start(hold).get(subject, ()))
