"""What firmware declares, read from a real kernel's tree and from invented units."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import at, coverage_of, look
from support.sysfs import Conditions
from support.units import HERON, LARCH, PLOVER

from usbwatch.model import Kind, Rung

_Tree = Callable[..., Path]

_REAL = [
    # location, hardware id, kind, rung, functions, driver, status
    ("acpi/_SB_.BAT0", "PNP0C0A", Kind.DEVICE, Rung.WORKING, ("battery",), "battery", 31),
    ("acpi/_SB_.AC0_", "ACPI0003", Kind.DEVICE, Rung.WORKING, ("mains-adapter",), "ac", 15),
    ("acpi/_SB_.LID0", "PNP0C0D", Kind.DEVICE, Rung.ATTACHED, ("lid",), "button", 15),
    ("acpi/_SB_.PWRB", "PNP0C0C", Kind.DEVICE, Rung.ATTACHED, ("power-button",), "button", 15),
    ("acpi/_SB_.PCI0", "PNP0A08", Kind.DECLARED, Rung.ATTACHED, (), "", None),
    ("acpi/_SB_.LNKA", "PNP0C0F", Kind.DECLARED, Rung.ATTACHED, (), "", 9),
]


@pytest.mark.parametrize("row", _REAL, ids=[row[0] for row in _REAL])
def test_a_real_firmwares_objects_are_read_as_they_stand(
    real_tree: _Tree, row: tuple[str, str, Kind, Rung, tuple[str, ...], str, int | None]
) -> None:
    location, hardware_id, kind, rung, functions, driver, status = row
    node = at(look(real_tree("healthy")), location, "acpi")
    assert (node.identity, node.kind, node.rung, node.functions) == (hardware_id, kind, rung, functions)
    assert (node.driver, node.facts.get("status")) == (driver, status)


def test_every_real_object_with_a_hardware_id_is_a_node(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    named = [entry for entry in (root / "sys/bus/acpi/devices").iterdir() if (entry / "hid").exists()]
    capture = look(root)
    assert sum(node.bus == "acpi" for node in capture.nodes) == len(named) == 38
    assert coverage_of(capture, "acpi").nodes == 38


def test_a_firmware_objects_device_is_named_with_its_place(real_tree: _Tree) -> None:
    assert at(look(real_tree("healthy")), "acpi/_SB_.PCI0", "acpi").facts["physical"] == "pci0000:00"


def test_an_empty_battery_bay_in_a_real_kernel(real_tree: _Tree) -> None:
    """ACPI 6.0 section 6.3.7 by way of Documentation/ABI/testing/sysfs-bus-acpi: bit 4 is the pack in the bay."""
    node = at(look(real_tree("battery-not-present")), "acpi/_SB_.BAT0", "acpi")
    assert (node.rung, node.facts["status"], node.driver) == (Rung.ABSENT, 15, "battery")


def test_what_a_lid_or_button_makes_does_not_prove_the_switch(built_tree: _Tree) -> None:
    """The kernel makes their input nodes from firmware's declaration alone (drivers/acpi/button.c)."""
    capture = look(built_tree(LARCH))
    assert at(capture, "acpi/_SB_.LID0/input", "input").functions == ("lid",)
    assert at(capture, "acpi/_SB_.LID0", "acpi").rung is Rung.ATTACHED


def test_a_path_below_the_embedded_controller(built_tree: _Tree) -> None:
    node = at(look(built_tree(HERON)), "acpi/_SB_.PCI0.LPCB.EC0_.BAT1", "acpi")
    assert (node.identity, node.rung) == ("PNP0C0A", Rung.WORKING)


@pytest.mark.parametrize(("status", "rung"), [(0, Rung.ABSENT), (8, Rung.ABSENT), (1, Rung.ATTACHED)])
def test_bit_zero_alone_says_that_a_part_is_fitted(built_tree: _Tree, status: int, rung: Rung) -> None:
    """Bit 0 clear with bit 3 set is legal: a valid object, no part (ACPI 6.0 section 6.3.7, from memory)."""
    capture = look(built_tree(HERON, Conditions(statuses={"touchscreen": status})))
    node = at(capture, "acpi/_SB_.PCI0.I2C1.TPL1", "acpi")
    assert (node.rung, node.facts["status"], node.kind) == (rung, status, Kind.DECLARED)


def test_compatible_ids_are_kept(built_tree: _Tree) -> None:
    node = at(look(built_tree(HERON)), "acpi/_SB_.PCI0.I2C0.TPD0", "acpi")
    assert (node.identity, node.facts["compatible_ids"]) == ("BRWL0001", "PNP0C50")


def test_an_object_that_is_not_declared_is_no_node(built_tree: _Tree) -> None:
    capture = look(built_tree(PLOVER, Conditions(missing=("battery",))))
    assert [node.location for node in capture.nodes if "battery" in node.functions] == []


def test_a_path_with_control_characters_stays_inside_its_field(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    (root / "sys/bus/acpi/devices/PNP0C0A:00/path").write_bytes(b"\\_SB_.B\n\x1b[31mAT\n")
    locations = [node.location for node in look(root).nodes if node.identity == "PNP0C0A"]
    assert len(locations) == 1
    assert locations[0].startswith("acpi/_SB_.B")
