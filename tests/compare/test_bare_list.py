"""What is found of a unit of which only the system's list of USB devices is known (macOS, Windows).

"Not in the list" is missing only where everything on the way is in the list;
whatever sits on another bus is unseen.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
from support.fake_libusb import HIGH, SUPER, Part, part, root_hub
from support.listed_units import MACOS_ROOT, WINDOWS_ROOT, captured_on, larch

from usbwatch.compare import findings
from usbwatch.compare.bare_list import not_in_list
from usbwatch.compare.scene import scene
from usbwatch.compare.unknown_controllers import as_placed
from usbwatch.model import (
    Capture,
    CoverageState,
    ExpectedDevice,
    Findings,
    Profile,
    Rung,
    Symptom,
    Verdict,
    same_port_chain,
)
from usbwatch.profile import find

LARCH = find("fernhill-larch-13")
ON_USB = {
    "internal-hub",
    "keyboard",
    "touchpad",
    "fingerprint-reader",
    "smart-card-reader",
    "camera",
    "bluetooth",
    "card-reader",
    "headset-audio",
}
SAME_LOOK = "a device that fails to enumerate looks the same"


def verdicts(found: Findings) -> dict[Verdict, set[str]]:
    by_verdict: dict[Verdict, set[str]] = {}
    for one in found.findings:
        by_verdict.setdefault(one.verdict, set()).add(one.device)
    return by_verdict


HEALTHY = {
    "macOS, root hub made up": ("darwin", larch(root=MACOS_ROOT)),
    "macOS, no root hub in the list": ("darwin", larch()),
    "Windows": ("win32", larch(bus=2, root=WINDOWS_ROOT)),
}


@pytest.mark.parametrize(("platform", "parts"), HEALTHY.values(), ids=HEALTHY.keys())
def test_of_a_healthy_unit_the_usb_devices_are_present_and_the_rest_is_unseen(
    platform: str, parts: tuple[Part, ...]
) -> None:
    found = findings(captured_on(platform, parts), LARCH)
    by_verdict = verdicts(found)
    assert by_verdict[Verdict.PRESENT] == ON_USB
    assert set(by_verdict) == {Verdict.PRESENT, Verdict.UNSEEN}
    assert "usb-controller" in by_verdict[Verdict.UNSEEN]
    assert found.unplaced == found.external == found.unexpected == ()


def test_what_a_list_does_not_show_of_a_device_is_said() -> None:
    keyboard = findings(captured_on("darwin", larch()), LARCH).of("keyboard")
    assert keyboard.rung is Rung.CONFIGURED
    assert keyboard.reasons == (
        "1209:0001 at usb2/4.1, configured",
        "this system does not show which driver holds it, nor what came of it",
    )


def test_a_notice_says_what_kind_of_capture_it_is() -> None:
    assert "the system's own list of USB devices" in findings(captured_on("darwin", larch()), LARCH).notices[0]


def test_top_case_lost_behind_a_hub_that_carries_something() -> None:
    found = findings(captured_on("darwin", larch(without=("4.1", "4.2", "4.3"))), LARCH)
    # The fingerprint reader is not in every variant, and without SMBIOS strings the variant is not told.
    assert verdicts(found)[Verdict.MISSING] == {"keyboard", "touchpad"}
    assert found.of("keyboard").reasons == (f"this system's list holds nothing at usb2/4.1; {SAME_LOOK}",)
    assert "switched off in firmware set-up" in found.of("keyboard").software
    assert found.of("fingerprint-reader").verdict is Verdict.UNSEEN


def test_behind_a_hub_that_carries_nothing_all_is_unseen() -> None:
    found = findings(captured_on("darwin", larch(without=("4.1", "4.2", "4.3", "4.4"))), LARCH)
    assert Verdict.MISSING not in verdicts(found)
    assert found.of("internal-hub").verdict is Verdict.PRESENT
    assert "nothing shows that its ports were looked at" in found.of("keyboard").reasons[0]


def test_what_hangs_on_a_hub_that_is_not_listed_is_charged_to_it() -> None:
    found = findings(captured_on("win32", larch(hub=False)), LARCH)
    assert verdicts(found)[Verdict.MISSING] == {"internal-hub"}
    assert (found.of("keyboard").verdict, found.of("keyboard").charged_to) == (Verdict.UNSEEN, "internal-hub")


def test_a_list_with_a_gap_calls_nothing_missing() -> None:
    broken = replace(part("1209:0008", port=2, bus=0x14, address=99), broken=True)
    found = findings(captured_on("win32", [*larch(without=("4.1",)), broken]), LARCH)
    assert found.of("keyboard").verdict is Verdict.UNSEEN


def test_a_camera_that_fell_back_is_slow_here_too() -> None:
    slow = [replace(one, speed=2) if one.port == 5 else one for one in larch()]
    camera = findings(captured_on("darwin", slow), LARCH).of("camera")
    assert (camera.verdict, camera.symptom) == (Verdict.IMPAIRED, Symptom.DEGRADED)


def test_a_device_without_a_configuration_is_impaired() -> None:
    stuck = [replace(one, active=0) if one.port == 5 else one for one in larch()]
    camera = findings(captured_on("win32", stuck), LARCH).of("camera")
    assert (camera.verdict, camera.rung) == (Verdict.IMPAIRED, Rung.IDENTIFIED)


def test_a_twin_in_a_socket_does_not_stand_for_the_keyboard() -> None:
    twin = part("1209:0001", port=1, bus=0x14, address=99)
    found = findings(captured_on("darwin", [*larch(without=("4.1",)), twin]), LARCH)
    assert found.of("keyboard").verdict is Verdict.MISSING
    assert [node.location for node in found.unplaced] == ["usb2/1"]


def test_by_function_alone_nothing_is_called_missing() -> None:
    found = findings(captured_on("darwin", larch(without=("6",))), find("generic-clamshell"))
    assert set(verdicts(found)) == {Verdict.UNSEEN}
    assert "lists USB devices alone" in found.of("bluetooth").reasons[0]


CHARGES = {
    "a charge": (62, True, Verdict.PRESENT, "this system gives its charge as 62%; it tells no wear"),
    "0 %": (0, False, Verdict.UNSEEN, "as it may for a gauge that is silent"),
    "not known": (255, False, Verdict.UNSEEN, "gives no charge"),
}


@pytest.mark.parametrize(("percent", "plugged", "verdict", "said"), CHARGES.values(), ids=CHARGES.keys())
def test_a_battery_by_its_charge(percent: int, plugged: bool, verdict: Verdict, said: str) -> None:
    battery = SimpleNamespace(percent=percent, power_plugged=plugged)
    found = findings(captured_on("darwin", larch(), battery), LARCH)
    assert found.of("battery").verdict is verdict
    assert said in found.of("battery").reasons[0]
    assert found.of("mains-adapter").verdict is (Verdict.PRESENT if plugged else Verdict.UNSEEN)


def test_no_battery_is_no_proof_of_none() -> None:
    assert findings(captured_on("win32", larch()), LARCH).of("battery").verdict is Verdict.UNSEEN


def placed(profile: Profile, capture: Capture) -> dict[str, tuple[str, ...]]:
    return {device.id: device.locations for device in as_placed(profile, capture).devices}


def small(**locations: str) -> Profile:
    """A profile with devices at the given places, all with one identity."""
    devices = tuple(
        ExpectedDevice(
            id=name, name=name, function="camera", within="board", locations=(place,), identities=("1209:0003",)
        )
        for name, place in locations.items()
    )
    return Profile(id="p", name="p", source="invented for a test", devices=devices)


ONE = [root_hub(bus=1), part("1209:0003", port=5, bus=1, address=5, speed=HIGH)]
TWO = [*ONE, root_hub(bus=2), part("1209:0004", port=5, bus=2, address=5)]
TWINS = [*ONE, root_hub(bus=2), part("1209:0003", port=5, bus=2, address=5)]
FAST = [root_hub(bus=1, release=0x0300, speed=SUPER), part("1209:0003", port=5, bus=1, address=5, speed=SUPER)]

PLACES = {
    "one controller, one in the profile": (ONE, {"a": "pci0000:00/14.0/usb2/5"}, "usb2/5"),
    "two in the profile with that chain": (
        ONE,
        {"a": "pci0000:00/14.0/usb2/5", "b": "pci0000:00/0d.0/usb2/5"},
        "pci0000:00/14.0/usb2/5",
    ),
    "two in the profile, another chain": (
        ONE,
        {"a": "pci0000:00/14.0/usb2/5", "b": "pci0000:00/0d.0/usb2/6"},
        "usb2/5",
    ),
    "two controllers, the identity tells": (TWO, {"a": "pci0000:00/14.0/usb2/5"}, "usb2/5"),
    "two controllers with the same on both": (
        TWINS,
        {"a": "pci0000:00/14.0/usb2/5"},
        "pci0000:00/14.0/usb2/5",
    ),
    "SuperSpeed is numbered otherwise": (FAST, {"a": "pci0000:00/14.0/usb3/5"}, "pci0000:00/14.0/usb3/5"),
    "another bus": (ONE, {"a": "pci0000:00/14.0/i2c/2c"}, "pci0000:00/14.0/i2c/2c"),
}


@pytest.mark.parametrize(("parts", "locations", "place"), PLACES.values(), ids=PLACES.keys())
def test_a_place_is_translated_only_when_it_is_told(parts: list[Part], locations: dict[str, str], place: str) -> None:
    assert placed(small(**locations), captured_on("darwin", parts))["a"] == (place,)


def test_a_place_that_is_not_told_is_unseen() -> None:
    for parts, place in ((TWINS, "usb2/6"), (FAST, "usb3/6")):
        found = findings(captured_on("darwin", parts), small(a=f"pci0000:00/14.0/{place}")).of("a")
        assert found.verdict is Verdict.UNSEEN, place


def test_a_capture_of_sysfs_leaves_the_profile_as_it_is() -> None:
    from support.bench import small_capture

    assert as_placed(LARCH, small_capture()) is LARCH


CHAINS = {
    "controller not told": ("usb2/4.1", "pci0000:00/14.0/usb2/4.1", True),
    "two controllers": ("pci0000:00/0d.0/usb2/4.1", "pci0000:00/14.0/usb2/4.1", True),
    "one of several alike": ("usb2/4.1#2", "usb2/4.1", True),
    "another port": ("usb2/4.1", "pci0000:00/14.0/usb2/4.11", False),
    "the other generation": ("usb3/4", "pci0000:00/14.0/usb2/4", False),
    "an interface": ("usb2/4/if0", "pci0000:00/14.0/usb2/4/if0", False),
    "no USB at all": ("acpi/_SB_.BAT0", "acpi/_SB_.BAT0", False),
}


@pytest.mark.parametrize(("one", "other", "same"), CHAINS.values(), ids=CHAINS.keys())
def test_the_same_port_chain(one: str, other: str, same: bool) -> None:
    assert same_port_chain(one, other) is same_port_chain(other, one) is same


@pytest.mark.parametrize("platform", ["linux", "darwin"])
def test_what_libusb_cannot_show_names_the_bus_that_could_and_what_to_do(platform: str) -> None:
    generic = find("generic-clamshell")
    capture = replace(captured_on("darwin", larch(root=MACOS_ROOT)), nodes=())
    usb_unseen = tuple(
        replace(one, state=CoverageState.NOT_THERE, why="") if one.bus == "usb" else one for one in capture.coverage
    )
    system = replace(capture.system, platform=platform)
    found = findings(replace(capture, coverage=usb_unseen, system=system), generic)
    shows = {
        "graphics": "it shows on pci",
        "panel": "it shows on drm",
        "disk": "it shows on nvme or block or pci",
    }
    by_function = {one.function: found.of(one.id) for one in generic.devices if one.function in shows}
    assert by_function.keys() == shows.keys()
    advice = "leave out --through libusb" if platform == "linux" else "start Linux on this unit and capture there"
    for function, one in by_function.items():
        assert one.reasons[0].startswith(shows[function])
        assert one.would_tell == advice
        assert "supports usb" not in one.would_tell


def test_what_hangs_on_the_root_hub_is_charged_to_no_hub() -> None:
    """The root hub is the controller's, and a list without a root hub tells nothing (``_why_no_root``)."""
    capture = captured_on("darwin", larch(without=("5",)))
    camera = next(one for one in as_placed(LARCH, capture).devices if one.id == "camera")
    finding = not_in_list(camera, scene(capture, LARCH), {"usb2": "usb-controller", "usb2/4": "internal-hub"})
    assert (finding.verdict, finding.charged_to) == (Verdict.MISSING, "")
