"""The layout templates, and which one is proposed for a unit (common practice, no source)."""

from __future__ import annotations

from usbwatch.drafting.common_parts import (
    BATTERY_SEAT,
    BOARD_CHECKS,
    BOARD_SECTIONS,
    DEVICE_CHECKS,
    DISK_SEATS,
    POWER_CHECKS,
    link,
    measured,
    rail,
    seated,
    section,
    subassembly,
)
from usbwatch.drafting.layout import Layout, Seat

__all__ = ["LAYOUTS", "layout_for"]

_INPUT = ("keyboard", "touchpad", "pointing-stick", "pointing-device", "mouse")
_BEHIND_GLASS = ("panel", "touchscreen", "pen")
_USB = ("usb",)
_IO = ("storage", "card-reader", "smart-card-reader", "audio", "ethernet")

_MAINBOARD = subassembly("mainboard", "Mainboard")
_DISPLAY = subassembly("display-assembly", "Display assembly")
_RADIO = subassembly("radio-card", "Radio card")
_DISK = subassembly("disk-module", "Disk module")
_MODEM = subassembly("modem-card", "Modem card")
_IO_BOARD = subassembly("io-board", "I/O board")
_PACK = subassembly("battery-pack", "Battery pack")
_FAN = subassembly("fan-module", "Fan module")
_ADAPTER = subassembly("power-adapter", "Mains adapter")

_RADIO_SLOT = link("radio-slot", "Radio card slot", "radio-card")
_DISK_SLOT = link("disk-slot", "Disk slot", "disk-module")
_MODEM_SLOT = link("modem-slot", "Modem card slot", "modem-card")
_IO_CABLE = link("io-cable", "I/O board cable", "io-board")
_FAN_PLUG = link("fan-plug", "Fan plug", "fan-module")
_BATTERY_CONNECTOR = link("battery-connector", "Battery connector", "battery-pack")
_ADAPTER_PLUG = link("adapter-plug", "Adapter plug", "power-adapter")
_DISPLAY_CABLE = link("display-cable", "Display cable", "display-assembly")
_DISPLAY_SUPPLY = rail("display-supply", "Supply of the display")

_INNER_SEATS = (
    Seat(functions=("wlan", "bluetooth"), within="radio-card", path=("radio-slot",)),
    Seat(functions=("wwan",), within="modem-card", path=("modem-slot",)),
    Seat(functions=_IO, within="io-board", path=("io-cable",), buses=_USB),
    Seat(functions=("fan",), within="fan-module", path=("fan-plug",)),
    *DISK_SEATS,
)
_INNER_PARTS = (_RADIO, _DISK, _MODEM, _IO_BOARD, _FAN)
_INNER_LINKS = (_RADIO_SLOT, _DISK_SLOT, _MODEM_SLOT, _IO_CABLE, _FAN_PLUG)
_INNER_CHECKS = (seated("io-cable", "I/O board cable"),)

_IN_DISPLAY = ("display-supply", "display-cable")
_LID_SEAT = Seat(functions=(*_BEHIND_GLASS, "camera", "sensor"), within="display-assembly", path=_IN_DISPLAY)
_DISPLAY_CHECKS = (seated("display-cable", "display cable"), measured("display-supply", "supply of the display"))

_SOLDERED = "the link stands for both its ends; what is soldered on costs what having it renewed costs"
_REMARKS = {
    "radio-card": "Wireless LAN and Bluetooth are often one card; if yours is soldered on, its devices are within"
    " the mainboard.",
    "io-board": "What is proposed to be here may as well sit on the mainboard: look where the sockets are.",
    "radio-slot": f"A slot: {_SOLDERED}.",
    "display-cable": "It goes through the hinge.",
    "battery-connector": "Where the pack plugs into another board than the mainboard, change joins, and add that"
    " board's link to the needs of the battery.",
    "mainboard-ec": "It speaks for the gauge, adapter detection, lid sensor and power button.",
}


def _remarks(without: tuple[str, ...]) -> dict[str, str]:
    """What is said of the shared parts that a layout has."""
    return {part: remark for part, remark in _REMARKS.items() if part not in without}


_TO_TOP_CASE = ("top-case-feed", "top-case-supply", "top-case-flex", "top-case-board")

_CLAMSHELL = Layout(
    id="clamshell",
    name="Clamshell with a one-piece top case",
    assumes=(
        "Keyboard, touchpad, fingerprint reader and power button are one part with the palm rest, behind one flex.",
        "The battery pack plugs into the mainboard.",
        "Internal hubs, lid sensor, sockets and charging socket are on the mainboard.",
        "What is on USB and has a socket or a slot of its own (cards, headset) is on an I/O board.",
    ),
    chassis_types=("8", "9", "10", "14", "31"),
    parts=(
        _MAINBOARD,
        subassembly("top-case", "Top case"),
        _DISPLAY,
        _PACK,
        *_INNER_PARTS,
        _ADAPTER,
        *BOARD_SECTIONS,
        section("top-case-feed", "Top-case feed of the mainboard"),
        section("top-case-board", "Connector board of the top case", "top-case"),
        link("top-case-flex", "Top-case flex", "top-case"),
        _DISPLAY_CABLE,
        _BATTERY_CONNECTOR,
        *_INNER_LINKS,
        _ADAPTER_PLUG,
        rail("top-case-supply", "Supply of the top case"),
        _DISPLAY_SUPPLY,
    ),
    remarks={
        **_REMARKS,
        "top-case-feed": "What feeds the top-case connector, up to and with the connector on the mainboard.",
        "top-case-flex": "One flex is assumed. Where keyboard and touchpad have one each, take --layout"
        " separate-keyboard.",
    },
    seats=(
        Seat(functions=(*_INPUT, "fingerprint-reader"), within="top-case", path=_TO_TOP_CASE),
        Seat(functions=("power-button",), within="top-case", path=("top-case-feed", "top-case-flex", "top-case-board")),
        _LID_SEAT,
        BATTERY_SEAT,
        *_INNER_SEATS,
    ),
    display_half=Seat(functions=(), within="display-assembly", path=_IN_DISPLAY),
    checks=(
        *DEVICE_CHECKS,
        *POWER_CHECKS,
        seated("top-case-flex", "top-case flex"),
        measured("top-case-supply", "supply of the top case"),
        *_DISPLAY_CHECKS,
        seated("battery-connector", "battery connector"),
        *_INNER_CHECKS,
        *BOARD_CHECKS,
    ),
)

_SEPARATE = Layout(
    id="separate-keyboard",
    name="Clamshell with a separate keyboard",
    assumes=(
        "Keyboard, touchpad and button board are parts of their own, each behind its own flex to the mainboard.",
        "The fingerprint reader is on the button board.",
        "The battery pack plugs into the mainboard.",
        "Internal hubs, lid sensor, sockets and charging socket are on the mainboard.",
        "What is on USB and has a socket or a slot of its own (cards, headset) is on an I/O board.",
    ),
    chassis_types=(),
    parts=(
        _MAINBOARD,
        subassembly("keyboard-module", "Keyboard module"),
        subassembly("touchpad-module", "Touchpad module"),
        subassembly("button-board", "Button board"),
        _DISPLAY,
        _PACK,
        *_INNER_PARTS,
        _ADAPTER,
        *BOARD_SECTIONS,
        link("keyboard-flex", "Keyboard flex", "keyboard-module"),
        link("touchpad-flex", "Touchpad flex", "touchpad-module"),
        link("button-flex", "Button board flex", "button-board"),
        _DISPLAY_CABLE,
        _BATTERY_CONNECTOR,
        *_INNER_LINKS,
        _ADAPTER_PLUG,
        rail("input-supply", "Supply of the input devices"),
        _DISPLAY_SUPPLY,
    ),
    remarks=_REMARKS,
    seats=(
        Seat(
            functions=("keyboard", "pointing-stick"), within="keyboard-module", path=("input-supply", "keyboard-flex")
        ),
        Seat(
            functions=("touchpad", "pointing-device", "mouse"),
            within="touchpad-module",
            path=("input-supply", "touchpad-flex"),
        ),
        Seat(functions=("fingerprint-reader",), within="button-board", path=("input-supply", "button-flex")),
        Seat(functions=("power-button",), within="button-board", path=("button-flex",)),
        _LID_SEAT,
        BATTERY_SEAT,
        *_INNER_SEATS,
    ),
    display_half=Seat(functions=(), within="display-assembly", path=_IN_DISPLAY),
    checks=(
        *DEVICE_CHECKS,
        *POWER_CHECKS,
        seated("keyboard-flex", "keyboard flex"),
        seated("touchpad-flex", "touchpad flex"),
        seated("button-flex", "button board flex"),
        measured("input-supply", "supply of the input devices"),
        *_DISPLAY_CHECKS,
        seated("battery-connector", "battery connector"),
        *_INNER_CHECKS,
        *BOARD_CHECKS,
    ),
)

_DETACHABLE = Layout(
    id="detachable",
    name="Detachable: tablet with a keyboard base",
    assumes=(
        "The mainboard sits behind the screen, and the radios are soldered to it.",
        "Keyboard and touchpad are in a base that comes off without a tool.",
        "Panel, touch screen and pen layer are one glued piece; cameras and light sensor are a module of their own.",
        "The power button is on a side board; the battery pack plugs into the mainboard.",
    ),
    chassis_types=("30", "32"),
    parts=(
        _MAINBOARD,
        _DISPLAY,
        subassembly("keyboard-base", "Keyboard base"),
        subassembly("camera-module", "Camera module"),
        subassembly("side-board", "Side board"),
        _PACK,
        *_INNER_PARTS[1:],
        _ADAPTER,
        *BOARD_SECTIONS,
        _DISPLAY_CABLE,
        link("base-contacts", "Contacts of the keyboard base", "keyboard-base"),
        link("camera-flex", "Camera flex", "camera-module"),
        link("side-flex", "Side board flex", "side-board"),
        _BATTERY_CONNECTOR,
        *_INNER_LINKS[1:],
        _ADAPTER_PLUG,
        rail("base-supply", "Supply of the keyboard base"),
        _DISPLAY_SUPPLY,
    ),
    remarks=_remarks(without=("display-cable", "radio-card", "radio-slot")),
    seats=(
        Seat(functions=_INPUT, within="keyboard-base", path=("base-supply", "base-contacts")),
        Seat(functions=_BEHIND_GLASS, within="display-assembly", path=_IN_DISPLAY),
        Seat(functions=("camera", "sensor"), within="camera-module", path=("camera-flex",)),
        Seat(functions=("power-button", "fingerprint-reader"), within="side-board", path=("side-flex",)),
        BATTERY_SEAT,
        Seat(functions=("wlan", "bluetooth"), within="mainboard"),
        *_INNER_SEATS[1:],
    ),
    display_half=Seat(functions=(), within="camera-module", path=("camera-flex",)),
    checks=(
        *DEVICE_CHECKS,
        *POWER_CHECKS,
        seated("base-contacts", "row of contacts of the keyboard base"),
        measured("base-supply", "supply of the keyboard base"),
        *_DISPLAY_CHECKS,
        seated("camera-flex", "camera flex"),
        seated("side-flex", "side board flex"),
        seated("battery-connector", "battery connector"),
        *BOARD_CHECKS,
    ),
)

_ALL_IN_ONE = Layout(
    id="all-in-one",
    name="All-in-one: everything behind a standing screen",
    assumes=(
        "The mainboard sits behind the screen; keyboard and mouse are external and not in the profile.",
        "Panel and touch screen are one piece; the camera is a module of its own.",
        "The power button and what is on USB with a socket or a slot of its own are on an I/O board.",
        "It has no battery pack; one that firmware shows is taken to plug into the mainboard.",
    ),
    chassis_types=("13",),
    parts=(
        _MAINBOARD,
        _DISPLAY,
        subassembly("camera-module", "Camera module"),
        _PACK,
        *_INNER_PARTS,
        _ADAPTER,
        *BOARD_SECTIONS,
        _DISPLAY_CABLE,
        link("camera-cable", "Camera cable", "camera-module"),
        _BATTERY_CONNECTOR,
        *_INNER_LINKS,
        _ADAPTER_PLUG,
        _DISPLAY_SUPPLY,
    ),
    remarks=_remarks(without=("display-cable",)),
    seats=(
        Seat(functions=_BEHIND_GLASS, within="display-assembly", path=_IN_DISPLAY),
        Seat(functions=("camera", "sensor"), within="camera-module", path=("camera-cable",)),
        Seat(functions=("power-button", "fingerprint-reader"), within="io-board", path=("io-cable",)),
        BATTERY_SEAT,
        *_INNER_SEATS,
    ),
    display_half=Seat(functions=(), within="camera-module", path=("camera-cable",)),
    checks=(
        *DEVICE_CHECKS,
        *POWER_CHECKS,
        *_DISPLAY_CHECKS,
        seated("camera-cable", "camera cable"),
        *_INNER_CHECKS,
        *BOARD_CHECKS,
    ),
)

LAYOUTS: dict[str, Layout] = {one.id: one for one in (_CLAMSHELL, _SEPARATE, _DETACHABLE, _ALL_IN_ONE)}
"""By id, the one that is proposed for what firmware does not tell first."""


def layout_for(chassis_type: str) -> Layout:
    """The template that a unit's SMBIOS chassis type (decimal, SMBIOS 7.4.1) proposes; else the first."""
    return next((one for one in LAYOUTS.values() if chassis_type.strip() in one.chassis_types), _CLAMSHELL)
