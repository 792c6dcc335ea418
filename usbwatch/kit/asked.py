"""What the readers of a capture ask a unit's sysfs for, bus by bus: all that the shell script copies, and no more.

sysfs holds files whose reading does something (a USB port's ``disable``, PCI
``rom``, ``power/level``), so a copy of everything is out of the question. The
tables follow the readers in ``usbwatch.capture``; tests hold them complete by
recording what the readers ask for, and by comparing captures.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields
from typing import NamedTuple

from usbwatch.capture.live import GUARDED
from usbwatch.capture.look import BUSES
from usbwatch.model import UnitStrings

__all__ = ["ASKED", "LINKS", "Asked", "calls"]

LINKS = ("subsystem", "driver", "firmware_node", "physical_node", "device", "peer", "phy80211")
"""Links beside the files of any device."""


class Asked(NamedTuple):
    """What is asked of each device of one bus or class."""

    files: str
    """Names below the device's folder; patterns of the shell."""
    awake: str = ""
    """More of them, asked for while the device (or, of a class, the one behind it) sleeps not."""
    named: str = ""
    """More of them, asked for where firmware gave the device a hardware id."""
    listed: str = ""
    """Names that are only seen in the listing; such a file is never read."""


_PLACE = "physical_location/panel physical_location/lid physical_location/dock"

ASKED: Mapping[str, Asked] = {
    "bus/acpi": Asked("hid path", named="status uid description modalias"),
    "bus/hdaudio": Asked("vendor_id vendor_name chip_name subsystem_id revision_id modalias"),
    "bus/hid": Asked("report_descriptor uevent modalias"),
    "bus/i2c": Asked("name modalias waiting_for_supplier"),
    "bus/iio": Asked("name label", listed="in_*_raw in_*_input"),
    "bus/mmc": Asked(
        "type name model manfid oemid hwrev fwrev rev date serial life_time pre_eol_info modalias",
    ),
    "bus/pci": Asked(
        "vendor device class subsystem_vendor subsystem_device revision removable modalias power/runtime_status",
        awake="current_link_speed current_link_width max_link_speed max_link_width",
    ),
    "bus/platform": Asked("modalias hid power/runtime_status"),
    "bus/scsi": Asked("model type modalias"),
    "bus/sdio": Asked("modalias"),
    "bus/serio": Asked("firmware_id description protocol id/type modalias"),
    "bus/soundwire": Asked(
        "status device_number modalias dev-properties/mipi_revision dev-properties/source_ports "
        "dev-properties/sink_ports dev-properties/wake_capable",
    ),
    "bus/spi": Asked("name modalias waiting_for_supplier"),
    "bus/thunderbolt": Asked(
        "security iommu_dma_protection deauthorization device_name vendor_name nvm_version rx_speed tx_speed "
        "authorized generation rx_lanes tx_lanes vendor device",
    ),
    "bus/usb": Asked(
        "idVendor idProduct bDeviceClass bDeviceSubClass bDeviceProtocol speed version bcdDevice quirks removable "
        "authorized bNumConfigurations bMaxPacketSize0 maxchild rx_lanes tx_lanes descriptors modalias "
        "bInterfaceClass bInterfaceSubClass bInterfaceProtocol "
        f"{_PLACE} *-port*/connect_type *-port*/state *-port*/location *-port*/over_current_count "
        "*-port*/physical_location/panel *-port*/physical_location/lid *-port*/physical_location/dock "
        "bConfigurationValue bMaxPower bNumInterfaces manufacturer product serial interface bos_descriptors",
    ),
    "class/ata_link": Asked("sata_spd sata_spd_limit hw_sata_spd_limit"),
    "class/ata_port": Asked("port_no"),
    "class/backlight": Asked("type scale max_brightness"),
    "class/block": Asked("partition removable size ro"),
    "class/bluetooth": Asked(""),
    "class/dmi": Asked(" ".join(field.name for field in fields(UnitStrings))),
    "class/drm": Asked("edid status enabled modes"),
    "class/hwmon": Asked("name fan*_label temp*_label", awake="fan*_input fan*_fault", listed="fan*_input"),
    "class/input": Asked(
        "name properties id/bustype id/vendor id/product capabilities/ev capabilities/key capabilities/rel "
        "capabilities/abs capabilities/sw",
    ),
    "class/mmc_host": Asked(""),
    "class/net": Asked("address uevent"),
    "class/nvme": Asked("model type serial firmware_rev state transport"),
    "class/power_supply": Asked(
        "type scope status health technology capacity_level charge_behaviour manufacturer model_name serial_number "
        "present online capacity cycle_count voltage_now voltage_min_design current_now power_now charge_full_design "
        "charge_full charge_now energy_full_design energy_full energy_now charge_control_start_threshold "
        "charge_control_end_threshold",
    ),
    "class/rfkill": Asked("type hard soft"),
    "class/sound": Asked(""),
    "class/spi_master": Asked(""),
    "class/thermal": Asked("type temp max_state"),
    "class/typec": Asked(
        "data_role power_role port_type power_operation_mode orientation vconn_source usb_power_delivery_revision "
        "usb_typec_revision type plug_type accessory_mode supports_usb_power_delivery identity/id_header "
        "identity/product *.*/svid",
    ),
    "class/video4linux": Asked("name"),
}
"""By folder below ``sys``."""

_VIRTUAL_TOO = frozenset({"class/dmi", "class/thermal"})
"""Classes of which the readers look at devices that no hardware carries, too."""


def calls() -> Iterator[str]:
    """The lines of shell that copy all this: one or two for each bus and class."""
    with_drivers = {folder.split("/")[2] for _, folder, _ in BUSES if folder.startswith("sys/bus/")}
    for folder, asked in ASKED.items():
        kind, _, name = folder.partition("/")
        where = f"{folder}/devices" if kind == "bus" else folder
        yield f"look {where} {'all' if folder in _VIRTUAL_TOO else 'hardware'}"
        yield from (f"  each {how} {words}" for how, words in _sorted(asked))
        if name in with_drivers and kind == "bus":
            yield f"drivers {folder}"


def _sorted(asked: Asked) -> Iterator[tuple[str, str]]:
    """How and what: the files of one folder together, those that the kernel can hold back for themselves."""
    for condition, names in (("always", asked.files), ("awake", asked.awake), ("named", asked.named)):
        by_folder: dict[str, list[str]] = {}
        for path in names.split():
            above, _, name = path.rpartition("/")
            how = "guarded" if name in GUARDED and above == "" else condition
            by_folder.setdefault(f"{how} '{above or '.'}'", []).append(name)
        yield from ((how, _quoted(found)) for how, found in by_folder.items())
    if asked.listed:
        yield "listed '.'", _quoted(asked.listed.split())


def _quoted(names: list[str]) -> str:
    return f"'{' '.join(names)}'"
