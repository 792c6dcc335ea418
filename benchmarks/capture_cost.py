"""What a capture costs against merely reading the same files, on a copied tree or on this machine.

Run: ``python benchmarks/capture_cost.py [TREE]``. The peer is a bare loop over ``open`` and ``read`` of the very files
(and ``readlink`` and ``listdir`` of the very links and folders) that the capture asked for, each of them once, in the
same process: with a plain ``open``, and again unbuffered, which is the cheapest that Python has. A whole capture is
what ``usbwatch capture`` does: the tree, every bus, and the kernel's log told apart. All of them take turns, round by
round, so that a busy machine slows all alike; the median CPU time of each is shown. The machine's own page cache must
hold the tree, or the disk is measured: put a copy into memory, or run it twice.

What was measured stands in ``docs/capture.md``: below the bar against a plain ``open``, above it unbuffered. Whoever
asks the tree for less makes the loop cheaper too, since it has the same files: asks that are spared lower the cost more
than the ratio.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable, Mapping

from usbwatch.capture import CopiedTree, LiveTree, Tree, copied_log, live_log, take, to_json
from usbwatch.capture.tree import ATTRIBUTE_LIMIT
from usbwatch.model import Capture

ROUNDS = 31
BAR = 2.0
"""A whole capture may cost twice the bare loop."""


class Recorded:
    """A tree that notes what is asked of it."""

    def __init__(self, tree: Tree) -> None:
        self._tree = tree
        self.source = tree.source
        self.asked: list[tuple[str, str]] = []

    def list(self, path: str) -> tuple[str, ...]:
        """Names in a folder."""
        self.asked.append(("list", path))
        return self._tree.list(path)

    def read(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Content of a file."""
        self.asked.append(("read", path))
        return self._tree.read(path, limit)

    def link(self, path: str) -> str:
        """Text of a link."""
        self.asked.append(("link", path))
        return self._tree.link(path)


def bare(root: str, asked: list[tuple[str, str]], buffering: int) -> None:
    """The same files, folders and links, and nothing else; ``buffering`` as ``open`` has it."""
    for what, path in asked:
        full = root + path
        try:
            if what == "list":
                os.listdir(full)  # noqa: PTH208 - the cheapest way is the point
            elif what == "link":
                os.readlink(full)  # noqa: PTH115 - the same
            else:
                with open(full, "rb", buffering=buffering) as file:  # noqa: PTH123 - the same
                    file.read()
        except OSError:
            continue


def capture_of(tree: Tree, *, with_log: bool = True) -> Capture:
    """A capture as ``usbwatch capture`` takes it, or without the kernel's log."""
    if not with_log:
        return take(tree, taken_at="")
    return take(tree, taken_at="", log=live_log() if tree.source == "live" else copied_log(tree))


def cpu_ms(contenders: Mapping[str, Callable[[], object]]) -> dict[str, float]:
    """Median CPU milliseconds of each; they take turns."""
    rounds: dict[str, list[float]] = {name: [] for name in contenders}
    for _ in range(ROUNDS):
        for name, work in contenders.items():
            before = time.process_time()
            work()
            rounds[name].append(time.process_time() - before)
    return {name: statistics.median(times) * 1000 for name, times in rounds.items()}


def main() -> None:
    """Print the figures."""
    root = sys.argv[1].rstrip("/") if len(sys.argv) > 1 else ""
    opened: Callable[[], Tree] = (lambda: CopiedTree(root)) if root else LiveTree
    recorded = Recorded(opened())
    capture = capture_of(recorded)
    distinct = list(dict.fromkeys(recorded.asked))
    cost = cpu_ms(
        {
            "whole capture": lambda: capture_of(opened()),
            "without the log": lambda: capture_of(opened(), with_log=False),
            "bare loop, plain open": lambda: bare(f"{root}/", distinct, -1),
            "bare loop, unbuffered": lambda: bare(f"{root}/", distinct, 0),
            "as JSON": lambda: to_json(capture),
        }
    )
    print(f"{len(capture.nodes)} nodes; {len(recorded.asked)} asks, {len(distinct)} of them distinct")
    for name, milliseconds in cost.items():
        print(f"{name:24s}{milliseconds:7.1f} ms CPU")
    for name in ("whole capture", "without the log"):
        for peer in ("bare loop, plain open", "bare loop, unbuffered"):
            print(f"{name} / {peer}: {cost[name] / cost[peer]:.2f} (bar {BAR})")


if __name__ == "__main__":
    main()
