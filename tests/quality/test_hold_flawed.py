"""The demonstration holds: the sound ones lose nothing, each flawed one loses exactly what is on record, as shortly."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
import yaml

from interlock.hold.tell import Reason, Story
from interlock.kernel.claims import Fails, Limits, Refuted
from interlock.kernel.machine import RequirementKind
from interlock.prove.decide import decide
from interlock.prove.search.bmc import bmc
from interlock.study.verify import Status, Verification, verify
from tests.agreement.hold_texts import ROOT, SOUND, compile_file, standing
from tests.some import swept

EXPECTED: dict[str, dict[str, Any]] = yaml.safe_load((ROOT / "models/flawed/expected.yaml").read_text())
FLAWED = sorted(path.stem for path in (ROOT / "models/flawed").glob("*.yaml") if path.stem != "expected")
MODIFIED = sorted(path.stem for path in (ROOT / "models/modified").glob("*.yaml"))


def weighed(names: list[str]) -> list[Any]:
    """The names as parameters; those that are not about the small hold take more than ten seconds."""
    quick = {name for name, entry in EXPECTED.items() if entry["of"] == "single-lane"} | {"models/single-lane.yaml"}
    return [name if name in quick else pytest.param(name, marks=pytest.mark.slow) for name in names]


@cache
def verified(name: str) -> Verification:
    return verify(compile_file(name, standing()), decide, Limits())


def lost(verification: Verification) -> set[str]:
    assert verification.count(Status.DISPUTED) == 0
    undecided = [a for a in verification.answers if a.status is Status.UNDECIDED]
    # Whether thirty bays can always be emptied is beyond the engine as yet: it says so.
    large = len(verification.compiled.floor.bays) > 12
    assert [a for a in undecided if not large or a.instance.requirement.kind is not RequirementKind.CAN_ALWAYS] == []
    return {a.instance.requirement.id for a in verification.answers if a.status is Status.FAILS}


def told_at_the_end(story: Story) -> str:
    def said(reasons: tuple[Reason, ...]) -> Iterator[str]:
        for reason in reasons:
            yield reason.text
            yield from said(reason.because)

    last = story.steps[-1]
    return "; ".join([last.text, *last.responses, *last.after, *said(story.reached), *said(story.possible)])


def test_every_flawed_hold_is_on_record() -> None:
    """Each file has its entry, and each entry names what it modifies, its flaw and a main requirement that fails."""
    assert sorted(EXPECTED) == FLAWED
    for entry in EXPECTED.values():
        assert entry["of"] in SOUND
        assert entry["flaw"] and entry["words"]
        assert entry["main"] in entry["fails"]
        assert len(set(entry["fails"])) == len(entry["fails"])


@pytest.mark.parametrize("name", swept(FLAWED, 2))
def test_the_main_requirement_fails_by_the_shortest_run_on_record(name: str) -> None:
    """Bounded search, which excludes every shorter run, finds one of exactly that length; its end names the flaw."""
    entry = EXPECTED[name]
    compiled = compile_file(f"models/flawed/{name}.yaml", standing())
    (answer,) = verify(compiled, bmc, Limits(depth=entry["steps"]), chosen=[entry["main"]]).answers
    assert isinstance(answer.finding, Fails)
    assert answer.finding.claim.shortest
    assert answer.finding.claim.trace.depth == entry["steps"]
    assert answer.story is not None
    told = told_at_the_end(answer.story)
    assert [word for word in entry["words"] if word not in told] == [], told


@pytest.mark.parametrize("name", swept(weighed(FLAWED), 2))
def test_a_flawed_hold_loses_exactly_what_is_on_record(name: str) -> None:
    """The default strategy decides every requirement; those that fail are those on record."""
    assert lost(verified(f"models/flawed/{name}.yaml")) == set(EXPECTED[name]["fails"])


@pytest.mark.parametrize("name", weighed(FLAWED))
def test_every_run_against_a_flawed_hold_is_the_shortest(name: str) -> None:
    """No run is longer than it need be, and every failing requirement about what must not be has one."""
    failing = [answer for answer in verified(f"models/flawed/{name}.yaml").answers if answer.status is Status.FAILS]
    assert failing
    for answer in failing:
        if not answer.instance.requirement.kind.is_about_work:
            assert isinstance(answer.finding, Fails)
            assert isinstance(answer.finding.claim, Refuted)
            assert answer.finding.claim.shortest


@pytest.mark.parametrize(
    "name", weighed([f"models/{name}.yaml" for name in SOUND] + [f"models/modified/{name}.yaml" for name in MODIFIED])
)
def test_a_sound_hold_loses_nothing(name: str) -> None:
    """Every standing requirement holds in the demonstration holds and in their acceptable modifications."""
    assert lost(verified(name)) == set()


@pytest.mark.parametrize("name", weighed([f"models/{name}.yaml" for name in SOUND]))
def test_a_sound_hold_holds_nothing_vacuously(name: str) -> None:
    """Every situation that a requirement speaks of arises in the demonstration holds."""
    assert verified(name).count(Status.VACUOUS) == 0
