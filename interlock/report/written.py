"""Expressions of a description as people write them."""

from __future__ import annotations

from interlock.hold.syntax import Chain, Fact, Negation, Path, Quantified, Step, Syntax, Truth


def path_as_written(path: Path) -> str:
    """The dotted name."""
    return ".".join(path.parts)


def step_as_written(step: Step) -> str:
    """Verb and object."""
    return f"{step.verb} {path_as_written(step.subject)}"


def as_written(syntax: Syntax) -> str:
    """The expression as text that reads back to the same tree, with brackets wherever `and` meets `or`."""
    if isinstance(syntax, Truth):
        return "true" if syntax.value else "false"
    if isinstance(syntax, Fact):
        subject = path_as_written(syntax.subject)
        if syntax.state is None:
            return subject
        return f"{subject} is {'not ' if syntax.negated else ''}{syntax.state}"
    if isinstance(syntax, Negation):
        return f"not {_inner(syntax.arg)}"
    if isinstance(syntax, Quantified):
        body = as_written(syntax.body)
        return f"{syntax.quantifier} {syntax.variable} in {path_as_written(syntax.group)}: {body}"
    if syntax.operator == "implies":
        first, second = syntax.args
        left = f"({as_written(first)})" if _binds_less(first, "implies") else as_written(first)
        chained = isinstance(second, Chain)
        right = as_written(second) if chained else _inner(second)
        return f"{left} implies {right}"
    return f" {syntax.operator} ".join(
        f"({as_written(arg)})" if _binds_less(arg, syntax.operator) else as_written(arg) for arg in syntax.args
    )


def _inner(syntax: Syntax) -> str:
    text = as_written(syntax)
    return f"({text})" if isinstance(syntax, Chain | Quantified) else text


def _binds_less(arg: Syntax, operator: str) -> bool:
    """Whether the argument needs brackets beside that operator.

    `and` inside `or` needs none to be read back, but gets them: people differ about which binds more.
    """
    if isinstance(arg, Chain):
        return operator != "implies" or arg.operator == "implies"
    return isinstance(arg, Quantified)
