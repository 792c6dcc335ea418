"""News that a real kernel gave, taken through all that is pure: see tests/data/watch/README.md for what was done."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.happenings import ROOT, events_of
from support.looking import look

from usbwatch.capture import CopiedTree
from usbwatch.capture.stream.entries import INTERFACE, Entry, is_device
from usbwatch.capture.stream.following import begun
from usbwatch.capture.stream.log_words import log_news
from usbwatch.capture.stream.news import Happening, Logged, Seen
from usbwatch.capture.stream.telling import Telling, merged
from usbwatch.capture.stream.uevents import Uevent
from usbwatch.capture.stream.whereabouts import Whereabouts
from usbwatch.model import Change, WatchEvent

_Tree = Callable[..., Path]
_RECORDED = Path(__file__).parents[2] / "data" / "watch"


def replayed(name: str, root: Path, step_ms: int = 10) -> tuple[WatchEvent, ...]:
    """The events of a recording, in the tree of the same laptop, ``step_ms`` for each thing that was read."""
    tree = CopiedTree(str(root))
    whereabouts = Whereabouts(tree, look(root))
    there = list(_there(tree, whereabouts))
    telling = Telling(whereabouts, names_logged=True)
    happened: list[Happening] = []
    lines: list[Logged] = []
    for step, text in enumerate((_RECORDED / f"{name}.jsonl").read_text("utf-8").splitlines()):
        read = json.loads(text)
        if "log" in read:
            lines = list(log_news(read["log"], step_ms * step, whereabouts.root_hubs))
            happened += lines
            continue
        told = telling.happening(Uevent(**read["uevent"]), step_ms * step)
        happened += merged((), [told] if told is not None else ())
    return events_of((), happened, end_ms=1_000_000, state=begun(there))


def _there(tree: CopiedTree, whereabouts: Whereabouts) -> Iterator[Seen]:
    for name in tree.list("sys/bus/usb/devices"):
        entry = Entry("usb", name)
        seen = whereabouts.seen(entry, whereabouts.folder(entry), 0) if is_device(*entry) else None
        if seen is not None:
            yield seen


def short(event: WatchEvent) -> tuple[Change, str, str]:
    return event.change, event.location.removeprefix(f"{ROOT}/"), event.name


KEYBOARD, TOUCHPAD = ("4.1", "Larch Internal Keyboard"), ("4.2", "Larch Touchpad")
CAMERA, RADIO = ("5", "Larch 720p Camera"), ("6", "Larch Bluetooth Radio")
READER = ("4.3", "Larch Fingerprint Reader")

EXPECTED = {
    "keyboard": [(Change.GONE, *KEYBOARD), (Change.BACK, *KEYBOARD)],
    "bluetooth": [(Change.GONE, *RADIO), (Change.FAILED, *RADIO)],
}


@pytest.mark.parametrize("name", EXPECTED)
def test_what_was_done_is_what_is_told(real_tree: _Tree, name: str) -> None:
    assert [short(event) for event in replayed(name, real_tree("healthy"))] == EXPECTED[name]


def test_a_driver_is_told_when_it_stays_away(real_tree: _Tree) -> None:
    """Two seconds lay between the two orders; a driver that is back at once is none of the person's business."""
    slow = replayed("driver", real_tree("healthy"), step_ms=400)
    assert [short(event) for event in slow] == [(Change.UNBOUND, *TOUCHPAD), (Change.BOUND, *TOUCHPAD)]
    assert replayed("driver", real_tree("healthy")) == ()


def test_a_hub_that_is_pulled_comes_with_what_hangs_on_it(real_tree: _Tree) -> None:
    events = replayed("hub", real_tree("healthy"))
    assert {event.change for event in events} == {Change.GONE}
    assert [event.location.removeprefix(f"{ROOT}/") for event in events] == ["4", "4.1", "4.2", "4.3", "4.4"]
    assert [event.kernel_us for event in events] == sorted(event.kernel_us for event in events)


def test_the_stamps_are_those_of_the_kernels_own_lines(real_tree: _Tree) -> None:
    gone, back = replayed("keyboard", real_tree("healthy"))
    lines = (_RECORDED / "keyboard.jsonl").read_text("utf-8")
    assert f",{gone.kernel_us},-;usb 1-4.1: USB disconnect" in lines
    assert f",{back.kernel_us},-;usb 1-4.1: New USB device found" in lines


def test_a_camera_that_came_back_at_the_speed_of_the_tree_fell_back_nowhere(real_tree: _Tree) -> None:
    """The tree stands still at 480 Mbit/s, so a slower return shows only in the emulated laptop itself."""
    events = replayed("camera", real_tree("healthy"))
    assert [short(event) for event in events] == [(Change.GONE, *CAMERA), (Change.BACK, *CAMERA)]
    assert events[1].speed_kbps == 480_000


@pytest.mark.parametrize("name", ["1-4.1:1.0", "1-5:1.1"])
def test_an_interface_is_told_by_its_device(name: str) -> None:
    shape = INTERFACE.match(name)
    assert shape is not None
    assert is_device("usb", shape.group(1))
    assert not is_device("usb", name)
