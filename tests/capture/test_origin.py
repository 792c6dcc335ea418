"""What a collector notes of its run in ``meta/taken.txt``: taken over as it is, or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.fake_tree import FakeTree

from usbwatch.capture.origin import Origin, origin
from usbwatch.cli.taking import taken

NOTES = {
    b"taken_at 2026-03-02T09:14:00Z\nprivileged yes\ncollector x\n": Origin("2026-03-02T09:14:00Z", True),
    b"taken_at 2026-03-02T09:14:00Z\r\nprivileged no\r\n": Origin("2026-03-02T09:14:00Z", False),
    b"privileged yes": Origin("", True),
    b"taken_at \nprivileged maybe": Origin("", False),
    b"taken_at 2026-03-02T09:14:00+01:00": Origin(),
    b"taken_at 2026-03-02T09:14:00Z\x1b[2J": Origin(),
    b"taken_at 9999-99-99T99:99:99Z": Origin(),
    b"taken_at 2026-02-29T09:14:00Z": Origin(),
    b"taken_at 2024-02-29T23:59:59Z": Origin("2024-02-29T23:59:59Z", False),
    b"": Origin(),
}


@pytest.mark.parametrize(("note", "expected"), NOTES.items(), ids=map(repr, NOTES))
def test_a_note_is_taken_over(note: bytes, expected: Origin) -> None:
    assert origin(FakeTree({"meta/taken.txt": note}, {})) == expected


def test_a_copy_without_a_note_says_nothing_of_it() -> None:
    assert origin(FakeTree({}, {})) == Origin()


@pytest.mark.properties
@given(st.binary(max_size=200))
def test_any_bytes_give_a_moment_or_none(note: bytes) -> None:
    moment, privileged = origin(FakeTree({"meta/taken.txt": note}, {}))
    assert moment == "" or len(moment) == 20
    assert not privileged or (b"privileged" in note and b"yes" in note)


def test_it_becomes_part_of_the_capture(tmp_path: Path) -> None:
    (tmp_path / "sys/bus/usb/devices").mkdir(parents=True)
    (tmp_path / "meta").mkdir()
    (tmp_path / "meta/taken.txt").write_text("taken_at 2026-03-02T09:14:00Z\nprivileged yes\n")
    made = taken(str(tmp_path), None)
    assert (made.taken_at, made.system.privileged) == ("2026-03-02T09:14:00Z", True)
