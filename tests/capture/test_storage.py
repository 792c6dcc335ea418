"""Disks: NVMe controllers and block devices, never what is on them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import XHCI, at, look
from support.more_buses import pci_function, serial_disk
from support.sysfs import Conditions
from support.tree.writer import Writer
from support.units import LARCH, STICK

from usbwatch.model import Kind, Rung

_Tree = Callable[..., Path]


def test_a_real_kernels_disks(real_tree: _Tree) -> None:
    capture = look(real_tree("healthy"))
    disk = at(capture, "pci0000:00/06.0/nvme", "nvme")
    assert (disk.rung, disk.functions, disk.facts["state"]) == (Rung.WORKING, ("disk",), "live")
    block = at(capture, "pci0000:00/06.0/nvme/block", "block")
    assert (block.kind, block.facts) == (Kind.FUNCTION, {"size": 2097152, "removable": 0, "ro": 0})
    reader = at(capture, f"{XHCI}/usb2/8/if0/block", "block")
    assert (reader.functions, reader.facts["size"], reader.facts["removable"]) == (("storage",), 16384, 1)


def test_a_controller_that_is_not_live_is_only_identified(loose_tree: _Tree) -> None:
    """States: drivers/nvme/host/sysfs.c."""
    root = loose_tree(LARCH)
    (root / "sys/class/nvme/nvme0/state").write_text("dead\n")
    assert at(look(root), "pci0000:00/06.0/nvme", "nvme").rung is Rung.IDENTIFIED


def test_a_disk_without_driver_has_no_nodes_of_its_own(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH, Conditions(undriven=("disk",))))
    assert [node.bus for node in capture.nodes if node.location.startswith("pci0000:00/06.0/")] == []


def test_partitions_and_virtual_disks_are_left_out(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    partition = root / "sys/class/block/nvme0n1"
    part = partition.resolve() / "nvme0n1p1"
    part.mkdir()
    (part / "partition").write_text("1\n")
    (root / "sys/class/block/nvme0n1p1").symlink_to(Path("../..") / part.relative_to((root / "sys").resolve()))
    loop = root / "sys/devices/virtual/block/loop0"
    loop.mkdir(parents=True)
    (root / "sys/class/block/loop0").symlink_to("../../devices/virtual/block/loop0")
    blocks = [node.location for node in look(root).nodes if node.bus == "block"]
    assert blocks == ["pci0000:00/06.0/nvme/block", f"{XHCI}/usb2/8/if0/block"]


def test_a_helpers_stick_is_storage_at_its_socket(built_tree: _Tree) -> None:
    node = at(look(built_tree(LARCH, Conditions(sockets=(STICK,)))), f"{XHCI}/usb3/3/if0/block", "block")
    assert (node.kind, node.functions) == (Kind.FUNCTION, ("storage",))


def test_a_real_kernels_serial_ports_are_placed_by_their_own_number(real_tree: _Tree) -> None:
    """All ports of the snapshot's AHCI controller are empty: its links know no speed, and no disk stands there."""
    real = real_tree("healthy") / "sys/devices/pci0000:00/0000:00:1f.2/ata2"
    assert (real / "ata_port/ata2/port_no").read_text() == "2\n"
    assert (real / "link2/ata_link/link2/sata_spd").read_text() == "<unknown>\n"
    assert [node for node in look(real_tree("healthy")).nodes if "/ata" in node.location] == []


def test_a_serial_disk_is_placed_by_its_port(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    serial_disk(root, number=7, port=1, name="sdb")
    serial_disk(root, number=8, port=2, name="sdc")
    nodes = [node for node in look(root).nodes if node.bus == "block" and "/ata" in node.location]
    assert [node.location for node in nodes] == ["pci0000:00/1f.0/ata1/block", "pci0000:00/1f.0/ata2/block"]
    assert {node.functions for node in nodes} == {("disk",)}


@pytest.mark.parametrize(
    ("now", "most", "facts"),
    [
        ("6.0 Gbps", "6.0 Gbps", {"speed_kbps": 6_000_000, "speed_limit_kbps": 6_000_000}),
        ("1.5 Gbps", "6.0 Gbps", {"speed_kbps": 1_500_000, "speed_limit_kbps": 6_000_000}),
        ("3.0 Gbps", "<unknown>", {"speed_kbps": 3_000_000}),
        ("<unknown>", "<unknown>", {}),
        ("6,0 Gbps", "fast", {}),
    ],
)
def test_a_serial_disk_tells_its_links_speed(loose_tree: _Tree, now: str, most: str, facts: dict[str, int]) -> None:
    """Documentation/ABI/testing/sysfs-ata; the words are those of sata_spd_string (drivers/ata/libata-core.c)."""
    root = loose_tree(LARCH)
    link = {"sata_spd": now, "hw_sata_spd_limit": most, "sata_spd_limit": "6.0 Gbps"}
    serial_disk(root, number=7, port=1, name="sdb", link=link)
    node = at(look(root), "pci0000:00/1f.0/ata1/block", "block")
    assert {name: fact for name, fact in node.facts.items() if name.endswith("_kbps")} == facts
    assert node.facts.get("sata_spd") == (now if "speed_kbps" in facts else None)
    assert node.facts["sata_spd_limit"] == "6.0 Gbps"


def test_an_optical_drive_is_no_disk(loose_tree: _Tree) -> None:
    """Peripheral device type 5 (include/scsi/scsi_proto.h)."""
    root = loose_tree(LARCH)
    serial_disk(root, number=7, port=1, name="sr0", kind=5)
    node = at(look(root), "pci0000:00/1f.0/ata1/block", "block")
    assert (node.kind, node.functions, node.facts["removable"]) == (Kind.DEVICE, ("storage",), 1)


def test_universal_flash_storage_makes_its_controller_the_disk(loose_tree: _Tree) -> None:
    """PCI class 0109 (pci.ids); its logical units are SCSI disks straight below the controller's SCSI host."""
    root = loose_tree(LARCH)
    writer = Writer(root)
    controller = pci_function(root, "12.7", "010901", "ufshcd")
    writer.bus_device(f"{controller}/host4", "scsi")
    writer.bus_device(f"{controller}/host4/target4:0:0", "scsi")
    for unit, name in ((0, "sdb"), (1, "sdc")):
        device = f"{controller}/host4/target4:0:0/4:0:0:{unit}"
        writer.bus_device(device, "scsi", type=0, model="Invented UFS")
        writer.class_device(f"{device}/block/{name}", "block", device, size=4096 + unit, removable=0, ro=0)
    capture = look(root)
    node = at(capture, "pci0000:00/12.7", "pci")
    assert (node.kind, node.rung, node.functions) == (Kind.DEVICE, Rung.WORKING, ("disk",))
    units = [each.location for each in capture.nodes if each.bus == "block" and "/12.7/" in each.location]
    assert units == ["pci0000:00/12.7/block", "pci0000:00/12.7/block#2"]
