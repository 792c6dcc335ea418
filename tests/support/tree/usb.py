"""The USB part of sysfs: root hubs, ports, devices, interfaces, and what their drivers make.

drivers/usb/core/{sysfs,port,usb,message,endpoint}.c, hcd.c for the root hubs.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from support.tree import made
from support.tree.descriptors import descriptors, root_hub_descriptors
from support.tree.firmware import port_position
from support.tree.parts import Endpoint, PciPart, UsbInterface, UsbPart, UsbPort
from support.tree.site import Site

__all__ = ["build_controller"]

_SUPER_SPEED = 5000
_REMOVABLE = {"hotplug": "removable", "hardwired": "fixed", "not used": "fixed", "unknown": "unknown"}
_TYPES = ("Control", "Isoc", "Bulk", "Interrupt")


@dataclass(slots=True, kw_only=True)
class Bus:
    """One root hub with its bus number, and the devices numbered on it so far."""

    controller: PciPart
    number: int
    folder: str
    super_speed: bool
    next_device: int = 2
    interface_at: dict[str, str] = field(default_factory=dict)
    """Folder of the hub interface, by the hub's port chain ("" for the root hub)."""
    port_type: dict[str, str] = field(default_factory=dict)

    def name(self, chain: str) -> str:
        """The kernel's name of the device on a port chain."""
        return f"{self.number}-{chain}"

    def port_name(self, chain: str) -> str:
        """The kernel's name of a port."""
        above, _, number = chain.rpartition(".")
        return f"{self.name(above)}-port{number}" if above else f"usb{self.number}-port{number}"

    def port_folder(self, chain: str) -> str:
        """Folder of a port."""
        return f"{self.interface_at[chain.rpartition('.')[0]]}/{self.port_name(chain)}"


def build_controller(site: Site, pci: PciPart, folder: str) -> None:
    """Both root hubs of an xHCI controller at ``folder``, and everything on them."""
    high, fast = site.bus_numbers(pci.id)
    buses = [Bus(controller=pci, number=high, folder=f"{folder}/usb{high}", super_speed=False)]
    if pci.usb3_ports:
        buses.append(Bus(controller=pci, number=fast, folder=f"{folder}/usb{fast}", super_speed=True))
    for bus in buses:
        _root_hub(site, bus)
    if pci.usb3_ports:
        _peers(site, pci, *buses)
    for part in site.usb_parts(pci.id):
        bus = buses[-1] if site.speed(part) >= _SUPER_SPEED else buses[0]
        _plug(site, bus, part)


def _release(kernel: str) -> int:
    """The kernel's version in BCD, as its root hubs carry it (drivers/usb/core/hcd.c)."""
    major, minor = kernel.split(".")[:2]
    return int(major, 16) << 8 | int(minor, 16)


def _root_hub(site: Site, bus: Bus) -> None:
    release = _release(site.conditions.kernel)
    address = site.pci_name(bus.controller.slot)
    ports = _root_ports(bus)
    hub = UsbPart(
        id="",
        port="0",
        vendor=0x1D6B,
        product=3 if bus.super_speed else 2,
        manufacturer=f"Linux {site.conditions.kernel} xhci-hcd",
        product_name="xHCI Host Controller",
        serial=address,
        triple=(9, 0, 3 if bus.super_speed else 1),
        version=0x0300 if bus.super_speed else 0x0200,
        release=release,
        speed=_SUPER_SPEED if bus.super_speed else 480,
        max_power_ma=0,
        interfaces=(UsbInterface(triple=(9, 0, 0), driver="hub", endpoints=(_ROOT_ENDPOINT,)),),
        ports=ports,
    )
    site.log.add(f"xhci_hcd {address}: new USB bus registered, assigned bus number {bus.number}")
    blob = root_hub_descriptors(super_speed=bus.super_speed, release=release)
    _device_files(site, bus, hub, bus.folder, number=1, chain="0", blob=blob, removable="unknown")
    site.writer.attributes(bus.folder, authorized_default=1, interface_authorized_default=1, bmAttributes="e0")
    path = site.namespace.usb_port(bus.controller.acpi_name, "")
    site.namespace.bind(bus.folder, path)
    _interface(site, bus, hub, bus.folder, chain="0", index=0, interface=hub.interfaces[0], firmware=path)
    bus.interface_at[""] = f"{bus.folder}/{bus.number}-0:1.0"
    for port in ports:
        _port(site, bus, str(port.number), port)


_ROOT_ENDPOINT = Endpoint(address=0x81, attributes=3, packet=4, interval=12)


def _root_ports(bus: Bus) -> tuple[UsbPort, ...]:
    if not bus.super_speed:
        return bus.controller.usb2_ports
    both = {port.super_speed: port for port in bus.controller.usb2_ports if port.super_speed}
    return tuple(
        replace(both.get(number, UsbPort(number=number, connect_type="not used")), number=number)
        for number in range(1, bus.controller.usb3_ports + 1)
    )


def _port(site: Site, bus: Bus, chain: str, port: UsbPort) -> None:
    folder = bus.port_folder(chain)
    kind = "unknown" if site.conditions.unmapped_ports else port.connect_type
    bus.port_type[chain] = kind
    mapped = kind != "unknown"
    count = 0 if bus.super_speed else site.conditions.over_current.get(chain, 0)
    site.writer.attributes(
        folder,
        connect_type=kind,
        disable=0,
        location=f"0x{(0x80000000 | port_position(chain)) if mapped else 0:08x}",
        over_current_count=count,
        quirks="00000000",
    )
    site.writer.file(f"{folder}/uevent", b"")
    if site.conditions.has_port_state:
        site.writer.attributes(folder, state="not attached", early_stop="no")
    if bus.super_speed:
        site.writer.attributes(folder, usb3_lpm_permit="u1_u2")
    if mapped:
        _place(site, folder, port)
        path = site.namespace.usb_port(bus.controller.acpi_name, chain, super_speed=bus.super_speed)
        site.namespace.bind(folder, path)


def _place(site: Site, folder: str, port: UsbPort) -> None:
    site.writer.attributes(
        f"{folder}/physical_location",
        panel=port.panel,
        lid=port.lid,
        dock="no",
        horizontal_position="center",
        vertical_position="center",
    )


def _peers(site: Site, pci: PciPart, high: Bus, fast: Bus) -> None:
    for port in pci.usb2_ports:
        if port.super_speed:
            here, there = high.port_folder(str(port.number)), fast.port_folder(str(port.super_speed))
            site.writer.link(f"{here}/peer", there)
            site.writer.link(f"{there}/peer", here)


def _plug(site: Site, bus: Bus, part: UsbPart) -> None:
    """What the kernel does when it meets a device on a port."""
    chain = part.port
    if chain.rpartition(".")[0] not in bus.interface_at:
        return
    if part.id in site.conditions.failing:
        _fail(site, bus, part)
        return
    number, bus.next_device = bus.next_device, bus.next_device + 1
    site.log.attached(bus.name(chain), site.speed(part), number)
    if site.speed(part) < part.speed:
        site.log.add(f"usb {bus.name(chain)}: not running at top speed; connect to a high speed hub", 0.1508)
    site.log.found(bus.name(chain), part)
    _enumerated(site, bus, part, number)


def _fail(site: Site, bus: Bus, part: UsbPart) -> None:
    stage, errno = site.conditions.failing[part.id]
    numbers = tuple(range(bus.next_device, bus.next_device + 4))
    bus.next_device += 4
    site.log.failed(
        bus.name(part.port),
        port=bus.port_name(part.port),
        speed=site.speed(part),
        stage=stage,
        errno=errno,
        numbers=numbers,
    )
    if site.conditions.has_port_state:
        site.writer.attributes(bus.port_folder(part.port), state="default")


def _enumerated(site: Site, bus: Bus, part: UsbPart, number: int) -> None:
    above = bus.interface_at[part.port.rpartition(".")[0]].rpartition("/")[0]
    folder = f"{above}/{bus.name(part.port)}"
    port = bus.port_folder(part.port)
    removable = _REMOVABLE[bus.port_type[part.port]]
    fell_back = part.speed >= _SUPER_SPEED > site.speed(part)
    part = replace(part, speed=site.speed(part), version=part.slow_version if fell_back else part.version)
    blob = descriptors(part)
    _device_files(site, bus, part, folder, number=number, chain=part.port, blob=blob, removable=removable)
    site.writer.link(f"{folder}/port", port)
    site.writer.link(f"{port}/device", folder)
    path = site.namespace.usb_port(bus.controller.acpi_name, part.port, super_speed=bus.super_speed)
    site.namespace.bind(folder, path)
    mapped = _port_of(site, bus, part.port) if site.namespace.folder(path) else None
    if mapped:
        _place(site, folder, mapped)
    configured = _configure(site, bus, part, folder)
    if site.conditions.has_port_state:
        site.writer.attributes(port, state="configured" if configured else "addressed")
    if not configured:
        return
    number = -1
    for interface in part.interfaces:
        if not interface.alternate:
            number += 1
            _interface(site, bus, part, folder, chain=part.port, index=number, interface=interface, firmware=path)
            if mapped:
                _place(site, f"{folder}/{bus.name(part.port)}:1.{number}", mapped)
    if part.ports:
        _hub_ports(site, bus, part, folder)


def _port_of(site: Site, bus: Bus, chain: str) -> UsbPort:
    """The description of a port that firmware maps."""
    root, *below = chain.split(".")
    ports = _root_ports(bus)
    if below:
        ports = next(hub.ports for hub in site.laptop.usb if hub.port == root and hub.ports)
    return next(port for port in ports if port.number == int(below[-1] if below else root))


def _configure(site: Site, bus: Bus, part: UsbPart, folder: str) -> bool:
    """Whether the device took its configuration; when not, its files and the log say so."""
    name = bus.name(part.port)
    refused = site.conditions.unconfigured.get(part.id)
    if part.id in site.conditions.unauthorised:
        site.log.add(f"usb {name}: Device is not authorized for usage")
        site.writer.attributes(folder, authorized=0)
    elif refused is not None:
        site.log.add(f"usb {name}: can't set config #1, error {refused}")
    else:
        return True
    for attribute in ("bConfigurationValue", "bNumInterfaces", "bmAttributes", "bMaxPower"):
        site.writer.file(f"{folder}/{attribute}", b"")
    return False


def _hub_ports(site: Site, bus: Bus, part: UsbPart, folder: str) -> None:
    interface = f"{bus.name(part.port)}:1.0"
    if not site.drives(part.id, "hub"):
        return
    site.log.hub(interface, len(part.ports))
    bus.interface_at[part.port] = f"{folder}/{interface}"
    for port in part.ports:
        _port(site, bus, f"{part.port}.{port.number}", port)


def _device_files(
    site: Site, bus: Bus, part: UsbPart, folder: str, *, number: int, chain: str, blob: bytes, removable: str
) -> None:
    minor = (bus.number - 1) * 128 + number - 1
    triple = "/".join(str(code) for code in part.triple)
    uevent = (
        f"MAJOR=189\nMINOR={minor}\nDEVNAME=bus/usb/{bus.number:03d}/{number:03d}\nDEVTYPE=usb_device\nDRIVER=usb\n"
        f"PRODUCT={part.vendor:x}/{part.product:x}/{part.release:x}\nTYPE={triple}\n"
        f"BUSNUM={bus.number:03d}\nDEVNUM={number:03d}\n"
    )
    site.writer.bus_device(folder, "usb", driver="usb", uevent=uevent, **_device_values(site, part, chain, removable))
    site.writer.attributes(
        folder, descriptors=blob, configuration=b"", busnum=bus.number, devnum=number, dev=f"189:{minor}"
    )
    if part.bos and site.conditions.has_bos:
        site.writer.attributes(folder, bos_descriptors=part.bos)
    for name, text in (
        ("manufacturer", part.manufacturer),
        ("product", part.product_name),
        ("serial", part.serial),
    ):
        if text:
            site.writer.attributes(folder, **{name: text})
    _endpoint(site, f"{folder}/ep_00", Endpoint(address=0, attributes=0, packet=blob[7]))


def _device_values(site: Site, part: UsbPart, chain: str, removable: str) -> dict[str, str]:
    speed = site.speed(part)
    packet = 9 if speed >= _SUPER_SPEED else 64 if speed > 1 else 8
    count = sum(not interface.alternate for interface in part.interfaces)
    classes = zip(("bDeviceClass", "bDeviceSubClass", "bDeviceProtocol"), part.triple, strict=True)
    return {
        "authorized": "1",
        "avoid_reset_quirk": "0",
        "bConfigurationValue": "1",
        "bMaxPacketSize0": str(packet),
        "bMaxPower": f"{part.max_power_ma}mA",
        "bNumConfigurations": "1",
        "bNumInterfaces": f"{count:2d}",
        "bcdDevice": f"{part.release:04x}",
        "bmAttributes": "c0" if part.self_powered else "80",
        "devpath": chain,
        "idProduct": f"{part.product:04x}",
        "idVendor": f"{part.vendor:04x}",
        "ltm_capable": "no",
        "maxchild": str(len(part.ports)),
        "quirks": "0x0",
        "removable": removable,
        "rx_lanes": "1",
        "speed": "1.5" if speed == 1 else str(speed),
        "tx_lanes": "1",
        "urbnum": "12",
        "version": f"{part.version >> 8:2x}.{part.version & 0xFF:02x}",
        **{name: f"{code:02x}" for name, code in classes},
    }


def _interface(
    site: Site,
    bus: Bus,
    part: UsbPart,
    device: str,
    *,
    chain: str,
    index: int,
    interface: UsbInterface,
    firmware: str,
) -> None:
    folder = f"{device}/{bus.name(chain)}:1.{index}"
    codes = (*part.triple, *interface.triple)
    modalias = (
        f"usb:v{part.vendor:04X}p{part.product:04X}d{part.release:04X}"
        + "dc{:02X}dsc{:02X}dp{:02X}ic{:02X}isc{:02X}ip{:02X}".format(*codes)
        + f"in{index:02X}"
    )
    silent = part.id in site.conditions.silent_reports
    driven = bool(interface.driver) and site.drives(part.id, interface.driver) and not silent
    driver = interface.driver if driven else ""
    uevent = "DEVTYPE=usb_interface\n" + (f"DRIVER={driver}\n" if driver else "")
    uevent += f"PRODUCT={part.vendor:x}/{part.product:x}/{part.release:x}\nTYPE={'/'.join(map(str, part.triple))}\n"
    uevent += f"INTERFACE={'/'.join(map(str, interface.triple))}\nMODALIAS={modalias}\n"
    values = {
        "authorized": "1",
        "bAlternateSetting": " 0",
        "bInterfaceNumber": f"{index:02x}",
        "bNumEndpoints": f"{len(interface.endpoints):02x}",
        "bInterfaceClass": f"{interface.triple[0]:02x}",
        "bInterfaceSubClass": f"{interface.triple[1]:02x}",
        "bInterfaceProtocol": f"{interface.triple[2]:02x}",
        "modalias": modalias,
        "supports_autosuspend": "1",
        **({"interface": interface.name} if interface.name else {}),
    }
    site.writer.bus_device(folder, "usb", driver=driver, uevent=uevent, **values)
    site.namespace.bind(folder, firmware)
    for endpoint in interface.endpoints:
        _endpoint(site, f"{folder}/ep_{endpoint.address:02x}", endpoint)
    if part.association:
        _association(site, part, folder)
    if silent:
        site.log.add(f"usbhid {bus.name(chain)}:1.{index}: can't add hid device: -71", 0.2)
    elif driver:
        made.by_usb_driver(site, part, index, interface, folder)


def _association(site: Site, part: UsbPart, folder: str) -> None:
    assert part.association
    count = sum(not interface.alternate for interface in part.interfaces)
    names = ("iad_bFunctionClass", "iad_bFunctionSubClass", "iad_bFunctionProtocol")
    codes = dict(zip(names, part.association, strict=True)) | {"iad_bFirstInterface": 0, "iad_bInterfaceCount": count}
    site.writer.attributes(folder, **{name: f"{code:02x}" for name, code in codes.items()})


def _endpoint(site: Site, folder: str, endpoint: Endpoint) -> None:
    directions = "both" if not endpoint.address else "in" if endpoint.address & 0x80 else "out"
    site.writer.attributes(
        folder,
        bEndpointAddress=f"{endpoint.address:02x}",
        bInterval=f"{endpoint.interval:02x}",
        bLength="07",
        bmAttributes=f"{endpoint.attributes:02x}",
        direction=directions,
        interval=f"{endpoint.interval}ms",
        type=_TYPES[endpoint.attributes & 3],
        wMaxPacketSize=f"{endpoint.packet:04x}",
    )
    site.writer.file(f"{folder}/uevent", b"")
