"""Each line of standard input with the moment at which it came before it: microseconds of CLOCK_MONOTONIC."""

from __future__ import annotations

import sys
import time

for line in iter(sys.stdin.readline, ""):
    sys.stdout.write(f"{time.monotonic_ns() // 1000} {line}")
    sys.stdout.flush()
