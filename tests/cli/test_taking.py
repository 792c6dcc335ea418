"""Times as the bench's clock shows them, and captures of copied trees."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from support.bench import small_tree

from usbwatch.cli.taking import local_time, now, taken
from usbwatch.errors import BadLog
from usbwatch.model import CoverageState

TIMES = {
    "UTC": ("2026-11-24T14:05:00Z", "UTC", "2026-11-24 14:05 UTC"),
    "an hour on, in winter": ("2026-11-24T23:30:00Z", "CET-1CEST,M3.5.0,M10.5.0/3", "2026-11-25 00:30 CET"),
    "two hours on, in summer": ("2026-07-24T14:05:00Z", "CET-1CEST,M3.5.0,M10.5.0/3", "2026-07-24 16:05 CEST"),
    "with an offset": ("2026-11-24T14:05:00+02:00", "UTC", "2026-11-24 12:05 UTC"),
    "not known": ("", "UTC", ""),
    "no time": ("yesterday\x1b[2J", "UTC", ""),
    "beyond all time": ("9999-12-31T23:59:59-23:59", "UTC", ""),
}


@pytest.mark.parametrize(("taken_at", "zone", "shown"), TIMES.values(), ids=TIMES.keys())
def test_a_time_is_shown_as_the_benchs_clock_shows_it(
    taken_at: str, zone: str, shown: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TZ", zone)  # POSIX.1-2024, XBD 8.3
    time.tzset()
    try:
        assert local_time(taken_at) == shown
    finally:
        monkeypatch.undo()
        time.tzset()


def test_the_present_is_rfc_3339_in_utc() -> None:
    assert time.strptime(now(), "%Y-%m-%dT%H:%M:%SZ")


def test_a_copied_tree_does_not_say_when_it_was_taken(tmp_path: Path) -> None:
    made = taken(str(small_tree(tmp_path)), None)
    assert (made.taken_at, made.system.source, made.unit.sys_vendor) == ("", "tree", "Ostrey")


@pytest.mark.parametrize("log", ["nothing", ".", "nul\0"], ids=["no such file", "a folder", "no name for a file"])
def test_a_log_that_cannot_be_read_is_one_sentence(tmp_path: Path, log: str) -> None:
    small_tree(tmp_path)
    with pytest.raises(BadLog, match=r"kernel log .*: (cannot be read|is no regular file|has a name)"):
        taken(str(tmp_path), f"{tmp_path}/{log}")


def test_a_log_without_an_end_or_a_writer_is_refused(tmp_path: Path) -> None:
    """mknod(2), zero(4): what is no regular file could be waited for, or read, for ever, or seem empty."""
    small_tree(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    for path in (str(tmp_path / "pipe"), "/dev/zero", "/dev/null"):
        with pytest.raises(BadLog, match="is no regular file; save the kernel's log in a file"):
            taken(str(tmp_path), path)


def test_an_empty_log_is_not_a_log_that_was_seen(tmp_path: Path) -> None:
    small_tree(tmp_path)
    (tmp_path / "log.txt").touch()
    (log,) = (one for one in taken(str(tmp_path), str(tmp_path / "log.txt")).coverage if one.bus == "log")
    assert (log.state, log.state.seen) == (CoverageState.FAILED, False)
    assert log.why == "it is empty; failures to enumerate leave a trace only there"


def test_a_named_log_takes_the_place_of_the_trees_own(tmp_path: Path) -> None:
    small_tree(tmp_path)
    (tmp_path / "log.txt").write_text("[    1.000000] one\n[    2.000000] two\n", encoding="utf-8")
    made = taken(str(tmp_path), str(tmp_path / "log.txt"))
    assert next(one.nodes for one in made.coverage if one.bus == "log") == 2
