"""Which of the kernel's drivers go along: those of every bus that a capture looks at, whole folders at a time.

A driver that is not there would be read as a part that is not there, so what
is left out is what no capture asks for, or what would act on a unit beyond
finding its parts:

* ``drivers/md``, ``drivers/target``, ``drivers/block/drbd`` and most of ``fs``: nothing of the unit's disks is put
  together, mounted or served; FAT alone is read, for the stick's own partition;
* ``drivers/firmware/efi`` with ``efi-pstore``, which writes the kernel's last words into the firmware's own store;
* ``drivers/watchdog``: one that was started and forgotten would restart the unit;
* ``drivers/video/fbdev``: drivers of old graphics, which would take the screen from the firmware's own picture;
* ``drivers/mtd`` and ``drivers/spi/spi-intel*``: they make the chip that holds the firmware reachable;
* ``drivers/infiniband``, ``drivers/isdn``, ``drivers/scsi`` but for disks, ``drivers/xen``, ``drivers/comedi``, network
  protocols and file systems, virtual machines, television, games: no laptop of the last fifteen years has a part of its
  own for them (common practice, no source).
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

from usbwatch.errors import CannotBuild
from usbwatch.stick.running import run

__all__ = ["FOLDERS", "LEFT_OUT", "add_drivers", "chosen", "hold_back", "release_in"]

FOLDERS = (
    # the buses themselves
    "drivers/usb/common",
    "drivers/usb/core",
    "drivers/usb/host",
    "drivers/usb/dwc2",
    "drivers/usb/dwc3",
    "drivers/usb/roles",
    "drivers/usb/typec",
    "drivers/usb/storage",
    "drivers/usb/class",
    "drivers/usb/misc",
    "drivers/usb/serial",  # consoles, and adapters on the bench
    "drivers/thunderbolt",
    "drivers/pci",
    "drivers/i2c",
    "drivers/spi",
    "drivers/gpio",
    "drivers/pinctrl",
    "drivers/mfd",  # intel-lpss and its like, which carry I2C and SPI hosts
    "drivers/dma",
    "drivers/base",
    "drivers/soundwire",
    "drivers/mmc",
    "drivers/memstick",
    "drivers/misc",
    "drivers/pwm",
    "drivers/firewire",
    "drivers/pcmcia",
    "drivers/parport",
    "drivers/tty/serial",
    "drivers/extcon",
    "drivers/phy",
    "drivers/mux",
    "drivers/regulator",
    # what firmware describes
    "drivers/acpi",
    "drivers/platform",
    "drivers/power",
    "drivers/thermal",
    "drivers/hwmon",
    "drivers/leds",
    "drivers/char/hw_random",
    "drivers/char/tpm",
    "drivers/crypto/ccp",
    "drivers/rtc",
    "drivers/nvmem",
    "drivers/ptp",
    "drivers/powercap",
    "drivers/cpufreq",
    "drivers/counter",
    # input
    "drivers/hid",
    "drivers/input",
    "drivers/media/rc",
    # sensors
    "drivers/iio",
    # display
    "drivers/gpu",
    "drivers/video/backlight",
    "drivers/media/cec",
    # sound
    "sound",
    # cameras
    "drivers/media/usb/uvc",
    "drivers/media/usb/gspca",
    "drivers/media/common",
    "drivers/media/mc",
    "drivers/media/v4l2-core",
    "drivers/media/i2c",
    "drivers/media/pci/intel",
    "drivers/staging/media",
    # disks: found, never mounted
    "drivers/ata",
    "drivers/nvme/common",
    "drivers/nvme/host",
    "drivers/scsi/scsi_mod.ko",
    "drivers/scsi/scsi_common.ko",
    "drivers/scsi/sd_mod.ko",
    "drivers/scsi/sr_mod.ko",
    "drivers/ufs",
    "drivers/cdrom",
    # network and radio
    "drivers/bluetooth",
    "drivers/net/ethernet",
    "drivers/net/phy",
    "drivers/net/mdio",
    "drivers/net/pcs",
    "drivers/net/usb",
    "drivers/net/wireless",
    "drivers/net/wwan",
    "drivers/nfc",
    "drivers/bus/mhi",
    "drivers/staging/r8188eu",
    "drivers/staging/rtl8192e",
    "drivers/staging/rtl8723bs",
    "drivers/staging/rts5208",
    # emulated units
    "drivers/virtio",
    "drivers/block/virtio_blk.ko",
    "drivers/net/virtio_net.ko",
    "drivers/char/virtio_console.ko",
    # the stick's own partition
    "fs/fat",
    "fs/nls",
)
"""Folders, and single files, below ``kernel`` in the folder of a release's modules."""

LEFT_OUT = (
    "drivers/gpu/drm/vmwgfx",
    "drivers/hid/hid-hyperv.ko",
    "drivers/hwmon/pmbus",  # supplies of servers
    "drivers/input/joystick",
    "drivers/input/gameport",
    "drivers/misc/genwqe",
    "drivers/misc/habanalabs",
    "drivers/misc/ibmasm",
    "drivers/misc/lkdtm",
    "drivers/misc/sgi-gru",
    "drivers/misc/sgi-xp",
    "drivers/misc/vmw_vmci",
    "drivers/mmc/core/mmc_test.ko",
    "drivers/mtd",
    "drivers/net/ethernet/broadcom/bnx2x",  # adapters of servers
    "drivers/net/ethernet/brocade",
    "drivers/net/ethernet/chelsio",
    "drivers/net/ethernet/cisco",
    "drivers/net/ethernet/emulex",
    "drivers/net/ethernet/fungible",
    "drivers/net/ethernet/huawei",
    "drivers/net/ethernet/intel/fm10k",
    "drivers/net/ethernet/intel/i40e",
    "drivers/net/ethernet/intel/ice",
    "drivers/net/ethernet/mellanox",
    "drivers/net/ethernet/netronome",
    "drivers/net/ethernet/neterion",
    "drivers/net/ethernet/pensando",
    "drivers/net/ethernet/qlogic",
    "drivers/net/ethernet/sfc",
    "drivers/net/wireless/mac80211_hwsim.ko",
    "drivers/spi/spi-intel.ko",
    "drivers/spi/spi-intel-pci.ko",
    "drivers/spi/spi-intel-platform.ko",
    "drivers/pci/hotplug",
    "sound/firewire",
    "sound/pci/asihpi",
    "sound/pci/echoaudio",
)
"""What is left out of those, unless another driver needs it."""


def release_in(kernel: Path) -> str:
    """The release of the kernel package that was unpacked there, as ``uname -r`` has it."""
    for modules in (kernel / "lib" / "modules", kernel / "usr" / "lib" / "modules"):
        found = sorted(one.name for one in modules.iterdir()) if modules.is_dir() else []
        if found:
            return found[0]
    raise CannotBuild("the kernel's package has no drivers in it", "run sudo apt-get update, and build again")


def chosen(
    dependencies: str, wanted: Iterable[str] = FOLDERS, left_out: Iterable[str] = LEFT_OUT, soft: str = ""
) -> tuple[str, ...]:
    """The files of the drivers that are ``wanted`` and of those that they need, in order.

    ``dependencies``: what ``depmod`` writes to ``modules.dep`` (modules.dep(5)),
    ``soft``: to ``modules.softdep``, which drivers ask for and do without
    (modprobe.d(5)). A name without a folder is a single driver, ``sd_mod`` or ``sd-mod``.
    """
    needs: dict[str, list[str]] = {}
    for line in dependencies.splitlines():
        file, _, others = line.partition(":")
        needs[file] = others.split()
    prefixes, refused = tuple(wanted), tuple(left_out)
    picked = {file for file in needs if _within(file, prefixes) and not _within(file, refused)}
    picked |= {other for file in picked for other in needs[file]}
    picked |= _asked_for(picked, {_name(file): file for file in needs}, soft)
    return tuple(sorted(picked | {other for file in picked for other in needs[file]}))


def _name(file: str) -> str:
    return PurePosixPath(file).name.partition(".")[0].replace("-", "_")


def _asked_for(picked: set[str], files: dict[str, str], soft: str) -> set[str]:
    """The files of what the picked ones ask for by name."""
    names = {_name(file) for file in picked}
    found = set()
    for line in soft.splitlines():
        words = line.replace("-", "_").split()
        if len(words) > 2 and words[0] == "softdep" and words[1] in names:  # noqa: PLR2004 - the word, who, whom
            found |= {files[word] for word in words[2:] if word in files}
    return found


def _within(file: str, places: tuple[str, ...]) -> bool:
    path = PurePosixPath(file)
    inner = "/".join(path.parts[1:])  # without "kernel"
    name = _name(file)
    return any(
        inner.startswith(f"{place}/") or (inner.startswith(place) and place.endswith(".ko"))
        if "/" in place or place == "sound"
        else name == place.replace("-", "_")
        for place in places
    )


def add_drivers(kernel: Path, root: Path, wanted: Iterable[str] = FOLDERS, left_out: Iterable[str] = LEFT_OUT) -> str:
    """Copy drivers from an unpacked kernel package into a root, byte for byte as they were signed; the release."""
    release = release_in(kernel)
    run("depmod", "-b", kernel, release)
    source = next(one for one in (kernel / "lib" / "modules", kernel / "usr" / "lib" / "modules") if one.is_dir())
    target = root / "lib" / "modules" / release
    target.mkdir(parents=True, exist_ok=True)
    needs, soft = ((source / release / f"modules.{kind}").read_text("utf-8") for kind in ("dep", "softdep"))
    for file in chosen(needs, wanted, left_out, soft):
        (target / file).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(source / release / file, target / file)
    for name in ("modules.order", "modules.builtin", "modules.builtin.modinfo"):
        shutil.copy2(source / release / name, target)
    run("depmod", "-b", root, release)
    return release


_NOTHING_WITHOUT = {"amdgpu": "firmware-amd-graphics"}
"""Drivers that can do nothing without firmware and might take the screen from the firmware's own picture before they
give up; each with the package that has it, in a folder of the driver's name."""


def hold_back(root: Path) -> None:
    """Keep drivers from being loaded that would fail for want of firmware that is not in this root.

    A capture reads this file (modprobe.d(5)), so the part is told as one that software keeps from its driver.
    """
    lines = []
    for driver, package in _NOTHING_WITHOUT.items():
        if not (root / "lib" / "firmware" / driver).is_dir():
            lines += [f"# It does nothing without its firmware: usbwatch stick --with {package}", f"blacklist {driver}"]
    configured = root / "etc" / "modprobe.d"
    configured.mkdir(parents=True, exist_ok=True)
    (configured / "no-firmware.conf").write_text("".join(f"{line}\n" for line in lines), "utf-8")
