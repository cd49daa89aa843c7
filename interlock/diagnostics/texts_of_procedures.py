"""Codes of faults in written procedures."""

from __future__ import annotations

from interlock.diagnostics.texts import text

TEXTS = (
    text(
        "mixed-step",
        """A step of a procedure is one action (a text, or `do:` with a note), or a list of steps that belong
        together (`steps:`, with `group:` for their name).  It cannot be both, nor neither, and groups do not nest
        without end.""",
        """
        interlock: 1
        procedure: Shut the door
        hold: base.yaml
        goal: D1 is closed
        steps:
          - {do: close D1, group: Door}
        """,
        """
        interlock: 1
        procedure: Shut the door
        hold: base.yaml
        goal: D1 is closed
        steps:
          - group: Door
            steps: [close D1]
        """,
    ),
    text(
        "not-done-by-hand",
        """The step asks people to do what a drive does.  What can be asked of people is the control that makes the
        drive run, held until the end is reached.""",
        """
        interlock: 1
        procedure: Open the door
        hold: powered.yaml
        goal: D1 is open
        steps:
          - open D1
        """,
        """
        interlock: 1
        procedure: Open the door
        hold: powered.yaml
        goal: D1 is open
        steps:
          - set DS to up
          - wait until D1 is open
        """,
    ),
    text(
        "unknown-action",
        """A step of a procedure begins with one of the words for what people do (raise, set, hold, check and so on) and
        has the form that goes with it; `interlock explain steps` lists them all.  A text with a colon and a blank in
        it needs quotes.""",
        """
        interlock: 1
        procedure: Shut the door
        hold: base.yaml
        goal: D1 is closed
        steps:
          - shut D1
        """,
        """
        interlock: 1
        procedure: Shut the door
        hold: base.yaml
        goal: D1 is closed
        steps:
          - close D1
        """,
    ),
)
