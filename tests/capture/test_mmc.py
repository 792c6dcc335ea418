"""Cards: soldered eMMC disks against memory cards in a reader, and hosts with nothing in them.

Attributes: Documentation/driver-api/mmc/mmc-dev-attrs.rst; types: drivers/mmc/core/bus.c.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import XHCI, at, coverage_of, look
from support.more_buses import card, pci_function
from support.units import LARCH

from usbwatch.model import Capture, CoverageState, Kind, Node, Rung

_Tree = Callable[..., Path]
_HOST = "pci0000:00/1a.0"
_SD_HOST_CLASS = "080501"


@pytest.fixture
def with_card(loose_tree: _Tree) -> Callable[[str], Capture]:
    """The capture of a unit whose SD host has a card of one type, "" for none."""

    def capture(kind: str) -> Capture:
        root = loose_tree(LARCH)
        card(root, kind, host=pci_function(root, "1a.0", _SD_HOST_CLASS, "sdhci-pci"), number=3)
        return look(root)

    return capture


def test_a_soldered_card_is_a_disk_of_the_unit(with_card: Callable[[str], Capture]) -> None:
    capture = with_card("MMC")
    node = at(capture, f"{_HOST}/mmc/card", "mmc")
    assert (node.kind, node.rung, node.functions) == (Kind.DEVICE, Rung.WORKING, ("disk",))
    assert (node.identity, node.name, node.driver) == ("f0:0f0f", "INVENT", "mmcblk")
    assert node.facts["life_time"] == "0x01 0x02"
    assert node.facts["pre_eol_info"] == "0x01"
    assert "placed" not in node.facts


def test_its_boot_partitions_are_no_disks(with_card: Callable[[str], Capture]) -> None:
    """The block layer lists ``mmcblk3boot0`` and ``mmcblk3boot1`` beside ``mmcblk3`` (drivers/mmc/core/block.c)."""
    blocks = [node for node in with_card("MMC").nodes if node.bus == "block" and "/mmc/" in node.location]
    assert [(node.location, node.kind, node.functions) for node in blocks] == [
        (f"{_HOST}/mmc/card/block", Kind.FUNCTION, ("disk",))
    ]


def test_a_host_of_soldered_memory_is_no_card_reader(with_card: Callable[[str], Capture]) -> None:
    """Both have PCI class 0805 (pci.ids)."""
    host = at(with_card("MMC"), _HOST, "pci")
    assert (host.kind, host.functions) == (Kind.INFRASTRUCTURE, ())


def test_a_memory_card_is_a_medium_in_a_reader(with_card: Callable[[str], Capture]) -> None:
    capture = with_card("SD")
    node = at(capture, f"{_HOST}/mmc/card", "mmc")
    assert (node.functions, node.facts["placed"]) == (("storage",), "outside")
    assert at(capture, f"{_HOST}/mmc/card/block", "block").functions == ("storage",)
    reader = at(capture, _HOST, "pci")
    assert (reader.kind, reader.functions, reader.rung) == (Kind.DEVICE, ("card-reader",), Rung.WORKING)


def test_an_empty_reader_is_well(with_card: Callable[[str], Capture]) -> None:
    capture = with_card("")
    assert at(capture, _HOST, "pci").rung is Rung.WORKING
    assert at(capture, f"{_HOST}/mmc", "mmc").kind is Kind.INFRASTRUCTURE
    assert [node.location for node in capture.nodes if node.bus == "mmc"] == [f"{_HOST}/mmc"]


def test_a_radio_behind_an_sdio_host_is_no_medium(with_card: Callable[[str], Capture]) -> None:
    node = at(with_card("SDIO"), f"{_HOST}/mmc/card", "mmc")
    assert (node.functions, node.rung, node.facts) == ((), Rung.IDENTIFIED, {"type": "SDIO"})


def test_a_card_in_a_reader_on_usb_is_a_medium_whatever_its_type(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    reader = "sys/devices/pci0000:00/0000:00:14.0/usb1/1-8"
    card(root, "MMC", host=reader, number=0)
    capture = look(root)
    node = at(capture, f"{XHCI}/usb2/8/mmc/card", "mmc")
    assert (node.functions, node.facts["placed"]) == (("storage",), "outside")
    assert at(capture, f"{XHCI}/usb2/8/mmc/card/block", "block").functions == ("storage",)


@pytest.mark.parametrize("number", ["zero", "0x123456789abc", "-1", "0x", ""])
def test_an_identity_is_told_only_by_whole_numbers(loose_tree: _Tree, number: str) -> None:
    root = loose_tree(LARCH)
    folder = card(root, "SD", host=pci_function(root, "1a.0", _SD_HOST_CLASS, "sdhci-pci"), number=0)
    (root / folder / "manfid").write_text(f"{number}\n")
    assert at(look(root), f"{_HOST}/mmc/card", "mmc").identity == ""


def test_a_real_kernel_without_the_bus(real_tree: _Tree) -> None:
    """The kernel of the snapshots has no MMC host: its ``sys/bus`` holds no ``mmc``."""
    root = real_tree("healthy")
    assert not (root / "sys/bus/mmc").exists()
    capture = look(root)
    assert coverage_of(capture, "mmc").state is CoverageState.NOT_THERE
    nodes: list[Node] = [node for node in capture.nodes if node.bus == "mmc"]
    assert nodes == []
