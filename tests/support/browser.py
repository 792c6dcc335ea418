"""A page in a real browser: Chromium without a window, driven over the pipe of its own DevTools protocol.

No driver package stands between: messages are JSON, ended by a zero byte, on the browser's descriptors 3 and 4
(``--remote-debugging-pipe``, Chromium's own documentation).
"""

from __future__ import annotations

import base64
import fcntl
import json
import os
import select
import signal
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from support.needs import needed_tool

__all__ = ["Browser", "browser"]

_PATIENCE = 90.0
_FLAGS = (
    "--headless",
    "--remote-debugging-pipe",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
    "--force-color-profile=srgb",
    "--no-first-run",
)


class Browser:
    """One tab. ``requests`` are the addresses that it asked for, ``errors`` what its console and scripts said."""

    def __init__(self, to: int, back: int) -> None:
        self._to, self._back, self._rest, self._number = to, back, b"", 0
        self.requests: list[str] = []
        self.errors: list[str] = []
        self._loads = 0
        self._session = ""
        target = self._ask("Target.createTarget", {"url": "about:blank"})["targetId"]
        self._session = self._ask("Target.attachToTarget", {"targetId": target, "flatten": True})["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self._ask(f"{domain}.enable")

    def open(self, page: Path, *, width: int = 1280, dark: bool = False) -> None:
        """Show a file, laid out for ``width``, and forget what was noted of the last one."""
        self.wide(width)
        self.look(dark=dark)
        self.requests.clear()
        self.errors.clear()
        before = self._loads
        self._ask("Page.navigate", {"url": page.resolve().as_uri()})
        while self._loads == before:
            self._note(self._next(time.monotonic() + _PATIENCE))

    def wide(self, width: int, height: int = 800) -> None:
        """Give the page another width."""
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
        self._ask("Emulation.setDeviceMetricsOverride", size)

    def look(self, *, dark: bool = False, media: str = "screen") -> None:
        """Show the page as on a dark or light screen, or as on paper."""
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self._ask("Emulation.setEmulatedMedia", {"media": media, "features": [scheme]})

    def run(self, script: str) -> Any:  # noqa: ANN401 - whatever the script gives
        """What a JavaScript expression (or promise) gives."""
        told = self._ask("Runtime.evaluate", {"expression": script, "returnByValue": True, "awaitPromise": True})
        assert "exceptionDetails" not in told, told["exceptionDetails"]
        return told["result"].get("value")

    def press(self, key: str, code: int) -> None:
        """Press and release a key."""
        for kind in ("rawKeyDown", "keyUp"):
            self._ask("Input.dispatchKeyEvent", {"type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code})

    def pdf(self, *, width: float = 8.27, height: float = 11.69) -> bytes:
        """The page as its own style prints it; width and height of the paper in inches (A4)."""
        self.look(media="print")
        asked = {"printBackground": True, "paperWidth": width, "paperHeight": height}
        return base64.b64decode(self._ask("Page.printToPDF", asked)["data"])

    def picture(self, height: int = 0) -> bytes:
        """The page as PNG, its upper ``height`` or all of it."""
        size = self._ask("Page.getLayoutMetrics")["cssContentSize"]
        clip = {"x": 0, "y": 0, "width": size["width"], "height": height or size["height"], "scale": 1}
        asked = {"format": "png", "clip": clip, "captureBeyondViewport": True}
        return base64.b64decode(self._ask("Page.captureScreenshot", asked)["data"])

    def _ask(self, method: str, params: Mapping[str, object] | None = None) -> dict[str, Any]:
        self._number += 1
        message = {"id": self._number, "method": method, "params": params or {}}
        if self._session:
            message["sessionId"] = self._session
        self._write(message)
        number, until = self._number, time.monotonic() + _PATIENCE
        while True:
            told = self._next(until)
            if told.get("id") == number:
                assert "error" not in told, (method, told["error"])
                return dict(told["result"])
            self._note(told)

    def _write(self, message: Mapping[str, object]) -> None:
        rest = json.dumps(message).encode() + b"\0"
        while rest:
            rest = rest[os.write(self._to, rest) :]

    def _next(self, until: float) -> dict[str, Any]:
        while b"\0" not in self._rest:
            ready, _, _ = select.select([self._back], [], [], max(0.0, until - time.monotonic()))
            assert ready, "the browser does not answer"
            piece = os.read(self._back, 1 << 16)
            assert piece, "the browser has ended"
            self._rest += piece
        told, _, self._rest = self._rest.partition(b"\0")
        return dict(json.loads(told))

    def _note(self, told: Mapping[str, Any]) -> None:
        params = told.get("params", {})
        match told.get("method"):
            case "Page.loadEventFired":
                self._loads += 1
            case "Network.requestWillBeSent":
                self.requests.append(params["request"]["url"])
            case "Runtime.exceptionThrown" | "Runtime.consoleAPICalled" | "Log.entryAdded" as method:
                self.errors.append(f"{method}: {params}")
            case "Page.javascriptDialogOpening":
                self.errors.append(f"dialog: {params['message']}")
                self._number += 1
                closing = {"id": self._number, "method": "Page.handleJavaScriptDialog", "params": {"accept": True}}
                self._write(closing | {"sessionId": self._session})


@contextmanager
def browser() -> Iterator[Browser]:
    """A browser with a profile of its own, ended and removed afterwards."""
    program = needed_tool("chromium", "chromium")
    into, to = (_high(one) for one in os.pipe())
    back, out = (_high(one) for one in os.pipe())
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        quiet = [(os.POSIX_SPAWN_OPEN, number, os.devnull, os.O_RDWR, 0) for number in (0, 1, 2)]
        wired = [(os.POSIX_SPAWN_DUP2, into, 3), (os.POSIX_SPAWN_DUP2, out, 4)]
        command = [program, *_FLAGS, f"--user-data-dir={folder}", "about:blank"]
        process = os.posix_spawn(program, command, dict(os.environ), file_actions=[*quiet, *wired], setpgroup=0)
        for end in (into, out):
            os.close(end)
        try:
            yield Browser(to, back)
        finally:
            os.killpg(process, signal.SIGKILL)
            os.waitpid(process, 0)
            for end in (to, back):
                os.close(end)


def _high(descriptor: int) -> int:
    """The same pipe end under a number that is free of 3 and 4."""
    moved = fcntl.fcntl(descriptor, fcntl.F_DUPFD_CLOEXEC, 10)
    os.close(descriptor)
    return moved
