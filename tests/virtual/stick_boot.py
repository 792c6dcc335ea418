"""An invented laptop that starts from the bench stick: UEFI firmware that enforces Secure Boot, the stick in a socket.

The firmware is the distribution's build of the open UEFI implementation, with
its maker's and the usual keys enrolled (package ``ovmf``); its variables and
the stick are copies of the run. The laptop's own disk can be written to by
whoever wants to, so that a write would be seen.
"""

from __future__ import annotations

import hashlib
import re
import shutil
import socket
import struct
import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from virtual.laptop import Condition, add, fitted
from virtual.layout import Layout
from virtual.machine import Emulator
from virtual.redirection import Peer
from virtual.usb_parts import KEYS

__all__ = [
    "FIRMWARE",
    "TOOLS",
    "VARIABLES",
    "Bench",
    "StickMachine",
    "beyond_data",
    "captures_on",
    "data_size",
    "from_stick",
    "started_from",
    "with_other_kernel",
    "with_words",
]

FIRMWARE = Path("/usr/share/OVMF/OVMF_CODE_4M.ms.fd")
VARIABLES = FIRMWARE.with_name("OVMF_VARS_4M.ms.fd")
TOOLS = {
    "mcopy": "mtools",
    "mkfs.vfat": "dosfstools",
    "sgdisk": "gdisk",
    "mke2fs": "e2fsprogs",
    "debugfs": "e2fsprogs",
    "dumpe2fs": "e2fsprogs",
    "mkswap": "util-linux",
}
"""Programs that these tests need besides, and the packages that have them."""

DATA_OFFSET = 1 << 20
"""Where the data partition of a stick begins."""
_START_S = 300


class StickMachine(Emulator):
    """A machine with a stick in it. Its serial line shows what the stick has to say."""

    def __init__(
        self, stick: Path, arguments: Sequence[str], folder: Path, sockets: Sequence[socket.socket], *, log: Path | None
    ) -> None:
        self.variables = Path(shutil.copy(VARIABLES, folder / "variables"))
        medium = f"driver=file,node-name=stick-file,filename={stick}"
        node = "driver=raw,node-name=stick-medium,file=stick-file"
        if log is not None:
            log.touch()
            node = "driver=blklogwrites,node-name=stick-medium,file=stick-file,log=log-file"
            medium = f"{medium} -blockdev driver=file,node-name=log-file,filename={log}"
        started = [
            *("-m", "1536M", "-global", "driver=cfi.pflash01,property=secure,value=on"),
            *("-drive", f"if=pflash,format=raw,unit=0,file={FIRMWARE},readonly=on"),
            *("-drive", f"if=pflash,format=raw,unit=1,file={self.variables}"),
            *("-blockdev", *medium.split(), "-blockdev", node),
        ]
        super().__init__([*started, *arguments], folder, sockets, chipset="q35,smm=on")

    def screen(self, target: Path) -> None:
        """Save a picture of the screen (PNG)."""
        self.change("screendump", filename=str(target), format="png")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A laptop that starts from a stick, and what lies about it."""

    machine: StickMachine
    parts: dict[str, Peer]
    stick: Path
    """The stick's contents as they are now."""
    disk: Path
    """The contents of the laptop's own disk."""
    plugged: str
    """The stick as a device of the emulator."""

    def writes_to_disk(self) -> int:
        """How many requests to write, to flush or to discard the laptop's own disk has got."""
        told = self.machine.requests("disk")
        return told["wr_operations"] + told["flush_operations"] + told["unmap_operations"]

    def press(self, key: str) -> None:
        """Press a key of the helper keyboard: of what is plugged into the first socket."""
        next(part for name, part in self.parts.items() if name.startswith("socket-")).press(KEYS[key])

    def pull(self) -> None:
        """Pull the stick out, whatever it is doing."""
        self.machine.change("device_del", id="stick")
        self.machine.event("DEVICE_DELETED")

    def plug_back(self) -> None:
        """Put the stick back into its socket."""
        add(self.machine, self.plugged)


@contextmanager
def from_stick(
    image: Path,
    layout: Layout,
    condition: Condition,
    folder: Path,
    *,
    socket_name: str,
    disk: Path,
    log: Path | None = None,
) -> Iterator[Bench]:
    """The laptop in a condition, switched on with a copy of ``image`` in a socket, and with ``disk`` as its own disk.

    What is written to the stick is logged in ``log`` where that is given (format: the emulator's ``blklogwrites``).
    """
    stick = folder / "stick"
    shutil.copy(image, stick)
    port = layout.sockets[socket_name]
    plugged = f"usb-storage,id=stick,drive=stick-medium,bus={port.bus},port={port.port},removable=on"
    with fitted(layout, condition, folder) as laptop:
        arguments = [*laptop.arguments, "-device", f"{plugged},bootindex=0"]
        arguments += ["-drive", f"file={disk},if=none,id=disk,format=raw,cache=writethrough"]
        sockets = [peer.socket for peer in laptop.parts.values()]
        with StickMachine(stick, arguments, folder, sockets, log=log) as machine:
            yield Bench(machine=machine, parts=dict(laptop.parts), stick=stick, disk=disk, plugged=plugged)


def with_words(image: Path, target: Path, *words: str) -> Path:
    """A copy of a stick's image whose kernel is given further words."""
    shutil.copy(image, target)
    menu = target.with_name("grub.cfg")
    place = f"{target}@@{_system_offset(target)}"
    subprocess.run(["mcopy", "-n", "-i", place, "::/EFI/debian/grub.cfg", menu], check=True)
    lines = menu.read_text("ascii").splitlines()
    added = [f"{line} {' '.join(words)}" if line.lstrip().startswith("linux ") else line for line in lines]
    menu.write_text("\n".join(added) + "\n", "ascii")
    subprocess.run(["mcopy", "-o", "-i", place, menu, "::/EFI/debian/grub.cfg"], check=True)
    return target


def with_other_kernel(image: Path, target: Path) -> Path:
    """A copy of a stick's image in whose kernel one byte is another, far behind what its header says."""
    shutil.copy(image, target)
    kernel = target.with_name("vmlinuz")
    place = f"{target}@@{_system_offset(target)}"
    subprocess.run(["mcopy", "-n", "-i", place, "::/usbwatch/vmlinuz", kernel], check=True)
    content = bytearray(kernel.read_bytes())
    content[len(content) // 2] ^= 1
    kernel.write_bytes(content)
    subprocess.run(["mcopy", "-o", "-i", place, kernel, "::/usbwatch/vmlinuz"], check=True)
    return target


def _system_offset(image: Path) -> int:
    """Where the partition that is started from begins."""
    return _entry(image, 1)[0] * 512


def started_from(image: Path) -> int:
    """How many bytes firmware and boot loader read to start a stick: kernel and system."""
    place = f"{image}@@{_system_offset(image)}"
    listed = subprocess.run(["mdir", "-i", place, "::/usbwatch"], check=True, capture_output=True, text=True).stdout
    found = re.search(r"\d+ files? +([\d ]+) bytes", listed)
    assert found, listed
    return int(found[1].replace(" ", ""))


def data_size(image: Path) -> int:
    """How many bytes the data partition has."""
    first, last = _entry(image, 0)
    return (last - first + 1) * 512


def _entry(image: Path, number: int) -> tuple[int, int]:
    """First and last sector of a partition (UEFI Specification, "GPT Partition Entry")."""
    with image.open("rb") as file:
        file.seek((2 * 512) + number * 128 + 32)
        return struct.unpack("<QQ", file.read(16))


def beyond_data(stick: Path) -> str:
    """A digest of all of a stick that is not its data partition."""
    with stick.open("rb") as file:
        before = file.read(DATA_OFFSET)
        file.seek(_system_offset(stick))
        return hashlib.sha256(before + file.read()).hexdigest()


def captures_on(stick: Path, target: Path, ending: str = ".json") -> list[Path]:
    """Files with this ending in the folder ``captures`` of a stick, copied out of its data partition by mtools."""
    target.mkdir(parents=True, exist_ok=True)
    # Its exit code is not asked for: it is that of a failure where there are none, too.
    subprocess.run(
        ["mcopy", "-n", "-i", f"{stick}@@{DATA_OFFSET}", f"::/captures/*{ending}", target],
        check=False,
        capture_output=True,
    )
    return sorted(target.glob(f"*{ending}"))
