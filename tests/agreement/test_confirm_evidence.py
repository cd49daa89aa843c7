"""The evidence folder, checked as its README tells a stranger to: from the texts alone."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from hashlib import sha256
from random import Random
from typing import Any

import z3
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.confirm.confirm import confirm
from interlock.confirm.evidence import evidence_files
from interlock.kernel.claims import Claim, Disputed, Fails, Holds, Proved, Refuted, Trace, Undecided, Unknown
from interlock.kernel.expressions import FALSE, Is, Not
from interlock.kernel.machine import Machine, Question, Variable

from .machines_confirm import NAMES, a_machine, cube_of, true_certificate, true_in, world_of

seeds = st.integers(0, 10**9)
quick = settings(max_examples=60, deadline=None, derandomize=True)


class Stranger:
    """Knows the README, JSON and nothing of this program."""

    def __init__(self, files: Mapping[str, str]) -> None:
        self.machine = json.loads(files["machine.json"])
        self.signals = {signal["name"]: signal["definition"] for signal in self.machine["signals"]}
        self.rules = {rule["name"]: rule for rule in self.machine["rules"]}

    def is_true(self, formula: Any, values: dict[str, Any]) -> bool:
        if isinstance(formula, bool):
            return formula
        word, *rest = formula
        if word == "is":
            return bool(values[rest[0]] == rest[1] and type(values[rest[0]]) is type(rest[1]))
        if word == "signal":
            return self.is_true(self.signals[rest[0]], values)
        truths = [self.is_true(part, values) for part in rest]
        return {"not": lambda: not truths[0], "and": lambda: all(truths), "or": lambda: any(truths)}[word]()

    def replays(self, trace: Any) -> bool:
        values: dict[str, Any] = {}
        for one in trace["initial"]:
            values |= one
        listed = self.machine["variables"]
        if [v["name"] for v in listed] != list(values) or any(values[v["name"]] not in v["init"] for v in listed):
            return False
        if not self.is_true(self.machine["start"], values):
            return False
        for number, step in enumerate(trace["steps"], start=1):
            rule = self.rules[step["rule"]]
            if step["step"] != number or not self.is_true(rule["guard"], values):
                return False
            after = values | rule["update"]
            if step["changed"] != {name: value for name, value in after.items() if value != values[name]}:
                return False
            values = after
        return self.is_true(trace["target"], values)


def a_study(rng: Random) -> tuple[Machine, list[Question], list[Claim]]:
    """A random machine with true claims of every kind, under names that a file system would not like."""
    machine = a_machine(rng)
    world = world_of(machine)
    certificate = true_certificate(machine, world)
    runs: dict[Any, Trace] = {state: Trace((), (state,)) for state in sorted(world.initial, key=repr)}
    waiting = list(runs)
    while waiting:
        state = waiting.pop(0)
        for rule in machine.rules:
            values = dict(zip((v.name for v in machine.variables), state, strict=True)) | dict(rule.update)
            after = tuple(values.values())
            if true_in(machine, rule.guard, state) and after not in runs:
                runs[after] = Trace((*runs[state].rules, rule.name), (*runs[state].states, after))
                waiting.append(after)
    questions: list[Question] = []
    claims: list[Proved | Refuted | Unknown] = []
    ids = rng.sample(["../up", "a/b", "A/B", "a\\b", "con", "x" * 300, "", ".", "é", *NAMES], len(NAMES))
    for name, state in zip(ids, world.states, strict=False):
        questions.append(Question(name, cube_of(machine, state)))
        if state in world.reachable:
            claims.append(Refuted(name, "test", runs[state], shortest=True))
        elif rng.random() < 0.7:
            claims.append(Proved(name, "test", certificate))
        else:
            claims.append(Proved(name, "test", None, len(world.reachable)))
    return machine, questions, claims


@quick
@given(seeds)
def test_stranger_can_replay_every_trace_and_recheck_every_certificate(number: int) -> None:
    """From the files alone, each trace replays and each query of each certificate is unsat in a solver of one's own."""
    machine, questions, claims = a_study(Random(number))
    findings = confirm(machine, questions, claims)
    files = evidence_files(machine, questions, findings)
    stranger = Stranger(files)
    rows = json.loads(files["findings.json"])["findings"]
    assert [row["question"] for row in rows] == [question.id for question in questions]
    for row, finding in zip(rows, findings, strict=True):
        assert row["finding"] == type(finding).__name__.lower()
        if isinstance(finding, Fails):
            assert stranger.replays(json.loads(files[row["evidence"]]))
        elif isinstance(finding, Holds) and finding.claim.certificate is not None:
            assert all(f"{row['evidence']}/{name}.smt2" in files for name in ("start", "step", "safe"))
        elif isinstance(finding, Holds):
            assert row["states"] == finding.claim.states
    for name, text in files.items():
        if name.endswith(".smt2"):
            announced = re.search(r"must answer unsat; (\d+) of them", text)
            assert announced is not None
            context = z3.Context()
            said = str(z3.Z3_eval_smtlib2_string(context.ref(), text))
            assert said.split() == ["unsat"] * int(announced[1])


@quick
@given(seeds)
def test_file_names_are_safe_and_listed(number: int) -> None:
    """Every name is one or two plain parts, no two differ only in case, and the manifest has the digest of each."""
    machine, questions, claims = a_study(Random(number))
    files = evidence_files(machine, questions, confirm(machine, questions, claims))
    for name in files:
        assert re.fullmatch(r"([a-z0-9-]+/)?[A-Za-z0-9][A-Za-z0-9_.~%-]{0,100}", name)
    assert len({name.lower() for name in files}) == len(files)
    lines = (line.split("  ") for line in files["MANIFEST.sha256"].splitlines())
    listed = {name: digest for digest, name in lines}
    others = {name: sha256(text.encode()).hexdigest() for name, text in files.items() if name != "MANIFEST.sha256"}
    assert listed == others


def test_same_findings_same_texts() -> None:
    """Two machines drawn from one seed give the same evidence, byte for byte."""
    texts = []
    for _ in range(2):
        machine, questions, claims = a_study(Random(3))
        texts.append(dict(evidence_files(machine, questions, confirm(machine, questions, claims))))
    assert texts[0] == texts[1]
    assert list(texts[0]) == list(texts[1])


def test_what_is_not_known_is_said_and_has_no_evidence() -> None:
    """Undecided and disputed findings are listed with their reason, and no file is offered for them."""
    machine = Machine((Variable("n", (0, 1), (0,)),), (), ())
    questions = [Question("open", Is("n", 1)), Question("wrong", Is("n", 1))]
    claims: list[Proved | Refuted | Unknown] = [
        Unknown("open", "test", "ran out of steps"),
        Refuted("wrong", "test", Trace((), ((0,),)), True),
    ]
    findings = confirm(machine, questions, claims)
    assert [type(finding) for finding in findings] == [Undecided, Disputed]
    files = evidence_files(machine, questions, findings)
    rows = json.loads(files["findings.json"])["findings"]
    assert [row["reason"] for row in rows] == ["ran out of steps", "the last state does not satisfy the target"]
    assert sorted(files) == ["MANIFEST.sha256", "README.txt", "findings.json", "machine.json"]


def test_certificates_get_folders_of_their_own() -> None:
    """Questions that share a certificate share a folder, whose safe.smt2 asks for each; others have another folder."""
    machine = Machine((Variable("n", (0, 1, 2), (0,)),), (), ())
    first, second = (true_certificate(machine, world_of(machine)) for _ in range(2))
    questions = [Question(f"q{number}", Is("n", 1 + number % 2)) for number in range(3)]
    claims = [Proved(q.id, "test", c) for q, c in zip(questions, (first, second, first), strict=True)]
    files = evidence_files(machine, questions, confirm(machine, questions, claims))
    rows = json.loads(files["findings.json"])["findings"]
    assert [row["evidence"] for row in rows] == ["certificate-1", "certificate-2", "certificate-1"]
    assert files["certificate-1/safe.smt2"].count("(check-sat)") == 2  # none in the header
    assert "; question q0\n" in files["certificate-1/safe.smt2"]
    assert "; question q2\n" in files["certificate-1/safe.smt2"]


def test_readme_says_what_is_there_and_what_it_defers_to() -> None:
    """The README names every file there is, says what is not proved, and defers to the approved data."""
    machine = Machine((Variable("n", (0, 1), (0,)),), (), ())
    questions = [Question("q", Is("n", 1)), Question("r", Is("n", 0)), Question("s", FALSE)]
    certificate = true_certificate(machine, world_of(machine))
    claims: list[Proved | Refuted | Unknown] = [
        Proved("q", "test", certificate),
        Refuted("r", "test", Trace((), ((0,),)), True),
        Proved("s", "test", certificate),
    ]
    files = evidence_files(machine, questions, confirm(machine, questions, claims))
    readme = files["README.txt"]
    for name in files:
        assert name == "README.txt" or name.split("/")[-1] in readme or name.split("/")[0] in readme
    assert "approved maintenance data" in readme
    assert "approves nothing" in readme
    assert max(map(len, readme.splitlines())) <= 120
    assert readme.isascii()


def test_machine_on_paper_is_the_machine() -> None:
    """A number, a word and a truth value stay what they are in the JSON text."""
    machine = Machine(
        (Variable("n", (1, "1"), ("1",)), Variable("b", (False, True), (True,))), (), (), start=Not(FALSE)
    )
    text = evidence_files(machine, [], [])["machine.json"]
    assert json.loads(text)["variables"] == [
        {"name": "n", "domain": [1, "1"], "init": ["1"]},
        {"name": "b", "domain": [False, True], "init": [True]},
    ]
    assert json.loads(text)["start"] == ["not", False]
