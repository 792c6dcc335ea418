"""The invented Larch 13 as libusb lists it on other systems, after what libusb's sources say of each.

macOS (os/darwin_usb.c): bus number from the top byte of the location id, root
hubs made up or not listed. Windows (os/windows_winusb.c): buses numbered as
they were found, one made-up root hub for both generations.
"""

from __future__ import annotations

from collections.abc import Sequence

from support.fake_libusb import FULL, HIGH, SUPER, Part, part, root_hub

from usbwatch.capture.portable.look import take_portable
from usbwatch.model import Capture

__all__ = ["CAMERA", "INSIDE_TOP_CASE", "captured_on", "larch"]

CAMERA = "5"
INSIDE_TOP_CASE = ("4.1", "4.2", "4.3")

_CLASSES: dict[str, tuple[str, tuple[int, int, int], int]] = {
    "4.1": ("1209:0001", (3, 1, 1), FULL),
    "4.2": ("1209:0002", (3, 1, 2), FULL),
    "4.3": ("1209:0005", (0xFF, 0, 0), FULL),
    "4.4": ("1209:0006", (0x0B, 0, 0), FULL),
    "5": ("1209:0003", (0x0E, 1, 0), HIGH),
    "6": ("1209:0004", (0xE0, 1, 1), FULL),
    "8": ("1209:0007", (8, 6, 0x50), HIGH),
    "9": ("1209:0008", (1, 1, 0), FULL),
}
"""By port chain: identity, class of its interface, speed."""


def larch(
    *, bus: int = 0x14, without: Sequence[str] = (), root: Part | None = None, hub: bool = True
) -> tuple[Part, ...]:
    """A healthy Larch 13 less some ports; with a root hub where one is given."""
    above = [root] if root is not None else []
    internal = part("1209:0009", port=4, bus=bus, address=2, parent=root, triple=(9, 0, 0), speed=HIGH)
    devices = [
        part(
            identity,
            port=int(chain.rpartition(".")[2]),
            bus=bus,
            address=10 + number,
            parent=internal if "." in chain else root,
            triple=triple,
            speed=speed,
        )
        for number, (chain, (identity, triple, speed)) in enumerate(_CLASSES.items())
        if chain not in without and (hub or "." not in chain)
    ]
    return (*above, *([internal] if hub else []), *devices)


def captured_on(platform: str, parts: Sequence[Part], battery: object = None) -> Capture:
    """A capture of such a unit; nothing of the machine that runs the test is in it."""
    from support.fake_libusb import FakeLibusb

    return take_portable(
        taken_at="2026-03-02T09:14:00Z", platform=platform, backend=FakeLibusb(parts), battery=lambda: battery
    )


MACOS_ROOT = root_hub(bus=0x14)
WINDOWS_ROOT = root_hub(bus=2, release=0x0300, speed=SUPER)
