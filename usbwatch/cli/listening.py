"""The server of ``usbwatch listen``, run until Ctrl-C, and what it puts on the screen."""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import json
import os
import signal
import sys
from collections.abc import Callable, Iterator
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
    """The bench's screen: results on standard output, all else on standard error.

    Nothing that it cannot write is raised: what comes in is kept and
    acknowledged all the same. ``on_closed`` is called at the first such
    output, and ``problem`` is the error.
    """

    def __init__(self, *, as_json: bool, on_closed: Callable[[], None] = lambda: None) -> None:
        self._as_json, self._on_closed = as_json, on_closed
        self.problem: Exception | None = None

    def code(self, code: str) -> None:
        """Show the code that counts from now on."""
        from usbwatch.listen.codes import grouped
        from usbwatch.show.listen_view import code_view

        with self._noting():
            show(code_view(grouped(code)), err=True)

    def kept(self, kept: Kept, arrival: Arrival) -> None:
        """Say that something came, before it is checked."""
        what = "again what is there" if kept.already else "a capture, kept"
        self.say(f"{arrival.sender} sent {what} as {kept.file}")

    def judged(self, kept: Kept, arrival: Arrival, judged: dict[str, object] | None) -> None:
        """Show what the check came to."""
        late: dict[str, object] = {"problem": "its check did not come to an end in time"}
        told = judged if judged is not None else late
        if "problem" in told:
            self.say(f"{kept.file} is kept, and not checked: {told['problem']}; usbwatch check {kept.file}")
        with self._noting():
            if self._as_json:
                write(_json_line(kept, arrival, told))
            elif "text" in told:
                write(str(told["text"]))

    def notice(self, text: str) -> None:
        """Say what became of a sender."""
        self.say(text)

    def say(self, text: str) -> None:
        """Say something on standard error."""
        with self._noting():
            say(f"usbwatch: {text}")

    @contextlib.contextmanager
    def _noting(self) -> Iterator[None]:
        from usbwatch.errors import UnwritableOutput

        try:
            yield
        except (OSError, UnwritableOutput) as error:
            self.problem = self.problem or error
            self._on_closed()


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
    """Listen until the process is told to end.

    Raises ``CannotListen``; ``BrokenPipeError`` or ``UnwritableOutput`` when
    it ended because standard output or error takes no more.
    """
    with contextlib.suppress(KeyboardInterrupt):  # where the system has no handlers for it in a loop
        asyncio.run(_serve(request, limits or Limits()))


async def _serve(request: Request, limits: Limits) -> None:
    from usbwatch.errors import CannotListen
    from usbwatch.listen.work import Workers

    gate = Gate(asks=not request.loopback, same=request.same_code)
    workers = Workers(worker_command(), _worker_request(request), limits)
    ended, hung_up = asyncio.Event(), asyncio.Event()
    its = Screen(as_json=request.as_json, on_closed=ended.set)
    listener = Listener(request.folder, its, workers, gate, limits)
    _on_signals(ended, hung_up)
    try:
        port = await listener.start(request.address, request.port)
    except OSError as error:
        raise CannotListen(request.address, request.port, error.strerror or str(error)) from None
    its.say(_where(request, port))
    await ended.wait()
    its.say("ending; what is being received is finished first.")
    await listener.stop()
    if its.problem is not None and not hung_up.is_set():
        raise its.problem


def _on_signals(ended: asyncio.Event, hung_up: asyncio.Event) -> None:
    """End well at the usual signals; after a hang-up there is no terminal left that could be written to."""
    loop = asyncio.get_running_loop()

    def hang_up() -> None:
        hung_up.set()
        ended.set()

    with contextlib.suppress(NotImplementedError):  # Windows
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, ended.set)
        if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:  # else it is to outlive its terminal: nohup(1)
            loop.add_signal_handler(signal.SIGHUP, hang_up)


def _where(request: Request, port: int) -> str:
    who = "this computer alone" if request.loopback else "whoever shows the code; it is not encrypted"
    kept = f"captures go to {request.folder}. Ctrl-C ends it."
    its = ipaddress.ip_address(request.address)
    if not its.is_unspecified:
        return f"listening at {_url(request.address, port)} for {who}; {kept}"
    from usbwatch.listen.addresses import own_addresses

    own = own_addresses(its.version)
    if not own:
        found = f"no address of this computer was found that a unit could use (IPv{its.version})"
        return f"listening at {_url(request.address, port)} for {who}; {found}; {kept}"
    return f"listening at {' and '.join(_url(one, port) for one in own)} for {who}; {kept}"


def _url(address: str, port: int) -> str:
    host = f"[{address}]" if ":" in address else address
    return f"http://{host}:{port}/capture"


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
