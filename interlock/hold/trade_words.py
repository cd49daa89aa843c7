"""Words that mechanics and loaders use, and what each is in a description: the index behind `interlock explain`.

They stand in `trade_words.toml`, with examples written as in the table of codes (`interlock.diagnostics.codes`).  That
they are common words of the trade is common practice, no source.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

from interlock.diagnostics.frozen import frozen


@frozen
class TradeWord:
    """Words for one thing: what it is in a description, an example of that, and what else to ask `explain` (`see`).

    What nobody writes, since the program says it, has no example.
    """

    words: tuple[str, ...]
    about: str
    see: tuple[str, ...]
    example: str


def _word(said: Mapping[str, Any]) -> TradeWord:
    return TradeWord(tuple(said["words"]), " ".join(said["about"].split()), tuple(said["see"]), said.get("example", ""))


_TABLE = tomllib.loads(files("interlock.hold").joinpath("trade_words.toml").read_text(encoding="utf-8"))
TRADE_WORDS = tuple(map(_word, _TABLE["word"]))
"""All of them, in the order of the file."""


def trade_word(text: str) -> TradeWord | None:
    """What a mechanic's word means, however it is written: capitals, hyphens and a plural make no difference."""
    return next((one for one in TRADE_WORDS if plain(text) in map(plain, one.words)), None)


def plain(text: str) -> str:
    """A word as it is compared."""
    text = " ".join(text.casefold().replace("-", " ").replace("_", " ").split())
    return text.removesuffix("es") if text.endswith(("ches", "shes")) else text.removesuffix("s")
