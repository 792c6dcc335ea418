"""Signs of life lift their device; nodes in one place are told apart by content."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.any_capture import captures

from usbwatch.capture.assemble import assembled
from usbwatch.model import Capture, Kind, Node, Rung


def _node(bus: str, location: str, kind: Kind, rung: Rung, *functions: str, name: str = "") -> Node:
    return Node(bus=bus, location=location, kind=kind, rung=rung, functions=functions, name=name)


_USB = "pci0000:00/14.0/usb2/4.1"
_KEYBOARD = _node("usb", _USB, Kind.DEVICE, Rung.BOUND)
_HID = _node("hid", f"{_USB}/if0/hid", Kind.FUNCTION, Rung.BOUND, "keyboard")
_INPUT = _node("input", f"{_USB}/if0/hid/input", Kind.FUNCTION, Rung.WORKING, "keyboard")
_BATTERY = _node("acpi", "acpi/_SB_.BAT0", Kind.DEVICE, Rung.ATTACHED, "battery")
_SUPPLY = "acpi/_SB_.BAT0/power_supply"
_LID = _node("acpi", "acpi/_SB_.LID0", Kind.DEVICE, Rung.ATTACHED, "lid")
_CLIENT = _node("i2c", "acpi/_SB_.PCI0.I2C0.TPD0", Kind.DEVICE, Rung.BOUND)

_LIFTS: dict[str, tuple[Node, Node, Rung, tuple[str, ...]]] = {
    "an input node proves a keyboard": (_KEYBOARD, _INPUT, Rung.WORKING, ("keyboard",)),
    "a HID device that a driver holds proves no more than that": (_KEYBOARD, _HID, Rung.BOUND, ("keyboard",)),
    "a gauge that talks proves a battery": (
        _BATTERY,
        _node("power_supply", _SUPPLY, Kind.FUNCTION, Rung.WORKING, "battery"),
        Rung.WORKING,
        ("battery",),
    ),
    "a gauge that is mute does not": (
        _BATTERY,
        _node("power_supply", _SUPPLY, Kind.FUNCTION, Rung.ATTACHED, "battery"),
        Rung.ATTACHED,
        ("battery",),
    ),
    "an input node does not prove a lid switch": (
        _LID,
        _node("input", "acpi/_SB_.LID0/input", Kind.FUNCTION, Rung.WORKING, "lid"),
        Rung.ATTACHED,
        ("lid",),
    ),
    "a touchpad on I2C is proved by its input node": (
        _CLIENT,
        _node("input", f"{_CLIENT.location}/hid/input", Kind.FUNCTION, Rung.WORKING, "pointing-device", "touchpad"),
        Rung.WORKING,
        ("pointing-device", "touchpad"),
    ),
    "a radio switch proves nothing": (
        _KEYBOARD,
        _node("rfkill", f"{_USB}/rfkill", Kind.FUNCTION, Rung.BOUND, "wlan"),
        Rung.BOUND,
        (),
    ),
    "a neighbour proves nothing": (
        _KEYBOARD,
        _node("input", "pci0000:00/14.0/usb2/4.11/input", Kind.FUNCTION, Rung.WORKING, "mouse"),
        Rung.BOUND,
        (),
    ),
    "an interface proves nothing": (
        _KEYBOARD,
        _node("usb", f"{_USB}/if0", Kind.INTERFACE, Rung.BOUND, "keyboard"),
        Rung.BOUND,
        (),
    ),
}


@pytest.mark.parametrize(("device", "sign", "rung", "functions"), _LIFTS.values(), ids=_LIFTS)
def test_what_a_sign_of_life_proves(device: Node, sign: Node, rung: Rung, functions: tuple[str, ...]) -> None:
    (lifted,) = (node for node in assembled([device, sign]) if node.location == device.location)
    assert (lifted.rung, lifted.functions) == (rung, functions)


def test_a_port_proves_its_hub_and_not_what_is_in_it() -> None:
    hub = _node("usb", "pci0000:00/14.0/usb2/4", Kind.DEVICE, Rung.BOUND, "hub")
    port = _node("usb-port", _USB, Kind.PORT, Rung.IDENTIFIED)
    by_bus = {(node.location, node.bus): node for node in assembled([hub, _KEYBOARD, port])}
    assert by_bus[hub.location, "usb"].rung is Rung.WORKING
    assert by_bus[_USB, "usb"].rung is Rung.BOUND


def test_a_controller_is_lifted_and_keeps_its_own_functions() -> None:
    controller = _node("pci", "pci0000:00/14.0", Kind.INFRASTRUCTURE, Rung.BOUND, "usb-controller")
    root = _node("usb", "pci0000:00/14.0/usb2", Kind.INFRASTRUCTURE, Rung.BOUND, "hub")
    lifted = next(node for node in assembled([controller, root]) if node.bus == "pci")
    assert (lifted.rung, lifted.functions) == (Rung.WORKING, ("usb-controller",))


def test_nodes_in_one_place_are_numbered_by_content() -> None:
    place = f"{_USB}/if0/hid/input"
    keys, media = (
        _node("input", place, Kind.FUNCTION, Rung.WORKING, name=name) for name in ("Keyboard", "Keyboard Media Keys")
    )
    expected = [(place, "Keyboard"), (f"{place}#2", "Keyboard Media Keys")]
    for order in ([keys, media], [media, keys]):
        assert [(node.location, node.name) for node in assembled(order)] == expected


def test_a_number_that_a_device_chose_for_itself_makes_no_double() -> None:
    nodes = [_node("drm", place, Kind.PORT, Rung.ABSENT, name=place) for place in ("x/eDP-1", "x/eDP-1", "x/eDP-1#2")]
    assert len({(node.location, node.bus) for node in assembled(nodes)}) == 3


@pytest.mark.properties
class TestAnyNodes:
    """Each node comes out once, in a place of its own, whatever the order in which the kernel listed them."""

    @given(captures(), st.randoms(use_true_random=False))
    def test_order_does_not_matter(self, capture: Capture, chance: random.Random) -> None:
        nodes = [*capture.nodes, *capture.nodes[:1]]
        turned = list(nodes)
        chance.shuffle(turned)
        made = assembled(nodes)
        assert assembled(turned) == made
        assert len(made) == len(nodes)
        assert len({(node.location, node.bus) for node in made}) == len(nodes)
        assert [(node.location, node.bus) for node in made] == sorted((node.location, node.bus) for node in made)
