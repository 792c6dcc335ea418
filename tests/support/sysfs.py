"""Invented laptops' sysfs trees, laid out as a real kernel lays them out.

``build(laptop, folder, conditions)`` writes ``sys/``, ``proc/`` and ``meta/``
into a folder, which a capture then reads like any copied tree. What is
invented is the laptop; names, links and formats are the kernel's, checked
against a real kernel's tree in ``tests/capture/test_built_trees.py``.
"""

from __future__ import annotations

import shutil
from pathlib import Path

from support.tree.acpi_parts import build_acpi_parts, build_ps2
from support.tree.conditions import HEALTHY, Conditions
from support.tree.firmware import Namespace
from support.tree.kernel_log import KernelLog
from support.tree.parts import Laptop
from support.tree.pci import build_pci
from support.tree.site import Site
from support.tree.smbios import build_smbios
from support.tree.writer import Writer

__all__ = ["HEALTHY", "Conditions", "build"]

_DRIVERS = {
    "acpi": ("ac", "battery", "button", "ec", "thermal"),
    "hdaudio": ("snd_hda_codec_generic",),
    "hid": ("hid-generic", "hid-multitouch"),
    "i2c": ("dummy", "i2c_hid_acpi"),
    "iio": (),
    "mmc": ("mmcblk",),
    "pci": ("nvme", "pcieport", "xhci_hcd"),
    "platform": (),
    "pnp": (),
    "scsi": ("sd",),
    "serio": ("atkbd", "psmouse"),
    "soundwire": (),
    "spi": ("spidev",),
    "thunderbolt": ("thunderbolt",),
    "typec": (),
    "usb": ("btusb", "cdc_mbim", "hub", "snd-usb-audio", "usb", "usb-storage", "usbfs", "usbhid", "uvcvideo"),
}
"""Drivers that every invented unit's kernel has loaded, whether or not they hold anything."""

_CLASSES = (
    "backlight",
    "block",
    "bluetooth",
    "dmi",
    "drm",
    "hidraw",
    "hwmon",
    "i2c-adapter",
    "ieee80211",
    "input",
    "mmc_host",
    "net",
    "nvme",
    "power_supply",
    "rfkill",
    "sound",
    "spi_master",
    "thermal",
    "typec",
    "video4linux",
)
_MODALIAS = (
    ("bvn", "bios_vendor"),
    ("bvr", "bios_version"),
    ("bd", "bios_date"),
    ("br", "bios_release"),
    ("svn", "sys_vendor"),
    ("pn", "product_name"),
    ("pvr", "product_version"),
    ("rvn", "board_vendor"),
    ("rn", "board_name"),
    ("rvr", "board_version"),
    ("cvn", "chassis_vendor"),
    ("ct", "chassis_type"),
    ("cvr", "chassis_version"),
    ("sku", "product_sku"),
)
"""What the DMI device's module alias is made of (drivers/firmware/dmi-id.c)."""
_FOR_OWNER = ("board_serial", "chassis_serial", "product_serial", "product_uuid")


def build(laptop: Laptop, folder: Path, conditions: Conditions = HEALTHY) -> Path:
    """The tree of ``laptop`` written into ``folder``, which comes back."""
    writer = Writer(folder)
    for bus, drivers in _DRIVERS.items():
        loaded = (*drivers, *laptop.extra_drivers.get(bus, ()))
        writer.bus(bus, *(driver for driver in loaded if driver not in conditions.unloaded))
    writer.classes(*_CLASSES)
    log = KernelLog()
    log.boot(conditions.kernel, laptop.dmi)
    namespace = Namespace(writer, laptop, conditions)
    site = Site(writer=writer, laptop=laptop, conditions=conditions, namespace=namespace, log=log)
    _dmi(writer, laptop.dmi)
    build_smbios(writer, laptop)
    build_ps2(site)
    build_acpi_parts(site)
    build_pci(site)
    _outside_sysfs(site)
    for path in conditions.unrecorded:
        shutil.rmtree(folder / path)
    return folder


def _dmi(writer: Writer, strings: dict[str, str]) -> None:
    folder = "sys/devices/virtual/dmi/id"
    modalias = "dmi:" + "".join(f"{key}{strings[name].replace(' ', '')}:" for key, name in _MODALIAS)
    writer.class_device(folder, "dmi", "", uevent=f"MODALIAS={modalias}\n", modalias=modalias, **strings)
    for name in _FOR_OWNER:
        if name in strings:
            writer.private(f"{folder}/{name}")


def _outside_sysfs(site: Site) -> None:
    kernel = site.conditions.kernel
    flags = "fpu tsc msr apic sse2" + (" hypervisor" if site.conditions.under_hypervisor else "")
    site.writer.file("proc/cpuinfo", f"processor\t: 0\nmodel name\t: invented\nflags\t\t: {flags}\n\n")
    site.writer.attributes("proc/sys/kernel", osrelease=kernel)
    _drivers_of_the_system(site.writer, kernel)
    site.writer.file("meta/uname.txt", f"Linux bench {kernel} #1 SMP PREEMPT_DYNAMIC x86_64 GNU/Linux\n")
    site.writer.file("meta/dmesg.txt", site.log.text())


_ALIASES = """\
alias usb:v*p*d*dc*dsc*dp*ic03isc*ip*in* usbhid
alias usb:v*p*d*dc*dsc*dp*ic08isc06ip50in* usb_storage
alias usb:v*p*d*dc*dsc*dp*ic0Eisc01ip00in* uvcvideo
alias usb:v*p*d*dcE0dsc01dp01ic*isc*ip*in* btusb
alias hid:b*g*v*p* hid_generic
alias serio:ty01pr*id*ex* psmouse
alias acpi*:PNP0C50:* i2c_hid_acpi
alias acpi*:PNP0C0A:* battery
alias pci:v*d*sv*sd*bc0Csc03i30* xhci_pci
alias pci:v*d*sv*sd*bc01sc08i02* nvme
"""
"""A few lines of the list that depmod(8) makes of a kernel's modules; the patterns are those drivers' own."""


def _drivers_of_the_system(writer: Writer, kernel: str) -> None:
    """What the system says of its drivers: command line, blacklists, and what its modules are made for."""
    writer.file("proc/cmdline", "quiet\n")
    writer.file("proc/modules", "nvme 49152 0 - Live 0x0000000000000000\n")
    writer.file("etc/modprobe.d/bench.conf", "# nothing is blacklisted\n")
    writer.file(f"lib/modules/{kernel}/modules.alias", _ALIASES)
