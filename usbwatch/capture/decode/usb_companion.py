"""Companions of SuperSpeed endpoints: what an endpoint descriptor has no room for.

Source: ``usb_ss_ep_comp_descriptor`` and ``usb_ssp_isoc_ep_comp_descriptor`` in
the kernel's ``include/uapi/linux/usb/ch9.h`` (USB 3.2 sections 9.6.7 and 9.6.8, from memory).
"""

from __future__ import annotations

from typing import Dict

from usbwatch.capture.decode.layout import Layout, number

__all__ = ["COMPANION"]

COMPANION: Dict[int, Layout] = {
    0x30: Layout(
        "SuperSpeed endpoint companion", (number("bMaxBurst"), number("bmAttributes"), number("wBytesPerInterval", 2))
    ),
    0x31: Layout(
        "SuperSpeedPlus isochronous endpoint companion", (number("wReserved", 2), number("dwBytesPerInterval", 4))
    ),
}
"""By bDescriptorType."""
