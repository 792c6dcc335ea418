"""What was acknowledged has been handed to the disk, not only to the system: seen from outside, by its system calls."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from support.needs import needed_tool

from usbwatch.casebook import When, open_book
from usbwatch.model.history import Opened

_RECORDS = """
import os, sys
from usbwatch.casebook import When, open_book
from usbwatch.model.history import Noted
book = open_book(sys.argv[1])
unit = book.unit("LB-0001")
for number in range(5):
    os.write(2, b"asked\\n")
    book.record(unit, [Noted(text=f"note {number}")], When(now="2026-03-02T09:00:00Z"))
    os.write(2, b"acknowledged\\n")
os._exit(0)  # without closing: nothing is tidied up on the way out
"""


def test_the_log_is_synced_before_a_record_is_acknowledged(tmp_path: Path) -> None:
    """The last thing before each acknowledgement: the log is written, then fdatasync(2) of that log returns 0."""
    strace = needed_tool("strace", "strace")
    path, trace = tmp_path / "book.sqlite", tmp_path / "trace"
    book = open_book(str(path))
    book.open_unit(Opened(label="LB-0001"), When(now="2026-03-02T09:00:00Z"))
    book.close()
    command = [strace, "-y", "-o", str(trace), "-e", "trace=write,pwrite64,fsync,fdatasync"]
    subprocess.run([*command, sys.executable, "-c", _RECORDS, str(path)], check=True, stderr=subprocess.DEVNULL)
    of_one = re.findall(r'"asked\\n"[^\n]*\n(.*?)"acknowledged\\n"', trace.read_text(), re.DOTALL)
    assert len(of_one) == 5
    for calls in of_one:
        log = [line for line in calls.splitlines() if "book.sqlite-wal>" in line]
        assert log[0].startswith("pwrite64("), calls
        assert re.match(r"f(data)?sync\(.*= 0$", log[-1]), calls
