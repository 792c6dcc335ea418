"""A whole look: what could be seen, and what stays the same from boot to boot."""

from __future__ import annotations

import gc
import subprocess
import sys
import textwrap
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from support.looking import XHCI, at, coverage_of, look
from support.sysfs import Conditions
from support.tree.parts import Laptop
from support.units import FOREIGN_KEYBOARD, HERON, LARCH, MOUSE, PLOVER, STICK

from usbwatch.capture import CopiedTree, LiveTree, take
from usbwatch.capture.look import BUSES
from usbwatch.model import FUNCTIONS, Capture, CoverageState, Kind, Rung, is_location

_Tree = Callable[..., Path]
_UNITS = [pytest.param(unit, id=unit.dmi["product_name"]) for unit in (LARCH, HERON, PLOVER)]


# --- The same unit, met in another order ---------------------------------------

_HELPERS = (MOUSE, FOREIGN_KEYBOARD, STICK)

_OTHER_ORDERS = {
    "USB buses registered in another order": Conditions(bus_numbers={"xhci": (2, 1), "typec-controller": (4, 3)}),
    "USB bus numbers far apart": Conditions(bus_numbers={"xhci": (7, 12), "typec-controller": (1, 3)}),
    "devices met in another order": Conditions(
        order=("headset-audio", "bluetooth", "touchpad", "rear-camera", "fingerprint-reader", "card-reader")
    ),
    "drivers of PCI parts in another order": Conditions(
        order=("audio", "ethernet", "i2c-1", "spi-1", "wlan", "xhci", "disk", "graphics"), first_pci_bus=4
    ),
}


@pytest.mark.parametrize("unit", _UNITS)
@pytest.mark.parametrize("conditions", _OTHER_ORDERS.values(), ids=_OTHER_ORDERS)
def test_a_unit_shows_the_same_whatever_the_order(built_tree: _Tree, unit: Laptop, conditions: Conditions) -> None:
    first, second = look(built_tree(unit)), look(built_tree(unit, conditions))
    assert second.nodes == first.nodes
    assert second.coverage[:-1] == first.coverage[:-1]


def test_helpers_plugged_before_or_after_the_boot_change_nothing_of_the_unit(built_tree: _Tree) -> None:
    before = Conditions(sockets=_HELPERS, order=("helper-stick", "helper-keyboard", "helper-mouse"))
    first, second = look(built_tree(LARCH, Conditions(sockets=_HELPERS))), look(built_tree(LARCH, before))
    assert second.nodes == first.nodes


def test_a_unit_with_helpers_is_the_unit_and_the_helpers(built_tree: _Tree) -> None:
    alone = {(node.bus, node.location): node for node in look(built_tree(LARCH)).nodes}
    helped = {(node.bus, node.location): node for node in look(built_tree(LARCH, Conditions(sockets=_HELPERS))).nodes}
    sockets = tuple(f"{XHCI}/{root}/{port}" for root in ("usb2", "usb3") for port in (1, 2, 3))
    assert all(location.startswith(sockets) for _, location in helped.keys() - alone.keys())
    changed = {key for key in alone if helped[key] != alone[key]}
    assert changed == {("usb-port", f"{XHCI}/{place}") for place in ("usb2/1", "usb2/2", "usb3/3")}


def test_two_real_boots_of_one_unit_differ_only_where_the_unit_does(real_tree: _Tree) -> None:
    healthy, slow = look(real_tree("healthy")), look(real_tree("camera-full-speed"))
    assert {node.location for node in healthy.nodes} == {node.location for node in slow.nodes}
    differing = [(one.location, one.bus) for one, other in zip(healthy.nodes, slow.nodes, strict=True) if one != other]
    assert (f"{XHCI}/usb2/5", "usb") in differing
    assert all(location.startswith((f"{XHCI}/usb2/5", "acpi/")) for location, _ in differing)


# --- What a capture leaves behind ----------------------------------------------------


@pytest.mark.parametrize("searching", [True, False])
def test_a_capture_makes_no_cycles_and_leaves_the_search_for_them_as_it_was(real_tree: _Tree, searching: bool) -> None:
    root = real_tree("healthy")
    before = gc.isenabled()
    gc.collect()
    (gc.enable if searching else gc.disable)()
    try:
        capture = look(root)
        assert gc.isenabled() is searching
        gc.disable()
        assert gc.collect() == 0
        assert capture.nodes
    finally:
        (gc.enable if before else gc.disable)()


# --- Coverage --------------------------------------------------------------------


def test_every_bus_is_accounted_for_once(built_tree: _Tree) -> None:
    told = [coverage.bus for coverage in look(built_tree(LARCH)).coverage]
    assert told == ["dmi", *(bus for bus, _, _ in BUSES), "log", "modules"]


def test_what_is_there_is_ok_and_what_is_empty_is_empty(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH))
    states = {coverage.bus: coverage.state for coverage in capture.coverage}
    empty = {bus for bus, state in states.items() if state is CoverageState.EMPTY}
    smaller = {"backlight", "hwmon", "iio", "mmc", "soundwire", "thermal", "thunderbolt", "typec"}
    assert empty == {"serio", "i2c", "spi"} | smaller
    assert set(states.values()) == {CoverageState.OK, CoverageState.EMPTY}


@pytest.mark.parametrize(("bus", "folder"), [(bus, folder) for bus, folder, _ in BUSES], ids=[bus for bus, *_ in BUSES])
def test_a_bus_that_was_not_copied_is_not_there(built_tree: _Tree, bus: str, folder: str) -> None:
    capture = look(built_tree(LARCH, Conditions(unrecorded=(folder,))))
    coverage = coverage_of(capture, bus)
    assert (coverage.state, coverage.nodes, coverage.root_would_help) == (CoverageState.NOT_THERE, 0, False)
    assert "the copied tree" in coverage.why
    others = {other.bus for other in capture.coverage if other.state is CoverageState.NOT_THERE}
    assert others == {bus}


def test_a_live_kernel_without_a_bus_is_named_as_such() -> None:
    coverage = take(LiveTree(), taken_at="").coverage
    missing = [
        one for one in coverage if one.state is CoverageState.NOT_THERE and one.bus not in {"log", "dmi", "modules"}
    ]
    assert all("this kernel has no" in one.why for one in missing)
    assert {one.bus for one in coverage} == {"dmi", *(bus for bus, _, _ in BUSES), "log", "modules"}


_AS_NOBODY = textwrap.dedent("""
    import os, sys
    from pathlib import Path
    from support.looking import look
    if os.geteuid() == 0:
        os.setegid(65534), os.seteuid(65534)
    for coverage in look(Path(sys.argv[1])).coverage:
        print(coverage.bus, coverage.state.value, coverage.nodes, coverage.unread, coverage.root_would_help, sep="|")
""")


def _as_nobody(root: Path) -> dict[str, tuple[str, ...]]:
    """Coverage by bus, told by a process without privilege; only pytest's own folders are opened for it."""
    for folder in root.parents:
        if any("pytest-" in name for name in folder.parts):
            folder.chmod(folder.stat().st_mode | 0o055)
    done = subprocess.run(
        [sys.executable, "-c", _AS_NOBODY, str(root)],
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": ":".join(filter(None, sys.path)), "PATH": ""},
    )
    assert done.returncode == 0, done.stderr
    return {bus: tuple(rest) for bus, *rest in (line.split("|") for line in done.stdout.splitlines())}


def test_a_folder_that_may_not_be_read_is_not_permitted(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    (root / "sys/bus/usb/devices").chmod(0)
    (root / "sys/class/power_supply").chmod(0)
    told = _as_nobody(root)
    assert told["usb"][:2] == told["power_supply"][:2] == ("not permitted", "0")
    assert told["pci"][:2] == ("ok", "7")


def test_files_that_may_not_be_read_are_counted(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    for name in ("product", "manufacturer", "serial"):
        (root / f"sys/bus/usb/devices/1-5/{name}").chmod(0)
    (root / "sys/class/dmi/id/product_serial").chmod(0)
    told = _as_nobody(root)
    assert (told["usb"][0], told["usb"][2], told["usb"][3]) == ("ok", "3", "True")
    assert told["dmi"] == ("ok", "10", "1", "True")


def test_entries_that_are_no_links_are_a_broken_copy_and_not_an_empty_bus(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    for entry in (root / "sys/bus/usb/devices").iterdir():
        entry.unlink()
        entry.mkdir()
        (entry / "idVendor").write_text("1209\n")
    coverage = coverage_of(look(root), "usb")
    assert (coverage.state, coverage.nodes) == (CoverageState.FAILED, 0)


def test_links_whose_devices_were_not_copied_are_a_broken_copy(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    (root / "sys/devices/pci0000:00").rename(root / "sys/devices-left-behind")
    capture = look(root)
    assert coverage_of(capture, "usb").state is CoverageState.FAILED
    assert coverage_of(capture, "pci").state is CoverageState.FAILED
    assert coverage_of(capture, "acpi").state is CoverageState.OK


def test_a_bus_that_stops_reading_has_failed(built_tree: _Tree) -> None:
    class Broken(CopiedTree):
        def list(self, path: str) -> tuple[str, ...]:
            if path == "sys/bus/usb/devices":
                raise OSError(5, "Input/output error")
            return super().list(path)

    coverage = coverage_of(take(Broken(str(built_tree(LARCH))), taken_at=""), "usb")
    assert (coverage.state, coverage.why) == (
        CoverageState.FAILED,
        "reading sys/bus/usb/devices failed with EIO",
    )


@pytest.mark.parametrize(
    ("log", "state"),
    [
        (None, CoverageState.NOT_THERE),
        ("", CoverageState.FAILED),
        ("[    0.000000] Linux version 6.1.0\n", CoverageState.OK),
        ("x\n", CoverageState.FAILED),
        ("[   99.000000] usb 1-5: attempt power cycle\n", CoverageState.FAILED),
    ],
    ids=["none", "empty", "whole", "no log", "boot lines lost"],
)
def test_the_log_is_covered_like_a_bus(built_tree: _Tree, log: str | None, state: CoverageState) -> None:
    capture = take(CopiedTree(str(built_tree(LARCH))), taken_at="", log=log)
    assert coverage_of(capture, "log").state is state


# --- What holds of every capture --------------------------------------------------

_ALL = ["healthy", "external-devices", "battery-not-present", "touchpad-enumeration-failure"]


def _holds(capture: Capture) -> None:
    keys = [(node.location, node.bus) for node in capture.nodes]
    assert keys == sorted(keys)
    assert len(set(keys)) == len(keys)
    for node in capture.nodes:
        assert is_location(node.location), node
        assert set(node.functions) <= set(FUNCTIONS)
        assert list(node.functions) == sorted(node.functions)
        assert node.kind is not Kind.PORT or node.bus in {"usb-port", "drm"}
    counted = {coverage.bus: coverage.nodes for coverage in capture.coverage}
    for bus, _, _ in BUSES:
        there = sum(node.bus in ({"usb", "usb-port"} if bus == "usb" else {bus}) for node in capture.nodes)
        assert counted[bus] == there, bus


@pytest.mark.parametrize("archive", _ALL)
def test_every_real_capture_is_in_order(real_tree: _Tree, archive: str) -> None:
    _holds(look(real_tree(archive)))


@pytest.mark.parametrize("unit", _UNITS)
def test_every_built_capture_is_in_order(built_tree: _Tree, unit: Laptop) -> None:
    _holds(look(built_tree(unit)))


@pytest.mark.parametrize("unit", _UNITS)
def test_no_number_that_changes_between_boots_is_in_a_place(built_tree: _Tree, unit: Laptop) -> None:
    conditions = Conditions(bus_numbers={"xhci": (77, 78), "typec-controller": (87, 88)})
    for node in look(built_tree(unit, conditions)).nodes:
        assert not any(number in node.location for number in ("77", "78", "87", "88")), node


def test_a_sign_of_life_lifts_its_device_and_no_other(built_tree: _Tree) -> None:
    """The touchpad's input node proves touchpad, hub and controller; a port proves nothing about what is in it."""
    capture = look(built_tree(LARCH, Conditions(missing=("keyboard", "fingerprint-reader", "smart-card-reader"))))
    assert at(capture, f"{XHCI}/usb2/4.2", "usb").rung is Rung.WORKING
    assert at(capture, f"{XHCI}/usb2/4", "usb").rung is Rung.WORKING
    assert at(capture, f"{XHCI}/usb2/4", "usb").functions == ("hub",)
    assert at(capture, XHCI, "pci").functions == ("usb-controller",)


def test_a_hub_at_work_without_children_works(built_tree: _Tree) -> None:
    gone = ("keyboard", "touchpad", "fingerprint-reader", "smart-card-reader")
    capture = look(built_tree(LARCH, Conditions(missing=gone)))
    assert at(capture, f"{XHCI}/usb2/4", "usb").rung is Rung.WORKING


def test_taking_twice_gives_the_same(built_tree: _Tree) -> None:
    root = built_tree(PLOVER)
    assert look(root) == look(root)
    assert replace(look(root), taken_at="2026-01-01T00:00:00Z") == look(root, taken_at="2026-01-01T00:00:00Z")
