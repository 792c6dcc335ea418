"""Stable locations from sysfs paths.

Follows Documentation/admin-guide/sysfs-rules.rst: only the path below
``/sys/devices`` is a hierarchy, a folder is a device when it has a
``subsystem`` link, and nothing is inferred from the depth of a path. Each
device adds a hop that does not change between boots (``usbwatch.model.location``).
"""

from __future__ import annotations

import posixpath
import re
from typing import Callable, Dict

from usbwatch.capture.sight import Sight, named

__all__ = ["SOUNDWIRE_PERIPHERAL", "Places"]

_DEVICES = "sys/devices"
_DEEPEST = 60
"""Folders from the top at most; USB's seven tiers behind a chain of PCI bridges need half of it."""
_PCI_FUNCTION = re.compile(r"[0-9a-f]{4,}:[0-9a-f]{2}:([0-9a-f]{2}\.[0-7])\Z")
_PCI_ROOT = re.compile(r"pci[0-9a-f]{4,}:[0-9a-f]{2}\Z")
_USB_INTERFACE = re.compile(r"\d+-[\d.]+:\d+\.(\d+)\Z")
_USB_PORT = re.compile(r"(?:usb\d+|\d+-[\d.]+)-port(\d+)\Z")
_ATA_PORT = re.compile(r"ata\d+\Z")
_ADAPTER = re.compile(r"i2c-\d+\Z")
_ANY_NUMBER = re.compile(r"\.\d+(\.auto)?\Z")
_AUTO_NUMBER = re.compile(r"\.\d+\.auto\Z")
_LAST_NUMBER = re.compile(r"\.(\d+)\Z")
_TYPEC_PORT = re.compile(r"port(\d+)\Z")
SOUNDWIRE_PERIPHERAL = re.compile(
    r"sdw:(?:[0-9a-f]+:)?(?P<link>[0-9a-f]+):(?P<maker>[0-9a-f]{4}):(?P<part>[0-9a-f]{4}):[0-9a-f]{2}"
    r"(?::(?P<unique>[0-9a-f]))?\Z"
)
"""``sdw:link:maker:part:class[:unique]`` (drivers/soundwire/slave.c); newer kernels put a controller number first."""
_ROOT_HUBS = {"0001": "usb1", "0002": "usb2", "0003": "usb3"}
"""Product id of the kernel's own root hubs (drivers/usb/core/hcd.c) against the port numbering they open."""

_FIRMWARE_PLACED = frozenset({"platform", "pnp", "i2c", "spi", "serial", "typec"})
"""Subsystems whose devices are best placed by the path that firmware gives them."""


class Places:
    """Locations of device folders, each worked out once.

    ``root_hubs`` collects, as it goes, the location of each USB bus number:
    the kernel's log speaks in bus numbers, a capture never does.
    """

    def __init__(self, sight: Sight) -> None:
        self.sight = sight
        self._known: Dict[str, str] = {_DEVICES: ""}
        self.root_hubs: Dict[str, str] = {}

    def of(self, folder: str) -> str:
        """Location of the device folder ``folder`` (a real path, ``sys/devices/…``), "" where it has none."""
        known = self._known.get(folder)
        if known is not None:
            return known
        if not folder.startswith(_DEVICES + "/"):
            return ""
        parent, _, name = folder.rpartition("/")
        if folder.count("/") > _DEEPEST:
            return ""
        place = named(self._hop(self.of(parent), folder, name))
        self._known[folder] = place
        return place

    def firmware_path(self, folder: str) -> str:
        """``acpi/…`` of the firmware object behind a device folder, "" where there is none."""
        node = f"{folder}/firmware_node"
        real = self.sight.real(node)
        path = "" if real == node else self.sight.text(real, "path")
        return _acpi(path) if path else ""

    def _hop(self, parent: str, folder: str, name: str) -> str:
        if _PCI_ROOT.match(name):
            return _join(parent, name)
        port = _USB_PORT.match(name)
        if port:
            return _port(parent, port.group(1))
        if _ATA_PORT.match(name):
            return _join(parent, "ata" + self.sight.text(f"{folder}/ata_port/{name}", "port_no"))
        subsystem = self.sight.points_to(folder, "subsystem")
        if not subsystem:
            return parent or ("platform" if name == "platform" else name)
        if subsystem in _FIRMWARE_PLACED and not _ADAPTER.match(name):
            path = self.firmware_path(folder)
            if path:
                return path
        return _HOPS.get(subsystem, _hop_by_name)(self, parent, folder, name)


def _join(parent: str, hop: str) -> str:
    return f"{parent}/{hop}" if parent else hop


def _acpi(path: str) -> str:
    r"""``acpi/_SB_.BAT0`` of the ACPI path ``\_SB_.BAT0``."""
    return "acpi/" + (path.lstrip("\\") or "root")


def _port(interface: str, number: str) -> str:
    """Port ``number`` of the hub whose hub interface is at ``interface``."""
    hub = interface.rpartition("/if")[0]
    at_root = hub.rpartition("/")[2].startswith("usb")
    return f"{hub}{'/' if at_root else '.'}{number}"


# One function per subsystem: the hop that its devices add to ``parent``.


def _pci_hop(_places: Places, parent: str, _folder: str, name: str) -> str:
    function = _PCI_FUNCTION.match(name)
    return _join(parent, function.group(1) if function else name)


def _usb_hop(places: Places, parent: str, folder: str, name: str) -> str:
    interface = _USB_INTERFACE.match(name)
    if interface:
        return f"{parent}/if{interface.group(1)}"
    if name.startswith("usb"):
        place = _join(parent, _ROOT_HUBS.get(places.sight.text(folder, "idProduct"), "usb2"))
        places.root_hubs[name[3:]] = place
        return place
    chain = name.partition("-")[2]
    root = parent if parent.rpartition("/")[2].startswith("usb") else parent.rpartition("/")[0]
    return f"{root}/{chain}"


def _acpi_hop(places: Places, _parent: str, folder: str, name: str) -> str:
    path = places.sight.text(folder, "path")
    return _acpi(path) if path else "acpi/" + name.partition(":")[0]


def _serio_hop(places: Places, parent: str, folder: str, _name: str) -> str:
    words = places.sight.text(folder, "description").split()
    named = words[:1] == ["i8042"] and len(words) > 1
    return _join(parent, words[1].lower() if named else "pass-through")


def _i2c_hop(_places: Places, parent: str, _folder: str, name: str) -> str:
    return _join(parent, "i2c" if _ADAPTER.match(name) else name.rpartition("-")[2].lstrip("0") or "0")


def _spi_hop(_places: Places, parent: str, _folder: str, name: str) -> str:
    return _join(parent, name.rpartition(".")[2])


def _platform_hop(_places: Places, parent: str, _folder: str, name: str) -> str:
    """Below another device the number in a name follows the order of probing; at the top it is the board's own."""
    return _join(parent, (_AUTO_NUMBER if parent == "platform" else _ANY_NUMBER).sub("", name))


def _drm_hop(_places: Places, parent: str, _folder: str, name: str) -> str:
    connector = name.partition("-")[2]
    return _join(parent, "drm/" + connector) if connector else parent


def _auxiliary_hop(_places: Places, parent: str, _folder: str, name: str) -> str:
    """``module.name.number`` (Documentation/driver-api/auxiliary_bus.rst); a SoundWire link has a hop of its own."""
    return parent if ".link." in name else _join(parent, _LAST_NUMBER.sub("", name))


def _soundwire_hop(_places: Places, parent: str, folder: str, name: str) -> str:
    """A link by its number at the controller, a peripheral by link, maker, part and unique id: its whole address."""
    peripheral = SOUNDWIRE_PERIPHERAL.match(name)
    if not peripheral:
        link = _LAST_NUMBER.search(posixpath.dirname(folder))
        return _join(parent, f"soundwire/{link.group(1) if link else name.rpartition('-')[2]}")
    link_hop = f"soundwire/{int(peripheral.group('link'), 16)}"
    above = parent if parent.endswith(f"/{link_hop}") else _join(parent, link_hop)
    return _join(above, ":".join(filter(None, peripheral.group("maker", "part", "unique"))))


def _typec_hop(places: Places, parent: str, folder: str, name: str) -> str:
    """A port by its rank at its controller, which registers its connectors in order; what is in it by its kind."""
    port = _TYPEC_PORT.match(name)
    if not port:
        return _join(parent, name.rpartition("-")[2])
    beside = (_TYPEC_PORT.match(other) for other in places.sight.names(posixpath.dirname(folder)))
    numbers = sorted(int(other.group(1)) for other in beside if other)
    return _join(parent, f"typec/{numbers.index(int(port.group(1))) + 1}")


def _thunderbolt_hop(_places: Places, parent: str, _folder: str, name: str) -> str:
    """A domain without its number; a router by its route, which spells the ports on the way."""
    return _join(parent, "thunderbolt" if name.startswith("domain") else name.partition("-")[2] or name)


def _hdaudio_hop(_places: Places, parent: str, _folder: str, name: str) -> str:
    return _join(parent, "codec" + name.rpartition("D")[2])


def _no_hop(_places: Places, parent: str, _folder: str, _name: str) -> str:
    return parent


def _hop_by_name(_places: Places, parent: str, folder: str, name: str) -> str:
    """A hop named for the class folder that the device sits in (``net``, ``power_supply``), without its number."""
    above = posixpath.basename(posixpath.dirname(folder))
    return _join(parent, above if name.startswith(above[:3]) else name.rstrip("0123456789"))


_Hop = Callable[[Places, str, str, str], str]


def _fixed(hop: str) -> _Hop:
    return lambda _places, parent, _folder, _name: _join(parent, hop)


_HOPS: Dict[str, _Hop] = {
    "acpi": _acpi_hop,
    "auxiliary": _auxiliary_hop,
    "backlight": _fixed("backlight"),
    "block": _fixed("block"),
    "bluetooth": _fixed("bluetooth"),
    "drm": _drm_hop,
    "hdaudio": _hdaudio_hop,
    "hid": _fixed("hid"),
    "hwmon": _fixed("hwmon"),
    "i2c": _i2c_hop,
    "iio": _fixed("iio"),
    "input": _fixed("input"),
    "mmc": _fixed("card"),
    "mmc_host": _fixed("mmc"),
    "net": _fixed("net"),
    "nvme": _fixed("nvme"),
    "pci": _pci_hop,
    "platform": _platform_hop,
    "power_supply": _fixed("power_supply"),
    "rfkill": _fixed("rfkill"),
    "scsi": _no_hop,
    "serio": _serio_hop,
    "sound": _fixed("sound"),
    "soundwire": _soundwire_hop,
    "spi": _spi_hop,
    "spi_master": _fixed("spi"),
    "thunderbolt": _thunderbolt_hop,
    "typec": _typec_hop,
    "usb": _usb_hop,
    "video4linux": _fixed("video"),
}
"""The hop that a device of each subsystem adds."""
