"""An emulated machine that runs: start it, run commands in it, change its hardware, end it.

Emulation is in software throughout, so it needs no hardware virtualisation
and is the same everywhere. However a run ends, the emulator ends with it.
"""

from __future__ import annotations

import json
import re
import socket
import subprocess
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from virtual.build import Built

__all__ = ["Emulator", "Machine", "MachineGoneError", "Outcome", "SilentMachineError"]

_BOOT_S = 300
_COMMAND_S = 300
_RELEASE_S = 60
_DISK_BYTES = 64 << 20

# Of the x86-64-v2 level: a library that deepdiff needs is compiled for no less, and ends the program on less.
_PROCESSOR = "qemu64,+ssse3,+sse4.1,+sse4.2,+popcnt"

_KERNEL_ARGUMENTS = (
    "console=ttyS0,115200 loglevel=1 mitigations=off nokaslr tsc=reliable panic=-1 random.trust_cpu=on "
    # The self-test of one cipher warns when it is emulated; a disk shows a second late otherwise.
    "cryptomgr.notests usb-storage.delay_use=0"
)


class MachineGoneError(RuntimeError):
    """The emulator ended when it should not have; says its last words."""


class SilentMachineError(TimeoutError):
    """The guest did not answer in time; says what it said last."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a command in the guest came to."""

    code: int
    output: str


class Emulator:
    """A running emulator: its serial line and its control socket. Leaving the context ends it."""

    def __init__(
        self, arguments: Sequence[str], folder: Path, sockets: Sequence[socket.socket], *, chipset: str = "q35"
    ) -> None:
        self._serial, serial = socket.socketpair()
        self._monitor, monitor = socket.socketpair()
        self._monitor.settimeout(60)
        self._answers = self._monitor.makefile("rb")
        self._unread = b""
        self._events: list[str] = []
        self._rests = False
        command = [
            # The kernel kills the emulator when this process ends, even when it is killed itself.
            *("setpriv", "--pdeathsig", "KILL", "qemu-system-x86_64"),
            *("-nodefaults", "-no-user-config", "-display", "none", "-no-reboot", "-accel", "tcg,thread=multi"),
            *("-machine", chipset, "-smp", "1", "-cpu", _PROCESSOR),
            *("-chardev", f"socket,id=serial,fd={serial.fileno()}", "-serial", "chardev:serial"),
            *("-chardev", f"socket,id=monitor,fd={monitor.fileno()}", "-mon", "chardev=monitor,mode=control"),
            *arguments,
        ]
        kept = [serial, monitor, *sockets]
        self._said = (folder / "emulator.log").open("w+b")
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=self._said,
            stderr=subprocess.STDOUT,
            pass_fds=[one.fileno() for one in kept],
        )
        for one in kept:
            one.close()

    def __enter__(self) -> Self:
        try:
            self._answers.readline()  # its greeting
            self.change("qmp_capabilities")
            self._booted()
        except BaseException:  # Ctrl-C too: no emulator may stay behind
            self._end()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._end()

    def _booted(self) -> None:
        """Return when the machine is ready for what comes."""

    def change(self, command: str, **arguments: object) -> None:
        """Give the emulator an order of its machine protocol (QMP), such as ``device_del``."""
        self.wake()
        self._asked(command, **arguments)

    def rest(self) -> None:
        """Stand still until it is needed again (QMP: ``stop``): one that idles takes up half a core."""
        if not self._rests:
            self._asked("stop")
            self._rests = True

    def wake(self) -> None:
        """Go on where it stood still."""
        if self._rests:
            self._asked("cont")
            self._rests = False

    def requests(self, drive: str) -> Mapping[str, int]:
        """How many requests of each kind a drive has got so far (QMP: BlockDeviceStats)."""
        told = self._asked("query-blockstats")
        assert isinstance(told, list)
        found: Mapping[str, int] = next(one["stats"] for one in told if one["device"] == drive)
        return found

    def _asked(self, command: str, **arguments: object) -> object:
        """What the emulator answers to such an order."""
        self._monitor.sendall(json.dumps({"execute": command, "arguments": arguments}).encode() + b"\n")
        return self._answer(command)

    def _answer(self, command: str) -> object:
        while True:
            answer = self._told()
            if "error" in answer:
                raise RuntimeError(f"{command}: {answer['error']['desc']}")
            if "return" in answer:
                value: object = answer["return"]
                return value
            self._events.append(answer["event"])

    def give(self, name: str, theirs: socket.socket) -> None:
        """Hand a socket over, to be known by a name (QMP: ``getfd``); it is closed here."""
        self.wake()
        order = {"execute": "getfd", "arguments": {"fdname": name}}
        socket.send_fds(self._monitor, [json.dumps(order).encode() + b"\n"], [theirs.fileno()])
        theirs.close()
        self._answer("getfd")

    def take_out(self, device: str) -> None:
        """Take a device out, by its name, and all that hangs on it; return when the emulator has let go of it."""
        self.change("device_del", id=device)
        end = time.monotonic() + _RELEASE_S  # of a controller the guest's kernel has to let go, too
        while any(one["name"] == device for one in self._devices()):
            if time.monotonic() > end:
                raise SilentMachineError(f"{device} was never let go of")
            time.sleep(0.05)

    def _devices(self) -> list[dict[str, str]]:
        listed = self._asked("qom-list", path="/machine/peripheral")
        assert isinstance(listed, list)
        return listed

    def event(self, name: str) -> None:
        """Wait until the emulator has told of an event, such as ``DEVICE_DELETED``; each is told once."""
        while name not in self._events:
            self._events.append(self._told()["event"])
        self._events.remove(name)

    def _told(self) -> dict[str, Any]:
        line = self._answers.readline()
        if not line:
            raise MachineGoneError(self._last_words())
        told: dict[str, Any] = json.loads(line)
        return told

    def send(self, text: str) -> None:
        """Type into the serial line."""
        self.wake()
        self._serial.sendall(text.encode())

    def run(self, command: str, timeout_s: float = _COMMAND_S) -> Outcome:
        """Run one line of shell in the guest, where a shell listens on the serial line."""
        self.send(command + "\n")
        lines = self.until(r"@@ \d+$", timeout_s)
        return Outcome(code=int(lines[-1].split()[1]), output="\n".join(lines[:-1]))

    def ended(self, timeout_s: float) -> None:
        """Wait until the machine has switched itself off."""
        self._process.wait(timeout_s)

    def until(self, wanted: str, timeout_s: float) -> list[str]:
        """Lines of the serial line up to one that matches at its start."""
        end = time.monotonic() + timeout_s
        lines: list[str] = []
        while not (lines and re.match(wanted, lines[-1])):
            lines.append(self._line(end, lines))
        return lines

    def _line(self, end: float, before: list[str]) -> str:
        while b"\n" not in self._unread:
            self._serial.settimeout(max(0.05, end - time.monotonic()))
            try:
                more = self._serial.recv(65_536)
            except TimeoutError as error:
                raise SilentMachineError("\n".join([*before[-20:], repr(self._unread)])) from error
            if not more:
                raise MachineGoneError("\n".join([*before[-20:], self._last_words()]))
            self._unread += more
        line, _, self._unread = self._unread.partition(b"\n")
        return line.decode(errors="replace").rstrip("\r")

    def _last_words(self) -> str:
        self._said.seek(0)
        return self._said.read().decode(errors="replace")[-2000:]

    def _end(self) -> None:
        self._process.kill()
        self._process.wait(30)
        for one in (self._serial, self._answers, self._monitor, self._said):
            one.close()


class Machine(Emulator):
    """A running machine that obeys commands, its disk an empty one in ``folder``."""

    def __init__(self, built: Built, arguments: Sequence[str], folder: Path, sockets: Sequence[socket.socket]) -> None:
        self._disk = folder / "disk"
        with self._disk.open("wb") as disk:
            disk.truncate(_DISK_BYTES)
        started = [
            *("-m", "1024M", "-kernel", str(built.kernel), "-initrd", str(built.initramfs)),
            *("-append", _KERNEL_ARGUMENTS),
            *("-drive", f"file={self._disk},if=none,id=disk,format=raw,cache=unsafe"),
        ]
        super().__init__([*started, *arguments], folder, sockets)

    def _booted(self) -> None:
        self.until(r"@@ READY$", _BOOT_S)

    def fetch(self, path: str) -> bytes:
        """A file of the guest. It comes by the machine's own disk, so that no part is needed that it has not."""
        sent = self.run(f"dd if={path} of=/dev/nvme0n1 bs=1M conv=fsync 2>/tmp/dd && wc -c <{path} || cat /tmp/dd")
        if not sent.output.strip().isdigit():
            raise FileNotFoundError(f"{path} in the guest: {sent.output}")
        with self._disk.open("rb") as disk:
            return disk.read(int(sent.output))
