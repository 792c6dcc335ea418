"""Disks: NVMe controllers and block devices, never what is on them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from support.looking import XHCI, at, look
from support.sysfs import Conditions
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


def test_a_soldered_card_is_a_disk_of_its_own(loose_tree: _Tree) -> None:
    """eMMC: mmc host, card and block device (drivers/mmc/core/bus.c)."""
    root = loose_tree(LARCH)
    host = "devices/pci0000:00/0000:00:1f.0/mmc_host/mmc3"
    for path, subsystem in {
        host: "class/mmc_host",
        f"{host}/mmc3:0001": "bus/mmc",
        f"{host}/mmc3:0001/block/mmcblk3": "class/block",
    }.items():
        folder = root / "sys" / path
        folder.mkdir(parents=True)
        (folder / "subsystem").symlink_to("../" * (path.count("/") + 1) + subsystem)
    (root / "sys/class/block/mmcblk3").symlink_to(f"../../{host}/mmc3:0001/block/mmcblk3")
    node = at(look(root), "pci0000:00/1f.0/mmc/card/block", "block")
    assert (node.kind, node.functions) == (Kind.DEVICE, ("disk",))


def test_a_serial_disk_is_placed_by_its_port(real_tree: _Tree, loose_tree: _Tree) -> None:
    """The layout is that of a real kernel's AHCI controller, whose ports are all empty in the snapshot."""
    real = real_tree("healthy") / "sys/devices/pci0000:00/0000:00:1f.2/ata2"
    assert (real / "ata_port/ata2/port_no").read_text() == "2\n"
    root = loose_tree(LARCH)
    for number, port in (("7", "1"), ("8", "2")):
        top = f"devices/pci0000:00/0000:00:1f.0/ata{number}"
        (root / "sys" / top / f"ata_port/ata{number}").mkdir(parents=True)
        (root / "sys" / top / f"ata_port/ata{number}/port_no").write_text(f"{port}\n")
        disk = f"{top}/host{number}/target{number}:0:0/{number}:0:0:0"
        for path, subsystem in {
            f"{top}/host{number}": "bus/scsi",
            f"{top}/host{number}/target{number}:0:0": "bus/scsi",
            disk: "bus/scsi",
            f"{disk}/block/sd{port}": "class/block",
        }.items():
            folder = root / "sys" / path
            folder.mkdir(parents=True, exist_ok=True)
            (folder / "subsystem").symlink_to("../" * (path.count("/") + 1) + subsystem)
        (root / f"sys/class/block/sd{port}").symlink_to(f"../../{disk}/block/sd{port}")
    places = [node.location for node in look(root).nodes if node.bus == "block" and "/ata" in node.location]
    assert places == ["pci0000:00/1f.0/ata1/block", "pci0000:00/1f.0/ata2/block"]
