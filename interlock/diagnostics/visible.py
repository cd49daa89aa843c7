"""Text that others wrote, file names among it, made safe to look at.

What nobody sees can still do harm: controls steer a terminal, bidirectional controls turn the order of what is read,
characters of no width make two names look alike.  All of these are shown by their escapes.
"""

from __future__ import annotations

import re
import unicodedata

_BLANKS = "\t\n"
_UNSEEN = re.compile("[\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u3164\ufe00-\ufe0f\uffa0\U000e0100-\U000e01ef]")
"""What is shown as nothing although it counts as a letter or a mark: Default_Ignorable_Code_Point of the Unicode
character database (DerivedCoreProperties.txt, from memory) less the categories that `is_hidden` names."""
_HIDDEN_CATEGORIES = frozenset(["Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"])


def is_hidden(letter: str) -> bool:
    """Whether a character is not seen as one: a control, a format, a surrogate, none at all, or one of no width.

    Marks that stand on the letter before them are seen; so are blanks of any width.
    """
    if letter.isascii():
        return not letter.isprintable()
    return unicodedata.category(letter) in _HIDDEN_CATEGORIES or _UNSEEN.match(letter) is not None


def visible(text: str) -> str:
    """The text with an escape in the place of every hidden character but tabs and line feeds."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(_escape(letter) if letter not in _BLANKS and is_hidden(letter) else letter for letter in text)


def _escape(letter: str) -> str:
    code = ord(letter)
    # how Python keeps a byte of a file name that is no UTF-8
    return f"\\x{code - 0xDC00:02x}" if 0xDC80 <= code <= 0xDCFF else letter.encode("unicode_escape").decode()
