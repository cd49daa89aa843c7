"""`interlock schema`: JSON Schemas for editors and for programs that read results."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

import click

from interlock.cli.screen import output_option, show_whole


@click.command(
    name="schema",
    help="Print the JSON Schema (draft-07) of description, requirement and procedure files, for editors, or of the "
    "JSON results of 'prove' (result), 'audit', 'checklist', 'compare', 'contacts', 'defer', 'describe', 'failures', "
    "'family', 'repair', 'fleet' and 'test'.",
)
@click.argument(
    "what",
    type=click.Choice(
        [
            "description",
            "result",
            "audit",
            "checklist",
            "compare",
            "contacts",
            "defer",
            "describe",
            "failures",
            "family",
            "repair",
            "fleet",
            "test",
        ]
    ),
    default="description",
)
@output_option
def command(what: str, output: Path | None) -> int:
    """Prints one of them."""
    from interlock.hold.json_schema import hold_schema
    from interlock.report.json.writing import schema as schema_of
    from interlock.report.views.audit_facts import AuditFacts
    from interlock.report.views.checklist_facts import Made, Refused
    from interlock.report.views.comparison_facts import ComparisonFacts
    from interlock.report.views.contacts_facts import ContactsFacts
    from interlock.report.views.deferral_facts import DeferralFacts
    from interlock.report.views.description_facts import DescriptionFacts
    from interlock.report.views.facts import Facts
    from interlock.report.views.failures_facts import FailuresFacts
    from interlock.report.views.family_facts import FamilyFacts
    from interlock.report.views.fleet_facts import FleetFacts
    from interlock.report.views.functional_test_facts import FunctionalTestFacts
    from interlock.report.views.proof_facts import ProofFacts
    from interlock.report.views.repair_facts import RepairFacts

    results: Mapping[str, Sequence[type[Facts]]] = {
        "result": (ProofFacts,),
        "audit": (AuditFacts,),
        "checklist": (Made, Refused),
        "compare": (ComparisonFacts,),
        "defer": (DeferralFacts,),
        "describe": (DescriptionFacts,),
        "family": (FamilyFacts,),
        "failures": (FailuresFacts,),
        "contacts": (ContactsFacts,),
        "repair": (RepairFacts,),
        "fleet": (FleetFacts,),
        "test": (FunctionalTestFacts,),
    }
    schema = hold_schema() if what == "description" else schema_of(*results[what])
    return show_whole(json.dumps(schema, indent=2) + "\n", output)
