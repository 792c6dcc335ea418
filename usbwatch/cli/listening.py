"""The server of ``usbwatch listen``, run until Ctrl-C, and what it puts on the screen."""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import json
import os
import signal
import sys
from dataclasses import dataclass
from pathlib import Path

import usbwatch
from usbwatch.cli.screen import page_width, say, screen, show, write
from usbwatch.cli.taking import now
from usbwatch.listen import Arrival, Gate, Kept, Limits, Listener

__all__ = ["Request", "Screen", "serve", "worker_command"]

_WORKER = "usbwatch.cli.listen_worker"


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What was asked for on the command line."""

    address: str
    port: int
    folder: Path
    same_code: bool
    profile: str | None
    full: bool
    as_json: bool

    @property
    def loopback(self) -> bool:
        """Whether this computer alone can send."""
        return ipaddress.ip_address(self.address).is_loopback


class Screen:
    """The bench's screen: results on standard output, all else on standard error."""

    def __init__(self, *, as_json: bool) -> None:
        self._as_json = as_json

    def code(self, code: str) -> None:
        """Show the code that counts from now on."""
        from usbwatch.listen.codes import grouped
        from usbwatch.show.listen_view import code_view

        show(code_view(grouped(code)), err=True)

    def kept(self, kept: Kept, arrival: Arrival) -> None:
        """Say that something came, before it is checked."""
        what = "again what is there" if kept.already else "a capture, kept"
        say(f"usbwatch: {arrival.sender} sent {what} as {kept.file}")

    def judged(self, kept: Kept, arrival: Arrival, judged: dict[str, object] | None) -> None:
        """Show what the check came to."""
        late: dict[str, object] = {"problem": "its check did not come to an end in time"}
        told = judged if judged is not None else late
        if "problem" in told:
            say(f"usbwatch: {kept.file} is kept, and not checked: {told['problem']}; usbwatch check {kept.file}")
        if self._as_json:
            write(_json_line(kept, arrival, told))
        elif "text" in told:
            write(str(told["text"]))

    def notice(self, text: str) -> None:
        """Say what became of a sender."""
        say(f"usbwatch: {text}")


def _json_line(kept: Kept, arrival: Arrival, told: dict[str, object]) -> str:
    facts = {key: value for key, value in told.items() if key != "text"}
    document = {
        "format": "usbwatch-listen",
        "schema": 1,
        "at": now(),
        "from": arrival.sender,
        "file": kept.file,
        "digest": kept.digest,
        "already": kept.already,
        **facts,
    }
    return json.dumps(document, sort_keys=True) + "\n"


def serve(request: Request, limits: Limits | None = None) -> None:
    """Listen until the process is told to end. Raises ``CannotListen``."""
    with contextlib.suppress(KeyboardInterrupt):  # where the system has no handlers for it in a loop
        asyncio.run(_serve(request, limits or Limits()))


async def _serve(request: Request, limits: Limits) -> None:
    from usbwatch.errors import CannotListen
    from usbwatch.listen.work import Workers

    gate = Gate(asks=not request.loopback, same=request.same_code)
    workers = Workers(worker_command(), _worker_request(request), limits)
    listener = Listener(request.folder, Screen(as_json=request.as_json), workers, gate, limits)
    ended = asyncio.Event()
    _on_signals(ended)
    try:
        port = await listener.start(request.address, request.port)
    except OSError as error:
        raise CannotListen(request.address, request.port, error.strerror or str(error)) from None
    say(_where(request, port))
    await ended.wait()
    say("usbwatch: ending; what is being received is finished first.")
    await listener.stop()


def _on_signals(ended: asyncio.Event) -> None:
    loop = asyncio.get_running_loop()
    with contextlib.suppress(NotImplementedError):  # Windows
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, ended.set)


def _where(request: Request, port: int) -> str:
    host = f"[{request.address}]" if ":" in request.address else request.address
    who = "this computer alone" if request.loopback else "whoever shows the code; it is not encrypted"
    at = f"usbwatch: listening at http://{host}:{port}/capture for {who}"
    return f"{at}; captures go to {request.folder}. Ctrl-C ends it."


def worker_command() -> tuple[str, ...]:
    """How the process that works on one capture is started: nothing of the current folder is imported."""
    return (sys.executable, "-P", "-c", _START.format(str(Path(usbwatch.__file__).parents[1]), _WORKER))


_START = "import runpy, sys; sys.path.insert(0, {!r}); runpy.run_module({!r}, run_name='__main__')"


def _worker_request(request: Request) -> dict[str, object]:
    its = screen(sys.stdout, os.environ)
    return {
        "folder": str(request.folder),
        "profile": request.profile,
        "full": request.full,
        "as_json": request.as_json,
        "width": page_width(),
        "colours": its.colours,
        "ascii_only": its.ascii_only,
    }
