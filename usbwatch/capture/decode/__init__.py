"""Decoders of what a device says of itself: bytes in, frozen values out.

Every byte is taken as hostile. No decoder raises, whatever it is given: what
it cannot read becomes a ``Defect`` with its offset, beside all that it could.
Each module names the standard whose layout it reads.
"""

from usbwatch.capture.decode.defect import Defect

__all__ = ["Defect"]
