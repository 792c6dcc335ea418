"""Layout templates of laptops that fold (common practice, no source)."""

from __future__ import annotations

from usbwatch.drafting.common_parts import (
    BATTERY_SEAT,
    BOARD_CHECKS,
    BOARD_SECTIONS,
    DEVICE_CHECKS,
    POWER_CHECKS,
    link,
    measured,
    rail,
    seated,
    section,
    subassembly,
)
from usbwatch.drafting.layout import Layout, Seat
from usbwatch.drafting.usual_parts import (
    ADAPTER,
    ADAPTER_PLUG,
    BATTERY_CONNECTOR,
    DISPLAY,
    DISPLAY_CABLE,
    DISPLAY_CHECKS,
    DISPLAY_SUPPLY,
    IN_DISPLAY,
    INNER_CHECKS,
    INNER_LINKS,
    INNER_PARTS,
    INNER_SEATS,
    INPUT,
    LID_SEAT,
    MAINBOARD,
    PACK,
    REMARKS,
)

__all__ = ["CLAMSHELL", "SEPARATE"]

_TO_TOP_CASE = ("top-case-feed", "top-case-supply", "top-case-flex", "top-case-board")

CLAMSHELL = Layout(
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
        MAINBOARD,
        subassembly("top-case", "Top case"),
        DISPLAY,
        PACK,
        *INNER_PARTS,
        ADAPTER,
        *BOARD_SECTIONS,
        section("top-case-feed", "Top-case feed of the mainboard"),
        section("top-case-board", "Connector board of the top case", "top-case"),
        link("top-case-flex", "Top-case flex", "top-case"),
        DISPLAY_CABLE,
        BATTERY_CONNECTOR,
        *INNER_LINKS,
        ADAPTER_PLUG,
        rail("top-case-supply", "Supply of the top case"),
        DISPLAY_SUPPLY,
    ),
    remarks={
        **REMARKS,
        "top-case-feed": "What feeds the top-case connector, up to and with the connector on the mainboard.",
        "top-case-flex": "One flex is assumed. Where keyboard and touchpad have one each, take --layout"
        " separate-keyboard.",
    },
    seats=(
        Seat(functions=(*INPUT, "fingerprint-reader"), within="top-case", path=_TO_TOP_CASE),
        Seat(functions=("power-button",), within="top-case", path=("top-case-feed", "top-case-flex", "top-case-board")),
        LID_SEAT,
        BATTERY_SEAT,
        *INNER_SEATS,
    ),
    display_half=Seat(functions=(), within="display-assembly", path=IN_DISPLAY),
    checks=(
        *DEVICE_CHECKS,
        *POWER_CHECKS,
        seated("top-case-flex", "top-case flex"),
        measured("top-case-supply", "supply of the top case"),
        *DISPLAY_CHECKS,
        seated("battery-connector", "battery connector"),
        *INNER_CHECKS,
        *BOARD_CHECKS,
    ),
)

SEPARATE = Layout(
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
        MAINBOARD,
        subassembly("keyboard-module", "Keyboard module"),
        subassembly("touchpad-module", "Touchpad module"),
        subassembly("button-board", "Button board"),
        DISPLAY,
        PACK,
        *INNER_PARTS,
        ADAPTER,
        *BOARD_SECTIONS,
        link("keyboard-flex", "Keyboard flex", "keyboard-module"),
        link("touchpad-flex", "Touchpad flex", "touchpad-module"),
        link("button-flex", "Button board flex", "button-board"),
        DISPLAY_CABLE,
        BATTERY_CONNECTOR,
        *INNER_LINKS,
        ADAPTER_PLUG,
        rail("input-supply", "Supply of the input devices"),
        DISPLAY_SUPPLY,
    ),
    remarks=REMARKS,
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
        LID_SEAT,
        BATTERY_SEAT,
        *INNER_SEATS,
    ),
    display_half=Seat(functions=(), within="display-assembly", path=IN_DISPLAY),
    checks=(
        *DEVICE_CHECKS,
        *POWER_CHECKS,
        seated("keyboard-flex", "keyboard flex"),
        seated("touchpad-flex", "touchpad flex"),
        seated("button-flex", "button board flex"),
        measured("input-supply", "supply of the input devices"),
        *DISPLAY_CHECKS,
        seated("battery-connector", "battery connector"),
        *INNER_CHECKS,
        *BOARD_CHECKS,
    ),
)
