"""SoundWire codecs: on the bus, or only in firmware's tables (Documentation/ABI/testing/sysfs-bus-soundwire-slave)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import at, coverage_of, look
from support.more_buses import soundwire_codec
from support.units import LARCH

from usbwatch.model import CoverageState, Kind, Rung

_Tree = Callable[..., Path]
_LINK = "pci0000:00/1f.3/soundwire/0"
_CODEC = f"{_LINK}/1209:0008"


@pytest.mark.parametrize(
    ("status", "driver", "rung"),
    [
        ("Attached", "invented_codec", Rung.WORKING),
        ("Attached", "", Rung.IDENTIFIED),
        ("Alert", "invented_codec", Rung.WORKING),
        ("RESERVED", "invented_codec", Rung.ATTACHED),
        ("UNATTACHED", "invented_codec", Rung.ABSENT),
        ("UNATTACHED", "", Rung.ABSENT),
        ("", "invented_codec", Rung.ATTACHED),
        ("garbage", "", Rung.ATTACHED),
    ],
)
def test_how_far_a_codec_got(loose_tree: _Tree, status: str, driver: str, rung: Rung) -> None:
    root = loose_tree(LARCH)
    soundwire_codec(root, status, driver=driver)
    codec = at(look(root), _CODEC, "soundwire")
    assert (codec.kind, codec.identity, codec.functions) == (Kind.DEVICE, "1209:0008", ("audio",))
    assert (codec.rung, codec.driver) == (rung, driver)


def test_what_a_codec_tells(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    soundwire_codec(root, "Attached", driver="invented_codec")
    assert at(look(root), _CODEC, "soundwire").facts == {
        "status": "Attached",
        "device_number": 1,
        "mipi_revision": 0,
        "source_ports": 12,
        "sink_ports": 2,
    }


def test_a_link_alone_does_not_make_the_audio_controller_work(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    soundwire_codec(root, "UNATTACHED", driver="invented_codec")
    capture = look(root)
    assert at(capture, _LINK, "soundwire").kind is Kind.INFRASTRUCTURE
    assert at(capture, "pci0000:00/1f.3", "pci").rung is Rung.BOUND
    soundwire_codec(root, "Attached", driver="invented_codec", part="0009")
    assert at(look(root), "pci0000:00/1f.3", "pci").rung is Rung.WORKING


@pytest.mark.parametrize("controller", ["", "0:"], ids=["kernel 6.1", "newer kernels"])
def test_both_spellings_of_a_name_give_one_place(loose_tree: _Tree, controller: str) -> None:
    root = loose_tree(LARCH)
    soundwire_codec(root, "Attached", link=1, controller=controller)
    assert at(look(root), "pci0000:00/1f.3/soundwire/1/1209:0008", "soundwire").identity == "1209:0008"


def test_two_of_a_kind_are_told_by_their_unique_id(loose_tree: _Tree) -> None:
    """A unique id follows the class when parts share maker, part and link (drivers/soundwire/slave.c)."""
    root = loose_tree(LARCH)
    folder = soundwire_codec(root, "Attached")
    bus = root / "sys/bus/soundwire/devices"
    for unique in ("0", "1"):
        (root / f"{folder}:{unique}").mkdir()
        (root / f"{folder}:{unique}/subsystem").symlink_to(
            Path("../" * folder.count("/")) / "bus/soundwire", target_is_directory=True
        )
        name = folder.rpartition("/")[2]
        (bus / f"{name}:{unique}").symlink_to(Path("../../..") / f"{folder.removeprefix('sys/')}:{unique}")
    places = [node.location for node in look(root).nodes if node.bus == "soundwire"]
    assert places == [_LINK, _CODEC, f"{_CODEC}:0", f"{_CODEC}:1"]


def test_a_real_kernel_without_soundwire(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    assert not (root / "sys/bus/soundwire").exists()
    assert coverage_of(look(root), "soundwire").state is CoverageState.NOT_THERE
