"""Which drivers go along: by a kernel's own lists (modules.dep(5)), and by what kmod makes of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from usbwatch.capture.modprobe_files import commands
from usbwatch.stick.drivers import FOLDERS, LEFT_OUT, chosen, hold_back

LISTED = """\
kernel/drivers/usb/host/xhci-pci.ko: kernel/drivers/usb/host/xhci-hcd.ko kernel/drivers/usb/core/usbcore.ko
kernel/drivers/usb/host/xhci-hcd.ko: kernel/drivers/usb/core/usbcore.ko
kernel/drivers/usb/core/usbcore.ko:
kernel/drivers/scsi/sd_mod.ko: kernel/lib/crc64.ko kernel/drivers/scsi/scsi_mod.ko
kernel/drivers/scsi/scsi_mod.ko:
kernel/drivers/scsi/aacraid/aacraid.ko: kernel/drivers/scsi/scsi_mod.ko
kernel/lib/crc64.ko:
kernel/drivers/md/raid1.ko:
kernel/drivers/net/ethernet/realtek/r8169.ko: kernel/drivers/net/phy/libphy.ko
kernel/drivers/net/phy/libphy.ko:
kernel/drivers/net/other/realtek.ko.xz:
kernel/fs/ext4/ext4.ko: kernel/fs/jbd2/jbd2.ko
kernel/fs/jbd2/jbd2.ko:
kernel/drivers/spi/spi-intel-pci.ko: kernel/drivers/spi/spi-intel.ko
kernel/drivers/spi/spi-intel.ko:
kernel/drivers/watchdog/iTCO_wdt.ko:
kernel/drivers/firmware/efi/efi-pstore.ko:
kernel/sound/soundcore.ko:
"""


def test_a_folder_comes_with_what_its_drivers_need() -> None:
    assert chosen(LISTED, ["drivers/usb/host"], []) == (
        "kernel/drivers/usb/core/usbcore.ko",
        "kernel/drivers/usb/host/xhci-hcd.ko",
        "kernel/drivers/usb/host/xhci-pci.ko",
    )


@pytest.mark.parametrize("name", ["sd_mod", "sd-mod", "drivers/scsi/sd_mod.ko"])
def test_a_single_driver_comes_with_what_it_needs(name: str) -> None:
    assert chosen(LISTED, [name], []) == (
        "kernel/drivers/scsi/scsi_mod.ko",
        "kernel/drivers/scsi/sd_mod.ko",
        "kernel/lib/crc64.ko",
    )


def test_what_is_left_out_comes_all_the_same_where_another_needs_it() -> None:
    everything = chosen(LISTED, ["drivers/spi"], ["drivers/spi/spi-intel.ko"])
    assert everything == ("kernel/drivers/spi/spi-intel-pci.ko", "kernel/drivers/spi/spi-intel.ko")
    assert chosen(LISTED, ["drivers/spi"], ["drivers/spi"]) == ()


def test_what_a_driver_asks_for_and_could_do_without_comes_along() -> None:
    soft = (
        "# Soft dependencies extracted from modules themselves.\nsoftdep r8169 pre: realtek\nsoftdep ext4 pre: crc64\n"
    )
    found = chosen(LISTED, ["drivers/net/ethernet"], [], soft)
    assert "kernel/drivers/net/other/realtek.ko.xz" in found
    assert "kernel/lib/crc64.ko" not in found


def test_a_driver_that_lacks_its_firmware_is_held_back_and_a_capture_can_tell(tmp_path: Path) -> None:
    hold_back(tmp_path)
    said = (tmp_path / "etc" / "modprobe.d" / "no-firmware.conf").read_text()
    assert list(commands(said)) == ["amdgpu"]
    assert "--with firmware-amd-graphics" in said
    (tmp_path / "lib" / "firmware" / "amdgpu").mkdir(parents=True)
    hold_back(tmp_path)
    assert list(commands((tmp_path / "etc" / "modprobe.d" / "no-firmware.conf").read_text())) == []


def test_nothing_that_would_act_on_a_unit_is_in_the_stick() -> None:
    found = chosen(LISTED, FOLDERS, LEFT_OUT)
    kept = {"xhci-pci.ko", "sd_mod.ko", "soundcore.ko", "r8169.ko"}
    never = {"raid1.ko", "ext4.ko", "jbd2.ko", "spi-intel.ko", "iTCO_wdt.ko", "efi-pstore.ko", "aacraid.ko"}
    names = {file.rpartition("/")[2] for file in found}
    assert kept <= names
    assert not never & names
