"""Attributes read one by one: what is missing is an empty value, what is refused is counted."""

from __future__ import annotations

import errno

import pytest
from support.fake_tree import FakeTree

from usbwatch.capture.sight import Sight, printable
from usbwatch.capture.tree import ATTRIBUTE_LIMIT

_FOLDER = "sys/devices/x"


def _sight(content: bytes = b"", error: int | None = None) -> Sight:
    path = f"{_FOLDER}/value"
    return Sight(FakeTree({path: content}, {}, {path: error} if error else {}))


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (b"text\n", "text"),
        (b"text\n\n", "text"),
        (b"text\0", "text"),
        (b" 2.00\n", " 2.00"),
        (b"\xff\xfe", "\\xff\\xfe"),
        ("Pad \u00e9\n".encode(), "Pad \u00e9"),
        (b"\x1b[2J", "\x1b[2J"),
        (b"", ""),
    ],
)
def test_text_of_bytes(data: bytes, text: str) -> None:
    assert printable(data) == text


@pytest.mark.parametrize(
    ("content", "number"),
    [
        (b"87\n", 87),
        (b" 1\n", 1),
        (b"-1\n", -1),
        (b"9007199254740991\n", 2**53 - 1),
        (b"9007199254740992\n", None),
        (b"9" * 5000, None),
        (b"0x10\n", None),
        (b"1.5\n", None),
        (b"many\n", None),
        (b"\n", None),
    ],
)
def test_numbers(content: bytes, number: int | None) -> None:
    """Integers beyond 2^53 cannot be kept in a capture (RFC 8785 section 3.2.2.3)."""
    assert _sight(content).number(_FOLDER, "value") == number


@pytest.mark.parametrize("error", [errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENODATA, errno.ENOTDIR])
def test_what_is_not_there_is_no_refusal(error: int) -> None:
    """drivers/power/supply/power_supply_sysfs.c gives ENODEV and ENODATA for values that a driver does not have."""
    sight = _sight(b"x", error)
    assert (sight.text(_FOLDER, "value"), sight.refused) == ("", [])


@pytest.mark.parametrize("error", [errno.EACCES, errno.EPERM, errno.EIO, errno.ETIMEDOUT, errno.EINVAL])
def test_what_may_not_be_read_is_counted(error: int) -> None:
    sight = _sight(b"x", error)
    assert (sight.text(_FOLDER, "value"), sight.refused) == ("", [(f"{_FOLDER}/value", error)])


def test_facts_are_those_that_are_there() -> None:
    sight = Sight(FakeTree({f"{_FOLDER}/id/type": b"06\n", f"{_FOLDER}/empty": b"\n"}, {}))
    assert sight.facts(_FOLDER, "id/type", "empty", "missing") == {"type": "06"}


def test_links_are_worked_out_on_their_names() -> None:
    tree = FakeTree({}, {"sys/bus/usb/devices/1-5": "../../../devices/pci0000:00/1-5", f"{_FOLDER}/driver": "../y/hub"})
    sight = Sight(tree)
    assert sight.real("sys/bus/usb/devices/1-5") == "sys/devices/pci0000:00/1-5"
    assert sight.points_to(_FOLDER, "driver") == "hub"
    assert sight.points_to(_FOLDER, "no-link") == ""


@pytest.mark.parametrize("target", ["/etc", "../../../../../etc", "../../../..", ""])
def test_a_link_that_leads_out_of_sys_is_no_link(target: str) -> None:
    sight = Sight(FakeTree({}, {"sys/bus/usb/devices/1-5": target}))
    assert not sight.real("sys/bus/usb/devices/1-5").startswith(("/", ".."))


def test_texts_are_those_that_are_there_and_not_empty() -> None:
    files = {f"{_FOLDER}/name": b" pad \n", f"{_FOLDER}/empty": b"\n", f"{_FOLDER}/id/bustype": b"0003\n"}
    tree = FakeTree(files, {})
    sight = Sight(tree)
    wanted = ("name", "empty", "absent", "id/bustype")
    assert list(sight.texts(_FOLDER, wanted)) == [("name", "pad"), ("id/bustype", "0003")]
    sight.entries(_FOLDER)
    assert list(sight.texts(_FOLDER, wanted)) == [("name", "pad"), ("id/bustype", "0003")]


def test_a_refused_text_is_counted() -> None:
    sight = _sight(b"text", errno.EACCES)
    assert list(sight.texts(_FOLDER, ("value", "absent"))) == []
    assert sight.refused == [(f"{_FOLDER}/value", errno.EACCES)]


def test_a_file_is_read_once_however_many_ask_and_whole_where_more_is_wanted() -> None:
    tree = FakeTree({f"{_FOLDER}/value": b"a" * (ATTRIBUTE_LIMIT + 1)}, {}, {})
    asked: list[int] = []
    read = tree.read

    def counted(path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        asked.append(limit)
        return read(path, limit)[:limit]

    tree.read = counted  # type: ignore[method-assign]
    sight = Sight(tree)
    assert sight.text(_FOLDER, "value") == sight.text(_FOLDER, "value")
    assert asked == [ATTRIBUTE_LIMIT]
    assert len(sight.blob(_FOLDER, "value", 2 * ATTRIBUTE_LIMIT)) == ATTRIBUTE_LIMIT + 1


def test_a_refusal_counts_for_everyone_who_asks() -> None:
    """What was not read is said of each node, so the second to ask must not find it merely absent."""
    sight = _sight(b"x", errno.EACCES)
    assert [sight.text(_FOLDER, "value") for _ in range(2)] == ["", ""]
    assert sight.refused == [(f"{_FOLDER}/value", errno.EACCES)] * 2


def test_what_lists_a_device_says_its_subsystem() -> None:
    """Documentation/admin-guide/sysfs-rules.rst: a device's ``subsystem`` link leads to what lists it."""
    tree = FakeTree({f"{_FOLDER}/value": b"1"}, {"sys/bus/usb/devices/1-4": "../../../devices/x"}, {})
    sight = Sight(tree)
    assert list(sight.devices("sys/bus/usb/devices")) == [("1-4", _FOLDER)]
    assert sight.points_to(_FOLDER, "subsystem") == "usb"
