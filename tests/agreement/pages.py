"""Pages in a real browser: a script of the test is put behind those of the page, and what it finds is read back.

`Browser` is one that stays: keys are pressed as by a hand, and screens have any width.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from base64 import b64decode
from collections.abc import Mapping
from html import unescape
from itertools import count
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pytest

CHROMIUM = shutil.which("chromium")
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

QUIETLY = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
"""Without a screen, and asking nobody for anything."""
TAB, ENTER, SPACE = ("Tab", 9, ""), ("Enter", 13, "\r"), (" ", 32, " ")
"""Keys: name, number, and what they write."""

_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy"[^>]*>')
_FOUND = re.compile(r'<pre id="found">(.*?)</pre>', re.DOTALL)


def browsed(page: str, script: str, folder: Path, *options: str) -> Any:
    """What the script returns, as JSON: the body of an async function that runs when the page has been made.

    The page's policy lets no script run but its own, so it is taken out first.
    """
    assert CHROMIUM is not None
    ours = f"""<script>(async () => {{ let found; try {{ found = await (async () => {{ {script} }})(); }}
      catch (fault) {{ found = {{fault: String(fault.stack)}}; }}
      const told = document.createElement("pre"); told.id = "found"; told.textContent = JSON.stringify(found);
      document.body.replaceChildren(told); }})();</script></body>"""
    changed, policies = _POLICY.subn("", page)
    assert policies == 1
    file = folder / "page.html"
    file.write_text(changed.replace("</body>", ours), encoding="utf-8")
    command = [CHROMIUM, *QUIETLY, f"--user-data-dir={folder / 'profile'}", "--virtual-time-budget=600000", *options]
    done = subprocess.run([*command, "--dump-dom", file.as_uri()], capture_output=True, timeout=300, check=True)
    text = _FOUND.search(done.stdout.decode("utf-8"))
    assert text is not None, done.stdout[-2000:]
    found = json.loads(unescape(text[1]))
    assert not (isinstance(found, dict) and "fault" in found), found["fault"]
    return found


class Browser:
    """One Chromium with one page, spoken to over two pipes: `with Browser(folder) as browser`.

    Messages are those of the DevTools protocol: JSON, each ended by a zero byte.
    """

    def __init__(self, folder: Path) -> None:
        assert CHROMIUM is not None
        heard, self._tell = os.pipe()
        self._hear, said = os.pipe()
        self._left = b""
        self._numbers = count(1)
        options = [*QUIETLY, f"--user-data-dir={folder / 'profile'}", "--remote-debugging-pipe", "about:blank"]
        # Chromium listens at 3 and answers at 4
        script = f'exec 3<&{heard} 4>&{said}; exec "$@"'
        command = ["bash", "-c", script, "bash", CHROMIUM, *options]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self._process = subprocess.Popen(command, pass_fds=(heard, said), **quiet)  # type: ignore[call-overload]
        os.close(heard)
        os.close(said)
        self._session: str | None = None
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        self.ask("Page.enable")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._session = None
        self.ask("Browser.close")
        self._process.wait(20)
        os.close(self._tell)
        os.close(self._hear)

    def ask(self, method: str, **asked: Any) -> Mapping[str, Any]:
        """What the browser answers; what it tells unasked is passed over."""
        number = next(self._numbers)
        message: dict[str, Any] = {"id": number, "method": method, "params": asked}
        if self._session is not None:
            message["sessionId"] = self._session
        os.write(self._tell, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == number:
                assert "error" not in answer, answer
                return answer["result"]  # type: ignore[no-any-return]

    def _next(self) -> Mapping[str, Any]:
        while b"\0" not in self._left:
            more = os.read(self._hear, 1 << 16)
            assert more, "the browser has gone"
            self._left += more
        one, _, self._left = self._left.partition(b"\0")
        return json.loads(one)  # type: ignore[no-any-return]

    def show(self, page: Path, width: int, height: int = 900) -> None:
        """Loads the page on a screen so wide."""
        self.ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self.ask("Page.navigate", url=page.as_uri())
        while self.find("document.readyState") != "complete":
            pass

    def find(self, script: str) -> Any:
        """The value of an expression in the page."""
        found = self.ask("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in found, found
        return found["result"].get("value")

    def print(self, paper: Path) -> None:
        """Prints the page that is shown, margins and page breaks included, on the paper that it asks for."""
        printed = self.ask("Page.printToPDF", preferCSSPageSize=True)
        paper.write_bytes(b64decode(printed["data"]))

    def press(self, key: tuple[str, int, str]) -> None:
        """The key goes down and comes up, as under a finger."""
        name, number, text = key
        about = {"key": name, "code": name.strip() or "Space", "windowsVirtualKeyCode": number}
        self.ask("Input.dispatchKeyEvent", type="keyDown", **about, **({"text": text} if text else {}))
        self.ask("Input.dispatchKeyEvent", type="keyUp", **about)
