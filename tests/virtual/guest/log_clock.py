"""By how much CLOCK_MONOTONIC is ahead of the stamps of the kernel's log, in microseconds: the least of ten tries.

A line is written into the log between two readings of the clock, and read back with the stamp that the kernel gave it.
"""

from __future__ import annotations

import os
import time

offsets = []
log = os.open("/dev/kmsg", os.O_RDWR | os.O_NONBLOCK)
os.lseek(log, 0, os.SEEK_END)
for number in range(10):
    before = time.monotonic_ns()
    os.write(log, f"clock {number}".encode())
    after = time.monotonic_ns()
    stamp_us = int(os.read(log, 8192).split(b",")[2])
    offsets.append((after - before, (before + after) // 2000 - stamp_us))
print(min(offsets)[1])  # noqa: T201 - the answer
