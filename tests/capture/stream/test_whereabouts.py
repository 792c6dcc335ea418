"""Which device a folder is, in a real kernel's tree (tests/data/trees), and in one made by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import look
from support.small_tree import SmallTree, laptop

from usbwatch.capture import CopiedTree
from usbwatch.capture.stream.entries import Entry, is_device
from usbwatch.capture.stream.whereabouts import Whereabouts
from usbwatch.model import Kind

_Tree = Callable[..., Path]


@pytest.mark.parametrize("bus", ["usb", "pci", "serio", "hdaudio"])
def test_a_device_by_itself_is_what_a_whole_capture_says(real_tree: _Tree, bus: str) -> None:
    """The same reader, or for USB what the kernel gives without asking: place, identity, name, speed."""
    tree, capture = CopiedTree(str(real_tree("healthy"))), look(real_tree("healthy"))
    whereabouts = Whereabouts(tree, capture)
    alone = {}
    for name in tree.list(f"sys/bus/{bus}/devices"):
        entry = Entry(bus, name)
        folder = whereabouts.folder(entry)
        seen = whereabouts.seen(entry, folder, 1) if is_device(bus, name) else None
        if seen is not None:
            alone[seen.location] = (seen.identity, seen.name, seen.speed_kbps)
            assert whereabouts.known(folder) == (bus, seen.location)
    whole = {
        node.location: (node.identity, node.name, node.facts.get("speed_kbps", 0))
        for node in capture.nodes
        if node.bus == bus and node.kind is Kind.DEVICE
    }
    assert alone
    assert alone == whole


@pytest.mark.parametrize(
    ("name", "location"),
    [
        ("1-4.1", "pci0000:00/14.0/usb2/4.1"),
        ("usb1-port3", "pci0000:00/14.0/usb2/3"),
        ("1-4-port2", "pci0000:00/14.0/usb2/4.2"),
        ("9-1", ""),
        ("usb1", ""),
        ("1-4:1.0", ""),
    ],
)
def test_a_port_and_what_sits_there_have_one_place(real_tree: _Tree, name: str, location: str) -> None:
    root = real_tree("healthy")
    assert Whereabouts(CopiedTree(str(root)), look(root)).usb_location(name) == location


def test_what_the_kernel_told_of_an_arrival_is_enough_when_it_has_gone_again(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    whereabouts = Whereabouts(CopiedTree(str(root)), look(root))
    gone = "sys/devices/pci0000:00/0000:00:14.0/usb1/1-2"
    seen = whereabouts.seen(Entry("usb", "1-2"), gone, 0, "1209/9/100", ask_name=False)
    assert seen is not None
    assert (seen.location, seen.identity, seen.speed_kbps) == ("pci0000:00/14.0/usb2/2", "1209:0009", 0)


def card_reader_tree() -> SmallTree:
    """Two SoundWire-like peripherals of one address would share a place; here two PS/2 ports of one controller do."""
    tree = SmallTree()
    for number in (0, 1):
        folder = f"sys/devices/platform/i8042/serio{number}"
        tree.files[f"{folder}/description"] = "i8042 KBD port\n"
        tree.points(folder, "bus/serio")
        tree.links[f"sys/bus/serio/devices/serio{number}"] = f"../../../devices/platform/i8042/serio{number}"
    tree.points("sys/devices/platform/i8042", "bus/platform")
    return tree


def test_two_devices_of_one_place_keep_their_places_apart() -> None:
    tree = card_reader_tree()
    whereabouts = Whereabouts(tree, laptop())

    def place(number: int) -> str:
        entry = Entry("serio", f"serio{number}")
        seen = whereabouts.seen(entry, f"sys/devices/platform/i8042/serio{number}", 1)
        assert seen is not None
        return seen.location

    assert [place(0), place(1), place(0), place(1)] == ["platform/i8042/kbd", "platform/i8042/kbd#2"] * 2
    # One that went for good holds no place: what comes under another name takes it.
    tree.files.pop("sys/devices/platform/i8042/serio0/description")
    tree.links.pop("sys/devices/platform/i8042/serio0/subsystem")
    tree.files["sys/devices/platform/i8042/serio7/description"] = "i8042 KBD port\n"
    tree.points("sys/devices/platform/i8042/serio7", "bus/serio")
    assert place(7) == "platform/i8042/kbd"


def test_a_device_that_comes_back_under_ever_new_names_is_not_remembered_under_all_of_them() -> None:
    """A disk's host has a number that runs on; here a PS/2 port's. The latest of those that left are still known."""
    tree = card_reader_tree()
    whereabouts = Whereabouts(tree, laptop())
    listed: list[str] = []
    listing = tree.list

    def counted(path: str) -> tuple[str, ...]:
        listed.append(path)
        return listing(path)

    tree.list = counted  # type: ignore[method-assign]
    for number in range(10, 600):
        folder = f"sys/devices/platform/i8042/serio{number}"
        tree.files[f"{folder}/description"] = "i8042 KBD port\n"
        tree.points(folder, "bus/serio")
        listed.clear()
        seen = whereabouts.seen(Entry("serio", folder.rpartition("/")[2]), folder, number)
        assert seen is not None
        assert seen.location == "platform/i8042/kbd"
        assert len(listed) < 200
        del tree.files[f"{folder}/description"], tree.links[f"{folder}/subsystem"]
    known = [n for n in range(10, 600) if whereabouts.known(f"sys/devices/platform/i8042/serio{n}") is not None]
    assert known == list(range(600 - len(known), 600))
    assert 10 <= len(known) <= 40
