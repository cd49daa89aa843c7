"""The evidence about ways back and dead ends, checked as its README tells a stranger to: from the texts alone."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from typing import Any

import pytest
import z3

from interlock.confirm.evidence import evidence_files, way_folder
from interlock.confirm.recovery import RecoveryFinding, confirm_recovery, recovery_obligations
from interlock.confirm.smtlib import safe_obligation, start_obligation, step_obligation
from interlock.kernel.claims import Certificate, Disputed, Holds, Proved, Trace, Undecided, Unknown
from interlock.kernel.expressions import TRUE, Is, conj
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.kernel.recovery import (
    DeadEnd,
    Entry,
    HasDeadEnd,
    Recoverable,
    Recovers,
    Recovery,
    RecoveryQuestion,
    Stage,
    restarted,
)
from interlock.prove.recovery.recovery import recover

from .judging import BY_CASES
from .random_machines import random_way_back
from .test_confirm_evidence import Stranger

SEEDS = range(16)


@cache
def case(seed: int) -> tuple[Machine, RecoveryQuestion, RecoveryFinding]:
    machine, question = random_way_back(seed)
    (finding,) = confirm_recovery(machine, [question], recover(machine, [question], BY_CASES))
    return machine, question, finding


class Walker(Stranger):
    """A stranger who also goes through all states that can be reached, by the JSON alone."""

    def firing(self, values: dict[str, Any], *, failures: bool) -> list[dict[str, Any]]:
        return [
            values | rule["update"]
            for rule in self.rules.values()
            if (failures or rule["actor"] != "failure") and self.is_true(rule["guard"], values)
        ]

    def reached(self, start: list[dict[str, Any]], *, failures: bool) -> list[dict[str, Any]]:
        met = {repr(values): values for values in start}
        waiting = list(start)
        while waiting:
            for after in self.firing(waiting.pop(), failures=failures):
                if repr(after) not in met:
                    met[repr(after)] = after
                    waiting.append(after)
        return list(met.values())

    def initial(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = [{}]
        for variable in self.machine["variables"]:
            found = [values | {variable["name"]: value} for values in found for value in variable["init"]]
        return [values for values in found if self.is_true(self.machine["start"], values)]

    def measure(self, parts: Any, values: dict[str, Any]) -> list[int]:
        return [sum(w for x, v, w in part if self.is_true(["is", x, v], values)) for part in parts]

    def applies(self, one: Any, values: dict[str, Any]) -> bool:
        return all(self.is_true(fact, values) for fact in one["when"])

    def comes_on(self, stage: Any, before: Any, values: dict[str, Any]) -> bool:
        """In the state some case is so, and every case that is so leads on as the README says."""
        all_cases = stage["cases"]
        cases = [(at, one) for at, one in enumerate(all_cases) if self.applies(one, values)]
        for at, one in cases:
            after = values
            for name in one["rules"]:
                rule = self.rules[name]
                if rule["actor"] == "failure" or not self.is_true(rule["guard"], after):
                    return False
                after = after | rule["update"]
            now, then = (self.measure(stage["measure"], which) for which in (values, after))
            into = one["into"]
            smaller = then < now or (then == now and into in range(at) and self.applies(all_cases[into], after))
            if not (self.is_true(stage["goal"], after) or (smaller and self.is_true(before, after))):
                return False
        return bool(cases)


def all_unsat(files: Mapping[str, str]) -> bool:
    for name, text in files.items():
        if name.endswith(".smt2"):
            context = z3.Context()
            said = str(z3.Z3_eval_smtlib2_string(context.ref(), text)).split()
            if said != ["unsat"] * text.count("(check-sat)"):
                return False
    return True


@pytest.mark.parametrize("seed", SEEDS)
def test_stranger_can_check_ways_back_and_dead_ends(seed: int) -> None:
    """From the texts alone: every case leads on from every state, or nothing leads on from the end."""
    machine, question, finding = case(seed)
    files = evidence_files(machine, [], [], [(question, finding)])
    (row,) = json.loads(files["findings.json"])["findings"]
    stranger = Walker(files)
    folder = {name.split("/")[1]: text for name, text in files.items() if name.startswith(f"{row['evidence']}/")}
    assert (row["question"], row["evidence"]) == (question.id, "way-back-1")
    assert all_unsat(folder)
    if isinstance(finding, Recovers):
        assert row["finding"] == "recovers"
        stages = json.loads(folder.pop("ways.json"))["stages"]
        numbered = [f"stage-{number}.smt2" for number in range(1, len(stages) + 1)]
        assert sorted(folder) == sorted(["start.smt2", "step.smt2", *numbered, "goal.smt2"])
        for values in stranger.reached(stranger.initial(), failures=True):
            before: Any = True
            for stage in stages:
                if stranger.is_true(before, values) and not stranger.is_true(stage["goal"], values):
                    assert stranger.comes_on(stage, before, values)
                before = stage["goal"]
            assert stranger.is_true(row["goal"], values) or not stranger.is_true(before, values)
    else:
        assert row["finding"] == "traps"
        assert sorted(folder) == ["safe.smt2", "start.smt2", "step.smt2", "trace.json"]
        trace = json.loads(folder["trace.json"])
        assert trace["question"] == question.id
        assert stranger.replays(trace)
        values = dict(pair for one in trace["initial"] for pair in one.items())
        for step in trace["steps"]:
            values = values | step["changed"]
        ends = stranger.reached([values], failures=False)
        assert not any(stranger.is_true(row["goal"], end) for end in ends)


def test_both_kinds_are_met_and_some_take_work() -> None:
    """The drawn machines have ways back and dead ends, some with cases, one with a run to its end."""
    findings = [case(seed)[2] for seed in SEEDS]
    claims = [finding.claim for finding in findings if isinstance(finding, Recovers | HasDeadEnd)]
    assert len(claims) == len(findings)
    cases = [c for c in claims if isinstance(c, Recoverable) and any(stage.entries for stage in c.recovery.stages)]
    runs = [c for c in claims if isinstance(c, DeadEnd) and c.trace.depth]
    assert len(cases) > 4 and runs


LAMP = Machine(
    (Variable("lamp", ("off", "on"), ("off",)), Variable("fuse", ("whole", "blown"), ("whole",))),
    (),
    (
        Rule("light", Actor.CREW, conj(Is("lamp", "off"), Is("fuse", "whole")), (("lamp", "on"),)),
        Rule("dark", Actor.CREW, Is("lamp", "on"), (("lamp", "off"),)),
        Rule("blow", Actor.FAILURE, Is("lamp", "on"), (("fuse", "blown"), ("lamp", "off"))),
    ),
)
LIT = RecoveryQuestion("lit", Is("lamp", "on"))
DARK = RecoveryQuestion("dark", Is("lamp", "off"))


def test_each_way_back_has_its_folder_and_its_row() -> None:
    """Rows follow those of the questions, with what was claimed by whom; only what was found has a folder."""
    asked = [DARK, LIT, RecoveryQuestion("open", Is("lamp", "on")), RecoveryQuestion("wrong", Is("lamp", "on"))]
    recovers, traps = recover(LAMP, [DARK, LIT])
    assert isinstance(recovers, Recoverable) and isinstance(traps, DeadEnd)
    wrong = DeadEnd("wrong", "some engine", Trace(("blow",), ((0, 0), (0, 0))), traps.certificate)
    found = confirm_recovery(LAMP, asked, [recovers, traps, Unknown("open", "some engine", "tired"), wrong])
    assert [type(finding) for finding in found] == [Recovers, HasDeadEnd, Undecided, Disputed]
    question = Question("never", Is("fuse", "blown"))
    held = Holds("never", Proved("never", "counter", None, states=3), "a second count")
    files = evidence_files(LAMP, [question], [held], list(zip(asked, found, strict=True)), {"aside.txt": "read\n"})
    first, *rows = json.loads(files["findings.json"])["findings"]
    assert first == {
        "question": "never",
        "finding": "holds",
        "engine": "counter",
        "checked_by": "a second count",
        "states": 3,
        "target": ["is", "fuse", "blown"],
    }
    lit = ["is", "lamp", "on"]
    checked = [finding.checked_by for finding in found if isinstance(finding, Recovers | HasDeadEnd)]
    said = {"finding": "recovers", "engine": recovers.engine, "checked_by": checked[0], "evidence": "way-back-1"}
    assert rows[0] == {"question": "dark", **said, "goal": ["is", "lamp", "off"]}
    said = {"finding": "traps", "engine": traps.engine, "checked_by": checked[1], "evidence": "way-back-2"}
    assert rows[1] == {"question": "lit", **said, "goal": lit}
    assert rows[2] == {"question": "open", "finding": "undecided", "reason": "tired", "goal": lit}
    assert rows[3]["finding"] == "disputed" and "may not fire" in rows[3]["reason"]
    folders = {name.split("/")[0] for name in files if "/" in name}
    assert folders == {way_folder(1), way_folder(2)}
    assert files["aside.txt"] == "read\n" and "  aside.txt\n" in files["MANIFEST.sha256"]
    for obligation in recovery_obligations(LAMP, DARK, recovers.recovery):
        assert files[f"way-back-1/{obligation.name}.smt2"] == obligation.text
    again = restarted(LAMP, traps.trace.states[-1])
    for obligation in (
        start_obligation(again, traps.certificate),
        step_obligation(again, traps.certificate),
        safe_obligation(again, traps.certificate, [Question("lit", LIT.goal)]),
    ):
        assert files[f"way-back-2/{obligation.name}.smt2"] == obligation.text


def test_lists_of_one_line_each() -> None:
    """A part that lists objects has a line for each, and any other part is on one line: two files can be compared."""
    lines = evidence_files(LAMP, [], [])["machine.json"].splitlines()
    assert sum(line.lstrip().startswith('{"name": ') for line in lines) == 2 + 3
    assert '"signals": [],' in lines


STAIRS = Machine(
    (Variable("step", (0, 1, 2), (2,)),),
    (),
    (
        Rule("up", Actor.CREW, TRUE, (("step", 2),)),
        Rule("down", Actor.CREW, Is("step", 2), (("step", 1),)),
        Rule("off", Actor.CREW, Is("step", 1), (("step", 0),)),
    ),
)
FOOT = RecoveryQuestion("foot", Is("step", 0))
FIRST, SECOND = Entry((Is("step", 1),), ("off",)), Entry((Is("step", 2),), ("down",))


def on_the_stairs(*cases: Entry) -> RecoveryFinding:
    stage = Stage(FOOT.goal, ((("step", 1, 1), ("step", 2, 2)),), cases)
    claim = Recoverable("foot", "some engine", Recovery(Certificate(()), (stage,)))
    (finding,) = confirm_recovery(STAIRS, [FOOT], [claim])
    return finding


@pytest.mark.parametrize("wrong", [Entry(SECOND.when, ("off",)), Entry(SECOND.when, ("down", "up"))])
def test_each_case_is_checked_by_itself(wrong: Entry) -> None:
    """A case that does not keep its word is seen before or behind one that does: none is taken to be so for another."""
    assert isinstance(on_the_stairs(FIRST, SECOND), Recovers)
    for cases in ((FIRST, wrong), (wrong, FIRST)):
        finding = on_the_stairs(*cases)
        assert isinstance(finding, Disputed) and f"case {cases.index(wrong) + 1} " in finding.what
