"""What governs, at the top of a file that somebody could act upon."""

from __future__ import annotations

from textwrap import wrap

from interlock.report.views.assumptions import CAUTIONS

_WIDTH = 70


def caution_comments() -> list[str]:
    """The cautions as comments, a line each."""
    return [f"# {line}" for caution in CAUTIONS for line in wrap(caution, _WIDTH)]
