"""Functional descriptors of communications devices.

Source: USB CDC 1.2 section 5.2.3 (5.2.3.1 header, .2 call management, .3 ACM,
.8 union, .9 country, .11 network terminal, .16 ethernet in the numbering of
release 1.1), the subclass documents NCM 1.0 and MBIM 1.0 with its errata, and
WMC 1.1 section 6, read in the kernel's ``include/uapi/linux/usb/cdc.h``.
"""

from __future__ import annotations

from typing import Dict

from usbwatch.capture.decode.layout import Layout, guid, number, numbers, octets, to_end

__all__ = ["FUNCTIONAL"]

FUNCTIONAL: Dict[int, Layout] = {
    0x00: Layout("CDC header", (number("bcdCDC", 2),)),
    0x01: Layout("call management", (number("bmCapabilities"), number("bDataInterface"))),
    0x02: Layout("abstract control management", (number("bmCapabilities"),)),
    # Releases from 1.2 on say "control" and "subordinate" for the names below.
    0x06: Layout("union", (number("bMasterInterface0"), numbers("bSlaveInterface", 1, to_end()))),
    0x07: Layout("country selection", (number("iCountryCodeRelDate"), numbers("wCountryCode", 2, to_end()))),
    0x0A: Layout(
        "network channel terminal",
        (number("bEntityId"), number("iName"), number("bChannelIndex"), number("bPhysicalInterface")),
    ),
    0x0F: Layout(
        "ethernet networking",
        (
            number("iMACAddress"),
            number("bmEthernetStatistics", 4),
            number("wMaxSegmentSize", 2),
            number("wNumberMCFilters", 2),
            number("bNumberPowerFilters"),
        ),
    ),
    0x12: Layout("mobile direct line model", (number("bcdVersion", 2), guid("bGUID"))),
    0x13: Layout("mobile direct line model detail", (number("bGuidDescriptorType"), octets("bDetailData", to_end()))),
    0x14: Layout("device management", (number("bcdVersion", 2), number("wMaxCommand", 2))),
    0x15: Layout("OBEX", (number("bcdVersion", 2),)),
    0x1A: Layout("network control model", (number("bcdNcmVersion", 2), number("bmNetworkCapabilities"))),
    0x1B: Layout(
        "mobile broadband",
        (
            number("bcdMBIMVersion", 2),
            number("wMaxControlMessage", 2),
            number("bNumberFilters"),
            number("bMaxFilterSize"),
            number("wMaxSegmentSize", 2),
            number("bmNetworkCapabilities"),
        ),
    ),
    0x1C: Layout(
        "mobile broadband extended",
        (number("bcdMBIMExtendedVersion", 2), number("bMaxOutstandingCommandMessages"), number("wMTU", 2)),
    ),
}
"""By bDescriptorSubType."""
