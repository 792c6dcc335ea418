"""The stick's own data partition, found without opening any disk of the unit.

Only disks that hang on USB, or whose medium can be taken out, are looked at. The partition is known by its unique GUID
in the GPT (UEFI Specification, "GUID Partition Table (GPT) Disk Layout"), and has to be of FAT32 with the stick's label
(Microsoft, FAT32 File System Specification, "BPB": BS_VolLab at 71, BS_FilSysType at 82).
"""

from __future__ import annotations

import os
import re
import struct
import uuid
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

__all__ = ["LABEL", "Partition", "data_partition"]

LABEL = b"USBWATCH   "

_SECTORS = (512, 4096)
_SIGNATURE = b"EFI PART"
_HEADER = struct.Struct("<8sIII4xQQQQ16sQIII")
"""Signature, revision, header size, its CRC, four addresses, disk GUID, entries: address, number, size, CRC."""
_LEAST_HEADER, _LEAST_ENTRY = 92, 128
_MOST_ENTRIES = 1 << 20
"""Bytes."""
_USB = re.compile(r"/usb\d+/")


@dataclass(frozen=True, slots=True, kw_only=True)
class Partition:
    """A partition that captures can be written to."""

    node: str
    """Its node in ``/dev``."""
    read_only: bool
    """Whether the kernel says that it takes no writing, as with a switch on the stick."""


def data_partition(guid: str, root: str = "") -> Partition | None:
    """The partition with this GUID (lower case), None while no such stick is there.

    ``root`` stands before ``/sys`` and ``/dev``.
    """
    for disk in _disks(root):
        for name in _partitions(disk):
            place = f"{disk}/{name}"
            node = f"{root}/dev/{name}"
            if _guid_of(place, disk, root) == guid.lower() and _has_label(node):
                return Partition(node=node, read_only="1" in (_read(f"{place}/ro"), _read(f"{disk}/ro")))
    return None


def _disks(root: str) -> Iterator[str]:
    """The folders of disks from outside: never one that is built in."""
    folder = f"{root}/sys/block"
    try:
        names = sorted(os.listdir(folder))
    except OSError:
        return
    for name in names:
        real = os.path.realpath(f"{folder}/{name}")
        if "/virtual/" not in real and (_USB.search(f"{real}/") or _read(f"{real}/removable") == "1"):
            yield real


def _partitions(disk: str) -> list[str]:
    try:
        names = sorted(os.listdir(disk))
    except OSError:
        return []
    return [name for name in names if name.startswith(os.path.basename(disk)) and _read(f"{disk}/{name}/partition")]


def _guid_of(place: str, disk: str, root: str) -> str:
    """By the kernel's own word where it gives one (since 6.13 or so), else by the disk's table."""
    for row in _read(f"{place}/uevent").splitlines():
        key, _, value = row.partition("=")
        if key == "PARTUUID":
            return value.strip().lower()
    number = _read(f"{place}/partition")
    return _guids(f"{root}/dev/{os.path.basename(disk)}").get(int(number), "") if number.isdecimal() else ""


def _guids(node: str) -> dict[int, str]:
    """The GUIDs of a disk's partitions by their number, none where its table is not whole."""
    try:
        with open(node, "rb", buffering=0) as disk:
            return next((found for size in _SECTORS if (found := _guids_in(disk.fileno(), size))), {})
    except OSError:
        return {}


def _guids_in(handle: int, sector: int) -> dict[int, str]:
    header = os.pread(handle, sector, sector)
    if len(header) < _LEAST_HEADER or header[:8] != _SIGNATURE:
        return {}
    told = _HEADER.unpack_from(header)
    size, crc, first, count, width, table_crc = told[2], told[3], told[9], told[10], told[11], told[12]
    if not _LEAST_HEADER <= size <= sector or zlib.crc32(header[:16] + bytes(4) + header[20:size]) != crc:
        return {}
    if width < _LEAST_ENTRY or not 0 < count * width <= _MOST_ENTRIES:
        return {}
    table = os.pread(handle, count * width, first * sector)
    if len(table) != count * width or zlib.crc32(table) != table_crc:
        return {}
    entries = (table[at : at + _LEAST_ENTRY] for at in range(0, len(table), width))
    return {number: str(uuid.UUID(bytes_le=entry[16:32])) for number, entry in enumerate(entries, 1) if any(entry[:16])}


def _has_label(node: str) -> bool:
    try:
        with open(node, "rb", buffering=0) as partition:
            sector = partition.read(512)
    except OSError:
        return False
    return sector[82:90] == b"FAT32   " and sector[71:82] == LABEL and sector[510:512] == b"\x55\xaa"


def _read(path: str) -> str:
    try:
        with open(path, encoding="ascii", errors="replace") as file:
            return file.read(4096).strip()
    except OSError:
        return ""
