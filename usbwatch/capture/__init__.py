"""Read what firmware and kernel know about every internal bus, and keep it as a file.

``take(tree, taken_at=…)`` makes a ``Capture`` from a ``LiveTree``, a
``CopiedTree`` or an ``ArchiveTree``; ``to_json`` and ``load`` write and read it. Read only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.capture.archive import ArchiveTree, opened_tree
    from usbwatch.capture.document import to_json
    from usbwatch.capture.kmsg import copied_log, live_log
    from usbwatch.capture.live import LiveTree
    from usbwatch.capture.look import take
    from usbwatch.capture.saved import load
    from usbwatch.capture.tree import CopiedTree, Tree
else:
    __getattr__ = on_first_use(
        __name__,
        {
            "ArchiveTree": "archive",
            "CopiedTree": "tree",
            "LiveTree": "live",
            "Tree": "tree",
            "copied_log": "kmsg",
            "live_log": "kmsg",
            "load": "saved",
            "opened_tree": "archive",
            "take": "look",
            "to_json": "document",
        },
    )

__all__ = [
    "ArchiveTree",
    "CopiedTree",
    "LiveTree",
    "Tree",
    "copied_log",
    "live_log",
    "load",
    "opened_tree",
    "take",
    "to_json",
]
