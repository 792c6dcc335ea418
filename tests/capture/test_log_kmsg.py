"""The log of this machine, as the kernel gives it record by record (Documentation/ABI/testing/dev-kmsg)."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from usbwatch.capture import LiveTree, live_log, take
from usbwatch.capture.log.reading import read
from usbwatch.model import CoverageState

_OF_THE_KERNEL = "6,0,0,-;Linux version 6.1.0\n"


def test_the_log_of_this_machine_is_read_as_records_of_the_kernel() -> None:
    log = live_log()
    if log is None:
        pytest.skip("the kernel's log may not be read here")
    reading = read(log)
    assert reading.form == "kmsg records"
    lines = list(reading.lines)
    assert lines
    assert all(record.trusted and not doubtful for record, doubtful in lines)
    numbers = [record.sequence for record, _ in lines]
    assert numbers == sorted(number for number in numbers if number is not None)


def test_a_log_that_cannot_be_opened_is_none(tmp_path: Path) -> None:
    assert live_log(str(tmp_path / "nothing")) is None


def test_what_the_kernel_gives_is_handed_on_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "kmsg"
    path.write_text(_OF_THE_KERNEL, encoding="ascii")
    assert live_log(str(path)) == _OF_THE_KERNEL


def test_reading_the_log_takes_nothing_away(tmp_path: Path) -> None:
    path = tmp_path / "kmsg"
    path.write_text(_OF_THE_KERNEL, encoding="ascii")
    os.chmod(path, 0o400)  # noqa: PTH101
    assert live_log(str(path)) == live_log(str(path))


class _Live(LiveTree):
    """A live machine whose kernel has, or has not, the device of its log."""

    def __init__(self, *devices: str) -> None:
        super().__init__()
        self.devices = devices

    def list(self, path: str) -> tuple[str, ...]:
        return self.devices if path == "sys/class/mem" else ()


@pytest.mark.parametrize(
    ("devices", "state", "root_would_help"),
    [(("kmsg", "null"), CoverageState.NOT_PERMITTED, True), (("null",), CoverageState.NOT_THERE, False)],
    ids=["refused", "no log at all"],
)
def test_refused_and_not_there_are_different_answers(
    devices: tuple[str, ...], state: CoverageState, root_would_help: bool
) -> None:
    capture = take(_Live(*devices), taken_at="", log=None)
    coverage = next(one for one in capture.coverage if one.bus == "log")
    assert (coverage.state, coverage.root_would_help) == (state, root_would_help)


def test_an_incomplete_log_says_what_is_lost_and_tells_what_is_left() -> None:
    log = "3,900,9000000,-;usb 1-5: device descriptor read/8, error -71\n"
    capture = take(_Live("kmsg"), taken_at="", log=log)
    coverage = next(one for one in capture.coverage if one.bus == "log")
    assert (coverage.state, coverage.nodes) == (CoverageState.FAILED, 1)
    assert coverage.why == "the kernel's log is incomplete: its first record is number 900"
    assert [one.subject for one in capture.episodes] == ["1-5"]
