r"""The image itself: a GUID partition table with a partition for captures and one to start from, made without rights.

Sources: UEFI Specification, chapter 5 (the table) and section 3.5.1.1 (a removable medium starts from
``\EFI\BOOT\BOOTX64.EFI`` of its EFI system partition); Microsoft's documentation of the type of a data partition.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from usbwatch.stick.running import run

__all__ = ["DATA_GUID", "DISK_GUID", "LABEL", "SECTOR", "Contents", "assembled"]

SECTOR = 512
LABEL = "USBWATCH"

DISK_GUID = "6d3f9a52-1c0e-4b7e-9b5d-75736277a001"
DATA_GUID = "6d3f9a52-1c0e-4b7e-9b5d-75736277a002"
_SYSTEM_GUID = "6d3f9a52-1c0e-4b7e-9b5d-75736277a003"
"""Of this project, made up once: every image has them, so that two builds are alike and a stick is known for one."""

_DATA_TYPE = "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"
_SYSTEM_TYPE = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B"

_MIB = 1 << 20
_SMALLEST_FAT32_MIB = 36
"""FAT32 has at least 65 525 clusters (Microsoft's FAT specification, "FAT Type Determination"), here of 512 bytes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What goes onto the two partitions: by path, the bytes or the file of each."""

    system: Mapping[str, bytes | Path]
    data: Mapping[str, bytes | Path]
    folders: tuple[str, ...] = ()
    """Folders of the data partition that are there though nothing is in them yet."""


def assembled(target: Path, contents: Contents, *, data_mib: int, clock: int) -> None:
    """Write an image; ``clock`` is the time of all that is on it, in seconds since 1970."""
    system_mib = _room_mib(contents.system)
    with tempfile.TemporaryDirectory(dir=target.parent, prefix=".stick-") as scratch:
        data, system = Path(scratch) / "data", Path(scratch) / "system"
        _file_system(data, data_mib, LABEL, "57a7c001", clock)
        _fill(data, contents.data, contents.folders, clock)
        _file_system(system, system_mib, "USBWATCHSYS", "57a7c002", clock)
        _fill(system, contents.system, (), clock)
        with target.open("wb") as image:
            image.truncate((data_mib + system_mib + 2) * _MIB)
            _copy(data, image, _MIB)
            _copy(system, image, (1 + data_mib) * _MIB)
    _partition(target, data_mib, system_mib)


def _partition(target: Path, data_mib: int, system_mib: int) -> None:
    per_mib = _MIB // SECTOR
    middle, end = (1 + data_mib) * per_mib, (1 + data_mib + system_mib) * per_mib
    run(
        "sgdisk", "--clear", f"--disk-guid={DISK_GUID}",
        f"--new=1:{per_mib}:{middle - 1}", f"--typecode=1:{_DATA_TYPE}",
        f"--partition-guid=1:{DATA_GUID}", f"--change-name=1:{LABEL}",
        f"--new=2:{middle}:{end - 1}", f"--typecode=2:{_SYSTEM_TYPE}",
        f"--partition-guid=2:{_SYSTEM_GUID}", "--change-name=2:usbwatch system", target,
    )  # fmt: skip


def _room_mib(files: Mapping[str, bytes | Path]) -> int:
    """Room for files, their table and some slack, never less than such a file system can have."""
    size = sum(len(one) if isinstance(one, bytes) else one.stat().st_size for one in files.values())
    return max(_SMALLEST_FAT32_MIB, -(-size * 102 // 100 // _MIB) + 4)


def _file_system(target: Path, mib: int, label: str, volume: str, clock: int) -> None:
    with target.open("wb") as file:
        file.truncate(mib * _MIB)
    # --invariant: nothing in it depends on the time. One sector is one cluster where FAT32 would else not fit.
    cluster = ("-s", "1") if mib < 260 else ()  # noqa: PLR2004
    run("mkfs.vfat", "-F", "32", *cluster, "--invariant", "-i", volume, "-n", label, target, clock=clock)


def _fill(target: Path, files: Mapping[str, bytes | Path], folders: tuple[str, ...], clock: int) -> None:
    """Copy files into a FAT file system; folders are made as they are needed, in order."""
    parents = {
        str(parent) for name in (*files, *(f"{one}/-" for one in folders)) for parent in PurePosixPath(name).parents
    }
    for folder in sorted(parents - {"."}):
        run("mmd", "-i", target, f"::/{folder}", clock=clock)
    with tempfile.TemporaryDirectory(dir=target.parent) as scratch:
        for name, content in sorted(files.items()):
            source = Path(scratch) / "file"
            if isinstance(content, bytes):
                source.write_bytes(content)
            else:
                source = content
            run("mcopy", "-o", "-i", target, source, f"::/{name}", clock=clock)


def _copy(source: Path, image: BinaryIO, offset: int) -> None:
    image.seek(offset)
    with source.open("rb") as file:
        shutil.copyfileobj(file, image, 4 * _MIB)
