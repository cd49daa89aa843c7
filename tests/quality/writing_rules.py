"""Rules for the language of procedures that a program can check.

The rules are those of ASD-STE100 section 5 and of MIL-DTL-87268D 3.2.2.2 and 3.2.2.3, as public summaries give them;
the standards themselves were not read.
"""

from __future__ import annotations

import re

from interlock.report.views.wording import PROCEDURAL_WORDS, words_in

DESCRIPTIVE_WORDS = 25
"""ASD-STE100: the most words in a sentence that describes."""

VERBS = frozenset(
    [
        *("bring", "close", "hold", "latch", "let", "lock", "lower", "make", "move", "open", "pull", "push", "put"),
        *("raise", "release", "run", "set", "start", "stow", "take", "unlatch", "unlock", "wait"),
    ]
)
"""The verbs that an instruction of ours begins with."""

WHO_GOES = re.compile(r"^the .+ (enters|goes) ", re.IGNORECASE)
"""Where people go is not a command to whoever works the hold: it is told of them."""
CONDITIONS = frozenset(["if", "when", "unless", "while", "before", "after", "once"])
_JOINTS = re.compile(r"(?:,|;|\band\b|\bthen\b)\s+(?:then\s+)?([a-z]+)")


def sentences_in(text: str) -> list[str]:
    """The sentences of a text, each without the blanks around it."""
    return [part.strip() for part in re.split(r"(?<=[.!?])\s+", text.strip()) if part.strip()]


def faults_of_instruction(text: str) -> tuple[str, ...]:
    """What is wrong with one step of a procedure."""
    faults = []
    sentences = sentences_in(text)
    if len(sentences) != 1:
        faults.append("5.2: one instruction to a sentence, one sentence to a step")
    for sentence in sentences:
        if words_in(sentence) > PROCEDURAL_WORDS:
            faults.append(f"5.1: {words_in(sentence)} words; at most {PROCEDURAL_WORDS}")
        command = _after_condition(sentence)
        if command is None:
            faults.append("5.4: a condition comes first, with a comma after it")
            continue
        first = re.sub(r"\W", "", command.split()[0].lower()) if command.split() else ""
        if first not in VERBS and WHO_GOES.search(command) is None:
            faults.append(f"5.3: {first!r} is not one of the verbs of a command")
        if any(word in VERBS for word in _JOINTS.findall(command.lower())):
            faults.append("5.2: two instructions in one sentence")
    return tuple(faults)


def faults_of_statement(text: str) -> tuple[str, ...]:
    """What is wrong with a text that describes, such as a result."""
    return tuple(
        f"{words_in(sentence)} words in a sentence that describes; at most {DESCRIPTIVE_WORDS}"
        for sentence in sentences_in(text)
        if words_in(sentence) > DESCRIPTIVE_WORDS
    )


def faults_of_note(text: str) -> tuple[str, ...]:
    """What is wrong with a note: it gives information and is never a step."""
    steps = [s for s in sentences_in(text) if re.sub(r"\W", "", s.split()[0].lower()) in VERBS]
    return (*faults_of_statement(text), *("5.5: a note gives information only; this is an instruction" for _ in steps))


def faults_of_warning(hazard: str, avoid: str, consequence: str) -> tuple[str, ...]:
    """What is wrong with a warning or caution: hazard first, then how to avoid it, then what follows."""
    faults = [fault for part in (hazard, avoid, consequence) for fault in faults_of_statement(part)]
    if not (hazard and avoid and consequence):
        faults.append("3.2.2.2: a warning gives hazard, avoidance and consequence")
    if hazard and re.sub(r"\W", "", hazard.split()[0].lower()) in VERBS:
        faults.append("3.2.2.2: the hazard comes first")
    if avoid and not avoid.startswith(("Do not ", "Complete ", "Stand clear")):
        faults.append("3.2.2.2: no steps inside a warning but how to avoid the hazard")
    return tuple(faults)


def _after_condition(sentence: str) -> str | None:
    """The command without the condition before it; None where a condition stands elsewhere or lacks its comma."""
    words = [re.sub(r"\W", "", word.lower()) for word in sentence.split()]
    if words and words[0] in CONDITIONS:
        return sentence.partition(", ")[2] or None
    return None if any(word in CONDITIONS for word in words) else sentence
