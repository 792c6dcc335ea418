"""The table of a GUID-partitioned image: whether it is one of ours and whole, and how it is fitted to a larger device.

Source: UEFI Specification, chapter 5: the header in table 5-5, the protective record in section 5.2.3.
"""

from __future__ import annotations

import struct
import uuid
import zlib
from dataclasses import dataclass

__all__ = ["HEAD", "TAIL", "NotWholeError", "Table", "fitted", "read_table"]

SECTOR = 512
_ENTRIES = 32 * SECTOR
"""128 entries of 128 bytes, which every table of ours has."""
HEAD = 2 * SECTOR + _ENTRIES
"""Bytes at the beginning that the table has: protective record, header, entries."""
TAIL = _ENTRIES + SECTOR
"""Bytes at the end: the copy of the entries, and of the header."""

_HEADER = struct.Struct("<8sIIIIQQQQ16sQIII")
_SIGNATURE = b"EFI PART"
_REVISION = 0x00010000
_PROTECTIVE = 446
"""Where the record's first partition entry begins."""


class NotWholeError(ValueError):
    """Bytes that are no whole table; says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """What the header at the beginning says."""

    disk_guid: str
    sectors: int
    """Of the whole disk: up to the header's copy, which is its last sector."""
    first_usable: int
    head: bytes
    """The bytes that it was read from."""

    @property
    def entries(self) -> bytes:
        """The list of partitions as it stands."""
        return self.head[2 * SECTOR : HEAD]


def read_table(head: bytes) -> Table:
    """The table in the first ``HEAD`` bytes of a disk; raises ``NotWholeError``."""
    if len(head) < HEAD or head[510:512] != b"\x55\xaa":
        raise NotWholeError("has no partition table")
    (signature, _, size, crc, _, own, copy, first, _, guid, where, count, each, entries_crc) = _HEADER.unpack_from(
        head, SECTOR
    )
    if signature != _SIGNATURE or own != 1:
        raise NotWholeError("has no GUID partition table")
    blank = bytearray(head[SECTOR : SECTOR + _HEADER.size])
    blank[16:20] = bytes(4)
    if size != _HEADER.size or zlib.crc32(blank) != crc:
        raise NotWholeError("has a partition table with a wrong checksum")
    if where != 2 or count * each != _ENTRIES or zlib.crc32(head[2 * SECTOR : HEAD]) != entries_crc:  # noqa: PLR2004
        raise NotWholeError("has a list of partitions with a wrong checksum")
    return Table(disk_guid=str(uuid.UUID(bytes_le=guid)), sectors=copy + 1, first_usable=first, head=bytes(head[:HEAD]))


def fitted(table: Table, sectors: int) -> tuple[bytes, bytes]:
    """Beginning (``HEAD`` bytes) and end (``TAIL`` bytes) of a disk of so many sectors with the same partitions."""
    last = sectors - 1
    protective = bytearray(table.head[:SECTOR])
    struct.pack_into("<II", protective, _PROTECTIVE + 8, 1, min(last, 0xFFFFFFFF))
    usable = last - 1 - _ENTRIES // SECTOR
    first = _header(table, (1, last), usable, 2)
    second = _header(table, (last, 1), usable, usable + 1)
    return bytes(protective) + first + table.entries, table.entries + second


def _header(table: Table, places: tuple[int, int], usable: int, entries_at: int) -> bytes:
    """A sector with a header: ``places`` are its own and the other one's, ``usable`` the last sector for partitions."""
    guid = uuid.UUID(table.disk_guid).bytes_le

    def with_crc(crc: int) -> bytes:
        begin = (_SIGNATURE, _REVISION, _HEADER.size, crc, 0, *places, table.first_usable, usable, guid, entries_at)
        return _HEADER.pack(*begin, 128, 128, zlib.crc32(table.entries))

    return with_crc(zlib.crc32(with_crc(0))).ljust(SECTOR, b"\0")
