"""Status bits in words: Documentation/ABI/testing/sysfs-bus-acpi (bits 0 to 4), ACPI 6.3.7 (from memory)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.compare.acpi_status import status_phrase

_CASES = [
    (15, False, "status 15: present, enabled, shown, functioning"),
    (11, False, "status 11: present, enabled, not shown, functioning"),
    (9, False, "status 9: present, not enabled, not shown, functioning"),
    (7, False, "status 7: present, enabled, shown, not functioning"),
    (31, True, "status 31: present, enabled, shown, functioning, battery in slot"),
    (15, True, "status 15: present, enabled, shown, functioning, no battery in slot"),
    (0, False, "status 0: not present"),
    (8, False, "status 8: not present, yet functioning: no driver is to be loaded"),
    (0x10F, False, "status 271: present, enabled, shown, functioning, further bits 0x100"),
    (None, False, "no status: firmware claims it is always present"),
    ("fifteen", False, "a status that is no number"),
    (-1, False, "a status that is no number"),
]


@pytest.mark.parametrize(("status", "battery", "phrase"), _CASES, ids=[str(case[0]) for case in _CASES])
def test_every_bit_is_told(status: int | str | None, battery: bool, phrase: str) -> None:
    assert status_phrase(status, battery=battery) == phrase


@pytest.mark.properties
@given(st.integers(0, 2**53 - 1))
def test_two_statuses_of_present_objects_never_read_alike(status: int) -> None:
    """Each of the bits of a present object is in its phrase, so that another status has another one."""
    present = status | 1
    words = status_phrase(present).partition(": ")[2]
    others = (present ^ 1 << bit for bit in range(1, 8))
    assert all(status_phrase(other).partition(": ")[2] != words for other in others)
