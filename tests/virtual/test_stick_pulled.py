"""The stick is pulled out while it is written to: its data partition stays whole, and so do earlier captures.

First by hand, so to speak: at random moments of a save, by the emulator's
control socket. The unit then says that nothing was saved, and saves when the
stick is back. ``USBWATCH_PULLS=20`` does it twenty times. Then at every
moment there was: what was written in the meantime was logged, and whatever
part of it a stick may hold when it loses its power is tried.
"""

from __future__ import annotations

import os
import random
import re
import subprocess
import time
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import pytest
from virtual.heron_14e import HERON_14E
from virtual.laptop import Condition
from virtual.machine import SilentMachineError
from virtual.own_disk import digest
from virtual.stick_boot import DATA_OFFSET, Bench, captures_on, data_size, from_stick
from virtual.test_stick import (
    ABSENT,
    Truth,
    answer_of,
    assert_true,
    assert_unchanged,
    captures,
    picture,
    told_until,
)
from virtual.usb_parts import HELPER_KEYBOARD
from virtual.write_log import Medium, states, writes

pytestmark = pytest.mark.virtual

PULLS = int(os.environ.get("USBWATCH_PULLS", "1"))
STATES = int(os.environ.get("USBWATCH_STATES", "30"))
SEED = 20_261_130
_CAPTURE = re.compile(r"[^.]+\.json")


@dataclass(slots=True, kw_only=True)
class Course:
    """What became of each save."""

    saved: dict[str, bytes] = field(default_factory=dict)
    """The captures that the stick has said it holds."""
    logged: dict[str, int] = field(default_factory=dict)
    """By capture, how long the log of writes was when that was said."""


def captures_in(stick: Path, folder: Path) -> dict[str, bytes]:
    """The captures on a stick by name."""
    return {path.name: path.read_bytes() for path in captures_on(stick, folder) if _CAPTURE.fullmatch(path.name)}


def capture_again(bench: Bench) -> None:
    bench.press("c")
    told_until(bench, r" 0 ", 120)
    bench.press("0")


def pull_in_the_middle(bench: Bench, log: Path, dice: random.Random, one_save: int) -> None:
    """Let a save begin, and pull the stick out when some part of the ``one_save`` bytes of log is written.

    One that came too late is put back and tried again: only a save that was broken off counts.
    """
    while True:
        before = log.stat().st_size
        capture_again(bench)
        told_until(bench, r"Saving on the stick", 120)
        wanted = before + dice.randrange(1_000, one_save * 9 // 10)
        end = time.monotonic() + 60
        while log.stat().st_size < wanted and time.monotonic() < end:
            time.sleep(0.005)
        bench.pull()
        try:
            told_until(bench, r"NOT SAVED: the stick ", 30)
        except SilentMachineError:
            bench.plug_back()
            continue
        return


def test_on_the_other_layout_and_pulled_out_while_it_writes(stick_image: Path, own_disk: Path, tmp_path: Path) -> None:
    """PS/2 is dead and the pack out, on a small screen; then the camera is lost, too; then the stick is pulled out."""
    before, log, dice = digest(own_disk), tmp_path / "log", random.Random(SEED)
    condition = Condition(ps2=False, gauge="no pack", sockets={"left-2": HELPER_KEYBOARD}, screen=(800, 600))
    first = Truth(
        untrue={"keyboard": ABSENT, "touchpad": ABSENT, "battery": ABSENT},
        says=("Brackwell Heron 14 E, serial LG-0002-DEMO", "Likeliest cause: Mainboard (PS/2 controller"),
    )
    after = Truth(untrue={**first.untrue, "camera": ABSENT})
    course = Course()
    with from_stick(stick_image, HERON_14E, condition, tmp_path, socket_name="right", disk=own_disk, log=log) as bench:
        screens = [answer_of(bench)]
        picture(bench, "small-screen", tmp_path)
        bench.parts["camera"].unplug()
        before_save = log.stat().st_size
        capture_again(bench)
        screens.append(answer_of(bench))
        one_save = log.stat().st_size - before_save
        for number in range(PULLS):
            course.saved = captures_in(bench.stick, tmp_path / f"saved-{number}")
            for name in course.saved:
                course.logged.setdefault(name, log.stat().st_size)
            pull_in_the_middle(bench, log, dice, one_save)
            if not number:
                picture(bench, "pulled-out", tmp_path)
            pulled = captures_in(bench.stick, tmp_path / f"pulled-{number}")
            assert course.saved.items() <= pulled.items()
            assert complaints(bench.stick, tmp_path / "partition") == []
            bench.plug_back()
            told_until(bench, r"Saved on this stick", 120)
        assert bench.writes_to_disk() == 0
    assert_unchanged(bench, stick_image, before)
    taken = captures(bench.stick, tmp_path / "last")  # each is whole by its own digest
    assert len(taken) >= PULLS + 2
    for truth, screen, capture in zip((first, after), screens, taken, strict=False):
        assert_true(truth, screen, capture, HERON_14E)
    last = {path.name: path.read_bytes() for path in taken}
    assert_whole_at_every_moment(stick_image, log, course, last, tmp_path)


def assert_whole_at_every_moment(image: Path, log: Path, course: Course, last: dict[str, bytes], folder: Path) -> None:
    """Whatever part of the writes is on the stick: earlier captures are there, and no name stands for half of one."""
    dice = random.Random(SEED)
    done = writes(log)
    every = list(enumerate(states(done, dice)))
    assert len(every) > 20 * len(last)
    with Medium(image, folder / "medium") as medium:
        for number, state in dice.sample(every, min(STATES, len(every))):
            medium.set(state.sectors)
            found = captures_in(medium.path, folder / f"state-{number}")
            earlier = {name for name, logged in course.logged.items() if logged <= state.logged}
            assert earlier <= found.keys(), f"state {number}"
            assert found.items() <= last.items(), f"state {number}"
            assert complaints(medium.path, folder / "partition") == [], f"state {number}"


def complaints(stick: Path, partition: Path) -> list[str]:
    """What the checker of FAT (dosfstools) finds in a data partition, beyond what any pulled stick has."""
    with stick.open("rb") as file:
        file.seek(DATA_OFFSET)
        partition.write_bytes(file.read(data_size(stick)))
    done = subprocess.run(["fsck.vfat", "-n", partition], capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), done.stdout + done.stderr  # 1: what it would mend
    rows = [row for row in done.stdout.splitlines() if row.strip()]
    # While a file gets its name, both names may stand for it; they then stay.
    pairs = [(_file_in(first), second.strip()) for first, second in pairwise(rows) if first.endswith(" and")]
    excused = {name for pair in pairs if any(map(_DRAFT.match, pair)) for name in pair}
    told, about_draft = [], False
    for row in rows:
        if row.startswith("/"):  # what follows is about this file
            about_draft = bool(_DRAFT.match(_file_in(row))) or _file_in(row) in excused
        if not (about_draft and row.startswith(("/", " "))) and not _USUAL.match(row):
            told.append(row)
    return told


def _file_in(row: str) -> str:
    return row.removesuffix("and").strip()


_DRAFT = re.compile(r"/CAPTURES(/\..*\.part|/.*\.PAR|)$", re.IGNORECASE)
"""A file that had not got its name yet; or the folder itself, when it was just getting room for one more name."""
_USUAL = re.compile(
    r"fsck\.fat |.* clusters$|Leaving filesystem unchanged|\s+(Auto|Not auto|Using first FAT|Automatically|\d+:)"
    # The mark "not unmounted" stands in the boot sector, not in its copy.
    r"|Dirty bit is set|There are differences between boot sector and its backup|This is mostly harmless"
    # Of a file that was being written: clusters without a name, one table ahead of the other, a count, half a name.
    r"|Reclaimed \d+ unused cluster|FATs differ but appear to be intact|Free cluster summary wrong"
    r"|Orphaned long file name|Long filename fragment|\s+\(Maybe the start bit is missing"
)
