"""PCI functions and what hangs on them.

drivers/pci/pci-sysfs.c; I2C and SPI controllers with the clients that
firmware declares on them (drivers/i2c/i2c-core-acpi.c, drivers/spi/spi.c): a
client folder exists because firmware declared it, a driver holds it only when
the part answered.
"""

from __future__ import annotations

from support.tree import made
from support.tree.inputs import HID_KINDS, hid_device
from support.tree.parts import I2cClient, PciPart, SpiClient
from support.tree.site import Site
from support.tree.usb import build_controller

__all__ = ["build_pci"]

_I2C, _SPI = 0x18, 0x1C


def build_pci(site: Site) -> None:
    """Every PCI function that is there."""
    site.writer.attributes("sys/devices/pci0000:00/power", control="auto")
    site.writer.file("sys/devices/pci0000:00/uevent", b"")
    site.namespace.bind("sys/devices/pci0000:00", "_SB_.PCI0")
    for pci in site.pci_parts():
        _function(site, pci)


def _function(site: Site, pci: PciPart) -> None:
    folder, name = site.pci_folder(pci.slot), site.pci_name(pci.slot)
    driver = pci.driver if site.drives(pci.id, pci.driver) else ""
    code = pci.class_code
    identity, subsystem = f"{pci.vendor:04X}:{pci.device:04X}", f"{pci.vendor:04X}:0001"
    modalias = (
        f"pci:v{pci.vendor:08X}d{pci.device:08X}sv{pci.vendor:08X}sd00000001"
        f"bc{code[:2].upper()}sc{code[2:4].upper()}i{code[4:].upper()}"
    )
    uevent = (f"DRIVER={driver}\n" if driver else "") + (
        f"PCI_CLASS={code.lstrip('0').upper()}\nPCI_ID={identity}\nPCI_SUBSYS_ID={subsystem}\n"
        f"PCI_SLOT_NAME={name}\nMODALIAS={modalias}\n"
    )
    site.writer.bus_device(folder, "pci", driver=driver, uevent=uevent, **_values(site, pci, modalias))
    site.namespace.bind(folder, f"_SB_.PCI0.{pci.acpi_name}")
    if driver:
        _made(site, pci, folder, name)


def _values(site: Site, pci: PciPart, modalias: str) -> dict[str, str]:
    speed, width = pci.link or ("Unknown", 0)
    speed_now, width_now = site.conditions.slow_links.get(pci.id, (speed, width))
    links = {
        "current_link_speed": speed_now,
        "max_link_speed": speed,
        "current_link_width": str(width_now),
        "max_link_width": str(width or 255),
    }
    return {
        "class": f"0x{pci.class_code}",
        "vendor": f"0x{pci.vendor:04x}",
        "device": f"0x{pci.device:04x}",
        "subsystem_vendor": f"0x{pci.vendor:04x}",
        "subsystem_device": "0x0001",
        "revision": "0x01",
        "enable": "1",
        "irq": "16",
        "power_state": "D0",
        "driver_override": "(null)",
        "modalias": modalias,
        **(links if pci.link else {}),
    }


def _made(site: Site, pci: PciPart, folder: str, name: str) -> None:
    """What the function's driver makes."""
    if pci.usb2_ports:
        build_controller(site, pci, folder)
    if pci.nvme:
        made.nvme_disk(site, pci.nvme, name, folder)
    if pci.codec:
        made.codec_and_card(site, pci.codec, folder, pci.id)
    if pci.radio:
        made.network(site, pci.radio, folder)
    if pci.connectors:
        made.connectors(site, pci.connectors, folder)
    if pci.i2c_name:
        _i2c(site, pci, folder)
    if pci.spi:
        _spi(site, pci, folder)


def _i2c(site: Site, pci: PciPart, folder: str) -> None:
    number = site.writer.number("i2c")
    adapter = f"{folder}/i2c-{number}"
    site.writer.bus_device(adapter, "i2c", name=pci.i2c_name)
    site.writer.link(f"sys/class/i2c-adapter/i2c-{number}", adapter)
    site.writer.link(f"{adapter}/device", folder)
    site.namespace.bind(adapter, f"_SB_.PCI0.{pci.acpi_name}")
    for client in pci.i2c:
        if site.conditions.statuses.get(client.id, 15):
            _i2c_client(site, pci, client, adapter)


def _i2c_client(site: Site, pci: PciPart, client: I2cClient, adapter: str) -> None:
    path = f"_SB_.PCI0.{pci.acpi_name}.{client.acpi_name}"
    name = site.namespace.folder(path).rpartition("/")[2]
    modalias = "acpi:" + "".join(f"{identity}:" for identity in (client.hid, client.cid) if identity)
    answers = client.id not in site.conditions.missing and site.drives(client.id, client.driver)
    folder = f"{adapter}/i2c-{name}"
    site.writer.bus_device(
        folder,
        "i2c",
        driver=client.driver if answers else "",
        uevent=f"MODALIAS={modalias}\n",
        name=name,
        modalias=modalias,
        waiting_for_supplier=0,
    )
    site.namespace.bind(folder, path)
    if answers and client.kind:
        _client_hid(site, client, folder, bus=_I2C, name=f"{name} {client.vendor:04X}:{client.product:04X}", phys=name)


def _spi(site: Site, pci: PciPart, folder: str) -> None:
    number = site.writer.number("spi")
    master = f"{folder}/spi_master/spi{number}"
    site.writer.class_device(master, "spi_master", folder)
    for client in pci.spi:
        if site.conditions.statuses.get(client.id, 15):
            _spi_client(site, pci, client, master)


def _spi_client(site: Site, pci: PciPart, client: SpiClient, master: str) -> None:
    path = f"_SB_.PCI0.{pci.acpi_name}.{client.acpi_name}"
    name = site.namespace.folder(path).rpartition("/")[2]
    answers = client.id not in site.conditions.missing and site.drives(client.id, client.driver)
    folder = f"{master}/spi-{name}"
    site.writer.bus_device(
        folder,
        "spi",
        driver=client.driver if answers else "",
        uevent=f"MODALIAS=acpi:{client.hid}:\n",
        modalias=f"acpi:{client.hid}:",
    )
    site.namespace.bind(folder, path)
    if answers and client.kind:
        _client_hid(site, client, folder, bus=_SPI, name=f"spi {client.vendor:04X}:{client.product:04X}", phys=name)


def _client_hid(site: Site, client: I2cClient | SpiClient, folder: str, *, bus: int, name: str, phys: str) -> None:
    kind = HID_KINDS[client.kind]
    identity = {"vendor": client.vendor, "product": client.product}
    hid_device(site.writer, folder, kind, bus=bus, name=name, phys=f"i2c-{phys}" if bus == _I2C else phys, **identity)
