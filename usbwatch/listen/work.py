"""What becomes of a body that was received: read, kept and checked by a process of its own, under time limits.

The process is told in one line of JSON what to do, and answers in two: that it
is kept (or why not), which goes back to the sender, and then what its check
came to. It may hang, crash or eat memory over what is in a capture; it is then
ended, and the server goes on.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from usbwatch.listen.heads import BodyKind
from usbwatch.listen.limits import Limits

__all__ = ["Arrival", "Bench", "Job", "Kept", "NotKept", "Workers"]

_LONGEST_ANSWER = 32 * 1024 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """A body that was received."""

    path: Path
    """Where it lies until it is kept; removed after that."""
    kind: BodyKind
    sender: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A capture that is in the folder now."""

    file: str
    digest: str
    already: bool = False
    """Whether the same was there before."""


class NotKept(Exception):
    """Why a body was not kept, as its sender is told; ``status`` is the answer's."""

    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.status = status
        self.sentence = sentence


class Bench(Protocol):
    """Where the server tells what happens; none of these may take long."""

    def code(self, code: str) -> None:
        """A code counts from now on and is to be shown."""

    def kept(self, kept: Kept, arrival: Arrival) -> None:
        """A capture was kept and acknowledged; it is not checked yet."""

    def judged(self, kept: Kept, arrival: Arrival, judged: dict[str, object] | None) -> None:
        """What its check came to, as its process told it; None when that did not come to an end."""

    def notice(self, text: str) -> None:
        """Something that the technician may want to know: a sender that was refused."""


Started = Callable[[Arrival], Awaitable["Job"]]


class Workers:
    """Starts ``command`` for each body, ``limits.working`` at once; ``request`` is what each is told besides."""

    def __init__(self, command: Sequence[str], request: dict[str, object], limits: Limits) -> None:
        self._command, self._request, self._limits = tuple(command), request, limits
        self._free = asyncio.Semaphore(limits.working)

    async def started(self, arrival: Arrival) -> Job:
        """The job that works on a body, once there is a free place for it. Raises ``NotKept``."""
        await self._free.acquire()
        try:
            process = await asyncio.create_subprocess_exec(
                *self._command,
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                limit=_LONGEST_ANSWER,
                start_new_session=True,  # Ctrl-C is for the server; it lets what it has received be kept.
            )
        except OSError as error:
            self._free.release()
            raise NotKept(503, f"the bench cannot start what reads captures: {error.strerror}; try again") from None
        except BaseException:
            self._free.release()
            raise
        told = {**self._request, "path": str(arrival.path), "kind": arrival.kind.value}
        return Job(process, json.dumps(told), self._limits, self._free.release)


class Job:
    """One body's process."""

    def __init__(
        self, process: asyncio.subprocess.Process, request: str, limits: Limits, release: Callable[[], None]
    ) -> None:
        self._process, self._request, self._limits, self._release = process, request, limits, release

    async def kept(self) -> Kept:
        """That it is kept. Raises ``NotKept``."""
        assert self._process.stdin is not None
        with contextlib.suppress(ConnectionError):
            self._process.stdin.write(self._request.encode() + b"\n")
            self._process.stdin.close()
        told = await self._line(self._limits.keep_s)
        if told is None:
            raise NotKept(422, "it could not be read within the time and memory that any capture needs; not kept")
        if "refused" in told:
            status = told.get("status")
            raise NotKept(status if isinstance(status, int) else 422, str(told["refused"]))
        return Kept(file=str(told["file"]), digest=str(told["digest"]), already=bool(told.get("already")))

    async def judged(self) -> dict[str, object] | None:
        """What the check came to; None when it did not come to an end in time."""
        return await self._line(self._limits.judge_s)

    async def end(self) -> None:
        """End the process, whatever it is doing."""
        try:
            with contextlib.suppress(ProcessLookupError):
                self._process.kill()
            await self._process.wait()
        finally:
            self._release()

    async def _line(self, seconds: float) -> dict[str, object] | None:
        assert self._process.stdout is not None
        try:
            async with asyncio.timeout(seconds):
                line = await self._process.stdout.readline()
            told = json.loads(line)
        except (TimeoutError, ValueError):  # ValueError: no JSON, or a line longer than any
            return None
        return told if isinstance(told, dict) else None
