"""The disk of a unit that was switched off in the middle of its work: whoever repairs or mounts it changes its bytes.

A partition table, a FAT file system that says it was not unmounted, an ext4
file system with a transaction in its journal that was never carried out, and
a swap area that says a sleeping system lies in it.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from pathlib import Path

__all__ = ["digest", "repaired", "unfinished_disk"]

_MIB = 1 << 20
_FAT = (1, 40)
_EXT4 = (41, 48)
_SWAP = (89, 8)
"""Where each lies and how large it is, in MiB."""
_SIZE_MIB = 98

_PAGE = 4096
_SUSPENDED = b"S1SUSPEND\0"
"""kernel/power/swap.c: the signature that a swap area has while it holds the image of a sleeping system."""
_FAT32_FLAGS = 0x41
"""FAT specification: BS_Reserved1 of FAT32; bit 0 says, by common practice of Linux and others, "not unmounted"."""


def unfinished_disk(target: Path, scratch: Path) -> Path:
    """Make the disk at ``target``; that its journal really waits to be carried out is checked."""
    scratch.mkdir()
    with target.open("wb") as disk:
        disk.truncate(_SIZE_MIB * _MIB)
    sectors = {number: (start * 2048, (start + size) * 2048 - 1) for number, (start, size) in enumerate(_PLACES, 1)}
    new = [f"--new={number}:{first}:{last}" for number, (first, last) in sectors.items()]
    _run("sgdisk", "--clear", *new, "--typecode=1:EF00", "--typecode=2:8300", "--typecode=3:8200", target)
    for (start, _), made in zip(_PLACES, (_fat(scratch), _ext4(scratch), _swap(scratch)), strict=True):
        _run("dd", f"if={made}", f"of={target}", "bs=1M", f"seek={start}", "conv=notrunc", "status=none")
    shutil.rmtree(scratch)
    return target


def repaired(disk: Path, target: Path) -> Path:
    """A copy on which the journal's transaction was carried out, as mounting it would, read only or not."""
    shutil.copy(disk, target)
    subprocess.run(["e2fsck", "-fy", f"{target}?offset={_EXT4[0] * _MIB}"], capture_output=True, check=False)
    return target


def digest(path: Path) -> str:
    """SHA-256 of a file, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


_PLACES = (_FAT, _EXT4, _SWAP)


def _fat(scratch: Path) -> Path:
    made, letter = scratch / "fat", scratch / "letter.txt"
    letter.write_text("Not to be touched.\n" * 400)
    _empty(made, _FAT[1])
    _run("mkfs.vfat", "-F", "32", "-s", "1", "-n", "OWNER", made)
    _run("mcopy", "-i", made, letter, "::/LETTER.TXT")
    with made.open("r+b") as file:
        file.seek(_FAT32_FLAGS)
        file.write(b"\x01")
    return made


def _ext4(scratch: Path) -> Path:
    made, files = scratch / "ext4", scratch / "files"
    files.mkdir()
    for number in range(20):
        (files / f"picture-{number}").write_bytes(number.to_bytes(1) * 50_000)
    _empty(made, _EXT4[1])
    _run("mke2fs", "-q", "-t", "ext4", "-d", files, "-L", "OWNER", made)
    block = scratch / "block"
    block.write_bytes(b"a block that the journal still has to put in its place".ljust(_PAGE, b"."))
    orders = scratch / "orders"
    orders.write_text(f"journal_open\njournal_write -b 2000 {block}\njournal_close\n")
    _run("debugfs", "-w", "-f", orders, made)
    assert "needs_recovery" in _run("dumpe2fs", "-h", made)
    return made


def _swap(scratch: Path) -> Path:
    made = scratch / "swap"
    _empty(made, _SWAP[1])
    _run("mkswap", "-L", "OWNER", made)
    with made.open("r+b") as file:
        file.seek(_PAGE - len(_SUSPENDED))
        file.write(_SUSPENDED)
    return made


def _empty(path: Path, mib: int) -> None:
    with path.open("wb") as file:
        file.truncate(mib * _MIB)


def _run(*command: str | Path) -> str:
    done = subprocess.run(command, capture_output=True, check=False, text=True)
    assert done.returncode == 0, f"{command}: {done.stdout}{done.stderr}"
    return done.stdout
