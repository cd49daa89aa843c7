"""Syntax trees as text that reads back as the same tree."""

from __future__ import annotations

from interlock.hold.language.syntax import Chain, Fact, Negation, Quantified, Step, Syntax, Truth

_TIGHTNESS = {"implies": 1, "or": 2, "and": 3}
_NOT = 4
_PRIMARY = 5


def print_syntax(syntax: Syntax) -> str:
    """The text of an expression, with parentheses where they are needed, and wherever `and` stands within `or`."""
    return _print(syntax, 0, last=True)


def print_step(step: Step) -> str:
    """The text of a step."""
    return f"{step.verb} {'.'.join(step.subject.parts)}"


def _print(syntax: Syntax, least: int, last: bool) -> str:
    """The text where everything less tight than `least` needs parentheses.

    `last`: nothing follows on the right, so that a quantified expression, which takes all that follows, may stand bare.
    """
    match syntax:
        case Truth(value):
            return "true" if value else "false"
        case Fact(subject, state, negated):
            path = ".".join(subject.parts)
            if state is None:
                return path
            return f"{path} is not {state}" if negated else f"{path} is {state}"
        case Negation(arg):
            text, tightness, bare = f"not {_print(arg, _NOT, last)}", _NOT, True
        case Quantified(quantifier, variable, group, body):
            inner = _print(body, 0, last=True)
            text = f"{quantifier} {variable} in {'.'.join(group.parts)}, {inner}"
            tightness, bare = _PRIMARY, last
        case Chain(operator, args):
            tightness, bare = _TIGHTNESS[operator], True
            # `implies` groups to the right; a chain of the others is flat, so one of the same within is in parentheses
            needs = [tightness + 1] * len(args)
            if operator == "implies":
                needs[-1] = tightness
            elif operator == "or":
                # not needed, but people differ about which of `and` and `or` binds more
                needs = [_NOT] * len(args)
            inside = last or tightness < least
            parts = [
                _print(arg, need, last=inside and at == len(args) - 1)
                for at, (arg, need) in enumerate(zip(args, needs, strict=True))
            ]
            text = f" {operator} ".join(parts)
    return text if bare and tightness >= least else f"({text})"
