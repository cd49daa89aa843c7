"""Options for any hold, drawn by lot from what it has: things fixed, circuits rewired, other sensors, other floors."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator

from interlock.hold.kinds import DEVICE_KINDS, Working
from interlock.hold.language.model import Hold
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Chain

HEAD = "interlock: 1\ntitle: With options\nmodifies: {base}\nchanges:\n  - add:\n      options:\n"


def options_text(hold: Hold, base: str, seed: int, count: int) -> str:
    """A modification of the hold in the file `base` that adds so many options, no two of them about the same field."""
    draw = random.Random(seed)
    known = list(_options(hold))
    draw.shuffle(known)
    lines = [HEAD.format(base=base)]
    for number, change in enumerate(known[:count], 1):
        lines.append(f"        - {{id: option{number}, name: option {number}, changes: [{json.dumps(change)}]}}\n")
    return "".join(lines)


def _options(hold: Hold) -> Iterator[object]:
    for device in hold.devices:
        if device.fixed is None and DEVICE_KINDS[device.kind].working is Working.HAND:
            for state in DEVICE_KINDS[device.kind].states[:1]:
                yield {"fix": device.id, "in": state}
    for control in hold.controls:
        if control.fixed is None and control.kind in ("switch", "selector"):
            yield {"fix": control.id, "in": control.positions[0]}
    for circuit in hold.circuits:
        definition = circuit.definition
        if isinstance(definition, Chain) and len(definition.args) > 1:
            kept = [print_syntax(arg) for arg in definition.args[1:]]
            yield {"change": circuit.id, "to": {"is": f" {definition.operator} ".join(f"({text})" for text in kept)}}
        else:
            yield {"change": circuit.id, "to": {"is": f"({print_syntax(definition)}) or never"}}
    for sensor in hold.sensors[:6]:
        yield {"change": sensor.id, "to": {"reads": f"not ({print_syntax(sensor.reads)})"}}
    yield {"change": "layout", "to": {"drift": ["aft"]}}
    yield {"change": "layout", "to": {"neighbour_restrains": "true"}}
    for supply in hold.supplies:
        yield {"change": supply.id, "to": {"may_be_lost": "false"}}
