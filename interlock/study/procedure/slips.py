"""The slips that people can make in a procedure: every one that its actions and its hold allow.

The error modes are those of a published taxonomy (`TAXONOMY`): A2, A3, A6, A8, A9 and C1; that an action is done twice
is not among them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum

from interlock.diagnostics.said import say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.directions import Direction
from interlock.hold.language.syntax import Path
from interlock.hold.procedure.actions import OPPOSITES, Action
from interlock.hold.procedure.binding import Bound, BoundProcedure, Manner, bind_action

TAXONOMY = "Embrey, SHERPA: A systematic human error reduction and prediction approach, 1986"
"""Where the error modes come from: a paper of the International Topical Meeting on Advances in Human Factors in Nuclear
Power Systems, Knoxville, April 1986 (venue from memory); the modes were read as later papers tabulate them."""


class SlipKind(Enum):
    """What sort of slip: our word, and its error mode in the taxonomy."""

    OMITTED = ("omitted", "A8")
    REPEATED = ("repeated", "")
    SWAPPED = ("swapped with the next", "A2")
    WRONG_WAY = ("wrong direction", "A3")
    WRONG_OBJECT = ("wrong object", "A6")
    INCOMPLETE = ("group left incomplete", "A9")
    UNCHECKED = ("check omitted", "C1")

    @property
    def word(self) -> str:
        """What we call it."""
        return self.value[0]

    @property
    def mode(self) -> str:
        """The error mode; empty where the taxonomy has none."""
        return self.value[1]


@dataclass(frozen=True, slots=True)
class Slip:
    """One slip at the action numbered `action` (from 0).

    `instead` is what is done in its place (None: nothing), `resumes` the action with which the procedure goes on.
    `id` is unique in its procedure; `text` says it without the number.
    """

    id: str
    kind: SlipKind
    action: int
    text: str
    instead: Bound | None
    resumes: int


def slips_of(bound: BoundProcedure) -> tuple[Slip, ...]:
    """Every slip, in the order of the actions."""
    return tuple(slip for at in range(len(bound.actions)) for slip in _at(bound, at))


def _at(bound: BoundProcedure, at: int) -> Iterator[Slip]:
    actions = bound.actions
    here = actions[at]
    text = here.action.text
    number = at + 1
    looks = here.manner in (Manner.CHECK, Manner.WAIT)
    kind = SlipKind.UNCHECKED if looks else SlipKind.OMITTED
    yield Slip(f"{number} {kind.word}", kind, at, say("'{action}' is left out", action=text), None, number)
    if not looks:
        yield Slip(
            f"{number} repeated", SlipKind.REPEATED, at, say("'{action}' is done twice", action=text), here, number
        )
    if number < len(actions) and actions[number].action.text != text:
        told = say("'{later}' is done before '{action}'", later=actions[number].action.text, action=text)
        yield Slip(f"{number} swapped", SlipKind.SWAPPED, at, told, actions[number], number + 1)
    for kind, wrong in ((SlipKind.WRONG_WAY, other_ways), (SlipKind.WRONG_OBJECT, other_things)):
        for other in wrong(here, bound.compiled):
            said = other.action.text
            told = say("'{other}' is done in the place of '{action}'", other=said, action=text)
            yield Slip(f"{number} {kind.word}: {said}", kind, at, told, other, number)
    for group in bound.procedure.steps.groups:
        # leaving out only the last is an omission, leaving out all is none of a group begun
        if group.first < at < group.end - 1:
            told = say("'{group}' is left off before '{action}'", group=group.name, action=text)
            yield Slip(f"{number} to {group.end} left out", SlipKind.INCOMPLETE, at, told, None, group.end)


def other_ways(bound: Bound, compiled: CompiledHold) -> Iterator[Bound]:
    action = bound.action
    if action.subject is None:
        return
    if action.verb in ("set", "hold"):
        control = next((c for c in compiled.hold.controls if (c.id,) == action.subject.parts), None)
        for position in () if control is None else control.positions:
            if position != action.to:
                yield from _varied(compiled, replace(action, to=position), action.to or "", position, wrong_way=True)
    elif action.verb == "push":
        if action.to in tuple(Direction):
            other = Direction(action.to).opposite
            yield from _varied(compiled, replace(action, to=other), action.to, other, wrong_way=True)
    elif action.verb in OPPOSITES:
        verb = OPPOSITES[action.verb]
        old, new = action.verb.replace("_", " "), verb.replace("_", " ")
        if action.verb in ("run_in", "run_out"):
            # the loader stands between the words: `run loader in at D1`
            old, new = ("in", "out") if action.verb == "run_in" else ("out", "in")
        yield from _varied(compiled, replace(action, verb=verb), old, new, wrong_way=True)


def other_things(bound: Bound, compiled: CompiledHold) -> Iterator[Bound]:
    action = bound.action
    if action.subject is None or len(action.subject.parts) != 1 or action.verb in ("release", "push"):
        return
    (id,) = action.subject.parts
    for other in alike(compiled, id):
        subject = Path((other,), action.subject.spans)
        yield from _varied(compiled, replace(action, subject=subject), id, other, wrong_way=False)
    if action.beside is not None:
        bay, span = action.beside
        for other in next((door.bays for door in compiled.hold.doorways if door.id == id), ()):
            if other != bay:
                varied = _varied(compiled, replace(action, beside=(other, span)), bay, other, wrong_way=False)
                # beside either of two bays a long unit stands at the same place
                yield from (one for one in varied if one.rules != bound.rules)


def alike(compiled: CompiledHold, id: str) -> tuple[str, ...]:
    """The other things of the same kind, in the order of the description."""
    hold = compiled.hold
    for listed in (hold.devices, hold.controls):
        kinds = {one.id: one.kind for one in listed}
        if id in kinds:
            return tuple(other for other, kind in kinds.items() if kind == kinds[id] and other != id)
    for ids in ([d.id for d in hold.doorways], [s.id for s in hold.supplies], [p.id for p in hold.people]):
        if id in ids:
            return tuple(other for other in ids if other != id)
    return ()


def _varied(compiled: CompiledHold, action: Action, old: str, new: str, *, wrong_way: bool) -> Iterator[Bound]:
    """The action done wrongly, where the hold has such a thing; nobody waits for its condition to come true."""
    words = action.text.split(" until ")[0].split()
    said = " ".join(words).replace(old, new, 1) if wrong_way and " " in old else ""
    if not said:
        places = [at for at, word in enumerate(words) if word == old]
        if not places:
            return
        # the verb comes first, the position or object last
        at = places[-1] if action.verb not in OPPOSITES or not wrong_way else places[0]
        said = " ".join([*words[:at], new, *words[at + 1 :]])
    bound = bind_action(replace(action, text=said), compiled)
    if bound is not None and bound.rules:
        yield bound
