"""Cases carried over to like places: guessed where places are alike, and believed only where they keep their word."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from interlock.confirm.recovery import confirm_recovery
from interlock.kernel.expressions import Expr, Is, Not, conj
from interlock.kernel.machine import Actor, Machine, Rule, Variable
from interlock.kernel.recovery import Entry, Recovers, RecoveryQuestion
from interlock.prove.recovery.images import Images
from interlock.prove.recovery.recovery import recover

ROWS = (1, 2, 3)


def rows(odd: int | None = None) -> Machine:
    """A latch per row, raised with the lever at `up` and lowered where no unit stands and a lever is held; of the odd
    row the latch is lowered only while the latch before it is down.
    """
    variables = [Variable("lever", ("neutral", "up", "down"), ("neutral",))]
    rules = [
        Rule(f"lever {way}", Actor.CREW, Not(Is("lever", way)), (("lever", way),)) for way in ("neutral", "up", "down")
    ]
    for row in ROWS:
        variables.append(Variable(f"latch {row}", (False, True), (False,)))
        variables.append(Variable(f"unit {row}", (False, True), (False,)))
        down: Expr = conj(Is("lever", "down"), Is(f"latch {row}", True), Is(f"unit {row}", False))
        if row == odd:
            down = conj(down, Is(f"latch {row - 1}", False))
        up = conj(Is("lever", "up"), Is(f"latch {row}", False))
        rules.append(Rule(f"raise {row}", Actor.CREW, up, ((f"latch {row}", True),)))
        rules.append(Rule(f"lower {row}", Actor.CREW, down, ((f"latch {row}", False),)))
        rules.append(Rule(f"bring {row}", Actor.CREW, Is(f"unit {row}", False), ((f"unit {row}", True),)))
        rules.append(Rule(f"take {row}", Actor.CREW, Is(f"unit {row}", True), ((f"unit {row}", False),)))
    return Machine(tuple(variables), (), tuple(rules))


def lowering(row: int) -> Entry:
    """The lever is put down, then the latch of the row."""
    when = (Is("lever", "up"), Is(f"latch {row}", True), Not(Is(f"unit {row}", True)))
    return Entry(when, ("lever down", f"lower {row}"))


def test_a_case_is_carried_to_every_row() -> None:
    """What the rule names becomes what the like rule names; what all rows share stays."""
    assert set(Images(rows()).of(lowering(1))) == {lowering(2), lowering(3)}


def test_a_row_that_is_otherwise_is_left_out() -> None:
    """A rule with one condition more stands in no like place."""
    assert set(Images(rows(odd=3)).of(lowering(1))) == {lowering(2)}
    assert not set(Images(rows(odd=3)).of(lowering(3)))


def all_down() -> RecoveryQuestion:
    """Every latch can be lowered again."""
    return RecoveryQuestion("down", conj(*(Is(f"latch {row}", False) for row in ROWS)))


@pytest.mark.parametrize("odd", [None, 2, 3])
def test_images_that_do_not_keep_their_word_are_not_taken(odd: int | None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever is offered, however wrong, what is claimed is confirmed."""
    honest = Images.of
    offered: list[Entry] = []

    def wrong(self: Images, entry: Entry) -> Iterator[Entry]:
        for image in honest(self, entry):
            for when, run in ((image.when[:-1], image.rules), (image.when, image.rules[1:]), ((), image.rules)):
                offered.append(Entry(when, run, image.into))
                yield offered[-1]

    monkeypatch.setattr(Images, "of", wrong)
    machine = rows(odd)
    claims = recover(machine, [all_down()])
    (finding,) = confirm_recovery(machine, [all_down()], claims)
    assert isinstance(finding, Recovers)
    assert offered


def test_a_case_of_one_row_serves_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of like rows one has a case of its own planned; the others take its images up."""
    taken: list[Entry] = []
    honest = Images.of

    def seen(self: Images, entry: Entry) -> Iterator[Entry]:
        for image in honest(self, entry):
            taken.append(image)
            yield image

    monkeypatch.setattr(Images, "of", seen)
    machine = rows()
    (claim,) = recover(machine, [all_down()])
    (finding,) = confirm_recovery(machine, [all_down()], [claim])
    assert isinstance(finding, Recovers)
    cases = [entry for stage in finding.claim.recovery.stages for entry in stage.entries]
    assert set(taken) & set(cases)
