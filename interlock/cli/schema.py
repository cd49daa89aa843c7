"""`interlock schema`: JSON Schemas for editors and for programs that read results."""

from __future__ import annotations

import json
from pathlib import Path

import click

from interlock.cli.screen import Screen, output_option


@click.command(
    name="schema",
    help="Print the JSON Schema (draft-07) of description and requirement files, for editors, or of the JSON result "
    "of 'prove'.",
)
@click.argument("what", type=click.Choice(["description", "result"]), default="description")
@output_option
def command(what: str, output: Path | None) -> int:
    """Prints one of the two."""
    from interlock.hold.json_schema import hold_schema
    from interlock.report.proof_schema import PROOF_SCHEMA

    schema = hold_schema() if what == "description" else PROOF_SCHEMA
    screen = Screen(output, "never")
    screen.text(json.dumps(schema, indent=2) + "\n")
    screen.close()
    return 0
