"""The image as programs of others see it: gdisk's check of the table, dosfstools' of the file systems, mtools."""

from __future__ import annotations

import subprocess
import uuid
from pathlib import Path

from support.needs import needed_tool
from support.small_stick import CLOCK, CONTENTS

from usbwatch.stick.image import DATA_GUID, DISK_GUID, assembled


def said(tool: str, package: str, *arguments: str | Path) -> str:
    done = subprocess.run(
        [needed_tool(tool, package), *arguments], check=True, capture_output=True, text=True, env={"TZ": "UTC"}
    )
    return done.stdout


def partition(image: Path, first: int, last: int, target: Path) -> Path:
    with image.open("rb") as file:
        file.seek(first * 512)
        target.write_bytes(file.read((last - first + 1) * 512))
    return target


def places(image: Path) -> list[tuple[int, int]]:
    """First and last sector of each partition, by gdisk."""
    found = []
    for number in ("1", "2"):
        told = said("sgdisk", "gdisk", f"--info={number}", image)
        fields = dict(line.split(": ", 1) for line in told.splitlines() if ": " in line)
        found.append((int(fields["First sector"].split()[0]), int(fields["Last sector"].split()[0])))
    return found


def test_the_table_is_sound_and_says_what_the_two_partitions_are(small_image: Path) -> None:
    assert "No problems found" in said("sgdisk", "gdisk", "--verify", small_image)
    data, system = (said("sgdisk", "gdisk", f"--info={number}", small_image) for number in (1, 2))
    # UEFI Specification, table 5-7, for the system partition; the data partition's type by Microsoft's documentation.
    assert "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7" in data
    assert f"Partition unique GUID: {DATA_GUID.upper()}" in data
    assert "C12A7328-F81F-11D2-BA4B-00A0C93EC93B" in system
    assert DISK_GUID.upper() in said("sgdisk", "gdisk", "--print", small_image)
    assert str(uuid.UUID(DATA_GUID)) == DATA_GUID


def test_both_file_systems_are_sound_fat32(small_image: Path, tmp_path: Path) -> None:
    for first, last in places(small_image):
        alone = partition(small_image, first, last, tmp_path / "alone")
        assert first % 2048 == 0
        told = said("fsck.fat", "dosfstools", "-n", "-v", alone)
        assert "32 bits/FAT" in told or "FAT32" in told or "32 bit entries" in told


def test_what_is_on_it_is_what_was_put_on_it(small_image: Path) -> None:
    (data, _), (system, _) = places(small_image)
    on_data, on_system = f"{small_image}@@{data * 512}", f"{small_image}@@{system * 512}"
    assert said("mtype", "mtools", "-i", on_data, "::/READ-ME.txt") == "a page to read\r\n".replace("\r\n", "\n")
    assert "captures" in said("mdir", "mtools", "-b", "-i", on_data, "::/")
    assert "USBWATCH" in said("mlabel", "mtools", "-s", "-i", on_data, "::")
    assert said("mtype", "mtools", "-i", on_system, "::/EFI/debian/grub.cfg") == "set timeout=3\n"
    assert "2026-03-02   9:14" in said("mdir", "mtools", "-i", on_data, "::/READ-ME.txt")


def test_built_twice_it_is_the_same_byte_for_byte(small_image: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.img"
    assembled(again, CONTENTS, data_mib=36, clock=CLOCK)
    assert again.read_bytes() == small_image.read_bytes()
