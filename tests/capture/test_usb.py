"""The USB reader, on a real kernel's trees and on invented units.

Expected values were read by hand out of the real trees (``cat`` of the same
files); the emulator's own parts are told by function and place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from support.looking import XHCI, at, coverage_of, look
from support.sysfs import Conditions
from support.units import DOCK, FOREIGN_KEYBOARD, LARCH, MOUSE, STICK

from usbwatch.model import Capture, Kind, Rung

_Tree = Callable[..., Path]
_USB2, _USB3 = f"{XHCI}/usb2", f"{XHCI}/usb3"


def _devices(capture: Capture) -> set[str]:
    return {node.location for node in capture.nodes if node.bus == "usb" and node.kind is Kind.DEVICE}


_OURS = [
    # port, identity, functions, driver, rung, kbit/s, name
    ("4.1", "1209:0001", ("keyboard",), "usbhid", Rung.WORKING, 12_000, "Larch Internal Keyboard"),
    ("4.2", "1209:0002", ("pointing-device", "touchpad"), "usbhid", Rung.WORKING, 12_000, "Larch Touchpad"),
    ("4.3", "1209:0005", (), "", Rung.CONFIGURED, 12_000, "Larch Fingerprint Reader"),
    ("5", "1209:0003", ("camera",), "uvcvideo", Rung.WORKING, 480_000, "Larch 720p Camera"),
    ("6", "1209:0004", ("bluetooth",), "btusb", Rung.WORKING, 12_000, "Larch Bluetooth Radio"),
]


@pytest.mark.parametrize(("port", "identity", "functions", "driver", "rung", "speed", "name"), _OURS)
def test_a_real_kernels_devices_are_read_as_they_stand(  # noqa: PLR0917 - one row of the table
    real_tree: _Tree,
    port: str,
    identity: str,
    functions: tuple[str, ...],
    driver: str,
    rung: Rung,
    speed: int,
    name: str,
) -> None:
    node = at(look(real_tree("healthy")), f"{_USB2}/{port}", "usb")
    assert (node.identity, node.functions, node.driver, node.rung) == (identity, functions, driver, rung)
    assert (node.facts["speed_kbps"], node.name, node.kind) == (speed, name, Kind.DEVICE)


@pytest.mark.parametrize(
    ("port", "functions", "driver", "rung"),
    [
        ("4", ("hub",), "hub", Rung.WORKING),
        ("4.4", ("smart-card-reader",), "", Rung.CONFIGURED),
        ("8", ("storage",), "usb-storage", Rung.WORKING),
        ("9", ("audio",), "snd-usb-audio", Rung.WORKING),
    ],
)
def test_a_real_kernels_other_devices_are_told_by_function(
    real_tree: _Tree, port: str, functions: tuple[str, ...], driver: str, rung: Rung
) -> None:
    node = at(look(real_tree("healthy")), f"{_USB2}/{port}", "usb")
    assert (node.functions, node.driver, node.rung) == (functions, driver, rung)


def test_these_and_no_others_are_on_a_healthy_units_bus(real_tree: _Tree) -> None:
    capture = look(real_tree("healthy"))
    assert _devices(capture) == {f"{_USB2}/{port}" for port in ("4", "4.1", "4.2", "4.3", "4.4", "5", "6", "8", "9")}
    roots = [node for node in capture.nodes if node.bus == "usb" and node.kind is Kind.INFRASTRUCTURE]
    assert [(node.location, node.identity, node.facts["maxchild"]) for node in roots] == [
        (_USB2, "1d6b:0002", 10),
        (_USB3, "1d6b:0003", 3),
    ]


@pytest.mark.parametrize(
    ("interface", "triple", "driver", "rung"),
    [
        ("4.1/if0", "03/01/01", "usbhid", Rung.BOUND),
        ("4.2/if0", "03/00/00", "usbhid", Rung.BOUND),
        ("4.3/if0", "ff/00/00", "", Rung.CONFIGURED),
        ("5/if0", "0e/01/00", "uvcvideo", Rung.BOUND),
        ("5/if1", "0e/02/00", "uvcvideo", Rung.BOUND),
        ("8/if0", "08/06/50", "usb-storage", Rung.BOUND),
        ("if0", "09/00/00", "hub", Rung.BOUND),
    ],
)
def test_interfaces_of_a_real_kernel(real_tree: _Tree, interface: str, triple: str, driver: str, rung: Rung) -> None:
    node = at(look(real_tree("healthy")), f"{_USB2}/{interface}", "usb")
    assert (node.kind, node.identity, node.driver, node.rung) == (Kind.INTERFACE, triple, driver, rung)


_PORTS = [
    ("usb2/1", "hotplug", Rung.ABSENT, "usb3/1"),
    ("usb3/1", "hotplug", Rung.ABSENT, "usb2/1"),
    ("usb2/4", "hardwired", Rung.IDENTIFIED, None),
    ("usb2/4.1", "hardwired", Rung.IDENTIFIED, None),
    ("usb2/7", "not used", Rung.ABSENT, None),
    ("usb2/10", "not used", Rung.ABSENT, None),
]


@pytest.mark.parametrize(("port", "connect_type", "rung", "peer"), _PORTS, ids=[row[0] for row in _PORTS])
def test_ports_of_a_real_kernel(real_tree: _Tree, port: str, connect_type: str, rung: Rung, peer: str | None) -> None:
    node = at(look(real_tree("healthy")), f"{XHCI}/{port}", "usb-port")
    assert (node.kind, node.facts["connect_type"], node.rung) == (Kind.PORT, connect_type, rung)
    assert node.facts.get("peer") == (f"{XHCI}/{peer}" if peer else None)


def test_a_real_unit_has_seventeen_ports(real_tree: _Tree) -> None:
    capture = look(real_tree("healthy"))
    assert sum(node.bus == "usb-port" for node in capture.nodes) == 10 + 4 + 3


@pytest.mark.parametrize(
    ("archive", "gone"), [("keyboard-missing", ["4.1"]), ("keyboard-touchpad-missing", ["4.1", "4.2"])]
)
def test_a_part_that_does_not_attach_leaves_its_port_and_nothing_else(
    real_tree: _Tree, archive: str, gone: list[str]
) -> None:
    capture = look(real_tree(archive))
    healthy = _devices(look(real_tree("healthy")))
    assert _devices(capture) == healthy - {f"{_USB2}/{port}" for port in gone}
    for port in gone:
        node = at(capture, f"{_USB2}/{port}", "usb-port")
        assert (node.rung, node.facts["connect_type"]) == (Rung.ABSENT, "hardwired")


def test_a_camera_that_came_up_slowly_says_so(real_tree: _Tree) -> None:
    node = at(look(real_tree("camera-full-speed")), f"{_USB2}/5", "usb")
    assert (node.facts["speed_kbps"], node.facts["version"], node.rung) == (12_000, "2.00", Rung.WORKING)


def test_helpers_in_a_real_units_sockets(real_tree: _Tree) -> None:
    capture = look(real_tree("external-devices"))
    mouse, stick = at(capture, f"{_USB2}/1", "usb"), at(capture, f"{_USB3}/3", "usb")
    assert (mouse.identity, mouse.functions, mouse.facts["removable"], mouse.facts["speed_kbps"]) == (
        "1209:0008",
        ("mouse", "pointing-device"),
        "removable",
        1_500,
    )
    assert (stick.functions, stick.facts["removable"], stick.facts["speed_kbps"]) == (
        ("storage",),
        "removable",
        5_000_000,
    )
    assert at(capture, f"{_USB2}/3", "usb-port").rung is Rung.ABSENT


def test_a_real_kernels_usb_bus_is_covered(real_tree: _Tree) -> None:
    coverage = coverage_of(look(real_tree("healthy")), "usb")
    assert (coverage.state.value, coverage.unread) == ("ok", 0)
    assert {"hub", "usbhid", "uvcvideo", "btusb"} <= set(coverage.drivers)


@pytest.mark.parametrize("archive", ["healthy", "external-devices"])
def test_no_real_descriptors_are_called_damaged(real_tree: _Tree, archive: str) -> None:
    damaged = [node.location for node in look(real_tree(archive)).nodes if "descriptor_defects" in node.facts]
    assert damaged == []


# --- Invented units: what a real tree at hand does not show --------------------


def test_two_ports_of_one_connector_name_each_other_and_only_one_is_taken(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH, Conditions(sockets=(STICK,))))
    fast, high = at(capture, f"{_USB3}/3", "usb-port"), at(capture, f"{_USB2}/3", "usb-port")
    assert (fast.facts["peer"], high.facts["peer"]) == (f"{_USB2}/3", f"{_USB3}/3")
    assert (fast.rung, high.rung) == (Rung.IDENTIFIED, Rung.ABSENT)


def test_an_external_twin_stands_in_its_socket_and_not_in_the_place_of_the_lost_one(built_tree: _Tree) -> None:
    """A keyboard with the internal one's vendor and product id, on a cable, while the internal one is dead."""
    capture = look(built_tree(LARCH, Conditions(missing=("keyboard",), sockets=(FOREIGN_KEYBOARD,))))
    twins = [node.location for node in capture.nodes if node.bus == "usb" and node.identity == "1209:0001"]
    assert twins == [f"{_USB2}/2"]
    assert at(capture, f"{_USB2}/2", "usb-port").facts["connect_type"] == "hotplug"
    assert at(capture, f"{_USB2}/2", "usb").facts["removable"] == "removable"
    assert at(capture, f"{_USB2}/4.1", "usb-port").rung is Rung.ABSENT


def test_what_hangs_on_a_dock_hangs_on_the_socket(built_tree: _Tree) -> None:
    behind = replace(FOREIGN_KEYBOARD, port="1.3")
    capture = look(built_tree(LARCH, Conditions(sockets=(DOCK, behind))))
    assert at(capture, f"{_USB2}/1.3", "usb").functions == ("keyboard",)
    assert at(capture, f"{_USB2}/1.3", "usb-port").facts["connect_type"] == "unknown"
    assert at(capture, f"{_USB2}/1", "usb").functions == ("hub",)


def test_a_lost_hub_takes_its_children_and_their_ports(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH, Conditions(missing=("hub",))))
    assert not [node.location for node in capture.nodes if node.location.startswith(f"{_USB2}/4.")]
    assert at(capture, f"{_USB2}/4", "usb-port").rung is Rung.ABSENT


@pytest.mark.parametrize("conditions", [Conditions(missing=("xhci",)), Conditions(undriven=("xhci",))])
def test_without_its_controller_nothing_of_usb_is_there(built_tree: _Tree, conditions: Conditions) -> None:
    capture = look(built_tree(LARCH, conditions))
    assert not [node for node in capture.nodes if node.bus in {"usb", "usb-port"}]
    assert coverage_of(capture, "usb").state.value == "empty"


_STATES = [
    (Conditions(kernel="6.12.0"), Rung.CONFIGURED),
    (Conditions(kernel="6.12.0", missing=("touchpad",)), Rung.ABSENT),
    (Conditions(kernel="6.12.0", failing={"touchpad": ("device", -71)}), Rung.ATTACHED),
    (Conditions(kernel="6.12.0", unconfigured={"touchpad": -32}), Rung.IDENTIFIED),
]


@pytest.mark.parametrize(("conditions", "rung"), _STATES, ids=["there", "missing", "failing", "unconfigured"])
def test_a_newer_kernels_port_tells_how_far_the_device_got(
    built_tree: _Tree, conditions: Conditions, rung: Rung
) -> None:
    """Kernel 6.6 and later have the port's ``state``; its words are those of USB 2.0 table 9-1."""
    assert at(look(built_tree(LARCH, conditions)), f"{_USB2}/4.2", "usb-port").rung is rung


def test_a_device_that_took_no_configuration_is_identified_and_no_more(built_tree: _Tree) -> None:
    node = at(look(built_tree(LARCH, Conditions(unconfigured={"camera": -32}))), f"{_USB2}/5", "usb")
    assert (node.rung, node.identity, node.driver) == (Rung.IDENTIFIED, "1209:0003", "")
    assert "bConfigurationValue" not in node.facts


def test_a_device_that_policy_keeps_out_is_told_from_a_broken_one(built_tree: _Tree) -> None:
    node = at(look(built_tree(LARCH, Conditions(unauthorised=("camera",)))), f"{_USB2}/5", "usb")
    assert (node.rung, node.facts["authorized"]) == (Rung.IDENTIFIED, 0)


def test_a_device_without_driver_is_configured(built_tree: _Tree) -> None:
    node = at(look(built_tree(LARCH, Conditions(undriven=("camera",)))), f"{_USB2}/5", "usb")
    assert (node.rung, node.driver, node.functions) == (Rung.CONFIGURED, "", ("camera",))


def test_a_keyboard_whose_report_cannot_be_read_is_told_by_its_class_alone(built_tree: _Tree) -> None:
    node = at(look(built_tree(LARCH, Conditions(silent_reports=("keyboard",)))), f"{_USB2}/4.1", "usb")
    assert (node.rung, node.driver, node.functions) == (Rung.CONFIGURED, "", ("keyboard",))


def test_over_current_is_counted_by_port(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH, Conditions(over_current={"2": 3})))
    assert at(capture, f"{_USB2}/2", "usb-port").facts["over_current_count"] == 3
    assert at(capture, f"{_USB2}/1", "usb-port").facts["over_current_count"] == 0


def test_where_firmware_says_nothing_of_ports_nothing_is_made_up(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH, Conditions(unmapped_ports=True, sockets=(MOUSE,))))
    types = {node.facts["connect_type"] for node in capture.nodes if node.bus == "usb-port"}
    assert types == {"unknown"}
    assert at(capture, f"{_USB2}/1", "usb").facts["removable"] == "unknown"


_ODD = [
    ("speed", b"9" * 400, "speed_kbps"),
    ("speed", "\u00b2".encode(), "speed_kbps"),
    ("speed", b"unknown\n", "speed_kbps"),
    ("bMaxPower", "\u00b2mA".encode(), "max_power_ma"),
    ("bMaxPower", b"-5mA\n", "max_power_ma"),
    ("bNumInterfaces", b"9" * 5000, "bNumInterfaces"),
    ("bNumInterfaces", b"two\n", "bNumInterfaces"),
]


@pytest.mark.parametrize(("attribute", "content", "fact"), _ODD)
def test_an_attribute_that_is_no_number_is_left_out(
    loose_tree: _Tree, attribute: str, content: bytes, fact: str
) -> None:
    root = loose_tree(LARCH)
    camera = root / "sys/bus/usb/devices/1-5"
    (camera / attribute).write_bytes(content)
    node = at(look(root), f"{_USB2}/5", "usb")
    assert fact not in node.facts
    assert node.identity == "1209:0003"


def test_damaged_descriptors_are_told_with_their_place(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    (root / "sys/bus/usb/devices/1-5/descriptors").write_bytes(b"\x12\x01\x00\x02\xef\x02\x01@\x09\x12\x03\x00\x00")
    node = at(look(root), f"{_USB2}/5", "usb")
    assert node.facts["descriptor_defects"] == 1
    assert str(node.facts["first_descriptor_defect"]).startswith("offset 0: ")
