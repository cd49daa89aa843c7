"""Reads the expressions and steps of a description.

The language, in extended Backus-Naur form; blanks separate words and mean nothing else:

    expression = disjunction [ "implies" expression ] ;
    disjunction = conjunction { "or" conjunction } ;
    conjunction = negation { "and" negation } ;
    negation = { "not" } primary ;
    primary = "(" expression ")" | truth | quantified | fact ;
    truth = "true" | "always" | "false" | "never" ;
    quantified = quantifier name "in" path ( "," | ":" ) expression ;
    quantifier = "every" | "some" | "no" | "at" "most" "one" ;
    fact = path [ "is" [ "not" ] ( name | "in" ) ] ;
    step = name path ;
    path = name { "." name } ;
    name = ( letter | digit | "_" | "-" ) { letter | digit | "_" | "-" } ;

The body of a quantified expression reaches as far to the right as it can.  The words in quotes are no names.
Comma and colon mean the same; in YAML a text with a colon and a blank needs quotes, one with a comma does not, outside
brackets.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, TypeVar

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.spans import Span
from interlock.hold.language.nodes import ScalarNode, clip
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Step, Syntax, Truth

DEEPEST_EXPRESSION = 60
LONGEST_EXPRESSION = 4_000

KEYWORDS = frozenset(
    "and or not implies is true false always never every some no at most one in".split()  # noqa: SIM905 - one line
)
"""Words that are no names."""
STATE_WORDS = frozenset({"in"})
"""Keywords that levers are marked with; where a state is named nothing else can be meant."""

_TRUTHS = {"true": True, "always": True, "false": False, "never": False}
_QUANTIFIERS: Mapping[str, Literal["every", "some", "no", "at most one"]] = {
    "every": "every",
    "some": "some",
    "no": "no",
    "at": "at most one",
}
"""By the first word."""
_TOKEN = re.compile(r"[-=]+>|[\w-]+|[().:,]|[^\s\w().:,-]+")
Parsed = TypeVar("Parsed", Syntax, Step, Path)
_NAME = re.compile(r"[A-Za-z0-9_-]+\Z")
_SIGNS = ("(", ")", ".", ":", ",")
_INSTEAD = {
    "=": "is",
    "==": "is",
    "!=": "is not",
    "<>": "is not",
    "&": "and",
    "&&": "and",
    "|": "or",
    "||": "or",
    "!": "not",
    "~": "not",
    "->": "implies",
    "=>": "implies",
    "-->": "implies",
    "==>": "implies",
    "all": "every",
    "each": "every",
    "forall": "every",
    "any": "some",
    "exists": "some",
    "none": "no",
    "isn": "is not",
    "then": "implies",
    "are": "is",
}
"""What to write for signs and words that other languages use."""


@frozen
class _Token:
    """The characters from `start` to before `end`; without text where there is none, or none any more."""

    text: str
    start: int
    end: int


@dataclass(eq=False)
class _Wrong(Exception):
    """The text breaks the grammar at a token."""

    code: str
    at: _Token
    message: str
    expected: str | None = None
    nearest: str | None = None


def is_name(text: str) -> bool:
    """Whether a text has the form of a name; keywords have it too."""
    return _NAME.match(text) is not None


def parse_expression(scalar: ScalarNode, faults: Faults, context: tuple[str, ...] = ()) -> Syntax | None:
    """The expression that a scalar holds, or None with one fault noted."""
    return _parsed(_Parser.whole_expression, scalar, faults, context)


def parse_step(scalar: ScalarNode, faults: Faults, context: tuple[str, ...] = ()) -> Step | None:
    """The step that a scalar holds (`lower M3L`), or None with one fault noted."""
    return _parsed(_Parser.whole_step, scalar, faults, context)


def parse_path(scalar: ScalarNode, faults: Faults, context: tuple[str, ...] = ()) -> Path | None:
    """The path that a scalar holds (`ZL.bays`), or None with one fault noted."""
    return _parsed(_Parser.whole_path, scalar, faults, context)


def _parsed(
    whole: Callable[[_Parser], Parsed], scalar: ScalarNode, faults: Faults, context: tuple[str, ...]
) -> Parsed | None:
    try:
        return whole(_Parser(scalar))
    except _Wrong as wrong:
        _note(scalar, wrong, faults, context)
        return None


def _note(scalar: ScalarNode, wrong: _Wrong, faults: Faults, context: tuple[str, ...]) -> None:
    start, end = wrong.at.start, wrong.at.end
    place = scalar.place_of(start, end)
    # with escapes the source columns are not those of the text
    if place is None or scalar.is_filled_in:
        context = (second_caret(scalar.text, start, end), *context)
    faults.add(wrong.code, place or scalar.span, wrong.message, wrong.expected, wrong.nearest, context)


def second_caret(text: str, start: int, end: int) -> str:
    """The text on a line of its own with a caret under the part from `start` to before `end`."""
    window = 100
    low = max(0, min(start - window // 2, len(text) - window))
    shown = "".join(" " if letter.isspace() else letter for letter in text[low : low + window])
    caret = "^" + "~" * (max(1, min(end, low + window) - start) - 1)
    return f"read as:\n{shown}\n{' ' * (start - low)}{caret}"


class _Parser:
    """Recursive descent over the tokens of one scalar; depth is counted, so that no text exhausts the stack."""

    def __init__(self, scalar: ScalarNode) -> None:
        self._scalar = scalar
        text = scalar.text
        if len(text) > LONGEST_EXPRESSION:
            expected = f"at most {LONGEST_EXPRESSION:,}; circuits can name its parts"
            message = f"an expression of {len(text):,} characters"
            raise _Wrong("expression-too-long", _Token("", 0, 1), message, expected)
        self._tokens = [_Token(found.group(), found.start(), found.end()) for found in _TOKEN.finditer(text)]
        if not self._tokens:
            message = "an expression is missing here"
            raise _Wrong("empty-expression", _Token("", 0, 1), message, "a fact such as `D1 is closed`")
        end = self._tokens[-1].end
        self._tokens.append(_Token("", end, end + 1))
        self._at = 0
        self._depth = 0

    # --- whole texts

    def whole_expression(self) -> Syntax:
        found = self._expression()
        if self._here.text:
            raise self._unexpected_after(self._here)
        return found

    def whole_step(self) -> Step:
        verb = self._name("a verb such as `lower`")
        subject = self._path("the object of the step")
        self._ends("a step", "a verb and one object, such as `lower M3L`")
        return Step(verb.text, subject, self._since(verb.start))

    def whole_path(self) -> Path:
        found = self._path("a name")
        self._ends("a name", "names joined by dots, such as `ZL.bays`")
        return found

    def _ends(self, what: str, expected: str) -> None:
        if self._here.text:
            message = f"'{clip(self._here.text)}' does not belong to {what}"
            raise _Wrong("unexpected-word", self._here, message, expected)

    # --- the grammar

    def _expression(self) -> Syntax:
        start = self._here.start
        self._enter()
        left = self._joined("or")
        if self._accept("implies"):
            right = self._expression()
            left = Chain("implies", (left, right), self._since(start))
        self._depth -= 1
        return left

    def _joined(self, operator: Literal["and", "or"]) -> Syntax:
        start = self._here.start
        args = [self._joined("and") if operator == "or" else self._negation()]
        while self._accept(operator):
            args.append(self._joined("and") if operator == "or" else self._negation())
        if len(args) == 1:
            return args[0]
        return Chain(operator, tuple(args), self._since(start))

    def _negation(self) -> Syntax:
        starts = []
        while self._here.text == "not":
            self._enter()
            starts.append(self._here.start)
            self._at += 1
        found = self._primary()
        for start in reversed(starts):
            found = Negation(found, self._since(start))
        self._depth -= len(starts)
        return found

    def _primary(self) -> Syntax:
        token = self._here
        if self._accept("("):
            found = self._expression()
            if not self._here.text:
                raise _Wrong("open-parenthesis", token, "this parenthesis is never closed", "a `)` for it")
            if not self._accept(")"):
                raise self._unexpected_after(self._here)
            return found
        if token.text in _TRUTHS:
            self._at += 1
            return Truth(_TRUTHS[token.text], self._span(token))
        if token.text in _QUANTIFIERS:
            return self._quantified(token)
        return self._fact()

    def _quantified(self, first: _Token) -> Syntax:
        quantifier = _QUANTIFIERS[first.text]
        self._at += 1
        for word in quantifier.split()[1:]:
            self._expect(word, f"`{quantifier}`")
        shape = f"`{quantifier} b in bays, b is occupied`"
        variable = self._name(f"a name for the things meant, as in {shape}")
        self._expect("in", shape)
        group = self._path("a group")
        if not self._accept(":"):
            self._expect(",", shape)
        body = self._expression()
        return Quantified(quantifier, variable.text, group, body, self._since(first.start), self._span(variable))

    def _fact(self) -> Syntax:
        start = self._here.start
        subject = self._path("a fact such as `D1 is closed`")
        if not self._accept("is"):
            return Fact(subject, None, False, self._since(start))
        negated = self._accept("not")
        state = self._name("a state such as `raised`", STATE_WORDS)
        return Fact(subject, state.text, negated, self._since(start), self._span(state))

    def _path(self, what: str) -> Path:
        parts = [self._name(what)]
        while self._accept("."):
            parts.append(self._name("a name after the dot"))
        return Path(tuple(part.text for part in parts), tuple(map(self._span, parts)))

    # --- tokens

    @property
    def _here(self) -> _Token:
        """The next token; behind the last one that has no text."""
        return self._tokens[self._at]

    def _accept(self, text: str) -> bool:
        if self._here.text != text:
            return False
        self._at += 1
        return True

    def _expect(self, text: str, shape: str) -> None:
        if not self._accept(text):
            raise self._unexpected(self._here, f"`{text}`, as in {shape}")

    def _name(self, what: str, also: frozenset[str] = frozenset()) -> _Token:
        token = self._here
        if token.text in KEYWORDS - also:
            raise _Wrong("keyword-as-name", token, f"the word '{token.text}' cannot stand here", what)
        if not is_name(token.text):
            raise self._unexpected(token, what)
        self._at += 1
        return token

    def _span(self, token: _Token) -> Span:
        return self._scalar.place_of(token.start, token.end) or self._scalar.span

    def _since(self, start: int) -> Span:
        """From there to the end of the last token that was read."""
        return self._scalar.place_of(start, self._tokens[self._at - 1].end) or self._scalar.span

    def _enter(self) -> None:
        self._depth += 1
        if self._depth > DEEPEST_EXPRESSION:
            start = self._here.start
            message = f"the expression is nested more than {DEEPEST_EXPRESSION} deep"
            raise _Wrong("expression-too-deep", _Token("", start, start + 1), message, "circuits that name its parts")

    # --- what went wrong

    def _unexpected(self, token: _Token, what: str) -> _Wrong:
        if not token.text:
            last = self._tokens[self._at - 1].text
            return _Wrong("unfinished-expression", token, f"the text ends after '{clip(last)}'", what)
        if not is_name(token.text) and token.text not in _SIGNS:
            return self._foreign(token)
        message = f"'{clip(token.text)}' cannot stand here"
        return _Wrong("unexpected-word", token, message, what, self._instead(token.text))

    def _foreign(self, token: _Token) -> _Wrong:
        instead = _INSTEAD.get(token.text)
        if any(letter.isalnum() for letter in token.text):
            message = f"'{clip(token.text)}' has letters that no name has"
            return _Wrong("unexpected-sign", token, message, "letters without accents, digits, `_` and `-`")
        message = f"the sign '{clip(token.text)}' is not part of the language"
        if instead is not None:
            what = None
        elif token.text.startswith(("{", "}")):
            what = "braces only inside a repetition (`for:`)"
        elif any(letter in token.text for letter in "<>=+*/"):
            what = "truth values only: the language has no arithmetic"
        else:
            what = "names, `( ) . ,` and the words of the language"
        return _Wrong("unexpected-sign", token, message, what, instead)

    def _unexpected_after(self, token: _Token) -> _Wrong:
        """A fault for a token behind a complete expression."""
        if token.text == ")":
            return _Wrong("close-parenthesis", token, "no parenthesis is open here", "a `(` for this one")
        instead = self._instead(token.text)
        before = self._tokens[self._at - 1].text
        if not is_name(token.text) or instead is not None or token.text in KEYWORDS or before == ")":
            return self._unexpected(token, "`and`, `or`, `implies` or the end")
        after = self._tokens[self._at + 1].text
        joiner = nearest_name(token.text, ("and", "or", "implies", "is"))
        short = len(before) + len(token.text) < 40
        ends = not after or after in (")", "and", "or", "implies")
        has_state = self._at >= 2 and self._tokens[self._at - 2].text in ("is", "not")
        if has_state:
            expected = "a state of several words joined by `_`, or `and`, `or`, `implies`"
            nearest = f"{before}_{token.text}" if ends and short else joiner
        else:
            expected = "`is` before a state, or `and`, `or`, `implies`"
            nearest = f"{before} is {token.text}" if ends and short else joiner
        message = f"'{clip(token.text)}' cannot follow '{clip(before)}'"
        return _Wrong("unexpected-word", token, message, expected, nearest)

    def _instead(self, text: str) -> str | None:
        folded = text.lower()
        if folded in KEYWORDS and folded != text:
            return folded
        return _INSTEAD.get(folded)
