r"""Every form in which a kernel log comes gives the same episodes.

Sources of the forms: Documentation/ABI/testing/dev-kmsg (its sample record is
used below), kernel/printk/printk.c, the manual of util-linux 2.38 ``dmesg``,
systemd's JOURNAL_EXPORT_FORMATS and ``journalctl`` manual. What each writer
below prints follows those documents; none is our reader turned round.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from usbwatch.capture.log.reading import read
from usbwatch.capture.log.survey import surveyed
from usbwatch.model import Episode

_LOGS = Path(__file__).parent.parent / "data" / "kernel-log"
_HUBS = {"1": "pci0000:00/14.0/usb2"}
_LINE = re.compile(r"\[ *(\d+)\.(\d{6})\] (.*)")

_Entry = tuple[int, int, str]
"""Level, microseconds, text."""


_BOOT = f"[    0.000000] Command line: {'x' * 200}\n"
"""A line that no device wrote, and long enough that nothing cut off in front of it reaches further."""


def _text(name: str) -> str:
    return _BOOT + (_LOGS / f"{name}.txt").read_text(encoding="utf-8")


def _entries(name: str) -> list[_Entry]:
    return [_entry(line) for line in _text(name).splitlines()]


def _entry(line: str) -> _Entry:
    found = _LINE.fullmatch(line)
    assert found, line
    return 3, int(found[1]) * 1_000_000 + int(found[2]), found[3]


def _stamp(us: int) -> str:
    return f"[{us // 1_000_000:5d}.{us % 1_000_000:06d}]"


def _moment(us: int) -> datetime:
    return datetime.fromtimestamp(1_772_442_840 + us / 1_000_000, tz=UTC)


def _kmsg(number: int, entry: _Entry) -> str:
    level, us, text = entry
    escaped = text.replace("\\", "\\x5c")
    return f"{level},{number},{us},-,caller=T7;{escaped}\n SUBSYSTEM=usb\n DEVICE=+usb:1-5\n"


def _journal(number: int, entry: _Entry) -> dict[str, str]:
    level, us, text = entry
    return {
        "__CURSOR": f"s=1;i={number:x}",
        "__REALTIME_TIMESTAMP": "1342540861416409",
        "__MONOTONIC_TIMESTAMP": str(us + 700),
        "_BOOT_ID": "b" * 32,
        "_TRANSPORT": "kernel",
        "PRIORITY": str(level),
        "SYSLOG_IDENTIFIER": "kernel",
        "_SOURCE_MONOTONIC_TIMESTAMP": str(us),
        "MESSAGE": text,
    }


def _export(number: int, entry: _Entry) -> str:
    return "".join(f"{name}={value}\n" for name, value in _journal(number, entry).items()) + "\n"


_FORMS: dict[str, tuple[str, Callable[[int, _Entry], str]]] = {
    "dmesg": ("text", lambda _, one: f"{_stamp(one[1])} {one[2]}\n"),
    "dmesg -r": ("text", lambda _, one: f"<{one[0]}>{_stamp(one[1])} {one[2]}\n"),
    "dmesg with caller ids": ("text", lambda _, one: f"{_stamp(one[1])}[  T123] {one[2]}\n"),
    "dmesg -d": ("text", lambda _, one: f"{_stamp(one[1])[:-1]} <    0.000035>] {one[2]}\n"),
    "dmesg -x": ("text", lambda _, one: f"kern  :err   : {_stamp(one[1])} {one[2]}\n"),
    "dmesg --time-format iso": (
        "text",
        lambda _, one: f"{_moment(one[1]):%Y-%m-%dT%H:%M:%S,%f}+00:00 {one[2]}\n",
    ),
    "dmesg -T": (
        "text",
        lambda _, one: f"[{_moment(one[1]):%a %b} {_moment(one[1]).day:2d} {_moment(one[1]):%H:%M:%S %Y}] {one[2]}\n",
    ),
    "journalctl -k": ("text", lambda _, one: f"Mar 02 09:14:00 bench kernel: {_stamp(one[1])} {one[2]}\n"),
    "/dev/kmsg": ("kmsg records", _kmsg),
    "journalctl -o json": ("journal as JSON", lambda number, one: json.dumps(_journal(number, one)) + "\n"),
    "journalctl -o export": ("journal export", _export),
}


def _told(found: tuple[Episode, ...]) -> list[tuple[object, ...]]:
    return [(one.location, one.trouble, one.count, one.errno, one.rung, one.device_numbers) for one in found]


@pytest.mark.parametrize("form", _FORMS)
@pytest.mark.parametrize("name", ["camera-silent", "camera-config-refused", "fingerprint-garbled"])
def test_every_form_tells_the_same(form: str, name: str) -> None:
    plain = surveyed(_text(name), _HUBS)
    expected_form, written = _FORMS[form]
    found = surveyed("".join(written(number, one) for number, one in enumerate(_entries(name))), _HUBS)
    assert (found.form, found.lines) == (expected_form, plain.lines)
    assert _told(found.episodes) == _told(plain.episodes) != []


@pytest.mark.parametrize("form", _FORMS)
def test_stamps_keep_their_distance_in_every_form(form: str) -> None:
    """``-T`` alone knows whole seconds only; everything else microseconds."""
    entries = _entries("camera-garbled")
    text = "".join(_FORMS[form][1](number, one) for number, one in enumerate(entries))
    stamps = [record.stamp_us for record, _ in read(text).lines]
    first, last = stamps[0], stamps[-1]
    assert first is not None
    assert last is not None
    assert abs(last - first - (entries[-1][1] - entries[0][1])) <= (1_000_000 if form == "dmesg -T" else 1)


def test_dmesg_json_is_one_document() -> None:
    entries = [{"pri": level, "time": us / 1_000_000, "msg": text} for level, us, text in _entries("camera-garbled")]
    found = surveyed(json.dumps({"dmesg": [*entries, {"pri": 14, "time": 30.0, "msg": "a program's words"}]}), _HUBS)
    assert (found.form, found.lines) == ("dmesg -J", 15)
    assert _told(found.episodes) == _told(surveyed(_text("camera-garbled"), _HUBS).episodes)


def test_the_published_sample_record_of_dev_kmsg() -> None:
    """Documentation/ABI/testing/dev-kmsg, word for word."""
    sample = (
        "7,160,424069,-;pci_root PNP0A03:00: host bridge window [io  0x0000-0x0cf7] (ignored)\n"
        " SUBSYSTEM=acpi\n"
        " DEVICE=+acpi:PNP0A03:00\n"
    )
    ((record, doubtful),) = read(sample).lines
    assert (record.level, record.sequence, record.stamp_us) == (7, 160, 424_069)
    assert (record.subsystem, record.device) == ("acpi", "+acpi:PNP0A03:00")
    assert record.text == "pci_root PNP0A03:00: host bridge window [io  0x0000-0x0cf7] (ignored)"
    assert record.trusted
    assert not doubtful


_PROGRAMS = {
    "raw": "<14>[   12.000000] usb 1-5: device descriptor read/8, error -71\n",
    "-x": "user  :err   : [   12.000000] usb 1-5: device descriptor read/8, error -71\n",
    "kmsg": "11,900,12000000,-;usb 1-5: device descriptor read/8, error -71\n",
    "journal": json.dumps({"_TRANSPORT": "syslog", "MESSAGE": "usb 1-5: device descriptor read/8, error -71"}) + "\n",
    "journal, through /dev/kmsg": json.dumps(
        {"_TRANSPORT": "kernel", "SYSLOG_FACILITY": "3", "MESSAGE": "usb 1-5: device descriptor read/8, error -71"}
    )
    + "\n",
}


@pytest.mark.parametrize("form", _PROGRAMS)
def test_what_a_program_wrote_into_the_log_is_no_word_of_the_kernel(form: str) -> None:
    """Facility 0 is the kernel's alone: devkmsg_write (kernel/printk/printk.c) gives a program's line another."""
    lead = _BOOT if _PROGRAMS[form].startswith(("<", "user")) else ""
    assert surveyed(lead + _PROGRAMS[form], _HUBS).episodes == ()


def test_only_the_last_start_of_the_system_counts() -> None:
    """Bus and device numbers are given anew at every start."""
    boot = f"[    0.000000] Linux version 6.1.0 ({'x' * 200})\n"
    failing = _BOOT + "[   12.000000] usb 1-5: device descriptor read/8, error -71\n"
    assert surveyed(boot + failing + boot, _HUBS).episodes == ()
    assert [one.count for one in surveyed(boot + failing + boot + failing, _HUBS).episodes] == [1]
    entries = [
        dict(_journal(0, (3, 1, "usb 1-5: device descriptor read/8, error -71")), _BOOT_ID=boot_id)
        for boot_id in ("a", "a", "b")
    ]
    assert [one.count for one in surveyed("\n".join(map(json.dumps, entries)), _HUBS).episodes] == [1]


_RECORD = "6,{number},{us},-;usb 1-5: attempt power cycle\n"
_LOST = {
    "kmsg from the beginning": (_RECORD.format(number=0, us=0), ""),
    "kmsg whose first records are gone": (_RECORD.format(number=812, us=9_000_000), "its first record is number 812"),
    "kmsg overwritten while it was read": (
        _RECORD.format(number=0, us=0) + _RECORD.format(number=7, us=10),
        "records 1 to 6 are not there",
    ),
    "text from the beginning": ("[    0.000000] Linux version 6.1.0\n", ""),
    "text without its beginning": ("[   41.000000] x\n", "it begins long after the start of the system"),
    "-T without its beginning": (
        "[Mon Mar  2 09:14:00 2026] x\n",
        "it begins long after the start of the system",
    ),
    "-T with its beginning": ("[Mon Mar  2 09:14:00 2026] Linux version 6.1.0\n", ""),
}


@pytest.mark.parametrize("case", _LOST)
def test_lost_lines_are_known(case: str) -> None:
    text, lost = _LOST[case]
    assert surveyed(text, _HUBS).lost == lost


_ODD = {
    "nothing": "",
    "a byte order mark": "\ufeff",
    "JSON of another kind": '{"dmesg": 1}',
    "a number": "12",
    "deep JSON": '{"dmesg":' * 50_000,
    "a huge number": '{"dmesg": [{"pri": ' + "9" * 5000 + ', "time": 1e999, "msg": "x"}]}',
    "journal fields of odd kinds": '{"_TRANSPORT": ["kernel", "x"], "MESSAGE": [117, 115, 300], "PRIORITY": null}',
    "an export cut in a length": "__CURSOR=1\nMESSAGE\n\x05\0",
    "an export with a length beyond its end": "__CURSOR=1\nMESSAGE\n\x7f\x7f\x7f\x7f\x7f\x7f\x7f\x7fx",
    "no date": "[Mon Mar 99 77:99:99 0000] x\n",
    "a surrogate": "[    1.000000] usb 1-5: \ud800\n",
}


@pytest.mark.parametrize("case", _ODD)
def test_odd_text_is_no_error(case: str) -> None:
    found = surveyed(_ODD[case], _HUBS)
    assert all(one.trouble == "other" for one in found.episodes)


def test_binary_journal_fields_come_as_numbers_or_with_their_length() -> None:
    """JOURNAL_EXPORT_FORMATS: in JSON an array of bytes, in the export 8 bytes of length, little endian."""
    text = "usb 1-5: device descriptor read/8, error -71"
    as_json = json.dumps({"_TRANSPORT": "kernel", "MESSAGE": list(text.encode())}) + "\n"
    as_export = f"__CURSOR=1\n_TRANSPORT=kernel\nMESSAGE\n{chr(len(text))}{chr(0) * 7}{text}\n\n"
    assert [one.count for one in surveyed(as_json, _HUBS).episodes] == [1]
    assert [one.count for one in surveyed(as_export, _HUBS).episodes] == [1]


_MEGABYTE = 1024 * 1024
_HEAVY: dict[str, Callable[[int], str]] = {
    "one line": lambda size: "x" * size,
    "empty lines": lambda size: "\n" * size,
    "open brackets": lambda size: "[ " * (size // 2),
    "open braces": lambda size: '{"a":' * (size // 5),
    "field names": lambda size: "__A\n" * (size // 4),
    "names": lambda size: "[    1.000000] usb 1-5: Product: x\n" * (size // 35),
    "places": lambda size: "".join(
        f"[    1.000000] usb 1-{number % 200}.{number // 200}: device descriptor read/8, error -71\n"
        for number in range(size // 66)
    ),
}


@pytest.mark.parametrize("case", _HEAVY)
def test_a_megabyte_of_one_kind_is_read_to_its_end(case: str) -> None:
    """How the time grows with the length is printed by ``benchmarks/log_growth.py``."""
    found = surveyed(_HEAVY[case](_MEGABYTE), _HUBS)
    assert bool(found.episodes) == (case == "places")
