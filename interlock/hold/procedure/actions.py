"""What people can do to a hold, as procedures say it.

Meaning is given by `interlock.hold.procedure.binding`, which looks the names up in a compiled hold.
"""

from __future__ import annotations

from collections.abc import Iterator

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.kinds import DEVICE_KINDS, Kind
from interlock.hold.language.syntax import Path, Syntax
from interlock.kernel.machine import Actor


@frozen
class Form:
    """One way to write an action.

    Words in capitals stand for a name (OBJECT, POSITION, UNIT, BAY, DIRECTION, PLACE) or an expression (CONDITION);
    words in brackets may be left out.  `verb` is how the program calls it.
    """

    verb: str
    shape: str
    about: str


_FORMS = (
    Form("raise", "raise OBJECT", "Raise a latch or guide by hand."),
    Form("lower", "lower OBJECT", "Lower a latch or guide by hand."),
    Form("keep_down", "keep down OBJECT", "Push a spring latch down and keep it down."),
    Form("let_up", "let up OBJECT", "Let a spring latch come up, or a lever that was kept pressed."),
    Form("set", "set OBJECT to POSITION", "Put a switch or selector into a position."),
    Form(
        "hold",
        "hold OBJECT to DIRECTION [until CONDITION]",
        "Hold a spring-centred lever or a momentary switch; with a condition it is released once that is so, else by a "
        "later `release`.",
    ),
    Form(
        "press",
        "press OBJECT [until CONDITION]",
        "Press a push button, or a lever that can be pressed, and keep it pressed: until the condition is so, else "
        "until a later `release`, or `let up` for the lever.",
    ),
    Form("release", "release OBJECT", "Let go of a lever, a push button or a momentary switch."),
    Form("let_back", "let back OBJECT", "Let a lever go back to neutral and keep it pressed."),
    Form("pull", "pull OBJECT", "Pull a handle."),
    Form("stow", "stow OBJECT", "Stow a handle that was pulled."),
    Form("open", "open OBJECT", "Open an access panel, or move a door that is moved by hand until it is open."),
    Form("close", "close OBJECT", "Close an access panel, or move a door that is moved by hand until it is closed."),
    Form("latch", "latch OBJECT", "Latch a door."),
    Form("unlatch", "unlatch OBJECT", "Unlatch a door."),
    Form("lock", "lock OBJECT", "Lock a door."),
    Form("unlock", "unlock OBJECT", "Unlock a door."),
    Form("connect", "connect OBJECT", "Bring a supply on."),
    Form("disconnect", "disconnect OBJECT", "Take a supply off."),
    Form("go", "go OBJECT to PLACE", "A person goes to a place."),
    Form("bring", "bring UNIT to OBJECT [beside BAY]", "Bring a unit to the outside of a sill."),
    Form("take_away", "take away from OBJECT [beside BAY]", "Take the unit outside a sill away."),
    Form(
        "run_in",
        "run loader in at OBJECT [beside BAY] until CONDITION",
        "The loader carries a unit inwards over a sill.",
    ),
    Form(
        "run_out",
        "run loader out at OBJECT [beside BAY] until CONDITION",
        "The loader carries a unit outwards over a sill.",
    ),
    Form("push", "push DIRECTION from BAY until CONDITION", "Push the unit in a bay by hand."),
    Form("check", "check CONDITION", "Look; where it is not so, the procedure stops here."),
    Form("wait", "wait until CONDITION", "Do nothing until it is so."),
)


def _by_hand() -> Iterator[Form]:
    """What a hand can do to devices of kinds that have words of their own for it."""
    known = {form.verb for form in _FORMS}
    for kind in DEVICE_KINDS.values():
        for word, trigger in kind.triggers.items():
            if trigger.actor is Actor.CREW and word not in known:
                known.add(word)
                order = trigger.order.format(name=f"a {kind.id}")
                yield Form(word, " ".join(filter(None, (trigger.verb, trigger.to, "OBJECT"))), f"{order.capitalize()}.")


FORMS: tuple[Form, ...] = (*_FORMS, *_by_hand())
"""Every action that a procedure can ask for."""


def _there_and_back(kind: Kind) -> Iterator[tuple[str, str]]:
    """Pairs of what a hand does that lead from one state to another and back."""
    ways = [way for way in kind.transitions if kind.triggers[way["trigger"]].actor is Actor.CREW]
    for there in ways:
        for back in ways:
            if (there["source"], there["dest"]) == (back["dest"], back["source"]):
                yield there["trigger"], back["trigger"]


OPPOSITES = {
    "pull": "stow",
    "open": "close",
    "latch": "unlatch",
    "lock": "unlock",
    "connect": "disconnect",
    "run_in": "run_out",
}
OPPOSITES |= {second: first for first, second in OPPOSITES.items()}
OPPOSITES |= {there: back for kind in DEVICE_KINDS.values() for there, back in _there_and_back(kind)}
"""What the same hand does to the same thing the other way; `set` and `hold` go by their positions instead."""


@frozen
class Action:
    """One thing to do.

    `subject` is what it is done to (None for `check` and `wait`); `to` the position, direction, place or kind of unit
    that goes with it; `condition` what is looked at, waited for or worked towards.  `text` is as written, blanks
    evened out; `group` a place in `Steps.groups`, the innermost one, or None.  `beside` is the bay beside which
    the loader works, with the place where that was written; without it any place at the sill will do.
    """

    verb: str
    subject: Path | None
    to: str | None
    condition: Syntax | None
    text: str
    note: str
    group: int | None
    span: Span
    context: tuple[str, ...] = ()
    beside: tuple[str, Span] | None = None


@frozen
class ActionGroup:
    """Actions that belong together: `first` to before `end` in `Steps.actions`; `within` is the group around it."""

    name: str
    note: str
    first: int
    end: int
    within: int | None
    span: Span
