"""What is said about descriptions that can be read but mean nothing sound."""

from __future__ import annotations

from interlock.diagnostics.texts import text

WARNINGS = frozenset({"empty-group", "named-alike", "passed-over-while-raised"})
"""Codes after which a description can still be used."""

TEXTS = (
    text(
        "circular-circuit",
        """Circuits, sensors or powered devices define one another in a circle, so that none of them has a value.  Where
        memory is meant, as in a self-holding circuit, write a relay.""",
        """
        circuits:
          - {id: c, use: logic, is: d}
          - {id: d, use: logic, is: c}
        """,
        """
        relays:
          - {id: c, sets: D1 is open, drops: D1 is closed}
        """,
    ),
    text(
        "device-stops-nothing",
        """A device neither stops motion across its side nor restrains an axis, so it does nothing.""",
        """
        devices:
          - {id: S, kind: fixed stop, on: 2L.aft}
        """,
        """
        devices:
          - {id: S, kind: fixed stop, on: 2L.aft, stops: aft, restrains: x}
        """,
    ),
    text(
        "empty-group",
        """A quantifier or requirement runs through a group that has no members in this hold, so it says nothing
        about it. This is a warning: it is right where the hold has no such things.""",
        """
        circuits:
          - {id: c, use: indication, is: "every z in zones, not z is running"}
        """,
        """
        circuits:
          - {id: c, use: indication, is: "every d in doors, d is closed"}
        """,
    ),
    text(
        "limit-without-effect",
        """The limit of a deferral is always kept, so the item would be inoperative under no limit at all.  Say what
        must be so before the doors are shut for departure: a bay that stays empty, say.""",
        """
        devices:
          - {id: S, kind: manual latch, on: 1L.aft, stops: [fore, aft], restrains: x, locking: raised,
             starts: lowered, fixed: lowered, deferred: {because: spring broken, limit: always}}
        """,
        """
        devices:
          - {id: S, kind: manual latch, on: 1L.aft, stops: [fore, aft], restrains: x, locking: raised,
             starts: lowered, fixed: lowered, deferred: {because: spring broken, limit: 1L is empty}}
        """,
    ),
    text(
        "named-alike",
        """Several things have the same name.  Reports call things by their names, so what is said of one would be taken
        for the other.  This is a warning: ids still tell them apart.""",
        """
        devices:
          - {id: S, name: end stop, kind: fixed stop, on: 2L.aft, stops: aft, restrains: x}
          - {id: T, name: end stop, kind: fixed stop, on: 2R.aft, stops: aft, restrains: x}
        """,
        """
        devices:
          - {id: S, name: left end stop, kind: fixed stop, on: 2L.aft, stops: aft, restrains: x}
          - {id: T, name: right end stop, kind: fixed stop, on: 2R.aft, stops: aft, restrains: x}
        """,
    ),
    text(
        "gives-way-and-stops",
        """A device is said to stop motion in a direction and to give way to it.""",
        """
        devices:
          - {id: S, kind: spring latch, on: 1L.aft, stops: [fore, aft], gives_way: aft, restrains: x, locking: raised}
        """,
        """
        devices:
          - {id: S, kind: spring latch, on: 1L.aft, stops: fore, gives_way: aft, restrains: x, locking: raised}
        """,
    ),
    text(
        "handle-works-nothing",
        """No lock names this handle, so pulling it does nothing.""",
        """
        controls:
          - {id: H, kind: self-resetting handle}
        """,
        """
        controls:
          - {id: H, kind: self-resetting handle}
        devices:
          - {id: SL, kind: handle-worked lock, handle: H, on: 1R.right, stops: [left, right], locking: raised}
        """,
    ),
    text(
        "never-locking",
        """The state named as the locking one is none that this kind of device has.  Which position locks is never
        assumed: up is not always locked.""",
        """
        devices:
          - {id: M, kind: manual latch, on: 1L.aft, stops: [fore, aft], restrains: x, locking: up, starts: raised}
        """,
        """
        devices:
          - {id: M, kind: manual latch, on: 1L.aft, stops: [fore, aft], restrains: x, locking: raised, starts: raised}
        """,
    ),
    text(
        "not-a-truth-value",
        """A thing with several states stands where true or false is wanted.  Say which state is meant.""",
        """
        circuits:
          - {id: c, use: logic, is: D1}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "passed-over-while-raised",
        """Units can move across a device in a direction which it is not said to stop or to give way to, so they pass
        over it even while it stands above the floor.  This is a warning: it is right where the device has room below
        the unit, or where the circuits keep units from being driven there.""",
        """
        devices:
          - {id: M, kind: manual latch, on: 1L.aft, stops: aft, restrains: x, locking: raised, starts: lowered}
        """,
        """
        devices:
          - {id: M, kind: manual latch, on: 1L.aft, stops: [fore, aft], restrains: x, locking: raised, starts: lowered}
        """,
    ),
    text(
        "settling-never-ends",
        """After some step the mechanism (relays, handles, springs) never comes to rest: what one of them does makes
        another move, and so on in a circle.""",
        """
        relays:
          - {id: a, sets: D1 is open and not a, drops: D1 is open and a}
        """,
        """
        relays:
          - {id: a, sets: D1 is open, drops: D1 is closed}
        """,
    ),
    text(
        "start-not-settled",
        """In every way to start that the description allows, some relay or handle would change by itself at once. 
        Write starting positions in which the mechanism is at rest.""",
        """
        relays:
          - {id: a, sets: D1 is closed, drops: D1 is open, starts: dropped}
        """,
        """
        relays:
          - {id: a, sets: D1 is closed, drops: D1 is open, starts: set}
        """,
    ),
    text(
        "unknown-failure",
        """The thing has no failure mode of this name.""",
        """
        sensors:
          - {id: s, reads: D1 is closed}
        failures:
          - {of: s, mode: melted}
        """,
        """
        sensors:
          - {id: s, reads: D1 is closed}
        failures:
          - {of: s, mode: stuck_true}
        """,
    ),
    text(
        "unknown-group",
        """No group has this name.  Quantifiers run through the groups that every description has, those that it
        defines, and the groups that belong to a thing, such as `D1.bays`.""",
        """
        circuits:
          - {id: c, use: logic, is: "every d in doorways, d is closed"}
        """,
        """
        circuits:
          - {id: c, use: logic, is: "every d in doors, d is closed"}
        """,
    ),
    text(
        "unknown-state",
        """The thing never has this state.""",
        """
        circuits:
          - {id: c, use: logic, is: D1 is shut}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "unknown-verb",
        """No step of this name happens to the thing.""",
        """
        requirements:
          - id: r
            text: The door is slammed only when it is open
            kind: only if
            step: slam D1
            condition: D1 is open
            hazard: none
            severity: "4"
            scheme: MIL-STD-882E
            source: common practice, no source
        """,
        """
        requirements:
          - id: r
            text: The door starts to close only when it is open
            kind: only if
            step: start_closing D1
            condition: D1 is open
            hazard: none
            severity: "4"
            scheme: MIL-STD-882E
            source: common practice, no source
        """,
    ),
    text(
        "door-closes-nothing",
        """A door stands at the edge of the hold, over a side of its bays beyond which there is no other bay, and it is
        the only door there. Any other would keep no unit from passing, open or closed.""",
        """
        doorways:
          - id: D1
            bays: [1L]
            side: right
            moved_by: hand
            opens: always
            closes: always
            latch: none
            lock: none
            path: []
            starts: open
        """,
        """
        doorways:
          - id: D1
            bays: [1L]
            side: left
            moved_by: hand
            opens: always
            closes: always
            latch: none
            lock: none
            path: []
            starts: open
        """,
    ),
    text(
        "unreachable-bay",
        """No unit can come to this bay from any doorway, whatever the latches do: there is no way over ball mat and
        rollers, or the rules of the layout keep all kinds of unit away.""",
        """
        layout:
          lanes: [L, R]
          rows: 2
          ball_mat: []
          secured: [fore, aft]
          neighbour_restrains: false
          drift: []
          pushing: never
          hand_work: always
        """,
        """
        layout:
          lanes: [L, R]
          rows: 2
          ball_mat: [1L, 1R]
          secured: [fore, aft]
          neighbour_restrains: false
          drift: []
          pushing: never
          hand_work: always
        """,
    ),
    text(
        "where-not-fixed",
        """`where` chooses among the things that a requirement ranges over, once and for all, so it cannot depend on the
        state of the hold.  What depends on it belongs to `when`.""",
        """
        requirements:
          - id: r
            text: "{b} is empty"
            kind: never
            for: {b: bays}
            where: b is occupied
            condition: D1 is open
            hazard: none
            severity: "4"
            scheme: MIL-STD-882E
            source: common practice, no source
        """,
        """
        requirements:
          - id: r
            text: "{b} is empty"
            kind: never
            for: {b: bays}
            when: b is occupied
            condition: D1 is open
            hazard: none
            severity: "4"
            scheme: MIL-STD-882E
            source: common practice, no source
        """,
    ),
)
