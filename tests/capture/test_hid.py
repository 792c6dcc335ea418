"""HID devices and input nodes of a real kernel and of invented units."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import XHCI, at, coverage_of, look
from support.sysfs import Conditions
from support.units import HERON, LARCH, PLOVER

from usbwatch.capture.functions import of_input
from usbwatch.model import Kind, Rung

_Tree = Callable[..., Path]
_USB2 = f"{XHCI}/usb2"


@pytest.mark.parametrize(
    ("location", "identity", "functions", "driver"),
    [
        (f"{_USB2}/4.1/if0/hid", "1209:0001", ("keyboard",), "hid-generic"),
        (f"{_USB2}/4.2/if0/hid", "1209:0002", ("pointing-device", "touchpad"), "hid-multitouch"),
    ],
)
def test_a_real_kernels_hid_devices(
    real_tree: _Tree, location: str, identity: str, functions: tuple[str, ...], driver: str
) -> None:
    node = at(look(real_tree("healthy")), location, "hid")
    assert (node.identity, node.functions, node.driver) == (identity, functions, driver)
    assert (node.kind, node.rung, node.facts["bus_type"]) == (Kind.FUNCTION, Rung.BOUND, "0003")


def test_the_report_descriptor_is_kept_beside_what_was_read_from_it(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    bytes_there = (root / "sys/bus/hid/devices/0003:1209:0001.0001/report_descriptor").read_bytes()
    assert at(look(root), f"{_USB2}/4.1/if0/hid", "hid").raw == {"report_descriptor": bytes_there.hex()}


@pytest.mark.parametrize(
    ("location", "functions", "bus_type"),
    [
        (f"{_USB2}/4.1/if0/hid/input", ("keyboard",), "0003"),
        (f"{_USB2}/4.2/if0/hid/input", ("pointing-device", "touchpad"), "0003"),
        ("platform/i8042/kbd/input", ("keyboard",), "0011"),
        ("platform/i8042/aux/input", ("mouse", "pointing-device"), "0011"),
        ("acpi/_SB_.LID0/input", ("lid",), "0019"),
        ("acpi/_SB_.PWRB/input", ("power-button",), "0019"),
        ("platform/pcspkr/input", (), "0010"),
    ],
)
def test_a_real_kernels_input_nodes(real_tree: _Tree, location: str, functions: tuple[str, ...], bus_type: str) -> None:
    node = at(look(real_tree("healthy")), location, "input")
    assert (node.functions, node.facts["bustype"]) == (functions, bus_type)
    assert (node.kind, node.rung) == (Kind.FUNCTION, Rung.WORKING)


def test_a_real_kernel_has_eight_input_nodes(real_tree: _Tree) -> None:
    assert coverage_of(look(real_tree("healthy")), "input").nodes == 8


@pytest.mark.parametrize(
    ("location", "functions", "bus_type"),
    [
        ("acpi/_SB_.PCI0.SPI0.KBD0/hid", ("keyboard",), "001c"),
        ("acpi/_SB_.PCI0.SPI1.TCH0/hid", ("touchscreen",), "001c"),
        (f"{_USB2}/3/if0/hid", ("pointing-device", "touchpad"), "0003"),
    ],
)
def test_a_units_hid_devices_hang_on_the_bus_that_carries_them(
    built_tree: _Tree, location: str, functions: tuple[str, ...], bus_type: str
) -> None:
    node = at(look(built_tree(PLOVER)), location, "hid")
    assert (node.functions, node.facts["bus_type"]) == (functions, bus_type)


def test_an_input_node_made_by_a_program_is_not_hardware(loose_tree: _Tree) -> None:
    root = loose_tree(HERON)
    made_up = root / "sys/devices/virtual/input/input99"
    made_up.mkdir(parents=True)
    (made_up / "name").write_text("screen recorder\n")
    (root / "sys/class/input/input99").symlink_to("../../devices/virtual/input/input99")
    assert "screen recorder" not in [node.name for node in look(root).nodes]


def test_a_hid_device_that_no_driver_holds_is_identified(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    (root / "sys/bus/hid/devices/0003:1209:0001.0001/driver").unlink()
    node = at(look(root), f"{_USB2}/4.1/if0/hid", "hid")
    assert (node.rung, node.driver) == (Rung.IDENTIFIED, "")


def test_without_hid_devices_the_bus_is_empty_and_not_missing(built_tree: _Tree) -> None:
    coverage = coverage_of(look(built_tree(LARCH, Conditions(missing=("keyboard", "touchpad")))), "hid")
    assert (coverage.state.value, coverage.nodes) == ("empty", 0)
    assert "hid-generic" in coverage.drivers


# --- Bitmaps: include/uapi/linux/input-event-codes.h ---------------------------

_KEYBOARD = {"ev": "120013", "key": "e080ffdf01cfffff fffffffffffffffe"}


@pytest.mark.parametrize(
    ("capabilities", "functions"),
    [
        (_KEYBOARD, ("keyboard",)),
        ({"ev": "3", "key": "10000000000000 0"}, ("power-button",)),
        ({"ev": "21", "sw": "1"}, ("lid",)),
        ({"ev": "21", "sw": "2"}, ()),
        ({"ev": "17", "key": "70000 0 0 0 0", "rel": "3"}, ("mouse", "pointing-device")),
        ({"ev": "7", "key": "70000 0 0 0 0", "properties": "21"}, ("pointing-device", "pointing-stick")),
        ({"ev": "b", "key": "e520 10000 0 0 0 0", "properties": "5"}, ("pointing-device", "touchpad")),
        ({"ev": "b", "key": "400 0 0 0 0 0", "properties": "2"}, ("touchscreen",)),
        ({"ev": "b", "key": "1c01 0 0 0 0 0", "properties": "2"}, ("pen",)),
        ({"ev": "3", "key": "8000000000 0"}, ()),
        ({"ev": "zz", "key": "not hex"}, ()),
        ({}, ()),
    ],
    ids=[
        "keyboard",
        "power key alone",
        "lid switch",
        "tablet switch",
        "mouse",
        "stick",
        "touchpad",
        "touch screen",
        "pen",
        "media key",
        "no hex",
        "nothing",
    ],
)
def test_functions_from_bitmaps(capabilities: dict[str, str], functions: tuple[str, ...]) -> None:
    assert of_input(capabilities) == functions
