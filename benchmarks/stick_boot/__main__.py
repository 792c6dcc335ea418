"""``PYTHONPATH=tests:. python -m benchmarks.stick_boot``: measures and writes ``RESULTS.md`` beside itself."""

from __future__ import annotations

import argparse
import os
import platform
import re
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from virtual.build import work_folder
from virtual.laptop import HEALTHY
from virtual.larch_13 import LARCH_13
from virtual.own_disk import unfinished_disk
from virtual.stick_boot import Bench, captures_on, from_stick, started_from, with_words

from usbwatch.stick.building import Recipe, build_image

HERE = Path(__file__).parent
ABOUT = """\
# The bench stick: from power to the answer

Written by `PYTHONPATH=tests:. python -m benchmarks.stick_boot`. The emulated Larch 13 (`tests/virtual`), healthy,
starts from the stick under UEFI firmware that enforces Secure Boot; nothing is pressed. All moments are of one clock:
what the kernel and the program say of theirs is put into it. Seconds; the median of the starts, the slowest in
brackets. The peer is the kernel's own start in the same run: from its first line to the one with which it hands over
to `/init`."""

_LOOP = "import time; t=time.process_time(); sum(i*i for i in range(1000000)); print(time.process_time()-t)"
"""What the processors are compared by: as the program, it is Python at work."""
_WAIT_S = 300

OLD_LAPTOP = 2.5
"""How many times slower than the machine that measures a laptop of ten years ago is taken to be: an assumption."""
_MENU_S = 3.0
_FIRMWARE_READS_MB_S = (10, 25)
"""What firmware reads from a stick in a second: an assumption, slow (USB 2.0) and less slow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """One start, in seconds since power came on."""

    firmware: float
    """Firmware has found the stick and starts it."""
    chosen: float
    """The boot menu has run out."""
    kernel: float
    """The kernel's first line."""
    unpacked: float
    """How long the kernel unpacked the system."""
    init: float
    drivers: float
    shown: float
    settled: float
    captured: float
    answered: float
    loop: float
    """How long the loop takes on the emulated processor."""


def main() -> int:
    """Measure, and write the results."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--starts", type=int, default=3)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=work_folder()) as scratch:
        folder = Path(scratch)
        build_image(folder / "image", Recipe())
        image = with_words(folder / "image", folder / "words", "usbwatch.shell")
        starts = []
        for number in range(asked.starts):
            (folder / str(number)).mkdir()
            starts.append(_start(image, folder / str(number)))
            print(starts[-1], flush=True)
        native = float(subprocess.run([sys.executable, "-c", _LOOP], capture_output=True, check=True).stdout)
        size_mb = started_from(image) / 1e6
    page = "\n\n".join([ABOUT, _machine(len(starts)), _table(starts), _estimate(starts, native, size_mb)])
    print(page)
    (HERE / "RESULTS.md").write_text(page + "\n", "utf-8")
    return 0


def _start(image: Path, folder: Path) -> Start:
    disk = unfinished_disk(folder / "disk", folder / "scratch")
    began = time.monotonic()
    with from_stick(image, LARCH_13, HEALTHY, folder, socket_name="1", disk=disk) as bench:
        firmware, chosen = (_at(bench, wanted, began) for wanted in ("BdsDxe: starting", "Booting `"))
        bench.machine.until(".*@@ READY", _WAIT_S)
        uptime = float(bench.machine.run("cat /proc/uptime").output.split()[0])
        kernel = time.monotonic() - began - uptime
        bench.machine.run("until grep -q 'Saved on' /dev/vcs1; do sleep 1; done", _WAIT_S)
        log = bench.machine.run("dmesg").output
        loop = float(bench.machine.run(f'python3 -c "{_LOOP}"').output)
    (text,) = [path.read_text("ascii") for path in captures_on(bench.stick, folder / "data", ".txt")]
    told = {name: float(moment) for name, moment in re.findall(r"(\w+) (\d+\.\d)[,\s]", text)}
    unpacking, freed = _logged(log, "Trying to unpack rootfs"), _logged(log, "Freeing initrd memory")
    return Start(
        firmware=firmware,
        chosen=chosen,
        kernel=kernel,
        unpacked=freed - unpacking,
        init=kernel + _logged(log, "Run /init"),
        drivers=kernel + _logged(log, "init: drivers are loaded"),
        shown=kernel + told["shown"],
        settled=kernel + told["settled"],
        captured=kernel + told["captured"],
        answered=kernel + told["answered"],
        loop=loop,
    )


def _at(bench: Bench, wanted: str, began: float) -> float:
    bench.machine.until(f".*{wanted}", _WAIT_S)
    return time.monotonic() - began


def _logged(log: str, words: str) -> float:
    found = re.search(rf"^\[ *(\d+\.\d+)\] .*{re.escape(words)}", log, re.MULTILINE)
    assert found, f"the kernel's log has no line with: {words}"
    return float(found[1])


def _machine(starts: int) -> str:
    load = os.getloadavg()[1]
    return (
        f"Starts: {starts}, on {os.cpu_count()} cores, shared with other work (load of the last five minutes: "
        f"{load:.1f}), CPython {platform.python_version()} outside; the emulated laptop has 2 processors, in software."
    )


_PHASES = (
    ("firmware, until it starts the stick", "firmware", None),
    ("boot loader: Secure Boot's checks, a menu of 3 s", "chosen", "firmware"),
    ("boot loader: kernel and system read from the stick", "kernel", "chosen"),
    ("**the kernel's own start**, until `/init`", "init", "kernel"),
    ("drivers, until no more devices come", "drivers", "init"),
    ("the program, until its first screen", "shown", "drivers"),
    ("it waits until no more devices come", "settled", "shown"),
    ("it captures", "captured", "settled"),
    ("it judges, until the answer is on the screen", "answered", "captured"),
)


def _spent(start: Start, end: str, begin: str | None) -> float:
    moments = {name: getattr(start, name) for name in Start.__dataclass_fields__}
    return float(moments[end] - (moments[begin] if begin else 0))


def _table(starts: list[Start]) -> str:
    own = median(_spent(one, "init", "kernel") for one in starts)
    rows = ["| phase | takes | times the kernel's own start |", "| --- | --- | --- |"]
    for words, end, begin in _PHASES:
        spent = [_spent(one, end, begin) for one in starts]
        rows.append(f"| {words} | {median(spent):.1f} ({max(spent):.1f}) | {median(spent) / own:.2f} |")
    for words, end, begin in (
        ("**from the boot menu to the first screen**", "shown", "firmware"),
        ("**from the boot menu to the answer**", "answered", "firmware"),
        ("from the kernel's first line to the answer", "answered", "kernel"),
    ):
        spent = [_spent(one, end, begin) for one in starts]
        rows.append(f"| {words} | {median(spent):.1f} ({max(spent):.1f}) | {median(spent) / own:.2f} |")
    unpacked = median(one.unpacked for one in starts)
    rows += [
        "",
        f"Of the kernel's own start, {unpacked:.1f} s went by while it unpacked the system, beside other work.",
    ]
    return "\n".join(rows)


def _estimate(starts: list[Start], native: float, size_mb: float) -> str:
    """What that comes to on a laptop of ten years ago, with all that was assumed."""
    slower = median(one.loop for one in starts) / native
    to_answer = median(_spent(one, "answered", "kernel") for one in starts)
    to_shown = median(_spent(one, "shown", "kernel") for one in starts)
    reading = [size_mb / speed for speed in _FIRMWARE_READS_MB_S]
    low, high = (_MENU_S + reading[1] + to_shown / slower * OLD_LAPTOP, _MENU_S + reading[0] + to_shown)
    low_answer, high_answer = low + (to_answer - to_shown) / slower * OLD_LAPTOP, high + (to_answer - to_shown)
    slow, fast = _FIRMWARE_READS_MB_S
    return "\n".join(
        [
            "## What that would be on a laptop of ten years ago: an estimate",
            "",
            f"- Assumed, no source: such a laptop (two cores, 2 GHz) is {OLD_LAPTOP} times slower than the machine",
            f"  that measured; its firmware reads {slow} to {fast} MB a second from a stick.",
            f"- Measured: firmware reads {size_mb:.0f} MB; the emulated processor runs Python {slower:.0f} times",
            "  slower than the machine that measured does.",
            "- From the kernel's first line on: at best all of it is work, which scales with the processor; at worst",
            "  all of it is waiting for devices, and takes as long as here. The truth lies between; parts that start",
            "  slowly, and drivers that wait for them, push it up.",
            "",
            "| from the boot menu | at best | at worst |",
            "| --- | --- | --- |",
            f"| to the first screen | {low:.0f} s | {high:.0f} s |",
            f"| to the answer | {low_answer:.0f} s | {high_answer:.0f} s |",
        ]
    )


if __name__ == "__main__":
    sys.exit(main())
