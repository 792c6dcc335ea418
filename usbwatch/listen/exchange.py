"""One connection: one request, taken or refused, and one answer; then it is closed."""

from __future__ import annotations

import asyncio
import hashlib
from pathlib import Path
from typing import Protocol

from usbwatch.listen.codes import CodeStanding, Gate, Used
from usbwatch.listen.heads import Order, Refusal, ordered
from usbwatch.listen.limits import Limits
from usbwatch.listen.notices import Notices
from usbwatch.listen.spool import NotSpooled, Spool
from usbwatch.listen.wire import Answer, GoneError, RefusedError, Wire
from usbwatch.listen.work import Arrival, Job, Kept, NotKept
from usbwatch.safe import safe

__all__ = ["Desk", "Exchange"]


class Desk(Protocol):
    """What all connections share."""

    folder: Path
    limits: Limits
    gate: Gate
    notices: Notices

    def room(self) -> bool:
        """Whether another body can be received now, if need be by dropping one."""

    def room_again(self) -> bool:
        """Whether a body can be received now that was kept before: one at a time, beside all others."""

    async def started(self, arrival: Arrival) -> Job:
        """The job that reads, keeps and checks a body."""

    def kept(self, kept: Kept, arrival: Arrival, job: Job) -> None:
        """It is kept: its check goes on by itself."""

    def new_code(self) -> None:
        """A new code counts."""


_CODE_WRONG = Answer(
    status=401,
    sentence="the code is wrong or used up; the one on the bench's screen counts",
    fields=(("WWW-Authenticate", 'Bearer realm="usbwatch"'),),
)
_LATER = (("Retry-After", "2"),)
_BUSY = Answer(status=503, sentence="the bench is busy with other captures; try again", fields=_LATER)


class Exchange:
    """A connection from its first byte to its end."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, desk: Desk) -> None:
        self._desk, self._wire = desk, Wire(reader, writer, desk.limits)
        self.entitled = False
        """Whether it may send, and so is not dropped to make room for a connection."""
        self.again = False
        """Whether what it sends was kept before."""
        peer = writer.get_extra_info("peername")
        self.sender = safe(str(peer[0]), 60) if peer else "a sender"

    @property
    def receiving(self) -> bool:
        """Whether its body is still coming."""
        return self._wire.receiving

    def drop(self) -> None:
        """End it now, without an answer."""
        self._wire.drop()

    async def run(self) -> None:
        """Serve it; raises nothing for anything that the sender does."""
        import h11

        try:
            answer = await self._answer()
            async with asyncio.timeout(self._desk.limits.answer_s):
                await self._wire.tell(answer)
                self.entitled = self.again = False
                await self._wire.linger()
        except (GoneError, ConnectionError, TimeoutError, h11.ProtocolError, OSError):
            self.drop()
        finally:
            self._wire.close()

    async def _answer(self) -> Answer:
        import h11

        try:
            answer = await self._served()
        except h11.RemoteProtocolError as error:
            answer = Answer(status=error.error_status_hint, sentence=f"that is not HTTP/1.1 as it should be: {error}")
        except RefusedError as error:
            answer = error.answer
        except NotSpooled as error:
            answer = Answer(status=507, sentence=f"the bench cannot write: {error}")
        except NotKept as error:
            answer = Answer(status=error.status, sentence=error.sentence)
        if answer.status >= 400:  # noqa: PLR2004 - RFC 9110 sections 15.5 and 15.6
            self._desk.notices.add(self.sender, safe(answer.sentence))
        return answer

    async def _served(self) -> Answer:
        order = ordered(await self._wire.head(), self._desk.limits.largest)
        if isinstance(order, Refusal):
            return Answer(status=order.status, sentence=order.sentence, fields=order.fields)
        return await self._by_standing(order)

    async def _by_standing(self, order: Order) -> Answer:
        standing = self._desk.gate.standing(order.code)
        if standing is CodeStanding.WRONG:
            return _CODE_WRONG
        if standing is CodeStanding.USED:
            return await self._again(order)
        if standing is CodeStanding.BUSY:
            return Answer(status=503, sentence="another capture is coming with this code; try again", fields=_LATER)
        if not self._desk.room():
            return _BUSY
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
        if used is None or order.length != used.length:
            return _CODE_WRONG
        if not self._desk.room_again():
            return _BUSY
        self.entitled = self.again = True
        total = hashlib.sha256()
        await self._wire.body(total.update)
        return Answer(status=200, sentence=used.answer) if total.digest() == used.body else _CODE_WRONG

    # --- The body ---------------------------------------------------------------------------

    async def _kept(self, order: Order) -> tuple[Answer, Used]:
        with Spool(self._desk.folder) as spool:
            await self._wire.body(spool.add)
            spool.finish()
            if not spool.seems(order.kind):
                raise RefusedError(422, f"it is no {order.kind.value} of a unit; send the file that the kit made")
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
