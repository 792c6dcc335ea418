"""Sound, cameras and radios: class nodes that a bound driver made."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import XHCI, at, look
from support.sysfs import Conditions
from support.units import HERON, LARCH, PLOVER, RADIO_DONGLE

from usbwatch.model import Kind, Rung

_Tree = Callable[..., Path]
_USB2 = f"{XHCI}/usb2"


@pytest.mark.parametrize(
    ("location", "bus", "functions"),
    [
        ("pci0000:00/1b.0/sound", "sound", ("audio",)),
        (f"{_USB2}/9/if0/sound", "sound", ("audio",)),
        (f"{_USB2}/5/if0/video", "video", ("camera",)),
        (f"{_USB2}/5/if0/video#2", "video", ("camera",)),
        (f"{_USB2}/6/if0/bluetooth", "bluetooth", ("bluetooth",)),
        ("pci0000:00/19.0/net", "net", ("ethernet",)),
    ],
)
def test_a_real_kernels_class_nodes(real_tree: _Tree, location: str, bus: str, functions: tuple[str, ...]) -> None:
    node = at(look(real_tree("healthy")), location, bus)
    assert (node.kind, node.rung, node.functions) == (Kind.FUNCTION, Rung.WORKING, functions)


def test_a_real_kernels_codec(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    node = at(look(root), "pci0000:00/1b.0/codec0", "hdaudio")
    assert (node.kind, node.rung, node.driver) == (Kind.DEVICE, Rung.WORKING, "snd_hda_codec_generic")
    assert node.identity == (root / "sys/bus/hdaudio/devices/hdaudioC0D0/vendor_id").read_text().strip()


def test_a_real_kernels_radio_switch(real_tree: _Tree) -> None:
    node = at(look(real_tree("healthy")), f"{_USB2}/6/if0/bluetooth/rfkill", "rfkill")
    assert node.facts == {"type": "bluetooth", "hard": 0, "soft": 0}


def test_loopback_is_no_network_of_the_unit(real_tree: _Tree) -> None:
    assert [node.location for node in look(real_tree("healthy")).nodes if node.bus == "net"] == ["pci0000:00/19.0/net"]


def test_a_wireless_interface_is_told_by_its_wireless_part(built_tree: _Tree) -> None:
    capture = look(built_tree(HERON))
    assert at(capture, "pci0000:00/1c.0/00.0/net", "net").functions == ("wlan",)
    assert at(capture, "pci0000:00/1c.0/00.0", "pci").rung is Rung.WORKING


def test_a_modems_interface_is_no_ethernet(built_tree: _Tree) -> None:
    """The kernel says ``DEVTYPE=wwan`` in the interface's uevent (drivers/net/usb/cdc_mbim.c)."""
    capture = look(built_tree(PLOVER))
    assert at(capture, f"{_USB2}/9", "usb").functions == ("wwan",)
    assert at(capture, f"{_USB2}/9/if0/net", "net").functions == ("wwan",)


def test_a_wireless_card_without_driver_is_identified(built_tree: _Tree) -> None:
    node = at(look(built_tree(HERON, Conditions(undriven=("wlan",)))), "pci0000:00/1c.0/00.0", "pci")
    assert (node.rung, node.functions) == (Rung.IDENTIFIED, ("wlan",))


def test_a_codec_that_did_not_answer_leaves_its_controller(loose_tree: _Tree) -> None:
    """A codec exists only when it raised its presence bit (sound/hda/hdac_sysfs.c)."""
    root = loose_tree(LARCH)
    (root / "sys/bus/hdaudio/devices/hdaudioC0D0").unlink()
    for entry in (root / "sys/class/sound").iterdir():
        entry.unlink()
    capture = look(root)
    assert at(capture, "pci0000:00/1b.0", "pci").rung is Rung.BOUND
    assert [node for node in capture.nodes if node.bus == "hdaudio"] == []


def test_a_blocked_radio_says_so(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    (root / "sys/class/rfkill/rfkill0/soft").write_text("1\n")
    node = at(look(root), f"{_USB2}/6/if0/bluetooth/rfkill", "rfkill")
    assert node.facts["soft"] == 1
    assert at(look(root), f"{_USB2}/6", "usb").rung is Rung.WORKING


def test_a_helpers_radio_does_not_rename_the_units_own(built_tree: _Tree) -> None:
    """Numbers such as hci0 follow the order of plugging; nothing of a capture may."""
    first, second = (
        look(built_tree(LARCH, Conditions(sockets=(RADIO_DONGLE,), order=order))) for order in ((), ("helper-radio",))
    )
    own = f"{_USB2}/6/if0/bluetooth/rfkill"
    assert at(first, own, "rfkill") == at(second, own, "rfkill")
