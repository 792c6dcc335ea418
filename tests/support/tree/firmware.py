"""The ACPI namespace as sysfs shows it.

drivers/acpi/device_sysfs.c, scan.c and glue.c: an object with a hardware id
is called after it, one without ``device:NN``; ``physical_node`` leads to what
the kernel made of it and ``firmware_node`` back.
"""

from __future__ import annotations

from support.tree.conditions import Conditions
from support.tree.parts import AcpiPart, I2cClient, Laptop, PciPart, SpiClient, UsbPart
from support.tree.writer import Writer

__all__ = ["Namespace", "port_position"]

_ROOT = "sys/devices/LNXSYSTM:00"
_HUB_PORTS_START = 16


class Namespace:
    """Every object that firmware declares, by its path; ``bind`` ties devices to them."""

    def __init__(self, writer: Writer, laptop: Laptop, conditions: Conditions) -> None:
        self._writer = writer
        self._conditions = conditions
        self._folders: dict[str, str] = {}
        self._bound: dict[str, int] = {}
        self._unnamed = 0
        self._declare_roots()
        for pci in laptop.pci:
            self._declare_function(pci, laptop.usb)
        for port in laptop.serio:
            parent = f"_SB_.PCI0.{laptop.lpc}"
            self.declare(f"{parent}.{port.acpi_name}", hid=port.pnp_id, status=15)
        for part in laptop.acpi:
            if part.id not in conditions.missing:
                self._declare_part(part)

    def _declare_roots(self) -> None:
        self._folders[""] = _ROOT
        self._object(_ROOT, "\\", "LNXSYSTM")
        self.declare("_SB_", hid="LNXSYBUS")
        self.declare("_TZ_", hid="LNXSYBUS")
        self.declare("_SB_.PCI0", hid="PNP0A08", cid="PNP0A03", uid="0", address=0)

    def declare(
        self,
        path: str,
        *,
        hid: str = "",
        cid: str = "",
        uid: str = "",
        status: int | None = None,
        address: int | None = None,
    ) -> str:
        """A new object; its folder comes back. Its parent must be declared already."""
        parent = self._folders[path.rpartition(".")[0]]
        if hid:
            name = f"{hid}:{self._writer.number(f'acpi {hid}'):02x}"
        else:
            name, self._unnamed = f"device:{self._unnamed:02x}", self._unnamed + 1
        folder = f"{parent}/{name}"
        self._folders[path] = folder
        self._object(folder, "\\" + path, hid, cid)
        more = {"uid": uid, "adr": "" if address is None else f"0x{address:08x}"}
        self._writer.attributes(folder, **{key: value for key, value in more.items() if value})
        if status is not None:
            self._writer.attributes(folder, status=status)
        return folder

    def _object(self, folder: str, path: str, hid: str, cid: str = "") -> None:
        modalias = "acpi:" + "".join(f"{identity}:" for identity in (hid, cid) if identity) if hid else ""
        named = {"hid": hid, "modalias": modalias} if hid else {}
        uevent = f"MODALIAS={modalias}\n" if modalias else ""
        self._writer.bus_device(folder, "acpi", uevent=uevent, path=path, **named)

    def _declare_function(self, pci: PciPart, usb: tuple[UsbPart, ...]) -> None:
        path = f"_SB_.PCI0.{pci.acpi_name}"
        device, _, function = pci.slot.rpartition("/")[2].partition(".")
        self.declare(path, address=int(device, 16) << 16 | int(function))
        hubs = {part.port: part for part in usb if part.ports and part.controller == pci.id}
        if pci.usb2_ports and not self._conditions.unmapped_ports:
            self._declare_ports(path, pci, hubs)
        clients: tuple[I2cClient | SpiClient, ...] = (*pci.i2c, *pci.spi)
        for client in clients:
            status = self._conditions.statuses.get(client.id, 15)
            cid = getattr(client, "cid", "")
            self.declare(f"{path}.{client.acpi_name}", hid=client.hid, cid=cid, uid="1", status=status)

    def _declare_ports(self, path: str, pci: PciPart, hubs: dict[str, UsbPart]) -> None:
        self.declare(f"{path}.RHUB", address=0)
        for port in pci.usb2_ports:
            at = f"{path}.RHUB.HS{port.number:02d}"
            self.declare(at, address=port.number)
            hub = hubs.get(str(port.number))
            for below in hub.ports if hub else ():
                self.declare(f"{at}.HP{below.number:02d}", address=below.number)
        for number in range(1, pci.usb3_ports + 1):
            self.declare(f"{path}.RHUB.SS{number:02d}", address=len(pci.usb2_ports) + number)

    def _declare_part(self, part: AcpiPart) -> None:
        status = self._conditions.statuses.get(part.id, part.status)
        if part.battery and status == 15:
            status = 15 if self._conditions.battery == "absent" else 31
        folder = self.declare(part.path, hid=part.hid, uid=part.uid, status=status)
        if part.platform and status != 0:
            name = folder.rpartition("/")[2]
            modalias = f"acpi:{part.hid}:"
            at = f"sys/devices/platform/{name}"
            self._writer.bus_device(
                at, "platform", uevent=f"MODALIAS={modalias}\n", driver_override="(null)", modalias=modalias
            )
            self.bind(at, part.path)

    def folder(self, path: str) -> str:
        """Folder of a declared object, "" for one that is not."""
        return self._folders.get(path, "")

    def bind(self, device: str, path: str) -> None:
        """Tie the device at a folder to a declared object; nothing happens where firmware declares none."""
        folder = self._folders.get(path)
        if folder is None:
            return
        count = self._bound.get(path, 0)
        self._bound[path] = count + 1
        self._writer.link(f"{folder}/physical_node{count or ''}", device)
        self._writer.link(f"{device}/firmware_node", folder)

    def drive(self, path: str, driver: str) -> None:
        """Bind a driver to an ACPI object itself, as the battery, adapter and button drivers do."""
        folder = self._folders[path]
        name = folder.rpartition("/")[2]
        self._writer.link(f"{folder}/driver", f"sys/bus/acpi/drivers/{driver}")
        self._writer.link(f"sys/bus/acpi/drivers/{driver}/{name}", folder)
        uevent = self._writer.root / folder / "uevent"
        uevent.write_text(f"DRIVER={driver}\n" + uevent.read_text())

    def usb_port(self, controller: str, chain: str, *, super_speed: bool = False) -> str:
        """Path of the object of a USB port: ``…RHUB.HS04.HP01`` for chain 4.1."""
        root, *below = chain.split(".")
        prefix = "SS" if super_speed else "HS"
        path = f"_SB_.PCI0.{controller}.RHUB" + (f".{prefix}{int(root):02d}" if root else "")
        return path + "".join(f".HP{int(number):02d}" for number in below)


def port_position(chain: str) -> int:
    """The position that the port's ``_PLD`` gives: the same for both speeds of a connector."""
    root, *below = (int(number) for number in chain.split("."))
    return root if not below else _HUB_PORTS_START * root + below[-1]
