"""What each line of the kernel tells. Format strings: Linux 6.12, in the file that stands beside each.

The lines come as kmsg records, in which no device can have written any. The
numbers and names put into the format strings are invented.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from usbwatch.capture.log import TROUBLES, episodes
from usbwatch.capture.log.subjects import subject_of
from usbwatch.capture.log.troubles import told_by
from usbwatch.model import Rung

_ROOT = "pci0000:00/14.0/usb2"
_HUBS = {"1": _ROOT}


def _kmsg(*texts: str, level: int = 3) -> str:
    return "".join(
        f"{level},{number},{number * 1000},-;{text}\n".replace("\\", "\\x5c") for number, text in enumerate(texts)
    )


_ATTACHED, _ADDRESSED, _IDENTIFIED, _NOTHING = Rung.ATTACHED, Rung.ADDRESSED, Rung.IDENTIFIED, Rung.ABSENT

_LINES: list[tuple[str, str, str, str, int, Rung]] = [
    # drivers/usb/core/generic.c, message.c, hub.c
    ("usb 1-5: can't set config #1, error -110", f"{_ROOT}/5", "", "configuration refused", -110, _IDENTIFIED),
    ("usb 1-5: string descriptor 0 read error: -32", f"{_ROOT}/5", "", "strings not read", -32, _IDENTIFIED),
    (
        "usb 1-5: not running at top speed; connect to a high speed hub",
        f"{_ROOT}/5",
        "",
        "not at top speed",
        0,
        _IDENTIFIED,
    ),
    ("usb usb1-port3: over-current condition", f"{_ROOT}/3", "", "over-current", 0, _NOTHING),
    ("hub 1-0:1.0: over-current condition", _ROOT, "", "over-current", 0, _NOTHING),
    ("hub 1-4:1.0: over-current condition", f"{_ROOT}/4", "", "over-current", 0, _NOTHING),
    (
        "usb usb1-port3: disabled by hub (EMI?), re-enabling...",
        f"{_ROOT}/3",
        "",
        "disabled by hub",
        0,
        _NOTHING,
    ),
    ("usb 1-4-port2: disabled by hub (EMI?), re-enabling...", f"{_ROOT}/4.2", "", "disabled by hub", 0, _NOTHING),
    ("usb usb1-port3: cannot reset (err = -110)", f"{_ROOT}/3", "", "still enumerating", -110, _ATTACHED),
    ("usb 1-5: device descriptor read/all, error -110", f"{_ROOT}/5", "", "still enumerating", -110, _ADDRESSED),
    ("usb 1-5: USB disconnect, device number 7", f"{_ROOT}/5", "", "disconnected", 0, _NOTHING),
    # drivers/usb/core/hcd.c, drivers/usb/host/xhci-ring.c
    ("xhci_hcd 0000:00:14.0: HC died; cleaning up", "pci0000:00/14.0", "", "controller died", 0, _NOTHING),
    (
        "xhci_hcd 0000:00:14.0: xHCI host controller not responding, assume dead",
        "pci0000:00/14.0",
        "",
        "controller died",
        0,
        _NOTHING,
    ),
    ("xhci_hcd 0000:3a:00.0: HC died; cleaning up", "", "0000:3a:00.0", "controller died", 0, _NOTHING),
    # drivers/hid/usbhid/hid-core.c; drivers/base/dd.c words it differently in 6.1 and 6.12
    ("usbhid 1-4.1:1.0: can't add hid device: -71", f"{_ROOT}/4.1", "", "HID probe failed", -71, _IDENTIFIED),
    ("usbhid: probe of 1-4.1:1.0 failed with error -71", f"{_ROOT}/4.1", "", "HID probe failed", -71, _IDENTIFIED),
    (
        "usbhid 1-4.1:1.0: probe with driver usbhid failed with error -71",
        f"{_ROOT}/4.1",
        "",
        "HID probe failed",
        -71,
        _IDENTIFIED,
    ),
    # drivers/hid/i2c-hid/i2c-hid-core.c
    (
        "i2c_hid_acpi i2c-TPD0001:00: failed to reset device: -61",
        "",
        "i2c-TPD0001:00",
        "I2C HID failed",
        -61,
        _ADDRESSED,
    ),
    (
        "i2c_hid_acpi i2c-TPD0001:00: unexpected HID descriptor bcdVersion (0xffff)",
        "",
        "i2c-TPD0001:00",
        "I2C HID failed",
        0,
        _ADDRESSED,
    ),
    # drivers/i2c/busses/i2c-designware-master.c, drivers/i2c/i2c-core-base.c
    (
        "i2c_designware i2c_designware.1: controller timed out",
        "",
        "i2c_designware.1",
        "I2C bus trouble",
        0,
        _NOTHING,
    ),
    ("i2c i2c-3: SCL is stuck low, exit recovery", "", "i2c-3", "I2C bus trouble", 0, _NOTHING),
    # drivers/acpi/acpica/evregion.c, drivers/acpi/battery.c
    (
        "ACPI Error: AE_TIME, Returned by Handler for [EmbeddedControl] (20240827/evregion-301)",
        "",
        "",
        "embedded controller timed out",
        0,
        _NOTHING,
    ),
    (
        "ACPI Error: Timeout from EC hardware or EC device driver (20240827/evregion-303)",
        "",
        "",
        "embedded controller timed out",
        0,
        _NOTHING,
    ),
    (
        "ACPI: \\_SB_.BAT0: _BST evaluation failed: AE_TIME",
        "acpi/_SB_.BAT0",
        "",
        "battery method failed",
        0,
        _NOTHING,
    ),
    ("ACPI: battery: Slot [BAT0] (battery absent)", "", "BAT0", "battery slot empty", 0, _NOTHING),
    # drivers/gpu/drm/i915/display/intel_dp.c, sound/pci/hda/hda_codec.c and hda_controller.c
    (
        "i915 0000:00:02.0: [drm] [ENCODER:98:DDI A/PHY A] failed to retrieve link info, disabling eDP",
        "pci0000:00/02.0",
        "",
        "panel disabled at boot",
        0,
        _NOTHING,
    ),
    ("snd_hda_intel 0000:00:1f.3: no codecs found!", "pci0000:00/1f.3", "", "audio codec failed", 0, _NOTHING),
    # drivers/nvme/host/pci.c and core.c, drivers/pci/pcie/aer.c, drivers/ata/libata-core.c
    (
        "nvme nvme0: controller is down; will reset: CSTS=0xffffffff, PCI_STATUS=0xffff",
        "",
        "nvme0",
        "NVMe failed",
        0,
        _NOTHING,
    ),
    ("nvme nvme0: Device not ready; aborting reset, CSTS=0x1", "", "nvme0", "NVMe failed", 0, _NOTHING),
    (
        "pcieport 0000:00:1c.0: PCIe Bus Error: severity=Correctable, type=Physical Layer, (Receiver ID)",
        "pci0000:00/1c.0",
        "",
        "PCIe errors",
        0,
        _NOTHING,
    ),
    ("ata1: SATA link down (SStatus 1 SControl 300)", "", "ata1", "SATA link failed", 0, _NOTHING),
    # net/bluetooth/hci_core.c, drivers/input/keyboard/atkbd.c, drivers/mmc/core/core.c
    ("Bluetooth: hci0: command 0x0c03 tx timeout", "", "hci0", "Bluetooth controller silent", 0, _NOTHING),
    ("atkbd serio0: Frame/parity error: 02", "", "serio0", "PS/2 line errors", 0, _NOTHING),
    ("mmc0: error -110 whilst initialising SD card", "", "mmc0", "memory card failed", -110, _NOTHING),
]


@pytest.mark.parametrize("row", _LINES, ids=[row[0][:60] for row in _LINES])
def test_lines_of_the_kernel(row: tuple[str, str, str, str, int, Rung]) -> None:
    (found,) = episodes(_kmsg(row[0]), _HUBS)
    assert (found.location, found.subject, found.trouble, found.errno, found.rung) == row[1:]
    assert found.trouble in TROUBLES


_FINE = [
    "ata1: SATA link down (SStatus 0 SControl 300)",
    "ata1: SATA link up 6.0 Gbps (SStatus 133 SControl 300)",
    "ACPI: battery: Slot [BAT0] (battery present)",
    "usb 1-5: New USB device found, idVendor=1209, idProduct=0003, bcdDevice= 1.00",
    "usb 1-5: New USB device strings: Mfr=1, Product=2, SerialNumber=3",
    "usb 1-5: Product: over-current condition",
    "usb 1-5: reset high-speed USB device number 3 using xhci_hcd",
    "usb usb1-port5: attempt power cycle",
    "hub 1-4:1.0: 4 ports detected",
    "i8042: PNP: No PS/2 controller found.",
    "Linux version 6.12",
]


@pytest.mark.parametrize("line", _FINE)
def test_lines_that_tell_of_no_trouble(line: str) -> None:
    """An empty SATA port is down with SStatus 0: no device detected (AHCI 1.3.1 section 3.3.10, from memory)."""
    assert episodes(_kmsg(line), _HUBS) == ()


_UNKNOWN = "usb 1-5: words of a later kernel"


def test_an_unknown_line_about_a_known_device_is_kept_by_its_level() -> None:
    (one,) = episodes(_kmsg(_UNKNOWN, _UNKNOWN, level=4), _HUBS)
    assert (one.location, one.trouble, one.count) == (f"{_ROOT}/5", "other", 2)
    assert episodes(_kmsg(_UNKNOWN, level=6), _HUBS) == ()


def test_an_unknown_line_about_an_unknown_bus_is_not() -> None:
    assert episodes(_kmsg(_UNKNOWN.replace("1-5", "7-5")), _HUBS) == ()


def test_a_refused_configuration_stands_in_a_form_that_no_device_can_forge() -> None:
    """In a text the same line stands right behind the device's own serial number, and counts for nothing."""
    text = (Path(__file__).parent.parent / "data/kernel-log/camera-set-config-silent.txt").read_text(encoding="utf-8")
    entries = re.findall(r"\[ *(\d+)\.(\d{6})\] (.*)", text)
    kmsg = "".join(f"6,{number},{s}{us},-;{words}\n" for number, (s, us, words) in enumerate(entries))
    assert [(one.trouble, one.rung) for one in episodes(kmsg, _HUBS)] == [("configuration refused", Rung.IDENTIFIED)]
    assert episodes(text, _HUBS) == ()


def test_every_trouble_says_what_it_means_and_where_that_is_documented() -> None:
    assert set(TROUBLES) > {row[3] for row in _LINES}
    for name, trouble in TROUBLES.items():
        assert trouble.meaning, name
        assert trouble.source or name == "other"


def test_no_more_episodes_than_a_reader_can_use() -> None:
    lines = [
        f"usb 1-{port}.{inner}: USB disconnect, device number 7" for port in range(1, 61) for inner in range(1, 16)
    ]
    assert len(episodes(_kmsg(*lines), _HUBS)) == 256


@pytest.mark.parametrize("text", [row[0] for row in _LINES])
def test_a_line_with_more_behind_it_is_not_that_line(text: str) -> None:
    """Every pattern takes the whole of a message."""
    told = told_by(subject_of(f"{text} and more\nbesides"))
    assert told is None


_DOCUMENT = Path(__file__).parent.parent.parent / "docs" / "kernel-log.md"


def _table() -> str:
    rows = [
        f"| {name} | {one.meaning} | {one.practice} | {one.source} |".replace("  ", " ")
        for name, one in TROUBLES.items()
    ]
    return "\n".join(["| trouble | meaning | reading | kernel source |", "| --- | --- | --- | --- |", *rows, ""])


def test_the_document_lists_every_trouble_as_the_table_has_it() -> None:
    """When this fails, put the table that it shows between the marks."""
    text = _DOCUMENT.read_text(encoding="utf-8")
    _, _, rest = text.partition("<!-- troubles -->\n")
    table, mark, _ = rest.partition("<!-- /troubles -->")
    assert mark
    assert table == _table()
