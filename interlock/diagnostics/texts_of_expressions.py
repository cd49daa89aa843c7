"""What is said about faults of the form of expressions and steps."""

from __future__ import annotations

from interlock.diagnostics.texts import Text, text


def _in_a_circuit(code: str, about: str, wrong: str, right: str) -> Text:
    def circuit(expression: str) -> str:
        return f'circuits:\n  - {{id: c, use: logic, is: "{expression}"}}\n'

    return text(code, about, circuit(wrong), circuit(right))


TEXTS = (
    _in_a_circuit(
        "close-parenthesis",
        """A closing parenthesis has no opening one before it.""",
        "D1 is closed)",
        "(D1 is closed)",
    ),
    _in_a_circuit(
        "empty-expression",
        """An expression is missing.  Where something is always so, write `true` or `always`; where it is never so,
        `false` or `never`.""",
        "",
        "true",
    ),
    _in_a_circuit(
        "expression-too-deep",
        """The expression is nested more than 60 deep.  Give its parts names with circuits.""",
        "not " * 61 + "D1 is closed",
        "not D1 is closed",
    ),
    text(
        "expression-too-long",
        """An expression has more than 4,000 characters.  Give its parts names with circuits.""",
        """
        # an expression of 5,000 characters
        """,
        """
        # circuits that name its parts
        """,
    ),
    _in_a_circuit(
        "keyword-as-name",
        """The words of the language (and, or, not, implies, is, true, false, always, never, every, some, no, at,
        most, one, in) cannot be names.  Often a word before this one is missing or one too many was written.""",
        "D1 is closed and or D1 is open",
        "D1 is closed or D1 is open",
    ),
    _in_a_circuit(
        "open-parenthesis",
        """An opening parenthesis is never closed.""",
        "(D1 is closed",
        "(D1 is closed)",
    ),
    _in_a_circuit(
        "unexpected-sign",
        """A sign stands in an expression that is not part of the language.  It has the signs `( ) . ,` and words: `is`,
        `is not`, `and`, `or`, `not`, `implies`.  It has no arithmetic: what is compared or counted elsewhere is a state
        here.""",
        "D1 == closed",
        "D1 is closed",
    ),
    _in_a_circuit(
        "unexpected-word",
        """A word or sign stands where it cannot.  A fact is a name, or a name with `is` and one state; states of
        several words are joined by `_`; facts are joined by `and`, `or` or `implies`.""",
        "D1 closed",
        "D1 is closed",
    ),
    _in_a_circuit(
        "unfinished-expression",
        """The text ends where something is still missing.""",
        "D1 is closed and",
        "D1 is closed and D1 is latched",
    ),
)
