"""Findings on a real kernel's trees with known faults, and on invented units under stated conditions.

The truth about each snapshot stands in ``tests/data/trees/README.md``: it says
what was taken away or made to fail in the emulated laptop before the kernel
looked. No finding below was copied from the program's output.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from conftest import BuiltTree, RealTree
from support.looking import XHCI, look
from support.snapshot_facts import DECLARED_ONLY, FAULTS
from support.sysfs import HEALTHY, Conditions
from support.units import FOREIGN_KEYBOARD, HERON, LARCH, MOUSE, PLOVER

from usbwatch.compare import changes, findings
from usbwatch.localise import believe, suspects
from usbwatch.model import (
    Advice,
    Answer,
    Coverage,
    CoverageState,
    Finding,
    Findings,
    Look,
    Profile,
    Rung,
    Symptom,
    Verdict,
)
from usbwatch.plan import plan
from usbwatch.profile import find, known

LARCH_PROFILE = find("fernhill-larch-13")


@pytest.mark.parametrize("snapshot", FAULTS)
def test_every_expected_device_of_a_real_tree(real_tree: RealTree, snapshot: str) -> None:
    found = findings(look(real_tree(snapshot)), LARCH_PROFILE)
    assert [finding.device for finding in found.findings] == [device.id for device in LARCH_PROFILE.devices]
    for finding in found.findings:
        if finding.device in FAULTS[snapshot]:
            assert (finding.verdict, finding.rung, finding.symptom) == FAULTS[snapshot][finding.device]
            assert finding.reasons
        else:
            assert finding.verdict is Verdict.PRESENT, finding
            working = Symptom.UNSEEN if finding.device in DECLARED_ONLY else Symptom.WORKING
            assert finding.symptom is working


@pytest.mark.parametrize("snapshot", ["battery-not-present", "keyboard-missing"])
def test_what_not_every_unit_has_is_no_finding_where_it_is_not(real_tree: RealTree, snapshot: str) -> None:
    lost = {one for one, (verdict, _, _) in FAULTS[snapshot].items() if verdict is Verdict.MISSING}
    devices = tuple(replace(device, optional=device.id in lost) for device in LARCH_PROFILE.devices)
    found = findings(look(real_tree(snapshot)), replace(LARCH_PROFILE, devices=devices))
    assert lost
    assert [each.device for each in found.findings] == [each.id for each in devices if not each.optional]
    assert all(each.verdict is Verdict.PRESENT for each in found.findings)


def test_a_controller_that_was_not_seen_hides_nothing_behind_a_hub_that_works(
    real_tree: RealTree, tmp_path: Path
) -> None:
    """Of the copy, somebody left out ``/sys/bus/pci``."""
    root = tmp_path / "half"
    shutil.copytree(real_tree("keyboard-missing"), root, symlinks=True)
    shutil.rmtree(root / "sys/bus/pci")
    found = findings(look(root), LARCH_PROFILE)
    assert found.of("usb-controller").verdict is Verdict.UNSEEN
    assert found.of("keyboard").verdict is Verdict.MISSING
    assert {one.charged_to for one in found.findings} == {""}


def test_helpers_in_the_sockets_of_a_real_tree_are_set_apart(real_tree: RealTree) -> None:
    found = findings(look(real_tree("external-devices")), LARCH_PROFILE)
    assert [node.location for node in found.external] == [
        "pci0000:00/14.0/usb2/1",
        "pci0000:00/14.0/usb2/2",
        "pci0000:00/14.0/usb3/3",
    ]
    assert found.unexpected == ()
    assert found.unplaced == ()


def test_without_the_log_a_failed_enumeration_is_an_empty_port(real_tree: RealTree) -> None:
    """Kernel 6.1 has no port state, so the log is the only witness; without it "missing" is all that can be said."""
    capture = replace(look(real_tree("touchpad-enumeration-failure")), episodes=())
    finding = findings(capture, LARCH_PROFILE).of("touchpad")
    assert (finding.verdict, finding.symptom) == (Verdict.MISSING, Symptom.ABSENT)


@pytest.mark.parametrize(
    ("state", "lines", "told"),
    [
        (CoverageState.OK, 500, ""),
        (CoverageState.FAILED, 145, "; the kernel's log is incomplete, so a failed enumeration is not ruled out"),
        (
            CoverageState.NOT_PERMITTED,
            0,
            "; the kernel's log could not be read, so a failed enumeration is not ruled out",
        ),
    ],
)
def test_an_empty_port_says_what_of_the_log_was_not_seen(
    real_tree: RealTree, state: CoverageState, lines: int, told: str
) -> None:
    """A log that has lost its first lines was read all the same: the kernel keeps the latest (kernel/printk)."""
    capture = look(real_tree("keyboard-missing"))
    log = Coverage(bus="log", state=state, nodes=lines)
    capture = replace(capture, coverage=(*(one for one in capture.coverage if one.bus != "log"), log))
    reason = findings(capture, LARCH_PROFILE).of("keyboard").reasons[0]
    assert reason == f"port {XHCI}/usb2/4.1 is empty; firmware says that something is wired to it{told}"


LAPTOPS = {"fernhill-larch-13": LARCH, "brackwell-heron-14": HERON, "ostrey-plover-12": PLOVER}


def of(built: BuiltTree, conditions: Conditions, profile: Profile = LARCH_PROFILE) -> Findings:
    return findings(look(built(LAPTOPS[profile.id], conditions)), profile)


WHOLE = {"fernhill-larch-13": set(), "brackwell-heron-14": {"keyboard"}, "ostrey-plover-12": set()}
"""What no capture of a healthy unit can see: a keyboard on PS/2, which the kernel assumes."""


@pytest.mark.parametrize("profile", WHOLE)
def test_a_healthy_invented_unit_shows_all_that_its_profile_expects(built_tree: BuiltTree, profile: str) -> None:
    found = of(built_tree, HEALTHY, find(profile))
    unseen = {finding.device for finding in found.findings if finding.verdict is Verdict.UNSEEN}
    others = [finding for finding in found.findings if finding.verdict not in (Verdict.PRESENT, Verdict.UNSEEN)]
    assert (unseen, others) == (WHOLE[profile], [])
    assert found.unexpected == ()
    assert found.notices == ()


CONDITIONS = {
    "touchpad's driver is not loaded": (
        Conditions(undriven=("touchpad",)),
        "touchpad",
        (Verdict.IMPAIRED, Symptom.UNDRIVEN),
    ),
    "policy keeps the camera out": (
        Conditions(unauthorised=("camera",)),
        "camera",
        (Verdict.IMPAIRED, Symptom.UNDRIVEN),
    ),
    "camera refuses its configuration": (
        Conditions(unconfigured={"camera": -32}),
        "camera",
        (Verdict.IMPAIRED, Symptom.FAILED),
    ),
    "keyboard's report descriptor cannot be read": (
        # Its log lines stand right behind the device's own names, so in a saved text they found nothing.
        Conditions(silent_reports=("keyboard",)),
        "keyboard",
        (Verdict.IMPAIRED, Symptom.UNDRIVEN),
    ),
    "gauge reads all ones": (Conditions(battery="silent"), "battery", (Verdict.IMPAIRED, Symptom.MUTE)),
    "gauge reads nothing but zero": (Conditions(battery="zero"), "battery", (Verdict.IMPAIRED, Symptom.MUTE)),
    "bay is empty": (Conditions(battery="absent"), "battery", (Verdict.MISSING, Symptom.ABSENT)),
    "battery driver is not loaded": (Conditions(unloaded=("battery",)), "battery", (Verdict.UNSEEN, Symptom.UNSEEN)),
    "nobody recorded USB": (Conditions(unrecorded=("sys/bus/usb",)), "keyboard", (Verdict.UNSEEN, Symptom.UNSEEN)),
    "the USB controller has no driver": (
        Conditions(undriven=("xhci",)),
        "keyboard",
        (Verdict.UNSEEN, Symptom.UNSEEN),
    ),
    "the port's state says attached": (
        Conditions(failing={"touchpad": ("device", -71)}, kernel="6.12.0"),
        "touchpad",
        (Verdict.IMPAIRED, Symptom.FAILED),
    ),
}


UNRECORDED = {
    "sys/class/power_supply": {"battery", "mains-adapter"},
    "sys/class/net": {"ethernet"},
    "sys/class/input": {"keyboard", "touchpad"},
    "sys/bus/hid": {"keyboard", "touchpad"},
    "sys/class/video4linux": {"camera"},
    "sys/class/sound": {"headset-audio", "audio"},
    "sys/class/block": {"card-reader"},
    "sys/class/bluetooth": {"bluetooth"},
    "sys/class/drm": {"panel"},
}


@pytest.mark.parametrize("folder", UNRECORDED)
def test_a_class_that_nobody_recorded_is_held_against_no_device(built_tree: BuiltTree, folder: str) -> None:
    found = of(built_tree, Conditions(unrecorded=(folder,)))
    unseen = {finding.device for finding in found.findings if finding.verdict is Verdict.UNSEEN}
    assert unseen <= UNRECORDED[folder]
    assert {finding.verdict for finding in found.findings} <= {Verdict.PRESENT, Verdict.UNSEEN}
    assert all(finding.symptom is Symptom.UNSEEN for finding in found.findings if finding.device in unseen)


def test_a_profile_of_another_model_names_no_part(built_tree: BuiltTree) -> None:
    found = findings(look(built_tree(LARCH)), find("brackwell-heron-14"))
    assert found.other_model
    assert not any(part.explains for part in suspects(found, find("brackwell-heron-14")).parts)
    proposed = plan(believe(find("brackwell-heron-14"), (Look(findings=found),)), found)
    assert (proposed.advice, proposed.proposals) == (Advice.OTHER_MODEL, ())


def test_a_failed_check_of_the_pack_stops_everything(built_tree: BuiltTree) -> None:
    """Lithium cells: common caution; local rules and licensed practice come first."""
    swollen = Answer(check="pack-flat", yes=False)
    found = findings(look(built_tree(LARCH, Conditions(battery="silent"))), LARCH_PROFILE, [swollen])
    proposed = plan(believe(LARCH_PROFILE, (Look(findings=found),)), found)
    (words,) = proposed.stops
    assert "do not charge" in words
    assert (proposed.advice, proposed.proposals) == (Advice.DANGER, ())


def test_pressing_keys_settles_a_ps2_keyboard(built_tree: BuiltTree) -> None:
    heron = find("brackwell-heron-14")
    found = findings(look(built_tree(HERON)), heron, [Answer(check="all-keys-type", yes=True)])
    assert found.of("keyboard").verdict is Verdict.PRESENT
    assert found.of("keyboard").reasons[0].startswith("established by hand")


@pytest.mark.parametrize(("conditions", "device", "expected"), CONDITIONS.values(), ids=CONDITIONS)
def test_what_is_said_of_a_device(
    built_tree: BuiltTree, conditions: Conditions, device: str, expected: tuple[Verdict, Symptom]
) -> None:
    finding = of(built_tree, conditions).of(device)
    assert (finding.verdict, finding.symptom) == expected, finding
    if finding.verdict is Verdict.UNSEEN:
        assert finding.would_tell


def test_an_external_keyboard_of_the_same_identity_does_not_stand_for_the_internal_one(built_tree: BuiltTree) -> None:
    twin = next(part for part in LARCH.usb if part.id == "keyboard")
    helper = replace(twin, id="twin", port="1")
    finding = of(built_tree, Conditions(missing=("keyboard",), sockets=(helper,))).of("keyboard")
    assert finding.verdict is Verdict.MISSING
    assert any("same identity" in reason for reason in finding.reasons)


def test_an_external_keyboard_is_no_substitute_where_firmware_says_nothing_of_the_ports(
    built_tree: BuiltTree,
) -> None:
    twin = next(part for part in LARCH.usb if part.id == "keyboard")
    conditions = Conditions(missing=("keyboard",), sockets=(replace(twin, id="twin", port="2"),), unmapped_ports=True)
    found = of(built_tree, conditions)
    assert found.of("keyboard").verdict is Verdict.MISSING
    assert [node.location for node in found.unplaced] == ["pci0000:00/14.0/usb2/2"]


def test_what_hangs_on_a_missing_hub_is_charged_to_it_once(built_tree: BuiltTree) -> None:
    found = of(built_tree, Conditions(missing=("hub",)))
    behind = [finding for finding in found.findings if finding.charged_to == "internal-hub"]
    assert found.of("internal-hub").verdict is Verdict.MISSING
    assert {finding.device for finding in behind} == {
        "keyboard",
        "touchpad",
        "fingerprint-reader",
        "smart-card-reader",
    }
    assert {(finding.verdict, finding.symptom) for finding in behind} == {(Verdict.UNSEEN, Symptom.UNSEEN)}


def test_what_hangs_on_a_missing_controller_is_charged_to_it(built_tree: BuiltTree) -> None:
    found = of(built_tree, Conditions(missing=("xhci",)))
    assert found.of("usb-controller").verdict is Verdict.MISSING
    assert found.of("camera").charged_to == "usb-controller"
    assert found.of("keyboard").charged_to in ("usb-controller", "internal-hub")


def test_a_ps2_keyboard_is_never_called_present_or_missing(built_tree: BuiltTree) -> None:
    """drivers/input/keyboard/atkbd.c: on laptops the kernel assumes a keyboard, whether or not one is there."""
    for conditions in (HEALTHY, Conditions(missing=("keyboard",))):
        finding = of(built_tree, conditions, find("brackwell-heron-14")).of("keyboard")
        assert finding.verdict is Verdict.UNSEEN
        assert "usbwatch handcheck keyboard" in finding.would_tell


def test_a_silent_i2c_touchpad_is_missing_only_when_its_driver_could_have_asked_it(built_tree: BuiltTree) -> None:
    """drivers/hid/i2c-hid: nothing at the address ends the probe with a debug message alone."""
    heron = find("brackwell-heron-14")
    silent = of(built_tree, Conditions(missing=("touchpad",)), heron).of("touchpad")
    assert (silent.verdict, silent.rung) == (Verdict.MISSING, Rung.ATTACHED)
    unasked = of(built_tree, Conditions(missing=("touchpad",), unloaded=("i2c_hid_acpi",)), heron).of("touchpad")
    assert unasked.verdict is Verdict.UNSEEN


RENUMBERED = {
    "USB buses registered in another order": Conditions(bus_numbers={"xhci": (3, 7)}),
    "devices plugged in another sequence": Conditions(order=("bluetooth", "touchpad", "fingerprint-reader", "camera")),
    "PCI buses numbered otherwise": Conditions(first_pci_bus=5),
}


@pytest.mark.parametrize("conditions", RENUMBERED.values(), ids=RENUMBERED)
@pytest.mark.parametrize("laptop", [LARCH, HERON, PLOVER], ids=["larch", "heron", "plover"])
def test_the_same_unit_after_another_boot_has_not_changed(
    built_tree: BuiltTree, laptop: object, conditions: Conditions
) -> None:
    before, after = look(built_tree(laptop)), look(built_tree(laptop, conditions))
    assert changes(before, after).none
    assert before.nodes == after.nodes


def test_two_boots_of_a_real_kernel_differ_by_the_helpers_alone(real_tree: RealTree) -> None:
    """In the second boot the kernel gave input and HID nodes other numbers."""
    told = changes(look(real_tree("healthy")), look(real_tree("external-devices")))
    helpers = {"pci0000:00/14.0/usb2/1", "pci0000:00/14.0/usb2/2", "pci0000:00/14.0/usb3/3"}
    assert {change.kind.value for change in told.nodes if change.before is None} == {"new"}
    assert all(
        (change.after or change.before).location.startswith(tuple(helpers))  # type: ignore[union-attr]
        for change in told.nodes
    )


def by_device(found: Findings) -> dict[str, Finding]:
    return {finding.device: finding for finding in found.findings}


def test_the_generic_profile_serves_a_unit_that_has_no_profile(built_tree: BuiltTree) -> None:
    generic = next(profile for profile in known() if profile.generic)
    capture = look(built_tree(LARCH, Conditions(missing=("keyboard",), sockets=(FOREIGN_KEYBOARD, MOUSE))))
    found = by_device(findings(capture, generic))
    assert found["pointing-device"].verdict is Verdict.PRESENT
    assert found["battery"].verdict is Verdict.PRESENT
    assert found["disk"].verdict is Verdict.PRESENT
    assert found["keyboard"].verdict is Verdict.MISSING


IDLE_HUBS = {
    "no driver holds it": Conditions(undriven=("hub",)),
    "it refused its configuration": Conditions(unconfigured={"hub": -71}),
    "this system does not authorise it": Conditions(unauthorised=("hub",)),
}


@pytest.mark.parametrize("conditions", IDLE_HUBS.values(), ids=IDLE_HUBS)
def test_behind_a_hub_that_does_no_work_nothing_is_missing(built_tree: BuiltTree, conditions: Conditions) -> None:
    found = of(built_tree, conditions)
    assert found.of("internal-hub").verdict is Verdict.IMPAIRED
    behind = [found.of(device) for device in ("keyboard", "touchpad", "fingerprint-reader", "smart-card-reader")]
    assert {finding.verdict for finding in behind} == {Verdict.UNSEEN}
    assert {finding.charged_to for finding in behind} == {"internal-hub"}


GENERIC = next(profile for profile in known() if profile.generic)


@pytest.mark.parametrize(
    "conditions",
    [Conditions(undriven=("xhci",)), Conditions(undriven=("hub",)), Conditions(unrecorded=("sys/bus/usb",))],
    ids=["controller without driver", "hub without driver", "USB not recorded"],
)
def test_by_function_alone_nothing_is_missing_where_something_could_hide(
    built_tree: BuiltTree, conditions: Conditions
) -> None:
    found = by_device(findings(look(built_tree(LARCH, conditions)), GENERIC))
    assert found["keyboard"].verdict is Verdict.UNSEEN
    assert found["pointing-device"].verdict is Verdict.UNSEEN


def test_a_unit_that_does_not_tell_its_variant_lacks_nothing_that_only_some_have(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(missing=("fingerprint-reader", "smart-card-reader"))))
    untold = replace(capture, unit=replace(capture.unit, product_sku=""))
    assert findings(capture, LARCH_PROFILE).of("smart-card-reader").verdict is Verdict.MISSING
    assert findings(untold, LARCH_PROFILE).of("smart-card-reader").verdict is Verdict.UNSEEN


def test_a_blocked_radio_is_a_cause_in_software(built_tree: BuiltTree) -> None:
    """Documentation/ABI/stable/sysfs-class-rfkill: ``soft`` 1 is a block by software."""
    capture = look(built_tree(LARCH))
    nodes = tuple(
        replace(node, facts={**node.facts, "soft": 1}) if node.bus == "rfkill" else node for node in capture.nodes
    )
    finding = findings(replace(capture, nodes=nodes), LARCH_PROFILE).of("bluetooth")
    assert (finding.verdict, finding.symptom) == (Verdict.IMPAIRED, Symptom.UNDRIVEN)


def test_an_i2c_part_that_waits_for_its_supplier_is_not_missing(built_tree: BuiltTree) -> None:
    capture = look(built_tree(HERON, Conditions(missing=("touchpad",))))
    nodes = tuple(
        replace(node, facts={**node.facts, "waiting_for_supplier": "1"}) if node.bus == "i2c" else node
        for node in capture.nodes
    )
    heron = find("brackwell-heron-14")
    assert findings(capture, heron).of("touchpad").verdict is Verdict.MISSING
    assert findings(replace(capture, nodes=nodes), heron).of("touchpad").verdict is Verdict.UNSEEN


def test_what_hangs_on_a_removable_controller_is_a_helper(built_tree: BuiltTree) -> None:
    """A dock brings a USB controller of its own, which PCI calls removable (sysfs-devices-removable)."""
    capture = look(built_tree(LARCH, Conditions(missing=("keyboard",))))
    twin = next(node for node in capture.nodes if node.location.endswith("usb2/4.2") and node.bus == "usb")
    dock = next(node for node in capture.nodes if node.location == "pci0000:00/14.0")
    beyond = "pci0000:00/1d.0/00.0"
    nodes = (
        *capture.nodes,
        replace(dock, location=beyond, facts={**dock.facts, "removable": "removable"}),
        replace(twin, location=f"{beyond}/usb2/1", identity="1209:0001", functions=("keyboard",)),
    )
    found = by_device(findings(replace(capture, nodes=nodes), GENERIC))
    assert found["keyboard"].verdict is Verdict.MISSING
