"""What kernel names are about and how they are said: variables with their values, signals, rules, in trade words."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.origin import Origins
from interlock.kernel.expressions import Value
from interlock.kernel.machine import Actor


@frozen
class Happening:
    """What a rule is to a reader: who acts, what happens, what the mechanism then does by itself.

    `at` is where the thing is described that is acted upon, or that acts; None where it is no single thing.
    """

    actor: Actor
    text: str
    responses: tuple[str, ...]
    at: Span | None


@frozen
class Glossary:
    """`values` by (variable, value); `signals` by name as (said when true, said when false); `rules` by name.

    Every sentence lacks capital letter and full stop.  A variable missing from `values` is internal and not told.
    """

    origins: Origins
    values: Mapping[tuple[str, Value], str]
    signals: Mapping[str, tuple[str, str]]
    rules: Mapping[str, Happening]
