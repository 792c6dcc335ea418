"""The program at work in the guest, and on this machine with what was captured there.

In the guest it runs from ``guest/warm.py``: the same command in a process of
its own, without the time that emulation takes to import it anew.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from virtual.laptop import Laptop

from usbwatch.cli import main

__all__ = ["Judge", "begun", "captured", "ended", "forget", "sh", "standing", "until", "usbwatch"]

_numbers = itertools.count(1)
_SERVER = "[ -p /run/warm.in ] || (python3 /opt/usbwatch/warm.py </dev/null >/tmp/warm.log 2>&1 &)"

_STANDING = (
    "for d in /sys/bus/usb/devices/*; do echo ${d##*/} $(cat $d/idProduct $d/product $d/speed $d/bConfigurationValue "
    "2>/dev/null) $(readlink $d/driver); done; ls /sys/bus/pci/devices; "
    "ls /sys/class/input | tr -d 0-9 | sort | uniq -c; "  # whose numbers go on and on
    "cat /sys/class/power_supply/*/model_name /sys/class/power_supply/*/charge_full 2>/dev/null; true"
)
# The kernel's log holds so much (CONFIG_LOG_BUF_SHIFT of the distribution's kernel is 17), and a line so many bytes
# (LOG_LINE_MAX, kernel/printk/printk.c).
_FORGET = (
    "echo on >/proc/sys/kernel/printk_devkmsg; exec 9>/dev/kmsg; line=$(printf '%0900d' 0); n=0; "
    "while [ $n -lt 200 ]; do echo $line >&9; n=$((n+1)); done"
)


def sh(laptop: Laptop, command: str, code: int = 0) -> str:
    """What a line of shell prints in the guest; it must end with that code."""
    outcome = laptop.machine.run(command)
    assert outcome.code == code, f"{command}: {outcome.output}"
    return outcome.output


def until(laptop: Laptop, condition: str) -> None:
    """Wait in the guest until a shell condition holds; fail when that takes a minute and a half."""
    sh(laptop, f"n=0; until {condition}; do n=$((n+1)); [ $n -lt 900 ] || exit 9; usleep 100000; done")


def begun(laptop: Laptop, *arguments: str) -> str:
    """The folder of a run of ``usbwatch`` that was begun in the guest: its ``pid``, ``out``, ``err`` and ``code``."""
    folder = f"/tmp/run-{next(_numbers)}"
    sh(laptop, _SERVER)
    until(laptop, "[ -p /run/warm.in ]")
    words = "\\t".join((folder, *arguments))
    sh(laptop, f"mkdir {folder}; printf '{words}\\n' >/run/warm.in")
    until(laptop, f"[ -s {folder}/pid ]")
    return folder


def ended(laptop: Laptop, folder: str) -> int:
    """The exit code of a run, once it has ended."""
    until(laptop, f"[ -s {folder}/code ]")
    return int(sh(laptop, f"cat {folder}/code"))


def usbwatch(laptop: Laptop, *arguments: str, code: int | None = 0) -> bytes:
    """What a run writes in the guest, as root; it must end with that exit code, where one is given."""
    folder = begun(laptop, *arguments)
    found = ended(laptop, folder)
    written = laptop.machine.fetch(f"{folder}/out")
    assert code in (None, found), f"{laptop.machine.fetch(f'{folder}/err').decode()}\n{written.decode()}"
    return written


def captured(laptop: Laptop, path: Path) -> Path:
    """The file of a capture taken in the guest."""
    path.write_bytes(usbwatch(laptop, "capture", "-o", "-"))
    return path


def standing(laptop: Laptop) -> str:
    """What the kernel has of USB, PCI, input and power, in short: to see that a laptop is again as it was."""
    return sh(laptop, _STANDING)


def forget(laptop: Laptop) -> None:
    """Let the kernel's log be full of other things: it then tells of nothing that was before."""
    sh(laptop, _FORGET)


class Judge:
    """The program on this machine, as on the bench computer."""

    def __init__(self, capsys: pytest.CaptureFixture[str], profile: Path) -> None:
        self._capsys = capsys
        self._profile = str(profile)

    def told(self, *arguments: str, code: int) -> str:
        """What it writes; it must end with that exit code."""
        self._capsys.readouterr()
        found = main(list(arguments))
        written = self._capsys.readouterr()
        assert found == code, f"{arguments}: {written.err}\n{written.out}"
        return written.out

    def document(self, command: str, *paths: Path, code: int) -> dict[str, Any]:
        """The JSON document of a command that judges by the laptop's profile."""
        read: Callable[[str], dict[str, Any]] = json.loads
        by = () if command == "diff" else ("--profile", self._profile)
        return read(self.told(command, "--json", *map(str, paths), *by, code=code))

    def report(self, path: Path, form: str, *, code: int) -> str:
        """A report in one of its forms."""
        return self.told("report", str(path), "--profile", self._profile, "--format", form, "-o", "-", code=code)

    def page(self, path: Path, *, code: int) -> str:
        """What the check says to a person, without line breaks."""
        return " ".join(self.told("check", str(path), "--profile", self._profile, code=code).split())
