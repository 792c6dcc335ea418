"""What drivers make of the parts they hold: the class devices that show a part at work.

Layouts as a 6.1 kernel showed them for the same classes; wireless parts
(net/wireless/sysfs.c, net/rfkill/core.c) from the kernel's source.
"""

from __future__ import annotations

from collections.abc import Callable

from support.tree.inputs import HID_KINDS, hid_device
from support.tree.parts import Codec, Connector, Nvme, Radio, UsbInterface, UsbPart
from support.tree.site import Site

__all__ = ["by_usb_driver", "codec_and_card", "connectors", "network", "nvme_disk"]

_USB, _I2C, _SPI = 0x03, 0x18, 0x1C


def by_usb_driver(site: Site, part: UsbPart, index: int, interface: UsbInterface, folder: str) -> None:
    """The nodes that the interface's driver makes."""
    maker = _USB_MAKERS.get(interface.driver)
    if maker:
        maker(site, part, index, interface, folder)


def _hid(site: Site, part: UsbPart, index: int, interface: UsbInterface, folder: str) -> None:
    phys = f"usb-{site.pci_name(_slot(site, part))}-{part.port}/input{index}"
    name = f"{part.manufacturer} {part.product_name}"
    kind = HID_KINDS[interface.hid]
    made = hid_device(
        site.writer, folder, kind, bus=_USB, vendor=part.vendor, product=part.product, name=name, phys=phys
    )
    device = made.rpartition("/")[2]
    site.log.add(f"{kind.driver} {device}: input: USB HID v1.11 Device [{name}] on {phys}", 0.1474)


def _slot(site: Site, part: UsbPart) -> str:
    return next(pci.slot for pci in site.laptop.pci if pci.id == part.controller)


def _video(site: Site, part: UsbPart, index: int, _interface: UsbInterface, folder: str) -> None:
    if index:
        return
    name = f"{part.product_name}: {part.product_name}"
    for number in (0, 1):
        node = site.writer.number("video")
        site.writer.class_device(
            f"{folder}/video4linux/video{node}",
            "video4linux",
            folder,
            uevent=f"MAJOR=81\nMINOR={node}\nDEVNAME=video{node}\n",
            dev=f"81:{node}",
            dev_debug=0,
            index=number,
            name=name,
        )


def _bluetooth(site: Site, _part: UsbPart, index: int, _interface: UsbInterface, folder: str) -> None:
    if index:
        return
    name = f"hci{site.writer.number('hci')}"
    radio = f"{folder}/bluetooth/{name}"
    site.writer.class_device(radio, "bluetooth", folder, uevent="DEVTYPE=host\n")
    _rfkill(site, radio, name, "bluetooth")


def _rfkill(site: Site, parent: str, name: str, kind: str) -> None:
    number = site.writer.number("rfkill")
    site.writer.class_device(
        f"{parent}/rfkill{number}",
        "rfkill",
        parent,
        uevent=f"RFKILL_NAME={name}\nRFKILL_TYPE={kind}\nRFKILL_STATE=1\nRFKILL_HW_BLOCK_REASON=0x0\n",
        hard=0,
        hard_block_reasons="0x0",
        index=number,
        name=name,
        persistent=0,
        soft=0,
        state=1,
        type=kind,
    )


def _storage(site: Site, part: UsbPart, _index: int, _interface: UsbInterface, folder: str) -> None:
    host = site.writer.number("scsi host")
    at = f"{folder}/host{host}"
    target, unit = f"target{host}:0:0", f"{host}:0:0:0"
    site.writer.bus_device(at, "scsi", uevent="DEVTYPE=scsi_host\n")
    site.writer.bus_device(f"{at}/{target}", "scsi", uevent="DEVTYPE=scsi_target\n")
    device = f"{at}/{target}/{unit}"
    site.writer.bus_device(
        device,
        "scsi",
        driver="sd",
        uevent="DEVTYPE=scsi_device\nDRIVER=sd\nMODALIAS=scsi:t-0x00\n",
        vendor=f"{part.manufacturer[:8]:8}",
        model=f"{part.product_name[:16]:16}",
        type=0,
        state="running",
    )
    disk = f"sd{'abcdefgh'[site.writer.number('sd')]}"
    _block(site, f"{device}/block/{disk}", device, minor=0, major=8, sectors=0, removable=1)


def _block(site: Site, folder: str, parent: str, *, major: int, minor: int, sectors: int, removable: int) -> None:
    name = folder.rpartition("/")[2]
    sequence = site.writer.number("disk", 1)
    site.writer.class_device(
        folder,
        "block",
        parent,
        uevent=f"MAJOR={major}\nMINOR={minor}\nDEVNAME={name}\nDEVTYPE=disk\nDISKSEQ={sequence}\n",
        dev=f"{major}:{minor}",
        diskseq=sequence,
        hidden=0,
        removable=removable,
        ro=0,
        size=sectors,
    )


def _usb_sound(site: Site, _part: UsbPart, index: int, _interface: UsbInterface, folder: str) -> None:
    if not index:
        _card(site, folder, "Audio")


def _card(site: Site, parent: str, name: str) -> None:
    number = site.writer.number("sound card")
    taken = site.writer.number(f"sound card called {name}")
    folder = f"{parent}/sound/card{number}"
    site.writer.class_device(folder, "sound", parent, id=f"{name}_{taken}" if taken else name, number=number)
    for node, minor in ((f"controlC{number}", 1), (f"pcmC{number}D0p", 2)):
        dev = 16 * number + minor
        uevent = f"MAJOR=116\nMINOR={dev}\nDEVNAME=snd/{node}\n"
        site.writer.class_device(f"{folder}/{node}", "sound", folder, uevent=uevent, dev=f"116:{dev}")


def _modem(site: Site, _part: UsbPart, index: int, _interface: UsbInterface, folder: str) -> None:
    if not index:
        network(site, Radio(name="wwan", address="02:4c:47:00:00:77"), folder)


_UsbMaker = Callable[[Site, UsbPart, int, UsbInterface, str], None]

_USB_MAKERS: dict[str, _UsbMaker] = {
    "usbhid": _hid,
    "uvcvideo": _video,
    "btusb": _bluetooth,
    "usb-storage": _storage,
    "snd-usb-audio": _usb_sound,
    "cdc_mbim": _modem,
}


def nvme_disk(site: Site, nvme: Nvme, address: str, folder: str) -> None:
    """An NVMe controller with one namespace."""
    number = site.writer.number("nvme")
    controller = f"{folder}/nvme/nvme{number}"
    site.writer.class_device(
        controller,
        "nvme",
        folder,
        uevent=f"MAJOR=245\nMINOR={number}\nDEVNAME=nvme{number}\nNVME_TRTYPE=pcie\n",
        address=address,
        cntlid=0,
        cntrltype="io",
        dev=f"245:{number}",
        firmware_rev=f"{nvme.firmware:8}",
        model=f"{nvme.model:40}",
        serial=f"{nvme.serial:20}",
        state="live",
        transport="pcie",
    )
    disk = f"{controller}/nvme{number}n1"
    _block(site, disk, controller, major=259, minor=number, sectors=nvme.sectors, removable=0)


def codec_and_card(site: Site, codec: Codec, folder: str, part: str) -> None:
    """An HD-audio codec that answered, and the sound card made of it."""
    number = site.writer.number("hda")
    identity = f"0x{codec.vendor_id:08x}"
    modalias = f"hdaudio:v{codec.vendor_id:08X}r00100101a01"
    driver = codec.driver if site.drives(part, codec.driver) else ""
    site.writer.bus_device(
        f"{folder}/hdaudioC{number}D0",
        "hdaudio",
        driver=driver,
        uevent=(f"DRIVER={driver}\n" if driver else "") + f"MODALIAS={modalias}\n\n",
        afg="0x1",
        mfg="0x0",
        modalias=modalias,
        type="0x1",
        chip_name=codec.chip_name,
        revision_id="0x100101",
        subsystem_id=identity,
        vendor_id=identity,
        vendor_name=codec.vendor_name,
    )
    if driver:
        _card(site, folder, codec.card_id)


def network(site: Site, radio: Radio, folder: str) -> None:
    """A network interface; a wireless one with its ieee80211 device and radio switch."""
    number = site.writer.number("network interface", 2)
    name = f"{radio.name}{site.writer.number(f'net {radio.name}')}"
    at = f"{folder}/net/{name}"
    devtype = f"DEVTYPE={radio.name}\n" if radio.name in ("wlan", "wwan") else ""
    site.writer.class_device(
        at,
        "net",
        folder,
        uevent=devtype + f"INTERFACE={name}\nIFINDEX={number}\n",
        addr_len=6,
        address=radio.address,
        flags="0x1002",
        ifindex=number,
        mtu=1500,
        operstate="down",
        type=1,
    )
    if radio.wireless:
        _wireless(site, radio, at, folder)


def _wireless(site: Site, radio: Radio, interface: str, folder: str) -> None:
    number = site.writer.number("phy")
    phy = f"{folder}/ieee80211/phy{number}"
    site.writer.class_device(phy, "ieee80211", folder, name=f"phy{number}", index=number, macaddress=radio.address)
    site.writer.link(f"{interface}/phy80211", phy)
    site.writer.folder(f"{interface}/wireless")
    _rfkill(site, phy, f"phy{number}", "wlan")


def connectors(site: Site, given: tuple[Connector, ...], folder: str) -> None:
    """A graphics card and its connectors."""
    number = site.writer.number("drm")
    card = f"{folder}/drm/card{number}"
    uevent = f"MAJOR=226\nMINOR={number}\nDEVNAME=dri/card{number}\nDEVTYPE=drm_minor\n"
    site.writer.class_device(card, "drm", folder, uevent=uevent, dev=f"226:{number}")
    for connector in given:
        connected = bool(connector.edid)
        at = f"{card}/card{number}-{connector.name}"
        site.writer.class_device(
            at,
            "drm",
            card,
            uevent="DEVTYPE=drm_connector\n",
            dpms="On" if connected else "Off",
            enabled="enabled" if connected else "disabled",
            status="connected" if connected else "disconnected",
            edid=connector.edid,
        )
        site.writer.file(f"{at}/modes", "".join(f"{mode}\n" for mode in connector.modes))
