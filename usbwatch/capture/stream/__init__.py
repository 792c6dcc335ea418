"""Live news of a machine: what comes and goes, from the kernel's events, its log, looks and readings.

``live.LiveStream`` brings happenings; ``following`` is the state that they move on.
Needs the standard library alone; with the extra ``live`` (pyudev) the kernel's
events come by themselves, and without it the folders are looked at.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.capture.stream.following import Following, begun, followed, passed
    from usbwatch.capture.stream.live import WAYS, LiveStream
    from usbwatch.capture.stream.uevents import NoMonitor
else:
    __getattr__ = on_first_use(
        __name__,
        {
            "WAYS": "live",
            "Following": "following",
            "LiveStream": "live",
            "NoMonitor": "uevents",
            "begun": "following",
            "followed": "following",
            "passed": "following",
        },
    )

__all__ = ["WAYS", "Following", "LiveStream", "NoMonitor", "begun", "followed", "passed"]
