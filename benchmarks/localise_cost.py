"""What localising costs on a shipped capture, against reading that capture's file in the same run.

Run: ``python benchmarks/localise_cost.py``. Prints CPU milliseconds of both and their ratio.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

from usbwatch.capture import load
from usbwatch.compare import findings
from usbwatch.localise import suspects
from usbwatch.profile import find, shipped

ROUNDS = 15


def cpu_ms(work: Callable[[], object]) -> float:
    """Median CPU milliseconds of one round."""
    rounds = []
    for _ in range(ROUNDS):
        begun = time.process_time()
        work()
        rounds.append(time.process_time() - begun)
    return 1000 * statistics.median(rounds)


def main() -> None:
    """Print the figures."""
    path = str(shipped("captures") / "larch-13-top-case-lost.json")
    profile = find("fernhill-larch-13")
    found = findings(load(path), profile)
    reading = cpu_ms(lambda: load(path))
    localising = cpu_ms(lambda: suspects(found, profile))
    print(f"localise {localising:.1f} ms CPU, load {reading:.1f} ms CPU, ratio {localising / reading:.1f}")


if __name__ == "__main__":
    main()
