"""One connection's bytes: a request's head, its body, one answer; everything about time and length is bounded here.

Closing after each answer (RFC 9112 section 9.6) leaves nothing to what a
sender puts behind its request: no second request is ever read.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from usbwatch.listen.heads import Head
from usbwatch.listen.limits import Limits
from usbwatch.safe import safe

if TYPE_CHECKING:
    import h11

__all__ = ["Answer", "GoneError", "RefusedError", "Wire"]

_READ = 16_384
"""Bytes read at once: a head comes to no more than this and ``Limits.head_bytes`` together."""
_PROBED_PIECES = 1000
_SMALLEST_PIECE = 64
"""Bytes of a chunk on average: chunks of a byte each would cost more than they bring."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A status, one sentence for the sender, and more fields."""

    status: int
    sentence: str
    fields: tuple[tuple[str, str], ...] = field(default=())


class RefusedError(Exception):
    """What comes is not taken; ``answer`` says why."""

    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.answer = Answer(status=status, sentence=sentence)


class GoneError(Exception):
    """The sender has closed the connection."""


class Wire:
    """A connection from its first byte to its end. What h11 refuses is raised as ``h11.RemoteProtocolError``."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, limits: Limits) -> None:
        import h11

        self._reader, self._writer, self._limits = reader, writer, limits
        self._wire = h11.Connection(h11.SERVER, max_incomplete_event_size=limits.head_bytes)
        self.receiving = False
        """Whether a body is still coming."""

    def drop(self) -> None:
        """End it now, without an answer."""
        self._writer.transport.abort()

    def close(self) -> None:
        """End it once all that was written is sent."""
        self._writer.close()

    async def head(self) -> Head:
        """The request's head. Raises ``RefusedError`` when it is late, ``GoneError`` when none comes."""
        import h11

        try:
            async with asyncio.timeout(self._limits.head_s):
                event = await self._event()
        except TimeoutError:
            raise RefusedError(408, "the request did not come in time; send it at once") from None
        if not isinstance(event, h11.Request):
            raise GoneError
        return Head(method=event.method, target=event.target, version=event.http_version, fields=tuple(event.headers))

    async def body(self, take: Callable[[bytes], None]) -> None:
        """Hand on the body piece by piece.

        Raises ``RefusedError`` when it is too much, too slow or nothing, ``GoneError`` when it is not whole.
        """
        import h11

        if self._wire.they_are_waiting_for_100_continue:
            await self._send(h11.InformationalResponse(status_code=100, headers=[]))
        try:
            self.receiving = True
            async with asyncio.timeout(self._limits.body_s):
                await self._pieces(take)
        except TimeoutError:
            raise RefusedError(408, "the body did not come in time; send it again") from None
        finally:
            self.receiving = False

    async def _pieces(self, take: Callable[[bytes], None]) -> None:
        import h11

        limits, clock = self._limits, asyncio.get_running_loop().time
        began, size, pieces = clock(), 0, 0
        while True:
            async with asyncio.timeout(limits.idle_s):
                event = await self._event()
            if isinstance(event, h11.EndOfMessage):
                break
            if not isinstance(event, h11.Data):
                raise GoneError
            size, pieces = size + len(event.data), pieces + 1
            if size > limits.largest:
                raise RefusedError(413, f"it is larger than {limits.largest // 1024**2} MiB, as no capture is")
            if pieces > _PROBED_PIECES and size < pieces * _SMALLEST_PIECE:
                raise RefusedError(400, "it comes in too small chunks; send it in one piece")
            if clock() - began > limits.grace_s and size < limits.slowest * (clock() - began):
                raise RefusedError(408, "it comes too slowly; send it again")
            take(bytes(event.data))
        if not size:
            raise RefusedError(400, "it is empty; send the capture file as the body")

    async def _event(self) -> h11.Event:
        import h11

        while True:
            event = self._wire.next_event()
            if event is h11.NEED_DATA:
                self._wire.receive_data(await self._reader.read(_READ))
            elif event is h11.PAUSED:
                raise GoneError
            else:
                assert not isinstance(event, type)
                return event

    async def _send(self, event: h11.Event) -> None:
        data = self._wire.send(event)
        if data:
            self._writer.write(data)
            await self._writer.drain()

    async def tell(self, answer: Answer) -> None:
        """Send the answer, unless one was begun."""
        import h11

        if self._wire.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            await self._respond(answer)

    async def linger(self) -> None:
        """Read on for a little, so that the sender gets the answer (RFC 9112 section 9.6)."""
        with contextlib.suppress(OSError):
            self._writer.write_eof()
        left = self._limits.drained
        while left > 0:
            piece = await self._reader.read(_READ)
            if not piece:
                break
            left -= len(piece)

    async def _respond(self, answer: Answer) -> None:
        import h11

        body = f"usbwatch: {safe(answer.sentence, 1000)}\n".encode()
        fields = [
            ("Content-Type", "text/plain; charset=utf-8"),
            ("Content-Length", str(len(body))),
            ("Cache-Control", "no-store"),
            ("X-Content-Type-Options", "nosniff"),
            ("Connection", "close"),
            *answer.fields,
        ]
        await self._send(h11.Response(status_code=answer.status, headers=fields, reason=b""))
        await self._send(h11.Data(data=body))
        await self._send(h11.EndOfMessage())
