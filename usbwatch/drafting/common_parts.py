"""Parts, seats and hand checks that several layout templates share (common practice, no source)."""

from __future__ import annotations

from usbwatch.drafting.layout import Seat
from usbwatch.model import HandCheck, Part, PartKind

__all__ = [
    "BATTERY_SEAT",
    "BOARD_CHECKS",
    "BOARD_SECTIONS",
    "DEVICE_CHECKS",
    "DISK_SEATS",
    "POWER_CHECKS",
    "link",
    "measured",
    "rail",
    "seated",
    "section",
    "subassembly",
]


def subassembly(id_: str, name: str) -> Part:
    """What is replaced as one piece."""
    return Part(id=id_, kind=PartKind.SUBASSEMBLY, name=name)


def section(id_: str, name: str, within: str = "mainboard") -> Part:
    """A region of a board."""
    return Part(id=id_, kind=PartKind.SECTION, name=name, within=within)


def link(id_: str, name: str, outer: str, inner: str = "mainboard") -> Part:
    """What joins two subassemblies, the one nearer to the processor named last here and first in a profile."""
    return Part(id=id_, kind=PartKind.LINK, name=name, joins=(inner, outer))


def rail(id_: str, name: str) -> Part:
    """A supply that the mainboard makes."""
    return Part(id=id_, kind=PartKind.RAIL, name=name, within="mainboard")


BOARD_SECTIONS = (
    section("mainboard-usb", "USB section of the mainboard"),
    section("mainboard-pci", "PCI Express section of the mainboard"),
    section("mainboard-sata", "SATA section of the mainboard"),
    section("mainboard-memory-card", "Section of the mainboard for soldered disks and SDIO"),
    section("mainboard-i2c", "I2C section of the mainboard"),
    section("mainboard-spi", "SPI section of the mainboard"),
    section("mainboard-ec", "Embedded controller of the mainboard"),
    section("mainboard-gauge", "Gauge lines of the mainboard"),
    section("mainboard-power", "Power section of the mainboard"),
    section("mainboard-charger", "Charger of the mainboard"),
)
"""Sections of a mainboard by what they drive; ``usbwatch.drafting.seating`` names the first seven by bus."""

BATTERY_SEAT = Seat(functions=("battery",), within="battery-pack", path=("mainboard-gauge", "battery-connector"))

DISK_SEATS = (
    Seat(functions=("disk",), within="mainboard", buses=("mmc",)),
    Seat(functions=("disk",), within="disk-module", path=("disk-slot",)),
)

_OPENED_MINUTES, _MEASURED_MINUTES = 10, 15
"""Bench minutes of a check in an opened unit: elicited, no source."""
_OPENED = "Unplug the adapter, then disconnect the battery, before the unit is opened; ground yourself."
_PROBED = "The supply is connected for this: a probe that slips can short it. One hand, fine tip."


def seated(id_: str, called: str) -> HandCheck:
    """Whether a link is in."""
    return HandCheck(
        id=f"{id_}-seated",
        question=f"Is the {called} clean, unbroken and fully in at both ends?",
        needs=(id_,),
        caution=_OPENED,
        minutes=_OPENED_MINUTES,
    )


def measured(id_: str, called: str) -> HandCheck:
    """Whether a supply is there."""
    return HandCheck(
        id=f"{id_}-measured",
        question=f"Measured at its connector on the mainboard, unit on: is the {called} there?",
        needs=(id_,),
        caution=_PROBED,
        minutes=_MEASURED_MINUTES,
    )


DEVICE_CHECKS = (
    HandCheck(id="power-button-works", question="Does the power button switch the unit on?", needs=("power-button",)),
    HandCheck(
        id="all-keys-type",
        question="Does every key of the unit's own keyboard type, each once?",
        needs=("keyboard",),
        minutes=3,
    ),
    HandCheck(
        id="touchpad-moves",
        question="Does the touchpad move the pointer over its whole surface, and click?",
        needs=("touchpad",),
        minutes=2,
    ),
    HandCheck(
        id="touch-follows-finger",
        question="Does the touch screen follow a finger over its whole surface?",
        needs=("touchscreen",),
        minutes=2,
    ),
    # A system that leaves the lid alone, as a stick's does, darkens nothing: that alone would be no answer.
    HandCheck(
        id="lid-noticed",
        question="Is the lid noticed when it is almost closed: does the screen go dark, or usbwatch handcheck lid"
        " find it?",
        needs=("lid",),
    ),
    HandCheck(
        id="keyboard-in-sockets",
        question="Does an external USB keyboard type in each of the unit's USB sockets?",
        needs=("usb-controller",),
        minutes=2,
    ),
    HandCheck(
        id="picture-on-panel",
        question="Is there a clear, evenly lit picture on the unit's own screen?",
        needs=("graphics", "panel"),
        caution="The supply of the backlight can injure: no work in an open display while it is powered.",
    ),
    HandCheck(
        id="picture-outside", question="Is there a picture on an external display?", needs=("graphics",), minutes=3
    ),
)

POWER_CHECKS = (
    HandCheck(
        id="runs-on-battery",
        question="Does the unit keep running on its battery alone, with the adapter unplugged?",
        needs=("mainboard-power", "battery-connector", "battery-pack"),
        caution="Stop at a swollen, hot or smelling pack: unplug the adapter and do not charge it.",
        minutes=5,
    ),
    HandCheck(
        id="runs-on-adapter",
        question="Does the unit start on its adapter alone, with the battery disconnected?",
        needs=("mainboard-power", "adapter-plug", "power-adapter"),
        caution="Adapter out before the battery is disconnected. Never open an adapter.",
        minutes=12,
    ),
    HandCheck(
        id="charges",
        question="Does the battery's charge rise with the adapter plugged in?",
        needs=(
            "mainboard-power",
            "mainboard-charger",
            "adapter-plug",
            "power-adapter",
            "battery-connector",
            "battery-pack",
        ),
        caution="Do not charge a swollen, hot or smelling pack.",
        minutes=10,
    ),
    HandCheck(
        id="pack-flat",
        question="Is the battery pack flat: no bulge, no gap at its seam, no smell?",
        needs=("battery-pack",),
        caution="Do not press, bend, pierce or charge a pack that bulges.",
        minutes=8,
        stop="A swollen or smelling pack: unplug the adapter, do not charge, run, press or pierce it; "
        "take it out of use by local rules.",
    ),
)

BOARD_CHECKS = (
    HandCheck(
        id="liquid-indicators-clear",
        question="Are all liquid indicators clear, those under the keyboard and on the boards too?",
        needs=("mainboard",),
        caution=_OPENED,
        minutes=15,
    ),
)
