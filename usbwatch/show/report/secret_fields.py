"""Which fields hold what identifies a unit or people, and which hold free text.

Serial numbers stand where ``usbwatch.compare.serials`` finds them, and in every
fact that is called so. What was typed by a person is free text: nobody can
know what stands in it, so it is left out whole.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache

from usbwatch.compare.serials import is_serial, serials_of_node
from usbwatch.model import FactChange, Mark, Node, Serial, UnitStrings
from usbwatch.model.history import (
    Amended,
    Attached,
    Baselined,
    Closed,
    Entry,
    Intake,
    Noted,
    Opened,
    PartSerial,
    PartUsed,
    StepDone,
)
from usbwatch.show.checked import Checked
from usbwatch.show.localised import Seen
from usbwatch.show.report.tokens import Secret, SecretKind, is_token

__all__ = ["LEFT_OUT", "TEXTS", "UNSWEPT", "is_number", "kind_of_field", "of_panel", "secret_of"]

LEFT_OUT = "(text left out)"
"""What stands in place of free text."""

TEXTS: Mapping[tuple[type, str], str] = {
    (Amended, "reason"): LEFT_OUT,
    (Attached, "name"): "(name left out)",
    (Baselined, "reason"): LEFT_OUT,
    (Closed, "remark"): LEFT_OUT,
    (Entry, "by"): "",
    (Intake, "came_with"): LEFT_OUT,
    (Intake, "claims"): LEFT_OUT,
    (Mark, "text"): LEFT_OUT,
    (Noted, "text"): LEFT_OUT,
    (Seen, "path"): "",
    (StepDone, "result"): LEFT_OUT,
}
"""By data class and field: what stands instead of what a person wrote, or of a path on the bench's machine."""

UNSWEPT = frozenset(
    {
        *("bios_version", "board_version", "product_version", "product_sku", "kernel", "tool", "version"),
        *("firmware_rev", "fwrev", "hwrev", "rev", "bcdDevice", "sbds_version", "modalias"),
        *("identity", "location", "locations", "where", "peer", "physical", "bus_address", "taken_at"),
    }
)
"""Fields whose values have a form of their own, in which no pattern is looked for: 10.2.0.4 is a version there."""

_SERIAL_FIELDS = {
    (UnitStrings, "product_serial"),
    (PartSerial, "serial"),
    (PartUsed, "serial"),
    (Serial, "serial"),
}

_BY_WORD = (
    (SecretKind.UUID, re.compile(r"(?:\A|[_ .])(?:uuid|guid|nguid|machine_id)(?:\Z|[_ ])", re.IGNORECASE)),
    (
        SecretKind.SERIAL,
        re.compile(
            r"serial|asset.?tag|(?:\A|[_ .])(?:eui|eui64|wwid|wwn|uniq|unique_id|imei|imsi|iccid)\Z", re.IGNORECASE
        ),
    ),
    (SecretKind.ADDRESS, re.compile(r"(?:\A|[_ .])(?:address|bdaddr|mac)\Z", re.IGNORECASE)),
    (SecretKind.HOST, re.compile(r"\A(?:hostname|host_name|nodename)\Z", re.IGNORECASE)),
    (SecretKind.LABEL, re.compile(r"(?:\A|[_ .])(?:volume_label|fs_label|partlabel)\Z", re.IGNORECASE)),
    (SecretKind.NETWORK, re.compile(r"(?:\A|[_ .])e?ssid\Z", re.IGNORECASE)),
)
"""What a fact, or the words for one, must be called (kernel: Documentation/ABI; SMBIOS: DSP0134 section 7)."""

_PCI = re.compile(r"(?:\d+-)?[0-9a-f]{4}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7](?:-[\d.]+)?\Z", re.IGNORECASE)
"""What the kernel gives its own root hubs for a serial number, and an emulator its devices: a place."""
_HARDWARE_ADDRESS = re.compile(r"[0-9a-f]{2}(?:[:-][0-9a-f]{2}){5,7}\Z", re.IGNORECASE)
_DIGIT = re.compile(r"\d")


def kind_of_field(owner: object, name: str) -> SecretKind | None:
    """What a field of a data class, or a fact of a node, holds; None where that is nothing to hide by itself."""
    if isinstance(owner, FactChange):
        return _by_word(owner.field) if name in ("before", "after") and not owner.field.startswith("raw.") else None
    if (type(owner), name) in _SERIAL_FIELDS:
        return SecretKind.SERIAL
    if isinstance(owner, Opened | Checked):
        return SecretKind.NAME if name == "label" and not is_number(owner.label) else None
    return _by_word(name) if isinstance(owner, Node) else None


@lru_cache(maxsize=1024)
def _by_word(name: str) -> SecretKind | None:
    return next((kind for kind, shape in _BY_WORD if shape.search(name)), None)


def is_number(label: str) -> bool:
    """Whether a unit's label can be a number of the shop: one word with a digit in it.

    >>> is_number("LB-0001"), is_number("Mrs Example"), is_number("Flat 12")
    (True, False, False)
    """
    return len(label.split()) == 1 and _DIGIT.search(label) is not None and "@" not in label


def secret_of(kind: SecretKind, value: object) -> Secret | None:
    """The secret that a field of a kind holds; None for fillers, places, and tokens that stand there already."""
    text = str(value).strip()
    if isinstance(value, bool) or not isinstance(value, str | int) or not text or is_token(text):
        return None
    if kind is SecretKind.ADDRESS:
        return Secret(kind, text) if _HARDWARE_ADDRESS.match(text) and _varied(text) else None
    if kind in (SecretKind.SERIAL, SecretKind.UUID) and (_PCI.match(text) or not (is_serial(text) or _odd(text))):
        return None
    return Secret(SecretKind.ADDRESS if _HARDWARE_ADDRESS.match(text) else kind, text)


def _varied(address: str) -> bool:
    return len(set(re.sub(r"[^0-9a-f]", "", address.lower()))) > 1


def _odd(text: str) -> bool:
    """Whether a text only looks like a filler for a PCI address that stands somewhere in it, or has other letters."""
    rest = re.sub(r"[0-9a-f]{4}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]", "", text, flags=re.IGNORECASE)
    return is_serial(rest) if rest != text else any(not letter.isascii() and letter.isalnum() for letter in text)


def of_panel(node: Node) -> Iterator[Secret]:
    """The serial numbers that stand in a node's EDID."""
    if node.raw.get("edid"):
        yield from (Secret(SecretKind.SERIAL, serial) for _, serial in serials_of_node(node))
