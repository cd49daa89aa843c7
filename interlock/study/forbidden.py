"""The steps that are possible although a requirement forbids them: where a requirement about steps breaks."""

from __future__ import annotations

from interlock.hold.glossary import Glossary
from interlock.kernel.evaluator import State, is_enabled
from interlock.kernel.machine import Machine, Requirement


def forbidden_steps(machine: Machine, glossary: Glossary, requirement: Requirement, state: State) -> tuple[str, ...]:
    """What each possible step that the requirement speaks of is called, in the order of the machine.

    The state must be one that breaks the requirement.  Empty for requirements that speak of states.
    """
    found = (
        glossary.rules[rule.name].text
        for rule in machine.rules
        if rule.name in requirement.steps and is_enabled(machine, rule, state)
    )
    return tuple(dict.fromkeys(found))
