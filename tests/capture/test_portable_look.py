"""A capture through libusb and psutil: the quirks of other systems, played by a backend that may only be listed."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
from support.fake_libusb import HIGH, SUPER, FakeLibusb, Part, TouchedError, part, root_hub
from support.listed_units import MACOS_ROOT, WINDOWS_ROOT, captured_on, larch
from support.looking import at, coverage_of
from usb.core import NoBackendError, USBError

from usbwatch.capture.document import to_json
from usbwatch.capture.look import BUSES
from usbwatch.capture.portable.charge import BATTERY, MAINS
from usbwatch.capture.portable.look import take_portable
from usbwatch.capture.portable.words import NOT_OBSERVABLE
from usbwatch.capture.saved import parse
from usbwatch.model import Capture, CoverageState, Kind, Node, Rung, System

LARCH_CHAINS = {"4", "4.1", "4.2", "4.3", "4.4", "5", "6", "8", "9"}


def places(capture: Capture, kind: Kind = Kind.DEVICE) -> set[str]:
    return {node.location for node in capture.nodes if node.bus == "usb" and node.kind is kind}


SYSTEMS = {
    "macOS, root hub made up": ("darwin", larch(root=MACOS_ROOT)),
    "macOS, no root hub in the list": ("darwin", larch()),
    "macOS, another controller's number": ("darwin", larch(bus=0x02)),
    "Windows, one root hub for both generations": ("win32", larch(bus=2, root=WINDOWS_ROOT)),
}


@pytest.mark.parametrize(("platform", "parts"), SYSTEMS.values(), ids=SYSTEMS.keys())
def test_a_location_is_the_port_chain_whatever_the_bus_is_called(platform: str, parts: tuple[Part, ...]) -> None:
    capture = captured_on(platform, parts)
    assert places(capture) == {f"usb2/{chain}" for chain in LARCH_CHAINS}
    assert places(capture, Kind.INFRASTRUCTURE) == {"usb2"}
    keyboard = at(capture, "usb2/4.1", "usb")
    assert (keyboard.identity, keyboard.functions, keyboard.rung) == ("1209:0001", ("keyboard",), Rung.CONFIGURED)
    assert (keyboard.facts["speed_kbps"], keyboard.facts["max_power_ma"]) == (12_000, 100)
    assert at(capture, "usb2/4.1/if0", "usb").identity == "03/01/01"


def test_the_bytes_are_those_of_the_device() -> None:
    """Device, configuration, interface, HID and endpoint descriptor, in their order."""
    one = part("1209:0001", port=1, bus=1, address=1)
    assert (
        at(captured_on("darwin", [one]), "usb2/1", "usb").raw["descriptors"]
        == (one.device + one.configurations[0]).hex()
    )
    assert len(one.configurations[0]) == 9 + 9 + 9 + 7


def test_the_order_of_the_list_is_nothing() -> None:
    parts = larch(root=MACOS_ROOT)
    one, other = (to_json(captured_on("darwin", order)) for order in (parts, parts[::-1]))
    assert one == other


def test_a_port_that_is_not_told_is_no_root_hub_and_no_port_of_another() -> None:
    """libusb's own chain of what hangs on it would be ``1``, which is another place."""
    root = root_hub(bus=1)
    hub = part("1209:0009", port=0, bus=1, address=2, parent=root, triple=(9, 0, 0), speed=HIGH)
    behind = part("1209:0001", port=1, bus=1, address=3, parent=hub)
    first = part("1209:0003", port=1, bus=1, address=4, parent=root)
    capture = captured_on("darwin", [root, hub, behind, first])
    assert places(capture) == {"usb2/0", "usb2/0.1", "usb2/1"}
    assert at(capture, "usb2/1", "usb").identity == "1209:0003"


def test_a_parent_that_is_not_told_leaves_libusbs_own_chain() -> None:
    class Orphans(FakeLibusb):
        def get_parent(self, dev: Part) -> Part | None:  # noqa: ARG002 - the interface's own
            return None

    hub = part("1209:0009", port=4, bus=1, address=2, triple=(9, 0, 0), speed=HIGH)
    keyboard = part("1209:0001", port=1, bus=1, address=3, parent=hub)
    made = take_portable(taken_at="", platform="darwin", backend=Orphans([hub, keyboard]), battery=lambda: None)
    assert places(made) == {"usb2/4", "usb2/4.1"}


def test_superspeed_ports_are_numbered_for_themselves() -> None:
    """Windows: one root hub, whose SuperSpeed ports follow on its USB 2 ports."""
    root = WINDOWS_ROOT
    stick = part("1209:0007", port=17, bus=2, address=5, parent=root, triple=(8, 6, 80), speed=SUPER, release=0x0310)
    mouse = part("1209:0008", port=1, bus=2, address=6, parent=root, triple=(3, 1, 2))
    capture = captured_on("win32", [root, stick, mouse])
    assert places(capture) == {"usb3/17", "usb2/1"}
    assert places(capture, Kind.INFRASTRUCTURE) == {"usb2", "usb3"}
    assert at(capture, "usb3/17", "usb").facts["max_power_ma"] == 400  # bMaxPower 50, in 8 mA at SuperSpeed


@pytest.mark.parametrize(("release", "place"), [(0x0210, "usb2/3"), (0x0310, "usb3/3")])
def test_where_no_speed_is_told_the_release_tells_the_generation(release: int, place: str) -> None:
    capture = captured_on("win32", [part("1209:0007", port=3, bus=1, address=2, speed=0, release=release)])
    assert places(capture) == {place}
    assert "speed_kbps" not in at(capture, place, "usb").facts


def test_two_controllers_are_not_told_apart_and_nothing_is_lost() -> None:
    parts = [
        *(root_hub(bus=bus) for bus in (1, 2)),
        part("1209:0001", port=1, bus=1, address=2),
        part("1209:0002", port=1, bus=2, address=2),
    ]
    capture = captured_on("darwin", parts)
    assert places(capture) == {"usb2/1", "usb2/1#2"}
    assert {node.identity for node in capture.nodes if node.kind is Kind.DEVICE} == {"1209:0001", "1209:0002"}
    assert places(capture, Kind.INFRASTRUCTURE) == {"usb2", "usb2#2"}


CONFIGURATIONS = {
    "one in use": (1, True, Rung.CONFIGURED, 1),
    "none in use": (0, True, Rung.IDENTIFIED, 0),
    "not told": (1, False, Rung.IDENTIFIED, None),
}


@pytest.mark.parametrize(("active", "told", "rung", "fact"), CONFIGURATIONS.values(), ids=CONFIGURATIONS.keys())
def test_the_active_configuration_comes_from_libusbs_cache(
    active: int, told: bool, rung: Rung, fact: int | None
) -> None:
    backend = FakeLibusb([replace(part("1209:0001", port=1, bus=1, address=2), active=active)], tells_active=told)
    made = take_portable(taken_at="", platform="win32", backend=backend, battery=lambda: None)
    node = at(made, "usb2/1", "usb")
    assert (node.rung, node.facts.get("bConfigurationValue")) == (rung, fact)
    if told:
        assert backend.lib.held == []  # what libusb lent was given back


def test_a_configuration_that_libusb_does_not_give_is_told() -> None:
    """LIBUSB_ERROR_NOT_FOUND: the device is in the list all the same."""
    whole = part("1209:0001", port=1, bus=1, address=2)
    node = at(captured_on("win32", [replace(whole, configurations=())]), "usb2/1", "usb")
    assert (node.identity, node.facts["configurations_unread"]) == ("1209:0001", 1)
    assert node.raw["descriptors"] == whole.device.hex()


def test_an_entry_that_cannot_be_read_makes_the_list_no_proof() -> None:
    broken = replace(part("1209:0002", port=2, bus=1, address=3), broken=True)
    capture = captured_on("win32", [part("1209:0001", port=1, bus=1, address=2), broken])
    usb = coverage_of(capture, "usb")
    assert (usb.state, usb.unread, usb.why) == (CoverageState.FAILED, 1, "1 listed devices could not be read")
    assert places(capture) == {"usb2/1"}


FAILURES = {
    "no access": (USBError("Access denied (insufficient permissions)", -3, 13), "Access denied"),
    "not supported": (
        NotImplementedError("Operation not supported or unimplemented on this platform"),
        "not supported",
    ),
    "no backend": (NoBackendError("No backend available"), "No backend available"),
}


@pytest.mark.parametrize(("error", "said"), FAILURES.values(), ids=FAILURES.keys())
def test_a_list_that_cannot_be_had_is_a_failed_look(error: Exception, said: str) -> None:
    made = take_portable(taken_at="", platform="darwin", backend=FakeLibusb([], fails=error), battery=lambda: None)
    usb = coverage_of(made, "usb")
    assert usb.state is CoverageState.FAILED
    assert said in usb.why


def test_an_empty_list_says_nothing() -> None:
    assert coverage_of(captured_on("darwin", []), "usb").state is CoverageState.FAILED


def test_every_other_bus_is_not_observable() -> None:
    capture = captured_on("darwin", larch())
    assert [one.bus for one in capture.coverage] == ["dmi", *(bus for bus, _, _ in BUSES), "log"]
    blind = [one for one in capture.coverage if one.bus not in ("usb", "power_supply")]
    assert {(one.state, one.why) for one in blind} == {(CoverageState.NOT_THERE, NOT_OBSERVABLE)}
    assert {node.bus for node in capture.nodes} == {"usb"}


def test_the_system_says_how_it_looked() -> None:
    for platform, word in (("darwin", "macos"), ("win32", "windows"), ("freebsd14", "freebsd14")):
        system = captured_on(platform, larch()).system
        assert (system.platform, system.source) == (word, "libusb")
    assert isinstance(system, System)


def test_the_file_reads_back() -> None:
    capture = captured_on("win32", larch(), SimpleNamespace(percent=62, power_plugged=True))
    assert parse(to_json(capture).encode(), "memory") == capture


# psutil's documentation of sensors_battery; 255: Windows' SYSTEM_POWER_STATUS for "not known" (from memory).
CHARGES = {
    "62 %, unplugged": (62.9, False, 62, Rung.BOUND, False),
    "full, plugged": (100, True, 100, Rung.BOUND, True),
    "0 %, as a silent gauge reads": (0.0, True, 0, Rung.ATTACHED, True),
    "not known": (255, None, None, Rung.ATTACHED, False),
    "nonsense": ("much", None, None, Rung.ATTACHED, False),
}


@pytest.mark.parametrize(("percent", "plugged", "shown", "rung", "mains"), CHARGES.values(), ids=CHARGES.keys())
def test_the_charge_is_all_that_is_told_of_a_battery(
    percent: object, plugged: bool | None, shown: int | None, rung: Rung, mains: bool
) -> None:
    capture = captured_on("darwin", larch(), SimpleNamespace(percent=percent, power_plugged=plugged))
    battery = at(capture, BATTERY, "power_supply")
    assert (battery.facts.get("capacity"), battery.rung, battery.functions) == (shown, rung, ("battery",))
    assert any(node.location == MAINS for node in capture.nodes) is mains
    assert coverage_of(capture, "power_supply").why == "charge only: no health, no cycles, no voltage"


def test_no_battery_is_the_systems_opinion() -> None:
    state = coverage_of(captured_on("win32", larch()), "power_supply")
    assert (state.state, state.why) == (CoverageState.EMPTY, "this system says that there is no battery")


def test_a_battery_call_that_fails_ends_nothing() -> None:
    def broken() -> object:
        raise PermissionError

    made = take_portable(taken_at="", platform="darwin", backend=FakeLibusb(larch()), battery=broken)
    assert coverage_of(made, "power_supply").state is CoverageState.FAILED
    assert len(made.nodes) > 10


@pytest.mark.parametrize(
    "name", ["open_device", "set_configuration", "claim_interface", "ctrl_transfer", "reset_device"]
)
def test_the_played_backend_would_notice_a_touch(name: str) -> None:
    """So that the tests above cannot pass by not noticing."""
    backend = FakeLibusb(larch())
    with pytest.raises(TouchedError):
        getattr(backend, name)(backend.parts[0])
    with pytest.raises(TouchedError):
        backend.lib.libusb_open(1)


def test_pyusbs_own_strings_would_be_a_touch() -> None:
    import usb.core

    devices = list(usb.core.find(find_all=True, backend=FakeLibusb(larch())))
    assert len(devices) == len(LARCH_CHAINS)
    with pytest.raises(TouchedError):
        _ = devices[0].product


def test_a_descriptor_that_lies_breaks_nothing() -> None:
    lying = part("1209:0001", port=1, bus=1, address=2)
    configuration = bytearray(lying.configurations[0])
    configuration[2:4] = b"\xff\xff"
    node: Node = at(captured_on("darwin", [replace(lying, configurations=(bytes(configuration),))]), "usb2/1", "usb")
    assert "wTotalLength" in str(node.facts["first_descriptor_defect"])
