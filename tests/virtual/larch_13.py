"""The invented Fernhill Larch 13: all its input devices on an internal USB hub, one USB controller."""

from __future__ import annotations

from pathlib import Path

from virtual.firmware import Battery, Firmware, Ports
from virtual.layout import Layout, Port
from virtual.usb_parts import PARTS

__all__ = ["LARCH_13"]

_PORTS = {"keyboard": "4.1", "touchpad": "4.2", "fingerprint-reader": "4.3", "camera": "5", "bluetooth": "6"}
"""Where the invented USB parts sit: port 4 carries the internal hub."""


def _own_parts(folder: Path) -> dict[str, tuple[str, ...]]:
    card = folder / "card"
    with card.open("wb") as image:
        image.truncate(8 << 20)
    # A medium that stays when the reader is taken out.
    medium = f"driver=raw,node-name=card,file.driver=file,file.filename={card},cache.no-flush=on"
    reader = "usb-storage,id=card-reader,drive=card,bus=xhci.0,port=8,removable=on,serial=CR-0001-DEMO"
    ccid = "usb-ccid,id=smart-card-reader,bus=xhci.0,port=4.4,serial=SC-0001-DEMO"
    return {
        "smart-card-reader": ("-device", ccid),
        "card-reader": ("-blockdev", medium, "-device", reader),
        "headset-audio": (
            *("-audiodev", "none,id=headset"),
            *("-device", "usb-audio,id=headset-audio,audiodev=headset,bus=xhci.0,port=9"),
        ),
        "disk": ("-device", "nvme,drive=disk,serial=DK-0001-DEMO,addr=6.0"),
        "ethernet": (
            *("-netdev", "hubport,hubid=0,id=wire"),
            *("-device", "e1000e,addr=19.0,mac=52:54:00:12:34:56,netdev=wire"),
        ),
        "audio": (
            *("-audiodev", "none,id=speakers", "-device", "ich9-intel-hda,id=sound,addr=1b.0"),
            *("-device", "hda-duplex,audiodev=speakers,bus=sound.0"),
        ),
    }


LARCH_13 = Layout(
    profile="fernhill-larch-13",
    usb_parts={name: (Port(bus="xhci.0", port=port), PARTS[name]) for name, port in _PORTS.items()},
    sockets={port: Port(bus="xhci.0", port=port) for port in ("1", "2", "3")},
    screen=(1920, 1080),
    board=(
        # Ten ports, three of them also SuperSpeed, and the internal hub.
        *("-device", "qemu-xhci,id=xhci,addr=14.0,p2=10,p3=3"),
        *("-device", "usb-hub,id=internal-hub,bus=xhci.0,port=4,ports=4,serial=IH-0001-DEMO"),
    ),
    own_parts=_own_parts,
    firmware=Firmware(
        oem="FERNHL",
        model="LARCH13",
        adapter="AC0",
        battery=Battery(
            object_name="BAT0",
            model="LB-4C50",
            serial="FB-0001-DEMO",
            maker="Fernhill Cells",
            design_mah=4390,
            full_mah=4105,
            design_mv=11_400,
            cycles=87,
        ),
        ports=(
            Ports(
                path="\\_SB.PCI0.SA0",  # slot 14, function 0
                wired={
                    1: "left",
                    2: "right",
                    3: "right",
                    4: "internal",
                    5: "internal",
                    6: "internal",
                    7: "unused",
                    8: "internal",
                    9: "internal",
                    10: "unused",
                },
                super_speed=3,
                behind={4: 4},
            ),
        ),
        fields=(
            "type=0,vendor=Fernhill Firmware,version=FH1.07,date=03/14/2025,release=1.7",
            (
                "type=1,manufacturer=Fernhill,product=Larch 13,version=Rev B,serial=LG-0001-DEMO,"
                "sku=L13-8-256,family=Larch"
            ),
            "type=2,manufacturer=Fernhill,product=LB13-MB,version=B2,serial=MB-0001-DEMO,asset=none,location=main",
            "type=4,manufacturer=Fernhill",
            "type=17,manufacturer=Fernhill,part=DDR-8G,serial=00000001,speed=3200",
        ),
        chassis=("Fernhill", "Rev B", "CH-0001-DEMO", "L13"),
    ),
)
