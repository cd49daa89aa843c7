"""Which description something was made from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Identified:
    """A file of the description, and the SHA-256 of its bytes."""

    file: str
    digest: str
