"""What the answer needs is imported while nothing else is to be done: the unit settles, and its processor is idle."""

from __future__ import annotations

import importlib
import threading

__all__ = ["warm_up"]

_NEEDED = (
    "usbwatch.cli.taking",
    "usbwatch.capture",
    "usbwatch.capture.look",
    "usbwatch.profile",
    "usbwatch.profile.reading",
    "usbwatch.cli.weighing",
    "usbwatch.compare.findings",
    "usbwatch.localise.beliefs",
    "usbwatch.localise.suspicion",
    "usbwatch.plan.choosing",
    "usbwatch.show.localised",
    "usbwatch.onboard.answer",
)


def warm_up(names: tuple[str, ...] = _NEEDED) -> threading.Thread:
    """Import them beside the rest. What cannot be imported fails where it is needed, and is told there."""
    thread = threading.Thread(target=_import, args=(names,), daemon=True)
    thread.start()
    return thread


def _import(names: tuple[str, ...]) -> None:
    for name in names:
        try:
            importlib.import_module(name)
        except ImportError:
            continue
