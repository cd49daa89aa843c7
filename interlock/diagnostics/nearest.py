"""The known name most like one that is not known."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import SequenceMatcher, get_close_matches

MOST_COMPARED = 1_000
"""Comparing costs about 12 microseconds a name (measured), so a hint looks at no more names than this."""

OTHER_WORDS = {
    "back": ("aft",),
    "down": ("lowered",),
    "dropped": ("released",),
    "energized": ("energised",),
    "forward": ("fore",),
    "fwd": ("fore",),
    "lateral": ("y",),
    "longitudinal": ("x",),
    "normal": ("stowed",),
    "passing": ("held_by_the_unit",),
    "port": ("left",),
    "press": ("set",),
    "put": ("stow",),
    "put_back": ("stow",),
    "rear": ("aft",),
    "set": ("energised",),
    "shut": ("closed", "close"),
    "starboard": ("right",),
    "turn": ("set",),
    "up": ("raised",),
    "vertical": ("z",),
}
"""Words that people use, by what the language may call it."""
_WORD_END = re.compile(r"[ _-]")
_ALIKE = 0.6
_MUCH_ALIKE = 0.75
_LONG_ENOUGH = 3


def nearest_name(word: str, names: Iterable[str]) -> str | None:
    """The name most like `word`, or None where none is like it.

    A name that differs only in case wins, then what the language calls by another word, then the first that goes on
    where `word` ends.  Of more than MOST_COMPARED names only those that begin like `word` are compared, and of these as
    many whose length is nearest to its own.  Where none is alike, the only one that has `word` among its own words is
    taken.
    """
    known = sorted(set(names))
    folded = word.casefold()
    for name in known:
        if name.casefold() == folded and name != word:
            return name
    for name in OTHER_WORDS.get(folded, ()):
        if name in known:
            return name
    if len(known) > MOST_COMPARED:
        start = folded[:1]
        alike = [name for name in known if name[:1].casefold() == start]
        known = sorted(alike, key=lambda name: abs(len(name) - len(word)))[:MOST_COMPARED]
    longer = [name for name in known if name.casefold().startswith(folded) and _WORD_END.match(name[len(word) :])]
    if longer and len(word) >= _LONG_ENOUGH:
        return longer[0]
    # in short names two letters in common are most of them: nobody mistypes the first letter and much else
    for name in get_close_matches(word[:100], known, n=1, cutoff=_ALIKE):
        if name[:1].casefold() == folded[:1] or SequenceMatcher(None, name, word[:100]).ratio() >= _MUCH_ALIKE:
            return name
    having = [name for name in known if folded in _WORD_END.split(name.casefold())]
    return having[0] if len(having) == 1 else None
