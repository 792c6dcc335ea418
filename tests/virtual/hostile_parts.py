"""Parts and firmware of a laptop whose every string means harm: to a terminal, a page, a sheet, a reader's eyes.

Of a healthy Larch 13 all is there but its camera; what a string says changes nothing of that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from virtual.firmware import Firmware
from virtual.larch_13 import LARCH_13
from virtual.layout import Layout
from virtual.usb_parts import PARTS, UsbPart

__all__ = ["HOSTILE_LARCH", "IN_SOCKETS", "SPOKEN"]

CLEARS = "\x1b[2J\x1b[1;1HAll is well\x07"
FAKES_A_LINE = "Larch\n✓ present     everything\r\n\x9b2J"
TURNED = "\u202egnihtyreve\u2066 <script>alert(1)</script>"
TITLE = "\x1b]0;gone\x07\x1b\\"
MARKUP = "</td></script><script>alert(2)</script>"
PICTURE = '<img src=x onerror="alert(3)">'
FORMULA = "=cmd|' /C calc'!A0"
FORMULAS = ("+1+cmd|' /C x'!A0", "@SUM(1)", "-2+3+cmd|' /C y'!A0")
LONG = "k" * 126
"""As long as a descriptor of a string can hold (USB 2.0, 9.6.7: its length is one byte)."""
LONE = "Larch \ud800\udc00\udfff Pad\ud83d"
"""Halves of characters that belong to none, beside one that is whole."""

_SPOKEN: Mapping[str, UsbPart] = {
    "keyboard": replace(PARTS["keyboard"], maker=FORMULA, product=CLEARS),
    "touchpad": replace(PARTS["touchpad"], maker=FORMULAS[0], product=FAKES_A_LINE, serial="\t=1+1"),
    "fingerprint-reader": replace(PARTS["fingerprint-reader"], maker=TITLE, product=TURNED, serial=FORMULA),
    "bluetooth": replace(PARTS["bluetooth"], maker=PICTURE, product=MARKUP, serial=FORMULAS[1]),
}
SPOKEN = {name: (port, _SPOKEN.get(name, part)) for name, (port, part) in LARCH_13.usb_parts.items()}

IN_SOCKETS: Mapping[str, UsbPart] = {
    # Its maker is as long as can be, its name is broken, its serial number half a character short.
    "1": replace(
        PARTS["keyboard"],
        product_id=0x000F,
        maker=LONG,
        product=LONE,
        serial="odd",
        odd_strings={3: bytes([7, 3]) + "\x1bc".encode("utf-16-le") + b"\x1b"},
    ),
    # A length that is not there, a string of the wrong kind, and one that holds nothing.
    "2": replace(
        PARTS["touchpad"],
        product_id=0x000E,
        serial="x",
        odd_strings={1: bytes([254, 3, 0x41, 0]), 2: bytes([8, 9]) + b"=\0=\0=\0", 3: bytes([2, 3])},
    ),
}

_FIELDS = (
    f"type=0,vendor={PICTURE},version={FORMULAS[1]},date=03/14/2025,release=1.7",
    (f"type=1,manufacturer=Fernhill,product=Larch 13,version={TITLE},serial={FORMULA},sku=L13-8-256,family={MARKUP}"),
    f"type=2,manufacturer={FAKES_A_LINE},product={TURNED},version={CLEARS},serial={FORMULAS[2]},asset=none,location=x",
    "type=4,manufacturer=Fernhill",
    f"type=17,manufacturer={CLEARS},part={FORMULAS[0]},serial={FAKES_A_LINE},speed=3200",
)


def _firmware() -> Firmware:
    pack = replace(LARCH_13.firmware.battery, model="\x1b[31mLB<b>", serial="=1+1", maker="Cells\nX MISSING  all\x07")
    return replace(LARCH_13.firmware, fields=_FIELDS, battery=pack)


HOSTILE_LARCH: Layout = replace(LARCH_13, usb_parts=SPOKEN, firmware=_firmware())
