"""Syntax trees of the expressions in a description, as written; names are not resolved here."""

from __future__ import annotations

from typing import Literal, TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span


@frozen
class Path:
    """A dotted name such as `M3L`, `3L.aft` or `3L.aft.devices`; `spans` has one entry per part."""

    parts: tuple[str, ...]
    spans: tuple[Span, ...]


@frozen
class Truth:
    """`true` or `false`."""

    value: bool
    span: Span


@frozen
class Fact:
    """`subject`, `subject is state` or `subject is not state`; without a state the subject is a truth value itself."""

    subject: Path
    state: str | None
    negated: bool
    span: Span
    state_span: Span | None = None


@frozen
class Negation:
    """`not arg`."""

    arg: Syntax
    span: Span


@frozen
class Chain:
    """Arguments joined by one operator.  `implies` always has exactly two."""

    operator: Literal["and", "or", "implies"]
    args: tuple[Syntax, ...]
    span: Span


@frozen
class Quantified:
    """`every x in group: body`, and likewise `some`, `no`, `at most one`."""

    quantifier: Literal["every", "some", "no", "at most one"]
    variable: str
    group: Path
    body: Syntax
    span: Span
    variable_span: Span | None = None


Syntax: TypeAlias = Truth | Fact | Negation | Chain | Quantified


@frozen
class Step:
    """`verb object`, as in `lower M3L`: the steps that an `only if` or `order` requirement speaks of."""

    verb: str
    subject: Path
    span: Span
