"""Subassemblies, links and seats that most layout templates have (common practice, no source)."""

from __future__ import annotations

from usbwatch.drafting.common_parts import DISK_SEATS, link, measured, rail, seated, subassembly
from usbwatch.drafting.layout import Seat

__all__ = [
    "ADAPTER",
    "ADAPTER_PLUG",
    "BATTERY_CONNECTOR",
    "BEHIND_GLASS",
    "DISK",
    "DISK_SLOT",
    "DISPLAY",
    "DISPLAY_CABLE",
    "DISPLAY_CHECKS",
    "DISPLAY_SUPPLY",
    "FAN",
    "FAN_PLUG",
    "INNER_CHECKS",
    "INNER_LINKS",
    "INNER_PARTS",
    "INNER_SEATS",
    "INPUT",
    "IN_DISPLAY",
    "IO",
    "IO_BOARD",
    "IO_CABLE",
    "LID_SEAT",
    "MAINBOARD",
    "MODEM",
    "MODEM_SLOT",
    "PACK",
    "RADIO",
    "RADIO_SLOT",
    "REMARKS",
    "USB",
    "remarks",
]

INPUT = ("keyboard", "touchpad", "pointing-stick", "pointing-device", "mouse")
BEHIND_GLASS = ("panel", "touchscreen", "pen")
USB = ("usb",)
IO = ("storage", "card-reader", "smart-card-reader", "audio", "ethernet")

MAINBOARD = subassembly("mainboard", "Mainboard")
DISPLAY = subassembly("display-assembly", "Display assembly")
RADIO = subassembly("radio-card", "Radio card")
DISK = subassembly("disk-module", "Disk module")
MODEM = subassembly("modem-card", "Modem card")
IO_BOARD = subassembly("io-board", "I/O board")
PACK = subassembly("battery-pack", "Battery pack")
FAN = subassembly("fan-module", "Fan module")
ADAPTER = subassembly("power-adapter", "Mains adapter")

RADIO_SLOT = link("radio-slot", "Radio card slot", "radio-card")
DISK_SLOT = link("disk-slot", "Disk slot", "disk-module")
MODEM_SLOT = link("modem-slot", "Modem card slot", "modem-card")
IO_CABLE = link("io-cable", "I/O board cable", "io-board")
FAN_PLUG = link("fan-plug", "Fan plug", "fan-module")
BATTERY_CONNECTOR = link("battery-connector", "Battery connector", "battery-pack")
ADAPTER_PLUG = link("adapter-plug", "Adapter plug", "power-adapter")
DISPLAY_CABLE = link("display-cable", "Display cable", "display-assembly")
DISPLAY_SUPPLY = rail("display-supply", "Supply of the display")

INNER_SEATS = (
    Seat(functions=("wlan", "bluetooth"), within="radio-card", path=("radio-slot",)),
    Seat(functions=("wwan",), within="modem-card", path=("modem-slot",)),
    Seat(functions=IO, within="io-board", path=("io-cable",), buses=USB),
    Seat(functions=("fan",), within="fan-module", path=("fan-plug",)),
    *DISK_SEATS,
)
INNER_PARTS = (RADIO, DISK, MODEM, IO_BOARD, FAN)
INNER_LINKS = (RADIO_SLOT, DISK_SLOT, MODEM_SLOT, IO_CABLE, FAN_PLUG)
INNER_CHECKS = (seated("io-cable", "I/O board cable"),)

IN_DISPLAY = ("display-supply", "display-cable")
LID_SEAT = Seat(functions=(*BEHIND_GLASS, "camera", "sensor"), within="display-assembly", path=IN_DISPLAY)
DISPLAY_CHECKS = (seated("display-cable", "display cable"), measured("display-supply", "supply of the display"))

_SOLDERED = "the link stands for both its ends; what is soldered on costs what having it renewed costs"
REMARKS = {
    "radio-card": "Wireless LAN and Bluetooth are often one card; if yours is soldered on, its devices are within"
    " the mainboard.",
    "io-board": "What is proposed to be here may as well sit on the mainboard: look where the sockets are.",
    "radio-slot": f"A slot: {_SOLDERED}.",
    "display-cable": "It goes through the hinge.",
    "battery-connector": "Where the pack plugs into another board than the mainboard, change joins, and add that"
    " board's link to the needs of the battery.",
    "mainboard-ec": "It speaks for the gauge, adapter detection, lid sensor and power button.",
}


def remarks(without: tuple[str, ...]) -> dict[str, str]:
    """What is said of the shared parts that a layout has."""
    return {part: remark for part, remark in REMARKS.items() if part not in without}
