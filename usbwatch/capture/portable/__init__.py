"""A capture through libusb and psutil, for systems without sysfs: macOS, Windows, and Linux for comparison.

It needs the packages of the extra ``portable``; nothing here imports them
before it is asked for a capture. No device is ever opened.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.capture.portable.look import take_portable
else:
    __getattr__ = on_first_use(__name__, {"take_portable": "look"})

__all__ = ["take_portable"]
