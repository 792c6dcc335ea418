"""The device that a stick is to be written to: what it is, what is on it, and every reason not to touch it.

Sources: the kernel's Documentation/ABI (``/sys/block``), proc(5) for the lists of mounts and of swap.
"""

from __future__ import annotations

import os
import re
import stat
import subprocess
from dataclasses import dataclass
from pathlib import Path

from usbwatch.errors import CannotWriteStick
from usbwatch.safe import safe, typed
from usbwatch.stick.running import path_of

__all__ = ["Machine", "Part", "Target", "examined", "removable", "sequence_of"]

_OTHER = "name the stick itself, such as /dev/sdX, and nothing that holds what you need"
_SECTOR = 512
"""What ``size`` in sysfs counts in, whatever the device's own sectors are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """Where this computer tells of its devices; other places in tests."""

    sys: Path = Path("/sys")
    proc: Path = Path("/proc")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One partition that is on the device now, or a file system that has the device to itself."""

    name: str
    size: int
    kind: str = ""
    """The file system, as ``blkid`` calls it; "" where it is not known."""
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A device that may be written to. All strings are foreign."""

    path: str
    number: tuple[int, int]
    """Major and minor."""
    name: str
    """As the kernel calls it, ``sdb``."""
    model: str
    size: int
    """Bytes."""
    parts: tuple[Part, ...]
    behind: str = ""
    """For a loop device, the file that it stands for."""
    sequence: str = ""
    """The kernel's count of disks and media when it met this one, which it never gives twice (``diskseq``); "" before
    Linux 5.15."""


def examined(path: str, machine: Machine | None = None) -> Target:
    """What is at a path; raises ``CannotWriteStick`` with the reason where it is not to be written to."""
    machine = machine or Machine()
    number = _number(path)
    folder = _folder(path, number, machine)
    names = _names_in_use(machine)
    parts = sorted(one for one in folder.iterdir() if (one / "partition").is_file())
    _refuse_in_use(path, [folder, *parts], names)
    loop = folder.name.startswith("loop")
    if not loop and _text(folder / "removable") != "1":
        problem = "is not removable, by what the kernel says of it (a disk behind a USB adapter is not, either)"
        raise CannotWriteStick(path, problem, "use a stick, which says that it is")
    if not _size(folder):
        raise CannotWriteStick(path, "has no medium in it", "put a card or a stick in")
    if _text(folder / "ro") == "1":
        raise CannotWriteStick(path, "is write-protected", "look for a switch on the stick, or take another one")
    if _text(folder / "queue" / "logical_block_size") not in ("", str(_SECTOR)):
        raise CannotWriteStick(path, f"has sectors of another size than {_SECTOR} bytes", "take another stick")
    return Target(
        path=path,
        number=number,
        name=folder.name,
        model=_model(folder),
        size=_size(folder),
        parts=tuple(one for one in map(_part, parts or [folder]) if parts or one.kind),
        behind=_text(folder / "loop" / "backing_file") if loop else "",
        sequence=sequence_of(number, machine),
    )


def sequence_of(number: tuple[int, int], machine: Machine | None = None) -> str:
    """The kernel's count for the disk, or the medium, that now has this number: see ``Target.sequence``."""
    return _text((machine or Machine()).sys / "dev" / "block" / f"{number[0]}:{number[1]}" / "diskseq")


def removable(machine: Machine | None = None) -> tuple[tuple[str, str, int], ...]:
    """Path, model and size of each device here that the kernel calls removable and that has a medium in it."""
    machine = machine or Machine()
    folders = [one for one in sorted((machine.sys / "block").glob("*")) if not one.name.startswith(("loop", "sr"))]
    there = [one for one in folders if _text(one / "removable") == "1" and _size(one)]
    return tuple((f"/dev/{one.name}", _model(one), _size(one)) for one in there)


def _model(folder: Path) -> str:
    return " ".join(filter(None, (_text(folder / "device" / "vendor"), _text(folder / "device" / "model"))))


def _number(path: str) -> tuple[int, int]:
    try:
        status = os.stat(path)  # noqa: PTH116 - a path here is text, and pathlib cannot hold every one
    except FileNotFoundError:
        raise CannotWriteStick(path, "there is no such device", "plug the stick in, and name it") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a name that a device can have"
        raise CannotWriteStick(path, f"cannot be looked at ({reason})", _OTHER) from None
    if not stat.S_ISBLK(status.st_mode):
        kind = "a folder" if stat.S_ISDIR(status.st_mode) else "no block device"
        raise CannotWriteStick(path, f"is {kind}", _OTHER)
    return os.major(status.st_rdev), os.minor(status.st_rdev)


def _folder(path: str, number: tuple[int, int], machine: Machine) -> Path:
    """The device's folder in sysfs; raises for a partition, and for what the kernel does not tell of."""
    link = machine.sys / "dev" / "block" / f"{number[0]}:{number[1]}"
    if not link.exists():
        raise CannotWriteStick(path, "the kernel tells nothing of this device", _OTHER)
    folder = link.resolve()
    if (folder / "partition").is_file():
        whole = folder.parent.name
        problem = f"is a partition of {whole}, and a stick is written whole"
        raise CannotWriteStick(path, problem, f"name /dev/{whole}, if all that is on it may go")
    return folder


@dataclass(frozen=True, slots=True, kw_only=True)
class _InUse:
    mounted: dict[tuple[int, int], str]
    """By number, where it is mounted."""
    swap: frozenset[tuple[int, int]]


def _names_in_use(machine: Machine) -> _InUse:
    """What the kernel lists as mounted, by number and by the device that it names: btrfs has numbers of its own."""
    mounted: dict[tuple[int, int], str] = {}
    for line in _text(machine.proc / "self" / "mountinfo").splitlines():
        fields, _, source = line.partition(" - ")
        words, behind = fields.split(), source.split()
        if len(words) < 5 or len(behind) < 2:  # noqa: PLR2004 - proc(5): number third, place fifth; source second
            continue
        major, _, minor = words[2].partition(":")
        place = _octal(words[4])
        for number in {(int(major), int(minor)), *_numbers_of(_octal(behind[1]))}:
            if mounted.get(number) != "/":
                mounted[number] = place
    lines = _text(machine.proc / "swaps").splitlines()[1:]
    swap = {number for line in lines if line for number in _numbers_of(_octal(line.split()[0]))}
    return _InUse(mounted=mounted, swap=frozenset(swap))


def _octal(text: str) -> str:
    """A name of proc(5), in which blanks are written as octal numbers."""
    return re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), text)


def _numbers_of(source: str) -> set[tuple[int, int]]:
    try:
        status = os.stat(source)  # noqa: PTH116
    except (OSError, ValueError):
        return set()
    return {(os.major(status.st_rdev), os.minor(status.st_rdev))} if stat.S_ISBLK(status.st_mode) else set()


_SYSTEM = ("/", "/boot", "/boot/efi", "/usr", "/home", "/var")


def _refuse_in_use(path: str, folders: list[Path], used: _InUse) -> None:
    for folder in folders:
        major, _, minor = _text(folder / "dev").partition(":")
        number = (int(major or -1), int(minor or -1))
        place = safe(used.mounted.get(number, ""))
        if place in _SYSTEM:
            raise CannotWriteStick(path, f"is the system's own disk: {folder.name} is mounted at {place}", _OTHER)
        if place:
            raise CannotWriteStick(
                path, f"is in use: {folder.name} is mounted at {place}", f"umount {typed(place)} first"
            )
        if number in used.swap:
            raise CannotWriteStick(path, f"is in use: the system swaps to {folder.name}", _OTHER)
        holders = sorted(one.name for one in (folder / "holders").iterdir()) if (folder / "holders").is_dir() else []
        if holders:
            problem = f"is in use: {folder.name} is part of {', '.join(holders)}"
            raise CannotWriteStick(path, problem, _OTHER)


def _text(path: Path) -> str:
    try:
        return path.read_text("utf-8", errors="replace").strip(" \n\0")
    except OSError:
        return ""


def _size(folder: Path) -> int:
    size = _text(folder / "size")
    return int(size) * _SECTOR if size.isdecimal() else 0


def _part(folder: Path) -> Part:
    told = _blkid(folder.name)
    return Part(name=folder.name, size=_size(folder), kind=told.get("TYPE", ""), label=told.get("LABEL", ""))


def _blkid(name: str) -> dict[str, str]:
    """What a partition holds, where the program that knows file systems is there and may look."""
    tool, node = path_of("blkid"), f"/dev/{name}"
    if tool is None or not Path(node).exists():
        return {}
    done = subprocess.run([tool, "-p", "-o", "export", node], capture_output=True, check=False)  # noqa: S603
    lines = done.stdout.decode(errors="replace").splitlines()
    return {key: value.replace("\\ ", " ") for key, _, value in (line.partition("=") for line in lines)}
