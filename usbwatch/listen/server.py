"""The server: who is connected, who is dropped to make room, and how it ends."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections import Counter
from pathlib import Path

from usbwatch.listen.codes import Gate
from usbwatch.listen.exchange import Exchange
from usbwatch.listen.limits import PIECE, Limits
from usbwatch.listen.notices import Notices
from usbwatch.listen.spool import swept
from usbwatch.listen.work import Arrival, Bench, Job, Kept, Workers

__all__ = ["Listener"]

_BACKLOG = 512


class Listener:
    """Takes captures into ``folder`` and tells ``bench`` of them; ``start`` it, and ``stop`` it."""

    def __init__(self, folder: Path, bench: Bench, workers: Workers, gate: Gate, limits: Limits) -> None:
        self.folder, self.limits, self.gate = folder, limits, gate
        self.notices = Notices(bench.notice, time.monotonic)
        self._bench, self._workers = bench, workers
        self._exchanges: dict[Exchange, asyncio.Task[None]] = {}
        self._checks: set[asyncio.Task[None]] = set()
        self._server: asyncio.Server | None = None
        self._ending = False

    async def start(self, address: str, port: int) -> int:
        """Begin to take captures; the port, which the system chooses for 0. Raises ``OSError``."""
        swept(self.folder)
        self._server = await asyncio.start_server(self._met, address, port, limit=PIECE, backlog=_BACKLOG)
        if self.gate.asks:
            self._bench.code(self.gate.code)
        return int(self._server.sockets[0].getsockname()[1])

    async def stop(self) -> None:
        """Take no more; let what is being received, kept and checked end, for ``limits.stop_s`` at most."""
        self._ending = True
        if self._server is not None:
            self._server.close()
        for exchange in [one for one in self._exchanges if not one.entitled]:
            self._drop(exchange)
        await self._done(set(self._exchanges.values()))
        await self._done(self._checks)
        self.notices.sum_up()

    async def _done(self, tasks: set[asyncio.Task[None]]) -> None:
        if not tasks:
            return
        _, late = await asyncio.wait(tasks, timeout=self.limits.stop_s)
        for task in late:
            task.cancel()
        if late:
            await asyncio.wait(late, timeout=1)

    # --- Connections --------------------------------------------------------------------------

    async def _met(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self._ending or not self._has_place():
            self.notices.add("a sender", "all connections are taken by captures that are coming in")
            await _turned_away(writer)
            return
        exchange = Exchange(reader, writer, self)
        task = asyncio.current_task()
        assert task is not None
        self._exchanges[exchange] = task
        try:
            await exchange.run()
        except asyncio.CancelledError:
            exchange.drop()
        finally:
            self._exchanges.pop(exchange, None)
            self.notices.pass_time()

    def _has_place(self) -> bool:
        """Whether there is a place for one more: else the oldest without a right to send makes room.

        Of those, one of the address that has most of them: who opens many pays for it first.
        """
        if len(self._exchanges) < self.limits.connections:
            return True
        waiting = [one for one in self._exchanges if not one.entitled]
        if not waiting:
            return False
        count = Counter(one.sender for one in waiting)
        most = max(count.values())
        self._drop(next(one for one in waiting if count[one.sender] == most))
        return True

    def _drop(self, exchange: Exchange) -> None:
        task = self._exchanges.pop(exchange)
        exchange.drop()
        task.cancel()
        if not self._ending:
            so_far = "all that it sends" if exchange.receiving else "a request"
            self.notices.add(exchange.sender, f"dropped to make room, as it had not sent {so_far} yet")

    # --- What the connections share -------------------------------------------------------------

    def room(self) -> bool:
        """Whether another body can be received now.

        Who has shown a code is never dropped. Where none is asked for, the body that has been coming the longest
        makes room: a capture takes no time, and what takes longest is the likeliest to mean no good.
        """
        coming = [one for one in self._exchanges if one.receiving and not one.again]
        if self._ending or len(coming) < self.limits.receiving:
            return not self._ending
        if not self.gate.asks:
            self._drop(coming[0])
        return not self.gate.asks

    def room_again(self) -> bool:
        """Whether a body that was kept before can be received now: of these there is one at a time.

        They take no other's place, for whoever sends one has had its turn.
        """
        return not self._ending and not any(one.again for one in self._exchanges)

    async def started(self, arrival: Arrival) -> Job:
        """The job that reads, keeps and checks a body."""
        return await self._workers.started(arrival)

    def new_code(self) -> None:
        """Show the code that counts from now on."""
        self._bench.code(self.gate.code)

    def kept(self, kept: Kept, arrival: Arrival, job: Job) -> None:
        """Say so, and let its check go on beside all else."""
        self._bench.kept(kept, arrival)
        task = asyncio.create_task(self._checked(kept, arrival, job))
        self._checks.add(task)
        task.add_done_callback(self._checks.discard)

    async def _checked(self, kept: Kept, arrival: Arrival, job: Job) -> None:
        judged = None
        try:
            judged = await job.judged()
        finally:
            await asyncio.shield(job.end())
            self._bench.judged(kept, arrival, judged)


async def _turned_away(writer: asyncio.StreamWriter) -> None:
    body = b"usbwatch: the bench is busy with other captures; try again\n"
    head = b"HTTP/1.1 503 \r\nRetry-After: 2\r\nConnection: close\r\nContent-Type: text/plain\r\n"
    with contextlib.suppress(OSError, TimeoutError):
        writer.write(head + b"Content-Length: %d\r\n\r\n" % len(body) + body)
        async with asyncio.timeout(1):
            await writer.drain()
    writer.close()
