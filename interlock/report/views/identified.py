"""Which description something was made from."""

from __future__ import annotations

from interlock.diagnostics.frozen import frozen


@frozen
class Identified:
    """A file of the description, and the SHA-256 of its bytes."""

    file: str
    digest: str
