"""Which nodes of a capture a profile should name.

The truth of the real trees stands in ``tests/data/trees/README.md``: what the
emulated laptop was built of, what was taken away, and which helpers were
plugged in. That of the invented laptops stands in ``tests/support/units.py``.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from conftest import BuiltTree, RealTree
from hypothesis import given, settings
from support.any_capture import captures
from support.looking import look
from support.more_buses import card, pci_function, serial_disk, soundwire_codec, typec_partner, typec_port
from support.sysfs import Conditions
from support.units import DOCK, FOREIGN_KEYBOARD, HERON, LARCH, MOUSE, PLOVER, RADIO_DONGLE, STICK

from usbwatch.capture import load
from usbwatch.compare import findings
from usbwatch.compare.scene import Placing, scene
from usbwatch.drafting import Census, census
from usbwatch.model import FUNCTIONS, Capture, Kind, Node, Profile, Rung
from usbwatch.profile import find, shipped

HUB = "pci0000:00/14.0/usb2/4"

REAL = {
    "acpi/_SB_.AC0_": "mains-adapter",
    "acpi/_SB_.BAT0": "battery",
    "acpi/_SB_.LID0": "lid",
    "acpi/_SB_.PWRB": "power-button",
    "pci0000:00/02.0": "graphics",
    "pci0000:00/06.0": "disk",
    "pci0000:00/14.0": "usb-controller",
    HUB: "hub",
    f"{HUB}.1": "keyboard",
    f"{HUB}.2": "touchpad",
    f"{HUB}.3": "fingerprint-reader",
    f"{HUB}.4": "smart-card-reader",
    "pci0000:00/14.0/usb2/5": "camera",
    "pci0000:00/14.0/usb2/6": "bluetooth",
    "pci0000:00/14.0/usb2/8": "storage",
    "pci0000:00/14.0/usb2/9": "audio",
    "pci0000:00/19.0": "ethernet",
    "pci0000:00/1b.0": "audio",
    "platform/i8042/aux": "pointing-device",
}
"""What the emulated laptop is built of, by place; its panel is the emulator's window, on no connector of a laptop."""

LOST = {
    "keyboard-missing": {f"{HUB}.1"},
    "keyboard-touchpad-missing": {f"{HUB}.1", f"{HUB}.2"},
    "battery-not-present": {"acpi/_SB_.BAT0"},
    "touchpad-enumeration-failure": {f"{HUB}.2"},
    "internal-hub-missing": {HUB, f"{HUB}.1", f"{HUB}.2", f"{HUB}.3", f"{HUB}.4"},
}
"""By snapshot: the places at which nothing stands that could be named."""


def functions(counted: Census) -> dict[str, str]:
    return {one.node.location: one.function for one in counted.residents}


@pytest.mark.parametrize("snapshot", ["healthy", "external-devices", "camera-full-speed", "battery-worn"])
def test_a_real_tree_holds_the_parts_that_the_laptop_is_built_of(real_tree: RealTree, snapshot: str) -> None:
    counted = census(look(real_tree(snapshot)))
    assert functions(counted) == REAL
    assert all(one.sure and one.evidence for one in counted.residents)


@pytest.mark.parametrize("snapshot", LOST)
def test_what_a_faulty_unit_lost_is_not_counted_in(real_tree: RealTree, snapshot: str) -> None:
    counted = functions(census(look(real_tree(snapshot))))
    assumed = {} if f"{HUB}.1" not in LOST[snapshot] else {"platform/i8042/kbd": "keyboard"}
    assert counted == {place: one for place, one in REAL.items() if place not in LOST[snapshot]} | assumed


@pytest.mark.parametrize("snapshot", LOST)
def test_firmware_still_names_what_a_faulty_unit_lost(real_tree: RealTree, snapshot: str) -> None:
    """The hub's own ports are gone with it, so of what hung on it nothing is named."""
    named = {one.where for one in census(look(real_tree(snapshot))).unfitted}
    assert named == {place for place in LOST[snapshot] if HUB not in LOST[snapshot] or place == HUB}


def test_helpers_in_the_sockets_of_a_real_tree_are_left_out(real_tree: RealTree) -> None:
    counted = census(look(real_tree("external-devices")))
    assert [one.node.location for one in counted.left_out if one.outside] == [
        "pci0000:00/14.0/usb2/1",
        "pci0000:00/14.0/usb2/2",
        "pci0000:00/14.0/usb3/3",
    ]


def test_a_ps2_keyboard_counts_only_where_no_other_is_inside(real_tree: RealTree, built_tree: BuiltTree) -> None:
    """drivers/input/keyboard/atkbd.c: on laptops the kernel assumes one without asking."""
    larch = census(look(real_tree("healthy")))
    assert "assumes" in next(one.reason for one in larch.left_out if one.node.location == "platform/i8042/kbd")
    heron = census(look(built_tree(HERON)))
    assert functions(heron)["platform/i8042/kbd"] == "keyboard"


LAPTOPS = {
    "fernhill-larch-13": (LARCH, set()),
    "brackwell-heron-14": (HERON, set()),
    "ostrey-plover-12": (PLOVER, {"acpi/_SB_.PCI0.I2C2.ALS0"}),
}
"""By profile: the laptop, and what of it the profile does not name."""


@pytest.mark.parametrize("profile", LAPTOPS)
def test_an_invented_laptop_holds_what_its_profile_expects(built_tree: BuiltTree, profile: str) -> None:
    """The profiles were written by hand, before there was a census."""
    laptop, beside = LAPTOPS[profile]
    capture = look(built_tree(laptop))
    expected = {one.id: one for one in find(profile).devices}
    found = {
        one.node.location: expected[one.device].function
        for one in findings(capture, find(profile)).findings
        if one.node is not None
    }
    counted = functions(census(capture))
    assert set(counted) == set(found) | beside
    assert {place: counted[place] for place in found} == found


def test_helpers_are_left_out_even_with_hubs_and_controllers_of_their_own(built_tree: BuiltTree) -> None:
    helpers = (FOREIGN_KEYBOARD, MOUSE, STICK, RADIO_DONGLE)
    bare = functions(census(look(built_tree(LARCH))))
    for helper in helpers:
        counted = census(look(built_tree(LARCH, Conditions(sockets=(helper,)))))
        assert functions(counted) == bare
        assert any(one.outside for one in counted.left_out)
    docked = census(look(built_tree(LARCH, Conditions(sockets=(DOCK, replace(MOUSE, port="1.2"))))))
    assert functions(docked) == bare


def test_where_firmware_says_nothing_of_ports_a_device_is_kept_and_doubted(built_tree: BuiltTree) -> None:
    counted = census(look(built_tree(LARCH, Conditions(unmapped_ports=True, sockets=(MOUSE,)))))
    doubted = {one.node.location for one in counted.residents if not one.sure}
    assert "pci0000:00/14.0/usb2/5" in doubted
    assert all("socket" in one.doubt for one in counted.residents if not one.sure)
    assert all(one.doubt == "" for one in counted.residents if one.sure)


def test_a_part_that_shows_on_several_buses_is_one(loose_tree: BuiltTree) -> None:
    """An eMMC behind its host, a SATA disk, a medium in a reader, a codec on a SoundWire link, a Type-C partner."""
    root = loose_tree(LARCH)
    before = functions(census(look(root)))
    card(root, "MMC", host=pci_function(root, "1a.0", "080501", "sdhci-pci"), number=0)
    card(root, "SD", host=pci_function(root, "1c.0", "080501", "sdhci-pci"), number=1)
    serial_disk(root, number=1, port=0, name="sdz")
    soundwire_codec(root, "Attached", driver="invented_codec")
    typec_partner(root, typec_port(root, 0))
    counted = census(look(root))
    assert {place: one for place, one in functions(counted).items() if place not in before} == {
        "pci0000:00/1a.0/mmc/card": "disk",
        "pci0000:00/1c.0": "card-reader",
        "pci0000:00/1f.0/ata0/block": "disk",
        "pci0000:00/1f.3": "audio",
        "pci0000:00/1f.3/soundwire/0/1209:0008": "audio",
    }
    assert {one.node.bus for one in counted.left_out if one.outside} == {"mmc", "typec"}


UPPER, LOWER = "pci0000:00/14.0/usb3/2", "pci0000:00/14.0/usb2/4"


def superspeed_hub(*beyond: Node) -> Capture:
    """A unit whose internal hub has two halves, joined by the ``location`` that firmware gives both ports.

    drivers/usb/core/port.c (``find_and_link_peer``).
    """
    host = Node(bus="pci", location="pci0000:00/14.0", kind=Kind.INFRASTRUCTURE, rung=Rung.WORKING)
    hub = Node(bus="usb", location=LOWER, kind=Kind.DEVICE, rung=Rung.WORKING, functions=("hub",))
    told = {"connect_type": "hardwired", "location": "0x80000040"}
    port = Node(bus="usb-port", location=LOWER, kind=Kind.PORT, rung=Rung.WORKING, facts={**told, "peer": UPPER})
    nodes = (
        replace(host, functions=("usb-controller",)),
        hub,
        replace(hub, location=UPPER),
        port,
        replace(port, location=UPPER, facts={**told, "peer": LOWER}),
        *beyond,
    )
    return replace(load(str(shipped("captures") / "larch-13-healthy.json")), nodes=nodes)


def test_the_two_halves_of_a_superspeed_hub_are_one_part_unless_both_carry_something() -> None:
    alone = census(superspeed_hub())
    assert functions(alone) == {"pci0000:00/14.0": "usb-controller", LOWER: "hub"}
    assert [one.node.location for one in alone.left_out] == [UPPER]
    camera = Node(bus="usb", location=f"{UPPER}.1", kind=Kind.DEVICE, rung=Rung.WORKING, functions=("camera",))
    both = census(superspeed_hub(replace(camera, facts={"removable": "fixed"})))
    assert set(functions(both)) == {"pci0000:00/14.0", LOWER, UPPER, f"{UPPER}.1"}


def test_what_nothing_tells_has_no_function(built_tree: BuiltTree) -> None:
    """A vendor's own USB class, no driver and no telling name: a word would be made up."""
    nameless = tuple(
        replace(part, product_name="LB-77") if part.id == "fingerprint-reader" else part for part in LARCH.usb
    )
    laptop = replace(LARCH, usb=nameless, dmi=LARCH.dmi | {"product_name": "Larch 13 N"})
    one = next(one for one in census(look(built_tree(laptop))).residents if one.node.location == f"{HUB}.3")
    assert one.function == ""
    assert "'LB-77'" in one.evidence


@pytest.mark.properties
@settings(deadline=None)
@given(capture=captures())
def test_whatever_a_capture_holds_each_place_is_counted_once(capture: Capture) -> None:
    counted = census(capture)
    seen = scene(capture, Profile(id="", name="", source=""))
    places = [one.node.location for one in counted.residents] + [one.node.location for one in counted.left_out]
    assert len(places) == len(set(places))
    for one in counted.residents:
        assert one.function in ("", *FUNCTIONS)
        assert one.node.rung is not Rung.ABSENT
        assert seen.placing(one.node) is not Placing.OUTSIDE
        assert one.sure is (seen.placing(one.node) is Placing.INSIDE)
    assert census(capture, declared=False).residents == counted.residents
