"""Whether software can explain what became of a device, and that it is then held against no part.

Kernel parameters: Documentation/admin-guide/kernel-parameters.txt. Blacklists:
modprobe.d(5). Radio switches: Documentation/ABI/stable/sysfs-class-rfkill.
ACPI status: Documentation/ABI/testing/sysfs-bus-acpi, bits of ACPI 6.5 section
6.3.7. Port words: Documentation/ABI/testing/sysfs-bus-usb.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import pytest
from conftest import BuiltTree
from support.looking import look
from support.sysfs import HEALTHY, Conditions
from support.units import HERON, LARCH

from usbwatch.compare import findings
from usbwatch.localise import suspects
from usbwatch.model import Blacklisted, Capture, Finding, Kind, Node, Rung, Software, Symptom, Verdict
from usbwatch.profile import find, known

LARCH_PROFILE = find("fernhill-larch-13")
USB2 = "pci0000:00/14.0/usb2"
CAMERA = f"{USB2}/5/if0"
ALL_SEEN = Software(seen=("command line", "driver list", "loaded modules", "modprobe.d"))
BLACKLIST = (Blacklisted(module="uvcvideo", where="/etc/modprobe.d/bench.conf"),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    conditions: Conditions
    device: str
    software: Software = ALL_SEEN
    expected: tuple[Verdict, Symptom]
    told: str
    """What the finding says of software; "" for nothing."""
    change: Callable[[Node], Node] = field(default=lambda node: node)


UNDRIVEN = (Verdict.IMPAIRED, Symptom.UNDRIVEN)
UNSEEN = (Verdict.UNSEEN, Symptom.UNSEEN)
ABSENT = (Verdict.MISSING, Symptom.ABSENT)
NO_CAMERA_DRIVER = Conditions(undriven=("camera",))


def having(**facts: int | str) -> Callable[[Node], Node]:
    """Facts put upon the nodes whose bus and place are given as ``at``."""
    bus, place = str(facts.pop("at")).split(" ")

    def change(node: Node) -> Node:
        return replace(node, facts={**node.facts, **facts}) if (node.bus, node.location) == (bus, place) else node

    return change


CASES = {
    "this kernel has no driver": Case(
        conditions=NO_CAMERA_DRIVER,
        device="camera",
        software=replace(ALL_SEEN, drivers_for={CAMERA: ()}),
        expected=UNDRIVEN,
        told="this kernel has no driver for it",
    ),
    "its driver is blacklisted": Case(
        conditions=NO_CAMERA_DRIVER,
        device="camera",
        software=replace(ALL_SEEN, drivers_for={CAMERA: ("uvcvideo",)}, blacklisted=BLACKLIST),
        expected=UNDRIVEN,
        told="its driver uvcvideo is blacklisted (/etc/modprobe.d/bench.conf)",
    ),
    "its driver is not loaded": Case(
        conditions=NO_CAMERA_DRIVER,
        device="camera",
        software=replace(ALL_SEEN, drivers_for={CAMERA: ("uvcvideo",)}),
        expected=UNDRIVEN,
        told="its driver uvcvideo is there, and not loaded",
    ),
    "no module may be loaded": Case(
        conditions=NO_CAMERA_DRIVER,
        device="camera",
        software=replace(ALL_SEEN, drivers_for={CAMERA: ("uvcvideo",)}, switches=("nomodule",)),
        expected=UNDRIVEN,
        told="its driver uvcvideo is there, and not loaded: the kernel was started with nomodule",
    ),
    "its driver leaves it alone, whatever a blacklist says": Case(
        conditions=NO_CAMERA_DRIVER,
        device="camera",
        software=replace(ALL_SEEN, drivers_for={CAMERA: ("uvcvideo",)}, blacklisted=BLACKLIST, loaded=("uvcvideo",)),
        expected=UNDRIVEN,
        told="its driver uvcvideo is loaded and does not hold it",
    ),
    "nobody saw which drivers there are": Case(
        conditions=NO_CAMERA_DRIVER,
        device="camera",
        software=Software(),
        expected=UNDRIVEN,
        told="whether this kernel has a driver for it was not seen",
    ),
    "not authorised": Case(
        conditions=Conditions(unauthorised=("camera",)),
        device="camera",
        software=replace(ALL_SEEN, switches=("usbcore.authorized_default=0",)),
        expected=UNDRIVEN,
        told="this system does not authorise it (usbcore.authorized_default=0)",
    ),
    "one of its interfaces not authorised": Case(
        conditions=NO_CAMERA_DRIVER,
        device="camera",
        expected=UNDRIVEN,
        told="this system does not authorise it",
        change=having(at=f"usb {CAMERA}", authorized=0),
    ),
    "a radio blocked by software": Case(
        conditions=HEALTHY,
        device="bluetooth",
        expected=UNDRIVEN,
        told="software blocks the radio",
        change=having(at=f"rfkill {USB2}/6/if0/bluetooth/rfkill", soft=1),
    ),
    "an empty port": Case(conditions=Conditions(missing=("keyboard",)), device="keyboard", expected=ABSENT, told=""),
    "an empty port beside a blacklist": Case(
        conditions=Conditions(missing=("camera",)),
        device="camera",
        software=replace(ALL_SEEN, blacklisted=BLACKLIST),
        expected=ABSENT,
        told="",
    ),
    "a camera at a port that firmware calls not used": Case(
        conditions=Conditions(missing=("camera",)),
        device="camera",
        expected=ABSENT,
        told="firmware declares its port as not used: it can be switched off in firmware set-up, look there",
        change=having(at=f"usb-port {USB2}/5", connect_type="not used"),
    ),
    "a keyboard at a port that firmware calls not used": Case(
        conditions=Conditions(missing=("keyboard",)),
        device="keyboard",
        expected=ABSENT,
        told="",
        change=having(at=f"usb-port {USB2}/4.1", connect_type="not used"),
    ),
    "the controller has a driver that is not loaded": Case(
        conditions=Conditions(undriven=("xhci",)),
        device="usb-controller",
        software=replace(ALL_SEEN, drivers_for={"pci0000:00/14.0": ("xhci_pci",)}),
        expected=UNDRIVEN,
        told="its driver xhci_pci is there, and not loaded",
    ),
    "a silent gauge": Case(
        conditions=Conditions(battery="silent"),
        device="battery",
        expected=(Verdict.IMPAIRED, Symptom.MUTE),
        told="",
    ),
    "no driver for the battery": Case(
        conditions=Conditions(unloaded=("battery",)),
        device="battery",
        software=replace(ALL_SEEN, drivers_for={"acpi/_SB_.BAT0": ("battery",)}),
        expected=UNSEEN,
        told="its driver battery is there, and not loaded",
    ),
    "a failed enumeration": Case(
        conditions=Conditions(failing={"touchpad": ("device", -71)}, kernel="6.12.0"),
        device="touchpad",
        software=replace(ALL_SEEN, switches=("nomodeset",)),
        expected=(Verdict.IMPAIRED, Symptom.FAILED),
        told="",
    ),
}


def found(built_tree: BuiltTree, case: Case) -> Finding:
    capture = look(built_tree(LARCH, case.conditions))
    nodes = tuple(case.change(node) for node in capture.nodes)
    return findings(replace(capture, nodes=nodes, software=case.software), LARCH_PROFILE).of(case.device)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_what_is_said_of_software(built_tree: BuiltTree, case: Case) -> None:
    finding = found(built_tree, case)
    assert ((finding.verdict, finding.symptom), finding.software) == (case.expected, case.told)


def test_what_works_needs_no_explanation(built_tree: BuiltTree) -> None:
    given = replace(ALL_SEEN, switches=("i8042.noaux", "nousb"), blacklisted=BLACKLIST)
    capture = replace(look(built_tree(LARCH)), software=given)
    assert {finding.software for finding in findings(capture, LARCH_PROFILE).findings} == {""}


def test_a_blacklisted_driver_points_to_software_and_to_no_part(built_tree: BuiltTree) -> None:
    case = CASES["its driver is blacklisted"]
    capture = replace(look(built_tree(LARCH, case.conditions)), software=case.software)
    likeliest = suspects(findings(capture, LARCH_PROFILE), LARCH_PROFILE).parts[0]
    assert (likeliest.part, likeliest.explains) == ("", ("camera",))


# --- What a kernel that was started without looking cannot have seen ----------------------


def without(capture: Capture, *places: str) -> Capture:
    """The capture without some nodes and all that hangs on them, whose buses were seen all the same."""
    nodes = tuple(node for node in capture.nodes if not node.location.startswith(places))
    return replace(capture, nodes=nodes)


GENERIC = next(profile for profile in known() if profile.generic)
HERON_PROFILE = find("brackwell-heron-14")


def test_without_auxiliary_port_an_absent_ps2_touchpad_proves_nothing(built_tree: BuiltTree) -> None:
    """kernel-parameters.txt, i8042.noaux: "Don't check for auxiliary (== mouse) port"."""
    places = ("platform/i8042/aux", "acpi/_SB_.PCI0.I2C0.TPD0")
    lacking = without(look(built_tree(HERON)), *places)
    started = replace(lacking, software=replace(ALL_SEEN, switches=("i8042.noaux",)))
    plain = findings(replace(lacking, software=ALL_SEEN), GENERIC).of("pointing-device")
    told = findings(started, GENERIC).of("pointing-device")
    assert (plain.verdict, plain.software) == (Verdict.MISSING, "")
    assert (told.verdict, told.symptom) == (Verdict.UNSEEN, Symptom.UNSEEN)
    assert told.software == "the kernel was started with i8042.noaux"
    assert told.would_tell == "start without i8042.noaux and capture again"


PARAMETERS = {
    "i8042.nokbd": "keyboard",
    "acpi=off": "lid",
    "nomodeset": "panel",
    "nousb": "camera",
    "usbcore.nousb": "camera",
    "pci=off": "graphics",
}


@pytest.mark.parametrize("parameter", PARAMETERS)
def test_what_a_parameter_hides_is_not_missing(built_tree: BuiltTree, parameter: str) -> None:
    device = next(one for one in HERON_PROFILE.devices if one.id == PARAMETERS[parameter])
    capture = without(look(built_tree(HERON)), *device.locations)
    given = replace(capture, software=replace(ALL_SEEN, switches=(parameter,)))
    finding = findings(given, HERON_PROFILE).of(device.id)
    assert (finding.verdict, finding.symptom) == (Verdict.UNSEEN, Symptom.UNSEEN)
    assert finding.software == f"the kernel was started with {parameter}"


def test_a_port_that_is_not_there_may_have_been_left_out_by_a_command_line_nobody_saw(built_tree: BuiltTree) -> None:
    capture = replace(without(look(built_tree(HERON)), "platform/i8042/kbd"), software=Software())
    finding = findings(capture, HERON_PROFILE).of("keyboard")
    assert finding.software.startswith("the kernel may have been started with i8042.nokbd")


def test_behind_an_i2c_controller_without_driver_the_lacking_driver_is_named(built_tree: BuiltTree) -> None:
    capture = look(built_tree(HERON, Conditions(undriven=("i2c-0",))))
    lacking = replace(ALL_SEEN, drivers_for={"acpi/_SB_.PCI0.I2C0": ("brackwell_i2c",)})
    finding = findings(replace(capture, software=lacking), HERON_PROFILE).of("touchpad")
    assert (finding.verdict, finding.symptom) == (Verdict.UNSEEN, Symptom.UNSEEN)
    assert finding.software == "the controller's (acpi/_SB_.PCI0.I2C0) driver brackwell_i2c is there, and not loaded"


# --- Firmware that has something disabled, and switches that take a radio off its bus -----


@pytest.mark.parametrize(("status", "verdict"), [(13, Verdict.UNSEEN), (15, Verdict.MISSING), (8, Verdict.MISSING)])
def test_a_touchpad_that_firmware_has_disabled_is_not_missing(
    built_tree: BuiltTree, status: int, verdict: Verdict
) -> None:
    """ACPI 6.5 section 6.3.7: bit 0 present, bit 1 enabled and decoding."""
    capture = look(built_tree(HERON, Conditions(missing=("touchpad",), statuses={"touchpad": status})))
    nodes = tuple(having(at="acpi acpi/_SB_.PCI0.I2C0.TPD0", status=status)(node) for node in capture.nodes)
    finding = findings(replace(capture, nodes=nodes), HERON_PROFILE).of("touchpad")
    assert finding.verdict is verdict
    assert ("present, not enabled" in finding.software) is (verdict is Verdict.UNSEEN)


def test_a_switch_of_the_units_own_can_take_a_radio_off_its_bus(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(missing=("bluetooth",))))
    switch = Node(
        bus="rfkill",
        location="platform/invented-wmi/rfkill",
        kind=Kind.FUNCTION,
        rung=Rung.BOUND,
        facts={"type": "bluetooth", "hard": 0, "soft": 1},
    )
    open_ = replace(switch, facts={**switch.facts, "soft": 0})
    shut, passing = (
        findings(replace(capture, nodes=(*capture.nodes, one)), LARCH_PROFILE).of("bluetooth")
        for one in (switch, open_)
    )
    assert (passing.verdict, passing.software) == (Verdict.MISSING, "")
    assert (shut.verdict, shut.symptom) == (Verdict.UNSEEN, Symptom.UNSEEN)
    assert shut.software == "software blocks the radio (platform/invented-wmi/rfkill)"


SWITCH = Node(
    bus="rfkill",
    location="platform/invented-wmi/rfkill",
    kind=Kind.FUNCTION,
    rung=Rung.BOUND,
    facts={"type": "bluetooth", "hard": 0, "soft": 1},
)


def test_a_switch_on_a_helpers_dongle_takes_no_radio_of_the_unit_off_its_bus(built_tree: BuiltTree) -> None:
    """Neither one in a socket, nor one on another radio wherever that sits."""
    capture = look(built_tree(LARCH, Conditions(missing=("bluetooth",))))
    dongle = Node(
        bus="usb", location=f"{USB2}/1", kind=Kind.DEVICE, rung=Rung.WORKING, functions=("bluetooth",), facts={}
    )
    inside = replace(dongle, bus="pci", location="pci0000:00/1c.5")
    for carrier in (dongle, replace(dongle, functions=()), inside):
        switch = replace(SWITCH, location=f"{carrier.location}/bluetooth/rfkill")
        finding = findings(replace(capture, nodes=(*capture.nodes, carrier, switch)), LARCH_PROFILE).of("bluetooth")
        assert (finding.verdict, finding.software) == (Verdict.MISSING, ""), carrier.location


def test_what_is_charged_to_a_hub_is_not_explained_once_more(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(missing=("hub",))))
    lacking = replace(ALL_SEEN, drivers_for={"pci0000:00/14.0": ("xhci_pci",)})
    finding = findings(replace(capture, software=lacking), LARCH_PROFILE).of("keyboard")
    assert (finding.charged_to, finding.software) == ("internal-hub", "")


def test_a_keyboard_that_nobody_pressed_is_not_told_to_lack_a_driver(built_tree: BuiltTree) -> None:
    finding = findings(replace(look(built_tree(HERON)), software=Software()), HERON_PROFILE).of("keyboard")
    assert (finding.symptom, finding.software) == (Symptom.UNSEEN, "")


def test_a_port_that_is_there_was_not_left_out_by_the_command_line(built_tree: BuiltTree) -> None:
    """The port exists and is empty: i8042.noaux would have left it out (drivers/input/serio/i8042.c)."""
    empty = Node(bus="serio", location="platform/i8042/aux", kind=Kind.DEVICE, rung=Rung.ABSENT)
    capture = without(look(built_tree(HERON)), "platform/i8042/aux")
    devices = tuple(
        replace(one, locations=("platform/i8042/aux",), identities=()) if one.id == "touchpad" else one
        for one in HERON_PROFILE.devices
    )
    profile = replace(HERON_PROFILE, devices=devices)
    left_out, there = (
        findings(replace(capture, nodes=(*capture.nodes, *more), software=Software()), profile).of("touchpad")
        for more in ((), (empty,))
    )
    assert left_out.software.startswith("the kernel may have been started with i8042.noaux")
    assert (there.node, there.software) == (empty, "")


def test_where_the_list_of_drivers_leaves_a_device_out_nothing_is_known_of_its_driver(built_tree: BuiltTree) -> None:
    """Without modules.builtin.modinfo a driver may be built in (Documentation/kbuild/kbuild.rst)."""
    capture = replace(look(built_tree(LARCH, NO_CAMERA_DRIVER)), software=ALL_SEEN)
    assert findings(capture, LARCH_PROFILE).of("camera").software == (
        "whether this kernel has a driver for it was not seen"
    )
