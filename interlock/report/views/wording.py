"""Small pieces of English that several reports share."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.diagnostics.said import Said, joined, say
from interlock.kernel.machine import Actor

PROCEDURAL_WORDS = 20
"""ASD-STE100 5.1: the most words in a sentence of a procedure."""

_PLURALS = {"supply": "supplies", "latch": "latches", "switch": "switches", "person": "people", "memory": "memories"}

ACTORS = {
    Actor.CREW: "crew",
    Actor.MECHANISM: "by itself",
    Actor.PLANT: "equipment",
    Actor.FAILURE: "failure",
}
"""Who acts, in one word; plant is what drives, loaders and supplies do."""

ALREADY = "what the procedure is for is so already"
"""Said in the place of a way to the goal that has no steps."""


def count_of(number: int, noun: str) -> str:
    """`1 bay`, `12 bays`, `12,345 states`; only the last word of the noun is put into the plural."""
    if number == 1:
        return f"1 {noun}"
    head, _, last = noun.rpartition(" ")
    plural = _PLURALS.get(last, last if last.endswith("s") else last + "s")
    return f"{number:,} {head + ' ' if head else ''}{plural}"


def named(id: str, name: str, joint: str = ": ") -> str:
    """`D1: cargo door`; the id alone for what has no other name."""
    return id if name == id else f"{id}{joint}{name}"


def by_itself(response: str) -> str:
    """What the mechanism does, for where `by itself` is said beside it."""
    return response.removesuffix(" by itself")


def sentence(text: str) -> str:
    """With a capital letter at the start and a full stop at the end."""
    if isinstance(text, Said) and text:
        return Said("{text}" if text[-1] in ".!?" else "{text}.", (("text", text),), capital=True)
    text = text.strip()
    if not text:
        return text
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def capital(text: str) -> str:
    """With a capital letter at the start."""
    return Said("{text}", (("text", text),), capital=True)


def ended(text: str) -> str:
    """With a full stop at the end."""
    return text if text.endswith(".") else Said("{text}.", (("text", text),))


def listed(words: Sequence[str], joint: str = "and") -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(words) < 2:
        return words[0] if words else ""
    first, last = joined(words[:-1], ", "), words[-1]
    return (
        say("{first} or {last}", first=first, last=last)
        if joint == "or"
        else say("{first} and {last}", first=first, last=last)
    )


def shortened(words: Sequence[str], most: int) -> str:
    """The first `most` words, and how many more there are."""
    if len(words) <= most:
        return listed(words)
    return say("{words} and {number} more", words=joined(words[:most], ", "), number=len(words) - most)


def seconds_as_text(seconds: float) -> str:
    """`0.4 s`, `3.2 s`, `125 s`: one decimal below 100."""
    return f"{seconds:.1f} s" if seconds < 100 else f"{seconds:.0f} s"


def places_after(text: str, places: Sequence[str]) -> str:
    """The text with the places that it speaks of after it."""
    return f"{text} (for each of {', '.join(places)})" if places else text


def span_of(first: int, last: int) -> str:
    """`2 and 3`, `2 to 5`."""
    return say("{first} and {last}" if last == first + 1 else "{first} to {last}", first=first, last=last)


def words_in(sentence: str) -> int:
    """Words between blanks; a hyphenated word is one."""
    return len([word for word in sentence.split() if any(c.isalnum() for c in word)])
