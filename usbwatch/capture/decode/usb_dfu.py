"""The functional descriptor of devices that take firmware over USB.

[from memory] Source: DFU 1.1 section 4.1.3; the kernel's headers have no layout of it. Release 1.0
ends before bcdDFUVersion.
"""

from __future__ import annotations

from typing import Dict

from usbwatch.capture.decode.layout import Layout, number

__all__ = ["FUNCTIONAL"]

FUNCTIONAL: Dict[int, Layout] = {
    0x21: Layout(
        "firmware upgrade",
        (
            number("bmAttributes"),
            number("wDetachTimeOut", 2),
            number("wTransferSize", 2),
            number("bcdDFUVersion", 2, optional=True),
        ),
    )
}
"""By bDescriptorType. wDetachTimeOut is in milliseconds; bits of bmAttributes: 0 takes firmware, 1 gives it,
2 stays on the bus while it does, 3 detaches by itself."""
