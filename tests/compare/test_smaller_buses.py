"""What is plugged in, put in or on a cable is never of the unit; what a profile expects on a small bus is found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from support.looking import look
from support.more_buses import (
    card,
    chip_fan,
    firmware_fan,
    light_sensor,
    motion_sensor,
    pci_function,
    serial_disk,
    soundwire_codec,
    thunderbolt,
    typec_partner,
    typec_port,
)
from support.sysfs import Conditions
from support.units import LARCH
from support.wired import part

from usbwatch.compare import changes, findings
from usbwatch.model import ExpectedDevice, Finding, Findings, Profile, Rung, Symptom, Verdict
from usbwatch.profile import find

_Tree = Callable[..., Path]
LARCH_PROFILE = find("fernhill-larch-13")


def _expecting(
    function: str,
    *locations: str,
    identity: str = "",
    reaches: Rung = Rung.WORKING,
    speed_mbps: int | None = None,
) -> Profile:
    device = ExpectedDevice(
        id="the-device",
        name="The device",
        function=function,
        within="board",
        locations=locations,
        identities=(identity,) if identity else (),
        reaches=reaches,
        speed_mbps=speed_mbps,
    )
    return Profile(id="p", name="p", source="invented", parts=(part("board"),), devices=(device,))


def _without(*folders: str) -> Conditions:
    """A kernel that has nothing loaded for some buses."""
    return Conditions(unrecorded=folders)


def _found(root: Path, profile: Profile) -> Finding:
    return findings(look(root), profile).of("the-device")


def _plug_in(root: Path) -> list[str]:
    """A hub at a Type-C port, a card in a reader, a dock on Thunderbolt; the places of what is outside come back."""
    typec_partner(root, typec_port(root, 0))
    card(root, "SD", host=pci_function(root, "1a.0", "080501", "sdhci-pci"), number=0)
    thunderbolt(root, device=True)
    return [
        "acpi/_SB_.UBTC/typec/1/cable",
        "acpi/_SB_.UBTC/typec/1/partner",
        "pci0000:00/0d.2/thunderbolt/0/1",
        "pci0000:00/1a.0/mmc/card",
    ]


def test_what_is_plugged_in_or_put_in_is_external(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    places = _plug_in(root)
    found: Findings = findings(look(root), LARCH_PROFILE)
    assert [node.location for node in found.external if node.bus != "usb"] == places
    assert [node.location for node in found.unexpected] == ["pci0000:00/1a.0"]  # the reader, which is of the unit
    assert all(finding.verdict is Verdict.PRESENT for finding in found.findings)


def test_a_memory_card_is_never_the_disk_of_the_unit(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    (root / "sys/bus/pci/devices/0000:00:06.0").unlink()
    (root / "sys/class/nvme/nvme0").unlink()
    for entry in (root / "sys/class/block").glob("nvme*"):
        entry.unlink()
    card(root, "SD", host=pci_function(root, "1a.0", "080501", "sdhci-pci"), number=0)
    assert _found(root, _expecting("disk")).verdict is Verdict.MISSING
    card(root, "MMC", host=pci_function(root, "1a.1", "080501", "sdhci-pci"), number=1)
    finding = _found(root, _expecting("disk"))
    assert (finding.verdict, finding.symptom) == (Verdict.PRESENT, Symptom.WORKING)
    assert finding.node is not None
    assert finding.node.location == "pci0000:00/1a.1/mmc/card"


def test_a_disk_that_may_hang_on_a_host_without_driver_is_unseen(loose_tree: _Tree) -> None:
    """PCI class 0805: soldered memory hangs on the same sort of host as a card reader."""
    root = loose_tree(LARCH)
    (root / "sys/bus/pci/devices/0000:00:06.0").unlink()
    (root / "sys/class/nvme/nvme0").unlink()
    for entry in (root / "sys/class/block").glob("nvme*"):
        entry.unlink()
    pci_function(root, "1a.0", "080501", "")
    assert _found(root, _expecting("disk")).verdict is Verdict.UNSEEN


def test_a_soldered_disk_that_is_gone_is_missing_where_its_host_works(loose_tree: _Tree, built_tree: _Tree) -> None:
    profile = _expecting("disk", "pci0000:00/1a.0/mmc/card")
    assert _found(built_tree(LARCH, _without("sys/bus/mmc")), profile).verdict is Verdict.UNSEEN
    root = loose_tree(LARCH)
    card(root, "", host=pci_function(root, "1a.0", "080501", "sdhci-pci"), number=0)
    assert _found(root, profile).verdict is Verdict.MISSING


@pytest.mark.parametrize(
    ("status", "driver", "verdict", "symptom"),
    [
        ("Attached", "invented_codec", Verdict.PRESENT, Symptom.WORKING),
        ("Attached", "", Verdict.IMPAIRED, Symptom.UNDRIVEN),
        ("UNATTACHED", "invented_codec", Verdict.MISSING, Symptom.ABSENT),
    ],
)
def test_a_soundwire_codec(loose_tree: _Tree, status: str, driver: str, verdict: Verdict, symptom: Symptom) -> None:
    root = loose_tree(LARCH)
    soundwire_codec(root, status, driver=driver)
    profile = _expecting("audio", "pci0000:00/1f.3/soundwire/0/1209:0008", identity="1209:0008")
    finding = _found(root, profile)
    assert (finding.verdict, finding.symptom) == (verdict, symptom)


def test_a_codec_on_a_bus_that_this_kernel_lacks_is_unseen(built_tree: _Tree) -> None:
    profile = _expecting("audio", "pci0000:00/1f.3/soundwire/0/1209:0008")
    assert _found(built_tree(LARCH, _without("sys/bus/soundwire")), profile).verdict is Verdict.UNSEEN


def test_a_codec_that_firmware_declares_and_nobody_fitted_is_no_intruder(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    soundwire_codec(root, "UNATTACHED", part="0009")
    found = findings(look(root), LARCH_PROFILE)
    assert "soundwire" not in {node.bus for node in (*found.unexpected, *found.unplaced)}


def test_a_sensor_is_found_by_its_function_wherever_it_hangs(loose_tree: _Tree, built_tree: _Tree) -> None:
    profile = _expecting("sensor")
    assert _found(built_tree(LARCH, _without("sys/bus/iio")), profile).verdict is Verdict.UNSEEN
    root = loose_tree(LARCH)
    hub = pci_function(root, "13.0", "070000", "invented_hub")
    assert _found(root, profile).verdict is Verdict.MISSING
    light_sensor(root, hub, on_hid=False)
    finding = _found(root, profile)
    assert (finding.verdict, finding.rung) == (Verdict.PRESENT, Rung.WORKING)


def test_a_copy_without_a_folder_is_to_be_copied_again_whole_and_a_live_unit_needs_a_kernel(built_tree: _Tree) -> None:
    """A copy does not tell whether the folder was left out or the kernel had none; a live tree does."""
    copied = look(built_tree(LARCH, _without("sys/bus/iio")))
    live = replace(copied, system=replace(copied.system, source="live"))
    told = [findings(capture, _expecting("sensor")).of("the-device").would_tell for capture in (copied, live)]
    assert told == [
        "copy the tree again, whole, under a kernel that supports iio",
        "capture with a kernel that supports iio",
    ]


def test_further_sensors_of_a_hub_are_no_intruders(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    hub = pci_function(root, "13.0", "070000", "invented_hub")
    light_sensor(root, hub, on_hid=False)
    motion_sensor(root, hub)
    found = findings(look(root), LARCH_PROFILE)
    assert found.unexpected == ()
    assert sum(node.bus == "iio" for node in found.infrastructure) == 2


@pytest.mark.parametrize(
    ("fan", "reaches", "verdict", "symptom"),
    [
        pytest.param({"rpm": 2400}, Rung.WORKING, Verdict.PRESENT, Symptom.WORKING, id="turns"),
        pytest.param({"rpm": 0}, Rung.WORKING, Verdict.UNSEEN, Symptom.UNSEEN, id="stands still"),
        pytest.param({}, Rung.WORKING, Verdict.UNSEEN, Symptom.UNSEEN, id="is not measured"),
        pytest.param({}, Rung.BOUND, Verdict.PRESENT, Symptom.UNSEEN, id="declared, and no more is asked"),
    ],
)
def test_a_fan_that_stands_still_is_held_against_nobody(
    loose_tree: _Tree, fan: dict[str, int], reaches: Rung, verdict: Verdict, symptom: Symptom
) -> None:
    root = loose_tree(LARCH)
    firmware_fan(root, rpm=fan.get("rpm"))
    finding = _found(root, _expecting("fan", reaches=reaches))
    assert (finding.verdict, finding.symptom) == (verdict, symptom)
    assert finding.reasons


def test_a_fan_that_its_chip_calls_faulty_is_impaired(loose_tree: _Tree) -> None:
    """``fanN_fault``: Documentation/ABI/testing/sysfs-class-hwmon."""
    root = loose_tree(LARCH)
    chip_fan(root, 0, fault=1)
    finding = _found(root, _expecting("fan"))
    assert (finding.verdict, finding.symptom) == (Verdict.IMPAIRED, Symptom.FAILED)


def test_a_fan_that_nothing_shows_is_unseen_for_most_hide_behind_the_embedded_controller(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    chip_fan(root, 0)  # the classes are there
    for entry in (root / "sys/class/hwmon").iterdir():
        entry.unlink()
    assert _found(root, _expecting("fan")).verdict is Verdict.UNSEEN


def test_a_chips_fan_is_no_intruder(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    chip_fan(root, 1800)
    assert findings(look(root), LARCH_PROFILE).unexpected == ()


def test_what_follows_warmth_and_plugs_is_no_change_of_the_unit(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    chip = root / chip_fan(root, 1800) / "hwmon/hwmon50/fan1_input"
    port = root / typec_port(root, 0)
    before = look(root)
    chip.write_text("2600\n")
    (port / "power_role").write_text("[source] sink\n")
    (port / "orientation").write_text("reverse\n")
    assert changes(before, look(root)).nodes == ()
    (port / "port_type").write_text("[source]\n")
    (change,) = changes(before, look(root)).nodes
    assert [fact.field for fact in change.facts] == ["facts.port_type"]


@pytest.mark.parametrize(
    ("now", "verdict", "symptom"),
    [("6.0 Gbps", Verdict.PRESENT, Symptom.WORKING), ("1.5 Gbps", Verdict.IMPAIRED, Symptom.DEGRADED)],
)
def test_a_serial_disk_is_held_against_the_speed_that_its_profile_names(
    loose_tree: _Tree, now: str, verdict: Verdict, symptom: Symptom
) -> None:
    root = loose_tree(LARCH)
    serial_disk(root, number=7, port=1, name="sdb", link={"sata_spd": now, "hw_sata_spd_limit": "6.0 Gbps"})
    finding = _found(root, _expecting("disk", "pci0000:00/1f.0/ata1/block", speed_mbps=6000))
    assert (finding.verdict, finding.symptom) == (verdict, symptom)


def test_a_radio_may_be_the_sdio_card_that_no_driver_holds(loose_tree: _Tree) -> None:
    """``sdio_bus`` in drivers/mmc/core/sdio_bus.c: drivers hold the functions of such a card."""
    root = loose_tree(LARCH, Conditions(missing=("bluetooth",)))
    card(root, "", host=pci_function(root, "1a.0", "080501", "sdhci-pci"), number=0)
    assert _found(root, _expecting("bluetooth")).verdict is Verdict.MISSING
    card(root, "SDIO", host=pci_function(root, "1a.1", "080501", "sdhci-pci"), number=1)
    finding = _found(root, _expecting("bluetooth"))
    assert finding.verdict is Verdict.UNSEEN
    assert "the SDIO card at pci0000:00/1a.1/mmc/card" in finding.reasons[0]
