"""A capture through libusb and psutil, for systems without sysfs: macOS, Windows, and Linux for comparison.

It needs the packages of the extra ``portable``; nothing here imports them
before it is asked for a capture. No device is ever opened.
"""

from usbwatch.capture.portable.look import take_portable

__all__ = ["take_portable"]
