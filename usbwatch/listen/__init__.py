"""Takes captures that a kit posts to the bench computer, whoever else is on the line.

``Listener`` is the server; what becomes of a capture is its ``Bench``'s affair.
The rules are in ``heads.py`` (which requests are taken), ``codes.py`` (the code
on the screen) and ``limits.py`` (how much of anything).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.listen.codes import Gate
    from usbwatch.listen.limits import Limits
    from usbwatch.listen.server import Listener
    from usbwatch.listen.work import Arrival, Bench, Kept
else:
    __getattr__ = on_first_use(
        __name__,
        {
            "Arrival": "work",
            "Bench": "work",
            "Gate": "codes",
            "Kept": "work",
            "Limits": "limits",
            "Listener": "server",
        },
    )

__all__ = ["Arrival", "Bench", "Gate", "Kept", "Limits", "Listener"]
