"""How long a good capture takes to be acknowledged among 200 hostile senders, and what that costs in memory.

    python benchmarks/listen_load.py [ROUNDS]

In one run: ``usbwatch listen`` without and with the hostile senders of
``tests/support/hostile_senders.py``, and the same against a plain server of
the standard library (``http.server.ThreadingHTTPServer``) that reads a body
whole and writes it to a file, without checking anything. Senders and servers
share this machine's processors.
"""

from __future__ import annotations

import http.client
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

_REPOSITORY = Path(__file__).parents[1]
sys.path.insert(0, str(_REPOSITORY / "tests"))

from support.listening import CAPTURES, listening  # noqa: E402 - the path is set above

from usbwatch.kit.posting import NotPosted, post  # noqa: E402

_SENDERS = 200
_PEER = """
import sys, tempfile
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
class Taking(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    def do_POST(self):
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        with tempfile.NamedTemporaryFile(dir=sys.argv[1], delete=False) as file:
            file.write(body)
        self.send_response(201)
        self.send_header("Content-Length", "0")
        self.send_header("Connection", "close")
        self.end_headers()
    def log_message(self, *arguments):
        pass
server = ThreadingHTTPServer(("127.0.0.1", 0), Taking)
print(server.server_address[1], flush=True)
server.serve_forever()
"""


def _with_path() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}


def _hostile(stack: ExitStack, port: int) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "support.hostile_senders", str(port), str(_SENDERS)],
        stdout=subprocess.PIPE,
        env=_with_path(),
    )
    stack.callback(process.kill)
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(2)


def _seconds(send: Callable[[], object], rounds: int) -> tuple[list[float], int]:
    """How long each good capture took, and how many were not taken at all."""
    took: list[float] = []
    lost = 0
    for _ in range(rounds):
        began = time.perf_counter()
        try:
            send()
        except (NotPosted, OSError, http.client.HTTPException):
            lost += 1
        else:
            took.append(time.perf_counter() - began)
    return took, lost


def _ours(rounds: int, *, hostile: bool) -> tuple[list[float], int, int]:
    content = (CAPTURES / "larch-13-top-case-lost.json").read_bytes()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        server = stack.enter_context(listening(folder))
        if hostile:
            _hostile(stack, server.port)

        def send() -> str:
            for path in server.folder.glob("*.json"):
                path.unlink()  # So that each is kept anew.
            return post(content, f"127.0.0.1:{server.port}")

        took, lost = _seconds(send, rounds)
        return took, lost, server.peak_kib()


def _peers(rounds: int, *, hostile: bool) -> tuple[list[float], int, int]:
    content = (CAPTURES / "larch-13-top-case-lost.json").read_bytes()
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory())
        process = subprocess.Popen([sys.executable, "-c", _PEER, folder], stdout=subprocess.PIPE)
        stack.callback(process.kill)
        assert process.stdout is not None
        port = int(process.stdout.readline())
        if hostile:
            _hostile(stack, port)
        took, lost = _seconds(lambda: post(content, f"127.0.0.1:{port}"), rounds)
        status = Path(f"/proc/{process.pid}/status").read_text(encoding="utf-8")
        return took, lost, int(status.partition("VmHWM:")[2].split()[0])


def _told(name: str, took: list[float], lost: int, peak_kib: int) -> float:
    middle = statistics.median(took) if took else float("nan")
    longest = max(took, default=float("nan"))
    print(f"{name:<44}{middle * 1000:8.0f} ms{longest * 1000:8.0f} ms{lost:6}{peak_kib / 1024:8.0f} MiB")
    return middle


def main() -> None:
    """Print the table."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    print(f"{'':<44}{'median':>11}{'longest':>11}{'lost':>6}{'peak':>12}")
    quiet = _told("usbwatch listen (reads and checks it)", *_ours(rounds, hostile=False))
    loud = _told(f"  the same among {_SENDERS} hostile senders", *_ours(rounds, hostile=True))
    peer = _told("http.server, threads (writes it unread)", *_peers(rounds, hostile=False))
    peer_loud = _told(f"  the same among {_SENDERS} hostile senders", *_peers(rounds, hostile=True))
    print(f"among hostile senders / alone: usbwatch listen {loud / quiet:.1f}, http.server {peer_loud / peer:.1f}")


if __name__ == "__main__":
    main()
