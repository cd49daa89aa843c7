"""Pages in a real browser: a script of the test is put behind those of the page, and what it finds is read back."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium")
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

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
    command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
    command += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]
    command += [f"--user-data-dir={folder / 'profile'}", "--virtual-time-budget=600000", *options]
    done = subprocess.run([*command, "--dump-dom", file.as_uri()], capture_output=True, timeout=300, check=True)
    text = _FOUND.search(done.stdout.decode("utf-8"))
    assert text is not None, done.stdout[-2000:]
    found = json.loads(unescape(text[1]))
    assert not (isinstance(found, dict) and "fault" in found), found["fault"]
    return found
