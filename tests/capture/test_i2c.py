"""I2C and SPI: a client is firmware's word until a driver and what hangs on it show that it answered."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from support.looking import at, coverage_of, look, shown
from support.sysfs import Conditions
from support.units import HERON, LARCH, PLOVER

from usbwatch.model import Kind, Rung

_Tree = Callable[..., Path]
_PAD = "acpi/_SB_.PCI0.I2C0.TPD0"
_SCREEN = "acpi/_SB_.PCI0.I2C1.TPL1"


def test_a_real_kernels_adapter(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    node = at(look(root), "pci0000:00/1f.3/i2c", "i2c")
    assert node.kind is Kind.INFRASTRUCTURE
    assert node.name == (root / "sys/bus/i2c/devices/i2c-0/name").read_text().strip() != ""


def test_a_touchpad_that_answers_works(built_tree: _Tree) -> None:
    capture = look(built_tree(HERON))
    node = at(capture, _PAD, "i2c")
    assert (node.kind, node.rung, node.driver) == (Kind.DEVICE, Rung.WORKING, "i2c_hid_acpi")
    assert (node.identity, node.functions) == ("BRWL0001", ("pointing-device", "touchpad"))
    assert shown(capture, f"{_PAD}/hid") == ["hid"]


def test_a_touchpad_that_does_not_answer_stays_declared(built_tree: _Tree) -> None:
    """Nothing at the address: the probe ends with ENXIO and no line in the log (drivers/hid/i2c-hid/i2c-hid-core.c)."""
    capture = look(built_tree(HERON, Conditions(missing=("touchpad",))))
    node = at(capture, _PAD, "i2c")
    assert (node.rung, node.driver, node.functions) == (Rung.ATTACHED, "", ())
    assert at(capture, _PAD, "acpi").facts["status"] == 15
    assert shown(capture, f"{_PAD}/hid") == []
    assert at(capture, _SCREEN, "i2c").rung is Rung.WORKING


def test_with_its_driver_not_loaded_the_coverage_says_so(built_tree: _Tree) -> None:
    capture = look(built_tree(HERON, Conditions(unloaded=("i2c_hid_acpi",))))
    assert at(capture, _PAD, "i2c").rung is Rung.ATTACHED
    assert "i2c_hid_acpi" not in coverage_of(capture, "i2c").drivers
    assert "i2c_hid_acpi" in coverage_of(look(built_tree(HERON)), "i2c").drivers


def test_a_part_that_firmware_says_is_not_fitted_gets_no_client(built_tree: _Tree) -> None:
    """drivers/i2c/i2c-core-acpi.c makes clients of present objects only."""
    capture = look(built_tree(HERON, Conditions(statuses={"touchscreen": 0})))
    assert shown(capture, _SCREEN) == ["acpi"]


def test_with_its_controller_undriven_only_firmwares_word_is_left(built_tree: _Tree) -> None:
    capture = look(built_tree(HERON, Conditions(undriven=("i2c-0",))))
    assert shown(capture, _PAD) == ["acpi"]
    assert shown(capture, _SCREEN) == ["acpi", "i2c"]


def test_adapters_and_clients_keep_their_places_whatever_their_numbers(built_tree: _Tree) -> None:
    first, second = (look(built_tree(HERON, Conditions(order=order))) for order in ((), ("i2c-1", "i2c-0")))
    for location in (_PAD, _SCREEN, "pci0000:00/15.0/i2c", "pci0000:00/15.1/i2c"):
        assert at(first, location, "i2c") == at(second, location, "i2c")


def test_a_client_that_firmware_does_not_name_is_placed_by_its_address(loose_tree: _Tree) -> None:
    root = loose_tree(HERON)
    client = root / "sys/devices/pci0000:00/0000:00:15.0/i2c-0/0-0036"
    client.mkdir()
    (client / "name").write_text("spd\n")
    (client / "subsystem").symlink_to("../../../../../bus/i2c")
    (root / "sys/bus/i2c/devices/0-0036").symlink_to("../../../devices/pci0000:00/0000:00:15.0/i2c-0/0-0036")
    node = at(look(root), "pci0000:00/15.0/i2c/36", "i2c")
    assert (node.identity, node.rung) == ("spd", Rung.ATTACHED)


def test_a_sensor_is_bound_and_no_more(built_tree: _Tree) -> None:
    node = at(look(built_tree(PLOVER)), "acpi/_SB_.PCI0.I2C2.ALS0", "i2c")
    assert (node.rung, node.driver, node.identity) == (Rung.BOUND, "ostrey_als", "OSTR0008")


def test_a_keyboard_on_spi_works(built_tree: _Tree) -> None:
    node = at(look(built_tree(PLOVER)), "acpi/_SB_.PCI0.SPI0.KBD0", "spi")
    assert (node.rung, node.functions, node.driver) == (Rung.WORKING, ("keyboard",), "ostrey_spi_hid")


def test_a_keyboard_base_that_is_off_leaves_its_spi_client_without_driver(built_tree: _Tree) -> None:
    capture = look(built_tree(PLOVER, Conditions(missing=("keyboard", "touchpad"))))
    assert at(capture, "acpi/_SB_.PCI0.SPI0.KBD0", "spi").rung is Rung.ATTACHED
    assert at(capture, "acpi/_SB_.PCI0.SPI1.TCH0", "spi").rung is Rung.WORKING


def test_a_unit_without_clients_has_an_empty_bus(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH))
    assert [coverage_of(capture, bus).state.value for bus in ("i2c", "spi")] == ["empty", "empty"]


def test_a_spi_controller_is_there_before_anything_on_it(built_tree: _Tree) -> None:
    capture = look(built_tree(PLOVER))
    controllers = [node for node in capture.nodes if node.bus == "spi" and node.kind is Kind.INFRASTRUCTURE]
    assert [node.location for node in controllers] == ["pci0000:00/1e.2/spi", "pci0000:00/1e.3/spi"]
