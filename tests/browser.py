"""A page of a notebook in a real browser: headless Chromium, told what to do by its own debugging protocol.

Only what a person does is done: the mouse is clicked, keys are pressed. Everything that the page writes as an error
into its console is kept.
"""

from __future__ import annotations

import base64
import json
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--remote-debugging-port=0",
    "--remote-allow-origins=*",
)  # fmt: skip
PATIENCE_S = 90.0


def missing() -> str:
    """Return what is missing for a test in a browser, "" for nothing."""
    from importlib.util import find_spec

    lacks = [] if _browser() else ["chromium"]
    lacks += [name for name in ("voila", "websocket", "ipykernel") if find_spec(name) is None]
    return ", ".join(lacks)


def _browser() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


def wait_for(what: Callable[[], Any], words: str, seconds: float = PATIENCE_S) -> Any:
    """Return the first true result of ``what``; raises ``TimeoutError`` with ``words`` after ``seconds``."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = what()
        if found:
            return found
        time.sleep(0.1)
    raise TimeoutError(words)


class Page:
    """One tab. ``errors`` is what its console said was wrong."""

    def __init__(self, address: str, width: int, height: int) -> None:
        import websocket

        self._socket = websocket.create_connection(address, timeout=PATIENCE_S)
        self._count = 0
        self.errors: list[str] = []
        for domain in ("Page", "Runtime", "Log"):
            self.ask(f"{domain}.enable")
        self.ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Return the browser's answer; raises ``RuntimeError`` when it refuses."""
        self._count += 1
        self._socket.send(json.dumps({"id": self._count, "method": method, "params": parameters}))
        while True:
            told = json.loads(self._socket.recv())
            if told.get("id") == self._count:
                if "error" in told:
                    raise RuntimeError(f"{method}: {told['error']}")
                return dict(told["result"])
            self._heard(told)

    def _heard(self, told: dict[str, Any]) -> None:
        of, about = told.get("method"), told.get("params", {})
        if of == "Runtime.exceptionThrown":
            self.errors.append(json.dumps(about["exceptionDetails"])[:500])
        elif of == "Runtime.consoleAPICalled" and about["type"] in ("error", "assert"):
            self.errors.append(json.dumps(about["args"])[:500])
        elif of == "Log.entryAdded" and about["entry"]["level"] == "error":
            where = about["entry"].get("url", "")
            if "127.0.0.1" in where or not where.startswith(
                "http"
            ):  # fonts from elsewhere, which a bench may not reach
                self.errors.append(f"{about['entry']['text']} {where}")

    def open(self, address: str) -> None:
        """Go to an address."""
        self.ask("Page.navigate", url=address)

    def value(self, script: str) -> Any:
        """Return the value of a JavaScript expression."""
        found = self.ask("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in found:
            raise RuntimeError(f"{script}: {found['exceptionDetails']}")
        return found["result"].get("value")

    def click(self, script: str) -> None:
        """Click with the mouse into the middle of the element that ``script`` gives."""
        self.value(f"({script}).scrollIntoView({{block: 'center'}})")
        box = self.value(f"(r => [r.x + r.width / 2, r.y + r.height / 2])(({script}).getBoundingClientRect())")
        for kind in ("mouseMoved", "mousePressed", "mouseReleased"):
            self.ask("Input.dispatchMouseEvent", type=kind, x=box[0], y=box[1], button="left", clickCount=1)

    def press(self, key: str, code: int, modifiers: int = 0) -> None:
        """Press and release a key."""
        for kind in ("rawKeyDown", "keyUp"):
            self.ask("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code,
                     modifiers=modifiers)  # fmt: skip

    def write(self, text: str) -> None:
        """Write text where the cursor stands, over what is selected."""
        self.ask("Input.insertText", text=text)

    def picture(self, script: str = "document.documentElement") -> bytes:
        """Return a screenshot of the element that ``script`` gives, as PNG."""
        box = "{x: r.x + scrollX, y: r.y + scrollY, width: r.width, height: r.height, scale: 1}"
        clip = self.value(f"(r => ({box}))(({script}).getBoundingClientRect())")
        shot = self.ask("Page.captureScreenshot", format="png", captureBeyondViewport=True, clip=clip)
        return base64.b64decode(shot["data"])

    def close(self) -> None:
        """Leave the tab."""
        self._socket.close()


@contextmanager
def chromium() -> Iterator[Callable[[int, int], Page]]:
    """Start a browser and give what opens a tab of a width and height."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        command = [_browser() or "chromium", *FLAGS, f"--user-data-dir={folder}", "about:blank"]
        running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            told = Path(folder) / "DevToolsActivePort"
            port = wait_for(lambda: told.exists() and told.read_text().split("\n")[0], "the browser did not start")

            def tab(width: int, height: int) -> Page:
                wanted = urllib.request.Request(f"http://127.0.0.1:{port}/json/new?about:blank", method="PUT")
                with urllib.request.urlopen(wanted, timeout=PATIENCE_S) as answer:
                    return Page(json.load(answer)["webSocketDebuggerUrl"], width, height)

            yield tab
        finally:
            running.terminate()
            running.wait(20)


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """Serve the notebooks of a folder as pages, and give the address of that."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "voila", str(folder), "--no-browser", f"--port={port}", "--Voila.ip=127.0.0.1"]
    with (folder / "server.log").open("w") as log:
        running = subprocess.Popen(command, stdout=log, stderr=log)
        try:
            wait_for(lambda: _answers(port), "the pages are not served")
            yield f"http://127.0.0.1:{port}/voila/render"
        finally:
            running.terminate()
            running.wait(20)


def _answers(port: int) -> bool:
    with socket.socket() as trial:
        trial.settimeout(1.0)
        return trial.connect_ex(("127.0.0.1", port)) == 0
