"""Whatever a mechanic asks for is found, and each example of it is a description that can be used."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from interlock import cli
from interlock.cli import COMMANDS
from interlock.diagnostics.codes import CODES, Severity, severity_of
from interlock.hold.language.parser import KEYWORDS
from interlock.hold.language.references import BUILT_IN_GROUPS
from interlock.hold.said_words import DEEDS, EXPRESSIONS, FACTS, GROUPS, PARTS, all_words, said_word
from interlock.hold.said_words import plain as plain_word
from interlock.hold.sorts import FAILURE_MODES
from interlock.hold.trade_words import TRADE_WORDS, TradeWord, plain, trade_word
from interlock.report.drawing.lifecycle import kinds_drawn
from tests.agreement.hold_texts import compile_file
from tests.repo.test_codes import codes_of
from tests.some import some, swept

ASKED_FOR = [
    ("press-to-split", "can_be_pressed"),
    ("half", "bays: 1R"),
    ("Inboard", "lane: L"),
    ("in", "door: D1"),
    ("overridable", "gives_way"),
    ("push button", "kind: push button"),
    ("momentary", "returns: off"),
    ("toggle", "kind: switch"),
    ("hydraulic", "needs: GP is on"),
    ("accumulators", "stored: true"),
    ("three bays", "across"),
    ("taper", "centred"),
    ("pushing", "reaches"),
    ("full-width", "CG is covered"),
    ("Overridable latches", "held_down"),
    ("brakes", "drift"),
    ("trapped key", "reachable"),
    ("time delay", "stored"),
    ("MEL", "defer"),
    ("door sill", "D1-1R"),
    ("vertical restraint", "restrains: [y, z]"),
    ("load plan", "interlock checklist"),
    ("nose door", "side: fore"),
    ("handover", "owns: SEL is door"),
    ("stop", "kind: fixed stop"),
]


@pytest.mark.parametrize(("asked", "said"), ASKED_FOR)
def test_a_mechanics_word_is_found(asked: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """However it is written; what is printed fits the screen and names what is written in a description."""
    assert cli.run(["explain", asked]) == 0
    out = capsys.readouterr().out
    assert said in out
    assert all(len(line) <= 80 for line in out.splitlines())


def test_every_example_fits_the_screen() -> None:
    """80 columns less the margin: the lines of an example are never broken."""
    assert all(len(line) <= 76 for word in TRADE_WORDS for line in word.example.splitlines())


@pytest.mark.parametrize("word", swept(TRADE_WORDS, 2), ids=lambda word: word.words[0])
def test_each_example_is_sound_and_each_hint_leads_somewhere(
    word: TradeWord, capsys: pytest.CaptureFixture[str]
) -> None:
    """No example has a fault, doubts aside; whatever is to be seen is explained, and shown with the word."""
    assert not {code for code in codes_of(word.example) if severity_of(code) is Severity.ERROR}
    assert cli.run(["explain", word.words[0]]) == 0
    out = " ".join(capsys.readouterr().out.split())
    for one in word.see:
        assert f"interlock explain {one}" in out
        assert cli.run(["explain", one]) == 0
        capsys.readouterr()


def test_a_word_means_one_thing() -> None:
    """No word stands in two entries, and none is a code, which would be explained in its place."""
    words = [plain(one) for word in TRADE_WORDS for one in word.words]
    assert len(set(words)) == len(words)
    assert not set(words) & set(CODES)
    assert all(trade_word(one) is word for word in TRADE_WORDS for one in word.words)


def test_the_words_are_listed_and_nearly_right_ones_found(capsys: pytest.CaptureFixture[str]) -> None:
    """`explain words` names all of them; a misspelt word gets the right one offered."""
    assert cli.run(["explain", "words"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert all(one in out for word in TRADE_WORDS for one in word.words)
    assert cli.run(["explain", "hydralic"]) == 2
    assert "'hydraulic'" in capsys.readouterr().err


KINDS = kinds_drawn()
WORDS = [*all_words(KINDS), *COMMANDS, *BUILT_IN_GROUPS, *FAILURE_MODES, *KEYWORDS - {"at", "most", "one"}]


@pytest.mark.parametrize("words", swept((pytest.param(WORDS[start::8], id=str(start)) for start in range(8)), 4))
def test_every_word_of_the_language_is_explained(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Keys, choices, kinds, states, failures, groups, steps, words of expressions and commands: each is found, and what
    is told names it and fits the screen."""
    wrong = []
    for word in some(words):
        code = cli.run(["explain", word])
        out = capsys.readouterr().out
        if code or plain_word(word) not in plain_word(out) or any(len(line) > 80 for line in out.splitlines()):
            wrong.append(word)
    assert wrong == []


@pytest.mark.parametrize("name", ["single-lane", "twin-lane", "main-deck"])
def test_whatever_can_be_said_of_a_hold_is_a_word_of_the_language(name: str) -> None:
    """Every state that something of a hold can be in, and all that stands behind a dot, has a sentence or is declared;
    left out are names that the description gives."""
    compiled = compile_file(f"models/{name}.yaml")
    world = compiled.world
    given = {plain_word(one) for one in world.things}
    for control in compiled.hold.controls:
        given |= {plain_word(state) for state in control.behaviour.states}
        given |= {plain_word(position) for position in control.positions}
    given |= {plain_word(place.id) for place in compiled.hold.places}
    said = {
        state for thing in (*world.things.values(), *world.sides.values()) for state in (*thing.states, *thing.parts)
    }
    # what happens to things: a word that is known, perhaps with what of it behind that
    said |= {next(known_words(verb), verb) for thing in world.things.values() for verb in thing.verbs}
    unsaid = {one for one in said if plain_word(one) not in given and not said_word(one, KINDS).is_known}
    assert len(said) > 80 and unsaid == set()


def known_words(verb: str) -> Iterator[str]:
    """The word, and what stands before its last underscore and so on, where it is known."""
    while verb:
        if said_word(verb, KINDS).is_known:
            yield verb
        verb = verb.rpartition("_")[0]


def test_sentences_are_about_words_that_there_are() -> None:
    """No sentence is about something that the language does not have, and each ends like one."""
    holds = [compile_file(f"models/{name}.yaml").world for name in ("single-lane", "twin-lane", "main-deck")]
    things = [thing for world in holds for thing in (*world.things.values(), *world.sides.values())]
    states = {state for thing in things for state in thing.states} | {"within_limit"}
    parts = {part for thing in things for part in thing.parts}
    verbs = {verb for thing in things for verb in thing.verbs} | {"fail", "heal"}
    assert set(FACTS) <= states and set(PARTS) <= parts and set(GROUPS) == set(BUILT_IN_GROUPS) and set(DEEDS) <= verbs
    sentences = [text for table in (FACTS, PARTS, GROUPS, EXPRESSIONS, DEEDS) for text in table.values()]
    assert [text for text in sentences if not text.endswith((".", "`."))] == []
