"""By how much CLOCK_MONOTONIC is ahead of the stamps of the kernel's log, in microseconds: the surest of five tries.

A line is written into the log between two readings of the clock, and read back with the stamp that the kernel gave it.
"""

from __future__ import annotations

import os
import select
import time

writing = os.open("/dev/kmsg", os.O_WRONLY)
reading = os.open("/dev/kmsg", os.O_RDONLY | os.O_NONBLOCK)
os.lseek(reading, 0, os.SEEK_END)
tries = []
for number in range(5):
    before = time.monotonic_ns()
    os.write(writing, f"clock {number}\n".encode())
    after = time.monotonic_ns()
    record = b""
    while f"clock {number}".encode() not in record:
        assert select.select([reading], [], [], 10)[0], "the line is not in the log"
        record = os.read(reading, 8192)
    tries.append((after - before, (before + after) // 2000 - int(record.split(b",")[2])))
print(min(tries)[1])  # noqa: T201 - the answer
