"""Invented parts on the smaller buses, added to a built tree: cards, Type-C, Thunderbolt, SoundWire, sensors, fans.

Each function adds one part below the root of a tree that ``support.sysfs.build``
has made. Folders, links and formats are the kernel's: Documentation/ABI (named
beside each), drivers/mmc/core, drivers/soundwire/slave.c, drivers/acpi/fan_core.c
and drivers/acpi/thermal.c. The parts are invented.
"""

from __future__ import annotations

from pathlib import Path

from support.tree.writer import Writer

__all__ = [
    "card",
    "chip_fan",
    "firmware_fan",
    "light_sensor",
    "motion_sensor",
    "pci_function",
    "serial_disk",
    "soundwire_codec",
    "thermal_zone",
    "thunderbolt",
    "typec_partner",
    "typec_port",
]

_PCI = "sys/devices/pci0000:00"
_ACPI = "sys/devices/LNXSYSTM:00/LNXSYBUS:00"

_Text = str | int


def _writer(root: Path, *buses: str) -> Writer:
    writer = Writer(root)
    for bus in buses:
        if not (root / "sys/bus" / bus).exists():
            writer.bus(bus)
    return writer


def pci_function(root: Path, slot: str, class_code: str, driver: str) -> str:
    """A PCI function on the root bus; its folder comes back, also when it is there already."""
    folder = f"{_PCI}/0000:00:{slot}"
    if not (root / folder).exists():
        writer = _writer(root)
        writer.bus_device(folder, "pci", driver=driver, vendor="0xf0f0", device="0x0099")
        writer.attributes(folder, **{"class": f"0x{class_code}"})
    return folder


def card(root: Path, kind: str, *, host: str, number: int, sectors: int = 61_071_360) -> str:
    """A card of type ``MMC``, ``SD`` or ``SDIO`` behind a host on the device in folder ``host``; "" for an empty slot.

    Documentation/driver-api/mmc/mmc-dev-attrs.rst; an eMMC's boot partitions are block devices of their own.
    """
    writer = _writer(root, "mmc")
    slot = f"{host}/mmc_host/mmc{number}"
    writer.class_device(slot, "mmc_host", host)
    if not kind:
        return ""
    folder = f"{slot}/mmc{number}:0001"
    told: dict[str, _Text] = {"type": kind}
    if kind != "SDIO":
        told |= {"name": "INVENT", "manfid": "0x0000f0", "oemid": "0x0f0f", "date": "03/2024", "serial": "0x1209abcd"}
    if kind == "MMC":
        told |= {"life_time": "0x01 0x02", "pre_eol_info": "0x01", "rev": "0x8", "fwrev": "0x0500000000000000"}
    writer.bus_device(folder, "mmc", driver="" if kind == "SDIO" else "mmcblk")
    writer.attributes(folder, **told)
    if kind != "SDIO":
        for name in (f"mmcblk{number}", *((f"mmcblk{number}boot0", f"mmcblk{number}boot1") if kind == "MMC" else ())):
            block = f"{folder}/block/{name}" if "boot" not in name else f"{folder}/block/mmcblk{number}/{name}"
            size = sectors if "boot" not in name else 8192
            writer.class_device(block, "block", folder, size=size, removable=0, ro=int("boot" in name))
    return folder


def serial_disk(
    root: Path, *, number: int, port: int, name: str, kind: int = 0, link: dict[str, str] | None = None
) -> None:
    """A disk (or with ``kind`` 5 an optical drive) behind an AHCI port, laid out as a real kernel does.

    ``number`` is the kernel's of the port, ``port`` the controller's; ``link`` holds the attributes of its SATA link.
    """
    writer = Writer(root)
    top = f"{_PCI}/0000:00:1f.0/ata{number}"
    writer.class_device(f"{top}/ata_port/ata{number}", "ata_port", top, port_no=port)
    if link is not None:
        folder = f"{top}/link{number}/ata_link/link{number}"
        writer.class_device(folder, "ata_link", f"{top}/link{number}")
        writer.attributes(folder, **link)
    host = f"{top}/host{number}"
    target = f"{host}/target{number}:0:0"
    device = f"{target}/{number}:0:0:0"
    writer.bus_device(host, "scsi")
    writer.bus_device(target, "scsi")
    writer.bus_device(device, "scsi", type=kind, model="Invented 256")
    writer.class_device(f"{device}/block/{name}", "block", device, size=500_118_192, removable=int(kind == 5), ro=0)


def typec_port(root: Path, number: int, *, controller: str = "USBC000:00") -> str:
    """A Type-C port of a UCSI controller (Documentation/ABI/testing/sysfs-class-typec)."""
    writer = _writer(root, "typec")
    parent = f"sys/devices/platform/{controller}"
    if not (root / parent).exists():
        declared = f"{_ACPI}/{controller}"
        hid = controller.partition(":")[0]
        writer.bus_device(declared, "acpi", path="\\_SB_.UBTC", hid=hid, modalias=f"acpi:{hid}:PNP0CA0:", status=15)
        writer.bus_device(parent, "platform", driver="ucsi_acpi")
        writer.link(f"{parent}/firmware_node", declared)
        writer.link(f"{declared}/physical_node", parent)
    folder = f"{parent}/typec/port{number}"
    writer.class_device(
        folder,
        "typec",
        parent,
        data_role="[host] device",
        power_role="source [sink]",
        port_type="[dual] source sink",
        power_operation_mode="default",
        orientation="unknown",
        usb_power_delivery_revision="3.0",
        usb_typec_revision="1.2",
    )
    for index, svid in enumerate(("ff01", "1209")):
        writer.bus_device(f"{folder}/port{number}.{index}", "typec", svid=svid, mode=1)
    return folder


def typec_partner(root: Path, port: str, *, id_header: str = "0x10001209", product: str = "0x000a0100") -> str:
    """What is plugged into a port, and its cable."""
    writer = _writer(root, "typec")
    name = port.rpartition("/")[2]
    partner = f"{port}/{name}-partner"
    writer.class_device(partner, "typec", port, type="hub", supports_usb_power_delivery="yes")
    writer.attributes(f"{partner}/identity", id_header=id_header, product=product, cert_stat="0x0")
    writer.class_device(f"{port}/{name}-cable", "typec", port, type="passive", plug_type="type-c")
    return partner


def thunderbolt(root: Path, *, domain: int = 0, slot: str = "0d.2", device: bool = False, authorized: int = 1) -> str:
    """A host router, and a dock on a cable (Documentation/ABI/testing/sysfs-bus-thunderbolt)."""
    host = pci_function(root, slot, "0c0340", "thunderbolt")
    writer = _writer(root, "thunderbolt")
    top = f"{host}/domain{domain}"
    writer.bus_device(top, "thunderbolt", security="user", iommu_dma_protection=1, deauthorization=0)
    router = f"{top}/{domain}-0"
    writer.bus_device(router, "thunderbolt", authorized=1, vendor="0x1209", device="0x1", generation=4)
    writer.attributes(router, vendor_name="Fernhill", device_name="Larch 13")
    if device:
        dock = f"{router}/{domain}-1"
        writer.bus_device(dock, "thunderbolt", authorized=authorized, vendor="0x1209", device="0xf", generation=3)
        writer.attributes(dock, vendor_name="Ostrey", device_name="Plank dock", rx_speed="20.0 Gb/s", rx_lanes=2)
        writer.attributes(dock, key="0" * 64, unique_id="c0ffee00-0000-0000-ffff-ffffffffffff")
    return router


def soundwire_codec(
    root: Path, status: str, *, driver: str = "", link: int = 0, part: str = "0008", controller: str = ""
) -> str:
    """A codec that firmware declares on a SoundWire link (Documentation/ABI/testing/sysfs-bus-soundwire-slave).

    ``controller`` is the number with its colon that newer kernels put first.
    """
    writer = _writer(root, "soundwire", "auxiliary")
    audio = pci_function(root, "1f.3", "040100", "invented_audio")
    auxiliary = f"{audio}/soundwire_intel.link.{link}"
    if not (root / auxiliary).exists():
        writer.bus_device(auxiliary, "auxiliary", driver="soundwire_intel.link")
    master = f"{auxiliary}/sdw-master-{link}"
    if not (root / master).exists():
        writer.bus_device(master, "soundwire", revision="0x0")
    folder = f"{master}/sdw:{controller}{link:x}:1209:{part}:01"
    number = "N/A" if status == "UNATTACHED" else "1"
    writer.bus_device(folder, "soundwire", driver=driver, modalias=f"sdw:m1209p{part}v02c01")
    if status:
        writer.attributes(folder, status=status, device_number=number)
    writer.attributes(f"{folder}/dev-properties", mipi_revision="0", source_ports="12", sink_ports="2")
    return folder


def light_sensor(root: Path, parent: str, *, on_hid: bool, number: int = 0) -> str:
    """An ambient light sensor below the device in folder ``parent`` (Documentation/ABI/testing/sysfs-bus-iio).

    On HID the hub's driver makes a platform device of each sensor (drivers/hid/hid-sensor-hub.c).
    """
    writer = _writer(root, "iio")
    if on_hid:
        parent = f"{parent}/HID-SENSOR-200041.{number + 1}.auto"
        writer.bus_device(parent, "platform", driver="hid_sensor_als")
    folder = f"{parent}/iio:device{number}"
    writer.bus_device(folder, "iio", name="als")
    writer.attributes(folder, in_illuminance_raw=0, in_illuminance_scale=1, in_intensity_both_raw=0)
    writer.bus_device(f"{parent}/trigger{number}", "iio", name=f"als-dev{number}")
    return folder


def motion_sensor(root: Path, parent: str, *, number: int = 1) -> str:
    """An accelerometer below the device in folder ``parent``."""
    folder = f"{parent}/iio:device{number}"
    writer = _writer(root, "iio")
    writer.bus_device(folder, "iio", name="accel_3d", label="accel-display")
    writer.attributes(folder, in_accel_x_raw=0, in_accel_y_raw=0, in_accel_z_raw=0, in_accel_scale="0.009806")
    return folder


def firmware_fan(root: Path, *, number: int = 0, rpm: int | None = None) -> str:
    """A fan that firmware declares, its platform device and its cooling device; with ``rpm`` also its chip."""
    writer = _writer(root)
    name = f"PNP0C0B:{number:02x}"
    declared = f"{_ACPI}/{name}"
    writer.bus_device(declared, "acpi", path=f"\\_SB_.FAN{number}", hid="PNP0C0B", modalias="acpi:PNP0C0B:", status=15)
    device = f"sys/devices/platform/{name}"
    writer.bus_device(device, "platform", driver="acpi-fan")
    writer.link(f"{device}/firmware_node", declared)
    writer.link(f"{declared}/physical_node", device)
    cooler = f"sys/devices/virtual/thermal/cooling_device{40 + number}"
    writer.class_device(cooler, "thermal", device, type="Fan", cur_state=0, max_state=1)
    if rpm is not None:
        chip = f"{device}/hwmon/hwmon{40 + number}"
        writer.class_device(chip, "hwmon", device, name="acpi_fan", fan1_input=rpm)
    return declared


def chip_fan(root: Path, rpm: int, *, fault: int | None = None) -> str:
    """A fan that a monitoring chip without a firmware object measures (Documentation/ABI/testing/sysfs-class-hwmon)."""
    writer = _writer(root)
    device = "sys/devices/platform/invented_ec"
    writer.bus_device(device, "platform", driver="invented_ec")
    chip = f"{device}/hwmon/hwmon50"
    writer.class_device(chip, "hwmon", device, name="invented_ec", temp1_input=41_000, temp1_label="CPU")
    writer.attributes(chip, fan1_input=rpm, fan1_label="CPU fan")
    if fault is not None:
        writer.attributes(chip, fan1_fault=fault)
    return device


def thermal_zone(root: Path, number: int, kind: str, millidegrees: int | None, *, path: str = "") -> str:
    """A thermal zone; with ``path`` it belongs to a firmware object (drivers/acpi/thermal.c)."""
    writer = _writer(root)
    declared = ""
    if path:
        declared = f"sys/devices/LNXSYSTM:00/LNXSYBUS:01/LNXTHERM:{number:02x}"
        writer.bus_device(declared, "acpi", path="\\" + path, hid="LNXTHERM")
    folder = f"sys/devices/virtual/thermal/thermal_zone{number}"
    writer.class_device(folder, "thermal", declared, type=kind, mode="enabled")
    if millidegrees is not None:
        writer.attributes(folder, temp=millidegrees)
    return folder
