"""Three invented laptops, wired as the shipped profiles say. No such makers, models or serial numbers exist.

Drivers of USB classes and buses carry the kernel's own names; those of
invented chips carry invented ones. PCI ids use f0f0, a vendor number that
pci.ids (2023) gives to nobody; radios have locally administered addresses.
"""

from __future__ import annotations

from support.tree.descriptors import CAMERA_CONTROL, CAMERA_STREAM, SMART_CARD, edid
from support.tree.parts import (
    AcpiPart,
    Battery,
    Codec,
    Connector,
    Endpoint,
    I2cClient,
    Laptop,
    Nvme,
    PciPart,
    Radio,
    SerioPort,
    SpiClient,
    UsbInterface,
    UsbPart,
    UsbPort,
)

__all__ = ["DOCK", "FOREIGN_KEYBOARD", "HERON", "LARCH", "MOUSE", "PLOVER", "RADIO_DONGLE", "STICK"]

_SOCKETS = (
    UsbPort(number=1, connect_type="hotplug", panel="left", super_speed=1),
    UsbPort(number=2, connect_type="hotplug", panel="right", super_speed=2),
    UsbPort(number=3, connect_type="hotplug", panel="right", super_speed=3),
)


def _fixed(*numbers: int, lid: tuple[int, ...] = ()) -> tuple[UsbPort, ...]:
    return tuple(UsbPort(number=number, lid="yes" if number in lid else "no") for number in numbers)


def _unused(*numbers: int) -> tuple[UsbPort, ...]:
    return tuple(UsbPort(number=number, connect_type="not used") for number in numbers)


def _in_order(*ports: UsbPort) -> tuple[UsbPort, ...]:
    return tuple(sorted(ports, key=lambda port: port.number))


def _interrupt(address: int, packet: int = 8, interval: int = 7) -> Endpoint:
    return Endpoint(address=address, attributes=3, packet=packet, interval=interval)


def _bulk(address: int, packet: int = 64) -> Endpoint:
    return Endpoint(address=address, attributes=2, packet=packet)


def _isochronous(address: int, packet: int) -> Endpoint:
    return Endpoint(address=address, attributes=1, packet=packet, interval=1)


_HUB = (UsbInterface(triple=(9, 0, 0), driver="hub", endpoints=(_interrupt(0x81, 1, 12),)),)
_KEYBOARD = (UsbInterface(triple=(3, 1, 1), driver="usbhid", hid="keyboard", endpoints=(_interrupt(0x81),)),)
_TOUCHPAD = (UsbInterface(triple=(3, 0, 0), driver="usbhid", hid="touchpad", endpoints=(_interrupt(0x81, 16),)),)
_MOUSE = (UsbInterface(triple=(3, 1, 2), driver="usbhid", hid="mouse", endpoints=(_interrupt(0x81, 4),)),)
_FINGERPRINT = (UsbInterface(triple=(0xFF, 0, 0), endpoints=(_bulk(0x81), _bulk(0x02), _interrupt(0x83, 8, 10))),)
_SMART_CARD = (
    UsbInterface(
        triple=(0x0B, 0, 0), class_specific=SMART_CARD, endpoints=(_interrupt(0x81, 64, 16), _bulk(0x82), _bulk(0x03))
    ),
)
_CAMERA = (
    UsbInterface(triple=(0x0E, 1, 0), driver="uvcvideo", class_specific=CAMERA_CONTROL),
    UsbInterface(triple=(0x0E, 2, 0), driver="uvcvideo", class_specific=CAMERA_STREAM),
    UsbInterface(triple=(0x0E, 2, 0), alternate=True, endpoints=(_isochronous(0x81, 512),)),
)
_BLUETOOTH = (
    UsbInterface(triple=(0xE0, 1, 1), driver="btusb", endpoints=(_interrupt(0x81, 16, 1), _bulk(0x02), _bulk(0x82))),
    UsbInterface(triple=(0xE0, 1, 1), driver="btusb", endpoints=(_isochronous(0x03, 0), _isochronous(0x83, 0))),
)
_STORAGE = (UsbInterface(triple=(8, 6, 0x50), driver="usb-storage", endpoints=(_bulk(0x81, 512), _bulk(0x02, 512))),)
_HEADSET = (
    UsbInterface(triple=(1, 1, 0), driver="snd-usb-audio"),
    UsbInterface(triple=(1, 2, 0), driver="snd-usb-audio"),
    UsbInterface(triple=(1, 2, 0), alternate=True, endpoints=(_isochronous(0x01, 192),)),
)
_MODEM = (
    UsbInterface(triple=(2, 0x0E, 0), driver="cdc_mbim", endpoints=(_interrupt(0x81, 64, 5),)),
    UsbInterface(triple=(0x0A, 0, 2), driver="cdc_mbim"),
    UsbInterface(triple=(0x0A, 0, 2), alternate=True, endpoints=(_bulk(0x82, 512), _bulk(0x03, 512))),
)

_FULL_HD = ("1920x1080", "1920x1080", "1280x720")


def _dmi(*, maker: str, model: str, board: str, sku: str, serial: str, chassis: int) -> dict[str, str]:
    return {
        "bios_date": "03/14/2025",
        "bios_release": "1.7",
        "bios_vendor": f"{maker} Firmware",
        "bios_version": f"{maker[0]}{maker[-1].upper()}1.07",
        "board_name": board,
        "board_serial": serial,
        "board_vendor": maker,
        "board_version": "B2",
        "chassis_serial": serial,
        "chassis_type": str(chassis),
        "chassis_vendor": maker,
        "chassis_version": "Rev B",
        "product_family": model.partition(" ")[0],
        "product_name": model,
        "product_serial": serial,
        "product_sku": sku,
        "product_version": "Rev B",
        "sys_vendor": maker,
    }


def _host_bridge() -> PciPart:
    return PciPart(id="host-bridge", slot="00.0", class_code="060000", device=0x0001, acpi_name="MCHC")


def _isa_bridge() -> PciPart:
    return PciPart(id="isa-bridge", slot="1f.0", class_code="060100", device=0x001F, acpi_name="LPCB")


def _root_port(part: str, slot: str, name: str, link: tuple[str, int]) -> PciPart:
    return PciPart(id=part, slot=slot, class_code="060400", device=0x001C, driver="pcieport", acpi_name=name, link=link)


_LANE = ("8.0 GT/s PCIe", 1)
_FOUR_LANES = ("8.0 GT/s PCIe", 4)


# --- Fernhill Larch 13 ---------------------------------------------------------

_LARCH_USB = (
    UsbPart(
        id="hub",
        port="4",
        product=0x0006,
        product_name="Larch Internal Hub",
        manufacturer="Fernhill",
        triple=(9, 0, 1),
        speed=480,
        self_powered=True,
        interfaces=_HUB,
        ports=_fixed(1, 2, 3, 4),
    ),
    UsbPart(
        id="keyboard",
        port="4.1",
        product=0x0001,
        product_name="Larch Internal Keyboard",
        manufacturer="Fernhill",
        interfaces=_KEYBOARD,
    ),
    UsbPart(
        id="touchpad",
        port="4.2",
        product=0x0002,
        product_name="Larch Touchpad",
        manufacturer="Fernhill",
        interfaces=_TOUCHPAD,
    ),
    UsbPart(
        id="fingerprint-reader",
        port="4.3",
        product=0x0005,
        product_name="Larch Fingerprint Reader",
        manufacturer="Fernhill",
        serial="LG-F001-DEMO",
        interfaces=_FINGERPRINT,
    ),
    UsbPart(
        id="smart-card-reader",
        port="4.4",
        product=0x0007,
        product_name="Larch Smart Card Reader",
        manufacturer="Fernhill",
        interfaces=_SMART_CARD,
    ),
    UsbPart(
        id="camera",
        port="5",
        product=0x0003,
        product_name="Larch Camera",
        manufacturer="Fernhill",
        serial="LG-C001-DEMO",
        triple=(0xEF, 2, 1),
        speed=480,
        association=(0x0E, 3, 0),
        interfaces=_CAMERA,
    ),
    UsbPart(
        id="bluetooth",
        port="6",
        product=0x0004,
        product_name="Larch Bluetooth Radio",
        manufacturer="Fernhill",
        triple=(0xE0, 1, 1),
        interfaces=_BLUETOOTH,
    ),
    UsbPart(
        id="card-reader",
        port="8",
        product=0x000C,
        product_name="Larch Card Reader",
        manufacturer="Fernhill",
        serial="LG-R001-DEMO",
        speed=480,
        interfaces=_STORAGE,
    ),
    UsbPart(
        id="headset-audio",
        port="9",
        product=0x000D,
        product_name="Larch Headset",
        manufacturer="Fernhill",
        interfaces=_HEADSET,
    ),
)

LARCH = Laptop(
    dmi=_dmi(maker="Fernhill", model="Larch 13", board="LB13-MB", sku="L13-8-256", serial="LG-0001-DEMO", chassis=10),
    pci=(
        _host_bridge(),
        PciPart(
            id="graphics",
            slot="02.0",
            class_code="030000",
            device=0x0002,
            driver="fernhill_drm",
            acpi_name="GFX0",
            connectors=(
                Connector(name="eDP-1", edid=edid("QFL", 0x1301, "Larch Panel"), modes=_FULL_HD),
                Connector(name="HDMI-A-1"),
            ),
        ),
        PciPart(
            id="disk",
            slot="06.0",
            class_code="010802",
            device=0x0006,
            driver="nvme",
            acpi_name="NVM0",
            link=_FOUR_LANES,
            nvme=Nvme(model="Invented Disk 256", serial="LG-N001-DEMO", firmware="1.0", sectors=500118192),
        ),
        PciPart(
            id="xhci",
            slot="14.0",
            class_code="0c0330",
            device=0x0014,
            driver="xhci_hcd",
            acpi_name="XHC_",
            usb2_ports=_in_order(*_SOCKETS, *_fixed(4, 5, 6, 8, 9, lid=(5,)), *_unused(7, 10)),
            usb3_ports=3,
        ),
        PciPart(
            id="ethernet",
            slot="19.0",
            class_code="020000",
            device=0x0019,
            driver="fernhill_eth",
            acpi_name="GLAN",
            radio=Radio(name="eth", address="02:4c:47:00:00:01"),
        ),
        PciPart(
            id="audio",
            slot="1b.0",
            class_code="040300",
            device=0x001B,
            driver="snd_hda_fernhill",
            acpi_name="HDAS",
            codec=Codec(vendor_id=0xF0F00013, vendor_name="Invented", chip_name="Larch Codec"),
        ),
        _isa_bridge(),
    ),
    usb=_LARCH_USB,
    acpi=(
        AcpiPart(
            id="battery",
            path="_SB_.BAT0",
            hid="PNP0C0A",
            uid="1",
            driver="battery",
            battery=Battery(
                model="LB-4C50",
                manufacturer="Fernhill Cells",
                serial="LG-B001-DEMO",
                cycle_count=87,
                full_design=4390000,
                full=4105000,
                now=2545000,
                voltage_now=11912000,
                voltage_min_design=11400000,
                current_now=860000,
            ),
        ),
        AcpiPart(id="mains-adapter", path="_SB_.AC0_", hid="ACPI0003", driver="ac", online=True),
        AcpiPart(id="lid", path="_SB_.LID0", hid="PNP0C0D", driver="button"),
        AcpiPart(id="power-button", path="_SB_.PWRB", hid="PNP0C0C", driver="button"),
    ),
    extra_drivers={"pci": ("fernhill_drm", "fernhill_eth", "snd_hda_fernhill")},
)


# --- Brackwell Heron 14 --------------------------------------------------------

_EC = AcpiPart(id="ec", path="_SB_.PCI0.LPCB.EC0_", hid="PNP0C09", status=15, uid="1", driver="ec", platform=False)

HERON = Laptop(
    dmi=_dmi(maker="Brackwell", model="Heron 14", board="HB14-MB", sku="H14-T", serial="LG-0002-DEMO", chassis=10),
    pci=(
        _host_bridge(),
        PciPart(
            id="graphics",
            slot="02.0",
            class_code="030000",
            device=0x0002,
            driver="brackwell_drm",
            acpi_name="GFX0",
            connectors=(
                Connector(name="eDP-1", edid=edid("QBW", 0x1401, "Heron Panel"), modes=_FULL_HD),
                Connector(name="DP-1"),
            ),
        ),
        PciPart(
            id="typec-controller",
            slot="0d.0",
            class_code="0c0330",
            device=0x000D,
            driver="xhci_hcd",
            acpi_name="TXHC",
            usb2_ports=(
                UsbPort(number=1, connect_type="hotplug", panel="left", super_speed=1),
                UsbPort(number=2, connect_type="hotplug", panel="left", super_speed=2),
            ),
            usb3_ports=2,
        ),
        PciPart(
            id="xhci",
            slot="14.0",
            class_code="0c0330",
            device=0x0014,
            driver="xhci_hcd",
            acpi_name="XHC_",
            usb2_ports=_in_order(
                UsbPort(number=1, connect_type="hotplug", panel="right", super_speed=1),
                *_fixed(7, 8, 10, lid=(7,)),
                *_unused(2, 3, 4, 5, 6, 9),
            ),
            usb3_ports=1,
        ),
        PciPart(
            id="i2c-0",
            slot="15.0",
            class_code="0c8000",
            device=0x0015,
            driver="brackwell_i2c",
            acpi_name="I2C0",
            i2c_name="Brackwell I2C adapter",
            i2c=(I2cClient(id="touchpad", acpi_name="TPD0", hid="BRWL0001", kind="touchpad", product=0x0002),),
        ),
        PciPart(
            id="i2c-1",
            slot="15.1",
            class_code="0c8000",
            device=0x0015,
            driver="brackwell_i2c",
            acpi_name="I2C1",
            i2c_name="Brackwell I2C adapter",
            i2c=(I2cClient(id="touchscreen", acpi_name="TPL1", hid="BRWL0010", kind="touchscreen", product=0x0003),),
        ),
        _root_port("wireless-port", "1c.0", "RP01", _LANE),
        PciPart(
            id="wlan",
            slot="1c.0/00.0",
            class_code="028000",
            device=0x0100,
            driver="brackwell_wlan",
            acpi_name="RP01.PXSX",
            link=_LANE,
            radio=Radio(name="wlan", address="02:4c:47:00:00:02", wireless=True),
        ),
        _root_port("disk-port", "1d.0", "RP09", _FOUR_LANES),
        PciPart(
            id="disk",
            slot="1d.0/00.0",
            class_code="010802",
            device=0x0006,
            driver="nvme",
            acpi_name="RP09.PXSX",
            link=_FOUR_LANES,
            nvme=Nvme(model="Invented Disk 512", serial="LG-N002-DEMO", firmware="1.0", sectors=1000215216),
        ),
        _isa_bridge(),
        PciPart(
            id="audio",
            slot="1f.3",
            class_code="040300",
            device=0x001B,
            driver="snd_hda_brackwell",
            acpi_name="HDAS",
            codec=Codec(vendor_id=0xF0F00014, vendor_name="Invented", chip_name="Heron Codec"),
        ),
    ),
    usb=(
        UsbPart(
            id="camera",
            port="7",
            product=0x0007,
            product_name="Heron Camera",
            manufacturer="Brackwell",
            triple=(0xEF, 2, 1),
            speed=480,
            association=(0x0E, 3, 0),
            interfaces=_CAMERA,
        ),
        UsbPart(
            id="fingerprint-reader",
            port="8",
            product=0x0009,
            product_name="Heron Fingerprint Reader",
            manufacturer="Brackwell",
            interfaces=_FINGERPRINT,
        ),
        UsbPart(
            id="bluetooth",
            port="10",
            product=0x000A,
            product_name="Heron Bluetooth Radio",
            manufacturer="Brackwell",
            triple=(0xE0, 1, 1),
            interfaces=_BLUETOOTH,
        ),
    ),
    acpi=(
        _EC,
        AcpiPart(
            id="battery",
            path="_SB_.PCI0.LPCB.EC0_.BAT1",
            hid="PNP0C0A",
            uid="1",
            driver="battery",
            battery=Battery(
                model="HB-3C45",
                manufacturer="Brackwell Cells",
                serial="LG-B002-DEMO",
                cycle_count=212,
                full_design=3950000,
                full=3410000,
                now=2114000,
                voltage_now=12104000,
                voltage_min_design=11550000,
                current_now=0,
            ),
        ),
        AcpiPart(id="mains-adapter", path="_SB_.PCI0.LPCB.EC0_.ADP1", hid="ACPI0003", driver="ac", online=True),
        AcpiPart(id="lid", path="_SB_.LID0", hid="PNP0C0D", driver="button"),
        AcpiPart(id="power-button", path="_SB_.PWRB", hid="PNP0C0C", driver="button"),
    ),
    serio=(
        SerioPort(id="keyboard", kind="KBD", acpi_name="PS2K", pnp_id="PNP0303", driver="atkbd", hid="at-keyboard"),
    ),
    extra_drivers={"pci": ("brackwell_drm", "brackwell_i2c", "brackwell_wlan", "snd_hda_brackwell")},
)


# --- Ostrey Plover 12 ----------------------------------------------------------


def _plover_camera(part: str, port: str, product: int, name: str) -> UsbPart:
    return UsbPart(
        id=part,
        port=port,
        product=product,
        product_name=name,
        manufacturer="Ostrey",
        triple=(0xEF, 2, 1),
        speed=480,
        association=(0x0E, 3, 0),
        interfaces=_CAMERA,
    )


PLOVER = Laptop(
    dmi=_dmi(maker="Ostrey", model="Plover 12", board="PB12-MB", sku="P12-LTE", serial="LG-0003-DEMO", chassis=32),
    pci=(
        _host_bridge(),
        PciPart(
            id="graphics",
            slot="02.0",
            class_code="030000",
            device=0x0002,
            driver="ostrey_drm",
            acpi_name="GFX0",
            connectors=(
                Connector(name="DSI-1", edid=edid("QOS", 0x1201, "Plover Panel"), modes=("1920x1280",)),
                Connector(name="DP-1"),
            ),
        ),
        PciPart(
            id="xhci",
            slot="14.0",
            class_code="0c0330",
            device=0x0014,
            driver="xhci_hcd",
            acpi_name="XHC_",
            usb2_ports=_in_order(
                UsbPort(number=1, connect_type="hotplug", panel="right", super_speed=1),
                *_fixed(3, 5, 6, 9, 10),
                *_unused(2, 4, 7, 8),
            ),
            usb3_ports=1,
        ),
        PciPart(
            id="wlan",
            slot="14.3",
            class_code="028000",
            device=0x0143,
            driver="ostrey_wlan",
            acpi_name="CNVW",
            radio=Radio(name="wlan", address="02:4c:47:00:00:03", wireless=True),
        ),
        PciPart(
            id="i2c-2",
            slot="15.2",
            class_code="0c8000",
            device=0x0015,
            driver="ostrey_i2c",
            acpi_name="I2C2",
            i2c_name="Ostrey I2C adapter",
            i2c=(I2cClient(id="light-sensor", acpi_name="ALS0", hid="OSTR0008", cid="", driver="ostrey_als"),),
        ),
        _root_port("disk-port", "1d.0", "RP09", _FOUR_LANES),
        PciPart(
            id="disk",
            slot="1d.0/00.0",
            class_code="010802",
            device=0x0006,
            driver="nvme",
            acpi_name="RP09.PXSX",
            link=_FOUR_LANES,
            nvme=Nvme(model="Invented Disk 128", serial="LG-N003-DEMO", firmware="1.0", sectors=250069680),
        ),
        PciPart(
            id="spi-0",
            slot="1e.2",
            class_code="0c8000",
            device=0x001E,
            driver="ostrey_spi",
            acpi_name="SPI0",
            spi=(
                SpiClient(
                    id="keyboard",
                    acpi_name="KBD0",
                    hid="OSTR0001",
                    driver="ostrey_spi_hid",
                    kind="keyboard",
                    product=0x0001,
                ),
            ),
        ),
        PciPart(
            id="spi-1",
            slot="1e.3",
            class_code="0c8000",
            device=0x001E,
            driver="ostrey_spi",
            acpi_name="SPI1",
            spi=(
                SpiClient(
                    id="touchscreen",
                    acpi_name="TCH0",
                    hid="OSTR0002",
                    driver="ostrey_spi_hid",
                    kind="touchscreen",
                    product=0x0003,
                ),
            ),
        ),
        _isa_bridge(),
        PciPart(
            id="audio",
            slot="1f.3",
            class_code="040300",
            device=0x001B,
            driver="snd_hda_ostrey",
            acpi_name="HDAS",
            codec=Codec(vendor_id=0xF0F00012, vendor_name="Invented", chip_name="Plover Codec"),
        ),
    ),
    usb=(
        UsbPart(
            id="touchpad",
            port="3",
            product=0x000B,
            product_name="Plover Base Touchpad",
            manufacturer="Ostrey",
            interfaces=_TOUCHPAD,
        ),
        _plover_camera("front-camera", "5", 0x000C, "Plover Front Camera"),
        _plover_camera("rear-camera", "6", 0x000D, "Plover Rear Camera"),
        UsbPart(
            id="wwan",
            port="9",
            product=0x000E,
            product_name="Plover Modem",
            manufacturer="Ostrey",
            triple=(0, 0, 0),
            speed=480,
            association=(2, 0x0E, 0),
            max_power_ma=500,
            interfaces=_MODEM,
        ),
        UsbPart(
            id="bluetooth",
            port="10",
            product=0x0010,
            product_name="Plover Bluetooth Radio",
            manufacturer="Ostrey",
            triple=(0xE0, 1, 1),
            interfaces=_BLUETOOTH,
        ),
    ),
    acpi=(
        AcpiPart(
            id="battery",
            path="_SB_.BAT0",
            hid="PNP0C0A",
            uid="1",
            driver="battery",
            battery=Battery(
                model="PB-2C36",
                manufacturer="Ostrey Cells",
                serial="LG-B003-DEMO",
                cycle_count=41,
                full_design=4700000,
                full=4655000,
                now=3910000,
                voltage_now=8012000,
                voltage_min_design=7600000,
                current_now=310000,
            ),
        ),
        AcpiPart(id="mains-adapter", path="_SB_.ADP0", hid="ACPI0003", driver="ac", online=True),
        AcpiPart(id="power-button", path="_SB_.PWRB", hid="PNP0C0C", driver="button"),
    ),
    extra_drivers={
        "pci": ("ostrey_drm", "ostrey_i2c", "ostrey_spi", "ostrey_wlan", "snd_hda_ostrey"),
        "i2c": ("ostrey_als",),
        "spi": ("ostrey_spi_hid",),
    },
)


# --- Helper devices of the bench, for the sockets ------------------------------

MOUSE = UsbPart(
    id="helper-mouse",
    port="1",
    product=0x0008,
    product_name="Desk Mouse",
    manufacturer="Quillon",
    version=0x0110,
    speed=1,
    interfaces=_MOUSE,
)
FOREIGN_KEYBOARD = UsbPart(
    id="helper-keyboard",
    port="2",
    product=0x0001,
    product_name="Larch Internal Keyboard",
    manufacturer="Fernhill",
    interfaces=_KEYBOARD,
)
"""A keyboard from another Larch, on a cable: the same vendor and product id as the internal one."""
RADIO_DONGLE = UsbPart(
    id="helper-radio",
    port="2",
    product=0x0009,
    product_name="Radio Dongle",
    manufacturer="Quillon",
    triple=(0xE0, 1, 1),
    interfaces=_BLUETOOTH,
)
STICK = UsbPart(
    id="helper-stick",
    port="3",
    product=0x000F,
    product_name="Bench Stick",
    manufacturer="Quillon",
    serial="LG-S001-DEMO",
    version=0x0300,
    speed=5000,
    max_power_ma=96,
    interfaces=(
        UsbInterface(triple=(8, 6, 0x50), driver="usb-storage", endpoints=(_bulk(0x81, 1024), _bulk(0x02, 1024))),
    ),
)
DOCK = UsbPart(
    id="helper-dock",
    port="1",
    product=0x000A,
    product_name="Bench Dock",
    manufacturer="Quillon",
    triple=(9, 0, 1),
    speed=480,
    self_powered=True,
    interfaces=_HUB,
    ports=tuple(UsbPort(number=number, connect_type="unknown") for number in (1, 2, 3, 4)),
)
