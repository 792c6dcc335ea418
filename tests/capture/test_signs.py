"""What the event stream of an input node tells.

The numbers are read from the kernel's own headers (package linux-libc-dev):
``linux/input-event-codes.h``; the layout of ``struct input_event`` from
``linux/input.h``.
"""

from __future__ import annotations

import ctypes
import re
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.needs import needed_file

from usbwatch.capture.signs import LARGEST_EVENT, NATIVE_LONG, Sign, signs_in

CODES = ("/usr/include/linux/input-event-codes.h",)


@pytest.fixture(scope="module")
def kernel() -> dict[str, int]:
    """The kernel's own names for types and codes, with their numbers."""
    text = needed_file(CODES, "linux-libc-dev").read_text(encoding="utf-8")
    found = re.findall(r"^#define\s+((?:EV|KEY|BTN|SW|REL|ABS|SYN|MSC)_\w+)\s+(0x[0-9a-f]+|\d+)\b", text, re.MULTILINE)
    return {name: int(number, 0) for name, number in found}


def stream(*events: tuple[int, int, int], long_bytes: int = 8) -> bytes:
    """Events as a node gives them, each with a time."""
    form = {8: "<qqHHi", 4: "<iiHHi"}[long_bytes]
    return b"".join(struct.pack(form, 1_700_000_000, 123_456, *event) for event in events)


ONE_EVENT = {
    "a letter of the upper row": ("EV_KEY", "KEY_Q", 1, Sign.LETTER),
    "the last letter of the upper row": ("EV_KEY", "KEY_P", 1, Sign.LETTER),
    "beside the upper row": ("EV_KEY", "KEY_LEFTBRACE", 1, Sign.KEY),
    "a letter of the home row": ("EV_KEY", "KEY_A", 1, Sign.LETTER),
    "the last letter of the home row": ("EV_KEY", "KEY_L", 1, Sign.LETTER),
    "a letter of the lower row": ("EV_KEY", "KEY_Z", 1, Sign.LETTER),
    "the last letter of the lower row": ("EV_KEY", "KEY_M", 1, Sign.LETTER),
    "beside the lower row": ("EV_KEY", "KEY_COMMA", 1, Sign.KEY),
    "a digit": ("EV_KEY", "KEY_7", 1, Sign.KEY),
    "Enter": ("EV_KEY", "KEY_ENTER", 1, Sign.KEY),
    "a key of a remote's kind": ("EV_KEY", "KEY_OK", 1, Sign.KEY),
    "left Shift": ("EV_KEY", "KEY_LEFTSHIFT", 1, Sign.MODIFIER),
    "right Alt": ("EV_KEY", "KEY_RIGHTALT", 1, Sign.MODIFIER),
    "right Ctrl": ("EV_KEY", "KEY_RIGHTCTRL", 1, Sign.MODIFIER),
    "a Meta key": ("EV_KEY", "KEY_RIGHTMETA", 1, Sign.MODIFIER),
    "Caps Lock": ("EV_KEY", "KEY_CAPSLOCK", 1, Sign.MODIFIER),
    "a key let go": ("EV_KEY", "KEY_A", 0, None),
    "a key that the kernel repeats by itself": ("EV_KEY", "KEY_A", 2, None),
    "the left button": ("EV_KEY", "BTN_LEFT", 1, Sign.BUTTON),
    "the middle button": ("EV_KEY", "BTN_MIDDLE", 1, Sign.BUTTON),
    "a finger on a touchpad": ("EV_KEY", "BTN_TOOL_FINGER", 1, Sign.TOUCH),
    "a touch": ("EV_KEY", "BTN_TOUCH", 1, Sign.TOUCH),
    "a button of a game pad": ("EV_KEY", "BTN_GAMEPAD", 1, None),
    "a mouse moved": ("EV_REL", "REL_X", -3, Sign.MOTION),
    "a finger moved": ("EV_ABS", "ABS_MT_POSITION_X", 400, Sign.MOTION),
    "the lid closed": ("EV_SW", "SW_LID", 1, Sign.LID),
    "the lid opened": ("EV_SW", "SW_LID", 0, Sign.LID),
    "another switch": ("EV_SW", "SW_TABLET_MODE", 1, None),
    "the end of a report": ("EV_SYN", "SYN_REPORT", 0, None),
    "a scan code, which would tell the key": ("EV_MSC", "MSC_SCAN", 30, None),
}


@pytest.mark.parametrize("words", ONE_EVENT.values(), ids=ONE_EVENT)
def test_one_event(kernel: dict[str, int], words: tuple[str, str, int, Sign | None]) -> None:
    kind, code, value, sign = words
    data = stream((kernel[kind], kernel[code], value))
    assert signs_in(data, 8) == (() if sign is None else (sign,))


def test_no_other_key_counts_as_a_letter(kernel: dict[str, int]) -> None:
    letters = {kernel[f"KEY_{letter}"] for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"}
    told = {code for code in range(0x300) if signs_in(stream((1, code, 1)), 8) == (Sign.LETTER,)}
    assert told == letters


@pytest.mark.parametrize("long_bytes", [4, 8])
def test_both_widths_of_the_kernels_times(long_bytes: int) -> None:
    data = stream((1, 30, 1), (0, 0, 0), (2, 0, 5), long_bytes=long_bytes)
    assert signs_in(data, long_bytes) == (Sign.LETTER, Sign.MOTION)


class _InputEvent(ctypes.Structure):
    """``struct input_event`` as the header has it for all but 64-bit SPARC, laid out by the C rules of this machine."""

    _fields_ = (
        ("__sec", ctypes.c_ulong),
        ("__usec", ctypes.c_ulong),
        ("type", ctypes.c_uint16),
        ("code", ctypes.c_uint16),
        ("value", ctypes.c_int32),
    )


def test_an_event_is_laid_out_as_the_header_says() -> None:
    text = needed_file(("/usr/include/linux/input.h",), "linux-libc-dev").read_text(encoding="utf-8")
    body = text[text.index("struct input_event {") :]
    body = body[: body.index("};")]
    assert re.findall(r"__(u16|s32) (\w+);", body) == [("u16", "type"), ("u16", "code"), ("s32", "value")]
    assert "__kernel_ulong_t __sec" in body
    assert "__kernel_ulong_t __usec" in body
    event = _InputEvent(1_700_000_000, 999_999, 1, 30, 1)
    assert ctypes.sizeof(event) <= LARGEST_EVENT
    assert signs_in(bytes(event), NATIVE_LONG) == (Sign.LETTER,)


@pytest.mark.properties
@given(st.binary(max_size=400), st.sampled_from([4, 8]))
def test_any_bytes_give_signs_and_no_error(data: bytes, long_bytes: int) -> None:
    assert len(signs_in(data, long_bytes)) <= len(data) // (2 * long_bytes + 8)


@pytest.mark.properties
@given(st.lists(st.tuples(st.integers(0, 65535), st.integers(0, 65535), st.integers(-(2**31), 2**31 - 1))), st.data())
def test_a_cut_event_takes_nothing_from_those_before_it(
    events: list[tuple[int, int, int]], data: st.DataObject
) -> None:
    whole = stream(*events)
    cut = data.draw(st.integers(0, 23))
    assert signs_in(whole + b"\1" * cut, 8) == signs_in(whole, 8)
