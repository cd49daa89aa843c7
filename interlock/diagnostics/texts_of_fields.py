"""What is said about the fields of a record: which there are, and what each may hold."""

from __future__ import annotations

from interlock.diagnostics.texts import text

TEXTS = (
    text(
        "bad-bay-range",
        """A range of bays such as `1L..6L` runs along one lane, or across one row as in `1L..1R`, from the first bay to
        the last one.""",
        """
        groups:
          - {id: corner, members: [1L..2R]}
        """,
        """
        groups:
          - {id: corner, members: [1L..2L, 2R]}
        """,
    ),
    text(
        "bad-name",
        """A name is made of letters without accents, digits, `_` and `-`, with no blanks, and a lane does not begin
        with a digit.  What people call a thing goes into `name`, which may be any text.""",
        """
        groups:
          - {id: front row, members: [1L, 1R]}
        """,
        """
        groups:
          - {id: front_row, members: [1L, 1R]}
        """,
    ),
    text(
        "bay-taken-out",
        """A rule of the layout says that this bay does not exist, so nothing can be there.""",
        """
        layout:
          lanes: [L, R]
          rows: 2
          rules: [{bays: 2L, kinds: []}]
          ball_mat: [2L]
        """,
        """
        layout:
          lanes: [L, R]
          rows: 2
          rules: [{bays: 2L, kinds: []}]
          ball_mat: [1L]
        """,
    ),
    text(
        "empty-list",
        """The list has to have something in it; where nothing is meant, leave the field out, if it is optional.""",
        """
        groups:
          - {id: front, members: []}
        """,
        """
        groups:
          - {id: front, members: [1L, 1R]}
        """,
    ),
    text(
        "listed-twice",
        """The same thing is listed twice.  A second mention adds nothing, and often another thing was meant.""",
        """
        groups:
          - {id: front, members: [1L, 1L]}
        """,
        """
        groups:
          - {id: front, members: [1L, 1R]}
        """,
    ),
    text(
        "missing-field",
        """A field is missing.  Fields on which safety depends have no default, because the silent choice could be the
        optimistic one: write down what is so.""",
        """
        circuits:
          - {id: c, use: logic}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "missing-value",
        """A key stands there without a value.  Leave it out where it is optional; otherwise say what holds.""",
        """
        circuits:
          - {id: c, use: logic, is: }
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "name-taken",
        """Two things have the same name.  Names are unique over the whole description, so that a name in an expression
        can only mean one thing.""",
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
          - {id: c, use: logic, is: D1 is open}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
          - {id: d, use: logic, is: D1 is open}
        """,
    ),
    text(
        "no-such-side",
        """A side is a bay, a dot and a direction: fore, aft, left or right, as seen looking forward.""",
        """
        devices:
          - {id: S, kind: fixed stop, on: 2L.back, stops: aft, restrains: x}
        """,
        """
        devices:
          - {id: S, kind: fixed stop, on: 2L.aft, stops: aft, restrains: x}
        """,
    ),
    text(
        "not-a-list",
        """A list is wanted here: items that begin with `- `, or items in `[ ]`, as in `[fore, aft]`; an empty
        list is `[]`.""",
        """
        circuits: {id: c, use: logic, is: D1 is closed}
        """,
        """
        circuits: [{id: c, use: logic, is: D1 is closed}]
        """,
    ),
    text(
        "not-a-mapping",
        """Keys with values are wanted here, as in `{id: c, use: logic}`.""",
        """
        circuits: [c]
        """,
        """
        circuits: [{id: c, use: logic, is: D1 is closed}]
        """,
    ),
    text(
        "not-a-text",
        """One text, word or number is wanted here, not a list and not keys with values.""",
        """
        circuits:
          - {id: c, use: logic, is: [D1 is closed]}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "not-a-whole-number",
        """A whole number in decimal digits is wanted here, without blanks, commas or unit.""",
        """
        layout: {lanes: [L, R], rows: two}
        """,
        """
        layout: {lanes: [L, R], rows: 2}
        """,
    ),
    text(
        "not-an-amount",
        """A positive number is wanted here, with a decimal point if need be, and without its unit: the unit is part of
        the name of the field (`_mm`, `_kg`).""",
        """
        units:
          - {id: HALF, across: 1, along: 1, max_gross_kg: 1588 kg}
        """,
        """
        units:
          - {id: HALF, across: 1, along: 1, max_gross_kg: 1588}
        """,
    ),
    text(
        "not-true-or-false",
        """`true` or `false` is wanted here.  Other words for yes and no are not accepted, since `on` and `off` are
        states in this language.""",
        """
        supplies:
          - {id: GP, starts: "off", may_be_lost: yes}
        """,
        """
        supplies:
          - {id: GP, starts: "off", may_be_lost: true}
        """,
    ),
    text(
        "number-out-of-range",
        """The number is smaller or larger than the language allows here.""",
        """
        layout: {lanes: [L, R], rows: 9999}
        """,
        """
        layout: {lanes: [L, R], rows: 2}
        """,
    ),
    text(
        "reserved-name",
        """The name means something already: it is a word of the language, a bay, a group that every description has, or
        what can be said of a bay, a person or a lever anyway.""",
        """
        groups:
          - {id: doors, members: [D1]}
        """,
        """
        groups:
          - {id: my_doors, members: [D1]}
        """,
    ),
    text(
        "too-many-bays",
        """Rows times lanes make more than 1,000 bays.""",
        """
        layout: {lanes: [A, B, C, D, E, F], rows: 200}
        """,
        """
        layout: {lanes: [A, B, C, D, E, F], rows: 20}
        """,
    ),
    text(
        "unknown-bay",
        """No bay has this name.  A bay is called by its row, counted from 1 at the front, and its lane.""",
        """
        groups:
          - {id: front, members: [1L..3L]}
        """,
        """
        groups:
          - {id: front, members: [1L..2L]}
        """,
    ),
    text(
        "unknown-choice",
        """The field takes one of a few words or phrases, and this is none of them.""",
        """
        circuits:
          - {id: c, use: power supply, is: D1 is closed}
        """,
        """
        circuits:
          - {id: c, use: power, is: D1 is closed}
        """,
    ),
    text(
        "unknown-field",
        """There is no such field here.  What is misspelt would otherwise be ignored, and a guard that is ignored is no
        guard.""",
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed, iz: D1 is open}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "unknown-name",
        """Nothing has this name.  It may be misspelt, or what it named was taken out by a modification.""",
        """
        circuits:
          - {id: c, use: logic, is: D2 is closed}
        groups:
          - {id: g, members: [D2]}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        groups:
          - {id: g, members: [D1]}
        """,
    ),
    text(
        "wrong-object-kind",
        """The name is known, but what it names is of another kind than is wanted here: a group where one object is
        wanted, say, or a switch where a handle is.""",
        """
        stations:
          - {id: ST, controls: [D1], owns: "true"}
        """,
        """
        controls:
          - {id: SW, kind: switch, positions: ["off", "on"], starts: "off"}
        stations:
          - {id: ST, controls: [SW], owns: "true"}
        """,
    ),
)
