r"""A device chooses its own name, and a line feed in it begins what looks like a line of the kernel.

Here a device on port 6 tries to have the one on port 5 charged with a failure.
The first three ways are what writers of text do with a record that holds a
line feed (kernel/printk/printk.c repeats the prefix; a program that prints
what it read from ``/dev/kmsg`` prints it as it is; util-linux indents the
rest). The forms that escape keep it in one value: ``\x0a`` in a kmsg record
(Documentation/ABI/testing/dev-kmsg), ``\n`` in JSON (RFC 8259 section 7), a
length in the journal's export (JOURNAL_EXPORT_FORMATS).
"""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.capture.log import episodes
from usbwatch.capture.log.doubt import USB_STRING_CHARACTERS, judged
from usbwatch.capture.log.survey import surveyed
from usbwatch.capture.log.text_forms import text_lines

_HUBS = {"1": "pci0000:00/14.0/usb2"}
_BAD = "usb 1-5: device descriptor read/8, error -71"
_GIVEN_UP = "usb usb1-port5: unable to enumerate USB device"
_NOW = 14_326_901


_FIRST = f"Linux version 6.1.0 ({'x' * 200})"


def _stamped(us: int, text: str) -> str:
    return f"[{us // 1_000_000:5d}.{us % 1_000_000:06d}] {text}"


def _record_by_record(write: Callable[[int, str], str], name: str, label: str) -> str:
    """A log in which a device whose ``label`` is ``name`` is enumerated on port 6, and later something else happens."""
    return "".join(
        (
            write(0, _FIRST),
            write(_NOW - 200, "usb 1-6: New USB device strings: Mfr=1, Product=2, SerialNumber=3"),
            write(_NOW, f"usb 1-6: {label}: {name}"),
            write(_NOW + 3_000_000, "nvme nvme0: pci function 0000:00:06.0"),
        )
    )


def _console(us: int, text: str) -> str:
    """printk.c, record_print_text: every line of a record gets the record's own prefix."""
    return "".join(_stamped(us, line) + "\n" for line in text.split("\n"))


def _as_it_is(us: int, text: str) -> str:
    return _stamped(us, text) + "\n"


def _indented(us: int, text: str) -> str:
    return _stamped(us, text.replace("\n", "\n" + " " * 15)) + "\n"


def _raw(us: int, text: str) -> str:
    return "".join(f"<6>{_stamped(us, line)}\n" for line in text.split("\n"))


def _wall_clock(us: int, text: str) -> str:
    return "".join(f"[Mon Mar  2 09:14:{us // 1_000_000:02d} 2026] {line}\n" for line in text.split("\n"))


def _iso(us: int, text: str) -> str:
    prefix = f"2026-03-02T09:14:{us // 1_000_000:02d},{us % 1_000_000:06d}+00:00"
    return "".join(f"{prefix} {line}\n" for line in text.split("\n"))


def _kmsg(us: int, text: str) -> str:
    escaped = "".join(one if " " <= one <= "~" and one != "\\" else f"\\x{ord(one):02x}" for one in text)
    return f"6,{us},{us},-;{escaped}\n SUBSYSTEM=usb\n DEVICE=c189:5\n"


def _journal(us: int, text: str) -> str:
    entry = {"_TRANSPORT": "kernel", "PRIORITY": "6", "_SOURCE_MONOTONIC_TIMESTAMP": str(us), "MESSAGE": text}
    return json.dumps(entry) + "\n"


def _export(us: int, text: str) -> str:
    message = f"MESSAGE={text}\n"
    if "\n" in text:
        length = len(text.encode()).to_bytes(8, "little").decode("utf-8", "backslashreplace")
        message = f"MESSAGE\n{length}{text}\n"
    return f"__CURSOR=s\n_TRANSPORT=kernel\nPRIORITY=6\n_SOURCE_MONOTONIC_TIMESTAMP={us}\n{message}\n"


_WRITERS = {
    "console": _console,
    "printed as it is": _as_it_is,
    "indented": _indented,
    "raw": _raw,
    "-T": _wall_clock,
    "iso": _iso,
    "kmsg": _kmsg,
    "journal": _journal,
    "export": _export,
}

_FORGERIES = {
    "a bare line": f"x\n{_BAD}",
    "two bare lines": f"\n{_BAD}\n{_GIVEN_UP}",
    "with the right moment": f"x\n{_stamped(_NOW + 5, _BAD)}",
    "two with the right moment": f"\n{_stamped(_NOW + 5, _BAD)}\n{_stamped(_NOW + 6, _GIVEN_UP)}",
    "with its own stamp": f"x\n{_stamped(_NOW, _BAD)}",
    "long after": f"x\n{_stamped(99_000_000_000, _BAD)}",
    "long before": f"x\n{_stamped(5, _BAD)}",
    "raw": f"x\n<3>{_stamped(_NOW + 5, _BAD)}",
    "with its facility": f"x\nkern  :err   : {_stamped(_NOW + 5, _BAD)}",
    "by the clock on the wall": f"x\n[Mon Mar  2 09:14:14 2026] {_BAD}",
    "as iso": f"x\n2026-03-02T09:14:14,326909+00:00 {_BAD}",
    "as kmsg": f"x\n3,99,{_NOW + 5},-;{_BAD}",
    "as journal": 'x\n{"_TRANSPORT":"kernel","MESSAGE":"' + _BAD + '"}',
    "as export": f"x\n_TRANSPORT=kernel\nMESSAGE={_BAD}\n\n",
    "export that ends its entry": f"\n\n__CURSOR=s\n_TRANSPORT=kernel\nMESSAGE={_BAD}\n\n",
    "through a carriage return": f"x\r{_stamped(_NOW + 5, _BAD)}",
    "through a line separator": f"x\u2028{_stamped(_NOW + 5, _BAD)}",
    "through a next line": f"x\x85{_stamped(_NOW + 5, _BAD)}",
    "behind what may become escapes": "\x01" * 50 + f"\n{_stamped(_NOW + 5, _BAD)}",
    "a start of the system": f"\n{_stamped(0, 'Linux version 6')}\n{_stamped(1, _BAD)}",
}


@pytest.mark.parametrize("writer", _WRITERS)
@pytest.mark.parametrize("forgery", _FORGERIES)
@pytest.mark.parametrize("label", ["Product", "Manufacturer", "SerialNumber"])
def test_a_name_with_a_line_feed_charges_nobody(writer: str, forgery: str, label: str) -> None:
    assert len(_FORGERIES[forgery]) <= USB_STRING_CHARACTERS, "no device has a longer string"
    log = _record_by_record(_WRITERS[writer], _FORGERIES[forgery], label)
    assert [one for one in episodes(log, _HUBS) if one.location.endswith("/5")] == []


@pytest.mark.parametrize("writer", _WRITERS)
@pytest.mark.parametrize("forgery", _FORGERIES)
def test_nor_do_three_of_them_again_and_again(writer: str, forgery: str) -> None:
    labels = ("Product", "Manufacturer", "SerialNumber") * 3
    log = "".join(_record_by_record(_WRITERS[writer], _FORGERIES[forgery], label) for label in labels)
    together = "".join(_WRITERS[writer](_NOW + 8, f"usb 1-6: {label}: {_FORGERIES[forgery]}") for label in labels)
    assert [one for one in episodes(log + together, _HUBS) if one.location.endswith("/5")] == []


@pytest.mark.parametrize("writer", _WRITERS)
def test_the_same_line_from_the_kernel_counts(writer: str) -> None:
    """What the forgeries above pretend to be, at a moment when no device could have written it."""
    write = _WRITERS[writer]
    log = write(0, _FIRST) + write(_NOW, "x") + write(_NOW + 2_000_000, _BAD)
    assert [one.location for one in episodes(log, _HUBS)] == ["pci0000:00/14.0/usb2/5"]


def test_a_name_shown_as_hex_is_no_longer_than_it_was() -> None:
    r"""In a locale without the character, one UTF-16 unit is printed as three ``\xNN``."""
    name = "\\xe2\\x80\\xa8" * 40 + f"\n{_stamped(_NOW + 5, _BAD)}"
    assert episodes(_record_by_record(_as_it_is, name, "Product"), _HUBS) == ()


_NAMING = {
    "input": "input: {} as /devices/pci0000:00/0000:00:14.0/usb1/1-6/1-6:1.0/0003:1209:0002.0001/input/input7",
    "HID": "hid-generic 0003:1209:0002.0001: input,hidraw0: USB HID v1.11 Mouse [{}] on usb-0000:00:14.0-6/input0",
    "camera": "usb 1-6: Found UVC 1.10 device {} (1209:0003)",
    "unknown line": "usb 1-6: a line that a later kernel prints about {}",
}


@pytest.mark.parametrize("line", _NAMING)
@pytest.mark.parametrize("writer", ["console", "printed as it is"])
def test_other_lines_that_hold_a_name_are_no_better(line: str, writer: str) -> None:
    name = f"x\n{_stamped(_NOW + 5, _BAD) if writer == 'printed as it is' else _BAD}\ny"
    log = "".join(_WRITERS[writer](us, text) for us, text in ((_NOW, _NAMING[line].format(name)), (_NOW + 9, "end")))
    assert [one for one in episodes(log, _HUBS) if one.location.endswith("/5")] == []


def test_a_doubtful_line_counts_with_an_episode_that_stands_without_it() -> None:
    lines = (_FIRST, "usb 1-6: SerialNumber: A1", _BAD, "x" * 130, _BAD, _GIVEN_UP)
    (one,) = episodes("".join(_as_it_is(_NOW + number, text) for number, text in enumerate(lines)), _HUBS)
    assert (one.trouble, one.count, one.doubtful, one.errno) == ("enumeration failed", 3, 1, -71)


def test_a_forged_line_neither_clears_a_failure_nor_stops_the_clock() -> None:
    """A stamp in the far future would put every true line behind it out of order."""
    forged = "\n".join(
        ("", _stamped(99_000_000, "usb 1-5: USB disconnect, device number 9"), _stamped(99_000_001, "x"))
    )
    log = "".join(
        (
            _as_it_is(0, _FIRST),
            _as_it_is(_NOW, _BAD),
            _as_it_is(_NOW + 1, f"usb 1-6: Product: {forged}"),
            _as_it_is(_NOW + 2, "x" * 130),
            _as_it_is(_NOW + 3, _GIVEN_UP),
        )
    )
    (one,) = episodes(log, _HUBS)
    assert (one.trouble, one.count) == ("enumeration failed", 2)


def test_a_stamp_that_goes_back_is_not_used() -> None:
    log = _as_it_is(0, _FIRST) + _as_it_is(9_000_000, "x") + _as_it_is(8_000_000, _BAD) + _as_it_is(9_000_001, "x")
    assert episodes(log, _HUBS) == ()


def test_a_text_may_begin_within_a_name() -> None:
    """Whatever was in front of it when somebody cut it off."""
    assert episodes(_as_it_is(_NOW, _BAD), _HUBS) == ()


def test_an_unknown_line_is_shown_without_its_control_characters() -> None:
    log = _journal(_NOW, "usb 1-5: odd \x1b[31m words").replace('"PRIORITY": "6"', '"PRIORITY": "3"')
    (one,) = episodes(log, _HUBS)
    assert one.trouble == "other"
    assert one.lines[0].endswith("usb 1-5: odd \\x1b[31m words")


@pytest.mark.properties
class TestNoStringOfAnyDeviceCharges:
    """Whatever a USB string holds, printed in whatever way, the log tells nothing of another port."""

    @given(
        st.text(st.sampled_from([*"\n\r\x85\u2028 x[]<>{}:;,=\\"]), max_size=20),
        st.sampled_from(sorted(_FORGERIES)),
        st.sampled_from(sorted(_WRITERS)),
        st.sampled_from(["Product", "Manufacturer", "SerialNumber"]),
    )
    def test_none(self, start: str, forgery: str, writer: str, label: str) -> None:
        name = (start + _FORGERIES[forgery])[:USB_STRING_CHARACTERS]
        log = _record_by_record(_WRITERS[writer], name, label)
        assert [one for one in surveyed(log, _HUBS).episodes if one.location.endswith("/5")] == []

    @given(st.text(max_size=400))
    def test_every_line_is_judged_at_most_once(self, text: str) -> None:
        assert len(list(judged(text_lines(text)))) <= text.count("\n") + 1
