"""Lines of ``/dev/kmsg`` as news. The lines are a real kernel's (6.1, in the emulated laptop), or follow the format
strings of drivers/usb/core/hub.c; the form is that of Documentation/ABI/testing/dev-kmsg."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.capture.stream.log_words import log_news
from usbwatch.capture.stream.news import Logged, LogWord

ROOT = "pci0000:00/14.0/usb2"
HUBS = {"1": ROOT}


def record(text: str, stamp_us: int = 43_973_810) -> str:
    return f"6,539,{stamp_us},-;{text}\n SUBSYSTEM=usb\n DEVICE=c189:3\n"


@pytest.mark.parametrize(
    ("text", "word", "port", "more"),
    [
        ("usb 1-4.1: USB disconnect, device number 4", LogWord.GONE, "4.1", {}),
        (
            "usb 1-4.1: New USB device found, idVendor=1209, idProduct=0001, bcdDevice= 1.00",
            LogWord.FOUND,
            "4.1",
            {},
        ),
        (r"usb 1-5: Product: Caf\xc3\xa9 \x5c 720p", LogWord.NAMED, "5", {"text": "Café \\ 720p"}),
        ("usb 1-6: device descriptor read/64, error -71", LogWord.FAILURE, "6", {"errno": -71}),
        ("usb 1-6: device not accepting address 12, error -110", LogWord.FAILURE, "6", {"errno": -110}),
        ("usb usb1-port6: unable to enumerate USB device", LogWord.GAVE_UP, "6", {}),
        ("usb 1-4-port2: unable to enumerate USB device", LogWord.GAVE_UP, "4.2", {}),
        ("usb usb1-port3: over-current condition", LogWord.OVER_CURRENT, "3", {}),
        ("usb 1-8: reset high-speed USB device number 8 using xhci_hcd", LogWord.RESET, "8", {}),
    ],
)
def test_a_line_of_a_usb_device_or_port(text: str, word: LogWord, port: str, more: dict[str, int]) -> None:
    (news,) = log_news(record(text), 5, HUBS)
    told = {"errno": news.errno, "text": news.text}
    assert (news.at_ms, news.word, news.location, news.stamp_us) == (5, word, f"{ROOT}/{port}", 43_973_810)
    assert {key: value for key, value in told.items() if value} == more


@pytest.mark.parametrize(
    "text",
    [
        "usb 1-4.1: Manufacturer: USB disconnect, device number 4",
        "usb 1-4.1: new full-speed USB device number 11 using xhci_hcd",
        "usb 7-4.1: USB disconnect, device number 4",  # a bus that is not known
        "hid-generic 0003:1209:0001.0003: input,hidraw1: usb 1-4.1: USB disconnect, device number 4",
        "input: usb 1-4.1: USB disconnect, device number 4 as /devices/x",
        "",
    ],
)
def test_a_line_that_tells_of_no_change_is_no_news(text: str) -> None:
    assert list(log_news(record(text), 0, HUBS)) == []


def test_what_a_program_writes_into_the_log_is_not_the_kernels_word() -> None:
    """Facility 1 (user) in the record's priority: 14 = 1 * 8 + 6 (dev-kmsg)."""
    forged = record("usb 1-4.1: USB disconnect, device number 4").replace("6,", "14,", 1)
    assert list(log_news(forged, 0, HUBS)) == []


def test_several_records_come_in_their_order() -> None:
    text = record("usb 1-5: USB disconnect, device number 4", 1) + record("usb 1-6: USB disconnect, device number 5", 2)
    assert [(one.location, one.stamp_us) for one in log_news(text, 0, HUBS)] == [(f"{ROOT}/5", 1), (f"{ROOT}/6", 2)]


@pytest.mark.properties
@given(st.text())
def test_no_text_breaks_it(text: str) -> None:
    assert all(isinstance(one, Logged) for one in log_news(text, 0, HUBS))
    assert all(isinstance(one, Logged) for one in log_news(record(f"usb 1-4.1: {text}"), 0, HUBS))
