"""A real server of ``usbwatch listen`` in a process of its own, and raw ways to talk to it."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

from usbwatch.capture import to_json
from usbwatch.model import Capture

__all__ = ["CAPTURES", "Server", "listening", "posted"]

CAPTURES = Path(__file__).parents[2] / "captures"

_SERVER = textwrap.dedent("""
    import sys
    from pathlib import Path
    from usbwatch.cli.listening import Request, serve
    from usbwatch.listen import Limits
    address, folder, same, limits = sys.argv[1], sys.argv[2], sys.argv[3] == "same", eval(sys.argv[4])
    serve(Request(address=address, port=0, folder=Path(folder), same_code=same, profile=None, full=False,
        as_json=True), Limits(**limits))
""")

_PATIENCE_S = 60.0


class Server:
    """The process, where it listens, and what it has said."""

    def __init__(self, process: subprocess.Popen[bytes], folder: Path, logs: Path) -> None:
        self.process, self.folder, self._logs = process, folder, logs
        self.port = int(self.said(r"listening at http://\S+:(\d+)/capture"))

    @property
    def notices(self) -> str:
        """All of standard error."""
        return (self._logs / "err").read_text(encoding="utf-8")

    @property
    def results(self) -> str:
        """All of standard output."""
        return (self._logs / "out").read_text(encoding="utf-8")

    @property
    def code(self) -> str:
        """The code that is on its screen now, "" when none is."""
        codes = re.findall(r"^  code (\S+)$", self.notices, re.MULTILINE)
        return codes[-1] if codes else ""

    def said(self, pattern: str, *, on: str = "notices", times: int = 1) -> str:
        """Wait until it has said something so many times; the last match's group."""
        until = time.monotonic() + _PATIENCE_S
        while time.monotonic() < until:
            found = re.findall(pattern, getattr(self, on))
            if len(found) >= times:
                return str(found[-1])
            assert self.process.poll() is None, self.notices
            time.sleep(0.02)
        raise AssertionError((pattern, self.notices, self.results))

    def connect(self) -> socket.socket:
        """A connection to it."""
        return socket.create_connection(("127.0.0.1", self.port), timeout=_PATIENCE_S)

    def asked(self, request: bytes) -> bytes:
        """All that it answers to these bytes."""
        with self.connect() as connection:
            with contextlib.suppress(ConnectionError):
                connection.sendall(request)
            return _rest(connection)

    def peak_kib(self) -> int:
        """The most memory that the server's own process has had (VmHWM, proc(5))."""
        status = Path(f"/proc/{self.process.pid}/status").read_text(encoding="utf-8")
        return int(status.partition("VmHWM:")[2].split()[0])

    def files(self) -> list[str]:
        """What is in the folder, hidden files too."""
        return sorted(path.name for path in self.folder.iterdir())


def _rest(connection: socket.socket) -> bytes:
    pieces = []
    with contextlib.suppress(ConnectionError):
        while piece := connection.recv(65_536):
            pieces.append(piece)
    return b"".join(pieces)


@contextlib.contextmanager
def listening(folder: Path, *, address: str = "127.0.0.1", same: bool = False, **limits: float) -> Iterator[Server]:
    """A server that keeps captures in ``folder / "in"``; ``limits`` are those of ``Limits`` that are to differ."""
    (folder / "in").mkdir()
    with (folder / "out").open("wb") as out, (folder / "err").open("wb") as err:
        process = subprocess.Popen(
            [sys.executable, "-c", _SERVER, address, str(folder / "in"), "same" if same else "", repr(limits)],
            stdout=out,
            stderr=err,
            env={**os.environ, "PYTHONPATH": ":".join(filter(None, sys.path)), "COLUMNS": "80"},
        )
    try:
        yield Server(process, folder / "in", folder)
    finally:
        process.send_signal(signal.SIGCONT)
        process.kill()
        process.wait()


def posted(
    body: bytes | Capture, *fields: str, kind: str = "application/json", length: int | None = None, code: str = ""
) -> bytes:
    """The bytes of a request as it should be, with more header fields."""
    content = body if isinstance(body, bytes) else to_json(body).encode()
    lines = [
        "POST /capture HTTP/1.1",
        "Host: 127.0.0.1",
        f"Content-Type: {kind}",
        f"Content-Length: {len(content) if length is None else length}",
        *([f"Authorization: Bearer {code}"] if code else []),
        *fields,
    ]
    return "\r\n".join([*lines, "", ""]).encode() + content
