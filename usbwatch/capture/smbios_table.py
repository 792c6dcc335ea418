"""What the SMBIOS table says the unit was built with: pointing device, battery, onboard devices, slots, ports.

``/sys/firmware/dmi/tables/DMI`` is the table, ``smbios_entry_point`` names its
version (Documentation/ABI/testing/sysfs-firmware-dmi-tables); both are for
root alone (drivers/firmware/dmi_scan.c makes them 0400). Kernels before 4.2
have each structure as ``/sys/firmware/dmi/entries/TYPE-INSTANCE/raw`` instead
(sysfs-firmware-dmi-entries). Only the types below are read there: of type 15
another file is a log that is fetched through the machine's ports.

Firmware writes the table at boot, often from a template. It says what was
designed; it is proof neither of presence nor of absence.
"""

from __future__ import annotations

import errno
from dataclasses import fields, is_dataclass
from typing import Dict, Iterator, List, NamedTuple, Tuple

from usbwatch.capture.decode import smbios
from usbwatch.capture.decode.defect import Defect
from usbwatch.capture.decode.smbios_type10 import onboard_devices
from usbwatch.capture.decode.smbios_values import Structure
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight, named
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "KEPT_TYPES", "nodes"]

FOLDER = "sys/firmware/dmi/tables"
_ENTRIES = "sys/firmware/dmi/entries"

MOST = 256
"""Records that are kept of one table; a laptop's has some dozens (common practice, no source)."""


class _Kept(NamedTuple):
    """A type of structure that is kept."""

    home: str
    """The field of ``Smbios`` that the decoder puts it in."""
    name: str
    """The attribute that names the thing."""
    placed_by: str = ""
    """The attribute that tells one record of the type from another, where there are several."""


_KEPT: Dict[int, _Kept] = {
    2: _Kept("baseboards", "product"),
    3: _Kept("enclosures", "chassis_name"),
    8: _Kept("port_connectors", "external_designator", "internal_designator"),
    9: _Kept("slots", "designation", "designation"),
    10: _Kept("", "reference_designation", "reference_designation"),
    17: _Kept("memory_devices", "device_locator", "device_locator"),
    21: _Kept("pointing_devices", "kind_name"),
    22: _Kept("portable_batteries", "device_name"),
    41: _Kept("onboard_devices", "reference_designation", "reference_designation"),
}
"""By type. Type 1 is left out: its strings are those of ``dmi``, and its UUID belongs to the owner."""

KEPT_TYPES = tuple(_KEPT)
"""The types of structure that are kept."""

_EMPTY = {"usage_name": "available", "fitted": 0, "enabled": 0}
"""Facts by which firmware itself says that nothing is there, or that it is off."""


def nodes(sight: Sight, _places: Places) -> Iterator[Node]:
    """The table, and every record of a kept type; raises ``OSError`` when there is no table or it is refused."""
    try:
        table = _table(sight)
    except FileNotFoundError as error:
        yield from _from_entries(sight, error)
        return
    decoded = smbios.decode(table)
    kept = [one for one in decoded.structures if one.structure_type in _KEPT]
    facts: Dict[str, Fact] = {"bytes": len(table), "structures": len(decoded.structures)}
    version = _version(sight.blob(FOLDER, "smbios_entry_point"))
    facts.update({"version": version} if version else {})
    facts.update(_told(decoded.defects))
    facts.update({"records_left_out": len(kept) - MOST} if len(kept) > MOST else {})
    yield Node(bus="smbios", location="dmi/table", kind=Kind.DECLARED, rung=Rung.ATTACHED, facts=facts)
    for structure in kept[:MOST]:
        yield from _records(table[structure.offset : structure.offset + structure.length])


def _table(sight: Sight) -> bytes:
    """The bytes of the table; raises ``OSError``.

    A copy made without root's rights holds the folder, but of the table nothing, or no bytes of it.
    """
    names = sight.entries(FOLDER)
    table = sight.tree.read(f"{FOLDER}/DMI", smbios.LONGEST + 1) if "DMI" in names else b""
    if not table:
        raise PermissionError(errno.EACCES, "no bytes of it", FOLDER)
    return table


def _from_entries(sight: Sight, missing: OSError) -> Iterator[Node]:
    """The same from the kernel's older files, one record each; raises ``missing`` when those are not there either."""
    try:
        names = sight.entries(_ENTRIES)
    except OSError:
        raise missing from None
    wanted = [name for name in names if name.partition("-")[0].isdecimal() and int(name.partition("-")[0]) in _KEPT]
    if not wanted:
        raise missing
    for name in wanted[:MOST]:
        yield from _records(sight.tree.read(f"{_ENTRIES}/{name}/raw", smbios.LONGEST))


def _version(entry_point: bytes) -> str:
    """``3.7``; DSP0134 section 5.2: the 32-bit entry point has it at 06h, the 64-bit one at 07h [from memory]."""
    for anchor, at in ((b"_SM3_", 7), (b"_SM_", 6)):
        if entry_point.startswith(anchor) and len(entry_point) > at + 1:
            return f"{entry_point[at]}.{entry_point[at + 1]}"
    return ""


def _told(defects: Tuple[Defect, ...]) -> Dict[str, Fact]:
    if not defects:
        return {}
    return {"defects": len(defects), "first_defect": f"offset {defects[0].offset}: {defects[0].problem}"}


def _records(raw: bytes) -> Iterator[Node]:
    """The nodes of one structure: one, but for type 10, which names several devices."""
    decoded = smbios.decode_entry(raw)
    if not decoded.structures or decoded.structures[0].structure_type not in _KEPT:
        return
    structure = decoded.structures[0]
    values, defects = _values(structure, decoded)
    for value in values:
        yield _node(structure, value, {**_facts(value), **_told((*decoded.defects, *defects))}, raw)


def _values(structure: Structure, decoded: smbios.Smbios) -> Tuple[List[object], Tuple[Defect, ...]]:
    home = _KEPT[structure.structure_type].home
    if home:
        return list(getattr(decoded, home)), ()
    devices, defects = onboard_devices(structure)
    return list(devices), defects


def _node(structure: Structure, value: object, facts: Dict[str, Fact], raw: bytes) -> Node:
    number = structure.structure_type
    kept = _KEPT[number]
    hop = _slug(getattr(value, kept.placed_by) or "") if kept.placed_by else ""
    said_empty = any(facts.get(name) == empty for name, empty in _EMPTY.items())
    return Node(
        bus="smbios",
        location=f"dmi/type{number}" + (f"-{hop}" if hop else ""),
        kind=Kind.DECLARED,
        rung=Rung.ABSENT if said_empty else Rung.ATTACHED,
        identity=f"type {number}",
        name=named(getattr(value, kept.name) or ""),
        facts=facts,
        raw={"structure": raw.hex()},
    )


def _facts(value: object) -> Dict[str, Fact]:
    """The decoder's fields that say something, by their names; a size of memory in whole KiB."""
    assert is_dataclass(value), value
    found: Dict[str, Fact] = {}
    for field in fields(value):
        told = getattr(value, field.name)
        if isinstance(told, bool):
            found[field.name] = int(told)
        elif isinstance(told, float):
            found[field.name.replace("_mib", "_kib")] = int(told * 1024)
        elif isinstance(told, (int, str)) and told != "" and field.name != "handle":
            found[field.name] = told
    return found


_LONGEST_HOP = 32


def _slug(text: str) -> str:
    """A designator as a hop of a location: ASCII letters and digits, all else one hyphen."""
    words = "".join(one if one.isascii() and one.isalnum() else " " for one in text.lower()).split()
    return "-".join(words)[:_LONGEST_HOP].rstrip("-")
