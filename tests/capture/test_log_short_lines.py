"""A log of very many short lines: none can be the kernel's, and millions of them cost next to nothing."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.capture.log.doubt import judged
from usbwatch.capture.log.kmsg_records import kmsg_records
from usbwatch.capture.log.text_forms import text_lines

_LINES = st.one_of(
    st.text(alphabet="x:[\r\\ 1", max_size=12),
    st.sampled_from(
        ("[    1.000000] usb 1-5: Product: x", "[    2.000000] Linux version 6", "\\x0a" * 2, "usb 1-5: y")
    ),
)


@pytest.mark.properties
@given(st.lists(_LINES, max_size=40))
def test_short_lines_together_say_what_they_say_one_by_one(lines: list[str]) -> None:
    text = "".join(f"{line}\n" for line in lines)
    one_by_one = (told for line in lines for told in text_lines(f"{line}\n"))
    assert list(judged(text_lines(text))) == list(judged(one_by_one))


@pytest.mark.parametrize("line", ["\n", "x\n", "\r\n", "123456789\n"])
def test_a_run_of_short_lines_is_taken_as_one(line: str) -> None:
    assert len(list(text_lines(line * 100_000))) == 1


def test_lines_without_anything_are_no_records_and_do_not_make_a_log_of_them() -> None:
    assert kmsg_records("\n" * 1000) is None
    found = kmsg_records("\n\n6,339,5140900,-;usb 1-5: x\n\n\n")
    assert found is not None
    assert [one.text for one in found] == ["usb 1-5: x"]
