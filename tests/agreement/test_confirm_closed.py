"""Sets of states as evidence: what is closed is believed, and nothing else, held against the machine written out."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from random import Random
from time import monotonic

import pytest

from interlock.confirm.confirm import Agreed, Broken, Unchecked, confirm, recheck_diagram
from interlock.kernel.claims import Diagram, Disputed, Holds, Proved
from interlock.kernel.expressions import FALSE, TRUE, And, Is, Not, Ref
from interlock.kernel.machine import Actor, Machine, Question, Rule, Signal, Variable
from interlock.prove.diagrams.saturation import diagrams
from tests.some import swept

from .engines import is_in
from .listing import Listing
from .random_machines import random_case

STEPS = Machine(
    (
        Variable("n", (0, 1, 2), (0,)),
        Variable("lit", (False, True), (False,)),
        Variable("seen", (False, True), (False,)),
    ),
    (Signal("high", Is("n", 2)),),
    (
        Rule("up", Actor.CREW, Is("n", 0), (("n", 1),)),
        Rule("light", Actor.CREW, Is("n", 1), (("lit", True),)),
        Rule("see", Actor.CREW, Ref("high"), (("seen", True),)),
    ),
)
REACHED = Diagram(("n", "lit"), ((1, 0), (1, 1), (2, 3, 0)), 4)
"""(0, out), (1, out), (1, lit); what is seen does not matter."""


def verdict(diagram: Diagram, *targets: Not | Ref | Is | And) -> list[type]:
    return [type(one) for one in recheck_diagram(STEPS, diagram, targets, None)]


def test_a_closed_set_proves_what_it_leaves_out() -> None:
    """What no state of the set satisfies is never reached; what one does is not shown by it."""
    asked = (Ref("high"), And((Is("n", 0), Is("lit", True))), Is("lit", True), Is("seen", True))
    assert verdict(REACHED, *asked) == [Agreed, Agreed, Broken, Broken]


@pytest.mark.parametrize(
    ("nodes", "what"),
    [
        (((0, 1), (1, 1), (2, 3, 0)), "an initial state is not in the set"),
        (((1, 0), (0, 0), (2, 0, 0)), "node 3 does not fit"),
        (((1, 0), (1, 0), (2, 3, 0)), "rule 'light' leads out of the set"),
        (((1, 0), (1, 1), (2, 0, 0)), "rule 'up' leads out of the set"),
        (((1, 0), (1, 1), (2, 3, 5)), "node 4 does not fit"),
        (((1, 0), (1, 1), (2, 3, 4)), "node 4 does not fit"),
        (((1, 0), (1, 1), (2, 3, -1)), "node 4 does not fit"),
        (((1, 0), (1, 1), (2, 3, 1)), "node 4 does not fit"),
        (((1, 0), (1, 1), (2, 3)), "node 4 does not fit"),
        (((1, 0, 0), (1, 1), (2, 3, 0)), "node 2 does not fit"),
    ],
)
def test_other_sets_are_refused_with_the_reason(nodes: tuple[tuple[int, ...], ...], what: str) -> None:
    """One state too few, or children that are no nodes of the next variable, and the set proves nothing."""
    (answer,) = recheck_diagram(STEPS, Diagram(("n", "lit"), nodes, 4), [Ref("high")], None)
    assert isinstance(answer, Broken) and what in answer.what


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"order": ("n", "n")}, "two levels"),
        ({"order": ("n", "nobody")}, "no variable 'nobody'"),
        ({"root": 3}, "not about the first variable"),
        ({"root": 5}, "not about the first variable"),
        ({"root": 1}, "not about the first variable"),
        ({"root": 0}, "an initial state"),
    ],
)
def test_names_and_root_must_fit(change: dict[str, object], what: str) -> None:
    """Every level is about a variable of its own, and the root about the first."""
    (answer,) = recheck_diagram(STEPS, replace(REACHED, **change), [Ref("high")], None)  # type: ignore[arg-type]
    assert isinstance(answer, Broken) and what in answer.what


def test_a_variable_left_out_may_have_any_value() -> None:
    """A guard that only a variable outside the set could make false may be true."""
    guarded = replace(STEPS, rules=(*STEPS.rules, Rule("far", Actor.CREW, Is("seen", True), (("n", 2),))))
    (answer,) = recheck_diagram(guarded, REACHED, [Ref("high")], None)
    assert isinstance(answer, Broken) and "'far'" in answer.what
    everything = Diagram((), (), 1)
    assert [type(one) for one in recheck_diagram(STEPS, everything, [FALSE, TRUE], None)] == [Agreed, Broken]


def test_no_time_is_no_agreement() -> None:
    """Past the deadline nothing is agreed to."""
    (answer,) = recheck_diagram(STEPS, REACHED, [Ref("high")], monotonic() - 1)
    assert isinstance(answer, Unchecked)


def test_a_wrong_set_is_disputed() -> None:
    """The finding says which rule leads out."""
    question = Question("high", Ref("high"))
    right = Proved("high", "a", None, diagram=REACHED)
    assert isinstance(confirm(STEPS, [question], [right])[0], Holds)
    wrong = replace(right, diagram=replace(REACHED, nodes=((1, 0), (1, 0), (2, 3, 0))))
    (finding,) = confirm(STEPS, [question], [wrong])
    assert isinstance(finding, Disputed) and "'light'" in finding.what


@pytest.mark.parametrize("block", swept(range(5), 5))
def test_changed_sets_are_judged_as_they_are(block: int) -> None:
    """One child of one node put elsewhere: agreed to exactly where the set is closed still, seen state by state."""
    seen: Counter[type] = Counter()
    for seed in range(block * 30, block * 30 + 30):
        machine, questions = random_case(seed)
        listing = Listing(machine)
        draw = Random(seed)
        proofs = [claim for claim in diagrams(machine, questions) if isinstance(claim, Proved)]
        targets = {question.id: question.target for question in questions}
        for claim in proofs[:2]:
            assert claim.diagram is not None
            for _ in range(6):
                changed = _changed(draw, claim.diagram)
                inside = {state for state in listing.states if is_in(machine, changed, state)}
                right = listing.initial <= inside
                right = right and all(after in inside for state in inside for _, after in listing.after(state))
                right = right and not inside & listing.where(targets[claim.question])
                (answer,) = recheck_diagram(machine, changed, [targets[claim.question]], None)
                # a node that stands on no way from the root may be refused for a step that no state takes
                assert isinstance(answer, Agreed) <= right, seed
                if _is_trim(changed):
                    assert isinstance(answer, Agreed) == right, seed
                seen[type(answer)] += 1
    assert min(seen[Agreed], seen[Broken]) > 10


def _changed(draw: Random, diagram: Diagram) -> Diagram:
    """With another child at one place, that stands before the node, of the level below it, or none."""
    if not diagram.nodes:
        return diagram
    levels = {1: 0}
    for number, kids in enumerate(diagram.nodes, 2):
        levels[number] = levels[max(kids)] + 1
    at = draw.randrange(len(diagram.nodes))
    changed = list(diagram.nodes[at])
    place = draw.randrange(len(changed))
    changed[place] = draw.choice(
        [0, *(node for node, level in levels.items() if level == levels[at + 2] - 1 and node < at + 2)]
    )
    if not any(changed):
        return diagram
    return replace(diagram, nodes=(*diagram.nodes[:at], tuple(changed), *diagram.nodes[at + 1 :]))


def _is_trim(diagram: Diagram) -> bool:
    """Every node is on some way from the root to 1."""
    seen = {diagram.root}
    for at in range(len(diagram.nodes) + 1, 1, -1):
        if at in seen:
            seen.update(diagram.nodes[at - 2])
    return seen >= set(range(2, len(diagram.nodes) + 2))
