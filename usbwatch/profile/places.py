"""Locations that no node can have, by what the standards and the kernel's own naming leave room for.

A location is written by hand, so a slip in it gives a device that is never
found. Only what is certainly wrong is told: a hop of a kind that is not known
here passes. Sources stand beside each rule; those of standards are named from memory.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from usbwatch.model import is_location
from usbwatch.profile.faults import word

__all__ = ["DEEPEST_PORT", "impossible"]

DEEPEST_PORT = 6
"""Ports of the longest chain: seven tiers with the host, so at most five hubs (USB 2.0, 4.1.1)."""
_MOST_PORTS = 255
"""``bNbrPorts`` is one byte (USB 2.0, 11.23.2.1), and so is ``MaxPorts`` of a controller (xHCI 1.2, 5.3.3)."""
_MOST_PORTS_OF_A_FAST_HUB = 15
"""Four bits of the route string name a port of a SuperSpeed hub (USB 3.2, 8.9)."""
_LOWEST_I2C, _HIGHEST_I2C = 0x08, 0x77
"""Other 7-bit addresses are reserved (UM10204, I2C-bus specification, 3.1.12)."""
_TEN_BIT = range(0xA000, 0xA400)
"""How the kernel names a 10-bit address (``i2c_encode_flags_to_addr``, drivers/i2c/i2c-core-base.c)."""

_LONGEST_NUMBER = 8
"""Digits of a port that are read: a longer number is out of bounds by any of them."""

_PCI_ROOT = re.compile(r"pci[0-9a-f]{4,}:[0-9a-f]{2}\Z")
_PCI_LIKE = re.compile(r"([0-9a-fA-F]{1,2})\.([0-9a-fA-F])\Z")
_ROOT_HUB = re.compile(r"usb[123]\Z")
_PORTS = re.compile(r"\d+(\.\d+)*\Z", re.ASCII)
_NAME_SEG = re.compile(r"[A-Z_][A-Z0-9_]{3}\Z")
_FIRMWARE_ID = re.compile(r"[A-Z0-9]{5,}\Z")
_SAME_PLACE = re.compile(r"#\d+\Z", re.ASCII)
"""What a capture puts behind the second of two nodes of one place."""
_ACPI_WORDS = frozenset({"root", "device"})
"""The root object, and one that has neither name nor hardware id."""
_PS2_PORT = re.compile(r"(kbd|aux\d?)\Z", re.ASCII)
"""``i8042 KBD port``, ``i8042 AUX port`` (drivers/input/serio/i8042.c), as a capture writes them."""


def impossible(location: str, function: str = "") -> str:
    """Why no node of this function can have this location, and what to write; "" where one can.

    >>> impossible("pci0000:00/14.0/usb2/0")
    'has the USB port 0; ports are numbered from 1 to 255'
    """
    if not is_location(location):
        return ""  # it has another fault
    hops = _SAME_PLACE.sub("", location).split("/")
    return next(filter(None, _problems(hops, function)), "")


def _problems(hops: list[str], function: str) -> Iterator[str]:
    if "" in hops:
        yield "has an empty hop, two slashes that follow each other"
    yield _wrong_start(hops)
    if hops[0] == "acpi":
        yield _acpi(hops[1])
    for before, hop, after in zip(["", *hops], hops, [*hops[1:], ""], strict=False):
        rule = _RULES.get(before)
        if rule is not None:
            yield rule(hop)
        elif _PCI_ROOT.match(before) or _PCI_LIKE.match(before):
            yield _pci(hop, below_root=_PCI_ROOT.match(before) is not None)
        elif _ROOT_HUB.match(before):
            yield _usb(hop, of_fast_hub=before == "usb3", function="" if after else function)


def _wrong_start(hops: list[str]) -> str:
    first = hops[0]
    if first.startswith("pci") and not _PCI_ROOT.match(first):
        return f"begins with {word(first)}, which is no PCI root; a capture writes it as pci0000:00, in lower-case hex"
    if first.startswith("usb") and not _ROOT_HUB.match(first):
        return f"begins with {word(first)}; {_ROOT_HUBS}"
    if first.startswith("dmi") and first != "dmi":
        return (
            f"begins with {word(first)}, which is not known here; a capture writes pci…, acpi/…, platform/… or usb2/…"
        )
    alone = first.startswith("pci") and len(hops) == 1
    return f"is the PCI root alone; name the device behind it, as in {first}/14.0" if alone else ""


_ROOT_HUBS = "a root hub is written usb1, usb2 or usb3, for the USB that it speaks, not by its bus number"


def _pci(hop: str, *, below_root: bool) -> str:
    found = _PCI_LIKE.match(hop)
    if not found:
        if below_root and not _PCI_ROOT.match(hop) and hop.startswith("usb"):
            return f"has {word(hop)} at the PCI root; name its controller between them, as in pci0000:00/14.0/usb2"
        return _usb_numbering(hop)
    device, function = (int(digits, 16) for digits in found.groups())
    if device > 0x1F:  # noqa: PLR2004 - five bits
        return f"has the PCI device {found[1]}; devices are numbered 00 to 1f in hex"
    if function > 7:  # noqa: PLR2004 - three bits
        return f"has the PCI function {found[2]}; functions are numbered 0 to 7"
    written = f"{device:02x}.{function}"
    return "" if hop == written else f"has {hop}, which would never match; write {written}"


def _usb_numbering(hop: str) -> str:
    """A root hub after its controller."""
    if re.match(r"usb\d*\Z", hop, re.ASCII) and not _ROOT_HUB.match(hop):
        return f"has {word(hop)}; {_ROOT_HUBS}"
    return ""


def _usb(hop: str, *, of_fast_hub: bool, function: str) -> str:
    if not _PORTS.match(hop):
        return "" if re.match(r"if\d+\Z", hop, re.ASCII) else _NO_CHAIN.format(word(hop))
    written = hop.split(".")
    ports = [int(port[:_LONGEST_NUMBER]) for port in written]
    bad = next((port for port in ports if not 1 <= port <= _MOST_PORTS), None)
    if bad is not None:
        return f"has the USB port {bad}; ports are numbered from 1 to {_MOST_PORTS}"
    padded = next((port for port in written if port.startswith("0")), "")
    if padded:
        return f"has the USB port {word(padded)}, which would never match; write {padded.lstrip('0')}"
    if of_fast_hub and max(ports[1:], default=0) > _MOST_PORTS_OF_A_FAST_HUB:
        return f"has the port {max(ports[1:])} of a SuperSpeed hub, which has at most {_MOST_PORTS_OF_A_FAST_HUB}"
    return _too_deep(len(ports), function)


_NO_CHAIN = "has {} after the root hub; write the ports from the root hub outward, joined by dots, as 4.1"


def _too_deep(length: int, function: str) -> str:
    if length > DEEPEST_PORT:
        return (
            f"goes through {length - 1} hubs behind the root hub; at most {DEEPEST_PORT - 1} can follow each other,"
            f" so at most {DEEPEST_PORT} ports"
        )
    if length == DEEPEST_PORT and function == "hub":
        return f"puts a hub behind {DEEPEST_PORT - 1} others; in the last tier only other devices can be"
    return ""


def _i2c(hop: str) -> str:
    if hop.startswith(("0x", "0X")):
        return f"has the I2C address {word(hop)}; write it in lower-case hex, without 0x and leading zeros, as 2c"
    if not re.match(r"[0-9a-fA-F]{1,4}\Z", hop):
        return ""  # a name that firmware gives
    address = int(hop, 16)
    if address not in _TEN_BIT and not _LOWEST_I2C <= address <= _HIGHEST_I2C:
        seven = address >> 1 if _LOWEST_I2C <= address >> 1 <= _HIGHEST_I2C and not address & 1 else 0
        hint = f"; {hop} is {seven:x} with its read/write bit: write {seven:x}" if seven else ""
        return f"has the I2C address {hop}; 7-bit addresses of devices go from 08 to 77 in hex{hint}"
    return "" if hop == _i2c_hop(hop) else f"has the I2C address {hop}, which would never match; write {_i2c_hop(hop)}"


def _i2c_hop(digits: str) -> str:
    """An address as a capture writes it: lower-case hex without leading zeros."""
    return digits.lower().lstrip("0") or "0"


def _ps2(hop: str) -> str:
    return "" if _PS2_PORT.match(hop) else f"has the PS/2 port {word(hop)}; a capture writes kbd or aux"


_RULES: dict[str, Callable[[str], str]] = {"i2c": _i2c, "i8042": _ps2}
"""What must hold of the hop after one with this name."""


def _acpi(path: str) -> str:
    """Names of four characters (ACPI 6.5, 5.3 and 20.2.2), or what the kernel calls an object without a path."""
    segments = path.split(".")
    alone = len(segments) == 1 and (path in _ACPI_WORDS or _FIRMWARE_ID.match(path))
    wrong = next((segment for segment in segments if not _NAME_SEG.match(segment)), None)
    if alone or wrong is None:
        return ""
    bare = wrong.lstrip("\\^")
    better = bare.upper().ljust(4, "_")
    hint = f"; write {better}" if bare and _NAME_SEG.match(better) else ""
    return (
        f"has the ACPI name {word(wrong)}; names have four characters of A to Z, 0 to 9 and _, the first no digit,"
        f" filled up with _{hint}"
    )
