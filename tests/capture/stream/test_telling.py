"""Single events of the kernel, as its documents describe them, in a real kernel's tree."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.happenings import ROOT, arrived, departed, device, line
from support.looking import look

from usbwatch.capture import CopiedTree
from usbwatch.capture.stream.entries import Entry
from usbwatch.capture.stream.news import Arrived, Departed, Driven, Happening, LogWord, OverCurrent
from usbwatch.capture.stream.telling import Telling, merged
from usbwatch.capture.stream.uevents import Uevent
from usbwatch.capture.stream.whereabouts import Whereabouts

_Tree = Callable[..., Path]
XHCI = "sys/devices/pci0000:00/0000:00:14.0"
HUB, KEYBOARD = f"{XHCI}/usb1/1-4", f"{XHCI}/usb1/1-4/1-4.1"


@pytest.fixture
def telling(real_tree: _Tree) -> Telling:
    root = real_tree("healthy")
    whereabouts = Whereabouts(CopiedTree(str(root)), look(root))
    whereabouts.seen(Entry("usb", "1-4.1"), KEYBOARD, 0)
    whereabouts.seen(Entry("serio", "serio0"), "sys/devices/platform/i8042/serio0", 0)
    return Telling(whereabouts, names_logged=True)


def uevent(action: str, subsystem: str, folder: str, **keys: str) -> Uevent:
    return Uevent(action=action, subsystem=subsystem, folder=folder, keys=keys)


def test_over_current_is_told_of_the_port_that_the_hub_names(telling: Telling) -> None:
    """Documentation/ABI/testing/sysfs-bus-usb, over_current_count: OVER_CURRENT_PORT and OVER_CURRENT_COUNT."""
    at_root, at_hub = (
        uevent("change", "usb", folder, DEVTYPE="usb_interface", OVER_CURRENT_PORT=f"/devices/{port}")
        for folder, port in (
            (f"{XHCI}/usb1/1-0:1.0", "pci0000:00/0000:00:14.0/usb1/1-0:1.0/usb1-port3"),
            (f"{HUB}/1-4:1.0", "pci0000:00/0000:00:14.0/usb1/1-4/1-4:1.0/1-4-port2"),
        )
    )
    assert telling.happening(at_root, 7) == OverCurrent(at_ms=7, location=f"{ROOT}/3")
    assert telling.happening(at_hub, 7) == OverCurrent(at_ms=7, location=f"{ROOT}/4.2")


def test_an_arrival_is_told_with_what_is_read_without_asking_the_device(telling: Telling) -> None:
    news = telling.happening(uevent("add", "usb", KEYBOARD, DEVTYPE="usb_device", PRODUCT="1209/1/100"), 3)
    assert isinstance(news, Arrived)
    assert (news.seen.location, news.seen.identity, news.seen.speed_kbps) == (f"{ROOT}/4.1", "1209:0001", 12_000)


def test_a_folder_that_has_gone_is_still_known(telling: Telling) -> None:
    news = telling.happening(uevent("remove", "usb", KEYBOARD, DEVTYPE="usb_device"), 3)
    assert news == Departed(at_ms=3, bus="usb", location=f"{ROOT}/4.1")


def test_the_driver_of_a_ps2_port_is_told_of_the_port(telling: Telling) -> None:
    news = telling.happening(uevent("unbind", "serio", "sys/devices/platform/i8042/serio0", DRIVER="atkbd"), 3)
    assert news == Driven(at_ms=3, bus="serio", location="platform/i8042/kbd", part="", driver="")


@pytest.mark.parametrize(
    "event",
    [
        uevent("change", "usb", KEYBOARD, DEVTYPE="usb_device"),
        uevent("bind", "usb", KEYBOARD, DEVTYPE="usb_device", DRIVER="usb"),
        uevent("add", "usb", f"{KEYBOARD}/1-4.1:1.0", DEVTYPE="usb_interface"),
        uevent("add", "input", f"{KEYBOARD}/1-4.1:1.0/0003:1209:0001.0001/input/input9"),
        uevent("remove", "usb", f"{XHCI}/usb9/9-1", DEVTYPE="usb_device"),
        uevent("change", "usb", f"{HUB}/1-4:1.0", OVER_CURRENT_PORT="../../etc"),
        uevent("", "", ""),
    ],
    ids=lambda event: f"{event.action} {event.name}",
)
def test_what_changes_nothing_for_a_device_is_no_news(telling: Telling, event: Uevent) -> None:
    assert telling.happening(event, 0) is None


def test_an_arrival_stands_right_behind_the_line_that_found_it() -> None:
    """One wait can bring a return and, of another hub, a departure: the log says which was first."""
    lines = [line(5, LogWord.FOUND, "5"), line(5, LogWord.GONE, "4.1")]
    events: list[Happening] = [arrived(5, device("5")), departed(5, "4.1")]
    assert merged(lines, events) == (lines[0], events[0], lines[1], events[1])
    assert merged(list(reversed(lines)), events) == (lines[1], lines[0], events[0], events[1])
    assert merged(lines, ()) == tuple(lines)
    assert merged((), events) == tuple(events)
