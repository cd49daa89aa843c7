"""Collects diagnostics so that one pass over a file tells all its faults."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TypeAlias

from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.spans import Diagnostic, Span

MOST_SHOWN = 500
"""More faults than this are counted, not listed."""

MOST_NAMES_COMPARED = 100_000
"""All hints of one pass together compare no more names than this, so that a hostile file is refused quickly."""


_Key: TypeAlias = tuple[str, Span, str | None]


class Faults:
    """What was found wrong so far.

    A fault of the same code at the same place that expects the same is kept once, since in a repetition the same text
    is read many times.  The first is kept, and told how many more times it occurred.
    """

    def __init__(self) -> None:
        self._first: dict[_Key, Diagnostic] = {}
        self._more: dict[_Key, int] = {}
        self._unlisted: Span | None = None
        """Where the first is that is not listed."""
        self._left_out = 0
        self._compared = 0

    def __bool__(self) -> bool:
        return bool(self._first)

    def add(
        self,
        code: str,
        span: Span,
        message: str,
        expected: str | None = None,
        nearest: str | None = None,
        context: tuple[str, ...] = (),
    ) -> None:
        """Note one fault."""
        self.take([Diagnostic(code, span, message, expected, nearest, context)])

    def take(self, diagnostics: Iterable[Diagnostic]) -> None:
        """Note faults found elsewhere."""
        for one in diagnostics:
            key = (one.code, one.span, one.expected)
            if key in self._first:
                self._more[key] = self._more.get(key, 0) + 1
            elif len(self._first) < MOST_SHOWN:
                self._first[key] = one
            else:
                self._left_out += 1
                self._unlisted = self._unlisted or one.span

    def has(self, code: str) -> bool:
        """Whether a fault of this code was noted."""
        return any(known == code for known, _, _ in self._first)

    def hint(self, word: str, names: Iterable[str]) -> str | None:
        """The known name most like `word`, as long as this pass has not compared too many names already."""
        known = list(names)
        if self._compared + len(known) > MOST_NAMES_COMPARED:
            return None
        self._compared += len(known)
        return nearest_name(word, known)

    def sorted(self) -> tuple[Diagnostic, ...]:
        """All faults by file, line and column."""
        told = []
        for key, one in self._first.items():
            more = self._more.get(key, 0)
            if more and one.context:
                times = "once more" if more == 1 else f"{more} more times"
                context = (*one.context, f"and {times} in the same repetition")
                one = replace(one, context=context)
            told.append(one)
        told.sort(key=lambda one: (one.span.file, one.span.line, one.span.column, one.code))
        if self._unlisted is not None:
            message = f"{self._left_out} more faults are not listed; the first of them is here"
            told.append(Diagnostic("too-many-faults", self._unlisted, message))
        return tuple(told)
