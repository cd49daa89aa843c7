"""Which files a result was made from, and what made it: whoever signs it can find both again."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from platform import python_version
from typing import Annotated

from msgspec import Meta, convert

from interlock.diagnostics.said import joined, say
from interlock.hold.loader import FileRead, Part
from interlock.report.views.facts import PROGRAM, Facts

_SOLVERS = {"cvc5": "cvc5", "z3": "z3-solver", "python-sat": "python-sat"}
"""What people call each, and under which name it is installed."""
_DIGEST = {"pattern": "^[0-9a-f]{64}$"}
SHORT = 12
"""Digits of a digest that stand for all of it where the whole stands elsewhere on the same paper."""


class FileFacts(Facts, frozen=True):
    """A file that was read."""

    part: Annotated[Part, Meta(description="what it was read for")]
    name: Annotated[str, Meta(description="as it was named")]
    sha256: Annotated[str, Meta(description="SHA-256 of its bytes, hexadecimal", extra_json_schema=_DIGEST)]

    @property
    def short(self) -> str:
        """The first digits of the digest."""
        return self.sha256[:SHORT]


class ToolFacts(Facts, frozen=True):
    """Something that the program works with."""

    name: Annotated[str, Meta(description="what it is called")]
    version: Annotated[str, Meta(description="its version; empty where that is not known")]


class Identification(Facts, frozen=True):
    """What a result was made from."""

    files: Annotated[tuple[FileFacts, ...], Meta(description="every file that was read; none: nothing was")]
    tools: Annotated[tuple[ToolFacts, ...], Meta(description="solvers that are installed, and the interpreter")]

    @property
    def made_with(self) -> str:
        """The program and its tools in one line."""
        tools = [
            f"{one.name} {one.version}" if one.version else say("{tool} of unknown version", tool=one.name)
            for one in self.tools
        ]
        return say("{program}, with {tools}", program=f"{PROGRAM.name} {PROGRAM.version}", tools=joined(tools, ", "))


def identification(read: Iterable[FileRead]) -> Identification:
    """What is told of the files, each once, and of the tools on this machine."""
    return Identification(convert(tuple(dict.fromkeys(read)), tuple[FileFacts, ...], from_attributes=True), _tools())


@cache
def _tools() -> tuple[ToolFacts, ...]:
    solvers = tuple(ToolFacts(name, _version(package)) for name, package in _SOLVERS.items())
    return (*solvers, ToolFacts("Python", python_version()))


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return ""
