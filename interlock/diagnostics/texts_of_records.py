"""What is said about records whose fields do not fit together, or that do not fit each other."""

from __future__ import annotations

from interlock.diagnostics.texts import text

TEXTS = (
    text(
        "circuit-for-unpowered",
        """Only powered kinds of device are worked by a circuit.""",
        """
        devices:
          - {id: S, kind: fixed stop, on: 2L.aft, stops: aft, restrains: x, circuit: D1 is open}
        """,
        """
        devices:
          - {id: S, kind: fixed stop, on: 2L.aft, stops: aft, restrains: x}
        """,
    ),
    text(
        "control-without-positions",
        """A switch or selector has two or more positions; a lever has one direction or more, besides neutral, which
        every lever has.""",
        """
        controls:
          - {id: SW, kind: switch, positions: ["on"], starts: "on"}
        """,
        """
        controls:
          - {id: SW, kind: switch, positions: ["off", "on"], starts: "off"}
        """,
    ),
    text(
        "field-not-for-this-kind",
        """The field means something for other kinds of thing, but nothing for this one.  It would be ignored, so it is
        refused.""",
        """
        controls:
          - {id: AP, kind: access panel, starts: closed, positions: [up, down]}
        """,
        """
        controls:
          - {id: AP, kind: access panel, starts: closed}
        """,
    ),
    text(
        "footprint-too-large",
        """A unit covers one bay, two across or two along; a unit of four bays is not modelled.""",
        """
        units:
          - {id: HUGE, across: 2, along: 2}
        """,
        """
        units:
          - {id: WIDE, across: 2, along: 1}
        """,
    ),
    text(
        "half-a-latch",
        """A door that can be latched can be unlatched, and says when; likewise locked and unlocked.  A door without
        latch writes `latch: none` and no `unlatch`.""",
        """
        doorways:
          - id: D1
            bays: 1R
            side: right
            moved_by: hand
            opens: always
            closes: always
            latch: {by: hand, when: always}
            lock: none
            path: []
            starts: [closed, latched]
        """,
        """
        doorways:
          - id: D1
            bays: 1R
            side: right
            moved_by: hand
            opens: always
            closes: always
            latch: {by: hand, when: always}
            unlatch: {by: hand, when: always}
            lock: none
            path: []
            starts: [closed, latched]
        """,
    ),
    text(
        "handle-for-other-kind",
        """Only a handle-worked lock is worked by a handle.""",
        """
        controls:
          - {id: H, kind: self-resetting handle}
        devices:
          - {id: S, kind: fixed stop, on: 2L.aft, stops: aft, restrains: x, handle: H}
        """,
        """
        devices:
          - {id: S, kind: fixed stop, on: 2L.aft, stops: aft, restrains: x}
        """,
    ),
    text(
        "lock-without-handle",
        """A handle-worked lock names the handle that works it.""",
        """
        devices:
          - {id: SL, kind: handle-worked lock, on: 1R.right, stops: [left, right], locking: raised}
        """,
        """
        controls:
          - {id: H, kind: self-resetting handle}
        devices:
          - {id: SL, kind: handle-worked lock, handle: H, on: 1R.right, stops: [left, right], locking: raised}
        """,
    ),
    text(
        "lock-without-latch",
        """A lock keeps a latch from coming off.  A door without latch has nothing to lock; what holds it closed is its
        latch, whatever it is called.""",
        """
        doorways:
          - id: D1
            bays: 1R
            side: right
            moved_by: hand
            opens: always
            closes: always
            latch: none
            lock: {by: hand, when: always}
            unlock: {by: hand, when: always}
            path: []
            starts: closed
        """,
        """
        doorways:
          - id: D1
            bays: 1R
            side: right
            moved_by: hand
            opens: always
            closes: always
            latch: none
            lock: none
            path: []
            starts: closed
        """,
    ),
    text(
        "neutral-listed",
        """The positions of a lever are its directions.  Neutral is not among them: every lever returns to it.""",
        """
        controls:
          - {id: LV, kind: lever, positions: [fore, neutral, aft]}
        """,
        """
        controls:
          - {id: LV, kind: lever, positions: [fore, aft]}
        """,
    ),
    text(
        "panel-behind-itself",
        """An access panel is behind itself, directly or by way of others, so that nobody can ever open it.""",
        """
        controls:
          - {id: A, kind: access panel, starts: closed, behind: B}
          - {id: B, kind: access panel, starts: closed, behind: A}
        """,
        """
        controls:
          - {id: A, kind: access panel, starts: closed}
          - {id: B, kind: access panel, starts: closed, behind: A}
        """,
    ),
    text(
        "powered-without-circuit",
        """A powered device names the circuit, or any expression, that works it.""",
        """
        devices:
          - {id: P, kind: powered latch resting raised, on: 1L.aft, stops: [fore, aft], restrains: x, locking: raised}
        """,
        """
        devices:
          - id: P
            kind: powered latch resting raised
            on: 1L.aft
            stops: [fore, aft]
            restrains: x
            locking: raised
            circuit: D1 is open
        """,
    ),
    text(
        "section-outside-zone",
        """A section says what inhibits the drive of one bay of its zone; this bay is not in the zone.""",
        """
        zones:
          - id: Z
            bays: [1L, 2L]
            power: D1 is open
            commands: {aft: D1 is open}
            sections: [{bay: 1R, inhibits: {aft: D1 is closed}}]
        """,
        """
        zones:
          - id: Z
            bays: [1L, 2L]
            power: D1 is open
            commands: {aft: D1 is open}
            sections: [{bay: 1L, inhibits: {aft: D1 is closed}}]
        """,
    ),
    text(
        "start-not-clear",
        """A door starts either closed or open, and latched or locked only where it has a latch or lock.""",
        """
        doorways:
          - id: D1
            bays: 1R
            side: right
            moved_by: hand
            opens: always
            closes: always
            latch: none
            lock: none
            path: []
            starts: [closed, open]
        """,
        """
        doorways:
          - id: D1
            bays: 1R
            side: right
            moved_by: hand
            opens: always
            closes: always
            latch: none
            lock: none
            path: []
            starts: closed
        """,
    ),
    text(
        "start-out-of-range",
        """A thing is said to start, or to be fixed, in a state or place that it never has.""",
        """
        places:
          - {id: sill, bay: 1R, reaches: []}
          - {id: apron, bay: outside, reaches: []}
        people:
          - {id: loader, places: [sill], starts: [apron], moves: always}
        """,
        """
        places:
          - {id: sill, bay: 1R, reaches: []}
          - {id: apron, bay: outside, reaches: []}
        people:
          - {id: loader, places: [sill, apron], starts: [apron], moves: always}
        """,
    ),
    text(
        "station-not-named",
        """There are several stations, so each command of a zone says from which of them it comes.""",
        """
        controls:
          - {id: A, kind: lever, positions: [fore, aft]}
          - {id: B, kind: lever, positions: [fore, aft]}
        stations:
          - {id: SA, controls: A, owns: D1 is open}
          - {id: SB, controls: B, owns: D1 is closed}
        zones:
          - {id: Z, bays: 1L..2L, power: always, commands: [{aft: A is aft}]}
        """,
        """
        controls:
          - {id: A, kind: lever, positions: [fore, aft]}
          - {id: B, kind: lever, positions: [fore, aft]}
        stations:
          - {id: SA, controls: A, owns: D1 is open}
          - {id: SB, controls: B, owns: D1 is closed}
        zones:
          - {id: Z, bays: 1L..2L, power: always, commands: [{station: SA, aft: A is aft}]}
        """,
    ),
    text(
        "two-rules-for-a-bay",
        """Two rules of the layout are about the same bay.  They could contradict each other; write one.""",
        """
        layout:
          lanes: [L, R]
          rows: 2
          ball_mat: []
          secured: []
          neighbour_restrains: false
          drift: []
          pushing: never
          hand_work: always
          rules: [{bays: 1L, kinds: HALF}, {bays: 1L..2L, kinds: []}]
        """,
        """
        layout:
          lanes: [L, R]
          rows: 2
          ball_mat: []
          secured: []
          neighbour_restrains: false
          drift: []
          pushing: never
          hand_work: always
          rules: [{bays: 1L, kinds: HALF}, {bays: 2L, kinds: []}]
        """,
    ),
    text(
        "variable-hides-name",
        """The variable of a quantifier, or of `for` in a requirement, has the name of something else.  Within it
        the name would mean the variable only; call the variable otherwise.""",
        """
        circuits:
          - {id: c, use: logic, is: "some D1 in bays, D1 is occupied"}
        """,
        """
        circuits:
          - {id: c, use: logic, is: "some b in bays, b is occupied"}
        """,
    ),
    text(
        "wrong-mark",
        """The marks of a lever name a position that it does not have, or mark a position for another direction than the
        one that it is called after.""",
        """
        controls:
          - {id: A, kind: lever, positions: [inboard, outboard], marks: {left: inbord}}
        """,
        """
        controls:
          - {id: A, kind: lever, positions: [inboard, outboard], marks: {left: inboard, right: outboard}}
        """,
    ),
)
