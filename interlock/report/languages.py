"""One function for each language of output: a text that somebody wrote becomes a part of it, and stays a text.

Hidden characters are shown by escapes in all of them; what would be read as a sign of the language is escaped by its
own rules.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from interlock.diagnostics.visible import is_hidden, visible

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from jinja2 import Environment

_NOT_PLAIN = re.compile(r"[^\n -~]")
_MARKDOWN_SIGNS = re.compile(r"[\\`*_{}\[\]<>#|~!&$@]|:(?=//)|(?<=www)\.", re.IGNORECASE)
_CSS_SIGNS = frozenset("\"'\\<>&")
_MARKDOWN_STARTS = re.compile(r"\A(\d{1,9}(?=[.)])|(?=[-+=]))")


def in_line(text: str) -> str:
    """For a line of plain text: no line ends either."""
    return " ".join(visible(text).split("\n")).replace("\t", " ")


def plain_values(facts: object, tell: Callable[[str], str] = str) -> Any:
    """Mappings, lists, texts and numbers of the facts, in the order of their declarations.

    Of a text that says more than that (why there is no answer, what can be told in other languages) the text alone, as
    `tell` says it.
    """
    from msgspec import to_builtins

    def plain(value: object) -> str:
        if isinstance(value, str):
            return str(tell(value))
        raise NotImplementedError(type(value).__name__)

    return to_builtins(facts, enc_hook=plain)


def in_json(document: Any) -> str:
    """The values as JSON, indented; only what is hidden is escaped.  Ends with a line end."""
    text = json.dumps(document, indent=1, ensure_ascii=False)
    # outside of its strings JSON has line ends and ASCII only
    return _NOT_PLAIN.sub(lambda found: json.dumps(found[0])[1:-1] if is_hidden(found[0]) else found[0], text) + "\n"


def in_sarif(document: Any) -> str:
    """The values as JSON for a program that shows their texts as they are: hidden signs are shown by escapes."""
    return in_json(_shown(document))


def in_sarif_message(text: str) -> str:
    """A plain text message of SARIF 2.1.0: a brace is no placeholder (3.11.5), a bracket begins no link (3.11.6)."""
    return visible(text).replace("{", "{{").replace("}", "}}").replace("](", "] (")


def in_uri(file: str) -> str:
    """The name of a file as a URI, where it is relative as a reference to one (RFC 3986, 4.2; RFC 8089, 2)."""
    from pathlib import PurePosixPath
    from urllib.parse import quote

    escaped = quote(file, errors="surrogateescape")
    return f"file://{escaped}" if PurePosixPath(file).is_absolute() else escaped


def in_xml(root: Element) -> str:
    """The element and all in it as a document of XML 1.0, indented; what is hidden is shown by escapes, and with it
    whatever XML cannot hold."""
    from xml.etree.ElementTree import indent, tostring

    for element in root.iter():
        element.text = None if element.text is None else visible(element.text)
        for name, value in element.items():
            element.set(name, visible(value))
    indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="unicode") + "\n"


def in_script(document: Any) -> str:
    """The values as JSON for a page to read, on one line: nothing in it ends the element that it stands in, and what is
    hidden in a text is shown by escapes."""
    text = json.dumps(_shown(document), ensure_ascii=False, separators=(",", ":"))
    # in JSON these stand in strings only
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _shown(document: Any) -> Any:
    if isinstance(document, str):
        return visible(document)
    if isinstance(document, dict):
        return {name: _shown(value) for name, value in document.items()}
    return [_shown(one) for one in document] if isinstance(document, list | tuple) else document


def in_markdown(text: str) -> str:
    """For a paragraph, a list item or a cell of a table, in CommonMark and the dialect with tables and ~~ for struck
    through; nothing in it is a link, a mark or a block of its own."""
    flat = " ".join(visible(text).split())
    return _MARKDOWN_STARTS.sub(r"\1\\", _MARKDOWN_SIGNS.sub(r"\\\g<0>", flat))


def in_csv(text: str) -> str:
    """A quoted cell of comma-separated text; what a spreadsheet would take for a formula begins with an apostrophe."""
    flat = in_line(text)
    return '"' + ("'" * flat.startswith(("=", "+", "-", "@"))) + flat.replace('"', '""') + '"'


def in_dot(text: str) -> str:
    """For a label in DOT: a backslash is a backslash, and an angle bracket begins no markup."""
    import graphviz

    return str(graphviz.escape(visible(text)))


def in_yaml(text: str) -> str:
    """A double-quoted text of YAML."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(f"\\U{ord(sign):08x}" if is_hidden(sign) else sign for sign in escaped) + '"'


def in_css(text: str) -> str:
    """Within a quoted text of a style sheet that stands in a page: what could end either is escaped by its number."""
    return "".join(f"\\{ord(sign):x} " if sign in _CSS_SIGNS else sign for sign in in_line(text))


def html_environment(tell: Callable[[str], str] = str) -> Environment:
    """Templates of pages: whatever is filled in is told by `tell`, visible and escaped, but for what is marked as
    markup."""
    from jinja2 import Environment, StrictUndefined

    return Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: (
            visible(tell(value)) if isinstance(value, str) and not hasattr(value, "__html__") else value
        ),
    )
