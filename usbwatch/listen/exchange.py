"""One connection: one request, taken or refused, and one answer; then it is closed.

Closing after each answer (RFC 9112 section 9.6) leaves nothing to what a
sender puts behind its request: no second request is ever read.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from usbwatch.listen.codes import Gate, Standing, Used
from usbwatch.listen.heads import Head, Order, Refusal, ordered
from usbwatch.listen.limits import Limits
from usbwatch.listen.notices import Notices
from usbwatch.listen.spool import Spool
from usbwatch.listen.work import Arrival, Job, Kept, NotKept
from usbwatch.safe import safe

if TYPE_CHECKING:
    import h11

__all__ = ["Answer", "Desk", "Exchange"]

_READ = 16_384
"""Bytes read at once: a head comes to no more than this and ``Limits.head_bytes`` together."""
_PROBED_PIECES = 1000
_SMALLEST_PIECE = 64
"""Bytes of a chunk on average: chunks of a byte each would cost more than they bring."""


class Desk(Protocol):
    """What all connections share."""

    folder: Path
    limits: Limits
    gate: Gate
    notices: Notices

    def room(self) -> bool:
        """Whether another body can be received now, if need be by dropping one."""

    async def started(self, arrival: Arrival) -> Job:
        """The job that reads, keeps and checks a body."""

    def kept(self, kept: Kept, arrival: Arrival, job: Job) -> None:
        """It is kept: its check goes on by itself."""

    def new_code(self) -> None:
        """A new code counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A status, one sentence for the sender, and more fields."""

    status: int
    sentence: str
    fields: tuple[tuple[str, str], ...] = field(default=())


_CodeWrong = Answer(
    status=401,
    sentence="the code is wrong or used up; the one on the bench's screen counts",
    fields=(("WWW-Authenticate", 'Bearer realm="usbwatch"'),),
)
_LATER = (("Retry-After", "2"),)


class _RefusedError(Exception):
    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.answer = Answer(status=status, sentence=sentence)


class _GoneError(Exception):
    """The sender has closed the connection."""


class Exchange:
    """A connection from its first byte to its end."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, desk: Desk) -> None:
        import h11

        self._reader, self._writer, self._desk = reader, writer, desk
        self._wire = h11.Connection(h11.SERVER, max_incomplete_event_size=desk.limits.head_bytes)
        self.entitled = False
        """Whether it may send, and so is not dropped to make room for a connection."""
        self.receiving = False
        """Whether its body is still coming."""
        peer = writer.get_extra_info("peername")
        self.sender = safe(str(peer[0]), 60) if peer else "a sender"

    def drop(self) -> None:
        """End it now, without an answer."""
        self._writer.transport.abort()

    async def run(self) -> None:
        """Serve it; raises nothing for anything that the sender does."""
        import h11

        try:
            answer = await self._answer()
            await self._tell(answer)
        except (_GoneError, ConnectionError, TimeoutError, h11.ProtocolError, OSError):
            self.drop()
        finally:
            self._writer.close()

    async def _answer(self) -> Answer:
        import h11

        try:
            answer = await self._served()
        except h11.RemoteProtocolError as error:
            answer = Answer(status=error.error_status_hint, sentence=f"that is not HTTP/1.1 as it should be: {error}")
        except _RefusedError as error:
            answer = error.answer
        except NotKept as error:
            answer = Answer(status=error.status, sentence=error.sentence)
        if answer.status >= 400:  # noqa: PLR2004 - RFC 9110 sections 15.5 and 15.6
            self._desk.notices.add(self.sender, safe(answer.sentence))
        return answer

    async def _served(self) -> Answer:
        try:
            async with asyncio.timeout(self._desk.limits.head_s):
                head = await self._head()
        except TimeoutError:
            raise _RefusedError(408, "the request did not come in time; send it at once") from None
        order = ordered(head, self._desk.limits.largest)
        if isinstance(order, Refusal):
            return Answer(status=order.status, sentence=order.sentence, fields=order.fields)
        return await self._by_standing(order)

    async def _head(self) -> Head:
        import h11

        event = await self._event()
        if not isinstance(event, h11.Request):
            raise _GoneError
        return Head(method=event.method, target=event.target, version=event.http_version, fields=tuple(event.headers))

    async def _by_standing(self, order: Order) -> Answer:
        standing = self._desk.gate.standing(order.code)
        if standing is Standing.WRONG:
            return _CodeWrong
        if standing is Standing.USED:
            return await self._again(order)
        if standing is Standing.BUSY:
            return Answer(status=503, sentence="another capture is coming with this code; try again", fields=_LATER)
        if not self._desk.room():
            return Answer(status=503, sentence="the bench is busy with other captures; try again", fields=_LATER)
        self.entitled = True
        self._desk.gate.take()
        used = None
        try:
            answer, used = await self._kept(order)
        finally:
            if used is None:
                self._desk.gate.give_back()
        if self._desk.gate.use_up(used):
            self._desk.new_code()
        return answer

    async def _again(self, order: Order) -> Answer:
        """What a used code kept may be sent again, by a sender that did not hear the answer; nothing is written."""
        used = self._desk.gate.used(order.code)
        if used is None or order.length != used.length or not self._desk.room():
            return _CodeWrong
        self.entitled = True
        total = hashlib.sha256()
        await self._receive(total.update)
        return Answer(status=200, sentence=used.answer) if total.digest() == used.body else _CodeWrong

    # --- The body ---------------------------------------------------------------------------

    async def _kept(self, order: Order) -> tuple[Answer, Used]:
        try:
            spool = Spool(self._desk.folder)
        except OSError as error:
            raise _RefusedError(507, f"the bench cannot write: {error.strerror}") from None
        with spool:
            await self._receive(spool.add)
            spool.close()
            if not spool.seems(order.kind):
                raise _RefusedError(422, f"it is no {order.kind.value} of a unit; send the file that the kit made")
            arrival = Arrival(path=spool.path, kind=order.kind, sender=self.sender)
            kept = await self._worked_on(arrival)
            done = Answer(
                status=200 if kept.already else 201,
                sentence=f"{'there already' if kept.already else 'kept'} as {kept.file}, {kept.digest}",
            )
            return done, Used(
                body=spool.digest, length=spool.length, answer=f"there already as {kept.file}, {kept.digest}"
            )

    async def _worked_on(self, arrival: Arrival) -> Kept:
        job = await self._desk.started(arrival)
        try:
            kept = await job.kept()
        except BaseException:
            await asyncio.shield(job.end())
            raise
        self._desk.kept(kept, arrival, job)
        return kept

    async def _receive(self, take: Callable[[bytes], None]) -> None:
        """Hand on the body piece by piece; raises ``_RefusedError`` when it is too much, too slow or not whole."""
        import h11

        if self._wire.they_are_waiting_for_100_continue:
            await self._send(h11.InformationalResponse(status_code=100, headers=[]))
        try:
            self.receiving = True
            async with asyncio.timeout(self._desk.limits.body_s):
                await self._pieces(take)
        except TimeoutError:
            raise _RefusedError(408, "the body did not come in time; send it again") from None
        except OSError as error:
            if error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EFBIG):
                raise
            raise _RefusedError(507, f"the bench cannot write: {error.strerror}") from None
        finally:
            self.receiving = False

    async def _pieces(self, take: Callable[[bytes], None]) -> None:
        import h11

        limits, clock = self._desk.limits, asyncio.get_running_loop().time
        began, size, pieces = clock(), 0, 0
        while True:
            async with asyncio.timeout(limits.idle_s):
                event = await self._event()
            if isinstance(event, h11.EndOfMessage):
                break
            if not isinstance(event, h11.Data):
                raise _GoneError
            size, pieces = size + len(event.data), pieces + 1
            if size > limits.largest:
                raise _RefusedError(413, f"it is larger than {limits.largest // 1024**2} MiB, as no capture is")
            if pieces > _PROBED_PIECES and size < pieces * _SMALLEST_PIECE:
                raise _RefusedError(400, "it comes in too small chunks; send it in one piece")
            if clock() - began > limits.grace_s and size < limits.slowest * (clock() - began):
                raise _RefusedError(408, "it comes too slowly; send it again")
            take(bytes(event.data))
        if not size:
            raise _RefusedError(400, "it is empty; send the capture file as the body")

    # --- The wire ---------------------------------------------------------------------------

    async def _event(self) -> h11.Event:
        import h11

        while True:
            event = self._wire.next_event()
            if event is h11.NEED_DATA:
                self._wire.receive_data(await self._reader.read(_READ))
            elif event is h11.PAUSED:
                raise _GoneError
            else:
                assert not isinstance(event, type)
                return event

    async def _send(self, event: h11.Event) -> None:
        data = self._wire.send(event)
        if data:
            self._writer.write(data)
            await self._writer.drain()

    async def _tell(self, answer: Answer) -> None:
        """Send the answer, and read on for a little, so that the sender gets it (RFC 9112 section 9.6)."""
        import h11

        async with asyncio.timeout(self._desk.limits.answer_s):
            if self._wire.our_state in (h11.IDLE, h11.SEND_RESPONSE):
                await self._respond(answer)
            self.entitled = False
            with contextlib.suppress(OSError):
                self._writer.write_eof()
            left = self._desk.limits.drained
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
