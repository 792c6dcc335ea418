"""An invented laptop that starts from the bench stick: UEFI firmware that enforces Secure Boot, the stick in a socket.

The firmware is the distribution's build of the open UEFI implementation, with
its maker's and the usual keys enrolled (package ``ovmf``); its variables and
the stick are copies of the run. The laptop's own disk can be written to by
whoever wants to, so that a write would be seen.
"""

from __future__ import annotations

import shutil
import socket
import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from virtual.laptop import Condition, add, fitted
from virtual.layout import Layout
from virtual.machine import Emulator
from virtual.redirection import Peer

__all__ = ["FIRMWARE", "TOOLS", "Bench", "StickMachine", "captures_on", "from_stick"]

FIRMWARE = Path("/usr/share/OVMF/OVMF_CODE_4M.ms.fd")
_VARIABLES = FIRMWARE.with_name("OVMF_VARS_4M.ms.fd")
TOOLS = {"mcopy": "mtools", "mkfs.vfat": "dosfstools", "sgdisk": "gdisk", "mke2fs": "e2fsprogs", "debugfs": "e2fsprogs"}
"""Programs that these tests need besides, and the packages that have them."""

DATA_OFFSET = 1 << 20
"""Where the data partition of a stick begins."""
_START_S = 300


class StickMachine(Emulator):
    """A machine with a stick in it. Its serial line shows what the stick has to say."""

    def __init__(
        self, stick: Path, arguments: Sequence[str], folder: Path, sockets: Sequence[socket.socket], *, log: Path | None
    ) -> None:
        variables = folder / "variables"
        shutil.copy(_VARIABLES, variables)
        medium = f"driver=file,node-name=stick-file,filename={stick}"
        node = "driver=raw,node-name=stick-medium,file=stick-file"
        if log is not None:
            log.touch()
            node = "driver=blklogwrites,node-name=stick-medium,file=stick-file,log=log-file"
            medium = f"{medium} -blockdev driver=file,node-name=log-file,filename={log}"
        started = [
            *("-m", "1536M", "-global", "driver=cfi.pflash01,property=secure,value=on"),
            *("-drive", f"if=pflash,format=raw,unit=0,file={FIRMWARE},readonly=on"),
            *("-drive", f"if=pflash,format=raw,unit=1,file={variables}"),
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


def captures_on(stick: Path, target: Path) -> list[Path]:
    """The files in the folder ``captures`` of a stick, copied out of its data partition by mtools."""
    target.mkdir(parents=True, exist_ok=True)
    subprocess.run(
        ["mcopy", "-n", "-s", "-i", f"{stick}@@{DATA_OFFSET}", "::/captures", target], check=True, capture_output=True
    )
    return sorted(path for path in (target / "captures").iterdir() if path.is_file())
