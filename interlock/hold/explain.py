"""What a proof rests on, in trade words: clauses as sentences, those that differ only in a place folded together."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.hold.glossary import Glossary
from interlock.hold.origin import Condition, Crossing, Failure, Holding, Origins, Precedence, Sort
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Or, Ref
from interlock.kernel.machine import Machine

_FIRST = {
    Sort.DOOR: 1,
    Sort.PERSON: 2,
    Sort.CONTROL: 3,
    Sort.LEVER: 3,
    Sort.PUSH_BUTTON: 3,
    Sort.MOMENTARY_SWITCH: 3,
    Sort.SUPPLY: 4,
    Sort.RELAY: 5,
}

_PLACE = re.compile(r"\b\d+(?:[A-Z]\w*)?\b|\b[A-Z]+\d+\b")
"""What tells one row, bay or numbered device from the next: 3, 3L, SL1."""


@frozen
class Fact:
    """A sentence that is so in every reachable state.

    Where several differ only in a place, `text` has `...` in its stead and `places` lists what stands there; a
    sentence with more than one place lists them joined by a slash, in the order of the text.
    """

    text: str
    places: tuple[str, ...] = ()


def explain_clause(machine: Machine, glossary: Glossary, clause: Expr) -> str:
    """The clause as a sentence without capital letter and full stop.

    Facts that the glossary has no words for are said by their names in the machine.
    """
    parts = list(clause.args) if isinstance(clause, Or) else [clause]
    if not parts:
        return "this never happens"
    if len(parts) == 1:
        plain = _plain(machine, parts[0])
        if isinstance(plain, Not):
            return f"never: {_said(machine, glossary, plain.arg)}"
        return f"always: {_said(machine, glossary, plain)}"

    def order(part: Expr) -> int:
        return _order(glossary.origins, part)

    conclusion = max(parts, key=lambda part: (_is_plain(machine, part), order(part), -parts.index(part)))
    premises = sorted((part for part in parts if part is not conclusion), key=order)
    when = " and ".join(_denied(machine, glossary, part) for part in premises)
    return f"whenever {when}, {_said(machine, glossary, conclusion)}"


def explain_clauses(machine: Machine, glossary: Glossary, clauses: Iterable[Expr]) -> tuple[Fact, ...]:
    """All the clauses, those of one pattern as one fact, in the order in which the patterns first occur."""
    sentences = list(dict.fromkeys(explain_clause(machine, glossary, clause) for clause in clauses))
    patterns: dict[str, list[tuple[str, tuple[str, ...]]]] = {}
    for sentence in sentences:
        patterns.setdefault(_PLACE.sub("...", sentence), []).append((sentence, tuple(_PLACE.findall(sentence))))
    return tuple(_fact(pattern, found) for pattern, found in patterns.items())


def say(machine: Machine, glossary: Glossary, expr: Expr) -> str:
    """The expression as a sentence without capital letter and full stop, as far as the glossary has words for it."""
    if isinstance(expr, Not) and isinstance(expr.arg, Ref) and expr.arg.signal in glossary.signals:
        return glossary.signals[expr.arg.signal][1]
    return _said(machine, glossary, expr)


def _fact(pattern: str, found: Sequence[tuple[str, tuple[str, ...]]]) -> Fact:
    """What is the same in all of them is said; what differs becomes places."""
    if len(found) == 1:
        return Fact(found[0][0])
    columns = list(zip(*(places for _, places in found), strict=True))
    varying = [len(set(column)) > 1 for column in columns]
    pieces = pattern.split("...")
    text = pieces[0]
    for column, varies, piece in zip(columns, varying, pieces[1:], strict=True):
        text += ("..." if varies else column[0]) + piece
    rows = [[place for place, varies in zip(places, varying, strict=True) if varies] for _, places in found]
    # One row or bay named twice is one place.
    listed = ["/".join(dict.fromkeys(row)) for row in rows]
    return Fact(text, tuple(dict.fromkeys(sorted(listed, key=_natural))))


def _natural(place: str) -> tuple[tuple[int, str], ...]:
    return tuple((int(piece), "") if piece.isdigit() else (-1, piece) for piece in re.split(r"(\d+)", place) if piece)


def _order(origins: Origins, part: Expr) -> int:
    """What a sentence begins with, where there is a choice: motion, then the door, the controls, what stands where."""
    atom = part.arg if isinstance(part, Not) else part
    match origins.variables.get(atom.variable) if isinstance(atom, Is) else None:
        case Crossing():
            return 0
        case Condition(subject) if subject.sort in _FIRST:
            return _FIRST[subject.sort]
        case Precedence():
            return 10
        case Failure():
            return 11
        case Holding():
            return 12
        case Condition():
            return 13
    return 14


def _plain(machine: Machine, part: Expr) -> Expr:
    """The same without a negation, where the variable has only one other value."""
    if isinstance(part, Not) and isinstance(part.arg, Is):
        others = [value for value in machine.domains[part.arg.variable] if value != part.arg.value]
        if len(others) == 1:
            return Is(part.arg.variable, others[0])
    return part


def _is_plain(machine: Machine, part: Expr) -> bool:
    return not isinstance(_plain(machine, part), Not)


def _denied(machine: Machine, glossary: Glossary, part: Expr) -> str:
    return _said(machine, glossary, part.arg if isinstance(part, Not) else Not(part))


def _said(machine: Machine, glossary: Glossary, expr: Expr) -> str:
    plain = _plain(machine, expr)
    if isinstance(plain, Not) and isinstance(plain.arg, Is):
        return _negated(_said(machine, glossary, plain.arg))
    if isinstance(plain, Is):
        return glossary.values.get((plain.variable, plain.value)) or _unnamed(glossary.origins, plain)
    if isinstance(plain, Ref):
        return glossary.signals.get(plain.signal, (plain.signal, ""))[0]
    if isinstance(plain, Not):
        return _negated(_said(machine, glossary, plain.arg))
    if isinstance(plain, Const):
        return "anything" if plain.value else "nothing"
    joint = " and " if isinstance(plain, And) else " or "
    return "(" + joint.join(_said(machine, glossary, arg) for arg in plain.args) + ")"


def _unnamed(origins: Origins, fact: Is) -> str:
    match origins.variables.get(fact.variable):
        case Precedence(requirement):
            not_yet = "" if fact.value else "not "
            return f"the step that has to come first for '{requirement.id}' has {not_yet}been taken"
    return f"{fact.variable} is {fact.value}"


def _negated(text: str) -> str:
    """The sentence turned round; the words of the glossary allow it, and for others there is a longer way."""
    if text.startswith("nothing is "):
        return "something is " + text.removeprefix("nothing is ")
    if text.endswith(" holds nothing"):
        return text.removesuffix("nothing") + "something"
    if text.count(" is ") == 1 and not text.startswith(("no ", "some ", "nobody ", "somebody ")):
        return text.replace(" is ", " is not ")
    if text.count(" holds ") == 1:
        return text.replace(" holds ", " does not hold ")
    return f"it is not so that {text}"
