"""Every serial number that a capture gives: the unit's own, its board's, and those of the expected devices.

Sources by bus: SMBIOS 3.7 sections 7.2 to 7.4 (unit, board, chassis); ACPI 6.5
section 10.2.2 (battery); E-EDID release A section 3.4 and descriptor FFh
(panel); USB 2.0 section 9.6.1 ``iSerialNumber``; NVM Express base
specification, Identify Controller, bytes 4 to 23 (disk); a network interface's
universally administered address (IEEE 802). Section numbers are from memory.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from usbwatch.capture.decode.edid import decode
from usbwatch.model import BOARD, UNIT, Capture, Findings, Kind, Node, Rung, Serial, outward

__all__ = ["board_record", "is_serial", "nodes_of", "serials", "serials_of_node"]

_PLACEHOLDERS = frozenset(
    {
        "baseboardserialnumber",
        "boardserialnumber",
        "chassisserialnumber",
        "default",
        "defaultstring",
        "empty",
        "invalid",
        "na",
        "nil",
        "none",
        "noserial",
        "noserialnumber",
        "notapplicable",
        "notavailable",
        "notspecified",
        "null",
        "oem",
        "sernum",
        "serial",
        "serialnumber",
        "sn",
        "systemserialnumber",
        "tobefilled",
        "tobefilledbyoem",
        "unknown",
        "unspecified",
    }
)
"""What firmware writes where nobody filled in a serial number, letters alone (common practice, no source)."""

_RUNS = ("0123456789ABCDEF", "1234567890")
"""A part of these with four signs or more is a sample that nobody replaced (common practice, no source)."""
_SHORTEST_RUN = 4

_PCI_ADDRESS = re.compile(r"[0-9a-f]{4}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]")
"""Where a controller sits: what the kernel gives its own root hubs for a serial number (drivers/usb/core/hcd.c)."""

_EDID_FILLER = frozenset({0, 0x01010101, 0xFFFFFFFF})
"""Numbers in place of an EDID's serial number; 0 is the standard's own, the others are common practice, no source."""

_FACTS = {
    "usb": ("serial", "USB serial number"),
    "power_supply": ("serial_number", "battery serial number"),
    "nvme": ("serial", "disk serial number"),
    "mmc": ("serial", "card serial number"),
    "net": ("address", "network address"),
}
"""By bus: the fact that holds the serial number, and its name in words."""

_CARRIERS = frozenset({"graphics", "hub", "usb-controller"})
"""Functions of devices on which others hang that are no part of them."""


def is_serial(text: str) -> bool:
    """Whether a text can be the serial number of one thing, and not what stands where nobody filled one in.

    >>> is_serial("To be filled by O.E.M."), is_serial("LG-0001-DEMO")
    (False, True)
    """
    signs = re.sub(r"[^0-9A-Z]", "", re.sub(r"\A0x", "", text.strip(), flags=re.IGNORECASE).upper())
    letters = re.sub(r"[^a-z]", "", text.lower())
    if len(set(signs)) < 2 or _PCI_ADDRESS.search(text.lower()):  # noqa: PLR2004 - one sign alone: zeros, all F, XXXX
        return False
    sample = len(signs) >= _SHORTEST_RUN and any(signs in run for run in _RUNS)
    return not sample and not (letters in _PLACEHOLDERS and not re.search(r"[1-9]", signs))


def serials(capture: Capture, findings: Findings) -> tuple[Serial, ...]:
    """The serial numbers of unit, board and every matched device, in that order and the findings'; none is a filler."""
    devices = nodes_of(capture, findings)
    found = [
        Serial(of=device, kind=kind, serial=serial)
        for device, nodes in devices.items()
        for node in nodes
        for kind, serial in serials_of_node(node)
    ]
    return tuple(dict.fromkeys([*_of_firmware(capture), *found]))


def _of_firmware(capture: Capture) -> Iterator[Serial]:
    board, chassis = board_record(capture), _record(capture, 3)
    told = (
        (UNIT, "product serial number", capture.unit.product_serial),
        (UNIT, "chassis serial number", _text(chassis, "serial_number")),
        (BOARD, "board serial number", _text(board, "serial_number")),
    )
    return (Serial(of=of, kind=kind, serial=text.strip()) for of, kind, text in told if is_serial(text))


def board_record(capture: Capture) -> Node | None:
    """Firmware's record of the board (SMBIOS type 2), the first where there are several."""
    return _record(capture, 2)


def _record(capture: Capture, kind: int) -> Node | None:
    return next((node for node in capture.nodes if (node.bus, node.location) == ("smbios", f"dmi/type{kind}")), None)


def _text(node: Node | None, fact: str) -> str:
    return str(node.facts.get(fact, "")) if node is not None else ""


def nodes_of(capture: Capture, findings: Findings) -> dict[str, tuple[Node, ...]]:
    """By expected device: its own node, and what hangs on that and on no other expected device; in their order.

    Of a hub or controller only its own node; of a bay without a pack none.
    """
    own = {
        one.device: one.node for one in findings.findings if one.node is not None and one.node.rung is not Rung.ABSENT
    }
    at: dict[str, list[str]] = {}
    for device, node in own.items():
        at.setdefault(node.location, []).append(device)
    parts: dict[str, list[Node]] = {device: [node] for device, node in own.items()}
    for node in capture.nodes:
        place = next((one for one in (node.location, *outward(node.location)) if one in at), "")
        for device in at.get(place, ()):
            if node != own[device] and (node.location == place or not _CARRIERS & set(own[device].functions)):
                parts[device].append(node)
    return {device: tuple(nodes) for device, nodes in parts.items()}


def serials_of_node(node: Node) -> tuple[tuple[str, str], ...]:
    """What one node gives as serial number: what that is called, and the number."""
    if node.raw.get("edid"):
        return _of_edid(node.raw["edid"])
    fact, kind = _FACTS.get(node.bus, ("", ""))
    text = str(node.facts.get(fact, "")).strip()
    if node.kind is Kind.INFRASTRUCTURE or not is_serial(text) or (node.bus == "net" and not _universal(text)):
        return ()
    return ((kind, text),)


def _universal(address: str) -> bool:
    """Whether an address was given by the maker: IEEE 802, the two lowest bits of the first octet are 0."""
    shape = re.match(r"([0-9a-f]{2}):", address.lower())
    return bool(shape) and int(address[:2], 16) & 0b11 == 0


def _of_edid(hex_text: str) -> tuple[tuple[str, str], ...]:
    try:
        told = decode(bytes.fromhex(hex_text))
    except ValueError:
        return ()
    number = told.serial_number
    found = [("EDID serial number", str(number))] if number is not None and number not in _EDID_FILLER else []
    return (*found, *([("EDID serial text", told.serial_text)] if is_serial(told.serial_text) else []))
