"""The page on which a hold is worked takes the same steps as the kernel: every state, every possible step."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from interlock.cli.audit import open_procedure
from interlock.cli.opening import Opened, Rejected, Texts, open_hold, open_texts
from interlock.cli.shipped import demonstrations
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.tell import Reason, reasons
from interlock.kernel.claims import Fails
from interlock.kernel.evaluator import State, evaluate, fire, is_enabled, successors, truths_in
from interlock.kernel.machine import Rule, question_of
from interlock.kernel.recovery import HasDeadEnd
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS
from interlock.report.html.teaching import teaching_html
from interlock.report.views.teaching import TeachingView, teaching_view
from interlock.study.checklist.goals import Load
from interlock.study.checklist.making import Checklist, make_checklist
from interlock.study.procedure.audit import audit_procedure
from interlock.study.verify import Status, verify
from interlock.study.walk import Walk, begin_walk
from tests.agreement.pages import browsed, needs_browser
from tests.golden.small_hold import TEXT
from tests.some import some
from tests.teeth.written_holds import chosen, written

pytestmark = [pytest.mark.browser, needs_browser]

FLAWED = sorted(name for name in demonstrations() if name.startswith("flawed/"))
MULTIPLIER, MODULUS = 48271, 2**31 - 1
"""Park and Miller, Random number generators: good ones are hard to find, 1988, with the multiplier that they prefer
later (1993, from memory); any sequence that both sides can make would do."""
LEG = 8
"""Steps after which a walk begins again elsewhere."""

WALK = """
  const told = JSON.parse(document.getElementById("data").textContent).working;
  function walk(make, data, seed, steps, leg) {
    const machine = make(data), found = [];
    let number = seed, state = null;
    for (let at = 0; at < steps; at++) {
      if (at % leg === 0) state = Uint16Array.from(begins[(at / leg) % begins.length]);
      const truth = machine.truthsIn(state), enabled = machine.enabledIn(truth);
      const truths = at % 10 ? null : [...truth].join("");
      found.push([[...state], enabled, machine.reasons(at % data.rows.length, state, truth, 3), truths]);
      if (!enabled.length) break;
      number = (number * MULTIPLIER) % MODULUS;
      const rule = enabled[number % enabled.length], after = machine.fire(state, rule);
      found[at].push([...state]); // firing leaves the state before as it is
      found[at].push(machine.enabledIn(machine.guardsAfter(truth, after, rule)));
      state = after;
    }
    return found;
  }
""".replace("MULTIPLIER", str(MULTIPLIER)).replace("MODULUS", str(MODULUS))


def walk_script(view: TeachingView, begins: Sequence[State]) -> str:
    places = [view.numbers.state(view.numbers.machine, state) for state in begins]
    return f"const begins = {json.dumps(places)};{WALK}"


@cache
def opened(name: str) -> Opened:
    texts = open_texts((), True)
    assert isinstance(texts, Texts)
    found = open_hold(name, texts, None)
    assert not isinstance(found, Rejected)
    return found


@cache
def view_of(name: str) -> TeachingView:
    return teaching_view(opened(name).compiled, (), None, None)


@cache
def begins_of(name: str) -> tuple[State, ...]:
    """Where walks on a hold begin: at its starts, and on the way to its being filled with each kind of unit."""
    walk = begin_walk(opened(name).compiled)
    found = list(walk.starts)
    for unit in walk.compiled.hold.units:
        made = make_checklist(walk.compiled, Load((("all", unit.id),)))
        assert isinstance(made, Checklist)
        found += [state for step in made.steps for state in step.execution.states]
    return tuple(found)


def walked(walk: Walk, begins: Sequence[State], view: TeachingView, seed: int, steps: int) -> Iterator[list[Any]]:
    """The same walk, as the reference evaluator takes it; at every tenth step the truth of every row."""
    machine, number = walk.machine, seed
    rows = view.numbers.rows.expressions
    state: State = begins[0]
    for at in range(steps):
        if at % LEG == 0:
            state = begins[at // LEG % len(begins)]
        found = list(successors(machine, state))
        why = reasons(machine, walk.compiled.glossary, rows[at % len(rows)], state, 3)
        true = truths_in(machine, state)
        truths = None if at % 10 else "".join(str(int(true(row))) for row in rows)
        possible = [view.numbers.rules[one.name] for one, _ in found]
        places = list(view.numbers.state(machine, state))
        if not found:
            yield [places, possible, plain(why), truths]
            return
        number = number * MULTIPLIER % MODULUS
        state = found[number % len(found)][1]
        then = [view.numbers.rules[one.name] for one, _ in successors(machine, state)]
        yield [places, possible, plain(why), truths, places, then]


def plain(why: Sequence[Reason]) -> list[dict[str, Any]]:
    return [{"text": one.text, "because": plain(one.because)} for one in why]


def check_walk(compiled: CompiledHold, begins: Sequence[State], seed: int, steps: int, folder: Path) -> float:
    """Both sides walk alike; gives which part of the rules could be taken somewhere."""
    view, walk = teaching_view(compiled, (), None, None), begin_walk(compiled)
    begins = begins[:: max(1, len(begins) * LEG // steps)]
    script = f"{walk_script(view, begins)} return walk(makeMachine, told.tables, {seed}, {steps}, {LEG});"
    found = browsed(teaching_html(view), script, folder)
    expected = list(walked(walk, begins, view, seed, steps))
    assert len(found) == len(expected) == steps
    for at, (one, other) in enumerate(zip(found, expected, strict=True)):
        assert one == other, at
    return len({rule for _, enabled, *_ in found for rule in enabled}) / len(walk.machine.rules)


def test_page_takes_the_steps_of_the_kernel(tmp_path: Path) -> None:
    """On a small hold, along a random walk: states, possible steps, and why things are what they are."""
    name = "demo:single-lane"
    assert check_walk(opened(name).compiled, begins_of(name), 7, 600, tmp_path) > 0.7


@pytest.mark.slow
@pytest.mark.parametrize("name", ["demo:single-lane", "demo:twin-lane", "demo:main-deck"])
@pytest.mark.parametrize("seed", [1, 20261126])
def test_page_takes_the_steps_of_the_kernel_on_each_demonstration(name: str, seed: int, tmp_path: Path) -> None:
    """The same along 2,000 steps of each demonstration hold."""
    # a walk that stays at the door would show little
    assert check_walk(opened(name).compiled, begins_of(name), seed, 2_000, tmp_path) > 0.45


@pytest.mark.parametrize("seed", [12_100, *(pytest.param(12_100 + at, marks=pytest.mark.slow) for at in range(1, 15))])
def test_page_takes_the_steps_of_holds_that_nobody_knows(seed: int, tmp_path: Path) -> None:
    """The same on holds written at random."""
    file = tmp_path / "hold.yaml"
    file.write_text(written(chosen(seed)))
    compiled = opened(str(file)).compiled
    assert check_walk(compiled, begin_walk(compiled).starts, seed, 300, tmp_path) > 0.05


def nearest(walk: Walk, allowed: Sequence[Rule], most: int) -> dict[str, int]:
    """How many steps it takes from the start until each rule can fire, as far as so many states show."""
    machine, found = walk.machine, dict[str, int]()
    waiting = [(walk.starts[0], 0)]
    seen = {walk.starts[0]}
    for state, steps in first_of(waiting, most):
        possible = {rule.name: after for rule, after in successors(machine, state)}
        for name in possible:
            found.setdefault(name, steps)
        for rule in allowed:
            after = possible.get(rule.name)
            if after is not None and after not in seen:
                seen.add(after)
                waiting.append((after, steps + 1))
    return found


def first_of(waiting: Sequence[tuple[State, int]], most: int) -> Iterator[tuple[State, int]]:
    """The first so many, those that come meanwhile among them."""
    at = 0
    while at < min(most, len(waiting)):
        yield waiting[at]
        at += 1


def test_page_finds_the_shortest_way_that_so_many_states_show(tmp_path: Path) -> None:
    """For every rule as many steps as a plain search takes, none where that shows none; each way can be gone."""
    file = tmp_path / "hold.yaml"
    file.write_text(TEXT)
    compiled = opened(str(file)).compiled
    view, walk = teaching_view(compiled, (), None, None), begin_walk(compiled)
    start = view.numbers.state(walk.machine, walk.starts[0])
    script = f"""
      const told = JSON.parse(document.getElementById("data").textContent).working, machine = makeMachine(told.tables);
      const all = machine.rules.map((_, at) => at), start = {json.dumps(start)};
      return [3000, 12].map((most) => machine.rules.map(({{guard}}) => {{
        const way = machine.wayTo(start, (_, truth) => truth[guard], all, most);
        if (way === null) return null;
        let state = Uint16Array.from(start);
        for (const rule of way) {{
          if (!machine.truthsIn(state)[machine.rules[rule].guard]) return "a step that cannot be";
          state = machine.fire(state, rule);
        }}
        return machine.truthsIn(state)[guard] ? way.length : "not there";
      }}));
    """
    whole, part = browsed(teaching_html(view), script, tmp_path)
    for found, most in ((whole, 3000), (part, 12)):
        expected = nearest(walk, walk.machine.rules, most)
        assert found == [expected.get(rule.name) for rule in walk.machine.rules]
    assert max(whole) > 2 and None in part


def check_runs(name: str, only: Sequence[str] | None, folder: Path) -> None:
    compiled = opened(name).compiled
    verification = verify(compiled, decide, NO_LIMITS, chosen=only)
    view = teaching_view(compiled, (), verification, None)
    script = """
      const told = JSON.parse(document.getElementById("data").textContent), machine = makeMachine(told.working.tables);
      return told.runs.map((run) => {
        const points = [];
        let state = Uint16Array.from(run.start);
        for (const step of [...run.steps, {rule: null}]) {
          const truth = machine.truthsIn(state);
          const broken = told.working.forbidden.filter((one) => truth[one.row]).map((one) => one.id);
          points.push([[...state], machine.enabledIn(truth), broken]);
          if (step.rule !== null) state = machine.fire(state, step.rule);
        }
        return [run.title, points];
      });
    """
    found = dict(browsed(teaching_html(view), script, folder))
    walk = begin_walk(compiled)
    machine, rules = walk.machine, view.numbers.rules
    failing = [one for one in verification.answers if one.status is Status.FAILS]
    for answer in some(one for one in failing if isinstance(one.finding, Fails | HasDeadEnd)):
        assert isinstance(answer.finding, Fails | HasDeadEnd)
        trace, points = answer.finding.claim.trace, found.pop(answer.instance.requirement.id)
        assert len(points) == len(trace.states)
        for at, (state, enabled, broken) in enumerate(points):
            given = dict(zip((one.name for one in verification.machine.variables), trace.states[at], strict=True))
            values = tuple(given[one.name] for one in machine.variables)
            assert state == list(view.numbers.state(machine, values))
            assert enabled == [rules[one.name] for one in machine.rules if is_enabled(machine, one, values)]
            assert broken == [
                one.requirement.id
                for one in compiled.instances
                if not one.requirement.kind.is_about_work
                and evaluate(machine, question_of(machine, one.requirement).target, values)
            ]
        for (before, after), name in zip(pairwise(trace.states), trace.rules, strict=True):
            assert fire(verification.machine, verification.machine.rule(name), before) == after
        if not answer.instance.requirement.kind.is_about_work:
            assert answer.instance.requirement.id in points[-1][2]
            assert all(answer.instance.requirement.id not in broken for _, _, broken in points[:-1])
    assert not found


def test_page_follows_what_breaks_a_requirement(tmp_path: Path) -> None:
    """Each step of a run against a requirement is possible where it is made, and the requirement breaks at its end."""
    check_runs("demo:flawed/key-not-trapped", None, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("name", FLAWED)
def test_page_follows_every_run_of_the_flawed_holds(name: str, tmp_path: Path) -> None:
    """The same for every run against a requirement of each flawed demonstration."""
    check_runs(f"demo:{name}", None, tmp_path)


def test_page_follows_what_an_audit_found(tmp_path: Path) -> None:
    """Each step of a run that an audit found is possible where it is made; with a hazard, that is broken at its end."""
    models = Path(__file__).parents[2] / "models"
    hold = os.path.relpath(models / "flawed/lock-without-latch.yaml", tmp_path)
    text = (models / "procedures/open-and-shut.yaml").read_text().replace("../twin-lane.yaml", hold)
    procedure = tmp_path / "procedure.yaml"
    procedure.write_text(text)
    bound, _, _ = open_procedure(str(procedure), (), True)
    audit = audit_procedure(bound, None, NO_LIMITS)
    assert audit.slips is not None
    view = teaching_view(bound.compiled, (), None, None, [audit])
    script = """
      const told = JSON.parse(document.getElementById("data").textContent), machine = makeMachine(told.working.tables);
      return told.runs.map((run) => {
        let state = Uint16Array.from(run.start), possible = true;
        for (const step of run.steps) {
          if (step.rule === null) continue;
          possible &&= Boolean(machine.truthsIn(state)[machine.rules[step.rule].guard]);
          state = machine.fire(state, step.rule);
        }
        const truth = machine.truthsIn(state);
        return [possible, told.working.forbidden.filter((one) => truth[one.row]).map((one) => one.id)];
      });
    """
    found = browsed(teaching_html(view), script, tmp_path)
    told = [one for one in audit.slips.results if one.run is not None]
    hazards = [one.hazards for one in sorted(told, key=lambda one: len(one.run.steps if one.run else ()))]
    assert len(found) == len(view.runs) >= len(hazards)
    assert any(hazards)
    assert all(possible for possible, _ in found)
    for (_, broken), those in zip(found[-len(hazards) :], hazards, strict=True):
        assert not those or set(those) & set(broken)


CHANGED_SCRIPTS = (
    ("1 - truth[row[0]]", "truth[row[0]]"),
    ("state[row[0]] === row[1] ? 1 : 0", "state[row[0]] >= row[1] ? 1 : 0"),
    ("case SIGNAL: return truth[row[0]]", "case SIGNAL: return 1"),
    ("if (!truth[row[part]]) return 0; return 1;", "if (!truth[row[part]]) return 1; return 1;"),
    ("if (!truth[row[part]]) return 0; return 1;", "if (!truth[row[part]]) return 0; return 0;"),
    ("if (truth[row[part]]) return 1; return 0;", "return truth[row[part]]; return 0;"),
    ("let at = 0; at < rows.length; at++) truth[at]", "let at = 1; at < rows.length; at++) truth[at]"),
    ("if (needed[at]) for (const part of partsOf(at)) needed[part] = 1;", ""),
    ("for (const one of reads[part]) variables.add(one);", ""),
    ("const found = truth.slice()", "const found = truth.map(() => 0)"),
    ("written.some((one) => variables.has(one))", "written.every((one) => variables.has(one))"),
    ("for (let at = 0; at < rules.length; at++)", "for (let at = 1; at < rules.length; at++)"),
    ("if (truth[rules[at].guard])", "if (!truth[rules[at].guard])"),
    ("Uint16Array.from(state);\n    for (const [variable", "state;\n    for (const [variable"),
    ("of rules[rule].writes) after", "of rules[rule].writes.slice(1)) after"),
    ("after[variable] = value", "after[variable] = 0"),
    ("if (depth < 0) return [];", "if (depth < 1) return [];"),
    ("if (!every && truth[part] !== so) continue;", ""),
    ("if (found.size && !every) break;", ""),
    ("if (inner.length === 1 && inner[0].text === text) inner = inner[0].because;", ""),
)
"""Faults of the evaluator, one at a time."""
CHANGED_DATA = (
    'rows: data.rows.map((row) => row[0] === "and" ? row.slice(0, -1) : row)',
    'rows: data.rows.map((row) => row[0] === "or" ? row.slice(0, -1) : row)',
    'rows: data.rows.map((row) => row[0] === "is" ? ["is", row[1], 0] : row)',
    'rows: data.rows.map((row) => row[0] === "const" ? ["const", 1 - row[1]] : row)',
    "rules: data.rules.map((rule) => ({...rule, writes: rule.writes.slice(0, -1)}))",
    "rules: data.rules.map((rule, at) => ({...rule, guard: data.rules[(at + 1) % data.rules.length].guard}))",
    "rules: [...data.rules].reverse()",
)
"""Faults of what is handed to it."""


def test_faults_of_the_evaluator_are_seen(tmp_path: Path) -> None:
    """What the tests above compare is another with any one of these faults in evaluator or tables."""
    view = view_of("demo:single-lane")
    source = (Path(__file__).parents[2] / "interlock/report/html/evaluator.js").read_text()
    kinds = {row[0] for row in view.working.tables.rows}
    assert kinds == {"const", "is", "not", "and", "or", "signal"}
    scripts = []
    for old, new in CHANGED_SCRIPTS:
        assert source.count(old) == 1, old
        changed = source.replace('"use strict";', "").replace(old, new)
        scripts.append((f"(() => {{ {changed} return makeMachine; }})()", "told.tables"))
    data = "((data) => ({...data, CHANGE}))(told.tables)"
    tables = [("makeMachine", data.replace("CHANGE", change)) for change in CHANGED_DATA]
    variants = [f"() => walk({made}, {given}, 7, 600, {LEG})" for made, given in (*scripts, *tables)]
    script = f"""{walk_script(view, begins_of("demo:single-lane")[::3])}
      const right = JSON.stringify(walk(makeMachine, told.tables, 7, 600, {LEG}));
      return [{", ".join(variants)}].map((work) => {{
        try {{ return JSON.stringify(work()) === right; }} catch (fault) {{ return false; }}
      }});"""
    found = browsed(teaching_html(view), script, tmp_path)
    assert len(found) == len(variants) > 20
    unseen = [(*CHANGED_SCRIPTS, *CHANGED_DATA)[at] for at, same in enumerate(found) if same]
    assert not unseen
