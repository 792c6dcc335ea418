"""The stick's partition: found on disks that other tools made, and never looked for on the unit's own."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from support.needs import needed_tool

from usbwatch.onboard.partition import Partition, data_partition

GUID = "6d3f9a52-1c0e-4b7e-9b5d-75736277a002"
OTHER = "11111111-2222-3333-4444-555555555555"
USB = "devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0/host6/target6:0:0/6:0:0:0"
INSIDE = "devices/pci0000:00/0000:00:17.0/ata1/host0/target0:0:0/0:0:0:0"
_MIB = 1 << 20


def disk_file(path: Path, guid: str = GUID, label: str = "USBWATCH") -> None:
    """A disk with a GPT by sgdisk(8), whose first partition holds a FAT32 by mkfs.vfat(8)."""
    sgdisk, mkfs = needed_tool("sgdisk", "gdisk"), needed_tool("mkfs.vfat", "dosfstools")
    with path.open("wb") as disk:
        disk.truncate(64 * _MIB)
    partitions = ("--new=1:2048:+48M", f"--partition-guid=1:{guid}", "--typecode=1:0700", "--new=2:0:+8M")
    subprocess.run([sgdisk, *partitions, str(path)], check=True, capture_output=True)
    inside = path.with_name(f"{path.name}1")
    with inside.open("wb") as partition:
        partition.truncate(48 * _MIB)
    subprocess.run([mkfs, "-F", "32", "-n", label, str(inside)], check=True, capture_output=True)


def attached(root: Path, name: str, where: str, *, removable: str = "1", told: str = "", read_only: str = "0") -> None:
    """The disk in a sysfs of its own, as the kernel shows it: a folder of the disk, in it one of each partition."""
    place = root / "sys" / where / "block" / name
    for number in ("1", "2"):
        inside = place / f"{name}{number}"
        inside.mkdir(parents=True)
        (inside / "partition").write_text(f"{number}\n")
        (inside / "ro").write_text("0\n")
        (inside / "uevent").write_text(f"DEVNAME={name}{number}\nPARTN={number}\n{told if number == '1' else ''}")
    (place / "removable").write_text(f"{removable}\n")
    (place / "ro").write_text(f"{read_only}\n")
    (root / "sys/block").mkdir(parents=True, exist_ok=True)
    (root / "sys/block" / name).symlink_to(os.path.relpath(place, root / "sys/block"))


@pytest.fixture(scope="session")
def stick_disk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A stick's disk file, with its first partition's beside it."""
    path = tmp_path_factory.mktemp("disk") / "sdb"
    disk_file(path)
    return path


@pytest.fixture
def machine(tmp_path: Path, stick_disk: Path) -> Path:
    """A machine with the stick's files in its ``/dev``, and no disk in its sysfs yet."""
    (tmp_path / "dev").mkdir()
    for ending in ("", "1"):
        shutil.copy(f"{stick_disk}{ending}", tmp_path / "dev")
    return tmp_path


def found(machine: Path, guid: str = GUID) -> Partition | None:
    return data_partition(guid, str(machine))


def test_the_partition_is_found_by_its_guid_on_a_disk_that_sgdisk_made(machine: Path) -> None:
    attached(machine, "sdb", USB)
    assert found(machine) == Partition(node=f"{machine}/dev/sdb1", read_only=False)
    assert found(machine, OTHER) is None


def test_the_kernel_s_own_word_is_taken_where_it_gives_one(machine: Path) -> None:
    """PARTUUID in the uevent of a partition: block/partitions/core.c of newer kernels."""
    attached(machine, "sdb", USB, told=f"PARTUUID={OTHER}\n")
    assert found(machine) is None
    assert found(machine, OTHER) is not None


def test_a_disk_that_is_built_in_is_no_stick_whatever_is_on_it(machine: Path) -> None:
    attached(machine, "sdb", INSIDE, removable="0")
    assert found(machine) is None


def test_a_switch_on_the_stick_is_seen(machine: Path) -> None:
    attached(machine, "sdb", USB, read_only="1")
    assert found(machine) == Partition(node=f"{machine}/dev/sdb1", read_only=True)


def test_another_file_system_is_not_the_stick_s(machine: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    attached(machine, "sdb", USB)
    other = tmp_path_factory.mktemp("other") / "sdb"
    disk_file(other, label="OTHER")
    shutil.copy(f"{other}1", machine / "dev/sdb1")
    assert found(machine) is None


@pytest.mark.parametrize("at", [512, 600, 1024 + 20], ids=["the signature", "the header", "an entry"])
def test_a_table_that_is_not_whole_is_not_believed(machine: Path, at: int) -> None:
    """Both checksums of UEFI's GPT: of the header's 92 bytes, and of the entries."""
    flipped(machine, at)
    assert found(machine) is None


def test_what_lies_behind_the_header_is_no_part_of_it(machine: Path) -> None:
    flipped(machine, 512 + 92)
    assert found(machine) is not None


def flipped(machine: Path, at: int) -> None:
    """The stick with one byte of it changed."""
    attached(machine, "sdb", USB)
    with (machine / "dev/sdb").open("r+b") as disk:
        disk.seek(at)
        byte = disk.read(1)
        disk.seek(at)
        disk.write(bytes([byte[0] ^ 0xFF]))


@pytest.mark.parametrize("size", [0, 511, 1024, 3000])
def test_a_disk_that_ends_early_is_no_stick(machine: Path, size: int) -> None:
    attached(machine, "sdb", USB)
    os.truncate(machine / "dev/sdb", size)
    assert found(machine) is None


def test_a_machine_without_disks(tmp_path: Path) -> None:
    assert found(tmp_path) is None


def test_no_disk_of_the_unit_is_ever_opened(machine: Path) -> None:
    """strace(1) lists every file that the search opens; on the unit's own disk lies a stick's own image."""
    strace = needed_tool("strace", "strace")
    attached(machine, "sdb", USB)
    attached(machine, "sda", INSIDE, removable="0")
    for ending in ("", "1"):
        shutil.copy(machine / f"dev/sdb{ending}", machine / f"dev/sda{ending}")
    program = (
        f"from usbwatch.onboard.partition import data_partition; print(data_partition({GUID!r}, {str(machine)!r}))"
    )
    trace = machine / "trace"
    command = [strace, "-f", "-qq", "-e", "trace=%file", "-o", str(trace), sys.executable, "-c", program]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    assert "/dev/sdb1" in done.stdout
    opened = trace.read_text()
    assert f"{machine}/dev/sdb" in opened
    assert f"{machine}/dev/sda" not in opened
