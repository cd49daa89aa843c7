"""The server for editors, started as a process and spoken to by a client: what it tells, and that nothing is stale."""

from __future__ import annotations

import asyncio
import sys
import threading
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any, cast

import pytest

pytest.importorskip("pygls")

from lsprotocol import types
from pygls.lsp.client import LanguageClient
from pygls.lsp.server import LanguageServer

from interlock.cli import language_server
from interlock.cli.language_server import Documents, characters, units
from interlock.hold.editing.known import Known, know
from interlock.hold.loader import Fetch, Source
from tests.golden.small_hold import TEXT
from tests.some import swept

ROOT = Path(__file__).parents[2]
MODELS = ROOT / "models"


class Client(LanguageClient):
    """A client that keeps what it is told of documents."""

    def __init__(self) -> None:
        super().__init__("test", "1")
        self.told: dict[str, list[types.PublishDiagnosticsParams]] = {}

        @self.feature(types.TEXT_DOCUMENT_PUBLISH_DIAGNOSTICS)  # type: ignore[untyped-decorator]
        def published(params: types.PublishDiagnosticsParams) -> None:
            self.told.setdefault(params.uri, []).append(params)

    async def until(
        self, uri: str, wanted: Callable[[types.PublishDiagnosticsParams], bool], seconds: float = 60.0
    ) -> types.PublishDiagnosticsParams:
        """The first thing told of a document that is wanted."""
        for _ in range(int(seconds / 0.05)):
            for params in self.told.get(uri, ()):
                if wanted(params):
                    return params
            await asyncio.sleep(0.05)
        raise AssertionError([one for one in self.told.get(uri, ())][-2:])

    def open(self, path: Path, text: str | None = None) -> str:
        """Opens a file, with its text or another."""
        document = types.TextDocumentItem(path.as_uri(), "yaml", 1, path.read_text("utf-8") if text is None else text)
        self.text_document_did_open(types.DidOpenTextDocumentParams(document))
        return path.as_uri()

    def change(self, uri: str, text: str, version: int) -> None:
        """Writes another text."""
        one = types.VersionedTextDocumentIdentifier(version, uri)
        whole = [types.TextDocumentContentChangeWholeDocument(text)]
        self.text_document_did_change(types.DidChangeTextDocumentParams(one, whole))


def served(
    work: Callable[[Client], Coroutine[Any, Any, None]], *options: str, encodings: list[str] | None = None
) -> None:
    """Does some work with a server of its own, which ends in order."""

    async def all_of_it() -> None:
        client = Client()
        await client.start_io(sys.executable, "-m", "interlock", "edit-server", *options)
        kinds = None if encodings is None else [types.PositionEncodingKind(one) for one in encodings]
        capabilities = types.ClientCapabilities(general=types.GeneralClientCapabilities(position_encodings=kinds))
        begun = await client.initialize_async(types.InitializeParams(capabilities))
        assert begun.server_info is not None and begun.server_info.name == "interlock"
        client.initialized(types.InitializedParams())
        await work(client)
        await client.shutdown_async(None)
        client.exit(None)
        await asyncio.wait_for(ended(client), 20)
        await client.stop()  # type: ignore[no-untyped-call]

    async def ended(client: Client) -> None:
        server = client._server
        assert server is not None
        assert await server.wait() == 0

    asyncio.run(all_of_it())


def codes(params: types.PublishDiagnosticsParams, source: str = "interlock") -> list[str]:
    """The codes of what is told of a document."""
    return [str(one.code) for one in params.diagnostics if one.source == source]


def test_faults_while_typing_then_verdicts(tmp_path: Path) -> None:
    """A fault is told with code and range, goes when it is mended, and verdicts come at what is to blame; none stays
    when the text changes."""
    base = tmp_path / "base.yaml"
    base.write_bytes((MODELS / "single-lane.yaml").read_bytes())
    path = tmp_path / "mine.yaml"
    sound = (
        "interlock: 1\ntitle: Größe\nmodifies: base.yaml\nchanges:\n"
        "  - change: door_released\n    to: {is: lanes_secured and guard_up}\n"
    )
    path.write_text(sound, "utf-8")

    async def work(client: Client) -> None:
        uri = client.open(path, sound.replace("change: door_released", "change: dor_released"))
        first = await client.until(uri, lambda told: bool(codes(told)))
        assert codes(first) == ["unknown-name"]
        (fault,) = first.diagnostics
        assert (fault.range.start, fault.range.end) == (types.Position(4, 12), types.Position(4, 24))
        assert "did you mean 'door_released'?" in fault.message
        action = types.CodeActionParams(
            types.TextDocumentIdentifier(uri), fault.range, types.CodeActionContext(first.diagnostics)
        )
        (offered,) = await client.text_document_code_action_async(action) or []
        assert isinstance(offered, types.CodeAction) and offered.edit is not None and offered.edit.changes is not None
        assert list(offered.edit.changes[uri]) == [types.TextEdit(fault.range, "door_released")]
        client.change(uri, sound, 2)
        verdicts = await client.until(uri, lambda told: told.version == 2 and bool(codes(told, "interlock prove")))
        assert codes(verdicts) == []
        failing = [one for one in verdicts.diagnostics if one.severity is types.DiagnosticSeverity.Error]
        assert failing and {one.range.start.line for one in failing} == {4}
        assert any("approved" in one.message for one in failing)
        client.change(uri, sound + "# more\n", 3)
        later = await client.until(uri, lambda told: told.version == 3)
        assert not later.diagnostics
        client.text_document_did_close(types.DidCloseTextDocumentParams(types.TextDocumentIdentifier(uri)))
        await client.until(uri, lambda told: told.version is None and not told.diagnostics)

    served(work)


def test_unsaved_base_counts(tmp_path: Path) -> None:
    """A modification is read with its base as it stands in the editor, and told of anew when that changes."""
    base, path = tmp_path / "base.yaml", tmp_path / "mine.yaml"
    whole = (MODELS / "single-lane.yaml").read_text("utf-8")
    base.write_text("interlock: 1\ntitle: not saved yet\n", "utf-8")
    path.write_text("interlock: 1\ntitle: t\nmodifies: base.yaml\nchanges:\n  - {fix: M1, in: raised}\n", "utf-8")

    async def work(client: Client) -> None:
        uri = client.open(path)
        first = await client.until(uri, lambda told: bool(codes(told)))
        assert "missing-field" in codes(first)
        assert all(one.range.start.line == 2 for one in first.diagnostics if "base.yaml" in one.message)
        base_uri = client.open(base, whole)
        await client.until(base_uri, lambda told: True)
        client.change(uri, path.read_text("utf-8") + "\n", 2)
        assert codes(await client.until(uri, lambda told: told.version == 2)) == []
        client.change(base_uri, whole.replace('id: "M{r}"', 'id: "N{r}"').replace("S3, M1", "S3, N1"), 2)
        broken = await client.until(uri, lambda told: told.version == 2 and bool(codes(told)))
        assert "unknown-name" in codes(broken)

    served(work, "--time", "0")


@pytest.mark.parametrize("encoding", swept(["utf-16", "utf-8", "utf-32"], 3))
def test_columns_are_counted_as_the_client_counts(tmp_path: Path, encoding: str) -> None:
    """Behind letters of one, two and four bytes in a line places are right, in whatever units the client counts."""
    path = tmp_path / "x.yaml"
    before = "  - {id: AB, name: 'é𝛿🔧', kind: "
    text = f"interlock: 1\ntitle: x\ndevices:\n{before}manual lach, on: 1L.aft, stops: [aft]}}\n"
    path.write_text(text, "utf-8")

    async def work(client: Client) -> None:
        uri = client.open(path)
        told = await client.until(uri, lambda told: "unknown-choice" in codes(told))
        (fault,) = [one for one in told.diagnostics if one.code == "unknown-choice"]
        start = units(before, encoding)
        assert (fault.range.start.character, fault.range.end.character) == (start, start + len("manual lach"))
        at = types.CompletionParams(types.TextDocumentIdentifier(uri), types.Position(3, start + len("man")))
        offers = await client.text_document_completion_async(at)
        assert isinstance(offers, types.CompletionList)
        (latch,) = [one for one in offers.items if one.label == "manual latch"]
        assert isinstance(latch.text_edit, types.TextEdit)
        assert latch.text_edit.range.start.character == start

    served(work, "--time", "0", encodings=[encoding])


def test_what_editors_ask(tmp_path: Path) -> None:
    """Hover, definition, references, rename and symbols are answered of an open document, and refusals say why."""
    path = tmp_path / "lane.yaml"
    text = (MODELS / "single-lane.yaml").read_text("utf-8")
    path.write_text(text, "utf-8")
    lines = text.split("\n")
    line = next(at for at, one in enumerate(lines) if one.strip().startswith("moves: gate_released"))
    at = types.Position(line, lines[line].index("gate_released") + 3)

    async def work(client: Client) -> None:
        uri = client.open(path)
        document = types.TextDocumentIdentifier(uri)
        hover = await client.text_document_hover_async(types.HoverParams(document, at))
        assert hover is not None and isinstance(hover.contents, types.MarkupContent)
        assert "a circuit: gate catch" in hover.contents.value
        found = await client.text_document_definition_async(types.DefinitionParams(document, at))
        assert isinstance(found, types.Location) and lines[found.range.start.line].strip() == "- id: gate_released"
        context = types.ReferenceContext(include_declaration=True)
        places = await client.text_document_references_async(types.ReferenceParams(context, document, at))
        assert len(places or []) == 2
        renamed = await client.text_document_rename_async(types.RenameParams(document, at, "gate_free"))
        assert renamed is not None and renamed.changes is not None
        assert [one.new_text for one in renamed.changes[uri]] == ["gate_free", "gate_free"]
        with pytest.raises(Exception, match="'armed' is a relay already"):
            await client.text_document_rename_async(types.RenameParams(document, at, "armed"))
        symbols = await client.text_document_document_symbol_async(types.DocumentSymbolParams(document))
        devices = next(one for one in symbols or [] if one.name == "devices")
        assert isinstance(devices, types.DocumentSymbol) and devices.children
        assert "SG" in [one.name for one in devices.children]

    served(work, "--time", "0")


def test_units_of_each_encoding() -> None:
    """Characters are counted in bytes, in halves of four bytes, and as they are; a cut one does not count."""
    text = "aé𝛿z"
    assert [units(text, one) for one in ("utf-8", "utf-16", "utf-32")] == [8, 5, 4]
    assert [characters(text, count, "utf-16") for count in range(7)] == [0, 1, 2, 2, 3, 4, 4]
    assert [characters(text, count, "utf-8") for count in (0, 1, 2, 3, 7, 8, 99)] == [0, 1, 1, 2, 3, 4, 4]


class Nobody:
    """A client that is told nothing."""

    def text_document_publish_diagnostics(self, params: types.PublishDiagnosticsParams) -> None:
        """Nobody listens."""


def test_what_is_at_hand_is_answered_while_a_text_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading goes on beside: what was known a moment ago is there at once, with the lines as they are now.  What was
    read before another text changed, by which this one goes, is not taken for what is known of it now."""
    begun, going_on = threading.Event(), threading.Event()
    base, change = "file:///small.yaml", "file:///change.yaml"

    def slowly(source: Source, fetch: Fetch, before: Known | None = None) -> Known:
        found = know(source, fetch, before)
        begun.set()
        assert going_on.wait(20)
        return found

    async def work() -> None:
        documents = Documents(cast(LanguageServer, Nobody()), 0)
        documents.set(base, TEXT, 1)
        first = await documents.known(base)
        assert first is not None
        documents.set(change, "interlock: 1\nmodifies: small.yaml\ntitle: other\nchanges: [{remove: FS}]\n", 1)
        monkeypatch.setattr(language_server, "know", slowly)
        reading = asyncio.ensure_future(documents.known(change))
        await asyncio.to_thread(begun.wait, 20)
        documents.set(base, "# new\n" + TEXT, 2)
        at_hand = documents.at_hand(base)
        assert at_hand is not None and at_hand.mentions == first.mentions
        assert at_hand.lines[0] == "# new"
        going_on.set()
        stale = await reading
        now = await documents.known(change)
        assert stale is not None and now is not None
        assert [one.reads["/small.yaml"][0] for one in (stale, now)] == ["interlock: 1", "# new"]
        documents.close_all()

    asyncio.run(work())
