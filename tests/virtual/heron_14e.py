"""The invented Brackwell Heron 14 E: keyboard and touchpad on PS/2, two USB controllers behind ports of their own.

It is the Heron 14 as far as an emulator has its parts: no I2C controller that
the distribution's kernel drives can be emulated, and no wireless card, so
that the touchpad is on PS/2 and there is no card. Either controller may wake
late, and then the kernel numbers the USB buses the other way round.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from virtual.firmware import Battery, Firmware, Ports
from virtual.layout import Layout, Port
from virtual.usb_parts import PARTS, UsbPart

__all__ = ["HERON_14E"]


def _brackwell(name: str, product_id: int, product: str) -> UsbPart:
    """A part of the Larch 13 under this maker's name."""
    return replace(PARTS[name], maker="Brackwell", product_id=product_id, product=product)


_USB_PARTS = {
    "camera": (Port(bus="first.0", port="7"), _brackwell("camera", 0x0007, "Heron Camera")),
    "fingerprint-reader": (
        Port(bus="first.0", port="8"),
        _brackwell("fingerprint-reader", 0x0009, "Heron Fingerprint Reader"),
    ),
    # At a port with a SuperSpeed half.
    "card-reader": (Port(bus="first.0", port="2"), _brackwell("card-reader", 0x000B, "Heron Card Reader")),
    "bluetooth": (Port(bus="first.0", port="10"), _brackwell("bluetooth", 0x000A, "Heron Bluetooth Radio")),
}


def _own_parts(_folder: Path) -> dict[str, tuple[str, ...]]:
    return {
        "disk": ("-device", "nvme,drive=disk,serial=DK-0002-DEMO,bus=disk-slot"),
        "audio": (
            *("-audiodev", "none,id=speakers", "-device", "ich9-intel-hda,id=sound,addr=1b.0"),
            *("-device", "hda-duplex,audiodev=speakers,bus=sound.0"),
        ),
    }


HERON_14E = Layout(
    profile="brackwell-heron-14e",
    usb_parts=_USB_PARTS,
    sockets={
        "right": Port(bus="first.0", port="1"),
        "left-1": Port(bus="second.0", port="1"),
        "left-2": Port(bus="second.0", port="2"),
    },
    screen=(1280, 800),
    board=(
        *("-device", "pcie-root-port,id=first-port,chassis=1,addr=1c.0,multifunction=on"),
        *("-device", "pcie-root-port,id=second-port,chassis=2,addr=1c.4"),
        *("-device", "pcie-root-port,id=disk-slot,chassis=3,addr=1d.0"),
        *("-device", "qemu-xhci,id=first,bus=first-port,p2=10,p3=2"),
        *("-device", "qemu-xhci,id=second,bus=second-port,p2=2,p3=2"),
    ),
    own_parts=_own_parts,
    firmware=Firmware(
        oem="BRACKW",
        model="HERON14E",
        adapter="ADP1",
        battery=Battery(
            object_name="BAT1",
            model="HB-3C45",
            serial="BB-0001-DEMO",
            maker="Brackwell Power",
            design_mah=3900,
            full_mah=3388,
            design_mv=11_550,
            cycles=214,
        ),
        ports=(
            Ports(
                path="\\_SB.PCI0.SE0.S00",  # behind slot 1c, function 0
                wired={
                    1: "right",
                    2: "internal",
                    3: "unused",
                    4: "unused",
                    5: "unused",
                    6: "unused",
                    7: "internal",
                    8: "internal",
                    9: "unused",
                    10: "internal",
                },
                super_speed=2,
            ),
            Ports(path="\\_SB.PCI0.SE4.S00", wired={1: "left", 2: "left"}, super_speed=2),
        ),
        fields=(
            "type=0,vendor=Brackwell,version=BH2.11,date=09/02/2024,release=2.11",
            "type=1,manufacturer=Brackwell,product=Heron 14 E,version=1,serial=LG-0002-DEMO,sku=H14-E,family=Heron",
            "type=2,manufacturer=Brackwell,product=HB14E-MB,version=A,serial=MB-0002-DEMO,asset=none,location=main",
            "type=4,manufacturer=Brackwell",
            "type=17,manufacturer=Brackwell,part=DDR-8G,serial=00000002,speed=2666",
        ),
        chassis=("Brackwell", "1", "CH-0002-DEMO", "H14"),
    ),
)
