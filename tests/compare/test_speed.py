"""USB devices that work and run too slow, on invented units: USB 2 instead of SuperSpeed.

The units are built as a kernel would show them: a device that fell back sits
on the USB 2 root hub and gives a BOS with a SuperSpeed capability (USB 3.2
section 9.6.2.2, from memory; layout ``usb_ss_cap_descriptor`` in ch9.h).
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from conftest import BuiltTree
from support.looking import at, look
from support.sysfs import Conditions
from support.tree.parts import Laptop, UsbPort
from support.units import LARCH, MOUSE, STICK

from usbwatch.compare import findings
from usbwatch.model import Capture, Finding, Node, Profile, Rung, Symptom, Verdict
from usbwatch.profile import find

LARCH_PROFILE = find("fernhill-larch-13")
XHCI = "pci0000:00/14.0"
HIGH, FAST = f"{XHCI}/usb2/7", f"{XHCI}/usb3/7"

BOS = bytes.fromhex("05 0f 16 00 02 07 10 02 02 00 00 00 0a 10 03 00 0e 00 01 0a ff 07")
"""A USB 2.0 extension and a SuperSpeed capability: full speed, high speed, 5 Gbit/s."""

READER = replace(STICK, id="fast-reader", port="7", product=0x000C, bos=BOS)


def with_fast_reader(connect_type: str = "hardwired", twin_type: str = "") -> Laptop:
    """A Larch whose card reader is a SuperSpeed part, on a connector of its own: port 7 on both root hubs."""
    xhci = next(pci for pci in LARCH.pci if pci.id == "xhci")
    ports = [port for port in xhci.usb2_ports if port.number != 7]
    ports.append(UsbPort(number=7, connect_type=connect_type, super_speed=None if twin_type == "none" else 7))
    fast = replace(xhci, usb2_ports=tuple(sorted(ports, key=lambda port: port.number)), usb3_ports=7)
    return replace(
        LARCH,
        dmi={**LARCH.dmi, "product_name": f"Larch 13 fast {connect_type} {twin_type}"},
        pci=tuple(fast if pci.id == "xhci" else pci for pci in LARCH.pci),
        usb=(*(part for part in LARCH.usb if part.id != "card-reader"), READER),
    )


def profile(*places: str, speed_mbps: int | None = None, identities: tuple[str, ...] = ("1209:000c",)) -> Profile:
    """The Larch's profile with the card reader at these places."""
    devices = tuple(
        replace(device, locations=places, identities=identities, speed_mbps=speed_mbps)
        if device.id == "card-reader"
        else device
        for device in LARCH_PROFILE.devices
    )
    return replace(LARCH_PROFILE, devices=devices)


def reader(capture: Capture, expected: Profile) -> Finding:
    return findings(capture, expected).of("card-reader")


SLOW = Conditions(kernel="6.12.0", slow={"fast-reader": 480})


def test_a_part_that_runs_at_superspeed_is_present(built_tree: BuiltTree) -> None:
    finding = reader(look(built_tree(with_fast_reader(), Conditions(kernel="6.12.0"))), profile(FAST))
    assert (finding.verdict, finding.symptom) == (Verdict.PRESENT, Symptom.WORKING)


@pytest.mark.parametrize("connect_type", ["hardwired", "hotplug"])
@pytest.mark.parametrize("identities", [("1209:000c",), ()], ids=["by identity", "by function"])
def test_a_part_expected_at_superspeed_is_found_on_the_usb_2_port_of_its_connector(
    built_tree: BuiltTree, connect_type: str, identities: tuple[str, ...]
) -> None:
    capture = look(built_tree(with_fast_reader(connect_type), SLOW))
    found = findings(capture, profile(FAST, identities=identities))
    finding = found.of("card-reader")
    assert (finding.verdict, finding.symptom) == (Verdict.IMPAIRED, Symptom.DEGRADED)
    assert finding.node == at(capture, HIGH, "usb")
    assert finding.reasons[0] == (
        f"fell back to USB 2 (480 Mbit/s): expected at {FAST}, it shows at {HIGH}, the same connector"
    )
    assert (found.external, found.unexpected, found.unplaced) == ((), (), ())


def test_another_part_on_that_port_does_not_stand_for_it(built_tree: BuiltTree) -> None:
    capture = look(built_tree(with_fast_reader(), SLOW))
    finding = reader(capture, profile(FAST, identities=("1209:000e",)))
    assert (finding.verdict, finding.node) == (Verdict.MISSING, None)


@pytest.mark.parametrize("speed_mbps", [None, 5000])
def test_a_part_that_can_do_more_than_its_connector_gives_fell_back(
    built_tree: BuiltTree, speed_mbps: int | None
) -> None:
    """The profile names both ports of the connector, and may or may not say how fast a healthy one is."""
    finding = reader(look(built_tree(with_fast_reader(), SLOW)), profile(FAST, HIGH, speed_mbps=speed_mbps))
    assert (finding.verdict, finding.symptom) == (Verdict.IMPAIRED, Symptom.DEGRADED)
    assert finding.reasons[0] == "fell back to 480 Mbit/s: it can do 5000 Mbit/s, and its connector has SuperSpeed"


def test_a_kernel_without_bos_does_not_show_what_the_part_can_do(built_tree: BuiltTree) -> None:
    capture = look(built_tree(with_fast_reader(), replace(SLOW, kernel="6.1.0")))
    assert "can_speed_kbps" not in at(capture, HIGH, "usb").facts
    assert reader(capture, profile(FAST, HIGH)).verdict is Verdict.PRESENT
    assert reader(capture, profile(FAST, HIGH, speed_mbps=5000)).symptom is Symptom.DEGRADED


def changed(capture: Capture, place: str, facts: dict[str, str]) -> Capture:
    """The capture with other facts of one port."""

    def other(node: Node) -> Node:
        fits = (node.bus, node.location) == ("usb-port", place)
        return replace(node, facts={**node.facts, **facts}) if fits else node

    return replace(capture, nodes=tuple(other(node) for node in capture.nodes))


UNSURE = {
    "firmware says that the SuperSpeed lines are not used": (FAST, {"connect_type": "not used"}),
    "the pair is the kernel's guess by number": (HIGH, {"location": "0x00000000"}),
    "the port has no twin": (HIGH, {"peer": ""}),
    "the twin was not captured": (HIGH, {"peer": f"{XHCI}/usb3/99"}),
}


@pytest.mark.parametrize(("location", "facts"), UNSURE.values(), ids=UNSURE.keys())
def test_nothing_fell_back_where_the_connector_is_not_known_to_have_superspeed(
    built_tree: BuiltTree, location: str, facts: dict[str, str]
) -> None:
    sure = look(built_tree(with_fast_reader(), SLOW))
    assert reader(sure, profile(FAST, HIGH)).verdict is Verdict.IMPAIRED
    assert reader(changed(sure, location, facts), profile(FAST, HIGH)).verdict is Verdict.PRESENT


HEALTHY_HERE = {
    "the profile has a healthy one no faster": profile(FAST, HIGH, speed_mbps=480),
    "the profile has it at the USB 2 port alone": profile(HIGH),
}


@pytest.mark.parametrize("expected", HEALTHY_HERE.values(), ids=HEALTHY_HERE)
def test_a_part_that_is_wired_to_usb_2_on_every_unit_has_not_fallen_back(
    built_tree: BuiltTree, expected: Profile
) -> None:
    finding = reader(look(built_tree(with_fast_reader(), SLOW)), expected)
    assert (finding.verdict, finding.symptom) == (Verdict.PRESENT, Symptom.WORKING)


def test_a_part_that_gave_no_identity_on_the_usb_2_port_has_failed_rather_than_fallen_back(
    built_tree: BuiltTree,
) -> None:
    capture = look(built_tree(with_fast_reader(), SLOW))
    nodes = tuple(
        replace(node, rung=Rung.ADDRESSED) if (node.bus, node.location) == ("usb", HIGH) else node
        for node in capture.nodes
    )
    finding = reader(replace(capture, nodes=nodes), profile(FAST))
    assert (finding.verdict, finding.symptom) == (Verdict.IMPAIRED, Symptom.FAILED)


def test_a_hub_whose_superspeed_half_works_has_not_fallen_back(built_tree: BuiltTree) -> None:
    """A USB 3 hub shows on both ports (USB 3.2 section 10.1, from memory): its USB 2 half is where it should be."""
    capture = look(built_tree(with_fast_reader(), SLOW))
    taken = tuple(
        replace(node, rung=at(capture, HIGH, "usb-port").rung)
        if (node.bus, node.location) == ("usb-port", FAST)
        else node
        for node in capture.nodes
    )
    assert reader(replace(capture, nodes=taken), profile(FAST, HIGH)).verdict is Verdict.PRESENT


def test_a_usb_2_part_at_a_superspeed_connector_is_as_fast_as_it_can_be(built_tree: BuiltTree) -> None:
    plain = replace(MOUSE, id="plain", port="1")
    capture = look(built_tree(LARCH, Conditions(kernel="6.12.0", sockets=(plain,))))
    assert "can_speed_kbps" not in at(capture, f"{XHCI}/usb2/1", "usb").facts
