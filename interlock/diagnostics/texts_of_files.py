"""What is said about faults of whole files: their bytes, their YAML, their repetitions and modifications."""

from __future__ import annotations

from interlock.diagnostics.texts import text

TEXTS = (
    text(
        "alias-not-accepted",
        """YAML aliases (`*name`) are not accepted.  They hide from a reader what is written, and a few lines of
        them can stand for more than any computer holds.  Write the value out, or use a repetition (`for:`).""",
        """
        circuits:
          - {id: c, use: logic, is: &free D1 is closed}
          - {id: d, use: logic, is: *free}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
          - {id: d, use: logic, is: c}
        """,
    ),
    text(
        "anchor-not-accepted",
        """YAML anchors (`&name`) are not accepted, because aliases to them are not.  Write the value alone.""",
        """
        circuits:
          - {id: c, use: logic, is: &free D1 is closed}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "bad-repetition",
        """A repetition gives each variable its values: a range of whole numbers with the smaller one first, or a
        list of words.  Variables have names of letters, digits and `_`, and a repetition within another one uses
        other names.""",
        """
        circuits:
          - for: {r: 2..1}
            id: "c{r}"
            use: logic
            is: "{r}L is occupied"
        """,
        """
        circuits:
          - for: {r: 1..2}
            id: "c{r}"
            use: logic
            is: "{r}L is occupied"
        """,
    ),
    text(
        "counting-a-word",
        """`{r+1}` counts on from a number.  It needs a variable whose value is a whole number, and a result that is not
        below zero.""",
        """
        circuits:
          - for: {l: [L, R]}
            id: "c{l}"
            use: logic
            is: "1{l+1} is occupied"
        """,
        """
        circuits:
          - for: {r: 1..1}
            id: "c{r}"
            use: logic
            is: "{r+1}L is occupied"
        """,
    ),
    text(
        "duplicate-key",
        """The same key stands twice in one mapping.  One of the two would be ignored in silence, so neither is read on
        trust: take one away.""",
        """
        circuits:
          - id: c
            use: logic
            is: D1 is closed
            is: D1 is open
        """,
        """
        circuits:
          - id: c
            use: logic
            is: D1 is closed
        """,
    ),
    text(
        "empty-file",
        """The file has no content, or comments only.  A description starts with `interlock: 1`.""",
        """
        # interlock:
        """,
        """
        interlock: 1
        """,
    ),
    text(
        "file-too-large",
        """The file is larger than 4,000,000 bytes.  No description that people write is; lists of that size are written
        as repetitions (`for:`).""",
        """
        # a file of 5,000,000 bytes
        """,
        """
        # repetitions instead of lists written out
        """,
    ),
    text(
        "id-cannot-change",
        """A `change` in a modification cannot give a thing another id, because everything else refers to it by its id.
        Where it is another thing, remove the old one and add the new one.""",
        """
        interlock: 1
        title: Modified
        modifies: base.yaml
        changes:
          - {change: D1, to: {id: D2}}
        """,
        """
        interlock: 1
        title: Modified
        modifies: base.yaml
        changes:
          - {change: D1, to: {name: forward cargo door}}
        """,
    ),
    text(
        "key-not-a-word",
        """A key is a plain word.  A list or a mapping cannot be a key.""",
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed, [a, b]: c}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "missing-file",
        """The file named by `modifies`, or by `hold` in a procedure, cannot be read, or its name is no relative path.
        It is looked for from the folder of the file that names it, and its parts are separated by `/`.  A demonstration
        hold that comes with the program is named as `demo:twin-lane`.  Only regular files are read.""",
        """
        interlock: 1
        title: Modified
        modifies: nowhere.yaml
        changes: [{remove: D1}]
        """,
        """
        interlock: 1
        title: Modified
        modifies: base.yaml
        changes: [{change: D1, to: {name: cargo door}}]
        """,
    ),
    text(
        "modification-circle",
        """A modification modifies itself, directly or through others, or more than twenty modify one another.  At
        the end of the chain there has to be a file that describes a hold in full.""",
        """
        interlock: 1
        title: Modified
        modifies: example.yaml
        changes: [{remove: D1}]
        """,
        """
        interlock: 1
        title: Modified
        modifies: base.yaml
        changes: [{change: D1, to: {name: cargo door}}]
        """,
    ),
    text(
        "nested-too-deep",
        """Lists and mappings are nested more than 40 deep.  No field of the language needs more than eight.""",
        """
        groups: [[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]
        """,
        """
        groups: []
        """,
    ),
    text(
        "not-utf-8",
        """The file has bytes that are not UTF-8.  Save it as UTF-8; other encodings are not guessed, since a wrong
        guess changes names in silence.""",
        """
        # a file saved in another encoding
        """,
        """
        # the same file saved as UTF-8
        """,
    ),
    text(
        "not-yaml",
        """The file breaks the rules of YAML at this place, so nothing in it can be read.  Often a text with a colon
        and a blank, or with ` #`, lacks its quotes, and so does one that begins with `{`, as in `"{r}L.aft"`; or a
        bracket is not closed, or the indentation of a line does not fit.""",
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "repetition-not-here",
        """`for` repeats the items of a list.  This mapping is not an item of a list, so there is nothing to repeat.""",
        """
        layout:
          for: {l: [L, R]}
          lanes: ["{l}"]
        """,
        """
        layout:
          lanes: [L, R]
        """,
    ),
    text(
        "several-documents",
        """A second document begins (`---`).  A file describes one hold; put another into a file of its own.""",
        """
        interlock: 1
        ---
        interlock: 1
        """,
        """
        interlock: 1
        """,
    ),
    text(
        "tab-for-indentation",
        """A tab stands where YAML wants blanks.  Set the editor to indent with blanks.""",
        """
        circuits:
        \t- {id: c, use: logic, is: D1 is closed}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "tag-not-accepted",
        """YAML tags (`!word`) are not accepted.  Each field of the language knows what it holds.""",
        """
        circuits:
          - {id: c, use: logic, is: !!str D1 is closed}
        """,
        """
        circuits:
          - {id: c, use: logic, is: D1 is closed}
        """,
    ),
    text(
        "text-too-long",
        """A single text has more than 10,000 characters.""",
        """
        # a text of 20,000 characters
        """,
        """
        # the text cut into parts, or moved to a document of its own
        """,
    ),
    text(
        "too-many-faults",
        """More than 500 faults were found.  The first 500 are listed; mend these and look again, since many of the
        others may have the same cause.""",
        """
        # a file with 600 misspelt fields
        """,
        """
        # the file after the first faults are mended
        """,
    ),
    text(
        "too-many-repetitions",
        """The repetitions of a file make more than 20,000 items or too much text.  Every variable of a repetition
        multiplies the number of items.""",
        """
        circuits:
          - for: {a: 1..1000, b: 1..1000}
            id: "c{a}_{b}"
            use: logic
            is: D1 is closed
        """,
        """
        circuits:
          - for: {a: 1..2, b: 1..2}
            id: "c{a}_{b}"
            use: logic
            is: D1 is closed
        """,
    ),
    text(
        "too-many-values",
        """The file has more than 200,000 values.  Lists of that size are written as repetitions (`for:`).""",
        """
        # a list of 300,000 items
        """,
        """
        # a repetition in its place
        """,
    ),
    text(
        "unknown-change",
        """Every item of `changes` does one thing, and says so by its key: remove, fix, defer, change or add.""",
        """
        interlock: 1
        title: Modified
        modifies: base.yaml
        changes: [{delete: D1}]
        """,
        """
        interlock: 1
        title: Modified
        modifies: base.yaml
        changes: [{remove: D1}]
        """,
    ),
    text(
        "unknown-variable",
        """Braces in a repeated item hold a variable of its repetition, or of one around it.""",
        """
        circuits:
          - for: {r: 1..2}
            id: "c{r}"
            use: logic
            is: "{row}L is occupied"
        """,
        """
        circuits:
          - for: {r: 1..2}
            id: "c{r}"
            use: logic
            is: "{r}L is occupied"
        """,
    ),
    text(
        "unknown-version",
        """The file is written in a version of the language that this program does not know.""",
        """
        interlock: 7
        """,
        """
        interlock: 1
        """,
    ),
    text(
        "unprintable-character",
        """The file has a character that cannot be printed, such as NUL, or a line end that editors do not show. 
        Two names could look alike and differ by it.""",
        r"""
        circuits:
          - {id: c, name: "a\0b", use: logic, is: D1 is closed}
        """,
        """
        circuits:
          - {id: c, name: "a b", use: logic, is: D1 is closed}
        """,
    ),
    text(
        "wrong-file",
        """The file is of another sort than is wanted here: a description has `layout:`, a modification `modifies:`, a
        procedure `procedure:` and a specification `specification:`.  `interlock prove` and most commands read
        descriptions and modifications, `interlock audit` reads procedures; `--requirements` names specifications.  A
        file that another one names, by `modifies` or `hold`, is read only if one of its lines begins with `interlock:`;
        of any other no line is shown.""",
        """
        interlock: 1
        specification: Requirements for any hold
        requirements: []
        """,
        """
        interlock: 1
        title: A hold
        """,
    ),
)
