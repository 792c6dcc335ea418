"""The bench stick's whole image, built twice of packages and libraries alone, and what is in it."""

from __future__ import annotations

import hashlib
import stat
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.needs import needed_tool

from usbwatch.stick.building import Recipe, build_image, cache_folder
from usbwatch.stick.drivers import release_in
from usbwatch.stick.packages import described, fetched, planned, unpacked
from usbwatch.stick.running import TOOLS, path_of
from usbwatch.stick.settings import Settings

pytestmark = pytest.mark.virtual

_MIB = 1 << 20


@pytest.fixture(scope="module")
def twice(work: Path) -> Iterator[tuple[Path, Path, Settings]]:
    """Two images, each from nothing but the packages, and what they say they are built of."""
    for tool, package in TOOLS.items():
        if path_of(tool) is None:
            needed_tool(tool, package)
    images = []
    for name in ("first", "second"):
        cache = work / name
        cache.mkdir()
        for kept in ("packages", "wheels"):
            (cache_folder() / kept).mkdir(parents=True, exist_ok=True)
            (cache / kept).symlink_to(cache_folder() / kept)
        images.append(work / f"{name}.img")
        settings = build_image(images[-1], Recipe(), cache=cache)
    yield images[0], images[1], settings
    for image in images:
        image.unlink()


@pytest.fixture(scope="module")
def tree(twice: tuple[Path, Path, Settings], work: Path) -> Path:
    """The system on the image, unpacked one archive after the other as the kernel does."""
    root = work / "system"
    root.mkdir()
    where = f"{twice[0]}@@{65 * _MIB}"
    packed = subprocess.run(
        [needed_tool("mtype", "mtools"), "-i", where, "::/usbwatch/initramfs"], check=True, capture_output=True
    ).stdout
    plain = subprocess.run([needed_tool("zstd", "zstd"), "-dc"], input=packed, check=True, capture_output=True).stdout
    for name, mode, content in entries(plain):
        path = root / name
        if stat.S_ISDIR(mode):
            path.mkdir(parents=True, exist_ok=True)
        elif stat.S_ISLNK(mode):
            path.symlink_to(content.decode())
        else:
            path.write_bytes(content)
    return root


def entries(archive: bytes) -> Iterator[tuple[str, int, bytes]]:
    """Name, mode and content of each file: the kernel's Documentation/driver-api/early-userspace/buffer-format.rst."""
    at = 0
    while at < len(archive):
        if archive[at] == 0:  # between one archive and the next
            at += 1
            continue
        assert archive[at : at + 6] == b"070701"
        fields = [int(archive[at + 6 + 8 * number : at + 14 + 8 * number], 16) for number in range(13)]
        mode, size, name_size = fields[1], fields[6], fields[11]
        name = archive[at + 110 : at + 110 + name_size - 1].decode()
        begin = (at + 110 + name_size + 3) // 4 * 4
        at = (begin + size + 3) // 4 * 4
        if name != "TRAILER!!!":
            yield name, mode, archive[begin : begin + size]


def digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def test_two_builds_are_the_same_byte_for_byte_and_small_enough(twice: tuple[Path, Path, Settings]) -> None:
    first, second, _ = twice
    assert digest(first) == digest(second)
    assert first.stat().st_size <= 250_000_000  # the size that was set as a goal for it


def test_every_driver_is_as_the_distribution_signed_it(
    twice: tuple[Path, Path, Settings], tree: Path, work: Path
) -> None:
    kernel = f"linux-image-{twice[2].kernel}"
    packages = described({kernel: planned("linux-image-amd64")[kernel]})
    for file in fetched(packages, cache_folder() / "packages").values():
        unpacked(file, work / "kernel")
    release = release_in(work / "kernel")
    assert twice[2].kernel == release
    ours = sorted((tree / "lib" / "modules" / release).rglob("*.ko*"))
    assert len(ours) > 1500
    for path in ours:
        original = work / "kernel" / path.relative_to(tree)
        assert path.read_bytes() == original.read_bytes(), path.name
        # How the kernel knows a signature: its Documentation/admin-guide/module-signing.rst.
        assert path.suffix != ".ko" or path.read_bytes().endswith(b"~Module signature appended~\n")


def test_everything_that_python_runs_was_compiled_and_names_no_folder_of_this_computer(tree: Path) -> None:
    own = sorted((tree / "opt" / "usbwatch" / "usbwatch").rglob("*.py"))
    assert len(own) > 300
    for source in own:
        compiled = list((source.parent / "__pycache__").glob(f"{source.stem}.cpython-*.pyc"))
        assert len(compiled) == 1, source
        assert b"/opt/usbwatch/usbwatch/" in compiled[0].read_bytes()
        assert b"/usbwatch-stick-" not in compiled[0].read_bytes()


def test_no_more_than_the_stick_itself_is_ever_mounted_by_init(tree: Path) -> None:
    lines = (tree / "init").read_text().splitlines()
    mounts = [line.split() for line in lines if line.startswith("mount ")]
    assert {words[2] for words in mounts} == {"proc", "sysfs", "devtmpfs", "tmpfs", "devpts"}
    drivers = {path.name.partition(".")[0] for path in (tree / "lib" / "modules").rglob("*.ko*")}
    assert not drivers & {"md-mod", "dm-mod", "raid1", "ext4", "btrfs", "xfs", "ntfs3", "efi-pstore", "iTCO_wdt"}
    assert {"vfat", "sd_mod", "nvme", "ahci", "xhci-pci", "i2c-hid-acpi", "psmouse", "snd-hda-intel"} <= drivers


def test_every_package_and_library_is_in_the_list_of_licences(twice: tuple[Path, Path, Settings]) -> None:
    page = subprocess.run(
        [needed_tool("mtype", "mtools"), "-i", f"{twice[0]}@@{_MIB}", "::/LICENCES.txt"],
        check=True,
        capture_output=True,
    ).stdout.decode()
    for name in ("busybox-static", "grub-efi-amd64-signed", "kmod", "libc6", "python3.11", "shim-signed", "numpy"):
        assert f"\n{name} " in page.replace("\r\n", "\n")
    assert "GPL-2" in page
    assert "usbwatch itself is under the Apache" in page
