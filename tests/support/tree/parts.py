"""What an invented laptop is made of, as the tree builder wants it said.

Every value is invented. The field names are the standards' own where they
have one (USB 2.0 chapter 9, pci.ids, ACPI 6.0 chapters 5 and 6).
"""

from __future__ import annotations

from dataclasses import dataclass, field

__all__ = [
    "AcpiPart",
    "Battery",
    "Codec",
    "Connector",
    "Endpoint",
    "I2cClient",
    "Laptop",
    "Nvme",
    "PciPart",
    "Radio",
    "SerioPort",
    "SpiClient",
    "UsbInterface",
    "UsbPart",
    "UsbPort",
]

Triple = tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Endpoint:
    """One endpoint descriptor (USB 2.0 table 9-13)."""

    address: int
    attributes: int
    """Bits 1..0: 1 isochronous, 2 bulk, 3 interrupt."""
    packet: int
    interval: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class UsbInterface:
    """One interface, or an alternate setting of the one before it."""

    triple: Triple
    driver: str = ""
    """The kernel's driver that takes it; "" for one that no kernel driver takes."""
    endpoints: tuple[Endpoint, ...] = ()
    class_specific: bytes = b""
    """Descriptors between the interface's and its endpoints'."""
    hid: str = ""
    """Name of the HID device behind it, a key of ``hid.HID_KINDS``."""
    name: str = ""
    alternate: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class UsbPort:
    """One port of a root hub or a hub."""

    number: int
    connect_type: str = "hardwired"
    panel: str = "unknown"
    lid: str = "no"
    super_speed: int | None = None
    """Number of the SuperSpeed port of the same connector."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsbPart:
    """One USB device."""

    id: str
    port: str
    """Port chain from the root hub: ``4.1``."""
    vendor: int = 0x1209
    product: int
    product_name: str
    manufacturer: str
    serial: str = ""
    triple: Triple = (0, 0, 0)
    version: int = 0x0200
    slow_version: int = 0x0210
    """bcdUSB below SuperSpeed, of a part whose ``speed`` is SuperSpeed (USB 3.2 section 9.6.1, from memory)."""
    release: int = 0x0100
    bos: bytes = b""
    """Its binary device object store."""
    speed: int = 12
    """Mbit/s; 1 stands for the 1.5 of low speed."""
    self_powered: bool = False
    max_power_ma: int = 100
    interfaces: tuple[UsbInterface, ...]
    association: Triple | None = None
    """Class triple of the function that all interfaces make together."""
    ports: tuple[UsbPort, ...] = ()
    """Downstream ports of a hub."""
    controller: str = "xhci"
    """Id of the PCI part whose root hub it hangs on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Connector:
    """A display connector; ``edid`` is empty where nothing was read."""

    name: str
    edid: bytes = b""
    modes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Codec:
    """An HD-audio codec and its driver."""

    vendor_id: int
    vendor_name: str
    chip_name: str
    driver: str = "snd_hda_codec_generic"
    card_id: str = "Generic"


@dataclass(frozen=True, slots=True, kw_only=True)
class Nvme:
    """What an NVMe controller says of itself, and how many 512-byte sectors it has."""

    model: str
    serial: str
    firmware: str
    sectors: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Radio:
    """A network interface; ``wireless`` gives it an ieee80211 device and a radio switch."""

    name: str
    address: str
    wireless: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class I2cClient:
    """A client that firmware declares on an I2C controller."""

    id: str
    acpi_name: str
    """Last element of its ACPI path: ``TPD0``."""
    hid: str
    cid: str = "PNP0C50"
    driver: str = "i2c_hid_acpi"
    kind: str = ""
    """Name of the HID device behind it, a key of ``hid.HID_KINDS``."""
    vendor: int = 0x1209
    product: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SpiClient:
    """A client that firmware declares on an SPI controller."""

    id: str
    acpi_name: str
    hid: str
    driver: str
    kind: str = ""
    vendor: int = 0x1209
    product: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PciPart:
    """One PCI function, and what its driver makes of it."""

    id: str
    slot: str
    """``14.0`` on the root bus; ``1c.0/00.0`` behind the bridge ``1c.0``."""
    class_code: str
    """Six hex digits (pci.ids)."""
    vendor: int = 0xF0F0
    device: int
    driver: str = ""
    acpi_name: str
    link: tuple[str, int] | None = None
    """PCI Express link: speed as the kernel prints it, width."""
    usb2_ports: tuple[UsbPort, ...] = ()
    usb3_ports: int = 0
    nvme: Nvme | None = None
    codec: Codec | None = None
    radio: Radio | None = None
    connectors: tuple[Connector, ...] = ()
    i2c_name: str = ""
    """Adapter name, for a function that is an I2C controller."""
    i2c: tuple[I2cClient, ...] = ()
    spi: tuple[SpiClient, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """What a healthy gauge says (µAh, µV, µA; Documentation/ABI/testing/sysfs-class-power)."""

    model: str
    manufacturer: str
    serial: str
    cycle_count: int
    full_design: int
    full: int
    now: int
    voltage_now: int
    voltage_min_design: int
    current_now: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AcpiPart:
    """A device of ``\\_SB_`` (or deeper) that firmware alone shows."""

    id: str
    path: str
    """``_SB_.BAT0``."""
    hid: str
    status: int | None = 15
    uid: str = ""
    driver: str = ""
    battery: Battery | None = None
    online: bool | None = None
    """For a mains adapter."""
    platform: bool = True
    """Whether the kernel makes a platform device of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SerioPort:
    """One port of the PS/2 controller."""

    id: str
    kind: str
    """``KBD`` or ``AUX``."""
    acpi_name: str
    pnp_id: str
    driver: str
    hid: str
    """Name of the input node behind it, a key of ``hid.INPUT_KINDS``."""
    protocol: str = ""
    answers: bool = True
    """An AUX port with nothing behind it has no driver and no input node."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Laptop:
    """An invented unit."""

    dmi: dict[str, str]
    pci: tuple[PciPart, ...]
    usb: tuple[UsbPart, ...]
    acpi: tuple[AcpiPart, ...]
    serio: tuple[SerioPort, ...] = ()
    lpc: str = "LPCB"
    """ACPI name of the ISA bridge at ``1f.0`` that carries the PS/2 controller."""
    extra_drivers: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """Drivers that its kernel has loaded besides those in use, by bus."""
