"""Tables of comma-separated text (RFC 4180, of which a cell ends on its line) as the nodes that the reader reads.

The first line names the columns.  A row becomes a mapping whose keys are these names, without those whose cells are
empty; of a column in which several things can stand, what a semicolon sets apart becomes a list.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold.language.fleets import WITH, part_of
from interlock.hold.language.nodes import (
    LONGEST_SCALAR,
    MOST_VALUES,
    Entry,
    MappingNode,
    ScalarNode,
    SequenceNode,
    Stretch,
    clip,
)

AMONG = ";"
"""What sets several things in one cell apart."""


def table_rows(
    name: str, lines: Sequence[str], columns: Mapping[str, bool], needed: str, faults: Faults
) -> SequenceNode | None:
    """The rows of a table; None, with a fault, where its first line does not name the column that is `needed`.

    `columns` says of each column that there may be whether several things can stand in its cells.
    """
    rows = ((number, line) for number, line in enumerate(lines, 1) if line.strip())
    number, line = next(rows, (1, ""))
    heads = [cell for cell in _cells(name, number, line, faults)]
    if needed not in [head.text for head in heads]:
        said, expected = _no_heads(line, columns, needed)
        near = faults.hint(needed, [head.text for head in heads])
        hint = None if near is None else needed
        faults.add("missing-field", Span(name, number, 1, max(1, len(line))), said, expected, hint)
        return None
    _check_heads(heads, columns, faults)
    found: list[MappingNode] = []
    values = 0
    for number, line in rows:
        cells = _cells(name, number, line, faults)
        values += len(cells)
        if values > MOST_VALUES:
            said = f"the table has more than {MOST_VALUES:,} cells"
            faults.add("too-many-values", Span(name, number, 1), said, "several tables")
            break
        for cell in cells[len(heads) :]:
            said, expected = f"'{clip(cell.text)}' stands in no column", f"at most {len(heads)} cells in a row"
            faults.add("not-a-table", cell.span, said, expected)
        pairs = zip(heads, cells, strict=False)
        entries = [
            _entry(head, cell, columns[head.text], faults) for head, cell in pairs if cell.text and head.text in columns
        ]
        found.append(MappingNode(tuple(entries), Span(name, number, 1, max(1, len(line)))))
    return SequenceNode(tuple(found), Span(name, 1, 1))


def _no_heads(line: str, columns: Mapping[str, bool], needed: str) -> tuple[str, str]:
    """What is said of a first line that does not name the column, and what was expected."""
    such = f"a line such as `{','.join(columns)}`"
    for sign, called in _OTHERS.items():
        if needed in [one.strip().strip('"').casefold() for one in line.split(sign)]:
            return f"{called} set the columns apart", f"commas between columns, in every line: {such}"
    return f"the first line names no column '{needed}'", f"{such}, or `interlock: 1` at the top of a YAML file"


_OTHERS = {";": "semicolons", "\t": "tabulators"}
"""What programs write between columns in the place of a comma."""


def _check_heads(heads: Sequence[ScalarNode], columns: Mapping[str, bool], faults: Faults) -> None:
    for at, head in enumerate(heads):
        if head.text not in columns:
            said, expected = f"there is no column '{clip(head.text)}'", "one of " + ", ".join(columns)
            faults.add("unknown-field", head.span, said, expected, faults.hint(head.text, columns))
        elif head.text in [before.text for before in heads[:at]]:
            faults.add("duplicate-key", head.span, f"'{head.text}' stands here a second time", "each column once")


def _entry(head: ScalarNode, cell: ScalarNode, many: bool, faults: Faults) -> Entry:
    return Entry(head, SequenceNode(tuple(_parts(cell, faults)), cell.span) if many else cell)


def _parts(cell: ScalarNode, faults: Faults) -> Iterator[ScalarNode]:
    """What stands in the cell; a comma can only stand in an expression, and is told where it sets things apart."""
    start = 0
    for part in cell.text.split(AMONG):
        text = part.strip()
        if "," in text.partition(WITH)[0]:
            said, expected = f"a comma stands in '{clip(text)}'", f"`{AMONG}` between several things in one cell"
            faults.add("not-a-table", part_of(cell, start, part).span, said, expected)
        elif text:
            yield part_of(cell, start + len(part) - len(part.lstrip()), text)
        start += len(part) + len(AMONG)


def _cells(name: str, number: int, line: str, faults: Faults) -> list[ScalarNode]:
    """The cells of a line without the blanks around them."""
    found: list[ScalarNode] = []
    at = 0
    while at <= len(line):
        start = at
        while start < len(line) and line[start] in " \t":
            start += 1
        quoted = line[start : start + 1] == '"'
        if quoted:
            text, at = _quoted(line, start + 1)
            rest = line.find(",", at)
            rest = len(line) if rest < 0 else rest
            if at > len(line) or line[at:rest].strip():
                span = Span(name, number, start + 1, max(1, min(at, len(line)) - start))
                said = "the quotes of this cell do not close before its end"
                faults.add("not-a-table", span, said, '`"` at its end, on the same line; `""` for one within')
            at = rest
        else:
            rest = line.find(",", start)
            at = len(line) if rest < 0 else rest
            text = line[start:at]
        first = start + 1 if quoted else start
        # with a doubled sign in it the text does not stand there letter by letter
        exact = line[first : first + len(text)] == text
        text = text.strip()
        if len(text) > LONGEST_SCALAR:
            expected = f"at most {LONGEST_SCALAR:,} characters"
            faults.add("text-too-long", Span(name, number, start + 1), f"a text of {len(text):,} characters", expected)
            text = text[:LONGEST_SCALAR]
        first += len(line[first:]) - len(line[first:].lstrip()) if exact and text else 0
        span = Span(name, number, start + 1, max(1, len(text) + 2 * quoted))
        found.append(ScalarNode(text, span, quoted, (Stretch(0, number, first + 1),) if exact else None))
        at += 1
    return found


def _quoted(line: str, start: int) -> tuple[str, int]:
    """The text between quotes and the place behind them, which is beyond the line where they do not close."""
    parts: list[str] = []
    while True:
        end = line.find('"', start)
        if end < 0:
            return "".join([*parts, line[start:]]), len(line) + 1
        parts.append(line[start:end])
        if line[end + 1 : end + 2] != '"':
            return "".join(parts), end + 1
        parts.append('"')
        start = end + 2
