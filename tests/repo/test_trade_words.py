"""Whatever a mechanic asks for is found, and each example of it is a description that can be used."""

from __future__ import annotations

import pytest

from interlock import cli
from interlock.diagnostics.codes import CODES, Severity, severity_of
from interlock.hold.trade_words import TRADE_WORDS, TradeWord, plain, trade_word
from tests.repo.test_codes import codes_of

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
]


@pytest.mark.parametrize(("asked", "said"), ASKED_FOR)
def test_a_mechanics_word_is_found(asked: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """However it is written; what is printed fits the screen and names what is written in a description."""
    assert cli.run(["explain", asked]) == 0
    out = capsys.readouterr().out
    assert said in out
    assert all(len(line) <= 80 for line in out.splitlines())


@pytest.mark.parametrize("word", TRADE_WORDS, ids=lambda word: word.words[0])
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
