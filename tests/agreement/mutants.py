"""Files with something wrong in them: sound descriptions, modifications, procedures, requirements, changed at random.

Most of the mutants are made of the tree of the YAML (a part taken away, put elsewhere, exchanged for one of another
file, a word changed), the others of the bytes.  A seed gives the same mutant as long as the files stay the same.
`judge_mutant` takes one through all that a command would do with it, with small limits, and says what went wrong.
"""

from __future__ import annotations

import random
import re
import signal
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any

import yaml

from interlock.diagnostics.codes import CODES, Severity, severity_of
from interlock.diagnostics.render import render_diagnostics
from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.loader import Loaded, Source, load_audited_hold, load_hold, load_procedure, load_specification
from interlock.hold.procedure.binding import bind_procedure, compile_for
from interlock.kernel.claims import Limits
from interlock.prove.decide import decide
from interlock.report.drawing.movegraph import moves_dot
from interlock.report.drawing.plan import plan_svg
from interlock.report.html.audit import audit_html
from interlock.report.json.writing import document
from interlock.report.markdown.audit import audit_markdown
from interlock.report.text.audit import audit_lines
from interlock.report.text.description import description_lines
from interlock.report.text.proof import proof_lines
from interlock.report.text.walk import choice_lines, state_lines, step_lines
from interlock.report.views.audit import audit_view
from interlock.report.views.description import description_view
from interlock.report.views.proof import proof_facts, proof_view
from interlock.report.views.walk import walk_view
from interlock.study.procedure.audit import audit_procedure
from interlock.study.verify import verify
from interlock.study.walk import begin_walk, choices_of, take
from tests.golden.small_hold import REQUIREMENTS, TEXT

ROOT = Path(__file__).parents[2]
SECONDS_PER_MUTANT = 60
"""A mutant that takes longer is recorded as one that hangs; nearly all take hundredths of a second."""
SECONDS_OF_PROOF = 0.1
MOST_BYTES_CHANGED = 6
SORTS = ("description", "modification", "procedure", "specification")


class TookTooLong(BaseException):
    """A mutant did not end in time.  No Exception: what is tried must not take it for one of its own."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """A file that was changed: how a message names it, its bytes and what sort of file it was before."""

    name: str
    sort: str
    content: bytes


@cache
def originals() -> dict[str, tuple[tuple[str, bytes], ...]]:
    """The sound files of each sort, by the names that they have beside one another."""
    models = ROOT / "models"

    def of(*paths: Path) -> tuple[tuple[str, bytes], ...]:
        return tuple((path.relative_to(models).as_posix(), path.read_bytes()) for path in paths)

    small = "interlock: 1\ntitle: Small\nmodifies: small.yaml\nchanges:\n  - {fix: SL, in: lowered}\n  - {remove: RG}\n"
    little = (
        "interlock: 1\nprocedure: Little\nhold: small.yaml\nstart: {D1: closed}\ngoal: D1 is open\nsteps:\n"
        "  - unlock D1\n  - group: Open\n    note: Slowly\n    steps: [unlatch D1, {do: open D1, note: wide}]\n"
    )
    described = sorted((ROOT / "tests" / "teeth" / "described").glob("*.yaml"))
    procedures = sorted((models / "procedures").glob("*.yaml"))
    flawed = [path for path in sorted((models / "flawed").glob("*.yaml")) if path.name != "expected.yaml"]
    return {
        # small files come often: most of what can go wrong shows in them, and soon
        "description": (
            *(("small.yaml", TEXT.encode()),) * 5,
            *of(models / "single-lane.yaml") * 3,
            *of(models / "twin-lane.yaml"),
            *((path.name, path.read_bytes()) for path in described * 2),
        ),
        "modification": (
            *(("small-modified.yaml", small.encode()),) * 8,
            *of(*sorted((models / "modified").glob("*.yaml")), *flawed),
        ),
        "procedure": (*(("small-procedure.yaml", little.encode()),) * 8, *of(*procedures)),
        "specification": (
            *(("asked.yaml", REQUIREMENTS.encode()),) * 3,
            ("standing.yaml", (ROOT / "specs" / "standing.yaml").read_bytes()),
        ),
    }


@cache
def trees() -> dict[str, tuple[Any, ...]]:
    """The originals as trees of mappings, lists and texts."""
    # no text is a number or a date: the language has texts only
    return {
        sort: tuple(yaml.load(content, yaml.BaseLoader) for _, content in files)  # noqa: S506 -- texts only, our own
        for sort, files in originals().items()
    }


@cache
def pool() -> tuple[tuple[str, ...], tuple[Any, ...]]:
    """Every text and every part of the originals, for putting in other places."""
    words: set[str] = set()
    parts: list[Any] = []

    def note(node: Any) -> None:
        if isinstance(node, dict):
            parts.append(node)
            for key, value in node.items():
                words.add(key)
                note(value)
        elif isinstance(node, list):
            parts.append(node)
            for value in node:
                note(value)
        elif node is not None:
            words.add(node)

    for found in trees().values():
        for tree in dict.fromkeys(map(id, found)):
            note(next(one for one in found if id(one) == tree))
    return tuple(sorted(words)), tuple(parts)


ODD_WORDS = (
    *("", " ", "-", "--", "0", "1", "-1", "00", "1.5", "1e9", "99999", "9" * 30, "true", "false", "never", "always"),
    *("none", "null", "~", "yes", "off", "x" * 300, "é", "\u202e", "a.b", "1L..9L", "1C.fore", "1C", "not", "("),
    *("not " * 61 + "x", "(" * 61, "some b in bays, b is occupied", "{r}", "{r+1}", "demo:single-lane", "../x"),
    *("outside", "outside D1", "all", "lowered", "raised", "closed", "open", "latched", "locked", "on", "left", "fore"),
    *("up", "stuck", "inverted", "spring latch", "powered guide resting lowered", "hand", "power", "2C", "PWR"),
)
PIECES = (
    *(b"{", b"}", b"[", b"]", b": ", b", ", b"- ", b"\n", b"  ", b"\t", b"#", b"'", b'"', b"&a ", b"*a", b"!t "),
    *(b"|\n", b">\n", b"? ", b"---\n", b"...\n", b"%YAML 1.1\n", b"{r}", b"for: {r: 1..3}\n", b"\xff", b"\xe2\x80\xae"),
    *(b"\0", b"\r", b" is ", b" not ", b" and ", b" or ", b"every b in bays, ", b"id: ", b"kind: ", b"never", b"true"),
    b"9" * 30,
)


def make_mutant(seed: int) -> Mutant:
    """The mutant of a seed."""
    chance = random.Random(seed)
    sort = SORTS[seed % len(SORTS)]
    at = chance.randrange(len(originals()[sort]))
    name, content = originals()[sort][at]
    if chance.random() < 0.7:
        tree = _copy(trees()[sort][at])
        for _ in range(1 + min(chance.randrange(3), chance.randrange(3), chance.randrange(3))):
            tree = _changed_tree(tree, chance)
        style = chance.choice([None, True, False])
        content = yaml.safe_dump(
            tree, allow_unicode=True, sort_keys=False, default_flow_style=style, width=1_000
        ).encode()
    else:
        for _ in range(1 + min(chance.randrange(4), chance.randrange(4))):
            content = _changed_bytes(content, chance)
    return Mutant(name, sort, content)


def _copy(node: Any) -> Any:
    if isinstance(node, dict):
        return {key: _copy(value) for key, value in node.items()}
    return [_copy(value) for value in node] if isinstance(node, list) else node


def _places(node: Any) -> Iterator[tuple[Any, Any]]:
    """Every (mapping or list, key or index) in a tree."""
    for key, value in node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ():
        yield node, key
        yield from _places(value)


def _changed_tree(tree: Any, chance: random.Random) -> Any:
    places = list(_places(tree))
    if not places:
        return chance.choice(pool()[1])
    holder, key = chance.choice(places)
    match chance.randrange(13):
        case 0:
            del holder[key]
        case 9 | 10:
            # what stands under the same key elsewhere often makes sense here too
            alike = [
                there[other] for there, other in places if other == key and type(there[other]) is type(holder[key])
            ]
            holder[key] = _copy(chance.choice(alike))
        case 1:
            other, place = chance.choice(places)
            if (place in other) if isinstance(other, dict) else (place < len(other)):
                holder[key], other[place] = _copy(other[place]), _copy(holder[key])
        case 2:
            holder[key] = _copy(chance.choice(pool()[1]))
        case 3 if isinstance(holder, list):
            holder.insert(key, _copy(chance.choice(holder)))
        case 4 if isinstance(holder, dict):
            holder[chance.choice(pool()[0])] = holder.pop(key)
        case 5 if isinstance(holder, dict):
            holder[chance.choice(pool()[0])] = _copy(chance.choice(pool()[1]))
        case 6:
            holder[key] = chance.choice([[], {}, [_copy(holder[key])], {"for": {"r": "1..3"}, "id": "{r}"}, None])
        case 7 | 8 if isinstance(holder[key], str):
            holder[key] = _changed_words(holder[key], chance)
        case _:
            holder[key] = chance.choice([*pool()[0], *ODD_WORDS * 5])
    return tree


def _changed_words(text: str, chance: random.Random) -> str:
    """The text with one of its words changed."""
    words = re.split(r"(\W+)", text)
    at = chance.randrange(len(words))
    words[at] = chance.choice([*ODD_WORDS, *pool()[0], "", words[at] * 2, words[chance.randrange(len(words))]])
    return "".join(words)


def _changed_bytes(content: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(content) + 1)
    match chance.randrange(6):
        case 0:
            return content[:at] + content[at + 1 + chance.randrange(MOST_BYTES_CHANGED) :]
        case 1:
            return content[:at] + chance.choice(PIECES) + content[at:]
        case 2:
            return content[:at] + chance.randbytes(1 + chance.randrange(MOST_BYTES_CHANGED)) + content[at + 1 :]
        case 3:
            lines = content.split(b"\n")
            lines.insert(chance.randrange(len(lines)), chance.choice(lines))
            return b"\n".join(lines)
        case 4:
            lines = content.split(b"\n")
            del lines[chance.randrange(len(lines))]
            return b"\n".join(lines)
        case _:
            words = re.split(rb"(\W+)", content)
            words[chance.randrange(len(words))] = chance.choice([*pool()[0], *ODD_WORDS]).encode()
            return b"".join(words)


# ---- what is done with one -----------------------------------------------------------------------------------------


def judge_mutant(seed: int) -> tuple[str, str | None]:
    """What became of the mutant of a seed (refused, or how far it came), and what went wrong, if anything."""
    mutant = make_mutant(seed)
    try:
        with within(SECONDS_PER_MUTANT):
            return _JUDGES[mutant.sort](mutant, random.Random(seed)), None
    except TookTooLong:
        return "hangs", f"not done within {SECONDS_PER_MUTANT} s"
    except Exception:
        return "raises", traceback.format_exc()


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Raises TookTooLong inside where that is not done in time."""

    def late(_: int, frame: FrameType | None) -> None:
        raise TookTooLong

    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def fetch(name: str) -> Source | None:
    """A model, or the small hold."""
    if name.endswith("small.yaml"):
        return Source(name, TEXT.encode())
    path = ROOT / "models" / name
    try:
        return Source(name, path.read_bytes()) if path.is_file() else None
    except (OSError, ValueError):
        return None


@cache
def standing() -> tuple[RequirementText, ...]:
    """The standing requirements."""
    found = load_specification(Source("standing.yaml", (ROOT / "specs" / "standing.yaml").read_bytes())).value
    assert found is not None
    return found


@cache
def sound(name: str) -> Hold:
    """A sound hold."""
    source = fetch(name)
    assert source is not None
    found = load_hold(source, fetch).value
    assert found is not None
    return found


def check_loaded(loaded: Loaded[Any]) -> None:
    """There is a value exactly where there is no fault; every fault is known, has a place, and can be shown."""
    assert (loaded.value is None) == bool(loaded.diagnostics)
    for one in loaded.diagnostics:
        assert severity_of(one.code) is Severity.ERROR
        assert one.code in CODES
        line = loaded.sources[one.span.file][one.span.line - 1]
        assert 1 <= one.span.column <= len(line) + 1
    assert render_diagnostics(loaded.diagnostics, loaded.sources) or loaded.value is not None


def _judge_hold(mutant: Mutant, chance: random.Random) -> str:
    loaded = load_hold(Source(mutant.name, mutant.content), fetch)
    check_loaded(loaded)
    return "refused" if loaded.value is None else _judge_described(loaded.value, chance)


def _judge_described(hold: Hold, chance: random.Random) -> str:
    own = {text.id for text in hold.requirements}
    situation = chance.choice([None, *(one.id for one in hold.situations)])
    given = tuple(text for text in standing() if text.id not in own)
    compilation = compile_hold(hold, given, situation)
    errors = [one for one in compilation.diagnostics if severity_of(one.code) is Severity.ERROR]
    assert (compilation.compiled is None) == bool(errors)
    assert isinstance(render_diagnostics(compilation.diagnostics, {}), str)
    if compilation.compiled is None:
        return "refused when compiled"
    _look_at(compilation.compiled, chance)
    if chance.random() < 0.5:
        return "compiled"
    verification = verify(compilation.compiled, decide, Limits(seconds=SECONDS_OF_PROOF, depth=6))
    proof = proof_view("mutant", verification, (*hold.requirements, *given), 0)
    assert proof_lines(proof, True)
    assert document(proof_facts([proof], {}, 0))
    return "proved"


def _look_at(compiled: CompiledHold, chance: random.Random) -> None:
    """Describe, draw and walk a few steps."""
    assert list(description_lines(description_view("mutant", compiled)))
    assert plan_svg(compiled)
    assert moves_dot(compiled)
    walk = begin_walk(compiled)
    for _ in range(3):
        view = walk_view(walk)
        assert list(state_lines(view))
        choices = choices_of(walk)
        if not choices:
            break
        assert list(choice_lines(view))
        walk = take(walk, chance.choice(choices))
        assert walk_view(walk).step is not None
        assert list(step_lines(walk_view(walk)))


def _judge_procedure(mutant: Mutant, chance: random.Random) -> str:
    loaded = load_procedure(Source(mutant.name, mutant.content))
    check_loaded(loaded)
    if loaded.value is None:
        return "refused"
    described = load_audited_hold(loaded.value, fetch)
    if described.value is None:
        assert render_diagnostics(described.diagnostics, {**described.sources, **loaded.sources})
        return "refused for its hold"
    compilation = compile_for(described.value, loaded.value, standing() if chance.random() < 0.3 else ())
    if compilation.compiled is None:
        assert render_diagnostics(compilation.diagnostics, loaded.sources)
        return "refused when compiled"
    binding = bind_procedure(loaded.value, compilation.compiled)
    if binding.bound is None:
        assert render_diagnostics(binding.diagnostics, loaded.sources)
        return "refused when bound"
    audit = audit_procedure(
        binding.bound, None, Limits(seconds=SECONDS_OF_PROOF), slips=chance.random() < 0.5, together=1
    )
    view = audit_view(audit, "mutant", 0)
    for text in (audit_html(view), audit_markdown(view), document(view.facts)):
        assert text
    assert audit_lines(view, True)
    return "audited"


def _judge_specification(mutant: Mutant, chance: random.Random) -> str:
    loaded = load_specification(Source(mutant.name, mutant.content))
    check_loaded(loaded)
    if loaded.value is None:
        return "refused"
    hold = sound(chance.choice(["small.yaml", "small.yaml", "single-lane.yaml"]))
    own = {text.id for text in hold.requirements}
    compilation = compile_hold(hold, tuple(text for text in loaded.value if text.id not in own))
    if compilation.compiled is None:
        assert render_diagnostics(compilation.diagnostics, loaded.sources)
        return "refused when compiled"
    verification = verify(compilation.compiled, decide, Limits(seconds=SECONDS_OF_PROOF, depth=6))
    assert proof_lines(proof_view("mutant", verification, (*hold.requirements, *loaded.value), 0), True)
    return "proved"


_JUDGES: dict[str, Callable[[Mutant, random.Random], str]] = {
    "description": _judge_hold,
    "modification": _judge_hold,
    "procedure": _judge_procedure,
    "specification": _judge_specification,
}


# ---- the command line ----------------------------------------------------------------------------------------------


def command_of(seed: int, folder: Path) -> list[str]:
    """Writes the mutant of a seed into a folder, beside what it names; gives the command line of some command on it."""
    mutant = make_mutant(seed)
    chance = random.Random(seed)
    path = folder / mutant.name
    path.parent.mkdir(parents=True, exist_ok=True)
    for _, files in sorted(originals().items()):
        for name, content in files:
            if name != mutant.name and not (folder / name).exists():
                (folder / name).parent.mkdir(parents=True, exist_ok=True)
                (folder / name).write_bytes(content)
    path.write_bytes(mutant.content)
    name = mutant.name
    if mutant.sort == "procedure":
        layout = chance.choice(["text", "json", "markdown", "html"])
        return ["audit", name, "--time", "1", "--no-interlock", "--format", layout]
    if mutant.sort == "specification":
        asked = ["--no-standing", "--requirements", name, "--time", "0.5"]
        return chance.choice([["requirements", name, "-v"], ["prove", "small.yaml", *asked]])
    return chance.choice(
        [
            ["prove", name, "--time", "0.5", "--format", chance.choice(["text", "json"])],
            ["describe", name],
            ["draw", name, "--what", chance.choice(["plan", "moves"])],
            ["count", name, "--states", "1000"],
            ["walk", name, "--do", "1,1"],
            ["checklist", name, "--goal", "D1 is open", "--time", "1", "--format", chance.choice(["text", "html"])],
        ]
    )
