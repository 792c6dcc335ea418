"""What a capture costs against merely reading the same files, on a copied tree or on this machine.

Run: ``python benchmarks/capture_cost.py [TREE]``. Prints CPU seconds of both and
their ratio; the peer is a bare loop over ``open`` and ``read`` of the very files
(and ``readlink`` and ``listdir`` of the very links and folders) that the capture
asked for, in the same process. The median of the rounds is shown.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable

from usbwatch.capture import CopiedTree, LiveTree, Tree, take
from usbwatch.capture.tree import ATTRIBUTE_LIMIT

ROUNDS = 15


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


def bare(root: str, asked: list[tuple[str, str]]) -> None:
    """The same files, folders and links, and nothing else."""
    for what, path in asked:
        full = root + path
        try:
            if what == "list":
                os.listdir(full)  # noqa: PTH208 - the cheapest way is the point
            elif what == "link":
                os.readlink(full)  # noqa: PTH115 - the same
            else:
                with open(full, "rb", buffering=0) as file:  # noqa: PTH123 - the same
                    file.read()
        except OSError:
            continue


def cpu_s(work: Callable[[], object]) -> float:
    """Median CPU seconds of one round."""
    rounds = []
    for _ in range(ROUNDS):
        before = time.process_time()
        work()
        rounds.append(time.process_time() - before)
    return statistics.median(rounds)


def main() -> None:
    """Print the figures."""
    root = sys.argv[1] if len(sys.argv) > 1 else ""
    tree: Tree = CopiedTree(root) if root else LiveTree()
    recorded = Recorded(tree)
    capture = take(recorded, taken_at="")
    whole = cpu_s(lambda: take(tree, taken_at=""))
    reading = cpu_s(lambda: bare(root.rstrip("/") + "/", recorded.asked))
    print(f"{len(capture.nodes)} nodes, {len(recorded.asked)} files, folders and links asked for")
    print(f"capture {whole * 1000:.1f} ms CPU, bare loop {reading * 1000:.1f} ms CPU, ratio {whole / reading:.2f}")


if __name__ == "__main__":
    main()
