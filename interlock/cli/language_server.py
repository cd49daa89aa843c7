"""The Language Server Protocol over what `interlock.hold.editing` knows of texts.

Here are documents, positions in the client's units, what waits and what is called off; nothing of the language.
"""

from __future__ import annotations

import asyncio
import posixpath
import sys
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial

from lsprotocol import types
from msgspec import DecodeError, json
from pygls import uris
from pygls.lsp.server import LanguageServer

from interlock import __version__
from interlock.cli.edit_work import Flaw, Found, Job
from interlock.cli.reading import DEMO, fetch
from interlock.diagnostics.codes import Severity, severity_of
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.diagnostics.visible import visible
from interlock.hold.editing.completing import Offer, Sort, complete
from interlock.hold.editing.known import Known, know
from interlock.hold.editing.looking import Part, definition_of, outline, references_of, told_at
from interlock.hold.editing.mending import mend
from interlock.hold.editing.renaming import Edit, Refused, files_of, name_to_change, rename
from interlock.hold.language.model import Hold
from interlock.hold.language.nodes import split_lines
from interlock.hold.loader import Source
from interlock.hold.overlay.changes import Modification
from interlock.hold.procedure.model import Procedure
from interlock.report.markdown.hover import hover_markdown

PAUSE_S = 0.15
"""So long after the last change faults are looked for."""
LONG_PAUSE_S = 0.8
"""So long after it a proof begins."""
MOST_ELSEWHERE = 5
"""Faults of other files that are told where they are named."""
SOURCE, PROOF = "interlock", "interlock prove"

_SEVERITIES = {Severity.ERROR: types.DiagnosticSeverity.Error, Severity.WARNING: types.DiagnosticSeverity.Warning}
_KINDS = {
    Sort.KEY: types.CompletionItemKind.Property,
    Sort.CHOICE: types.CompletionItemKind.EnumMember,
    Sort.NAME: types.CompletionItemKind.Variable,
    Sort.STATE: types.CompletionItemKind.Value,
    Sort.WORD: types.CompletionItemKind.Keyword,
    Sort.STEP: types.CompletionItemKind.Function,
}


@dataclass(slots=True)
class _Open:
    """A document that an editor has open: what is known of it, what was found in the background, and what waits."""

    uri: str
    name: str
    version: int | None
    text: str
    known: Known | None = None
    found: Found | None = None
    waiting: asyncio.Task[None] | None = None

    @property
    def is_fresh(self) -> bool:
        return self.known is not None and self.known.source.content == self.content

    @property
    def content(self) -> bytes:
        return self.text.encode("utf-8", "surrogatepass")


def name_of(uri: str) -> str:
    """The name by which files speak of a document: its path; the address itself for what is in no file."""
    path = uris.to_fs_path(uri) if uri.startswith("file:") else None
    return uri if path is None else posixpath.normpath(path.replace("\\", "/"))


class Documents:
    """All that is open, and the units in which the client counts columns."""

    def __init__(self, server: LanguageServer, seconds: float) -> None:
        self._server = server
        self._seconds = seconds
        self._open: dict[str, _Open] = {}
        # texts are read beside the answering, one at a time, so that what is at hand is answered meanwhile
        self._reader = ThreadPoolExecutor(1)
        self._changes = 0

    # --- positions

    def position(self, lines: Sequence[str], line: int, column: int) -> types.Position:
        """A place (from 1, code points) as the client counts it (from 0, units of its encoding)."""
        text = lines[line - 1] if 1 <= line <= len(lines) else ""
        return types.Position(max(0, line - 1), units(text[: max(0, column - 1)], self._encoding))

    def place(self, lines: Sequence[str], at: types.Position) -> tuple[int, int]:
        """Line and column (from 1, code points) of a position of the client."""
        text = lines[at.line] if at.line < len(lines) else ""
        return at.line + 1, characters(text, at.character, self._encoding) + 1

    def range(self, lines: Sequence[str], span: Span) -> types.Range:
        """A stretch of a line as the client counts it."""
        start = self.position(lines, span.line, span.column)
        end = self.position(lines, span.line, span.column + span.length)
        return types.Range(start, end if end.character > start.character else types.Position(end.line, end.character))

    @property
    def _encoding(self) -> str:
        return str(self._server.workspace.position_encoding or "utf-16").lower()

    # --- texts

    def bring(self, name: str) -> Source | None:
        """A file as it is in the editor, else as it is on disk."""
        for one in self._open.values():
            if one.name == name:
                return Source(name, one.content)
        return fetch(name)

    def set(self, uri: str, text: str, version: int | None) -> None:
        """A document is open with this text."""
        one = self._open.get(uri)
        if one is None:
            self._open[uri] = _Open(uri, name_of(uri), version, text)
        else:
            one.text, one.version = text, version
        self.changed(uri)

    def changed(self, uri: str) -> None:
        """What was found of a document, and of those that go by it, is no longer so."""
        self._changes += 1
        mine = self._open[uri].name
        for one in self._open.values():
            if one.uri == uri or (one.known is not None and mine in one.known.reads):
                one.found = None
                if one.uri != uri:
                    one.known = None if one.known is None else replace(one.known, source=Source(one.name, b"\0"))
                self._call_off(one)
                one.waiting = asyncio.ensure_future(self._look(one))

    def changed_on_disk(self) -> None:
        """Files have changed of which nobody knows which documents go by them."""
        for uri in list(self._open):
            self.changed(uri)

    def close(self, uri: str) -> None:
        """A document is no longer open; nothing is told of it any more."""
        one = self._open.pop(uri, None)
        if one is not None:
            self._call_off(one)
            self._server.text_document_publish_diagnostics(types.PublishDiagnosticsParams(uri, []))

    def close_all(self) -> None:
        """Ends what waits or works."""
        for one in self._open.values():
            self._call_off(one)
        self._reader.shutdown(wait=False, cancel_futures=True)

    def _call_off(self, one: _Open) -> None:
        if one.waiting is not None:
            one.waiting.cancel()
            one.waiting = None

    # --- what is known

    def at_hand(self, uri: str) -> Known | None:
        """What is known of a document with its lines as they are now; names may be those of a moment ago."""
        one = self._open.get(uri)
        return None if one is None or one.known is None else replace(one.known, lines=split_lines(one.text))

    async def known(self, uri: str) -> Known | None:
        """What is known of a document as it is now; None where it is not open.  Other things are answered meanwhile."""
        one = self._open.get(uri)
        if one is None or one.is_fresh:
            return None if one is None else one.known
        texts, changes = {other.name: other.content for other in self._open.values()}, self._changes

        def bring(name: str) -> Source | None:
            return Source(name, texts[name]) if name in texts else fetch(name)

        work = partial(know, Source(one.name, one.content), bring, one.known)
        found = await asyncio.get_running_loop().run_in_executor(self._reader, work)
        if changes == self._changes:
            one.known = found
        return found

    async def others(self, uri: str) -> list[Known]:
        """What is known of the other documents that are open."""
        found = [await self.known(other) for other in list(self._open) if other != uri]
        return [known for known in found if known is not None]

    async def _look(self, one: _Open) -> None:
        """Tells faults after a short pause, and what a proof found after a longer one."""
        await asyncio.sleep(PAUSE_S)
        known = await self.known(one.uri)
        if known is None:
            return
        self._tell(one, known)
        is_sound = all(severity_of(fault.code) is not Severity.ERROR for fault in known.faults)
        if not self._seconds or not is_sound or known.sort not in (Hold, Modification, Procedure):
            return
        await asyncio.sleep(LONG_PAUSE_S)
        texts = {other.name: other.text for other in self._open.values()}
        job = Job(one.name, known.sort is Procedure, texts, self._seconds)
        one.found = await work(job)
        self._tell(one, known)

    def _tell(self, one: _Open, known: Known) -> None:
        told = [*self._faults(known), *(() if one.found is None else self._found(known, one.found))]
        params = types.PublishDiagnosticsParams(one.uri, told, one.version)
        self._server.text_document_publish_diagnostics(params)

    def _faults(self, known: Known) -> list[types.Diagnostic]:
        here = [fault for fault in known.faults if fault.span.file == known.source.name]
        elsewhere = [fault for fault in known.faults if fault.span.file != known.source.name]
        return [
            *(self._fault(fault, self.range(known.lines, fault.span)) for fault in here),
            *(self._fault(fault, self._named(known), f"{_at(fault.span)}: ") for fault in elsewhere[:MOST_ELSEWHERE]),
        ]

    def _fault(self, fault: Diagnostic, where: types.Range, before: str = "") -> types.Diagnostic:
        said = [before + fault.message]
        said += [f"expected {fault.expected}"] if fault.expected else []
        said += [f"did you mean '{fault.nearest}'?"] if fault.nearest else []
        text = visible("\n".join([*said, *fault.context]))
        return types.Diagnostic(where, text, _SEVERITIES[severity_of(fault.code)], fault.code, None, SOURCE)

    def _found(self, known: Known, found: Found) -> Iterable[types.Diagnostic]:
        for flaw in found.flaws:
            yield self._flaw(known, flaw)
        top = self._named(known)
        for verdict in found.verdicts:
            where, said = top, verdict.said
            if verdict.file == known.source.name and verdict.line is not None:
                where = self.range(known.lines, _whole_line(known, verdict.line))
            elif verdict.file is not None:
                said = f"{said}\nSee {verdict.file}, line {verdict.line}."
            yield types.Diagnostic(
                where, visible(said), types.DiagnosticSeverity(verdict.grave), verdict.id.partition("[")[0], None, PROOF
            )
        if found.summary:
            yield types.Diagnostic(
                top, visible(found.summary), types.DiagnosticSeverity.Information, "proved", None, PROOF
            )

    def _flaw(self, known: Known, flaw: Flaw) -> types.Diagnostic:
        span = Span(flaw.file, flaw.line, flaw.column, flaw.length)
        here = flaw.file == known.source.name
        where = self.range(known.lines, span) if here else self._named(known)
        said = flaw.message if here else f"{_at(span)}: {flaw.message}"
        return types.Diagnostic(where, visible(said), _SEVERITIES[severity_of(flaw.code)], flaw.code, None, SOURCE)

    def _named(self, known: Known) -> types.Range:
        """Where the text says by which other file it goes, else its title, else its first line."""
        for key in ("modifies", "hold", "title", "procedure"):
            entry = None if known.root is None else known.root.entry(key)
            if entry is not None:
                return self.range(known.lines, entry.key.span)
        return self.range(known.lines, _whole_line(known, 1))

    def edit(self, edits: Iterable[Edit]) -> types.WorkspaceEdit:
        """Edits of files as the client takes them."""
        changes = {}
        for name, ones in files_of(edits).items():
            source = self.bring(name)
            lines = split_lines("" if source is None else source.content.decode("utf-8", "replace"))
            changes[self.address(name)] = [types.TextEdit(self.range(lines, one.span), one.text) for one in ones]
        return types.WorkspaceEdit(changes=changes)

    def location(self, span: Span) -> types.Location | None:
        """A place in a file; None in what comes with the program and lies nowhere in particular."""
        if span.file.startswith(DEMO):
            return None
        source = self.bring(span.file)
        lines = split_lines("" if source is None else source.content.decode("utf-8", "replace"))
        return types.Location(self.address(span.file), self.range(lines, span))

    def address(self, name: str) -> str:
        """The address of a file: as the client writes it, where it is open."""
        known = next((one.uri for one in self._open.values() if one.name == name), None)
        return known or uris.from_fs_path(posixpath.abspath(name)) or name


async def work(job: Job) -> Found | None:
    """What is found in the background, in a process that ends when this is called off; None if nothing came of it."""
    command = sys.executable, "-m", "interlock.cli.edit_work"
    pipe, nowhere = asyncio.subprocess.PIPE, asyncio.subprocess.DEVNULL
    process = await asyncio.create_subprocess_exec(*command, stdin=pipe, stdout=pipe, stderr=nowhere)
    try:
        # it keeps its own time; this is for one that does not
        told, _ = await asyncio.wait_for(process.communicate(json.encode(job)), 2 * job.seconds + 30)
        return json.decode(told, type=Found)
    except (DecodeError, TimeoutError):
        return None
    finally:
        with suppress(ProcessLookupError):
            process.kill()


def units(text: str, encoding: str) -> int:
    """How many units of the encoding a text takes."""
    if encoding == "utf-32":
        return len(text)
    return len(text.encode("utf-8" if encoding == "utf-8" else "utf-16-le", "surrogatepass")) // (
        1 if encoding == "utf-8" else 2
    )


def characters(text: str, count: int, encoding: str) -> int:
    """How many characters so many units of the encoding are; one that is cut in two does not count."""
    taken = 0
    for at, letter in enumerate(text):
        taken += units(letter, encoding)
        if taken > count:
            return at
    return len(text)


def _at(span: Span) -> str:
    return f"{span.file}:{span.line}"


def _whole_line(known: Known, line: int) -> Span:
    text = known.lines[line - 1] if 1 <= line <= len(known.lines) else ""
    start = len(text) - len(text.lstrip()) + 1
    return Span(known.source.name, line, start, max(1, len(text.rstrip()) - start + 1))


def make_server(seconds: float) -> LanguageServer:
    """The server, not started yet; `seconds` for each proof in the background, 0 for none."""
    server = LanguageServer("interlock", __version__, types.TextDocumentSyncKind.Full)
    documents = Documents(server, seconds)

    @server.feature(types.TEXT_DOCUMENT_DID_OPEN)
    def opened(params: types.DidOpenTextDocumentParams) -> None:
        one = params.text_document
        documents.set(one.uri, one.text, one.version)

    @server.feature(types.TEXT_DOCUMENT_DID_CHANGE)
    def changed(params: types.DidChangeTextDocumentParams) -> None:
        uri = params.text_document.uri
        for change in params.content_changes:
            documents.set(uri, change.text, params.text_document.version)

    @server.feature(types.TEXT_DOCUMENT_DID_CLOSE)
    def closed(params: types.DidCloseTextDocumentParams) -> None:
        documents.close(params.text_document.uri)

    @server.feature(types.TEXT_DOCUMENT_DID_SAVE)
    def saved(params: types.DidSaveTextDocumentParams) -> None:
        documents.changed_on_disk()

    @server.feature(types.WORKSPACE_DID_CHANGE_WATCHED_FILES)
    def watched(params: types.DidChangeWatchedFilesParams) -> None:
        documents.changed_on_disk()

    @server.feature(types.SHUTDOWN)
    def shut_down(params: None) -> None:
        documents.close_all()

    @server.feature(
        types.TEXT_DOCUMENT_COMPLETION, types.CompletionOptions(trigger_characters=[".", " ", ":", "{", "[", ","])
    )
    async def completed(params: types.CompletionParams) -> types.CompletionList:
        uri = params.text_document.uri
        known = documents.at_hand(uri) or await documents.known(uri)
        if known is None:
            return types.CompletionList(False, [])
        line, column = documents.place(known.lines, params.position)
        offers = complete(known, line, column)
        return types.CompletionList(False, [item(known, one, line, column) for one in offers])

    def item(known: Known, offer: Offer, line: int, column: int) -> types.CompletionItem:
        start = column - offer.replaces
        edit = types.TextEdit(
            types.Range(documents.position(known.lines, line, start), documents.position(known.lines, line, column)),
            offer.text,
        )
        label, about = offer.text.removesuffix(": "), offer.about or None
        order = f"{offer.order}{offer.text}"
        return types.CompletionItem(label, kind=_KINDS[offer.sort], detail=about, sort_text=order, text_edit=edit)

    @server.feature(types.TEXT_DOCUMENT_HOVER)
    async def hovered(params: types.HoverParams) -> types.Hover | None:
        known = await documents.known(params.text_document.uri)
        if known is None:
            return None
        told = told_at(known, *documents.place(known.lines, params.position))
        if told is None:
            return None
        text = types.MarkupContent(types.MarkupKind.Markdown, hover_markdown(told))
        return types.Hover(text, documents.range(known.lines, told.span))

    @server.feature(types.TEXT_DOCUMENT_DEFINITION)
    async def defined(params: types.DefinitionParams) -> types.Location | None:
        known = await documents.known(params.text_document.uri)
        span = None if known is None else definition_of(known, *documents.place(known.lines, params.position))
        return None if span is None else documents.location(span)

    @server.feature(types.TEXT_DOCUMENT_REFERENCES)
    async def referred(params: types.ReferenceParams) -> list[types.Location]:
        uri = params.text_document.uri
        known = await documents.known(uri)
        if known is None:
            return []
        others = await documents.others(uri)
        spans = references_of(known, *documents.place(known.lines, params.position), others)
        given = {one.span for one in known.given}
        wanted = spans if params.context.include_declaration else [span for span in spans if span not in given]
        return [place for span in wanted if (place := documents.location(span)) is not None]

    @server.feature(types.TEXT_DOCUMENT_PREPARE_RENAME)
    async def renaming(params: types.PrepareRenameParams) -> types.PrepareRenamePlaceholder | None:
        known = await documents.known(params.text_document.uri)
        if known is None:
            return None
        found = name_to_change(known, *documents.place(known.lines, params.position))
        if isinstance(found, Refused):
            return None
        return types.PrepareRenamePlaceholder(documents.range(known.lines, found[0]), found[1])

    @server.feature(types.TEXT_DOCUMENT_RENAME, types.RenameOptions(prepare_provider=True))
    async def renamed(params: types.RenameParams) -> types.WorkspaceEdit | None:
        uri = params.text_document.uri
        known = await documents.known(uri)
        if known is None:
            return None
        place = documents.place(known.lines, params.position)
        found = rename(known, *place, params.new_name, documents.bring, await documents.others(uri))
        if isinstance(found, Refused):
            raise refusal(found.why)
        return documents.edit(found)

    @server.feature(types.TEXT_DOCUMENT_DOCUMENT_SYMBOL)
    async def outlined(params: types.DocumentSymbolParams) -> list[types.DocumentSymbol]:
        known = await documents.known(params.text_document.uri)
        return [] if known is None else [symbol(known, part) for part in outline(known)]

    def symbol(known: Known, part: Part) -> types.DocumentSymbol:
        last = known.lines[part.last_line - 1] if part.last_line <= len(known.lines) else ""
        start = documents.position(known.lines, part.span.line, 1)
        whole = types.Range(start, documents.position(known.lines, part.last_line, len(last) + 1))
        kind = types.SymbolKind.Namespace if part.parts else types.SymbolKind.Property
        kind = kind if part.name == part.section else types.SymbolKind.Object
        inner = [symbol(known, one) for one in part.parts]
        name, about = part.name, part.about or None
        return types.DocumentSymbol(name, kind, whole, documents.range(known.lines, part.span), about, children=inner)

    @server.feature(
        types.TEXT_DOCUMENT_CODE_ACTION, types.CodeActionOptions(code_action_kinds=[types.CodeActionKind.QuickFix])
    )
    async def mended(params: types.CodeActionParams) -> list[types.CodeAction]:
        known = await documents.known(params.text_document.uri)
        if known is None:
            return []
        actions: list[types.CodeAction] = []
        for fault in known.faults:
            edit = mend(fault, known)
            if edit is None or not params.range.start.line + 1 <= fault.span.line <= params.range.end.line + 1:
                continue
            told = [documents._fault(fault, documents.range(known.lines, fault.span))]
            title, kind = f"Write '{edit.text}'", types.CodeActionKind.QuickFix
            only = len(actions) == 0
            action = types.CodeAction(title, kind, told, is_preferred=only, edit=documents.edit([edit]))
            actions.append(action)
        return actions

    return server


def refusal(why: str) -> Exception:
    """What the client is told instead of a result."""
    from pygls.exceptions import JsonRpcException

    return JsonRpcException(why, types.ErrorCodes.InvalidRequest)


__all__ = ["Documents", "characters", "make_server", "name_of", "units", "work"]
