"""The kernel's count of its events held against what was heard (lib/kobject_uevent.c: one file, one number)."""

from __future__ import annotations

from pathlib import Path

from usbwatch.capture.stream.count import KernelCount


def counting(folder: Path, number: int) -> tuple[KernelCount, Path]:
    file = folder / "uevent_seqnum"
    file.write_text(f"{number}\n")
    count = KernelCount(str(file))
    count.start()
    return count, file


def test_it_has_moved_once_for_each_time_it_moved(tmp_path: Path) -> None:
    count, file = counting(tmp_path, 900)
    assert not count.has_moved()
    file.write_text("912\n")
    assert count.has_moved()
    assert not count.has_moved()
    count.close()


def test_events_that_come_a_moment_late_are_not_lost(tmp_path: Path) -> None:
    count, file = counting(tmp_path, 900)
    file.write_text("903\n")
    assert not count.is_behind()
    count.heard([901, 902, 903])
    assert not count.is_behind()
    assert count.heard_any
    count.close()


def test_events_that_never_come_are_told_once(tmp_path: Path) -> None:
    count, file = counting(tmp_path, 900)
    file.write_text("903\n")
    assert not count.is_behind()
    count.heard([901])
    assert count.is_behind()
    assert not count.is_behind()
    count.close()
