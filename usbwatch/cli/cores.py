"""Work on many files by all cores of the computer, with what comes of each handed back in their order.

Processes, since it is Python that takes the time; begun as fresh interpreters, which is the same on every system and
safe whatever threads a library has started. Little is ahead of what has been handed back, so memory does not grow with
the number of files, and the first result is there as soon as it is known.

Nobody is left behind. Ctrl-C is the main process's alone: it ends the work, and waits for the few files that are under
way. Each worker watches the main process, and ends with it, however that ended.
"""

from __future__ import annotations

import os
import signal
import sys
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

__all__ = ["in_order", "usable_cores", "workers_for"]

Item = TypeVar("Item")
Result = TypeVar("Result")

AHEAD = 8
"""Items for each worker that are given out before they are needed: one that takes long holds up nobody else."""
WORTH_A_WORKER = 16
"""Files. Fewer than so many for each worker are done sooner here than a second interpreter has started."""
_MOST_WORKERS = 61 if sys.platform == "win32" else 1000
"""Windows waits for no more than 64 things at once (WaitForMultipleObjects), of which a pool needs three."""


def usable_cores() -> int:
    """Cores that this process may run on."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def workers_for(count: int) -> int:
    """How many processes so many files are worth; 0: work in this one."""
    workers = min(usable_cores(), count // WORTH_A_WORKER, _MOST_WORKERS)
    return workers if workers > 1 else 0


def in_order(work: Callable[[Item], Result], items: Sequence[Item], workers: int) -> Generator[Result]:
    """What ``work`` makes of each item, in their order. Close the iterator to end early.

    ``work``, the items and the results are sent between processes, so they must bear pickling. Raises
    ``WorkerLost`` where a worker was ended from outside, and whatever ``work`` raises.
    """
    if not workers or not _can_share():
        yield from map(work, items)
        return
    from concurrent.futures.process import BrokenProcessPool

    from usbwatch.errors import WorkerLost

    done = 0
    try:
        with _pool(workers) as pool:
            for result in _windowed(pool, work, items, workers * AHEAD):
                yield result
                done += 1
    except BrokenProcessPool as error:
        raise WorkerLost(done, len(items)) from error


def _can_share() -> bool:
    """Whether processes can have semaphores together: some containers have no writable /dev/shm (sem_overview(7))."""
    from multiprocessing import get_context

    try:
        get_context("spawn").Lock()
    except (OSError, ImportError, NotImplementedError):
        return False
    return True


def _windowed(
    pool: ProcessPoolExecutor, work: Callable[[Item], Result], items: Sequence[Item], ahead: int
) -> Iterator[Result]:
    pending: deque[Future[Result]] = deque()
    for item in items:
        with _interrupts_held():  # whatever worker this starts must not hear of them
            pending.append(pool.submit(work, item))
        if len(pending) >= ahead:
            yield pending.popleft().result()
    while pending:
        yield pending.popleft().result()


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    pool = ProcessPoolExecutor(workers, get_context("spawn"), _settle_in)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Ctrl-C comes a moment later; a process begun meanwhile has it blocked from its first instruction on."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _settle_in() -> None:
    """What a worker does before its first item."""
    from threading import Thread

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    from multiprocessing import parent_process
    from multiprocessing.connection import wait

    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(0)
