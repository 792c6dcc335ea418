"""``usbwatch watch`` running in the emulated laptop while its hardware changes, and what the kernel says of that.

The truth is the kernel's log as the guest's own ``cat`` reads it, and what was done to the hardware.
"""

from __future__ import annotations

import json
import random
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from virtual.laptop import Laptop
from virtual.program import begun, ended, sh, until

__all__ = ["USB", "Course", "Run", "changed_at_random", "logged", "out_of_order", "sh", "until", "watching"]

USB = "pci0000:00/14.0/usb2"

_PLACES = {"keyboard": "4.1", "touchpad": "4.2", "fingerprint-reader": "4.3", "camera": "5", "bluetooth": "6"}
_READER = {"driver": "usb-ccid", "id": "smart-card-reader", "bus": "xhci.0", "port": "4.4", "serial": "SC-0001-DEMO"}
_LINE = re.compile(r"\d+,\d+,(\d+),[^;]*;usb 1-([\d.]+): (USB disconnect, |New USB device found, )")
# Emulation in software takes so long to enumerate that a part must stay in place for this time to have been there.
_SETTLED_S = 3.0


@dataclass(slots=True, kw_only=True)
class Run:
    """What one run of the program came to; all is there once the context has ended."""

    pid: str = ""
    code: int = -1
    lines: list[str] = field(default_factory=list)
    objects: list[dict[str, Any]] = field(default_factory=list)
    arrived_us: list[int] = field(default_factory=list)
    """When each of ``objects`` came, where they were piped through ``stamped.py``."""
    record: dict[str, Any] = field(default_factory=dict)
    kept: bytes = b""
    """The file of the record."""
    said: str = ""

    @property
    def incidents(self) -> list[dict[str, Any]]:
        """The incidents that count, in order: one that was told anew is there once."""
        told = [one for one in self.objects if one["type"] == "incident"]
        replaced = {number for one in told for number in one["instead_of"]}
        return [one for one in told if one["number"] not in replaced]

    @property
    def events(self) -> list[tuple[int, str, str]]:
        """Stamp of the kernel's log, change and port of each coming and going, as the record has them."""
        return [
            (one.get("kernel_us", 0), one["change"], one["location"].removeprefix(f"{USB}/"))
            for one in self.record["watches"][0]["events"]
        ]


@contextmanager
def watching(laptop: Laptop, arguments: str, through: str = "") -> Iterator[Run]:
    """The program at work in the guest, ended by SIGINT, as Ctrl-C does.

    With ``through`` it is started afresh, and its lines are piped through that command.
    """
    run = Run()
    words = f"watch --json -o /tmp/watch.json --force {arguments}".split()
    sh(laptop, "rm -rf /tmp/watch.*; (cat /dev/kmsg >/tmp/kmsg & echo $! >/tmp/kmsg.pid)")
    folder = _piped(laptop, words, through) if through else begun(laptop, *words)
    until(laptop, f"grep -q begin {folder}/out")
    run.pid = sh(laptop, f"cat {folder}/pid")
    yield run
    sh(laptop, f"kill -INT {run.pid}")
    run.code = ended(laptop, folder)
    until(laptop, f"grep -q '\"end\"' {folder}/out")
    sh(laptop, "kill $(cat /tmp/kmsg.pid)")
    run.lines = laptop.machine.fetch(f"{folder}/out").decode().split("\n")[:-1]
    run.objects = [json.loads(line[line.index("{") :]) for line in run.lines]
    run.arrived_us = [int(line.split()[0]) for line in run.lines if line[0] != "{"]
    run.kept = laptop.machine.fetch("/tmp/watch.json")
    run.record = json.loads(run.kept)
    run.said = laptop.machine.fetch(f"{folder}/err").decode()


def _piped(laptop: Laptop, words: list[str], through: str) -> str:
    folder = "/tmp/watch.run"
    command = f"python3 -m usbwatch {' '.join(words)} </dev/null 2>{folder}/err"
    sh(laptop, f"mkdir {folder}; (({command}; echo $? >{folder}/code) | {through} >{folder}/out) & true")
    until(laptop, "ps | grep -q '[p]ython3 -m usbwatch watch'")
    sh(laptop, f"ps | grep '[p]ython3 -m usbwatch watch' | head -n 1 | awk '{{print $1}}' >{folder}/pid")
    return folder


def logged(laptop: Laptop, since_us: int) -> list[tuple[int, str, str]]:
    """Each coming and going of a USB device after a stamp, as the kernel logs it (drivers/usb/core/hub.c).

    Of the records that the guest's own ``cat`` has read of ``/dev/kmsg`` since the watch began: the kernel keeps only
    the latest of many.
    """
    found = [_LINE.match(line) for line in laptop.machine.fetch("/tmp/kmsg").decode().splitlines()]
    rows = [(int(one[1]), "gone" if "disconnect" in one[3] else "came back", one[2]) for one in found if one]
    return [row for row in rows if row[0] > since_us]


def out_of_order(events: list[tuple[int, str, str]]) -> list[tuple[int, str, str]]:
    """Events that were told after one that was logged later, and should not have been.

    An arrival is logged before it is there, so that of another hub a departure may come between line and arrival.
    """
    late: list[tuple[int, str, str]] = []
    latest_us = 0
    for event in events:
        if event[0] < latest_us and event[1] != "came back":
            late.append(event)
        latest_us = max(latest_us, event[0])
    return late


@dataclass(slots=True, kw_only=True)
class Course:
    """What was done to the hardware."""

    done: list[tuple[str, str]] = field(default_factory=list)
    """Change and port, in order."""


def changed_at_random(laptop: Laptop, seed: int, count: int, *, shortest_s: float) -> Course:
    """Take parts out and put them back at random moments; no absence is shorter than ``shortest_s``, all end there."""
    dice = random.Random(seed)
    course = Course()
    changed_s = dict.fromkeys([*_PLACES, "smart-card-reader"], 0.0)
    out: set[str] = set()
    while len(course.done) < count or out:
        now = time.monotonic()
        able = [
            part
            for part, at in changed_s.items()
            if now - at >= (shortest_s if part in out else _SETTLED_S)
            and (part in out or len(course.done) < count - len(out))
        ]
        if able:
            part = dice.choice(able)
            _change(laptop, part, back=part in out)
            changed_s[part] = time.monotonic()
            course.done.append(("came back" if part in out else "gone", _PLACES.get(part, "4.4")))
            out ^= {part}
        time.sleep(dice.uniform(0.05, 0.9))
    time.sleep(_SETTLED_S)
    return course


def _change(laptop: Laptop, part: str, *, back: bool) -> None:
    if part in laptop.parts:
        (laptop.parts[part].plug if back else laptop.parts[part].unplug)()
    elif back:
        laptop.machine.change("device_add", **_READER)
    else:
        laptop.machine.change("device_del", id="smart-card-reader")
